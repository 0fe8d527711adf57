# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""tiptrue ready: its exit statuses, what it writes and where, what it refuses, and that it says the truth after it was killed.

Runs are simulated from a known truth, so that what stands in the configuration afterwards can be held against it. KILLS is the
number of processes that are killed (default 12)."""
import ctypes
import datetime
import json
import os
import pathlib
import pty
import random
import re
import select
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time

import jsonschema

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

program = os.environ["TIPTRUE"]
board = pathlib.Path(os.environ["srcdir"]).resolve() / "examples" / "gauge-board"
tally = Tally()
root = pathlib.Path(tempfile.mkdtemp())
NOW = datetime.datetime.now(datetime.timezone.utc)
environment = {**os.environ, "XDG_CONFIG_HOME": str(root / "config"), "XDG_DATA_HOME": str(root / "data"), "TZ": "UTC0"}
environment.pop("TIPTRUE_MACHINE", None)


def folder(name, **keys):
    """The example's plate, machine and configuration in a new folder; @keys go into the machine file."""
    work = root / name
    work.mkdir()
    for file in ("plate.json", "bench.conf"):
        shutil.copyfile(board / file, work / file)  # not its mode: a tarball is unpacked to be read only
    machine = {**json.loads((board / "machine.json").read_text()), "history": "bench.db", **keys}
    (work / "machine.json").write_text(json.dumps({key: value for key, value in machine.items() if value is not None}, indent=1))
    return work


def run(work, *arguments, **more):
    return subprocess.run(
        [program, *arguments], cwd=work, capture_output=True, text=True, check=False, timeout=120, env={**environment, **more}
    )


def simulate(work, name, seed, age_h=0.1, offsets=None, started=True, machine=None):
    """A log as @name, always of one plate: the truth is drawn, then the offsets are set; @seed is of the scatter."""
    done = run(work, "simulate", "--draw", "--seed", "5", "--truth-out", "truth.json", "--machine", str(board / "machine.json"))
    truth = json.loads((work / "truth.json").read_text())
    for tip in truth["tips"]:
        tip["offset"] = (offsets or {}).get(tip["name"] if "name" in tip else tip["tip"], tip["offset"])
    (work / "truth.json").write_text(json.dumps(truth))
    done = run(work, "simulate", "--truth", "truth.json", "--seed", str(seed), "--machine", str(board / "machine.json"))
    lines = [line for line in done.stdout.splitlines(keepends=True) if not re.match("# (started|machine):", line)]
    head = [f"# machine: {machine}\n" if machine else "# machine: weir-bench\n"] if machine != "" else []
    if started:
        head.append(f"# started: {NOW - datetime.timedelta(hours=age_h):%Y-%m-%dT%H:%M:%SZ}\n")
    (work / name).write_text("".join(head + lines))


def stands(work):
    """The offsets in bench.conf, in the sense of results."""
    text = (work / "bench.conf").read_text()
    value = dict(re.findall(r"^(\S+) += (\S+)", text, re.MULTILINE))
    return {value[f"{t}.name"]: tuple(-float(value[f"{t}.to_camera_{axis}"]) for axis in "xy") for t in ("t1", "t2")}


def expect(done, status, what, *words):
    """Exit status and words of either stream; no more than twelve lines but for a diff."""
    said = done.stdout + done.stderr
    tally.check(done.returncode == status, f"{what}: exit {done.returncode}, {status} is right\n{said}")
    for word in words:
        tally.check(word in said, f"{what}: no '{word}' in\n{said}")
    tally.check(len(done.stdout.split("--- ")[0].splitlines()) <= 12, f"{what}: more than twelve lines\n{done.stdout}")


TRUE = {"wide": [36.2120, -18.4430], "narrow": [52.9011, -18.3377]}
MOVED = {"wide": [36.2520, -18.4730], "narrow": [52.9411, -18.3677]}

# the way of a morning: update needed, declined, written, kept
work = folder("morning")
simulate(work, "run.csv", 11, offsets=TRUE, age_h=0.2)
before = (work / "bench.conf").read_bytes()
expect(
    run(work, "ready", "run.csv"),
    10,
    "an update",
    "UPDATE FIRST: weir-bench, plate CW-17",
    "nothing was written",
    '+t2.to_camera_x = -52.9',
)
expect(run(work, "ready", "run.csv", "--dry-run"), 10, "dry run")
done = run(work, "ready", "run.csv", "--quiet")
tally.check(done.returncode == 10 and len(done.stdout.splitlines()) == 1 and done.stderr == "", f"--quiet: {done}")
tally.check((work / "bench.conf").read_bytes() == before, "nothing is written unless told")
started = datetime.datetime.strptime(
    next(line for line in (work / "run.csv").read_text().splitlines() if line.startswith("# started: "))[11:], "%Y-%m-%dT%H:%M:%SZ")
for zone, ahead in ("UTC0", 0), ("AHEAD-5:30", 330), ("BEHIND+7", -420):
    here = f"run of {started + datetime.timedelta(minutes=ahead):%Y-%m-%d %H:%M} ("
    tally.check(here in run(work, "ready", "run.csv", "-q", TZ=zone).stdout, f"in {zone}: no {here}")
done = run(work, "ready", "run.csv", "--write", "--json", "a.json", "--report", "a.html")
expect(done, 0, "written", "START THE JOB", "narrow  written", "written into bench.conf and read back")
tally.check("<svg" in (work / "a.html").read_text(), "the page has pictures")
answer = json.loads((work / "a.json").read_text())
tally.check(
    answer["schema"] == "tiptrue.ready/1" and answer["state"] == "start" and answer["files_written"][0]["file"] == "bench.conf",
    "JSON",
)
tally.check(
    [f["what"] for f in answer["files"]] == ["machine", "plate", "log"] and answer["result"]["schema"] == "tiptrue.result/1",
    "its files",
)
schema = json.loads((board.parents[1] / "docs" / "schema" / "ready.schema.json").read_text())
faults = [e.message for e in jsonschema.Draft202012Validator(schema).iter_errors(answer)]
tally.check(not faults, f"the schema has against the answer: {faults[:3]}")
tip = next(tip for tip in answer["tips"] if tip["tip"] == "narrow")
for axis, key in enumerate("xy"):
    tally.check(
        abs(stands(work)["narrow"][axis] - tip["offset_mm"][key]) <= 0.00005001, f"what stands there is what was found, {key}"
    )
    tally.check(
        abs(stands(work)["narrow"][axis] - TRUE["narrow"][axis]) <= tip["expanded_mm"][key] * 1.5, f"and near the truth, {key}"
    )
tally.check(stands(work)["wide"] == (36.2140, -18.4420), "a tip that is kept stays")
expect(run(work, "ready", "run.csv"), 0, "asked again", "START THE JOB", "narrow  kept")
result = json.loads(run(work, "solve", "--json", "run.csv").stdout)
known = json.loads(run(work, "solve", "--json", "--history", "bench.db", "run.csv").stdout)
for document, plate in ((result, False), (known, True)):
    change = next(tip for tip in document["tips"] if tip["tip"] == "narrow")["change_on_same_plate"]
    tally.check(change is plate, f"with which plate narrow was found: {change}, {plate} is right")
exports = json.loads(run(work, "history", "export").stdout.splitlines()[0])["exports"]
tally.check(
    len(exports) == 1 and exports[0]["new_values"]["narrow.offset.x:minus"].startswith("-52.9"), f"the export is kept: {exports}"
)
simulate(work, "next.csv", 12, offsets=TRUE, age_h=0.1)
expect(run(work, "ready", "next.csv"), 0, "the next run keeps", "since ")
simulate(work, "moved.csv", 13, offsets=MOVED, age_h=0.05)
expect(run(work, "ready", "moved.csv", "--json", "moved.json"), 10, "all tips moved", "all tips moved by +4", "the camera")
answer = json.loads((work / "moved.json").read_text())
then, now = (json.loads(run(work, "solve", "--json", name).stdout)["tips"] for name in ("next.csv", "moved.csv"))
for tip, old, new in zip(answer["tips"], then, now):
    for axis, key in enumerate("xy"):
        held = new["same_plate"]["offset_mm"][key] - old["same_plate"]["offset_mm"][key]
        stated = MOVED[tip["tip"]][axis] - TRUE[tip["tip"]][axis]
        tally.check(abs(tip["since_mm"][key] - held) < 1e-9, f"since the run before, {tip['tip']} {key}: {tip['since_mm']}, {held}")
        tally.check(abs(held - stated) < 0.003, f"and as it was moved, {tip['tip']} {key}: {held}, {stated}")
        tally.check(abs(answer["all_tips_moved_mm"][key] - stated) < 0.003, f"all tips {key}: {answer['all_tips_moved_mm']}")
expect(run(work, "ready", "run.csv"), 65, "an older run that is known", "has a later run of this machine")
simulate(work, "forgotten.csv", 14, offsets=TRUE, age_h=0.15)
expect(run(work, "ready", "forgotten.csv", "--write"), 65, "an older run that is not known", "has a later run of this machine")
tally.check(run(work, "history", "list").stdout.count("\n") == 5, "it is entered all the same")
expect(run(work, "ready", "--undo"), 0, "undo", "put back")
tally.check((work / "bench.conf").read_bytes() == before, "undo gives the old bytes")
expect(run(work, "ready", "--undo"), 78, "nothing more to undo")

# one touch off by 60 um either way: late asks for a clean edge, early does not
work = folder("sides")
simulate(work, "run.csv", 12, offsets=TRUE)
lines = (work / "run.csv").read_text().splitlines(keepends=True)
at, edge = next((i, line.split(",")[1]) for i, line in enumerate(lines) if line.startswith("touch,right-upper,wide,"))
seen = set()
for shift in (-0.06, 0.06):
    cells = lines[at].split(",")
    column = next(line for line in lines if line.startswith("kind,")).rstrip().split(",").index("y")  # the edge runs along x
    cells[column] = f"{float(cells[column]) + shift:.4f}"
    (work / "run.csv").write_text("".join([*lines[:at], ",".join(cells), *lines[at + 1:]]))
    done = run(work, "ready", "run.csv", "--dry-run", "--json", "one.json")
    answer = json.loads((work / "one.json").read_text())
    row = next(row for row in json.loads(run(work, "solve", "--json", "--touches", "run.csv").stdout)["observations"]
               if row["line"] == at + 1)
    seen.add(row["residual_mm"] < 0)
    late = [e["late"] for e in answer["late_edges"] if e["edge"] == edge]
    tally.check(abs(abs(row["residual_mm"]) - 0.06) < 0.01, f"off by {row}")
    tally.check(late == ([1] if row["residual_mm"] < 0 else []), f"{row['residual_mm']}: late {late}")
    tally.check((f"clean edge '{edge}'" in done.stdout) == (row["residual_mm"] < 0), f"{row['residual_mm']}: {done.stdout}")
tally.check(seen == {True, False}, "one was late and one was early")

# clocks and age
work = folder("age", ready={"max_age_h": 2}, log="logs/*.csv", report_folder="pages")
(work / "logs").mkdir()
expect(run(work, "ready"), 66, "no log", "no file matches")
simulate(work, "logs/b.csv", 21, offsets=TRUE, age_h=3)
expect(run(work, "ready"), 65, "stale by the machine file", "the most allowed is 2 h")
expect(run(work, "ready", "--max-age", "4h", "--write"), 0, "the option goes first")
simulate(work, "logs/a.csv", 22, offsets=TRUE, age_h=1)
os.utime(work / "logs" / "a.csv", (1, 1))
done = run(work, "ready", "--json", "-")
expect(done, 0, "the newest by its start, whatever the file's time", "log logs/a.csv (by the machine file)")
tally.check(len(list((work / "pages").iterdir())) == 2, "a page for each run in the folder of reports")
simulate(work, "silent.csv", 23, offsets=TRUE, started=False)
expect(run(work, "ready", "silent.csv"), 65, "no start, with a limit", "does not say when")
simulate(work, "ahead.csv", 24, offsets=TRUE, age_h=-5)
expect(run(work, "ready", "ahead.csv", "--max-age", "9h"), 65, "a clock ahead", "from now")
tally.check(run(work, "history", "list").stdout.count("\n") == 3, "what is refused before it is solved is not entered")
for age in ("2", "h", "-1h"):
    expect(run(work, "ready", "--max-age", age), 64, f"--max-age {age}")

# what cannot be used, places, guards
work = folder("refused")
shutil.copy(board / "run-repeat.csv", work)
expect(run(work, "ready", "run-repeat.csv", "--write"), 20, "a plate that moved", "DO NOT START", "moved-plate")
tally.check((work / "bench.conf").read_bytes() == before, "nothing of it is written")
simulate(work, "run.csv", 31, offsets=TRUE)
lines = (work / "run.csv").read_text().splitlines(keepends=True)
(work / "one.csv").write_text("".join(line for line in lines if ",narrow," not in line))
expect(run(work, "ready", "one.csv", "--write"), 20, "a tip was not touched", "narrow  not measured")
expect(run(work, "ready", "one.csv", "--write", "--tip", "wide"), 0, "the tip that was", "START THE JOB")
(work / "bench.conf").rename(work / "gone.conf")
expect(run(work, "ready", "run.csv"), 78, "no configuration", "--present")
expect(run(work, "solve", "run.csv"), 78, "solve too", "--present")
done = run(work, "solve", "--present", "machine", "run.csv")
tally.check(done.returncode == 10, f"--present machine: {done}")
done = run(work, "solve", "--json", "--present", "none", "run.csv")
tally.check(all(tip["present_mm"] is None for tip in json.loads(done.stdout)["tips"]), "--present none")
(work / "none").write_text((work / "gone.conf").read_text())
done = run(work, "solve", "--json", "--present", "./none", "run.csv")
tally.check(json.loads(done.stdout)["tips"][0]["present_mm"] is not None, "a file of that name")
text = (work / "gone.conf").read_text()
for wrong, word in (
    (text.replace("-52.8730", "52.8730"), "negative"),
    (text.replace("-52.8730", f"{-52.873 / 25.4:.4f}"), "25.4"),
    (text.replace("-52.8730", "-36.2140").replace("18.3060", "18.4420"), "tip"),
):
    (work / "bench.conf").write_text(wrong)
    done = run(work, "ready", "run.csv", "--write")
    expect(done, 20, f"an offset in use that cannot be: {word}", "change-implausible")
    done = run(work, "ready", "run.csv", "--write", "--accept-change")
    tally.check(done.returncode in (0, 65), f"accepted: {done}")
    (work / "bench.conf").write_text(wrong)
(work / "bench.conf").write_text(text)
machine = json.loads((work / "machine.json").read_text())
puts = machine["export"][0]["put"]
for fewer, word in ((puts[:2], "has no place"), (puts[:3], "only one axis")):
    machine["export"][0]["put"] = fewer
    (work / "machine.json").write_text(json.dumps(machine))
    done = run(work, "ready", "run.csv", "--write")
    tally.check(done.returncode == 78, f"{word}: {done}")
    tally.check((work / "bench.conf").read_text() == text, f"{word}: nothing is written")
machine["export"][0]["put"] = puts
for own in ("plate.json", "run.csv", "bench.db"):
    shutil.copy(work / own, work / "kept")
    machine["export"][0]["file"] = own
    (work / "machine.json").write_text(json.dumps(machine))
    done = run(work, "ready", "run.csv", "--write", "--present", "machine")
    expect(done, 78, f"a file of tiptrue's own, {own}", "is a file of tiptrue's own")
    if own != "bench.db":
        tally.check((work / own).read_bytes() == (work / "kept").read_bytes(), f"{own} is as it was")

# of two tips one is wanted
work = folder("one-wanted")
simulate(work, "run.csv", 37, offsets=TRUE)
machine = json.loads((work / "machine.json").read_text())
del machine["export"]
for tip in machine["tips"]:
    tip["offset"][0] += 0.1
(work / "machine.json").write_text(json.dumps(machine))
expect(run(work, "ready", "run.csv", "--write", "--tip", "narrow"), 0, "one of two tips is wanted", "narrow  written")
expect(run(work, "ready", "run.csv", "--write", "--tip", "narrow"), 0, "the other one is not said to be written", "wide    new")
written = [tip["offset"][0] for tip in json.loads((work / "machine.json").read_text())["tips"]]
before_it = [tip["offset"][0] for tip in machine["tips"]]
tally.check(written[0] == before_it[0] and written[1] != before_it[1], f"nor written: {written}")

# found far away, a log must name its machine
work = folder("far")
simulate(work, "run.csv", 41, offsets=TRUE, machine="")
(work / "run.csv").write_text(
    "".join(line for line in (work / "run.csv").read_text().splitlines(keepends=True) if "machine" not in line)
)
(work / "elsewhere").mkdir()
shutil.move(work / "run.csv", work / "elsewhere" / "run.csv")
shutil.copy(work / "plate.json", work / "elsewhere")
done = run(work / "elsewhere", "ready", "run.csv", "--write", TIPTRUE_MACHINE=str(work / "machine.json"))
expect(done, 65, "a log that names no machine", "does not name its machine")
tally.check((work / "bench.conf").read_bytes() == before, "and nothing is written")
text = (work / "elsewhere" / "run.csv").read_text()
(work / "elsewhere" / "run.csv").write_text("# machine: weir-bench\n" + text)
expect(run(work / "elsewhere", "ready", "run.csv", "--write", TIPTRUE_MACHINE=str(work / "machine.json")), 0, "one that does")

# without an export: the machine file itself, byte for byte
work = folder("own", export=None, units="mm")
machine = json.loads((work / "machine.json").read_text())
del machine["tips"][0]["offset"], machine["tips"][0]["offset_plate"]
machine["tips"][1]["offset_plate"] = 'old "plate"'
text = json.dumps(machine, indent=2).replace('"radius_u"', '\t"radius_u"')
(work / "machine.json").write_text(text)
simulate(work, "run.csv", 51, offsets=TRUE)
expect(run(work, "ready", "run.csv"), 65, "another plate's offset", "found with the plate")
text = text.replace('old \\"plate\\"', "CW-17")
(work / "machine.json").write_text(text)
expect(run(work, "ready", "run.csv", "--write"), 0, "into the machine file", "written into machine.json")
now = (work / "machine.json").read_text()
tips = {tip["name"]: tip for tip in json.loads(now)["tips"]}
tally.check(tips["wide"]["offset_plate"] == tips["narrow"]["offset_plate"] == "CW-17", "the plates")
for name, true in TRUE.items():
    tally.check(all(abs(a - b) < 0.02 for a, b in zip(tips[name]["offset"], true)), f"the offset of {name}: {tips[name]}")
bare = re.sub(r', "offset": \[[^]]*\], "offset_plate": "CW-17"', "", now, count=1)
tally.check(
    re.sub(r'"offset": \[[^]]*\]', "", bare) == re.sub(r'"offset": \[[^]]*\]', "", text), "all other bytes are as they were"
)
expect(run(work, "ready", "run.csv"), 0, "kept", "wide    kept")
expect(run(work, "ready", "--undo"), 0, "undo")
tally.check((work / "machine.json").read_text() == text, "the old bytes")

# several files: all or none
work = folder(
    "several",
    export=[
        {"file": "a.json", "put": ["wide.offset.x=/w/x", "wide.offset.y=/w/y"]},
        {"file": "b.json", "put": ["narrow.offset.x=/n/x", "narrow.offset.y=/n/y"]},
    ],
)
(work / "a.json").write_text('{"w": {"x": 36.3140, "y": -18.4420}}')
(work / "b.json").write_text('{"n": {"x": 52.8230, "y": -18.3060}}')
simulate(work, "run.csv", 61, offsets=TRUE)
(work / "b.json").chmod(0o444)
expect(run(work, "ready", "run.csv", "--write"), 78, "the second cannot be written", "read-only")
tally.check("36.3140" in (work / "a.json").read_text(), "the first is as it was")
(work / "b.json").chmod(0o644)
expect(run(work, "ready", "run.csv", "--write"), 0, "both", "written into a.json, b.json")
expect(run(work, "ready", "run.csv"), 0, "both kept")
expect(run(work, "ready", "--undo"), 0, "undo of both")
tally.check("36.3140" in (work / "a.json").read_text() and "52.8230" in (work / "b.json").read_text(), "both are as they were")


# on a terminal it asks
def fork_on_terminal():
    """As pty.fork; in a bare root without /dev/pts, with one that is mounted for this process alone."""
    try:
        return pty.fork()
    except OSError:
        new_mounts = 0x00020000  # CLONE_NEWNS
        if ctypes.CDLL(None, use_errno=True).unshare(new_mounts) != 0:
            raise
    for at in ("/", "/dev"):  # so that nobody else sees it; what is no mount of its own needs no such thing
        subprocess.run(["mount", "--make-private", at], check=False, stderr=subprocess.DEVNULL)
    subprocess.run(["mount", "-t", "devpts", "-o", "ptmxmode=0666", "devpts", "/dev/pts"], check=True)
    return pty.fork()


def on_terminal(work, answer):
    pid, end = fork_on_terminal()
    if pid == 0:
        os.chdir(work)
        os.execve(program, [program, "ready", "run.csv"], {**environment, "TERM": "dumb"})
    said = b""
    while select.select([end], [], [], 60)[0]:
        try:
            piece = os.read(end, 4096)
        except OSError:
            break
        said += piece
        if b"[y/N]" in piece:
            os.write(end, answer)
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), said.decode()


work = folder("asked")
simulate(work, "run.csv", 71, offsets=TRUE)
for answer, status in ((b"\n", 10), (b"n\n", 10), (b"y\n", 0)):
    code, said = on_terminal(work, answer)
    tally.check(code == status and "Write it? [y/N]" in said, f"answer {answer}: {code} {said}")
tally.check((work / "bench.conf").read_bytes() != before, "yes writes")

# killed at any moment: the configuration is old or new, and the next answer is true
work = folder("killed")
simulate(work, "run.csv", 81, offsets=TRUE)
began = time.monotonic()
run(work, "ready", "run.csv", "--write")
took = time.monotonic() - began
new = (work / "bench.conf").read_bytes()
dice = random.Random(7)
old = new_seen = 0
for kill in range(int(os.environ.get("KILLS", "12"))):
    for left in work.glob("bench.db*"):
        left.unlink()
    for left in work.glob("*.bak"):
        left.unlink()
    (work / "bench.conf").write_bytes(before)
    process = subprocess.Popen(
        [program, "ready", "run.csv", "--write"], cwd=work, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment
    )
    time.sleep(took * (dice.uniform(0, 1.2) if kill % 2 else dice.uniform(0.6, 1.05)))
    process.send_signal(signal.SIGKILL)
    process.wait()
    text = (work / "bench.conf").read_bytes()
    tally.check(text in (before, new), "the configuration is neither old nor new")
    old += text == before
    new_seen += text == new
    done = run(work, "ready", "run.csv")
    if text == new:
        expect(done, 0, "killed after it was written", "START THE JOB", "narrow  kept")
        exports = json.loads(run(work, "history", "export").stdout.splitlines()[0])["exports"]
        tally.check(len(exports) == 1, f"the export is in the history: {exports}")
    else:
        expect(done, 10, "killed before it was written", "UPDATE FIRST")
    tally.check(run(work, "history", "verify").returncode == 0, "the history is sound")
print(f"killed: {old} before, {new_seen} after the file was written")

# two at once: the second waits, or says so
work = folder("two")
simulate(work, "run.csv", 91, offsets=TRUE)
both = [
    subprocess.Popen(
        [program, "ready", "run.csv", "--write"],
        cwd=work,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
    )
    for _ in range(2)
]
codes = sorted(process.wait(timeout=120) for process in both)
for process in both:
    process.communicate()
tally.check(codes in ([0, 0], [0, 74]), f"two at once: {codes}")
expect(run(work, "ready", "run.csv"), 0, "after two at once")
# what the runs before say of scatter is kept by each morning for the next, and is what a trend of them says afresh
work = folder("kept")


def kept(sql, *values):
    """@sql on the history."""
    with sqlite3.connect(work / "bench.db") as db:
        rows = db.execute(sql, values).fetchall()
    db.close()
    return rows


def scatter(done):
    """What a result was given of scatter between runs."""
    tips = json.loads(done.stdout)["tips"]
    return {t["tip"]: line["u_mm"] for t in tips for line in t["budget"] if line["source"] == "scatter between runs"}


for i in range(10):
    simulate(work, f"{i}.csv", 200 + i, age_h=30 - 2 * i,
             offsets={tip: [x + 0.004 * (-1) ** (i // 2), y - 0.004 * (-1) ** i] for tip, (x, y) in TRUE.items()})
    done = run(work, "ready", f"{i}.csv")
    tally.check(done.returncode in (0, 10), f"morning {i}: {done}")
simulate(work, "new.csv", 250, offsets=TRUE)
rows = kept("SELECT machine, of, numbers, digest FROM scatter")
tally.check([row[0] for row in rows] == ["weir-bench"], f"kept: {rows}")
trend = {t["tip"]: t["between_run_u_mm"] for t in json.loads(run(work, "trend", "--runs", "41", "--json").stdout)["tips"]}
tally.check(kept("SELECT machine, of, numbers, digest FROM scatter") == rows, "a trend of the same runs keeps the same")
solve = ("solve", "--json", "--history", "bench.db", "new.csv")
shutil.copyfile(work / "bench.db", work / "before.db")
with_kept = run(work, *solve)
given = scatter(with_kept)
tally.check(
    len(given) == 2 and all(abs(given[tip][axis] - trend[tip][axis]) < 1e-9 and given[tip][axis] > 0.001
                            for tip in given for axis in "xy"),
    f"scatter between runs: given {given}, trend {trend}",
)


def again(*sql):
    """The same from the history as it was, changed by @sql."""
    shutil.copyfile(work / "before.db", work / "bench.db")
    for text in sql:
        kept(text)
    return run(work, *solve)


tally.check(again("DELETE FROM scatter").stdout == with_kept.stdout, "afresh: the same to the last digit")
other = again("UPDATE scatter SET numbers = CAST(replace(CAST(numbers AS TEXT), ' 0.0', ' 0.1') AS BLOB)")
tally.check(all(scatter(other)[tip]["x"] > 0.1 for tip in given), f"what is kept is taken: {scatter(other)}")
shutil.copyfile(work / "before.db", work / "bench.db")
kept("UPDATE scatter SET numbers = CAST('0 1 1 5 ' AS BLOB)")
done = run(work, "history", "verify")
tally.check(done.returncode == 65 and "the scatter that is kept of machine weir-bench" in done.stderr, f"verify: {done}")
again()
identity = kept("SELECT id FROM summary ORDER BY time_s LIMIT 1")[0][0]
shutil.copyfile(work / "before.db", work / "bench.db")
run(work, "history", "exclude", identity, "--why", "a test")
shutil.copyfile(work / "bench.db", work / "before.db")
less = again()
tally.check(scatter(less) != given and again("DELETE FROM scatter").stdout == less.stdout, "other runs: found anew")
shutil.rmtree(root)
tally.close()
