# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Twelve weeks of recorded runs (tests/field/13-weeks): what changed, what drifts, and what the commands write of it.

Environment: TIPTRUE, srcdir.
"""
import datetime
import json
import os
import pathlib
import subprocess
import sys
import tempfile

import jsonschema

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

top = pathlib.Path(os.environ["srcdir"]).resolve()
weeks = top / "tests" / "field" / "13-weeks"
tally = Tally()
validators = {name: jsonschema.Draft202012Validator(json.loads((top / "docs" / "schema" / f"{name}.schema.json").read_text()))
              for name in ("trend", "compare")}


def run(*arguments, status=0):
    done = subprocess.run([os.environ["TIPTRUE"], *arguments], capture_output=True, text=True, check=False)
    tally.check(done.returncode == status,
                f"{arguments[0]} {arguments[1:4]} exits {done.returncode}, not {status}: {done.stderr[:300]}")
    return done


def document(name, *arguments):
    found = json.loads(run(name, "--json", *arguments).stdout)
    for error in list(validators[name].iter_errors(found))[:3]:
        tally.check(False, f"{name}: {'/'.join(map(str, error.path))}: {error.message}")
    tally.check(found["schema"] == f"tiptrue.{name}/1", f"{name}: schema {found['schema']}")
    return found


def store(history, runs, status=20):
    return run("solve", "--history", str(history), "--json", "--plate", str(weeks / "plate.json"), "--machine",
               str(weeks / "machine.json"), *[str(r) for r in runs], status=status)


def near(value, expected, tolerance, what):
    tally.check(abs(value - expected) <= tolerance, f"{what}: {value}, expected {expected}")


with tempfile.TemporaryDirectory() as folder:
    history = pathlib.Path(folder, "h.db")
    runs = sorted(weeks.glob("run-*.csv"))
    store(history, runs)
    trend = document("trend", "--history", str(history))

    # Exactly what is in the logs, found with a second program and by eye before this one could (offsets of all runs by
    # tests/reference/adjustment.py): between runs 30 and 31 all tips moved, between 48 and 49 tip t2 was changed, t3 drifts.
    tally.check(trend["runs"] == 72, f"runs {trend['runs']}")
    what = [(c["after"], c["before"], c["moved"], c["tip"]) for c in trend["changes"]]
    tally.check(what == [("2026-02-07T07:30:00Z", "2026-02-09T07:30:00Z", "all-tips", None),
                         ("2026-02-28T07:30:00Z", "2026-03-02T07:30:00Z", "tip", "t2")], f"changes {what}")
    tally.check([t["tip"] for t in trend["tips"] if t["drift_mm_per_week"]["significant"]] == ["t3"], "the drifting tip")
    if len(trend["changes"]) == 2:
        shared, changed = trend["changes"]
        near(shared["shift_mm"]["x"], 0.0217, 4 * shared["u_shift_mm"]["x"], "shared step x")
        near(shared["shift_mm"]["y"], -0.0155, 4 * shared["u_shift_mm"]["y"], "shared step y")
        tally.check(shared["u_shift_mm"]["x"] < 0.0015 and shared["confidence"] > 0.999, f"shared step: {shared}")
        near(changed["runout_shift_mm"]["x"], -0.0653, 0.001, "runout of t2")
        near(changed["contact_radius_shift_mm"], 0.0114, 0.001, "contact radius of t2")
        tally.check(changed["attribution"] > 0.99, f"attribution {changed['attribution']}")
    t3 = trend["tips"][2]
    near(t3["drift_mm_per_week"]["x"], 0.0034, 0.0006, "drift of t3 x")
    near(t3["drift_mm_per_week"]["y"], 0.0008, 0.0007, "drift of t3 y")
    tally.check(t3["forecast"]["from"] < t3["forecast"]["date"] < t3["forecast"]["to"], f"forecast {t3['forecast']}")
    # from an update at the last run on, the permitted 30 um at the drift's own pace
    pace = (t3["drift_mm_per_week"]["x"] ** 2 + t3["drift_mm_per_week"]["y"] ** 2) ** 0.5
    due = datetime.datetime.fromisoformat(trend["last"][:-1]) + datetime.timedelta(weeks=0.030 / pace)
    near((datetime.datetime.fromisoformat(t3["forecast"]["date"][:-1]) - due).total_seconds(), 0, 60, "date of the forecast")
    tally.check(t3["forecast"]["counts_from"] == "update-now", f"forecast {t3['forecast']}")
    for tip in trend["tips"]:
        near(tip["within_run_u_mm"]["x"], 0.00208, 0.00005, f"{tip['tip']} within a run")
        near(tip["between_run_u_mm"]["x"], 0.0031, 0.0012, f"{tip['tip']} between runs")

    # One tip, and from a later time on.
    one = document("trend", "--history", str(history), "--tip", "t2", "--points")
    tally.check([t["tip"] for t in one["tips"]] == ["t2"] and len(one["tips"][0]["points"]) == 71, "--tip t2 --points")
    late = document("trend", "--history", str(history), "--since", "2026-02-09")
    tally.check([c["moved"] for c in late["changes"]] == ["tip"], f"since 2026-02-09: {late['changes']}")
    tally.check(late["runs"] == 72 and late["runs_looked_at"] == 42, f"since: {late['runs_looked_at']} runs")
    few = document("trend", "--history", str(history), "--runs", "9")
    tally.check(few["runs_looked_at"] == 9 and few["changes"] == [], "--runs 9")
    text = run("trend", "--history", str(history), "--plain").stdout
    tally.check(text.isascii() and text.startswith("2 CHANGES; drifting: t3\n"), f"text: {text[:200]}")
    for words in ("all tips moved by the same amount", "tighten the camera's mount, then update all tips",
                  "the tip was changed or bent", "t3 drifts by", "Signals of the control charts", "is as the runs before it"):
        tally.check(words in " ".join(text.split()), f"text lacks '{words}'")
    tally.check(max(len(line) for line in text.splitlines()) <= 80, "text wider than 80 columns")

    # This morning: the run after the tenth is as the others lead to expect; with the camera 30 um further it is not, and the run
    # says so when it is solved, in words and beside JSON.
    def moved(path, dx, dy):
        lines = path.read_text().splitlines()
        for i, line in enumerate(lines):
            cells = line.split(",")
            if cells[0] == "sight":
                cells[3], cells[4] = f"{float(cells[3]) + dx:.4f}", f"{float(cells[4]) + dy:.4f}"
                lines[i] = ",".join(cells)
        other = pathlib.Path(folder, f"moved-{path.name}")
        other.write_text("\n".join(lines) + "\n")
        return other

    morning = pathlib.Path(folder, "morning.db")
    store(morning, runs[:10], status=10)
    solve = ("solve", "--history", str(morning), "--plain", "--plate", str(weeks / "plate.json"), "--machine",
             str(weeks / "machine.json"))
    quiet = " ".join(run(*solve, str(runs[10]), status=10).stdout.split())
    tally.check("Against the history: the latest run, 2026-01-16 07:30Z, is as the runs before it" in quiet, quiet[-200:])
    loud = " ".join(run(*solve, str(moved(runs[11], 0.019, -0.023)), status=10).stdout.split())
    tally.check("differs from the runs before it: all tips moved by the same amount, (+" in loud, loud[-300:])
    latest = document("trend", "--history", str(morning))["latest"]
    tally.check(latest["differs"] and latest["moved"] == "all-tips" and latest["code"] in ("camera", "camera-or-head"),
                f"{latest}")
    near(latest["shift_mm"]["x"], 0.019, 0.009, "x of the camera's move, as the sightings have it")
    near(latest["shift_mm"]["y"], -0.023, 0.009, "y of the camera's move")

    beside = run("solve", "--history", str(morning), "--json", *solve[4:], str(moved(runs[13], -0.061, 0.009)), status=10)
    tally.check(beside.stderr.startswith("tiptrue: warning: Against the history: the latest run,") and
                beside.stderr.count("\n") == 1, beside.stderr)

    # A clock that begins in 1970, one that is years ahead, and one that went back: warned of when the run is entered, and kept out
    # until somebody says what was meant.
    def dated(path, started):
        other = pathlib.Path(folder, f"dated-{started[:10]}.csv")
        text = path.read_text()
        other.write_text(text.replace("# started: " + text.split("# started: ")[1][:20], "# started: " + started))
        return other

    clocks = pathlib.Path(folder, "clocks.db")
    store(clocks, runs[:24], status=10)
    sound = document("trend", "--history", str(clocks))
    for started, what in (("1970-01-01T00:00:07Z", "lies years away"), ("2068-02-03T07:30:00Z", "lies in the future"),
                          ("2026-01-06T07:31:00Z", "lies before that of the run before it")):
        warned = store(clocks, [dated(runs[24], started)], status=10).stderr
        tally.check(f"its start, {started}, {what}" in warned and "history started" in warned, f"clock: {warned}")
    wrong = document("trend", "--history", str(clocks))
    tally.check(wrong["tips"] == sound["tips"] and wrong["changes"] == sound["changes"] and wrong["last"] != sound["last"],
                "runs with wrong clocks change nothing")
    left = [e for e in wrong["events"] if e["code"] == "left-out"]
    tally.check(len(left) == 3 and wrong["runs_left_out"] == sound["runs_left_out"] + 3, f"left out: {left}")
    run("history", "started", "--history", str(clocks), left[0]["run"], "2026-02-02T07:30:00Z")
    run("history", "include", "--history", str(clocks), left[1]["run"])
    right = document("trend", "--history", str(clocks))
    tally.check(right["tips"][0]["runs"] == sound["tips"][0]["runs"] + 2,
                f"runs with a corrected start: {right['tips'][0]['runs']}")
    tally.check([e["code"] for e in right["events"]] == ["left-out"], f"events: {right['events']}")
    run("history", "exclude", "--history", str(clocks), right["latest"]["run"], "--why", "the plate was wet")
    out = document("trend", "--history", str(clocks))
    tally.check(any("the plate was wet" in e["text"] for e in out["events"]), f"excluded: {out['events']}")
    tally.check(out["tips"][0]["runs"] == right["tips"][0]["runs"] - 1, f"excluded: {out['tips'][0]['runs']} runs")
    listed = [json.loads(line) for line in run("history", "list", "--json", "--history", str(clocks)).stdout.splitlines()]
    tally.check(sum(e["excluded"] is not None for e in listed) == 2, "list says what is kept out")
    run("history", "note", "--history", str(clocks), right["latest"]["run"], "new clamp")
    run("history", "started", "--history", str(clocks), left[0]["run"], "yesterday", status=64)
    run("history", "exclude", "--history", str(clocks), left[0]["run"], status=64)
    run("history", "include", "--history", str(clocks), "0123456789abcdef", status=66)

    # Two runs tell nothing, and say so.
    brief = run("trend", "--history", str(history), "--plain", "--runs", "2").stdout
    tally.check(brief.startswith("TOO FEW RUNS: 2 of a tip at most; a step can be told from scatter from 8 on"), brief[:100])

    # Two runs of it, by id and as files: B less A.
    lines = store(pathlib.Path(folder, "again.db"), runs[29:31], status=10).stdout.splitlines()
    before, after = (json.loads(line) for line in lines)
    for name, line in zip("ab", lines):
        pathlib.Path(folder, name).write_text(line)
    files = document("compare", str(pathlib.Path(folder, "a")), str(pathlib.Path(folder, "b")))
    stored = document("compare", "--history", str(history), before["run"]["id"][:10], after["run"]["id"])
    for tip, with_scatter, old, new in zip(files["tips"], stored["tips"], before["tips"], after["tips"]):
        for axis in "xy":
            near(tip["offset"]["difference_mm"][axis], new["offset_mm"][axis] - old["offset_mm"][axis], 1e-9, f"B - A {axis}")
            u2 = old["same_plate"]["u_offset_mm"][axis] ** 2 + new["same_plate"]["u_offset_mm"][axis] ** 2
            near(tip["offset"]["u_mm"][axis], u2 ** 0.5, 1e-8, f"u {axis}")
            b = with_scatter["between_run_u_mm"][axis]
            near(with_scatter["offset"]["u_mm"][axis], (u2 + 2 * b * b) ** 0.5, 1e-8, f"u {axis} with the scatter between runs")
        tally.check(with_scatter["offset"]["dof"] < 200 < (tip["offset"]["dof"] or 1e9),
                    f"degrees of freedom {tip['offset']['dof']}, {with_scatter['offset']['dof']}")
        tally.check(tip["offset"]["significant"] and not tip["runout"]["significant"], f"{tip['tip']}: {tip['text']}")
    tally.check(files["same_plate"] and not files["same_run"], "same plate, two runs")
    back = document("compare", str(pathlib.Path(folder, "b")), str(pathlib.Path(folder, "a")))
    near(back["tips"][0]["offset"]["difference_mm"]["x"], -files["tips"][0]["offset"]["difference_mm"]["x"], 0, "turned round")
    same = document("compare", str(pathlib.Path(folder, "a")), str(pathlib.Path(folder, "a")))
    tally.check(same["same_run"] and not same["tips"][0]["offset"]["significant"], "a run against itself")
    other = dict(after, run=dict(after["run"], plate_serial="7"))
    pathlib.Path(folder, "c").write_text(json.dumps(other))
    plates = document("compare", str(pathlib.Path(folder, "a")), str(pathlib.Path(folder, "c")))
    full = (before["tips"][0]["covariance_mm2"][0][0] + after["tips"][0]["covariance_mm2"][0][0]) ** 0.5
    tally.check(not plates["same_plate"], "plates told apart by their serial")
    near(plates["tips"][0]["offset"]["u_mm"]["x"], full, 1e-8, "between plates the full uncertainty")

    # The scatter between runs becomes a line of the budget, and part of what the offset is worth.
    late_run = json.loads(run("solve", "--json", "--history", str(history), "--plate", str(weeks / "plate.json"), "--machine",
                              str(weeks / "machine.json"), str(runs[71]), status=10).stdout)
    alone = json.loads(run("solve", "--json", "--plate", str(weeks / "plate.json"), "--machine", str(weeks / "machine.json"),
                           str(runs[71]), status=10).stdout)
    for new, old, tip in zip(late_run["tips"], alone["tips"], trend["tips"]):
        line = [b for b in new["budget"] if b["source"] == "scatter between runs"]
        tally.check(len(line) == 1 and line[0]["type"] == "A" and not line[0]["of_plate"], f"budget: {line}")
        for axis, k in ("x", 0), ("y", 1):
            near(line[0]["u_mm"][axis], tip["between_run_u_mm"][axis], 1e-9, "the line is the trend's figure")
            for part in (lambda t: t, lambda t: t["same_plate"]):
                near(part(new)["covariance_mm2"][k][k] - part(old)["covariance_mm2"][k][k], line[0]["u_mm"][axis] ** 2, 1e-11,
                     "variance with and without a history")
        tally.check(new["offset_mm"] == old["offset_mm"] and new["prior_share"] == old["prior_share"], "the offset stays")
        tally.check(new["same_plate"]["dof"] < 1000, f"degrees of freedom {new['same_plate']['dof']}")
    again = document("trend", "--history", str(history))
    tally.check([t["within_run_u_mm"] for t in again["tips"]] == [t["within_run_u_mm"] for t in trend["tips"]],
                "a result that has the scatter in it says the same of its run")

    # Several machines, none, and what is not there.
    second = pathlib.Path(folder, "second.json")
    second.write_text((weeks / "machine.json").read_text().replace("bench-2", "bench-3"))
    copy = pathlib.Path(folder, "other.csv")
    copy.write_text(runs[3].read_text().replace("bench-2", "bench-3"))
    run("solve", "--history", str(history), "--json", "--plate", str(weeks / "plate.json"), "--machine", str(second), str(copy),
        status=10)
    tally.check("'bench-2', 'bench-3'" in run("trend", "--history", str(history), status=64).stderr, "which machines there are")
    tally.check(document("trend", "--history", str(history), "--machine", "bench-3")["runs"] == 1, "one run of bench-3")
    run("trend", "--history", str(history), "--machine", "bench-4", status=66)
    unknown = run("trend", "--history", str(history), "--machine", "bench-2", "--tip", "t9", status=64)
    tally.check("'t1', 't2', 't3'" in unknown.stderr, "which tips there are")
    run("trend", "--history", str(pathlib.Path(folder, "none.db")), status=66)
    run("trend", "--history", str(weeks / "plate.json"), status=65)
    run("trend", "--history", str(history), "--machine", "bench-2", "--since", "yesterday", status=64)
    run("compare", str(pathlib.Path(folder, "a")), status=64)
    run("compare", str(pathlib.Path(folder, "a")), str(weeks / "plate.json"), status=65)
    run("compare", str(pathlib.Path(folder, "a")), str(pathlib.Path(folder, "none")), status=66)
tally.close()
