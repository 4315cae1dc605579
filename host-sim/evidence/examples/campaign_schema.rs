//! Prints the schema of a campaign's JSON report:
//! `cargo run -p shaftbook-evidence --example campaign_schema > docs/schemas/campaign.schema.json`.

fn main() {
    print!("{}", shaftbook_evidence::campaign::report::schema::schema());
}
