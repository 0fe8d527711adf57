# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Few runs of every kind of fault, of the mixture, of wrong rows and of clean designs, in seconds.
With many runs: the tools themselves (make check-statistics). Environment: TIPTRUE, srcdir.
"""
import sys

import designs
import hazard
import mislabels
import outside
import trials

PARTS = (
    (trials, "--runs 10 --plate square --plate ragged5"),
    (hazard, "--runs 400 --tell 3"),
    (mislabels, "--each 61"),
    (designs, "--designs 3 --runs 100"),
)


def main():
    measured = []
    for tool, arguments in PARTS:
        given, figures = tool.figures(arguments.split())
        measured += figures
    return outside.judge(given, measured)


if __name__ == "__main__":
    sys.exit(main())
