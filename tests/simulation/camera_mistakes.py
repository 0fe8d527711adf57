#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Mistakes with the camera, on plates, pictures and truths drawn by number: camera_mistakes.py [--plates N] [--runs N] [--first N]

Each mistake is made in the log or the machine file of the same simulated runs. Counted: how often it is named (by the finding that
is meant for it, or refused when read), how often another error finding ends in `repeat` all the same, how often nothing is said and
the offset is right (the model holds it), and how often it is silent: an offset kept or to be written that is off by more than 3 U.
A mistake is to be named in all runs, and silent in none. Environment: TIPTRUE.
"""
import argparse
import copy
import json
import math
import os
import pathlib
import random
import subprocess
import sys
import tempfile

TIPTRUE = os.environ.get("TIPTRUE", "tiptrue")
SIZES = ((1280, 960), (1920, 1080), (640, 480), (2592, 1944))


def tiptrue(folder, *words):
    return subprocess.run([TIPTRUE, *words], cwd=folder, capture_output=True, text=True, check=False)


def draw_plate(rng):
    """Two to four marks and a square or six-sided opening between them, turned by anything."""
    span, turn = rng.uniform(40, 75), rng.uniform(0, 2 * math.pi)
    spots = [(0, 0), (span, rng.uniform(-6, 6)), (rng.uniform(-6, 6), span * rng.uniform(0.6, 1)), (span * 0.9, span * 0.8)]
    marks = [{"name": f"M{k}", "at": [round(c, 4) for c in spot], **({"u": 0.004} if k else {})}
             for k, spot in enumerate(spots[:rng.choice((2, 3, 3, 4))])]
    n, radius = rng.choice((4, 6)), rng.uniform(5, 8)
    middle = (rng.uniform(18, 30), rng.uniform(12, 26))
    corner = [(middle[0] + radius * math.cos(turn + 2 * math.pi * k / n), middle[1] + radius * math.sin(turn + 2 * math.pi * k / n))
              for k in range(n)]
    edges = [{"name": f"e{k}", "from": [round(c, 4) for c in corner[k]], "to": [round(c, 4) for c in corner[(k + 1) % n]],
              "free_side": "left", "u": 0.006} for k in range(n)]
    return {"schema": "tiptrue.plate/1", "name": "pane", "reference": "M0", "marks": marks, "edges": edges}


def draw_machine(rng):
    size, pixel = rng.choice(SIZES), 10 ** rng.uniform(-2.1, -1.5)
    camera = {"size_px": list(size), "u_px": 0.15, "scale_mm_per_px": [round(pixel, 5), round(pixel * rng.uniform(0.97, 1.03), 5)]}
    if rng.random() < 0.8:
        camera["turn_deg"] = round(rng.choice((0, 0, 90, 180, -90)) + rng.gauss(0, 1), 2)
    if rng.random() < 0.2:
        camera["mirrored"] = True
    return {"schema": "tiptrue.machine/1", "name": "loom", "resolution": 0.001, "yaw": {"value_deg": 0, "u_deg": 2},
            "mark": {"at": [144.2, 88.5], "u": 0.5}, "camera": camera,
            "tips": [{"name": "t", "radius": 0.3, "radius_u": 0.01, "offset": [38.61, -16.25]}],
            "limits": {"permitted_error": 0.05}}


def draw_plan(rng, plate, size):
    each = rng.choice((3, 5, 9))
    spots = [(rng.uniform(0.1, 0.9), rng.uniform(0.1, 0.9)) for _ in range(each - 3)] + [(0.12, 0.15), (0.87, 0.2), (0.45, 0.88)]
    moves = [{"kind": "view", "target": mark["name"], "px": round(x * size[0]), "py": round(y * size[1])}
             for mark in plate["marks"] for x, y in spots]
    moves += [{"kind": "touch", "target": edge["name"], "tip": "t", "rotation": 12.7 + 45 * k}
              for edge in plate["edges"] for k in range(8)]
    return {"schema": "tiptrue.plan/1", "moves": [{"id": k + 1, "setup": "1", **move} for k, move in enumerate(moves)]}


def draw_truth(rng, plate, camera):
    turn = camera.get("turn_deg", rng.gauss(0, 2)) + rng.gauss(0, 0.4)
    return {"schema": "tiptrue.truth/1", "poses": [{"setup": "1", "mark": [144.2 + rng.gauss(0, 0.2), 88.5 + rng.gauss(0, 0.2)],
                                                    "yaw_deg": rng.gauss(0, 1)}],
            "tips": [{"tip": "t", "offset": [38.61 + rng.gauss(0, 0.01), -16.25 + rng.gauss(0, 0.01)], "runout": [0.012, -0.02],
                      "radius": 0.3 + rng.gauss(0, 0.005)}],
            "edges": [{"edge": e["name"], "shift": rng.gauss(0, 0.006)} for e in plate["edges"]],
            "marks": [{"mark": m["name"], "shift": [rng.gauss(0, 0.004), rng.gauss(0, 0.004)]} for m in plate["marks"][1:]],
            "touch": {"sigma": 0.0025}, "resolution": 0.001,
            "camera": {"scale_mm_per_px": [s * rng.gauss(1, 0.002) for s in camera["scale_mm_per_px"]], "turn_deg": turn,
                       "shear_deg": rng.gauss(0, 0.05), "mirrored": camera.get("mirrored", False), "sigma_px": 0.15}}


# ---- the mistakes ----

def cells(change):
    """A mistake in the views' rows: @change gets and returns (target, x, y, px, py)."""
    def made(rows, machine, rng, plate):
        size, out, drawn = machine["camera"]["size_px"], [], rng.random()
        for row in rows:
            if row[0] == "view":
                row = row[:]
                row[1], x, y, px, py = change(row[1], *map(float, (row[3], row[4], row[6], row[7])), size, plate, drawn)
                row[3:5], row[6:8] = [f"{x:.4f}", f"{y:.4f}"], [f"{px:.3f}", f"{py:.3f}"]
            out.append(row)
        return out, machine
    return made


def stated(change):
    """A mistake in the machine file: @change gets its camera."""
    def made(rows, machine, rng, plate):
        machine = copy.deepcopy(machine)
        change(machine["camera"], rng)
        return rows, machine
    return made


def swapped(name, x, y, px, py, size, plate, drawn):
    names = [mark["name"] for mark in plate["marks"]]
    pair = [p for p in ((a, b) for i, a in enumerate(names) for b in names[i + 1:])]
    a, b = pair[int(drawn * len(pair))]
    return {a: b, b: a}.get(name, name), x, y, px, py


def times(factor):
    def change(camera, rng):
        camera["scale_mm_per_px"] = [s * factor for s in camera["scale_mm_per_px"]]
    return change


def lens(camera, rng):
    factor = math.exp(rng.choice((-1, 1)) * rng.uniform(math.log(1.08), math.log(3)))
    camera["scale_mm_per_px"] = [s * factor for s in camera["scale_mm_per_px"]]


def moves(factor):
    """The log's lengths in another unit, all of them."""
    def made(rows, machine, rng, plate):
        return [row[:3] + [f"{float(c) * factor:.5f}" for c in row[3:5]] + row[5:] for row in rows], machine
    return made


MISTAKES = {
    # name: (what is done, the findings that name it)
    "nothing": (lambda rows, machine, rng, plate: (rows, machine), ()),
    "two marks exchanged": (cells(swapped), ("marks-off", "mirrored", "marks-exchanged", "yaw-off")),
    "mirrored, left and right": (cells(lambda n, x, y, px, py, s, p, d: (n, x, y, s[0] - px, py)), ("picture-mirrored",)),
    "from the lower left corner": (cells(lambda n, x, y, px, py, s, p, d: (n, x, y, px, s[1] - py)), ("picture-mirrored",)),
    "from the lower right corner": (cells(lambda n, x, y, px, py, s, p, d: (n, x, y, s[0] - px, s[1] - py)), ("camera-off",)),
    "from the middle": (cells(lambda n, x, y, px, py, s, p, d: (n, x, y, px - s[0] / 2, py - s[1] / 2)), ("read",)),
    "px and py exchanged": (cells(lambda n, x, y, px, py, s, p, d: (n, x, y, py, px)), ("read", "picture-mirrored")),
    "scale of another lens": (stated(lens), ("camera-off",)),
    "scale in micrometres": (stated(times(1000)), ("camera-off", "read")),
    "scale in metres": (stated(times(0.001)), ("camera-off", "read")),
    "scale in inches": (stated(times(1 / 25.4)), ("camera-off", "read")),
    "pixels in thousands": (cells(lambda n, x, y, px, py, s, p, d: (n, x, y, px / 1000, py / 1000)), ("implausible",)),
    "pixels as parts of the picture": (cells(lambda n, x, y, px, py, s, p, d: (n, x, y, px / s[0], py / s[1])), ("implausible",)),
    "views' heads in metres": (cells(lambda n, x, y, px, py, s, p, d: (n, x / 1000, y / 1000, px, py)),
                               ("implausible", "unit-suspect", "camera-off", "read")),
    "views' heads in micrometres": (cells(lambda n, x, y, px, py, s, p, d: (n, x * 1000, y * 1000, px, py)),
                                    ("implausible", "unit-suspect", "camera-off", "read")),
    "all lengths in metres": (moves(0.001), ("unit-suspect", "read", "implausible")),
    "all lengths in micrometres": (moves(1000), ("unit-suspect", "read", "implausible")),
}


def judge(result, truth, names):
    """named, refused (repeat, by another finding), harmless or silent; and the codes."""
    codes = sorted({f["code"] for f in result["findings"] if f["severity"] != "note" or f["code"] in names})
    tip = result["tips"][0]
    silent = False
    if tip["verdict"] in ("keep", "update"):
        error = [tip["offset_mm"][k] - truth["tips"][0]["offset"][i] for i, k in enumerate("xy")]
        silent = any(abs(error[i]) > 3 * tip["coverage"]["expanded_mm"][k] for i, k in enumerate("xy"))
    named = any(code in names for code in codes)
    return ("silent" if silent else "named" if named else "refused" if tip["verdict"] == "repeat" else "harmless"), codes


def of_plate(folder, number, runs, wanted, count):
    rng = random.Random(f"camera {number}")
    plate, machine = draw_plate(rng), draw_machine(rng)
    plan = draw_plan(rng, plate, machine["camera"]["size_px"])
    for name, text in (("plate", plate), ("machine", machine), ("plan", plan)):
        (folder / f"{name}.json").write_text(json.dumps(text))
    logs = []
    for k in range(runs):
        truth = draw_truth(rng, plate, machine["camera"])
        (folder / "truth.json").write_text(json.dumps(truth))
        done = tiptrue(folder, "simulate", "--plate", "plate.json", "--machine", "machine.json", "--plan", "plan.json", "--truth",
                       "truth.json", "--seed", str(1000 * number + k))
        assert done.returncode == 0, done.stderr
        logs.append((truth, done.stdout.splitlines()))
    for name in wanted:
        make, names = MISTAKES[name]
        groups = {}
        for k, (truth, lines) in enumerate(logs):
            head = next(i for i, line in enumerate(lines) if line.startswith("kind,"))
            rows, changed = make([line.split(",") for line in lines[head + 1:]], machine, rng, plate)
            (folder / f"run{k}.csv").write_text("\n".join(lines[:head + 1] + [",".join(row) for row in rows]) + "\n")
            groups.setdefault(json.dumps(changed), []).append(k)
        for text, ks in groups.items():
            (folder / "changed.json").write_text(text)
            done = tiptrue(folder, "solve", "--json", "--plate", "plate.json", "--machine", "changed.json",
                           *(f"run{k}.csv" for k in ks))
            results = [json.loads(line) for line in done.stdout.splitlines()]
            solved = {r["run"]["file"]: r for r in results if r["schema"].startswith("tiptrue.result")}
            for k in ks:
                how, codes = ("named" if "read" in names else "refused", ["read"]) if f"run{k}.csv" not in solved \
                    else judge(solved[f"run{k}.csv"], logs[k][0], names)
                count[name].setdefault(how, []).append((number, k, codes))


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--plates", type=int, default=2)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--only", action="append", choices=MISTAKES)
    asked = parser.parse_args()
    wanted = asked.only or list(MISTAKES)
    count = {name: {} for name in wanted}
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as name:
        for number in range(asked.first, asked.first + asked.plates):
            of_plate(pathlib.Path(name), number, asked.runs, wanted, count)
    failed = 0
    print(f"{'% of ' + str(asked.plates * asked.runs) + ' runs':32} named refused harmless silent")
    for name, how in count.items():
        n = sum(map(len, how.values()))
        print(f"{name:32} " + " ".join(f"{100 * len(how.get(k, ())) / n:6.1f}" for k in ("named", "refused", "harmless", "silent")))
        for k in ("refused", "harmless", "silent"):
            if name != "nothing":
                for number, run, codes in how.get(k, ())[:3]:
                    print(f"    {k}: plate {number}, run {run}: {', '.join(codes)}")
        failed += len(how.get("silent", ())) > 0
    print(f"{len(count) - failed} passed, {failed} failed")
    return failed > 0


if __name__ == "__main__":
    sys.exit(main())
