# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""`plan --after` in a loop with a simulated machine: a few touches at a time until `solve` says that the target is met; then it
stops. With a fault in the run it says so instead. after.py --time: the answer comes within 20 ms, process and all.
"""
import json
import os
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "planning"))
import bench  # noqa: E402
from tally import Tally  # noqa: E402

ANSWER_S = 0.020
tally = Tally()


def ask(files, log, *options):
    done = subprocess.run([bench.PROGRAM, "plan", *files, "--after", log, "--json", *map(str, options)], capture_output=True,
                          text=True,
                          check=False, timeout=60)
    return done.returncode, json.loads(done.stdout) if done.stdout else done.stderr


def append(path, text):
    """Further rows of a log; its header must be that of the rows before."""
    lines = [line for line in text.splitlines(keepends=True) if not line.startswith("#")]
    new = not os.path.exists(path)
    with open(path, "a", encoding="utf-8") as out:
        out.writelines(lines if new else lines[1:])


def loop(plate, machine, target_mm, seed):
    """Touches until the target is met: (touches, result of solve, answers)."""
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        files = ["--plate", bench.save(f"{folder}/plate.json", plate), "--machine", bench.save(f"{folder}/machine.json", machine)]
        log, truth, plan = f"{folder}/run.csv", f"{folder}/truth.json", f"{folder}/plan.json"
        tips = len(machine["tips"])
        with open(plan, "w", encoding="utf-8") as out:
            out.write(bench.command("plan", *files, "--touches", max(8 * tips, 12), "--json"))
        append(log, bench.command("simulate", *files, "--plan", plan, "--draw", "--seed", seed, "--truth-out", truth))
        answers = 0
        while answers < 200:
            status, answer = ask(files, log, "--target-u", target_mm)
            answers += 1
            if status != 10:
                break
            tally.check(0 < len(answer["moves"]) <= 12 * tips, f"{len(answer['moves'])} moves at once")
            bench.save(plan, answer)
            append(log, bench.command("simulate", *files, "--plan", plan, "--truth", truth, "--seed", 1000 * seed + answers))
        result = json.loads(bench.command("solve", *files, "--json", log, good=(0, 10, 20)))
        return status, answer, result, answers


def loops():
    for name, tips, target_mm in (("slot", 1, 0.004), ("askew", 1, 0.0040), ("hexagon", 2, 0.0035), ("comb", 1, 0.0056)):
        status, answer, result, answers = loop(bench.PLATES[name], bench.machine(tips), target_mm, 3)
        worst = max(max(tip["same_plate"]["expanded_mm"].values()) for tip in result["tips"])
        print(f"{name}: {result['run']['touches']['used']} touches after {answers} answers, {1000 * worst:.2f} um")
        tally.check(status == 0 and answer["moves"] == [] and answer["target_met"] is True, f"{name}: ended with {status}")
        tally.check(worst <= target_mm, f"{name}: {worst:.6f} mm after all, the target is {target_mm}")
        # not many more than planned at once
        with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
            plan = json.loads(bench.command("plan", "--plate", bench.save(f"{folder}/p.json", bench.PLATES[name]), "--machine",
                                            bench.save(f"{folder}/m.json", bench.machine(tips)), "--target-u", target_mm, "--json"))
        total = plan["touches"] + plan["sightings"]
        made = result["run"]["touches"]["used"] + result["run"]["sightings"]
        tally.check(made <= 1.35 * total + 6 * tips, f"{name}: {made} rows, planned at once it would be {total}")


def cases():
    plate, machine = bench.PLATES["slot"], bench.machine()
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        files = ["--plate", bench.save(f"{folder}/plate.json", plate), "--machine", bench.save(f"{folder}/machine.json", machine)]
        log, truth, plan = f"{folder}/run.csv", f"{folder}/truth.json", f"{folder}/plan.json"
        with open(plan, "w", encoding="utf-8") as out:
            out.write(bench.command("plan", *files, "--touches", 24, "--json"))
        text = bench.command("simulate", *files, "--plan", plan, "--draw", "--seed", 4, "--truth-out", truth)
        append(log, text)
        status, answer = ask(files, log, "--touches", 3)
        tally.check(status == 10 and answer["touches"] == 3 and answer["sightings"] == 0, f"three touches: {status}")
        before = {(r["rotation"], tuple(r["at"])) for r in answer["moves"]}
        tally.check(len(before) == 3, "the same touch twice")
        tally.check(all(move["id"] > 30 for move in answer["moves"]), "ids that the run has already")
        # one edge alone was touched: the offset is not determined, and the answer goes elsewhere
        one, rows = f"{folder}/one.csv", text.splitlines(keepends=True)
        append(one, "".join(row for row in rows if not row.startswith("touch") or row.startswith("touch,east")))
        status, answer = ask(files, one, "--target-u", 0.005)
        tally.check(status == 10 and {move["target"] for move in answer["moves"]} - {"east"} != set(), f"one edge: {status}")
        # a plate that moved, as the marks sighted again say too: it is taken into account
        with open(truth, encoding="utf-8") as stream:
            moved = {**json.load(stream), "moved": {"after": 0.5, "by": [0.06, 0.05]}}
        bench.save(truth, moved)
        slipped = f"{folder}/slipped.csv"
        append(slipped, bench.command("simulate", *files, "--plan", plan, "--truth", truth, "--seed", 4))
        status, answer = ask(files, slipped, "--target-u", 0.0055)
        result = json.loads(bench.command("solve", *files, "--json", slipped, good=(0, 10)))
        found = [f["severity"] for f in result["findings"] if f["code"] == "moved-plate"]
        tally.check(status in (0, 10) and found == ["warning"], f"a plate that moved: {status}, {found}")
        # as nothing says but the touches: nothing that is added helps
        with open(slipped, encoding="utf-8") as stream:
            rows = stream.readlines()
        last = max(i for i, row in enumerate(rows) if row.startswith("touch"))
        with open(slipped, "w", encoding="utf-8") as out:
            out.writelines(rows[:last + 1])
        status, answer = ask(files, slipped, "--target-u", 0.0055)
        tally.check(status != 0 and any("moved" in note for note in answer["notes"]),
                    f"a plate that moved, not sighted again: {status}, {answer['notes']}")
        # a target that the stated radius stands in the way of, edges being touched from one side only: told, and no endless
        # touching
        files[1] = bench.save(f"{folder}/corner.json", bench.CORNER)
        with open(plan, "w", encoding="utf-8") as out:
            out.write(bench.command("plan", *files, "--touches", 60, "--json"))
        corner = f"{folder}/corner.csv"
        append(corner, bench.command("simulate", *files, "--plan", plan, "--draw", "--seed", 4))
        status, answer = ask(files, corner, "--target-u", 0.003)
        tally.check(status == 20 and not answer["moves"] and answer["limited_by"] is not None and not answer["target_met"],
                    f"out of reach: {status}, {answer['limited_by']}")
        status, answer = ask(files, f"{folder}/none.csv", "--target-u", 0.005)
        tally.check(status == 66, f"a log that is not there: {status}")


def timing():
    """The fastest of some calls, for eight tips and 96 touches: what the answer takes when nothing else runs."""
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        for name, tips in (("slot", 1), ("hexagon", 2), ("slot", 8)):
            files = ["--plate", bench.save(f"{folder}/plate.json", bench.PLATES[name]),
                     "--machine", bench.save(f"{folder}/machine.json", bench.machine(tips))]
            log = f"{folder}/run.csv"
            with open(log, "w", encoding="utf-8") as out:
                out.write(bench.command("simulate", *files, "--draw"))
            begun = f"{folder}/begun.csv"  # nothing yet of the last tip
            with open(log, encoding="utf-8") as stream, open(begun, "w", encoding="utf-8") as out:
                out.writelines(row for row in stream if tips == 1 or f",t{tips}," not in row)
            for question in ((log, "--touches", 4), (log, "--target-u", 0.0025), (begun, "--target-u", 0.004)):
                fastest = 1.0
                for _ in range(15):
                    begin = time.perf_counter()
                    ask(files, *question)
                    fastest = min(fastest, time.perf_counter() - begin)
                what = f"{name}, {tips} tips, {' '.join(map(str, question[1:]))}"
                print(f"{what}: {1000 * fastest:.1f} ms")
                tally.check(fastest < ANSWER_S, f"{what}: the answer takes {1000 * fastest:.1f} ms")


if "--time" in sys.argv:
    timing()
else:
    loops()
    cases()
tally.close()
