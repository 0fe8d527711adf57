# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Write simulated runs as files, the same that the tables are made of: write_runs.py SCENARIO SEED FOLDER RUN...

SCENARIO as a table shows it, such as 'late=0.3,exact'; RUN: numbers from 0. Prints the paths of the logs.
"""
import sys

import measure
import scenario

if __name__ == "__main__":
    if len(sys.argv) < 5:
        sys.exit(__doc__)
    try:
        which = scenario.parse(sys.argv[1])
    except ValueError as fault:
        sys.exit(f"write_runs.py: {fault}")
    print("\n".join(measure.keep_runs(which, int(sys.argv[2]), [int(number) for number in sys.argv[4:]], sys.argv[3])))
