# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""What `simulate` writes: the touch equation of docs/formats.md, written here once more, with everything a truth can say; scatter
and shares; the same bytes for the same seed; the controller's log; and what is refused.
"""
import csv
import hashlib
import io
import json
import math
import os
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "planning"))
import bench  # noqa: E402
from tally import Tally  # noqa: E402

PATTERN = r"trip id=(?<id>\d+) x=(?<x>\S+) y=(?<y>\S+) z=(?<z>\S+) ok=(?<ok>[01])"  # the example of docs/formats.md
tally = Tally()


def turned(angle, v):
    c, s = math.cos(angle), math.sin(angle)
    return [c * v[0] - s * v[1], s * v[0] + c * v[1]]


def rows_of(log):
    return list(csv.DictReader(line for line in io.StringIO(log) if not line.startswith("#")))


PER_TIP = 12  # touches of the plan that most runs here are of


class Bench:
    """A folder with a plate, a machine, a plan and a truth."""

    def __init__(self, folder, plate, machine, plan=None, truth=None):
        self.folder, self.plate, self.machine, self.truth = folder, plate, machine, truth
        self.files = ["--plate", bench.save(f"{folder}/plate.json", plate), "--machine",
                      bench.save(f"{folder}/machine.json", machine)]
        self.plan = plan or json.loads(bench.command("plan", *self.files, "--touches", PER_TIP * len(machine["tips"]), "--json"))
        self.plan_file = bench.save(f"{folder}/plan.json", self.plan)
        self.truth_file = bench.save(f"{folder}/truth.json", truth) if truth else None

    def log(self, *options, seed=1):
        source = ["--truth", self.truth_file] if self.truth_file else ["--draw"]
        return bench.command("simulate", *self.files, "--plan", self.plan_file, *source, "--seed", seed, *options)


def all_at_once():
    """A truth with every effect that is no scatter."""
    plate = dict(bench.PLATES["askew"], expansion_ppm_per_K=17, measured_at_C=21.5)
    machine = bench.machine(2)
    machine["rotation"]["sense"] = "cw"
    moves = [{"kind": "sight", "target": "M1", "setup": "a"}]
    for i in range(37):
        edge = plate["edges"][i % 4]
        t = 0.3 + 0.1 * (i % 5)
        moves.append({"kind": "touch", "target": edge["name"], "tip": f"t{1 + i % 2}", "rotation": 23.7 * i, "feed": 30 + i,
                      "at": [a + t * (b - a) for a, b in zip(edge["from"], edge["to"])], "setup": "ab"[i % 2]})
    moves.append({"kind": "sight", "target": "M0", "setup": "b"})
    plan = {"schema": "tiptrue.plan/1", "moves": [{**move, "id": i} for i, move in enumerate(moves)]}
    truth = {"schema": "tiptrue.truth/1",
             "poses": [{"setup": "a", "mark": [120.5, 80.25], "yaw_deg": 2.4},
                       {"setup": "b", "mark": [-12.5, 61.7], "yaw_deg": 171.3}],
             "tips": [{"tip": "t1", "offset": [-41.3, 12.7], "runout": [0.031, -0.022], "radius": 0.31,
                       "shape": [{"order": 2, "cos": 0.004, "sin": -0.002}, {"order": 3, "cos": 0.0011, "sin": 0.0007}]},
                      {"tip": "t2", "offset": [-34.8, 12.9], "runout": [-0.008, 0.017], "radius": 0.29}],
             "edges": [{"edge": "a", "shift": 0.004}, {"edge": "c", "shift": -0.007}],
             "groups": [{"group": "routed", "shift": [0.013, -0.021]}], "marks": [{"mark": "M1", "shift": [0.003, -0.001]}],
             "touch": {"sigma": 0}, "sighting": {"sigma": 0}, "rotation": {"sigma_deg": 0}, "resolution": 0,
             "lost_motion": 0.012, "latency_s": 0.004, "drift": [0.02, -0.03], "moved": {"after": 0.6, "by": [0.05, 0.04]},
             "temperature_C": 27.25}
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        rows = rows_of(Bench(folder, plate, machine, plan, truth).log())
    worst = 0.0
    for i, (row, move) in enumerate(zip(rows, moves)):
        worst = max(worst, *map(abs, off_equation(plate, truth, row, move, i, len(moves))))
    tally.check(len(rows) == len(moves) and worst < 2e-9, f"the equation is missed by {worst:.3g} mm")
    tally.check(all(float(row["temperature"]) == 27.25 for row in rows), "the temperature is not in the log")


def off_equation(plate, truth, row, move, index, count):
    """Left side less right side of what docs/formats.md says of a row, in mm."""
    pose = next(p for p in truth["poses"] if p["setup"] == row["setup"])
    yaw, clock = math.radians(pose["yaw_deg"]), index / (count - 1) - 0.5
    jump = truth["moved"]["by"] if index >= truth["moved"]["after"] * count else (0, 0)
    mark = [m + clock * d + j for m, d, j in zip(pose["mark"], truth["drift"], jump)]
    scale = 1 + plate["expansion_ppm_per_K"] * 1e-6 * (truth["temperature_C"] - plate["measured_at_C"])
    head, shift = [float(row["x"]), float(row["y"])], truth["groups"][0]["shift"]
    if row["kind"] == "sight":
        at = next(m["at"] for m in plate["marks"] if m["name"] == row["target"])
        own = next((m["shift"] for m in truth["marks"] if m["mark"] == row["target"]), (0, 0))
        q = turned(yaw, [scale * a + s for a, s in zip(at, own)])
        return [h - m - v for h, m, v in zip(head, mark, q)]
    edge = next(e for e in plate["edges"] if e["name"] == row["target"])
    step = [b - a for a, b in zip(edge["from"], edge["to"])]
    n = [-step[1] / math.hypot(*step), step[0] / math.hypot(*step)]
    n_b, tip = turned(yaw, n), next(t for t in truth["tips"] if t["tip"] == row["tip"])
    theta = -math.radians(move["rotation"])  # the machine counts clockwise
    psi = math.atan2(-n_b[1], -n_b[0]) - theta
    rho = tip["radius"] + truth["lost_motion"] * (n_b[0] ** 2 - n_b[1] ** 2) / 2 - truth["latency_s"] * move["feed"] / 60
    rho += sum(s["cos"] * math.cos(s["order"] * psi) + s["sin"] * math.sin(s["order"] * psi) for s in tip.get("shape", []))
    e = turned(theta, tip["runout"])
    own = next((s["shift"] for s in truth["edges"] if s["edge"] == row["target"]), 0)
    of_group = sum(a * b for a, b in zip(n, shift)) if edge.get("group") else 0
    left = sum(k * (h + o + v - m) for k, h, o, v, m in zip(n_b, head, tip["offset"], e, mark))
    # along the edge the tip's centre is over the place that the plan names
    along = [h + o + v - m for h, o, v, m in zip(head, tip["offset"], e, mark)]
    at = turned(yaw, [scale * a for a in move["at"]])
    return [left - scale * sum(a * b for a, b in zip(n, edge["from"])) - own - of_group - rho,
            (along[0] - at[0]) * -n_b[1] + (along[1] - at[1]) * n_b[0]]


def scatter_and_shares():
    """4000 touches of one edge: standard deviation, late, early and missed ones, resolution."""
    plate, machine = bench.PLATES["slot"], bench.machine()
    count = 4000
    moves = [{"id": i, "kind": "touch", "target": "east", "tip": "t1", "rotation": 0, "at": [21, 0.7]} for i in range(count)]
    truth = {"schema": "tiptrue.truth/1", "poses": [{"setup": "1", "mark": [0, 0]}],
             "tips": [{"tip": "t1", "offset": [0, 0], "radius": 0.3}], "rotation": {"sigma_deg": 0}, "resolution": 0.0002,
             "touch": {"sigma": 0.0031, "late_share": 0.1, "late_depth": [0.05, 0.09], "early_share": 0.04,
                       "early_depth": [0.2, 0.3],
                       "missed_share": 0.03}}
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        rows = rows_of(Bench(folder, plate, machine, {"schema": "tiptrue.plan/1", "moves": moves}, truth).log(seed=11))
    x = [20.7 - float(row["x"]) for row in rows if row["contact"] == "1"]  # towards the free side
    late, early = [v for v in x if v < -0.03], [v for v in x if v > 0.1]
    good = [v for v in x if -0.03 <= v <= 0.1]
    missed = sum(row["contact"] == "0" for row in rows)
    mean = sum(good) / len(good)
    sigma = math.sqrt(sum((v - mean) ** 2 for v in good) / (len(good) - 1))
    tally.check(abs(mean) < 4 * 0.0031 / math.sqrt(len(good)), f"the touches' mean is {mean:.6f} mm off")
    tally.check(abs(sigma / 0.0031 - 1) < 4 / math.sqrt(2 * len(good)), f"the scatter is {sigma:.6f} mm")
    for what, found, share in (("late", len(late), 0.1 * 0.97), ("early", len(early), 0.04 * 0.97), ("missed", missed, 0.03)):
        bound = 4 * math.sqrt(count * share * (1 - share))
        tally.check(abs(found - count * share) < bound, f"{found} {what} touches, {count * share:.0f} were due")
    tally.check(all(-0.09 - 0.02 < v < -0.05 + 0.02 for v in late), "a late touch beyond its depths")
    steps = [float(row["x"]) / 0.0002 for row in rows]
    tally.check(max(abs(s - round(s)) for s in steps) < 1e-6 and all(len(row["x"].split(".")[1]) == 4 for row in rows),
                "coordinates off the resolution's grid, or in other digits")


def same_bytes():
    """The bytes of one seed are those of every machine; a truth that was drawn and written says all of it."""
    plate, machine = bench.PLATES["hexagon"], bench.machine(2)
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        moves = [{"id": i, "kind": "touch", "target": f"h{i % 6}", "tip": f"t{1 + i % 2}",
                  "rotation": 31 * i % 360} for i in range(24)]
        moves = [{"id": f"m{i}", "kind": "sight", "target": f"M{i}"} for i in range(3)] + moves
        b = Bench(folder, plate, machine, {"schema": "tiptrue.plan/1", "moves": moves})
        drawn = b.log("--truth-out", f"{folder}/out.json", seed=20)
        with open(f"{folder}/out.json", encoding="utf-8") as stream:
            text = stream.read()
        tally.check(drawn == b.log(seed=20), "the same seed gave other bytes")
        tally.check(drawn != b.log(seed=21), "another seed gave the same bytes")
        b.truth_file = f"{folder}/out.json"
        tally.check(drawn == b.log("--truth-out", f"{folder}/again.json", seed=20),
                    "the written truth gives another run than the drawn one")
        with open(f"{folder}/again.json", encoding="utf-8") as stream:
            tally.check(stream.read() == text, "the truth changes when it is read and written")
    for what, found, expected in (("run", drawn, GOLDEN["run"]), ("truth", text, GOLDEN["truth"])):
        digest = hashlib.sha256(found.encode()).hexdigest()
        tally.check(digest == expected, f"the {what} of seed 20 has other bytes than were written when this test was: {digest}")


GOLDEN = {"run": "314098d1e4812b042912a103e6d393cf37940a4a7696b926d4c3476ea1d28a54",
          "truth": "f02c2ae9f5261e39e11b67c74be1db12347816d63e9d8645c3d513572877c5e2"}


def controller_log():
    """The log of a controller, read by the pattern of docs/formats.md, gives what the CSV gives; with fast and slow touches."""
    plate = bench.PLATES["slot"]
    for described in (bench.machine(), bench.machine(2, motion=bench.MOTION)):
        with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
            b = Bench(folder, plate, described)
            logs = {"run.csv": b.log(seed=5), "controller.log": b.log("--controller-log", seed=5)}
            for name, text in logs.items():
                with open(f"{folder}/{name}", "w", encoding="utf-8") as out:
                    out.write(text)
            by_csv = json.loads(bench.command("solve", *b.files, "--json", f"{folder}/run.csv", good=(0, 10, 20)))
            by_log = json.loads(bench.command("solve", *b.files, "--json", "--plan", b.plan_file, "--pattern", PATTERN,
                                              f"{folder}/controller.log", good=(0, 10, 20)))
        tally.check(by_csv["tips"] == by_log["tips"], "controller log and CSV give different offsets")
        tally.check(by_csv["run"]["touches"] == by_log["run"]["touches"], "controller log and CSV count different touches")
        pairs = "motion" in described
        fast = PER_TIP * len(described["tips"]) if pairs else 0
        tally.check(by_csv["run"]["touches"]["find"] == fast, "fast touches are not found")


def refused():
    plate, machine = bench.PLATES["slot"], bench.machine()
    truth = {"schema": "tiptrue.truth/1", "poses": [{"setup": "1", "mark": [0, 0]}],
             "tips": [{"tip": "t1", "offset": [0, 0], "radius": 0.3}]}
    cases = {
        "says nothing of tip 't1'": {**truth, "tips": []},
        "says nothing of setup '1'": {**truth, "poses": []},
        "the plate has no edge 'est'": {**truth, "edges": [{"edge": "est", "shift": 0.1}]},
        "the plate has no group 'milled'": {**truth, "groups": [{"group": "milled", "shift": [0, 0]}]},
        "the plate has no mark 'M7'": {**truth, "marks": [{"mark": "M7", "shift": [0, 0]}]},
        "there is a second tip 't1'": {**truth, "tips": 2 * truth["tips"]},
        "is not a range of depths": {**truth, "touch": {"late_share": 0.1, "late_depth": [0.2, 0.1]}},
        "'late_depth'": {**truth, "touch": {"late_share": 0.1}},
        "'order'": {**truth, "tips": [{**truth["tips"][0], "shape": [{"order": 1}]}]},
        "and a whole number is expected": {**truth, "tips": [{**truth["tips"][0], "shape": [{"order": 2.5}]}]},
        "'late_share'": {**truth, "touch": {"late_share": 1.5, "late_depth": [0, 1]}},
    }
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        b = Bench(folder, plate, machine)
        b.truth_file = f"{folder}/truth.json"
        for text, document in cases.items():
            bench.save(b.truth_file, document)
            done = subprocess.run([bench.PROGRAM, "simulate", *b.files, "--plan", b.plan_file, "--truth", b.truth_file],
                                  capture_output=True, text=True, check=False, timeout=60)
            tally.check(done.returncode == 65 and text in done.stderr and not done.stdout,
                        f"{text}: status {done.returncode}, {done.stderr[:300]!r}")
        # warned of, not refused
        bench.save(b.truth_file, {**truth, "drfit": [1, 1]})
        done = subprocess.run([bench.PROGRAM, "simulate", *b.files, "--plan", b.plan_file, "--truth", b.truth_file],
                              capture_output=True, text=True, check=False, timeout=60)
        tally.check(done.returncode == 0 and "drfit" in done.stderr, f"a misspelt field: {done.returncode}, {done.stderr[:200]!r}")
        # a folder that is not there: no log, no file
        done = subprocess.run([bench.PROGRAM, "simulate", *b.files, "--draw", "--truth-out", f"{folder}/none/truth.json"],
                              capture_output=True, text=True, check=False, timeout=60)
        tally.check(done.returncode == 74 and not done.stdout, f"--truth-out into nowhere: {done.returncode}, {done.stdout[:60]!r}")


def found_again():
    """What goes on during a run is found by `solve`: a plate that moves, lost motion; not without it."""
    plate, machine = bench.PLATES["hexagon"], bench.machine()
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        b = Bench(folder, plate, machine, json.loads(bench.command(
            "plan", "--plate", bench.save(f"{folder}/p.json", plate), "--machine", bench.save(f"{folder}/m.json", machine),
            "--touches", 48,
            "--json")))
        b.log("--truth-out", f"{folder}/truth.json", seed=8)
        with open(f"{folder}/truth.json", encoding="utf-8") as stream:
            truth = json.load(stream)
        b.truth_file = f"{folder}/truth.json"
        for code, change in (("moved-plate", {"moved": {"after": 0.5, "by": [0.04, -0.03]}}),
                             ("lost-motion", {"lost_motion": 0.03}),
                             ("late-contact", {"touch": {"late_share": 0.15, "late_depth": [0.03, 0.1]}}), (None, {})):
            bench.save(b.truth_file, {**truth, **change})
            result = json.loads(bench.command("solve", *b.files, "--json", "-", text=b.log(seed=8), good=(0, 10, 20)))
            codes = {finding["code"] for finding in result["findings"]}
            tally.check(code in codes if code else not codes, f"{code}: found are {codes}")


def drift_cancels():
    """A plate that creeps by 50 um during the run shifts the offset by 2 um at most in the planned order, and by 10 um or more
    touched edge after edge. Least squares: the solver would else find the drift and take it out."""
    plate, machine = bench.PLATES["slot"], bench.machine()
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        b = Bench(folder, plate, machine, json.loads(bench.command(
            "plan", "--plate", bench.save(f"{folder}/p.json", plate), "--machine", bench.save(f"{folder}/m.json", machine),
            "--touches", 24, "--json")))
        b.log("--exact", "--truth-out", f"{folder}/truth.json", seed=3)
        with open(f"{folder}/truth.json", encoding="utf-8") as stream:
            truth = {**json.load(stream), "drift": [0.05, 0.05], "groups": [], "edges": [], "marks": []}
        b.truth_file = bench.save(f"{folder}/truth.json", truth)
        off = {}
        touches = [move for move in b.plan["moves"] if move["kind"] == "touch"]
        sights = [move for move in b.plan["moves"] if move["kind"] == "sight"]
        touches.sort(key=lambda move: (["east", "west", "north", "south"].index(move["target"]), move["rotation"]))
        half = len(sights) // 2
        for name, moves in (("planned", b.plan["moves"]), ("edge after edge", sights[:half] + touches + sights[half:])):
            bench.save(b.plan_file, {**b.plan, "moves": moves})
            result = json.loads(bench.command("solve", *b.files, "--json", "--least-squares", "-", text=b.log(), good=(0, 10, 20)))
            found = result["tips"][0]["offset_mm"]
            off[name] = max(abs(found[axis] - true) for axis, true in zip("xy", truth["tips"][0]["offset"]))
    print("drift of 50 um:", ", ".join(f"{1000 * v:.2f} um {name}" for name, v in off.items()))
    tally.check(off["planned"] < 0.002, f"drift: {off}")
    tally.check(off["edge after edge"] > 0.010, f"drift: {off}")


all_at_once()
drift_cancels()
scatter_and_shares()
same_bytes()
controller_log()
refused()
found_again()
tally.close()
