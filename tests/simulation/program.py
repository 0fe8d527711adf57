# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The program's answers to a block of runs, as arrays. Environment: TIPTRUE (and TIPTRUE_OPTIONS, further options of solve)."""
import json
import os
import subprocess
from types import SimpleNamespace

import numpy as np

SECONDS = 600  # for one block


def solve(folder, paths):
    """One result for each path, in order; a RuntimeError where the program does not give that."""
    command = [os.environ["TIPTRUE"], "solve", "--plate", f"{folder}/plate.json", "--machine", f"{folder}/machine.json", "--json",
               "--jobs=1", *os.environ.get("TIPTRUE_OPTIONS", "").split(), *paths]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=SECONDS)
    lines = done.stdout.splitlines()
    if len(lines) != len(paths):
        raise RuntimeError(f"{len(lines)} results of {len(paths)} runs, exit status {done.returncode}: {done.stderr[:2000]}")
    return [json.loads(line) for line in lines]


def held_offset(tip):
    """The offset that holds on this plate: that of the solution with the plate held, where the result has one."""
    return tip["same_plate"].get("offset_mm") or tip["offset_mm"]


def number(value):
    """A number that may be infinite, written as null (degrees of freedom)."""
    return np.inf if value is None else value


def answers(results, tip_of_run):
    """What is said of one tip of each run (@tip_of_run: its index), NaN where there is no offset; and the findings of the run."""
    count = len(results)
    a = SimpleNamespace(solved=np.zeros(count, bool), refused=np.zeros(count, bool), found={})
    for name, shape in (("offset", (2,)), ("held", (2,)), ("cov", (2, 2)), ("region", (3,)), ("same_cov", (2, 2)),
                        ("same_dof", ())):
        setattr(a, name, np.full((count, *shape), np.nan))
    for i, result in enumerate(results):
        if result["schema"] != "tiptrue.result/1":
            continue
        a.solved[i] = True
        for finding in result["findings"]:
            a.found.setdefault(finding["code"], np.zeros(count, bool))[i] = True
        tip = next(t for t in result["tips"] if t["tip"] == f"t{tip_of_run[i] + 1}")
        a.refused[i] = tip["verdict"] == "repeat"
        offset = tip["offset_mm"] or {}
        if offset.get("x") is None or offset.get("y") is None:
            continue
        a.offset[i] = offset["x"], offset["y"]
        a.held[i] = [held_offset(tip)[axis] for axis in "xy"]
        a.cov[i] = tip["covariance_mm2"]
        region = tip["coverage"]["region"]
        a.region[i] = region["semi_major_mm"], region["semi_minor_mm"], np.radians(region["angle_deg"])
        a.same_cov[i] = tip["same_plate"]["covariance_mm2"]
        a.same_dof[i] = number(tip["same_plate"]["dof"])
    return a
