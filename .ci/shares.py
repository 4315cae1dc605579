"""What the checks of the recipes for schedulers have in common: looking at the folders of a
campaign that is split, and waiting for a condition.
"""

import filecmp
import os
import re
import time

# How long a condition may take to come true, on a machine that does much else, seconds.
PATIENCE_S = 300
# Results reach the disk in chunks of so many runs.
CHUNK_RUNS = 256


class Trouble(Exception):
    """Something that was to hold does not."""


def wait_for(what, condition):
    """Asks until the condition holds, and gives what it gave; a limit ends it."""
    end = time.monotonic() + PATIENCE_S
    while True:
        answer = condition()
        if answer:
            return answer
        if time.monotonic() > end:
            raise Trouble(f"in {PATIENCE_S} s it did not come to this: {what}")
        time.sleep(0.1)


def runs_in(folder):
    """How many runs have their results in a folder."""
    try:
        with open(os.path.join(folder, "runs.jsonl"), encoding="utf-8") as file:
            return sum(line.startswith('{"run":') and line.endswith("\n") for line in file)
    except FileNotFoundError:
        return 0


def kept_in(folder):
    """How many of them a campaign that goes on keeps: those of whole chunks."""
    return runs_in(folder) // CHUNK_RUNS * CHUNK_RUNS


def made(output):
    """How many runs each start of a share has made, by what it printed."""
    said = re.findall(r"([\d,]+) runs and [\d,]+ cuts now", output)
    return [int(number.replace(",", "")) for number in said]


def same_bytes(one, other):
    """Fails unless two folders have the same files with the same bytes; gives their number."""
    names = [sorted(os.path.relpath(os.path.join(folder, name), top)
                    for folder, _, names in os.walk(top) for name in names)
             for top in (one, other)]
    if names[0] != names[1] or not names[0]:
        raise Trouble(f"other files: {names[0]}, to be {names[1]}")
    for name in names[0]:
        if not filecmp.cmp(os.path.join(one, name), os.path.join(other, name), shallow=False):
            raise Trouble(f"{name} has other bytes than the campaign that was not split")
    return len(names[0])
