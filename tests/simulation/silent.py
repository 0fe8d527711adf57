#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Runs with known truth that must not be wrong in silence: silent.py [--program PATH] [--write]
[--all]

blunders.json.xz: what people do to their files, each with several machine files, and good runs
between them; silent is a tip that is kept or updated with an offset off by more than 2.5 U in full.
faults.json.xz: simulated runs of one fault each that were hard, on plates that are as stated;
silent is what is off by more than 3 U on the same plate. Each is a list of {name, text (the log),
plate, machines (by name), opts (of solve), truth (tip -> true offset, mm), judged_by}.

silent.txt lists what is known to go wrong (silent, crash) and which runs are good and must be used
(good). A line more is a failure; so is a line too many of what goes wrong, which --write takes out:
the list only gets shorter. --all lists every verdict. Under sanitizers, one in eight: the plain build
solves all.
"""
import concurrent.futures
import json
import lzma
import os
import subprocess
import sys
import tempfile

import program
import workers

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), ".."))
from tally import times  # noqa: E402

HERE = os.path.dirname(os.path.abspath(__file__))
KNOWN = os.path.join(HERE, "silent.txt")
HEAD = """# Runs of blunders.json.xz and faults.json.xz that go wrong, and good ones that must be
# used: outcome | case | machine file. silent.py holds the program to it.
"""
MOST_U = {"full": ("coverage", 2.5), "same": ("same_plate", 3.0)}
USED = ("keep", "update")
SECONDS = 60


def cases():
    """(case, machine file's name, its text)."""
    for file in ("blunders.json.xz", "faults.json.xz"):
        with lzma.open(os.path.join(HERE, file), "rt", encoding="ascii") as stream:
            for case in json.load(stream):
                yield from ((case, name, text) for name, text in case["machines"].items())


def worst_of(result, case):
    """The largest error over U of the tips that are used, and that error (mm)."""
    key, _ = MOST_U[case["judged_by"]]
    worst = (0.0, 0.0)
    for tip in result["tips"]:
        true, offset = (case["truth"] or {}).get(tip["tip"]), tip["offset_mm"]
        if key == "same_plate" and offset:
            offset = program.held_offset(tip)
        if tip["verdict"] not in USED or not true or not offset or offset.get("x") is None:
            continue
        error = max(abs(offset["x"] - true[0]), abs(offset["y"] - true[1]))
        expanded = max(tip[key]["expanded_mm"]["x"] or 0, tip[key]["expanded_mm"]["y"] or 0, 1e-9)
        worst = max(worst, (error / expanded, error))
    return worst


def solve(case, machine):
    """(outcome, error / U, error in mm, findings): outcome is silent, crash, a verdict, or refused
    (no result)."""
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        for file, text in (
            ("run.csv", case["text"]),
            ("plate.json", case["plate"]),
            ("machine.json", machine),
        ):
            with open(os.path.join(folder, file), "w", encoding="latin-1", newline="") as stream:
                stream.write(text)
        done = subprocess.run(
            [
                os.environ["TIPTRUE"],
                "solve",
                "--json",
                "--plate",
                f"{folder}/plate.json",
                "--machine",
                f"{folder}/machine.json",
                *case["opts"],
                f"{folder}/run.csv",
            ],
            capture_output=True,
            text=True,
            check=False,
            timeout=SECONDS,
        )
    if done.returncode < 0 or done.returncode in (70, 71) or done.returncode >= 128:
        return "crash", 0.0, 0.0, []
    try:
        result = json.loads(done.stdout.splitlines()[0])
        findings = [f"{f['severity']} {f['code']}" for f in result["findings"]]
    except (IndexError, ValueError, KeyError):
        return "refused", 0.0, 0.0, []
    if result["verdict"] not in USED:
        return result["verdict"], 0.0, 0.0, findings
    by_u, error = worst_of(result, case)
    return (
        ("silent" if by_u > MOST_U[case["judged_by"]][1] else result["verdict"]),
        by_u,
        error,
        findings,
    )


def known():
    """The lines of silent.txt: outcome, case, machine."""
    with open(KNOWN, encoding="utf-8") as stream:
        return [
            tuple(line.rstrip("\n").split(" | ")) for line in stream if not line.startswith("#")
        ]


def faults_of(outcomes, listed):
    """What is not as the list says. @outcomes: (case, machine) -> outcome."""
    wrong = {(outcome, *key) for key, outcome in outcomes.items() if outcome in ("silent", "crash")}
    for line in sorted(wrong - set(listed)):
        yield f"{' | '.join(line)}: is not among those known"
    for outcome, *key in listed:
        found = outcomes.get(tuple(key))
        if found is None:
            yield f"{outcome} | {' | '.join(key)}: there is no such run"
        elif outcome == "good" and found not in USED:
            yield f"good | {' | '.join(key)}: a good run ended as '{found}'"
        elif outcome != "good" and found != outcome:
            yield (
                f"{outcome} | {' | '.join(key)}: ends as '{found}' now; "
                "silent.py --write takes it out of the list"
            )


def main():
    options = workers.options(__doc__)
    options.add_argument("--all", action="store_true", help="list every verdict")
    given = workers.read(options)
    every = list(cases())
    runs = every[:: 1 if given.write else times(1, 8)]
    with concurrent.futures.ThreadPoolExecutor(len(os.sched_getaffinity(0))) as pool:
        answers = list(pool.map(lambda run: solve(run[0], run[2]), runs))
    outcomes, counts = {}, {}
    for (case, name, _), (outcome, by_u, error, findings) in zip(runs, answers):
        outcomes[case["name"], name] = outcome
        kind = case["judged_by"], outcome
        counts[kind] = counts.get(kind, 0) + 1
        if given.all or outcome in ("silent", "crash"):
            print(
                f"{outcome} | {case['name']} | {name}: off by {1e3 * error:.0f} um, {by_u:.1f} U; "
                f"{', '.join(findings) or 'no finding'}"
            )
    print(
        ", ".join(
            f"{outcome} {count} (by U {'in full' if by == 'full' else 'on the same plate'})"
            for (by, outcome), count in sorted(counts.items())
        )
    )
    left_out = {(case["name"], name) for case, name, _ in every} - outcomes.keys()
    listed = [line for line in known() if line[1:] not in left_out]
    if given.write:
        listed = [line for line in listed if line[0] == "good" or outcomes.get(line[1:]) == line[0]]
        with open(KNOWN, "w", encoding="utf-8") as stream:
            stream.write(HEAD + "".join(" | ".join(line) + "\n" for line in listed))
    faults = list(faults_of(outcomes, listed))
    for text in faults:
        print(f"FAIL: {text}")
    print(f"{len(runs) - len(faults)} passed, {len(faults)} failed")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
