# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Plans for a target against all that there are: `plan --touches N --sightings R` for every N and R up to a bound, the fewest moves
of those that meet the target. On plates with edges at crooked angles, one and three tips; what is expected falls with every
touch; and what a plan for eight tips costs. fewest.py --table writes the table of docs/planning.md.
"""
import json
import os
import resource
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "planning"))
import bench  # noqa: E402
from tally import SANITIZED, Tally, times  # noqa: E402

WITHIN = 1.10      # of the fewest moves
SECONDS = 5 if SANITIZED else 0.5  # of processor time, for eight tips; the sanitizers slow it down several times
CASES = [  # plate, tips, most touches of a tip, most sightings, targets
    ("askew", 1, 34, 3, (0.0041, 0.0034, 0.0029)),
    ("hexagon", 1, 34, 3, (0.0041, 0.0034, 0.0028)),
    ("askew", 3, 16, 2, (0.0046, 0.0036)),
]


def plan(files, *options):
    return json.loads(bench.command("plan", *files, "--json", *options, good=(0, 20)))


def worst(proposal):
    return max(max(tip["expected_same_plate_expanded_mm"].values()) for tip in proposal["tips"])


def machine(tips):
    document = bench.machine()
    first = document["tips"][0]
    document["tips"] = [dict(first, name=f"t{i + 1}", radius=round(first["radius"] + 0.013 * i, 3)) for i in range(tips)]
    return document


def scan(files, tips, most, rounds, marks, tally):
    """Moves and expected uncertainty of every plan up to the bounds."""
    found = {}
    for r in range(1, rounds + 1):
        before = float("inf")
        for n in range(12 if tips == 1 else 8, most + 1):
            u = worst(plan(files, "--touches", n * tips, "--sightings", r))
            tally.check(u <= before * 1.0005, f"{n} touches of a tip, {r} sightings: {u}, with one less {before}")
            found[n * tips + 2 * r * marks, n, r] = before = u
    return found


def main():
    tally = Tally()
    table = "--table" in sys.argv
    if table:
        print("| plate | tips | target | fewest of all plans | planned | |\n|---|---|---|---|---|---|")
    for name, tips, most, rounds, targets in CASES[times(0, 2):]:  # the plain build has all
        with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
            files = ["--plate", bench.save(f"{folder}/plate.json", bench.PLATES[name]), "--machine",
                     bench.save(f"{folder}/machine.json", machine(tips))]
            found = scan(files, tips, most, rounds, len(bench.PLATES[name]["marks"]), tally)
            for target in targets:
                fewest = min((moves for (moves, _, _), u in found.items() if u <= target), default=None)
                proposal = plan(files, "--target-u", target)
                moves = proposal["touches"] + proposal["sightings"]
                tally.check(proposal["target_met"] and worst(proposal) <= target, f"{name}: {target} is not met: {worst(proposal)}")
                tally.check(fewest is not None and moves <= WITHIN * fewest,
                            f"{name}, {tips} tips, {target}: {moves} moves, {fewest} do")
                if table:
                    print(f"| {name} | {tips} | {1000 * target:.1f} µm | {fewest} | {moves} | {moves / fewest:.2f} |")
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        files = ["--plate", bench.save(f"{folder}/plate.json", bench.PLATES["askew"]), "--machine",
                 bench.save(f"{folder}/machine.json", machine(8))]
        for target in (0.0035, 0.0025):
            before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
            plan(files, "--target-u", target)
            seconds = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before
            tally.check(seconds <= SECONDS, f"eight tips, {target}: {seconds:.2f} s")
            if table:
                print(f"eight tips, {target}: {seconds:.2f} s")
    tally.close()


main()
