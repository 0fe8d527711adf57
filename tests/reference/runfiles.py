# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Plate, machine and run log as read by the tests: a second reader of docs/formats.md, independent of the program's own.

Reads well-formed files only. Lengths come out in mm, angles in radians, rotations counter-clockwise seen from above.
"""
import json
import math
import os

import numpy as np

INCH_MM = 25.4


def load(path):
    with open(path, encoding="utf-8") as stream:
        return json.load(stream)


def unit_mm(document):
    return INCH_MM if document.get("units", "mm") == "inch" else 1.0


def standard_u(feature, unit):
    """u as stated, or a tolerance taken as a rectangular half-width; 0 = taken as exact."""
    if "tolerance" in feature:
        return feature["tolerance"] * unit / math.sqrt(3)
    return feature.get("u", 0.0) * unit


class Plate:
    """Marks, groups and edges as arrays; n the unit normal to the free side, n . q = d on the edge."""

    def __init__(self, document):
        unit = unit_mm(document)
        groups = document.get("groups", [])
        self.group = {g["name"]: i for i, g in enumerate(groups)}
        self.group_u = [standard_u(g, unit) for g in groups]
        self.mark = {m["name"]: i for i, m in enumerate(document["marks"])}
        self.mark_at = np.array([m["at"] for m in document["marks"]], float) * unit
        self.mark_u = [0.0 if m["name"] == document["reference"] else standard_u(m, unit) for m in document["marks"]]
        self.mark_group = [self.group.get(m.get("group")) for m in document["marks"]]
        self.edge = {e["name"]: i for i, e in enumerate(document["edges"])}
        self.edge_u = [standard_u(e, unit) for e in document["edges"]]
        self.edge_group = [self.group.get(e.get("group")) for e in document["edges"]]
        start = np.array([e["from"] for e in document["edges"]], float) * unit
        along = np.array([e["to"] for e in document["edges"]], float) * unit - start
        along /= np.hypot(along[:, 0], along[:, 1])[:, None]
        side = np.array([1.0 if e["free_side"] == "left" else -1.0 for e in document["edges"]])
        self.n = np.stack([-along[:, 1], along[:, 0]], axis=1) * side[:, None]
        self.d = (self.n * start).sum(axis=1)
        self.expansion_per_K = document.get("expansion_ppm_per_K", 0.0) * 1e-6
        self.measured_at_C = document.get("measured_at_C", 20.0)


class Machine:
    """What is known of the machine beforehand. None = not stated."""

    def __init__(self, document):
        unit = unit_mm(document)
        rotation = document.get("rotation", {})
        self.turn = -1.0 if rotation.get("sense", "ccw") == "cw" else 1.0
        self.u_rotation = math.radians(rotation.get("u_deg", 0.0))
        self.resolution = document.get("resolution", 0.0) * unit
        self.u_sighting = document["sighting"]["u"] * unit
        self.u_touch = document["touch"]["u"] * unit if "touch" in document else None
        yaw = document.get("yaw")
        self.yaw = None if yaw is None else (math.radians(yaw["value_deg"]), math.radians(yaw["u_deg"]))
        mark = document.get("mark")
        self.mark = None if mark is None else (np.array(mark["at"], float) * unit, mark["u"] * unit)
        self.radius = {t["name"]: (t["radius"] * unit, t["radius_u"] * unit)
                       for t in document.get("tips", []) if "radius_u" in t}


def separator_of(header):
    return next(c for c in (";", "\t", ",") if c in header)


def decimals(cell):
    return len(cell.partition(".")[2])


def read_cells(path):
    """Metadata and rows (dictionaries of text, decimal points) of a CSV run log."""
    with open(path, encoding="utf-8-sig", newline=None) as stream:
        lines = [line.rstrip("\n") for line in stream]
    metadata, rows, names, separator = {}, [], None, ","
    for number, line in enumerate(lines, 1):
        if line.startswith("#"):
            key, _, value = line[1:].partition(":")
            metadata[key.strip()] = value.strip()
        elif names is None:
            separator = separator_of(line)
            names = line.split(separator)
        elif line:
            cells = [c.replace(",", ".") if separator != "," else c for c in line.split(separator)]
            rows.append({**dict(zip(names, cells)), "line": number})
    return metadata, rows


class Rows:
    """The used rows of one kind: heads, temperatures, names, and the quantum of the printed coordinates."""

    def __init__(self, rows, unit, plate):
        self.count = len(rows)
        self.line = [r["line"] for r in rows]
        self.head = np.array([[float(r["x"]), float(r["y"])] for r in rows]).reshape(-1, 2) * unit
        self.target = [r["target"] for r in rows]
        self.tip = [r.get("tip", "") for r in rows]
        self.setup = [r.get("setup") or "1" for r in rows]
        self.rotation = np.radians([float(r.get("rotation") or 0) for r in rows])
        warm = [float(r["temperature"]) - plate.measured_at_C if r.get("temperature") else 0.0 for r in rows]
        self.scale = 1 + plate.expansion_per_K * np.array(warm)
        most = max((decimals(r[c]) for r in rows for c in ("x", "y")), default=0)
        self.quantum = unit * 10.0 ** -most

    def on_grid(self, resolution):
        """Whether every coordinate is a whole multiple of the resolution away from the first one."""
        steps = (self.head - self.head[0]) / resolution
        return bool(np.all(np.abs(steps - np.round(steps)) * resolution <= 0.5 * self.quantum))


class Run:
    """Sightings and touches that take part, in the order of the file."""

    def __init__(self, path, plate):
        metadata, rows = read_cells(path)
        unit = unit_mm(metadata)
        used = [r for r in rows if r.get("contact", "1") != "0" and r.get("stage", "measure") != "find"]
        self.sights = Rows([r for r in used if r["kind"] == "sight"], unit, plate)
        self.touches = Rows([r for r in used if r["kind"] == "touch"], unit, plate)
        self.setups = list(dict.fromkeys(r.get("setup") or "1" for r in rows))
        self.tips = list(dict.fromkeys(self.touches.tip))


def load_case(folder, machine_document=None, log="run.csv"):
    plate = Plate(load(os.path.join(folder, "plate.json")))
    machine = Machine(machine_document or load(os.path.join(folder, "machine.json")))
    return plate, machine, Run(os.path.join(folder, log), plate)
