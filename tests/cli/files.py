# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The files that a machine file names: the newest log, whatever its folder is called; the plate that the log says, of several;
nothing written outside the machine file's folder."""
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
board = pathlib.Path(os.environ["srcdir"]).resolve() / "examples" / "gauge-board"
tally = Tally()
root = pathlib.Path(tempfile.mkdtemp())
environment = {**os.environ, "XDG_CONFIG_HOME": str(root / "config"), "XDG_DATA_HOME": str(root / "data"), "TZ": "UTC0"}
environment.pop("TIPTRUE_MACHINE", None)
ANSWER = root / "answer.json"
LOG = (board / "run.csv").read_text()
STARTED = "# started: 2026-04-14T06:52:04Z\n"


def folder(name, **keys):
    """The example's files in a new folder below; @keys go into the machine file, those that are None out of it."""
    work = root / name
    (work / "logs").mkdir(parents=True)
    for file in ("plate.json", "bench.conf"):
        shutil.copyfile(board / file, work / file)
    machine = {**json.loads((board / "machine.json").read_text()), "history": "bench.db", "plate": "plate.json", **keys}
    (work / "machine.json").write_text(json.dumps({key: value for key, value in machine.items() if value is not None}))
    return work


def run(*arguments, work=root):
    return subprocess.run([program, *arguments], cwd=work, capture_output=True, text=True, check=False, timeout=60, env=environment)


def refused(done, status, *words):
    good = done.returncode == status and all(word in done.stderr for word in words)
    tally.check(good, f"{done.args[1:]}: {done.returncode}, {done.stderr[:300]}, not {status} with {words}")


def used(done, what):
    """The path of the file that the answer says was used."""
    tally.check(done.returncode in (0, 10, 20), f"{done.args[1:]}: {done.returncode}, {done.stderr[:300]}")
    answer = json.loads(ANSWER.read_text()) if ANSWER.exists() else {"files": []}
    ANSWER.unlink(missing_ok=True)
    return next((file["path"] for file in answer.get("files", []) if file["what"] == what), "")


# the newest log: by its start, or by the file's time where it states none
for name in ("plain", "a [1] b*c?d", "back\\slash"):
    work = folder(name, log="logs/*.csv")
    (work / "logs" / "not-a-file.csv").mkdir()
    at = ["ready", "--machine", f"{name}/machine.json", "--json", str(ANSWER)]
    refused(run(*at), 66, "no file matches its \"log\"", "logs/*.csv")
    (work / "logs" / "older.csv").write_text(LOG)
    (work / "logs" / "newer.csv").write_text(LOG.replace(STARTED, "# started: 2026-04-15T06:52:04Z\n"))
    os.utime(work / "logs" / "newer.csv", (7, 7))
    tally.check(used(run(*at), "log") == f"{name}/logs/newer.csv", f"{name}: the newest by its start")
    (work / "logs" / "silent.csv").write_text(LOG.replace(STARTED, ""))
    os.utime(work / "logs" / "silent.csv", (7, 7))
    tally.check(used(run(*at), "log") == f"{name}/logs/newer.csv", f"{name}: an old file without a start")
    os.utime(work / "logs" / "silent.csv")
    tally.check(used(run(*at), "log") == f"{name}/logs/silent.csv", f"{name}: the newest by its time")
work = folder("silent")
refused(run("ready", work=work), 66, "does not say where the logs are", "let the machine file say \"log\"")
work = folder("absolute", log=str(root / "plain" / "logs" / "o*.csv"))
from_root = used(run("ready", "--json", str(ANSWER), work=work), "log")
tally.check(from_root.endswith("/plain/logs/older.csv"), f"a pattern from the root: {from_root}")

# one of several plates
work = folder("plates", plate=["plate.json", "other.json", "no-serial.json", "broken.json"])
plate = json.loads((work / "plate.json").read_text())
(work / "other.json").write_text(json.dumps({**plate, "name": "second window", "serial": "CW-18"}))
(work / "no-serial.json").write_text(json.dumps({k: v for k, v in {**plate, "name": "third window"}.items() if k != "serial"}))
(work / "broken.json").write_text('{"schema": "tiptrue.plate/1"')
SAYS = {"# plate: cross window": "plate.json", "# plate: second window": "other.json", "# plate: CW-18": "other.json",
        "# plate_serial: CW-17": "plate.json", "# plate_serial: CW-18": "other.json", "# plate: third window": "no-serial.json"}
for head, file in SAYS.items():
    (work / "run.csv").write_text(LOG.replace("# plate: cross window", head))
    done = run("solve", "run.csv", work=work)
    tally.check(done.returncode in (0, 10) and f"plate {file} (by the machine file)" in done.stderr, f"{head}: {done.stderr[:300]}")
for head, words in (("# plate: fourth window", ("none of them is that of the log, 'fourth window'",)),
                    ("# plate_serial: third window", ("none of them", "'third window'")),
                    ("# note: of nothing", ("names 4 plates, and the log does not say which",))):
    (work / "run.csv").write_text(LOG.replace("# plate: cross window", head))
    refused(run("ready", "run.csv", work=work), 65, *words)
shutil.copy(work / "plate.json", work / "no-serial.json")
(work / "run.csv").write_text(LOG)
refused(run("ready", "run.csv", work=work), 65, "several of them are that of the log, 'cross window'", "--plate")

work = folder("other-serial")
(work / "run.csv").write_text(LOG.replace("# plate: cross window", "# plate_serial: CW-99"))
done = run("check", "run.csv", work=work)
words = "warning: the run was made on the plate with serial 'CW-99', and the plate file is of 'CW-17'"
tally.check(words in done.stdout + done.stderr, f"another serial: {done.stderr[:300]}")
(work / "run.csv").write_text(LOG.replace("# plate: cross window", "# plate_serial: CW-17"))
done = run("check", "run.csv", work=work)
tally.check("was made on" not in done.stdout + done.stderr, f"its serial: {done.stderr[:300]}")

# nothing is written outside the folder, whatever the machine file says
for number, name in enumerate((str(root / "h.db"), "..", "../h.db", "a/../../h.db", "a/..", "logs/../../h.db")):
    work = folder(f"out-{number}", history=name)
    (work / "run.csv").write_text(LOG)
    refused(run("ready", "run.csv", work=work), 78, "leads out of the machine file's folder", "--history")
    work = folder(f"pages-{number}", report_folder=name)
    (work / "run.csv").write_text(LOG)
    refused(run("ready", "run.csv", work=work), 78, "'report_folder'", "leads out of the machine file's folder", "--report")
for name in ("..h.db", "logs/..h", "h..", "a...b"):
    work = folder(f"in-{name.replace('/', '-')}", history=name)
    (work / "run.csv").write_text(LOG)
    tally.check(run("ready", "run.csv", work=work).returncode in (0, 10, 20) and (work / name).exists(), f"history {name}")
shutil.rmtree(root)
tally.close()
