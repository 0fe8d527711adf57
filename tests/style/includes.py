# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Which room may see which: read from the #include lines of src/, held against the map of DEVELOPERS.md."""
import os
import pathlib
import re
import sys

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

# room -> the rooms it may include, itself included; "" is src/ itself, where only the public header is
MAY_SEE = {
    "base": {"base"},
    "model": {"model", "base"},
    "formats": {"formats", "model", "base"},
    "ingest": {"ingest", "formats", "model", "base"},
    "geometry": {"geometry", "model", "base"},
    "adjust": {"adjust", "geometry", "model", "base"},
    "placement": {"placement", "geometry", "model", "base"},
    # it edits files byte by byte with the places that the readers of ingest tell
    "export": {"export", "ingest", "geometry", "model", "base"},
    "output": {"output", "output/json", "output/text", "model", "base"},
    "output/json": {"output/json", "output", "formats", "model", "base"},
    "output/text": {"output/text", "output", "output/report", "model", "base"},
    "output/report": {"output/report", "output/text", "output", "model", "base"},
    "history/series": {"history/series", "model", "base"},
    "history/store": {"history/store", "history/series", "model", "base"},
    "planning": {"planning", "adjust", "formats", "geometry", "model", "base"},
    "cli": {"cli"},
    "app": {"app", "adjust", "base", "export", "geometry", "history/series", "history/store", "ingest", "model", "output",
            "output/json", "output/report", "output/text", "placement", "planning"},
    "": {""},
}
OURS = re.compile(r'^\s*#\s*include\s+"([^"]+)"', re.M)

SRC = pathlib.Path(os.environ["srcdir"], "src")
# GSL's default handler ends the process; these headers' functions reach it where an argument is out of range or there is no memory
GATES = {"gsl/gsl_cdf.h": {"base/distribution.c"}, "gsl/gsl_rng.h": {"base/random.h"}}
THEIRS = re.compile(r'^\s*#\s*include\s+<(gsl/[^>]+)>', re.M)


def faults_of_include(room, source, target):
    """What is wrong with one #include "@target" of @source; both are paths from src/."""
    if target == "config.h":
        if source.suffix != ".c":
            yield "config.h belongs in .c files only"
    elif target not in ("tiptrue.h", "tiptrue_daily.h"):
        other = os.path.dirname(target)
        if ".." in target or not (SRC / target).is_file():
            yield f"'{target}' is not a path from src/"
        if other not in MAY_SEE.get(room, ()):
            yield f"room '{room}' may not see room '{other}' ({target})"


def faults_of_order(source, targets):
    """config.h first, then the file's own header."""
    if targets[:1] != ["config.h"]:
        yield "config.h must be included first"
    own = str(source.with_suffix(".h"))
    if (SRC / own).is_file() and targets[1:2] != [own]:
        yield f"its own header '{own}' must come right after config.h"


def faults_of_guard(source, text):
    guard = "TIPTRUE_H" if str(source) == "tiptrue.h" else "TT_" + re.sub(r"\W", "_", str(source)).upper()
    opening = re.search(r"^#ifndef (\w+)\n#define (\w+)$", text, re.M)
    if opening is None or opening.groups() != (guard, guard):
        yield f"its guard must be {guard}"


def faults_of(source):
    text = (SRC / source).read_text(encoding="utf-8")
    room = str(source.parent) if source.parent.parts else ""
    targets = OURS.findall(text)
    if room not in MAY_SEE:
        yield f"no such room in the map: '{room}'"
    for target in targets:
        yield from faults_of_include(room, source, target)
    for header in THEIRS.findall(text):
        if header in GATES and str(source) not in GATES[header]:
            yield f"<{header}> belongs in {', '.join(sorted(GATES[header]))} only"
    yield from faults_of_order(source, targets) if source.suffix == ".c" else faults_of_guard(source, text)


tally = Tally()
sources = sorted(p.relative_to(SRC) for p in SRC.rglob("*.[ch]"))
for source in sources:
    faults = list(faults_of(source))
    tally.check(not faults, f"{source}: " + "; ".join(faults))
tally.check(len(sources) > 20, f"only {len(sources)} sources found in {SRC}")
tally.close()
