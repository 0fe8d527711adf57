# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Memory that runs out anywhere in the process, in its libraries too: no command is killed by a signal, and none goes on as if
nothing had been. (tests/fault/*_memory_test.c fail each of our own requests; these fail what GSL, cJSON, SQLite, PCRE2 and the C
library ask for.) Environment: TIPTRUE, CC, srcdir.

2026-11-26: `plan`, `simulate` and `solve --monte-carlo` ended with "gsl: rng.c: ERROR: failed to allocate space for rng state" (rc
134): GSL's default handler. The generators' states are now in our own memory."""
import os
import pathlib
import shlex
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

top = pathlib.Path(os.environ["srcdir"]).resolve()
board = top / "examples" / "gauge-board"
program = str(pathlib.Path(os.environ["TIPTRUE"]).resolve())
tally = Tally()
MOST = 150  # requests tried of one command and kind, evenly spread over all it makes
MEMORY = 71

with tempfile.TemporaryDirectory() as scratch:
    os.chdir(scratch)
    oom = pathlib.Path(scratch, "oom.so")
    source = top / "tests" / "fault" / "oom.c"
    subprocess.run([*shlex.split(os.environ["CC"]), "-shared", "-fPIC", "-O1", "-o", oom, source, "-ldl"], check=True)
    # the example's configuration is read by libxml2, which (2.9.14) frees twice by itself when its memory fails
    pair = ["--plate", str(board / "plate.json"), "--machine", str(board / "machine.json")]
    present = ["--present", "machine"]

    def run(command, **settings):
        for path in pathlib.Path(scratch).glob("h.db*"):
            path.unlink()
        environment = dict(os.environ, LD_PRELOAD=str(oom), OOM_COUNT=str(pathlib.Path(scratch, "count")), **settings)
        environment["ASAN_OPTIONS"] = environment.get("ASAN_OPTIONS", "") + ":verify_asan_link_order=0:allocator_may_return_null=1"
        return subprocess.run([program, *command], stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment, check=False,
                              timeout=120)

    plan = subprocess.run([program, "plan", "--json", "--touches", "16", *pair], stdout=subprocess.PIPE, check=False)
    pathlib.Path("plan.json").write_bytes(plan.stdout)
    log = str(board / "run.csv")
    COMMANDS = {
        "plan": ["plan", "--touches", "16", *pair],
        "simulate": ["simulate", "--draw", "--seed", "5", "--plan", "plan.json", *pair],
        "solve": ["solve", "--json", *present, *pair, log],
        "solve --monte-carlo": ["solve", "--json", "--monte-carlo", "100", *present, *pair, log],
        "solve --together": ["solve", "--json", "--together", *present, *pair, log, log],
        "solve --history": ["solve", "--history", "h.db", *present, *pair, log],
    }
    for name, command in COMMANDS.items():
        whole = run(command)
        tally.check(whole.returncode in (0, 10, 20), f"{name}: {whole.returncode} {whole.stderr[:300]}")
        requests = int(pathlib.Path("count").read_text())
        tally.check(requests > 50, f"{name}: only {requests} requests are watched: the test has lost its grip")
        seen = set()
        for kind in ({}, {"OOM_ALL": "1"}):
            for k in range(min(MOST, requests)):
                at = 1 + k * requests // min(MOST, requests)
                done = run(command, OOM_AT=str(at), **kind)
                what = f"{name}: request {at} of {requests} {'and all later ones' if kind else ''}"
                seen.add(done.returncode)
                if done.returncode == whole.returncode:
                    tally.check(done.stdout == whole.stdout, f"{what}: status {done.returncode}, another output")
                else:
                    # the C library's own start, argp among it, has messages of its own
                    tally.check(done.returncode > 0 and done.stderr != b"",
                                f"{what}: status {done.returncode}, {done.stderr[:200]}")
        tally.check(MEMORY in seen, f"{name}: no request was told as a lack of memory: {seen}")
tally.close()
