//! Prints the schema of a campaign's JSON report:
//! `cargo run -p host-sim --example campaign_schema > docs/schemas/campaign.schema.json`.

fn main() {
    print!("{}", host_sim::campaign::report::schema::schema());
}
