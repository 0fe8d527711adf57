# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""What every command has, and a history that can be put right: help and near misses, completions, files to begin with, a plate
shown before any run; forgetting, twins, limits of time, exit statuses, clocks that were wrong."""
import datetime
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import xml.dom.minidom

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

program = os.environ["TIPTRUE"]
bench = pathlib.Path(os.environ["srcdir"]).resolve() / "tests" / "cli" / "bench"
work = pathlib.Path(tempfile.mkdtemp())
tally = Tally()
for name in ("plate.json", "machine.json", "run.csv"):
    shutil.copy(bench / name, work / name)
environment = {key: value for key, value in os.environ.items() if not key.startswith("XDG_")}
environment.update(HOME=str(work / "home"), LC_ALL="C.UTF-8")
(work / "home").mkdir()


def run(*arguments):
    done = subprocess.run([program, *arguments], cwd=work, capture_output=True, text=True, check=False, timeout=60, env=environment)
    return done.returncode, done.stdout, done.stderr


def expect(what, found, status, *patterns):
    """Exit status, and a regular expression for standard output and one for standard error."""
    tally.check(found[0] == status, f"{what}: exits {found[0]}, {found[2]}")
    for text, pattern in zip(found[1:], patterns):
        tally.check(pattern is None or re.search(pattern, text, re.M), f"{what}: nothing matches {pattern} in {text[:400]}")


# Help, and words that are nearly right.
COMMANDS = ("ready", "solve", "check", "export", "plan", "simulate", "compare", "trend", "history", "report", "new",
            "completion")
for command in COMMANDS:
    tally.check(run("help", command) == run(command, "--help"), f"help {command}")
tally.check(run("help", "history", "note") == run("history", "note", "--help"), "help history note")
tally.check(run("help") == run("--help"), "help")
for wrong, meant in (("slove", "solve"), ("chek", "check"), ("trends", "trend"), ("hisotry", "history"), ("sim", "simulate"),
                     ("nwe", "new"), ("paln", "plan")):
    expect(wrong, run(wrong), 64, "^$", f"'{wrong}' is not a command; did you mean '{meant}'[?]")
expect("far off", run("calibrate"), 64, "^$", "'calibrate' is not a command; the commands are")
expect("an action", run("history", "exlude"), 64, "^$", "did you mean 'exclude'[?]")
(work / "odd.csv").write_text((work / "run.csv").read_text().replace("rotation", "rotaton", 1))
expect("a column", run("check", "odd.csv"), 65, None, "did you mean 'rotation'")

# Completions: every option of every command's help, in each shell.
scripts = {shell: run("completion", shell)[1] for shell in ("bash", "zsh", "fish")}
for command in COMMANDS:
    found = re.findall(r"^ {2,6}(?:-[?A-Za-z], )?--([a-z][a-z-]*)", run(command, "--help")[1], re.M)
    options = set(found) - {"usage", "help"}
    in_bash = re.search(rf"^    {command}\) options='([^']*)'", scripts["bash"], re.M).group(1)
    in_zsh = next((line for line in scripts["zsh"].splitlines() if line.startswith(f"{command}) ")), "")
    in_fish = [line for line in scripts["fish"].splitlines() if f"__fish_seen_subcommand_from {command}'" in line]
    tally.check(options <= set(re.findall(r"--([a-z-]+)", in_bash)), f"bash lacks options of {command}")
    tally.check(options <= set(re.findall(r"'--([a-z-]+)", in_zsh)), f"zsh lacks options of {command}")
    tally.check(options == {re.search(r"-l ([a-z-]+)", line).group(1) for line in in_fish}, f"fish, options of {command}")
(work / "c.bash").write_text(scripts["bash"])
SHELL = '''source ./c.bash
COMP_WORDS=(tiptrue solve --mon); COMP_CWORD=2; _tiptrue; echo "${COMPREPLY[*]}"
COMP_WORDS=(tiptrue sim); COMP_CWORD=1; _tiptrue; echo "${COMPREPLY[*]}"
'''
done = subprocess.run(["bash", "-c", SHELL], cwd=work, capture_output=True, text=True, check=False)
tally.check(done.stdout == "--monte-carlo=\nsimulate\n" and done.stderr == "", f"bash completes {done.stdout} {done.stderr}")
expect("another shell", run("completion", "csh"), 64, "^$", "there are bash, zsh, fish")

# Files to begin with: read without a fault, used from the first run on; free sides guessed from facing edges, for a window and
# for two edges that are walked the other way.
for units in ("mm", "inch", "um"):
    for kind in ("plate", "machine"):
        status, text, _ = run("new", kind, "--units", units)
        (work / f"{kind}-{units}.json").write_text(text)
        tally.check(status == 0 and json.loads(text)["units"] == units and "note" in text, f"new {kind} {units}")
        expect(f"the new {kind}", run("check", f"--{kind}", f"{kind}-{units}.json"), 0, "is good", "^$")
EDGES = ("w=3,-4,3,8", "e=9.5,-4,9.5,8", "s=20,1,32,1", "n=32,7,20,7")
expect("a plate is written", run("new", "plate", "--name", "gap", "--mark", "A=0,0", *(f"--edge={e}" for e in EDGES),
                                 "-o", "gap.json"), 0, "^$", "^$")
sides = {e["name"]: e["free_side"] for e in json.loads((work / "gap.json").read_text())["edges"]}
tally.check(sides == {"w": "right", "e": "left", "s": "left", "n": "left"}, f"free sides {sides}")
run("new", "plate", "--units", "um", "--pad", "P1=12.5,-8,35", "--pad", "P2=-3,7.2,-35.5", "-o", "pads.json")
tally.check([(p["name"], p["at"], p["height"], p["u"]) for p in json.loads((work / "pads.json").read_text())["pads"]] ==
            [("P1", [12.5, -8], 35, 5), ("P2", [-3, 7.2], -35.5, 5)], "pads are written")
expect("and shown", run("check", "pads.json"), 0, r"pad P2 at \(-3, 7\.2\), height -35\.5, u 5 µm\n(?:.*\n)*.*P pad", "^$")
status, _, _ = run("check", "pads.json", "--svg", "pads.svg")
tally.check(status == 0 and (work / "pads.svg").read_text().count('r="7"') == 2, "and drawn")
expect("and not over another", run("new", "plate", "-o", "gap.json"), 74, "^$", "there already")
for wrong in (["plate", "--edge", "a=1,2,3"], ["plate", "--edge", "a=1,2,1,2"], ["plate", "--mark", "A=1,0"],
              ["machine", "--tip", "t=x"], ["machine", "--tip", "t=01"], ["plate", "--name", 'a"b'], [], ["board"],
              ["machine", "--mark", "A=0,0"], ["plate", "--pad", "P=1,2"], ["machine", "--pad", "P=1,2,3"]):
    expect(f"new {wrong}", run("new", *wrong), 64, "^$", ".")
run("new", "machine", "--tip", "t1=0.45,36.2,-21.3", "-o", "own.json")
status, log, _ = run("simulate", "--plate", "plate-mm.json", "--machine", "own.json", "--draw")
(work / "own.csv").write_text(log)
expect("solved", run("solve", "--plate", "plate-mm.json", "--machine", "own.json", "own.csv"), 0, "^KEEP", None)

# Edges are drawn the way they run: y is up.
slanted = json.loads((work / "gap.json").read_text())
for dx, dy, line in ((7.1, 6.3, "/"), (-7.1, -6.3, "/"), (7.1, -6.3, "\\"), (-7.1, 6.3, "\\"), (10, 4.03, "/"), (10, 3.97, ""),
                     (-4.03, 10, "\\"), (3.97, 10, "|")):
    slanted["edges"] = [{"name": "a", "from": [2.3, -1.7], "to": [2.3 + dx, -1.7 + dy], "free_side": "left", "u": 0.003}]
    (work / "slanted.json").write_text(json.dumps(slanted))
    shown = run("check", "slanted.json", "--plain")[1]
    tally.check({c for c in "/\\|" if c in shown} == set(line), f"an edge along {dx}, {dy} is drawn by '{line}':\n{shown}")

# A plate as it is understood.
expect("a plate is shown", run("check", "gap.json", "--svg", "gap.svg"), 0, "edge w from .*free side right: the tip comes")
shown = run("check", "gap.json")[1]
for name, word in (("e", "left"), ("s", "up"), ("n", "down")):
    tally.check(re.search(rf"edge {name} from [^e]*free side {word}", re.sub(r"\s+", " ", shown)), f"edge {name}: {shown}")
drawing = [line for line in shown.splitlines() if "|" in line]
tally.check(len(drawing) > 5 and all(re.match(r" *O? *# ?\| +\| ?#", line) for line in drawing), f"behind the edges: {drawing}")
lying = [line.strip()[-20:] for line in shown.splitlines() if re.search("#{20}$|-{20}$", line)]
tally.check([line[0] for line in lying] == ["#", "-", "-", "#"], f"above and below: {lying}")
picture = xml.dom.minidom.parse(str(work / "gap.svg"))
tally.check({t.firstChild.data for t in picture.getElementsByTagName("text")} >= {"A", "w", "e", "s", "n"}, "names in the picture")
ways = [p.getAttribute("d") for p in picture.getElementsByTagName("path")]
tally.check(sum(d.count("l") for d in ways if d.count("l") > 5) > 30, "hatching in the picture")
expect("in inches", run("check", "gap.json", "--units", "inch"), 0, r"from \(0.11811, -0.15748\)")

# One line for a run.
expect("brief", run("solve", "--plate", "plate.json", "--machine", "machine.json", "--brief", "run.csv", "run.csv"), 0,
       r"\AKEEP run.csv: wide keep \+36\.\d{4}, -21\.\d{4} mm\nKEEP run.csv.*\n\Z")

# ---- the history ----
def series(folder, offset_steps, starts):
    """Simulated runs with these starts into a history; the offset moves with the steps. Returns the ids in this order."""
    ids = []
    history = folder / "h.db"
    for i, (start, step) in enumerate(zip(starts, offset_steps)):
        log = simulated(step, i)
        (folder / "log.csv").write_text(f"# machine: lathe corner\n# started: {start}\n" + log)
        status, text, errors = run("solve", "--json", "--plate", "plate.json", "--machine", "machine.json", "--history", history,
                                   folder / "log.csv")
        tally.check(status in (0, 10), f"run {i}: {status} {errors}")
        ids.append((json.loads(text)["run"]["id"], errors))
    return history, ids


drawn = json.loads((lambda: (run("simulate", "--plate", "plate.json", "--machine", "machine.json", "--draw", "--seed", "3",
                                 "--truth-out", "truth.json"), (work / "truth.json").read_text())[1])())


def simulated(step, seed):
    t = json.loads(json.dumps(drawn))
    for tip in t["tips"]:
        tip["offset"] = [tip["offset"][0] + step, tip["offset"][1] - 0.7 * step]
    (work / "t.json").write_text(json.dumps(t))
    text = run("simulate", "--plate", "plate.json", "--machine", "machine.json", "--truth", "t.json", "--seed", str(seed + 10))[1]
    return "".join(line for line in text.splitlines(keepends=True) if not line.startswith("# machine"))


# Forty runs, a day apart; one clock stood in 1970, one ran years ahead. After the warnings were followed, the trend is the same.
day = datetime.datetime(2026, 1, 5, 7, 30)
right = [(day + datetime.timedelta(days=i)).strftime("%Y-%m-%dT%H:%M:%SZ") for i in range(40)]
steps = [0.0] * 24 + [0.03] * 16
wrong = list(right)
wrong[9], wrong[30] = "1970-01-01T00:04:00Z", "2028-06-01T07:30:00Z"
a, b = work / "a", work / "b"
a.mkdir()
b.mkdir()
good, _ = series(a, steps, right)
bad, told = series(b, steps, wrong)
told_of = [i for i, (_, errors) in enumerate(told) if "clock" in errors or "history started" in errors or "years" in errors]
tally.check(told_of == [9, 30], f"clocks were doubted of runs {told_of}")
for i in (9, 30):
    expect("started", run("history", "started", "--history", bad, told[i][0], right[i]), 0, "^$", "^$")


def without_ids(history):
    t = json.loads(run("trend", "--json", "--history", history)[1])
    return json.loads(re.sub(r'"run": "[0-9a-f]{16}"', '"run": ""', json.dumps(t)))


def same(x, y):
    """To the rounding of doubles: probabilities are sums over runs that were entered in another order."""
    if isinstance(x, dict):
        return x.keys() == y.keys() and all(same(x[key], y[key]) for key in x)
    if isinstance(x, list):
        return len(x) == len(y) and all(map(same, x, y))
    return abs(x - y) <= 1e-9 * abs(x) if isinstance(x, float) and isinstance(y, float) else x == y


one, two = without_ids(good), without_ids(bad)
for key in ("changes", "tips", "latest", "runs", "first", "last", "plates", "edges"):
    tally.check(same(one[key], two[key]), f"trend after the clocks were put right, {key}: {one[key]} {two[key]}")
tally.check(len(one["changes"]) == 1, f"one change: {one['changes']}")

# Limits of time, by time and by run.
ids = [json.loads(line)["id"] for line in run("history", "list", "--json", "--history", good)[1].splitlines()]
tally.check(len(ids) == 40, "forty runs")


def listed(*options):
    return [json.loads(line)["id"] for line in run("history", "list", "--json", "--history", good, *options)[1].splitlines()]


tally.check(listed("--since", right[10]) == ids[10:] and listed("--since", ids[10]) == ids[10:], "since")
tally.check(listed("--until", right[10]) == ids[:11] and listed("--until", ids[10][:8]) == ids[:11], "until")
tally.check(listed("--until", right[10][:10]) == ids[:11], "until a day, its end")
tally.check(listed("--since", ids[3], "--until", ids[9]) == ids[3:10] and listed("--runs", "5") == ids[35:], "both, and the last")
tally.check(listed("--until", ids[19], "--runs", "3") == ids[17:20], "the last until then")
# A day ends with its last second.
for n, start in enumerate(("2026-03-03T23:59:59Z", "2026-03-04T00:05:00Z")):
    (work / "night.csv").write_text(f"# machine: lathe corner\n# started: {start}\n" + simulated(0, 91 + n))
    run("solve", "--plate", "plate.json", "--machine", "machine.json", "--history", "night.db", "night.csv")
nights = [run("history", "list", "--json", "--history", "night.db", "--until", day)[1].count("\n")
          for day in ("2026-03-02", "2026-03-03", "2026-03-04")]
tally.check(nights == [0, 1, 2], f"until the end of a day: {nights}")
early = json.loads(run("trend", "--json", "--history", good, "--until", right[20])[1])
tally.check(early["runs_looked_at"] == 21 and early["changes"] == [] and early["last"] == right[20], f"until: {early['last']}")
few = json.loads(run("trend", "--json", "--history", good, "--runs=12", "--until", right[30])[1])
found = few["runs_looked_at"], few["first"], few["last"]
tally.check(found == (12, right[19], right[30]), f"the latest twelve until then: {found}")
expect("no date", run("history", "list", "--history", good, "--since", "soon"), 64, "^$", "not a date, and not a run")

# For a script: 10 if anything changed since.
for since, status in ((right[20], 10), (ids[20], 10), (right[30], 0), (None, 10)):
    options = ["--since", since] if since else []
    expect(f"exit status since {since}", run("trend", "--history", good, "--exit-status", *options), status, "1 CHANGE")
shutil.copy(good, work / "off.db")
(work / "off.csv").write_text("# machine: lathe corner\n# started: 2026-02-14T07:30:00Z\n" + simulated(0.09, 91))
run("solve", "--plate", "plate.json", "--machine", "machine.json", "--history", "off.db", "off.csv")
for since, status in ((right[39], 10), ("2026-02-14T07:30:00Z", 0)):
    expect(f"the latest differs, since {since}", run("trend", "--history", "off.db", "--exit-status", "--since", since), status)
expect("and 0 without it", run("trend", "--history", good), 0)

# A machine that is not there.
for command in (["trend"], ["history", "list"], ["compare", ids[0], ids[1]], ["compare", "--last"]):
    expect(f"unknown machine, {command}", run(*command, "--history", good, "--machine", "lathe"), 66, "^$",
           "no runs of machine 'lathe'")

# The last run with the one before.
last = run("compare", "--history", good, "--last", "--json")[1]
tally.check([json.loads(last)[k]["id"] for k in "ab"] == ids[-2:], "compare --last")
far = run("compare", "--history", good, "--last=20", "--json")[1]
tally.check([json.loads(far)[k]["id"] for k in "ab"] == [ids[-21], ids[-1]], "compare --last=20")
tally.check(json.loads(far)["tips"][0]["offset"]["significant"] is True, "the change shows")
expect("not so many", run("compare", "--history", good, "--last=40"), 66, "^$", "40 runs, and 41 are needed")
expect("not both", run("compare", "--history", good, "--last", "a", "b"), 64, "^$", "--last")

# Notes stand with the trend.
run("history", "note", "--history", good, ids[24], "new screw in the camera's mount")
told_then = re.sub(r"\s+", " ", run("trend", "--history", good)[1])
tally.check("new screw in the camera's mount" in told_then, f"a note in the trend: {told_then}")

# The same log with other line ends is the same run; the first one's id and bytes stay.
text = (a / "log.csv").read_text()
(a / "crlf.csv").write_bytes(text.replace("\n", "\r\n").encode())
expect("other line ends", run("solve", "--plate", "plate.json", "--machine", "machine.json", "--history", good, a / "crlf.csv"),
       0, None, "line ends alone: it is the same run")
tally.check(listed() == ids, "it is one run")
tally.check(run("history", "show", "--log", "--history", good, ids[-1])[1] == text, "with the log that was there first")
expect("sound", run("history", "verify", "--history", good), 0, "40 runs, 40 logs.*no damage found")

# What is forgotten is gone, from the file and from what lies beside it.
secret = "0.123456789012345"
(a / "secret.csv").write_text(f"# machine: lathe corner\n# started: 2026-03-01T08:00:00Z\n# note: {secret}\n" + simulated(0.03, 77))
status, text, _ = run("solve", "--json", "--plate", "plate.json", "--machine", "machine.json", "--history", good,
                      a / "secret.csv")
secret_id = json.loads(text)["run"]["id"]


def bytes_of(history):
    return b"".join(p.read_bytes() for p in history.parent.glob("h.db*"))


tally.check(secret.encode() in bytes_of(good), "the note is there")
expect("forget", run("history", "forget", "--history", good, secret_id[:9]), 0, f"run {secret_id} is forgotten", "^$")
tally.check(secret.encode() not in bytes_of(good) and secret_id.encode() not in bytes_of(good), "and gone")
tally.check(listed() == ids, "the others stay")
expect("sound", run("history", "verify", "--history", good), 0, "40 runs, 40 logs, 4[01] results.*no damage found")
expect("once", run("history", "forget", "--history", good, secret_id), 66, "^$", ".")

tally.close()
