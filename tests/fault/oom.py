# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Memory that runs out anywhere in the process, in its libraries too: no command is killed by a signal, and none goes on as if
nothing had been. A request is known by the calls that led to it: each kind is refused once, in the first command that makes it,
and a few of every command wherever they come from. (tests/fault/*_memory_test.c fail each of our own requests; these fail what
GSL, cJSON, SQLite, PCRE2 and the C library ask for.) Environment: TIPTRUE, CC, srcdir.

2026-11-26: `plan`, `simulate` and `solve --monte-carlo` ended with "gsl: rng.c: ERROR: failed to allocate space for rng state" (rc
134): GSL's default handler. The generators' states are now in our own memory."""
import os
import pathlib
import shlex
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally, times  # noqa: E402

top = pathlib.Path(os.environ["srcdir"]).resolve()
board = top / "examples" / "gauge-board"
program = str(pathlib.Path(os.environ["TIPTRUE"]).resolve())
tally = Tally()
MOST = times(150, 75)  # new kinds of request tried of one command, evenly spread where it has more (SQLite)
FEW = times(12, 6)  # requests tried of one command besides, evenly spread over all it makes
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
    small = [str(top / "tests" / "cli" / "bench" / name) for name in ("plate.json", "machine.json", "run.csv")]  # drawn in no time
    COMMANDS = {
        "plan": ["plan", "--touches", "16", *pair],
        "simulate": ["simulate", "--draw", "--seed", "5", "--plan", "plan.json", *pair],
        "solve": ["solve", "--json", *present, *pair, log],
        "solve --monte-carlo": ["solve", "--json", "--monte-carlo", "100", "--plate", small[0], "--machine", small[1], small[2]],
        "solve --together": ["solve", "--json", "--together", *present, *pair, log, log],
        "solve --history": ["solve", "--history", "h.db", *present, *pair, log],
    }
    known = set()

    def spread(items, most):
        """At most so many of them, evenly."""
        return [items[k * len(items) // most] for k in range(most)] if len(items) > most else items

    for name, command in COMMANDS.items():
        whole = run(command, OOM_SITES="sites")
        tally.check(whole.returncode in (0, 10, 20), f"{name}: {whole.returncode} {whole.stderr[:300]}")
        requests = int(pathlib.Path("count").read_text())
        tally.check(requests > 50, f"{name}: only {requests} requests are watched: the test has lost its grip")
        sites = pathlib.Path("sites").read_text().split()
        tally.check(len(sites) == requests, f"{name}: {len(sites)} sites of {requests} requests")
        new = spread([at for at, site in enumerate(sites, 1) if not (site in known or known.add(site))], MOST)
        print(f"# {name}: {requests} requests, {len(set(sites))} kinds of them, {len(new)} tried for the first time")
        seen = set()
        for kind in ({}, {"OOM_ALL": "1"}):
            for at in sorted({*new, *spread(range(1, requests + 1), FEW)}):
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
