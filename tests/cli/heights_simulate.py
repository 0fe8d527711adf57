# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Simulated touches from above: each Z against the equation of docs/formats.md written out here; what `check` expects of a run
against what the run is worth and against how heights scatter.

Environment: TIPTRUE, srcdir.
"""
import json
import math
import os
import pathlib
import statistics
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

TIPTRUE = os.environ["TIPTRUE"]
PADS = {"P1": ((14.2, 7.7), 0.0), "P2": ((49.5, 22.1), 0.035), "P3": ((9.3, 41.6), -0.012)}
SHIFTS = {"P1": 0.003, "P2": -0.005, "P3": 0.0}
TIPS = {"fine": {"offset": [38.634, -16.186], "runout": [0.021, -0.013], "radius": 0.473, "height": -20.7029},
        "broad": {"offset": [57.028, -16.151], "runout": [-0.034, 0.011], "radius": 0.731, "height": -19.5451}}
YAW, MARK, SLOPE, FACE, LATENCY, FEED = 11.37, (131.27, 88.41), (0.87, -0.41), (0.006, -0.009), 0.0021, 54.0
TURNS = 6


def plate():
    corners = [((30, 10), (30, 20)), ((10, 20), (10, 10)), ((25, 30), (15, 30)), ((15, 2), (25, 2))]
    return {"schema": "tiptrue.plate/1", "name": "pane", "serial": "P-4", "reference": "M0",
            "marks": [{"name": "M0", "at": [0, 0]}, {"name": "M1", "at": [60, 4]}],
            "edges": [{"name": f"e{i}", "from": list(a), "to": list(b), "free_side": "left", "u": 0.002}
                      for i, (a, b) in enumerate(corners)],
            "pads": [{"name": name, "at": list(at), "height": height, "u": 0.004} for name, (at, height) in PADS.items()]}


def machine(**more):
    tips = [{"name": name, "offset": tip["offset"], "radius": tip["radius"], "radius_u": 0.01, "height": tip["height"]}
            for name, tip in TIPS.items()]
    return {"schema": "tiptrue.machine/1", "name": "sill", "resolution": 1e-6, "touch": {"u": 0.002}, "sighting": {"u": 0.002},
            "height": {"u": 0.002}, "yaw": {"value_deg": 11, "u_deg": 3}, "tips": tips, **more}


def plan(feed=None):
    moves = [{"kind": "sight", "target": mark} for mark in ("M0", "M1") * 2]
    for tip in TIPS:
        moves += [{"kind": "touch", "target": f"e{i}", "tip": tip, "rotation": 45.0 * k + 3.7} for i in range(4) for k in range(8)]
    for tip in TIPS:
        moves += [{"kind": "height", "target": pad, "tip": tip, "rotation": 360.0 / TURNS * k + 13.7,
                   **({"feed": feed} if feed else {})} for pad in PADS for k in range(TURNS)]
    return {"schema": "tiptrue.plan/1", "moves": [{"id": i + 1, **move} for i, move in enumerate(moves)]}


def truth(**more):
    tips = [{"tip": name, **tip, "face_runout": {"x": FACE[0], "y": FACE[1]}} for name, tip in TIPS.items()]
    return {"schema": "tiptrue.truth/1", "poses": [{"setup": "1", "mark": list(MARK), "yaw_deg": YAW}], "tips": tips,
            "pads": [{"pad": name, "shift": shift} for name, shift in SHIFTS.items()],
            "slope_mm_per_m": {"x": SLOPE[0], "y": SLOPE[1]}, **more}


EXACT = {"touch": {"sigma": 0}, "sighting": {"sigma": 0}, "rotation": {"sigma_deg": 0}, "height": {"sigma": 0}}


def write(folder, **documents):
    for name, document in documents.items():
        (folder / f"{name}.json").write_text(json.dumps(document))


def run(folder, *command):
    files = ["--plate", "plate.json", "--machine", "machine.json"]
    return subprocess.run([TIPTRUE, command[0], *files, *command[1:]], cwd=folder, capture_output=True, text=True, check=False)


def simulated(folder, *more):
    return run(folder, "simulate", "--plan", "plan.json", "--truth", "truth.json", *more)


def rows(text):
    lines = [line.split(",") for line in text.splitlines() if not line.startswith("#")]
    return [dict(zip(lines[0], line)) for line in lines[1:]]


def expected(pad, tip, rotation_deg, clockwise, latency):
    """Head place and Z: H + slope (q - m) + pad + a cos + b sin - tau f; offset: axis of the tip less axis of the camera."""
    b, t = math.radians(YAW), math.radians(-rotation_deg if clockwise else rotation_deg)
    (px, py), height = PADS[pad]
    x, y = math.cos(b) * px - math.sin(b) * py, math.sin(b) * px + math.cos(b) * py
    o, e = TIPS[tip]["offset"], TIPS[tip]["runout"]
    c, s = math.cos(t), math.sin(t)
    hx, hy = MARK[0] + x - o[0] - (c * e[0] - s * e[1]), MARK[1] + y - o[1] - (s * e[0] + c * e[1])
    z = TIPS[tip]["height"] + 1e-3 * (SLOPE[0] * x + SLOPE[1] * y) + height + SHIFTS[pad] + FACE[0] * c + FACE[1] * s
    return hx, hy, z - latency * FEED / 60


def check_equation(tally, folder):
    for sense in ("ccw", "cw"):
        for latency, per_mm, units in ((0, 1, "mm"), (LATENCY, 1, "mm"), (0, 1 / 25.4, "inch")):
            write(folder, plate=plate(), machine=machine(rotation={"sense": sense}), plan=plan(FEED),
                  truth=truth(latency_s=latency, **EXACT))
            made = [row for row in rows(simulated(folder, "--units", units).stdout) if row["kind"] == "height"]
            tally.check(len(made) == 2 * 3 * TURNS, f"{sense} {units}: {len(made)} heights")
            worst = 0
            for row in made:
                e = expected(row["target"], row["tip"], float(row["rotation"]), sense == "cw", latency)
                worst = max(worst, *(abs(float(row[key]) / per_mm - value) for key, value in zip("xyz", e)))
            tally.check(worst <= 0.6e-6 + 26 * 0.5e-6 * (units == "inch"), f"{sense} {latency} {units}: off by up to {worst} mm")


def check_back(tally, folder):
    """What was put in comes out, mirrored machine and all; the plan's log of a controller too."""
    write(folder, plate=plate(), machine=machine(), plan=plan(), truth=truth(**EXACT))
    (folder / "run.csv").write_text(simulated(folder).stdout)
    (folder / "run.log").write_text(simulated(folder, "--controller-log").stdout)
    pattern = r"trip id=(?<id>\d+) x=(?<x>\S+) y=(?<y>\S+) z=(?<z>\S+) ok=(?<ok>[01])"
    for what, command in (("csv", ["run.csv"]), ("controller", ["--plan", "plan.json", "--pattern", pattern, "run.log"])):
        done = run(folder, "solve", "--json", *command)
        result = json.loads(done.stdout)
        for tip in result["tips"]:
            h = tip["height"]
            tally.check(abs(h["value_mm"] - TIPS[tip["tip"]]["height"]) < h["expanded_mm"], f"{what}: {tip['tip']} {h}")
            face = h["face_runout"]
            tally.check(abs(face["amplitude_mm"] - math.hypot(*FACE)) < 2e-4, f"{what}: face runout {face}")
            tally.check(abs(face["angle_deg"] - math.degrees(math.atan2(FACE[1], FACE[0]))) < 2, f"{what}: face runout {face}")


def check_drawn(tally, folder):
    write(folder, plate=plate(), machine=machine(level={"u_mm_per_m": 0.4}), plan=plan())
    done = run(folder, "simulate", "--draw", "--plan", "plan.json", "--truth-out", "truth.json", "--seed", "5")
    drawn = json.loads((folder / "truth.json").read_text())
    tally.check(done.stdout == simulated(folder, "--seed", "5").stdout, "a drawn truth is read back as it was")
    tally.check(all(abs(p["shift"]) < 0.02 for p in drawn["pads"]) and len(drawn["pads"]) == 3 and
                any(p["shift"] != 0 for p in drawn["pads"]), f"pads are drawn: {drawn['pads']}")
    tally.check(0 < abs(drawn["slope_mm_per_m"]["x"]) < 2, f"the slope is drawn: {drawn['slope_mm_per_m']}")


def check_expected(tally, folder):
    """`check` on a run says what the run turns out to be worth: by its own statement, and by the scatter of 60 runs."""
    write(folder, plate=plate(), machine=machine(), plan=plan(), truth=truth())
    found = {name: [] for name in TIPS}
    for seed in range(60):
        (folder / "run.csv").write_text(simulated(folder, "--seed", str(seed)).stdout)
        for tip in json.loads(run(folder, "solve", "--json", "run.csv").stdout)["tips"]:
            found[tip["tip"]].append(tip["height"])
    done = run(folder, "check", "--json", "run.csv")
    said = json.loads(done.stdout)
    for tip in said["tips"]:
        h, of = tip["height"], found[tip["tip"]]
        mean = statistics.mean(one["same_plate"]["u_mm"] for one in of)
        scatter = statistics.stdev(one["value_mm"] for one in of)
        tally.check(h["touches"] == 3 * TURNS and h["determined"], f"{tip['tip']}: {h}")
        tally.check(abs(mean / h["expected_same_plate_u_mm"] - 1) < 0.15, f"stated {mean}, expected {h}")
        # 60 runs tell a standard deviation to 9 %: three of that
        tally.check(abs(scatter / h["expected_same_plate_u_mm"] - 1) < 0.28, f"scatter {scatter}, expected {h}")
    tally.check(said["surface"][0]["slope_determined"], str(said["surface"]))
    text = run(folder, "check", "run.csv").stdout
    tally.check("18 heights" in text and "slope of the plate" in text and max(map(len, text.splitlines())) <= 80, text)
    one = plate()
    one["pads"] = one["pads"][:1]
    short = plan()
    short["moves"] = [m for m in short["moves"] if m["kind"] != "height" or m["target"] == "P1"]
    made = truth()
    made["pads"] = made["pads"][:1]
    write(folder, plate=one, plan=short, truth=made)
    (folder / "run.csv").write_text(simulated(folder).stdout)
    said = json.loads(run(folder, "check", "--json", "run.csv").stdout)
    tally.check(not said["surface"][0]["slope_determined"] and
                [f["code"] for f in said["findings"]] == ["height-undetermined"], f"one pad: {said['surface']} {said['findings']}")


def check_refused(tally, folder):
    write(folder, plate=plate(), machine=machine(), plan=plan())
    without = truth()
    del without["tips"][0]["height"]
    stray = truth()
    stray["pads"][0]["pad"] = "P9"
    wrong = truth()
    wrong["tips"][0]["face_runout"] = [1, 2]
    half = truth()
    del half["slope_mm_per_m"]["y"]
    for document, words in ((without, "height of 'fine'"), (stray, "no pad 'P9'"), (wrong, "face_runout"), (half, "slope_mm")):
        write(folder, truth=document)
        done = simulated(folder)
        tally.check(done.returncode == 65 and done.stdout == "" and words in done.stderr,
                    f"{words}: {done.returncode} {done.stderr}")
    write(folder, truth=truth())
    for key, value, words in (("target", "P9", "pad 'P9'"), ("tip", None, "tip")):
        moves = plan()
        moves["moves"][-1][key] = value
        write(folder, plan=moves)
        done = simulated(folder)
        tally.check(done.returncode == 65 and words in done.stderr, f"{words}: {done.returncode} {done.stderr}")


def main():
    tally = Tally()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for check in (check_equation, check_back, check_drawn, check_expected, check_refused):
            check(tally, folder)
    tally.close()


if __name__ == "__main__":
    main()
