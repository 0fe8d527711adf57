# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Units of what is printed: an inch machine from log to motion program without a millimetre; each number in inches is that in
millimetres by 25.4 (NIST SP 811, B.6: exactly), to the digits printed; JSON is in millimetres whatever is asked for."""
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

program = os.environ["TIPTRUE"]
bench = pathlib.Path(os.environ["srcdir"]).resolve() / "examples/gauge-board"
work = pathlib.Path(tempfile.mkdtemp())
tally = Tally()
MM = 25.4
environment = dict(os.environ, LC_ALL="C.UTF-8")

machine = json.loads((bench / "machine.json").read_text())
motion = {"safe_height": 12.7, "touch_height": -1.27, "travel_feed": 1524, "plunge_feed": 254, "find_feed": 127,
          "measure_feed": 30.48, "start_distance": 0.762, "overtravel": 0.508, "lost_motion": 0.04, "margin": 0.3,
          "limits": {"x": [0, 304.8], "y": [0, 203.2], "z": [-2.54, 40.64]}}
ANGLES = {"rotation_feed": 3600, "rotation_word": "A", "probing": "normal"}


def scaled(value, factor):
    if isinstance(value, dict):
        return {key: scaled(item, factor) for key, item in value.items()}
    if isinstance(value, list):
        return [scaled(item, factor) for item in value]
    return round(value * factor, 9)


def machine_file(name, factor, units):
    """The machine in other units, with all that a motion program needs; steps of 0.00254 mm, a ten-thousandth of an inch."""
    m = json.loads(json.dumps(machine))
    del m["export"]  # its files are not here
    m.update(units=units, resolution=scaled(0.00254, factor), sighting=scaled(m["sighting"], factor),
             mark=scaled({"at": [148.31, 91.64], "u": 0.02}, factor), yaw={"value_deg": 0.27, "u_deg": 0.01},
             limits=scaled(m["limits"], factor), motion=dict(scaled(motion, factor), **ANGLES))
    m["motion"]["limits"]["rotation"] = [0, 360]
    for tip in m["tips"]:
        tip.update({key: scaled(tip[key], factor) for key in ("radius", "radius_u", "offset")})
    (work / name).write_text(json.dumps(m))


machine_file("mm.json", 1, "mm")
machine_file("inch.json", 1 / MM, "inch")
machine_file("um.json", 1000, "um")


def run(command, *arguments, expect=(0, 10, 20)):
    done = subprocess.run([program, command, "--plate", bench / "plate.json", *arguments], cwd=work,
                          capture_output=True, text=True, check=False, timeout=60, env=environment)
    tally.check(done.returncode in expect, f"{command} {arguments}: {done.returncode} {done.stderr}")
    return done.stdout


NUMBER = r"[-+−]?\d+(?:\.\d+)?"
METRIC = re.compile(r"\bmm\b|µm|\bum\b")


def words(text):
    return re.sub(r"\s+", " ", text)


def same_lengths(what, inch, mm):
    """The numbers of two texts, one by one: equal, or by 25.4 or by 39.37 (µin for µm), as far as their digits tell."""
    a, b = re.findall(NUMBER, words(inch)), re.findall(NUMBER, words(mm))
    tally.check(len(a) == len(b), f"{what}: {len(a)} numbers, {len(b)} in mm")
    converted = 0
    for x, y in zip(a, b):
        u, v = (float(t.replace("−", "-")) for t in (x, y))
        digit = [10.0 ** -len(t.partition(".")[2]) for t in (x, y)]
        fits = [abs(u - v * factor) <= 0.51 * digit[0] + 0.51 * digit[1] * factor for factor in (1, 1 / MM, 1000 / MM)]
        tally.check(any(fits), f"{what}: {x} for {y}")
        converted += not fits[0]
    tally.check(converted > 5, f"{what}: {converted} numbers were converted")


# 1. Log to motion program. --machine stands last, so that the files' names differ in nothing but it.
runs = {name: run("solve", "--touches", bench / "run.csv", "--machine", name) for name in ("mm.json", "inch.json", "um.json")}
checks = {name: run("check", bench / "run.csv", "--machine", name).replace(name, "") for name in runs}
plans = {name: run("plan", "--target-u", "0.004", "--machine", name) for name in runs}
for what, texts in (("solve", runs), ("check", checks), ("plan", plans)):
    left = METRIC.findall(texts["inch.json"])
    tally.check(not left, f"{what}: {left} in the text of an inch machine")
    same_lengths(what, texts["inch.json"], texts["mm.json"])
    tally.check("µin" in texts["inch.json"], f"{what}: no µin")
    tally.check(not re.search(r"\bmm\b", texts["um.json"]), f"{what}: mm in the text of a µm machine")

# Asked for, whatever the machine; JSON never.
for units, name in (("inch", "inch.json"), ("mm", "mm.json"), ("um", "um.json")):
    asked = run("solve", bench / "run.csv", "--machine", "mm.json", "--units", units)
    own = run("solve", bench / "run.csv", "--machine", name)
    tally.check(asked.splitlines()[8:14] == own.splitlines()[8:14], f"--units {units}")
    tally.check(run("solve", "--json", bench / "run.csv", "--machine", "mm.json", "--units", units) ==
                run("solve", "--json", bench / "run.csv", "--machine", "mm.json"), f"JSON with --units {units}")
result = [json.loads(run("solve", "--json", bench / "run.csv", "--machine", name))["tips"][0]["offset_mm"] for name in runs]
for other in result[1:]:
    tally.check(all(abs(other[axis] - result[0][axis]) < 1e-4 for axis in "xy"), f"offset_mm {other}, {result[0]}")

# Coordinates have their unit.
for name, unit in (("mm.json", "mm"), ("inch.json", "in"), ("um.json", "µm")):
    places = re.findall(rf"\({NUMBER}, {NUMBER}\) ?(\S+)", words(runs[name]))
    tally.check(len(places) == 3 and all(p.rstrip(",:;") == unit for p in places), f"{name}: {places}")
    tally.check(re.search(rf"offset x {NUMBER}, y {NUMBER} {unit}\.", words(runs[name])), f"{name}: the last sentence")
    pair = rf"\(({NUMBER}), ({NUMBER})\)"
    numbers = re.search(rf"Head at {pair}.* at {pair}.* x ({NUMBER}), y ({NUMBER})", words(runs[name]))
    h_x, h_y, m_x, m_y, o_x, o_y = (round(float(t.replace("−", "-")) * 1e5) for t in numbers.groups())
    tally.check(h_x + o_x == m_x and h_y + o_y == m_y, f"{name}: {numbers.group(0)} does not add up")

# 2. The motion program: the same moves, in inches, under G20 from its first move to its end.
programs = {name: run("plan", "--rs274", "--touches", "48", "--machine", name) for name in runs}
tally.check(programs["mm.json"] == programs["um.json"], "a program for a µm machine is in mm")
for name, word in (("mm.json", "G21"), ("inch.json", "G20")):
    found = re.findall(r"\bG2[01]\b", programs[name])
    first = re.search(r"^G1 |^G38", programs[name], re.M).start()
    tally.check(set(found) == {word} and programs[name].index(word) < first, f"{name}: {found}")
tally.check(not METRIC.search(programs["inch.json"]), "mm in the program of an inch machine")
for a, b in zip(programs["inch.json"].splitlines(), programs["mm.json"].splitlines(), strict=True):
    if not a.startswith("G1 ") and not a.startswith("G38"):
        continue
    inch, mm = (dict((w[0], float(w[1:])) for w in line.split()[1:]) for line in (a, b))
    angle = "A" in inch
    good = inch.keys() == mm.keys()
    good = good and all(abs(inch[k] * (1 if angle else MM) - mm[k]) <= (1e-9 if angle else 2e-4) for k in mm)
    tally.check(good, f"{a} for {b}")
over = dict(json.loads((work / "inch.json").read_text()))
over["motion"]["limits"]["x"] = [0, 7]
(work / "over.json").write_text(json.dumps(over))
done = subprocess.run([program, "plan", "--plate", bench / "plate.json", "--machine", "over.json", "--rs274"], cwd=work,
                      capture_output=True, text=True, check=False, timeout=60)
tally.check(done.returncode == 78 and "the limits are 0 to 7 in" in done.stderr, f"limits: {done.returncode} {done.stderr}")

# 3. The moves as CSV, and simulated logs: their units are stated, and read again as such.
tables = {name: run("plan", "--csv", "--touches", "48", "--machine", name).splitlines() for name in runs}
tally.check(tables["inch.json"][0] == "# units: inch" and tables["um.json"][0] == "# units: um", "units of the moves as CSV")
tally.check(tables["mm.json"][0] == "# units: mm" and tables["mm.json"][1].startswith("id,"), "moves in mm")
for name, factor in (("inch.json", MM), ("um.json", 0.001)):
    for a, b in zip(tables[name][2:], tables["mm.json"][2:], strict=True):
        x, y = a.split(","), b.split(",")
        near = all(u == v == "" or abs(float(u) * factor - float(v)) < 2e-4 for u, v in zip(x[6:10], y[6:10]))
        tally.check(x[:6] == y[:6] and near, f"{a} for {b}")
truths = {}
for name in runs:
    log = run("simulate", "--draw", "--exact", "--seed", "5", "--machine", name)
    (work / "log.csv").write_text(log)
    truths[name] = json.loads(run("solve", "--json", "log.csv", "--machine", name))["tips"]
for name in ("inch.json", "um.json"):
    for a, b in zip(truths[name], truths["mm.json"], strict=True):
        tally.check(all(abs(a["offset_mm"][axis] - b["offset_mm"][axis]) < 1e-6 for axis in "xy"), f"simulated in {name}")
stepped = run("simulate", "--draw", "--seed", "5", "--machine", "inch.json")
cells = [row.split(",")[3] for row in stepped.splitlines() if row.startswith("touch")]
tally.check(cells and all(abs(float(c) * 1e4 - round(float(c) * 1e4)) < 2e-3 for c in cells), "steps of 0.0001 inch")

# 4. Lengths in options, wrong units.
same = {text: run("plan", "--target-u", text, "--machine", "mm.json") for text in ("0.00508", "5.08um", "0.0002in", "0.00508mm")}
tally.check(len(set(same.values())) == 1, "a length in an option is the same in each unit")
for wrong in (["--target-u", "3mil"], ["--units", "in"], ["--units", ""]):
    done = subprocess.run([program, "plan", "--plate", "p", "--machine", "m", *wrong], capture_output=True, text=True,
                          check=False)
    tally.check(done.returncode == 64 and "allowed are" in done.stderr, f"{wrong}: {done.returncode} {done.stderr}")

tally.close()
