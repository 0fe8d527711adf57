# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Measures the rows of tables, prints them, counts what holds, and says of what does not how to see it again."""
import os
import sys

import draw
import measure
import workers
from figures import COLUMNS, Figure

SHOWN, KEPT = 20, 3  # runs that are named, and those written out, for a figure outside its bound


class Report:
    """@folder: where runs are written that show a figure outside its bound; None: nowhere."""

    def __init__(self, laboratory, most_runs, folder):
        self.laboratory, self.most_runs, self.folder = laboratory, most_runs, folder
        self.passed, self.failures = 0, []

    def runs_of(self, row):
        return min(row.runs, self.most_runs)

    def order(self, tables):
        """Have everything measured that the tables need, in the order of printing."""
        for table in tables:
            for row in table.rows:
                self.laboratory.order(row.scenario, self.runs_of(row))

    def print(self, table):
        heading = ["scenario", "touches", "runs"] + [COLUMNS[key][0] for key in table.columns]
        lines = []
        for row in table.rows:
            size = [str(draw.touches_of(row.scenario)), str(self.runs_of(row))]
            lines.append([str(row.scenario), *size, *self.figures_of(table, row)])
            if sys.stderr.isatty():
                print(f"\r{len(lines)} of {len(table.rows)} scenarios", end="", file=sys.stderr, flush=True)
        widths = [max(len(line[i]) for line in [heading, *lines]) for i in range(len(heading))]
        print(f"\n{table.title}\n" + (f"{table.note}\n" if table.note else ""))
        for line in [heading, ["-" * width for width in widths], *lines]:
            print("  ".join(cell.ljust(width) for cell, width in zip(line, widths)).rstrip())
        sys.stdout.flush()

    def figures_of(self, table, row):
        sample = self.laboratory.sample(row.scenario, self.runs_of(row))
        solved = Figure("")
        solved.add(sample.solved.all(), "runs could not be solved", (~sample.solved).nonzero()[0])
        self.count(table, row, solved)
        for key in table.columns:
            _, function, limits = COLUMNS[key]
            figure = function(sample, row.limits.get(limits))
            self.count(table, row, figure)
            yield figure.text

    def count(self, table, row, figure):
        for good, what, runs in figure.checks:
            if good:
                self.passed += 1
            else:
                self.failures.append((table.title, row, what, [int(i) for i in runs]))

    def close(self):
        """Say what does not hold, print the counts; the exit status."""
        for title, row, what, runs in self.failures:
            print(f"FAIL: {title}: {row.scenario}: {what}")
            if runs:
                shown = " ".join(str(i) for i in runs[:SHOWN]) + (" ..." if len(runs) > SHOWN else "")
                print(f"  seed {self.laboratory.seed}, runs {shown}")
            if runs and self.folder:
                place = os.path.join(self.folder, str(row.scenario))
                for path in measure.keep_runs(row.scenario, self.laboratory.seed, runs[:KEPT], place):
                    print(f"  {path}")
        print(f"{self.passed} passed, {len(self.failures)} failed")
        return 1 if self.failures or not self.passed else 0


def run(tables, seed, most_runs, folder):
    """Measure and print @tables; the exit status."""
    if not os.environ.get("TIPTRUE"):
        print("TIPTRUE must name the program", file=sys.stderr)
        return 1
    with workers.pool() as pool:
        try:
            report = Report(measure.Laboratory(pool, seed), most_runs, folder)
            report.order(tables)
            for table in tables:
                report.print(table)
            return report.close()
        except RuntimeError as fault:
            print(f"FAIL: {fault}\n{report.passed} passed, {len(report.failures) + 1} failed")
            return 1
