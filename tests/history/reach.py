# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Weeks of heights with known truth, through solve, history, trend and compare: all heights alike are Z home, one is its tip's,
a changed tip is one change of offset, runout, radius and height, wear is a drift downwards; quiet weeks tell nothing. Histories
of before heights are read anew. Rows are those of tests/cli/heights.py.

Environment: TIPTRUE, srcdir.
"""
import copy
import datetime
import json
import os
import pathlib
import random
import sqlite3
import subprocess
import sys
import tempfile

import jsonschema

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "cli"))
from tally import Tally  # noqa: E402

import heights as one  # noqa: E402

RUNS, AT = 14, 8
TOP = pathlib.Path(os.environ["srcdir"]).resolve()
HEADER = ("# machine: sill", "# plate: pane")


def call(folder, *arguments):
    done = subprocess.run([one.TIPTRUE, *arguments], cwd=folder, capture_output=True, text=True, check=False)
    return done.stdout


def write_weeks(folder, changed, seed, days):
    """Runs as run-NN.csv: tips as changed(k) makes them of one.TIPS, heights scattering by 1 um shared and 1 um own."""
    rng = random.Random(seed)
    kept = one.TIPS
    names = []
    for k in range(RUNS):
        one.TIPS = copy.deepcopy(kept)
        changed(k, one.TIPS)
        shared = rng.gauss(0, 1e-3)
        for tip in one.TIPS.values():
            tip["height"] += shared + rng.gauss(0, 1e-3)
        day = datetime.datetime(2026, 3, 2, 7, 40) + datetime.timedelta(days=k * days)
        one.HEAD = [*HEADER, f"# started: {day.isoformat()}Z", "kind,target,tip,x,y,z,rotation,contact"]
        names.append(f"run-{k:02}.csv")
        (folder / names[-1]).write_text(one.log(rng, one.rows_of(rng, turns=3)))
    one.TIPS = kept
    return names


def weeks(folder, changed, seed=1, days=1, **machine):
    """The trend of such runs."""
    (folder / "h.db").unlink(missing_ok=True)
    (folder / "plate.json").write_text(json.dumps(one.plate()))
    (folder / "machine.json").write_text(json.dumps(one.machine(**machine)))
    names = write_weeks(folder, changed, seed, days)
    call(folder, "solve", "--json", "--history", "h.db", "--plate", "plate.json", "--machine", "machine.json", *names)
    return json.loads(call(folder, "trend", "--json", "--points", "--history", "h.db"))


def told(trend):
    return [(c["moved"], c["code"], c["tip"]) for c in trend["changes"]]


def near(tally, value, expected, tolerance, what):
    tally.check(value is not None and abs(value - expected) <= tolerance, f"{what}: {value}, expected {expected}")


def check_quiet(tally, folder):
    trend = weeks(folder, lambda k, tips: None, seed=3)
    schema = json.loads((TOP / "docs" / "schema" / "trend.schema.json").read_text())
    for error in list(jsonschema.Draft202012Validator(schema).iter_errors(trend))[:3]:
        tally.check(False, f"schema: {'/'.join(map(str, error.path))}: {error.message}")
    tally.check(told(trend) == [] and not trend["latest"]["differs"], f"quiet: {trend['changes']} {trend['latest']}")
    height = trend["tips"][0]["height"]
    tally.check(height["runs"] == RUNS == len(height["points"]), f"quiet: {height['runs']} heights")
    near(tally, height["last_mm"], one.TIPS["fine"]["height"], 0.012, "height, the pads' errors and all")
    tally.check(not height["drift_mm_per_week"]["significant"], f"quiet: {height['drift_mm_per_week']}")


def check_steps(tally, folder):
    def home(by):
        def changed(k, tips):
            for tip in tips.values():
                tip["height"] += by if k >= AT else 0
        return changed

    def own(name, by):
        def changed(k, tips):
            tips[name]["height"] += by if k >= AT else 0
        return changed

    for by in 0.018, -0.018:
        trend = weeks(folder, home(by), seed=4)
        tally.check(told(trend) == [("z-home", "z-home", None)], f"Z home {by}: {trend['changes']}")
        if trend["changes"]:
            near(tally, trend["changes"][0]["height_shift_mm"], by, 0.004, "Z home")
            tally.check(trend["changes"][0]["shift_mm"]["x"] is None, "Z home moved an offset")
        for name, other in ("fine", "broad"), ("broad", "fine"):
            trend = weeks(folder, own(name, by), seed=5)
            tally.check(told(trend) == [("tip", "tip-height", name)], f"height of {name} {by}: {trend['changes']}")
            if trend["changes"]:
                change = trend["changes"][0]
                near(tally, change["height_shift_mm"], by, 0.004, f"height of {name}")
                tally.check(("shorter" in change["text"]) == (by < 0), f"{by}: {change['text']}")
    text = " ".join(call(folder, "trend", "--plain", "--history", "h.db").split())
    tally.check("the height of broad moved by -" in text and "last height" in text, f"text: {text[:300]}")
    lines = call(folder, "history", "list", "--json", "--history", "h.db").splitlines()
    first, last = (json.loads(line)["id"] for line in lines[::RUNS - 1])
    found = json.loads(call(folder, "compare", "--json", "--history", "h.db", first, last))
    by_name = {t["tip"]: t["height"] for t in found["tips"]}
    near(tally, by_name["broad"]["difference_mm"], -0.018, 3 * by_name["broad"]["u_mm"], "compare: broad")
    near(tally, by_name["fine"]["difference_mm"], 0, 3 * by_name["fine"]["u_mm"], "compare: fine")
    tally.check(by_name["broad"]["significant"] and not by_name["fine"]["significant"], f"compare: {by_name}")
    tally.check(0.0008 < by_name["fine"]["u_mm"] < 0.004, f"compare: u {by_name['fine']['u_mm']}")
    text = " ".join(call(folder, "compare", "--plain", "--history", "h.db", first, last).split())
    tally.check("its height changed by -" in text, f"compare: {text[:300]}")


def check_changed_tip(tally, folder):
    """One change, not four."""
    def changed(k, tips):
        if k >= AT:
            tip = tips["fine"]
            tip["offset"] = (tip["offset"][0] + 0.031, tip["offset"][1] - 0.022)
            tip["runout"] = (tip["runout"][0] - 0.015, tip["runout"][1] + 0.019)
            tip["radius"] += 0.012
            tip["height"] += 0.147

    trend = weeks(folder, changed, seed=6)
    tally.check(told(trend) == [("tip", "tip-changed", "fine")], f"changed tip: {trend['changes']}")
    if trend["changes"]:
        change = trend["changes"][0]
        near(tally, change["shift_mm"]["x"], 0.031, 0.006, "changed tip, x")
        near(tally, change["shift_mm"]["y"], -0.022, 0.006, "changed tip, y")
        near(tally, change["height_shift_mm"], 0.147, 0.004, "changed tip, height")
        near(tally, change["contact_radius_shift_mm"], 0.012, 0.003, "changed tip, radius")
        tally.check("its height by +14" in change["text"], change["text"])


def check_wear(tally, folder):
    """3 um a week over thirteen weeks, with the date when the permitted 60 um are reached: 20 weeks from the present height on."""
    def changed(k, tips):
        tips["broad"]["height"] -= 0.003 * k

    trend = weeks(folder, changed, seed=7, days=7, limits={"permitted_error": 0.04, "permitted_height_error": 0.06})
    by_name = {t["tip"]: t["height"] for t in trend["tips"]}
    drift = by_name["broad"]["drift_mm_per_week"]
    tally.check(told(trend) == [] and drift["significant"], f"wear: {trend['changes']} {drift}")
    near(tally, drift["value"], -0.003, 4 * drift["u"], "wear")
    tally.check(drift["u"] < 0.0003 and not by_name["fine"]["drift_mm_per_week"]["significant"], f"wear: {by_name}")
    forecast = by_name["broad"]["forecast"]
    due = datetime.datetime(2026, 3, 2, 7, 40) + datetime.timedelta(weeks=20)
    date = datetime.datetime.fromisoformat(forecast["date"].rstrip("Z"))
    tally.check(forecast["from"] < forecast["date"] and abs((date - due).days) < 14, f"wear: {forecast}, expected {due}")
    text = " ".join(call(folder, "trend", "--plain", "--history", "h.db").split())
    tally.check("the height of broad drifts by -2.97" in text and "drifting: broad" in text, f"wear: {text[:400]}")


def check_older(tally, folder):
    """A history of the schema before is brought up to date: the same trend."""
    before = call(folder, "trend", "--json", "--history", "h.db")
    with sqlite3.connect(folder / "h.db") as db:
        columns = [row[1] for row in db.execute("PRAGMA table_info(tip)")]
        for name in columns[columns.index("height_mm"):]:
            db.execute(f"ALTER TABLE tip DROP COLUMN {name}")
        db.execute("ALTER TABLE edge DROP COLUMN freed")
        db.execute("DROP TABLE board")
        kept = db.execute("SELECT numbers FROM response ORDER BY result DESC LIMIT 1").fetchone()
        db.execute("DROP TABLE response")
        db.execute("DROP TABLE scatter")
        db.execute("PRAGMA user_version = 5")
    db.close()
    tally.check(call(folder, "trend", "--json", "--history", "h.db") == before, "an older history says something else")
    with sqlite3.connect(folder / "h.db") as db:
        again = db.execute("SELECT numbers FROM response ORDER BY result DESC LIMIT 1").fetchone()
    db.close()
    tally.check(again == kept, f"what edges do was not kept again: {again} {kept}")


def main():
    tally = Tally()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        check_quiet(tally, folder)
        check_steps(tally, folder)
        check_changed_tip(tally, folder)
        check_wear(tally, folder)
        check_older(tally, folder)
    tally.close()


if __name__ == "__main__":
    main()
