# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""A few hundred simulated runs of each kind, in seconds: wrong by chance once in 10 000 figures. The full tables are those
of check_statistics.py.

quick.py [SEED]. Environment: TIPTRUE.
"""
import sys

import report
import tables

if __name__ == "__main__":
    sys.exit(report.run(tables.QUICK, int(sys.argv[1]) if len(sys.argv) > 1 else 20, tables.LONG, None))
