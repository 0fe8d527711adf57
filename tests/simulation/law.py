# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Counts by the binomial law: the error of a share, and which counts a bound allows.

A bound is one for 20 000 runs and holds there as it stands. With fewer runs the count may lie beyond it by what chance
does to a program that is just on the bound, with a probability of at most 1e-4.
"""
import numpy as np
from scipy import stats

ENOUGH = 20000
CHANCE = 1e-4


def share_error(count, runs):
    """The standard error of a share, from half a count more than found: never 0 where chance found none."""
    p = (count + 0.5) / (runs + 1)
    return np.sqrt(p * (1 - p) / (runs + 1))


def largest_count(bound, runs, enough):
    """The largest count of @runs that a share of at most @bound allows; @enough: the bound as it stands."""
    if enough:
        return int(np.floor(bound * runs + 1e-9))
    return int(stats.binom.isf(CHANCE, runs, bound))


def smallest_count(bound, runs, enough):
    """The smallest count of @runs that a share of at least @bound allows."""
    return runs - largest_count(1 - bound, runs, enough)


def ratio_of_rms(error, other):
    """The ratio of the root mean squares of @error and @other (runs, 2), and its standard error (they belong together by run)."""
    a, b = (error ** 2).sum(1), (other ** 2).sum(1)
    ratio = np.sqrt(a.sum() / b.sum())
    spread = np.std(a - ratio ** 2 * b) * np.sqrt(len(a)) / b.sum()  # of the squared ratio
    return ratio, spread / (2 * ratio)


def largest_ratio(bound, ratio, error, enough):
    """The largest ratio that @bound allows, where @ratio was found with the standard error @error, which grows with the ratio."""
    return bound if enough else bound + stats.norm.isf(CHANCE) * error * min(1.0, bound / ratio)
