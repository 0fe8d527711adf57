# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The invented plates of the simulated runs: their documents, and what those say as arrays. Millimetres and radians.

slot      four edges of a square opening, looked at from inside; three marks
tongue    four outer edges of a raised piece; marks askew
hexagon   six edges of a hexagonal opening, far from the marks
windows   two square openings turned by 27 degrees, each cut in an operation of its own
"""
import numpy as np

REFERENCE = "M0"
MARK_U_MM = 0.010
# name -> marks besides the reference, groups with u
PARTS = {
    "slot": ([(36.0, 0.0), (0.0, 36.0)], {"routed": 0.020}),
    "tongue": ([(58.0, 3.0), (-4.0, 47.0)], {"outline": 0.020}),
    "hexagon": ([(50.0, 0.0), (0.0, -40.0)], {"routed": 0.020}),
    "windows": ([(70.0, 5.0), (-6.0, 66.0)], {"first": 0.015, "second": 0.025}),
}


def turn(angle_rad):
    """The matrices (..., 2, 2) that turn counter-clockwise by the angles (...)."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.stack([np.stack([c, -s], -1), np.stack([s, c], -1)], -2)


def across(v):
    """The vectors (..., 2) turned by a quarter, counter-clockwise."""
    return np.stack([-v[..., 1], v[..., 0]], -1)


def edge(name, middle, outward_deg, half_mm, u_mm, group):
    """An edge through @middle whose free side lies towards @outward_deg."""
    outward = turn(np.radians(outward_deg)) @ np.array([1.0, 0.0])
    along = -across(outward)  # the free side is left of it
    start, end = np.array(middle) - half_mm * along, np.array(middle) + half_mm * along
    return {"name": name, "from": start.round(6).tolist(), "to": end.round(6).tolist(), "free_side": "left",
            "u": u_mm, "group": group}


def edges_of(kind):
    if kind == "slot":
        places = {"east": ((21, 0), 180), "west": ((15, 0), 0), "north": ((0, 21), 270), "south": ((0, 15), 90)}
        return [edge(name, *place, 4, 0.008, "routed") for name, place in places.items()]
    if kind == "tongue":
        places = {"right": ((44, 16), 0), "left": ((9, 16), 180), "top": ((26.5, 35), 90), "bottom": ((26.5, -5), 270)}
        return [edge(name, *place, 4, 0.008, "outline") for name, place in places.items()]
    if kind == "hexagon":
        rays = [turn(np.radians(60 * i)) @ np.array([12.0, 0.0]) for i in range(6)]
        return [edge(f"h{i}", np.array([25, -18]) + ray, 60 * i + 180, 4.5, 0.008, "routed") for i, ray in enumerate(rays)]
    sides = []
    for group, centre in (("first", (18, 12)), ("second", (47, 40))):
        for i in range(4):
            ray = turn(np.radians(27 + 90 * i)) @ np.array([6.0, 0.0])
            sides.append(edge(f"{group}-{i + 1}", np.array(centre) + ray, 207 + 90 * i, 3, 0.006, group))
    return sides


def document(kind, exact):
    """The plate file. @exact: edges and marks are where the file says; else each has its u, and the groups theirs."""
    marks, groups = PARTS[kind]
    edges = edges_of(kind)
    if exact:
        edges = [{k: v for k, v in e.items() if k not in ("u", "group")} for e in edges]
    known = {} if exact else {"u": MARK_U_MM}
    reference = {"name": REFERENCE, "at": [0, 0]}
    plate = {"schema": "tiptrue.plate/1", "name": kind, "serial": "0042", "units": "mm", "reference": REFERENCE,
             "marks": [reference] + [{"name": f"M{i + 1}", "at": list(at), **known} for i, at in enumerate(marks)],
             "edges": edges, "expansion_ppm_per_K": 14, "measured_at_C": 20}
    if not exact:
        plate["groups"] = [{"name": name, "u": u} for name, u in groups.items()]
    return plate


class Plate:
    """A plate's document as arrays: n is the unit normal of an edge towards its free side, and n . u = d on the edge."""

    def __init__(self, kind, exact):
        self.document = document(kind, exact)
        groups = self.document.get("groups", [])
        at_group = {group["name"]: i for i, group in enumerate(groups)}
        marks, edges = self.document["marks"], self.document["edges"]
        self.group_u = np.array([group["u"] for group in groups])
        self.mark_names = [m["name"] for m in marks]
        self.mark_at = np.array([m["at"] for m in marks], float)
        self.mark_u = np.array([m.get("u", 0.0) for m in marks])
        self.edge_names = [e["name"] for e in edges]
        start, end = np.array([e["from"] for e in edges]), np.array([e["to"] for e in edges])
        self.length = np.hypot(*(end - start).T)
        self.n = across((end - start) / self.length[:, None])
        self.d = (self.n * start).sum(1)
        self.middle_along = ((start + end) / 2 * across(self.n)).sum(1)
        self.edge_u = np.array([e.get("u", 0.0) for e in edges])
        self.edge_group = np.array([at_group.get(e.get("group"), -1) for e in edges])

    def scale(self, temperature_C):
        return 1 + self.document["expansion_ppm_per_K"] * 1e-6 * (temperature_C - self.document["measured_at_C"])
