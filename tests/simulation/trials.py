#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The table of faults by plates: in each cell refused / silent, in percent of all runs, then in
brackets what was refused though its offset was within U, the root mean square error of the accepted
offsets over that of the good touches alone, and how many were silent in full.

    trials.py [--program PATH] [--runs N] [--seed S] [--tips 1,3] [--stated no,yes]
              [--plate WORD]... [--cell WORD]...

silent: accepted, and off by more than 3 U on an axis. '!' marks what is outside its bound by more
than chance. Environment: TIPTRUE (without --program).
"""
import sys
import time

import cells
import law
import outcome
import outside
import scenario
import workers


def measure(which, seed, runs):
    """The blocks of a sample, as jobs of the workers."""
    full, rest = divmod(runs, scenario.BLOCK)
    sizes = [scenario.BLOCK] * full + ([rest] if rest else [])
    return [(outcome.block, which, seed, number, size) for number, size in enumerate(sizes)]


def judged(cell, plate, s):
    """The cell's text, and of each of its bounds: which, whether it holds, what was found."""
    silent = s.silent_full if cell.by_full else s.silent
    bounds = []
    for what, count, most in zip(
        ("refused", "silent"), (s.refused, silent), cells.bounds(cell, plate)
    ):
        if most is not None:
            inside = count <= law.largest_count(most / 100, s.runs, enough=False)
            bounds.append((what, inside, f"{count} of {s.runs}, at most {most:g} % are allowed"))
    if cell.least_refused:
        inside = 100 * s.refused >= cell.least_refused * s.runs
        bounds.append(
            (
                "accepted",
                inside,
                f"refused {s.refused} of {s.runs}, at least {cell.least_refused:g} % are asked",
            )
        )
    percent = [f"{100 * n / s.runs:.3g}" for n in (s.refused, s.silent, s.within, s.silent_full)]
    mark = "" if all(inside for _, inside, _ in bounds) else " !"
    return f"{percent[0]}/{percent[1]} ({percent[2]}; {s.ratio:.2f}; {percent[3]}){mark}", bounds


def bound_text(cell):
    def text(pair):
        return "/".join("-" if v is None else f"{v:g}" for v in pair)

    asked = f"{text(cell.many)} | {text(cell.few)}"
    if cell.four_edges:
        asked += f" (four edges {text(cell.four_edges)})"
    return (
        asked
        + (" in full" if cell.by_full else "")
        + (f", refused >= {cell.least_refused:g}" if cell.least_refused else "")
    )


def table(pool, chosen, plates, given, tips, stated):
    """Print one table; its bounds for outside.judge()."""
    what = f"{tips} tip{'s' * (tips > 1)} | {'stated' if stated else 'not stated'}"
    print(
        f"\n{tips} tip{'s' * (tips > 1)}, touch.u {'' if stated else 'not '}stated; "
        "refused/silent (refused though within U; rms "
        f"ratio; silent in full), {given.runs} runs a cell\n"
    )
    print(
        "| kind | "
        + " | ".join(plates)
        + " | asked: >= 48 touches | 25 |\n|"
        + "---|" * (len(plates) + 3),
        flush=True,
    )
    keys = [(c, p) for c in chosen for p in plates if not c.only or p in c.only]
    jobs = [
        job
        for c, p in keys
        for job in measure(cells.scenario(c, p, tips, stated), given.seed, given.runs)
    ]
    done = workers.ordered(pool, jobs)
    measured = []
    for cell in chosen:
        row = [cell.name]
        for plate in plates:
            if cell.only and plate not in cell.only:
                row.append("")
                continue
            parts = [next(done) for _ in measure(None, 0, given.runs)]
            text, bounds = judged(cell, plate, outcome.summary(outcome.joined(parts)))
            row.append(text)
            measured += [
                (f"trials | {cell.name} | {plate} | {what} | {bound}", *rest)
                for bound, *rest in bounds
            ]
        print("| " + " | ".join(row) + f" | {bound_text(cell)} |", flush=True)
    return measured


def figures(arguments=None):
    """The command line (else @arguments), and what was measured by it, for outside.judge()."""
    options = workers.options(__doc__)
    options.add_argument("--runs", type=int, default=1000)
    options.add_argument("--seed", type=int, default=20)
    options.add_argument("--tips", default="1")
    options.add_argument("--stated", default="no")
    options.add_argument("--plate", action="append", metavar="WORD")
    options.add_argument("--cell", action="append", metavar="WORD")
    given = workers.read(options, arguments)
    chosen = [c for c in cells.CELLS if not given.cell or any(w in c.name for w in given.cell)]
    plates = [p for p in cells.PLATES if not given.plate or any(w in p for w in given.plate)]
    began, measured = time.monotonic(), []
    with workers.pool() as pool:
        for tips in map(int, given.tips.split(",")):
            for stated in given.stated.split(","):
                measured += table(pool, chosen, plates, given, tips, stated == "yes")
    print(f"{time.monotonic() - began:.0f} s", file=sys.stderr)
    return given, measured


if __name__ == "__main__":
    sys.exit(outside.judge(*figures()))
