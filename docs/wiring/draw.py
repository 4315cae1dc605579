#!/usr/bin/env python3
"""Draws the pictures of docs/WIRING.md.

Needs the version of PyPI's `schemdraw` that `.ci/run` pins; its own SVG backend, so that
the same version gives the same bytes. Values come from `values.py`.

Usage: draw.py FOLDER      writes all pictures there
"""

import os
import re
import sys

import values
import inputs
import panel
import supply

PICTURES = {**panel.PICTURES, **supply.PICTURES, **inputs.PICTURES}


VIEW = re.compile(r'<svg [^>]*viewBox="(\S+) (\S+) (\S+) (\S+)"[^>]*>')


# How far below its middle or its top a text's baseline is, of the font's size.
BASELINE = {"central": 0.36, "hanging": 0.73}
TEXT = re.compile(r'y="(\S+)" dominant-baseline="([\w-]+)"([^>]*? font-size="(\S+)")')


def on_baseline(found):
    """A text's position by its baseline: programs differ in the other ways to give it."""
    y, way, between, size = found.groups()
    return f'y="{float(y) + BASELINE.get(way, 0) * float(size):.3f}"{between}'


def on_white(svg):
    """The picture on white paper: it must be readable on a dark page, too."""
    # Three decimals are enough, and the last bits may differ from one C library to another.
    svg = re.sub(r"-?\d+\.\d{4,}(?!\d)", lambda found: f"{float(found[0]):.3f}", svg)
    paper, found = VIEW.subn(
        r'\g<0><rect x="\1" y="\2" width="\3" height="\4" fill="white"/>', svg, count=1
    )
    if found != 1:
        sys.exit("draw.py: schemdraw's SVG has no viewBox any more")
    paper = TEXT.sub(on_baseline, paper)
    # `sans` is a family on some systems only. A shape a line, so that changes can be read.
    paper = paper.replace('font-family="sans"', 'font-family="sans-serif"')
    return re.sub(r"(?<=>)(?=<(?:path|text|circle|polygon|rect|/svg))", "\n", paper)


def main():
    """Draws all into the folder of the command line."""
    if len(sys.argv) != 2 or not os.path.isdir(sys.argv[1]):
        sys.exit("usage: draw.py FOLDER (an existing one)")
    # Every rule on the values holds, or nothing is drawn.
    list(values.figures())
    for name, draw in PICTURES.items():
        with open(os.path.join(sys.argv[1], f"{name}.svg"), "w", encoding="utf-8") as file:
            file.write(on_white(draw().get_imagedata("svg").decode()) + "\n")


if __name__ == "__main__":
    main()
