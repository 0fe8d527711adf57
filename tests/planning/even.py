# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The planned touches against evenly spread rotations on all edges, as many of them and as many sightings, on five plates.

Both are judged by `check`, which knows nothing of plans: it is given a simulated run of each. even.py --table writes the table of
docs/planning.md.
"""
import json
import math
import os
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "planning"))
import bench  # noqa: E402
from tally import Tally  # noqa: E402

TOUCHES = (18, 24, 36, 48)  # three or more on each edge: plans with fewer leave edges out
NEED_MM = 0.31 + 0.2  # radius and margin of the tip: how near to the ends of an edge it may touch


def even_moves(plate, touches, sightings):
    """Touches on every edge at evenly spread rotations, its ends and middle in turn; the sightings are those of the plan."""
    moves, edges = [], plate["edges"]
    for k, edge in enumerate(edges):
        count = touches // len(edges) + (k < touches % len(edges))
        step = [b - a for a, b in zip(edge["from"], edge["to"])]
        inset = NEED_MM / math.hypot(*step)
        for i in range(count):
            t = (inset, 0.5, 1 - inset)[i % 3]
            moves.append({"kind": "touch", "target": edge["name"], "tip": "t1", "rotation": round(360 * i / count, 6),
                          "at": [a + t * s for a, s in zip(edge["from"], step)]})
    moves = sightings + moves
    return {"schema": "tiptrue.plan/1", "moves": [{**move, "id": i + 1} for i, move in enumerate(moves)]}


def judge(folder, files, plan):
    """The same-plate and the full uncertainty of the offset that `check` expects: roots of the traces of their covariances, in
    mm."""
    path = bench.save(f"{folder}/plan.json", plan)
    log = bench.command("simulate", *files, "--plan", path, "--draw", "--exact")
    tip = json.loads(bench.command("check", *files, "--json", "-", text=log, good=(0, 20)))["tips"][0]
    return [math.hypot(tip[key]["x"], tip[key]["y"]) if tip[key]["x"] is not None and tip[key]["y"] is not None else math.inf
            for key in ("expected_same_plate_u_offset_mm", "expected_u_offset_mm")]


def main():
    tally = Tally()
    table = "--table" in sys.argv
    if table:
        print("| plate | touches | even, on plate | planned, on plate | better by | even, in full | planned, in full |")
        print("|---|---|---|---|---|---|---|")
    for name, plate in bench.PLATES.items():
        with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
            files = ["--plate", bench.save(f"{folder}/plate.json", plate), "--machine",
                     bench.save(f"{folder}/machine.json", bench.machine())]
            for touches in TOUCHES:
                plan = json.loads(bench.command("plan", *files, "--touches", touches, "--json"))
                sightings = [move for move in plan["moves"] if move["kind"] == "sight"]
                tally.check(sum(move["kind"] == "touch" for move in plan["moves"]) == touches, f"{name}: not {touches} touches")
                even = judge(folder, files, even_moves(plate, touches, sightings))
                planned = judge(folder, files, plan)
                better = 1 - planned[0] / even[0]
                if table:
                    um = [f"{1000 * u:.2f} µm" if u < math.inf else "not determined" for u in (even[0], planned[0], even[1],
                    planned[1])]
                    print(f"| {name} | {touches} | {um[0]} | {um[1]} | {100 * better:.1f} % | {um[2]} | {um[3]} |")
                tally.check(planned[0] <= even[0] * (1 + 1e-6),
                            f"{name}, {touches} touches: planned {planned[0]:.6f}, evenly spread {even[0]:.6f} mm")
                tally.check(planned[1] <= even[1] * 1.02,
                            f"{name}, {touches} touches, in full: planned {planned[1]:.6f}, evenly spread {even[1]:.6f} mm")
    tally.close()


if __name__ == "__main__":
    main()
