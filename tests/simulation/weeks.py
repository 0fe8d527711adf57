# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Histories of a machine with known truth, through the program: touches simulated, solved, stored, `trend --json`.

A pocket with six edges at angles that are nobody's axis, three tips, a run a day; scatter between runs 2 um own and 1 um shared per
axis. Each cell is a row of the table: how many of its changes were found, and named rightly, how many histories show one that is
not there. What must be reached stands beside it; chance is given three standard deviations of a count.

Environment: TIPTRUE; CELLS (words with commas between; cells whose name holds one, "" all), HISTORIES (of each cell), JOBS, SEED.
`make check` runs a few, `make check-long` all of them with 300 histories each.
"""
import concurrent.futures
import datetime
import json
import math
import os
import pathlib
import random
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ.get("srcdir", "."), "tests"))
from tally import Tally, times  # noqa: E402

UM = 1e-3
FEW = "quiet n20 ar0.3,camera 30 last n10,changed 30 middle n20,film 15 n20,lost motion,two films"
ANGLES = [17, 74, 141, 197, 259, 322]   # of the edges' normals out of the pocket, degrees
TIPS = ["slim", "broad", "cup"]
START = datetime.datetime(2026, 3, 2, 7, 30)


def plate():
    edges = []
    for i, angle in enumerate(ANGLES):
        a = math.radians(angle)
        nx, ny = math.cos(a), math.sin(a)
        x, y = 24 + 9 * nx, 15 + 9 * ny
        # along the edge with the pocket, where the tip is, to the left
        edges.append({"name": f"e{i}", "from": [x + 4 * ny, y - 4 * nx], "to": [x - 4 * ny, y + 4 * nx], "free_side": "left",
                      "u": 0.006})
    return {"schema": "tiptrue.plate/1", "name": "six", "serial": "S6", "units": "mm", "reference": "M0",
            "marks": [{"name": "M0", "at": [0, 0]}, {"name": "M1", "at": [48, 2], "u": 0.004},
                      {"name": "M2", "at": [5, 37], "u": 0.004}],
            "edges": edges}


def machine():
    return {"schema": "tiptrue.machine/1", "name": "weeks", "units": "mm", "resolution": 0.001,
            "touch": {"u": 0.002}, "sighting": {"u": 0.0015},
            "rotation": {"sense": "ccw"}, "tips": [{"name": t, "radius": 0.5, "radius_u": 0.02} for t in TIPS]}


def gauss(rng, um):
    return rng.gauss(0, um) * UM


class History:
    """The truth of each run, as it is drawn."""

    def __init__(self, rng, n, own=2.0, shared=1.0, ar=0.0, events=(), drift=None, season=0, temperature=False):
        self.rng, self.n, self.temperature = rng, n, temperature
        self.truths, self.kelvin = [], []
        base = {t: [rng.uniform(-40, 40), rng.uniform(-30, 30)] for t in TIPS}
        runout = {t: [rng.gauss(0, 0.02), rng.gauss(0, 0.02)] for t in TIPS}
        radius = {t: 0.5 + rng.gauss(0, 0.01) for t in TIPS}
        edges = [rng.gauss(0, 0.006) for _ in ANGLES]
        mark, yaw = [120 + rng.random(), 80 + rng.random()], 0.4
        s, o = None, None
        phase, heading = rng.uniform(0, 2 * math.pi), rng.uniform(0, 2 * math.pi)
        moves = [self.drawn(e) for e in events]
        for i in range(n):
            fresh = [gauss(rng, shared), gauss(rng, shared)], {t: [gauss(rng, own), gauss(rng, own)] for t in TIPS}
            k = math.sqrt(1 - ar * ar)
            s = fresh[0] if s is None else [ar * a + k * b for a, b in zip(s, fresh[0])]
            o = fresh[1] if o is None else {t: [ar * a + k * b for a, b in zip(o[t], fresh[1][t])] for t in TIPS}
            swing = season * UM * math.sin(2 * math.pi * i / 100 + phase)
            self.kelvin.append(22 + swing / UM / 1.5 + rng.gauss(0, 0.2) if season else 22 + rng.gauss(0, 0.7))
            off = {t: [base[t][a] + s[a] + o[t][a] + swing * (1, 0.3)[a] for a in (0, 1)] for t in TIPS}
            run = {t: [runout[t][a] + gauss(rng, 0.5) for a in (0, 1)] for t in TIPS}
            rad, film, lost = dict(radius), list(edges), 0
            m, y = [mark[a] + gauss(rng, 1.5) for a in (0, 1)], yaw + math.degrees(rng.gauss(0, 1e-5))
            for first, kind, who, v, w, sign in moves:
                if i < first:
                    continue
                for t in TIPS if kind in ("camera", "head", "plate") else [TIPS[who]] if kind in ("seat", "changed") else []:
                    off[t] = [off[t][a] + v[a] for a in (0, 1)]
                if kind == "head":
                    m = [m[a] + v[a] for a in (0, 1)]
                if kind in ("pose", "plate"):
                    m = [m[a] + w[a] for a in (0, 1)]
                    y += math.degrees(sign * 1e-5 * math.hypot(*v) / UM)
                if kind == "changed":
                    run[TIPS[who]] = [run[TIPS[who]][a] + w[a] for a in (0, 1)]
                    rad[TIPS[who]] += 0.3 * sign * math.hypot(*v)
                if kind == "edge":
                    film[who] -= math.hypot(*v)
                if kind == "axes":
                    lost += who * math.hypot(*v)
            if drift:
                who, rate = drift
                for t in TIPS if who is None else [TIPS[who]]:
                    off[t] = [off[t][0] + rate * UM * i / 7 * math.cos(heading), off[t][1] + rate * UM * i / 7 * math.sin(heading)]
            self.truths.append({"schema": "tiptrue.truth/1", "poses": [{"setup": "1", "mark": m, "yaw_deg": y}],
                                "tips": [{"tip": t, "offset": off[t], "runout": run[t], "radius": rad[t]} for t in TIPS],
                                "edges": [{"edge": f"e{j}", "shift": x} for j, x in enumerate(film)],
                                "lost_motion": lost, "touch": {"sigma": 0.002}, "sighting": {"sigma": 0.0015}})
        self.drift = [drift[1] * UM * math.cos(heading), drift[1] * UM * math.sin(heading)] if drift else None

    def drawn(self, event):
        first, kind, who, um = event
        a, b = self.rng.uniform(0, 2 * math.pi), self.rng.uniform(0, 2 * math.pi)
        return (first, kind, who, [um * UM * math.cos(a), um * UM * math.sin(a)], [um * UM * math.cos(b), um * UM * math.sin(b)],
                self.rng.choice([-1, 1]) * (1 if kind == "changed" else abs(self.rng.gauss(0, 1))))


def stamp(i):
    return (START + datetime.timedelta(days=i)).strftime("%Y-%m-%dT%H:%M:%SZ")


def make_plan(folder):
    """One plan for all runs: the planner is not what is looked at here, and takes its time."""
    f = pathlib.Path(folder)
    (f / "plate.json").write_text(json.dumps(plate()))
    (f / "machine.json").write_text(json.dumps(machine()))
    done = subprocess.run([os.environ["TIPTRUE"], "plan", "--json", "--plate", str(f / "plate.json"), "--machine",
                           str(f / "machine.json")], capture_output=True, text=True, check=True)
    (f / "plan.json").write_text(done.stdout)
    return f


def trend_of(history, seed, files):
    """The history through the program: its trend."""
    tiptrue = os.environ["TIPTRUE"]
    with tempfile.TemporaryDirectory() as folder:
        f = pathlib.Path(folder)
        with_files = ["--plate", str(files / "plate.json"), "--machine", str(files / "machine.json")]
        logs = []
        for i, truth in enumerate(history.truths):
            if history.temperature:
                truth["temperature_C"] = history.kelvin[i]
            (f / "truth.json").write_text(json.dumps(truth))
            log = subprocess.run([tiptrue, "simulate", *with_files, "--plan", str(files / "plan.json"), "--truth",
                                  str(f / "truth.json"), "--seed", str(seed * 1000 + i)],
                                 capture_output=True, text=True, check=True).stdout
            lines = [line for line in log.splitlines() if not line.startswith("# started")]
            logs.append(f / f"{i}.csv")
            logs[-1].write_text("\n".join([f"# started: {stamp(i)}", *lines]) + "\n")
        subprocess.run([tiptrue, "solve", "--history", str(f / "h.db"), *with_files, *map(str, logs)], capture_output=True,
                       check=False)
        done = subprocess.run([tiptrue, "trend", "--json", "--history", str(f / "h.db")], capture_output=True, text=True,
                              check=True)
    return json.loads(done.stdout)


def is_right(change, event):
    first, kind, who, _ = event
    if not (change["after"] < stamp(first) <= change["before"]):
        return False
    if kind in ("camera", "head"):
        return change["moved"] == "all-tips"
    if kind in ("pose", "plate"):
        return change["moved"] == "plate" and (change["shift_mm"]["x"] is None) == (kind == "pose")
    if kind == "axes":
        return change["moved"] == "axes" and change["lost_motion_shift_mm"] * who > 0
    if kind == "edge":
        return change["moved"] == "edge" and change["edge"] == f"e{who}" and change["edge_shift_mm"] < 0
    changed = change["runout_shift_mm"]["x"] is not None
    return change["moved"] == "tip" and change["tip"] == TIPS[who] and changed == (kind == "changed")


class Counts:
    def __init__(self):
        self.histories = self.events = self.right = self.found = self.false = self.blamed = 0
        self.drifts = self.false_drifts = self.covered = self.latest = self.latest_right = 0
        self.between = 0.0

    def add(self, cell, history, trend):
        changes, events = list(trend["changes"]), cell.get("events", ())
        left = list(changes)
        for event in events:
            self.events += 1
            self.found += any(c["after"] < stamp(event[0]) <= c["before"] for c in changes)
            hit = next((c for c in left if is_right(c, event)), None)
            if hit is not None:
                left.remove(hit)
                self.right += 1
        self.histories += 1
        self.false += bool(left)
        self.blamed += any(c["moved"] == "tip" for c in changes)
        drifting = {t["tip"] for t in trend["tips"] if (t["drift_mm_per_week"] or {}).get("significant")}
        true = set() if not cell.get("drift") else set(TIPS) if cell["drift"][0] is None else {TIPS[cell["drift"][0]]}
        self.drifts += bool(true) and true <= drifting
        self.false_drifts += bool(drifting - true)
        if true and true <= drifting:
            d = next(t for t in trend["tips"] if t["tip"] in true)["drift_mm_per_week"]
            self.covered += sum(abs(d[a] - w) < 1.96 * d["u_" + a] for a, w in zip("xy", history.drift)) / 2
        latest = trend["latest"] or {"differs": False}
        self.latest += latest["differs"]
        self.latest_right += latest["differs"] and latest["moved"] == "all-tips"
        self.between += sum(t["between_run_u_mm"][a] ** 2 for t in trend["tips"] for a in "xy") / 6


def share(k, n):
    return 100 * k / n if n else 0.0


MIXED = ["camera", "seat", "changed", "edge", "seat", "camera", "pose"]


def many(k, n):
    return [((i + 1) * n // (k + 1), MIXED[i % 7], i * 5 % 3, 30) for i in range(k)]


def cells():
    """Name, history, what must be reached: of events right and found at least, of histories falsely and drifting at most."""
    for n in (10, 20, 40, 60):
        for ar, most in ((0, 1), (0.3, 2.5), (0.6, 5)):
            yield {"name": f"quiet n{n} ar{ar}", "n": n, "own": 3, "shared": 1.5, "ar": ar, "false": most,
                   "false_drifts": 3 if ar == 0.6 else 1}
    yield {"name": "season logged n60", "n": 60, "season": 15, "temperature": True, "false": 5}
    yield {"name": "season silent n100", "n": 100, "season": 15, "false": 5}
    for kind in ("camera", "head", "seat", "changed", "edge", "pose", "plate"):
        for n in (10, 20, 40):
            for where, first in (("second", 1), ("middle", n // 2), ("last", n - 1)):
                yield {"name": f"{kind} 30 {where} n{n}", "n": n, "events": [(first, kind, 1, 30)], "found": 97,
                       "right": 85 if kind == "plate" else 95}
    for n, plain, easy in ((10, 40, 85), (20, 80, 85), (40, 95, 95)):
        for kind in ("camera", "seat", "changed", "edge", "pose"):
            yield {"name": f"{kind} 10 middle n{n}", "n": n, "events": [(n // 2, kind, 1, 10)],
                   "right": plain if kind in ("camera", "seat") else easy}
    yield {"name": "camera 5 middle n40", "n": 40, "events": [(20, "camera", 0, 5)], "right": 75}
    yield {"name": "seat 5 middle n40", "n": 40, "events": [(20, "seat", 1, 5)], "right": 65}
    for n, least in ((10, 20), (20, 50), (40, 70)):
        yield {"name": f"camera 10 latest n{n}", "n": n, "events": [(n - 1, "camera", 0, 10)], "latest": least}
    for k, n in ((4, 40), (8, 40), (12, 40), (20, 200)):
        yield {"name": f"many {k} in {n}", "n": n, "events": many(k, n), "right": 97, "false": 5}
    for length in (5, 20, 100):
        yield {"name": f"block {length}", "n": 40 + length, "events": [(20, "camera", 0, 30), (20 + length, "camera", 0, 30)],
               "right": 97, "false": 5}
    yield {"name": "stairs", "n": 60, "events": [(10 * k, "seat", 1, 10) for k in range(1, 6)], "right": 90}
    for name, a, b in (("seats", ("seat", 0), ("seat", 2)), ("seat and camera", ("seat", 0), ("camera", 0)),
                       ("changed and edge", ("changed", 0), ("edge", 2)), ("seat and changed", ("seat", 0), ("changed", 2))):
        yield {"name": f"two {name}", "n": 40, "events": [(20, *a, 30), (20, *b, 30)], "right": 95}
    for n in (20, 40):
        yield {"name": f"film 15 n{n}", "n": n, "events": [(n // 2, "edge", 3, 15)], "right": 95, "blamed": 5}
    for who in (-1, 1):
        yield {"name": f"lost motion {15 * who}", "n": 20, "events": [(10, "axes", who, 15)], "right": 95, "false": 5}
    # which the runs take for lost motion now and then
    yield {"name": "two films", "n": 24, "events": [(8, "edge", 0, 30), (16, "edge", 2, 30)], "right": 95, "false": 5}
    for who in (2, None):
        yield {"name": f"drift {'of all' if who is None else 'of one'}", "n": 60, "drift": (who, 1), "drifts": 90}


def one(task):
    cell, seed, files = task
    rng = random.Random(seed)
    wanted = ("own", "shared", "ar", "events", "drift", "season", "temperature")
    history = History(rng, cell["n"], **{k: cell[k] for k in wanted if k in cell})
    return cell, history, trend_of(history, seed, files)


def judge(tally, cell, c):
    def at_least(k, n, wanted, what):
        slack = 3 * math.sqrt(wanted * (100 - wanted) / n)
        tally.check(share(k, n) >= wanted - slack, f"{cell['name']}: {what} {share(k, n):.1f} %, at least {wanted} asked for")

    def at_most(k, n, wanted, what):
        slack = 3 * math.sqrt(wanted * (100 - wanted) / n)
        tally.check(share(k, n) <= wanted + slack, f"{cell['name']}: {what} {share(k, n):.1f} %, at most {wanted} asked for")

    for key, k, n in (("right", c.right, c.events), ("found", c.found, c.events), ("latest", c.latest_right, c.histories),
                      ("drifts", c.drifts, c.histories)):
        if key in cell:
            at_least(k, n, cell[key], key)
    for key, k in (("false", c.false), ("false_drifts", c.false_drifts), ("blamed", c.blamed)):
        if key in cell:
            at_most(k, c.histories, cell[key], key)
    if "events" not in cell:
        at_most(c.latest, c.histories, 0.5, "latest run falsely")


def main():
    words = os.environ.get("CELLS", FEW).split(",")
    histories, seed = int(os.environ.get("HISTORIES", times(3, 1))), int(os.environ.get("SEED", "1"))
    tally = Tally()
    print("| cell | histories | right | found | false | drift | false drift | its 95 % | latest | between |")
    with (concurrent.futures.ThreadPoolExecutor(int(os.environ.get("JOBS", "2"))) as pool,
          tempfile.TemporaryDirectory() as folder):
        files = make_plan(folder)
        for cell in cells():
            if not any(w in cell["name"] for w in words):
                continue
            c = Counts()
            for _, history, trend in pool.map(one, [(cell, seed + 1000 * i, files) for i in range(histories)]):
                c.add(cell, history, trend)
            truth = math.hypot(cell.get("own", 2), cell.get("shared", 1)) * UM
            figures = [share(c.right, c.events), share(c.found, c.events), share(c.false, c.histories),
                       share(c.drifts, c.histories), share(c.false_drifts, c.histories), share(c.covered, c.drifts),
                       share(c.latest_right if cell.get("events") else c.latest, c.histories)]
            print(f"| {cell['name']} | {c.histories} | {' | '.join(f'{x:.1f}' for x in figures)} | "
                  f"{100 * (math.sqrt(c.between / c.histories) / truth - 1):+.1f} % |", flush=True)
            judge(tally, cell, c)
    tally.close()


if __name__ == "__main__":
    main()
