//! The JSON schema of what `shaftbook inspect --format json` prints, made from its types, so that
//! it cannot fall behind them.

use schemars::generate::SchemaSettings;

use super::report::NamedReport;

/// The schema of [`NamedReport`], JSON Schema 2020-12, as it stands in
/// `docs/schemas/inspect.schema.json`.
#[must_use]
pub fn schema() -> String {
    let generator = SchemaSettings::draft2020_12().for_serialize().into_generator();
    let schema = generator.into_root_schema_for::<NamedReport>();
    let mut text = serde_json::to_string_pretty(&schema).unwrap_or_default();
    text.push('\n');
    text
}
