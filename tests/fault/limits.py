# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Every command with too little of something: descriptors, address space, the size that files may have, room on the device of its
output. It ends by a status of those documented and never by a signal, says what failed, prints the whole of its answer where the
status is that of the whole, leaves no file half-written, and changes none. Environment: srcdir, TIPTRUE.
Last lines: how often which limit ended with which status."""
import collections
import os
import pathlib
import resource
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from fault.commands import all_commands, program  # noqa: E402
from tally import Tally  # noqa: E402

tally = Tally()
SANITIZED = b"__asan_" in pathlib.Path(program).read_bytes() or "asan" in os.popen(f"ldd {program}").read()
ALLOWED = {65, 66, 71, 74}  # docs/formats.md: what cannot be opened, memory, reading and writing
LIMITS = {
    "descriptors": (resource.RLIMIT_NOFILE, range(3, 9)),
    "file size": (resource.RLIMIT_FSIZE, (0, 1000, 5000, 20000)),
    # the sanitizers need terabytes of addresses
    "address space": (resource.RLIMIT_AS, () if SANITIZED else [mib << 20 for mib in (12, 14, 16, 18, 20, 24, 28)]),
}


def files():
    return {path.name: path.read_bytes() for path in pathlib.Path(".").iterdir() if path.is_file()}


def ask(command, out=subprocess.PIPE, limit=None):
    """What @command says under a limit, and the files it leaves; those that were there before are put back."""
    before = files()

    def restrict():
        resource.setrlimit(limit[0], (limit[1], limit[1]))

    # under a limit gcov's counts would be cut short, and with them those of the other runs
    environment = dict(os.environ, GCOV_PREFIX="/dev/null") if limit else None
    done = subprocess.run([program, *command], stdout=out, stderr=subprocess.PIPE, check=False, timeout=120, env=environment,
                          preexec_fn=restrict if limit else None)
    left = {name: data for name, data in files().items() if not name.startswith("kept.db-")}
    changed = [name for name, data in before.items() if left.get(name, data) != data]
    for name in left.keys() - before.keys():
        pathlib.Path(name).unlink()
    for name in pathlib.Path(".").glob("h.db*"):
        name.unlink()
    return done, left.keys() - before.keys(), changed


def judge(what, done, new, changed, whole):
    """@whole: what is said and left without a limit."""
    tally.check(not changed, f"{what}: changed {changed}")
    if done.returncode == whole[0].returncode:
        same = done.stdout == whole[0].stdout and new == whole[1]
        tally.check(same, f"{what}: {done.returncode}, and another answer: {new}")
    else:
        tally.check(done.returncode in ALLOWED and b"error: " in done.stderr and b"not installed" not in done.stderr,
                    f"{what}: {done.returncode}: {done.stderr[:200]}")
        tally.check(not new, f"{what}: {done.returncode}, and left {new}")


with tempfile.TemporaryDirectory() as scratch:
    os.chdir(scratch)
    os.environ.update(LC_ALL="C", XDG_DATA_HOME=scratch + "/data", XDG_CONFIG_HOME=scratch + "/config")
    commands, seen = all_commands(), collections.defaultdict(collections.Counter)
    with open("/dev/full", "wb") as full:
        for name, command in commands.items():
            whole = ask(command)
            tally.check(whole[0].returncode in (0, 10, 20), f"{name}: {whole[0].returncode}: {whole[0].stderr[:300]}")
            for kind, (which, sizes) in LIMITS.items():
                for size in sizes:
                    done, new, changed = ask(command, limit=(which, size))
                    if b"error while loading shared libraries" in done.stderr:
                        seen[kind]["not loaded"] += 1
                        continue
                    seen[kind][done.returncode] += 1
                    judge(f"{name}, {kind} {size}", done, new, changed, whole)
            if whole[0].stdout:
                done, new, changed = ask(command, out=full)
                seen["full device"][done.returncode] += 1
                tally.check(done.returncode == 74 and not changed and b"error: " in done.stderr,
                            f"{name} to a full device: {done.returncode}, {done.stderr[:200]}")
    for kind, counted in seen.items():
        print(f"{kind}: " + ", ".join(f"{count} x {status}" for status, count in sorted(counted.items(), key=str)))
        tally.check(SANITIZED or len(counted) > 1 or kind == "full device", f"{kind}: tried from too little to enough: {counted}")
    os.chdir("/")
tally.close()
