# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Dialects of logs: one run as many programs would write it. Each file is read right (the same result) or refused with its place
and a hint; none is read wrong."""
import datetime
import itertools
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

program = os.environ["TIPTRUE"]
bench = pathlib.Path(os.environ["srcdir"]).resolve() / "tests" / "cli" / "bench"
work = pathlib.Path(tempfile.mkdtemp())
tally = Tally()
for name in ("plate.json", "machine.json"):
    shutil.copy(bench / name, work / name)
MM = {"mm": 1, "inch": 25.4, "um": 0.001}
SAME_MM = 2e-5  # the digits printed below are finer

text = (bench / "run.csv").read_text().splitlines()
head = next(i for i, line in enumerate(text) if line.startswith("kind,"))
columns = text[head].split(",")
rows = [dict(zip(columns, line.split(","))) for line in text[head + 1:]]
remarks = [line for line in text[:head] if not line.startswith("# units")]
read = refused = 0


def solve(*arguments):
    done = subprocess.run([program, "solve", "--json", "--plate", "plate.json", "--machine", "machine.json", *arguments], cwd=work,
                          capture_output=True, text=True, check=False, timeout=60)
    return done.returncode, done.stdout, done.stderr


def figures(output):
    result = json.loads(output)
    return result["run"]["touches"], result["verdict"], [
        (t["offset_mm"], t["runout"]["at_zero_mm"], t["contact_radius_mm"]) for t in result["tips"]]


def flat(value):
    if isinstance(value, dict):
        return [x for item in value.values() for x in flat(item)]
    if isinstance(value, (list, tuple)):
        return [x for item in value for x in flat(item)]
    return [value]


def is_right(found, wanted):
    a, b = flat(found), flat(wanted)
    return len(a) == len(b) and all(x == y if isinstance(y, str) else abs(x - y) <= SAME_MM for x, y in zip(a, b))


def write(name, lines, end="\n", mark=False, last=True):
    data = end.join(lines) + (end if last else "")
    (work / name).write_bytes((b"\xef\xbb\xbf" if mark else b"") + data.encode())


def table(separator=",", decimal=".", case=str, units="mm", order=None, quote=False, sep_line=False, extra=False, blank=False):
    """The run as lines: its lengths in @units with eight digits, its cells as asked for."""
    names = order or columns

    def cell(name, value):
        if value and name in ("x", "y", "feed"):
            value = f"{float(value) / MM[units]:.8f}"
        if name in ("x", "y", "rotation", "temperature", "feed") and decimal != ".":
            value = value.replace(".", decimal)
        return f'"{value}"' if quote else value
    lines = [f"sep={separator}"] if sep_line else []
    lines += remarks + ([f"# units: {units}"] if units != "mm" else [])
    lines.append(separator.join([case(n) for n in names] + (["Remark"] if extra else [])))
    for row in rows:
        lines.append(separator.join([cell(n, row[n]) for n in names] + (["ok so"] if extra else [])))
        if blank:
            lines.append("")
    return lines


write("base.csv", table())
status, output, errors = solve("base.csv")
tally.check(status == 0 and errors == "", f"base: {status} {errors}")
BASE = figures(output)
cold = columns.index("temperature")
write("cold.csv", [",".join(c for i, c in enumerate(line.split(",")) if i != cold) if "," in line else line for line in table()])
COLD = figures(solve("cold.csv")[1])
tally.check(not is_right(COLD, BASE), "the plate's temperature matters")


def right(what, *arguments, wanted=BASE):
    global read
    read += 1
    status, output, errors = solve(*arguments)
    tally.check(status == 0 and is_right(figures(output), wanted), f"{what}: {status} {errors} {output[:200]}")


def wrong(what, place, hint, *arguments):
    """Refused, with file, line and column, and a hint that says @hint."""
    global refused
    refused += 1
    status, _, errors = solve(*arguments)
    good = status == 65 and re.search(rf"^log\.\w+:{place}: error: ", errors, re.M) and re.search(hint, errors)
    tally.check(good, f"{what}: {status}, nothing of {place} and {hint} in {errors}")


# Read right.
CASES = (str, str.capitalize, str.upper)
CELLS = ((",", "."), (";", ","), (";", "."), ("\t", ","), ("\t", "."))
for (separator, decimal), case, units, end in itertools.product(CELLS, CASES, MM, ("\n", "\r\n")):
    write("log.csv", table(separator, decimal, case, units), end)
    right(f"{separator!r} {decimal!r} {case} {units} {end!r}", "log.csv")
generator = random.Random(20260314)
for i in range(60):
    separator, decimal = generator.choice(((",", "."), (";", ","), ("\t", ",")))
    units, end = generator.choice(tuple(MM)), generator.choice(("\n", "\r\n"))
    order = generator.sample(columns, len(columns))
    how = {key: generator.random() < 0.5 for key in ("quote", "sep_line", "extra", "blank")}
    write("log.csv", table(separator, decimal, generator.choice(CASES), units, order, **how), end, generator.random() < 0.5,
          generator.random() < 0.5)
    right(f"mixed {i}: {separator!r} {decimal!r} {units} {order} {how}", "log.csv")

# Refused.
base = table()
first = next(i for i, line in enumerate(base) if line.startswith("touch")) + 1


def changed(column, value, separator=",", **how):
    """A table whose first touch has another cell."""
    lines = table(separator, **how)
    cells = lines[first - 1].split(separator)
    cells[columns.index(column)] = value
    return [*lines[:first - 1], separator.join(cells), *lines[first:]]


x = f"{float(rows[first - head - 2]['x']):.3f}"
for what, lines, hint in (
        ("a comma for a point between commas", changed("x", x.replace(".", ",")), "."),
        ("thousands by commas, quoted", changed("x", '"1,211.404"'), "."),
        ("thousands by points", changed("x", "1.211,404", ";", decimal=","), "."),
        ("thousands by spaces", changed("x", "1 211,404", ";", decimal=","), "."),
        ("a unit in the cell", changed("x", x + " mm"), "."),
        ("a degree sign", changed("rotation", "7°"), "degrees"),
        ("no number", changed("y", "n/a"), "."),
        ("not finite", changed("y", "nan"), "."),
        ("another base", changed("y", "0x1F"), "."),
        ("an exponent for a name", changed("target", "1e5"), "."),
        ("contact in words", changed("contact", "yes"), "."),
        ("an edge in another case", changed("target", "RIGHT"), "did you mean 'right'"),
        ("a kind that is none", changed("kind", "probe"), "touch")):
    write("log.csv", lines)
    wrong(what, rf"{first}:\d+", hint, "log.csv")
for what, header, hint in (
        ("a misspelt column", ",".join("targt" if c == "target" else c for c in columns), "did you mean 'target'"),
        ("two of one name in two cases", ",".join([*columns[:-1], "X"]), "leave one of them"),
        ("no header", base[first], "header|kind"),
        ("columns of another language", ",".join(f"sp{i}" for i in range(len(columns))), "kind,target")):
    lines = list(base)
    lines[next(i for i, line in enumerate(base) if line.startswith("kind"))] = header
    write("log.csv", lines)
    wrong(what, r"\d+:\d+", hint, "log.csv")
for word in ("in", "inches", "MM", "cm", "mil", "micron", ""):
    lines = list(base)
    lines.insert(0, f"# units: {word}")
    write("log.csv", lines)
    status, output, errors = solve("log.csv")
    refused += 1
    tally.check(status == 65 and "units are 'mm', 'inch' or 'um'" in errors, f"units '{word}': {status} {errors}")
for word in ("6:12", "14.03.2026 06:12", "3/14/2026 6:12 AM", "1773468725", "2026-03-14 06.12.05"):
    lines = [line if not line.startswith(("kind", "sight", "touch", "warmup")) else
             f"{line},time" if line.startswith("kind") else f"{line},{word}" for line in base]
    write("log.csv", lines)
    wrong(f"time '{word}'", r"\d+:\d+", ".", "log.csv")

# A controller's log with its plan: its unit from the plan, from a line of its own, or both; what it prints besides.
moves = [{"id": i + 1, "kind": r["kind"], "target": r["target"],
          **({"tip": r["tip"], "rotation": float(r["rotation"])} if r["kind"] != "sight" else {})} for i, r in enumerate(rows)]
PATTERN = (r"id=(?<id>\d+) x=(?<x>\S+) y=(?<y>\S+)(?: r=(?<rotation>\S+))?(?: f=(?<feed>\S+))?(?: t=(?<temperature>\S+))?"
           r"(?: at=(?<time>\S+))? ok=(?<ok>[01])")


def controller(units, turn=0.0, extras="", say=False):
    lines = ["; boot"] + ([f"# units: {units}"] if say else [])
    for i, r in enumerate(rows):
        rotation = f" r={float(r['rotation']) + turn:.2f}" if r["rotation"] else ""
        lines.append(f"id={i + 1} x={float(r['x']) / MM[units]:.8f} y={float(r['y']) / MM[units]:.8f}{rotation}{extras} "
                     f"ok={r['contact'] or '1'}")
    return lines


def plan(**keys):
    (work / "plan.json").write_text(json.dumps({"schema": "tiptrue.plan/1", "moves": moves, **keys}))
    return "--plan", "plan.json", "--pattern", PATTERN


def contact_in_words(made, none):
    return [re.sub("ok=1$", f"ok={made}", re.sub("ok=0$", f"ok={none}", line)) for line in controller("mm", say=True)]


# What the controller says of a contact, in its own words; in a pattern that states them, or by the option.
WORDS = PATTERN.replace("[01]", ".+")
for made, none in (("contact", "NO CONTACT"), ("0", "1"), ("berührt", "leer"), ("T", "F")):
    write("log.txt", contact_in_words(made, none))
    named = plan()
    right(f"{made} and {none}", *named[:3], WORDS, "--ok-words", f"{made},{none}", "log.txt", wanted=COLD)
    right(f"{made} and {none}, in the pattern", *named[:3], f"{WORDS}(?#ok-words {made},{none})", "log.txt", wanted=COLD)
write("log.txt", [line.replace("ok=contact", "ok=miss") if line.startswith("id=9 ") else line
                  for line in contact_in_words("contact", "nothing")])
wrong("another word than was said", r"\d+:\d+", "is not nothing or contact", *plan()[:3], WORDS, "--ok-words", "contact,nothing",
      "log.txt")
for words in ("contact", "contact,", ",none", "same,same", "a" * 41 + ",b"):
    status, output, errors = solve(*plan()[:3], WORDS, "--ok-words", words, "log.txt")
    tally.check(status == 64 and "told apart" in errors, f"--ok-words {words}: {status} {errors}")

# Times of day and counted seconds, in a log that says when it was started: the same as in full, over midnight too.
START = datetime.datetime(2026, 3, 14, 23, 59, 20, tzinfo=datetime.timezone.utc)
moments = [START + datetime.timedelta(seconds=1.5 * i) for i in range(len(rows))]
for what, stamps in (
        ("times in full", [f"{m:%Y-%m-%dT%H:%M:%S}.{m.microsecond // 100000}Z" for m in moments]),
        ("times of day", [f"{m:%H:%M:%S}.{m.microsecond // 100000}" for m in moments]),
        ("counted seconds", [f"{7.25 + 1.5 * i:.2f}" for i in range(len(rows))])):
    lines = [f"# started: {START:%Y-%m-%dT%H:%M:%SZ}", "# machine: lathe corner"]
    lines += [line.replace(" ok=", f" at={stamps[i]} ok=") for i, line in enumerate(controller("mm", say=True)[2:])]
    write("log.txt", lines)
    right(f"controller, {what}", *plan(), "log.txt", wanted=COLD)
    status, output, errors = solve(*plan(), "log.txt")
    tally.check(json.loads(output)["run"]["started"] == f"{START:%Y-%m-%dT%H:%M:%SZ}", f"{what}: the start of a controller's log")
write("log.txt", [line.replace(" ok=", " at=06:12:05 ok=") for line in controller("mm")])
wrong("a time of day without a start", r"\d+:\d+", "# started: TIME", *plan(), "log.txt")

for units in MM:
    for turn in (0.0, 360.0, -720.0):
        write("log.txt", controller(units, turn))
        right(f"controller, plan's log_units {units}", *plan(log_units=units), "log.txt", wanted=COLD)
        write("log.txt", controller(units, turn, say=True), "\r\n")
        right(f"controller's own line, {units}", *plan(), "log.txt", wanted=COLD)
        write("log.txt", controller(units, turn, " t=20.4 at=2026-03-14T06:12:05Z", say=True))
        right(f"both, {units}", *plan(log_units=units), "log.txt")
for what, lines, keys, hint in (
        ("units that contradict", controller("inch", say=True), {"log_units": "mm"}, "one of them is wrong"),
        ("units that are none", [line.replace("# units: mm", "# units: in") for line in controller("mm", say=True)], {}, "'inch'"),
        ("rotations of another plan", controller("mm", 12.0), {}, "is it the plan of this log"),
        ("rotations the other way", [re.sub(r" r=(\d)", r" r=-\1", line) for line in controller("mm")], {}, "is it the plan"),
        ("a temperature that is none", controller("mm", extras=" t=warm"), {}, "let the pattern match"),
        ("a feed that is none", controller("mm", extras=" f=-30"), {}, "let the pattern match"),
        ("a time that is none", controller("mm", extras=" at=6.12"), {}, "as in 2026"),
        ("a comma for a point", [line.replace(".", ",") for line in controller("mm")], {}, "let the pattern match")):
    write("log.txt", lines)
    wrong(what, r"\d+:\d+", hint, *plan(**keys), "log.txt")

# Millimetres taken for inches, and the other way, are seen by what they say.
for units, stated in (("mm", "inch"), ("inch", "mm"), ("mm", "um"), ("um", "mm")):
    lines = [line.replace(f"# units: {units}", f"# units: {stated}") for line in table(units=units)]
    lines = lines if units != "mm" else [f"# units: {stated}", *lines]
    write("log.csv", lines if stated != "mm" else [line for line in lines if "units" not in line])
    status, output, errors = solve("log.csv")
    refused += 1
    tally.check(status in (20, 65), f"{units} stated as {stated}: {status} {errors}")

print(f"{read} files read, {refused} refused")
tally.check(read >= 170 and refused >= 40, f"{read} files read, {refused} refused")
tally.close()
