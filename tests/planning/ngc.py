# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""A small interpreter of RS274/NGC, written from the text of the standard and sharing nothing with the program: T. R. Kramer,
F. M. Proctor, E. Messina, The NIST RS274/NGC Interpreter - Version 3, NISTIR 6556, 2000. Section numbers below are those of that
report, from memory.

It knows what a probing program needs; whatever else it meets is an error, as are the errors that the standard names.
"""
import re

AXES = "XYZABC"
# 3.4, table 4: modal groups; one word of a group on a line at most
GROUPS = {"G0": 1, "G1": 1, "G38.2": 1, "G80": 1, "G17": 2, "G18": 2, "G19": 2, "G90": 3, "G91": 3, "G93": 5, "G94": 5, "G20": 6,
          "G21": 6,
          "G40": 7, "G49": 8, "G54": 12, "G61": 13, "G61.1": 13, "G64": 13, "M0": 4, "M2": 4, "M30": 4}
LEAST_PROBE_MM = 0.254  # 3.5.9: it is an error if the point is nearer than 0.254 mm, or 0.01 inch


class Fault(Exception):
    """The standard, or this interpreter, has something against the program."""


class Move:
    """One motion, as it was commanded."""

    def __init__(self, line, code, start, end, feed, messages):
        self.line, self.code, self.start, self.end, self.feed = line, code, start, end, feed
        self.message = messages[-1] if messages else ""

    def changes(self):
        return {axis for axis in AXES if self.start[axis] != self.end[axis]}


def words(line, number):
    """Words of a block without its comments (3.3): a letter and a number each."""
    found, at = [], 0
    text = line.replace(" ", "").replace("\t", "").upper()
    while at < len(text):
        match = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))").match(text, at)
        if match is None:
            raise Fault(f"line {number}: no word at '{text[at:at + 12]}'")
        found.append((match[1], float(match[2])))
        at = match.end()
    return found


def comments(line, number):
    """The line without comments, and their texts. A comment has no '(' inside, and ends on its line (3.3.4)."""
    texts, rest = [], ""
    while "(" in line:
        before, _, after = line.partition("(")
        text, closed, line = after.partition(")")
        if not closed or "(" in text:
            raise Fault(f"line {number}: a comment that does not end, or holds another")
        texts.append(text)
        rest += before
    if ")" in line:
        raise Fault(f"line {number}: ')' without '('")
    return rest + line, texts


class Interpreter:
    """Executes a program. @trip(move) tells where a probing move ends: a position, or None where nothing trips, which is an
    error."""

    def __init__(self, trip, start):
        self.trip, self.at = trip, dict(start)
        self.feed, self.codes, self.messages, self.ended = 0.0, {}, [], False
        self.moves, self.stops = [], 0

    def run(self, text):
        lines = text.splitlines()
        for number, line in enumerate(lines, 1):
            if self.ended and line.strip():
                raise Fault(f"line {number}: something after the end of the program")
            if len(line) > 255:
                raise Fault(f"line {number}: longer than 256 characters (3.3)")
            self.block(line, number)
        if not self.ended:
            raise Fault("neither M2 nor M30 at the end (3.6.1)")
        return self.moves

    def block(self, line, number):
        code, texts = comments(line, number)
        for text in texts:
            if text.strip().upper().startswith("MSG,"):  # 3.3.5
                self.messages.append(text.strip()[4:])
        given, numbers = [], {}
        for letter, value in words(code, number):
            if letter in "GM":
                given.append(f"{letter}{value:g}")
            elif letter in numbers:
                raise Fault(f"line {number}: {letter} stands twice")  # 3.3.3
            else:
                numbers[letter] = value
        for word in given:
            if word not in GROUPS:
                raise Fault(f"line {number}: {word} is not known here")
            if sum(GROUPS[word] == GROUPS.get(other) for other in given) > 1:
                raise Fault(f"line {number}: two words of one modal group")  # 3.4
        if set(numbers) - set(AXES) - {"F", "N"}:
            raise Fault(f"line {number}: words that are not known here: {sorted(numbers)}")
        self.execute(given, numbers, number)

    def execute(self, given, numbers, number):
        """The order of execution of 3.8: feed rate before modes before motion before stop."""
        if "F" in numbers:
            if numbers["F"] < 0:
                raise Fault(f"line {number}: a negative feed")
            self.feed = numbers["F"]
        for word in given:
            if word[0] == "G":
                self.codes[GROUPS[word]] = word
        target = {axis: numbers[axis] for axis in AXES if axis in numbers}
        if target:
            self.motion(target, number)
        elif any(word in ("G0", "G1", "G38.2") for word in given):
            raise Fault(f"line {number}: a motion without an axis")  # 3.5.1, 3.5.2
        if "M0" in given:
            self.stops += 1
        self.ended = self.ended or "M2" in given or "M30" in given

    def motion(self, target, number):
        code = self.codes.get(1)
        for group, what, allowed in ((6, "units", {"G21"}), (3, "distance mode", {"G90"}), (5, "feed mode", {"G94"}),
                                    (13, "path mode", {"G61"})):
            if self.codes.get(group) not in allowed:
                raise Fault(f"line {number}: a motion in {what} {self.codes.get(group)}")
        if code not in ("G1", "G38.2"):
            raise Fault(f"line {number}: axis words under {code}")
        if not self.feed > 0:
            raise Fault(f"line {number}: a feed motion without a feed")  # 3.5.2
        end = {**self.at, **target}
        move = Move(number, code, dict(self.at), end, self.feed, self.messages)
        if code == "G38.2":
            end = self.probe(move, number)
        self.moves.append(move)
        self.at = end

    def probe(self, move, number):
        """3.5.9: no rotary axis turns, X, Y or Z moves, the point is far enough away; a probe that does not trip is an error."""
        if move.changes() & set("ABC"):
            raise Fault(f"line {number}: a rotary axis turns in a probing move")
        length = sum((move.end[axis] - move.start[axis]) ** 2 for axis in "XYZ") ** 0.5
        if length < LEAST_PROBE_MM:
            raise Fault(f"line {number}: a probing move of {length:.4f} mm")
        tripped = self.trip(move)
        if tripped is None:
            raise Fault(f"line {number}: the probe did not trip")
        return tripped
