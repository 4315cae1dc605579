"""The command `shaftbook` for the scripts beside this file: builds it, says where it is.

The environment variable SHAFTBOOK_BUILD chooses the build: `release` (as users have it) if it
is not set, or `debug`, which `.ci/run` has anyway for the tests.
"""

import os
import subprocess
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def folder():
    """Builds the command; the folder that it is in."""
    build = os.environ.get("SHAFTBOOK_BUILD", "release")
    line = ["cargo", "build", "--quiet", "--locked", "-p", "host-sim", "--bin", "shaftbook"]
    if build == "release":
        line.append("--release")
    if subprocess.run(line, cwd=ROOT).returncode != 0:
        sys.exit("shaftbook: the build failed")
    target = os.environ.get("CARGO_TARGET_DIR", os.path.join(ROOT, "target"))
    return os.path.join(ROOT, target, build)


def program():
    """Builds the command; its path."""
    return os.path.join(folder(), "shaftbook")
