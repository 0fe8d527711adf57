# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Simulated runs through the program and through the bound: what the figures of the tables are counted from.

Of a run with several tips one is looked at, another in each run: so runs stay independent, and counts binomial.
"""
import os
import tempfile
from types import SimpleNamespace

import numpy as np

import bound
import draw
import logs
import program
import scenario

COVERED = 0.95


def distance2(v, cov):
    """v' C^-1 v of vectors (runs, 2) and covariances (runs, 2, 2)."""
    determinant = cov[:, 0, 0] * cov[:, 1, 1] - cov[:, 0, 1] * cov[:, 1, 0]
    return (v[:, 0] ** 2 * cov[:, 1, 1] - 2 * v[:, 0] * v[:, 1] * cov[:, 0, 1] + v[:, 1] ** 2 * cov[:, 0, 0]) / determinant


def region_size2(dof):
    """2 F(2, dof) at 95 %, in closed form: dof (p^(-2/dof) - 1) with p = 0.05."""
    many = np.where(dof > 1e8, 1e8, dof)
    return np.where(dof > 1e8, -2 * np.log(1 - COVERED), many * ((1 - COVERED) ** (-2 / many) - 1))


def in_region(error, region):
    """Whether the truth lies in the stated ellipse (semi-axes and angle of the longer one)."""
    c, s = np.cos(region[:, 2]), np.sin(region[:, 2])
    along, over = error[:, 0] * c + error[:, 1] * s, -error[:, 0] * s + error[:, 1] * c
    return (along / region[:, 0]) ** 2 + (over / region[:, 1]) ** 2 <= 1


def largest_of_axes(error, cov):
    """|error| / u on the axis where it is larger."""
    return (np.abs(error) / np.sqrt(np.stack([cov[:, 0, 0], cov[:, 1, 1]], -1))).max(1)


def judge(which, answer, truth, good):
    """Arrays over the runs of a block. @good: offset, covariance and same-plate covariance of the bound."""
    error, bound_error, apart = answer.offset - truth, good.offset - truth, answer.offset - good.offset
    known = np.full(len(truth), np.inf)  # the bound's degrees of freedom
    if which.held:  # the plate's errors are 0 in all of these runs: the uncertainty on the same plate is the one to hold
        stated_cov, bound_cov, error = answer.same_cov, good.same_cov, answer.held - truth
        inside = distance2(error, answer.same_cov) <= region_size2(answer.same_dof)
    else:
        stated_cov, bound_cov = answer.cov, good.cov
        inside = in_region(error, answer.region)
    return SimpleNamespace(
        solved=answer.solved, usable=answer.solved & ~answer.refused & ~np.isnan(error).any(1), found=answer.found,
        error=error, bound_error=bound_error, apart=apart,
        bound_same_var=np.stack([good.same_cov[:, 0, 0], good.same_cov[:, 1, 1]], -1),
        inside=inside, bound_inside=distance2(bound_error, bound_cov) <= region_size2(known),
        by_u=largest_of_axes(error, stated_cov), apart_by_u=largest_of_axes(apart, answer.same_cov))


def measure_block(which, seed, number):
    """Draw, write, solve and judge one block."""
    block = draw.draw(which, scenario.generator(which, seed, number), scenario.BLOCK)
    run = np.arange(block.count)
    tip = (run + number) % which.tips
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        results = program.solve(folder, logs.write(block, folder))
    offset, cov, same_cov = (a[run, tip] for a in bound.solve(block))
    good = SimpleNamespace(offset=offset, cov=cov, same_cov=same_cov)
    with np.errstate(invalid="ignore", divide="ignore"):  # where the run gave no offset
        return judge(which, program.answers(results, tip), block.truth.offset[run, tip], good)


def together(parts, runs):
    """One sample of the first @runs runs of blocks."""
    sample = SimpleNamespace()
    for name in vars(parts[0]):
        if name == "found":
            codes = sorted({code for part in parts for code in part.found})
            none = np.zeros(scenario.BLOCK, bool)
            sample.found = {code: np.concatenate([part.found.get(code, none) for part in parts])[:runs] for code in codes}
        else:
            setattr(sample, name, np.concatenate([getattr(part, name) for part in parts])[:runs])
    return sample


class Laboratory:
    """Samples of scenarios, measured block by block on the workers of @pool; every block once, however many tables ask for it."""

    def __init__(self, pool, seed):
        self.pool, self.seed, self.blocks = pool, seed, {}

    def order(self, which, runs):
        """See to it that the first @runs runs of a scenario get measured."""
        numbers = range(-(-runs // scenario.BLOCK))
        for number in numbers:
            if (which, number) not in self.blocks:
                self.blocks[which, number] = self.pool.submit(measure_block, which, self.seed, number)
        return [self.blocks[which, number] for number in numbers]

    def sample(self, which, runs):
        return together([block.result() for block in self.order(which, runs)], runs)


def keep_runs(which, seed, numbers, folder):
    """Write the runs with these @numbers once more, into @folder; their paths."""
    paths = []
    for number in numbers:
        place = divmod(number, scenario.BLOCK)
        block = draw.draw(which, scenario.generator(which, seed, place[0]), scenario.BLOCK)
        written = logs.write(block, folder, [place[1]])
        paths.append(os.path.join(folder, f"run-{number:05d}.csv"))
        os.rename(written[0], paths[-1])
    return paths
