# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The schemas of docs/schema against all documents here and against what the program writes. What is wrong must fail."""
import copy
import csv
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile

import jsonschema

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

top = pathlib.Path(os.environ["srcdir"]).resolve()
program = os.environ["TIPTRUE"]
tally = Tally()
bench = top / "tests" / "cli" / "bench"
PATTERN = r"id=(?<id>\d+) (at )?x=(?<x>\S+) y=(?<y>\S+) z=(?<z>\S+) ok=(?<ok>[01])"


def faults(document):
    """What the document's own schema has against it; None without a schema."""
    validator = validators.get(document.get("schema"))
    return None if validator is None else [f"{'/'.join(map(str, e.path))}: {e.message}" for e in validator.iter_errors(document)]


def expect_good(document, what):
    found = faults(document)
    tally.check(found == [], f"{what}: {'no schema' if found is None else found[:3]}")


def expect_bad(document, what):
    tally.check(faults(document) != [], f"{what}: the schema has nothing against it")


def load(path):
    return json.loads(path.read_text(encoding="utf-8-sig"))


def solve(folder, *run):
    """The lines that the program writes of the runs in @folder."""
    command = [program, "solve", "--json", "--touches", "--plate", "plate.json", "--machine", "machine.json", *run]
    done = subprocess.run(command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, check=False)
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    tally.check(lines != [], f"{folder.name}: the program wrote nothing, exit status {done.returncode}")
    return lines


def without(document, *path):
    changed = copy.deepcopy(document)
    inner = changed
    for step in path[:-1]:
        inner = inner[step]
    del inner[path[-1]]
    return changed


def with_value(document, value, *path):
    changed = copy.deepcopy(document)
    inner = changed
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    return changed


entries = {}
validators = {}
for path in sorted((top / "docs" / "schema").glob("*.schema.json")):
    schema = load(path)
    kind = jsonschema.Draft202012Validator
    try:
        kind.check_schema(schema)
        tally.check(True, "")
    except jsonschema.SchemaError as fault:
        tally.check(False, f"{path.name}: no schema: {fault.message}")
    validators[schema["title"]] = kind(schema)
    tally.check(schema["title"] == f"tiptrue.{path.name.split('.')[0]}/1", f"{path.name}: its title is {schema['title']}")
tally.check(len(validators) == 17, f"seventeen schemas, not {len(validators)}")

# Documents of people: every one in the repository.
for path in sorted([*(top / "examples").rglob("*.json"), *(top / "tests" / "field").rglob("*.json"), *bench.glob("*.json")]):
    expect_good(load(path), path.relative_to(top))

# Documents shown in the manual.
shown = [json.loads(block) for block in re.findall(r"```json\n(.*?)```", (top / "docs" / "formats.md").read_text(), re.DOTALL)]
for document in shown:
    expect_good(document, f"{document['schema']} in docs/formats.md")
tally.check(sorted(d["schema"] for d in shown) == sorted(validators), "docs/formats.md shows each kind of document once")

# A run as JSON: the same as its CSV, in form and in result.
rows = csv.DictReader(line for line in (bench / "run.csv").read_text().splitlines() if not line.startswith("#"))
numbers = {"x", "y", "rotation", "temperature"}
observations = [{k: float(v) if k in numbers else int(v) if k == "contact" else v for k, v in row.items() if v} for row in rows]
run = {"schema": "tiptrue.run/1", "machine": "lathe corner", "started": "2026-03-14T06:12:00Z", "observations": observations}
expect_good(run, "run as JSON")
with tempfile.TemporaryDirectory() as name:
    folder = pathlib.Path(name)
    for file in ("plate.json", "machine.json", "run.csv"):
        (folder / file).write_bytes((bench / file).read_bytes())
    (folder / "run.json").write_text(json.dumps(run))
    (folder / "broken.csv").write_text("kind,target\nsight,M0\n")
    lines = solve(folder, "run.csv", "run.json", "broken.csv", "nowhere.csv")
    for line in lines:
        expect_good(line, f"output on bench {line.get('file') or line['run']['file']}")
    tally.check(len(lines) == 4, f"a line for each of four runs, not {len(lines)}")
    for axis in "xy":
        # JSON numbers lose trailing zeros, and with them the printed digits: the noise may differ in the last place, not the result
        of_csv, of_json = (line["tips"][0]["offset_mm"][axis] for line in lines[:2])
        tally.check(abs(of_csv - of_json) < 1e-5, f"offset {axis} is {of_csv} by CSV, {of_json} by JSON")
    result, error = lines[0], lines[2]
    trials = solve(folder, "--monte-carlo", "2000", "run.csv")[0]
    expect_good(trials, "output with trials")
    for tip in trials["tips"]:
        for axis in "xy":
            found, stated = tip["monte_carlo"][axis]["u_mm"], tip["u_offset_mm"][axis]
            # a standard deviation from 2000 trials is known to 1.6 %: five times that
            tally.check(abs(found / stated - 1) < 0.08, f"{tip['tip']} {axis}: u {stated} stated, {found} by trials")
    command = [program, "check", "--json", "--plate", "plate.json", "--machine", "machine.json", "run.csv"]
    check = subprocess.run(command, cwd=folder, stdout=subprocess.PIPE, check=False)
    command = [program, "solve", "--plate", "plate.json", "--machine", "machine.json", "--history", "h.db", "run.csv", "run.json"]
    subprocess.run(command, cwd=folder, stdout=subprocess.DEVNULL, check=False)
    (folder / "result.json").write_text(json.dumps(with_value(result, "00000000000000a7", "run", "id")))
    command = [program, "history", "import", "--history", "h.db", "result.json"]
    subprocess.run(command, cwd=folder, stdout=subprocess.DEVNULL, check=False)
    for command in ("list", "--json"), ("export",):
        done = subprocess.run([program, "history", *command, "--history", "h.db"], cwd=folder, stdout=subprocess.PIPE, check=False)
        tally.check(len(done.stdout.splitlines()) == 3, f"history {command[0]} writes {len(done.stdout.splitlines())} lines")
        for line in done.stdout.splitlines():
            expect_good(json.loads(line), f"output of history {command[0]}")
            entries[command[0]] = json.loads(line)
            for inner in json.loads(line).get("results", []) if command[0] == "export" else []:
                expect_good(inner["result"], "a result in an export")
    for line in check.stdout.splitlines():
        expect_good(json.loads(line), "output of check")
    tally.check(len(check.stdout.splitlines()) == 1, f"check writes one line, not {check.stdout}")

    # Plans and a truth.
    for options in (["--touches", "13"], ["--target-u", "0.004"], ["--setups", "2"], ["--after", "run.csv", "--target-u", "0.1"]):
        command = [program, "plan", "--json", "--plate", "plate.json", "--machine", "machine.json", *options]
        planned = json.loads(subprocess.run(command, cwd=folder, stdout=subprocess.PIPE, check=False).stdout)
        expect_good(planned, f"output of plan {options}")
    command = [program, "simulate", "--plate", "plate.json", "--machine", "machine.json", "--draw", "--truth-out", "truth.json"]
    subprocess.run(command, cwd=folder, stdout=subprocess.DEVNULL, check=False)
    truth = load(folder / "truth.json")
    expect_good(truth, "the truth of simulate")

# What the program writes of recorded and example runs.
for folder in sorted([*(top / "tests" / "field").iterdir(), top / "examples" / "gauge-board"]):
    if folder.is_dir():
        log = folder / "controller.log"
        runs = sorted(p.name for p in folder.glob("run*.csv"))
        if log.exists():
            runs = ["--plan", "plan.json", "--pattern", PATTERN, log.name]
        for line in solve(folder, *runs):
            expect_good(line, f"output on {folder.name}")


# What is wrong fails.
plate, machine = load(bench / "plate.json"), load(bench / "machine.json")
plan = load(top / "tests" / "field" / "14-controller-log" / "plan.json")
for what, document in {
    "plate without reference": without(plate, "reference"),
    "plate with a side that is none": with_value(plate, "up", "edges", 2, "free_side"),
    "plate with u and tolerance": with_value(plate, 0.01, "edges", 1, "tolerance"),
    "plate with a required field misspelt": with_value(without(plate, "reference"), "A", "refrence"),
    "plate in feet": with_value(plate, "ft", "units"),
    "machine with a negative radius": with_value(machine, -0.45, "tips", 0, "radius"),
    "machine with a point of three": with_value(machine, [36.1, -21.3, 7.5], "tips", 0, "offset"),
    "machine with a sense that is none": with_value(machine, "clockwise", "rotation", "sense"),
    "machine with a rotation word that is none": with_value(machine, {"rotation_word": "U"}, "motion"),
    "machine with limits of one end": with_value(machine, {"limits": {"x": [3.5]}}, "motion"),
    "plan without moves": without(planned, "moves"),
    "plan with a setup that is not turned": with_value(planned, [{"setup": "2"}], "setups"),
    "truth with a tip without radius": without(truth, "tips", 0, "radius"),
    "truth with a share of more than all": with_value(truth, 1.5, "touch", "late_share"),
    "run with a touch without rotation": without(run, "observations", 9, "rotation"),
    "run with a number as text": with_value(run, "12.5", "observations", 9, "x"),
    "run of another version": with_value(run, "tiptrue.run/2", "schema"),
    "plan with a kind that is none": with_value(plan, "probe", "moves", 7, "kind"),
    "plan with a touch without tip": without(plan, "moves", 7, "tip"),
    "result without verdict": without(result, "verdict"),
    "result with a correlation of 2": with_value(result, 2.5, "tips", 0, "correlation"),
    "result with text for a number": with_value(result, "36.18", "tips", 0, "offset_mm", "x"),
    "entry without a verdict": without(entries["list"], "verdict"),
    "entry with an id that is none": with_value(entries["list"], "run 7", "id"),
    "stored run without a result": with_value(entries["export"], [], "results"),
    "stored run at a local time": with_value(entries["export"], "2026-03-14T06:12:00+01:00", "added"),
    "error without a code": without(error, "code"),
    "error at line 0": with_value(error, 0, "line"),
}.items():
    expect_bad(document, what)

# Files that people write may hold what nobody knows: the program warns, an editor need not.
expect_good(with_value(plate, "0031", "serail"), "plate with a field that is not known")

# The words of the schemas are those of the sources.
codes = re.findall(r'\[TT_FINDING_\w+\] = "([a-z-]+)"', (top / "src" / "model" / "finding.c").read_text())
finding = validators["tiptrue.result/1"].schema["properties"]["findings"]["items"]
tally.check(codes == finding["properties"]["code"]["enum"], "finding codes differ from src/model/finding.c")
statuses = re.findall(r'\[TIPTRUE_E_\w+\] = "([a-z-]+)"', (top / "src" / "output" / "verdict.c").read_text())
codes = validators["tiptrue.error/1"].schema["properties"]["code"]["enum"]
tally.check(len(codes) > 5 and codes == statuses, "error codes differ from src/output/verdict.c")
tally.close()
