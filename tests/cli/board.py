# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""tiptrue plan --board: the expected +- against NumPy, against random boards; what the smallest boards tell once they are placed.
board.py [BOARDS]: for each of the smallest boards, 25 unless said; 400 are the figures of docs/placement.md."""
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
SIGMA = 0.010
tally = Tally()
folder = pathlib.Path(tempfile.mkdtemp())


def tiptrue(*command):
    return subprocess.run([PROGRAM, *command], cwd=folder, check=False, capture_output=True, text=True)


def machine(n_tips, sense="ccw", **more):
    document = {"schema": "tiptrue.machine/1", "name": "crooked", "rotation": {"sense": sense},
                "tips": [{"name": f"t{k}"} for k in range(n_tips)], **more}  # fmt: skip
    (folder / "machine.json").write_text(json.dumps(document), encoding="utf-8")


def plan(size, parts, *more, status=(0,)):
    done = tiptrue("plan", "--machine", "machine.json", "--board", size, "--parts", str(parts), *more)
    tally.check(done.returncode in status, f"{size} {parts} {more}: exit status {done.returncode}, {done.stderr}")
    return done.stdout


def rows_of(parts, middle, n_tips, sense):
    """The design of docs/placement.md: offsets, turnings, scale x, scale y, shear, turn."""
    rows = []
    for part in parts:
        t, angle = int(part["tip"][1:]), sense * math.radians(part["rotation_deg"])
        x, y = part["x_mm"] - middle[0], part["y_mm"] - middle[1]
        block = np.zeros((2, 4 * n_tips + 4))
        block[:, 2 * t : 2 * t + 2] = np.eye(2)
        turn = [[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]]
        block[:, 2 * n_tips + 2 * t : 2 * n_tips + 2 * t + 2] = turn
        block[:, 4 * n_tips :] = [[x, 0, y, -y], [0, y, 0, x]]
        rows.append(block)
    return np.vstack(rows)


def covariance(parts, n_tips, sense=1):
    middle = np.mean([[p["x_mm"], p["y_mm"]] for p in parts], axis=0)
    a = rows_of(parts, middle, n_tips, sense) / SIGMA
    prior = np.diag([1e-3] * 2 * n_tips + [1 / 0.1] * 2 * n_tips + [1 / 1e-3] * 4) ** 2
    return np.linalg.inv(a.T @ a + prior), prior


def variances(cov, n_tips, reach):
    """What the plan lowers: variances in mm2, those of the grid at the parts' reach."""
    return np.sum(np.diag(cov)[: 4 * n_tips]) + reach**2 * np.sum(np.diag(cov)[4 * n_tips :])


def expected_values():
    """+- and degrees of freedom as NumPy has them; and no random board of as many parts is better by more than 5 %."""
    rng = np.random.default_rng(3)
    for n_tips, size, n, sense in ((1, (110, 80), 5, "ccw"), (2, (110, 80), 16, "cw"), (3, (63.5, 150), 31, "ccw")):
        machine(n_tips, sense)
        board = json.loads(plan(f"{size[0]}x{size[1]}", n, "--json"))
        sign = -1 if sense == "cw" else 1
        cov, prior = covariance(board["parts"], n_tips, sign)
        dof = 2 * n - (len(cov) - np.trace(prior @ cov))
        tally.check(abs(board["dof"] / dof - 1) < 1e-6, f"dof {board['dof']}, {dof}")
        ratio = []
        for t, tip in enumerate(board["tips"]):
            for k, axis in enumerate("xy"):
                for key, at in (("expanded_offset_mm", 2 * t), ("expanded_turning_mm", 2 * n_tips + 2 * t)):
                    ratio.append(tip[key][axis] / math.sqrt(cov[at + k, at + k]))
        for k, key in enumerate(("scale_x_ppm", "scale_y_ppm", "shear_mm_per_m", "turn_mm_per_m")):
            unit = 1e6 if "ppm" in key else 1e3
            ratio.append(board["grid"]["expanded_" + key] / unit / math.sqrt(cov[4 * n_tips + k, 4 * n_tips + k]))
        # one factor for all, Student's t for the dof: between the normal one and that of one degree less
        tally.check(max(ratio) - min(ratio) < 1e-4 and 1.96 < min(ratio) < 4.4, f"factors {ratio}")
        at = {(p["x_mm"], p["y_mm"]) for p in board["parts"]}
        tally.check(len(at) == n and all(0 < x < size[0] and 0 < y < size[1] for x, y in at), "places are on the board, and apart")
        tally.check(len({p["rotation_deg"] for p in board["parts"]}) == 4, "all quarter turns are there")
        reach = math.hypot(size[0] - 10, size[1] - 10) / 4
        best = min(variances(covariance([{"tip": f"t{rng.integers(n_tips)}", "rotation_deg": 90 * rng.integers(4),
                                          "x_mm": 5 + (size[0] - 10) * rng.random(), "y_mm": 5 + (size[1] - 10) * rng.random()}
                                         for _ in range(n)], n_tips, sign)[0], n_tips, reach) for _ in range(300))  # fmt: skip
        tally.check(variances(cov, n_tips, reach) < 1.05 * best, f"{variances(cov, n_tips, reach)}, a random board {best}")


def place(parts, n_tips, rng, offset=(0, 0), common=(0, 0), turning=(0, 0), grid=((0, 0), (0, 0)), zero=0.0):
    """The planned table with what was found; the fault is the first tip's, but for common and grid."""
    lines = ["tip,rotation,x,y,found_x,found_y,found_rotation"]
    for part in parts:
        first = part["tip"] == "t0"
        angle = math.radians(part["rotation_deg"])
        turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
        at = np.array([part["x_mm"], part["y_mm"]])
        found = at + common + np.array(grid) @ (at - [55, 40]) + SIGMA * rng.normal(size=2)
        found = found + (np.array(offset) + turn @ turning if first else 0)
        turned = part["rotation_deg"] + (zero if first else 0) + 0.3 * rng.normal()
        lines.append(f"{part['tip']},{part['rotation_deg']},{at[0]},{at[1]},{found[0]:.6f},{found[1]:.6f},{turned:.4f}")
    (folder / "board.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    done = tiptrue("placement", "--json", "--machine", "machine.json", "board.csv")
    tally.check(done.returncode in (0, 10, 20), f"{done.returncode} {done.stderr}")
    return json.loads(done.stdout)


def turns(r):
    return any(t["turning_mm"] for t in r["tips"])


def is_off(r):
    return r["tips"][0]["offset_probability"] > 0.9


SHOWN = {
    "common": lambda r: r["common_mm"] is not None and r["grid"] is None and not turns(r),
    "offset": lambda r: is_off(r) and r["grid"] is None and not turns(r),
    "turning": lambda r: turns(r) and r["grid"] is None and not is_off(r),
    "grid": lambda r: r["grid"] is not None and not turns(r) and not is_off(r),
    "zero": lambda r: r["tips"][0]["angle_error_deg"] is not None,
}
# term, tips, parts: the smallest planned boards that show it right nine times in ten, at 80 um (8 of a part), 1.8 mm
# per metre of shear, 2.4 degrees
SMALLEST = [
    ("offset", 1, 5, {"offset": (0.064, -0.048)}),
    ("offset", 2, 7, {"offset": (0.064, -0.048)}),
    ("common", 2, 6, {"common": (-0.048, 0.064)}),
    ("turning", 1, 4, {"turning": (0.064, -0.048)}),
    ("grid", 1, 5, {"grid": ((0, 0.0018), (0, 0))}),
    ("zero", 1, 4, {"zero": -2.4}),
]


def smallest():
    """Each term's smallest board shows it, and nothing else; one that is too small for it says so."""
    for term, n_tips, parts, fault in SMALLEST:
        machine(n_tips)
        planned = json.loads(plan("110x80", parts, "--json", status=(0, 20)))["parts"]
        rng = np.random.default_rng(parts)
        shown = sum(SHOWN[term](place(planned, n_tips, rng, **fault)) for _ in range(BOARDS))
        print(f"{term}, {n_tips} tips, {parts} parts: shown right on {shown} of {BOARDS}")
        tally.check(shown >= 0.9 * BOARDS - 3 * math.sqrt(0.09 * BOARDS), f"{term}: {shown} of {BOARDS}")


def what_is_open():
    """Too few parts, one rotation, one line, one tip: told, and the parts that are asked for make it known."""
    machine(1)
    planned = json.loads(plan("110x80", 12, "--json"))["parts"]
    one_line = [{**p, "y_mm": 40.0} for p in planned]
    one_turn = [{**p, "rotation_deg": 90.0} for p in planned]
    for what, parts in (("placed-grid", one_line), ("placed-rotations", one_turn)):
        rng = np.random.default_rng(7)
        r = place(parts, 1, rng)
        open_before = {f["values"].get("what") for f in r["findings"] if f["code"] == "undetermined"}
        tally.check(what in open_before, f"{what}: {open_before}")
        tally.check(len(r["parts_wanted"]) == 5, f"{what}: {r['parts_wanted']}")
        r = place(parts + r["parts_wanted"], 1, rng)
        still = {f["values"].get("what") for f in r["findings"] if f["code"] == "undetermined"}
        tally.check(what not in still, f"{what}: with five more parts {still}")
    r = place(planned[:2], 1, np.random.default_rng(8))
    tally.check(r["verdict"] == "repeat" and "few-parts" in [f["code"] for f in r["findings"]], f"two parts: {r['findings']}")
    tally.check(len(r["parts_wanted"]) == 5, "five more are asked for")
    r = place(planned, 1, np.random.default_rng(9), offset=(0.09, 0.05))
    only = [f for f in r["findings"] if f["code"] == "offset-off"]
    tally.check(len(only) == 1 and only[0]["values"]["what"] == "only-tip", f"one tip: {r['findings']}")


def table_and_messages():
    machine(2, units="inch")
    text = plan("4inx3in", 12, "--csv")
    head = "# machine: crooked\n# frame: board\n# units: inch\npart,tip,rotation,x,y,found_x,found_y,found_rotation\n"
    tally.check(text.startswith(head), text[:90])
    mm = json.loads(plan("101.6x76.2", 12, "--json"))["parts"]
    for line, part in zip(text.splitlines()[4:], mm):
        cells = line.split(",")
        tally.check(cells[1] == part["tip"] and abs(25.4 * float(cells[3]) - part["x_mm"]) < 3e-4, f"{line} {part}")
    (folder / "board.csv").write_text(text.replace(",,,", ",1,1,"), encoding="utf-8")  # wide of their places, but read
    done = tiptrue("placement", "--machine", "machine.json", "board.csv")
    tally.check(done.returncode in (0, 10, 20) and done.stderr == "", f"{done.returncode} {done.stderr}")
    machine(2)
    tally.check("9 parts at quarter turns" in plan("6.1x5.02", 9, status=(0, 20)), "three rows of three, 2 mm apart, have room")
    tally.check("Too few parts" in plan("110x80", 2, status=(20,)), "two parts tell nothing")
    for command, status, told in (
        (("--board", "110x80"), 64, "--board and --parts need each other"),
        (("--board", "110", "--parts", "9"), 64, "--board '110' is not a size; write width and height, such as 110x80"),
        (("--board", "110x0", "--parts", "9"), 64, "--board '0' is not a length"),
        (("--board", "110x80", "--parts", "9", "--touches", "9"), 64, "--board is about parts"),
        (("--board", "110x80", "--parts", "9", "--tip", "x"), 64, "the machine has no such tip"),
        (("--board", "4.98x6", "--parts", "9"), 65, "9 parts have no room on the board, 2 mm apart"),
        (("--board", "9x9", "--parts", "400"), 65, "400 parts have no room on the board, 2 mm apart"),
    ):
        done = tiptrue("plan", "--machine", "machine.json", *command)
        tally.check(done.returncode == status and told in done.stderr and done.stdout == "", f"{command}: {done}")


for test in (expected_values, smallest, what_is_open, table_and_messages):
    test()
tally.close()
