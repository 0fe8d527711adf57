#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The time of a run of a batch by two programs in turn: ratio.py PROGRAM OTHER [--rounds N] [--runs
N]

Clean runs, and suspect ones of several kinds, each of one tip with 96 touches on eight edges;
processor milliseconds a run on one core, min, median and max of the rounds, and the ratio PROGRAM
over OTHER round by round.
"""
import argparse
import os
import sys
import tempfile

import harness
from harness import Series, table

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "simulation"))
import draw  # noqa: E402
import logs  # noqa: E402
from scenario import Scenario, generator  # noqa: E402

VERDICTS = (0, 10, 20)
KINDS = {
    "clean": {},
    "clean, errors drawn": {"held": False},
    "late 5 %": {"late": 0.05},
    "late 30 %": {"late": 0.3},
    "half of an edge late": {"filmed": "any", "filmed_share": 0.5},
    "four fifths of an edge late": {"filmed": "any", "filmed_share": 0.8},
    "early 6 %": {"early": 0.06},
    "film 30 %": {"late": 0.3, "lateness": "film"},
    "row mislabelled": {"mislabelled": 1},
    "coordinate 10 mm": {"digit": 10.0},
    "rotation slips 45 deg": {"slip": 45.0},
    "plate moved 30 um": {"moved": 0.03},
    "sighting 100 um": {"sighting_off": 0.1},
    "marks swapped": {"swapped": True},
}


def make(folder, faults, runs):
    which = Scenario(
        **{
            "plate": "ragged8",
            "rotations": 12,
            "resight": True,
            "held": True,
            "bare": True,
            **faults,
        }
    )
    return [
        os.path.basename(path)
        for path in logs.write(draw.draw(which, generator(which, 20, 0), runs), folder)
    ]


def measure(programs, folder, names, rounds):
    """Processor ms a run of each program, a Series over the rounds."""
    options = [
        "solve",
        "--plate",
        "plate.json",
        "--machine",
        "machine.json",
        "--json",
        "--jobs",
        "1",
        *names,
    ]
    taken = [[], []]
    for _ in range(rounds):
        for series, program in zip(taken, programs):
            series.append(
                1e3 * harness.run([program, *options], folder, good=VERDICTS).cpu_s / len(names)
            )
    return [Series(series) for series in taken]


def main():
    options = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    options.add_argument("programs", nargs=2, metavar="PROGRAM")
    options.add_argument("--rounds", type=int, default=5)
    options.add_argument("--runs", type=int, default=200)
    given = options.parse_args()
    programs, rows = [os.path.abspath(program) for program in given.programs], []
    for kind, faults in KINDS.items():
        with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
            first, second = measure(
                programs, folder, make(folder, faults, given.runs), given.rounds
            )
        rows.append(
            [kind, *first.cells(3), *second.cells(3), " ".join(first.over(second).cells(2))]
        )
    table(
        ["kind", "min", "median", "max", "other: min", "median", "max", "ratio: min median max"],
        rows,
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
