# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""A plan's own runs are used: plans of the fewest touches, and for a target, simulated without faults and solved. At most 0.5 % may
end in repeat; by the binomial law so few runs show more than the bound below with a probability of 1e-3. Fewer touches than a plan
may have are refused, with the number that is needed, and that number is planned.
"""
import json
import os
import re
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "planning"))
import bench  # noqa: E402
from tally import Tally, times  # noqa: E402

RUNS = times(150, 40)    # of each plan
REFUSED = times(9, 4)    # of all of them: 600 runs, 3 expected at 0.5 %; 160 runs, 0.8 expected
PLANS = [  # plate, tips, repeatability of touches stated, options
    ("askew", 1, True, ("--touches", 12)),
    ("hexagon", 1, True, ("--touches", 18)),
    ("slot", 1, False, ("--target-u", 0.0045)),
    ("askew", 2, True, ("--target-u", 0.0040)),
]


def machine(tips, stated):
    document = bench.machine(tips)
    if not stated:
        del document["touch"]
    return document


def refused(files, folder, options):
    """Which of the plan's simulated runs end in repeat, and with which errors."""
    plan = f"{folder}/plan.json"
    with open(plan, "w", encoding="utf-8") as out:
        out.write(bench.command("plan", *files, "--json", *options))
    logs = []
    for seed in range(RUNS):
        logs.append(f"{folder}/run-{seed}.csv")
        with open(logs[-1], "w", encoding="utf-8") as out:
            out.write(bench.command("simulate", *files, "--plan", plan, "--draw", "--seed", seed + 1))
    results = [json.loads(line) for line in bench.command("solve", *files, "--json", *logs, good=(0, 10, 20)).splitlines()]
    return [sorted({f["code"] for f in r["findings"] if f["severity"] == "error"}) for r in results if r["verdict"] == "repeat"]


def too_few(tally):
    """Seven touches: refused with the number that is needed."""
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        files = ["--plate", bench.save(f"{folder}/plate.json", bench.PLATES["comb"]), "--machine",
                 bench.save(f"{folder}/machine.json", machine(1, False))]
        done = subprocess.run([bench.PROGRAM, "plan", *files, "--touches", "7"], capture_output=True, text=True, check=False)
        needed = re.search(r"7 touches are too few .* at least (\d+) are needed", done.stderr)
        tally.check(done.returncode == 64 and needed is not None, f"seven touches: {done.returncode}, {done.stderr}")
        if needed is not None:
            plan = json.loads(bench.command("plan", *files, "--touches", needed.group(1), "--json"))
            tally.check(plan["touches"] == int(needed.group(1)), f"{needed.group(1)} touches are planned as {plan['touches']}")


def main():
    tally = Tally()
    too_few(tally)
    found = []
    for name, tips, stated, options in PLANS:
        with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
            files = ["--plate", bench.save(f"{folder}/plate.json", bench.PLATES[name]), "--machine",
                     bench.save(f"{folder}/machine.json", machine(tips, stated))]
            these = refused(files, folder, options)
            print(f"{name}, {tips} tips, {' '.join(map(str, options))}: {len(these)} of {RUNS} refused {these}")
            found += these
    tally.check(len(found) <= REFUSED, f"{len(found)} of {RUNS * len(PLANS)} runs are refused, at most {REFUSED} may be")
    tally.close()


main()
