# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Several processes write into one history at once, and some are killed: every run whose result was printed is there, whole, and
the file is sound. The sizes come from the environment: make check takes small ones, make check-long those that are promised."""
import hashlib
import json
import os
import pathlib
import random
import signal
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

PROCESSES = int(os.environ.get("PROCESSES", "4"))
RUNS = int(os.environ.get("RUNS", "20"))
KILLS = int(os.environ.get("KILLS", "15"))
BIRTHS = int(os.environ.get("BIRTHS", "10"))
SEED = int(os.environ.get("SEED", "20260419"))
KILLED_RUNS = 30  # of a writer that is killed at some moment

program = os.environ["TIPTRUE"]
bench = pathlib.Path(os.environ["srcdir"]).resolve() / "tests" / "cli" / "bench"
board = bench.parents[2] / "examples" / "gauge-board"
LOG = (bench / "run.csv").read_text(encoding="utf-8")
tally = Tally()


def write_logs(folder, name, number):
    """@number logs that differ in a remark, hence in their digest."""
    names = []
    for i in range(number):
        log = folder / f"{name}-{i}.csv"
        lines = [line for line in LOG.splitlines(keepends=True) if not line.startswith("# note")]
        log.write_text(f"# note: {name} {i} {hashlib.md5(name.encode()).hexdigest()}\n" + "".join(lines), encoding="utf-8")
        names.append(log.name)
    return names


def start(folder, names):
    command = [program, "solve", "--json", "--plate", str(bench / "plate.json"), "--machine", str(bench / "machine.json"),
               "--history", "h.db", *names]
    return subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


def acknowledged(out):
    """The ids of the results that were printed whole."""
    return [json.loads(line)["run"]["id"] for line in out.split(b"\n")[:-1]]


def stored(folder):
    command = [program, "history", "list", "--json", "--history", "h.db"]
    done = subprocess.run(command, cwd=folder, stdout=subprocess.PIPE, check=False)
    tally.check(done.returncode == 0, f"history list exits {done.returncode}")
    return {json.loads(line)["id"] for line in done.stdout.splitlines()}


def check_sound(folder, what):
    done = subprocess.run([program, "history", "verify", "--history", "h.db"], cwd=folder, stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE, check=False)
    tally.check(done.returncode == 0 and done.stdout.endswith(b"no damage found\n"), f"{what}: {done.stdout!r} {done.stderr!r}")


def at_once(folder):
    """All start on a history that is not there yet."""
    began = time.monotonic()
    writers = [start(folder, write_logs(folder, f"w{p}", RUNS)) for p in range(PROCESSES)]
    ids = set()
    for number, writer in enumerate(writers):
        out, err = writer.communicate()
        tally.check(writer.returncode == 0, f"writer {number} exits {writer.returncode}: {err[:300]!r}")
        printed = acknowledged(out)
        tally.check(len(printed) == RUNS, f"writer {number} printed {len(printed)} results")
        ids.update(printed)
    took = time.monotonic() - began
    tally.check(len(ids) == PROCESSES * RUNS, f"{len(ids)} different runs")
    tally.check(stored(folder) == ids, "what is stored is not what was printed")
    check_sound(folder, "after writers at once")
    print(f"{PROCESSES} processes x {RUNS} runs in {took:.1f} s: {took / (PROCESSES * RUNS) * 1e3:.2f} ms for each run")


def births():
    """2026-11: a writer that looked while another one made the file took it for a foreign one, since it read the header in three
    steps. Many start at once on a file that is not there."""
    for number in range(BIRTHS):
        with tempfile.TemporaryDirectory() as name:
            folder = pathlib.Path(name)
            writers = [start(folder, write_logs(folder, f"p{p}", 1)) for p in range(8)]
            for writer in writers:
                err = writer.communicate()[1]
                tally.check(writer.returncode == 0, f"birth {number}: a writer exits {writer.returncode}: {err[:300]!r}")
            tally.check(len(stored(folder)) == 8, f"birth {number}: runs are missing")


def killed(folder):
    """Writers killed at random moments, from before the first run to after the last; now and then beside one that lives."""
    chance = random.Random(SEED)
    names = write_logs(folder, "try", KILLED_RUNS)
    began = time.monotonic()
    start(folder, names).communicate()
    whole = time.monotonic() - began  # a writer's life
    lost, partial, printed = 0, 0, set()
    for number in range(KILLS):
        names = write_logs(folder, f"k{number}", KILLED_RUNS)
        beside = start(folder, write_logs(folder, f"b{number}", 3)) if number % 4 == 0 else None
        writer = start(folder, names)
        time.sleep(chance.uniform(0, 1.1 * whole))
        writer.send_signal(signal.SIGKILL)
        ids = acknowledged(writer.communicate()[0])
        partial += 0 < len(ids) < KILLED_RUNS
        if beside is not None:
            out, err = beside.communicate()
            tally.check(beside.returncode == 0, f"the writer beside, {number}, exits {beside.returncode}: {err[:300]!r}")
            ids += acknowledged(out)
        there = stored(folder)
        lost += len(set(ids) - there)
        printed.update(ids)
        for name in names:
            (folder / name).unlink()
        if number % 20 == 0:
            check_sound(folder, f"after kill {number}")
    tally.check(lost == 0, f"{lost} runs were printed and are not there (seed {SEED})")
    tally.check(printed <= stored(folder), "a run that was there is gone")
    tally.check(partial > 0, "no writer was killed between its first and its last result")
    check_sound(folder, "after all kills")
    print(f"{KILLS} writers killed, {partial} of them between two results; {len(printed)} runs printed, {lost} lost")


def told(folder, command):
    """Exit status, standard output and error of a command on the history."""
    done = subprocess.run([program, *command], cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=False, timeout=120)
    return done.returncode, done.stdout.decode(), done.stderr.decode()


def change(folder, first, number):
    """A writer that changes what stands there already, now there and now not."""
    history = ["--history", "h.db"]
    for command in (["exclude", *history, first, "--why", f"try {number}"], ["note", *history, first, f"note {number}"],
                    ["include", *history, first], ["import", *history, "whole.json"]):
        status, _, error = told(folder, ["history", *command])
        tally.check(status == 0, f"history {command[0]} beside writers: {status}: {error[:300]}")


def readers(folder):
    """Every command that reads a history, while others write into it and one of them is killed: each answers as it would have at
    some moment, whole."""
    pair = ["--plate", str(bench / "plate.json"), "--machine", str(bench / "machine.json")]
    history, log = ["--history", "h.db"], write_logs(folder, "first", 3)
    ids = acknowledged(start(folder, log).communicate()[0])
    (folder / "whole.json").write_text(told(folder, ["history", "export", *history])[1], encoding="utf-8")
    result = told(folder, ["history", "show", "--json", *history, ids[0]])[1]
    (folder / "r.json").write_text(result, encoding="utf-8")
    (folder / "c.ini").write_text(f"x = {json.loads(result)['tips'][0]['offset_mm']['x']:.4f}\n", encoding="utf-8")
    commands = {
        "list": ["history", "list", "--json", *history], "show": ["history", "show", "--json", *history, ids[0]],
        "export": ["history", "export", *history], "verify": ["history", "verify", *history],
        "trend": ["trend", "--json", *history], "compare": ["compare", "--json", "--last", *history],
        "solve": ["solve", "--json", *history, *pair, log[0]],
        "placement": ["placement", "--json", *history, "--machine", str(board / "machine.json"), str(board / "board.csv")],
        "to file": ["export", "r.json", *history, "--into", "c.ini", "--put", "wide.offset.x=x"],
        "report": ["report", "-o", "out.html", *history], "ready": ["ready", "--dry-run", *history, *pair, log[1]],
    }
    alone = {name: told(folder, command) for name, command in commands.items()}
    for name, (status, _, error) in alone.items():
        tally.check(status in (0, 10, 20), f"{name} alone: {status}: {error[:300]}")
    stored_before, asked = 0, 0
    for turn in range(max(1, KILLS // 8)):
        writers = [start(folder, write_logs(folder, f"r{turn}-{p}", 25)) for p in range(3)]
        for name, command in commands.items():
            alive = sum(writer.poll() is None for writer in writers)
            if name == "trend":
                writers[0].send_signal(signal.SIGKILL)
            status, out, error = told(folder, command)
            asked += alive > 0
            tally.check(status == alone[name][0], f"{name} beside {alive} writers: {status}: {error[:300]}")
            if "--json" in command or name == "export":
                documents = [json.loads(line) for line in out.splitlines()]
                tally.check(len(documents) > 0 and out.endswith("\n"), f"{name}: {len(documents)} documents")
                if name == "list":
                    tally.check(len(documents) >= stored_before, f"{len(documents)} runs after {stored_before}")
                    stored_before = len(documents)
                if name in ("show", "solve"):
                    tally.check(out == alone[name][1], f"{name}: another answer beside writers")
        change(folder, ids[2], turn)
        for number, writer in enumerate(writers):
            error = writer.communicate()[1]
            tally.check(number == 0 or writer.returncode == 0, f"a writer beside readers: {writer.returncode}: {error[:300]}")
    tally.check(asked > len(commands) / 2, f"only {asked} commands ran beside a writer")
    check_sound(folder, "after readers beside writers")
    print(f"{asked} commands beside three writers, one of them killed")


births()
with tempfile.TemporaryDirectory() as name:
    at_once(pathlib.Path(name))
with tempfile.TemporaryDirectory() as name:
    killed(pathlib.Path(name))
with tempfile.TemporaryDirectory() as name:
    readers(pathlib.Path(name))
tally.close()
