# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The page of `tiptrue placement --report`: its words and figures against the JSON, its arrows, dials and slopes computed anew from
the table of parts, on machines that count rotations either way. No value is left alone by an exchange of axes, signs or tips."""
import json
import math
import os
import re
import sys
import tempfile
import xml.etree.ElementTree as ET

import numpy as np

sys.path[:0] = [os.path.join(os.environ["srcdir"], "tests"), os.path.join(os.environ["srcdir"], "tests", "report")]
import runs  # noqa: E402
from marks import XHTML, Checks, figures, line_of, place, plain  # noqa: E402
from tally import Tally  # noqa: E402

tally = Tally()
HEADER = "tip,rotation,x,y,found_x,found_y,found_rotation"
GRID = np.array([[6.1e-4, (0.83 - 0.37) * 1e-3], [0.37e-3, -4.3e-4]])  # scale x, shear - turn; turn, scale y
NAMES = ("a<1>", "b&2", "c")


def turn(deg):
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    return np.array([[c, -s], [s, c]])


def board(folder, clockwise=False, grid=GRID, frame="machine", tips=3, seed=5):
    """Files of a machine and a board: a turns, b is off, two parts of c slipped. Returns the rows {line: (tip, rotation, wanted,
    off)} and the options."""
    rng = np.random.default_rng(seed)
    sense = -1 if clockwise else 1
    document = {"schema": "tiptrue.machine/1", "name": "crooked", "tips": [{"name": n} for n in NAMES[:tips]],
                "rotation": {"sense": "cw" if clockwise else "ccw"},
                "limits": {"placement": {"permitted_mm": 0.0731, "permitted_deg": 1.7}}}
    with open(os.path.join(folder, "machine.json"), "w", encoding="utf-8") as file:
        json.dump(document, file)
    lines, rows = ["# machine: crooked", "# started: 2026-03-02T07:40:00Z", f"# frame: {frame}", HEADER], {}
    for k in range(24 * tips):
        rotation = float(rng.choice([0, 90, 180, 270, 37.4, 211.3]))
        wanted = np.array([31.7, 142.3]) + [97.1, 61.9] * rng.random(2)
        off = grid @ (wanted - [80.25, 173.25]) + 0.004 * rng.normal(size=2)
        off += [turn(sense * rotation) @ [0.0312, 0.0126], np.array([0.0437, -0.0191]), np.zeros(2)][k % tips]
        if k in (17, 38):
            off += [0.213, -0.145]
        lines.append(f"{NAMES[k % tips]},{rotation},{','.join(f'{v:.6f}' for v in (*wanted, *(wanted + off)))},"
                     f"{rotation + 0.2 * rng.normal():.3f}")
        rows[len(lines)] = (k % tips, rotation, np.round(wanted, 6), np.round(wanted + off, 6) - np.round(wanted, 6))
    path = os.path.join(folder, "board.csv")
    with open(path, "w", encoding="utf-8") as file:
        file.write("\n".join(lines) + "\n")
    return rows, ["--machine", os.path.join(folder, "machine.json"), path]


def judged(folder, options, *more, zone="UTC0"):
    """What the JSON says, the page as text and as a tree."""
    path = os.path.join(folder, "board.html")
    told = runs.call("placement", "--json", *more, "--report", path, *options, zone=zone)
    tally.check(told.returncode in (0, 10, 20), f"exit {told.returncode}: {told.stderr[:500]}")
    with open(path, encoding="utf-8") as file:
        text = file.read()
    return json.loads(told.stdout), text, ET.fromstring(text.split("\n", 1)[1])


def tables(page):
    """Rows of cells of the tables that stand in no picture, each with its heads in front."""
    inside = {id(t) for f in page.iter(XHTML + "figure") for t in f.iter(XHTML + "table")}
    for found in page.iter(XHTML + "table"):
        if id(found) not in inside:
            yield [["".join(c.itertext()) for c in row] for row in found.iter(XHTML + "tr")]


def number(cell):
    return float(cell.replace("\N{MINUS SIGN}", "-").replace("±", "").replace("%", "").replace("over", "").replace("under", ""))


def same(cell, value, what):
    """The cell is @value to its last digit."""
    digits = len(cell.split(".")[1].split()[0]) if "." in cell else 0
    tally.check(abs(number(cell) - value) < 0.51 * 10 ** -digits, f"{what}: the page has {cell}, the JSON {value}")


def check_figures(said, text, page):
    found = {table[0][1] + table[0][2]: table for table in tables(page)}
    tips = next(t for heads, t in found.items() if heads.startswith("parts used"))
    rows = {row[0] + row[1].replace("turns", "/turns"): row for row in tips[1:]}
    for t in said["tips"]:
        row = rows[f"{t['tip']}{t['used']} of {t['parts']}"]
        for kind, row in (("offset_correction", row), ("turning", rows.get(t["tip"] + "/turns"))):
            value = t[kind + "_mm"]
            tally.check((row is None) == (value is None), f"{kind} of {t['tip']}: {row}, {value}")
            for k, axis in enumerate("xy" if value else ""):
                same(row[2 + k], 1000 * value[axis], f"{kind} of {t['tip']} in {axis}")
            if value:
                same(row[4], 1000 * max(t[f"expanded_{kind}_mm"].values()), f"± {kind} of {t['tip']}")
    for name, axis, *row in found["axisCp"][1:]:
        at = said["capability"] if name == "all" else next(t for t in said["capability"]["tips"] if t["tip"] == name)
        axis = at[axis]
        if axis["cp"] is None:
            tally.check(row[:3] == ["", "", "not normal"], f"{name}: {row}")
        else:
            for cell, key in zip((row[0], row[1], *row[2].split(" to ")), ("cp", "cpk", "cpk_low", "cpk_high")):
                same(cell, axis[key], f"{key} of {name}")
        within, of = map(int, row[3].split(" of "))
        tally.check(of == axis["parts"] and abs(within / of - axis["share_within"]) < 1e-12, f"within of {name}: {row}")
        same(row[4], 100 * axis["share_low"], f"share of {name}")
    if said["set_aside"]:
        lines = [int(row[0]) for row in found["tipx, mm"][1:]]
        tally.check(lines == said["set_aside"], f"left out: {lines}, the JSON has {said['set_aside']}")
    spoken = "".join(page.itertext())
    for finding in said["findings"]:
        words = re.sub(r" deg\b", "°", re.sub(r" um\b", " µm", finding["text"]))
        tally.check(words in spoken, f"the page lacks '{words}'")
    tally.check(f"<strong>{said['verdict'].upper()}</strong>" in text, "the verdict opens the page")


def arrows(svg, classes):
    """{place: (x, y upwards)} of the arrows of those classes."""
    found = {}
    for e in svg.iter():
        at = re.match(r"M([-0-9.]+) ([-0-9.]+)l([-0-9.]+) ([-0-9.]+)", e.get("d") or "")
        if e.get("class") in classes and at:
            x, y, dx, dy = map(float, at.groups())
            found[x, y] = (dx, -dy)
    return found


def off_of(rows, line, mean):
    return 1000 * (rows[line][3] - mean)


def check_arrows(name, svg, marks, rows, mean, said):
    """Each part is where it was wanted and its arrow goes where it was found, to one scale, which the key states."""
    drawn = arrows(svg, ("k", "n", "s", "kx"))
    Checks(tally).straight([(rows[line_of(m)][2][0], place(m)[0]) for m in marks], False, f"{name}: x")
    Checks(tally).straight([(rows[line_of(m)][2][1], place(m)[1]) for m in marks], True, f"{name}: y")
    for m in marks:
        rotation, x, y = map(number, re.search(r", ([0-9.]+)°, off by x (\S+) µm, y (\S+) µm", "".join(m.itertext())).groups())
        off = off_of(rows, line_of(m), mean)
        tally.check(rotation == rows[line_of(m)][1] and max(abs(x - off[0]), abs(y - off[1])) < 0.06,
                    f"{name}: '{''.join(m.itertext())}', the board has {rows[line_of(m)]}")
    used = [m for m in marks if line_of(m) not in said["set_aside"]]
    offs = np.array([off_of(rows, line_of(m), mean) for m in used])
    pixels = np.array([drawn[place(m)] for m in used])
    scale = np.sum(offs * pixels) / np.sum(offs * offs)
    tally.check(np.abs(pixels - scale * offs).max() < 0.06, f"{name}: arrows off by {np.abs(pixels - scale * offs).max()} pixels")
    for m in marks:
        if line_of(m) in said["set_aside"]:
            off, seen = off_of(rows, line_of(m), mean), drawn[place(m)]
            across = abs(off[0] * seen[1] - off[1] * seen[0]) / np.hypot(*off)
            tally.check(across < 0.1 and np.dot(off, seen) > 0 and m.get("class") == "x", f"{name}: the slipped part {line_of(m)}")
    key = next(iter(arrows(next(e for e in svg.iter() if plain(e.tag) == "g" and e.get("class") == "key"), ("f",)).values()))
    um, times = re.search(r"([0-9.]+) µm, enlarged (\d+) times", "".join(svg.itertext())).groups()
    tally.check(abs(key[0] - scale * float(um)) < 0.06 and key[1] == 0, f"{name}: the key of {um} µm has {key}, {scale} px a µm")
    a, b = used[0], used[-1]
    per_mm = (place(b)[0] - place(a)[0]) / (rows[line_of(b)][2][0] - rows[line_of(a)][2][0])
    tally.check(abs(1000 * scale / per_mm / float(times) - 1) < 0.02, f"{name}: {1000 * scale / per_mm} times, said are {times}")
    return scale


def check_dial(name, svg, marks, rows, sense, scale):
    """Each part at its rotation, as far off as it is; the means of the rotations as arrows from there."""
    circle = next(e for e in svg.iter() if plain(e.tag) == "circle" and e.get("class") == "g")
    centre, radius = np.array(place(circle)), float(circle.get("r"))
    by_rotation = {}
    for m in (m for m in marks if m.get("class") == "u"):
        _, rotation, _, off = rows[line_of(m)]
        base = turn(sense * rotation) @ [radius, 0]
        seen = (np.array(place(m)) - centre) * [1, -1] - base
        tally.check(np.abs(seen - 1000 * scale * off).max() < 0.2, f"{name}: line {line_of(m)} at {seen}, off {off}")
        by_rotation.setdefault(rotation, []).append(1000 * scale * off)
    means = arrows(svg, ("e",))
    for rotation, offs in by_rotation.items():
        at = centre + (turn(sense * rotation) @ [radius, 0]) * [1, -1]
        near = min(means, key=lambda p: math.hypot(p[0] - at[0], p[1] - at[1]))
        tally.check(math.hypot(near[0] - at[0], near[1] - at[1]) < 0.2 and np.abs(means[near] - np.mean(offs, axis=0)).max() < 0.2,
                    f"{name}: the mean at {rotation} is drawn {means[near]}, it is {np.mean(offs, axis=0)}")
    label = next(e for e in svg.iter() if plain(e.tag) == "text" and e.text == "90°")
    tally.check((float(label.get("y")) < centre[1]) == (sense > 0), f"{name}: 90° is on the wrong side")


def check_slopes(svg, said):
    """Each panel's points rise as the true grid says, and its line as the JSON says."""
    ticks = [e for e in svg.iter() if plain(e.tag) == "text" and re.fullmatch("[0-9\N{MINUS SIGN}.]+", e.text or "")]
    x = [(number(e.text), float(e.get("x"))) for e in ticks if e.get("text-anchor") == "middle" and float(e.get("x")) < 188]
    y = [(number(e.text), float(e.get("y"))) for e in ticks if e.get("text-anchor") == "end" and float(e.get("y")) < 124]
    per_mm, per_um = np.polyfit(*zip(*x), 1)[0], -np.polyfit(*zip(*y), 1)[0]
    clouds = [np.array([[float(v) for v in p.split()] for p in re.findall(r"M([-0-9. ]+)h0", e.get("d"))])
              for e in svg.iter() if e.get("class") == "pt"]
    lines = [[float(v) for v in re.split("[ML ]+", e.get("d"))[1:]] for e in svg.iter()
             if plain(e.tag) == "path" and e.get("class") == "c"][:4]
    g = said["grid"]
    rises = [-(line[3] - line[1]) / (line[2] - line[0]) * per_mm / per_um for line in lines]
    told = g["turn_mm_per_m"] if g["turn_mm_per_m"] is not None else rises[2]  # in the board's own frame it is not told
    expected = [g["scale_x_ppm"] * 1e-3, g["shear_mm_per_m"] - told, told, g["scale_y_ppm"] * 1e-3]
    tally.check(len(clouds) == 4 and len(lines) == 4, f"{len(clouds)} panels, {len(lines)} lines")
    for k, (cloud, drawn, value, true) in enumerate(zip(clouds, rises, expected, 1000 * GRID.flatten())):
        tally.check(len(cloud) == said["parts"]["used"], f"panel {k} has {len(cloud)} points")
        tally.check(abs(drawn - value) < 0.02, f"panel {k}: the line rises by {drawn} µm/mm, the JSON has {value}")
        both = np.polyfit(cloud[:, 0], cloud[:, 1], 1)[0] * -per_mm / per_um
        tally.check(abs(both - true) < 0.15 and abs(both - true) < 0.3 * abs(true) + 0.05,
                    f"panel {k}: points rise by {both}, true is {true}")


def whole(folder, clockwise, frame):
    rows, options = board(folder, clockwise, frame=frame)
    said, text, page = judged(folder, options)
    mean = np.zeros(2)
    if said["relative_to_mean_of_tips"]:
        used = {t: [r for line, r in rows.items() if r[0] == t and line not in said["set_aside"]] for t in range(3)}
        # offsets with the turning and the grid taken off: what the JSON's corrections count from
        mean = rows_mean(used, [said["middle_mm"][axis] for axis in "xy"])
    pictures = {name: (svg, marks) for name, svg, marks, _ in figures(page)}
    expected = ["board-1-parts", "board-1-distance"] + [f"board-1-tip-{t}-{k}" for t in (1, 2, 3) for k in ("rotation", "parts")]
    tally.check(list(pictures) == expected, f"pictures {list(pictures)}")
    Checks(tally).pictures("board", os.path.join(folder, "board.html"))
    check_figures(said, text, page)
    check_whole_marks(pictures, rows, mean, said, -1 if clockwise else 1)
    check_slopes(pictures["board-1-distance"][0], said)


def rows_mean(used, middle):
    """The mean of the tips' offsets, from a least-squares fit of all terms by NumPy."""
    parts = [r for t in used.values() for r in t]
    design, right = [], []
    for t, rotation, wanted, off in parts:
        block = np.zeros((2, 16))
        block[:, 2 * t:2 * t + 2], block[:, 6 + 2 * t:8 + 2 * t] = np.eye(2), turn(rotation)
        block[:, 12:] = np.kron(np.eye(2), wanted - middle)
        design.append(block)
        right.append(off)
    x = np.linalg.lstsq(np.vstack(design), np.concatenate(right), rcond=None)[0]
    return x[:6].reshape(3, 2).mean(axis=0)


def check_whole_marks(pictures, rows, mean, said, sense):
    svg, marks = pictures["board-1-parts"]
    drawn = {line_of(m) for m in marks if m.get("class") != "x"}
    tally.check(drawn | set(said["set_aside"]) == set(rows), "not every part is drawn")
    scale = check_arrows("all", svg, marks, rows, mean, said)
    for number_ in (1, 2, 3):
        svg, marks = pictures[f"board-1-tip-{number_}-parts"]
        expected = [k for k, r in rows.items() if r[0] == number_ - 1]
        tally.check(sorted(line_of(m) for m in marks) == expected, f"parts of tip {number_}")
        own = check_arrows(f"tip {number_}", svg, marks, rows, mean, said)
        tally.check(abs(own / scale - 1) < 1e-3, "arrows of one board have one scale")
        svg, marks = pictures[f"board-1-tip-{number_}-rotation"]
        shifted = {k: (*r[:3], r[3] - mean) for k, r in rows.items()}
        check_dial(f"dial {number_}", svg, marks, shifted, sense, scale)


def page_of_several(folder):
    """All boards on one page; local time; names as text; bad files, and places that cannot be written."""
    rows, options = board(folder, grid=np.zeros((2, 2)), tips=1)
    path = os.path.join(folder, "two.html")
    told = runs.call("placement", "--report", path, *options, options[-1], zone="XYT-5:45")
    tally.check(told.returncode in (0, 10), f"two boards: {told.returncode} {told.stderr}")
    with open(path, encoding="utf-8") as file:
        text = file.read()
    page = ET.fromstring(text.split("\n", 1)[1])
    names = [name for name, *_ in figures(page)]
    expected = [f"board-{n}-{k}" for n in (1, 2) for k in ("parts", "distance", "tip-1-rotation")]
    tally.check(names == expected, f"two boards draw {names}")
    tally.check("Started: 2026-03-02 13:25:00 +05:45 (XYT)" in text and "Tip a&lt;1&gt;" in text, "local time, names as text")
    tally.check("no slope is shown" in text and folder not in text, "nothing grows with distance; no folder is named")
    bad = os.path.join(folder, "bad.csv")
    with open(bad, "w", encoding="utf-8") as file:
        file.write(HEADER + "\na<1>,0,1,2,east,2,0\n")
    told = runs.call("placement", *options[:2], "--report", path + ".none", bad)
    tally.check(told.returncode == 65 and not os.path.exists(path + ".none"), f"a bad board: {told}")
    told = runs.call("placement", "--report", path + ".one", *options, bad)
    tally.check(told.returncode == 65 and os.path.exists(path + ".one"), f"a bad board behind a good one: {told}")
    told = runs.call("placement", "--report", os.path.join(folder, "no", "page.html"), *options)
    tally.check(told.returncode == 74 and b"cannot be written" in told.stderr and told.stdout, f"no such folder: {told}")
    told = runs.call("placement", "--report", "-", *options)
    tally.check(told.returncode == 64 and b"--report needs a file" in told.stderr, f"the page to standard output: {told}")


with tempfile.TemporaryDirectory() as scratch:
    for case in ((False, "machine"), (True, "machine"), (False, "board")):
        whole(scratch, *case)
    page_of_several(scratch)
tally.close()
