//! Names as reports show them, and the schemas of fields that hold one.

use schemars::{Schema, SchemaGenerator, json_schema};
use shaftbook_core::fault::Fault;

use crate::campaign::kind::FaultKind;
use crate::campaign::state::MetState;

/// A fault's name in tables: the words of its own name.
pub(super) fn fault_name(fault: Fault) -> String {
    let mut name = String::new();
    for letter in format!("{fault:?}").chars() {
        if letter.is_ascii_uppercase() && !name.is_empty() {
            name.push('-');
        }
        name.push(letter.to_ascii_lowercase());
    }
    name
}

/// The name of one kind of fault.
pub(super) fn kind_name(_: &mut SchemaGenerator) -> Schema {
    let names = FaultKind::ALL.map(FaultKind::name);
    json_schema!({ "type": "string", "enum": names })
}

/// Names of kinds of fault.
pub(super) fn kind_names(generator: &mut SchemaGenerator) -> Schema {
    list(&kind_name(generator))
}

/// The name of one state.
pub(super) fn state_name(_: &mut SchemaGenerator) -> Schema {
    let names = MetState::ALL.map(MetState::name);
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
