# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Memory that runs out anywhere in the process, in its libraries too: no command is killed by a signal, and none goes on as if
nothing had been. A request is known by the calls that led to it: each kind is refused once, in the first command that makes it,
and a few of every command wherever they come from. (tests/fault/*_memory_test.c fail each of our own requests; these fail what
GSL, cJSON, SQLite, PCRE2 and the C library ask for.) Environment: TIPTRUE, CC, srcdir; WHOLE: as many of every command.

2026-11-26: `plan`, `simulate` and `solve --monte-carlo` ended with "gsl: rng.c: ERROR: failed to allocate space for rng state" (rc
134): GSL's default handler. The generators' states are now in our own memory."""
import os
import pathlib
import shlex
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from fault.commands import all_commands, program  # noqa: E402
from tally import Tally, times  # noqa: E402

top = pathlib.Path(os.environ["srcdir"]).resolve()
tally = Tally()
WHOLE = bool(os.environ.get("WHOLE"))
MOST = times(150, 40)  # new kinds of request tried of one command, evenly spread where it has more (SQLite)
LESS = MOST if WHOLE else times(15, 5)  # the same of commands after the first six
FEW = times(12, 6)  # requests tried of one command besides, evenly spread over all it makes
MEMORY = 71

with tempfile.TemporaryDirectory() as scratch:
    os.chdir(scratch)
    oom = pathlib.Path(scratch, "oom.so")
    source = top / "tests" / "fault" / "oom.c"
    subprocess.run([*shlex.split(os.environ["CC"]), "-shared", "-fPIC", "-O1", "-o", oom, source, "-ldl"], check=True)
    def run(command, **settings):
        for path in pathlib.Path(scratch).glob("h.db*"):
            path.unlink()
        environment = dict(os.environ, LC_ALL="C", LD_PRELOAD=str(oom), OOM_COUNT=str(pathlib.Path(scratch, "count")), **settings)
        environment["ASAN_OPTIONS"] = environment.get("ASAN_OPTIONS", "") + ":verify_asan_link_order=0:allocator_may_return_null=1"
        return subprocess.run([program, *command], stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment, check=False,
                              timeout=120)

    COMMANDS = all_commands()
    known = set()

    def spread(items, most):
        """At most so many of them, evenly."""
        return [items[k * len(items) // most] for k in range(most)] if len(items) > most else items

    for number, (name, command) in enumerate(COMMANDS.items()):
        few = FEW if number < 6 or WHOLE else FEW // 3
        whole = run(command, OOM_SITES="sites")
        tally.check(whole.returncode in (0, 10, 20), f"{name}: {whole.returncode} {whole.stderr[:300]}")
        requests = int(pathlib.Path("count").read_text())
        tally.check(requests > 50, f"{name}: only {requests} requests are watched: the test has lost its grip")
        sites = pathlib.Path("sites").read_text().split()
        tally.check(len(sites) == requests, f"{name}: {len(sites)} sites of {requests} requests")
        new = [at for at, site in enumerate(sites, 1) if not (site in known or known.add(site))]
        new = spread(new, MOST if number < 6 else LESS)
        print(f"# {name}: {requests} requests, {len(set(sites))} kinds of them, {len(new)} tried for the first time")
        seen = set()
        for kind in ({}, {"OOM_ALL": "1"}):
            for at in sorted({*new, *spread(range(1, requests + 1), few)}):
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
