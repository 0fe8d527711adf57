# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""A history that was damaged: each bit of the header, one bit in each page, each column of each row
changed by SQL, tables dropped. No command ends by a signal; whatever is wrong is noticed by verify
(65) or changes nothing that list, show and trend say. And what must not come to it: a log that is
not the one of its id is not imported; a write beyond a limit leaves no empty history; who waits
says so.

2026-11-26: verify called a history sound whose summaries had been changed; import took any log;
SIGXFSZ killed and left an empty history; a wait of ten minutes was silent."""
import os
import pathlib
import random
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally, times  # noqa: E402

top = pathlib.Path(os.environ["srcdir"]).resolve()
board = top / "examples" / "gauge-board"
program = str(pathlib.Path(os.environ["TIPTRUE"]).resolve())
tally = Tally()
pair = ["--plate", str(board / "plate.json"), "--machine", str(board / "machine.json")]
# Every bit of the header, two in each page; else a third of its bytes and some pages, and of these and of the columns a third
# under sanitizers, of which the plain build tries all.
WHOLE = bool(os.environ.get("WHOLE"))
EACH = times(1, 3)
ALLOWED = (0, 10, 20, 65, 66, 71, 74)
# Under a limit on the size of files gcov's counts would be cut short, and with them those of the other runs.
UNCOUNTED = dict(os.environ, GCOV_PREFIX="/dev/null")
# What no digest covers: whether it was so, nobody but its author can say. Times are held to their form.
FREE = {("run", "excluded"), ("run", "doubt"), ("note", "text"), ("export", "file"),
        ("export", "old_values"), ("export", "new_values"), ("result", "version")}  # fmt: skip


def run(*command, **how):
    how.setdefault("timeout", 60)
    return subprocess.run([program, *command], capture_output=True, check=False, **how)


def said(path):
    """What the commands that read say, and their statuses."""
    commands = (["list", "--json"], ["show", "--json"], ["export"], None)
    done = [
        run("trend", "--json", "--history", path) if c is None else run("history", *c, "--history", path, *show(c))
        for c in commands
    ]
    return [d.returncode for d in done], [d.stdout for d in done], b"".join(d.stderr for d in done)


def show(command):
    return [ident] if command[0] == "show" else []


def judge(what, path, whole):
    statuses, outputs, errors = said(path)
    verify = run("history", "verify", "--history", path)
    statuses.append(verify.returncode)
    tally.check(all(s in ALLOWED for s in statuses), f"{what}: statuses {statuses}: {errors[-300:]}")
    tally.check(verify.returncode != 0 or outputs == whole, f"{what}: another output, and verify calls it sound")
    for suffix in ("-wal", "-shm"):
        pathlib.Path(path + suffix).unlink(missing_ok=True)


with tempfile.TemporaryDirectory() as scratch:
    os.chdir(scratch)
    logs = [str(board / name) for name in ("run.csv", "run-second.csv")]
    run("solve", *pair, "--history", "h.db", *logs)
    ident = run("history", "list", "--history", "h.db", "--json").stdout.decode().split('"id":"')[1][:16]
    run("history", "note", "--history", "h.db", ident, "changed the nozzle")
    with sqlite3.connect("h.db") as db:
        db.execute("PRAGMA journal_mode = DELETE")
        db.execute("INSERT INTO export(run, time, file, old_digest, new_digest) VALUES"
                   "(1, '2026-04-14T08:00:00Z', 'head.xml', '0123456789abcdef', 'fedcba9876543210')")  # fmt: skip
    db.close()
    whole = said("h.db")[1]
    tally.check(run("history", "verify", "--history", "h.db").returncode == 0, "the history is sound")
    shutil.copy("h.db", "good.db")
    data = pathlib.Path("good.db").read_bytes()

    # bits
    chance = random.Random(20261126)
    pages, page = len(data) // 4096, 8 * 4096
    if WHOLE:
        bits = [*range(800), *(at * page + chance.randrange(page) for at in range(pages) for _ in range(2))]
    else:
        bits = [*range(7, 800, 24), *(page * chance.randrange(pages) + chance.randrange(page) for _ in range(40))][::EACH]
    for bit in bits:
        flipped = bytearray(data)
        flipped[bit // 8] ^= 1 << bit % 8
        pathlib.Path("h.db").write_bytes(flipped)
        judge(f"bit {bit % 8} of byte {bit // 8}", "h.db", whole)

    print(f"# {len(bits)} bits, of a history of {pages} pages")

    # columns
    tables = sqlite3.connect("good.db")
    names = [n for (n,) in tables.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    columns = [(n, c[1], c[2]) for n in names for c in tables.execute(f"PRAGMA table_info({n})")]
    tables.close()
    tally.check(len(columns) > 80, f"{len(columns)} columns")
    for table, column, kind in columns if WHOLE else columns[::EACH]:
        shutil.copy("good.db", "h.db")
        db = sqlite3.connect("h.db")
        db.execute("PRAGMA foreign_keys = OFF")
        change = {"REAL": f"coalesce({column}, 0) + 0.0271", "INTEGER": f"coalesce({column}, 0) + 3",
                  "TEXT": f"coalesce({column}, '') || 'x'",
                  "BLOB": f"CAST(CAST({column} AS TEXT) || ' ' AS BLOB)"}[kind]  # fmt: skip
        try:
            changed = db.execute(f"UPDATE {table} SET {column} = {change}").rowcount
            db.commit()
        except sqlite3.IntegrityError:
            changed = 0
        db.close()
        if changed:
            statuses, outputs, errors = said("h.db")
            verify = run("history", "verify", "--history", "h.db").returncode
            good = all(s in ALLOWED for s in [*statuses, verify])
            tally.check(good, f"{table}.{column}: {statuses}, {verify}: {errors[-300:]}")
            free = (table, column) in FREE
            tally.check(verify == 65 or outputs == whole or free, f"{table}.{column}: another output, and verify says {verify}")
    for table in names:
        shutil.copy("good.db", "h.db")
        db = sqlite3.connect("h.db")
        db.execute("PRAGMA foreign_keys = OFF")
        db.execute(f"DROP TABLE {table}")
        db.commit()
        db.close()
        statuses, _, errors = said("h.db")
        done = run("history", "verify", "--history", "h.db")
        tally.check(all(s in (0, 10, 20, 65, 66) for s in statuses), f"without {table}: {statuses}: {errors[-200:]}")
        tally.check(done.returncode == 65, f"without {table}: verify {done.returncode}")

    # another log than that of its id
    lines = run("history", "export", "--history", "good.db").stdout.decode()
    pathlib.Path("e.json").write_text(lines.replace("before the morning", "before the evening"))
    tally.check(pathlib.Path("e.json").read_text() != lines, "the note of the log is changed")
    done = run("history", "import", "--history", "i.db", "e.json")
    tally.check(done.returncode == 65 and b"digest" in done.stderr, f"import of another log: {done}")

    # a limit on the size of files, no room for the first write
    for limit in (0, 512, 8192, 65536):
        def small(size=limit):
            resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

        done = run("solve", *pair, "--history", "new.db", logs[0], preexec_fn=small, env=UNCOUNTED)
        left = [p.name for p in pathlib.Path(".").glob("new.db*")]
        tally.check(done.returncode == 74 and not left, f"limit of {limit} bytes: {done.returncode}, {left}")
    shutil.copy("good.db", "old.db")
    done = run("solve", *pair, "--history", "old.db", str(board / "run-repeat.csv"), preexec_fn=small, env=UNCOUNTED)
    tally.check(done.returncode == 74 and said("old.db")[1] == whole, f"what was stored stays: {done.returncode}")
    done = run("solve", *pair, "--history", "none.db", "no-such.csv")
    tally.check(done.returncode == 66 and not pathlib.Path("none.db").exists(), f"nothing to store: {done.returncode}")

    # waiting
    holder = sqlite3.connect("good.db", isolation_level=None)
    holder.execute("PRAGMA journal_mode = WAL")
    holder.execute("BEGIN IMMEDIATE")
    command = [program, "solve", *pair, "--history", "good.db", str(board / "run-repeat.csv")]
    waiting = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    begun = time.monotonic()
    told = waiting.stderr.readline()
    seconds = time.monotonic() - begun
    tally.check(told.startswith(b"good.db: note: another process holds") and seconds > 0.9, f"{told}, {seconds:.1f} s")
    holder.execute("ROLLBACK")
    holder.close()
    tally.check(b"waiting" not in waiting.communicate(timeout=60)[1], "said once")
    tally.check(waiting.returncode == 20, f"and solved then: {waiting.returncode}")
    os.chdir("/")
tally.close()
