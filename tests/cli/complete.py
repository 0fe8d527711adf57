# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Is a run what it should be: every tip touched, of this machine and plate, each row once; features out of use.

The run is the field log of two tips, with parts taken away, written twice, or under other names."""
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

program = os.environ["TIPTRUE"]
field = pathlib.Path(os.environ["srcdir"]).resolve() / "tests" / "field" / "03-two-tips"
tally = Tally()
work = pathlib.Path(tempfile.mkdtemp())
machine = json.loads((field / "machine.json").read_text())
plate = json.loads((field / "plate.json").read_text())
lines = (field / "run.csv").read_text().splitlines(keepends=True)
head = next(i for i, line in enumerate(lines) if line.startswith("kind,"))
rows = lines[head + 1:]
FIRST, SECOND = (tip["name"] for tip in machine["tips"])


def run(*arguments):
    if arguments[0] == "solve":  # the files of the machine file's export are not here
        arguments += ("--present", "machine")
    return subprocess.run([program, *arguments], cwd=work, capture_output=True, text=True, check=False, timeout=60)


def solve(log, *options, of_machine=machine, of_plate=plate):
    (work / "machine.json").write_text(json.dumps(of_machine))
    (work / "plate.json").write_text(json.dumps(of_plate))
    (work / "run.csv").write_text("".join(log))
    done = run("solve", "--json", *options, "--plate", "plate.json", "--machine", "machine.json", "run.csv")
    (work / "result.json").write_text(done.stdout)
    return done.returncode, json.loads(done.stdout.splitlines()[0])


def codes(result):
    return sorted(finding["code"] for finding in result["findings"])


def verdicts(result):
    return {tip["tip"]: tip["verdict"] for tip in result["tips"]}


def changed(document, part, name, **values):
    return {**document, part: [{**entry, **values} if entry["name"] == name else entry for entry in document[part]]}


status, whole = solve(lines)
good = verdicts(whole)
tally.check("repeat" not in good.values() and whole["tips_wanted"] is None, f"the whole run: {good}")

# A tip that is missing: the other one keeps its own verdict, the run is to be repeated.
half = [line for line in lines if f",{SECOND}," not in line]
status, result = solve(half)
tally.check(status == 20 and result["verdict"] == "repeat", f"a tip is missing: {status}, {result['verdict']}")
tally.check(verdicts(result) == {FIRST: good[FIRST], SECOND: "not measured"}, f"a tip is missing: {verdicts(result)}")
missing = [f for f in result["findings"] if f["code"] == "not-touched"]
tally.check(len(missing) == 1 and missing[0]["tip"] == SECOND and missing[0]["severity"] == "error", f"told once: {missing}")
tally.check(result["tips"][1]["offset_mm"] == {"x": None, "y": None} and result["tips"][1]["touches"]["read"] == 0
            and set(result["tips"][1]) == set(result["tips"][0]), "a tip that was not measured has all keys, null")
shown = run("solve", "--plain", "--plate", "plate.json", "--machine", "machine.json", "run.csv").stdout
tally.check("'tiptrue plan --after' with this run" in shown, f"what would mend it: {shown[-300:]}")
tally.check(shown.startswith("REPEAT: touch " + SECOND) and "--tip" in shown, f"text: {shown[:200]}")

solve([*half, *[line.replace(",1\n", ",0\n") for line in half if line.startswith("touch")]], of_machine=changed(
    machine, "tips", FIRST, offset=[7, 1000]))
shown = run("solve", "--plain", "--plate", "plate.json", "--machine", "machine.json", "run.csv").stdout
tally.check("plan --after" not in shown and "fix what is listed" in shown, "more touches do not mend an offset that cannot be")

# Unless it is not in use, or not wanted.
status, result = solve(half, of_machine=changed(machine, "tips", SECOND, in_use=False))
tally.check(verdicts(result) == {FIRST: good[FIRST]} and result["verdict"] == good[FIRST], f"not in use: {verdicts(result)}")
status, result = solve(half, "--tip", FIRST)
tally.check(verdicts(result) == {FIRST: good[FIRST]} and result["verdict"] == good[FIRST] and result["tips_wanted"] == [FIRST],
            f"not wanted: {verdicts(result)}")
status, result = solve(half, "--tip", FIRST, "--tip", SECOND, of_machine=changed(machine, "tips", SECOND, in_use=False))
tally.check(verdicts(result)[SECOND] == "not measured" and status == 20, "wanted although not in use")
status, result = solve(lines, of_machine=changed(machine, "tips", SECOND, in_use=False))
tally.check(verdicts(result) == good, f"touched although not in use: {verdicts(result)}")
bad = changed(machine, "tips", SECOND, offset=[1000, 7])
status, result = solve(lines, of_machine=bad)
tally.check(result["verdict"] == "repeat" and verdicts(result)[FIRST] == good[FIRST], "a change that is not plausible")
status, result = solve(lines, "--tip", FIRST, of_machine=bad)
tally.check(result["verdict"] == good[FIRST] and len(result["tips"]) == 2, "the verdict of the run is that of the wanted tips")
done = run("solve", "--tip", "nobody", "--plate", "plate.json", "--machine", "machine.json", "run.csv")
tally.check(done.returncode == 64 and "has no tip 'nobody'" in done.stderr, f"an unknown tip: {done.returncode} {done.stderr}")

# Export: nothing of a run with a missing tip, but the measured tips by name.
puts = {**machine, "export": [{"file": "c.json", "put": [f"{tip}.offset.{axis}=/{tip}/{axis}" for tip in (FIRST, SECOND)
                                                          for axis in "xy"]}]}
present = {tip["name"]: dict(zip("xy", tip["offset"])) for tip in machine["tips"]}
off = {**present, FIRST: {"x": present[FIRST]["x"] + 0.2, "y": present[FIRST]["y"]}}
moved = changed(puts, "tips", FIRST, offset=[off[FIRST]["x"], off[FIRST]["y"]])
status, result = solve(half, of_machine=moved)
tally.check(verdicts(result) == {FIRST: "update", SECOND: "not measured"}, f"to be exported: {verdicts(result)}")
for options, wanted in (((), 65), (("--tip", SECOND), 65), (("--tip", FIRST), 0)):
    (work / "c.json").write_text(json.dumps(off))
    done = run("export", "result.json", "--machine", "machine.json", *options)
    stands = json.loads((work / "c.json").read_text())
    tally.check(done.returncode == wanted, f"export {options}: {done.returncode}, {done.stderr}")
    tally.check(stands[SECOND] == off[SECOND] and (stands[FIRST] != off[FIRST]) == (wanted == 0), f"export {options}: {stands}")
status, result = solve(half, "--tip", FIRST, of_machine=moved)
(work / "c.json").write_text(json.dumps(off))
done = run("export", "result.json", "--machine", "machine.json")
tally.check(done.returncode == 0 and json.loads((work / "c.json").read_text())[FIRST] != off[FIRST],
            f"export of what was asked for: {done.returncode}, {done.stderr}")

# A run and its history: solved again it is the same; a comparison passes over what was not measured.
solve(half)
run("solve", "--history", "h.db", "--tip", FIRST, "--plate", "plate.json", "--machine", "machine.json", "run.csv")
done = run("history", "show", "--history", "h.db", "--again", result["run"]["id"])
tally.check("unchanged" in done.stdout, f"solved again: {done.stdout} {done.stderr}")
(work / "half.json").write_text(run("solve", "--json", "--plate", "plate.json", "--machine", "machine.json", "run.csv").stdout)
solve(lines)
done = json.loads(run("compare", "--json", "half.json", "result.json").stdout)
tally.check([tip["tip"] for tip in done["tips"]] == [FIRST], f"compare: {done['tips']}")

# Another machine, another plate: by name or serial; a log that names none is silent.
silent = [line for line in lines if not line.startswith(("# machine:", "# plate:", "# plate_serial:"))]
for heading, of_plate, code in ((f"# machine: {machine['name']}", plate, None), ("# machine: another", plate, "other-machine"),
                                (f"# plate: {plate['name']}", plate, None), ("# plate: another", plate, "other-plate"),
                                ("# plate: S-9", {**plate, "serial": "S-9"}, None),
                                ("# plate_serial: S-9", {**plate, "serial": "S-9"}, None),
                                ("# plate_serial: S-8", {**plate, "serial": "S-9"}, "other-plate"),
                                ("# plate_serial: S-8", {k: v for k, v in plate.items() if k != "serial"}, None),
                                ("# note: nothing", plate, None)):
    status, result = solve([heading + "\n", *silent], of_plate=of_plate)
    found = [f for f in result["findings"] if f["code"].startswith("other-")]
    tally.check([f["code"] for f in found] == ([code] if code else []), f"{heading}: {codes(result)}")
    tally.check((status == 20) == (code is not None), f"{heading}: {status}")
    if code:
        tally.check(found[0]["severity"] == "error" and found[0]["values"]["log"] in heading, f"{heading}: {found[0]}")

# Rows twice: all of them, or a block of eight; not of seven, nor in another order.
plain = whole["tips"][0]["offset_mm"], whole["tips"][0]["u_offset_mm"], whole["run"]["touches"]
touches = [row for row in rows if row.startswith("touch")]
for name, log, n in (("all", rows + rows, len(rows)), ("three times", rows * 3, 2 * len(rows)),
                     ("eight", rows + touches[3:11], 8), ("seven", rows + touches[3:10], 0),
                     ("two blocks", rows[:30] + rows[:30] + rows[30:] + rows[40:52], 42),
                     ("the other way", rows + touches[10:2:-1], 0)):
    status, result = solve(lines[:head + 1] + log)
    found = [f for f in result["findings"] if f["code"] == "repeated-rows"]
    tally.check(sum(f["values"]["rows"] for f in found) == n, f"{name}: {[f['values'] for f in found]}, {n} expected")
    same = (result["tips"][0]["offset_mm"], result["tips"][0]["u_offset_mm"], result["run"]["touches"]) == plain
    tally.check(same == (n > 0), f"{name}: counted once: {same}")
    tally.check(all(f["severity"] == "warning" and len(f["rows"]) == n for f in found), f"{name}: {found}")

# An edge and a mark out of use: what was touched and sighted of them does not count, and nothing is planned on them.
edge, mark = plate["edges"][1]["name"], next(m["name"] for m in plate["marks"] if m["name"] != plate["reference"])
damaged = changed(changed(plate, "edges", edge, use=False), "marks", mark, use=False)
status, result = solve(lines, "--touches", of_plate=damaged)
tally.check(edge not in [e["edge"] for e in result["edges"]], "an edge out of use has no result")
tally.check(all(o["use"] == "other" for o in result["observations"] if o["target"] in (edge, mark)), "its rows do not count")
without = [line for line in lines if f",{edge}," not in line and f",{mark}," not in line]
status, other = solve(without, of_plate=damaged)
tally.check(all(abs(a["offset_mm"][axis] - b["offset_mm"][axis]) < 1e-6 for a, b in zip(result["tips"], other["tips"])
                for axis in "xy"), "the same as without its rows")
stated = changed(changed(machine, "tips", FIRST, radius=0.31, radius_u=0.02), "tips", SECOND, radius=0.31, radius_u=0.02)
(work / "machine.json").write_text(json.dumps(stated))
done = run("plan", "--json", "--plate", "plate.json", "--machine", "machine.json")
made = json.loads(done.stdout)
tally.check(all(move["target"] not in (edge, mark) for move in made["moves"]), "nothing is planned on it")
tally.check(any(left["edge"] == edge and "out of use" in left["reason"] for left in made["left_out"]), f"{made['left_out']}")
(work / "plate.json").write_text(json.dumps(changed(plate, "edges", edge, use="no")))
done = run("check", "--plate", "plate.json")
tally.check(done.returncode == 65 and "'use' is \"no\", and true or false is expected" in done.stderr, done.stderr)
shutil.rmtree(work)
tally.close()
