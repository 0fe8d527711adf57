#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Make the runs of gauge-board/ from a known truth: python3 examples/make-runs.py [FOLDER]

Reads plate.json and machine.json beside the runs, writes run.csv, run-second.csv, run-repeat.csv, run-above.csv and truth.json into
FOLDER (default: gauge-board/ beside this script). The seed is fixed: the same bytes every time. Standard library only.
"""
import json
import math
import os
import random
import sys

HERE = os.path.join(os.path.dirname(os.path.abspath(__file__)), "gauge-board")
ROTATIONS_DEG = [8, 68, 128, 188, 248, 308]  # six, evenly spaced: with four directions of walls twelve directions of contact
SIGMA_MM = 0.002  # of one touch
SIGHT_MM = 0.002  # of one sighting, per axis
FEED_MM_MIN = 45

TRUTH = {
    "schema": "tiptrue.truth/1",
    "poses": [{"setup": "1", "mark": [148.3127, 91.6384], "yaw_deg": 0.2716}],
    "tips": [
        {"tip": "wide", "offset": [36.2193, -18.4471], "runout": [0.0142, 0.0218], "radius": 0.4437, "height": -41.7746,
         "face_runout": {"x": 0.0031, "y": -0.0012}},
        {"tip": "narrow", "offset": [52.9087, -18.3402], "runout": [-0.0231, 0.0096], "radius": 0.2083, "height": -42.1521,
         "face_runout": {"x": -0.0009, "y": 0.0005}}],
    "edges": [
        {"edge": "top-left", "shift": 0.0021}, {"edge": "top-right", "shift": -0.0034},
        {"edge": "right-upper", "shift": 0.0052}, {"edge": "right-lower", "shift": -0.0008},
        {"edge": "bottom-left", "shift": 0.0039}, {"edge": "bottom-right", "shift": 0.0011},
        {"edge": "left-upper", "shift": -0.0027}, {"edge": "left-lower", "shift": -0.0046}],
    "groups": [{"group": "milled", "shift": [0.0047, -0.0036]}],
    "marks": [{"mark": "K2", "shift": [0.0012, -0.0024]}, {"mark": "K3", "shift": [-0.0031, 0.0009]}],
    "pads": [{"pad": "P1", "shift": 0.0017}, {"pad": "P2", "shift": -0.0022}, {"pad": "P3", "shift": 0.0008}],
    "slope_mm_per_m": {"x": 0.43, "y": -0.27},
    "height": {"sigma": SIGMA_MM},
    "camera": {"scale_mm_per_px": [0.017128, 0.017119], "turn_deg": 1.31, "shear_deg": 0.02, "mirrored": False, "kappa": 0,
               "sigma_px": 0.12},
    "touch": {"sigma": SIGMA_MM, "late_share": 0.04, "late_depth": [0.02, 0.08]},
}


def load(name):
    with open(os.path.join(HERE, name), encoding="utf-8") as stream:
        return json.load(stream)


def turned(angle_deg, v):
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return (c * v[0] - s * v[1], s * v[0] + c * v[1])


def matrix(scale, turn_deg, shear_deg):
    """Millimetres along the machine's axes of pixels right and up, [[a, b], [c, d]]."""
    x, y = turned(turn_deg, (scale[0], 0)), turned(turn_deg + shear_deg, (0, scale[1]))
    return ((x[0], y[0]), (x[1], y[1]))


def moved(a, v):
    return [row[0] * v[0] + row[1] * v[1] for row in a]


def inverse(a):
    det = a[0][0] * a[1][1] - a[0][1] * a[1][0]
    return ((a[1][1] / det, -a[0][1] / det), (-a[1][0] / det, a[0][0] / det))


class Bench:
    """The simulated machine: where its head stands for a sighting or a touch, by the touch equation of docs/method.md."""

    def __init__(self, seed, temperature_C):
        self.random = random.Random(seed)
        self.plate, self.machine = load("plate.json"), load("machine.json")
        self.mark, self.yaw_deg = TRUTH["poses"][0]["mark"], TRUTH["poses"][0]["yaw_deg"]
        self.temperature_C = temperature_C
        self.scale = 1 + self.plate["expansion_ppm_per_K"] * 1e-6 * (temperature_C - self.plate["measured_at_C"])
        self.tips = {t["tip"]: t for t in TRUTH["tips"]}
        self.edges = {e["name"]: e for e in self.plate["edges"]}
        self.edge_shift = {e["edge"]: e["shift"] for e in TRUTH["edges"]}
        self.mark_shift = {m["mark"]: m["shift"] for m in TRUTH["marks"]}
        self.group_shift = TRUTH["groups"][0]["shift"]
        self.pads = {p["name"]: p for p in self.plate["pads"]}
        self.pad_shift = {p["pad"]: p["shift"] for p in TRUTH["pads"]}

    def on_plate(self, at, shift=(0, 0)):
        """Where a place of the plate is, from the reference mark, along the machine's axes."""
        return turned(self.yaw_deg, [self.scale * a + s for a, s in zip(at, shift)])

    def mark_at(self, name):
        at = next(m["at"] for m in self.plate["marks"] if m["name"] == name)
        return [m + v for m, v in zip(self.mark, self.on_plate(at, self.mark_shift.get(name, (0, 0))))]

    def sight(self, name):
        return [v + self.random.gauss(0, SIGHT_MM) for v in self.mark_at(name)]

    def view(self, name, wanted_px):
        """Head and pixels: the head goes where the camera's stated scale and turn would put the mark at @wanted_px."""
        camera, mark = self.machine["camera"], self.mark_at(name)
        a = matrix(camera["scale_mm_per_px"], camera["turn_deg"], 0)
        head = [round(m - d, 4) for m, d in zip(mark, moved(a, self.from_centre(wanted_px)))]
        truth = TRUTH["camera"]
        a = matrix(truth["scale_mm_per_px"], truth["turn_deg"], truth["shear_deg"])
        v = moved(inverse(a), [m - h for m, h in zip(mark, head)])
        centre = [s / 2 for s in camera["size_px"]]
        return head, [centre[0] + v[0] + self.random.gauss(0, truth["sigma_px"]),
                      centre[1] - v[1] + self.random.gauss(0, truth["sigma_px"])]

    def from_centre(self, pixel):
        wide, high = self.machine["camera"]["size_px"]
        return (pixel[0] - wide / 2, high / 2 - pixel[1])

    def height(self, pad_name, tip_name, rotation_deg):
        """Head position of a contact from above: the axis over the pad."""
        pad, tip, slope = self.pads[pad_name], self.tips[tip_name], TRUTH["slope_mm_per_m"]
        q = self.on_plate(pad["at"])
        face, c, s = tip["face_runout"], math.cos(math.radians(rotation_deg)), math.sin(math.radians(rotation_deg))
        z = (tip["height"] + (slope["x"] * q[0] + slope["y"] * q[1]) / 1000 + pad["height"] + self.pad_shift[pad_name]
             + face["x"] * c + face["y"] * s + self.random.gauss(0, TRUTH["height"]["sigma"]))
        resolution = self.machine["resolution"]
        return [round((m + v - o) / resolution) * resolution for m, v, o in zip(self.mark, q, tip["offset"])], \
            round(z / resolution) * resolution

    def touch(self, edge_name, tip_name, rotation_deg, along, late_mm=0.0):
        """Head position of a contact; @along in [0, 1] is where on the edge, @late_mm how much too deep."""
        edge, tip = self.edges[edge_name], self.tips[tip_name]
        step = [b - a for a, b in zip(edge["from"], edge["to"])]
        length = math.hypot(*step)
        n = (-step[1] / length, step[0] / length)  # every free side of this plate is on the left
        g = n[0] * self.group_shift[0] + n[1] * self.group_shift[1]
        away = self.edge_shift[edge_name] + g + tip["radius"] - late_mm + self.random.gauss(0, SIGMA_MM)
        centre = [self.scale * (a + along * s) + away * k for a, s, k in zip(edge["from"], step, n)]
        runout = turned(rotation_deg, tip["runout"])
        head = [m + q - o - e for m, q, o, e in zip(self.mark, turned(self.yaw_deg, centre), tip["offset"], runout)]
        resolution = self.machine["resolution"]
        return [round(v / resolution) * resolution for v in head]


class Log:
    """Rows of a run log with a clock."""

    def __init__(self, bench, started_min):
        self.bench, self.clock_s, self.rows = bench, started_min * 60, []
        self.more = {}  # of rows that state z, px or py

    def add(self, kind, target, tip, head, rotation, feed, contact):
        self.clock_s += 4 if kind in ("sight", "view") else 11
        time = f"{self.clock_s // 3600:02d}:{self.clock_s // 60 % 60:02d}:{self.clock_s % 60:02d}Z"
        self.rows.append([kind, target, tip, f"{head[0]:.4f}", f"{head[1]:.4f}", rotation, feed, f"{self.bench.temperature_C:.1f}",
                          time, contact])

    def sight_marks(self):
        for name in ("K1", "K2", "K3") * 2:
            self.add("sight", name, "", self.bench.sight(name), "", "", "")

    def touch(self, edge, tip, rotation, along, late_mm=0.0, kind="touch"):
        head = self.bench.touch(edge, tip, rotation, along, late_mm)
        self.add(kind, edge, tip, head, f"{rotation:.1f}", str(FEED_MM_MIN), "1")

    def view(self, mark, wanted_px):
        head, pixel = self.bench.view(mark, wanted_px)
        self.add("view", mark, "", head, "", "", "")
        self.more[len(self.rows) - 1] = ["", *(f"{p:.2f}" for p in pixel)]

    def height(self, pad, tip, rotation):
        head, z = self.bench.height(pad, tip, rotation)
        self.add("height", pad, tip, head, f"{rotation:.1f}", str(FEED_MM_MIN), "1")
        self.more[len(self.rows) - 1] = [f"{z:.4f}", "", ""]

    def text(self, day, note, separator=","):
        more = ["z", "px", "py"] if self.more else []
        cells = [["kind", "target", "tip", "x", "y", *more, "rotation", "feed", "temperature", "time", "contact"]]
        cells += [[*row[:5], *self.more.get(i, [""] * len(more)), *row[5:8], f"{day}T{row[8]}", row[9]]
                  for i, row in enumerate(self.rows)]
        if separator == ";":
            cells = [cells[0], *([c.replace(".", ",") for c in row] for row in cells[1:])]
        head = f"# machine: weir-bench\n# plate: cross window\n# started: {day}T{self.rows[0][8]}\n# note: {note}\n"
        return head + "".join(separator.join(row) + "\n" for row in cells)


def moves(bench):
    """Every tip on every wall at every rotation, the places along a wall in turn."""
    return [(edge, tip, rotation, 0.3 + 0.2 * (i % 3))
            for tip in bench.tips for edge in bench.edges for i, rotation in enumerate(ROTATIONS_DEG)]


def morning():
    """In order, after two touches to settle; a chip of flux on one wall makes four contacts of the narrow tip late."""
    bench = Bench(170301, 21.5)
    log = Log(bench, 6 * 60 + 52)
    log.sight_marks()
    log.touch("top-left", "wide", 8, 0.5, kind="warmup")
    log.touch("right-lower", "wide", 8, 0.5, kind="warmup")
    late = {("bottom-right", "narrow", 8): 0.041, ("bottom-right", "narrow", 68): 0.063, ("bottom-right", "narrow", 248): 0.027,
            ("left-lower", "narrow", 128): 0.052}
    for edge, tip, rotation, along in moves(bench):
        log.touch(edge, tip, rotation, along, late.get((edge, tip, rotation), 0.0))
    return log.text("2026-04-14", "before the morning's first boards")


def second():
    """The next day, walls and tips in mixed order, from another controller."""
    bench = Bench(170302, 22.0)
    log = Log(bench, 7 * 60 + 5)
    log.sight_marks()
    order = moves(bench)
    bench.random.shuffle(order)
    for move in order:
        log.touch(*move)
    return log.text("2026-04-15", "offset of narrow not yet written", ";")


def slipped():
    """Mixed order; after half of the touches the plate slips by 35 um and the rest is measured where it then lies."""
    bench = Bench(170303, 21.0)
    log = Log(bench, 6 * 60 + 58)
    log.sight_marks()
    order = moves(bench)
    bench.random.shuffle(order)
    for i, move in enumerate(order):
        if i == len(order) // 2:
            bench.mark = [bench.mark[0] + 0.028, bench.mark[1] - 0.021]
        log.touch(*move)
    return log.text("2026-04-16", "one screw of the plate was found loose afterwards")


def above():
    """Marks seen in pixels at three places of the picture at the start and three at the end, nothing centred; touches from above on
    the pads between, each tip out over the pads and back."""
    bench = Bench(170304, 21.5)
    log = Log(bench, 6 * 60 + 47)
    for mark in ("K1", "K2", "K3"):
        for pixel in ((160, 120), (1120, 480), (160, 840)):
            log.view(mark, pixel)
    order = moves(bench)
    bench.random.shuffle(order)
    for move in order:
        log.touch(*move)
    pads = ["P1", "P2", "P3"]
    for tip in bench.tips:
        for i, pad in enumerate(pads + pads[::-1]):
            log.height(pad, tip, ROTATIONS_DEG[i])
    for mark in ("K3", "K2", "K1"):
        for pixel in ((1120, 120), (160, 480), (1120, 840)):
            log.view(mark, pixel)
    return log.text("2026-04-17", "the marks in pixels, nothing centred; touches from above on the pads")


def main():
    folder = sys.argv[1] if len(sys.argv) > 1 else HERE
    for name, text in (("run.csv", morning()), ("run-second.csv", second()), ("run-repeat.csv", slipped()),
                       ("run-above.csv", above()),
                       ("truth.json", json.dumps(TRUTH, indent=1) + "\n")):
        with open(os.path.join(folder, name), "w", encoding="utf-8", newline="\n") as stream:
            stream.write(text)


if __name__ == "__main__":
    main()
