# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Simulated runs as files: plate.json, machine.json, and one log for each run."""
import json
import os

import numpy as np

import draw

HEAD = """# machine: bench-5
# started: 2026-05-04T07:30:00Z
kind,target,tip,x,y,rotation,temperature,setup,contact
"""
LIMITS_MM = {"permitted_error": 0.03, "expanded_uncertainty": 0.09, "runout": 0.08}


def machine_document(scenario):
    s = scenario
    tips = [{"name": f"t{i + 1}", "offset": draw.nominal_offset(i).round(3).tolist(), "radius": round(draw.nominal_radius(i), 3),
             "radius_u": draw.RADIUS_U_MM} for i in range(s.tips)]
    return {"schema": "tiptrue.machine/1", "name": "bench-5", "units": "mm",
            "rotation": {"sense": "cw" if s.wrong_sense else "ccw", "u_deg": round(float(np.degrees(draw.ROTATION_U_RAD)), 6)},
            "resolution": draw.RESOLUTION_MM, "sighting": {"u": draw.sighting_u_mm(s)},
            **({"touch": {"u": s.scatter}} if s.stated else {}),
            "yaw": {"value_deg": 0, "u_deg": round(float(np.degrees(draw.YAW_U_RAD)), 6)}, "tips": tips, "limits": LIMITS_MM}


def templates(block):
    """The rows of a log with places for the coordinates: of the sightings before, of each touch, of the sightings after."""
    d, plate, s = block.design, block.plate, block.scenario
    place = f"%.{draw.sighting_decimals(s)}f"
    before, after = "", ""
    for mark, setup, at_end in zip(d.mark, d.setup_seen, d.at_end):
        row = f"sight,{plate.mark_names[mark]},,{place},{place},,{s.temperature:.1f},{setup + 1},\n"
        before, after = (before, after + row) if at_end else (before + row, after)
    touches = [f"touch,{plate.edge_names[e]},t{t + 1},%.4f,%.4f,{np.degrees(a):.3f},{s.temperature:.1f},{p + 1},1\n"
               for e, t, a, p in zip(d.edge, d.tip, d.rotation, d.setup)]
    return before, touches, after


def write(block, folder, which=None):
    """Write the documents and the runs of @block (those numbered in @which, else all) into @folder; the paths of the logs."""
    os.makedirs(folder, exist_ok=True)
    for name, content in (("plate.json", block.plate.document), ("machine.json", machine_document(block.scenario))):
        with open(os.path.join(folder, name), "w", encoding="utf-8") as out:
            json.dump(content, out, indent=1)
    before, touches, after = templates(block)
    first, last = block.sightings[:, ~block.design.at_end], block.sightings[:, block.design.at_end]
    paths = []
    for i in range(block.count) if which is None else which:
        order = block.faults.order[i]
        text = HEAD + before + "".join([touches[j] for j in order]) + after
        coordinates = np.concatenate([first[i].ravel(), block.touches[i][order].ravel(), last[i].ravel()])
        paths.append(os.path.join(folder, f"run-{i:04d}.csv"))
        with open(paths[-1], "w", encoding="utf-8") as out:
            out.write(text % tuple(coordinates.tolist()))
    return paths
