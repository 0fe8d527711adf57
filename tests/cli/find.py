# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Where files are found that the command line does not name: the order, what the machine file names, what is refused.

The name of each machine and the serial of each plate say in the result which was used."""
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
bench = pathlib.Path(os.environ["srcdir"]).resolve() / "tests" / "cli" / "bench"
controller = pathlib.Path(os.environ["srcdir"]).resolve() / "tests" / "field" / "14-controller-log"
tally = Tally()
work = pathlib.Path(tempfile.mkdtemp())
machine = json.loads((bench / "machine.json").read_text())
plate = json.loads((bench / "plate.json").read_text())
log = (bench / "run.csv").read_text()
environment = {
    **os.environ,
    "XDG_CONFIG_HOME": str(work / "config"),
    "XDG_DATA_HOME": str(work / "data"),
    "HOME": str(work / "home"),
}
environment.pop("TIPTRUE_MACHINE", None)


def put(path, what):
    path = work / path
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(what if isinstance(what, str) else json.dumps(what))


def run(*arguments, here=".", **variables):
    return subprocess.run(
        [program, *arguments],
        cwd=work / here,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
        env={**environment, **variables},
    )


def used(*arguments, here="here", **variables):
    """Name of the machine, serial of the plate that solve used; the line about files."""
    done = run("solve", "--json", *arguments, here=here, **variables)
    if done.returncode >= 64:
        return done.returncode, done.stderr, ""
    result = json.loads(done.stdout)
    return (
        result["run"]["machine"],
        result["run"]["plate_serial"],
        "\n".join(line for line in done.stderr.splitlines() if line.startswith("using")),
    )


def named(name, **keys):
    return {**machine, "name": name, **keys}


def serial(number):
    return {**plate, "serial": number}


def stating(**keys):
    """The log with other statements before its header, or fewer."""
    lines = [line for line in log.splitlines(keepends=True) if not line.startswith("#")]
    return "".join(f"# {key}: {value}\n" for key, value in keys.items()) + "".join(lines)


put("runs/run.csv", stating(machine="lathe corner"))
put("silent/run.csv", stating())
put("here/note.txt", "")
(work / "config" / "tiptrue").mkdir(parents=True)

# nothing is there
code, text, _ = used("../runs/run.csv")
tally.check(code == 64 and "--plate is missing" in text, "nothing found")
put("runs/plate.json", serial("beside"))
code, text, _ = used("../runs/run.csv")
tally.check(code == 64 and "--machine is missing" in text, "no machine found")

# from the last place to the first one
put("config/tiptrue/machine.json", named("configured"))
tally.check(used("../silent/run.csv", "--plate", "../runs/plate.json")[0] == "configured", "the configuration folder")
tally.check(
    used("../runs/run.csv")[::2]
    == (
        "configured",
        f"using machine {work}/config/tiptrue/machine.json (in the configuration "
        "folder), plate ../runs/plate.json (beside the run)",
    ),
    "the configuration folder is told",
)
put("config/tiptrue/machines/lathe corner.json", named("by the log"))
tally.check(used("../runs/run.csv")[0] == "by the log", "by the log's machine")
tally.check(used("../silent/run.csv", "--plate", "../runs/plate.json")[0] == "configured", "a log that names none")
put("config/tiptrue/machine.json", named("elsewhere"))
tally.check(used("../runs/run.csv", XDG_CONFIG_HOME="")[0] == 64, "an empty XDG_CONFIG_HOME is none")
put("home/.config/tiptrue/machine.json", named("home"))
tally.check(used("../runs/run.csv", XDG_CONFIG_HOME="relative")[0] == "home", "a relative XDG_CONFIG_HOME does not count")
put("config/tiptrue/machines/second.json", named("second one"))
tally.check(used("../runs/run.csv", TIPTRUE_MACHINE="second")[0] == "second one", "a name in TIPTRUE_MACHINE")
put("variable.json", named("variable"))
tally.check(used("../runs/run.csv", TIPTRUE_MACHINE="../variable.json")[0] == "variable", "a file in TIPTRUE_MACHINE")
code, text, _ = used("../runs/run.csv", TIPTRUE_MACHINE="../gone.json")
tally.check(code == 66 and "../gone.json: error" in text, "TIPTRUE_MACHINE leads nowhere")
put("here/machine.json", named("current"))
tally.check(used("../runs/run.csv", TIPTRUE_MACHINE="../variable.json")[0] == "current", "the current folder")
put("here/plate.json", serial("current"))
put("runs/machine.json", named("beside"))
tally.check(used("../runs/run.csv", TIPTRUE_MACHINE="../variable.json")[:2] == ("beside", "beside"), "beside the run")
tally.check(used("../silent/run.csv")[:2] == ("current", "current"), "both in the current folder")
tally.check(used("../runs/run.csv", "--machine", "../variable.json")[0] == "variable", "named")
tally.check(used("../runs/run.csv", "--machine", "second")[0] == "second one", "named by name")
put("here/second", named("a file"))
tally.check(used("../runs/run.csv", "--machine", "second")[0] == "a file", "a file of that name goes first")
code, text, _ = used("../runs/run.csv", "--machine", "third")
tally.check(code == 66 and text.startswith("third: error: cannot be opened"), "neither file nor name")
tally.check(
    used("run.csv", here="runs")[2] == "using machine machine.json (beside the run), plate plate.json (beside the run)", "told"
)
tally.check(used("run.csv", "--quiet", here="runs")[2] == "", "--quiet")
tally.check(used("run.csv", "-q", "--machine", "machine.json", here="runs")[2] == "", "-q")
tally.check(
    used("run.csv", "--machine", "machine.json", "--plate", "plate.json", here="runs")[2] == "",
    "nothing to tell of what is named",
)
done = subprocess.run(
    [program, "solve", "--json", "-"],
    cwd=work / "runs",
    capture_output=True,
    text=True,
    check=False,
    timeout=60,
    env=environment,
    input=log,
)
tally.check(json.loads(done.stdout)["run"]["machine"] == "beside", "a run from standard input: the current folder")

# what the machine file names
put("m/machine.json", named("lists", plate=["plates/a.json", "plates/b.json"], history="kept/weeks.db"))
put("m/plates/a.json", {**serial("A-1"), "name": "first plate"})
put("m/plates/b.json", {**serial("B-2"), "name": "other plate"})
put("m/plates/wrong.json", "{")
for keys, found in (
    ({"plate_serial": "B-2"}, "B-2"),
    ({"plate": "A-1"}, "A-1"),
    ({"plate": "other plate"}, "B-2"),
    ({"plate": "other plate", "plate_serial": "A-1"}, "A-1"),
):
    put("m/logs/run.csv", stating(**keys))
    tally.check(used("logs/run.csv", here="m")[1] == found, f"the plate of {keys}")
for keys, word in (
    ({}, "does not say which of them was touched"),
    ({"plate_serial": "C-3"}, "none of them is that of the log, 'C-3'"),
    ({"plate": "A-1", "plate_serial": "C-3"}, "none of them is that of the log, 'C-3'"),
):
    put("m/logs/run.csv", stating(**keys))
    code, text, _ = used("logs/run.csv", here="m")
    tally.check(code == 65 and word in text and "--plate" in text, f"no plate for {keys}: {text}")
    tally.check(used("logs/run.csv", "--plate", "plates/a.json", here="m")[1] == "A-1", f"named all the same, {keys}")
put("m/plates/c.json", serial("A-1"))
put("m/machine.json", named("lists", plate=["plates/a.json", "plates/wrong.json", "plates/c.json"]))
put("m/logs/run.csv", stating(plate_serial="A-1"))
code, text, _ = used("logs/run.csv", here="m")
tally.check(code == 65 and "several of them are that of the log, 'A-1'" in text, "two plates of one serial")
put("m/machine.json", named("one", plate="plates/a.json"))
put("m/plate.json", serial("near"))
tally.check(used("logs/run.csv", here="m")[1] == "A-1", "the plate that the machine file names goes before one that is near")
tally.check(used("m/logs/run.csv", "--machine", "m/machine.json", here=".")[1] == "A-1", "relative to the machine file")
put("m/machine.json", named("one", plate=str(work / "runs" / "plate.json")))
tally.check(used("logs/run.csv", here="m")[1] == "beside", "an absolute path")
for wrong in (7, "", ["a.json", 7], [""]):
    put("m/machine.json", named("one", plate=wrong))
    code, text, _ = used("logs/run.csv", here="m")
    tally.check(code == 65 and "'plate'" in text, f"plate {wrong}: {text}")
for wrong in ({"max_age_h": 0}, {"max_age_h": "2"}, 2):
    put("m/machine.json", named("one", plate="plates/a.json", ready=wrong))
    tally.check(used("logs/run.csv", here="m")[0] == 65, f"ready {wrong}")

# several runs
put("other/run.csv", log)
code, text, _ = used("../runs/run.csv", "../other/run.csv")
tally.check(code == 64 and "different machine files beside them" in text, "two runs, one machine file beside one of them")
put("other/machine.json", named("beside"))
put("other/plate.json", serial("beside"))
tally.check(used("run.csv", "../other/run.csv", here="runs")[0] == 64, "two folders with machine files")
code, text, _ = used("run.csv", "../other/run.csv", "--machine", "machine.json", here="runs")
tally.check(code == 64 and "different plate files beside them" in text, "two folders with plates")
done = run("solve", "--json", "run.csv", "../other/run.csv", "--machine", "machine.json", "--plate", "plate.json", here="runs")
tally.check(len(done.stdout.splitlines()) == 2, "named, both are read")

# a controller's log
shutil.copytree(controller, work / "lines")
pattern = r"(?:trip|seen) id=(?<id>\d+) at x=(?<x>\S+) y=(?<y>\S+) z=(?<z>\S+) ok=(?<ok>[01])"
of_controller = json.loads((controller / "machine.json").read_text())
by_hand = run(
    "solve",
    "--json",
    "--plate",
    "plate.json",
    "--machine",
    "machine.json",
    "--plan",
    "plan.json",
    "--pattern",
    pattern,
    "controller.log",
    here="lines",
)
tally.check(by_hand.returncode < 64, f"the controller's log by hand: {by_hand.stderr}")
put("lines/machine.json", {**of_controller, "plan": "plan.json", "pattern": pattern})
done = run("solve", "--json", "controller.log", here="lines")
tally.check(done.stdout == by_hand.stdout, f"plan and pattern of the machine file: {done.stderr}")
tally.check("plan plan.json (by the machine file)" in done.stderr, "the plan is told")
put("lines/run.csv", log)
put("lines/m.json", {**machine, "plan": "plan.json", "pattern": pattern})
done = run("solve", "--json", "--machine", "m.json", "--plate", "../runs/plate.json", "run.csv", here="lines")
tally.check(done.returncode < 64, f"a run log needs no plan: {done.stderr}")
code, text, _ = used("controller.log", "--machine", "m.json", "--plate", "plate.json", "--plan", "plan.json", here="lines")
tally.check(code == 65 and "lathe corner" not in text, "a plan that is named takes the pattern of the machine file")
put("lines/machine.json", {**of_controller, "pattern": pattern})
code, text, _ = used("controller.log", "--plan", "plan.json", here="lines")
tally.check(code != 64, f"the pattern alone: {text}")
put("lines/machine.json", {**of_controller, "plan": "plan.json"})
code, text, _ = used("controller.log", "--pattern", pattern, here="lines")
tally.check(code == "bench-2", f"the plan alone: {text}")

# the history
put("h/machine.json", named("kept", history="kept/weeks.db"))
put("h/plate.json", plate)
put("h/run.csv", log)
(work / "h" / "kept").mkdir()
done = run("solve", "--record", "run.csv", here="h")
tally.check(
    done.returncode < 64 and (work / "h" / "kept" / "weeks.db").exists(),
    f"--record goes to the machine file's history: {done.stderr}",
)
for action in ("list",), ("verify",), ("export",):
    done = run("history", *action, here="h")
    tally.check(done.returncode == 0 and done.stdout != "", f"history {action} finds it: {done.stderr}")
for word in ((), ("--machine", "machine.json"), ("--machine", "kept")):
    done = run("trend", *word, here="h")
    tally.check(done.returncode == 0 and "kept" in done.stdout, f"trend {word}: {done.stderr}")
done = run("trend", "--machine", "h/machine.json", here=".")
tally.check(done.returncode == 0 and "kept" in done.stdout, f"trend by a file elsewhere: {done.stderr}")
done = run("history", "list", "--machine", "h/machine.json", "--history", "h/kept/weeks.db", here=".")
tally.check(done.stdout.count("\n") == 2, f"list of a machine by its file: {done.stdout}")
done = run("history", "list", "--machine", "machine.json", "--history", "../h/kept/weeks.db", here="runs")
tally.check(done.returncode == 66 and done.stdout == "", f"list of another machine by its file: {done}")
tally.check(
    run("history", "list", here="here").returncode == 66, "without a machine file the default history counts, which is not there"
)
put("h/out/machine.json", named("kept", history="../weeks.db"))
done = run("solve", "--record", "--machine", "out/machine.json", "run.csv", here="h")
tally.check(
    done.returncode == 78 and "leads out" in done.stderr and not (work / "h" / "weeks.db").exists(), "a history elsewhere"
)

# other commands
for command in (
    ("plan",),
    ("plan", "--after", "run.csv"),
    ("simulate", "--draw"),
    ("check", "run.csv"),
    ("report", "-o", "page.html", "run.csv"),
):
    done = run(*command, here="runs")
    tally.check(done.returncode in (0, 10, 20), f"{command}: {done.returncode} {done.stderr}")
    if command[0] != "report":
        tally.check("using machine machine.json" in done.stderr, f"{command} tells: {done.stderr}")
shutil.rmtree(work)
tally.close()
