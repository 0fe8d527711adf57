# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""A history of many runs: what is asked of it stays quick. make check fills a small one, and only looks whether all is there; make
check-long fills the promised 100 000 runs of 50 machines, and holds the times against their bounds."""
import json
import os
import pathlib
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

RUNS = int(os.environ.get("RUNS", "300"))
MACHINES = 50
TIMED = 200  # runs that the filler adds one by one
PROMISED = 100000
# ms: adding a run; of one machine of 2000 runs: its series, its list, the command trend, which looks at the latest 2000,
# and with more allowed
BOUNDS = {"add_median": 20, "add_99": 20, "series": 100, "list": 200, "trend": 1500, "trend_of_all": 5000}

bench = pathlib.Path(os.environ["srcdir"]).resolve() / "tests" / "cli" / "bench"
tally = Tally()
with tempfile.TemporaryDirectory() as folder:
    file = os.path.join(folder, "h.db")
    command = [os.path.join(os.environ["builddir"], "tests", "history", "fill_history"), file, str(RUNS), str(MACHINES),
               *(str(bench / name) for name in ("plate.json", "machine.json", "run.csv"))]
    done = subprocess.run(command, stdout=subprocess.PIPE, check=False, universal_newlines=True)
    tally.check(done.returncode == 0, f"the filler exits {done.returncode}")
    found = dict(line.split() for line in done.stdout.splitlines())
    command = [os.environ["TIPTRUE"], "history", "list", "--json", "--history", file]
    listed = subprocess.run(command, stdout=subprocess.PIPE, check=False).stdout.splitlines()[7]
    of_one = sum(1 for i in range(RUNS + TIMED) if i % MACHINES == 7)
    tally.check(int(found["series_runs"]) == of_one, f"{found['series_runs']} runs in the series, not {of_one}")
    tally.check(int(found["list_runs"]) == of_one, f"{found['list_runs']} runs in the list, not {of_one}")
    for name, runs in ("trend", ()), ("trend_of_all", ("--runs", "100000")):
        command = [os.environ["TIPTRUE"], "trend", "--json", "--history", file, "--machine", json.loads(listed)["machine"], *runs]
        begin = time.monotonic()
        trend = subprocess.run(command, stdout=subprocess.PIPE, check=False)
        found[name] = f"{1e3 * (time.monotonic() - begin):.1f}"
        tally.check(trend.returncode == 0 and json.loads(trend.stdout)["runs"] == of_one, f"{name} exits {trend.returncode}")
    if RUNS >= PROMISED:
        for name, bound in BOUNDS.items():
            tally.check(float(found[name]) <= bound, f"{name}: {found[name]} ms, at most {bound}")
    command = [os.environ["TIPTRUE"], "history", "verify", "--history", file]
    verified = subprocess.run(command, stdout=subprocess.PIPE, check=False, universal_newlines=True)
    tally.check(verified.stdout.startswith(f"{RUNS + TIMED} runs, ") and verified.returncode == 0, verified.stdout)
    print("; ".join(f"{name} {value}" for name, value in found.items()), f"; {os.path.getsize(file) / 1e6:.0f} MB")
tally.close()
