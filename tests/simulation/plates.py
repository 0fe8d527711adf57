# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The invented plates of the simulated runs: their documents, and what those say as arrays. Millimetres and radians.

slot      four edges of a square opening, looked at from inside; three marks
tongue    four outer edges of a raised piece; marks askew
hexagon   six edges of a hexagonal opening, far from the marks
windows   two square openings turned by 27 degrees, each cut in an operation of its own
square    four edges of a square opening below the reference mark
ragged6, ragged8, ragged5    six, eight, five edges at odd angles and of odd lengths; with five, some have hardly a partner
fan       seven edges at odd angles, in two groups
drawn-N   four to nine edges, two to four marks, one or two groups: the N-th of an endless series
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
    "square": ([(48.0, 6.0), (10.0, -40.0)], {"milled": 0.020}),
    "ragged6": ([(48.0, 6.0), (10.0, -40.0)], {"milled": 0.020}),
    "ragged8": ([(48.0, 6.0), (10.0, -40.0)], {"milled": 0.020}),
    "ragged5": ([(48.0, 6.0), (10.0, -40.0)], {"milled": 0.020}),
    "fan": ([(-55.0, 8.0), (12.0, 44.0)], {"left": 0.012, "right": 0.018}),
}
# kind -> (middle, direction of the free side in degrees, half the length, u) of each edge
RAGGED = {
    "square": [((24, -18), 0, 5, 0.008), ((36, -18), 180, 5, 0.008), ((30, -24), 90, 5, 0.008), ((30, -12), 270, 5, 0.008)],
    "ragged6": [((34.425, -26.274), 134.77, 2.77, 0.0095), ((36.460, -21.542), 156.15, 4.29, 0.0092),
                ((32.285, -13.330), 241.61, 2.31, 0.0107), ((28.269, -13.308), 255.30, 5.75, 0.0118),
                ((29.992, -9.628), 277.90, 2.63, 0.0113), ((23.497, -16.686), 359.02, 2.09, 0.0049)],
    "ragged8": [((36.2, -19.5), 171, 4, 0.007), ((33.9, -12.4), 232, 3, 0.009), ((27.1, -11.3), 283, 4.5, 0.006),
                ((23.2, -16.1), 346, 2.5, 0.011), ((24.6, -21.9), 24, 3.5, 0.005), ((28.4, -25.2), 77, 4, 0.008),
                ((33.1, -24.4), 118, 3, 0.010), ((22.7, -18.8), 2, 2, 0.0065)],
    "ragged5": [((32.134, -26.359), 84.87, 2.86, 0.0065), ((34.545, -17.244), 184.91, 4.53, 0.0075),
                ((26.950, -10.387), 297.62, 5.40, 0.0066), ((23.015, -14.976), 314.62, 2.45, 0.0085),
                ((23.471, -15.146), 333.39, 2.76, 0.0097)],
}
FAN = [((-22, 21), 12, 4, 0.006, "left"), ((-10, 30), 263, 3, 0.005, "left"), ((-3, 22), 205, 4, 0.009, "left"),
       ((-14, 12), 97, 5, 0.007, "left"), ((19, 14), 301, 3, 0.004, "right"), ((27, 4), 166, 4, 0.008, "right"),
       ((14, -2), 51, 3.5, 0.010, "right")]


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
    if kind in RAGGED:
        return [edge(f"e{i}", *place, "milled") for i, place in enumerate(RAGGED[kind])]
    if kind == "fan":
        return [edge(f"f{i}", *place) for i, place in enumerate(FAN)]
    sides = []
    for group, centre in (("first", (18, 12)), ("second", (47, 40))):
        for i in range(4):
            ray = turn(np.radians(27 + 90 * i)) @ np.array([6.0, 0.0])
            sides.append(edge(f"{group}-{i + 1}", np.array(centre) + ray, 207 + 90 * i, 3, 0.006, group))
    return sides


def drawn(number):
    """Marks, groups and edges of the plate drawn-@number. Directions are spread, so that every offset is determined."""
    rng = np.random.default_rng([number, 0x706c])
    groups = {f"op{i + 1}": round(rng.uniform(0.005, 0.025), 4) for i in range(rng.integers(1, 3))}
    marks = [tuple((rng.uniform(40, 90) * np.array([np.cos(a), np.sin(a)])).round(3).tolist())
             for a in rng.uniform(0, 2 * np.pi) + np.arange(rng.integers(1, 4)) * rng.uniform(1, 2)]
    count = int(rng.integers(4, 10))
    directions = rng.uniform(0, 360) + 360 / count * np.arange(count) + rng.uniform(-15, 15, count)
    centre = rng.uniform(-30, 30, 2)
    edges = [edge(f"d{i}", centre - rng.uniform(5, 14) * turn(np.radians(a))[:, 0], a, rng.uniform(2, 5),
                  round(rng.uniform(0.004, 0.012), 4), list(groups)[i % len(groups)]) for i, a in enumerate(directions)]
    return marks, groups, edges


def document(kind, exact):
    """The plate file. @exact: edges and marks are where the file says; else each has its u, and the groups theirs."""
    if kind.startswith("drawn-"):
        marks, groups, edges = drawn(int(kind.removeprefix("drawn-")))
    else:
        (marks, groups), edges = PARTS[kind], edges_of(kind)
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
