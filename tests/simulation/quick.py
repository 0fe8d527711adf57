# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""A few hundred simulated runs of each kind, in seconds: wrong by chance once in 10 000 figures. The full tables are those
of check_statistics.py; under sanitizers, a hundred runs of each.

quick.py [SEED]. Environment: TIPTRUE.
"""
import os
import sys

import report
import tables

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import times  # noqa: E402

if __name__ == "__main__":
    sys.exit(report.run(tables.QUICK, int(sys.argv[1]) if len(sys.argv) > 1 else 20, times(tables.LONG, 100), None))
