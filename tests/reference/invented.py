# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Invented runs for the comparison with SciPy: what the recorded ones leave out.

hexagon   six edges, yaw 33 degrees, warm plate, clockwise rotation, two tips (one without a stated radius), tolerances, a mark
          in a group, an edge taken as exact
unsighted no sighting at all: the mark rests on the machine file
turned    outer edges in inches, two setups 160 degrees apart, three tips, sightings on the machine's grid
Each is written to a folder as plate.json, machine.json and run.csv; the seed is fixed.
"""
import json
import math
import os

import numpy as np


def turned(angle_deg, v):
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return np.array([c * v[0] - s * v[1], s * v[0] + c * v[1]])


def edge(name, middle, outward_deg, half, **more):
    """An edge through @middle whose free side lies towards @outward_deg."""
    n = turned(outward_deg, (1.0, 0.0))
    along = np.array([-n[1], n[0]])
    start, end = np.array(middle) - half * along, np.array(middle) + half * along
    return {"name": name, "from": start.round(6).tolist(), "to": end.round(6).tolist(), "free_side": "right", **more}


def hexagon_side(i):
    """Four sides milled in one operation, one on its own, one exact."""
    middle = np.array((24, 19)) + turned(60 * i + 11, (9, 0))
    known = {"u": 0.007, "group": "milled"} if i < 4 else {"tolerance": 0.02} if i == 4 else {}
    return edge(f"s{i}", middle, 60 * i + 191, 3.5, **known)


HEXAGON = {
    "plate": {"schema": "tiptrue.plate/1", "name": "six sides", "reference": "A",
              "marks": [{"name": "A", "at": [0, 0]}, {"name": "B", "at": [61.5, 4.25], "tolerance": 0.012, "group": "print"},
                        {"name": "C", "at": [-7.5, 44.0], "u": 0.009}],
              "groups": [{"name": "print", "u": 0.006}, {"name": "milled", "tolerance": 0.045}],
              "edges": [hexagon_side(i) for i in range(6)],
              "expansion_ppm_per_K": 16.5, "measured_at_C": 21.5},
    "machine": {"schema": "tiptrue.machine/1", "name": "bench-7", "rotation": {"sense": "cw", "u_deg": 0.25}, "resolution": 0.002,
                "sighting": {"u": 0.0025}, "touch": {"u": 0.0032}, "yaw": {"value_deg": 33, "u_deg": 1.5},
                "tips": [{"name": "left", "radius": 0.41, "radius_u": 0.015}, {"name": "right"}]},
    "setups": {"1": ((212.5, 96.25), 33.6)}, "sighted": ["A", "A", "B", "B", "C"],
    "tips": {"left": ((-38.2, 9.7), (0.041, -0.027), 0.405), "right": ((-17.9, 10.15), (-0.066, 0.012), 0.334)},
    "rotations": 9, "temperature": 27.3}

UNSIGHTED = {
    "plate": {"schema": "tiptrue.plate/1", "name": "frame", "reference": "R", "marks": [{"name": "R", "at": [0, 0]}],
              "edges": [edge("top", (14, 33), 74, 4), edge("foot", (11, 21), 249, 4, u=0.01),
                        edge("flank", (19, 27), -21, 4, u=0.01), edge("back", (6, 26), 158, 4)]},
    "machine": {"schema": "tiptrue.machine/1", "name": "bench-7", "rotation": {"u_deg": 0.1}, "resolution": 0.005,
                "sighting": {"u": 0.003}, "touch": {"u": 0.004}, "yaw": {"value_deg": 12, "u_deg": 0.2},
                "mark": {"at": [3.2, -1.7], "u": 0.15},
                "tips": [{"name": "t", "radius": 0.3, "radius_u": 0.02}]},
    "setups": {"1": ((3.31, -1.85), 12.1)}, "sighted": [], "tips": {"t": ((22.4, -31.6), (0.018, 0.025), 0.29)},
    "rotations": 7, "temperature": None}

TURNED = {
    "plate": {"schema": "tiptrue.plate/1", "name": "block", "units": "inch", "reference": "N1",
              "marks": [{"name": "N1", "at": [0, 0]}, {"name": "N2", "at": [1.9, -0.15], "u": 0.0004},
                        {"name": "N3", "at": [0.2, 1.55], "u": 0.0004}],
              "groups": [{"name": "outline", "u": 0.0021}],
              "edges": [edge(name, middle, outward_deg, 0.16, u=0.0003, group="outline") for name, middle, outward_deg in
                        (("a", (1.2, 0.6), 7), ("b", (0.3, 0.5), 187), ("c", (0.7, 1.1), 97), ("d", (0.8, 0.1), 277))]},
    "machine": {"schema": "tiptrue.machine/1", "name": "bench-7", "rotation": {"u_deg": 0.1}, "resolution": 0.0025,
                "sighting": {"u": 0.003}, "touch": {"u": 0.003}, "yaw": {"value_deg": 20, "u_deg": 2},
                "tips": [{"name": k, "radius": 0.25, "radius_u": 0.02} for k in ("p", "q", "w")]},
    "setups": {"1": ((151.5, 88.5), 20.7), "2": ((203.0, 117.5), 180.3)}, "sighted": ["N1", "N2", "N3", "N1"],
    "tips": {"p": ((-31.5, 14.2), (0.02, 0.01), 0.243), "q": ((-14.1, 14.6), (-0.03, 0.045), 0.262),
             "w": ((3.3, 14.4), (0.011, -0.05), 0.237)},
    "rotations": 6, "temperature": None, "sight_grid": True}

INVENTED = {"hexagon": HEXAGON, "unsighted": UNSIGHTED, "turned": TURNED}


def sight_lines(case, scale, unit, random):
    grid = case["machine"]["resolution"]
    at = {m["name"]: np.array(m["at"], float) * unit for m in case["plate"]["marks"]}
    for setup, (mark, yaw_deg) in case["setups"].items():
        for name in case["sighted"]:
            h = np.array(mark) + scale * turned(yaw_deg, at[name]) + random.normal(0, 0.003, 2)
            h = np.round(h / grid) * grid if case.get("sight_grid") else h
            yield f"sight,{name},,{h[0]:.4f},{h[1]:.4f},,{setup}"


def touch_lines(case, scale, unit, random):
    grid = case["machine"]["resolution"]
    sense = -1 if case["machine"]["rotation"].get("sense") == "cw" else 1
    for setup, (mark, yaw_deg) in case["setups"].items():
        for tip, (offset, runout, radius) in case["tips"].items():
            for e in case["plate"]["edges"]:
                start, end = np.array(e["from"]) * unit, np.array(e["to"]) * unit
                along = (end - start) / np.hypot(*(end - start))
                n = turned(yaw_deg, (along[1], -along[0]))
                for i in range(case["rotations"]):
                    rotation = 360 / case["rotations"] * i + 4
                    foot = scale * turned(yaw_deg, start + (0.3 + 0.2 * (i % 3)) * (end - start))
                    h = np.array(mark) + foot + (radius + random.normal(0, 0.003)) * n
                    h = np.round((h - np.array(offset) - turned(sense * rotation, runout)) / grid) * grid
                    yield f"touch,{e['name']},{tip},{h[0]:.4f},{h[1]:.4f},{rotation:.3f},{setup}"


def write(name, folder):
    """Write the invented case @name into @folder (made); the same bytes every time."""
    case = INVENTED[name]
    random = np.random.default_rng(20260607)
    unit = 25.4 if case["plate"].get("units") == "inch" else 1.0
    warm = case["temperature"]
    scale = 1.0
    if warm is not None:
        scale += case["plate"]["expansion_ppm_per_K"] * 1e-6 * (warm - case["plate"]["measured_at_C"])
    lines = [*sight_lines(case, scale, unit, random), *touch_lines(case, scale, unit, random)]
    header = "kind,target,tip,x,y,rotation,setup"
    if warm is not None:
        header, lines = header + ",temperature", [f"{line},{warm}" for line in lines]
    os.makedirs(folder, exist_ok=True)
    for document in ("plate", "machine"):
        with open(os.path.join(folder, document + ".json"), "w", encoding="utf-8") as stream:
            json.dump(case[document], stream, indent=1)
    with open(os.path.join(folder, "run.csv"), "w", encoding="utf-8") as stream:
        stream.write("# machine: bench-7\n" + "\n".join([header, *lines]) + "\n")
