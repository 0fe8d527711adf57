# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Times programs in turn and holds figures to bounds. A program runs on the cores it is given, and what its run cost is what the
system accounts to it. Where processor seconds are compared, other programs on the same machine disturb little; where wall seconds
are, the share of the machine that others used is told beside them.
"""
import os
import statistics
import subprocess
import time


class Cost:
    """Of one run of a program: seconds on the wall, of the processor, of the processor for others meanwhile."""

    def __init__(self, wall_s, cpu_s, others_s):
        self.wall_s, self.cpu_s, self.others_s = wall_s, cpu_s, others_s


def cores():
    """Numbers of the cores this process may use, the last first: interrupts are usually served by the first."""
    if hasattr(os, "sched_getaffinity"):
        return sorted(os.sched_getaffinity(0), reverse=True)
    return list(range(os.cpu_count() or 1))


def pin(numbers):
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, numbers)


def busy_s():
    """Processor seconds that all programs of the machine have used since its start; None where that is not told."""
    try:
        with open("/proc/stat", encoding="ascii") as stream:
            user, nice, system, _idle, _wait, *rest = (int(v) for v in stream.readline().split()[1:])
    except OSError:
        return None
    return (user + nice + system + sum(rest[:3])) / os.sysconf("SC_CLK_TCK")


def run(command, folder, n_cores=1, output=os.devnull, good=(0,)):
    """Run to the end in @folder, pinned to @n_cores cores."""
    everywhere = cores()
    pin(everywhere[:n_cores])
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    with open(output, "wb") as stream:
        busy = busy_s()
        begun = time.perf_counter()
        process = subprocess.Popen(command, cwd=folder, stdout=stream, stderr=subprocess.PIPE, env=environment)
        complaint = process.stderr.read()
        _, status, usage = os.wait4(process.pid, 0)
        wall_s = time.perf_counter() - begun
        others = busy_s()
    process.returncode = os.waitstatus_to_exitcode(status)
    pin(everywhere)
    if process.returncode not in good:
        raise RuntimeError(f"'{command[0]}' ended with {process.returncode}: {complaint.decode(errors='replace').strip()[-500:]}")
    cpu_s = usage.ru_utime + usage.ru_stime
    return Cost(wall_s, cpu_s, max(0.0, others - busy - cpu_s) if busy is not None else 0.0)


def peak_kB(command, folder, good=(0,)):
    """Largest resident memory. What wait4 tells starts from the memory of the process that started the program, so the program's
    own account is read while it runs; memory only grows until just before the end."""
    peak = 0
    with subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        while process.poll() is None:
            try:
                with open(f"/proc/{process.pid}/status", encoding="ascii") as stream:
                    lines = stream.read().split("\n")
            except OSError:
                break
            if f"Name:\t{os.path.basename(command[0])}"[:20] in lines[0]:  # not before it is what was started
                peak = max([peak] + [int(line.split()[1]) for line in lines if line.startswith("VmHWM:")])
            time.sleep(0.001)
    if process.returncode not in good:
        raise RuntimeError(f"'{command[0]}' ended with {process.returncode}")
    return peak


class Series:
    """Figures of the same thing, one from each round."""

    def __init__(self, values):
        self.values = sorted(values)
        self.in_turn = list(values)

    def least(self):
        return self.values[0]

    def median(self):
        return statistics.median(self.values)

    def most(self):
        return self.values[-1]

    def over(self, other):
        """Ratios, round by round: what disturbs a round disturbs both."""
        return Series([a / b for a, b in zip(self.in_turn, other.in_turn)])

    def cells(self, digits):
        return [f"{v:.{digits}f}" for v in (self.least(), self.median(), self.most())]


def table(heads, rows):
    """The first column to the left, the others to the right."""
    widths = [max(len(row[i]) for row in [heads, *rows]) for i in range(len(heads))]
    for row in [heads, *rows]:
        print("  " + "  ".join(c.rjust(w) if i else c.ljust(w) for i, (c, w) in enumerate(zip(row, widths))).rstrip())
    print()


class Bounds:
    """What was promised, and whether it holds: by the median of the rounds; missed only if no round and no other view of the same
    figure reaches it, since noise only makes times longer."""

    def __init__(self):
        self.missed, self.unsure, self.held = [], [], []

    def judge(self, what, good, possible):
        kept = self.held if good else self.unsure if possible else self.missed
        kept.append(what)
        print(f"  {'holds' if good else 'not clear, within the noise' if possible else 'MISSED'}: {what}\n")

    def at_most(self, what, series, bound, also=None):
        """@also: the same figure seen otherwise, less disturbed."""
        best = min(series.least(), also.least() if also else series.least())
        self.judge(f"{what}: median {series.median():.3g}, at most {bound:g}", series.median() <= bound, best <= bound)

    def at_least(self, what, series, bound, disturbed=False):
        self.judge(f"{what}: median {series.median():.3g}, at least {bound:g}", series.median() >= bound,
                   disturbed or series.most() >= bound)

    def close(self):
        """The last line; the exit status."""
        total = len(self.missed) + len(self.unsure) + len(self.held)
        if self.missed:
            print(f"bounds: {len(self.missed)} of {total} missed: {'; '.join(self.missed)}")
        elif self.unsure:
            print(f"bounds: {len(self.held)} of {total} hold, none is missed, within the noise: {'; '.join(self.unsure)}")
        else:
            print(f"bounds: all {total} hold")
        return 1 if self.missed else 0
