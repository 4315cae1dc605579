"""The list of mutants of which nothing can be seen (docs/SABOTAGE.md), and the table by crate.

A row names a mutant by its file, its function and what it changes, so that it stays true when
lines move; the fourth column is the reason.
"""

import os
import re

from mutant_list import LAYERS, ROOT

DOCUMENT = os.path.join(ROOT, "docs", "SABOTAGE.md")
HEADER = "| file | function | change | why nothing can be seen |"
# Columns of the table by crate, and the verdicts that count there.
COLUMNS = [
    ("drawn", None), ("unviable", "unviable"), ("built", None), ("proofs", "proofs"),
    ("campaign", "campaign"), ("tests", "tests"), ("nothing to see", "listed"),
    ("survivors", "survived"),
]


def cells(row):
    """The cells of a row; `\\|` is a bar in one."""
    inner = re.split(r"(?<!\\)\|", row.strip().strip("|"))
    return [cell.strip().replace("\\|", "|") for cell in inner]


def row(mutant, reason):
    """A mutant as a row."""
    function = f"`{mutant.function}`" if mutant.function else ""
    parts = [f"`{mutant.file}`", function, mutant.change, reason]
    return "| " + " | ".join(part.replace("|", "\\|") for part in parts) + " |"


def key(mutant):
    """What a row names it by."""
    return mutant.file, mutant.function, mutant.change


def nothing_to_see():
    """The reasons in the document, by key."""
    with open(DOCUMENT, encoding="utf-8") as file:
        lines = file.read().splitlines()
    found = {}
    for line in lines[lines.index(HEADER) + 2:] if HEADER in lines else []:
        if not line.startswith("|"):
            break
        file, function, change, reason = cells(line)
        found[file.strip("`"), function.strip("`"), change] = reason
    return found


def by_crate(mutants, verdicts):
    """The table, of mutants and of what was found of each."""
    lines = ["| crate | " + " | ".join(name for name, _ in COLUMNS) + " | found |",
             "|---|" + "--:|" * (len(COLUMNS) + 1)]
    for layer in [*LAYERS, None]:
        of = [verdicts[each.id] for each in mutants if layer in (None, each.layer)]
        counts = {"drawn": len(of), "built": len(of) - of.count("unviable")}
        numbers = [counts[name] if name in counts else of.count(verdict)
                   for name, verdict in COLUMNS]
        visible = counts["built"] - of.count("listed")
        found = sum(of.count(kind) for kind in ("proofs", "campaign"))
        share = f"{100 * found / visible:.1f} %" if visible else "–"
        cells_ = [layer or "all", *map(str, numbers), share]
        lines.append("| " + " | ".join(cells_) + " |")
    return "\n".join(lines)
