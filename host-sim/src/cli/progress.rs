//! Progress of long work, on standard error; nothing when that is not a terminal.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar of `total` steps, called `what`.
#[must_use]
pub fn bar(total: u64, what: &'static str) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(total), ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template("{msg} {wide_bar} {pos}/{len} {eta}") {
        bar.set_style(style);
    }
    bar.with_message(what)
}

/// A bar of `total` bytes read, called `what`.
#[must_use]
pub fn bytes(total: u64, what: &'static str) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(total), ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template("{msg} {wide_bar} {bytes}/{total_bytes} {eta}")
    {
        bar.set_style(style);
    }
    bar.with_message(what)
}
