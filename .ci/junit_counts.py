#!/usr/bin/env python3
"""Counts the cases of a JUnit file with an independent reader (PyPI junitparser).

Usage: .ci/junit_counts.py FILE CASES    fails unless there are CASES and all held
"""

import sys

from junitparser import JUnitXml

path, cases = sys.argv[1], int(sys.argv[2])
report = JUnitXml.fromfile(path)
stated = report.tests, report.failures, report.errors, report.skipped
found = [case for suite in report for case in suite]
bad = [case.name for case in found if not case.is_passed]
if len(found) != cases or bad or stated != (cases, 0, 0, 0):
    sys.exit(f"{path}: {len(found)} cases, to be {cases}; stated (tests, failures, errors, skipped) {stated}; not held: {bad}")
print(f"{path}: {cases} cases, all held")
