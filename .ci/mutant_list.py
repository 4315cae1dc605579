"""The mutants that cargo-mutants makes of the firmware, each with a name that stays.

A mutant's id is made of its file, its function and what it changes, so that it stays the same
when lines move; a draw sorts by a hash of seed and id, so that it does too.
"""

import dataclasses
import hashlib
import json
import os
import subprocess
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
OUT = os.path.join(os.environ.get("CARGO_TARGET_DIR", os.path.join(ROOT, "target")), "mutants")
LAYERS = ["core", "drivers", "mainloop", "care", "readout"]
# What holds in the build for the host; all other `cfg` do not.
CFG = ['feature = "activity"']


@dataclasses.dataclass
class Mutant:
    """One mutant."""

    number: int  # behind the switch; not 0
    file: str
    line: int
    function: str  # empty for a constant
    genre: str
    replacement: str
    span: tuple  # ((line, column), (line, column)), from 1, the end not included
    change: str = ""  # what it changes, in words
    id: str = ""
    left_out: bool = False  # its code is not compiled on the host

    @property
    def layer(self):
        """The crate that it is in."""
        return self.file.split("/")[1]

    def __str__(self):
        where = f" in {self.function}" if self.function else ""
        return f"{self.id} {self.file}:{self.line}: {self.change}{where}"


def files_request(mutants, wanted, keep_const):
    """The mutants as tests/mutants wants them: `wanted` are numbers, `keep_const` pairs of a
    file and a function's name."""
    files = {}
    for mutant in mutants:
        core = mutant.file.startswith("firmware/core/")
        file = files.setdefault(mutant.file, {
            "path": mutant.file,
            "switch": f"{'crate' if core else 'shaftbook_core'}::mutants::taken",
            "keep_const": [name for path, name in keep_const if path == mutant.file],
            "mutants": [],
        })
        file["mutants"].append({
            "number": mutant.number, "genre": mutant.genre, "start": mutant.span[0],
            "replacement": mutant.replacement, "wanted": mutant.number in wanted,
        })
    return list(files.values())


def rewrite(mutants, wanted, keep_const, to):
    """Writes the files with the `wanted` mutants into the folder `to`; what is said of each
    file."""
    program = os.path.join(OUT, "tools", "release", "mutant-switches")
    request = {
        "from": ROOT, "to": to, "cfg": CFG, "files": files_request(mutants, wanted, keep_const),
    }
    for file in request["files"]:
        os.makedirs(os.path.dirname(os.path.join(to, file["path"])), exist_ok=True)
    done = subprocess.run([program], input=json.dumps(request), text=True,
                          stdout=subprocess.PIPE)
    if done.returncode:
        sys.exit("mutants: the sources could not be rewritten")
    answer = json.loads(done.stdout)["files"]
    return {file["path"]: found for file, found in zip(request["files"], answer)}


def build_tool():
    """Builds the program that rewrites."""
    line = ["cargo", "build", "--quiet", "--locked", "--release", "--target-dir",
            os.path.join(OUT, "tools")]
    if subprocess.run(line, cwd=os.path.join(ROOT, "tests", "mutants")).returncode:
        sys.exit("mutants: tests/mutants could not be built")


def listed():
    """All mutants, in the order of files and lines."""
    line = ["cargo", "mutants", "--list", "--json"]
    for layer in LAYERS:
        line += ["-p", f"shaftbook-{layer}"]
    done = subprocess.run(line, cwd=ROOT, text=True, stdout=subprocess.PIPE)
    if done.returncode:
        sys.exit("mutants: `cargo mutants` is missing: cargo install --locked cargo-mutants")
    mutants = []
    for number, each in enumerate(json.loads(done.stdout), 1):
        ends = [(each["span"][end]["line"], each["span"][end]["column"])
                for end in ("start", "end")]
        mutants.append(Mutant(
            number=number, file=each["file"], line=ends[0][0],
            function=(each["function"] or {}).get("function_name", ""),
            genre=each["genre"], replacement=each["replacement"], span=tuple(ends),
        ))
    build_tool()
    name(mutants)
    return mutants


def name(mutants):
    """Gives each its words and its id."""
    found = rewrite(mutants, set(), [], os.path.join(OUT, "names"))
    places = {place["number"]: place for file in found.values() for place in file["mutants"]}
    seen = {}
    for mutant in mutants:
        place = places.get(mutant.number)
        if place:
            mutant.change, mutant.left_out = place["change"], place["left_out"]
        else:
            mutant.change = f"`{mutant.replacement}` for `{source_of(mutant)}`"
        key = (mutant.file, mutant.function, mutant.change)
        seen[key] = seen.get(key, 0) + 1
        text = "\n".join([*key, str(seen[key])])
        mutant.id = hashlib.sha256(text.encode()).hexdigest()[:8]


def offsets(text, span):
    """Where a span is in a text."""
    lines = text.splitlines(keepends=True)
    return [sum(map(len, lines[:line - 1])) + column - 1 for line, column in span]


def source_of(mutant):
    """What the mutant replaces."""
    with open(os.path.join(ROOT, mutant.file), encoding="utf-8") as file:
        text = file.read()
    start, end = offsets(text, mutant.span)
    return text[start:end]


def drawn(mutants, count, seed):
    """`count` of the mutants, by the seed: all are equally likely."""
    def order(mutant):
        return hashlib.sha256(f"{seed}:{mutant.id}".encode()).digest()
    return sorted(mutants, key=order)[:count]
