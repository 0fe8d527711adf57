# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Boards in the history: entered once, listed, shown, forgotten, exported and imported; an event of the trend; said before a job;
sound after writers were killed, and not sound with one byte changed. Rows are those of tests/cli/heights.py.

Environment: TIPTRUE, srcdir.
"""
import datetime
import json
import os
import pathlib
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time

import jsonschema

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "cli"))
from tally import Tally  # noqa: E402

import heights as one  # noqa: E402

TOP = pathlib.Path(os.environ["srcdir"]).resolve()
RUNS = 9
KILLS = 12


def call(folder, *arguments, status=0, tally=None):
    done = subprocess.run([one.TIPTRUE, *arguments], cwd=folder, capture_output=True, text=True, check=False)
    if tally is not None:
        tally.check(done.returncode == status, f"{arguments[:2]} exits {done.returncode}, not {status}: {done.stderr[:300]}")
    return done


def board(folder, name, started, parts=48, off=(0.0, 0.0), seed=1):
    """Parts of both tips, those of 'broad' off by @off, found to 6 um."""
    rng = random.Random(seed)
    lines = ["# frame: machine", "# machine: sill", f"# started: {started}", "part,tip,rotation,x,y,found_x,found_y"]
    for k in range(parts):
        tip = "fine" if k % 2 else "broad"
        x, y = 31.7 + 97.1 * rng.random(), 142.3 + 61.9 * rng.random()
        found = [v + d * (tip == "broad") + rng.gauss(0, 6e-3) for v, d in zip((x, y), off)]
        lines.append(f"P{k},{tip},{90 * (k // 2 % 4)},{x:.6f},{y:.6f},{found[0]:.6f},{found[1]:.6f}")
    (folder / name).write_text("\n".join(lines) + "\n")


def place(folder, *names, status=0, tally=None, into=("--history", "h.db")):
    return call(folder, "placement", "--json", "--machine", "machine.json", *into, *names, status=status, tally=tally)


def lines_of(folder, *arguments):
    return [json.loads(line) for line in call(folder, *arguments).stdout.splitlines()]


def check_document(tally, document, what):
    schema = json.loads((TOP / "docs" / "schema" / f"{document['schema'].split('.')[1].split('/')[0]}.schema.json").read_text())
    for error in list(jsonschema.Draft202012Validator(schema).iter_errors(document))[:3]:
        tally.check(False, f"{what}: {'/'.join(map(str, error.path))}: {error.message}")


def write_machine(folder, **more):
    (folder / "machine.json").write_text(json.dumps(one.machine(limits={"placement": {"permitted_mm": 0.03}}, **more)))
    (folder / "plate.json").write_text(json.dumps(one.plate()))


def check_entry(tally, folder):
    """Entered, entered again, listed, shown."""
    board(folder, "board.csv", "2026-04-16T07:40:00Z")
    first = place(folder, "board.csv", tally=tally)
    again = place(folder, "board.csv", tally=tally)
    tally.check(first.stdout == again.stdout and "nothing was written" in again.stderr and first.stderr == "",
                f"again: {again.stderr}")
    entries = lines_of(folder, "history", "list", "--json", "--history", "h.db")
    tally.check(len(entries) == 1 and entries[0]["verdict"] == "keep" and entries[0]["parts"] == {"read": 48, "used": 48},
                f"list: {entries}")
    check_document(tally, entries[0], "list")
    name = entries[0]["id"]
    tally.check(name == json.loads(first.stdout)["id"], "list: the id is another")
    text = call(folder, "history", "list", "--history", "h.db").stdout
    tally.check(f"{name}  2026-04-16T07:40:00Z  keep    sill, board of 48 parts\n" in text, text)
    tally.check(call(folder, "history", "show", "--json", "--history", "h.db", name[:6]).stdout == first.stdout, "show --json")
    tally.check(call(folder, "history", "show", "--log", "--history", "h.db", name).stdout
                == (folder / "board.csv").read_text(), "show --log")
    tally.check(call(folder, "history", "show", "--history", "h.db", name).stdout.startswith("KEEP: nothing"), "show")
    call(folder, "history", "show", "--document", "machine", "--history", "h.db", name, status=64, tally=tally)
    call(folder, "history", "note", "--history", "h.db", name, "words", status=66, tally=tally)
    done = call(folder, "history", "verify", "--history", "h.db", tally=tally)
    tally.check(done.stdout == "0 runs, 0 logs, 0 results, 0 documents, 0 exports, 1 boards: no damage found\n", done.stdout)


def check_another_judgement(tally, folder):
    """By another limit: the newest counts, and it is one board still."""
    board(folder, "off.csv", "2026-04-12T07:40:00Z", off=(0.05, -0.02))
    (folder / "machine.json").write_text(json.dumps(one.machine(limits={"placement": {"permitted_mm": 0.2}})))
    place(folder, "off.csv", tally=tally)
    write_machine(folder)
    done = place(folder, "off.csv", status=10, tally=tally)
    tally.check("replaces the one there was" in done.stderr, done.stderr)
    entries = lines_of(folder, "history", "list", "--json", "--history", "h.db")
    tally.check([e["verdict"] for e in entries] == ["update", "keep"], f"in order of time: {entries}")
    tally.check(call(folder, "history", "show", "--json", "--history", "h.db", entries[0]["id"]).stdout == done.stdout,
                "the newest")


def check_trend(tally, folder):
    """Among the events, also behind the last run; not before the first one, nor behind the end that was asked for."""
    rng = random.Random(5)
    names = []
    for k in range(RUNS):
        day = datetime.datetime(2026, 4, 5, 7, 40) + datetime.timedelta(days=k)
        one.HEAD = ["# machine: sill", "# plate: pane", f"# started: {day.isoformat()}Z", "kind,target,tip,x,y,z,rotation,contact"]
        names.append(f"run-{k}.csv")
        (folder / names[-1]).write_text(one.log(rng, one.rows_of(rng, turns=2)))
    call(folder, "solve", "--json", "--history", "h.db", "--plate", "plate.json", "--machine", "machine.json", *names)
    board(folder, "early.csv", "2026-03-01T07:40:00Z", seed=2)
    place(folder, "early.csv", tally=tally)
    trend = json.loads(call(folder, "trend", "--json", "--history", "h.db").stdout)
    check_document(tally, trend, "trend")
    told = [(e["code"], e["started"], e["text"].split("(")[0].split(";")[0]) for e in trend["events"]]
    tally.check(told == [("placement", "2026-04-12T07:40:00Z", "48 parts show the calibration off"),
                         ("placement", "2026-04-16T07:40:00Z", "confirmed by 48 parts ")], f"trend: {told}")
    text = " ".join(call(folder, "trend", "--plain", "--history", "h.db").stdout.split())
    tally.check("2026-04-16 07:40Z: confirmed by 48 parts" in text, f"trend: {text[:400]}")
    until = json.loads(call(folder, "trend", "--json", "--history", "h.db", "--until", "2026-04-13").stdout)
    tally.check([e["started"][:10] for e in until["events"]] == ["2026-04-12"], f"until: {until['events']}")
    kinds = [e["schema"] for e in lines_of(folder, "history", "list", "--json", "--history", "h.db", "--runs", "2")]
    tally.check(kinds == ["tiptrue.entry/1", "tiptrue.board-entry/1"] * 2, f"the latest two runs: {kinds}")


def check_ready(tally, folder):
    call(folder, "ready", "--history", "h.db", "--plate", "plate.json", "--machine", "machine.json", "--json", "ready.json",
         "run-8.csv")
    found = json.loads((folder / "ready.json").read_text())
    check_document(tally, found, "ready")
    tally.check(found["confirmed"]["started"] == "2026-04-16T07:40:00Z" and found["confirmed"]["parts"] == 48
                and found["last_board"] == found["confirmed"] and found["written_since_confirmed"] is False,
                f"ready: {found['confirmed']}")
    check_written_since(tally, folder)
    board(folder, "later.csv", "2026-04-18T07:40:00Z", off=(-0.06, 0.0), parts=30, seed=3)
    place(folder, "later.csv", status=10, tally=tally)
    board(folder, "future.csv", "2096-04-18T07:40:00Z", seed=4)
    place(folder, "future.csv", tally=tally)
    done = call(folder, "ready", "--history", "h.db", "--plate", "plate.json", "--machine", "machine.json", "--plain", "run-8.csv")
    text = " ".join(done.stdout.split())
    tally.check("the board of 2026-04-18 07:40Z, 30 parts, shows the calibration off" in text
                and "confirmed by 48 parts on 2026-04-16 07:40Z" in text, f"ready: {text}")


def check_written_since(tally, folder):
    """In a history beside it an offset is written into a configuration: that was after the board."""
    (folder / "w.db").write_bytes((folder / "h.db").read_bytes())
    machine = json.loads((folder / "machine.json").read_text())
    for tip in machine["tips"]:
        tip.pop("offset", None)
    (folder / "without.json").write_text(json.dumps(machine))
    call(folder, "solve", "-q", "--history=w.db", "--plate=plate.json", "--machine=without.json", "run-8.csv", status=10,
         tally=tally)
    run = next(line for line in reversed(lines_of(folder, "history", "list", "--json", "--history", "w.db")) if "tips" in line)
    fine = next(tip for tip in run["tips"] if tip["tip"] == "fine")
    (folder / "w.ini").write_text(f"[fine]\nx = {fine['offset_mm']['x'] + 0.013:.5f}\n")
    call(folder, "export", "--into=w.ini", "--put=fine.offset.x:.5=fine.x", "--tip=fine", "--history=w.db", run["id"], tally=tally)
    files = ["--history", "w.db", "--plate", "plate.json", "--machine", "machine.json"]
    call(folder, "ready", *files, "--json", "ready.json", "run-8.csv")
    found = json.loads((folder / "ready.json").read_text())
    tally.check(found["written_since_confirmed"] is True, f"ready, after an export: {found['written_since_confirmed']}")
    text = " ".join(call(folder, "ready", *files, "--plain", "run-8.csv").stdout.split())
    tally.check("offsets were written since then" in text, f"ready, after an export: {text}")


def check_export(tally, folder):
    exported = call(folder, "history", "export", "--history", "h.db", tally=tally).stdout
    documents = [json.loads(line) for line in exported.splitlines()]
    for document in documents:
        check_document(tally, document, "export")
    tally.check(sum(d["schema"] == "tiptrue.board-record/1" for d in documents) == 5, "five boards are exported")
    (folder / "all.json").write_text(exported)
    done = call(folder, "history", "import", "--history", "i.db", "all.json", tally=tally)
    tally.check("9 runs added, 5 boards added" in done.stdout, done.stdout)
    tally.check(call(folder, "history", "export", "--history", "i.db").stdout == exported, "imported, it exports something else")
    done = call(folder, "history", "import", "--history", "i.db", "all.json", tally=tally)
    tally.check("5 boards there already" in done.stdout, done.stdout)
    wrong = next(d for d in documents if d["schema"] == "tiptrue.board-record/1")
    wrong["table"] += "#\n"
    (folder / "wrong.json").write_text(json.dumps(wrong))
    done = call(folder, "history", "import", "--history", "i.db", "wrong.json", status=65, tally=tally)
    tally.check("the digest of its" in done.stderr, done.stderr)
    wrong["started"] = "2026-04-31T07:40:00Z"
    (folder / "wrong.json").write_text(json.dumps(wrong))
    done = call(folder, "history", "import", "--history", "i.db", "wrong.json", status=65, tally=tally)
    tally.check("'started' is no time" in done.stderr, done.stderr)
    call(folder, "history", "verify", "--history", "i.db", tally=tally)


def check_damage_and_forget(tally, folder):
    name = lines_of(folder, "history", "list", "--json", "--history", "i.db")[0]["id"]
    for change in ("UPDATE board SET text = CAST(replace(CAST(text AS TEXT), 'P7,', 'P8,') AS BLOB) WHERE id = ?",
                   "UPDATE board SET verdict = 'repeat' WHERE id = ?", "UPDATE board SET parts_used = 47 WHERE id = ?",
                   "UPDATE board SET said = CAST('KEEP' AS BLOB) WHERE id = ?",
                   "UPDATE board SET json = CAST(json || ' ' AS BLOB) WHERE id = ?"):
        before = (folder / "i.db").read_bytes()
        with sqlite3.connect(folder / "i.db") as db:
            db.execute("PRAGMA journal_mode = DELETE")
            db.execute(change, (name,))
        db.close()
        done = call(folder, "history", "verify", "--history", "i.db", status=65, tally=tally)
        tally.check(name in done.stderr, f"{change}: {done.stderr[:200]}")
        (folder / "i.db").write_bytes(before)
    done = call(folder, "history", "forget", "--history", "i.db", name[:8], tally=tally)
    tally.check(done.stdout == f"board {name} is forgotten: its table and what was said of it are gone\n", done.stdout)
    tally.check(name not in call(folder, "history", "list", "--history", "i.db").stdout, "forgotten, it is listed")
    tally.check(name.encode() not in (folder / "i.db").read_bytes(), "forgotten, its id is in the file")
    call(folder, "history", "verify", "--history", "i.db", tally=tally)


def check_killed(tally, folder):
    """What was shown is there, and the file is sound; the machine's own history is taken by --record."""
    rng = random.Random(11)
    write_machine(folder, history="own.db")
    shown = set()
    for k in range(KILLS):
        names = [f"k{k}-{i}.csv" for i in range(4)]
        for i, name in enumerate(names):
            board(folder, name, "2026-04-16T07:40:00Z", parts=12, seed=100 * k + i)
        command = [one.TIPTRUE, "placement", "--json", "--machine", "machine.json", "--record"]
        writers = [subprocess.Popen([*command, *part], cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
                   for part in (names[:2], names[2:])]
        time.sleep(0.02 * rng.random())
        writers[0].send_signal(signal.SIGKILL)
        for writer in writers:
            shown |= {json.loads(line)["id"] for line in writer.communicate()[0].split(b"\n")[:-1]}
    there = {e["id"] for e in lines_of(folder, "history", "list", "--json", "--history", "own.db")}
    tally.check(len(shown) >= 2 * KILLS and shown <= there, f"{len(shown - there)} of {len(shown)} boards that were shown are lost")
    call(folder, "history", "verify", "--history", "own.db", tally=tally)


def main():
    tally = Tally()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        write_machine(folder)
        check_entry(tally, folder)
        check_another_judgement(tally, folder)
        check_trend(tally, folder)
        check_ready(tally, folder)
        check_export(tally, folder)
        check_damage_and_forget(tally, folder)
        check_killed(tally, folder)
    tally.close()


if __name__ == "__main__":
    main()
