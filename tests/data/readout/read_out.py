#!/usr/bin/env python3
"""A second decoder of the read-out code, from section 11 of docs/FORMAT.md alone.

The Reed-Solomon words are those of `reedsolo` (PyPI); no code of Shaftbook is involved.

Usage:
  read_out.py vectors COUNT SEED > vectors.txt   words made, spoilt and corrected here
  read_out.py compare < WORDS                    checks what Shaftbook made of its own

WORDS are what `cargo run --example read_out_words` prints. Exit code 1 at the first line
that differs.
"""
import hashlib
import importlib.metadata
import json
import random
import sys

import reedsolo

VERSION = importlib.metadata.version("reedsolo")
LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LABEL = b"Shaftbook read-out code, version 1"
MASK = [int.from_bytes(hashlib.sha256(LABEL).digest(), "big") >> (251 - 5 * n) & 31 for n in range(30)]
FIELDS = [
    ("version", 2), ("tag", 20), ("powered", 17), ("interval", 10), ("measure", 1),
    ("service", 1), ("stated", 1), ("stitches", 15), ("knife", 8), ("kind", 6), ("wear", 6),
    ("faults", 15), ("due", 3), ("notice", 3), ("services", 6), ("hint", 6),
]
assert sum(width for _, width in FIELDS) == 120


def codec(parity):
    return reedsolo.RSCodec(parity, nsize=31, fcr=0, prim=0x25, generator=2, c_exp=5)


CODEC = codec(6)


def written(symbols):
    return "".join("?" if s is None else LETTERS[s] for s in symbols)


def read(text):
    return [None if c == "?" else LETTERS.index(c) for c in text if c != " "]


def corrected(heard):
    """The word that was meant, by `reedsolo`; None when it finds none, or only one that
    uses up more than four of the six parity symbols."""
    unheard = [n for n, s in enumerate(heard) if s is None]
    if len(unheard) > 4:
        return None
    try:
        word = CODEC.decode(bytes(s or 0 for s in heard), erase_pos=unheard)[1]
    except reedsolo.ReedSolomonError:
        return None
    wrong = sum(s is not None and s != meant for s, meant in zip(heard, word))
    return list(word) if 2 * wrong + len(unheard) <= 4 else None


def spoilt(word, draw):
    """`word` with up to four symbols not heard and up to four wrong."""
    heard = list(word)
    unheard, wrong = draw.randrange(5), draw.randrange(5)
    places = draw.sample(range(30), unheard + wrong)
    for place in places[:unheard]:
        heard[place] = None
    for place in places[unheard:]:
        heard[place] ^= draw.randrange(1, 32)
    return heard


def vectors(count, seed):
    draw = random.Random(seed)
    print(f"# made by: read_out.py vectors {count} {seed} (reedsolo {VERSION})")
    print("# words without the mask: as meant, as heard, as corrected (- is refused)")
    word = codec(4).encode(bytes(read("123456789ABCDEFGHJKMN")))
    print("four", written(word))
    for _ in range(count):
        word = CODEC.encode(bytes(draw.randrange(32) for _ in range(24)))
        heard = spoilt(word, draw)
        meant = corrected(heard)
        print("six", written(word), written(heard), written(meant) if meant else "-")


def says(word):
    bits, left, found = int("".join(f"{s:05b}" for s in word[:24]), 2), 120, {}
    for name, width in FIELDS:
        left -= width
        found[name] = bits >> left & (1 << width) - 1
    return found


def compare():
    count = refused = 0
    for line in sys.stdin:
        row = json.loads(line)
        code, heard = read(row["code"]), read(row["heard"])
        word = [s ^ m for s, m in zip(code, MASK)]
        if list(CODEC.encode(bytes(word[:24]))) != word:
            sys.exit(f"{row['code']}: the parity differs")
        if says(word) != row["says"]:
            sys.exit(f"{row['code']}: says {says(word)} here, {row['says']} there")
        meant = corrected([None if s is None else s ^ m for s, m in zip(heard, MASK)])
        meant = [s ^ m for s, m in zip(meant, MASK)] if meant else None
        there = read(row["meant"]) if row["meant"] else None
        if row["is_nonsense"]:
            # Corrected there into another code that says what cannot be.
            differs = meant is None or meant == code
        else:
            differs = meant != there
        if differs:
            sys.exit(f"{row['heard']}: means {meant} here, {row['meant']} there")
        count += 1
        refused += meant is None
    if count == 0 or refused in (0, count):
        sys.exit(f"{count} codes, {refused} of them refused: nothing was compared")
    print(f"{count} codes of Shaftbook are those of reedsolo {VERSION}; "
          f"{refused} were refused by both, as too much was wrong")


if __name__ == "__main__":
    if sys.argv[1:2] == ["vectors"] and len(sys.argv) == 4:
        vectors(int(sys.argv[2]), int(sys.argv[3]))
    elif sys.argv[1:] == ["compare"]:
        compare()
    else:
        sys.exit(__doc__)
