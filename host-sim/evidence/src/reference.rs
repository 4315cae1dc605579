//! The reference: what a board should count and say, written from `docs/` alone.
//!
//! Purpose: a second opinion that knows nothing of the code. It has no store, no deadline and no
//! optimisation; it keeps every signal of a session and counts them all anew whenever it is
//! asked. It uses nothing of the firmware, not even its types. `prove::as_documented` lets a
//! board and this model live the same life and compares them.
//!
//! - [`machine`]: from signals to counts (`docs/DESIGN.md`, `docs/SCENARIOS.md`,
//!   `docs/GLOSSARY.md`)
//! - [`book`]: wear, what is due, who may do what, the journal (`docs/CARE.md`,
//!   `docs/SECURITY.md`, `docs/FORMAT.md` sections 6 and 7)
//! - [`engineer`]: challenges and replies (`docs/SECURITY.md`)
//! - [`mod@format`]: what the bytes of a part say (`docs/FORMAT.md`)
//! - [`days`], [`looking`] with [`tails`]: days left, and where to look first (`docs/CARE.md`)
//! - [`read_out`]: the read-out code and the tag (`docs/FORMAT.md`, section 11)
//! - [`promise`]: what a cut may leave (`docs/FAULT_MODEL.md`)
//!
//! Invariant: where the documents leave a choice, the model names all that they allow, and takes
//! over what the board chose; it never guesses what the code does.

pub mod book;
pub mod days;
pub mod engineer;
pub mod format;
pub mod looking;
pub mod machine;
pub mod promise;
pub mod read_out;
pub mod tails;
