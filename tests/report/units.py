# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Pages in inches: no millimetre in sight, be it in a sentence, a table, a picture, what a pointer tells or what a screen reader
says; each number is that of the page in millimetres by 25.4 (NIST SP 811, B.6: exactly) to the digits printed, of tables that of
the JSON; axes have round numbers of inches or microinches, and what is drawn stands where they say. Of a run with touches from
above and views, of true axes, of weeks, of a board joined with touches; asked for, or since the machine is an inch machine."""
import json
import os
import pathlib
import re
import shutil
import sys
import tempfile
import xml.etree.ElementTree as ET

import numpy as np

sys.path[:0] = [os.path.join(os.environ["srcdir"], "tests"), os.path.join(os.environ["srcdir"], "tests", "report")]
import runs  # noqa: E402
from marks import XHTML, figures, place, plain  # noqa: E402
from tally import Tally  # noqa: E402

tally = Tally()
MM = 25.4
BENCH = pathlib.Path(os.environ["srcdir"]).resolve() / "examples/gauge-board"
NUMBER = r"[-+\N{MINUS SIGN}]?\d+(?:\.\d+)?"
METRIC = re.compile(r"\bmm\b|µm|\bum\b|[Mm]icromet|[Mm]illimet")


def number(text):
    return float(text.replace("\N{MINUS SIGN}", "-"))


def words_of(page):
    """All that is read on a page: text, titles and descriptions of pictures, alternative texts; no style."""
    for e in page.iter():
        if plain(e.tag) != "style":
            yield e, e.text or ""
            for name in ("alt", "aria-label", "title"):
                yield e, e.get(name) or ""
        yield e, e.tail or ""


def is_tick(e):
    return plain(e.tag) == "text" and re.fullmatch(NUMBER, e.text or "") is not None


def is_converted(x, y, slope):
    """Whether the number @x is @y, or that by 25.4, or by 39.37 (µin for µm), or by 1000 (µin/in for mm/m), to both's digits."""
    digit = [10.0 ** -len(t.partition(".")[2]) for t in (x, y)]
    return [abs(number(x) - number(y) * f) <= 0.51 * digit[0] + 0.51 * digit[1] * f
            for f in (1, 1 / MM, 1000 / MM, *[1000] * slope)]


def same_words(what, inch, mm):
    """Text by text, but for those drawn in pictures, the same words, with numbers that are converted."""
    a, b = ([t for e, t in words_of(page) if t.strip() and plain(e.tag) != "text"] for page in (inch, mm))
    tally.check(len(a) == len(b), f"{what}: {len(a)} texts, {len(b)} in mm")
    converted = 0
    for x, y in zip(a, b):
        u, v = re.findall(NUMBER, x), re.findall(NUMBER, y)
        fits = [is_converted(p, q, "mm/m " in y) for p, q in zip(u, v)]
        tally.check(len(u) == len(v) and all(any(f) for f in fits), f"{what}: {x!r} for {y!r}")
        converted += sum(not f[0] for f in fits)
    tally.check(converted > 20, f"{what}: {converted} numbers were converted")
    left = [t.strip() for _, t in words_of(inch) if METRIC.search(t)]
    tally.check(not left, f"{what}: {left[:5]}")


def ticks(svg, anchor):
    """Numbers on axes, with their places: of x (anchor middle) or of y (end), from (x, y) places."""
    return [(number(e.text), float(e.get("x")), float(e.get("y"))) for e in svg.iter() if is_tick(e) and
            e.get("text-anchor") == anchor and e.get("class") == "m"]


def bars(svg):
    """Pixels and value of bars of a round length."""
    elements = list(svg.iter())
    for e, following in zip(elements, elements[1:]):
        found = re.search(r"v6m0-3h([\d.]+)m0-3v6$", e.get("d") or "")
        if found:
            yield float(found.group(1)), following.text


def check_round(name, labels):
    """Steps of neighbouring labels are 1, 2 or 5 times a power of ten."""
    for (a, *at), (b, *to) in zip(labels, labels[1:]):
        if b > a and (at[0] == to[0] or at[1] == to[1]):
            digits = f"{b - a:.3e}"
            tally.check(float(digits[:5]) in (1, 2, 5), f"{name}: a step of {b - a:.6g}")


def check_pictures(what, inch, mm):
    for (name, svg, *_), (_, svg_mm, *_) in zip(figures(inch), figures(mm)):
        check_round(f"{what} {name}", ticks(svg, "middle") if "edge" not in name and "order" not in name and
                    "height" not in name else [])
        check_round(f"{what} {name}", ticks(svg, "end"))
        for (pixels, text), (pixels_mm, text_mm) in zip(bars(svg), bars(svg_mm)):
            (value, unit), (value_mm, unit_mm) = text.split()[:2], text_mm.split()[:2]
            factor = {("in", "mm"): MM, ("µin", "µm"): MM / 1000}[unit, unit_mm]
            tally.check(f"{number(value):e}"[0] in "125", f"{what} {name}: a bar of {text}")
            off = pixels / number(value) / (pixels_mm / number(value_mm) * factor) - 1
            tally.check(abs(off) < 0.02, f"{what} {name}: a bar of {text} is {off:.2%} off that of {text_mm}")


def scale(labels, axis):
    """Pixels to the value that an axis shows: (slope, at), from its labels (value, x, y); a label of y stands 4 pixels lower."""
    slope, at = np.polyfit([t[1 + axis] - 4 * axis for t in labels], [t[0] for t in labels], 1)
    return slope, at


def check_offset(what, page, solved):
    """New offset and that in use where the axes say, in µin from the origin that is named; the table against the JSON."""
    for tip, (name, svg, *rest) in zip(solved["tips"], [f for f in figures(page) if f[0].endswith("offset")]):
        texts = ["".join(e.itertext()) for e in svg.iter() if plain(e.tag) == "text"]
        for axis, letter in enumerate("xy"):
            slope, at = scale(ticks(svg, "end" if axis else "middle"), axis)
            origin = next(number(re.search(rf"µin from ({NUMBER}) in", t).group(1)) for t in texts if t.startswith(letter + ", "))
            mark = next(e for e in svg.iter() if e.get("class") == "N" and "".join(e.itertext()).startswith("new:"))
            shown = origin * 1e6 + at + slope * place(mark)[axis]
            off = shown - tip["offset_mm"][letter] / MM * 1e6
            tally.check(abs(off) < 6 + abs(slope), f"{what} {name}: {letter} is drawn {off} µin off")
        row = next(r for r in rest[1] if "".join(r[0].itertext()) == "new")
        for cell, letter in zip(list(row)[1:], "xy"):
            tally.check(abs(number(cell.text) - tip["offset_mm"][letter] / MM) < 5.1e-6, f"{what} {name}: {cell.text}")


def check_residuals(what, page, solved):
    """Residuals where the axis of µin says, and as the JSON has them."""
    rows = {o["line"]: o for o in solved["observations"]}
    for name, svg, marks, _ in figures(page):
        if "-edge-" in name:
            lower = [t for t in ticks(svg, "end") if t[2] > 150]
            slope, at = scale(lower, 1)
            for mark in marks[len(marks) // 2:]:
                line, told = re.match(rf"line (\d+), .*?({NUMBER}) µin", "".join(mark.itertext())).groups()
                um = 1000 * rows[int(line)]["residual_mm"]
                if mark.get("class") != "b":
                    shown = at + slope * place(mark)[1]
                    off = shown - um * 1000 / MM
                    tally.check(abs(off) < 1 + abs(slope), f"{what} {name}: line {line} drawn {off} µin off")
                tally.check(abs(number(told) - um * 1000 / MM) < 3, f"{what} {name}: line {line} told {told}, {um} µm")


def check_weeks(page):
    """Points of each lane of the offsets where its axis says, from the origin that it names."""
    seen = 0
    for name, svg, marks, rows in figures(page):
        if "offset" not in name:
            continue
        origins = [(number(m.group(1)), float(e.get("y"))) for e in svg.iter()
                   for m in [re.fullmatch(rf"µin from ({NUMBER}) in", e.text or "")] if m]
        for mark in (m for m in marks if m.get("class") == "u"):
            y = place(mark)[1]
            origin, top = max((o for o in origins if o[1] < y), key=lambda o: o[1])
            lane = [t for t in ticks(svg, "end") if top < t[2] < top + 105]
            slope, at = scale(lane, 1)
            value = number(re.search(rf", ({NUMBER}) in", "".join(mark.itertext())).group(1))
            shown = 1e6 * origin + at + slope * y
            tally.check(abs(shown - 1e6 * value) < 12 + abs(slope), f"{name}: a run told at {value} drawn at {shown}")
            seen += 1
    tally.check(seen > 30, f"{seen} runs drawn")


def check_board(page):
    """Parts where the axes in inches say, by the table behind them."""
    name, svg, marks, rows = next(f for f in figures(page) if f[0].endswith("-parts"))
    told = {"".join(r[0].itertext()): [number(c.text) for c in list(r)[2:4]] for r in rows}
    axes = [scale(ticks(svg, "end" if axis else "middle"), axis) for axis in (0, 1)]
    for mark in marks:
        line = re.match(r"line (\d+)", "".join(mark.itertext())).group(1)
        for axis, (slope, at) in enumerate(axes):
            shown = at + slope * place(mark)[axis]
            tally.check(abs(shown - told[line][axis]) < 0.02 + abs(slope) * 0.2, f"{name}: line {line} at {shown}, {told[line]}")


def in_inches(value):
    """A machine file's lengths by 25.4; angles, counts, names and factors stay."""
    lengths = {"resolution", "offset", "radius", "radius_u", "u", "permitted_error", "height_permitted_error", "runout", "at",
               "offset_u", "plausible_change", "height", "height_u", "permitted_mm", "u_start", "height_resolution"}

    def walk(key, item):
        if isinstance(item, dict):
            return {k: walk(k, v) for k, v in item.items()}
        if isinstance(item, list):
            return [walk(key, v) for v in item]
        return round(item / MM, 9) if key in lengths and isinstance(item, (int, float)) else item

    return dict(walk("", value), units="inch")


def page_of(folder, name, command, *arguments):
    path = os.path.join(folder, name + ".html")
    where = ["--report", path] if command in ("placement", "ready") else ["-o", path]
    told = runs.call(command, *arguments, *where)
    tally.check(told.returncode in (0, 10), f"{name}: {told.returncode} {told.stderr[:300]}")
    return ET.parse(path).getroot()


def both(folder, name, command, *arguments):
    pages = [page_of(folder, f"{name}-{units}", command, "--units", units, *arguments) for units in ("inch", "mm")]
    same_words(name, *pages)
    check_pictures(name, *pages)
    return pages[0]


with tempfile.TemporaryDirectory() as scratch:
    options = ["--plate", BENCH / "plate.json", "--machine", BENCH / "machine.json"]
    for log in ("run.csv", "run-above.csv"):
        solved = json.loads(runs.call("solve", "--json", "--touches", *options, BENCH / log).stdout)
        page = both(scratch, log, "report", *options, BENCH / log)
        check_offset(log, page, solved)
        check_residuals(log, page, solved)
    for field in ("08-moved", "15-heights", "17-axes"):
        files, log = runs.inputs(field)
        both(scratch, field, "report", *files, log)

    at = os.path.join(runs.FIELD, "13-weeks")
    history = os.path.join(scratch, "weeks.db")
    logs = [os.path.join(at, f"run-{i:03d}.csv") for i in range(1, 73, 4)]
    runs.call("solve", "--quiet", "--history", history, "--plate", os.path.join(at, "plate.json"), "--machine",
              os.path.join(at, "machine.json"), *logs)
    check_weeks(both(scratch, "weeks", "report", "--history", history))

    result = os.path.join(scratch, "result.json")
    with open(result, "wb") as file:
        file.write(runs.call("solve", "--json", *options, BENCH / "run.csv").stdout)
    machine = json.loads((BENCH / "machine.json").read_text())
    machine["limits"]["placement"] = {"permitted_mm": 0.0731, "permitted_deg": 1.7}
    limited = os.path.join(scratch, "limited.json")
    with open(limited, "w", encoding="utf-8") as file:
        json.dump({k: v for k, v in machine.items() if k != "export"}, file)
    check_board(both(scratch, "board", "placement", "--machine", limited, "--result", result, BENCH / "board.csv"))

    # An inch machine: without being asked, in every command that writes a page; and millimetres when asked for.
    folder = os.path.join(scratch, "bench")
    os.mkdir(folder)
    for file in BENCH.iterdir():
        if file.is_file():
            shutil.copyfile(file, os.path.join(folder, file.name))  # not its mode: a tarball is unpacked to be read only
    machine = json.loads((BENCH / "machine.json").read_text())
    del machine["export"]
    with open(os.path.join(folder, "machine.json"), "w", encoding="utf-8") as file:
        json.dump(in_inches(machine), file)
    options = ["--plate", os.path.join(folder, "plate.json"), "--machine", os.path.join(folder, "machine.json")]
    run = os.path.join(folder, "run.csv")
    history = os.path.join(scratch, "inch.db")
    runs.call("solve", "--history", history, *options, run)
    for name, command in (("report", ["report", *options, run]), ("ready", ["ready", *options, "--history", history, run]),
                          ("board", ["placement", options[2], options[3], os.path.join(folder, "board.csv")]),
                          ("weeks", ["report", "--history", history, options[2], options[3]])):
        own = page_of(scratch, "own-" + name, *command)
        left = [t for _, t in words_of(own) if METRIC.search(t)]
        tally.check(not left and "µin" in "".join(own.itertext()), f"{name} of an inch machine: {left[:3]}")
        asked = page_of(scratch, "asked-" + name, *command, "--units", "mm")
        tally.check("µin" not in "".join(asked.itertext()), f"{name} of an inch machine, asked for in mm")
    scales = []
    for units, unit in (("inch", "in"), ("mm", "mm")):
        path = os.path.join(scratch, "plate.svg")
        runs.call("check", "--plate", options[1], "--units", units, "--svg", path)
        (pixels, text), = bars(ET.parse(path).getroot())
        tally.check(text.endswith(" " + unit), f"the plate in {units}: a bar of {text}")
        scales.append(pixels / number(text.split()[0]))
    tally.check(abs(scales[0] / scales[1] / MM - 1) < 0.01, f"pixels to the inch and to the mm: {scales}")
tally.close()
