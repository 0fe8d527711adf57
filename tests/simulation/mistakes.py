#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Mistakes that people make with a log, a plate file or a machine file, each on runs that are
planned and simulated by the program itself: mistakes.py [--designs N] [--seed S] [--kind NAME]
[--keep FOLDER]

A design is a plate, one to three tips with random radii and offsets, one or two setups, with or
without stated repeatability; every kind of mistake is made once with each. Silently wrong is a tip
that is kept or updated with an offset off by more than 2.5 U in full on an axis, where the machine
file has the true offset within some 0.02 mm as the one in use. None may be. The text for a person
must have the code of every finding, and of each tip that may not be used a reason.

What no run can show is not among the kinds, since then everything fits that was stated
(docs/method.md, section 6): all sightings off alike, all edges off alike against the marks, a whole
tip's touches from another seat of the plate by less than a plausible change.
Last line: N passed, N failed.
"""
import argparse
import copy
import csv
import io
import json
import math
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter

import plates

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), ".."))
from tally import times  # noqa: E402

PLATES = ["square", "ragged6", "ragged8", "hexagon", "slot", "windows", "fan"] + [
    f"drawn-{k}" for k in range(30)
]
BEYOND = 2.5
USED = ("keep", "update")
SECONDS = 60
NEAR_MM = 0.02  # the offsets in use, about the true ones


# ---- the mistakes: each changes the rows, the plate file or the machine file of a Run ----


class Run:
    """Rows of a log (dictionaries), plate and machine as documents, and a random generator."""

    def __init__(self, rng, rows, plate, machine):
        self.rng, self.plate, self.machine = rng, copy.deepcopy(plate), copy.deepcopy(machine)
        self.rows = copy.deepcopy(rows)
        self.scale_x = 1.0  # of the machine's own units of motion

    def of(self, kind):
        return [row for row in self.rows if row["kind"] == kind]

    def tips(self):
        return [tip["name"] for tip in self.machine["tips"]]

    def setups(self):
        return sorted({row.get("setup") or "1" for row in self.rows})

    def sign(self):
        return self.rng.choice([-1, 1])


def put(row, key, value):
    row[key] = f"{value:.4f}"


def move(rows, dx=0.0, dy=0.0):
    for row in rows:
        put(row, "x", float(row["x"]) + dx)
        put(row, "y", float(row["y"]) + dy)


def scale(rows, fx, fy):
    for row in rows:
        put(row, "x", float(row["x"]) * fx)
        put(row, "y", float(row["y"]) * fy)


def exchange_xy(rows):
    for row in rows:
        row["x"], row["y"] = row["y"], row["x"]


def rename(rows, key, names):
    for row in rows:
        row[key] = names.get(row[key], row[key])


def rounded(rows):
    for row in rows:
        put(row, "x", round(float(row["x"]), 1))
        put(row, "y", round(float(row["y"]), 1))


def two_of(run, rows):
    a, b = run.rng.sample(sorted({row["target"] for row in rows}), 2)
    return {a: b, b: a}


def slipped(rows, key):
    """A column slips by one row."""
    values = [row[key] for row in rows]
    for row, value in zip(rows[1:], values):
        row[key] = value


def of_tip(run):
    name = run.rng.choice(run.tips())
    return [row for row in run.of("touch") if row["tip"] == name]


def other_tip(run):
    names, touches = run.tips(), run.of("touch")
    first, count = run.rng.randrange(len(touches)), run.rng.randrange(3, 12)
    for row in touches[first : first + count]:
        row["tip"] = run.rng.choice(names)


def tip_not_changed(run):
    a, b = run.rng.sample(run.tips(), 2)
    touched = [dict(row) for row in run.of("touch") if row["tip"] == a]
    for row, real in zip([row for row in run.of("touch") if row["tip"] == b], touched):
        row.update({key: real[key] for key in ("x", "y", "rotation", "target")})


def late_setup(run):
    late = [row for row in run.of("touch") if row["setup"] == "2"][: run.rng.randrange(1, 8)]
    rename(late, "setup", {"2": "1"})


def turned_from(run):
    touches, by = run.of("touch"), run.rng.choice([90, 180, -90, 10, 45])
    for row in touches[run.rng.randrange(len(touches)) :]:
        put(row, "rotation", float(row["rotation"]) + by)


def rotations_negative(run):
    for row in run.of("touch"):
        put(row, "rotation", -float(row["rotation"]))


def moved_from(run):
    first = run.rng.choice([i for i, row in enumerate(run.rows) if row["kind"] == "touch"])
    move(run.rows[first:], run.rng.uniform(-0.15, 0.15), run.rng.uniform(-0.15, 0.15))


def knocked_from(run):
    """The plate is knocked and turned at a touch, as long as it stands in that setup."""
    touched = [i for i, row in enumerate(run.rows) if row["kind"] == "touch"]
    first, turn = run.rng.choice(touched[1:]), run.sign() * run.rng.uniform(0.0003, 0.01)
    offsets = {tip["name"]: tip["offset"] for tip in run.machine["tips"]}
    by = [run.sign() * run.rng.uniform(0.003, 0.6) for _ in "xy"]
    about = [float(run.rows[0][key]) + run.rng.uniform(-40, 40) for key in "xy"]
    cos, sin = math.cos(turn), math.sin(turn)
    for row in run.rows[first:]:
        if row.get("setup") == run.rows[first].get("setup"):
            offset = offsets.get(row["tip"], (0, 0))
            x, y = (float(row[key]) + o - a for key, o, a in zip("xy", offset, about))
            put(row, "x", about[0] + cos * x - sin * y - offset[0] + by[0])
            put(row, "y", about[1] + sin * x + cos * y - offset[1] + by[1])


def beside_a_mark(run):
    """All sightings of one of several marks, off alike."""
    sightings = run.of("sight")
    name = run.rng.choice(sorted({row["target"] for row in sightings}))
    off = [run.sign() * run.rng.uniform(0.02, 0.6) for _ in "xy"]
    move([row for row in sightings if row["target"] == name], *off)


def positions_of_tip(run):
    for tip in run.machine["tips"]:
        move([row for row in run.of("touch") if row["tip"] == tip["name"]], *tip["offset"])


def digits_exchanged(run):
    row, key = run.rng.choice(run.of("touch")), run.rng.choice("xy")
    text = list(row[key])
    digits = [i for i, letter in enumerate(text) if letter.isdigit()]
    i = run.rng.randrange(len(digits) - 1)
    a, b = digits[i], digits[i + 1]
    text[a], text[b] = text[b], text[a]
    row[key] = "".join(text)


def no_contact(run):
    touches = run.of("touch")
    for row in run.rng.sample(touches, max(1, len(touches) // 10)):
        move([row], run.sign() * run.rng.uniform(0.2, 2), 0)


def edge_elsewhere(run):
    edge, by = run.rng.choice(run.plate["edges"]), run.sign() * run.rng.uniform(0.03, 3)
    for end in ("from", "to"):
        edge[end] = [edge[end][0] + by, edge[end][1]]


def end_elsewhere(run):
    edge = run.rng.choice(run.plate["edges"])
    edge[run.rng.choice(["from", "to"])][run.rng.randrange(2)] += run.sign() * run.rng.uniform(
        0.03, 1
    )


def mark_elsewhere(run):
    mark = run.rng.choice(run.plate["marks"][1:])
    mark["at"][run.rng.randrange(2)] += run.sign() * run.rng.uniform(0.03, 1)


def exchange_sides(edges):
    for edge in edges:
        edge["free_side"] = {"left": "right", "right": "left"}[edge["free_side"]]


def mirror(run, marks):
    for edge in run.plate["edges"]:
        for end in ("from", "to"):
            edge[end][0] *= -1
    exchange_sides(run.plate["edges"])
    for mark in run.plate["marks"] if marks else []:
        mark["at"][0] *= -1


def plate_xy(run):
    for edge in run.plate["edges"]:
        edge["from"].reverse()
        edge["to"].reverse()
    for mark in run.plate["marks"]:
        mark["at"].reverse()


def sense(run):
    rotation = run.machine["rotation"]
    rotation["sense"] = {"cw": "ccw", "ccw": "cw"}[rotation["sense"]]


def radii(run, tips, factor):
    for tip in tips:
        tip["radius"] *= factor
    return run


def old_block(run):
    touches = run.of("touch")
    first, count = run.rng.randrange(len(touches)), run.rng.randrange(3, len(touches) // 4)
    move(touches[first : first + count], run.rng.uniform(-1, 1), run.rng.uniform(-1, 1))


def axis_scale(run):
    run.scale_x = 1 + run.sign() * run.rng.uniform(5e-4, 5e-3)
    scale(run.rows, run.scale_x, 1)


def column_slips(run, key):
    touches = run.of("touch")
    slipped(touches[run.rng.randrange(len(touches) - 3) :], key)


def column_slips_in_part(run, key):
    touches = run.of("touch")
    first = run.rng.randrange(len(touches) - 3)
    slipped(touches[first : first + run.rng.randrange(3, 12)], key)


def column_sorted(run, key):
    touches = run.of("touch")
    values = sorted((row[key] for row in touches), key=lambda t: t if key == "target" else float(t))
    for row, value in zip(touches, values):
        row[key] = value


def next_edge(run):
    names = list(dict.fromkeys(row["target"] for row in run.of("touch")))
    rename(run.of("touch"), "target", dict(zip(names, names[1:] + names[:1])))


KINDS = {
    "none": lambda run: None,
    "rows with another tip's name": other_tip,
    "tip not changed": tip_not_changed,
    "setups exchanged": lambda run: rename(run.of("touch"), "setup", {"1": "2", "2": "1"}),
    "one setup for two": lambda run: rename(run.rows, "setup", {"2": "1"}),
    "setup changed too late": late_setup,
    "rotation shifted from a row on": turned_from,
    "rotations negative": rotations_negative,
    "x negative": lambda run: scale(run.rows, -1, 1),
    "y negative": lambda run: scale(run.rows, 1, -1),
    "x and y exchanged": lambda run: exchange_xy(run.rows),
    "x and y exchanged in touches": lambda run: exchange_xy(run.of("touch")),
    "x and y exchanged for a tip": lambda run: exchange_xy(of_tip(run)),
    "marks exchanged": lambda run: rename(run.of("sight"), "target", two_of(run, run.of("sight"))),
    "one sighting off": lambda run: move(
        [run.rng.choice(run.of("sight"))], run.sign() * run.rng.uniform(0.02, 0.5), 0
    ),
    "touches in inches": lambda run: scale(run.of("touch"), 1 / 25.4, 1 / 25.4),
    "all in inches": lambda run: scale(run.rows, 1 / 25.4, 1 / 25.4),
    "touches rounded": lambda run: rounded(run.of("touch")),
    "all rounded": lambda run: rounded(run.rows),
    "column slips": lambda run: column_slips(
        run, run.rng.choice(["x", "y", "rotation", "target", "tip"])
    ),
    "column slips in part": lambda run: column_slips_in_part(
        run, run.rng.choice(["x", "y", "rotation", "target", "tip"])
    ),
    "column sorted": lambda run: column_sorted(
        run, run.rng.choice(["x", "y", "rotation", "target"])
    ),
    "edges exchanged": lambda run: rename(run.of("touch"), "target", two_of(run, run.of("touch"))),
    "edges exchanged for a tip": lambda run: rename(
        of_tip(run), "target", two_of(run, run.of("touch"))
    ),
    "names of the next edge": next_edge,
    "moved from a row on": moved_from,
    "knocked and turned from a row on": knocked_from,
    "all sightings of a mark off alike": beside_a_mark,
    "positions of the tip": positions_of_tip,
    "digits exchanged": digits_exchanged,
    "ends of moves without contact": no_contact,
    "edge elsewhere": edge_elsewhere,
    "end of an edge elsewhere": end_elsewhere,
    "mark elsewhere": mark_elsewhere,
    "free side wrong": lambda run: exchange_sides([run.rng.choice(run.plate["edges"])]),
    "free sides wrong": lambda run: exchange_sides(run.plate["edges"]),
    "plate mirrored": lambda run: mirror(run, True),
    "edges mirrored": lambda run: mirror(run, False),
    "plate's x and y exchanged": plate_xy,
    "sense of rotation": sense,
    "diameters for radii": lambda run: radii(run, run.machine["tips"], 2),
    "radius of one": lambda run: radii(
        run, [run.rng.choice(run.machine["tips"])], run.rng.uniform(1.3, 2.2)
    ),
    "rows of another day": old_block,
    "steps per millimetre": axis_scale,
}
NEED_TIPS = {"rows with another tip's name", "tip not changed"}
NEED_SETUPS = {"setups exchanged", "one setup for two", "setup changed too late"}


# ---- designs ----


class Failed(Exception):
    """The program did not do what a design needs."""


def call(*arguments):
    done = subprocess.run(
        [os.environ["TIPTRUE"], *arguments],
        capture_output=True,
        text=True,
        timeout=SECONDS,
        check=False,
    )
    return done.returncode, done.stdout, done.stderr


def needed(*arguments):
    status, out, err = call(*arguments)
    if status != 0:
        raise Failed(f"{arguments[0]}: exit status {status}: {err[:300]}")
    return out


def machine_of(rng):
    tips = [
        {
            "name": f"t{k + 1}",
            "radius": rng.choice([0.2, 0.3, 0.45, 0.6]),
            "radius_u": 0.02,
            "offset": [round(rng.uniform(-45, 45), 3), round(rng.uniform(-30, 30), 3)],
        }
        for k in range(rng.choice([1, 2, 3]))
    ]
    machine = {
        "schema": "tiptrue.machine/1",
        "name": "mill",
        "units": "mm",
        "rotation": {"sense": rng.choice(["ccw", "cw"]), "u_deg": 0.1},
        "resolution": 0.0025,
        "sighting": {"u": 0.003},
        "yaw": {"value_deg": 0, "u_deg": 1},
        "tips": tips,
        "limits": {"permitted_error": 0.03},
    }
    if rng.random() < 0.5:
        machine["touch"] = {"u": 0.003}
    return machine


def write(folder, name, document):
    with open(os.path.join(folder, name), "w", encoding="utf-8") as stream:
        stream.write(document if isinstance(document, str) else json.dumps(document))
    return os.path.join(folder, name)


def design(rng, folder):
    """Header lines and rows of a run, plate, machine, true offsets."""
    plate, machine = plates.document(rng.choice(PLATES), False), machine_of(rng)
    files = ["--plate", write(folder, "plate.json", plate)]
    files += ["--machine", write(folder, "machine.json", machine)]
    setups, sightings = str(rng.choice([1, 1, 2])), str(rng.choice([1, 2]))
    plan = needed("plan", *files, "--json", "-q", "--setups", setups, "--sightings", sightings)
    files += ["--plan", write(folder, "plan.json", plan)]
    truth = os.path.join(folder, "truth.json")
    log = needed(
        "simulate", *files, "--draw", "--seed", str(rng.randrange(10**6)), "--truth-out", truth
    )
    with open(truth, encoding="utf-8") as stream:
        true = {tip["tip"]: tip["offset"] for tip in json.load(stream)["tips"]}
    for tip in machine["tips"]:
        tip["offset"] = [round(v + rng.gauss(0, NEAR_MM), 4) for v in true[tip["name"]]]
    lines = log.splitlines()
    head = [line for line in lines if line.startswith("#")]
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    return head, rows, plate, machine, true


def log_of(head, rows):
    stream = io.StringIO()
    writer = csv.DictWriter(stream, rows[0].keys(), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return "\n".join(head) + "\n" + stream.getvalue()


def worst_of(result, run, true):
    """The largest error over U of the tips that are used."""
    worst = 0.0
    for tip in result["tips"]:
        offset, expanded = tip["offset_mm"], tip["coverage"]["expanded_mm"]
        if tip["verdict"] not in USED or not offset or offset.get("x") is None:
            continue
        at = true[tip["tip"]][0] * run.scale_x, true[tip["tip"]][1]
        worst = max(worst, *(abs(offset[a] - t) / expanded[a] for a, t in zip("xy", at)))
    return worst


def untold(text, result):
    """What the text for a person leaves out of a result: a finding's code, or every reason why a tip
    may not be used; None: nothing. Findings that follow from others are told by their codes."""
    for finding in result["findings"]:
        if finding["code"] not in text:
            return f"'{finding['code']}' is not in the text"
    reasons = text.split("\n\n")[0].splitlines()[1:]
    errors = [f for f in result["findings"] if f["severity"] == "error"]
    for tip in result["tips"]:
        told = [
            f
            for f in errors
            if f["tip"] in (None, tip["tip"]) and any(f["code"] + ": " in line for line in reasons)
        ]
        if tip["verdict"] == "repeat" and not told:
            return f"no reason why '{tip['tip']}' may not be used is in the text"
    return None


def outcome(folder, head, run, true):
    """What is said of a run: its verdict, "no result", "silent", or what must not be."""
    solve = [
        "solve", write(folder, "run.csv", log_of(head, run.rows)), "-q",
        "--plate", write(folder, "p.json", run.plate),
        "--machine", write(folder, "m.json", run.machine),
    ]  # fmt: skip
    status, out, err = call(*solve, "--json")
    if status not in (0, 10, 20, 65):
        return f"exit status {status}: {err[:300]}"
    result = json.loads(out.splitlines()[0])
    if "tips" not in result:
        return "no result"
    left = untold(call(*solve)[1], result)
    if left is not None:
        return left
    worst = worst_of(result, run, true)
    return f"silent: {worst:.1f} U" if worst > BEYOND or math.isnan(worst) else result["verdict"]


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--designs", type=int, default=int(os.environ.get("DESIGNS") or times(6, 1))
    )
    parser.add_argument("--seed", type=int, default=int(os.environ.get("SEED") or 1))
    parser.add_argument("--kind", choices=KINDS)
    parser.add_argument("--keep", metavar="FOLDER", help="copies of what went wrong")
    asked = parser.parse_args()
    counts, failed, passed = Counter(), 0, 0
    for number in range(asked.designs):
        with tempfile.TemporaryDirectory() as folder:
            rng = random.Random(f"{asked.seed} {number}")
            head, rows, plate, machine, true = design(rng, folder)
            for kind in [asked.kind] if asked.kind else KINDS:
                run = Run(random.Random(f"{asked.seed} {number} {kind}"), rows, plate, machine)
                if (kind in NEED_TIPS and len(true) < 2) or (
                    kind in NEED_SETUPS and len(run.setups()) < 2
                ):
                    continue
                KINDS[kind](run)
                said = outcome(folder, head, run, true)
                wrong = said not in ("keep", "update", "repeat", "no result")
                counts[kind, "wrong" if wrong else said] += 1
                failed += wrong
                passed += not wrong
                if wrong:
                    print(f"FAIL: design {number} ({plate['name']}), {kind}: {said}")
                    if asked.keep:
                        shutil.copytree(folder, os.path.join(asked.keep, f"{number} {kind}"))
    for kind in KINDS:
        print(f"{kind:32}", {said: n for (k, said), n in sorted(counts.items()) if k == kind})
    print(f"{passed} passed, {failed} failed")
    sys.exit(failed > 0 or passed == 0)


if __name__ == "__main__":
    main()
