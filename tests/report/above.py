# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Pictures of touches from above and of views, on the report's pages: against the result, and computed anew from the files."""
import json
import os
import re
import sys
import tempfile
import xml.etree.ElementTree as ET

import numpy as np

sys.path[:0] = [os.path.join(os.environ["srcdir"], "tests"), os.path.join(os.environ["srcdir"], "tests", "report")]
import runs  # noqa: E402
from marks import Checks, figures, line_of, place, plain  # noqa: E402
from tally import Tally  # noqa: E402

tally = Tally()
checks = Checks(tally)


def check_heights():
    """Touches from above: their wave over the rotation, and the plate's tilt, upwards where the result says so."""
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "page.html")
        tally.check(runs.report("15-heights", path).returncode == 0, "15-heights: no page")
        solved = runs.result("15-heights")
        page = {name: (svg, marks) for name, svg, marks, _ in figures(ET.parse(path).getroot())}
        checks.pictures("15-heights", path)
    rows = {o["line"]: o for o in solved["observations"] if o["kind"] == "height" and o["use"] in ("used", "no-contact")}
    for number, tip in enumerate(solved["tips"], 1):
        svg, marks = page[f"run-1-tip-{number}-height"]
        tally.check(len(marks) == sum(o["tip"] == tip["tip"] for o in rows.values()), f"{tip['tip']}: {len(marks)} heights drawn")
        face = tip["height"]["face_runout"]
        points = []
        for m in marks:
            row = rows[line_of(m)]
            wave = face["amplitude_mm"] * np.cos(np.radians(row["rotation_deg"] - face["angle_deg"])) if face else 0
            if m.get("class") in ("u", "x", "w"):
                points.append((1000 * (wave + row["residual_mm"]), place(m)[1]))
        checks.straight(points, True, f"heights of {tip['tip']}")
        checks.straight([(rows[line_of(m)]["rotation_deg"] % 360, place(m)[0]) for m in marks], False, f"rotations of {tip['tip']}")
    tally.check(any(t["height"]["face_runout"] for t in solved["tips"]), "a face runout is among them")
    check_tilt(solved["surface"][0], solved["poses"][0]["yaw_deg"], *page["run-1-tilt"])


def check_tilt(surface, yaw_deg, svg, marks):
    """The corners lie as the slope says, computed anew from the plate file; the pads beside the plane as far as they are off."""
    with open(os.path.join(runs.FIELD, "15-heights", "plate.json"), encoding="utf-8") as file:
        plate = json.load(file)
    places = [p["at"] for p in plate["marks"] + plate["pads"]] + [e[end] for e in plate["edges"] for end in ("from", "to")]
    low, high = np.min(places, 0), np.max(places, 0)
    border = 0.06 * max(high - low)
    x = np.array([low[0] - border, high[0] + border])[[0, 1, 1, 0]]
    y = np.array([low[1] - border, high[1] + border])[[0, 0, 1, 1]]
    c, s = np.cos(np.radians(yaw_deg)), np.sin(np.radians(yaw_deg))
    slope = surface["slope_mm_per_m"]
    heights = slope["x"] * (c * x - s * y) + slope["y"] * (s * x + c * y)  # mm/m by mm: micrometres
    said = "".join(next(e for e in svg if plain(e.tag) == "desc").itertext()).replace("\N{MINUS SIGN}", "-")
    told = [float(v) for v in re.findall(r"(?:left|right) ([-+0-9]+)", said.split("corners:")[1])]
    tally.check(np.abs(told - heights).max() < 0.51, f"corners said to be at {told}, they are at {heights}")
    lines = {k: [[float(v) for v in re.findall(r"[-0-9.]+", e.get("d"))] for e in svg if e.get("class") == k] for k in "dek"}
    tally.check((len(lines["d"]), len(lines["e"]), len(marks)) == (4, 4, len(surface["pads"])), f"lines drawn: {lines}")
    checks.straight([(z, e[1] - d[1]) for z, e, d in zip(heights, lines["e"], lines["d"])], True, "the plate's corners")
    pads = [(1000 * (p["shift_mm"] + p["mean_residual_mm"]), k[3] - k[1]) for p, k in zip(surface["pads"], lines["k"])]
    checks.straight(pads, True, "pads off the plane")


def check_views():
    """Views with two of them spoilt: their strokes show by how much, and which way, the picture counting down."""
    options, log = runs.inputs("16-views")
    with open(log, encoding="utf-8") as file:
        lines = file.read().splitlines()
    names = next(line for line in lines if line.startswith("kind,")).split(",")
    views = [i for i, line in enumerate(lines) if line.startswith("view,")]
    spoilt = {views[2]: ("px", 37.0), views[9]: ("py", -23.0)}
    for i, (name, by) in spoilt.items():
        cells = lines[i].split(",")
        cells[names.index(name)] = f"{float(cells[names.index(name)]) + by:.2f}"
        lines[i] = ",".join(cells)
    with tempfile.TemporaryDirectory() as folder:
        path, page = os.path.join(folder, "run.csv"), os.path.join(folder, "page.html")
        with open(path, "w", encoding="utf-8") as file:
            file.write("\n".join(lines) + "\n")
        told = runs.call("report", *options, path, "-o", page)
        tally.check(told.returncode == 0, f"16-views: no page: {told.stderr}")
        checks.pictures("16-views", page)
        svg, marks, rows = next(f[1:] for f in figures(ET.parse(page).getroot()) if f[0] == "run-1-views")
    cells = [["".join(c.itertext()).replace("\N{MINUS SIGN}", "-") for c in row] for row in rows]
    tally.check(len(marks) == len(rows) == len(views), f"{len(marks)} marks, {len(rows)} rows of {len(views)} views")
    for i, (name, by) in spoilt.items():
        row = next(c for c in cells if c[0] == str(i + 1))
        off = {"px": float(row[4]), "py": float(row[5])}
        tally.check(abs(off.pop(name) - by) < 1 and abs(next(iter(off.values()))) < 1 and row[6] == "left out",
                    f"{name} spoilt by {by}: {row}")
    checks.straight([(float(c[2]), place(m)[0]) for c, m in zip(cells, marks)], False, "px of the views")
    checks.straight([(float(c[3]), place(m)[1]) for c, m in zip(cells, marks)], False, "py of the views")
    strokes = [[float(v) for v in re.findall(r"[-0-9.]+", e.get("d"))] for e in svg if e.get("class") == "k"]
    good = [c for c in cells if not c[6]]
    tally.check(len(strokes) == len(good), f"{len(strokes)} strokes of {len(good)} views")
    for axis, column in ((0, 4), (1, 5)):
        points = [(float(c[column]), k[2 + axis] - k[axis]) for c, k in zip(good, strokes)]
        slope, at = np.polyfit(*zip(*points), 1)
        # residuals are printed to a hundredth of a pixel, which is enlarged
        tally.check(slope > 0 and max(abs(at + slope * v - w) for v, w in points) < 0.2 + 0.006 * slope, f"strokes: {points}")


def rigid(plate, seen):
    """How far, in the plate's directions, each place @seen lies from the plate's point, put where all fit best (Kabsch, by SVD)."""
    u, _, v = np.linalg.svd((plate - plate.mean(0)).T @ (seen - seen.mean(0)))
    turn = u @ np.diag([1, np.linalg.det(u @ v)]) @ v
    return (seen - seen.mean(0)) @ turn.T - (plate - plate.mean(0))


def check_marks(name):
    """Marks on the plate: strokes and table against the log, with and without the errors of the axes that the result has."""
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "page.html")
        tally.check(runs.report(name, path).returncode == 0, f"{name}: no page")
        checks.pictures(name, path)
        svg, marks, rows = next(f[1:] for f in figures(ET.parse(path).getroot()) if f[0] == "run-1-marks")
    solved = runs.result(name)
    with open(os.path.join(runs.FIELD, name, "plate.json"), encoding="utf-8") as file:
        at = {m["name"]: m["at"] for m in json.load(file)["marks"]}
    with open(runs.inputs(name)[1], encoding="utf-8") as file:
        lines = [line.split(",") for line in file.read().splitlines() if not line.startswith("#")]
    seen = [dict(zip(lines[0], line)) for line in lines if line[0] in ("sight", "view")]
    places = np.array([[float(r["x"]), float(r["y"])] for r in seen])
    if solved["camera"]:
        c, size = solved["camera"], (1280, 960)
        t, up = np.radians(c["turn_deg"]), np.radians(c["turn_deg"] + c["shear_deg"] + (-90 if c["mirrored"] else 90))
        a = np.array([[c["scale_mm_per_px"]["x"] * np.cos(t), c["scale_mm_per_px"]["y"] * np.cos(up)],
                      [c["scale_mm_per_px"]["x"] * np.sin(t), c["scale_mm_per_px"]["y"] * np.sin(up)]])
        v = np.array([[float(r["px"]) - size[0] / 2, size[1] / 2 - float(r["py"])] for r in seen])
        kappa = (c["distortion"] or {"kappa": 0})["kappa"]
        places = places + (v * (1 + kappa * 4 * (v**2).sum(1, keepdims=True) / (size[0]**2 + size[1]**2))) @ a.T
    plate = np.array([at[r["target"]] for r in seen], float)
    axes = solved["axes"]
    true = places if axes is None else places @ np.array([[1 + 1e-6 * axes["scale_x_ppm"], 0],
                                                          [-1e-3 * axes["square_mm_per_m"], 1 + 1e-6 * axes["scale_y_ppm"]]])
    off, as_they_are = rigid(plate, true), rigid(plate, places)
    cells = [["".join(c.itertext()).replace("\N{MINUS SIGN}", "-") for c in row] for row in rows]
    tally.check(len(cells) == len(marks) == len({r["target"] for r in seen}), f"{len(cells)} rows, {len(marks)} marks")
    tally.check((len(cells[0]) == 6) == (axes is not None), f"columns for the axes: {cells}")
    for mark, n, *told in cells:
        these = [i for i, r in enumerate(seen) if r["target"] == mark]
        wanted = 1e3 * np.concatenate([off[these].mean(0), as_they_are[these].mean(0)])[:len(told)]
        tally.check(int(n) == len(these) and np.abs(np.array(told, float) - wanted).max() < 0.11, f"{mark}: {n}, {told}, {wanted}")
    for kind, column in (("k", 2), ("v", 4))[:2 if axes else 1]:
        strokes = [[float(v) for v in re.findall(r"[-0-9.]+", e.get("d"))] for e in svg if e.get("class") == kind][:len(cells)]
        for axis, sign in ((0, 1), (1, -1)):
            points = [(sign * float(c[column + axis]), s[2 + axis] - s[axis]) for c, s in zip(cells, strokes)]
            slope = sum(p * s for p, s in points) / sum(p * p for p, _ in points)
            worst = max(abs(s - slope * p) for p, s in points)
            tally.check(slope > 0 and worst < 0.2 + 0.06 * slope, f"{name}: strokes {kind} {axis}: {points}")


def check_weeks():
    """Heights over the weeks, of a recorded run with other scatter in each: where all stepped, the change stands in their picture
    alone, by its number; each dot where its run has the height."""
    at, z = os.path.join(runs.FIELD, "15-heights"), 6
    with open(os.path.join(at, "run.csv"), encoding="utf-8") as file:
        lines = [line for line in file.read().splitlines() if not line.startswith("# started")]
    with tempfile.TemporaryDirectory() as folder:
        logs = []
        for i in range(14):
            rng = np.random.default_rng(i)
            rows = [line.split(",") for line in lines]
            for cells in rows:
                if cells[0] == "height":
                    cells[z - 1] = f"{float(cells[z - 1]) + rng.normal(0, .001) + (.0238 if i >= 9 else 0):.4f}"
            logs.append(os.path.join(folder, f"{i}.csv"))
            with open(logs[-1], "w", encoding="utf-8") as file:
                file.write(f"# started: 2026-03-{2 + i:02d}T07:41:12Z\n" + "\n".join(map(",".join, rows)) + "\n")
        options, db = runs.inputs("15-heights")[0], os.path.join(folder, "weeks.db")
        said = [json.loads(line) for line in runs.call("solve", "--json", "--history", db, *options, *logs).stdout.splitlines()]
        path = os.path.join(folder, "weeks.html")
        tally.check(runs.call("report", "--history", db, "-o", path).returncode == 0, "no page of the weeks")
        page = {name: (svg, marks, rows) for name, svg, marks, rows in figures(ET.parse(path).getroot())}
        checks.pictures("weeks of heights", path)
    svg, marks, rows = page["weeks-1-height"]
    tips = [t["tip"] for t in said[0]["tips"]]
    # a height that the run leaves ambiguous is not compared
    lanes = [[s["tips"][k]["height"]["value_mm"] for s in said
              if not any(f["code"] == "ambiguous" and f["tip"] == tip for f in s["findings"])] for k, tip in enumerate(tips)]
    expected = sum(lanes, [])
    tally.check(min(map(len, lanes)) >= 12, f"{[len(lane) for lane in lanes]} heights of 14 runs")
    found = [float("".join(row[2].itertext()).replace("\N{MINUS SIGN}", "-")) for row in rows]
    tally.check(len(found) == len(expected) and np.abs(np.array(found) - expected).max() < 6e-5,
                f"heights {found}, solved {expected}")
    first = 0
    for tip, lane in zip(tips, lanes):
        drawn = marks[first:first + len(lane)]
        first += len(lane)
        checks.straight([(1000 * v, place(m)[1]) for v, m in zip(lane, drawn)], True, f"lane of {tip}")
    numbers = {name: [e.text for e in p[0].iter() if e.get("class") == "no"] for name, p in page.items()}
    of_heights = numbers.pop("weeks-1-height")
    tally.check(of_heights == ["1"] * len(tips) and not any(numbers.values()), f"numbers {of_heights}, {numbers}")


check_heights()
check_views()
check_marks("16-views")
check_marks("17-axes")
check_weeks()
tally.close()
