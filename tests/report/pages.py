# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Pages of `tiptrue report` without a browser: well-formed, self-contained, their marks counted against the result, hostile names
as text, size, time, and what is said when something is missing."""
import json
import os
import re
import shutil
import sys
import tempfile
import time
import xml.etree.ElementTree as ET

import numpy as np

sys.path[:0] = [os.path.join(os.environ["srcdir"], "tests"), os.path.join(os.environ["srcdir"], "tests", "report")]
import runs  # noqa: E402
from marks import SVG, Checks, figures, line_of, place, plain  # noqa: E402
from tally import SANITIZED, Tally  # noqa: E402

tally = Tally()
check_pictures, straight = Checks(tally).pictures, Checks(tally).straight


def drawn(folder, solved):
    """How many marks each kind of picture must have, from the result: {kind: total over its pictures}."""
    touches = [o for o in solved["observations"] if o["kind"] == "touch" and o["use"] in ("used", "no-contact")]
    used = [o for o in touches if o["use"] == "used"]
    sights = [o for o in solved["observations"] if o["kind"] == "sight" and o["use"] == "used"]
    marks = len({o["target"] for o in sights})
    return {"order": len(used) + 2 * len(sights), "plate": len(touches), "edge": 2 * len(used) + len(touches) - len(used),
            "shape": len(used), "runout": len({(o["tip"], round(o["rotation_deg"], 1) % 360) for o in used}),
            "marks": marks if marks > 2 else 0}, {
                "order": len(used) + 2 * len(sights), "plate": len(touches), "edge": len(touches),
                "marks": marks if marks > 2 else 0}


def check_marks(folder, path):
    solved = runs.result(folder)
    marks, rows = {}, {}
    page = ET.parse(path).getroot()
    aside = 0
    for name, _, found, table in figures(page):
        kind = next(k for k in ("marks", "order", "plate", "edge", "shape", "runout", "offset", "budget") if k in name)
        marks[kind] = marks.get(kind, 0) + len(found)
        rows[kind] = rows.get(kind, 0) + len(table)
        aside += sum(e.get("class") == "x" for e in found) if kind == "plate" else 0
    expected_marks, expected_rows = drawn(folder, solved)
    for kind, n in expected_marks.items():
        tally.check(marks.get(kind, 0) == n, f"{folder}: {kind} has {marks.get(kind)} marks, the result {n}")
    for kind, n in expected_rows.items():
        tally.check(rows.get(kind, 0) == n, f"{folder}: {kind} has {rows.get(kind)} table rows, the result {n}")
    n = sum(o["set_aside"] for o in solved["observations"])
    tally.check(aside == n, f"{folder}: {aside} touches set aside drawn on the plate, the result says {n}")


def check_places():
    """Marks stand where the result says: residuals downwards when late, strokes into the conductor, rotations along."""
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "page.html")
        runs.report("02-film", path)
        rows = {o["line"]: o for o in runs.result("02-film")["observations"]}
        page = {name: (svg, marks) for name, svg, marks, _ in figures(ET.parse(path).getroot())}
    for number in range(1, 5):
        marks = page[f"run-1-tip-1-edge-{number}"][1]
        lower = marks[len(marks) // 2:]
        straight([(1000 * rows[line_of(m)]["residual_mm"], place(m)[1]) for m in lower], True, f"residuals of edge {number}")
        straight([(rows[line_of(m)]["rotation_deg"] % 360, place(m)[0]) for m in lower], False, f"rotations of edge {number}")
    plate = [m for m in page["run-1-plate"][1] if "longer than drawn" not in "".join(m.itertext())]
    tally.check(len(plate) == len(page["run-1-plate"][1]) - 1, "one stroke, of 157 um, is longer than drawn")
    for edge, falls in (("east", True), ("west", False)):  # normals to the free side: east -x, west +x; up is early
        marks = [m for m in plate if rows[line_of(m)]["target"] == edge]
        straight([(1000 * rows[line_of(m)]["residual_mm"], place(m)[0]) for m in marks], falls, f"strokes of {edge}")
    for edge, falls in (("north", False), ("south", True)):  # normals north -y, south +y; a picture's y grows downwards
        marks = [m for m in plate if rows[line_of(m)]["target"] == edge]
        straight([(1000 * rows[line_of(m)]["residual_mm"], place(m)[1]) for m in marks], falls, f"strokes of {edge}")
    lanes = page["run-1-order"][1]
    straight([(line_of(m), place(m)[0]) for m in lanes], False, "the order of the log")
    west = [m for m in lanes if rows[line_of(m)]["target"] == "west"]
    straight([(1000 * rows[line_of(m)]["residual_mm"], place(m)[1]) for m in west], True, "the lane of west")


def bearing(at, centre):
    """Direction of a point from @centre, in degrees, y upwards; and its distance."""
    x, y = at[0] - centre[0], centre[1] - at[1]
    return np.degrees(np.arctan2(y, x)), np.hypot(x, y)


def turned(angle):
    """@angle brought into -180 to 180."""
    return (angle + 180) % 360 - 180


def check_round_pictures():
    """The runout's picture turns counter-clockwise from the runout at rotation 0; the shape's marks stand in the
    direction in which the tip was touched: towards the conductor, less the rotation."""
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "page.html")
        runs.report("02-film", path)
        solved = runs.result("02-film")
        page = {name: (svg, marks) for name, svg, marks, _ in figures(ET.parse(path).getroot())}
    runout = solved["tips"][0]["runout"]
    svg, marks = page["run-1-tip-1-runout"]
    circle = next(e for e in svg.iter() if e.get("class") == "k")
    centre, radius = place(circle), float(circle.get("r"))
    at_0 = [e for e in svg.iter() if e.get("class") == "N" and "".join(e.itertext()) == "centre at rotation 0"]
    tally.check(len(at_0) == 1 and len(marks) == 24, f"runout: {len(at_0)} and {len(marks)} marks")
    for mark, rotation in [(m, 0) for m in at_0] + [(m, float("".join(m.itertext()).split("\N{DEGREE SIGN}")[0])) for m in marks]:
        angle, far = bearing(place(mark), centre)
        tally.check(abs(turned(angle - runout["angle_deg"] - rotation)) < 0.5 and abs(far - radius) < 0.2,
                    f"rotation {rotation} drawn at {angle:.1f}, {far:.1f} of {radius:.1f}; {runout}")
    spokes = [e.get("d").split("L")[1].split() for e in svg.iter() if e.get("class") == "g" and e.get("d")]
    for i, end in enumerate(spokes):
        angle, _ = bearing(tuple(map(float, end)), centre)
        tally.check(abs(turned(angle - 45 * i)) < 0.5, f"spoke of {45 * i} degrees drawn at {angle:.1f}")
    tally.check(len(spokes) == 8, f"{len(spokes)} spokes")
    inwards = {"east": 0, "north": 90, "west": 180, "south": 270}  # towards the conductor, in the plate's frame
    rows = {o["line"]: o for o in solved["observations"]}
    svg, marks = page["run-1-tip-1-shape"]
    centre = place(next(e for e in svg.iter() if e.get("class") == "z"))
    tally.check(len(marks) > 20, f"{len(marks)} touches drawn on the shape")
    for m in marks:
        row = rows[line_of(m)]
        expected = inwards[row["target"]] + solved["poses"][0]["yaw_deg"] - row["rotation_deg"]
        angle, _ = bearing(place(m), centre)
        tally.check(abs(turned(angle - expected)) < 1, f"line {row['line']} drawn at {angle:.1f}, not {turned(expected):.1f}")


def check_words(folder, text):
    """The terminal's sentences stand on the page."""
    options, log = runs.inputs(folder)
    said = runs.call("solve", "--plain", *options, log).stdout.decode()
    shout = said.split(":")[0]
    tally.check(f"<strong>{shout}</strong>" in text, f"{folder}: the verdict {shout} does not open the page")
    for finding in runs.result(folder)["findings"]:
        words = re.sub(r" um\b", " µm", finding["text"])
        words = re.sub(r" deg\b", "°", words).replace("'", "&#39;").replace(">", "&gt;")
        tally.check(words in text, f"{folder}: the page lacks '{words}'")
    tally.check("<script" not in text and "http-equiv=\"Content-Security-Policy\"" in text, f"{folder}: a script, or no policy")
    urls = set(re.findall(r'(?:href|src|url)\s*[=(]\s*"?([^")\s]+)', text)) - {"data:,"}
    tally.check(all(u.startswith("#") for u in urls), f"{folder}: the page refers to {urls}")


def field_runs(folder):
    for name in runs.FOLDERS:
        path = os.path.join(folder, name + ".html")
        told = runs.report(name, path)
        tally.check(told.returncode == 0, f"{name}: exit {told.returncode}: {told.stderr[:300]}")
        with open(path, encoding="utf-8") as file:
            text = file.read()
        check_marks(name, path)
        check_pictures(name, path)
        check_words(name, text)
        runs.report(name, path + ".again")
        with open(path + ".again", encoding="utf-8") as file:
            tally.check(file.read() == text, f"{name}: the same input gave other bytes")


def zones(folder):
    """Local time by TZ, with its zone stated; POSIX form of TZ, so that no zone data is needed."""
    for zone, expected in (("UTC0", "2026-03-02 07:40:00 +00:00 (UTC)"), ("XYT-5:45", "2026-03-02 13:25:00 +05:45 (XYT)"),
                           ("ABC9:30", "2026-03-01 22:10:00 -09:30 (ABC)"),
                           ("CET-1CEST,M3.1.0,M10.5.0", "2026-03-02 09:40:00 +02:00 (CEST)")):
        path = os.path.join(folder, "zone.html")
        runs.report("01-plain", path, zone=zone)
        with open(path, encoding="utf-8") as file:
            tally.check(f"<p>Started: {expected}</p>" in file.read(), f"TZ={zone} does not show {expected}")
    # the turn of a year, behind a leap year, a common one, a century that has a leap day and one that has none
    result = runs.result("01-plain")
    for year in (2001, 2025, 2026, 2101):
        result["run"]["started"] = f"{year}-01-01T00:30:00Z"
        told = os.path.join(folder, "turn.json")
        with open(told, "w", encoding="utf-8") as file:
            json.dump(result, file)
        for zone, expected in (("ABC1", f"{year - 1}-12-31 23:30:00 -01:00 (ABC)"),
                               ("XYT-1", f"{year}-01-01 01:30:00 +01:00 (XYT)")):
            runs.call("report", told, "-o", path, zone=zone)
            with open(path, encoding="utf-8") as file:
                tally.check(f"<p>Started: {expected}</p>" in file.read(), f"TZ={zone} does not show {expected}")


def hostile(folder):
    """Names made to break out of the text, or to turn it round."""
    names = ["</title><script>alert(1)</script>", "\"'><img src=x onerror=alert(1)>", "a\u202egnp.exe\u2066", "ש" * 7 + "<b>",
             "q" * 10000]
    plate, machine, log = runs.invent(os.path.join(folder, "hostile"), 96, tip=names[0], edges=names[1:5], plate=names[2],
                                      machine=names[1].replace("\n", ""), note=names[0])
    path = os.path.join(folder, "hostile.html")
    told = runs.call("report", "--plate", plate, "--machine", machine, log, "-o", path)
    tally.check(told.returncode == 0, f"hostile names: exit {told.returncode}: {told.stderr[:500]}")
    page = ET.parse(path).getroot()
    with open(path, encoding="utf-8") as file:
        text = file.read()
    everything = "".join(page.itertext())
    elements = {plain(e.tag) for e in page.iter()}
    tally.check(not elements & {"script", "img", "b", "iframe", "object"}, f"a name became an element: {elements}")
    tally.check(all(not k.startswith("on") for e in page.iter() for k in e.keys()), "a name became a handler")
    for name in names[:2]:
        tally.check(name in everything, f"the name {name} is not shown as text")
    tally.check("a[U+202E]gnp.exe[U+2066]" in everything, "bidirectional controls are not spelled")
    tally.check(not re.search("[\u202a-\u202e\u2066-\u2069\x00-\x08]", text), "a steering character stands on the page")
    tally.check(len(text) < 1_000_000, f"the page with long names has {len(text)} bytes")
    return path


def sizes(folder):
    plate, machine, log = runs.invent(os.path.join(folder, "thousand"), 1000)
    path = os.path.join(folder, "thousand.html")
    runs.call("report", "--plate", plate, "--machine", machine, log, "-o", path)
    size = os.path.getsize(path)
    print(f"1000 touches: {size} bytes")
    tally.check(size < 1_000_000, f"1000 touches make {size} bytes, allowed are 1000000")
    ET.parse(path)
    plate, machine, log = runs.invent(os.path.join(folder, "many"), 5000)
    best = 1e9
    for _ in range(3):
        began = time.monotonic()
        told = runs.call("report", "--plate", plate, "--machine", machine, log, "-o", os.path.join(folder, "many.html"))
        best = min(best, time.monotonic() - began)
    bound = 10 if SANITIZED else 1  # the sanitizers slow it down several times
    print(f"5000 touches: {best:.3f} s")
    tally.check(told.returncode == 0 and best < bound, f"5000 touches took {best:.3f} s, allowed is {bound} s")


def results(folder):
    """From a result document: what cannot be drawn is left out and named; by a pipe too."""
    options, log = runs.inputs("02-film")
    bare = runs.call("solve", "--json", *options, log).stdout
    full = runs.call("solve", "--json", "--touches", *options, log).stdout
    path = os.path.join(folder, "result.html")

    def shown(document, *more):
        told = runs.call("report", *more, "-", "-o", path, stdin=document)
        tally.check(told.returncode == 0, f"a result from a pipe: exit {told.returncode}: {told.stderr[:300]}")
        names = [name for name, _, _, _ in figures(ET.parse(path).getroot())]
        with open(path, encoding="utf-8") as file:
            return names, file.read()

    names, text = shown(bare)
    tally.check(names == ["run-1-tip-1-offset", "run-1-tip-1-runout", "run-1-tip-1-budget"], f"a bare result draws {names}")
    tally.check("holds no rows" in text, "a bare result does not say what to give")
    names, text = shown(full)
    tally.check("run-1-order" in names and "run-1-tip-1-edge-4" in names and "run-1-plate" not in names, f"rows alone draw {names}")
    tally.check("give --plate and --machine" in text, "rows alone do not say what to give")
    names, text = shown(full, *options)
    with_plate = ET.parse(path).getroot()
    runs.report("02-film", path)
    for name in ("run-1-order", "run-1-tip-1-edge-2", "run-1-tip-1-shape", "run-1-tip-1-offset"):
        ways = [next((ET.tostring(svg) for n, svg, _, _ in figures(page) if n == name), None)
                for page in (with_plate, ET.parse(path).getroot())]
        ways = [re.sub(rb'"p\d+[td]( p\d+d)?"', b"", way or b"") for way in ways]
        tally.check(ways[0] and ways[0] == ways[1], f"{name} differs between result and log")
    moved, _ = runs.inputs("08-moved")[0], None
    document = runs.call("solve", "--json", "--touches", *moved, runs.inputs("08-moved")[1]).stdout
    shown(document, *moved)
    order = next(svg for name, svg, _, _ in figures(ET.parse(path).getroot()) if name == "run-1-order")
    tally.check(any(e.get("class") == "v" for e in order.iter()), "the moment of the movement is not drawn from a result")


def lane_scale(svg):
    """Of a picture with one lane: its origin in mm, and how to find the micrometres from there at a place."""
    texts = [e for e in svg.iter() if plain(e.tag) == "text" and e.text]
    origin = next(re.search(r"from (.*) mm", e.text).group(1) for e in texts if " from " in e.text)
    ticks = [(float(e.get("y")) - 4, float(e.text.replace("\N{MINUS SIGN}", "-"))) for e in texts
             if e.get("text-anchor") == "end" and re.fullmatch("[0-9.\N{MINUS SIGN}]+", e.text)]
    return float(origin.replace("\N{MINUS SIGN}", "-")), np.polyfit(*zip(*ticks), 1)


def check_lanes(pictures, text):
    """The change's number stands in the list and at its bracket; what is permitted lies around the offset in use, 30 um of it;
    offset x and y have one scale."""
    listed = re.findall(r"<li>(between.*?)</li>", text.split("<ol>")[1].split("</ol>")[0])
    tally.check(len(listed) == 1, f"numbered changes {listed}")
    slopes = []
    for name, in_use in (("offset-x", -37.41), ("offset-y", 15.08)):
        svg = pictures["weeks-1-" + name]
        numbers = [(e.text, float(e.get("x"))) for e in svg.iter() if e.get("class") == "no"]
        bracket = next(e for e in svg.iter() if e.get("class") == "v" and "V" in e.get("d")).get("d")
        right = float(re.match(r"M\S+ [-0-9.]+V[-0-9.]+H([-0-9.]+)V", bracket).group(1))
        tally.check([n for n, _ in numbers] == ["1"] and abs(numbers[0][1] - right - 3) < 0.11, f"{name}: {numbers}, {bracket}")
        origin, fit = lane_scale(svg)
        slopes.append(fit[0])
        band = next(e for e in svg.iter() if e.get("class") == "pm" and "V" in e.get("d"))
        low, high = re.match(r"M\S+ (\S+)H\S+V(\S+)H", band.get("d")).groups()
        ends = sorted(1000 * origin + np.polyval(fit, float(v)) for v in (low, high))
        lane = sorted(1000 * origin + np.polyval(fit, y) for y in (20, 116))
        expected = [min(max(1000 * in_use + u, lane[0]), lane[1]) for u in (-30, 30)]
        tally.check(max(abs(a - b) for a, b in zip(ends, expected)) < 0.3, f"{name}: permitted {ends} um, asked {expected}")
    tally.check(abs(slopes[0] / slopes[1] - 1) < 0.01, f"offset x and y have scales of {slopes}")


def weeks(folder):
    """The page of a history: a mark for each run in each picture, the change as a bracket in every lane, the terminal's words."""
    machine, tip = "bench <b>9</b>", "t&1"
    history = runs.weeks(os.path.join(folder, "weeks"), 60, 37, tip=tip, machine=machine)
    path = os.path.join(folder, "weeks.html")
    told = runs.call("report", "--history", history, "-o", path, zone="XYT-5:45")
    tally.check(told.returncode == 0, f"--history: exit {told.returncode}: {told.stderr[:500]}")
    page = ET.parse(path).getroot()
    with open(path, encoding="utf-8") as file:
        text = file.read()
    names = [name for name, _, _, _ in figures(page)]
    tally.check(names == ["weeks-1-" + n for n in ("offset-x", "offset-y", "runout", "radius")], f"the weeks draw {names}")
    for name, svg, marks, rows in figures(page):
        n = sum(e.get("class") == "u" for e in marks)
        tally.check(n == 60 and len(rows) == 60, f"{name}: {n} marks and {len(rows)} rows of 60 runs")
        n = sum(e.get("class") == "change" for e in svg.iter())
        tally.check(n == 1, f"{name}: {n} changes, one was made")
    check_lanes({name: svg for name, svg, _, _ in figures(page)}, text)
    told = runs.call("trend", "--history", history, zone="XYT-5:45").stdout.decode()
    stated = re.search(r"between (.* \+05:45 \(XYT\)) and (.* \+05:45 \(XYT\)):", " ".join(told.split()))
    tally.check(stated and "between %s and %s:" % stated.groups() in text, f"trend and report state different times: {told[:400]}")
    told = json.loads(runs.call("trend", "--json", "--history", history, zone="XYT-5:45").stdout)
    tally.check(all(c["after"].endswith("Z") for c in told["changes"]), "JSON is in UTC")
    tally.check("<strong>1 CHANGE; no tip drifts</strong>" in text, "the headline of the trend does not open the page")
    tally.check("The weeks of machine bench &lt;b&gt;9&lt;/b&gt;" in text, "the machine's name is not shown as text")
    tally.check("2026-03-02 13:26:12 +05:45 (XYT)" in text and "2026-03-02 13:26 +05:45 (XYT)" in text, "times are not local")
    tally.check(not re.search(r"\d\d:\d\dZ", text), "a time in UTC was left")
    told = runs.call("report", "--history", history, "--machine", machine, "-o", path + ".named", zone="XYT-5:45")
    with open(path + ".named", encoding="utf-8") as file:
        tally.check(file.read() == text, "the machine by its name gives another page")
    told = runs.call("report", "--history", history, "--machine", "bench-8", "-o", path + ".none")
    tally.check(told.returncode == 66 and b"no runs of machine 'bench-8'" in told.stderr, f"no such machine: {told}")
    tally.check(not os.path.exists(path + ".none"), "a page was written of no machine")
    told = runs.call("report", "--history", os.path.join(folder, "nowhere.db"), "-o", path + ".none")
    tally.check(told.returncode == 66, f"no such history: {told}")
    history = runs.weeks(os.path.join(folder, "years"), 1000, 613)
    took = 1e9
    for _ in range(3):
        began = time.monotonic()
        told = runs.call("report", "--history", history, "-o", path + ".years")
        took = min(took, time.monotonic() - began)
    bound = 10 if SANITIZED else 1
    with open(path + ".years", encoding="utf-8") as file:
        text = file.read()
    # started in the future as seen from some day of 2026, or not: every sentence of the terminal is there, far ones folded
    said = runs.call("trend", "--history", history).stdout.decode().split("\ntip ")[0]
    n = len(re.findall(r"is kept out", " ".join(said.split())))
    tally.check(text.count("is kept out") == n, f"{text.count('is kept out')} runs are kept out on the page, {n} in the terminal")
    print(f"1000 stored runs: {took:.3f} s, {os.path.getsize(path + '.years')} bytes")
    tally.check(told.returncode == 0 and took < bound, f"1000 stored runs took {took:.3f} s, allowed is {bound} s")


def faults(folder):
    """Wrong use and bad input: nothing is written, or the page names what could not be read."""
    path = os.path.join(folder, "never.html")
    options, log = runs.inputs("12-cut-short")
    told = runs.call("report", *options, log, "-o", path)
    tally.check(told.returncode == 65 and b"run.csv:105:13: error:" in told.stderr, f"a cut log: {told.returncode} {told.stderr}")
    tally.check(not os.path.exists(path), "a page was written of nothing")
    told = runs.call("report", *options, log, runs.inputs("01-plain")[1], "-o", path)
    with open(path, encoding="utf-8") as file:
        text = file.read()
    tally.check(told.returncode == 65 and "NOT READ" in text and "line 105, column 13" in text, "a cut log beside a good one")
    ET.parse(path)
    told = runs.call("report", shutil.copy(runs.inputs("01-plain")[1], folder), "-o", path + "2")
    tally.check(told.returncode == 64 and b"the plate is missing" in told.stderr, f"a log without plate: {told}")
    tally.check(not os.path.exists(path + "2"), "a page was written of a log without plate")
    told = runs.report("01-plain", os.path.join(folder, "no", "such", "folder.html"))
    tally.check(told.returncode == 74 and b"cannot be written" in told.stderr, f"a folder that is not there: {told}")
    tally.check(not [f for f in os.listdir(folder) if f.startswith("never.html.")], "a half-written page was left")
    told = runs.report("01-plain", "/dev/full")
    tally.check(told.returncode == 74, f"a full device: {told}")
    told = runs.report("01-plain", "-")
    tally.check(told.stdout.startswith(b"<!DOCTYPE html>") and told.stdout.endswith(b"</html>\n"), "standard output")


def svg_files(folder):
    """Each picture as a file: the same names as on the page, each a document of its own."""
    target = os.path.join(folder, "pictures")
    path = os.path.join(folder, "svg.html")
    runs.report("08-moved", path, "--svg", target)
    names = {name for name, _, _, _ in figures(ET.parse(path).getroot())}
    tally.check({f[:-4] for f in os.listdir(target)} == names, f"--svg wrote {sorted(os.listdir(target))}")
    for name in sorted(names):
        root = ET.parse(os.path.join(target, name + ".svg")).getroot()
        tally.check(root.tag == SVG + "svg" and root.find(SVG + "style") is not None, f"{name}.svg does not stand alone")
        # renderers without variables, such as librsvg, would show them black; so would Inkscape with rules for what is inside "svg"
        style = root.find(SVG + "style").text
        tally.check("var(" not in style and "@ink" not in style and "fill:#1c2430" in style, f"{name}.svg: no literal colours")
        tally.check("svg ." not in style, f"{name}.svg: rules that Inkscape does not take")
    check_plate_names(target)
    check_step(target)


def check_plate_names(target):
    """Every edge and mark is named in the plate's picture, the reference mark as such; its axes are named too."""
    options, _ = runs.inputs("08-moved")
    with open(options[options.index("--plate") + 1], encoding="utf-8") as file:
        plate = json.load(file)
    texts = [e.text for e in ET.parse(os.path.join(target, "run-1-plate.svg")).getroot().iter(SVG + "text")]
    for thing in plate["edges"] + plate["marks"]:
        name = thing["name"] + (", reference" if thing["name"] == plate["reference"] else "")
        tally.check(any(name in text for text in texts), f"'{name}' is not in the plate's picture: {texts}")
    tally.check("x" in texts and "y" in texts, "the plate's axes have no names")


def check_step(target):
    """A plate that moved did so at once: the line goes upright at one place, the same in all lanes."""
    root = ET.parse(os.path.join(target, "run-1-order.svg")).getroot()
    upright = set()
    for path in (e.get("d") for e in root.iter(SVG + "path") if e.get("class") == "c"):
        points = [tuple(map(float, p.split())) for p in re.findall(r"[ML]([-0-9.]+ [-0-9.]+)", path)]
        upright |= {a[0] for a, b in zip(points, points[1:]) if a[0] == b[0] and abs(a[1] - b[1]) > 5}
        slanted = [(a, b) for a, b in zip(points, points[1:]) if a[0] != b[0] and abs(a[1] - b[1]) > 5]
        tally.check(not slanted, f"a ramp where the plate moved: {slanted}")
    tally.check(len(upright) == 1, f"the plate moved at {upright}")


def one_late(folder):
    """One touch that is far late does not flatten the others: it is a triangle at the end of the scale."""
    plate, machine, log = runs.invent(os.path.join(folder, "late"), 96)
    with open(log, encoding="utf-8") as file:
        lines = file.read().splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("touch") and i > 60)
    header = next(line for line in lines if line.startswith("kind")).split(",")
    cells = lines[at].split(",")
    for axis in "xy":
        cells[header.index(axis)] = f"{float(cells[header.index(axis)]) + 0.4:.4f}"
    with open(log, "w", encoding="utf-8") as out:
        out.write("\n".join([*lines[:at], ",".join(cells), *lines[at + 1:]]) + "\n")
    path = os.path.join(folder, "late.html")
    runs.call("report", "--plate", plate, "--machine", machine, log, "-o", path)
    marks = next(marks for name, _, marks, _ in figures(ET.parse(path).getroot()) if name == "run-1-order")
    beyond = [line_of(m) for m in marks if m.get("class") == "b"]
    tally.check(at + 1 in beyond and len(beyond) < 5, f"off the scale: lines {beyond}, line {at + 1} is")
    places = [place(m)[1] for m in marks if m.get("class") == "u"]
    tally.check(len({round(p % 10, 1) for p in places}) > 20, "the others are a flat line")


def folded(folder):
    """x counted the other way: the cause is among the reasons, what follows from it is folded, all of it."""
    example = os.path.join(os.environ["srcdir"], "examples", "gauge-board")
    with open(os.path.join(example, "run.csv"), encoding="utf-8") as file:
        lines = file.read().splitlines()
    header = next(line for line in lines if line.startswith("kind")).split(",")
    log, path = os.path.join(folder, "mirrored.csv"), os.path.join(folder, "mirrored.html")
    with open(log, "w", encoding="utf-8") as out:
        for line in lines:
            cells = line.split(",")
            if cells[0] in ("touch", "sight"):
                cells[header.index("x")] = f"{-float(cells[header.index('x')]):.4f}"
            out.write(",".join(cells) + "\n")
    files = ["--plate", os.path.join(example, "plate.json"), "--machine", os.path.join(example, "machine.json"), log]
    runs.call("report", *files, "-o", path)
    findings = json.loads(runs.call("solve", *files, "--json").stdout)["findings"]
    with open(path, encoding="utf-8") as file:
        page = file.read()
    said = re.search(r"<li>(\d+) more findings probably follow from the above.*\(see below\)</li>", page)
    inside = re.search(r"<details><summary>Findings that probably follow.*?</details>", page, re.S)
    tally.check(said is not None and inside is not None, "findings that follow are not folded")
    if said is not None and inside is not None:
        n, shown = int(said.group(1)), inside.group(0).count("<li>")
        tally.check(n == shown > 5, f"{n} findings follow, {shown} are shown folded")
        rest = page.replace(inside.group(0), "")
        own = [f["code"] for f in findings if f'{f["code"]}: ' in rest]
        tally.check("mirrored" in own, "the cause is folded")
        tally.check(len(findings) - shown <= len(own), "a finding is neither folded nor told")


with tempfile.TemporaryDirectory() as scratch:
    field_runs(scratch)
    check_places()
    check_round_pictures()
    zones(scratch)
    hostile(scratch)
    sizes(scratch)
    results(scratch)
    weeks(scratch)
    faults(scratch)
    svg_files(scratch)
    one_late(scratch)
    folded(scratch)
tally.close()
