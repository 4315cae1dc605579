//! Prints the schema of the JSON of `shaftbook inspect`:
//! `cargo run -p shaftbook-tools --example inspect_schema > docs/schemas/inspect.schema.json`.

fn main() {
    print!("{}", shaftbook_tools::inspect::schema::schema());
}
