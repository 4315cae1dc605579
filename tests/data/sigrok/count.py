#!/usr/bin/env python3
"""Counts what is in a sigrok capture, with nothing but a list of lines.

Usage: count.py CAPTURE.vcd SHAFT TRIM

A rising edge is a change from 0 to 1; the level at the first time stamp is how the
capture found the line, not an edge. Running time is the sum of the gaps between two
rising edges of the shaft that are at most 2 s apart.
"""
import sys

path, shaft, trim = sys.argv[1:]
codes, tick_us, levels = {}, 0, {}
rises = {shaft: [], trim: []}
now = 0
for line in open(path):
    words = line.split()
    if words[:1] == ["$timescale"]:
        tick_us = int(words[1]) * {"us": 1, "ms": 1000}[words[2]]
    elif words[:1] == ["$var"]:
        codes[words[3]] = words[4]
    elif words and words[0].startswith("#"):
        now = int(words[0][1:]) * tick_us
        for change in words[1:]:
            name, level = codes[change[1:]], change[0]
            if name in rises and levels.get(name) == "0" and level == "1":
                rises[name].append(now)
            levels[name] = level
gaps = [b - a for a, b in zip(rises[shaft], rises[shaft][1:])]
print("stitches", len(rises[shaft]))
print("trims", len(rises[trim]))
print("running_ms", sum(g for g in gaps if g <= 2_000_000) // 1000)
print("end_ms", now // 1000)
