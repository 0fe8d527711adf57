# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""What another build of the program says of the recorded runs and the example's: the same documents, with numbers that differ by at
most 1e-12 of themselves; the plan of the example and its simulated run; and times beyond 2038.

same_digits.py PROGRAM. Environment: TIPTRUE (the program to compare with), srcdir."""
import json
import os
import pathlib
import subprocess
import sys
import tempfile

top = pathlib.Path(os.environ["srcdir"]).resolve()
sys.path[:0] = [str(top / "tests"), str(top / "tests" / "report")]
import runs  # noqa: E402
from tally import Tally  # noqa: E402

WITHIN = 1e-12  # of the larger one
board = top / "examples" / "gauge-board"
pair = ["--plate", str(board / "plate.json"), "--machine", str(board / "machine.json")]
programs = [os.environ["TIPTRUE"], sys.argv[1]]
tally = Tally()


def said(program, *arguments):
    done = subprocess.run([program, *arguments], capture_output=True, check=False, env={**os.environ, "TZ": "UTC0"})
    return done.returncode, done.stdout.decode(), done.stderr.decode()


def apart(one, other, path=""):
    """(difference by size, where, both) of each pair of numbers; a form that differs is infinitely far."""
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        return [a for key in one for a in apart(one[key], other[key], f"{path}.{key}")]
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        return [a for i, (a_, b_) in enumerate(zip(one, other)) for a in apart(a_, b_, f"{path}[{i}]")]
    if type(one) is type(other) is float:
        largest = max(abs(one), abs(other))
        return [(abs(one - other) / largest if largest else 0.0, path, one, other)]
    return [(0.0 if one == other else float("inf"), path, one, other)]


def compare(what, *arguments):
    """The documents of both, one a line; returns what the first said."""
    answers = [said(program, *arguments) for program in programs]
    tally.check(answers[0][0] == answers[1][0] and answers[0][2] == answers[1][2], f"{what}: {answers[0][::2]}, {answers[1][::2]}")
    lines = [answer[1].splitlines() for answer in answers]
    tally.check(len(lines[0]) == len(lines[1]) > 0, f"{what}: {len(lines[0])} and {len(lines[1])} documents")
    numbers = [a for one, other in zip(*lines) for a in apart(json.loads(one, parse_int=float), json.loads(other, parse_int=float))]
    worst = max(numbers, key=lambda a: a[0], default=(float("inf"), "", None, None))
    tally.check(worst[0] <= WITHIN, f"{what}: {sum(a[0] > WITHIN for a in numbers)} of {len(numbers)} differ, most {worst}")
    print(f"# {what}: {len(numbers)} values, {worst[0]:.1e} apart at most")
    return answers[0][1]


def later(folder):
    """A run of 2050 comes after those of 2026."""
    log = pathlib.Path(folder, "later.csv")
    log.write_text((board / "run.csv").read_text().replace("2026-", "2050-"))
    history = os.path.join(folder, "h.db")
    for path in (log, board / "run-second.csv"):
        status, _, told = said(programs[1], "solve", *pair, "--history", history, str(path))
        tally.check(status in (0, 10, 20), f"{path}: {status} {told}")
    days = [json.loads(line)["started"][:10] for line in said(programs[1], "history", "list", "--json", "--history",
                                                          history)[1].splitlines()]  # fmt: skip
    tally.check(len(days) == 2 and days == sorted(days) and days[1].startswith("2050-"), f"days {days}")
    page = os.path.join(folder, "later.html")
    said(programs[1], "report", "-o", page, *pair, str(log))
    text = pathlib.Path(page).read_text(encoding="utf-8")
    tally.check("2050-" in text and "1914-" not in text, "the page of a run of 2050")


with tempfile.TemporaryDirectory() as scratch:
    for name in runs.FOLDERS + ["15-heights", "16-views"]:
        options, log = runs.inputs(name)
        compare(name, "solve", "--json", "--touches", *options, log)
    logs = [str(path) for path in sorted(board.glob("run*.csv"))]
    compare("example", "solve", "--json", "--touches", *pair, *logs)
    compare("example, together", "solve", "--json", "--together", *pair, str(board / "run.csv"), str(board / "run-second.csv"))
    compare("example, Monte Carlo", "solve", "--json", "--monte-carlo", "200", "--seed", "7", *pair, logs[0])
    plan = os.path.join(scratch, "plan.json")
    pathlib.Path(plan).write_text(compare("plan", "plan", "--json", "--touches", "24", *pair))
    drawn = [said(program, "simulate", "--draw", "--seed", "3", "--plan", plan, *pair) for program in programs]
    tally.check(drawn[0] == drawn[1] and drawn[0][0] == 0, f"a simulated run: {drawn[0][0]}, {drawn[1][0]}, {drawn[1][2]}")
    later(scratch)
tally.close()
