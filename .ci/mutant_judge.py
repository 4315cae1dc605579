"""Runs one mutant past its judges: the proofs, the quick campaign, then the tests.

Each proof runs in a process of its own, those that took the sound board the shortest first, so
that a mutant is left as soon as one has found it: what `prove --quick` does in one go. A judge
that on the sound board never asks whether it is this mutant is left out: all would go as it
went there. A mutant is found when a judge ends with another code than on the sound board, be it
by a panic, or takes six times its processor time. Every process has one thread.
"""

import dataclasses
import json
import os
import re
import resource
import shutil
import subprocess
import sys
import time

from mutant_build import ASKED, VARIABLE
from mutant_list import OUT, ROOT

CAMPAIGN = os.path.join(ROOT, "host-sim", "campaigns", "quick.toml")
# A judge that takes so many times the processor time it took the sound board hangs; and a few
# seconds, as short times differ.
TIMES, SECONDS = 6, 5
# Beside a build or another judge, the time on the wall is a few times that of the processor.
WALL = 4
# How a mutant survives whose place no judge comes to.
NOT_ASKED = "not asked for"
# A mutant that fills memory or the disk is stopped, KiB and blocks of 512 bytes.
LIMITS = "ulimit -c 0; ulimit -v 6000000; ulimit -f 4000000"


@dataclasses.dataclass
class Judge:
    """One process that says whether the board is sound."""

    kind: str  # proofs, campaign, tests
    name: str
    program: str  # its key among the programs
    arguments: list
    cpu_s: float = 0.0  # on the sound board
    asked: set = None  # numbers of the mutants that it asks for there

    def can_find(self, number):
        """Whether a mutant is ever asked for: else all goes as on the sound board."""
        return number == 0 or self.asked is None or number in self.asked

    def limit_s(self):
        """When it is taken to hang."""
        return TIMES * self.cpu_s + SECONDS


@dataclasses.dataclass
class Ran:
    """How a process ended."""

    code: int
    cpu_s: float
    output: str
    hung: bool = False

    @property
    def how(self):
        """In a word."""
        if self.hung:
            return "hang"
        if self.code < 0:
            return f"signal {-self.code}"
        return "panic" if self.code == 101 else f"exit code {self.code}"


def run(judge, programs, number, limit_s, asked=None):
    """Runs a judge on a mutant; 0 is the sound board. Into the file `asked` go the numbers of the
    mutants that are asked for."""
    program = programs[judge.program]
    folder = os.path.join(OUT, "runs", f"{os.getpid()}-{number}")
    os.makedirs(folder, exist_ok=True)
    environment = dict(os.environ, RAYON_NUM_THREADS="1", TMPDIR=folder)
    environment[VARIABLE] = str(number)
    if asked:
        environment[ASKED] = asked
    arguments = [each.replace("@FOLDER@", folder) for each in judge.arguments]
    cpu = f"ulimit -t {int(limit_s) + 1}; " if limit_s else ""
    line = ["sh", "-c", f'{LIMITS}; {cpu}exec "$@"', "sh", program["path"], *arguments]
    log = os.path.join(folder, "output")
    cwd = program["folder"] if judge.kind == "tests" else ROOT
    hung = False
    with open(log, "wb") as output:
        child = subprocess.Popen(line, cwd=cwd, env=environment, stdin=subprocess.DEVNULL,
                                 stdout=output, stderr=subprocess.STDOUT)
        code, cpu_s, hung = wait(child, limit_s and limit_s * WALL)
    # A signal of the limit, not of a fault.
    hung = hung or bool(limit_s) and code in (-24, -9) and cpu_s >= limit_s
    with open(log, "rb") as file:
        text = file.read(4_000_000).decode(errors="replace")
    shutil.rmtree(folder, ignore_errors=True)
    return Ran(code, cpu_s, text, hung)


def wait(child, wall_s):
    """Waits for a child; its code, its processor time, and whether it had to be ended."""
    begun, hung = time.monotonic(), False
    while True:
        pid, status, used = os.wait4(child.pid, os.WNOHANG)
        if pid:
            child.returncode = os.waitstatus_to_exitcode(status)
            return child.returncode, used.ru_utime + used.ru_stime, hung
        if wall_s and time.monotonic() - begun > wall_s and not hung:
            child.kill()
            hung = True
        time.sleep(0.02)


def judges(programs):
    """All judges, and what they take on the sound board: first the proofs, the cheapest first,
    then the campaign, then the tests. Exits if the sound board does not hold."""
    listing = subprocess.run(
        [programs["shaftbook"]["path"], "prove", "--help"], text=True, stdout=subprocess.PIPE,
        env={**os.environ, VARIABLE: "0"}).stdout
    names = re.findall(r"^ +- ([a-z-]+):", listing.split("--only")[1].split("--replay")[0], re.M)
    if not names:
        sys.exit("mutants: no proofs are listed")
    proofs = [Judge("proofs", name, "shaftbook", ["prove", "--quick", "--only", name])
              for name in names]
    campaign = Judge("campaign", "quick", "shaftbook",
                     ["campaign", CAMPAIGN, "--fresh", "--out", "@FOLDER@/campaign"])
    tests = [Judge("tests", key, key, ["--test-threads", "1"])
             for key in programs if key != "shaftbook"]
    asked = os.path.join(OUT, "asked")
    for judge in [*proofs, campaign, *tests]:
        if os.path.exists(asked):
            os.remove(asked)
        ran = run(judge, programs, 0, None, asked)
        if judge.kind == "tests" and ran.code:
            # Tests of the repository's own files see that they were rewritten; those of debug
            # builds see that this is none.
            failed = failed_tests(ran.output)
            judge.arguments += ["--exact"]
            for name in failed:
                judge.arguments += ["--skip", name]
            print(f"mutants: {judge.name} without what fails in this build: "
                  f"{', '.join(failed)}", flush=True)
            ran = run(judge, programs, 0, None, asked)
        if ran.code:
            sys.exit(f"{ran.output}\nmutants: {judge.name} does not hold on the sound board")
        judge.cpu_s = ran.cpu_s
        judge.asked = numbers_in(asked)
    proofs.sort(key=lambda judge: judge.cpu_s)
    tests.sort(key=lambda judge: judge.cpu_s)
    return [*proofs, campaign, *tests]


def numbers_in(path):
    """The numbers that a program wrote down; `None` if it did not."""
    try:
        with open(path, encoding="utf-8") as file:
            return set(map(int, file.read().split()))
    except FileNotFoundError:
        return None


def failed_tests(output):
    """The tests that a test program says have failed."""
    return re.findall(r"^test (\S+)(?: - should panic)? \.\.\. FAILED$", output, re.M)


def same_as_normal(programs, normal):
    """Exits unless the switched program without a mutant says what the normal one says."""
    for arguments in (["prove", "--quick"],
                      ["campaign", CAMPAIGN, "--fresh", "--out", os.path.join(OUT, "campaign")]):
        said = [subprocess.run([program, *arguments], stdout=subprocess.PIPE,
                               stderr=subprocess.DEVNULL, cwd=ROOT,
                               env={**os.environ, VARIABLE: "0"})
                for program in (normal, programs["shaftbook"]["path"])]
        if said[0].stdout != said[1].stdout or any(each.returncode for each in said):
            sys.exit(f"mutants: `{arguments[0]}` says another thing with the switch at 0")


def judged(all_judges, programs, number, kinds):
    """Who finds a mutant, as a record: the first judge that does, among these kinds."""
    spent, is_asked = 0.0, False
    for judge in all_judges:
        if judge.kind not in kinds or judge.program not in programs:
            continue
        if not judge.can_find(number):
            continue
        is_asked = True
        ran = run(judge, programs, number, judge.limit_s())
        spent += ran.cpu_s
        if ran.code:
            return {"verdict": judge.kind, "by": judge.name, "how": ran.how,
                    "seen": seen(judge, ran), "cpu_s": round(spent, 2)}
    return {"verdict": "survived", "by": "", "how": "" if is_asked else NOT_ASKED,
            "seen": "", "cpu_s": round(spent, 2)}


def seen(judge, ran):
    """What was seen, on one line."""
    if judge.kind == "tests":
        return " ".join(failed_tests(ran.output))[:200]
    found = re.search(r"^ +seen: (.*)$", ran.output, re.M) or re.search(
        r"panicked at .*:\n(.*)", ran.output)
    return found[1][:200] if found else ""
