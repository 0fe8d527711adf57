# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Motion programs under somebody else's interpreter: `rs274', the stand-alone one of Debian's package linuxcnc-uspace. Every kind
of program goes through it; its canonical moves are watched over the plate's geometry (watch.py), each contact must be where the
plan's table has the head, and fed back as a controller's log the contacts must give the offsets that the machine file states.

Too large for `make check' (the package draws in 86 others): `make check-release' runs it. RS274 names the interpreter, `rs274'
unless set.
"""
import csv
import functools
import io
import json
import math
import os
import re
import shutil
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "planning"))
import bench  # noqa: E402
import ngc  # noqa: E402
from tally import Tally  # noqa: E402
from watch import Watch  # noqa: E402

RS274 = os.environ.get("RS274", "rs274")
AXES = "XYZABC"
MM_PER_INCH = 25.4
# Canonical calls that a program of touches may cause, beside its moves.
CALLS = {"COMMENT", "MESSAGE", "SET_FEED_RATE", "SET_FEED_MODE", "SELECT_PLANE", "USE_LENGTH_UNITS", "USE_TOOL_LENGTH_OFFSET",
         "SET_MOTION_CONTROL_MODE", "PROGRAM_STOP", "TURN_PROBE_ON", "TURN_PROBE_OFF", "SET_G5X_OFFSET", "SET_G92_OFFSET",
         "SET_XY_ROTATION", "SET_FEED_REFERENCE", "ON_RESET", "PROGRAM_END", "STOP_SPINDLE_TURNING", "SET_SPINDLE_MODE"}
tally = Tally()
counts = {"programs": 0, "probing moves": 0, "faults": 0}


class Canonical:
    """What rs274 makes of a program, as moves: those of ngc.Interpreter, read from its canonical calls. The rotation, whatever
    its @word, is the watch's A."""

    def __init__(self, trip, start, word="A"):
        self.word = word
        self.trip, self.at, self.stops = trip, dict(start), 0
        self.exact, self.mm, self.feed = False, 1.0, 0.0
        self.moves, self.messages = [], []

    def run(self, text):
        with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
            with open(f"{folder}/program.ngc", "w", encoding="utf-8") as out:
                out.write(text)
            for empty in ("tool.tbl", "rs274.var"):
                open(f"{folder}/{empty}", "w", encoding="utf-8").close()
            done = subprocess.run([RS274, "-g", "-n", "2", "-t", "tool.tbl", "-v", "rs274.var", "program.ngc"], cwd=folder,
                                  capture_output=True, text=True, check=False, timeout=60, stdin=subprocess.DEVNULL)
        calls = re.findall(r"^ *\d+ \S+ +([A-Z0-9_]+)\((.*)\)$", done.stdout, re.M)
        if done.returncode != 0 or not any(name == "PROGRAM_END" for name, _ in calls):
            raise ngc.Fault(f"rs274 ends with {done.returncode}: {(done.stdout[-200:] + done.stderr)[-400:]}")
        for number, (name, arguments) in enumerate(calls, 1):
            self.call(number, name, arguments)
        return self.moves

    def call(self, number, name, arguments):
        if name in ("STRAIGHT_FEED", "STRAIGHT_PROBE"):
            self.move(number, name, [float(value) for value in arguments.split(",")])
        elif name == "SET_FEED_RATE":
            self.feed = float(arguments)
        elif name == "USE_LENGTH_UNITS":
            self.mm = {"CANON_UNITS_MM": 1.0, "CANON_UNITS_INCHES": MM_PER_INCH}[arguments]
        elif name == "SET_MOTION_CONTROL_MODE":
            self.exact = arguments == "CANON_EXACT_PATH"
        elif name == "MESSAGE":
            self.messages.append(arguments.strip('"'))
        elif name == "PROGRAM_STOP":
            self.stops += 1
        elif name == "SET_FEED_MODE" and not arguments.startswith("0"):
            raise ngc.Fault(f"call {number}: feed mode {arguments}")
        elif name not in CALLS:
            raise ngc.Fault(f"call {number}: {name}")

    def move(self, number, name, values):
        """Lengths in millimetres, as the watch has them; a turn's feed is in degrees, whatever the unit."""
        if not self.exact:
            raise ngc.Fault(f"call {number}: a motion that is not on the exact path")
        end = {axis: value * (self.mm if axis in "XYZ" else 1) for axis, value in zip(AXES, values)}
        end["A"], end[self.word] = end[self.word], end["A"]
        if not self.moves:  # rs274 begins at 0, 0; the first motion is in Z
            end["X"], end["Y"] = self.at["X"], self.at["Y"]
        start, code = self.at, "G1" if name == "STRAIGHT_FEED" else "G38.2"
        move = ngc.Move(number, code, start, end, self.feed * self.mm, self.messages)
        self.moves.append(move)
        self.at = end
        if code == "G38.2":
            counts["probing moves"] += 1
            tripped = self.trip(move)
            if tripped is None:
                raise ngc.Fault(f"call {number}: the probe did not trip")
            self.at = tripped


def in_inches(value, factor=1 / MM_PER_INCH):
    if isinstance(value, dict):
        return {key: item if key in ("rotation", "rotation_feed") else in_inches(item, factor) for key, item in value.items()}
    if isinstance(value, list):
        return [in_inches(item, factor) for item in value]
    return value if isinstance(value, (str, bool)) else value * factor


def machine(tips, inches=False, **motion):
    """The machine in mm, as the watch takes it, and the one whose file tiptrue reads."""
    made = bench.machine(tips, motion={**bench.MOTION, **motion})
    made["mark"]["u"], made["yaw"]["u_deg"] = 0.03, 0.05
    written = json.loads(json.dumps(made))
    if inches:
        written["units"] = "inch"
        for key in ("resolution", "sighting", "touch", "mark", "motion"):
            written[key] = in_inches(written[key])
        for tip in written["tips"]:
            tip.update({key: in_inches(tip[key]) for key in ("radius", "radius_u", "offset", "runout")})
    return made, written


def log_of(watch, plan, heads):
    """What a controller would report of the contacts; sightings where the table has the head."""
    lines = []
    for move in plan["moves"]:
        at = watch.contacts.get(move["id"]) or {"X": heads[move["id"]][0], "Y": heads[move["id"]][1], "Z": 0}
        lines.append(f"trip id={move['id']} x={at['X']:.6f} y={at['Y']:.6f} z={at['Z']:.6f} ok=1\n")
    return "".join(lines)


def goes_back(what, files, plan, heads, watch, made):
    """The contacts, as a log, give the offsets that the machine file states."""
    mm_plan = {key: value for key, value in plan.items() if key != "log_units"}
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        with open(f"{folder}/controller.log", "w", encoding="utf-8") as out:
            out.write("# units: mm\n" + log_of(watch, plan, heads))
        pattern = r"trip id=(?<id>\d+) x=(?<x>\S+) y=(?<y>\S+) z=(?<z>\S+) ok=(?<ok>[01])"
        result = json.loads(bench.command("solve", *files, "--json", "--plan", bench.save(f"{folder}/plan.json", mm_plan),
                                          "--pattern", pattern, f"{folder}/controller.log", good=(0, 10, 20)))
    stated = {tip["name"]: tip["offset"] for tip in made["tips"]}
    # the log has the contacts to a nanometre; touches are rounded to nothing, so a tenth of a micrometre is far more than needed
    for tip in result["tips"]:
        off = math.hypot(tip["offset_mm"]["x"] - stated[tip["tip"]][0], tip["offset_mm"]["y"] - stated[tip["tip"]][1])
        tally.check(off < 1e-4, f"{what}: the offset of {tip['tip']} comes back {1000 * off:.3f} um off")
    tally.check(len(result["tips"]) == len({move["tip"] for move in plan["moves"] if move["kind"] == "touch"}), f"{what}: tips")


def goes_through(what, plate, tips, options, inches=False, **motion):
    made, written = machine(tips, inches, **motion)
    # canonical calls are printed with four decimals: half a digit in inches is 1.3 um
    rounding_mm = 4e-3 if inches else 2e-4
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        files = ["--plate", bench.save(f"{folder}/plate.json", plate), "--machine", bench.save(f"{folder}/machine.json", written)]
        program = bench.command("plan", *files, *options, "--rs274")
        plan = json.loads(bench.command("plan", *files, *options, "--json"))
        table = bench.command("plan", *files, *options, "--csv", "--units", "mm")
        rows = csv.DictReader(io.StringIO("".join(line for line in table.splitlines(True) if not line.startswith("#"))))
        heads = {int(row["id"]): (float(row["x"]), float(row["y"])) for row in rows}
        watch = Watch(plate, made, plan, rounding_mm)
        faults = watch.run(program, functools.partial(Canonical, word=made["motion"]["rotation_word"]))
        counts["programs"] += 1
        counts["faults"] += len(faults)
        tally.check(not faults, f"{what}: {faults[:3]}")
        off = max((math.dist(heads[id], (at["X"], at["Y"])) for id, at in watch.contacts.items()), default=math.inf)
        tally.check(off < (3e-3 if inches else 1.5e-4), f"{what}: a contact {1000 * off:.2f} um from where the plan has the head")
        if not inches:
            goes_back(what, files, plan, heads, watch, made)
    return program, made, plan


def main():
    if shutil.which(RS274) is None:
        print(f"needs the interpreter '{RS274}': Debian: apt-get install linuxcnc-uspace, or name it by RS274", file=sys.stderr)
        sys.exit(1)
    for name, plate in bench.PLATES.items():
        for tips, touches in ((1, 14), (2, 29), (3, 41)):
            for inches in (False, True):
                goes_through(f"{name}, {tips} tips, inches {inches}", plate, tips, ("--touches", touches), inches)
        goes_through(f"{name}, two setups", plate, 1, ("--touches", 24, "--setups", 2))
    for word in "BC":
        goes_through(f"rotation word {word}", bench.PLATES["slot"], 1, ("--touches", 12), rotation_word=word)
    goes_through("along the axes", bench.PLATES["oblong"], 2, ("--touches", 24), probing="axes")
    # what is wrong is noticed
    program, made, plan = goes_through("whole", bench.PLATES["slot"], 1, ("--touches", 12))
    for what, old, new in (("rounds corners", "G61", "G64"), ("inches", "G21", "G20"), ("relative", "G90", "G91"),
                           ("no end", "M2", ""), ("a word twice", "G1 X", "G1 X1 X"),
                           ("no feed", "G1 Z11.5000 F240.0000", "G1 Z11.5000")):
        wrong = program.replace(old, new)
        faults = Watch(bench.PLATES["slot"], made, plan).run(wrong, Canonical)
        tally.check(wrong != program and faults != [], f"{what}: not noticed")
    print(", ".join(f"{count} {what}" for what, count in counts.items()))


main()
tally.close()
