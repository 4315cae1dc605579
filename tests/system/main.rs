//! System tests of the firmware and of the host's crates, through their public interfaces only.
//! They are one program, so that the crates are linked only once.
//!
//! - `any_image_boots`, `core_machine`, `store_machine`, `store_regressions`, `store_costs`,
//!   `format`, `inspect_json`, `published_values`: core and store; `machine` runs the state machines
//! - `mainloop`, `panel`, `screens`: the whole firmware
//! - `campaign`, `campaign_reports`, `sabotage`: the evidence
//! - `budgets`, `circles`, `dependencies`, `pins`, `sources`: rules on the repository itself

mod any_image_boots;
mod budgets;
mod campaign;
mod campaign_reports;
mod circles;
mod core_machine;
mod dependencies;
mod format;
mod inspect_json;
mod machine;
mod mainloop;
mod panel;
mod pins;
mod published_values;
mod sabotage;
mod screens;
mod sources;
mod store_costs;
mod store_machine;
mod store_regressions;
