# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""tiptrue placement --result and --learn: what is refused and why, which offsets count as in use, units, what a contradiction does.
The numbers are tests/simulation/joined.py's."""
import json
import os
import pathlib
import random
import re
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

PROGRAM = os.environ["TIPTRUE"]
tally = Tally()
folder = pathlib.Path(tempfile.mkdtemp())
EXAMPLE = pathlib.Path(os.environ["srcdir"], "examples", "gauge-board")
SEAT = "# board_u: 0.003\n# device_u: 0.002\n"
OFFSETS = {"wide": (36.2125, -18.4439), "narrow": (52.9027, -18.3362)}  # as the run has them


def tiptrue(*command):
    return subprocess.run([PROGRAM, *command], cwd=folder, check=False, capture_output=True, text=True)


def document(name, **change):
    made = json.loads((EXAMPLE / name).read_text(encoding="utf-8"))
    made.update(change)
    (folder / name).write_text(json.dumps(made, indent=1), encoding="utf-8")
    return made


def board(head=SEAT, off=(0.0, 0.0), tips=("wide", "narrow"), used=None):
    """Parts that lie where the run's offsets put them, and @off from there; 3 um of scatter about it, of mean 0 for a tip."""
    rng = random.Random(5)
    scatter = [[rng.gauss(0, 0.003), rng.gauss(0, 0.003)] for _ in range(32)]
    mean = [[sum(s[i] for s in scatter[t :: len(tips)]) * len(tips) / 32 for i in (0, 1)] for t in range(len(tips))]
    lines = ["# machine: weir-bench"] + head.splitlines() + ["tip,rotation,x,y,found_x,found_y"]
    for k in range(32):
        tip = tips[k % len(tips)]
        at = (120.5 + 13.7 * (k // 2 % 4), 80.25 + 17.3 * (k // 8))
        found = [
            at[i] + OFFSETS[tip][i] - (used or IN_USE)[tip][i] + off[i] + scatter[k][i] - mean[k % len(tips)][i] for i in (0, 1)
        ]
        lines.append(f"{tip},{90 * (k // 2 % 4 + k // 8) % 360},{at[0]},{at[1]},{found[0]:.6f},{found[1]:.6f}")
    (folder / "board.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def place(*more):
    return tiptrue("placement", "--machine", "machine.json", "--result", "run.json", *more, "board.csv")


def joined(*more):
    done = place("--json", *more)
    tally.check(done.returncode in (0, 10, 20), f"exit status {done.returncode}: {done.stderr}")
    return json.loads(done.stdout), done.returncode


def refused(what, status, told, *more):
    done = place(*more)
    tally.check(done.returncode == status, f"{what}: exit status {done.returncode}")
    tally.check(told in done.stderr, f"{what}: {done.stderr!r}")


LEARN = ("--plate", "plate.json", "--learn", "learned.json")
IN_USE = {"wide": (36.214, -18.442), "narrow": (52.873, -18.306)}
document("plate.json")
machine = document("machine.json", export=None)
for name in ("run.csv", "run-repeat.csv"):
    (folder / name).write_bytes((EXAMPLE / name).read_bytes())


def solve(log="run.csv", plate="plate.json", *more):
    return tiptrue("solve", "--json", *more, "--plate", plate, "--machine", "machine.json", log).stdout


(folder / "run.json").write_text(solve(), encoding="utf-8")

# Board and run agree: the plate's total shrinks to about what seat and device are known to.
board()
good, status = joined()
tally.check(status == 10, f"the narrow tip's old offset is off: {status}")
tally.check(good["joined"]["agreement"]["agrees"] and good["joined"]["in_use"] == "machine", f"{good['joined']}")
for tip in good["joined"]["tips"]:
    tally.check(tip["in_use_mm"]["x"] == IN_USE[tip["tip"]][0], f"in use: {tip}")
    tally.check(abs(tip["offset_mm"]["x"] - OFFSETS[tip["tip"]][0]) < 5e-4, f"{tip}")
    tally.check(0.006 < tip["expanded_offset_mm"]["x"] < 0.008 < 0.012 < tip["expanded_touched_mm"]["x"], f"{tip}")

# The same on a page: as many cells as columns in each row, the numbers those of the JSON; what is permitted, to two digits.
for permitted, shown in ((0.0099, "9.9"), (0.00994, "9.9"), (0.00996, "10"), (0.0101, "10")):
    document("machine.json", export=None, limits={**machine["limits"], "placement": {"permitted_mm": permitted}})
    place("--report", "page.html")
    page = (folder / "page.html").read_text(encoding="utf-8")
    tally.check(f"<p>Permitted: {shown} \u00b5m on each axis." in page, f"{permitted} mm are not {shown}")
document("machine.json", export=None)
rows = re.search(r"Joined with touches.*?</thead>(.*?)</table>", page, re.S)
columns = len(re.findall(r"<th\b", re.search(r"Joined with touches.*?</thead>", page, re.S).group()))
rows = [re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row, re.S) for row in re.findall(r"<tr>.*?</tr>", rows.group(1), re.S)]
for row, tip in zip(rows, good["joined"]["tips"]):
    after, before = (max(tip[k]["x"], tip[k]["y"]) for k in ("expanded_offset_mm", "expanded_touched_mm"))
    numbers = [float(re.sub(r"[^-.\d]", "", cell.replace("\u2212", "-"))) for cell in row[1:]]
    wanted = [tip["in_use_mm"]["x"], tip["in_use_mm"]["y"], tip["offset_mm"]["x"], tip["offset_mm"]["y"], 1e3 * after, 1e3 * before]
    near = [6e-5] * 4 + [0.6] * 2
    tally.check(len(row) == columns == 7 and row[0] == tip["tip"], f"{row}, {columns} columns")
    tally.check(all(abs(a - b) < c for a, b, c in zip(numbers, wanted, near)), f"{numbers}, not {wanted}")
tally.check(len(rows) == 2, f"{rows}")

# Which offsets were in use: --present none says those of the run.
board(used=OFFSETS)
other, status = joined("--present", "none")
tally.check(status == 0 and other["joined"]["in_use"] == "run", f"{status}, {other['joined']['in_use']}")
for a, b in zip(good["joined"]["tips"], other["joined"]["tips"]):
    tally.check(abs(a["offset_mm"]["y"] - b["offset_mm"]["y"]) < 2e-4, f"{a} {b}")

# A board whose offsets in use were others than is thought contradicts the run.
document(
    "machine.json",
    export=None,
    tips=[{**t, "offset": [OFFSETS[t["name"]][0] + 0.09, OFFSETS[t["name"]][1]]} for t in machine["tips"]],
)
wrong, status = joined()
tally.check(status == 20 and not wrong["joined"]["agreement"]["agrees"], f"{status} {wrong['joined']['agreement']}")
tally.check(
    wrong["joined"]["tips"][0]["offset_mm"] == {"x": None, "y": None} and wrong["joined"]["groups"] == [], f"{wrong['joined']}"
)
found = [f for f in wrong["findings"] if f["code"] == "contradicted"]
tally.check(len(found) == 1 and abs(found[0]["values"]["x_mm"] - 0.09) < 1e-3, f"{found}")
done = tiptrue("placement", "--machine", "machine.json", "--result", "nowhere.json", "board.csv")
tally.check(done.returncode == 66 and "nowhere.json: error: " in done.stderr, f"no result there: {done.returncode} {done.stderr}")
refused("contradicted", 65, "plate.json: error: nothing is learned from this board\n", *LEARN)


def turns(low, high, holds):
    """The neighbourhood, a millionth of @high wide, in which what @holds at @low and not at @high turns."""
    while high - low > 1e-6 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low, high


def off_by(mm):
    tips = [{**t, "offset": [OFFSETS[t["name"]][0] + mm, OFFSETS[t["name"]][1]]} for t in machine["tips"]]
    document("machine.json", export=None, tips=tips)
    return joined()[0]["joined"]["agreement"]


# A board and a run contradict each other where they come so by chance once in a thousand boards.
for mm in turns(0.003, 0.09, lambda mm: off_by(mm)["agrees"]):
    p = off_by(mm)["p"]
    tally.check(abs(p / 1e-3 - 1) < 1e-3, f"turns at p = {p}")
document("machine.json", export=None)


def shared(device_u):
    board(head=f"# board_u: 0.003\n# device_u: {device_u}\n")
    (folder / "l.json").unlink(missing_ok=True)
    return place("--json", *LEARN[:3], "l.json")


# Something is learned of a group where the board leaves less than 98 % of its u.
for device_u in turns(0.0005, 0.1, lambda u: shared(u).returncode != 65):
    done = shared(device_u)
    learns = done.returncode != 65
    tally.check(learns or "the board says nothing new of the plate's groups" in done.stderr, f"{device_u}: {done.stderr}")
    group = joined()[0]["joined"]["groups"][0]
    left = max(group["u_shift_mm"].values()) / group["stated_u_mm"]
    tally.check(abs(left / 0.98 - 1) < 1e-4, f"turns at {left} of its u")
(folder / "l.json").unlink(missing_ok=True)
board()

# Without seat and device only differences of tips count, and nothing of the plate.
board(head="", off=(0.05, -0.02))
apart, _ = joined()
tally.check(not apart["joined"]["seat_known"] and apart["joined"]["agreement"]["equations"] == 2, f"{apart['joined']['agreement']}")
tally.check(
    all(abs(g["u_shift_mm"]["x"] / g["stated_u_mm"] - 1) < 1e-3 for g in apart["joined"]["groups"]), f"{apart['joined']['groups']}"
)
refused("no seat", 65, "state '# board_u:' and '# device_u:' in the board's file", *LEARN)
board(head="# board_u: 0.003\n", tips=("wide",))
alone, _ = joined()
tally.check(alone["joined"]["agreement"] is None, f"{alone['joined']['agreement']}")
tally.check("placed-seat" in [f["values"].get("what") for f in alone["findings"]], f"{alone['findings']}")

# A plate in inches, a group with a tolerance; a board counts once; the file is never written over.
plate = document("plate.json")
inch = json.loads(json.dumps(plate))
for part in [*inch["marks"], *inch["edges"]]:
    for key in ("at", "from", "to"):
        if key in part:
            part[key] = [round(v / 25.4, 9) for v in part[key]]
    part.update({"u": part["u"] / 25.4} if "u" in part else {})
inch["groups"] = [{"name": "milled", "tolerance": 0.006 * 3**0.5 / 25.4}]
inch["units"] = "inch"
(folder / "inch.json").write_text(json.dumps(inch), encoding="utf-8")
board(off=(0.004, -0.003))
for name in ("plate.json", "inch.json"):
    (folder / "run.json").write_text(solve(plate=name), encoding="utf-8")
    done = place("--plate", name, "--learn", "learned-" + name)
    tally.check(done.returncode == 10, f"{name}: {done.returncode} {done.stderr}")
learned = [json.loads((folder / ("learned-" + name)).read_text(encoding="utf-8")) for name in ("plate.json", "inch.json")]
for a, b in zip(learned[0]["edges"], learned[1]["edges"]):
    tally.check(max(abs(x - 25.4 * y) for end in ("from", "to") for x, y in zip(a[end], b[end])) < 1e-4, f"{a} {b}")
tally.check(abs(learned[0]["groups"][0]["u"] * 3**0.5 / 25.4 / learned[1]["groups"][0]["tolerance"] - 1) < 1e-2, f"{learned}")
moved = learned[0]["edges"][0]["from"][0] - plate["edges"][0]["from"][0]
tally.check(0.001 < moved < 0.0045, f"the group goes with the board, which lies by +4 um in x: {moved}")
tally.check(tiptrue("check", "--plate", "learned-plate.json").stderr == "", "the learned plate is read without a warning")
refused("there already", 74, "learned-plate.json is there already", "--plate", "inch.json", "--learn", "learned-plate.json")
refused(
    "other version",
    65,
    "the run was solved with another version of this plate",
    "--plate",
    "learned-plate.json",
    "--learn",
    "l.json",
)
(folder / "run.json").write_text(solve(plate="learned-plate.json"), encoding="utf-8")
refused("twice", 65, "what this board says is in the plate file already", "--plate", "learned-plate.json", "--learn", "l.json")
board(off=(0.0035, -0.0025))
done = place("--plate", "learned-plate.json", "--learn", "twice.json")
tally.check(done.returncode == 10, f"a second board: {done.returncode} {done.stderr}")
twice = json.loads((folder / "twice.json").read_text(encoding="utf-8"))["groups"][0]
tally.check(twice["learned"]["parts"] == 64 and len(twice["learned"]["boards"].split()) == 2, f"{twice}")
tally.check(twice["learned"]["stated_u"] == 0.006 and twice["u"] < learned[0]["groups"][0]["u"], f"{twice}")

# What cannot be joined.
document("plate.json", serial="CW-18")
refused("other plate", 65, "the run was made with another plate", *LEARN)
(folder / "run.json").write_text(solve("run-repeat.csv"), encoding="utf-8")
refused("a repeat", 65, "the run has no offset of the board's tips that may be used")
(folder / "run.json").write_text(solve("run.csv", "plate.json", "--least-squares"), encoding="utf-8")
refused("least squares", 65, "the run was solved with --least-squares")
old = json.loads(solve())
for tip in old["tips"]:
    del tip["same_plate"]["plate_effect"]
(folder / "run.json").write_text(json.dumps(old), encoding="utf-8")
refused("an old result", 65, "does not say how the plate's errors bear on the offsets")
(folder / "run.json").write_text(json.dumps({**old, "run": {**old["run"], "machine": "other"}}), encoding="utf-8")
refused("another machine", 65, "the run is of machine 'other'")
refused("no plate", 64, "--learn writes what --plate then is", "--learn", "l.json")
done = tiptrue("placement", "--machine", "machine.json", "--present", "none", "board.csv")
tally.check(done.returncode == 64 and "name it by --result" in done.stderr, f"{done.stderr}")
tally.check(not (folder / "l.json").exists() and not (folder / "learned.json").exists(), "a refusal leaves nothing behind")
tally.close()
