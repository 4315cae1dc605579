#!/usr/bin/env python3
"""Writes an invented session of a six-needle machine as a capture, with pyvcd.

Usage: make.py six_needle_session.vcd > six_needle_session.counts

Shaft and trim are recorded as an open-collector sensor gives them: active low. The
timescale is 1 us. What the session holds is added up here, as it is written, and
printed; no code of Shaftbook is involved.
"""
import sys

from vcd import VCDWriter

PERIOD_US = 70_000  # 857 stitches a minute
PULSE_US = 12_000
# Colour blocks: needle, jumps, stitches, thread break after the run.
RUNS = [
    (1, 0, 120, False),
    (1, 5, 80, False),
    (4, 3, 210, True),
    (4, 0, 40, False),
    (6, 0, 155, False),
    (2, 12, 95, True),
    (2, 0, 30, False),
    (1, 0, 61, False),
]

stitches = {n: 0 for n in range(1, 7)}
breaks = {n: 0 for n in range(1, 7)}
jumps = trims = 0
running_us = 0
last_pulse = None

with open(sys.argv[1], "w") as out, VCDWriter(
    out, timescale="1 us", date="a day in spring", comment="invented six-needle session"
) as vcd:
    var = lambda name, init: vcd.register_var("head", name, "wire", size=1, init=init)
    shaft, trim = var("shaft_n", 1), var("trim_n", 1)
    code = [var(f"code{k}", "x" if k == 3 else 0) for k in range(4)]
    thread_break, jump = var("break", 0), var("jump", 0)
    level = vcd.register_var("head", "needle_v", "real", init=0.5)
    now = 500_000
    vcd.change(code[3], 1_000, 0)  # unknown at first, as from a floating input
    for needle, jump_count, stitch_count, breaks_after in RUNS:
        for k in range(4):
            vcd.change(code[k], now + 40 * k, (needle - 1) >> k & 1)
        vcd.change(level, now + 200, 0.5 + 0.25 * (needle - 1))
        now += 400_000
        for k in range(jump_count + stitch_count):
            if k < jump_count:
                if k == 0:
                    vcd.change(jump, now + 20_000, 1)
                jumps += 1
            else:
                if k == jump_count and jump_count:
                    vcd.change(jump, now + 20_000, 0)
                stitches[needle] += 1
            now += PERIOD_US
            vcd.change(shaft, now, 0)
            vcd.change(shaft, now + PULSE_US, 1)
            if last_pulse is not None and now - last_pulse <= 2_000_000:
                running_us += now - last_pulse
            last_pulse = now
        now += 200_000
        if breaks_after:
            vcd.change(thread_break, now, 1)
            vcd.change(thread_break, now + 150_000, 0)
            breaks[needle] += 1
            now += 6_000_000
        else:
            # The contact bounces: three edges within 3 ms.
            vcd.change(trim, now, 0)
            vcd.change(trim, now + 900, 1)
            vcd.change(trim, now + 2_700, 0)
            vcd.change(trim, now + 110_000, 1)
            trims += 1
            now += 1_500_000
    vcd.close(now)

for needle in range(1, 7):
    print(f"needle{needle}", stitches[needle])
print("stitches", sum(stitches.values()))
print("jumps", jumps)
print("trims", trims)
for needle in range(1, 7):
    print(f"breaks{needle}", breaks[needle])
print("running_ms", running_us // 1000)
print("end_us", now)
