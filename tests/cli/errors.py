# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Every command with --json gives one error object (tiptrue.error/1) for each failure, wrong use included, with the code that its
exit status stands for and all faults of the file; standard error says the same in words."""
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

import jsonschema

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

top = pathlib.Path(os.environ["srcdir"]).resolve()
program = os.environ["TIPTRUE"]
tally = Tally()
work = pathlib.Path(tempfile.mkdtemp())
for name in ("plate.json", "machine.json", "run.csv", "bench.conf", "board.csv"):
    shutil.copyfile(top / "examples" / "gauge-board" / name, work / name)
schema = json.loads((top / "docs" / "schema" / "error.schema.json").read_text())
validator = jsonschema.Draft202012Validator(schema)
environment = {**os.environ, "XDG_DATA_HOME": str(work / "data"), "XDG_CONFIG_HOME": str(work / "config"), "TZ": "UTC0"}
environment.pop("TIPTRUE_MACHINE", None)
# <sysexits.h>, as docs/formats.md has them
CODES = {64: {"usage"}, 65: {"data", "degenerate"}, 66: {"no-input"}, 74: {"io"}, 78: {"config"}}
lines = (work / "run.csv").read_text().splitlines()
(work / "faulty.csv").write_text("\n".join(line.replace("touch,left-lower", "touch,lft-lower") for line in lines) + "\n")
faulty = sum("touch,left-lower" in line for line in lines)
(work / "faulty.json").write_text('{"schema": "tiptrue.machine/1", "name": "m", "resolution": -1, "limits": {"runout": "x"}}')
(work / "moved.json").write_text((work / "machine.json").read_text().replace("bench.conf", "gone.conf"))
subprocess.run([program, "solve", "--history", "good.db", "run.csv"], cwd=work, env=environment, check=False, capture_output=True)

PAIR = ["--plate", "plate.json", "--machine", "machine.json"]
# arguments, exit status, how many faults (None: one)
CASES = [
    (["solve"], 64), (["solve", "--foo", "run.csv"], 64), (["solve", "run.csv", "--plate"], 64),
    (["solve", "--units", "ell", "run.csv"], 64), (["solve", "--plan", "p.json", "run.csv"], 64),
    (["solve", "gone.csv"], 66), (["solve", "faulty.csv"], 65, faulty),
    (["solve", "--machine", "faulty.json", "run.csv"], 65, 2), (["solve", "--present", "gone.conf", "run.csv"], 66),
    (["solve", "--machine", "moved.json", "run.csv"], 78),
    (["solve", "--history", "run.csv", "run.csv"], 65), (["solve", "--history", "no/where.db", "run.csv"], None),
    (["check", "--pattern", "x"], 64), (["check", "gone.csv"], 66), (["plan", *PAIR, "--touches", "x"], 64),
    (["plan", *PAIR, "--after", "gone.csv"], 66),
    (["plan", *PAIR, "extra"], 64), (["plan", *PAIR, "--after", "faulty.csv"], 65, faulty),
    (["placement", "board.csv"], 64), (["placement", "--machine", "machine.json", "gone.csv"], 66),
    (["placement", "--machine", "faulty.json", "board.csv"], 65, 2), (["placement", "--machine", "machine.json", "run.csv"], 65, 2),
    (["compare"], 64), (["compare", "a", "b", "c"], 64), (["compare", "gone.json", "gone.json"], 66),
    (["compare", "run.csv", "run.csv"], 65),
    (["compare", "--last", "--history", "gone.db"], 66), (["compare", "--last", "--history", "good.db"], 66),
    (["compare", "--history", "good.db", "ffff", "ffff"], 66),
    (["trend", "--history", "gone.db"], 66), (["trend", "--history", "run.csv"], 65), (["trend", "extra"], 64),
    (["trend", "--history", "good.db", "--machine", "other"], 66), (["trend", "--runs", "0"], 64),
    (["trend", "--history", "good.db", "--since", "yesterday"], 64),
    (["history", "list", "--history", "gone.db"], 66), (["history", "list", "extra"], 64), (["history", "list", "--since"], 64),
    (["history", "show", "--history", "good.db", "ffff"], 66), (["history", "show", "--history", "gone.db", "ffff"], 66),
    (["history", "frobnicate"], 64), (["frobnicate"], 64),
]  # fmt: skip


def look(what, done, text, status, faults=1):
    """One error object that is valid, agrees with the exit status, and whose faults all stand on standard error."""
    documents = [json.loads(line) for line in text.splitlines()]
    tally.check(len(documents) == 1, f"{what}: {len(documents)} lines of JSON: {text[:300]}")
    if not documents:
        return
    document = documents[0]
    against = [error.message for error in validator.iter_errors(document)]
    tally.check(not against, f"{what}: the schema has against it: {against[:3]}")
    tally.check(status in (None, done.returncode), f"{what}: exit status {done.returncode}, {status} is right: {done.stderr}")
    tally.check(document["code"] in CODES[done.returncode], f"{what}: code {document['code']} with status {done.returncode}")
    tally.check(len(document["faults"]) == faults, f"{what}: {len(document['faults'])} faults, {faults} are right")
    tally.check(document["text"] == document["faults"][0]["text"], f"{what}: the first fault stands at the top")
    if done.returncode != 64:
        for fault in document["faults"]:
            place = ":".join(str(part) for part in (fault["file"], fault["line"], fault["column"]) if part is not None)
            tally.check(f"{place or 'tiptrue'}: error: {fault['text']}" in done.stderr, f"{what}: not on standard error: {fault}")
    else:
        tally.check(done.stderr.startswith("tiptrue"), f"{what}: no usage message")


def run(arguments):
    return subprocess.run([program, *arguments], cwd=work, env=environment, capture_output=True, text=True, check=False, timeout=60)


for arguments, status, *faults in CASES:
    # the option stands behind the command and its action, before what may be at fault
    at = 2 if arguments[0] == "history" else 1
    done = run([*arguments[:at], "--json", *arguments[at:]])
    look(" ".join(arguments), done, done.stdout, status, *faults)

# ready: into its file, or to standard output
READY = [
    (["ready", "gone.csv"], 66), (["ready", "faulty.csv"], 65, faulty), (["ready", "--foo", "run.csv"], 64),
    (["ready", "--machine", "faulty.json", "run.csv"], 65, 2), (["ready", "run.csv", "run.csv"], 64),
    (["ready", "--max-age", "1h", "run.csv"], 65), (["ready", "--present", "gone.conf", "run.csv"], 66),
    (["ready", "--machine", "moved.json", "run.csv"], 78),
    (["ready", "--history", "run.csv", "run.csv"], 65), (["ready", "--write", "--dry-run", "run.csv"], 64),
]  # fmt: skip
for arguments, status, *faults in READY:
    done = run([*arguments[:1], "--json", "answer.json", *arguments[1:]])
    answer = work / "answer.json"
    look(" ".join(arguments), done, answer.read_text() if answer.exists() else "", status, *faults)
    answer.unlink(missing_ok=True)
    done = run([*arguments[:1], "--json=-", *arguments[1:]])
    look(" ".join(arguments) + " to standard output", done, done.stdout, status, *faults)
# of several runs, those that are good go on
done = run(["solve", "--json", "--plate", "plate.json", "--machine", "machine.json", "run.csv", "faulty.csv", "run.csv"])
schemas = [json.loads(line)["schema"] for line in done.stdout.splitlines()]
tally.check(schemas == ["tiptrue.result/1", "tiptrue.error/1", "tiptrue.result/1"] and done.returncode == 65, f"several: {schemas}")
# and without --json nothing of it is on standard output
for arguments, *_ in CASES:
    out = run(arguments).stdout
    tally.check("tiptrue.error/1" not in out, f"{arguments} without --json: {out[:200]}")
# help is help
done = run(["solve", "--json", "--help"])
tally.check(done.returncode == 0 and done.stdout.startswith("Usage:"), "--json --help")
shutil.rmtree(work)
tally.close()
