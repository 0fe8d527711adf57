#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""What an estimator would have to refuse that is told the kind of fault, its size and the noise,
but not which edge has it: oracle.py [--runs N] [--seed S] [--plate WORD].

Two kinds of one edge's: it lies off by a known distance, in or out; of its touches any share,
equally probable, is late by 20 to 120 um, all others are good. The evidence of each edge, of every
set of its touches, is exact but for the yaw, which is linear within its u: normal densities for
what lies off; for late touches the density of a depth to the power of their number, times the
probability that all depths are possible where the others put this edge. Counted as refused: a run
in which another explanation has odds above 1 : 100 of the best and moves the offset by more than
its 95 % on an axis.
"""
import argparse
from types import SimpleNamespace

import numpy as np
from scipy import special

import bound
import cells
import draw
import scenario

RIVAL_LN, COVERING = 4.6, 1.96
PLACES = np.linspace(-4, 4, 81)  # of an edge, in its standard deviations


def solved(block, unknowns, good, value):
    """ln evidence of the rows, offsets and their standard uncertainties on the same plate, of the
    first tip: least squares with these weights' rows and prior values."""
    k, diagonal = unknowns, np.arange(unknowns.size)
    seen = SimpleNamespace(
        **{**vars(block), "good_touches": block.touches, "good_sightings": block.sightings}
    )
    x = bound.true_vector(block, k)
    touch, by_touch = bound.touch_rows(seen, k, x)
    sight, by_sight = bound.sighting_rows(seen, k, x)
    variance = draw.sighting_u_mm(block.scenario) ** 2
    weight = np.concatenate(
        [good / bound.touch_variance_mm2(block), np.full_like(sight, 1 / variance)], 1
    )
    rows, by = np.concatenate([touch, sight], 1), np.concatenate([by_touch, by_sight], 1)
    prior = k.weight + np.where(k.weight == 0, 1.0, 0.0)  # 1 mm where nothing is known
    data = (by * weight[..., None]).transpose(0, 2, 1) @ by
    normal = data.copy()
    normal[:, diagonal, diagonal] += prior
    size = np.sqrt(normal[:, diagonal, diagonal])
    scaled = normal / size[:, :, None] / size[:, None, :]
    inverse = np.linalg.inv(scaled) / size[:, :, None] / size[:, None, :]
    off = np.where(k.weight > 0, x - value, 0.0)
    gradient = ((by * weight[..., None]).transpose(0, 2, 1) @ rows[..., None])[..., 0] + prior * off
    step = -(inverse @ gradient[..., None])[..., 0]
    left = rows + (by @ step[..., None])[..., 0]
    squares = (weight * left**2).sum(1) + (prior * (off + step) ** 2).sum(1)
    ln_det = np.linalg.slogdet(scaled)[1] + 2 * np.log(size).sum(1)
    used = np.where(weight > 0, weight, 1.0)
    ln = -0.5 * (squares + ln_det) + 0.5 * np.log(used / (2 * np.pi)).sum(1)
    tip = k.tip[0, :2]
    data[:, diagonal, diagonal] += np.where(k.of_plate, 0.0, prior)
    same = (inverse @ data @ inverse)[:, tip, tip]
    return ln, (x + step)[:, tip], np.sqrt(same), left, by, inverse


def off_by(block, unknowns, off_mm):
    """ln evidence, offset and u of each edge in turn off by @off_mm, inwards and outwards."""
    good = np.ones(block.touches.shape[:2])
    for edge in block.design.edges:
        for sign in (-1, 1):
            value = unknowns.value.copy()
            value[unknowns.edge[edge, 0]] += sign * off_mm
            yield edge, solved(block, unknowns, good, value)[:3]


def late_ones(block, unknowns):
    """The same of every set of touches of each edge in turn late, the whole edge first."""
    low, high = draw.LATE_MM
    for edge in block.design.edges:
        on = np.flatnonzero(block.design.edge == edge)
        for chosen in range(2 ** len(on) - 1, 0, -1):
            late = on[(chosen >> np.arange(len(on))) & 1 == 1]
            good = np.ones(block.touches.shape[:2])
            good[:, late] = 0
            ln, offset, u, left, by, inverse = solved(block, unknowns, good, unknowns.value)
            row = by[:, late].mean(1)
            sd = np.sqrt((row[:, None] @ inverse @ row[..., None])[:, 0, 0])
            scatter = np.sqrt(bound.touch_variance_mm2(block)[:, late])[..., None]
            depth = -left[:, late][..., None] + sd[:, None, None] * PLACES
            each = special.ndtr((high - depth) / scatter) - special.ndtr((low - depth) / scatter)
            possible = np.exp(np.log(np.maximum(each, 1e-300)).sum(1))
            weight = np.exp(-0.5 * PLACES**2)
            share = (possible * weight).sum(1) / weight.sum()
            ln = ln + np.log(share + 1e-300) - len(late) * np.log(high - low)
            yield edge, (ln + special.betaln(len(late) + 1, len(on) - len(late) + 1), offset, u)


def refused(hypotheses):
    """Which runs are: arrays of each hypothesis."""
    edge, found = zip(*hypotheses)
    ln, offset, u = (np.array([f[i] for f in found]) for i in range(3))
    best = ln.argmax(0)
    run = np.arange(ln.shape[1])
    apart = np.abs(offset - offset[best, run]) > COVERING * u[best, run]
    rival = (ln > ln[best, run] - RIVAL_LN) & apart.any(-1)
    wrong = np.array(edge)[best] != edge[0]
    return rival.any(0), wrong


def main():
    options = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    options.add_argument("--runs", type=int, default=1000)
    options.add_argument("--seed", type=int, default=20)
    options.add_argument("--plate", default="ragged5")
    given = options.parse_args()
    plate = next(p for p in cells.PLATES if p.startswith(given.plate))
    print(f"{plate}, {given.runs} runs, seed {given.seed}: refused / %, best one another edge / %")
    late = [f"one edge {share}% late" for share in (50, 80, 100)]
    for name in (*late, *(f"edge mistyped {off} mm" for off in (0.2, 1, 5))):
        cell = next(c for c in cells.CELLS if c.name == name)
        which = cells.scenario(cell, plate)
        block = draw.draw(which, scenario.generator(which, given.seed, 0), given.runs)
        unknowns = bound.Unknowns(which, block.plate)
        ways = (
            off_by(block, unknowns, which.mistyped)
            if which.mistyped
            else late_ones(block, unknowns)
        )
        asked, wrong = refused(list(ways))
        print(f"{name}: {100 * asked.mean():.1f}, {100 * wrong.mean():.1f}")


if __name__ == "__main__":
    main()
