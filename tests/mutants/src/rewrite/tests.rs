//! A file with a mutant of each kind, and what becomes of it.

use super::*;

fn mutant(number: u32, genre: &str, start: (usize, usize), replacement: &str) -> Mutant {
    let (genre, replacement) = (genre.to_owned(), replacement.to_owned());
    Mutant { number, genre, start, replacement, wanted: true }
}

/// Rewrites a source with these mutants.
fn rewritten(source: &str, keep_const: &[&str], mutants: Vec<Mutant>) -> (String, Found) {
    let request = File {
        path: String::new(),
        switch: "on".to_owned(),
        keep_const: keep_const.iter().map(|&name| name.to_owned()).collect(),
        mutants,
    };
    file(source, &request, &["unix".to_owned()]).unwrap()
}

fn becomes(source: &str, mutants: Vec<Mutant>, expected: &str) {
    let (text, found) = rewritten(source, &[], mutants);
    assert_eq!(text, expected);
    syn::parse_file(&text).unwrap();
    for place in found.mutants {
        let (start, end) = place.own.unwrap();
        assert!(text[start..end].contains(&format!("on({})", place.number)));
    }
}

#[test]
fn operators_keep_their_operands() {
    becomes(
        "fn f() -> u8 { a - b * c }",
        vec![mutant(1, "BinaryOperator", (1, 22), "+"), mutant(2, "BinaryOperator", (1, 18), "+")],
        "fn f() -> u8 { (if on(2) { a + b * c } else { a - (if on(1) { b + c } else { b * c }) }) }",
    );
    becomes(
        "fn f() { x += !y; }",
        vec![mutant(1, "BinaryOperator", (1, 12), "-="), mutant(2, "UnaryOperator", (1, 15), "")],
        "fn f() { (if on(1) { x -= !y } else { x += (if on(2) { y } else { !y }) }); }",
    );
}

#[test]
fn two_mutants_of_one_place_are_a_chain() {
    becomes(
        "fn f() -> u8 { a + b }",
        vec![mutant(1, "BinaryOperator", (1, 18), "-"), mutant(2, "BinaryOperator", (1, 18), "*")],
        "fn f() -> u8 { (if on(1) { a - b } else if on(2) { a * b } else { a + b }) }",
    );
}

#[test]
fn a_body_returns_first_and_is_no_more_const() {
    becomes(
        "pub const fn f() -> u8 { 7 }",
        vec![mutant(1, "FnValue", (1, 26), "0"), mutant(2, "FnValue", (1, 26), "1")],
        "pub fn f() -> u8 { if on(1) { return 0; } if on(2) { return 1; } 7 }",
    );
}

#[test]
fn arms_and_guards_ask_in_the_guard() {
    becomes(
        "fn f() { match a { X => 1, Y if b < 2 => 3, _ => 4 } }",
        vec![
            mutant(1, "MatchArm", (1, 20), ""),
            mutant(2, "MatchArm", (1, 28), ""),
            mutant(3, "MatchArmGuard", (1, 33), "true"),
            mutant(4, "BinaryOperator", (1, 35), "<="),
        ],
        "fn f() { match a { X if !on(1) => 1, Y if !on(2) && ((if on(3) { true } else { \
         (if on(4) { b <= 2 } else { b < 2 }) })) => 3, _ => 4 } }",
    );
}

#[test]
fn a_field_is_left_to_the_base() {
    becomes(
        "fn f() -> P { P { x: 1, ..p } }",
        vec![mutant(1, "StructField", (1, 19), "")],
        "fn f() -> P { (if on(1) { P {  ..p } } else { P { x: 1, ..p } }) }",
    );
}

#[test]
fn what_cannot_ask_is_left_as_it_is() {
    let source = "\
const A: u8 = 1 + 2;
const fn f() -> u8 { 1 + 2 }
#[cfg(windows)]
fn g() -> u8 { 1 + 2 }
fn h() -> bool { if let Some(x) = y && x { true } else { false } }
fn k(a: [u8; 1 + 2]) -> u8 { 1 + 2 }
";
    let plus = |number, line, column| mutant(number, "BinaryOperator", (line, column), "-");
    let (text, found) = rewritten(
        source,
        &["f"],
        vec![
            plus(1, 1, 17),
            plus(2, 2, 24),
            plus(3, 4, 18),
            plus(4, 5, 37),
            plus(5, 6, 16),
            plus(6, 6, 32),
        ],
    );
    let asks = "2]) -> u8 { (if on(6) { 1 - 2 } else { 1 + 2 }) }";
    assert_eq!(text, source.replace("2]) -> u8 { 1 + 2 }", asks));
    let told: Vec<_> =
        found.mutants.iter().map(|place| (place.number, place.left_out, place.in_const)).collect();
    assert_eq!(
        told,
        [(1, false, true), (2, false, true), (3, true, false), (5, false, true), (6, false, false)]
    );
}

#[test]
fn the_words_do_not_name_lines() {
    let (_, found) = rewritten(
        "fn f() -> bool {\n    a\n        < b }",
        &[],
        vec![mutant(1, "BinaryOperator", (3, 9), "<="), mutant(2, "FnValue", (2, 5), "true")],
    );
    let words: Vec<_> = found.mutants.iter().map(|place| place.change.as_str()).collect();
    assert_eq!(words, ["`<=` for `<` in `a < b`", "`true` for the body"]);
}
