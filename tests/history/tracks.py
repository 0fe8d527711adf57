# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Weeks in which touches and sightings repeat less well for some runs, and an edge that triggers late, through simulate, solve,
history and trend: told by text and JSON with the runs and levels that are true, repeatabilities stated or not; quiet weeks tell
nothing; what is not kept with a result is told by its log.

Environment: TIPTRUE, srcdir.
"""
import datetime
import json
import os
import pathlib
import sqlite3
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "simulation"))
from tally import Tally  # noqa: E402

import weeks as one  # noqa: E402

TIPTRUE = os.environ["TIPTRUE"]
RUNS, NOISY = 16, range(9, 13)


def day(k):
    return (datetime.datetime(2026, 3, 2, 7, 30) + datetime.timedelta(days=k)).strftime("%Y-%m-%dT%H:%M:%SZ")


def call(folder, *arguments, zone="UTC0"):
    return subprocess.run([TIPTRUE, *arguments], cwd=folder, capture_output=True, text=True, check=False,
                          env={**os.environ, "TZ": zone}).stdout


def deepen(log, shares, k):
    """The first of every so many touches of edge e3 comes 60 um deeper: late."""
    plate, out, n = one.plate(), [], 0
    edge = next(e for e in plate["edges"] if e["name"] == "e3")
    (ax, ay), (bx, by) = edge["from"], edge["to"]
    length = ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5
    inward = ((by - ay) / length, -(bx - ax) / length)  # the free side is on the left
    for line in log.splitlines():
        cells = line.split(",")
        if cells[0] == "touch" and cells[1] == "e3":
            n += 1
            if shares > 0 and (n + k) % round(1 / shares) == 0:
                cells[3] = f"{float(cells[3]) + 0.06 * inward[0]:.4f}"
                cells[4] = f"{float(cells[4]) + 0.06 * inward[1]:.4f}"
        out.append(",".join(cells))
    return "\n".join(out) + "\n"


def trend_of(folder, stated, touch=1.0, sighting=1.0, late=lambda k: 0):
    """The folder's trend of such weeks; factors hold in the runs NOISY."""
    machine = one.machine()
    if not stated:
        del machine["touch"], machine["sighting"]
    (folder / "machine.json").write_text(json.dumps(machine))
    (folder / "h.db").unlink(missing_ok=True)
    logs = []
    for k in range(RUNS):
        noisy = k in NOISY
        truth = {"schema": "tiptrue.truth/1", "poses": [{"setup": "1", "mark": [120.4, 80.7], "yaw_deg": 0}],
                 "tips": [{"tip": t, "offset": [-31.2 + 9 * i, 14.6], "runout": [0.013, -0.021], "radius": 0.487}
                          for i, t in enumerate(one.TIPS)],
                 "touch": {"sigma": 0.0021 * (touch if noisy else 1)},
                 "sighting": {"sigma": 0.0014 * (sighting if noisy else 1)}}
        (folder / "truth.json").write_text(json.dumps(truth))
        log = call(folder, "simulate", "--plate", "plate.json", "--machine", "machine.json", "--plan", "plan.json", "--truth",
                   "truth.json", "--seed", str(700 + k))
        lines = [line for line in log.splitlines() if not line.startswith("# started")]
        logs.append(f"{k}.csv")
        (folder / logs[-1]).write_text(f"# started: {day(k)}\n" + deepen("\n".join(lines), late(k), k))
    call(folder, "solve", "--json", "--history", "h.db", "--plate", "plate.json", "--machine", "machine.json", *logs)
    return json.loads(call(folder, "trend", "--json", "--history", "h.db"))


def tracks(trend):
    return {(t["track"], t["edge"]): t for t in trend["tracks"]}


def events(trend):
    return [(t["track"], t["edge"], e["code"]) for t in trend["tracks"] for e in t["events"]]


def check_quiet(tally, folder):
    trend = trend_of(folder, True)
    by = tracks(trend)
    tally.check(events(trend) == [], f"quiet: {events(trend)}")
    tally.check(len(by) == 2 + len(one.ANGLES), f"quiet: {list(by)}")
    # the log's micrometre adds 0.29 um to the square root of the sum
    tally.check(abs(by["touch-repeatability", None]["u_mm"] / 0.00212 - 1) < 0.1, f"touches: {by['touch-repeatability', None]}")
    tally.check(abs(by["sighting-repeatability", None]["u_mm"] / 0.00143 - 1) < 0.25, f"sightings: {by}")
    tally.check(all(t["runs"] == RUNS and t["share"] == 0 for k, t in by.items() if k[1]), f"late: {by}")
    with sqlite3.connect(folder / "h.db") as db:
        db.execute("DELETE FROM response WHERE result IN (SELECT no FROM result ORDER BY no LIMIT 3)")
    db.close()
    again = tracks(json.loads(call(folder, "trend", "--json", "--history", "h.db")))
    tally.check(again == by, f"what was not kept is told otherwise by the logs: {again}")
    with sqlite3.connect(folder / "h.db") as db:
        db.execute("DELETE FROM response WHERE result IN (SELECT no FROM result ORDER BY no LIMIT 3)")
        db.execute("DELETE FROM log WHERE run IN (SELECT no FROM run ORDER BY no LIMIT 3)")
    db.close()
    again = tracks(json.loads(call(folder, "trend", "--json", "--history", "h.db")))
    tally.check(again["touch-repeatability", None]["runs"] == RUNS - 3, "runs that nothing tells of are counted")
    tally.check(again["late-touches", "e3"]["runs"] == RUNS, "late touches need no more than the result")


def check_noisy(tally, folder):
    for stated in True, False:
        trend = trend_of(folder, stated, touch=2.4)
        tally.check(events(trend) == [("touch-repeatability", None, "noisy")], f"noisy, {stated}: {events(trend)}")
        if events(trend):
            e = tracks(trend)["touch-repeatability", None]["events"][0]
            tally.check((e["from"], e["to"], e["runs"]) == (day(9), day(12), 4), f"noisy: {e}")
            tally.check(abs(e["u_mm"] / 0.0051 - 1) < 0.15 and abs(e["u_otherwise_mm"] / 0.0021 - 1) < 0.1, f"noisy: {e}")
            tally.check(e["share"] is None and e["p"] < 1e-3, f"noisy: {e}")
            text = " ".join(call(folder, "trend", "--plain", "--history", "h.db").split())
            words = "touches repeated less well from 2026-03-11 07:30Z to 2026-03-14 07:30Z, by"
            tally.check(words in text and "look for what shook or was loose then" in text, f"noisy: {text[:600]}")
            text = " ".join(call(folder, "trend", "--plain", "--history", "h.db", zone="EAST-5:30").split())
            words = "from 2026-03-11 13:00 +05:30 (EAST) to 2026-03-14 13:00 +05:30 (EAST), by"
            tally.check(words in text, f"noisy, five and a half hours ahead: {text[:600]}")
            east = json.loads(call(folder, "trend", "--json", "--history", "h.db", zone="EAST-5:30"))
            tally.check(east == trend, "JSON is of no time zone")
    trend = trend_of(folder, True, sighting=5)
    tally.check(("sighting-repeatability", None, "noisy") in events(trend), f"sightings: {events(trend)}")
    tally.check(not any(e[0] == "touch-repeatability" for e in events(trend)), f"sightings: {events(trend)}")


def check_dirty(tally, folder):
    trend = trend_of(folder, True, late=lambda k: 0.25 if k >= 12 else 0)
    tally.check(events(trend) == [("late-touches", "e3", "noisier")], f"dirty: {events(trend)}")
    if events(trend):
        e = tracks(trend)["late-touches", "e3"]["events"][0]
        tally.check(e["from"] == day(12) and e["to"] == day(15) and e["share_otherwise"] == 0, f"dirty: {e}")
        tally.check(abs(e["share"] - 0.25) < 0.06 and e["u_mm"] is None, f"dirty: {e}")
        text = " ".join(call(folder, "trend", "--plain", "--history", "h.db").split())
        tally.check("edge e3 triggers late since 2026-03-14 07:30Z, in 2" in text and "clean it" in text, f"dirty: {text[:500]}")


def main():
    tally = Tally()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        one.make_plan(folder)
        check_quiet(tally, folder)
        check_noisy(tally, folder)
        check_dirty(tally, folder)
    tally.close()


if __name__ == "__main__":
    main()
