//! Campaigns: many scenarios × seeds × fault mixes, and the evidence that they leave.
//!
//! - [`plan`] with [`shop`], [`least_most`]: the campaign file; [`draw`] with [`any_deed`]: the script
//!   of a run, drawn from it
//! - [`kind`], [`state`]: the kinds of fault, and the states that they can meet, by name
//! - [`script`]: a run as a list of steps and faults; [`deed`]: what goes wrong; [`part_shape`]
//! - [`subject`]: what is tried; [`board`]: our board; [`store`], [`bare`]: a store that
//!   somebody brings
//! - [`run`]: one run, judged by `shaftbook_world::judge`; [`tally`]: its figures; [`row`]:
//!   what is kept of it
//! - [`runner`], [`execute`]: all runs, over all cores; [`stream`]: their results on disk;
//!   [`merge`]: the parts of a split campaign put together
//! - [`results`]: what every report is made of; [`summary`]: a page of text; [`cases`]: JUnit;
//!   [`report`]: JSON, Parquet and HTML
//! - [`life`]: campaigns in which each run is a whole life; [`life_plan`], [`life_script`]: the plan
//!   and the script of such a run
//! - [`shrink`], [`regression`]: a failing run made short, and written to a file
//!
//! Invariants: the plan decides every byte of the results; a campaign that is interrupted and
//! goes on, or is split and merged, leaves the same bytes as one that is not.

pub mod any_deed;
pub mod bare;
pub mod board;
pub mod cases;
pub mod deed;
pub mod draw;
pub mod execute;
pub mod kind;
pub mod least_most;
pub mod life;
pub mod life_plan;
pub mod life_script;
pub mod merge;
pub mod part_shape;
pub mod plan;
pub mod regression;
pub mod report;
pub mod results;
pub mod row;
pub mod run;
pub mod runner;
pub mod script;
pub mod shop;
pub mod shrink;
pub mod state;
pub mod store;
pub mod stream;
pub mod subject;
pub mod summary;
pub mod tally;
