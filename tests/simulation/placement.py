# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Boards with known truth, eleven situations: is the right term named, does each value's 95 % interval hold the truth, and how
often is a term shown that is not there?

    placement.py [BOARDS [SEED]]     boards for each situation, 60 unless said (make check); 2000 are the figures of docs

In "step" all parts lie elsewhere, in place and turned, from one of the middle three fifths of the rows on; in "creep" more and
more. Rows are in a random order, as parts are placed. Of these it is asked how often that is told, of all others that it
is not.

A board has one to three tips, 12 to 40 parts of each at quarter turns, odd eighths or any rotation, over 40 to 130 mm. A
term of k u is as long as k times the standard uncertainty that such parts leave of it, in a direction of its own.
"""
import json
import math
import os
import pathlib
import subprocess
import sys
import tempfile

import numpy as np

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

PROGRAM = os.environ["TIPTRUE"]
SITUATIONS = ["quiet", "common", "offset", "turning", "grid", "angle", "two", "slip8", "slip20"]
MOVES = ["step", "creep"]
SIZES = [3, 5, 10]
GRID = ["scale_x_ppm", "scale_y_ppm", "shear_mm_per_m", "turn_mm_per_m"]


def rotations(rng, n):
    """Degrees: quarter turns mostly, as on a board."""
    kind = rng.random(n)
    return np.where(kind < 0.6, 90.0 * rng.integers(0, 4, n), np.where(kind < 0.75, 45.0, rng.uniform(0, 360, n)))


def columns(place, middle, theta):
    """Rows of x and y of (offset 2, turning 2, grid 4) for one part."""
    c, s = math.cos(theta), math.sin(theta)
    x, y = place - middle
    return np.array([[1, 0, c, -s, x, 0, y, -y], [0, 1, s, c, 0, y, 0, x]])


def unit_u(parts, sigma):
    """Standard uncertainty of each term of one tip, if all are fitted."""
    a = np.vstack([p["rows"] for p in parts])
    return sigma * np.sqrt(np.diag(np.linalg.pinv(a.T @ a)))


def direction(rng, n):
    v = rng.normal(size=n)
    return v / np.linalg.norm(v)


def board(rng, situation, size):
    """(truth, parts) of one board; lengths mm."""
    tips = [f"t{i + 1}" for i in range(rng.integers(2 if situation == "common" else 1, 4))]
    sigma, sigma_deg = rng.uniform(0.005, 0.02), rng.uniform(0.1, 0.5)
    extent = rng.uniform(40, 130, 2)
    parts = []
    for tip in tips:
        for angle in rotations(rng, rng.integers(12, 41)):
            parts.append({"tip": tip, "angle": angle, "place": np.array([40.0, 60.0]) + extent * rng.random(2)})
    middle = np.mean([p["place"] for p in parts], axis=0)
    for p in parts:
        p["rows"] = columns(p["place"], middle, math.radians(p["angle"]))
    truth = {"common": np.zeros(2), "grid": np.zeros(4), "sigma": sigma, "slipped": set()}
    truth.update({f"{kind} {tip}": np.zeros(2) for kind in ("offset", "turning") for tip in tips})
    truth.update({f"angle {tip}": 0.0 for tip in tips})
    terms = {**dict.fromkeys(["step", "creep", "quiet", "slip8", "slip20"], []),
             "two": list(rng.choice(["offset", "turning", "grid"], 2, replace=False))}
    for term in terms.get(situation, [situation]):
        tip = tips[rng.integers(len(tips))]
        of_tip = [p for p in parts if p["tip"] == tip]
        if term == "offset":
            truth[f"offset {tip}"] = size * direction(rng, 2) * unit_u(of_tip, sigma)[:2]
        elif term == "turning":
            truth[f"turning {tip}"] = size * direction(rng, 2) * unit_u(of_tip, sigma)[2:4]
        elif term == "common":
            truth["common"] = size * direction(rng, 2) * unit_u(parts, sigma)[:2]
        elif term == "grid":
            truth["grid"] = size * direction(rng, 4) * unit_u(parts, sigma)[4:]
        elif term == "angle":
            truth[f"angle {tip}"] = size * rng.choice([-1, 1]) * sigma_deg / math.sqrt(len(of_tip))
    rng.shuffle(parts)
    move(rng, situation, size, parts, middle, sigma)
    share = {"slip8": 0.08, "slip20": 0.2}.get(situation, 0.0)
    for k, p in enumerate(parts):
        x = np.concatenate([truth["common"] + truth[f"offset {p['tip']}"], truth[f"turning {p['tip']}"], truth["grid"]])
        off = p["rows"] @ x + p["moved"] + sigma * rng.normal(size=2)
        if rng.random() < share:
            off += rng.uniform(0.08, 0.6) * direction(rng, 2)
            truth["slipped"].add(k + 5)  # its line
        p["found"] = p["place"] + off
        p["turned"] = p["angle"] + truth[f"angle {p['tip']}"] + sigma_deg * rng.normal()
    return truth, parts


def move(rng, situation, size, parts, middle, sigma):
    """Move the parts: in place by size times u of the mean of half of them, and turned by as much at their edge."""
    n = len(parts)
    first = rng.integers(n // 5, n - n // 5)
    by = size * 2 * sigma / math.sqrt(n) * direction(rng, 3)
    for k, p in enumerate(parts):
        share = {"step": float(k >= first), "creep": k / (n - 1)}.get(situation, 0.0)
        x, y = (p["place"] - middle) / 40
        p["moved"] = share * (by[:2] + by[2] * np.array([-y, x]))


def write(path, parts):
    rows = ["# machine: sim", "# frame: machine", "# started: 2026-05-06T09:10:00Z",
            "part,tip,rotation,x,y,found_x,found_y,found_rotation"]
    for k, p in enumerate(parts):
        rows.append(f"C{k},{p['tip']},{p['angle']:.6f},{p['place'][0]:.6f},{p['place'][1]:.6f},{p['found'][0]:.6f},"
                    f"{p['found'][1]:.6f},{p['turned']:.6f}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


def place(folder, names):
    """The results of the boards, in order."""
    done = subprocess.run([PROGRAM, "placement", "--json", "--machine", "machine.json", *names], cwd=folder, check=False,
                          stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    return [json.loads(line) for line in done.stdout.splitlines()]


def shown(result):
    """The terms that the result calls shown."""
    keys = {"turning": "turning_mm", "angle": "angle_error_deg"}
    names = {f"{what} {t['tip']}" for t in result["tips"] for what, key in keys.items() if t[key] is not None}
    names |= {f"offset {t['tip']}" for t in result["tips"] if t["offset_probability"] >= 0.9}
    names |= {"common"} if result["common_mm"] is not None else set()
    return names | ({"grid"} if result["grid"] is not None else set())


def inside(value, expanded, truth):
    return abs(value - truth) <= expanded


def values(result, truth):
    """(term, hit) of every value that the result gives."""
    for t in result["tips"]:
        total = truth["common"] + truth[f"offset {t['tip']}"]
        for k, axis in enumerate("xy"):
            yield "offset", inside(t["offset_correction_mm"][axis], t["expanded_offset_correction_mm"][axis], total[k])
            if t["turning_mm"] is not None:
                turning = truth[f"turning {t['tip']}"][k]
                yield "turning", inside(t["turning_mm"][axis], t["expanded_turning_mm"][axis], turning)
        if t["angle_error_deg"] is not None:
            yield "angle", inside(t["angle_error_deg"], t["expanded_angle_error_deg"], truth[f"angle {t['tip']}"])
    if result["grid"] is not None:
        for k, key in enumerate(GRID):
            true = truth["grid"][k] * (1e6 if k < 2 else 1e3)
            yield "grid", inside(result["grid"][key], 1.98 * result["grid"]["u_" + key], true)
    if result["common_mm"] is not None:
        for k, axis in enumerate("xy"):
            yield "common", inside(result["common_mm"][axis], 1.98 * result["u_common_mm"][axis], truth["common"][k])


def true_terms(truth):
    return {name for name, value in truth.items() if name not in ("sigma", "slipped") and np.any(value)}


def situation_figures(rng, situation, boards, folder):
    """{size: counts} of one situation."""
    figures = {}
    sizes = [0] if situation in ("quiet", "slip8", "slip20") else SIZES
    cases = [(sizes[k % len(sizes)], *board(rng, situation, sizes[k % len(sizes)])) for k in range(boards)]
    names = []
    for k, (_, _, parts) in enumerate(cases):
        names.append(f"{situation}-{k}.csv")
        write(folder / names[-1], parts)
    results = [r for at in range(0, boards, 500) for r in place(folder, names[at:at + 500])]
    for (size, truth, parts), result in zip(cases, results):
        f = figures.setdefault(size, {"boards": 0, "moved": 0, "right": 0, "false": 0, "missed": 0, "hits": {}, "aside": [0, 0, 0]})
        found, true = shown(result), true_terms(truth)
        if len({p["tip"] for p in parts}) == 1:  # one tip: all alike is its offset, and said so
            true = {"offset t1" if name == "common" else name for name in true}
        f["boards"] += 1
        f["moved"] += any(finding["code"] == "moved-board" for finding in result["findings"])
        f["right"] += found == true
        f["false"] += bool(found - true)
        f["missed"] += bool(true - found)
        for name, hit in values(result, truth):
            hits = f["hits"].setdefault(name, [0, 0])
            hits[0] += hit
            hits[1] += 1
        aside = set(result["set_aside"])
        f["aside"][0] += len(truth["slipped"] & aside)
        f["aside"][1] += len(truth["slipped"])
        f["aside"][2] += len(aside - truth["slipped"])
    for name in names:
        (folder / name).unlink()
    return figures, len(results)


def line(situation, size, f):
    covered = ", ".join(f"{name} {100 * hit / n:.1f} % of {n}" for name, (hit, n) in sorted(f["hits"].items()))
    covered += f"; moved {f['moved']}"
    aside = f"; slipped found {f['aside'][0]} of {f['aside'][1]}, wrongly left out {f['aside'][2]}"
    return (f"{situation:8} {size:2} u: {f['boards']} boards, right {100 * f['right'] / f['boards']:.1f} %, a false term "
            f"{100 * f['false'] / f['boards']:.2f} %; covered: {covered}{aside}")


def main():
    boards = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    rng = np.random.default_rng(int(sys.argv[2]) if len(sys.argv) > 2 else 20260506)
    tally = Tally()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        (folder / "machine.json").write_text(json.dumps({"schema": "tiptrue.machine/1", "name": "sim",
                                                         "tips": [{"name": f"t{i}"} for i in (1, 2, 3)]}), encoding="utf-8")
        for situation in SITUATIONS + MOVES:
            figures, n = situation_figures(rng, situation, boards, folder)
            tally.check(n == boards, f"{situation}: {n} of {boards} boards have a result")
            for size, f in sorted(figures.items()):
                print(line(situation, size, f))
                judge(tally, situation, size, f)
    tally.close()


def judge(tally, situation, size, f):
    """Bounds that hold with 99.99 % if the rates are the documented ones."""
    n = f["boards"]

    def most(share, of=None):
        of = of or n
        return share * of + 4 * math.sqrt(share * (1 - share) * of) + 1

    if situation in MOVES:
        tally.check(size < 10 or n - f["moved"] <= most({"step": 0.03, "creep": 0.3}[situation]),
                    f"{situation} {size} u: {f['moved']} of {n} boards told")
        return
    tally.check(f["moved"] <= most(0.003), f"{situation} {size} u: {f['moved']} of {n} boards moved")
    rare = 0.025 if situation == "common" and size < 10 else 0.01
    tally.check(f["false"] <= most(rare), f"{situation} {size} u: {f['false']} of {n} boards with a false term")
    hit, total = f["hits"]["offset"]
    tally.check(total - hit <= most(0.06, total), f"{situation} {size} u: {hit} of {total} offsets covered")
    tally.check(hit <= 0.96 * total + 4 * math.sqrt(0.04 * total) + 1, f"{situation} {size} u: {hit} of {total}: ± too wide")
    if size in (0, 10):
        tally.check(n - f["right"] <= most(0.03), f"{situation} {size} u: {f['right']} of {n} boards right")


main()
