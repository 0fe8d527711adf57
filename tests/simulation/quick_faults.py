# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Few runs of every kind of fault, of the mixture, of wrong rows and of clean designs, in seconds.
With many runs: the tools themselves (make check-statistics). Environment: TIPTRUE, srcdir.
"""
import os
import sys

import designs
import hazard
import mislabels
import outside
import trials

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import times  # noqa: E402

PARTS = (
    (trials, f"--runs {times(10, 2)} --plate square --plate ragged5"),
    # touches that do not tell at which row the plate moved, in the verdict hardly in one of twenty
    (trials, "--runs 300 --seed 31 --plate square --cell moved --stated yes"),
    (hazard, f"--runs {times(400, 50)} --tell 3"),
    (mislabels, f"--each {times(61, 366)}"),
    (designs, f"--designs 3 --runs {times(100, 20)}"),
)


def main():
    measured = []
    for tool, arguments in PARTS:
        given, figures = tool.figures(arguments.split())
        measured += figures
    return outside.judge(given, measured)


if __name__ == "__main__":
    sys.exit(main())
