# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""solve --together: logs of one run solve as the run does; what cannot be one run is refused.

The runs are the example's and those of the field tests, cut in parts, with parts moved, written twice or otherwise."""
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
top = pathlib.Path(os.environ["srcdir"]).resolve()
tally = Tally()
work = pathlib.Path(tempfile.mkdtemp())
SAME_MM = 1e-9


def run(folder, *arguments):
    files = ("--plate", top / folder / "plate.json", "--machine", top / folder / "machine.json")
    return subprocess.run([program, "solve", *files, *arguments], cwd=work, capture_output=True, text=True, check=False, timeout=60)


def log_of(folder):
    """Lines above the rows, rows."""
    lines = (top / folder / "run.csv").read_text().splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("kind,"))
    return lines[:head + 1], lines[head + 1:]


def solve(folder, *logs):
    """Exit status and result of the logs, each a list of lines; of one alone, without --together."""
    names = [f"{chr(ord('a') + i)}.csv" for i in range(len(logs))]
    for name, lines in zip(names, logs):
        (work / name).write_text("\n".join(lines) + "\n")
    done = run(folder, "--json", "--touches", *(["--together"] if len(logs) > 1 else []), *names)
    return done.returncode, json.loads(done.stdout), done.stderr


def found(result, code):
    return [f for f in result["findings"] if f["code"] == code]


def largest_difference(a, b):
    """Of all numbers of the tips and poses of two results."""
    if isinstance(a, dict):
        return max((largest_difference(a[key], b[key]) for key in a), default=0)
    if isinstance(a, list):
        return max((largest_difference(x, y) for x, y in zip(a, b, strict=True)), default=0)
    if isinstance(a, (int, float)) and not isinstance(a, bool):
        return abs(a - b)
    return 0 if a == b else 1e9


def is_same(a, b):
    return a["verdict"] == b["verdict"] and max(largest_difference(a[part], b[part]) for part in ("tips", "poses")) <= SAME_MM


def shifted(row, x_mm, y_mm):
    cells = row.split(",")
    return ",".join([*cells[:3], f"{float(cells[3]) + x_mm:.4f}", f"{float(cells[4]) + y_mm:.4f}", *cells[5:]])


# Two halves, three thirds: the same to the last digit; each line of a finding or row is one of one log.
for folder in ("examples/gauge-board", "tests/field/03-two-tips", "tests/cli/bench"):
    head, rows = log_of(folder)
    status, whole, _ = solve(folder, head + rows)
    for n in (2, 3):
        cuts = [len(rows) * i // n for i in range(n + 1)]
        parts = [head + rows[a:b] for a, b in zip(cuts, cuts[1:])]
        joined_status, joined, errors = solve(folder, *parts)
        tally.check(joined_status == status and is_same(whole, joined), f"{folder}: {n} parts: {joined_status}, {status}")
        tally.check(errors == "", f"{folder}: {errors}")
        lines = [((k + 1) * 1000 if k else 0) + len(head) + 1 + i
                 for k, part in enumerate(parts) for i in range(len(part) - len(head))]
        tally.check([o["line"] for o in joined["observations"]] == lines, f"{folder}: {n} parts: lines")
        told = found(joined, "several-logs")
        tally.check(len(told) == 1 and told[0]["severity"] == "note" and told[0]["values"]["logs"] == n, f"{folder}: {told}")
        tally.check("line 2001 is line 1 of 'b.csv'" in told[0]["text"] and ("line 3001 is line 1 of 'c.csv'" in told[0]["text"]) ==
                    (n == 3), f"{folder}: {told[0]['text']}")
        tally.check([f["code"] for f in whole["findings"]] == [f["code"] for f in joined["findings"] if f not in told],
                    f"{folder}: {n} parts: findings")
        tally.check(joined["run"]["file"] == " + ".join(["a.csv", "b.csv", "c.csv"][:n]), joined["run"]["file"])
        tally.check(joined["run"]["started"] == whole["run"]["started"] and len(joined["run"]["id"]) == 16, f"{joined['run']}")

# What the id is: of the same logs the same, of others another one.
folder = "examples/gauge-board"
head, rows = log_of(folder)
half = len(rows) // 2
first, second = head + rows[:half], head + rows[half:]
status, whole, _ = solve(folder, head + rows)
ids = [solve(folder, first, second)[1]["run"]["id"], solve(folder, first, second)[1]["run"]["id"],
       solve(folder, first, [*second, "# x"])[1]["run"]["id"]]
tally.check(ids[0] == ids[1] != ids[2] and ids[0] != whole["run"]["id"], f"{ids}")

# A log that says too little, which says so, and the touches that were wanting, without new sightings.
part = "tests/cli/bench"
above, below = log_of(part)
few = above + [row for row in below if not row.startswith(("touch,top", "touch,bottom", "touch,left"))]
wanting = above + [row for row in below if row.startswith(("touch,top", "touch,bottom", "touch,left"))]
tally.check(solve(part, few)[0] == 20, "a log that says too little")
advice = " ".join(run(part, "--plain", "a.csv").stdout.split())
tally.check("'tiptrue plan --after'" in advice and "'tiptrue solve --together'" in advice, advice[-400:])
status, joined, _ = solve(part, few, wanting)
tally.check(status == 0 and joined["run"]["touches"]["used"] == 40, f"mended: {status} {joined['findings']}")

# Rows that are in both logs count once, with the lines of the second.
status, joined, _ = solve(folder, first, head + rows)
twice = found(joined, "repeated-rows")
tally.check(is_same(whole, joined), "the second log holds the first too")
tally.check(len(twice) == 1 and twice[0]["rows"] == [2001 + len(head) + i for i in range(half)], f"repeated: {twice}")
status, joined, _ = solve(folder, head + rows, head + rows)
tally.check(is_same(whole, joined) and found(joined, "repeated-rows")[0]["values"]["rows"] == len(rows), "a log and its copy")

# Lines of a log with more than 999.
status, joined, _ = solve(folder, ["# note: long"] * 1200 + first, second)
tally.check("line 20001 is line 1 of 'b.csv'" in found(joined, "several-logs")[0]["text"], f"{found(joined, 'several-logs')}")

# Each by its own header: another order of columns, decimal commas, inches. Only the rounding differs.
names = head[-1].split(",")
other = [*head[:-1], "# units: inch", ";".join(reversed(names))]
for row in rows[half:]:
    cells = dict(zip(names, row.split(",")))
    for name in ("x", "y", "feed"):
        cells[name] = f"{float(cells[name]) / 25.4:.9f}" if cells[name] else ""
    other.append(";".join(cells[name] for name in reversed(names)).replace(".", ","))
status, joined, errors = solve(folder, first, other)
apart = max(abs(a["offset_mm"][axis] - b["offset_mm"][axis]) for a, b in zip(whole["tips"], joined["tips"]) for axis in "xy")
tally.check(apart < 1e-5 and joined["verdict"] == whole["verdict"], f"another dialect: {apart} mm, {errors}")

# No sightings in the second log; the plate that moved between the logs, by less than the eye sees.
touches = [row for row in rows[half:] if not row.startswith("sight")]
status, still, _ = solve(folder, first, head + touches)
tally.check(status == 10 and not found(still, "moved-plate"), f"no sightings: {still['findings']}")
status, joined, _ = solve(folder, first, head + [shifted(row, 0.14, -0.09) for row in touches])
moved = found(joined, "moved-plate")
tally.check(status == 20 and len(moved) == 1 and moved[0]["severity"] == "error", f"moved: {joined['findings']}")
tally.check("line 20" in moved[0]["text"], f"moved: {moved[0]['text']}")

# Another machine, another plate, another serial, the wrong order: refused, with the log's name. A log that states none is silent.
bare = [line for line in head if not line.startswith(("# machine:", "# plate:", "# started:"))]
plate = json.loads((top / folder / "plate.json").read_text())
for heading, wanted in (("# machine: other", "machine 'other' is stated here, and 'weir-bench' in a log before"),
                        ("# plate: other", "plate 'other' is stated here, and 'cross window' in a log before"),
                        ("# started: 2026-04-14T06:00:00Z", "this log begins before 'a.csv'"),
                        ("# plate: " + plate["serial"], None), ("# note: nothing", None)):
    status, result, errors = solve(folder, first, [heading, *bare, *rows[half:]])
    if wanted is None:
        tally.check(status == 10 and is_same(whole, result), f"{heading}: {status} {errors}")
        continue
    tally.check(status == 65 and result["schema"] == "tiptrue.error/1", f"{heading}: {status}")
    tally.check(result["file"] == "b.csv" and wanted in result["text"] and result["hint"], f"{heading}: {result}")
    tally.check("\nb.csv: error: " in "\n" + errors, f"{heading}: {errors}")
status, result, errors = solve(folder, ["# plate_serial: S-1", *first], ["# plate_serial: S-2", *second])
tally.check(status == 65 and "plate_serial 'S-2'" in result["text"], f"serial: {status} {result}")
status, result, errors = solve(folder, second, first)
tally.check(status == 65 and result["file"] == "b.csv" and "order" in result["hint"], f"the wrong order: {result}")

# Faults of both logs are told, and nothing is solved.
bad = [line.replace(",wide,", ",wid,") for line in first]
status, result, errors = solve(folder, bad, [line.replace("touch,", "tuch,") for line in second])
tally.check(status == 65 and "a.csv:" in errors and "b.csv:" in errors, errors[:200])
tally.check(result["schema"] == "tiptrue.error/1" and result["file"] == "a.csv", f"{result}")

# As text, with its rows.
solve(folder, first, second)
done = run(folder, "--plain", "--together", "--touches", "a.csv", "b.csv")
tally.check(done.returncode == 10 and "2 logs were solved as one run" in " ".join(done.stdout.split()), done.stdout[-900:])

shutil.rmtree(work)
tally.close()
