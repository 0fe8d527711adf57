# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Boards joined with runs, by Monte Carlo: coverage of the joined offsets and of the plate's groups, signs, what a plate learns.

    joined.py [BOARDS [SEED]]     25 boards unless said (make check); 1000 are the figures of docs/placement.md

Each board has a true plate (groups and edges off by their u), a run of touches on it, and parts placed with offsets that are off,
on a machine that counts clockwise, with the plate turned by 23 degrees: no exchange of axes, frames or signs goes unseen. The first
boards are held against NumPy's least squares over touches, plate, parts, seat, turnings and grid together."""
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
BOARDS = int(sys.argv[1]) if len(sys.argv) > 1 else 25
SEED = int(sys.argv[2]) if len(sys.argv) > 2 else 1
YAW, U_BOARD, U_DEVICE, SIGMA = 23.0, 0.0031, 0.0017, 0.0064
USED = {"a": np.array([36.2173, -18.4419]), "b": np.array([-52.8731, 11.3067])}
tally = Tally()
folder = pathlib.Path(tempfile.mkdtemp())


def edge(name, fx, fy, tx, ty, group):
    return {"name": name, "from": [fx, fy], "to": [tx, ty], "free_side": "left", "u": 0.002, "group": group}


PLATE = {
    "schema": "tiptrue.plate/1",
    "name": "window",
    "serial": "W-3",
    "reference": "K1",
    "marks": [{"name": "K1", "at": [0, 0]}, {"name": "K2", "at": [83.9, 6.1], "u": 0.002}],
    "groups": [{"name": "upright", "u": 0.009}, {"name": "level", "tolerance": 0.012}],
    "edges": [
        edge("l", 31.5, 46, 31.5, 37, "upright"),
        edge("r", 43.5, 37, 43.5, 46, "upright"),
        edge("u", 55, 34.2, 46, 34.2, "level"),
        edge("d", 46, 22.2, 55, 22.2, "level"),
    ],
}
MACHINE = {
    "schema": "tiptrue.machine/1",
    "name": "crooked",
    "rotation": {"sense": "cw", "u_deg": 0.1},
    "resolution": 0.0005,
    "touch": {"u": 0.002},
    "sighting": {"u": 0.0015},
    "yaw": {"value_deg": YAW, "u_deg": 1},
    "tips": [
        {"name": tip, "radius": radius, "radius_u": 0.01, "offset": [float(v) for v in USED[tip]]}
        for tip, radius in (("a", 0.41), ("b", 0.23))
    ],
}


def tiptrue(*command, good=(0,)):
    done = subprocess.run([PROGRAM, *command], cwd=folder, check=False, capture_output=True, text=True)
    tally.check(done.returncode in good, f"{' '.join(command)}: exit status {done.returncode}: {done.stderr}")
    return done.stdout


def turn(deg):
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    return np.array([[c, -s], [s, c]])


def write_board(rng, true, stated=True):
    """24 parts of each tip; found = wanted + true offset - offset in use + seat + device + scatter. The rows."""
    common = U_BOARD * rng.normal(size=2) + U_DEVICE * rng.normal(size=2)
    lines = ["# machine: crooked", "# started: 2026-05-04T09:10:00Z"]
    lines += [f"# board_u: {U_BOARD}", f"# device_u: {U_DEVICE}"] if stated else []
    lines.append("tip,rotation,x,y,found_x,found_y")
    rows = []
    for k in range(48):
        tip = "ab"[k % 2]
        rotation = [0.0, 90.0, 180.0, 270.0, 31.3][rng.integers(5)]
        wanted = np.array([40.0, 110.0]) + [97.0, 62.0] * rng.random(2)
        found = wanted + true[tip] - USED[tip] + common + SIGMA * rng.normal(size=2)
        rows.append((tip, rotation, np.round(wanted, 6), np.round(found, 6)))
        lines.append(f"{tip},{rotation},{wanted[0]:.6f},{wanted[1]:.6f},{found[0]:.6f},{found[1]:.6f}")
    (folder / "board.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return rows


def touches(result):
    """h, S, E, u of the features: the run with the plate held, as docs/method.md has it."""
    tips = result["tips"]
    h = np.array([t["same_plate"]["offset_mm"][a] for t in tips for a in "xy"])
    common = np.array([t["same_plate"]["common_u_mm"][a] for t in tips for a in "xy"])
    noise = np.array([[common[i] * common[j] if (i - j) % 2 == 0 else 0.0 for j in range(len(h))] for i in range(len(h))])
    for k, t in enumerate(tips):
        noise[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] = t["same_plate"]["covariance_mm2"]
    effects = np.array([t["same_plate"]["plate_effect"][a] for t in tips for a in "xy"])
    return h, noise, effects, np.array([f["u_mm"] for f in result["plate_features"]])


def by_least_squares(result, placed, rows, stated):
    """Mean and covariance of (offsets, plate's shifts) by one least-squares fit of everything: 1e-9 mm of the sums."""
    h, noise, effects, u = touches(result)
    n, f = len(h), len(u)
    columns = n + f + 4 + 4 + 2  # offsets, shifts, turnings, grid, seat
    white = np.linalg.inv(np.linalg.cholesky(noise))
    blocks = [np.hstack([white @ np.hstack([np.eye(n), effects]), np.zeros((n, columns - n - f))])]
    right = [white @ h]
    priors = np.zeros((columns - n, columns))
    seat = math.hypot(U_BOARD, U_DEVICE) if stated else 1000.0
    for k, v in enumerate([*u, *[0.1] * 4, *[1e-3] * 4, seat, seat]):
        priors[k, n + k] = 1 / v
    middle = np.mean([row[2] for row in rows], axis=0)
    for tip, rotation, wanted, found in rows:
        t = "ab".index(tip)
        x, y = wanted - middle
        block = np.zeros((2, columns))
        block[:, 2 * t : 2 * t + 2] = block[:, -2:] = np.eye(2)
        block[:, n + f + 2 * t : n + f + 2 * t + 2] = turn(-rotation)
        block[:, n + f + 4 : n + f + 8] = [[x, 0, y, -y], [0, y, 0, x]]
        blocks.append(block / placed["repeatability_mm"])
        right.append((found - wanted + USED[tip]) / placed["repeatability_mm"])
    whole = np.vstack([*blocks, priors])
    scale = np.linalg.norm(whole, axis=0)
    target = np.concatenate([*right, np.zeros(columns - n)])
    solution = np.linalg.lstsq(whole / scale, target, rcond=None)[0] / scale
    return solution, np.linalg.inv((whole / scale).T @ (whole / scale)) / np.outer(scale, scale)


def expect_same(result, placed, rows, stated):
    mean, cov = by_least_squares(result, placed, rows, stated)
    joined = placed["joined"]
    for t, tip in enumerate(joined["tips"]):
        for k, axis in enumerate("xy"):
            i = 2 * t + k
            tally.check(abs(tip["offset_mm"][axis] - mean[i]) < 2e-7, f"{tip['tip']} {axis}: {tip['offset_mm'][axis]}, {mean[i]}")
            tally.check(
                abs(tip["u_offset_mm"][axis] / math.sqrt(cov[i, i]) - 1) < 1e-4,
                f"u {tip['tip']} {axis}: {tip['u_offset_mm'][axis]}, {math.sqrt(cov[i, i])}",
            )
        tally.check(abs(tip["covariance_mm2"] - cov[2 * t, 2 * t + 1]) < 1e-9, f"covariance of {tip['tip']}")
    for k, feature in enumerate(result["plate_features"]):
        for group in joined["groups"]:
            if feature["kind"] == "group" and feature["name"] == group["group"]:
                axis, i = feature["axis"], len(mean) - 10 - len(result["plate_features"]) + k
                tally.check(
                    abs(group["shift_mm"][axis] - mean[i]) < 2e-7, f"{group['group']} {axis}: {group['shift_mm'][axis]}, {mean[i]}"
                )
                tally.check(abs(group["u_shift_mm"][axis] / math.sqrt(cov[i, i]) - 1) < 1e-4, f"u {group['group']} {axis}")


def expect_learned(truth, placed):
    """The learned plate has every edge of a group moved as told, nearer to the truth in all, and nothing else changed."""
    tiptrue(
        "placement",
        "--machine",
        "machine.json",
        "--result",
        "run.json",
        "--plate",
        "plate.json",
        "--learn",
        "learned.json",
        "board.csv",
        good=(0, 10),
    )
    learned = json.loads((folder / "learned.json").read_text(encoding="utf-8"))
    shifts = {g["group"]: [g["shift_mm"][a] for a in "xy"] for g in placed["joined"]["groups"]}
    for old, new in zip(PLATE["edges"], learned["edges"]):
        for end in ("from", "to"):
            moved = np.array(new[end]) - old[end]
            tally.check(np.abs(moved - shifts[old["group"]]).max() < 1.1e-5, f"{old['name']} moved by {moved}, {shifts}")
    stated = {"upright": 0.009, "level": 0.012 / math.sqrt(3)}
    for group, at in zip(learned["groups"], placed["joined"]["groups"]):
        u = group["u"] if "u" in group else group["tolerance"] / math.sqrt(3)
        tally.check(
            abs(u - at["u_shift_mm"]["x" if group["name"] == "upright" else "y"]) < 1e-5 and u < stated[group["name"]], f"{group}"
        )
        tally.check(group["learned"]["parts"] == placed["parts"]["used"] and group["learned"]["boards"] == placed["id"], f"{group}")
    tally.check(learned["marks"] == PLATE["marks"], "marks without a group stay")
    (folder / "again.csv").write_text((folder / "run.csv").read_text(encoding="utf-8"), encoding="utf-8")
    again = json.loads(
        tiptrue("solve", "--json", "--plate", "learned.json", "--machine", "machine.json", "again.csv", good=(0, 10))
    )
    for t, tip in enumerate(again["tips"]):
        true = truth["tips"][t]["offset"]
        apart = [tip["offset_mm"][a] - placed["joined"]["tips"][t]["offset_mm"][a] for a in "xy"]
        tally.check(max(map(abs, apart)) < 0.0015, f"solved on the learned plate {tip['tip']} is {apart} from the joined offset")
        tally.check(math.dist([tip["offset_mm"][a] for a in "xy"], true) < 0.02, f"true {true}")
    (folder / "learned.json").unlink()


def main():
    (folder / "plate.json").write_text(json.dumps(PLATE), encoding="utf-8")
    (folder / "machine.json").write_text(json.dumps(MACHINE), encoding="utf-8")
    held, inside, squares, shifts, contradicted, shrunk = 0, 0, [], [], 0, []
    for k in range(BOARDS):
        rng = np.random.default_rng([SEED, k])
        log = tiptrue(
            "simulate",
            "--plate",
            "plate.json",
            "--machine",
            "machine.json",
            "--draw",
            "--seed",
            str(1000 * SEED + k),
            "--truth-out",
            "truth.json",
        )
        (folder / "run.csv").write_text(log, encoding="utf-8")
        truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
        text = tiptrue("solve", "--json", "--plate", "plate.json", "--machine", "machine.json", "run.csv", good=(0, 10, 20))
        result = json.loads(text)
        if result["verdict"] == "repeat":
            continue
        (folder / "run.json").write_text(text, encoding="utf-8")
        true = {t["tip"]: np.array(t["offset"]) for t in truth["tips"]}
        stated = k % 5 != 4
        rows = write_board(rng, true, stated)
        placed = json.loads(
            tiptrue("placement", "--json", "--machine", "machine.json", "--result", "run.json", "board.csv", good=(0, 10, 20))
        )
        if not placed["joined"]["agreement"]["agrees"]:
            contradicted += 1
            continue
        if k < 8 and placed["set_aside"] == []:
            expect_same(result, placed, rows, stated)
        for tip in placed["joined"]["tips"]:
            for a, axis in enumerate("xy"):
                off = tip["offset_mm"][axis] - true[tip["tip"]][a]
                held += 1
                inside += abs(off) <= tip["expanded_offset_mm"][axis]
                squares.append((off / tip["u_offset_mm"][axis]) ** 2)
                if stated:
                    shrunk.append(tip["expanded_offset_mm"][axis] / tip["expanded_touched_mm"][axis])
        for group in placed["joined"]["groups"]:
            drawn = {g["group"]: g["shift"] for g in truth["groups"]}[group["group"]]
            shifts += [((group["shift_mm"][axis] - drawn[a]) / group["u_shift_mm"][axis]) ** 2 for a, axis in enumerate("xy")]
        if k == 0:
            expect_learned(truth, placed)
    covered = inside / held
    print(
        f"{BOARDS} boards: joined offsets covered {100 * covered:.1f} % of {held}; "
        f"squared error by u2: offsets {np.mean(squares):.3f}, "
        f"groups {np.mean(shifts):.3f}; contradicted {contradicted}; "
        f"+- joined / touched {np.median(shrunk):.2f}"
    )
    # the values of one board hang together: at least a fourth of them count as independent; 4 standard deviations
    spread = math.sqrt(0.95 * 0.05 / (held / 4))
    tally.check(abs(covered - 0.95) < 4 * spread, f"coverage {covered} of {held}")
    for what, values in (("offsets", squares), ("groups", shifts)):
        tally.check(abs(np.mean(values) - 1) < 4 * math.sqrt(2 / (len(values) / 4)), f"{what}: {np.mean(values)}")
    tally.check(contradicted <= 1 + BOARDS // 200, f"{contradicted} boards of {BOARDS} contradict a run that is right")


main()
tally.close()
