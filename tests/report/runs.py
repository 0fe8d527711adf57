# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Reports to look at: of the recorded runs, of large runs and of runs with hostile names made here.
Environment: TIPTRUE, srcdir."""
import datetime
import json
import math
import os
import random
import subprocess

TIPTRUE = os.environ["TIPTRUE"]
FIELD = os.path.join(os.environ["srcdir"], "tests", "field")
FOLDERS = ["01-plain", "02-film", "03-two-tips", "04-oval", "05-one-direction", "06-one-sided", "07-sense", "08-moved",
           "09-inch-comma", "10-reversal", "11-eight-tips", "14-controller-log"]
PATTERN = r"(?:trip|seen) id=(?<id>\d+) at x=(?<x>\S+) y=(?<y>\S+) z=(?<z>\S+) ok=(?<ok>[01])"


def inputs(folder):
    """The options and the log of a recorded run."""
    at = os.path.join(FIELD, folder)
    options = ["--plate", os.path.join(at, "plate.json"), "--machine", os.path.join(at, "machine.json")]
    if folder == "14-controller-log":
        return options + ["--plan", os.path.join(at, "plan.json"), "--pattern", PATTERN], os.path.join(at, "controller.log")
    return options, os.path.join(at, "run.csv")


def call(command, *arguments, zone="UTC0", stdin=None):
    return subprocess.run([TIPTRUE, command, *arguments], capture_output=True, env={**os.environ, "TZ": zone}, input=stdin)


def report(folder, page, *more, zone="UTC0"):
    options, log = inputs(folder)
    return call("report", *options, log, "-o", page, *more, zone=zone)


def result(folder, *more):
    """What solve says of a recorded run, as an object."""
    options, log = inputs(folder)
    return json.loads(call("solve", "--json", "--touches", *more, *options, log).stdout)


def turned(angle, x, y):
    return x * math.cos(angle) - y * math.sin(angle), x * math.sin(angle) + y * math.cos(angle)


def invent(folder, n_touches, tip="t1", edges=("left wall", "right wall", "upper wall", "lower wall"), plate="plate K",
           machine="invented", note="none", late=0.05, name="run.csv", seed=2385, offset=(-37.412, 15.083), started=None):
    """Plate, machine and a run of @n_touches, four walls of a square window; returns the paths. Invented numbers, fixed seed."""
    os.makedirs(folder, exist_ok=True)
    rng = random.Random(seed)
    half, radius, runout, yaw = 11.37, 0.2385, (0.0217, -0.0134), math.radians(0.374)
    mark = (131.7, 77.3)
    corner = [(-half, -half), (-half, half), (half, half), (half, -half)]
    # from, to, with the free space inside, on the right hand
    sides = [(corner[0], corner[1]), (corner[2], corner[3]), (corner[1], corner[2]), (corner[3], corner[0])]
    normals = [(1, 0), (-1, 0), (0, -1), (0, 1)]
    document = {"schema": "tiptrue.plate/1", "name": plate, "serial": "K-1", "units": "mm", "reference": "M0",
                "marks": [{"name": "M0", "at": [0, 0]}, {"name": "M1", "at": [34.7, 2.3], "u": 0.002}],
                "edges": [{"name": n, "from": list(a), "to": list(b), "free_side": "right", "u": 0.003}
                          for n, (a, b) in zip(edges, sides)]}
    with open(os.path.join(folder, "plate.json"), "w", encoding="utf-8") as file:
        json.dump(document, file)
    document = {"schema": "tiptrue.machine/1", "name": machine, "units": "mm", "sighting": {"u": 0.002},
                "tips": [{"name": tip, "offset": [-37.41, 15.08], "offset_plate": "K-1"}],
                "limits": {"permitted_error": 0.03, "runout": 0.06}}
    with open(os.path.join(folder, "machine.json"), "w", encoding="utf-8") as file:
        json.dump(document, file)

    def quoted(text):
        return '"' + text.replace('"', '""') + '"'

    lines = [f"# machine: {machine}", f"# note: {note}", "kind,target,tip,x,y,rotation,contact"]
    if started is not None:
        lines.insert(0, f"# started: {started}")
    for mark_name, at in (("M0", (0, 0)), ("M1", (34.7, 2.3)), ("M0", (0, 0))):
        x, y = turned(yaw, *at)
        lines.append(f"sight,{mark_name},,{mark[0] + x + rng.gauss(0, .002):.4f},{mark[1] + y + rng.gauss(0, .002):.4f},,")
    for i in range(n_touches):
        side = i % 4
        theta = (i // 4) * 67.9 % 360
        n = normals[side]
        along = 9 * math.sin(0.377 * i)
        deep = rng.gauss(0, .003) - (rng.uniform(.02, .09) if rng.random() < late else 0)
        # the tip's centre stands radius off the wall, in the window
        c = ((-half + radius + deep) if n[0] > 0 else (half - radius - deep) if n[0] < 0 else along,
             (half - radius - deep) if n[1] < 0 else (-half + radius + deep) if n[1] > 0 else along)
        x, y = turned(yaw, *c)
        e = turned(math.radians(theta), *runout)
        lines.append(f"touch,{quoted(edges[side])},{quoted(tip)},{mark[0] + x - offset[0] - e[0]:.4f},"
                     f"{mark[1] + y - offset[1] - e[1]:.4f},{theta:.1f},1")
    with open(os.path.join(folder, name), "w", encoding="utf-8") as file:
        file.write("\n".join(lines) + "\n")
    return [os.path.join(folder, name) for name in ("plate.json", "machine.json", name)]


def weeks(folder, n_runs, step_at, tip="t1", machine="invented"):
    """A history of @n_runs runs, two days apart, whose offset steps by (24, -17) um before run @step_at; returns its path."""
    logs = []
    for i in range(n_runs):
        day = datetime.datetime(2026, 3, 2, 7, 41, 12) + datetime.timedelta(hours=44 * i)
        rng = random.Random(i)
        offset = (-37.412 + rng.gauss(0, .0015) + (.024 if i >= step_at else 0),
                  15.083 + rng.gauss(0, .0015) - (.017 if i >= step_at else 0))
        plate, machine_file, log = invent(folder, 24, tip=tip, machine=machine, late=0, name=f"run-{i:04d}.csv", seed=1000 + i,
                                          offset=offset, started=day.strftime("%Y-%m-%dT%H:%M:%SZ"))
        logs.append(log)
    path = os.path.join(folder, "weeks.db")
    told = call("solve", "--json", "--history", path, "--plate", plate, "--machine", machine_file, *logs)
    if len(told.stdout.splitlines()) != n_runs or b"error" in told.stderr:
        raise RuntimeError(f"{told.returncode}: {told.stderr[:1000]}")
    return path
