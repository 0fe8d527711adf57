# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Pictures on the report's pages: their marks, where they stand, and what every picture must have."""
import re
import xml.etree.ElementTree as ET

import numpy as np

XHTML = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"
MARKS = ("u", "w", "x", "n", "s", "b")


def plain(tag):
    return tag.rsplit("}", 1)[-1]


def figures(page):
    """Of each picture of a page: its id, the elements of its SVG but for the legend, the rows of its table."""
    for figure in page.iter(XHTML + "figure"):
        svg = next(e for e in figure if plain(e.tag) == "svg")
        marks = [e for e in svg.iter() if e.get("class") in MARKS and any(plain(c.tag) == "title" for c in e)]
        rows = list(next(e for e in figure.iter(XHTML + "tbody")))
        yield figure.get("id"), svg, marks, rows


def place(mark):
    """Where a mark stands: the centre of a circle, or the first point of a path."""
    if mark.get("cx") is not None:
        return float(mark.get("cx")), float(mark.get("cy"))
    x, y = re.match(r"M([-0-9.]+) ([-0-9.]+)", mark.get("d")).groups()
    return float(x), float(y)


def line_of(mark):
    return int(re.match(r"line (\d+)", "".join(mark.itertext())).group(1))


class Checks:
    def __init__(self, tally):
        self.tally = tally

    def straight(self, points, falls, what):
        """Pairs of value and place lie on one line that falls (or rises), to the rounding of the places."""
        slope, at = np.polyfit(*zip(*points), 1)
        off = max(abs(at + slope * value - where) for value, where in points)
        self.tally.check(off < 0.11 and (slope < 0) == falls, f"{what}: {off:.3f} pixels off a line of slope {slope:.1f}")

    def pictures(self, folder, path):
        """Each is an image with title, description and a table behind it; ids once on the page."""
        page = ET.parse(path).getroot()
        ids = [e.get("id") for e in page.iter() if e.get("id")]
        self.tally.check(len(ids) == len(set(ids)), f"{folder}: an id stands twice")
        for name, svg, _, rows in figures(page):
            words = {plain(e.tag): "".join(e.itertext()) for e in list(svg)[:2]}
            good = svg.get("role") == "img" and words.get("title") and len(words.get("desc", "")) > 20 and rows
            self.tally.check(good, f"{folder}: {name} lacks its role, words or table: {words}")
            self.tally.check(all(e in ids for e in svg.get("aria-labelledby").split()), f"{folder}: {name} is labelled by nothing")
