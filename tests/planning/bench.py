# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""What the tests of planning and simulation share: invented plates and machines, and the program's commands.
Environment: TIPTRUE.
"""
import json
import math
import os
import subprocess

PROGRAM = os.environ["TIPTRUE"]
SECONDS = 900


def command(*arguments, good=(0,), text=None):
    """Standard output of the program; a RuntimeError where it ends with another status than the @good ones."""
    done = subprocess.run([PROGRAM, *map(str, arguments)], input=text, capture_output=True, text=True, check=False, timeout=SECONDS)
    if done.returncode not in good:
        raise RuntimeError(f"{' '.join(map(str, arguments))} ended with {done.returncode}: {done.stderr[:1000]}")
    return done.stdout


def save(path, document):
    with open(path, "w", encoding="utf-8") as out:
        json.dump(document, out)
    return path


def edge(name, middle, outward_deg, half_mm, **known):
    """An edge through @middle whose free side lies towards @outward_deg."""
    a = math.radians(outward_deg)
    along = (math.sin(a), -math.cos(a))  # the free side is on its left
    ends = [[round(m + s * half_mm * v, 6) for m, v in zip(middle, along)] for s in (-1, 1)]
    return {"name": name, "from": ends[0], "to": ends[1], "free_side": "left", **known}


def plate(name, marks, edges, groups=()):
    return {"schema": "tiptrue.plate/1", "name": name, "serial": "0815", "reference": "M0",
            "marks": [{"name": "M0", "at": [0, 0]}] + [{"name": f"M{i + 1}", "at": list(at), "u": 0.004} for i,
                                                       at in enumerate(marks)],
            "groups": [{"name": g, "u": u} for g, u in groups], "edges": edges}


KNOWN = {"u": 0.005, "group": "routed"}
ROUTED = [("routed", 0.012)]

# Invented plates: a square opening, an oblong one, a hexagon, a plate whose four edges are anything but regular, and a comb of
# five.
PLATES = {
    "slot": plate("slot", [(36, 1.5), (-2.5, 33)], [
        edge("east", (21, 0.7), 180, 4, **KNOWN), edge("west", (14.6, 0.7), 0, 4, **KNOWN),
        edge("north", (17.8, 3.9), 270, 2.6, **KNOWN), edge("south", (17.8, -2.5), 90, 2.6, **KNOWN)], ROUTED),
    "oblong": plate("oblong", [(58, 3), (-4, 47)], [
        edge("right", (44, 16), 180, 4, **KNOWN), edge("left", (9, 16), 0, 4, **KNOWN),
        edge("top", (26.5, 35), 270, 8, **KNOWN), edge("bottom", (26.5, -5), 90, 8, **KNOWN)], ROUTED),
    "hexagon": plate("hexagon", [(50, 0), (0, -40)], [
        edge(f"h{i}", (25 + 12 * math.cos(math.radians(60 * i + 7)), -18 + 12 * math.sin(math.radians(60 * i + 7))), 60 * i + 187,
             4.5,
             **KNOWN) for i in range(6)], ROUTED),
    "askew": plate("askew", [(61, -4)], [
        edge("a", (31, 8), 171, 3.1, **KNOWN), edge("b", (12, 11), 14, 5.2, **KNOWN),
        edge("c", (22, 25), 263, 2.4, u=0.009), edge("d", (19, -9), 118, 4.0, u=0.002)], ROUTED),
    "comb": plate("comb", [(44, 2), (3, 29)], [
        edge("tooth-1", (8, 10), 180, 3, **KNOWN), edge("tooth-2", (16, 10), 180, 3, **KNOWN),
        edge("tooth-3", (24, 10), 180, 3, **KNOWN),
        edge("back", (38, 12), 92, 6, **KNOWN), edge("side", (-7, 14), 0, 2.5, u=0.010)], ROUTED),
}
# Two edges at right angles: the contact radius then rests on what is stated of it.
CORNER = plate("corner", [(36, 1.5), (-2.5, 33)], [edge("east", (21, 0.7), 180, 4, u=0.005),
                                                   edge("north", (17.8, 3.9), 270, 4, u=0.005)])

MOTION = {"safe_height": 11.5, "touch_height": -1.4, "travel_feed": 1500, "plunge_feed": 240, "find_feed": 120, "measure_feed": 30,
          "rotation_feed": 3600, "rotation_word": "A", "probing": "normal", "start_distance": 0.65, "overtravel": 0.45,
          "lost_motion": 0.04, "margin": 0.25, "limits": {"x": [40, 260], "y": [20, 220], "z": [-3, 40], "rotation": [0, 360]}}


def machine(tips=1, radius_mm=0.31, **more):
    return {"schema": "tiptrue.machine/1", "name": "quay bench", "rotation": {"sense": "ccw", "u_deg": 0.1}, "resolution": 0.001,
            "sighting": {"u": 0.002}, "touch": {"u": 0.003}, "yaw": {"value_deg": 0.7, "u_deg": 0.4},
            "mark": {"at": [121.4, 83.2], "u": 0.15},
            "tips": [{"name": f"t{i + 1}", "radius": round(radius_mm + 0.01 * i, 4), "radius_u": 0.02,
                      "offset": [round(-41.3 + 6.5 * i, 4), 12.7], "runout": [0.011, -0.007]} for i in range(tips)], **more}
