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


def machine_tip(number):
    return {"name": f"t{number + 1}", "offset": draw.nominal_offset(number).round(3).tolist(),
            "radius": round(draw.nominal_radius(number), 3), "radius_u": draw.RADIUS_U_MM}


def machine_document(scenario):
    s = scenario
    document = {"schema": "tiptrue.machine/1", "name": "bench-5", "units": "mm",
                "rotation": {"sense": "cw" if s.wrong_sense else "ccw", "u_deg": round(float(np.degrees(draw.ROTATION_U_RAD)), 6)},
                "resolution": draw.RESOLUTION_MM, "sighting": {"u": draw.sighting_u_mm(s)},
                "yaw": {"value_deg": 0, "u_deg": round(float(np.degrees(draw.YAW_U_RAD)), 6)}}
    if s.stated:
        document["touch"] = {"u": s.scatter}
    if s.bare:
        return {**document, "tips": [{"name": f"t{i + 1}"} for i in range(s.tips)]}
    return {**document, "tips": [machine_tip(i) for i in range(s.tips)], "limits": LIMITS_MM}


def templates(block):
    """The rows of a log with places for the coordinates: of the sightings before, of each touch from the tip on, of the sightings
    after."""
    d, plate, s = block.design, block.plate, block.scenario
    place = f"%.{draw.sighting_decimals(s)}f"
    before, after = "", ""
    for mark, setup, at_end in zip(d.mark, d.setup_seen, d.at_end):
        row = f"sight,{plate.mark_names[mark]},,{place},{place},,{s.temperature:.1f},{setup + 1},\n"
        before, after = (before, after + row) if at_end else (before + row, after)
    touches = [f"t{t + 1},%.4f,%.4f,{np.degrees(a):.3f},{s.temperature:.1f},{p + 1},1\n"
               for t, a, p in zip(d.tip, d.rotation, d.setup)]
    return before, touches, after


def write(block, folder, which=None, first=0):
    """Write the documents and the runs of @block (those numbered in @which, else all) into @folder; the paths of the logs, which
    are numbered from @first."""
    os.makedirs(folder, exist_ok=True)
    for name, content in (("plate.json", block.plate.document), ("machine.json", machine_document(block.scenario))):
        with open(os.path.join(folder, name), "w", encoding="utf-8") as out:
            json.dump(content, out, indent=1)
    before, touches, after = templates(block)
    before_them, after_them = block.sightings[:, ~block.design.at_end], block.sightings[:, block.design.at_end]
    paths, names = [], block.plate.edge_names
    for i in range(block.count) if which is None else which:
        order, label = block.faults.order[i], block.faults.label[i]
        text = HEAD + before + "".join([f"touch,{names[label[j]]},{touches[j]}" for j in order]) + after
        coordinates = np.concatenate([before_them[i].ravel(), block.touches[i][order].ravel(), after_them[i].ravel()])
        paths.append(os.path.join(folder, f"run-{first + i:04d}.csv"))
        with open(paths[-1], "w", encoding="utf-8") as out:
            out.write(text % tuple(coordinates.tolist()))
    return paths
