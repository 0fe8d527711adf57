# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The figures of the tables: each a column, counted from a sample, with its error and, where the row has a bound for it,
whether it holds.

A row's limits, by the column's key:
    coverage, bound   (least, most)         shares
    refused           most                  share
    ratio, apart      (most, goal)          ratios of root mean squares
    largest           most                  multiples of the stated u, in no run more
    alarms            (most, codes that the run's layout calls for)
    found             (code, least, ...)    share; least None: shown without a bound
"""
from dataclasses import dataclass, field

import numpy as np

import law


@dataclass
class Figure:
    text: str
    checks: list = field(default_factory=list)  # (good, what is wrong, numbers of runs that show it)

    def add(self, good, what, runs=()):
        self.checks.append((bool(good), what, list(runs)))
        if not good:
            self.text += " !"


def percent(count, runs):
    if not runs:
        return "-"
    return f"{100 * count / runs:.2f} ± {100 * law.share_error(count, runs):.2f}"


def share_within(inside, limits, sample):
    """A share that may be neither too small nor too large."""
    count, runs = int(inside.sum()), len(inside)
    figure = Figure(percent(count, runs))
    if limits and runs:
        enough = len(sample.usable) >= law.ENOUGH
        low, high = law.smallest_count(limits[0], runs, enough), law.largest_count(limits[1], runs, enough)
        figure.add(low <= count <= high, f"{count} of {runs} runs are covered, {low} to {high} are allowed")
    return figure


def coverage(sample, limits):
    return share_within(sample.inside[sample.usable], limits, sample)


def bound_coverage(sample, limits):
    return share_within(sample.bound_inside[sample.usable], limits, sample)


def share_at_most(marked, most, what):
    """A share that may not be too large; @marked shows the runs that count."""
    count, runs = int(marked.sum()), len(marked)
    figure = Figure(percent(count, runs))
    if most is not None:
        allowed = law.largest_count(most, runs, runs >= law.ENOUGH)
        figure.add(count <= allowed, f"{count} of {runs} runs {what}, {allowed} are allowed", np.flatnonzero(marked))
    return figure


def refused(sample, limits):
    return share_at_most(~sample.usable, limits, "end in repeat")


def micrometres(name):
    """The root mean square of an error, for each axis, in micrometres."""
    def rms(sample, _):
        error = getattr(sample, name)[sample.usable]
        return Figure(f"{1e3 * np.sqrt((error ** 2).mean()):.3f}" if len(error) else "-")
    return rms


def ratio_within(value, error, limits, sample):
    figure = Figure(f"{value:.3f} ± {error:.3f}")
    if limits:
        most, goal = limits
        allowed = law.largest_ratio(most, value, error, len(sample.usable) >= law.ENOUGH)
        if value > goal:
            figure.text += f" (goal {goal:.2f})"
        furthest = np.argsort(-sample.apart_by_u * sample.usable)[:3]
        figure.add(value <= allowed, f"the ratio is {value:.3f}, {allowed:.3f} is allowed", furthest)
    return figure


def ratio(sample, limits):
    """Root mean square of the error over that of the bound."""
    k = sample.usable
    if not k.any():
        return Figure("-")
    return ratio_within(*law.ratio_of_rms(sample.error[k], sample.bound_error[k]), limits, sample)


def apart(sample, limits):
    """The same without the plate's errors, which both share: what is lost between the bound and the result adds to the bound's
    variance on the same plate."""
    k = sample.usable
    if not k.any():
        return Figure("-")
    added = (sample.apart[k] ** 2 / sample.bound_same_var[k]).mean(1)
    value = np.sqrt(1 + added.mean())
    return ratio_within(value, np.std(added) / np.sqrt(len(added)) / (2 * value), limits, sample)


def largest(sample, limits):
    """The largest error over its stated u, among all runs that are not refused."""
    if not sample.usable.any():
        return Figure("-")
    by_u = np.where(sample.usable, sample.by_u, 0.0)
    figure = Figure(f"{by_u.max():.2f}")
    if limits is not None:
        beyond = np.flatnonzero(by_u > limits)
        figure.add(len(beyond) == 0, f"{len(beyond)} runs are off by more than {limits:g} times their u", beyond)
    return figure


def alarms(sample, limits):
    """Findings that a clean run gives no cause for."""
    most, called_for = limits
    runs = len(sample.solved)
    seen = {code: marked for code, marked in sample.found.items() if marked.any() and code not in called_for}
    figure = Figure(", ".join(f"{code} {percent(int(marked.sum()), runs)}" for code, marked in seen.items()) or "none")
    for code, marked in seen.items():
        count, allowed = int(marked.sum()), law.largest_count(most, runs, runs >= law.ENOUGH)
        if count > allowed:
            figure.add(False, f"{code} in {count} of {runs} clean runs, {allowed} are allowed", np.flatnonzero(marked))
    if not figure.checks:
        figure.add(True, "")
    return figure


def found(sample, limits):
    """The share of runs in which the finding that the fault calls for is raised."""
    code, least = limits
    marked = sample.found.get(code, np.zeros(len(sample.solved), bool))
    figure = Figure(f"{code} {percent(int(marked.sum()), len(marked))}")
    if least is not None:
        allowed = law.smallest_count(least, len(marked), len(marked) >= law.ENOUGH)
        figure.add(marked.sum() >= allowed, f"{code} in {marked.sum()} of {len(marked)} runs, at least {allowed} are asked",
                   np.flatnonzero(~marked))
    return figure


def also(sample, limits):
    """What else is found, in more than one run of a thousand."""
    code = limits[0] if limits else None
    shares = {c: m.mean() for c, m in sample.found.items() if c != code and m.mean() > 0.001}
    return Figure(", ".join(f"{c} {100 * share:.1f}" for c, share in sorted(shares.items(), key=lambda item: -item[1])) or "-")


# key -> heading, function, key of its limits
COLUMNS = {
    "coverage": ("covered / %", coverage, "coverage"),
    "bound": ("bound covers / %", bound_coverage, "bound"),
    "refused": ("repeat / %", refused, "refused"),
    "rms": ("rms / µm", micrometres("error"), None),
    "of-bound": ("bound / µm", micrometres("bound_error"), None),
    "ratio": ("ratio", ratio, "ratio"),
    "apart": ("same plate", apart, "apart"),
    "largest": ("most / u", largest, "largest"),
    "alarms": ("found without cause / %", alarms, "alarms"),
    "found": ("found / %", found, "found"),
    "also": ("also / %", also, "found"),
}
