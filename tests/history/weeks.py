# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Twelve weeks of recorded runs (tests/field/13-weeks): what changed, what drifts, and what the commands write of it.

Environment: TIPTRUE, srcdir.
"""
import datetime
import json
import os
import pathlib
import shutil
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
    tally.check(status is None or done.returncode == status,
                f"{arguments[0]} {arguments[1:4]} exits {done.returncode}, not {status}: {done.stderr[:300]}")
    return done


def document(name, *arguments):
    found = json.loads(run(name, "--json", *arguments).stdout)
    for error in list(validators[name].iter_errors(found))[:3]:
        tally.check(False, f"{name}: {'/'.join(map(str, error.path))}: {error.message}")
    tally.check(found["schema"] == f"tiptrue.{name}/1", f"{name}: schema {found['schema']}")
    return found


def store(history, runs, status=10):
    return run("solve", "--history", str(history), "--json", "--plate", str(weeks / "plate.json"), "--machine",
               str(weeks / "machine.json"), *[str(r) for r in runs], status=status)


def left_over(a, tip_a, b, tip_b, axis):
    """Variance of what of the plate's errors does not cancel between two held offsets."""
    effects = []
    for result, tip in (a, tip_a), (b, tip_b):
        effects.append({(f["kind"], f["name"], f["axis"]): (e, f["u_mm"])
                        for f, e in zip(result["plate_features"], tip["same_plate"]["plate_effect"][axis])})
    nothing = (0, 0)
    return sum((effects[1].get(k, nothing)[0] - effects[0].get(k, nothing)[0]) ** 2 * (effects[0].get(k) or effects[1][k])[1] ** 2
               for k in effects[0].keys() | effects[1].keys())


def without_held(text):
    """A result as it was before it had a solution with the plate held."""
    result = json.loads(text)
    for key in "between_tips", "plate_features":
        del result[key]
    for tip in result["tips"]:
        for key in "offset_mm", "plate_effect":
            del tip["same_plate"][key]
    return json.dumps(result)


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
        near(tip["within_run_u_mm"]["x"], 0.00149, 0.00005, f"{tip['tip']} within a run")
        near(tip["between_run_u_mm"]["x"], 0.0031, 0.0012, f"{tip['tip']} between runs")

    # One tip, and from a later time on.
    one = document("trend", "--history", str(history), "--tip", "t2", "--points")
    tally.check([t["tip"] for t in one["tips"]] == ["t2"] and len(one["tips"][0]["points"]) == 72, "--tip t2 --points")
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
    tally.check(brief.startswith("TOO FEW RUNS: at most 2 per tip; 8 are needed to tell a step from scatter"), brief[:100])

    # Two runs of it, by id and as files: B less A.
    lines = store(pathlib.Path(folder, "again.db"), runs[29:31], status=10).stdout.splitlines()
    before, after = (json.loads(line) for line in lines)
    for name, line in zip("ab", lines):
        pathlib.Path(folder, name).write_text(line)
    files = document("compare", str(pathlib.Path(folder, "a")), str(pathlib.Path(folder, "b")))
    stored = document("compare", "--history", str(history), before["run"]["id"][:10], after["run"]["id"])
    for tip, with_scatter, old, new in zip(files["tips"], stored["tips"], before["tips"], after["tips"]):
        for axis in "xy":
            near(tip["offset"]["difference_mm"][axis],
                 new["same_plate"]["offset_mm"][axis] - old["same_plate"]["offset_mm"][axis], 1e-9, f"B - A {axis}")
            u2 = old["same_plate"]["u_offset_mm"][axis] ** 2 + new["same_plate"]["u_offset_mm"][axis] ** 2
            apart = left_over(before, old, after, new, axis)
            tally.check(0 < apart < 0.1 * u2, f"what the plate leaves over: {apart}")
            u2 += apart
            near(tip["offset"]["u_mm"][axis], u2 ** 0.5, 1e-8, f"u {axis}")
            b = with_scatter["between_run_u_mm"][axis]
            near(with_scatter["offset"]["u_mm"][axis], (u2 + 2 * b * b) ** 0.5, 1e-8, f"u {axis} with the scatter between runs")
        tally.check(20 < tip["offset"]["dof"] < with_scatter["offset"]["dof"] < 200,
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

    # The scatter between the latest runs becomes a line of the budget, and part of what the offset is worth.
    latest = document("trend", "--runs", "41", "--history", str(history))
    late_run = json.loads(run("solve", "--json", "--history", str(history), "--plate", str(weeks / "plate.json"), "--machine",
                              str(weeks / "machine.json"), str(runs[71]), status=10).stdout)
    alone = json.loads(run("solve", "--json", "--plate", str(weeks / "plate.json"), "--machine", str(weeks / "machine.json"),
                           str(runs[71]), status=10).stdout)
    for new, old, tip in zip(late_run["tips"], alone["tips"], latest["tips"]):
        line = [b for b in new["budget"] if b["source"] == "scatter between runs"]
        tally.check(len(line) == 1 and line[0]["type"] == "A" and not line[0]["of_plate"], f"budget: {line}")
        for axis, k in ("x", 0), ("y", 1):
            near(line[0]["u_mm"][axis], tip["between_run_u_mm"][axis], 1e-9, "the line is the trend's figure")
            for part in (lambda t: t, lambda t: t["same_plate"]):
                near(part(new)["covariance_mm2"][k][k] - part(old)["covariance_mm2"][k][k], line[0]["u_mm"][axis] ** 2, 1e-11,
                     "variance with and without a history")
        tally.check(new["offset_mm"] == old["offset_mm"] and new["prior_share"] == old["prior_share"], "the offset stays")
        tally.check(new["same_plate"]["dof"] < 1000, f"degrees of freedom {new['same_plate']['dof']}")
    # 2026-11-26: solved again, a run's uncertainty shrank each time (degrees of freedom 9 -> 98, U 24.4 -> 21.4 um in five turns),
    # "unchanged" and "stored" in one answer: the scatter between runs was taken back with the degrees of freedom of the whole
    # result. The budget now says its own, and all digits stay.
    kept = pathlib.Path(folder, "kept.db")
    shutil.copy(history, kept)
    machine = pathlib.Path(folder, "machine.json")
    machine.write_text((weeks / "machine.json").read_text() + "\n")  # another document: the result is stored beside the first
    runs_id = json.loads(run("solve", "--json", "--history", str(kept), "--plate", str(weeks / "plate.json"), "--machine",
                             str(machine), str(runs[71]), status=10).stdout)["run"]["id"]
    first = run("history", "show", "--history", str(kept), "--json", runs_id).stdout
    for turn in range(5):
        told = run("history", "show", "--history", str(kept), "--again", "--replace", runs_id).stdout
        tally.check("  unchanged\n" in told and "stored" not in told.split("\n", 1)[1], f"turn {turn}: {told}")
    tally.check(run("history", "show", "--history", str(kept), "--json", runs_id).stdout == first, "solved again it is the same")
    dof = [b["dof"] for b in json.loads(first)["tips"][0]["budget"] if b["source"] == "scatter between runs"]
    tally.check(len(dof) == 1 and 1 <= dof[0] < json.loads(first)["tips"][0]["same_plate"]["dof"], f"its own: {dof}")

    # A result of a program that did not write them: never tighter than it was, and not tighter each time.
    old = json.loads(first)
    for tip in old["tips"]:
        for line in tip["budget"]:
            line.pop("dof")
    bare = pathlib.Path(folder, "bare.db")
    for line in run("history", "export", "--history", str(kept)).stdout.splitlines():
        entry = json.loads(line)
        if entry["id"] == runs_id:
            entry["results"] = entry["results"][-1:]
            entry["results"][0]["result"] = old
            pathlib.Path(folder, "bare.jsonl").write_text(json.dumps(entry) + "\n")
    run("history", "import", "--history", str(bare), str(pathlib.Path(folder, "bare.jsonl")))
    run("history", "show", "--history", str(bare), "--again", "--replace", runs_id)
    second = run("history", "show", "--history", str(bare), "--json", runs_id).stdout
    for was, now in zip(old["tips"], json.loads(second)["tips"]):
        tally.check(0.5 * was["same_plate"]["dof"] < now["same_plate"]["dof"] <= was["same_plate"]["dof"] * (1 + 1e-9),
                    f"an old result: {was['same_plate']['dof']} -> {now['same_plate']['dof']}")
    told = run("history", "show", "--history", str(bare), "--again", "--replace", runs_id).stdout
    tally.check("  unchanged\n" in told and run("history", "show", "--history", str(bare), "--json", runs_id).stdout == second,
                f"and then stays: {told}")

    # 2026-11-26: the trend of a history that was exported and imported differed by 1e-10 mm: the summary of a run was made from
    # what the solve held in memory, after an import from its document, which has ten decimals. It is made from the document
    # in both.
    exported = pathlib.Path(folder, "exported.jsonl")
    exported.write_text(run("history", "export", "--history", str(history)).stdout)
    imported = pathlib.Path(folder, "imported.db")
    run("history", "import", "--history", str(imported), str(exported))
    first = run("trend", "--json", "--points", "--history", str(history)).stdout
    tally.check(run("trend", "--json", "--points", "--history", str(imported)).stdout == first, "the trend of an imported history")

    again = document("trend", "--history", str(history))
    tally.check([t["within_run_u_mm"] for t in again["tips"]] == [t["within_run_u_mm"] for t in trend["tips"]],
                "a result that has the scatter in it says the same of its run")

    # Runs from before there was a solution with the plate held are solved again from their logs, once; never a mixture.
    older = pathlib.Path(folder, "older.jsonl")
    lines = [json.loads(line) for line in run("history", "export", "--history", str(history)).stdout.splitlines()]
    for line in lines[:40]:
        for result in line["results"]:
            result["result"] = json.loads(without_held(json.dumps(result["result"])))
    older.write_text("\n".join(json.dumps(line) for line in lines) + "\n")
    run("history", "import", "--history", str(pathlib.Path(folder, "older.db")), str(older))
    mended = document("trend", "--history", str(pathlib.Path(folder, "older.db")), "--points")
    whole = document("trend", "--history", str(history), "--points")
    for old, new in zip(whole["tips"], mended["tips"]):
        for p, q in zip(old["points"], new["points"]):
            for key in p:
                if isinstance(p[key], dict) and "x" in p[key]:
                    near(q[key]["x"], p[key]["x"], 1e-9, f"{key} of an older run")
    tally.check([c["after"] for c in mended["changes"]] == [c["after"] for c in whole["changes"]], "its changes")
    one = json.loads(run("compare", "--json", "--history", str(pathlib.Path(folder, "older.db")), before["run"]["id"][:10],
                         after["run"]["id"]).stdout)
    near(one["tips"][0]["offset"]["difference_mm"]["x"], stored["tips"][0]["offset"]["difference_mm"]["x"], 1e-9,
         "two older runs compared")

    # The offset in use came from a stored run: held offsets are compared, with what both runs say of them.
    fresh = pathlib.Path(folder, "in-use.db")
    numbered = pathlib.Path(folder, "numbered.json")
    numbered.write_text(json.dumps(dict(json.loads((weeks / "plate.json").read_text()), serial="0417")))
    origin = json.loads(run("solve", "--history", str(fresh), "--json", "--plate", str(numbered), "--machine",
                            str(weeks / "machine.json"), str(runs[40]), status=10).stdout)
    used = json.loads((weeks / "machine.json").read_text())
    for tip, found in zip(used["tips"], origin["tips"]):
        tip.update(offset=[round(found["offset_mm"][axis], 3) for axis in "xy"], offset_plate="0417")
    in_use = pathlib.Path(folder, "in-use.json")
    in_use.write_text(json.dumps(used))
    ask = ["--json", "--plate", str(numbered), "--machine", str(in_use), str(runs[41])]
    since = json.loads(run("solve", "--history", str(fresh), *ask, status=None).stdout)
    alone = json.loads(run("solve", *ask, status=None).stdout)
    for new, full, old in zip(since["tips"], alone["tips"], origin["tips"]):
        tally.check(new["change_from_run"] == origin["run"]["id"] and full["change_from_run"] is None, "the run it came from")
        tally.check(new["change_on_same_plate"] and new["offset_mm"] == full["offset_mm"], "the offset stays the full one")
        for axis in "xy":
            near(new["change_mm"][axis], new["same_plate"]["offset_mm"][axis] - old["same_plate"]["offset_mm"][axis], 1e-9,
                 f"change of held offsets {axis}")
            near(full["change_mm"][axis], full["offset_mm"][axis] - full["present_mm"][axis], 1e-9, f"change in full {axis}")
            u2 = old["same_plate"]["u_offset_mm"][axis] ** 2 + new["same_plate"]["u_offset_mm"][axis] ** 2
            u2 += left_over(origin, old, since, new, axis)
            near(new["change_expanded_mm"][axis] / u2 ** 0.5, 2.01, 0.03, f"its factor {axis}")
    run("history", "show", "--history", str(fresh), since["run"]["id"], "--again", "--replace")
    again = json.loads(run("history", "show", "--history", str(fresh), since["run"]["id"], "--json").stdout)
    tally.check([t["change_mm"] for t in again["tips"]] == [t["change_mm"] for t in since["tips"]], "solved again it says the same")
    other = dict(used, tips=[dict(tip, offset=[tip["offset"][0] + 0.002, tip["offset"][1]]) for tip in used["tips"]])
    in_use.write_text(json.dumps(other))
    moved = json.loads(run("solve", "--history", str(fresh), *ask, status=None).stdout)
    tally.check(all(tip["change_from_run"] is None for tip in moved["tips"]), "an offset that no run gave")

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
