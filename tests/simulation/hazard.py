#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""How often a run of every kind that comes up is accepted and off by more than 3 U on an axis:
hazard.py [--program PATH] [--runs N] [--seed S]. Prints the shares of each kind, and the share of
all with its upper 95 % limit (Clopper and Pearson).

A block of runs has one plate, number of rotations and machine file, drawn alike among those named
below; each run has a fault drawn from the mixture. In every second block the plate is as stated:
there U on the same plate is what counts, else U in full.
"""
import sys
import time
from collections import Counter
from dataclasses import replace

import numpy as np
from scipy import stats

import draw
import law
import outcome
import outside
import workers
from scenario import Scenario

BLOCK = 200
MOST, GOAL = 1e-3, 1e-4
ENOUGH = 50000
KINDS = ("square", "ragged5", "ragged6", "ragged8")
# kind of fault -> share of all runs
MIXTURE = {
    "clean": 0.50,
    "late": 0.20,
    "half of an edge": 0.08,
    "four fifths of an edge": 0.04,
    "film": 0.04,
    "early": 0.04,
    "mislabelled": 0.02,
    "digit": 0.02,
    "sighting": 0.02,
    "marks exchanged": 0.01,
    "slip": 0.01,
    "moved": 0.01,
    "radius": 0.01,
}


def between(rng, low, high):
    """Evenly in the logarithm."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def fault(kind, rng):
    """Fields of a scenario for one run with this kind of fault."""
    share = {"late": (0.1, 0.3), "film": (0.1, 0.3), "early": (0.03, 0.06)}.get(kind, (0, 0))
    share = float(rng.uniform(*share))
    return {
        "clean": {},
        "late": {"late": share},
        "half of an edge": {"filmed": "any", "filmed_share": 0.5},
        "four fifths of an edge": {"filmed": "any", "filmed_share": 0.8},
        "film": {"late": share, "lateness": "film"},
        "early": {"early": share},
        "mislabelled": {"mislabelled": 1},
        "digit": {"digit": between(rng, 1, 60)},
        "sighting": {"sighting_off": between(rng, 0.015, 0.5)},
        "marks exchanged": {"swapped": True},
        "slip": {"slip": between(rng, 5, 90)},
        "moved": {"moved": between(rng, 0.015, 0.1)},
        "radius": {"radius_off": between(rng, 5, 20)},
    }[kind]


def design(rng, number):
    """What the runs of a block have in common. Touching edge after edge without sighting the marks
    again is not among it: nothing can show then that the plate moved in between."""
    order = [{"resight": True}, {"shuffled": True}, {"resight": True, "shuffled": True}][
        int(rng.integers(3))
    ]
    return Scenario(
        plate=str(rng.choice(KINDS)),
        rotations=int(rng.integers(5, 13)),
        tips=int(rng.choice([1, 1, 3])),
        stated=bool(rng.random() < 0.5),
        bare=bool(rng.random() < 0.5),
        held=number % 2 == 0,
        **order,
    )


def kinds_of(common, runs, rng):
    """The kind of each run; a machine file without radii has none that is wrong."""
    share = dict(MIXTURE)
    if common.bare:
        share["clean"] += share.pop("radius")
    return rng.choice(list(share), runs, p=list(share.values()))


def block(seed, number, size=BLOCK):
    """Counts by (kind, outcome) of one block; and the hazardous runs as text."""
    rng = np.random.default_rng([seed, number, 0x68617A])
    common = design(rng, number)
    kinds = kinds_of(common, size, rng)
    clean = int((kinds == "clean").sum())
    drawn = [draw.draw(common, rng, clean)] if clean else []
    others = [kind for kind in kinds if kind != "clean"]
    faults = [fault(kind, rng) for kind in others]
    drawn += [draw.draw(replace(common, **f), rng, 1) for f in faults]
    answer = outcome.solve(drawn)
    by_u = answer.by_same if common.held else answer.by_full
    hazardous = (answer.accepted & (by_u > outcome.BEYOND)).any(1)
    accepted = answer.accepted.any(1)
    counts, told = Counter(), []
    for i, kind in enumerate(["clean"] * clean + others):
        counts[kind, "runs"] += 1
        counts[kind, "refused"] += not answer.accepted[i].all()
        counts[kind, "accepted"] += accepted[i]
        counts[kind, "hazardous"] += hazardous[i]
        if hazardous[i]:
            which = common if i < clean else replace(common, **faults[i - clean])
            told.append(
                f"{kind}: {which}: {np.nanmax(by_u[i]):.1f} U, "
                f"findings {sorted(set(answer.findings[i])) or 'none'}"
            )
    return counts, told


def upper_limit(count, runs):
    """The share that @count of @runs excludes at 95 %, one-sided."""
    return stats.beta.ppf(0.95, count + 1, runs - count)


def measure(pool, runs, seed):
    sizes = [BLOCK] * (runs // BLOCK) + ([runs % BLOCK] if runs % BLOCK else [])
    total, told = Counter(), []
    for counts, more in workers.ordered(
        pool, [(block, seed, number, size) for number, size in enumerate(sizes)]
    ):
        total.update(counts)
        told += more
    return total, told


def show(total, told, most_told):
    """Print the shares; the figure for outside.judge(): the upper limit decides where there are
    runs enough for it."""
    for text in told[:most_told]:
        print("  " + text)
    print(f"{'kind':24}{'runs':>8}{'refused / %':>13}{'hazardous':>11}{'/ %':>8}")
    for kind in MIXTURE:
        runs, refused, hazardous = (total[kind, what] for what in ("runs", "refused", "hazardous"))
        if runs:
            print(
                f"{kind:24}{runs:8}{100 * refused / runs:13.2f}{hazardous:11}"
                f"{100 * hazardous / runs:8.3f}"
            )
    runs, count = (
        sum(n for (_, what), n in total.items() if what == key) for key in ("runs", "hazardous")
    )
    limit = upper_limit(count, runs)
    print(
        f"hazardous {count} of {runs}: {count / runs:.2e}, upper 95 % limit {limit:.2e} "
        f"(required {MOST:g}, goal {GOAL:g})"
    )
    inside = (
        limit <= MOST if runs >= ENOUGH else count <= law.largest_count(MOST, runs, enough=False)
    )
    return (
        "hazard | all kinds",
        inside,
        f"{count} of {runs}, upper limit {limit:.2e}, at most {MOST:g} is allowed",
    )


def figures(arguments=None):
    """The command line (else @arguments), and what was measured by it, for outside.judge()."""
    options = workers.options(__doc__)
    options.add_argument("--runs", type=int, default=100000)
    options.add_argument("--seed", type=int, default=20)
    options.add_argument("--tell", type=int, default=20, help="hazardous runs that are described")
    given = workers.read(options, arguments)
    began = time.monotonic()
    with workers.pool() as pool:
        figure = show(*measure(pool, given.runs, given.seed), given.tell)
    print(f"{time.monotonic() - began:.0f} s", file=sys.stderr)
    return given, [figure]


if __name__ == "__main__":
    sys.exit(outside.judge(*figures()))
