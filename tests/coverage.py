# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Which lines and branches of src/ the tests reached, by room and by file: the sum over all objects
of a build of `configure --enable-coverage` whose tests have run. gcov's own JSON is read, so that
nothing but gcc is needed. --missed lists the lines that were not reached.

Inlined functions of headers count once; branches that only the compiler made (exceptions) not."""
import collections
import json
import os
import pathlib
import subprocess
import sys

SRC = pathlib.Path(os.environ["srcdir"], "src").resolve()
LEAST_LINES, LEAST_BRANCHES = 0.95, 0.85


def counted(folder):
    """{source: {line: (times, [times of each branch])}}, summed over the objects."""
    lines = collections.defaultdict(dict)
    objects = sorted(folder.rglob("*.gcda"))
    for data in objects:
        done = subprocess.run(
            ["gcov", "--json-format", "--stdout", "--branch-probabilities", data.name],
            cwd=data.parent,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        for document in done.stdout.decode().splitlines():
            told = json.loads(document)
            for source in told["files"]:
                # as the compiler was told it: from where it worked
                path = pathlib.Path(told["current_working_directory"], source["file"]).resolve()
                if SRC not in path.parents:
                    continue
                for line in source["lines"]:
                    was = lines[path].get(line["line_number"], (0, []))
                    branches = [b["count"] for b in line["branches"] if not b["throw"]]
                    longer = max(was[1], branches, key=len)
                    other = was[1] if longer is branches else branches
                    both = [n + (other[i] if i < len(other) else 0) for i, n in enumerate(longer)]
                    lines[path][line["line_number"]] = (was[0] + line["count"], both)
    return lines, len(objects)


def main():
    lines, objects = counted(pathlib.Path(os.environ.get("builddir", ".")))
    if not objects:
        sys.exit(
            "nothing was counted: run configure --enable-coverage, make check, then make coverage"
        )
    rooms = collections.defaultdict(lambda: [0, 0, 0, 0])
    for path, told in sorted(lines.items()):
        sums = [
            sum(n > 0 for n, _ in told.values()),
            len(told),
            sum(n > 0 for _, bs in told.values() for n in bs),
            sum(len(bs) for _, bs in told.values()),
        ]
        name = str(path.relative_to(SRC))
        for key in (name, name.split("/")[0] + "/", "src/"):
            rooms[key] = [a + b for a, b in zip(rooms[key], sums)]
        if "--missed" in sys.argv:
            missed = [str(n) for n, (times, _) in sorted(told.items()) if times == 0]
            print(f"{name}: {' '.join(missed)}" if missed else f"{name}: all")
    print(f"{'':36} {'lines':>7} {'reached':>8} {'branches':>9} {'reached':>8}")
    for key, (hit, all_lines, taken, all_branches) in sorted(
        rooms.items(), key=lambda item: (item[0] != "src/", item[0])
    ):
        if key.endswith("/") or "--files" in sys.argv:
            print(
                f"{key:36} {all_lines:7} {100 * hit / all_lines:7.1f}% {all_branches:9} "
                f"{100 * taken / max(all_branches, 1):7.1f}%"
            )
    hit, all_lines, taken, all_branches = rooms["src/"]
    sys.exit(hit < LEAST_LINES * all_lines or taken < LEAST_BRANCHES * all_branches)


main()
