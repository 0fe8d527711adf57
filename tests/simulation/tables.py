# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Which scenarios are measured, over how many runs, and what is asked of them. The meaning of the limits is in figures.py."""
from dataclasses import dataclass, field

from scenario import Scenario

CLEAN = (0.945, 0.955)
LATE = (0.94, 0.965)
ALARM = 0.01
FOUND = 0.99
BEYOND = 10          # multiples of the stated u by which no run may be off
SHORT, LONG = 4000, 20000

# late share -> share of repeats, and of the bound's error (most, goal)
ROBUST = {0.0: (0.02, (1.15, 1.10)), 0.1: (0.02, (1.15, 1.10)), 0.2: (0.02, (1.15, 1.10)), 0.3: (0.02, (1.15, 1.10)),
          0.4: (0.25, (1.50, 1.25))}
PLATES = {"slot": {}, "tongue": {"plate": "tongue"}, "hexagon": {"plate": "hexagon", "rotations": 8},
          "windows": {"plate": "windows", "rotations": 6}}


@dataclass(frozen=True)
class Row:
    scenario: Scenario
    runs: int
    limits: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Table:
    title: str
    note: str
    columns: tuple
    rows: tuple


def coverage_rows():
    for plate in ({}, {"held": True}, {"exact": True}):
        limits = {"coverage": CLEAN, "bound": CLEAN}
        yield Row(Scenario(rotations=2, stated=True, **plate), LONG, limits)
        for rotations in (3, 6, 12, 24):
            yield Row(Scenario(rotations=rotations, **plate), LONG, limits)
        yield Row(Scenario(rotations=3, late=0.15, **plate), LONG, {} if plate else {**limits, "coverage": LATE})
        for rotations in (6, 12, 24):
            yield Row(Scenario(rotations=rotations, late=0.15, **plate), LONG, {**limits, "coverage": LATE})


def robust_limits(late):
    most, ratios = ROBUST[late]
    return {"refused": most, "ratio": ratios, "apart": ratios, "largest": BEYOND}


def robust_rows():
    def row(runs, late, **more):
        return Row(Scenario(late=late, **more), runs, robust_limits(late))
    yield from (row(LONG, late, exact=True) for late in ROBUST)
    yield from (row(SHORT, late, exact=True, stated=True) for late in ROBUST)
    yield from (row(SHORT, late) for late in ROBUST)
    for name in ("tongue", "hexagon", "windows"):
        yield from (row(SHORT, late, exact=True, **PLATES[name]) for late in ROBUST)
        yield from (row(SHORT, late, **PLATES[name]) for late in ROBUST)


def clustered_rows():
    for exact in (True, False):
        for lateness, shares in (("one-edge", (0.1, 0.2)), ("two-edges", (0.2, 0.4)), ("burr", (0.1, 0.2)),
                                 ("film", (0.1, 0.2, 0.3)), ("whole-edge", (0.25,))):
            yield from (Row(Scenario(late=late, lateness=lateness, exact=exact), SHORT // 2) for late in shares)
        yield Row(Scenario(early=0.03, exact=exact), SHORT // 2, {"largest": BEYOND})
        yield Row(Scenario(late=0.2, early=0.02, exact=exact), SHORT // 2, {"largest": BEYOND})


def clean_rows():
    def row(runs, called_for=(), **more):
        return Row(Scenario(**more), runs, {"alarms": (ALARM, called_for)})
    for plate in ({}, {"held": True}, {"exact": True}):
        yield row(LONG, rotations=2, stated=True, **plate)
        yield from (row(LONG, rotations=rotations, **plate) for rotations in (3, 6, 12, 24))
    yield row(SHORT, stated=True)
    for name in ("tongue", "hexagon", "windows"):
        yield from (row(SHORT, exact=exact, **PLATES[name]) for exact in (True, False))
        yield row(SHORT, shuffled=True, **PLATES[name])
    yield row(SHORT, shuffled=True)
    yield row(SHORT, shuffled=True, resight=True)
    yield row(SHORT, resight=True)
    yield row(SHORT, scatter=0.001)
    yield row(SHORT, scatter=0.01)
    yield row(SHORT, temperature=24.5)
    yield row(SHORT, tips=2)
    yield row(SHORT // 4, tips=8)
    yield row(SHORT, setups=2)


def fault_rows():
    def row(runs, code, least, **more):
        return Row(Scenario(**more), runs, {"found": (code, least)})
    yield row(LONG, "moved-plate", FOUND, moved=0.015, shuffled=True)
    yield row(SHORT, "moved-plate", FOUND, moved=0.015, shuffled=True, stated=True)
    yield row(SHORT, "moved-plate", FOUND, moved=0.015, shuffled=True, rotations=24)
    yield row(SHORT, "moved-plate", FOUND, moved=0.015, shuffled=True, resight=True)
    yield row(SHORT, "moved-plate", FOUND, moved=0.015, resight=True)
    for name in ("tongue", "hexagon", "windows"):
        yield row(SHORT, "moved-plate", FOUND, moved=0.015, shuffled=True, **PLATES[name])
    yield row(SHORT, "moved-plate", None, moved=0.015, shuffled=True, late=0.1)
    yield row(SHORT, "moved-plate", None, moved=0.008, shuffled=True)
    yield row(SHORT, "moved-plate", None, moved=0.015)
    yield row(SHORT, "drift-in-run", None, drift=0.02, shuffled=True)
    yield row(SHORT, "drift-in-run", None, drift=0.02, resight=True)
    yield row(SHORT, "rotation-sense", FOUND, wrong_sense=True)
    yield row(SHORT, "rotation-sense", FOUND, wrong_sense=True, rotations=24)
    yield row(SHORT, "tip-not-round", FOUND, oval=0.008)
    yield row(SHORT, "tip-not-round", None, oval=0.004)
    yield row(SHORT, "undetermined", FOUND, faces="one-direction")
    yield row(SHORT, "prior-bound", FOUND, faces="one-sided")
    yield row(SHORT, "lost-motion", None, lost_motion=0.01, stated=True)
    yield row(SHORT, "lost-motion", None, lost_motion=0.02, **PLATES["hexagon"])
    yield row(SHORT, "edge-off", None, edge_off=0.12)
    yield row(SHORT, "edge-off", None, edge_off=0.08, **PLATES["hexagon"])


def several_rows():
    for kinds, runs in (({"tips": 2}, SHORT), ({"tips": 8}, SHORT // 4), ({"setups": 2}, SHORT)):
        yield from (Row(Scenario(held=held, **kinds), runs, {"coverage": CLEAN, **robust_limits(0.0)}) for held in (False, True))
        yield Row(Scenario(late=0.2, **kinds), runs, {"coverage": LATE, **robust_limits(0.2)})


TABLES = (
    Table("coverage of the 95 % region",
          "All priors drawn as stated; 'held': the plate's errors are 0, judged by the covariance on the same plate; 'exact':\n"
          "edges and marks exact, so that the region is that of the touches. Asked: 94.5 to 95.5 %, with 15 % late 94 to 96.5 %\n"
          "(12 touches, three on each edge, with 15 % late: only where all is drawn). The bound (good touches, noise known)\n"
          "must cover 95 % too, else the simulation is wrong. With few touches the degrees of freedom are few, and many u no\n"
          "wonder.",
          ("coverage", "bound", "refused", "rms", "largest"), tuple(coverage_rows())),
    Table("late touches, 20 to 120 µm deep, anywhere",
          "Error against the bound: least squares of the good touches alone, noise known. 'same plate': the same ratio without\n"
          "the plate's errors, which hide it elsewhere. Asked up to 30 %: ratio at most 1.15 (goal 1.10), repeat at most 2 %; at\n"
          "40 %: 1.5 (goal 1.25) and 25 %; no run off by more than 10 times its stated u.",
          ("refused", "rms", "of-bound", "ratio", "apart", "largest"), tuple(robust_rows())),
    Table("late touches that keep together, and early ones",
          "Where late touches are most of an edge, or agree in depth, little in the run tells them from good ones: it should end\n"
          "in repeat. Shown without a bound; asked of early touches: no run off by more than 10 times its u.",
          ("refused", "rms", "of-bound", "apart", "largest", "also"), tuple(clustered_rows())),
    Table("findings in clean runs",
          "Asked: each finding in at most 1 % of runs.",
          ("refused", "alarms"), tuple(clean_rows())),
    Table("faults found",
          "Asked: 'moved-plate' in 99 % of runs with a move of 15 µm half-way; as much of a wrong sense, a tip oval by 8 µm, one\n"
          "direction, one side. The rest is shown.",
          ("found", "refused", "also"), tuple(fault_rows())),
    Table("several tips, two setups turned by 180 degrees",
          "As above; of a run with several tips one is looked at, another in each run.",
          ("coverage", "refused", "rms", "of-bound", "ratio", "apart", "largest"), tuple(several_rows())),
)

QUICK = (
    Table("coverage", "", ("coverage", "refused", "largest"), (
        Row(Scenario(rotations=3), 300, {"coverage": CLEAN, "refused": 0.02, "largest": BEYOND}),
        Row(Scenario(held=True), 300, {"coverage": CLEAN, "refused": 0.02, "largest": BEYOND}),
        Row(Scenario(exact=True), 300, {"coverage": CLEAN, "refused": 0.02, "largest": BEYOND}),
        Row(Scenario(exact=True, late=0.15), 300, {"coverage": LATE, "refused": 0.02, "largest": BEYOND}),
        Row(Scenario(setups=2), 300, {"coverage": CLEAN, "refused": 0.02, "largest": BEYOND}))),
    Table("late touches", "", ("refused", "rms", "of-bound", "ratio", "apart", "largest"), tuple(
        Row(Scenario(late=late, exact=exact, **PLATES[name]), 300, robust_limits(late))
        for late, exact, name in ((0.3, True, "slot"), (0.4, True, "slot"), (0.2, False, "hexagon")))),
    Table("clean runs", "", ("alarms",), (
        Row(Scenario(exact=True), 300, {"alarms": (ALARM, ())}),
        Row(Scenario(held=True), 300, {"alarms": (ALARM, ())}),
        Row(Scenario(shuffled=True, **PLATES["windows"]), 300, {"alarms": (ALARM, ())}))),
    Table("faults", "", ("found", "also"), (
        Row(Scenario(moved=0.015, shuffled=True), 200, {"found": ("moved-plate", FOUND)}),
        Row(Scenario(wrong_sense=True), 200, {"found": ("rotation-sense", FOUND)}),
        Row(Scenario(oval=0.008), 200, {"found": ("tip-not-round", FOUND)}),
        Row(Scenario(faces="one-direction"), 100, {"found": ("undetermined", FOUND)}),
        Row(Scenario(faces="one-sided"), 100, {"found": ("prior-bound", FOUND)}))),
)
