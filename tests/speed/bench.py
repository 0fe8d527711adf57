#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""How long solving takes, beside other programs on the same files: bench.py [--rounds N] [PART...]

Parts: process (one whole process), batch (many runs, beside peers), cores, linear, memory, instructions; all without any named.
SciPy is needed; Ceres (its headers), R with robustbase, and valgrind are used where installed. The programs run in turn, so many
rounds; figures are given as min, median, max of the rounds, ratios round by round. The last line says whether the bounds hold; the
exit status is 1 if one is missed by more than the noise. Environment: TIPTRUE, PYTHON, CXX (default g++).
"""
import argparse
import json
import math
import os
import shutil
import subprocess
import sys
import tempfile

import harness
import make_runs
from harness import Series, table

HERE = os.path.dirname(os.path.abspath(__file__))
TIPTRUE = os.path.abspath(os.environ.get("TIPTRUE", "tiptrue"))
PYTHON = os.environ.get("PYTHON", sys.executable)
VERDICTS = (0, 10, 20)  # all are solutions

BOUND_PROCESS_MS = 10
BOUND_RUN_MS = 0.15
BOUND_CERES = 5
BOUND_TWO_CORES = 1.8
# Of the time as a power of the size, from the smallest to the largest and over the last decade. 1 is linear; sorting makes it 1.02,
# and the largest runs leave the caches. A quadratic part that has come to a third of the time makes the last decade 1.15.
BOUND_POWER, BOUND_LAST_POWER = 1.1, 1.15

BATCH, SLOW_BATCH = 1000, 60  # runs in a batch; for peers that take tens of times as long
TOUCHES = [1000, 10000, 100000, 1000000]
TIPS = [1, 2, 4, 8, 16, 32, 64]
FILES = [100, 1000, 10000]
MEMORY_GROWTH_kB = 4096  # from the fewest files to the most: 0.4 kB a file, of which its name takes some 0.05


def solve(runs, *options):
    return [TIPTRUE, "solve", "--plate", "plate.json", "--machine", "machine.json", *options, *runs]


class Bench:
    def __init__(self, folder, rounds):
        self.folder, self.rounds, self.bounds = folder, rounds, harness.Bounds()

    def make(self, name, **what):
        folder = os.path.join(self.folder, name)
        return folder, make_runs.make(folder, **what)

    # -- one whole process

    def process(self):
        folder, names = self.make("process", touches=100)
        peer = [PYTHON, os.path.join(HERE, "scipy_peer.py"), folder, *names]
        ours, theirs = [], []
        for _ in range(self.rounds):
            ours += [min((harness.run(solve(names), folder, good=VERDICTS) for _ in range(5)), key=lambda c: c.wall_s)]
            theirs += [harness.run(peer, folder)]
        wall, scipy = Series([1e3 * c.wall_s for c in ours]), Series([1e3 * c.wall_s for c in theirs])
        cpu = Series([1e3 * c.cpu_s for c in ours])
        print("One whole process, start to exit, 100 touches and 6 sightings, text output, one core; ms on the wall\n")
        table(["program", "min", "median", "max"],
              [["tiptrue solve", *wall.cells(2)], ["  of it processor time", *cpu.cells(2)],
               ["SciPy least_squares, Cauchy loss", *scipy.cells(1)], ["ratio to tiptrue", *scipy.over(wall).cells(0)]])
        self.bounds.at_most("a whole process, ms", wall, BOUND_PROCESS_MS, also=cpu)

    # -- a batch beside peers

    def peers(self, folder, names):
        """Name, command and number of runs of each peer that is there. Each prints: run, offset x, y, u of x, y, seconds."""
        slow = names[:SLOW_BATCH]
        yield "SciPy least_squares, Cauchy loss", [PYTHON, os.path.join(HERE, "scipy_peer.py"), folder, *slow]
        ceres = build_ceres(self.folder)
        if ceres:
            yield "Ceres, Cauchy loss", [ceres, "automatic", folder, *names]
            yield "Ceres, derivatives by hand", [ceres, "by-hand", folder, *names]
        if has_robustbase():
            yield "R robustbase lmrob", ["Rscript", os.path.join(HERE, "lmrob_peer.R"), folder, *slow]

    def batch(self):
        folder, names = self.make("batch", runs=BATCH)
        peers = list(self.peers(folder, names))
        results = os.path.join(self.folder, "results")
        ours, times, apart = [], {name: [] for name, _ in peers}, {}
        for _ in range(self.rounds):
            ours.append(harness.run(solve(names, "--json", "--jobs", "1"), folder, output=results, good=VERDICTS))
            offsets = offsets_of(results, names)
            for name, command in peers:
                harness.run(command, folder, output=results + "-peer")
                found, seconds = read_peer(results + "-peer")
                times[name].append(1e3 * sum(seconds) / len(seconds))
                apart[name] = rms_apart(offsets, found)
        self.show_batch(ours, times, apart)

    def show_batch(self, ours, times, apart):
        cpu, wall = Series([1e3 * c.cpu_s / BATCH for c in ours]), Series([1e3 * c.wall_s / BATCH for c in ours])
        rows = [["tiptrue solve --json --jobs 1", *cpu.cells(3), "1", ""], ["  the same on the wall", *wall.cells(3), "", ""]]
        for name, milliseconds in times.items():
            series = Series(milliseconds)
            ratio = series.over(cpu)
            rows.append([name, *series.cells(3), " ".join(ratio.cells(1)), f"{apart[name]:.2f}"])
        print(f"A batch of {BATCH} runs of 98 observations, one touch in twenty late, one core; processor ms for each run\n")
        table(["program", "min", "median", "max", "ratio: min median max", "rms apart, um"], rows)
        print("  tiptrue: the whole process, reading, robust start, findings and JSON included. Peers: only their solve (Ceres and")
        print("  SciPy: and covariance), without start, reading, building and printing. Apart: of their offsets from tiptrue's.\n")
        self.bounds.at_most("a run of a batch on one core, ms", wall, BOUND_RUN_MS, also=cpu)
        if "Ceres, Cauchy loss" in times:
            self.bounds.at_least("times as fast as Ceres", Series(times["Ceres, Cauchy loss"]).over(cpu), BOUND_CERES)

    # -- two cores

    def cores(self):
        if len(harness.cores()) < 2:
            print("Two cores: this machine has one\n")
            return
        folder, names = self.make("batch", runs=BATCH)
        one, two = [], []
        for _ in range(2 * self.rounds):
            one.append(harness.run(solve(names, "--json", "--jobs", "1"), folder, 1, good=VERDICTS))
            two.append(harness.run(solve(names, "--json", "--jobs", "2"), folder, 2, good=VERDICTS))
        first, second = (Series([1e3 * c.wall_s / BATCH for c in costs]) for costs in (one, two))
        others = Series([c.others_s / c.wall_s for c in one + two])
        gain = first.over(second)
        print(f"Two cores, the same batch of {BATCH} runs; ms on the wall for each run\n")
        table(["jobs", "min", "median", "max"], [["1", *first.cells(3)], ["2", *second.cells(3)], ["ratio", *gain.cells(2)]])
        busy = others.median() > 0.05
        if busy:
            print(f"  Other programs used {others.median():.2f} cores meanwhile: the machine is busy, two cores were not free.\n")
        self.bounds.at_least("two cores against one", gain, BOUND_TWO_CORES, disturbed=busy)

    # -- cost against size

    def sizes(self, what, sizes, make, touches_of_one):
        """The least processor time of some solves at each size, less that of a process that solves nothing."""
        start_s = min(harness.run([TIPTRUE, "--version"], self.folder).cpu_s for _ in range(20))
        rows, points = [], []
        for size in sizes:
            folder, names = make(size)
            command, touches = solve(names, "--json"), size * touches_of_one
            costs = [harness.run(command, folder, good=VERDICTS) for _ in range(3 if touches >= 100000 else 20)]
            cpu_s = min(c.cpu_s for c in costs) - start_s
            points.append((math.log(size), math.log(cpu_s)))
            wall_s = min(c.wall_s for c in costs)
            power = f"{slope(points[-2:]):.2f}" if len(points) > 1 else ""
            rows.append([str(size), f"{1e3 * cpu_s:.1f}", f"{1e3 * wall_s:.1f}", f"{1e6 * cpu_s / touches:.2f}", power])
            shutil.rmtree(folder)
        table([what, "processor ms", "wall ms", "us for each touch", "power"], rows)
        decade = next(p for p in points if p[0] >= points[-1][0] - math.log(10))
        for since, point, bound in ((sizes[0], points[0], BOUND_POWER), (round(math.exp(decade[0])), decade, BOUND_LAST_POWER)):
            self.bounds.at_most(f"time as a power of the number of {what}, from {since} to {sizes[-1]}",
                                Series([slope([point, points[-1]])]), bound)

    def linear(self):
        print("Touches in one run of one tip; JSON output, one core; processor time without the start of the process;")
        print("power: of the size, by which time grew since the line above\n")
        self.sizes("touches", TOUCHES, lambda n: self.make("touches", touches=n), 1)
        print(f"Tips in one run, {make_runs.TOUCHES} touches each\n")
        self.sizes("tips", TIPS, lambda n: self.make("tips", tips=n), make_runs.TOUCHES)

    # -- memory

    def memory(self):
        folder, names = self.make("many", runs=max(FILES))
        rows, peaks = [], []
        for n in FILES:
            peaks.append(harness.peak_kB(solve(names[:n], "--json"), folder, good=VERDICTS))
            rows.append([str(n), str(peaks[-1])])
        shutil.rmtree(folder)
        print("Memory of a batch, all cores: largest resident set\n")
        table(["files", "kB"], rows)
        growth = Series([float(peaks[-1] - peaks[0])])
        self.bounds.at_most(f"more kB with {FILES[-1]} files than with {FILES[0]}", growth, MEMORY_GROWTH_kB)

    # -- instructions

    def instructions(self):
        if not shutil.which("valgrind") or not shutil.which("callgrind_annotate"):
            print("Instructions: valgrind is not installed\n")
            return
        folder, names = self.make("counted", runs=110)
        few, many = (count_instructions(solve(names[:n], "--json", "--jobs", "1"), folder) for n in (10, 110))
        rows = [[what, f"{(many[key] - few[key]) / 100:.0f}"] for what, key in
                (("a run, all", "total"), ("  reading", "tiptrue_run_read"), ("  adjusting", "tiptrue_solve"),
                 ("  JSON", "tiptrue_solution_json")) if key in many and key in few]
        print("Instructions of one run in a batch, by callgrind\n")
        table(["part", "instructions"], rows)


def slope(points):
    (x0, y0), (x1, y1) = points
    return (y1 - y0) / (x1 - x0)


def build_ceres(folder):
    """The peer's path, None where Ceres is not installed."""
    compiler, peer = shutil.which(os.environ.get("CXX") or "g++"), os.path.join(folder, "ceres_peer")
    if os.path.exists(peer):
        return peer
    if not compiler:
        return None
    eigen = subprocess.run(["pkg-config", "--cflags", "eigen3"], capture_output=True, text=True, check=False).stdout.split() \
        if shutil.which("pkg-config") else []
    command = [compiler, "-O2", *eigen, "-o", peer, os.path.join(HERE, "ceres_peer.cc"), "-lceres", "-lglog"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        print("Ceres is left out: its peer does not build"
              + (", since its headers are not installed\n" if "ceres/ceres.h" in done.stderr else f":\n{done.stderr[-800:]}"))
        return None
    return peer


def has_robustbase():
    if not shutil.which("Rscript"):
        return False
    return subprocess.run(["Rscript", "-e", "library(robustbase)"], capture_output=True, check=False).returncode == 0


def offsets_of(path, names):
    """Offset of the first tip of each run, from JSON Lines in the order of @names."""
    with open(path, encoding="utf-8") as stream:
        tips = [json.loads(line)["tips"][0] for line in stream]
    return {name: (tip["offset_mm"]["x"], tip["offset_mm"]["y"]) for name, tip in zip(names, tips, strict=True)}


def read_peer(path):
    with open(path, encoding="utf-8") as stream:
        rows = [line.split() for line in stream]
    return {row[0]: (float(row[1]), float(row[2])) for row in rows}, [float(row[5]) for row in rows]


def rms_apart(ours, theirs):
    squares = [(a - b) ** 2 for name, found in theirs.items() for a, b in zip(found, ours[name])]
    return 1e3 * math.sqrt(sum(squares) / len(squares))


def count_instructions(command, folder):
    """Of the whole process, and of each call of the library with all that it calls."""
    counts = os.path.join(folder, "callgrind.out")
    subprocess.run(["valgrind", "--tool=callgrind", f"--callgrind-out-file={counts}", *command], cwd=folder,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
    told = subprocess.run(["callgrind_annotate", "--inclusive=yes", "--threshold=100", "--auto=no", counts], capture_output=True,
                          text=True, check=True).stdout
    found = {}
    for line in told.split("\n"):
        words = line.split()
        if "PROGRAM TOTALS" in line:
            found["total"] = int(words[0].replace(",", ""))
        for word in words:
            name = word.rsplit(":", 1)[-1]
            if name.startswith("tiptrue_"):
                found[name] = int(words[0].replace(",", ""))
    return found


def main():
    parts = ["process", "batch", "cores", "linear", "memory", "instructions"]
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("parts", nargs="*", metavar="PART", help=", ".join(parts))
    parser.add_argument("--rounds", type=int, default=7)
    arguments = parser.parse_args()
    unknown = sorted(set(arguments.parts) - set(parts))
    if unknown:
        parser.error(f"unknown part '{unknown[0]}': one of {', '.join(parts)}")
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(folder, arguments.rounds)
        for part in arguments.parts or parts:
            getattr(bench, part)()
            sys.stdout.flush()
    sys.exit(bench.bounds.close())


if __name__ == "__main__":
    main()
