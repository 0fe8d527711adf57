#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Runs of known truth to time with: make_runs.py FOLDER [--runs N] [--touches N] [--tips N] [--seed N]

Writes plate.json, machine.json, run-00001.csv ..., truth.csv (run, tip, offset x, y) and model.txt (what plate and machine state,
a line each, for peers that read no JSON) into FOLDER. The plate is a slot, touched
on its four walls from within; a run sights two marks three times each and touches the walls in turn at ten evenly spaced rotations,
round after round. One touch in twenty is late by 20 to 120 um. All priors are drawn as the plate states them. The rows carry
every column a controller usually fills, since reading is part of what is timed. The same seed gives the same bytes. Standard
library only.
"""
import argparse
import json
import math
import os
import random

SIGMA_MM = 0.003  # of one touch
SIGHT_MM = 0.002  # of one sighting, per axis
LATE_SHARE, LATE_MM = 0.05, (0.020, 0.120)
RESOLUTION_MM = 0.0005
FEED_MM_MIN = 40
FIRST_ROTATION_DEG, ROTATIONS = 13.0, 10
TOUCHES = 92  # of each tip, if nothing else is said: with the sightings 98 observations
PRESENT_MM = (27.4, -33.6)  # offset of the first tip as the machine has it; the others stand in a row
SPACING_MM = 9.0
YAW_DEG = 2.0

SLOT = {"left": (14.0, 11.5, 14.0, 27.5), "right": (23.0, 27.5, 23.0, 11.5),
        "lower": (21.5, 10.0, 15.5, 10.0), "upper": (15.5, 29.0, 21.5, 29.0)}  # from x, y to x, y; the slot is on the right
U_EDGE_MM, U_GROUP_MM, U_MARK_MM = 0.005, 0.012, 0.004
MARKS = {"F0": (0.0, 0.0), "F1": (44.0, 31.0)}


def normal(e):
    """Of the wall from e[0:2] to e[2:4], to its right."""
    length = math.hypot(e[2] - e[0], e[3] - e[1])
    return ((e[3] - e[1]) / length, (e[0] - e[2]) / length)


WALLS = [(name, e, normal(e)) for name, e in SLOT.items()]


def tip_name(index):
    return f"n{index + 1}"


def plate():
    return {"schema": "tiptrue.plate/1", "name": "slot plate", "serial": "0412", "units": "mm", "reference": "F0",
            "marks": [{"name": "F0", "at": MARKS["F0"]}, {"name": "F1", "at": MARKS["F1"], "u": U_MARK_MM}],
            "groups": [{"name": "milled", "u": U_GROUP_MM}],
            "edges": [{"name": name, "from": e[:2], "to": e[2:], "free_side": "right", "u": U_EDGE_MM, "group": "milled"}
                      for name, e in SLOT.items()]}


def present(index):
    return [PRESENT_MM[0] + SPACING_MM * index, PRESENT_MM[1]]


def machine(tips):
    return {"schema": "tiptrue.machine/1", "name": "speed bench", "units": "mm", "rotation": {"sense": "ccw", "u_deg": 0.1},
            "resolution": RESOLUTION_MM, "sighting": {"u": SIGHT_MM}, "touch": {"u": SIGMA_MM},
            "yaw": {"value_deg": YAW_DEG, "u_deg": 1},
            "tips": [{"name": tip_name(i), "offset": present(i), "offset_plate": "0412"} for i in range(tips)],
            "limits": {"permitted_error": 0.040, "expanded_uncertainty": 0.050, "runout": 0.060}}


def model():
    """What plate and machine state, as lines of words."""
    yield f"touch_u {SIGMA_MM}\nsighting_u {SIGHT_MM}\nyaw_deg {YAW_DEG} 1\n"
    yield f"group_u {U_GROUP_MM}\nedge_u {U_EDGE_MM}\nmark_u {U_MARK_MM}\n"
    yield from (f"mark {name} {at[0]} {at[1]}\n" for name, at in MARKS.items())
    yield from (f"edge {name} {n[0]} {n[1]} {n[0] * e[0] + n[1] * e[1]}\n" for name, e, n in WALLS)


def turned(angle_rad, v):
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return (c * v[0] - s * v[1], s * v[0] + c * v[1])


class Run:
    """One run's truth, drawn, and its rows."""

    def __init__(self, draw, tips):
        self.draw = draw
        self.mark = (draw.uniform(90, 160), draw.uniform(70, 120))
        self.yaw_rad = math.radians(draw.gauss(YAW_DEG, 0.5))
        self.offsets = [[a + draw.gauss(0, 0.015) for a in present(i)] for i in range(tips)]
        self.runouts = [turned(draw.uniform(0, 2 * math.pi), (draw.uniform(0.005, 0.04), 0)) for _ in range(tips)]
        self.radii = [draw.uniform(0.2, 0.4) for _ in range(tips)]
        group = [draw.gauss(0, U_GROUP_MM) for _ in range(2)]
        self.marks = {"F0": MARKS["F0"], "F1": [a + draw.gauss(0, U_MARK_MM) for a in MARKS["F1"]]}
        self.walls = [(name, e, n, group, draw.gauss(0, U_EDGE_MM)) for name, e, n in WALLS]
        self.second = 0

    def row(self, kind, target, tip, head, rotation, contact):
        x, y = (round(v / RESOLUTION_MM) * RESOLUTION_MM for v in head)
        self.second += 7
        clock = f"{self.second // 3600 % 24:02d}:{self.second // 60 % 60:02d}:{self.second % 60:02d}"
        feed = FEED_MM_MIN if tip else ""
        return f"{kind},{target},{tip},{x:.4f},{y:.4f},{rotation},,{feed},21.5,2026-05-11T{clock}Z,1,{contact}\n"

    def sight(self, name):
        q = turned(self.yaw_rad, self.marks[name])
        return self.row("sight", name, "", [m + v + self.draw.gauss(0, SIGHT_MM) for m, v in zip(self.mark, q)], "", "")

    def touch(self, wall, tip, rotation_deg):
        name, e, n, group, shift = wall
        along = self.draw.uniform(0.2, 0.8)
        late = self.draw.uniform(*LATE_MM) if self.draw.random() < LATE_SHARE else 0.0
        away = n[0] * group[0] + n[1] * group[1] + shift + self.radii[tip] - late + self.draw.gauss(0, SIGMA_MM)
        centre = (e[0] + along * (e[2] - e[0]) + away * n[0], e[1] + along * (e[3] - e[1]) + away * n[1])
        q, runout = turned(self.yaw_rad, centre), turned(math.radians(rotation_deg), self.runouts[tip])
        head = [m + v - o - r for m, v, o, r in zip(self.mark, q, self.offsets[tip], runout)]
        return self.row("touch", name, tip_name(tip), head, f"{rotation_deg:.1f}", "1")

    def write(self, path, touches):
        """@touches of each tip."""
        with open(path, "w", encoding="utf-8") as stream:
            stream.write("# machine: speed bench\n# plate: slot plate\n# started: 2026-05-11T00:00:00Z\n")
            stream.write("kind,target,tip,x,y,rotation,z,feed,temperature,time,setup,contact\n")
            stream.writelines(self.sight(name) for _ in range(3) for name in MARKS)
            for tip in range(len(self.radii)):
                for i in range(touches):
                    rotation_deg = (FIRST_ROTATION_DEG + 360.0 / ROTATIONS * (i // 4)) % 360
                    stream.write(self.touch(self.walls[i % 4], tip, rotation_deg))


def make(folder, runs=1, touches=TOUCHES, tips=1, seed=20260511):
    """Write the files; the names of the runs within the folder."""
    os.makedirs(folder, exist_ok=True)
    for name, document in (("plate.json", plate()), ("machine.json", machine(tips))):
        with open(os.path.join(folder, name), "w", encoding="utf-8") as stream:
            json.dump(document, stream, indent=1)
    with open(os.path.join(folder, "model.txt"), "w", encoding="utf-8") as stream:
        stream.writelines(model())
    draw = random.Random(seed)
    names = [f"run-{i + 1:05d}.csv" for i in range(runs)]
    with open(os.path.join(folder, "truth.csv"), "w", encoding="utf-8") as truth:
        truth.write("run,tip,x,y\n")
        for name in names:
            run = Run(draw, tips)
            run.write(os.path.join(folder, name), touches)
            truth.writelines(f"{name},{tip_name(i)},{o[0]:.7f},{o[1]:.7f}\n" for i, o in enumerate(run.offsets))
    return names


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("folder")
    parser.add_argument("--runs", type=int, default=1)
    parser.add_argument("--touches", type=int, default=TOUCHES, help="of each tip")
    parser.add_argument("--tips", type=int, default=1)
    parser.add_argument("--seed", type=int, default=20260511)
    make(**vars(parser.parse_args()))


if __name__ == "__main__":
    main()
