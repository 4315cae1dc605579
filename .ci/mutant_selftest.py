"""Whether the judging of mutants sees what it should: on shell scripts in the place of programs,
and on a table in the place of the document. Nothing is built."""

import os
import stat
import tempfile

import mutant_build
import mutant_judge
import mutant_list
import mutant_table
from mutant_judge import Judge

# What a program does with each number of a mutant.
PROGRAM = """#!/bin/sh
case "$SHAFTBOOK_MUTANT" in
0|7) exit 0 ;;
1) echo "  seen: a count too high"; exit 1 ;;
2) echo "thread panicked at x.rs:1:"; echo "overflow"; exit 101 ;;
3) while :; do :; done ;;
4) kill -11 $$ ;;
5) echo "test one::two ... FAILED"; exit 101 ;;
esac
"""


def judging():
    """Each end of a program has its verdict."""
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "program")
        with open(path, "w", encoding="utf-8") as file:
            file.write(PROGRAM)
        os.chmod(path, stat.S_IRWXU)
        programs = {"shaftbook": {"path": path, "folder": folder}}
        mutant_judge.SECONDS = 1
        judges = [Judge("proofs", "first", "shaftbook", []),
                  Judge("tests", "last", "shaftbook", [])]
        for number, kind, verdict, how, seen in [
            (7, "proofs", "survived", "", ""),
            (1, "proofs", "proofs", "exit code 1", "a count too high"),
            (2, "proofs", "proofs", "panic", "overflow"),
            (3, "proofs", "proofs", "hang", ""),
            (4, "proofs", "proofs", "signal 11", ""),
            (5, "tests", "tests", "panic", "one::two"),
        ]:
            record = mutant_judge.judged(judges, programs, number, [kind])
            found = record["verdict"], record["how"], record["seen"]
            assert found == (verdict, how, seen), (number, record)
        # A judge that never asks for a mutant is not run on it.
        judges[0].asked = {1}
        for number, verdict, how in [
            (1, "proofs", "exit code 1"), (2, "survived", mutant_judge.NOT_ASKED),
        ]:
            record = mutant_judge.judged(judges, programs, number, ["proofs"])
            assert (record["verdict"], record["how"]) == (verdict, how), (number, record)


def mutant(change, function="Ring::ahead"):
    """One for a table."""
    return mutant_list.Mutant(1, "firmware/core/src/x.rs", 3, function, "FnValue", "", (),
                              change=change, id=change)


def tables():
    """A row is read as it was written, and each verdict counts once."""
    each = mutant("`||` for `|` in `a | b`")
    row = mutant_table.row(each, "A reason.")
    assert mutant_table.cells(row) == [
        "`firmware/core/src/x.rs`", "`Ring::ahead`", "`||` for `|` in `a | b`", "A reason."]
    kinds = ["proofs", "campaign", "tests", "survived", "listed", "unviable"]
    mutants = [mutant(kind) for kind in kinds]
    table = mutant_table.by_crate(mutants, {each.id: each.id for each in mutants})
    assert table.endswith("| all | 6 | 1 | 5 | 1 | 1 | 1 | 1 | 1 | 50.0 % |"), table


def draws():
    """A draw is the same for the same seed, another for another, and stays when one is gone."""
    mutants = [mutant(str(number)) for number in range(100)]
    first = [each.id for each in mutant_list.drawn(mutants, 10, "1")]
    assert first == [each.id for each in mutant_list.drawn(mutants[::-1], 10, "1")]
    assert first != [each.id for each in mutant_list.drawn(mutants, 10, "2")]
    fewer = [each for each in mutants if each.id != first[3]]
    assert [each.id for each in mutant_list.drawn(fewer, 9, "1")] == first[:3] + first[4:]


def blame():
    """An error of the compiler takes out the mutant with the least text around it, or lets the
    function be const again that it names."""
    place = {"number": 1, "own": (10, 20), "whole": (5, 40)}
    outer = {"number": 2, "own": (0, 50), "whole": (0, 50)}
    found = {"x.rs": {"mutants": [outer, place], "const_functions": ["Lap::new", "Ring::new"]}}
    for span, message, wanted, const in [
        ((12, 14), "", {2}, set()),
        ((45, 46), "", {1}, set()),
        ((90, 91), "cannot call non-const associated function `core::serial::Lap::new` in "
         "constants", {1, 2}, {("x.rs", "Lap::new")}),
        ((90, 91), "mismatched types", {1, 2}, set()),
    ]:
        rewriter = mutant_build.Rewriter([], [])
        rewriter.found, rewriter.wanted = found, {1, 2}
        error = {"message": message, "spans": [{
            "is_primary": True, "file_name": "x.rs", "byte_start": span[0], "byte_end": span[1]}]}
        rewriter.blame(error)
        assert (rewriter.wanted, rewriter.keep_const) == (wanted, const), (span, message)


def run():
    """All of them; an assertion fails otherwise."""
    judging()
    tables()
    draws()
    blame()
    print("mutants: verdicts, tables, draws and errors are seen as they should")
