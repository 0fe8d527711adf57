#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Every single mislabelled row, and every coordinate off by a wrong digit, of the example and of
two simulated runs, with the repeatability of a touch stated and not: how many are accepted beyond 3
U.

    mislabels.py [--program PATH] [--each N]      every N-th of them only

Counted is a tip whose offset is off by more than 3 U in full from the truth, or by more than 3 U on
the same plate from what the run gives without the fault. Environment: TIPTRUE (without --program),
srcdir.
"""
import json
import os
import sys
import tempfile
from types import SimpleNamespace

import numpy as np

import draw
import logs
import outcome
import outside
import program
import scenario
import workers

OFF_MM = (1, 10, 60)
EXAMPLE = os.path.join(
    os.environ.get("srcdir", os.path.join(os.path.dirname(__file__), "..", "..")),
    "examples",
    "gauge-board",
)
EXAMPLE_TOUCH_U_MM = 0.0025  # what its touches repeat to
SIMULATED = {
    "ragged6": scenario.Scenario(plate="ragged6", rotations=8, resight=True, tips=2),
    "slot": scenario.Scenario(rotations=9, resight=True, shuffled=True),
}
SEED = 20


def load(path):
    with open(path, encoding="utf-8") as stream:
        return json.load(stream)


def example():
    """Plate, machine, rows of the log, true offsets by tip."""
    truth = {tip["tip"]: tip["offset"] for tip in load(f"{EXAMPLE}/truth.json")["tips"]}
    with open(f"{EXAMPLE}/run.csv", encoding="utf-8") as stream:
        lines = stream.read().splitlines()
    machine = {
        key: value for key, value in load(f"{EXAMPLE}/machine.json").items() if key != "export"
    }
    return SimpleNamespace(
        plate=load(f"{EXAMPLE}/plate.json"),
        machine=machine,
        lines=lines,
        truth=truth,
        u=EXAMPLE_TOUCH_U_MM,
    )


def simulated(which):
    block = draw.draw(which, scenario.generator(which, SEED, 0), 1)
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        with open(logs.write(block, folder)[0], encoding="utf-8") as stream:
            lines = stream.read().splitlines()
    truth = {f"t{i + 1}": block.truth.offset[0, i].tolist() for i in range(which.tips)}
    return SimpleNamespace(
        plate=block.plate.document,
        machine=logs.machine_document(which),
        lines=lines,
        truth=truth,
        u=which.scatter,
    )


def variants(run):
    """(kind, text of the log) of each single fault; the first is the run as it is."""
    yield "as it is", "\n".join(run.lines) + "\n"
    header = next(i for i, line in enumerate(run.lines) if line.startswith("kind,"))
    columns = run.lines[header].split(",")
    target, x, y = (columns.index(name) for name in ("target", "x", "y"))

    def changed(number, column, value):
        cells = run.lines[number].split(",")
        cells[column] = value
        return "\n".join([*run.lines[:number], ",".join(cells), *run.lines[number + 1 :]]) + "\n"

    for number, line in enumerate(run.lines):
        if not line.startswith("touch,"):
            continue
        cells = line.split(",")
        for name in (edge["name"] for edge in run.plate["edges"]):
            if name != cells[target]:
                yield "row mislabelled", changed(number, target, name)
        for off in OFF_MM:
            for column in (x, y):
                for sign in (-1, 1):
                    yield f"coordinate {off} mm", changed(
                        number, column, f"{float(cells[column]) + sign * off:.4f}"
                    )


def solve(run, stated, texts):
    """The program's results for logs of one plate and machine."""
    machine = {**run.machine, **({"touch": {"u": run.u}} if stated else {})}
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        for name, content in (("plate", run.plate), ("machine", machine)):
            with open(f"{folder}/{name}.json", "w", encoding="utf-8") as stream:
                json.dump(content, stream)
        paths = []
        for i, text in enumerate(texts):
            paths.append(f"{folder}/run-{i:05d}.csv")
            with open(paths[-1], "w", encoding="utf-8") as stream:
                stream.write(text)
        return program.solve(folder, paths)


def beyond(result, run, good):
    """The worst multiple of U, over the tips that are accepted and their axes. @good: the result
    without the fault."""
    worst = 0.0
    for tip, clean in zip(result.get("tips", []), good["tips"]):
        if tip["verdict"] in ("keep", "update"):
            offset = np.array(outcome.pair(tip["offset_mm"]))
            from_truth = np.abs(offset - run.truth[tip["tip"]]) / outcome.pair(
                tip["coverage"]["expanded_mm"]
            )
            held, good_held = (np.array(outcome.pair(program.held_offset(t))) for t in (tip, clean))
            from_good = np.abs(held - good_held) / outcome.pair(tip["same_plate"]["expanded_mm"])
            worst = max(worst, from_truth.max(), from_good.max())
    return worst


def measure(run, stated, each, pool):
    """kind -> (runs, refused, accepted beyond 3 U, the worst multiple)."""
    every = list(variants(run))
    chosen = every[1::each]
    parts = [chosen[i : i + 100] for i in range(0, len(chosen), 100)]
    good = solve(run, stated, [every[0][1]])[0]
    results = [
        r
        for part in workers.ordered(
            pool, [(solve, run, stated, [text for _, text in p]) for p in parts]
        )
        for r in part
    ]
    counts = {}
    for (kind, _), result in zip(chosen, results):
        by_u = beyond(result, run, good)
        runs, refused, silent, worst = counts.get(kind, (0, 0, 0, 0.0))
        refused += result.get("verdict") not in ("keep", "update")
        counts[kind] = runs + 1, refused, silent + (by_u > outcome.BEYOND), max(worst, by_u)
    return counts


def figures(arguments=None):
    """The command line (else @arguments), and what was measured by it, for outside.judge()."""
    options = workers.options(__doc__)
    options.add_argument("--each", type=int, default=1)
    given = workers.read(options, arguments)
    measured = []
    with workers.pool() as pool:
        print(
            f"{'run':12}{'touch.u':12}{'kind':20}{'runs':>6}{'refused':>9}"
            f"{'beyond 3 U':>12}{'worst / U':>12}"
        )
        for name, run in (
            ("example", example()),
            *((name, simulated(which)) for name, which in SIMULATED.items()),
        ):
            for stated in ("not stated", "stated"):
                for kind, (runs, refused, silent, worst) in measure(
                    run, stated == "stated", given.each, pool
                ).items():
                    print(
                        f"{name:12}{stated:12}{kind:20}{runs:6}{refused:9}{silent:12}{worst:12.1f}",
                        flush=True,
                    )
                    measured.append(
                        (
                            f"mislabels | {name} | {stated} | {kind}",
                            silent == 0,
                            f"{silent} of {runs}, none is allowed",
                        )
                    )
    return given, measured


if __name__ == "__main__":
    sys.exit(outside.judge(*figures()))
