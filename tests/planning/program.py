# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The motion program, executed by an interpreter of its own (ngc.py) over the plate's geometry: nothing is hit but the edge that is
meant, slowly, along its normal, from free space, at a rotation set before. What is wrong must be noticed: the program is broken on
purpose too. And what the machine file does not say is refused.
"""
import copy
import json
import math
import os
import re
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "planning"))
import bench  # noqa: E402
import ngc  # noqa: E402
from tally import Tally  # noqa: E402

ROUNDING_MM = 2e-4  # of the digits in the program
tally = Tally()


def machine(tips=2, **motion):
    made = bench.machine(tips, motion={**bench.MOTION, **motion})
    made["mark"]["u"], made["yaw"]["u_deg"] = 0.03, 0.05
    return made


class World:
    """The plate where the machine file says it is, with every tip as it states; edges reach down from z = 0."""

    def __init__(self, plate, described):
        self.motion = described["motion"]
        self.margin = self.motion["margin"]
        a = math.radians(described["yaw"]["value_deg"])
        self.cos, self.sin, self.mark = math.cos(a), math.sin(a), described["mark"]["at"]
        self.tips = {tip["name"]: tip for tip in described["tips"]}
        self.edges = {}
        for edge in plate["edges"]:
            ends = [self.place(edge[key]) for key in ("from", "to")]
            step = [b - a for a, b in zip(*ends)]
            length = math.hypot(*step)
            side = 1 if edge["free_side"] == "left" else -1
            self.edges[edge["name"]] = (*ends, (-side * step[1] / length, side * step[0] / length))

    def place(self, at):
        return [self.mark[0] + self.cos * at[0] - self.sin * at[1], self.mark[1] + self.sin * at[0] + self.cos * at[1]]

    def centre(self, tip, at):
        """The tip's centre with the head and rotation @at."""
        t, a = self.tips[tip], math.radians(at["A"])
        e = t["runout"]
        return [at["X"] + t["offset"][0] + math.cos(a) * e[0] - math.sin(a) * e[1],
                at["Y"] + t["offset"][1] + math.sin(a) * e[0] + math.cos(a) * e[1]]

    def distance(self, name, point):
        """From an edge of the plate to a point."""
        start, end, _ = self.edges[name]
        step = [b - a for a, b in zip(start, end)]
        t = sum((p - a) * s for p, a, s in zip(point, start, step)) / sum(s * s for s in step)
        t = min(max(t, 0), 1)
        return math.hypot(*[p - a - t * s for p, a, s in zip(point, start, step)])

    def swept(self, tip, start, end, name, steps=130):
        """How near the tip's axis comes to an edge on its way, by small steps."""
        return min(self.distance(name, self.centre(tip, {k: start[k] + i / steps * (end[k] - start[k]) for k in start}))
                   for i in range(steps + 1))


class Watch:
    """Executes a program and notes everything that must not be. @plan: tiptrue.plan/1 of the same moves."""

    def __init__(self, plate, described, plan):
        self.world = World(plate, described)
        self.motion = described["motion"]
        self.moves = {str(move["id"]): move for move in plan["moves"]}
        self.order, self.faults = [], []

    def say(self, move, what):
        self.faults.append(f"line {move.line}: {what}")

    def named(self, move):
        """The plan's move that the last message names, or None."""
        found = re.match(r"id=(\S+) ", move.message)
        return self.moves.get(found[1]) if found else None

    def trip(self, move):
        """Where a probing move meets its edge; notes what is wrong with the move."""
        planned = self.named(move)
        if planned is None or planned["kind"] != "touch":
            self.say(move, "a probing move that no message names")
            return dict(move.end)
        tip, target = planned["tip"], planned["target"]
        radius = self.world.tips[tip]["radius"]
        start, _, n = self.world.edges[target]
        begin, end = self.world.centre(tip, move.start), self.world.centre(tip, move.end)
        gap = [sum((c - s) * k for c, s, k in zip(centre, start, n)) - radius for centre in (begin, end)]
        if gap[0] < max(0.3, self.motion["start_distance"]) - ROUNDING_MM:
            self.say(move, f"starts {gap[0]:.4f} mm off '{target}'")
        if not gap[1] < 0:
            self.say(move, f"does not reach '{target}'")
            return None
        way = [b - a for a, b in zip(begin, end)]
        if sum(w * k for w, k in zip(way, n)) > -math.cos(math.radians(0.1)) * math.hypot(*way):
            self.say(move, f"does not go along the normal of '{target}' towards it")
        share = gap[0] / (gap[0] - gap[1])
        contact = {k: move.start[k] + share * (move.end[k] - move.start[k]) for k in move.start}
        for name in self.world.edges:
            need = radius + self.world.margin if name != target else radius
            if self.world.swept(tip, move.start, contact, name) < need - ROUNDING_MM:
                self.say(move, f"comes too near to '{name}' on its way to '{target}'")
        for foot in (start, self.world.edges[target][1]):
            if math.hypot(*[c - f for c, f in zip(self.world.centre(tip, contact),
                                                  foot)]) < radius + self.world.margin - ROUNDING_MM:
                self.say(move, f"meets '{target}' at its end")
        if abs((planned["rotation"] - move.start["A"] + 180) % 360 - 180) > 1e-3:
            self.say(move, f"at rotation {move.start['A']}, planned is {planned['rotation']}")
        if abs(move.feed - planned["feed"]) > 1e-3:
            self.say(move, f"at feed {move.feed}, planned is {planned['feed']}")
        if move.start["Z"] != self.motion["touch_height"]:
            self.say(move, f"at height {move.start['Z']}")
        self.order.append(planned["id"])
        return contact

    def check_move(self, move, before):
        changed, safe = move.changes(), self.motion["safe_height"]
        for axis, key in zip("XYZA", ("x", "y", "z", "rotation")):
            low, high = self.motion["limits"][key]
            if not low <= move.end[axis] <= high:
                self.say(move, f"{axis} {move.end[axis]} is out of the limits")
        if "A" in changed and (move.start["Z"] < safe or len(changed) > 1):
            self.say(move, "turns the tip while it is down, or while moving")
        if "Z" in changed and len(changed) > 1:
            self.say(move, "moves sideways and in height at once")
        sideways = bool(changed & {"X", "Y"})
        if move.code == "G1" and sideways and move.start["Z"] < safe and (before is None or before.code != "G38.2"
                                                                           or move.end != before.start):
            self.say(move, "travels below the safe height")

    def run(self, program):
        """All faults of a program."""
        start = {"X": self.world.mark[0], "Y": self.world.mark[1], "Z": self.motion["touch_height"] - 1, "A": 0.0, "B": 0.0,
                 "C": 0.0}
        interpreter = ngc.Interpreter(self.trip, start)
        try:
            moves = interpreter.run(program)
        except ngc.Fault as fault:
            return [str(fault)] + self.faults
        if not moves or moves[0].changes() != {"Z"} or moves[0].end["Z"] != self.motion["safe_height"]:
            self.faults.append("the first motion is not the one up to the safe height")
        for before, move in zip([None, *moves], moves):
            self.check_move(move, before)
        touches = [move["id"] for move in self.moves.values() if move["kind"] == "touch"]
        if self.order != touches:
            self.faults.append("the touches are not those of the plan, in its order")
        sightings = sum(move["kind"] == "sight" for move in self.moves.values())
        if interpreter.stops < sightings:
            self.faults.append("a sighting without a stop")
        return self.faults


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
            heads = {"hands clear", "the stop within reach", "contact circuit by hand", "First run", "rules of the place"}
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
