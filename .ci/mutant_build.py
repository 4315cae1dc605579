"""Builds all mutants into one program, each behind a switch; or one mutant alone.

The workspace is copied, and tests/mutants rewrites the copy: an expression of which there is a
mutant asks `taken(NUMBER)` which of them it is. The number comes from the environment variable
SHAFTBOOK_MUTANT, which is read before `main`, in the command as in test programs. With another
variable the program writes down which mutants it asks for: no other can be found by it. A
function that is `const` loses the word, if nothing needs it. A mutant that the compiler refuses
is left out, and the rest built again, until all that is left is built.

What is left out here is either no Rust at all, or cannot be behind a switch (constants). Such a
mutant is built alone, as cargo-mutants does it, when it is drawn.
"""

import dataclasses
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys

import mutant_list
from mutant_list import LAYERS, OUT, ROOT

TREE = os.path.join(OUT, "tree")
ALONE = os.path.join(OUT, "alone")
BUILD = os.path.join(OUT, "build")
PROGRAMS = os.path.join(OUT, "programs")
VARIABLE = "SHAFTBOOK_MUTANT"
# With this variable too, no mutant is taken, and the numbers of those that were asked for are
# written to the file that it names.
ASKED = "SHAFTBOOK_MUTANTS_ASKED"
# The value at which a program ends at once with this code: so the switch reaches it.
PROBE, PROBE_CODE = "probe", 86
MANY_TRIES = 40
TOOL = "tests/mutants/"
COMMAND = ["-p", "host-sim", "--bin", "shaftbook"]
LIBRARIES = [word for layer in LAYERS for word in ("-p", f"shaftbook-{layer}")]
TESTS = [*LIBRARIES, "-p", "system-tests", "--lib", "--test", "all", "--test", "system"]

# In the copy of the core, and only there. Programs of the host have a list of functions that
# are called before `main`.
SWITCH = """\
//! Which mutant is switched on, or which are asked for while none is.
use crate::host_std;
use core::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use crate::host_std::string::ToString as _;
static NUMBER: AtomicU32 = AtomicU32::new(0);
static ASKED: [AtomicBool; @NUMBERS@] = [const { AtomicBool::new(false) }; @NUMBERS@];
/// Whether it is this one.
#[inline(always)]
pub fn taken(number: u32) -> bool {
    let on = NUMBER.load(Ordering::Relaxed);
    on == number || (on == u32::MAX && ask(number))
}
#[cold]
fn ask(number: u32) -> bool {
    ASKED[number as usize].store(true, Ordering::Relaxed);
    false
}
extern "C" fn tell() {
    let asked = |number: &usize| ASKED[*number].load(Ordering::Relaxed);
    let numbers: host_std::vec::Vec<host_std::string::String> =
        (0..ASKED.len()).filter(asked).map(|number| number.to_string()).collect();
    if let Ok(path) = host_std::env::var("@ASKED@") {
        let _ = host_std::fs::write(path, numbers.join(" "));
    }
}
unsafe extern "C" {
    fn atexit(then: extern "C" fn()) -> i32;
}
extern "C" fn read() {
    let Ok(value) = host_std::env::var("@VARIABLE@") else { return };
    if value == "@PROBE@" {
        host_std::process::exit(@PROBE_CODE@);
    }
    if host_std::env::var("@ASKED@").is_ok() {
        NUMBER.store(u32::MAX, Ordering::Relaxed);
        // SAFETY: `tell` may be called at any time.
        unsafe { atexit(tell) };
        return;
    }
    NUMBER.store(value.parse().unwrap_or(0), Ordering::Relaxed);
}
#[used]
#[unsafe(link_section = ".init_array")]
static READ: extern "C" fn() = read;
"""


@dataclasses.dataclass
class Joint:
    """What was built: one program for many mutants."""

    name: str  # of its sources, of the mutants asked for, and of what made it
    built: list  # numbers of the mutants in it
    programs: dict  # "shaftbook", or a test program: its path and its folder


def files_of_workspace():
    """The files that git knows or would know."""
    line = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    names = subprocess.run(line, cwd=ROOT, text=True, stdout=subprocess.PIPE, check=True).stdout
    return sorted(name for name in set(names.split("\0"))
                  if name and os.path.isfile(os.path.join(ROOT, name)))


def name_of(files, *more):
    """A name for these files and words: with others it is another one."""
    digest = hashlib.sha256(" ".join(more).encode())
    for name in files:
        with open(os.path.join(ROOT, name), "rb") as file:
            digest.update(f"{name}\0".encode() + file.read())
    return digest.hexdigest()[:16]


def sources_name():
    """A name for what is judged, and for its judges: results of other sources are none."""
    return name_of(name for name in files_of_workspace()
                   if name.endswith((".rs", ".toml", ".lock")) and not name.startswith(TOOL))


def write(path, content):
    """Writes a file, unless it holds this already: what is not touched is not built again."""
    try:
        with open(path, "rb") as file:
            if file.read() == content:
                return
    except FileNotFoundError:
        os.makedirs(os.path.dirname(path), exist_ok=True)
    with open(path, "wb") as file:
        file.write(content)


def copy_workspace(to, but=()):
    """Copies the workspace to a folder; files that are gone from it are removed."""
    names = files_of_workspace()
    for folder, _, files in os.walk(to):
        for file in files:
            path = os.path.join(folder, file)
            if os.path.relpath(path, to) not in names:
                os.remove(path)
    for name in names:
        if name not in but:
            with open(os.path.join(ROOT, name), "rb") as file:
                write(os.path.join(to, name), file.read())


def cargo(tree, verb, *arguments):
    """Runs cargo in a copy; the compiler's messages, and whether it was built."""
    environment = dict(os.environ, CARGO_TARGET_DIR=BUILD, CARGO_INCREMENTAL="0",
                       CARGO_PROFILE_RELEASE_DEBUG="0", RUSTFLAGS="--cap-lints=allow")
    line = ["cargo", verb, "--quiet", "--locked", "--release", "--message-format=json", *arguments]
    if verb == "check":
        line.append("--keep-going")
    done = subprocess.run(line, cwd=tree, text=True, env=environment, stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE)
    messages = [json.loads(line) for line in done.stdout.splitlines() if line.startswith("{")]
    if done.returncode and not any(errors(messages)):
        sys.exit(f"mutants: {' '.join(line)}\n{done.stderr}")
    return messages, done.returncode == 0


def errors(messages):
    """The errors among the compiler's messages."""
    for message in messages:
        if message["reason"] == "compiler-message" and message["message"]["level"] == "error":
            yield message["message"]


class Rewriter:
    """The copy with the mutants that still are in it."""

    def __init__(self, everything, mutants):
        self.everything = everything
        self.asked = len(mutants)
        self.wanted = {mutant.number for mutant in mutants}
        self.keep_const = set()
        self.found = {}

    def write(self):
        """Writes the copy."""
        staged = os.path.join(OUT, "staged")
        self.found = mutant_list.rewrite(self.everything, self.wanted, self.keep_const, staged)
        core = "firmware/core/src/"
        copy_workspace(TREE, but={*self.found, core + "lib.rs"})
        for path in self.found:
            with open(os.path.join(staged, path), "rb") as file:
                if path != core + "lib.rs":
                    write(os.path.join(TREE, path), file.read())
        switch = SWITCH.replace("@VARIABLE@", VARIABLE).replace("@PROBE@", PROBE)
        switch = switch.replace("@PROBE_CODE@", str(PROBE_CODE)).replace("@ASKED@", ASKED)
        switch = switch.replace("@NUMBERS@", str(len(self.everything) + 1))
        write(os.path.join(TREE, core, "mutants.rs"), switch.encode())
        with open(os.path.join(ROOT, core, "lib.rs"), encoding="utf-8") as file:
            library = file.read().replace("#![forbid(unsafe_code)]", "")
        library += "\n// Not under its own name: mutants that need it are no mutants.\nextern crate std as host_std;\npub mod mutants;\n"
        write(os.path.join(TREE, core, "lib.rs"), library.encode())

    def built(self):
        """Numbers of the mutants that are in it."""
        return [place["number"] for file in self.found.values() for place in file["mutants"]
                if place["own"]]

    def state(self):
        """Changes when something is taken out or restored."""
        return len(self.wanted), len(self.keep_const)

    def blame(self, error):
        """Takes out what an error is about; whether that was found."""
        spans = [span for span in error["spans"] if span["is_primary"]]
        spans += [span for span in error["spans"] if not span["is_primary"]]
        for span in spans:
            number = self.smallest(span, "own")
            if number:
                self.wanted -= number
                return True
        called = re.match(r"cannot call non-const [a-z ]*`([^`]*)`", error["message"])
        if called and self.restore_const(called[1]):
            return True
        for span in spans:
            number = self.smallest(span, "whole")
            if number:
                self.wanted -= number
                return True
        return False

    def smallest(self, span, what):
        """The mutants with the least text that an error's span is in or touches."""
        least, numbers = None, set()
        for place in self.found.get(span["file_name"], {"mutants": []})["mutants"]:
            if not place[what]:
                continue
            start, end = place[what]
            if span["byte_start"] < end and span["byte_end"] > start:
                if least is None or end - start < least:
                    least, numbers = end - start, set()
                if end - start == least:
                    numbers.add(place["number"])
        return numbers & self.wanted

    def restore_const(self, path):
        """Lets functions be `const` again that are called as `path` where they have to be."""
        path = re.sub(r"<[^<>]*>", "", path.replace("::<", "<")) if "::<" in path else path
        path = re.sub(r"^<(.*)>::", r"\1::", path)
        words = re.sub(r"<[^<>]*>", "", path).split("::")
        names = {(file, name) for file, found in self.found.items()
                 for name in found["const_functions"]}
        for wanted in ("::".join(words[-2:]), words[-1]):
            fitting = {each for each in names
                       if each[1] == wanted or each[1].endswith(f"::{wanted}")}
            if fitting - self.keep_const:
                self.keep_const |= fitting
                return True
        return False


def until_built(rewriter, verb, *arguments):
    """Builds, and takes out what the compiler refuses, until it is built; its messages."""
    for _ in range(MANY_TRIES):
        before = rewriter.state()
        messages, is_built = cargo(TREE, verb, *arguments)
        if is_built:
            return messages
        unknown = [error for error in errors(messages) if not rewriter.blame(error)]
        rest = len(rewriter.wanted)
        print(f"mutants: cargo {verb}: {rest} of {rewriter.asked} left", flush=True)
        rewriter.write()
        # What is not known may follow from what is: only if nothing was taken out, it does not.
        if before == rewriter.state() and unknown:
            rendered = "".join(error["rendered"] for error in unknown[:5])
            sys.exit(f"mutants: errors that belong to no mutant\n{rendered}")
    sys.exit(f"mutants: not built after {MANY_TRIES} tries")


def keep_programs(messages, name, tree):
    """Copies the programs just built to where no other build writes; path and folder of each."""
    programs = {}
    for message in messages:
        if message["reason"] == "compiler-artifact" and message.get("executable"):
            folder = os.path.dirname(message["manifest_path"])
            of = os.path.relpath(folder, tree).replace("/", "-")
            program = message["target"]["name"]
            key = program if program == "shaftbook" else f"{of}-{program}"
            path = os.path.join(PROGRAMS, f"{name}-{key}")
            os.makedirs(PROGRAMS, exist_ok=True)
            shutil.copy2(message["executable"], path + "~")
            os.replace(path + "~", path)
            programs[key] = {"path": path, "folder": folder}
    return programs


def joint(everything, mutants, with_tests):
    """The program with all of these mutants that can be in one; from an earlier call, if it is
    the same. Others are not in it: the fewer there are, the faster it runs."""
    state = os.path.join(OUT, "joint.json")
    makers = [name for name in files_of_workspace() if name.startswith(TOOL)]
    asked = sorted(mutant.id for mutant in mutants)
    name = name_of([*makers, ".ci/mutant_build.py"], sources_name(), *asked)
    try:
        with open(state, encoding="utf-8") as file:
            kept = Joint(**json.load(file))
        if kept.name == name and (not with_tests or len(kept.programs) > 1):
            return kept
    except (FileNotFoundError, TypeError, ValueError):
        pass
    rewriter = Rewriter(everything, mutants)
    rewriter.write()
    # Fast, and finds nearly all that the compiler refuses.
    until_built(rewriter, "check", *LIBRARIES)
    until_built(rewriter, "check", *COMMAND)
    if with_tests:
        until_built(rewriter, "test", "--no-run", *TESTS)
    programs = keep_programs(until_built(rewriter, "build", *COMMAND), "joint", TREE)
    if with_tests:
        messages = until_built(rewriter, "test", "--no-run", *TESTS)
        programs |= keep_programs(messages, "joint", TREE)
    for key, program in programs.items():
        probe = subprocess.run([program["path"], "--help"], stdout=subprocess.DEVNULL,
                               env=dict(os.environ, **{VARIABLE: PROBE}))
        if probe.returncode != PROBE_CODE:
            sys.exit(f"mutants: the switch does not reach {key}")
    made = Joint(name, rewriter.built(), programs)
    write(state, json.dumps(dataclasses.asdict(made)).encode())
    return made


def alone(mutant, with_tests):
    """Builds one mutant by itself; its programs, or None if it is no Rust. With `with_tests`
    the test programs, without it the command."""
    copy_workspace(ALONE, but={mutant.file})
    with open(os.path.join(ROOT, mutant.file), encoding="utf-8") as file:
        text = file.read()
    start, end = mutant_list.offsets(text, mutant.span)
    text = text[:start] + mutant.replacement + text[end:]
    write(os.path.join(ALONE, mutant.file), text.encode())
    if not cargo(ALONE, "check", "-p", f"shaftbook-{mutant.layer}")[1]:
        return None
    arguments = ["test", "--no-run", *TESTS] if with_tests else ["build", *COMMAND]
    messages, is_built = cargo(ALONE, *arguments)
    return keep_programs(messages, "alone", ALONE) if is_built else None
