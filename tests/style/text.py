# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The text of every source: licence lines, header comment, width, blanks, words that are left behind while working."""
import os
import pathlib
import re
import sys

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

WIDTH = 132
LICENSED = {".c", ".h", ".sh", ".py", ".mk", ".am", ".ac", ".m4", ".1"}
WRITTEN = LICENSED | {".md", ".in"}
GENERATED = {"Makefile.in", "config.h.in", "aclocal.m4", "configure"}
# assembled, so that this file does not hold them itself
LEFT_BEHIND = re.compile(r"\b(" + "|".join(["TO" + "DO", "FIX" + "ME", "X" + "XX"]) + r")\b")
PLACES = re.compile("|".join(["/" + place + r"/\w" for place in ("work", "home", "root", "tmp", "Users", "build" + "d")]))
PICTURES = re.compile("[\u2600-\u27bf\ufe0f\U0001f000-\U0001faff]")
# REUSE-IgnoreStart
OPENING = {
    ".c": ["/* SPDX-License-Identifier: GPL-3.0-or-later", " * Copyright (C) 2026 the tiptrue authors */"],
    "": ["# SPDX-License-Identifier: GPL-3.0-or-later", "# Copyright (C) 2026 the tiptrue authors"],
    ".m4": ["dnl SPDX-License-Identifier: GPL-3.0-or-later", "dnl Copyright (C) 2026 the tiptrue authors"],
    ".1": ['.\\" SPDX-License-Identifier: GPL-3.0-or-later', '.\\" Copyright (C) 2026 the tiptrue authors'],
}
# REUSE-IgnoreEnd
OPENING[".h"] = OPENING[".c"]
OPENING[".ac"] = OPENING[".m4"]

TOP = pathlib.Path(os.environ["srcdir"])


def written_files():
    """What people write: the top folder's own files, and those of the folders below that are no data and no product of a build."""
    yield from (p for p in sorted(TOP.iterdir()) if p.is_file())
    for folder in ("src", "tests", "examples", "docs"):
        yield from sorted((TOP / folder).rglob("*"))
    yield TOP / "m4" / "tiptrue.m4"


def faults_of_line(suffix, line):
    prose = suffix in (".md", ".1")
    if len(line) > WIDTH and not prose:
        yield f"{len(line)} columns, at most {WIDTH} are allowed"
    if line != line.rstrip() and not prose:
        yield "blanks at the end"
    if "\t" in line and suffix not in (".mk", ".am", ".in"):
        yield "a tab; indent by spaces"
    for pattern, what in ((LEFT_BEHIND, "a note left behind"), (PLACES, "a path of one machine"), (PICTURES, "a picture sign")):
        found = pattern.search(line)
        if found:
            yield f"{what}: '{found.group()}'"


def faults_of_opening(path, text):
    """The licence lines; in C then a comment that says what the file owns, which a header may say for its .c file."""
    lines = text.split("\n")
    if lines[0].startswith("#!"):
        lines = lines[1:]
    if lines[:2] != OPENING.get(path.suffix, OPENING[""]):
        yield "must begin with the two licence lines"
    if path.suffix == ".h" or path.suffix == ".c" and not path.with_suffix(".h").is_file():
        if len(lines) < 3 or not lines[2].startswith("/* "):
            yield "must go on with a comment that says what it owns"


def faults_of(path):
    try:
        text = path.read_bytes().decode("utf-8")
    except UnicodeDecodeError as fault:
        yield f"not UTF-8: {fault}"
        return
    if not text.endswith("\n") or text.endswith("\n\n") or "\r" in text:
        yield "must end in one line feed, and hold no carriage return"
    for number, line in enumerate(text.split("\n"), 1):
        yield from (f"line {number}: {fault}" for fault in faults_of_line(path.suffix, line))
    if path.suffix in LICENSED:
        yield from faults_of_opening(path, text)


tally = Tally()
paths = [p for p in written_files() if p.suffix in WRITTEN and p.name not in GENERATED and p.is_file()]
for path in paths:
    faults = list(faults_of(path))
    tally.check(not faults, f"{path.relative_to(TOP)}: " + "; ".join(faults))
tally.check(len(paths) > 40, f"only {len(paths)} files found in {TOP}")
tally.close()
