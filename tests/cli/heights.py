# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Touches from above through the program: against an independent plane fit (generalised least squares of the pads'
covariance, SciPy), against the truth that a run was made with, and with every blunder of z that must be told.

Environment: TIPTRUE, srcdir.
"""
import json
import math
import os
import pathlib
import random
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

TIPTRUE = os.environ["TIPTRUE"]
YAW = math.radians(1.37)
MARK = (131.27, 88.41)
TIPS = {"fine": {"offset": (38.634, -16.186), "runout": (0.021, -0.013), "radius": 0.473, "height": -20.7029},
        "broad": {"offset": (57.028, -16.151), "runout": (-0.034, 0.011), "radius": 0.731, "height": -19.5451}}
PADS = {"P1": ((14.2, 7.7), 0.0), "P2": (
    (49.5, 22.1), 0.035), "P3": ((9.3, 41.6), -0.012), "P4": ((50.4, 44.2), 0.021)}
SLOPE = (0.87e-3, -0.41e-3)
EDGES = {"e": ((30, 10), (30, 20), (-1, 0)), "w": ((10, 20), (10, 10), (1, 0)),
         "n": ((25, 30), (15, 30), (0, -1)), "s": ((15, 2), (25, 2), (0, 1))}


def turned(x, y):
    return math.cos(YAW) * x - math.sin(YAW) * y, math.sin(YAW) * x + math.cos(YAW) * y


def plate(pads=PADS, u=0.004):
    edges = [{"name": name, "from": list(a), "to": list(b), "free_side": "left", "u": 0.002}
             for name, (a, b, _) in EDGES.items()]
    return {"schema": "tiptrue.plate/1", "name": "pane", "serial": "P-4", "reference": "M0",
            "marks": [{"name": "M0", "at": [0, 0]}, {"name": "M1", "at": [60, 4]}], "edges": edges,
            "pads": [{"name": name, "at": list(at), "height": height, "u": u} for name, (at, height) in pads.items()]}


def machine(**more):
    tips = [{"name": name, "offset": [round(c, 3) for c in tip["offset"]], "height": round(tip["height"], 3)}
            for name, tip in TIPS.items()]
    made = {"schema": "tiptrue.machine/1", "name": "sill", "resolution": 1e-6, "touch": {"u": 0.002}, "sighting": {"u": 0.002},
            "height": {"u": 0.002}, "yaw": {"value_deg": 0, "u_deg": 3}, "tips": tips,
            "limits": {"permitted_error": 0.04, "permitted_height_error": 0.03}}
    made.update(more)
    return made


def sights(rng):
    for name, at in (("M0", (0, 0)), ("M1", (60, 4))) * 2:
        x, y = turned(*at)
        yield f"sight,{name},,{MARK[0] + x + rng.gauss(0, 1e-3):.5f},{MARK[1] + y + rng.gauss(0, 1e-3):.5f},,,1"


def touches(rng, tip, turns=6):
    t = TIPS[tip]
    for name, (a, b, n) in EDGES.items():
        for k in range(turns):
            theta = 2 * math.pi * k / turns + 0.2
            share = (k + 1) / (turns + 1)
            u = [a[i] + share * (b[i] - a[i]) + t["radius"] * n[i] for i in (0, 1)]
            x, y = turned(*u)
            c, s = math.cos(theta), math.sin(theta)
            e = t["runout"]
            x += MARK[0] - t["offset"][0] - (c * e[0] - s * e[1]) + rng.gauss(0, 1e-3)
            y += MARK[1] - t["offset"][1] - (s * e[0] + c * e[1]) + rng.gauss(0, 1e-3)
            yield f"touch,{name},{tip},{x:.5f},{y:.5f},,{math.degrees(theta):.3f},1"


def heights(rng, tip, pads=PADS, turns=6, face=0.0, late=(), film=None, sigma=1.5e-3, place=None):
    t = TIPS[tip]
    n = 0
    for name, (at, height) in pads.items():
        x, y = turned(*((place or pads)[name][0]))
        for k in range(turns):
            theta = 2 * math.pi * k / turns + 0.3
            z = t["height"] + SLOPE[0] * x + SLOPE[1] * y + height + face * math.cos(theta - 1.1) + rng.gauss(0, sigma)
            z -= 0.043 if n in late else 0
            z -= film.get(name, 0) if film else 0
            n += 1
            yield (f"height,{name},{tip},{MARK[0] + x - t['offset'][0]:.4f},{MARK[1] + y - t['offset'][1]:.4f},"
                   f"{z:.6f},{math.degrees(theta):.3f},1")


HEAD = ["# machine: sill", "# plate: pane", "# started: 2026-05-06T05:55:00Z", "kind,target,tip,x,y,z,rotation,contact"]


def log(rng, rows):
    body = list(sights(rng))
    for tip in TIPS:
        body += touches(rng, tip)
    return "\n".join(HEAD + body + rows + list(sights(rng))) + "\n"


def solve(folder, plate_file, machine_file, text, *options):
    for name, document in (("plate.json", plate_file), ("machine.json", machine_file)):
        (folder / name).write_text(json.dumps(document))
    (folder / "run.csv").write_text(text)
    files = ["--plate", "plate.json", "--machine", "machine.json", "run.csv"]
    done = subprocess.run([TIPTRUE, "solve", "--json", "--touches", *options, *files], cwd=folder,
                          capture_output=True, text=True, check=False)
    return json.loads(done.stdout)


def rows_of(rng, **options):
    return [row for tip in TIPS for row in heights(rng, tip, **options)]


def plane_fit(text, u_pad, sigma):
    """Heights, slopes and their covariance by generalised least squares: the pads' errors are in the covariance of the rows."""
    import numpy
    import scipy.linalg
    rows = [line.split(",") for line in text.splitlines() if line.startswith("height")]
    names, tips = list(PADS), list(TIPS)
    design, z = [], []
    cov = numpy.zeros((len(rows), len(rows)))
    for i, row in enumerate(rows):
        at, height = PADS[row[1]]
        x, y = turned(*at)
        design.append([row[2] == tips[0], row[2] == tips[1], x, y])
        z.append(float(row[5]) - height)
        for k, other in enumerate(rows):
            cov[i, k] = u_pad**2 * (names.index(row[1]) == names.index(other[1])) + sigma**2 * (i == k)
    half = numpy.linalg.cholesky(cov)
    a = scipy.linalg.solve_triangular(half, numpy.array(design, float), lower=True)
    b = scipy.linalg.solve_triangular(half, numpy.array(z), lower=True)
    x, *_ = scipy.linalg.lstsq(a, b)
    return x, numpy.linalg.inv(a.T @ a)


def codes(result, severity=None):
    return [(f["code"], f["values"].get("what", f["values"].get("kind"))) for f in result["findings"]
            if severity is None or f["severity"] == severity]


def check_reference(tally, folder):
    rng = random.Random(4)
    text = log(rng, rows_of(rng))
    r = solve(folder, plate(), machine(height={"u": 0.002, "dof": 1e9}), text)
    x, c = plane_fit(text, 0.004, math.hypot(0.002, 1e-6 / math.sqrt(12)))
    for i, tip in enumerate(r["tips"]):
        h = tip["height"]
        tally.check(abs(h["value_mm"] - x[i]) < 2e-7, f"height of {tip['tip']}: {h['value_mm']}, by SciPy {x[i]}")
        tally.check(abs(h["u_mm"] / math.sqrt(c[i, i]) - 1) < 1e-4, f"its u: {h['u_mm']}, {math.sqrt(c[i, i])}")
    s = r["surface"][0]
    for k, axis in enumerate("xy"):
        found = s["slope_mm_per_m"][axis]
        tally.check(abs(found - 1e3 * x[2 + k]) < 1e-4, f"slope {axis}: {found}, {1e3 * x[2 + k]}")
        tally.check(abs(s["u_slope_mm_per_m"][axis] / (1e3 * math.sqrt(c[2 + k, 2 + k])) - 1) < 1e-3, f"its u, {axis}")
    # JCGM 100:2008, 5.2 and F.1.2.3: of a difference the common part, here pads and Z's home, cancels.
    d = r["between_tips"][0]
    u = math.sqrt(c[0, 0] + c[1, 1] - 2 * c[0, 1])
    tally.check(abs(d["height_mm"] - (x[1] - x[0])) < 2e-7, "difference of the heights")
    own = r["tips"][0]["height"]["u_mm"]
    tally.check(abs(d["u_height_mm"] / u - 1) < 1e-4 and u < 0.2 * own, f"its u: {d['u_height_mm']}, {u}")
    tally.check(r["verdict"] == "keep" and not codes(r, "error"), f"a clean run is kept: {r['verdict']} {codes(r)}")
    return text


def check_truth(tally, folder):
    """Values within their U of the truth; what is in the run is named, and nothing else."""
    rng = random.Random(11)
    late = (3, 8, 9, 21)
    rows = list(heights(rng, "fine", face=0.012, late=late)) + list(heights(rng, "broad"))
    r = solve(folder, plate(), machine(), log(rng, rows))
    for tip in r["tips"]:
        h = tip["height"]
        tally.check(abs(h["value_mm"] - TIPS[tip["tip"]]["height"]) < h["expanded_mm"], f"height of {tip['tip']} {h['value_mm']}")
        tally.check((h["face_runout"] is not None) == (tip["tip"] == "fine"), f"face runout of {tip['tip']}: {h['face_runout']}")
    face = r["tips"][0]["height"]["face_runout"]
    tally.check(abs(face["amplitude_mm"] - 0.012) < 0.0015, f"face runout {face}")
    tally.check(abs(face["angle_deg"] - math.degrees(1.1)) < 8, f"face runout {face}")
    aside = [row for row in r["observations"] if row["kind"] == "height" and row["set_aside"]]
    tally.check(len(aside) == len(late) and all(row["residual_mm"] < -0.03 for row in aside), "late touches set aside, negative")
    slope = r["surface"][0]["slope_mm_per_m"]
    tally.check(abs(slope["x"] - 0.87) < 0.3 and abs(slope["y"] + 0.41) < 0.3, f"slope {slope}")
    tally.check(("face-runout", None) in codes(r), "face runout is told")


def check_pads(tally, folder):
    rng = random.Random(5)
    one = {"P1": PADS["P1"]}
    r = solve(folder, plate(one), machine(), log(rng, rows_of(rng, pads=one)))
    x, y = turned(*PADS["P1"][0])
    for tip in r["tips"]:
        h, truth = tip["height"], TIPS[tip["tip"]]["height"] + SLOPE[0] * x + SLOPE[1] * y
        tally.check(abs(h["value_mm"] - truth) < h["expanded_mm"], f"one pad: {h['value_mm']} holds at it, {truth}")
    tally.check(("height-undetermined", "slope") in codes(r, "warning"), "one pad: slope not told")
    tally.check(r["surface"][0]["slope_mm_per_m"] == {"x": None, "y": None}, "one pad: slope null")
    r = solve(folder, plate(one), machine(level={"u_mm_per_m": 1}), log(rng, rows_of(rng, pads=one)))
    h = r["tips"][0]["height"]
    wanted = math.hypot(0.004, 1e-3 * math.hypot(x, y))
    tally.check(abs(h["u_mm"] / wanted - 1) < 0.05, f"level: the slope is in u, {h['u_mm']} {wanted}")
    tally.check(abs(h["value_mm"] - TIPS["fine"]["height"]) < h["expanded_mm"], "level: it holds at the mark")
    film = dict(film={"P2": 0.055})
    five = dict(PADS, P5=((30.3, 60.9), 0.004), P6=((-12.4, 22.8), -0.007))
    r = solve(folder, plate(five), machine(), log(rng, rows_of(rng, pads=five, **film)))
    off = [f for f in r["findings"] if f["code"] == "pad-off"]
    tally.check(len(off) == 1 and off[0]["values"]["pad"] == "P2" and abs(off[0]["values"]["shift_mm"] + 0.055) < 0.012,
                f"a filmed pad is named: {codes(r)}")
    h = r["tips"][0]["height"]
    tally.check(abs(h["value_mm"] - TIPS["fine"]["height"]) < h["expanded_mm"], "and not used")


def exchanged(rows, column, first, second):
    for row in rows:
        cells = row.split(",")
        cells[column] = {first: second, second: first}.get(cells[column], cells[column])
        yield ",".join(cells)


def with_z(rows, change):
    for row in rows:
        cells = row.split(",")
        cells[5] = f"{change(float(cells[5]), cells[2]):.6f}"
        yield ",".join(cells)


def check_blunders(tally, folder):
    rng = random.Random(23)
    rows = rows_of(rng)
    high = dict(PADS, P3=(PADS["P3"][0], PADS["P3"][1] + 1.0))
    three = {name: PADS[name] for name in ("P1", "P2", "P3")}
    three_high = dict(three, P3=high["P3"])
    off = {("pad-off", "far"), ("ambiguous", "height"), ("slope", "steep")}
    for what, pads, made, told in (
            ("inch", PADS, list(with_z(rows, lambda z, _: z / 25.4)), {("change-implausible", "height-inch")}),
            ("sign", PADS, list(with_z(rows, lambda z, _: -z)), {("change-implausible", "height-negative")}),
            ("lengths", PADS, list(with_z(rows, lambda z, tip: z - TIPS[tip]["height"])),
             {("change-implausible", "height-length")}),
            ("names", PADS, list(exchanged(rows, 1, "P1", "P4")), {("pad-off", "name")}),
            ("tips", PADS, list(exchanged(rows, 2, "fine", "broad")),
             {("change-implausible", "height-other-tip")}),
            ("pad 1 mm", high, rows, off),
            ("pad 1 mm of 3", three_high, rows_of(rng, pads=three), off)):
        r = solve(folder, plate(pads), machine(), log(rng, made))
        tally.check(told & set(codes(r)), f"{what}: {codes(r)}")
        tally.check(all(t["offset_verdict"] == "keep" for t in r["tips"]), f"{what}: x and y are kept")
        tally.check(all(t["height"]["verdict"] != "keep" or abs(t["height"]["value_mm"] - TIPS[t["tip"]]["height"]) < 0.03
                        for t in r["tips"]), f"{what}: no height is kept that is off")


def check_all_moved(tally, folder):
    """Both tips come out lower by alike amounts, and by amounts that differ by more than 0.1 mm; or nothing tells a height."""
    rng = random.Random(31)
    in_use = {name: round(tip["height"], 3) - tip["height"] for name, tip in TIPS.items()}
    for apart, kind in ((0.0995, "height-all"), (-0.0995, "height-all"), (0.1005, "height"), (-0.1005, "height")):
        lower = {"fine": -0.9, "broad": -0.9 + apart}
        rows = list(with_z(rows_of(rng, sigma=1e-5), lambda z, tip: z + lower[tip] + in_use[tip]))
        r = solve(folder, plate(), machine(), log(rng, rows))
        told = [f["values"]["kind"] for f in r["findings"] if f["code"] == "change-implausible"]
        tally.check(told == [kind, kind], f"heights that differ by {apart} mm: {told}")
    rows = rows_of(rng)
    no_contact = [row[:-1] + "0" for row in rows]
    for what, pads, made, told in (("no pads", {}, rows, "no-pads"), ("no contact", PADS, no_contact, "no-rows")):
        r = solve(folder, plate(pads), machine(), log(rng, made))
        tally.check(codes(r) == [("height-undetermined", told)], f"{what}: {codes(r)}")


def check_range(tally, folder):
    """Without heights in use: what 'motion' says of z tells unit, sign and lengths; without it nothing can, and nothing is kept."""
    rng = random.Random(29)
    rows = rows_of(rng)
    motion = {"safe_height": 12, "touch_height": -21.5, "limits": {"z": [-26, 40]}}

    def bare(**more):
        made = machine(**more)
        made["tips"] = [{key: tip[key] for key in ("name", "offset")} for tip in made["tips"]]
        return made

    for what, made, kind in (
            ("good", rows, None),
            ("inch", list(with_z(rows, lambda z, _: z / 25.4)), "height-range-inch"),
            ("mm", list(with_z(rows, lambda z, _: z * 25.4)), "height-range-inch"),
            ("sign", list(with_z(rows, lambda z, _: -z)), "height-range-negative"),
            ("lengths", list(with_z(rows, lambda z, tip: z - TIPS[tip]["height"])), "height-range")):
        found = solve(folder, plate(), bare(motion=motion), log(rng, made))
        told = [f for f in found["findings"] if str(f["values"].get("what")).startswith("height-range")]
        tally.check([f["values"]["what"] for f in told] == ([kind] if kind else []), f"{what}: {codes(found)}")
        tally.check(not kind or (told[0]["severity"] == "error" and len(told[0]["rows"]) == len(rows)), f"{what}: {told}")
        tally.check(all(t["offset_verdict"] == "keep" for t in found["tips"]), f"{what}: x and y are kept")
        tally.check(all((t["height"]["verdict"] == "repeat") == bool(kind) for t in found["tips"]), f"{what}: {found['tips']}")
        found = solve(folder, plate(), bare(), log(rng, made))
        tally.check(all(t["height"]["verdict"] != "keep" for t in found["tips"]), f"{what} without motion: nothing is kept")


def check_words(tally, folder):
    """What the text says is to be written: heights alone, offsets alone, both; nothing."""
    rng = random.Random(37)
    text = log(rng, rows_of(rng))
    for what, z, x in (("heights", -0.047, 0), ("offsets", 0, 0.061), ("offsets and heights", -0.047, 0.061), (None, 0, 0)):
        made = machine()
        for tip in made["tips"]:
            tip["height"] = round(tip["height"] + z, 4)
            tip["offset"][0] = round(tip["offset"][0] + x, 4)
        solve(folder, plate(), made, text)
        done = subprocess.run([TIPTRUE, "solve", "--plate", "plate.json", "--machine", "machine.json", "run.csv"], cwd=folder,
                              capture_output=True, text=True, check=False)
        told = " ".join(done.stdout.split())
        tally.check(("Next: nothing to write." if what is None else f"Next: write the new {what} into the machine, then") in told,
                    f"{what}: {told[-400:]}")
        for noun, off in (("offsets", x), ("heights", z)):
            order = f"write the new {noun} of fine and broad" if off else f"keep the present {noun} of fine and broad"
            tally.check(order in told, f"{what}, {order}: {told[:200]}")


def check_report(tally, folder):
    """The page has each tip's height, the pads and the slope, to the printed digits; without touches from above nothing of it."""
    rng = random.Random(4)
    for rows in (rows_of(rng), []):
        r = solve(folder, plate(), machine(), log(rng, rows))
        subprocess.run([TIPTRUE, "report", "-o", "page.html", "--plate", "plate.json", "--machine", "machine.json", "run.csv"],
                       cwd=folder, check=True, capture_output=True)
        page = (folder / "page.html").read_text().replace("\u2212", "-")
        tally.check(("<h3>Heights</h3>" in page) == bool(rows), "the page has heights where there are any")
        for tip in r["tips"] if rows else []:
            tally.check(f"<td>{tip['height']['value_mm']:.4f}</td>" in page, f"height of {tip['tip']} on the page")
        for pad in r["surface"][0]["pads"] if rows else []:
            tally.check(f"{pad['pad']}</th><td>12 of 12</td>" in page, f"pad {pad} on the page")
            tally.check(f"<td>{1e3 * pad['shift_mm']:+.1f}</td>" in page, f"its shift {pad} on the page")
        if rows:
            tally.check(f"{r['surface'][0]['slope_mm_per_m']['x']:+.2f} mm/m along machine x" in page, "slope on the page")


def main():
    tally = Tally()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        check_reference(tally, folder)
        check_truth(tally, folder)
        check_pads(tally, folder)
        check_blunders(tally, folder)
        check_all_moved(tally, folder)
        check_range(tally, folder)
        check_words(tally, folder)
        check_report(tally, folder)
    tally.close()


if __name__ == "__main__":
    main()
