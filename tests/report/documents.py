# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The pictures of docs/reading-the-report.md are those that the program draws now. With --write it puts them there."""
import os
import re
import sys
import tempfile

sys.path[:0] = [os.path.join(os.environ["srcdir"], "tests"), os.path.join(os.environ["srcdir"], "tests", "report")]
import runs  # noqa: E402
from tally import Tally  # noqa: E402

DOCS = os.path.join(os.environ["srcdir"], "docs")
# picture of the document -> recorded run, picture of its report
PICTURES = {
    "plain-edge": ("01-plain", "run-1-tip-1-edge-1"),
    "film-edge": ("02-film", "run-1-tip-1-edge-2"),
    "film-order": ("02-film", "run-1-order"),
    "oval-shape": ("04-oval", "run-1-tip-1-shape"),
    "one-direction-plate": ("05-one-direction", "run-1-plate"),
    "one-direction-offset": ("05-one-direction", "run-1-tip-1-offset"),
    "one-sided-offset": ("06-one-sided", "run-1-tip-1-offset"),
    "one-sided-budget": ("06-one-sided", "run-1-tip-1-budget"),
    "sense-edge": ("07-sense", "run-1-tip-1-edge-1"),
    "moved-order": ("08-moved", "run-1-order"),
    "no-contact-edge": ("09-inch-comma", "run-1-tip-1-edge-2"),
    "heights-tip": ("15-heights", "run-1-tip-1-height"),
    "heights-tilt": ("15-heights", "run-1-tilt"),
    "controller-edge": ("14-controller-log", "run-1-tip-1-edge-1"),
}

# and one of the weeks, from invented runs
WEEKS = {"weeks-step": "weeks-1-offset-x"}

tally = Tally()
with open(os.path.join(DOCS, "reading-the-report.md"), encoding="utf-8") as file:
    shown = set(re.findall(r"\(pictures/([a-z-]+)\.svg\)", file.read()))
tally.check(shown == {*PICTURES, *WEEKS}, f"the document shows {sorted(shown ^ {*PICTURES, *WEEKS})}, or does not")
with tempfile.TemporaryDirectory() as scratch:
    for folder in sorted({f for f, _ in PICTURES.values()}):
        told = runs.report(folder, os.path.join(scratch, "page.html"), "--svg", os.path.join(scratch, folder))
        tally.check(told.returncode == 0, f"{folder}: exit {told.returncode}: {told.stderr[:300]}")
    told = runs.call("report", "--history", runs.weeks(os.path.join(scratch, "runs"), 40, 29), "-o",
                     os.path.join(scratch, "page.html"), "--svg", os.path.join(scratch, "weeks"))
    tally.check(told.returncode == 0, f"the weeks: exit {told.returncode}: {told.stderr[:300]}")
    drawn = {**PICTURES, **{name: ("weeks", picture) for name, picture in WEEKS.items()}}
    for name, (folder, picture) in drawn.items():
        with open(os.path.join(scratch, folder, picture + ".svg"), encoding="utf-8") as file:
            text = file.read()
        path = os.path.join(DOCS, "pictures", name + ".svg")
        if "--write" in sys.argv:
            with open(path, "w", encoding="utf-8") as file:
                file.write(text)
        with open(path, encoding="utf-8") as file:
            tally.check(file.read() == text, f"{path} is not what {folder} gives now; look at it, then run this with --write")
        tally.check(len(text) < 25000, f"{path} has {len(text)} bytes")
tally.close()
