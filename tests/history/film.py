# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""A film over a whole edge, which one run cannot see, against the runs before it: told, named, with sign and size, refused where it
moves an offset beyond its U; not told of clean runs, of a plate that was clamped elsewhere, of another plate or plate file, of too
few runs, nor by runs that came later. Solved again, a run says the same. Of two edges that face each other the offsets tell which
it is, unless they moved as well.

Environment: TIPTRUE, srcdir.
"""
import datetime
import json
import math
import os
import pathlib
import random
import statistics
import subprocess
import sys
import tempfile

import jsonschema

for room in ("tests", "tests/simulation"):
    sys.path.insert(0, os.path.join(os.environ["srcdir"], room))
from tally import Tally  # noqa: E402

import weeks  # noqa: E402

TIPTRUE = os.environ["TIPTRUE"]
SCHEMA = json.loads((pathlib.Path(os.environ["srcdir"]) / "docs" / "schema" / "result.schema.json").read_text())
EARLIER = 7
CROSS = [23, 113, 203, 293]


class Bench:
    """One machine: its truth scatters by 1 um from run to run, edges lie where they lie."""

    def __init__(self, folder):
        self.folder, self.rng = pathlib.Path(folder), random.Random(5)
        weeks.make_plan(folder)
        self.truth = weeks.History(self.rng, 1, own=0, shared=0).truths[0]
        self.runs = 0
        self.write_machine()

    def write_machine(self, **plate):
        machine = weeks.machine()
        machine["limits"] = {"permitted_error": 0.03}
        for tip, true in zip(machine["tips"], self.truth["tips"]):
            tip.update(offset=true["offset"], offset_plate="S6")
        (self.folder / "machine.json").write_text(json.dumps(machine))
        (self.folder / "plate.json").write_text(json.dumps({**weeks.plate(), **plate}))

    def call(self, *arguments):
        return subprocess.run([TIPTRUE, *arguments, "--plate", "plate.json", "--machine", "machine.json"], cwd=self.folder,
                              capture_output=True, text=True, check=False)

    def log(self, day, edges=(), mark=(0, 0), camera=(0, 0)):
        truth = json.loads(json.dumps(self.truth))
        for tip in truth["tips"]:
            tip["offset"] = [x + d + self.rng.gauss(0, 1e-3) for x, d in zip(tip["offset"], camera)]
        for edge, shift in edges:
            truth["edges"][edge]["shift"] += shift
        truth["poses"][0]["mark"] = [m + d for m, d in zip(truth["poses"][0]["mark"], mark)]
        (self.folder / "truth.json").write_text(json.dumps(truth))
        self.runs += 1
        rows = self.call("simulate", "--plan", "plan.json", "--truth", "truth.json", "--seed", str(self.runs)).stdout
        name = f"{self.runs}.csv"
        started = (datetime.datetime(2026, 3, 2, 7, 30) + datetime.timedelta(days=day)).strftime("%Y-%m-%dT%H:%M:%SZ")
        rows = "".join(line for line in rows.splitlines(keepends=True) if not line.startswith("# started"))
        (self.folder / name).write_text(f"# started: {started}\n{rows}")
        return name

    def solve(self, day, **how):
        """The result, what it says of films, and the exit status."""
        done = self.call("solve", "--json", "--history", "h.db", self.log(day, **how))
        result = json.loads(done.stdout)
        return result, [f for f in result["findings"] if f["code"] == "edge-film"], done.returncode

    def history(self, *words):
        return subprocess.run([TIPTRUE, "history", *words, "--history", "h.db"], cwd=self.folder, capture_output=True, text=True,
                              check=False)


def check_seen(tally, bench):
    names = [bench.log(day) for day in range(EARLIER)]
    before = [json.loads(line) for line in bench.call("solve", "--json", "--history", "h.db", *names).stdout.splitlines()]
    tally.check(all("earlier" not in e for r in before for e in r["edges"]), "runs without runs before know nothing of them")
    result, films, _ = bench.solve(20)
    errors = [e.message for e in jsonschema.Draft202012Validator(SCHEMA).iter_errors(result)]
    tally.check(films == [] and result["verdict"] == "keep" and not errors, f"clean: {films} {result['verdict']} {errors[:2]}")
    for k, edge in enumerate(result["edges"]):
        mean = statistics.fmean(r["edges"][k]["shift_mm"] for r in before)
        tally.check(edge["earlier"]["runs"] == EARLIER and abs(edge["earlier"]["shift_mm"] - mean) < 2e-10,
                    f"{edge['edge']}: {edge['earlier']}, the mean of {EARLIER} runs is {mean}")
        tally.check(0.0002 < edge["earlier"]["u_mm"] < 0.003, f"{edge['edge']}: scatter {edge['earlier']['u_mm']}")
    for edge in (3, 0):
        result, films, status = bench.solve(21 + edge, edges=[(edge, -0.015)])
        values = films[0]["values"] if films else {}
        tally.check(len(films) == 1 and films[0]["edge"] == f"e{edge}" and films[0]["severity"] == "error" and
                    result["verdict"] == "repeat" and status == 20, f"a film on e{edge}: {films} {result['verdict']} {status}")
        tally.check(values.get("what") == "later" and abs(values["shift_mm"] + 0.015) < 4 * values["u_mm"] < 0.006 and
                    0.003 < values["effect_mm"] < 0.008 and values["runs"] == EARLIER + 1 and
                    "clean it" in films[0]["text"], f"its values: {values}")
    result, films, _ = bench.solve(30, edges=[(1, 0.012)])
    tally.check([(f["edge"], f["severity"], f["values"]["what"]) for f in films] == [("e1", "warning", "earlier")] and
                abs(films[0]["values"]["shift_mm"] - 0.012) < 0.004, f"an edge that lies further out: {films}")


def check_unseen(tally, bench):
    for how in ({}, {"mark": (0.23, -0.11)}):
        result, films, _ = bench.solve(40, **how)
        tally.check(films == [] and result["edges"][0]["earlier"]["runs"] >= EARLIER, f"nothing on an edge, {how}: {films}")
    result, films, _ = bench.solve(-3, edges=[(3, -0.015)])
    tally.check(films == [] and "earlier" not in result["edges"][0], f"runs that came later: {films}")
    for other in ({"serial": "S7"}, {"name": "another text, the same edges"}):
        bench.write_machine(**other)
        result, films, _ = bench.solve(41, edges=[(3, -0.015)])
        tally.check(films == [] and "earlier" not in result["edges"][0], f"plate {other}: {films}")
    bench.write_machine()
    _, films, _ = bench.solve(42, edges=[(3, -0.015)])
    tally.check([f["edge"] for f in films] == ["e3"], f"the first plate again: {films}")


def check_kept(tally, bench):
    again = bench.history("show", "--again")
    tally.check(again.stdout.startswith(f"0 of {bench.runs} runs changed"), f"solved again: {again.stdout[:500]}{again.stderr}")
    for line in bench.history("list", "--json").stdout.splitlines():
        done = bench.history("exclude", json.loads(line)["id"], "--why", "the edge was bent then")
        tally.check(done.returncode == 0, f"exclude: {done.stderr}")
    result, films, _ = bench.solve(43, edges=[(3, -0.015)])
    tally.check(films == [] and "earlier" not in result["edges"][0], f"runs kept out: {films} {result['edges'][0]}")
    again = bench.history("show", "--again")
    tally.check(again.stdout.startswith(f"0 of {bench.runs} runs changed"), f"and again: {again.stdout[:500]}{again.stderr}")


def along(angle, results):
    """The mean offset of all tips in @results along an edge's normal; the plate is turned by 0.4 degrees."""
    a = math.radians(angle + 0.4)
    return statistics.fmean(t["offset_mm"]["x"] * math.cos(a) + t["offset_mm"]["y"] * math.sin(a)
                            for r in results for t in r["tips"])


def check_facing(tally, bench):
    """On a cross the touches of two edges that face each other say the same of a film; what it makes of the offsets differs."""
    names = [bench.log(day) for day in range(EARLIER + 2)]
    before = [json.loads(line) for line in bench.call("solve", "--json", "--history", "h.db", *names).stdout.splitlines()]
    result, films, _ = bench.solve(20)
    errors = [e.message for e in jsonschema.Draft202012Validator(SCHEMA).iter_errors(result)]
    tally.check(films == [] and not errors, f"clean: {films} {errors[:2]}")
    for angle, edge in zip(CROSS, result["edges"]):
        known, mean = edge["earlier"]["offsets"], along(angle, before[-5:])
        tally.check(abs(known["mean_mm"] - mean) < 0.1 and known["runs"] == EARLIER + 2 and 3e-4 < known["u_mm"] < 3e-3,
                    f"offsets along {angle}: {known}, {mean}")
    for k, shift in enumerate((-0.016, -0.011, -0.016, -0.011)):
        _, films, _ = bench.solve(21 + k, edges=[(k, shift)])
        tally.check([(f["edge"], f["values"]["others"]) for f in films] == [(f"e{k}", "")],
                    f"a film on e{k}, and not on the edge that faces it: {films}")
    # by half of what tells them apart, or away from both: the offsets moved by themselves, and tell nothing
    a = math.radians(CROSS[1])
    for way in (-0.006, 0.006):
        _, films, _ = bench.solve(30 + 100 * way, edges=[(1, -0.012)], camera=(way * math.cos(a), way * math.sin(a)))
        said = [(f["edge"], f["values"]["others"]) for f in films]
        tally.check(said in ([("e1", "'e3'")], [("e3", "'e1'")]), f"a film, and the camera moved by {way}: both are said, {films}")
    # another tip, and its offset written: what counts is where the offsets are since
    bench.truth["tips"][2]["offset"][1] += 3.1
    bench.write_machine()
    since = [bench.solve(day)[0] for day in (40, 41)]
    result, films, _ = bench.solve(42, edges=[(2, -0.016)])
    mean = along(CROSS[2], since)
    known = result["edges"][2]["earlier"]["offsets"]
    tally.check([f["edge"] for f in films] == ["e2"] and abs(known["mean_mm"] - mean) < 0.1 and known["u_mm"] < 3e-3,
                f"a film soon after a tip was changed: {films}, {known}, {mean}")
    again = bench.history("show", "--again")
    tally.check(again.stdout.startswith(f"0 of {bench.runs} runs changed"), f"solved again: {again.stdout[:500]}{again.stderr}")


def main():
    tally = Tally()
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(folder)
        check_seen(tally, bench)
        check_unseen(tally, bench)
        check_kept(tally, bench)
    weeks.ANGLES = CROSS
    with tempfile.TemporaryDirectory() as folder:
        check_facing(tally, Bench(folder))
    tally.close()


if __name__ == "__main__":
    main()
