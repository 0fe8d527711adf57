# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The uncertainty that `plan` predicts against the scatter of simulated and solved runs, for two and four edges, one and eight
tips, one and two setups.

agreement.py [RUNS]: simulated runs of each kind, 150 by default, 16 under sanitizers, for make check; 2000 for make
check-statistics. The bound is 5 %, or four standard deviations of a scatter estimated from so many runs where that is more.
"""
import json
import os
import sys
import tempfile

import numpy as np

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "planning"))
import bench  # noqa: E402
from tally import Tally, times  # noqa: E402

BOUND = 0.05
KINDS = {  # name -> plate, tips, touches, setups
    "two edges": (bench.CORNER, 1, 16, 1),
    "four edges": (bench.PLATES["slot"], 1, 24, 1),
    "eight tips": (bench.PLATES["slot"], 8, 96, 1),
    "two setups": (bench.PLATES["oblong"], 1, 24, 2),
}


def errors(folder, files, plan, runs, same_plate):
    """Offsets found less offsets true, (runs, tips, 2). @same_plate: the plate's errors are the same in all runs."""
    fixed, true, paths = None, [], []
    plan_path = bench.save(f"{folder}/plan.json", plan)
    for seed in range(runs):
        log, truth_path = f"{folder}/run-{seed}.csv", f"{folder}/truth.json"
        text = bench.command("simulate", *files, "--plan", plan_path, "--draw", "--seed", seed + 1, "--truth-out", truth_path)
        with open(truth_path, encoding="utf-8") as stream:
            truth = json.load(stream)
        if same_plate:
            fixed = fixed or truth
            truth = {**truth, **{part: fixed[part] for part in ("edges", "groups", "marks")}}
            bench.save(truth_path, truth)
            text = bench.command("simulate", *files, "--plan", plan_path, "--truth", truth_path, "--seed", seed + 1)
        with open(log, "w", encoding="utf-8") as out:
            out.write(text)
        paths.append(log)
        true.append([tip["offset"] for tip in truth["tips"]])
    lines = bench.command("solve", *files, "--json", *paths, good=(0, 10, 20)).splitlines()
    found = [[[(tip["same_plate"] if same_plate else tip)["offset_mm"][axis] for axis in "xy"] for tip in json.loads(line)["tips"]]
             for line in lines]
    return np.array(found) - np.array(true)


def ratio(error, predicted, about_mean):
    """Scatter over prediction, pooled over tips and axes."""
    error = error - error.mean(0) if about_mean else error
    runs = len(error) - about_mean
    return float(np.sqrt(((error / predicted) ** 2).sum(0) / runs).mean())


def main():
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else times(150, 16)
    tally = Tally()
    for name, (plate, tips, touches, setups) in KINDS.items():
        with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
            files = ["--plate", bench.save(f"{folder}/plate.json", plate),
                     "--machine", bench.save(f"{folder}/machine.json", bench.machine(tips))]
            plan = json.loads(bench.command("plan", *files, "--touches", touches, "--setups", setups, "--json"))
            for which, key in ((False, "expected_u_offset_mm"), (True, "expected_same_plate_u_offset_mm")):
                predicted = np.array([[tip[key][axis] for axis in "xy"] for tip in plan["tips"]])
                found = ratio(errors(folder, files, plan, runs, which), predicted, which)
                # tips share plate and sightings: only two axes count as independent
                bound = max(BOUND, 4 / np.sqrt(2 * 2 * runs))
                print(f"{name}, {'on this plate' if which else 'in full'}: scatter / predicted = {found:.3f} (within {bound:.3f})")
                tally.check(abs(found - 1) < bound, f"{name}, {key}: scatter is {found:.4f} of what was predicted")
    tally.close()


if __name__ == "__main__":
    main()
