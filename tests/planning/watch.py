# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""A plate with its tips as geometry, and a watch over a motion program that is executed over it: nothing is hit but the edge that
is meant, slowly, along its normal, from free space, at a rotation set before."""
import math
import re

import ngc


class World:
    """The plate where the machine file says it is, turned by @turned_deg more, with every tip as it states; edges reach down from
    z = 0."""

    def __init__(self, plate, described, turned_deg=0):
        self.motion = described["motion"]
        self.margin = self.motion["margin"]
        a = math.radians(described["yaw"]["value_deg"] + turned_deg)
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
    """Executes a program and notes everything that must not be. @plan: tiptrue.plan/1 of the same moves; @rounding_mm: of the
    digits in the program, or of what the interpreter prints."""

    def __init__(self, plate, described, plan, rounding_mm=2e-4):
        # setup 1 is where the machine file has the plate
        turned = {setup["setup"]: setup["turned_deg"] for setup in plan.get("setups", []) if setup["setup"] != "1"}
        self.worlds = {setup: World(plate, described, turned.get(setup, 0)) for setup in {"1", *turned}}
        self.world = self.worlds["1"]
        # along a machine axis, an edge is met as aslant as it lies; digits turn a way of half a millimetre or more
        aslant_deg = 0.1 if described["motion"]["probing"] == "normal" else 3
        self.aslant_deg = max(aslant_deg, math.degrees(rounding_mm / 2 / 0.5))
        self.motion = described["motion"]
        self.moves = {str(move["id"]): move for move in plan["moves"]}
        self.order, self.faults = [], []
        self.rounding_mm = rounding_mm
        self.contacts = {}  # by id: where the head is when the tip meets the edge

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
        tip, target, self.world = planned["tip"], planned["target"], self.worlds[planned["setup"]]
        radius = self.world.tips[tip]["radius"]
        start, _, n = self.world.edges[target]
        begin, end = self.world.centre(tip, move.start), self.world.centre(tip, move.end)
        gap = [sum((c - s) * k for c, s, k in zip(centre, start, n)) - radius for centre in (begin, end)]
        if gap[0] < max(0.3, self.motion["start_distance"]) - self.rounding_mm:
            self.say(move, f"starts {gap[0]:.4f} mm off '{target}'")
        if not gap[1] < 0:
            self.say(move, f"does not reach '{target}'")
            return None
        way = [b - a for a, b in zip(begin, end)]
        if sum(w * k for w, k in zip(way, n)) > -math.cos(math.radians(self.aslant_deg)) * math.hypot(*way):
            self.say(move, f"does not go along the normal of '{target}' towards it")
        share = gap[0] / (gap[0] - gap[1])
        contact = {k: move.start[k] + share * (move.end[k] - move.start[k]) for k in move.start}
        for name in self.world.edges:
            need = radius + self.world.margin if name != target else radius
            if self.world.swept(tip, move.start, contact, name) < need - self.rounding_mm:
                self.say(move, f"comes too near to '{name}' on its way to '{target}'")
        for foot in (start, self.world.edges[target][1]):
            if math.hypot(*[c - f for c, f in zip(self.world.centre(tip, contact),
                                                  foot)]) < radius + self.world.margin - self.rounding_mm:
                self.say(move, f"meets '{target}' at its end")
        if abs((planned["rotation"] - move.start["A"] + 180) % 360 - 180) > 1e-3:
            self.say(move, f"at rotation {move.start['A']}, planned is {planned['rotation']}")
        if abs(move.feed - planned["feed"]) > 10 * self.rounding_mm:
            self.say(move, f"at feed {move.feed}, planned is {planned['feed']}")
        if abs(move.start["Z"] - self.motion["touch_height"]) > self.rounding_mm:
            self.say(move, f"at height {move.start['Z']}")
        self.order.append(planned["id"])
        self.contacts[planned["id"]] = contact
        return contact

    def check_move(self, move, before):
        changed, safe = move.changes(), self.motion["safe_height"]
        for axis, key in zip("XYZA", ("x", "y", "z", "rotation")):
            low, high = self.motion["limits"][key]
            if not low <= move.end[axis] <= high:
                self.say(move, f"{axis} {move.end[axis]} is out of the limits")
        if "A" in changed and (move.start["Z"] < safe - self.rounding_mm or len(changed) > 1):
            self.say(move, "turns the tip while it is down, or while moving")
        if "Z" in changed and len(changed) > 1:
            self.say(move, "moves sideways and in height at once")
        sideways = bool(changed & {"X", "Y"})
        back = before is not None and before.code == "G38.2" and move.end == before.start
        if move.code == "G1" and sideways and move.start["Z"] < safe - self.rounding_mm and not back:
            self.say(move, "travels below the safe height")

    def run(self, program, reader=ngc.Interpreter):
        """All faults of a program, read by @reader."""
        start = {"X": self.world.mark[0], "Y": self.world.mark[1], "Z": self.motion["touch_height"] - 1, "A": 0.0, "B": 0.0,
                 "C": 0.0}
        interpreter = reader(self.trip, start)
        try:
            moves = interpreter.run(program)
        except ngc.Fault as fault:
            return [str(fault)] + self.faults
        if not moves or moves[0].changes() != {"Z"} or abs(
                moves[0].end["Z"] - self.motion["safe_height"]) > self.rounding_mm:
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
