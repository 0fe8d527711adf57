# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""What became of simulated runs, with all their tips: accepted or refused, how far off, by how many
of the stated U."""
import tempfile
from types import SimpleNamespace

import numpy as np

import bound
import draw
import logs
import program
import scenario

BEYOND = 3  # multiples of U (95 %) on an axis beyond which an accepted offset is wrong in silence


def pair(value):
    """x and y of a JSON object, NaN where there are none."""
    value = value or {}
    return [np.nan if value.get(axis) is None else value[axis] for axis in "xy"]


def read(results, tips):
    """Arrays (runs, tips, ...) of the results' offsets, U on the same plate and in full, and
    verdicts; findings of each run."""
    shape = (len(results), tips)
    a = SimpleNamespace(
        offset=np.full((*shape, 2), np.nan),
        held=np.full((*shape, 2), np.nan),
        same=np.full((*shape, 2), np.nan),
        full=np.full((*shape, 2), np.nan),
        accepted=np.zeros(shape, bool),
        findings=[],
    )
    for i, result in enumerate(results):
        for f in result.get("findings", []):
            if f["code"] == "ambiguous" and f["values"]["best"] == f["values"]["rival"]:
                raise RuntimeError(f"two explanations in the same words: {f}")
        a.findings.append([(f["severity"], f["code"]) for f in result.get("findings", [])])
        for tip in result.get("tips", []):
            place = i, int(tip["tip"][1:]) - 1
            a.offset[place], a.accepted[place] = pair(tip["offset_mm"]), tip["verdict"] in (
                "keep",
                "update",
            )
            if tip["offset_mm"]:
                a.held[place] = pair(program.held_offset(tip))
                a.same[place] = pair(tip["same_plate"]["expanded_mm"])
                a.full[place] = pair(tip["coverage"]["expanded_mm"])
    return a


def judge(answer, truth):
    """Adds to @answer how far off the offsets are (mm), and how many U on the worse axis."""
    answer.error = answer.offset - truth
    with np.errstate(invalid="ignore", divide="ignore"):
        answer.by_same = (np.abs(answer.held - truth) / answer.same).max(-1)
        answer.by_full = (np.abs(answer.error) / answer.full).max(-1)
    answer.accepted &= ~np.isnan(answer.error).any(-1)
    return answer


def results_of(blocks):
    """The program's results for runs of one or several blocks that share plate and machine file."""
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        paths = []
        for drawn in blocks:
            paths += logs.write(drawn, folder, first=len(paths))
        return program.solve(folder, paths)


def solve(blocks):
    """The answers to these runs."""
    results = results_of(blocks)
    return judge(
        read(results, blocks[0].scenario.tips),
        np.concatenate([drawn.truth.offset for drawn in blocks]),
    )


def block(which, seed, number, size=scenario.BLOCK):
    """Draw, solve and judge one block; with the errors of the bound."""
    drawn = draw.draw(which, scenario.generator(which, seed, number), size)
    answer = solve([drawn])
    answer.bound_error = bound.solve(drawn)[0] - drawn.truth.offset
    return answer


def joined(answers):
    """One sample of several."""
    whole = SimpleNamespace()
    for name, value in vars(answers[0]).items():
        parts = [getattr(a, name) for a in answers]
        setattr(whole, name, sum(parts, []) if isinstance(value, list) else np.concatenate(parts))
    return whole


def summary(a):
    """Counts of a sample. A run is refused where one of its tips is; silent where one that is
    accepted is off beyond."""
    refused = ~a.accepted.all(1)
    used = a.accepted
    with np.errstate(invalid="ignore"):
        beyond_same, beyond_full = (used & (by > BEYOND) for by in (a.by_same, a.by_full))
        within = refused & (a.by_same <= 1).all(1)
    ratio = np.nan
    if used.any():
        ratio = np.sqrt((a.error[used] ** 2).mean() / (a.bound_error[used] ** 2).mean())
    return SimpleNamespace(
        runs=len(refused),
        refused=int(refused.sum()),
        silent=int(beyond_same.any(1).sum()),
        silent_full=int(beyond_full.any(1).sum()),
        within=int(within.sum()),
        ratio=ratio,
    )
