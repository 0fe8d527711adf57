# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The motion program, executed by an interpreter of its own (ngc.py) over the plate's geometry: nothing is hit but the edge that is
meant, slowly, along its normal, from free space, at a rotation set before. What is wrong must be noticed: the program is broken on
purpose too. And what the machine file does not say is refused.
"""
import copy
import json
import os
import re
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "planning"))
import bench  # noqa: E402
from tally import Tally  # noqa: E402
from watch import Watch  # noqa: E402

tally = Tally()


def machine(tips=2, **motion):
    made = bench.machine(tips, motion={**bench.MOTION, **motion})
    made["mark"]["u"], made["yaw"]["u_deg"] = 0.03, 0.05
    return made


def planned(plate, described, *options):
    """The program and the plan of the same moves."""
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        files = ["--plate", bench.save(f"{folder}/plate.json", plate), "--machine", bench.save(f"{folder}/machine.json", described)]
        return (bench.command("plan", *files, *options, "--rs274"), json.loads(bench.command("plan", *files, *options, "--json")))


def broken(program, pattern, replacement, which=0):
    """The program with the @which-th match of @pattern replaced."""
    places = list(re.finditer(pattern, program, re.M))
    return program[:places[which].start()] + places[which].expand(replacement) + program[places[which].end():]


def good_programs():
    for name, plate in bench.PLATES.items():
        for tips, options in ((1, ("--touches", 14)), (3, ("--touches", 41))):
            described = machine(tips)
            program, plan = planned(plate, described, *options)
            faults = Watch(plate, described, plan).run(program)
            tally.check(not faults, f"{name}, {tips} tips: {faults[:3]}")
            heads = {"hands clear", "the stop within reach", "contact circuit by hand", "First run", "qualified people only",
                     "in mm", "G49 cancels tool length", "No G92 offset may be active", "G61 is exact path",
                     "The first motion is to Z11.5000: down, if the head is higher", "does not jog during M0"}
            tally.check(all(text in program[:program.index("G17")] for text in heads), f"{name}: a caution is missing at the head")


def broken_programs():
    """Each of these must be noticed."""
    plate, described = bench.PLATES["slot"], machine(1)
    program, plan = planned(plate, described, "--touches", 12)
    z, down = described["motion"]["safe_height"], described["motion"]["touch_height"]
    for what, wrong in {
        "inch": program.replace("G21", "G20"),
        "no units": program.replace("G21 ", ""),
        "relative": program.replace("G90", "G91"),
        "rounds corners": program.replace("G61", "G64"),
        "no path mode": program.replace("G61 ", ""),
        "inverse time": program.replace("G94", "G93"),
        "not up first": broken(program, rf"^G1 Z{z:.4f} .*\n", ""),
        "not up between touches": broken(program, rf"^G1 Z{z:.4f} .*\n", "", 6),
        "not down": broken(program, rf"^G1 Z{down:.4f} .*\n", ""),
        "turned while down": broken(program, r"^(G38\.2.*)$", r"G1 A12.5 F3600\n\1", 3),
        "turned while probing": broken(program, r"^(G38\.2 X\S+)", r"\1 A12.5", 3),
        "away from the edge": broken(program, r"^G1 X(\S+) Y(\S+) F1500.*\n(.*\n.*\n)G38.2 X(\S+) Y(\S+)",
                                     r"G1 X\4 Y\5 F1500\n\3G38.2 X\1 Y\2"),
        "aslant": broken(program, r"^G38\.2 X(\S+) Y(\S+)", r"G38.2 X\1 Y200", 4),
        "too fast": broken(program, r"^(G38\.2.*)F30\.0000", r"\1F300", 2),
        "order": broken(program, r"id=5 ", "id=9 "),
        "a rapid": broken(program, r"^G1 X", "G0 X", 5),
        "no end": program.replace("M2\n", ""),
        "a comment in a comment": program.replace("(MSG,id=1 ", "(MSG,(id=1 "),
        "nearer than the start": nearer(program),
    }.items():
        tally.check(wrong != program, f"{what}: nothing was broken")
        tally.check(Watch(plate, described, plan).run(wrong) != [], f"{what}: not noticed")


def nearer(program):
    """The first touch's start moved half-way to its end."""
    found = re.search(r"^G1 X(\S+) Y(\S+) F1500.*\n.*\n.*\nG38\.2 X(\S+) Y(\S+)", program, re.M)
    x, y, far_x, far_y = (float(v) for v in found.groups())
    return program.replace(f"G1 X{x:.4f} Y{y:.4f} ", f"G1 X{0.7 * x + 0.3 * far_x:.4f} Y{0.7 * y + 0.3 * far_y:.4f} ")


def refusals():
    """Exit status 78, a message that names what is wrong, and no line of a program."""
    plate = bench.PLATES["slot"]

    def refused(what, described, names, *options):
        with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
            arguments = ["plan", "--plate", bench.save(f"{folder}/plate.json", plate), "--machine",
                         bench.save(f"{folder}/machine.json", described), "--touches", "12", "--rs274", *options]
            done = subprocess.run([bench.PROGRAM, *arguments], capture_output=True, text=True, check=False, timeout=60)
        tally.check(done.returncode == 78 and not done.stdout and names in done.stderr,
                    f"{what}: status {done.returncode}, {done.stderr[:300]!r}")

    for key in [*bench.MOTION, *(f"limits.{axis}" for axis in bench.MOTION["limits"])]:
        described = copy.deepcopy(machine(1))
        outer, _, inner = key.partition(".")
        if key == "limits":
            described["motion"]["limits"] = {}
            key = "limits.x, limits.y, limits.z, limits.rotation"
        elif inner:
            del described["motion"]["limits"][inner]
        else:
            del described["motion"][outer]
        refused(f"without {key}", described, f"not stated in \"motion\": {key}\n")
    without = machine(1)
    del without["motion"]
    refused("without motion", without, "not stated in \"motion\": safe_height, touch_height")
    refused("safe below touch", machine(1, safe_height=-2), "safe_height is not above touch_height")
    refused("measure as fast as find", machine(1, measure_feed=120), "measure_feed is not below find_feed")
    refused("start within the lost motion", machine(1, lost_motion=0.7), "start_distance is not larger than lost_motion")
    refused("out of x", machine(1, limits={**bench.MOTION["limits"], "x": [40, 160]}), "would go to X")
    refused("out of z", machine(1, limits={**bench.MOTION["limits"], "z": [0, 40]}),
            "would go to Z -1.4, and the limits are 0 to 40")
    refused("out of rotation", machine(1, limits={**bench.MOTION["limits"], "rotation": [0, 90]}), "would go to rotation")
    loose = machine(1)
    loose["mark"]["u"] = 0.4
    refused("the plate anywhere", loose, "from where it is expected")
    unturned = machine(1)
    del unturned["yaw"]
    refused("the plate turned anyhow", unturned, "how the plate is turned is not stated")
    homeless = machine(1)
    del homeless["tips"][0]["offset"]
    refused("no offset", homeless, "no offset is stated of tip 't1'")


def sighted_first():
    """A plate of which the machine file knows too little is sighted first; then the program is written for where it is."""
    plate, described = bench.PLATES["slot"], machine(1)
    described["mark"]["u"], described["yaw"] = 2.5, {"value_deg": -1, "u_deg": 3}
    true = machine(1)
    true["mark"]["at"], true["yaw"]["value_deg"] = [123.1, 81.9], 2.31
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        files = ["--plate", bench.save(f"{folder}/plate.json", plate), "--machine", bench.save(f"{folder}/machine.json", described)]
        truth = {"schema": "tiptrue.truth/1", "poses": [{"setup": "1", "mark": true["mark"]["at"], "yaw_deg": 2.31}], "tips": [],
                 "sighting": {"sigma": 0}}
        moves = {"schema": "tiptrue.plan/1", "moves": [{"id": i, "kind": "sight", "target": mark["name"]}
                                                       for i, mark in enumerate(plate["marks"])]}
        log = bench.command("simulate", *files, "--truth", bench.save(f"{folder}/truth.json", truth), "--plan",
                            bench.save(f"{folder}/moves.json", moves))
        with open(f"{folder}/sighted.csv", "w", encoding="utf-8") as out:
            out.write(log)
        options = ["--touches", 14, "--after", f"{folder}/sighted.csv"]
        program = bench.command("plan", *files, *options, "--rs274", good=(10,))
        plan = json.loads(bench.command("plan", *files, *options, "--json", good=(10,)))
    faults = Watch(plate, true, plan).run(program)
    tally.check(not faults, f"sighted first: {faults[:3]}")
    tally.check(Watch(plate, described, plan).run(program) != [], "sighted first: a plate elsewhere is not noticed")


good_programs()
broken_programs()
refusals()
sighted_first()
tally.close()
