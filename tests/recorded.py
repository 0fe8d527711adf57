# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""What the program said in the cases of a script test, held against what it said before: each word of a message stands where it
stood, each number is the same to two of its last digit. Written anew with UPDATE=yes in the environment, where it is meant to
change: look at each difference."""
import os
import pathlib
import re
import tempfile

FRACTION = re.compile(r"-?\d+\.\d+")
# what differs from call to call, or is the words of another library
CHANGING = (
    (re.compile(re.escape(os.path.realpath(tempfile.gettempdir())) + r"/\w+"), "WORK"),
    (re.compile(re.escape(tempfile.gettempdir()) + r"/\w+"), "WORK"),
    (re.compile(r"\d{4}-\d\d-\d\dT\d\d:?\d\d:?\d\dZ(?:\.\d+)?-[0-9a-f]{16}"), "DATE-DIGEST"),
    (re.compile(r"locked by process \d+"), "locked by process N"),
    (re.compile(r"\b[\d.]+ h\b"), "N h"),
    (re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ"), "TIME"),
    (re.compile(r"\r"), r"\\r"),
    (re.compile(r"(is not well-formed XML|character \d+): .*"), r"\1: ..."),
)


def is_near(a, b):
    """Whether the texts @a and @b are the same but for rounding."""
    return FRACTION.split(a) == FRACTION.split(b) and all(
        len(x.split(".")[1]) == len(y.split(".")[1]) and abs(float(x) - float(y)) <= 2.01 * 10.0 ** -len(x.split(".")[1])
        for x, y in zip(FRACTION.findall(a), FRACTION.findall(b)))


class Recorded:
    def __init__(self, path):
        """@path below the folder of the sources."""
        self.path = pathlib.Path(os.environ["srcdir"], path).resolve()  # tests change their folder
        self.cases = []

    def put(self, what, text):
        """One case, in the order of the test; @what names it."""
        for pattern, shown in CHANGING:
            text = pattern.sub(shown, text)
        self.cases.append((repr(what)[1:-1], text.rstrip("\n")))

    def compare(self, tally):
        """Count one case for each that was put."""
        if os.environ.get("UPDATE"):
            self.path.write_text("".join(f"== {what}\n{text}\n" for what, text in self.cases), encoding="utf-8")
        before = re.split(r"^== ", self.path.read_text(encoding="utf-8"), flags=re.M)[1:]
        tally.check(len(before) == len(self.cases), f"{self.path}: {len(before)} cases, not {len(self.cases)}")
        for expected, (what, text) in zip(before, self.cases):
            said = f"{what}\n{text}\n"
            tally.check(is_near(said, expected), f"said:\n{said}\nbefore:\n{expected}")
