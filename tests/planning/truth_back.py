# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Property: solving a simulated run without scatter gives its truth back to 1e-6 mm, for random plates, poses and tips.

truth_back.py [PLATES]: random plates, 60 by default, 30 under sanitizers, for make check; 1000 for make check-statistics. What is
random: number, places and directions of edges and marks, sense of rotation, setups, radii, thermal expansion. Solved is with a
machine file that states neither radius nor yaw, since what is stated draws the result towards itself.
"""
import json
import math
import os
import random
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "planning"))
import bench  # noqa: E402
from tally import Tally, times  # noqa: E402

BOUND_MM = 1e-6


def random_plate(rng, seed):
    """Edges all round, at least one free side in each half of the compass along two directions, far enough apart for the tip."""
    centre = (rng.uniform(-60, 60), rng.uniform(-60, 60))
    count, turn, across = rng.randint(4, 8), rng.uniform(0, 360), rng.uniform(5, 20)
    edges = []
    for i in range(count):
        angle = turn + 360 * i / count + rng.uniform(-8, 8)
        far = across * rng.uniform(0.9, 1.4)
        middle = [c + far * f(math.radians(angle)) for c, f in zip(centre, (math.cos, math.sin))]
        edges.append(bench.edge(f"e{i}", middle, angle + 180, rng.uniform(1.2, 0.3 * across)))
    marks = [(rng.uniform(20, 90), rng.uniform(-30, 30)), (rng.uniform(-30, 30), rng.uniform(-90, -20))][:rng.randint(1, 2)]
    plate = bench.plate(f"random {seed}", marks, edges)
    for mark in plate["marks"][1:]:
        del mark["u"]  # exact
    if rng.random() < 0.5:
        plate.update(expansion_ppm_per_K=rng.uniform(5, 30), measured_at_C=rng.uniform(18, 23))
    return plate


def random_machine(rng):
    machine = bench.machine(rng.randint(1, 3), rng.uniform(0.1, 0.5))
    machine["rotation"]["sense"] = rng.choice(["cw", "ccw"])
    machine["yaw"] = {"value_deg": rng.uniform(-180, 180), "u_deg": 0.4}
    machine["mark"] = {"at": [rng.uniform(-300, 300), rng.uniform(-300, 300)], "u": 0.15}
    del machine["resolution"]
    for tip in machine["tips"]:
        tip["offset"] = [rng.uniform(-80, 80), rng.uniform(-80, 80)]
    return machine


def worst(truth, result):
    """The largest difference, in mm, between what is true and what was found: offset, runout, radius, place of the mark."""
    off = 0.0
    for true, found in zip(truth["tips"], result["tips"]):
        pairs = [(true["offset"][i], found["offset_mm"][a]) for i, a in enumerate("xy")]
        pairs += [(true["runout"][i], found["runout"]["at_zero_mm"][a]) for i, a in enumerate("xy")]
        pairs += [(true["radius"], found["contact_radius_mm"])]
        off = max([off] + [abs(a - b) for a, b in pairs])
    for true, found in zip(truth["poses"], result["poses"]):
        off = max([off] + [abs(true["mark"][i] - found["mark_mm"][a]) for i, a in enumerate("xy")])
    return off


def one(seed, folder):
    rng = random.Random(seed)
    files = ["--plate", bench.save(f"{folder}/plate.json", random_plate(rng, seed)),
             "--machine", bench.save(f"{folder}/machine.json", random_machine(rng))]
    setups, tips = rng.randint(1, 2), len(json.load(open(files[3], encoding="utf-8"))["tips"])
    with open(f"{folder}/plan.json", "w", encoding="utf-8") as out:
        out.write(bench.command("plan", *files, "--touches", 12 * tips, "--setups", setups, "--json"))
    truth_path = f"{folder}/truth.json"
    bench.command("simulate", *files, "--plan", f"{folder}/plan.json", "--draw", "--exact", "--seed", seed, "--truth-out",
                  truth_path)
    with open(truth_path, encoding="utf-8") as stream:
        truth = json.load(stream)
    truth["temperature_C"] = rng.uniform(15, 30)
    bench.save(truth_path, truth)
    log = bench.command("simulate", *files, "--plan", f"{folder}/plan.json", "--truth", truth_path)
    with open(files[3], encoding="utf-8") as stream:
        machine = json.load(stream)
    bare = {"schema": machine["schema"], "name": machine["name"], "rotation": machine["rotation"],
            "tips": [{"name": tip["name"]} for tip in machine["tips"]]}
    files[3] = bench.save(f"{folder}/bare.json", bare)
    result = json.loads(bench.command("solve", *files, "--json", "-", text=log, good=(0, 10, 20)))
    return worst(truth, result), result["findings"]


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else times(60, 30)
    tally = Tally()
    largest = 0.0
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        for seed in range(1, count + 1):
            off, findings = one(seed, folder)
            largest = max(largest, off)
            tally.check(off < BOUND_MM, f"plate {seed}: {off:.3g} mm off; findings {[f['code'] for f in findings]}")
    print(f"{count} plates, largest difference {largest:.3g} mm")
    tally.close()


if __name__ == "__main__":
    main()
