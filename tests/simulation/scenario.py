# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""What is simulated: a scenario is what differs from the plain run, written as text such as 'exact,late=0.3'.

The text names the scenario in tables and on the command line, and it is part of the seed, so that the same text, seed and
number of a run always give the same run.
"""
import dataclasses
import zlib

import numpy as np

BLOCK = 100  # runs drawn together


@dataclasses.dataclass(frozen=True)
class Scenario:
    """Lengths in millimetres, angles in degrees. Without more said: four edges, twelve rotations, one tip, all as stated."""
    # the plate, and what is known of it
    plate: str = "slot"
    exact: bool = False       # edges and marks exact, sightings to 0.1 um: the offset's error is that of the touches alone
    held: bool = False        # the plate's errors stay 0, though their u is stated: runs on one and the same plate
    paired: bool = False      # each two runs, one after the other, are on one and the same plate
    faces: str = "all"        # edges touched: all, one-sided (one for each axis), one-direction (a facing pair)
    # the run
    rotations: int = 12
    tips: int = 1
    setups: int = 1           # the second is turned by 180 degrees
    shuffled: bool = False    # touches in random order; else edge after edge
    resight: bool = False     # marks sighted again at the end
    temperature: float = 20.0
    # the machine
    scatter: float = 0.003    # repeatability of a touch
    stated: bool = False      # the repeatability is in the machine file
    # faults
    late: float = 0.0         # share of late touches, 0.02 to 0.12 deep
    lateness: str = "anywhere"  # anywhere, one-edge, two-edges (the share is of all touches), burr (one edge, one depth), film
    #                             (anywhere, one depth), whole-edge
    early: float = 0.0        # share of early touches, by as much
    moved: float = 0.0        # the plate jumps by this, in any direction, after half of the touches
    drift: float = 0.0        # it creeps by this from the first to the last touch
    wrong_sense: bool = False
    oval: float = 0.0         # amplitude of the tip's second harmonic
    lost_motion: float = 0.0  # contact radius along the machine's x less that along y
    edge_off: float = 0.0     # one edge lies off by this, in either direction
    filmed: str = ""          # edges that have late touches of their own: '0', '0+2' (numbers on the plate), or 'any' (one)
    filmed_share: float = 1.0  # of the touches on these edges
    one_depth: bool = False   # these are all equally deep, 0.02 to 0.06; else each 0.02 to 0.12
    film_depth: float = 0.0   # of lateness 'film'; 0: one from 0.02 to 0.12 in each run
    mistyped: float = 0.0     # the first edge lies off by this, in either direction
    mislabelled: int = 0      # rows of touches with another edge's name
    digit: float = 0.0        # one coordinate of one touch is off by this, in either direction
    sighting_off: float = 0.0  # one sighting is off by this, in any direction
    misidentified: bool = False  # one sighting is of another mark than its row says
    swapped: bool = False     # the last two marks of the plate are exchanged in all rows
    slip: float = 0.0         # degrees by which the rotation of one tip slips after half of its touches, in either direction
    radius_off: float = 0.0   # stated radii are wrong by so many of their u, in either direction
    # further of the machine and its file
    bare: bool = False        # nothing is stated of offsets, radii and limits
    sighting: float = 0.003   # repeatability of a sighting

    def __str__(self):
        """The fields that differ from the plain run; 'plain' where none does."""
        changed = []
        for field in dataclasses.fields(self):
            value = getattr(self, field.name)
            if value is True:
                changed.append(field.name)
            elif value != field.default:
                changed.append(f"{field.name}={value}")
        return ",".join(changed) or "plain"


def parse(text):
    """The scenario of a text as str() gives it; a text that is none ends in a ValueError."""
    known = {field.name: field for field in dataclasses.fields(Scenario)}
    changed = {}
    for part in text.split(",") if text != "plain" else []:
        name, _, value = part.partition("=")
        if name not in known:
            raise ValueError(f"'{name}' is no field of a scenario; there are: {' '.join(known)}")
        kind = type(known[name].default)
        changed[name] = True if kind is bool and not value else kind(value)
    return Scenario(**changed)


def generator(scenario, seed, block):
    """The random numbers of one block of runs."""
    return np.random.default_rng([seed, zlib.crc32(str(scenario).encode()), block])
