//! Campaigns of whole lives: each run is one machine and its board over years of working days,
//! with real signals, cuts, damage, services, refits and a clock.
//!
//! - [`draw`]: a life drawn from the table `[lives]` of a campaign file
//! - [`play`]: lives it; [`days`]: when things come in it
//! - [`counts`]: what was counted, held against the truth; [`ledger`]: services, baselines and
//!   fittings, held against what was asked for
//! - [`shrink`]: a failing life made shorter
//!
//! Invariants: signals come from `world::sewing`, and the truth is kept by it, not by the board;
//! after each cut the next board starts from the bytes of the part alone. What a cut costs is
//! judged cut by cut: a life of many small losses hides nothing that is counted too much.

pub mod counts;
pub mod days;
pub mod draw;
pub mod ledger;
pub mod play;
pub mod shrink;
