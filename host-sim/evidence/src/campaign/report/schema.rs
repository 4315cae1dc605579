//! The JSON schema of the report, made from its types, so that it cannot fall behind them.

use schemars::generate::SchemaSettings;
use schemars::{Schema, SchemaGenerator, json_schema};
use shaftbook_core::fault::Fault;

use super::json::{Report, fault_name};
use crate::campaign::kind::Kind;
use crate::campaign::state::State;

/// The schema of [`Report`], JSON Schema 2020-12, as it stands in
/// `docs/schemas/campaign.schema.json`.
#[must_use]
pub fn schema() -> String {
    let generator = SchemaSettings::draft2020_12().for_serialize().into_generator();
    let schema = generator.into_root_schema_for::<Report>();
    let mut text = serde_json::to_string_pretty(&schema).unwrap_or_default();
    text.push('\n');
    text
}

/// The name of one kind of fault.
pub(super) fn kind_name(_: &mut SchemaGenerator) -> Schema {
    let names = Kind::ALL.map(Kind::name);
    json_schema!({ "type": "string", "enum": names })
}

/// Names of kinds of fault.
pub(super) fn kind_names(generator: &mut SchemaGenerator) -> Schema {
    list(&kind_name(generator))
}

/// The name of one state.
pub(super) fn state_name(_: &mut SchemaGenerator) -> Schema {
    let names = State::ALL.map(State::name);
    json_schema!({ "type": "string", "enum": names })
}

/// Names of states.
pub(super) fn state_names(generator: &mut SchemaGenerator) -> Schema {
    list(&state_name(generator))
}

/// Names of faults that a board can name.
pub(super) fn fault_names(_: &mut SchemaGenerator) -> Schema {
    let names = Fault::ALL.map(fault_name);
    list(&json_schema!({ "type": "string", "enum": names }))
}

fn list(item: &Schema) -> Schema {
    json_schema!({ "type": "array", "items": item, "uniqueItems": true })
}
