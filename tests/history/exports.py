# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Exports that a history holds with their runs: through its archive and back, JSON and CSV; in the page of the weeks; and a cell of
the archive that is none.

Environment: TIPTRUE, srcdir.
"""
import contextlib
import csv
import datetime
import io
import json
import os
import pathlib
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

WEEKS = pathlib.Path(os.environ["srcdir"], "tests", "field", "13-weeks")
RUNS = 10
tally = Tally()


def call(*arguments, status=0):
    done = subprocess.run([os.environ["TIPTRUE"], *arguments], cwd=folder, capture_output=True, text=True, check=False)
    tally.check(done.returncode == status, f"{arguments[:2]} exits {done.returncode}, not {status}: {done.stderr[:300]}")
    return done


def write_runs():
    """A run a day; the last one's clock is five minutes ahead, so that an export comes before it."""
    last = datetime.datetime.now(datetime.timezone.utc) + datetime.timedelta(minutes=5)
    for k in range(RUNS):
        started = (last - datetime.timedelta(days=RUNS - 1 - k)).strftime("%Y-%m-%dT%H:%M:%SZ")
        text = (WEEKS / f"run-{k + 1:03}.csv").read_text()
        (folder / f"{k}.csv").write_text(re.sub(r"# started: \S+", f"# started: {started}", text))


def exported(history):
    """How many exports each run has, in order of time."""
    return [json.loads(line)["exports"] for line in call("history", "list", "--json", "--history", history).stdout.splitlines()]


with tempfile.TemporaryDirectory() as name:
    folder = pathlib.Path(name)
    write_runs()
    machine = json.loads((WEEKS / "machine.json").read_text())
    machine["export"] = [{"file": "weir.ini", "put": ["t2.offset.x:.5=t2.x", "t2.offset.y:minus:.4=t2.y"]}]
    (folder / "machine.json").write_text(json.dumps(machine))
    (folder / "plate.json").write_text((WEEKS / "plate.json").read_text())
    (folder / "weir.ini").write_text("[t2]\nx = -24.2\ny = -12.6\n")
    runs = [f"{k}.csv" for k in range(RUNS)]
    call("solve", "-q", "--jobs=1", "--history=h.db", "--plate=plate.json", "--machine=machine.json", *runs, status=10)
    tally.check(exported("h.db") == RUNS * [0], "no run has an export yet")
    before = call("report", "-q", "-o", "-", "--history=h.db").stdout
    of = [json.loads(line)["id"] for line in call("history", "list", "--json", "--history=h.db").stdout.splitlines()][0]
    call("export", "-q", "--tip=t2", "--machine=machine.json", "--history=h.db", of)
    tally.check(exported("h.db") == [1] + (RUNS - 1) * [0], f"the first run has an export: {exported('h.db')}")
    page = call("report", "-q", "-o", "-", "--history=h.db").stdout
    tally.check("weir.ini" in page and "weir.ini" not in before, "the page of the weeks names the configuration that was written")
    # what was written, in a form that it is not: then no export is known, and the next run is judged as without one
    (folder / "next.csv").write_text((WEEKS / f"run-{RUNS + 1:03}.csv").read_text())
    answers = set()
    for odd in (None, "7", "[]", "null", '{"t2.offset.x:.5": 3}', '{"": "7"}', '{"strange.offset.x": "1"}', '{"t2.offset.x',
                '{"t2.offset.x:.5": "far", "t2.offset.y:minus:.4": ""}', '{"t1.offset.x": "1", "t12.offset.x": "2"}',
                '{"t2.offset.x@90": "1"}'):
        shutil.copy(folder / "h.db", folder / "odd.db")
        with contextlib.closing(sqlite3.connect(folder / "odd.db")) as db, db:
            db.execute("DELETE FROM export" if odd is None else "UPDATE export SET new_values = ?", () if odd is None else (odd,))
        done = subprocess.run([os.environ["TIPTRUE"], "solve", "--json", "--history=odd.db", "--plate=plate.json",
                               "--machine=machine.json", "next.csv"], cwd=folder, capture_output=True, text=True, check=False)
        tally.check(done.returncode in (0, 10), f"{odd}: {done.returncode}: {done.stderr[:300]}")
        answers.add(done.stdout)
    tally.check(len(answers) == 1, f"exports that say nothing change the answer: {len(answers)} answers")
    for form in ([], ["--csv"]):
        suffix = "csv" if form else "json"
        archive = call("history", "export", *form, "--history=h.db").stdout
        (folder / f"archive.{suffix}").write_text(archive)
        call("history", "import", f"--history={suffix}.db", f"archive.{suffix}")
        again = call("history", "export", *form, f"--history={suffix}.db").stdout
        tally.check(again == archive, f"the archive comes back, {suffix}")
        tally.check(exported(f"{suffix}.db") == exported("h.db"), f"so do the exports, {suffix}")
        tally.check(call("report", "-q", "-o", "-", f"--history={suffix}.db").stdout == page, f"and the page, {suffix}")
    # the cell of the exports, spoiled: told of the row that it stands in
    rows = list(csv.reader(io.StringIO((folder / "archive.csv").read_text())))
    spoiled = next(row for row in rows if "weir.ini" in row[-1])
    for cell in ('[{"file": 7}]', "[{", "true"):
        lines, at = [], 0
        for row in rows:
            text = io.StringIO()
            csv.writer(text, lineterminator="\n").writerow(row[:-1] + [cell] if row is spoiled else row)
            at = len("".join(lines).splitlines()) + 1 if row is spoiled else at
            lines.append(text.getvalue())
        (folder / "spoiled.csv").write_text("".join(lines))
        done = call("history", "import", "--history=s.db", "spoiled.csv", status=65)
        wanted = f"spoiled.csv:{at}:1: error: this row is not as history export writes it"
        tally.check(done.stderr.startswith(wanted), f"{cell}, line {at}: {done.stderr[:300]}")

    # a run that could not be solved is passed over; a result of another run is none of this one
    archive = (folder / "archive.json").read_text()
    (folder / "unsolved.json").write_text('{"schema":"tiptrue.error/1","file":"a.csv","status":65,"error":"no rows"}\n' + archive)
    done = call("history", "import", "--history=u.db", "unsolved.json")
    tally.check("could not be solved" in done.stderr and exported("u.db") == exported("h.db"), f"passed over: {done.stderr[:300]}")
    first, *others = archive.splitlines(keepends=True)
    record = json.loads(first)
    record["results"][0] = json.loads(others[0])["results"][0]
    (folder / "mixed.json").write_text(json.dumps(record) + "\n" + "".join(others))
    done = call("history", "import", "--history=m.db", "mixed.json", status=65)
    tally.check(f"a result of run {of} is that of another run" in done.stderr, f"of another run: {done.stderr[:300]}")
    # more results than are written at once, of runs without a log
    result = json.loads(call("history", "show", "--json", "--history=h.db", of).stdout)
    lines = [json.dumps({**result, "run": {**result["run"], "id": f"{k:016x}"}}) for k in range(210)]
    (folder / "many.json").write_text("\n".join(lines) + "\n")
    call("history", "import", "--history=many.db", "many.json")
    ids = [json.loads(line)["id"] for line in call("history", "list", "--json", "--history=many.db").stdout.splitlines()]
    tally.check(sorted(ids) == [f"{k:016x}" for k in range(210)], f"{len(ids)} of 210 results")

tally.close()
