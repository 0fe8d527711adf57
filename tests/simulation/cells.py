# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Kinds of faults by plates, and how many runs of each may be refused or be wrong in silence.
Percent of all runs; None: no bound.

Plates: the first four have at least 48 touches, of the fifth each edge is touched five times. All
as stated (held), unless the cell says otherwise: so the offset's error is to be within U on the
same plate.
"""
from dataclasses import dataclass

from scenario import Scenario

PLATES = {
    "square x12": dict(plate="square", rotations=12),
    "ragged6 x8": dict(plate="ragged6", rotations=8),
    "ragged8 x6": dict(plate="ragged8", rotations=6),
    "fan x7": dict(plate="fan", rotations=7),
    "ragged5 x5": dict(plate="ragged5", rotations=5, shuffled=True),
}
FEW = ("ragged5 x5",)
COMMON = dict(held=True, resight=True, bare=True, sighting=0.002)


@dataclass(frozen=True)
class Cell:
    name: str
    faults: dict
    many: tuple = (None, None)  # most refused, most silent, with 48 touches or more
    few: tuple = (None, None)  # the same with 25
    only: tuple = ()  # plates that the cell is for; empty: all
    least_refused: float = 0.0
    by_full: bool = False  # silent is what is beyond U in full
    four_edges: tuple = None  # another bound for the square


def late_cells():
    for share in (0.1, 0.2, 0.3):
        yield Cell(f"late {share:.0%}", dict(late=share), (3, 0.1), (12, 0.3))
    yield Cell("late 40%", dict(late=0.4), (22, 0.1), (25, 1))
    for share, many, few in (
        (0.5, (3, 0.1), (15, 0.5)),
        (0.8, (15, 0.3), (50, 3)),
        (1.0, (45, 0.5), (75, 7)),
    ):
        yield Cell(f"one edge {share:.0%} late", dict(filmed="0", filmed_share=share), many, few)
    yield Cell("one edge 50% one depth", dict(filmed="0", filmed_share=0.5, one_depth=True))
    for share in (0.8, 1.0):
        yield Cell(
            f"one edge {share:.0%} one depth",
            dict(filmed="0", filmed_share=share, one_depth=True),
            (None, 0),
            (None, 0),
            by_full=True,
        )
    for name, edges in (("facing", "0+1"), ("adjacent", "0+2")):
        yield Cell(
            f"two {name} edges 50% late", dict(filmed=edges, filmed_share=0.5), (20, 0.1), (45, 0.5)
        )
        yield Cell(f"two {name} edges 100% late", dict(filmed=edges), (None, 3), (None, 6))
    for share, most, most_few in ((0.1, 1, 3), (0.2, 3, 8), (0.3, 6, 20)):
        yield Cell(
            f"film 40 um {share:.0%}",
            dict(late=share, lateness="film", film_depth=0.04),
            (most, 0.7),
            (most_few, 0.5),
        )
    for share, most, most_few in ((0.03, 0.5, 1), (0.06, 2, 3), (0.1, 2, 8)):
        yield Cell(f"early {share:.0%}", dict(early=share), (most, 0.1), (most_few, 0.3))


def other_cells():
    for off in (0.02, 0.05):
        yield Cell(
            f"edge mistyped {off:g} mm", dict(mistyped=off), (None, 0), (None, 0), by_full=True
        )
    for off in (0.2, 1, 5):
        yield Cell(
            f"edge mistyped {off:g} mm", dict(mistyped=off), (30, 1), (50, 1), four_edges=(None, 0)
        )
    yield Cell("row mislabelled", dict(mislabelled=1), (1, 0), (3, 0.3))
    for off in (1, 10, 60):
        yield Cell(f"coordinate {off:g} mm", dict(digit=float(off)), (1, 0), (3, 0.3))
    yield Cell("sighting 15 um", dict(sighting_off=0.015), (1, 0.3), (2, 0.5))
    for off in (0.03, 0.3):
        yield Cell(f"sighting {off * 1000:g} um", dict(sighting_off=off), (1, 0), (2, 0.3))
    yield Cell("sighting misidentified", dict(misidentified=True), (1, 0), (2, 0.3))
    yield Cell("marks swapped", dict(swapped=True), (None, 0), (None, 0), least_refused=100)
    yield Cell("rotation slips 15 deg", dict(slip=15.0), (1, 0.1), (2, 0.3))
    yield Cell("rotation slips 90 deg", dict(slip=90.0), (2, 0.1), (3, 0.3))
    yield Cell("plate moved 15 um", dict(moved=0.015), (5, 0.3), (3, 0.3))
    yield Cell(
        "lost motion 20 um, exact",
        dict(lost_motion=0.02, exact=True),
        (20, 1),
        (None, None),
        only=("square x12", "ragged6 x8"),
        four_edges=(None, 1),
    )


CELLS = (
    Cell("clean, as stated", {}, (0.05, 0), (0.05, 0)),
    Cell("clean, errors drawn", dict(held=False), (0.5, 0), (0.5, 0), by_full=True),
    *late_cells(),
    *other_cells(),
)


def scenario(cell, plate, tips=1, stated=False):
    return Scenario(**{**COMMON, **PLATES[plate], "tips": tips, "stated": stated, **cell.faults})


def bounds(cell, plate):
    """Most refused and most silent, in percent, each None where nothing is asked."""
    if plate in FEW:
        return cell.few
    return cell.four_edges if cell.four_edges and plate.startswith("square") else cell.many
