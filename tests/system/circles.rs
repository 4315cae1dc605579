//! There is no circle of modules in any crate.

use system_tests::circles::circles;
use system_tests::sources::{Source, all};

/// The crates' sources.
const CRATES: [&str; 17] = [
    "firmware/core/src/",
    "firmware/care/src/",
    "firmware/readout/src/",
    "firmware/panel/src/",
    "firmware/drivers/src/",
    "firmware/mainloop/src/",
    "firmware/boards/rp2040/src/",
    "firmware/boards/mps2/src/",
    "firmware/boards/race/src/",
    "firmware/size-probe/src/",
    "host-sim/world/src/",
    "host-sim/evidence/src/",
    "host-sim/tools/src/",
    "host-sim/src/",
    "tests/src/",
    "tests/comparison/src/",
    "tests/mutants/src/",
];

#[test]
fn no_modules_need_each_other() {
    let sources = all();
    let mut found = Vec::new();
    for folder in CRATES {
        assert!(sources.iter().any(|s| s.path.starts_with(folder)), "{folder} is not read");
        found.extend(circles(&sources, folder));
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn each_circle_is_found() {
    let file = |path: &str, text: &str| Source { path: path.into(), text: text.into() };
    let sources = [
        file("x/src/lib.rs", "mod a; mod b; mod c; use crate::a::A;"),
        file("x/src/a.rs", "use crate::b::{self, B};\nuse super::Word;"),
        file("x/src/a/one.rs", "use super::two::Two;\nuse crate::a::A;"),
        file("x/src/a/two.rs", "fn f() { super::one::g() }"),
        file("x/src/b.rs", "use crate::{c::C, Word};"),
        file("x/src/c.rs", "#[cfg(test)]\nmod tests { use crate::a::A; }"),
    ];
    assert_eq!(circles(&sources, "x/src/"), ["x/src/a: one → two → one"]);
    let mut closed = sources.to_vec();
    closed.push(file("x/src/c/mod.rs", "use crate::{Word, b::d, a};"));
    assert_eq!(
        circles(&closed, "x/src/"),
        ["x/src/: a → b → c → a", "x/src/: b → c → b", "x/src/a: one → two → one"]
    );
}
