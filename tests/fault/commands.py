# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The commands of the program on the example, as those who take something away from them try them."""
import json
import os
import pathlib
import shutil
import subprocess

top = pathlib.Path(os.environ["srcdir"]).resolve()
program = str(pathlib.Path(os.environ["TIPTRUE"]).resolve())
board, bench = top / "examples" / "gauge-board", top / "tests" / "cli" / "bench"


def all_commands():
    """The arguments of each command by its name; makes the files that they read in the present folder: kept.db, a history of a
    run; kept.jsonl, what was exported of it; r.json, a result; c.ini; the example's files. New are h.db, r.html and h.html."""
    # the example's configuration is read by libxml2, which (2.9.14) frees twice by itself when its memory fails
    for name in ("plate.json", "machine.json", "bench.conf"):  # with modes of their own: what is read-only is not exported into
        shutil.copyfile(board / name, name)
    pair = ["--plate", str(pathlib.Path("plate.json").resolve()), "--machine", str(pathlib.Path("machine.json").resolve())]
    present, kept = ["--present", "machine"], ["--history", "kept.db"]
    logs = [str(board / "run.csv"), str(board / "run-second.csv")]
    small = [str(bench / name) for name in ("plate.json", "machine.json", "run.csv")]  # drawn in no time

    def write(name, *command):
        done = subprocess.run([program, *command], stdout=subprocess.PIPE, check=False)
        pathlib.Path(name).write_bytes(done.stdout)

    write("plan.json", "plan", "--json", "--touches", "16", *pair)
    write("r.json", "solve", "--json", *present, *pair, *kept, logs[0])
    write("kept.jsonl", "history", "export", *kept)
    pathlib.Path("c.ini").write_text("x = -52.8730\n")
    run = json.loads(pathlib.Path("r.json").read_text())["run"]["id"]
    return {
        "plan": ["plan", "--touches", "16", *pair],
        "simulate": ["simulate", "--draw", "--seed", "5", "--plan", "plan.json", *pair],
        "solve": ["solve", "--json", *present, *pair, logs[0]],
        "solve --monte-carlo": ["solve", "--json", "--monte-carlo", "100", "--plate", small[0], "--machine", small[1], small[2]],
        "solve --together": ["solve", "--json", "--together", *present, *pair, logs[0], logs[0]],
        "solve --history": ["solve", "--history", "h.db", *present, *pair, logs[0]],
        "check": ["check", "--json", *pair, logs[0]],
        "compare": ["compare", "--json", "r.json", "r.json"],
        "trend": ["trend", "--json", *kept],
        "report": ["report", "-o", "r.html", *pair, logs[0]],
        "report --history": ["report", "-o", "h.html", *kept],
        "placement": ["placement", "--json", *pair[2:], str(board / "board.csv")],
        "export": ["export", "r.json", "--into", "c.ini", "--put", "narrow.offset.x=x", "--dry-run"],
        "ready": ["ready", "--dry-run", *present, *kept, *pair, logs[1]],
        "history list": ["history", "list", "--json", *kept],
        "history show": ["history", "show", "--json", *kept, run],
        "history export": ["history", "export", *kept],
        "history verify": ["history", "verify", *kept],
        "history import": ["history", "import", "--history", "h.db", "kept.jsonl"],
    }
