# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The statistics of many simulated runs with known truth, as tables, held to their bounds:

    make check-statistics [RUNS=N] [SEED=S]

Environment: TIPTRUE. The last line counts what holds and what does not; runs that show the latter are written to
statistics-failed/.
"""
import argparse
import sys
import time

import report
import tables


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--runs", type=int, default=tables.LONG,
                         help="runs of a scenario at most; with fewer, bounds widen by the binomial law (default %(default)s)")
    options.add_argument("--seed", type=int, default=20, help="the same seed gives the same runs (default %(default)s)")
    options.add_argument("--table", action="append", metavar="WORD", help="only tables with this word in their title")
    options.add_argument("--keep", default="statistics-failed", metavar="FOLDER",
                         help="where runs outside a bound are written (default %(default)s)")
    given = options.parse_args()
    wanted = [t for t in tables.TABLES if not given.table or any(word in t.title for word in given.table)]
    if not wanted or given.runs < 1 or given.seed < 0:
        options.error("no such table, or runs below 1, or a negative seed")
    began = time.monotonic()
    print(f"seed {given.seed}, at most {given.runs} runs of a scenario; ± is a standard error; '!' marks what is outside its bound")
    status = report.run(wanted, given.seed, given.runs, given.keep)
    print(f"{time.monotonic() - began:.0f} s", file=sys.stderr)
    sys.exit(status)


if __name__ == "__main__":
    main()
