#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Clean runs of designs drawn at random: how often what is stated with 95 % holds, and what is
found without cause.

    designs.py [--program PATH] [--runs N] [--designs N] [--first N] [--seed S] [--alarms]

Columns, percent covered: total (x and y apart; the ellipse), on the same plate (plate errors 0),
difference of two tips of a run, of two runs on one plate, runout's length and direction. '!' marks
what is outside 94 to 96 % by more than chance. --alarms shows the findings alone, each as a share
of all runs. Environment: TIPTRUE (without --program).
"""
import sys
import time
from collections import Counter
from dataclasses import replace

import numpy as np
from scipy import stats

import draw
import law
import measure
import outcome
import outside
import program
import scenario
import workers

LEAST, MOST = 0.94, 0.96
MOST_ALARMS, MOST_REPEATS = 0.0014, 0.0003
COVERED = 0.95
COLUMNS = (
    "total axis",
    "total region",
    "same axis",
    "same region",
    "tips",
    "runs",
    "runout",
    "angle",
)


def design(number):
    """The number-th of an endless series of layouts."""
    rng = np.random.default_rng([number, 0x64657369])
    order = [{"resight": True}, {"shuffled": True}, {"resight": True, "shuffled": True}][
        int(rng.integers(3))
    ]
    return scenario.Scenario(
        plate=f"drawn-{number}",
        rotations=int(rng.choice([3, 3, 4, 5, 6, 8, 9, 12, 18, 24])),
        tips=int(rng.integers(1, 5)),
        setups=int(rng.choice([1, 1, 1, 2])),
        scatter=round(float(rng.uniform(0.0015, 0.006)), 4),
        paired=True,
        stated=bool(rng.random() < 0.3),
        bare=bool(rng.random() < 0.5),
        sighting=round(float(rng.uniform(0.001, 0.004)), 4),
        **order,
    )


def factor(dof):
    return stats.t.ppf((1 + COVERED) / 2, np.minimum(dof, 1e9))


def within(error, expanded):
    return np.abs(error) <= expanded


def difference_u(u, other_u, dof, other_dof):
    """Expanded uncertainty of a difference, by Welch and Satterthwaite."""
    variance = u**2 + other_u**2
    with np.errstate(divide="ignore", invalid="ignore"):
        together = variance**2 / (u**4 / dof + other_u**4 / other_dof)
    return factor(np.nan_to_num(together, nan=np.inf)) * np.sqrt(variance)


def held_offset(tip):
    """The offset that differences on one plate are of: that with the plate held, where there is
    one."""
    return np.array(outcome.pair(program.held_offset(tip)))


def ellipse_holds(error, region):
    ends = np.array(
        [[region["semi_major_mm"], region["semi_minor_mm"], np.radians(region["angle_deg"])]]
    )
    return bool(measure.in_region(error[None], ends)[0])


def same_plate_of(tip):
    """u of each axis, and its degrees of freedom."""
    return np.array(outcome.pair(tip["same_plate"]["u_offset_mm"])), program.number(
        tip["same_plate"]["dof"]
    )


def runout_holds(result, tip, true):
    """Whether length and direction of the runout hold; the factor is that of the touches where the
    result gives none."""
    runout = tip["runout"]
    k = runout.get("factor") or factor(
        program.number(runout.get("dof", result["touch_repeatability_mm"]["dof"]))
    )
    turned = (runout["angle_deg"] - np.degrees(np.arctan2(true[1], true[0])) + 180) % 360 - 180
    return within(runout["eccentricity_mm"] - np.hypot(*true), k * runout["u_mm"]), within(
        turned, k * runout["u_deg"]
    )


def tips_hold(result, error):
    """Whether the difference of the first two tips holds, on each axis. @error: (tips, 2), of the
    offsets with the plate held."""
    apart = error[1] - error[0]
    for pair in result.get("between_tips", []):
        if (pair["tip"], pair["over"]) == ("t2", "t1"):
            truth_apart = apart - (held_offset(result["tips"][1]) - held_offset(result["tips"][0]))
            return within(
                np.array(outcome.pair(pair["offset_mm"])) + truth_apart,
                outcome.pair(pair["expanded_mm"]),
            )
    (u, dof), (other_u, other_dof) = (same_plate_of(tip) for tip in result["tips"][:2])
    own, other = (
        np.sqrt(
            np.maximum(v**2 - np.array(outcome.pair(tip["same_plate"]["common_u_mm"])) ** 2, 0)
        )
        for v, tip in zip((u, other_u), result["tips"])
    )
    return within(apart, difference_u(own, other, dof, other_dof))


def count(counts, key, holds):
    for value in np.atleast_1d(holds):
        counts[key, "all"] += 1
        counts[key, "in"] += bool(value)


def judge(counts, results, block):
    """Count what holds in the runs of a block; the last of the tips is looked at alone, so that
    counts are nearly binomial."""
    before = None
    for i, result in enumerate(results):
        tips = sorted(result.get("tips", []), key=lambda tip: tip["tip"])
        usable = len(tips) == block.scenario.tips and all(
            t["offset_mm"] and t["offset_mm"]["x"] is not None for t in tips
        )
        counts["runs"] += 1
        counts["repeat"] += result.get("verdict") not in ("keep", "update")
        for severity, code in {
            (f["severity"], f["code"])
            for f in result.get("findings", [])
            if f["severity"] != "note"
        }:
            counts[f"{severity} {code}"] += 1
        if not usable or result["verdict"] == "repeat":
            before = None
            continue
        last, truth = tips[-1], block.truth.offset[i]
        error = np.array(outcome.pair(last["offset_mm"])) - truth[-1]
        held_error = np.array([held_offset(t) for t in tips]) - truth
        same = block.scenario.held
        coverage = last["same_plate" if same else "coverage"]
        name = "same" if same else "total"
        count(
            counts,
            f"{name} axis",
            within(error if not same else held_error[-1], outcome.pair(coverage["expanded_mm"])),
        )
        count(
            counts,
            f"{name} region",
            ellipse_holds(error if not same else held_error[-1], coverage["region"]),
        )
        if same:
            continue
        holds = runout_holds(result, last, block.truth.runout[i, -1])
        count(counts, "runout", holds[0])
        count(counts, "angle", holds[1])
        if len(tips) > 1:
            count(counts, "tips", tips_hold(result, held_error))
        own = held_error[-1], *same_plate_of(last)
        if i % 2 and before:
            count(
                counts,
                "runs apart",
                within(own[0] - before[0], difference_u(own[1], before[1], own[2], before[2])),
            )
        before = own


def block(which, seed, number, size):
    """Counts of one block of runs, half of them with the plate's errors drawn, half without."""
    counts = Counter()
    for part in (which, replace(which, held=True)):
        drawn = draw.draw(part, scenario.generator(part, seed, number), size // 2)
        judge(counts, outcome.results_of([drawn]), drawn)
    return counts


def cell(counts, key):
    """The text of a share of the table; whether it is inside; what was found."""
    key = "runs apart" if key == "runs" else key
    covered, of = counts[key, "in"], counts[key, "all"]
    if not of:
        return "-", True, ""
    low, high = law.smallest_count(LEAST, of, False), law.largest_count(MOST, of, False)
    inside = low <= covered <= high
    return (
        f"{100 * covered / of:.1f}" + ("" if inside else " !"),
        inside,
        f"{covered} of {of}, {low} to {high} are allowed",
    )


def show_coverage(numbers, sums):
    """Print the table; its figures for outside.judge()."""
    figures = []
    print(
        "| design | touches | "
        + " | ".join(COLUMNS)
        + " | repeat |\n|"
        + "---|" * (len(COLUMNS) + 3)
    )
    for number, counts in zip(numbers, sums):
        which, texts = design(number), []
        for key in COLUMNS:
            text, *rest = cell(counts, key)
            texts.append(text)
            figures.append((f"designs | {number} | {key}", *rest))
        print(
            f"| {number}: {which} | {draw.touches_of(which)} | {' | '.join(texts)} "
            f"| {counts['repeat']}/{counts['runs']} |"
        )
    return figures


def show_alarms(sums):
    """Print each finding as a share of all runs; figures for outside.judge()."""
    total, figures = sum(sums, Counter()), []
    runs = total["runs"]
    print(
        f"\nfound without cause in {runs} clean runs "
        f"(at most {MOST_ALARMS:.2%} each, repeat {MOST_REPEATS:.2%}):"
    )
    for code in sorted(key for key in total if isinstance(key, str) and key != "runs"):
        most = MOST_REPEATS if code == "repeat" else MOST_ALARMS
        figures.append(
            (
                f"designs | all | {code}",
                total[code] <= law.largest_count(most, runs, False),
                f"{total[code]} of {runs}, at most {most:.2%} are allowed",
            )
        )
        print(
            f"  {code} {total[code]}: {100 * total[code] / runs:.3f} %"
            + ("" if figures[-1][1] else " !")
        )
    return figures


def measured(pool, numbers, runs, seed):
    """The counts of each design."""
    size = 2 * scenario.BLOCK
    blocks = max(1, runs // size)
    jobs = [
        (block, design(number), seed, i, min(size, runs))
        for number in numbers
        for i in range(blocks)
    ]
    done = workers.ordered(pool, jobs)
    return [sum((next(done) for _ in range(blocks)), Counter()) for _ in numbers]


def figures(arguments=None):
    """The command line (else @arguments), and what was measured by it, for outside.judge()."""
    options = workers.options(__doc__)
    options.add_argument(
        "--runs",
        type=int,
        default=4000,
        help="of each design, half of them with the plate as stated",
    )
    options.add_argument("--designs", type=int, default=20)
    options.add_argument("--first", type=int, default=1000)
    options.add_argument("--seed", type=int, default=20)
    options.add_argument("--alarms", action="store_true")
    given = workers.read(options, arguments)
    began, numbers = time.monotonic(), range(given.first, given.first + given.designs)
    with workers.pool() as pool:
        sums = measured(pool, numbers, given.runs, given.seed)
    figures = ([] if given.alarms else show_coverage(numbers, sums)) + show_alarms(sums)
    print(f"{time.monotonic() - began:.0f} s", file=sys.stderr)
    return given, figures


if __name__ == "__main__":
    sys.exit(outside.judge(*figures()))
