# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""What the program says of the recorded runs and of the example is what it said before: every word, every number, every place in
a picture. Whether that is right, other tests ask; this one makes sure that nothing changes unmeant.

What was said is in said.json.xz. When it was meant to change: look at each difference that is printed, then write it anew with

    UPDATE=yes make check TESTS=tests/regression/regression.py

Words, and numbers of fewer than four decimals, must be the same; others to a part in 50 000, to 2 nm or to one of their last
digit, since iterations end there and not all processors round alike;
of runs with faults to a part in 500. Environment: TIPTRUE, srcdir."""
import contextlib
import datetime
import json
import lzma
import math
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

HERE = pathlib.Path(os.environ["srcdir"]).resolve() / "tests" / "regression"
SAID = HERE / "said.json.xz"
FIELD = HERE.parent / "field"
TOP = HERE.parent.parent
BOARD = TOP / "examples" / "gauge-board"
NEAR, NEAR_MM = 2e-5, 2e-6
MANY = 1e12  # degrees of freedom beyond all counting
NUMBER = re.compile(r"-?\d+\.?\d*(?:e[+-]?\d+)?")
PATTERN = r"(?:trip|seen) id=(?<id>\d+) at x=(?<x>\S+) y=(?<y>\S+) z=(?<z>\S+) ok=(?<ok>[01])"
FILES = ["--plate", "plate.json", "--machine", "machine.json"]
LOGS = ["--plan", "plan.json", "--pattern", PATTERN, "controller.log"]
BEGAN = f"{datetime.datetime.now(datetime.timezone.utc):%Y-%m-%dT%H:%M}"
OF_WEEKS = "c7b43506"  # the fourth of them
WEEKS = 44  # runs of 13-weeks: its shared step is between 30 and 31
work = pathlib.Path(tempfile.mkdtemp())
folders = {"XDG_DATA_HOME": str(work / "data"), "XDG_CONFIG_HOME": str(work / "config")}
environment = {**os.environ, "TZ": "UTC0", "LC_ALL": "C", **folders}
said = {}


def call(folder, *arguments):
    done = subprocess.run([os.environ["TIPTRUE"], *map(str, arguments)], cwd=folder, env=environment, check=False, timeout=120,
                          stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    return f"exit status {done.returncode}\n{done.stderr.decode()}\n{done.stdout.decode()}"


def say(name, folder, *arguments):
    said[name] = call(folder, *arguments)


def copy(folder, to):
    """The files of @folder, not their modes: a tarball is unpacked to be read only."""
    to.mkdir()
    for path in folder.iterdir():
        shutil.copyfile(path, to / path.name)


def recorded(name, *more):
    """A recorded run solved, with all its rows as JSON and in words."""
    log = LOGS if "controller" in name else ["run.csv"]
    folder = FIELD / name
    say(f"{name}{''.join(more)} --json", folder, "solve", "--json", "--touches", *FILES, *more, *log)
    say(f"{name}{''.join(more)}", folder, "solve", "--plain", "--touches", *FILES, *more, *log)


def of_the_field():
    for folder in sorted(FIELD.iterdir()):
        if folder.is_dir() and folder.name != "13-weeks":
            recorded(folder.name)
    recorded("03-two-tips", "--least-squares")
    recorded("01-plain", "--monte-carlo=150")
    for name in ("02-film", "04-oval", "08-moved", "15-heights", "16-views", "17-axes"):
        say(f"{name} page", FIELD / name, "report", "-q", "-o", "-", *FILES, "run.csv")
    for name in ("02-film", "16-views", "15-heights"):
        for form in ("--json", "--plain"):
            say(f"{name} check {form}", FIELD / name, "check", form, *FILES, "run.csv")


def of_the_weeks():
    weeks = work / "weeks"
    copy(FIELD / "13-weeks", weeks)
    runs = sorted(path.name for path in weeks.glob("run-*.csv"))[:WEEKS]
    say("weeks", weeks, "solve", "-q", "--brief", "--jobs=1", "--history", "h.db", *FILES, *runs)
    say("weeks trend --json", weeks, "trend", "--history", "h.db", "--json", "--points")
    say("weeks trend", weeks, "trend", "--history", "h.db", "--plain")
    say("weeks page", weeks, "report", "-q", "-o", "-", "--history", "h.db")
    say("weeks compare --json", weeks, "compare", "--history", "h.db", "--last=20", "--json")
    say("weeks compare", weeks, "compare", "--history", "h.db", "--last=20", "--plain")
    say("weeks, one more", weeks, "solve", "--json", "--touches", "--history", "h.db", *FILES, f"run-0{WEEKS + 1}.csv")
    for action in ("list", "list --json", "verify", f"show {OF_WEEKS}", f"show --log {OF_WEEKS}", f"exclude --why=wet {OF_WEEKS}",
                   f"note {OF_WEEKS} tape"):
        said[f"weeks history {action}"] = without_now(call(weeks, "history", *action.split(), "--history", "h.db"))
    say("weeks without one", weeks, "trend", "--history", "h.db", "--json", "--since=2026-01-20")
    machine = json.loads((weeks / "machine.json").read_text())
    machine["export"] = [{"file": "w.ini", "put": [f"t{n}.offset.{axis}:.5=t{n}.{axis}" for n in (1, 2, 3) for axis in "xy"]}]
    (weeks / "m.json").write_text(json.dumps(machine))
    (weeks / "w.ini").write_text("".join(f"[t{n}]\nx = 0\ny = 0\n" for n in (1, 2, 3)))
    said["weeks, export"] = without_now(call(weeks, "export", "-q", "--machine=m.json", "--history=h.db", "8e996a56"))
    since = ["--plate=plate.json", "--machine=m.json", "--history=h.db", f"run-0{WEEKS + 2}.csv"]
    for form in ("--json", "--plain"):
        said[f"weeks, since an export {form}"] = without_now(call(weeks, "solve", form, *since))
    # what was written without a word to the history is found there by the next run
    (weeks / "one.json").write_text(said["weeks, one more"].split("\n", 2)[2])
    call(weeks, "export", "-q", "--machine=m.json", "one.json")
    next_run = [*since[:-1], f"run-0{WEEKS + 3}.csv"]
    said["weeks, since an unknown export"] = without_now(call(weeks, "solve", "--json", *next_run))
    said["weeks, exports"] = without_now(call(weeks, "history", "list", "--json", "--history=h.db"))
    said["weeks tables"] = tables(weeks / "h.db")


# all but those that hold files and results
TABLES = """SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT IN ('document', 'log', 'result') ORDER BY name"""


def of_one_history():
    """Heights, views, axes and a board, all in one file."""
    for name in ("15-heights", "16-views", "17-axes"):
        call(FIELD / name, "solve", "-q", "--history", work / "all.db", *FILES, "run.csv")
    board = work / "board"
    call(board, "solve", "-q", "--jobs=1", "--history", work / "all.db", "run.csv", "run-above.csv", "run-second.csv")
    judged = call(board, "placement", "--machine=machine.json", "-q", "--history", work / "all.db", "board.csv")
    said["all board"] = without_now(judged)
    said["all tables"] = tables(work / "all.db")
    for machine in ("weir-bench", "loom-side"):
        for form in ("--json", "--plain"):
            said[f"all trend {machine} {form}"] = without_now(call(work, "trend", "--history=all.db", f"--machine={machine}", form))
    said["all page"] = without_now(call(work, "report", "-q", "-o", "-", "--history=all.db", "--machine=weir-bench"))


def without_now(text):
    """@text without the times at which this test ran."""
    text = re.sub(r"20\d\d-\d\d-\d\dT[\d:.]+Z", lambda m: "NOW" if m.group() > BEGAN else m.group(), text)
    return re.sub(r"20\d{6}T\d{6}Z-|20\d\d-\d\d-\d\dT\d{6}Z", "NOW", text)


def tables(path):
    """Every column of the first and the last rows of each table of a history."""
    lines = []
    with contextlib.closing(sqlite3.connect(path)) as history:
        for (name,) in history.execute(TABLES).fetchall():
            rows = sorted(history.execute(f"SELECT * FROM {name}").fetchall(), key=str)
            for row in rows[:3] + rows[3:][-3:]:
                cells = (cell.decode(errors="replace") if isinstance(cell, bytes) else str(cell) for cell in row)
                lines.append(f"{name}: " + " | ".join(cells))
    # digests of what is compared itself
    return without_now(re.sub(r"\b[0-9a-f]{16}\b", "DIGEST", "\n".join(lines)))


def of_the_example():
    board = work / "board"
    copy(BOARD, board)
    for name in ("run", "run-above", "run-second"):
        said_here = call(board, "solve", "-q", "--json", f"{name}.csv")
        (board / f"{name}.json").write_text(said_here.split("\n", 2)[2])
        said[f"board {name} --json"] = said_here
    say("board inch", board, "solve", "--plain", "--units=inch", "run-above.csv")
    say("board page in inch", board, "report", "-q", "--units=inch", "-o", "-", "run-above.csv")
    say("board export", board, "export", "-q", "--dry-run", "run-above.json")
    say("board compare", board, "compare", "--plain", "run.json", "run-second.json")
    for form in ("--json", "--plain", "--csv", "--rs274"):
        say(f"board plan {form}", board, "plan", "-q", "--target-u=0.004", "--heights=4", form)
    say("board plan --touches", board, "plan", "-q", "--touches=31", "--plain")
    say("board plan --after", board, "plan", "-q", "--after=run.csv", "--target-u=0.001", "--json")
    say("board plan --board", board, "plan", "-q", "--board=120x90", "--parts=23", "--json")
    say("board plan --board, text", board, "plan", "-q", "--board=120x90", "--parts=23", "--plain")
    say("board simulate", board, "simulate", "--truth=truth.json", "--seed=37")
    say("board placement --json", board, "placement", "--machine=machine.json", "-q", "--json", "board.csv")
    say("board placement", board, "placement", "--machine=machine.json", "-q", "--plain", "--report=board.html", "board.csv")
    said["board placement page"] = (board / "board.html").read_text()
    say("board joined", board, "placement", "--machine=machine.json", "-q", "--json", "--result=run.json", "board.csv")
    say("board joined, text", board, "placement", "--machine=machine.json", "-q", "--plain", "--result=run.json", "board.csv")


# what stands in a configuration, and places in it
CONFIGURATIONS = {
    "c.json": (
        """{"tips": [{"x": 36.1, "y": "-18.5", "n": null}, {"x": [1.5, {"z": 2.385}]}],
 "a/b": 0.5, "m~n": 7, "two": 1, "two": 2, "far": {"k": 1, "l": [], "e": {}}}
""",
        r"""/tips/0/x /tips/0/y /tips/0/n /tips/1/x/0 /tips/1/x/1/z /tips/1/x/2 /tips/1/x /tips/01/x /a~1b /m~0n /m~n /two /far/q
        /far/l/0 /far/e/f /far tips/0/x /tips/0/x/y ~"far":.{7}(\S+), ~(2) ~(9)""",
    ),
    "c.xml": (
        """<?xml version="1.0"?>
<head xmlns:h="urn:h">
  <tip name="wide" x="36.1" y=" -18.5 "/>
  <tip name="far">
    <x>1.5</x><y><![CDATA[2.385]]></y><e/><m>1<!-- -->2</m><r>&#49;</r>
  </tip>
  <h:z h:u="7">8</h:z>
</head>
""",
        """//tip[1]/@x //tip[@name='wide']/@y //tip/x //y //e //m //r //tip //tip/@name //h:z //h:z/@h:u //q /head/tip/q /head/@q
        count(//tip) //tip[ //comment() //x/text() //z /head/h:z/q""",
    ),
    "c.ini": (
        """top = 1.5 ; first
[wide]
x = 36.1
y: '-18.5' # second
w = 2 mm
[far.off]
x.y = 2.385
[far]
off.x.y = 7
x = 8
x = 9
q = -52.9
""",
        "top .top wide.x wide.y wide.w wide.z far.off.x.y far.x near.x x",
    ),
}
FIELDS = """wide.offset.x wide.offset.y:minus wide.offset.x@90:um:.2 wide.offset.y@-37.4:inch wide.runout.x:um wide.runout.y@90:.5
wide.eccentricity wide.radius:inch:minus wide.u.x wide.expanded.y:um narrow.height narrow.height-over.wide:.3 wide.offset.z
wide.offset.x:.12 strange.offset.x wide.offset.x:um:mm camera.turn axes.square wide.offset.x@a :minus""".split()
TEMPLATE = ("@(machine) @(run) @(started)\n@(*.number) @(*.name) @(*.offset.x) @(*.height:.2) @@(x) @(*.u.y:um)\n"
            "@(narrow.offset.y@*:minus:inch) @(rotation)\n")


def of_configurations():
    """What is written into configurations, and what is said of places that are not one number."""
    board = work / "board"
    for name, (text, places) in CONFIGURATIONS.items():
        (board / name).write_text(text)
        for place in places.split():
            say(f"{name} {place}", board, "export", "--dry-run", "--force=verdict", "--force=change", "--into", name, "--put",
                f"wide.offset.x:minus={place}", "run-above.json")
    (board / "one.ini").write_text("[a]\nx = 0\n")
    for field in FIELDS:
        say(f"field {field}", board, "export", "--dry-run", "--force=verdict", "--force=change", "--into", "one.ini", "--put",
            f"{field}=a.x", "run-above.json")
    (board / "t.in").write_text(TEMPLATE)
    say("template", board, "export", "--template=t.in", "--rotations=0,37.5,-90", "--force=verdict", "run-above.json")
    for guard in ("--max-change=0.004", "--tip=wide", "--tip=narrow", "--force=change", "--machine=machine.json"):
        say(f"guard {guard}", board, "export", "--dry-run", "--into", "c.ini", "--put=wide.offset.x=wide.x",
            "--put=narrow.offset.x:minus=far.q", guard, "run-above.json")


# offsets in use as a configuration has them: the second of two places for one value is finer, and the third may contradict
PRESENT = {
    "agree": "x = -36.214\nfine = 36215.0\ny = -18.442",
    "apart": "x = -36.214\nfine = 36215.2\ny = -18.442",
    "finer first": "x = -36.2140\nfine = 36214\ny = -18.442",
    "no y": "x = -36.214\nfine = 36214.3",
    "not set": "x = 0\nfine = 0\ny = 0",
}
PUTS = ["wide.offset.x:minus=w.x", "wide.offset.x:um:.1=w.fine", "wide.offset.y=w.y", "wide.radius=w.r"]


def of_present_offsets():
    """The offsets in use, read back from the places to which they are exported."""
    board = work / "board"
    machine = json.loads((board / "machine.json").read_text())
    for name, text in PRESENT.items():
        (board / "p.ini").write_text(f"[w]\n{text}\n")
        machine["export"] = [{"file": "p.ini", "put": PUTS}]
        (board / "m.json").write_text(json.dumps(machine))
        for more in ([], ["--present=p.ini"], ["--present=machine"], ["--present=none"]):
            say(f"present, {name} {more}", board, "solve", "-q", "--plain", "--machine=m.json", *more, "run.csv")
    machine["export"] = [{"file": "p.ini", "put": [PUTS[0].replace("wide", "strange")]}, {"file": "q.ini", "put": PUTS}]
    (board / "m.json").write_text(json.dumps(machine))
    for config in ("p.ini", "q.ini", "r.ini"):
        say(f"present, two files, {config}", board, "solve", "-q", "--plain", "--machine=m.json", f"--present={config}", "run.csv")


def of_spoiled_results():
    """A result with each of its keys of another form, one at a time; all on one page."""
    board = work / "board"
    whole = json.loads((board / "run-above.json").read_text())
    keys, names = set(), []

    def spoil(place):
        for key, value in list(place.items() if isinstance(place, dict) else enumerate(place)):
            if isinstance(key, str) and key not in keys:
                keys.add(key)
                place[key] = 7.25 if isinstance(value, (str, list, dict, bool)) else [{"odd": "form"}]
                names.append(f"{len(names):03d}-{key}.json")
                (board / names[-1]).write_text(json.dumps(whole))
                place[key] = value
            if isinstance(value, (list, dict)):
                spoil(value)

    spoil(whole)
    told = call(board, "report", "-q", "-o", "spoiled.html", *names)
    # a column in a result's one line depends on how many digits the numbers before it have
    said["spoiled results"] = re.sub(r"(\.json:1:)\d+:", r"\1-:", told)


def of_views():
    """Views planned, with the camera's turn stated and without."""
    views = work / "views"
    copy(FIELD / "16-views", views)
    machine = json.loads((views / "machine.json").read_text())
    for turned in (True, False):
        if not turned:
            machine["camera"].pop("turn_deg", None)
        (views / "m.json").write_text(json.dumps(machine))
        for form in ("--csv", "--plain", "--json"):
            say(f"views planned {turned} {form}", views, "plan", "-q", "--machine=m.json", "--views=13", "--touches=18", form)


# a camera turned against the grid, axes to different scales, one tip off, runout that is not reckoned with
SPOILED_BOARDS = {
    "turned": lambda tip, turn, x, y: (x - 6.1e-4 * y, y + 6.1e-4 * x),
    "scaled": lambda tip, turn, x, y: (x * (1 + 8.3e-4), y * (1 - 3.1e-4) + 2.7e-4 * x),
    "one tip": lambda tip, turn, x, y: (x + 0.061 * (tip == "wide"), y - 0.083 * (tip == "wide")),
    "runout": lambda tip, turn, x, y: (x + 0.051 * math.cos(turn), y + 0.051 * math.sin(turn)) if tip == "narrow" else (x, y),
    "all": lambda tip, turn, x, y: (x - 0.043, y + 0.017),
}


# touches from above as they would be logged: a pad that is elsewhere, another unit, the other sign, a tip that is longer
SPOILED_HEIGHTS = {
    "pad": lambda pad, tip, z: z + 0.3127 * (pad == "pad-b"),
    "pad by little": lambda pad, tip, z: z - 0.0431 * (pad == "pad-a"),
    "inch": lambda pad, tip, z: z / 25.4,
    "sign": lambda pad, tip, z: -z,
    "tip": lambda pad, tip, z: z + 0.7313 * (tip == "s2"),
}


def of_spoiled_heights():
    heights = work / "heights"
    copy(FIELD / "15-heights", heights)
    lines = (heights / "run.csv").read_text().splitlines()
    for name, spoil in SPOILED_HEIGHTS.items():
        rows = [line.split(",") for line in lines]
        for row in rows:
            if row[0] == "height":
                row[5] = f"{spoil(row[1], row[2], float(row[5])):.5f}"
        (heights / "spoiled.csv").write_text("\n".join(",".join(row) for row in rows) + "\n")
        for form in ("--json", "--plain"):
            say(f"heights {name} {form}", heights, "solve", "-q", form, *FILES, "spoiled.csv")


# what the log of such a board says of it
SPOILED_HEADS = {"all": ["# board_u: 0.031", "# device_u: 0.0017"], "scaled": ["# device_u: 0.0043"]}


def of_spoiled_boards():
    board = work / "board"
    lines = (board / "board.csv").read_text().splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("part,"))
    for name, spoil in SPOILED_BOARDS.items():
        rows = [line.split(",") for line in lines[at + 1 :]]
        for row in rows:
            x, y = spoil(row[1], math.radians(float(row[2])), float(row[5]), float(row[6]))
            row[5:7] = f"{x:.4f}", f"{y:.4f}"
        head = lines[:at] + SPOILED_HEADS.get(name, []) + lines[at : at + 1]
        (board / "spoiled.csv").write_text("\n".join(head + [",".join(row) for row in rows]) + "\n")
        for form in ("--json", "--plain"):
            say(f"board {name} {form}", board, "placement", "--machine=machine.json", "-q", form, "spoiled.csv")
        joined = ["--plain", "--result=run.json", "spoiled.csv"]
        say(f"board {name}, joined", board, "placement", "--machine=machine.json", "-q", *joined)


PATTERNS = [
    r"x=(?<x>\S+)",
    r"x=(?<x>\S+) y=(?<y>\S+) (?<q>\S+)",
    PATTERN + "(?#ok-words yes,yes)",
    PATTERN + "(?#ok-words yes)",
    PATTERN + "(?#ok-words 0,1)",
    r"(?:x=(?<x>\S+))? y=(?<y>\S+)",
    r"((?<x>.*)*)*(?<y>.*)*q(?<id>\d+)",
]


def of_patterns():
    for number, pattern in enumerate(PATTERNS):
        more = ["--plan", "plan.json", "--pattern", pattern, "controller.log"]
        say(f"pattern {number}", FIELD / "14-controller-log", "check", "--plain", *FILES, *more)


def of_faults(known):
    """Simulated runs with faults, those that @known has: each of them says another set of findings, and is determined."""
    stored = HERE.parent / "simulation"
    for name in ("faults", "blunders"):
        for number, run in enumerate(json.loads(lzma.decompress((stored / f"{name}.json.xz").read_bytes()))):
            if f"{name} {number}" in known:
                folder = work / f"{name}{number}"
                folder.mkdir()
                machine = next(iter(run["machines"].values()))
                files = {"plate.json": run["plate"], "machine.json": machine, "run.csv": run["text"]}
                for file, text in files.items():
                    (folder / file).write_text(text)
                said[f"{name} {number}"] = brief(call(folder, "solve", "-q", "--json", *run["opts"], "run.csv"))


def brief(text):
    """Of a result what faults change: values of tips and edges, findings."""
    head, _, result = text.rpartition("\n\n")
    whole = json.loads(result)
    kept = {key: value for key, value in whole.items() if key not in ("program", "run", "plate_features", "marks", "tips")}
    tips = [{key: value for key, value in tip.items() if key not in ("budget", "plate_effects")} for tip in whole["tips"]]
    return head + json.dumps({"tips": tips, **kept}, indent=0)


def is_near(old, new):
    """Whether two numbers are the same, as the head of this file has it."""
    if old == new:
        return True
    decimals = [len(text.partition("e")[0].partition(".")[2]) for text in (old, new)]
    a, b = float(old), float(new)
    if min(decimals) < 4 and "e" not in old and abs(a) < MANY:
        return False
    last = 10.0 ** -max(decimals) if "e" not in old else 0.0
    return min(abs(a), abs(b)) > MANY or math.isclose(a, b, rel_tol=NEAR, abs_tol=max(1.01 * last, NEAR_MM))


def is_alike(old, new):
    """The same for runs with faults, much of which is hardly determined: to a part in 500."""
    a, b = float(old), float(new)
    return old == new or min(abs(a), abs(b)) > 1e9 or ("." in old + new and math.isclose(a, b, rel_tol=2e-3, abs_tol=2e-5))


def difference(old, new, same):
    """Where @new is not @old, in words, numbers being the same by @same; None: nowhere."""
    if old == new:
        return None
    at_old = at_new = 0
    for a, b in zip(NUMBER.finditer(old), NUMBER.finditer(new)):
        if old[at_old : a.start()] != new[at_new : b.start()] or not same(a.group(), b.group()):
            break
        at_old, at_new = a.end(), b.end()
    else:
        if old[at_old:] == new[at_new:]:
            return None
    while at_old < len(old) and at_new < len(new) and old[at_old] == new[at_new]:
        at_old, at_new = at_old + 1, at_new + 1
    return f"'{new[max(at_new - 60, 0) : at_new + 40]}' where '{old[max(at_old - 60, 0) : at_old + 40]}' was"


def plain(text, version):
    """Without the names of folders and the program's version."""
    return re.sub(rf"(?<![\d.]){re.escape(version)}(?!\d)", "VERSION", text).replace(str(work), "WORK").replace(str(TOP), "TOP")


def main():
    tally = Tally()
    old = json.loads(lzma.decompress(SAID.read_bytes())) if SAID.exists() else {}
    of_the_field()
    of_the_weeks()
    of_the_example()
    of_one_history()
    of_configurations()
    of_present_offsets()
    of_spoiled_results()
    of_views()
    of_spoiled_boards()
    of_spoiled_heights()
    of_patterns()
    of_faults(old)
    version = re.search(r"tiptrue (\S+)", call(work, "--version")).group(1)
    found = {name: plain(text, version) for name, text in said.items()}
    shutil.rmtree(work)
    for name in sorted(set(old) | set(found)):
        same = is_alike if name.startswith(("faults ", "blunders ")) else is_near
        apart = difference(old.get(name, ""), found.get(name, ""), same)
        tally.check(apart is None, f"{name}: {apart}; if it is meant: UPDATE=yes make check TESTS=tests/regression/regression.py")
    if os.environ.get("UPDATE"):
        SAID.write_bytes(lzma.compress(json.dumps(found, indent=0).encode(), preset=9))
    tally.close()


main()
