# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Weeks of a machine with a camera: a focus that moved, a camera that turned with and without the offsets, a belt that was
changed are told at their run; quiet weeks tell nothing. Rows are those of tests/cli/views_export.py.

Environment: TIPTRUE, srcdir.
"""
import datetime
import json
import os
import pathlib
import random
import re
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "cli"))
from tally import Tally  # noqa: E402

import views_export as one  # noqa: E402

RUNS, AT = 12, 7


def weeks(folder, machine_of, offset_of=lambda k: (0, 0), seed=1):
    """The trend of runs made by machine_of(k), tip off by offset_of(k), a day apart; and their ids."""
    one.write_files(folder)
    (folder / "weeks.db").unlink(missing_ok=True)
    ids = []
    old = one.OFFSET
    for k in range(RUNS):
        one.OFFSET = tuple(o + d for o, d in zip(old, offset_of(k)))
        day = datetime.date(2026, 3, 2) + datetime.timedelta(days=k)
        (folder / "run.csv").write_text(f"# machine: loom\n# started: {day}T07:40:00Z\n"
                                        + one.log(machine_of(k), random.Random(1000 * seed + k)))
        done = one.call(folder, "solve", "--json", "--history", "weeks.db", "--plate", "plate.json", "--machine", "machine.json",
                        "run.csv")
        ids.append(json.loads(done.stdout)["run"]["id"])
    one.OFFSET = old
    done = one.call(folder, "trend", "--json", "--history", "weeks.db", "--machine", "machine.json")
    return json.loads(done.stdout) if done.stdout else {"events": [], "said": done.stderr}, ids


def told(trend):
    return [(e["code"], e["run"]) for e in trend["events"]]


def texts(trend):
    return " ".join(e["text"] for e in trend["events"])


def number(trend):
    """The first one with its sign that is told."""
    return float(re.search(r"[-+]\d+\.\d+", texts(trend)).group())


def check_quiet(tally, folder):
    for seed in (1, 2):
        trend, _ = weeks(folder, lambda k: one.Machine((5e-4, -3e-4, 6e-4), (0.0173, 0.0169, -179.98)), seed=seed)
        tally.check(told(trend) == [], f"quiet weeks, a turn about 180 degrees: {trend['events']}")


def check_changes(tally, folder):
    def focus(k):
        return one.Machine(camera=(0.0173 * (1.004 if k >= AT else 1), 0.0169 * (1.004 if k >= AT else 1), 0.43))

    def turned(k):
        return one.Machine(camera=(0.0173, 0.0169, 0.43 - (0.37 if k >= AT else 0)))

    trend, ids = weeks(folder, focus)
    tally.check(told(trend) == [("focus-moved", ids[AT])] and abs(number(trend) - 0.4) < 0.02, f"focus: {trend['events']}")
    trend, ids = weeks(folder, turned)
    tally.check(told(trend) == [("camera-turned", ids[AT])] and abs(number(trend) + 0.37) < 0.02
                and "offsets stayed" in texts(trend),
                f"turned: {trend['events']}")
    trend, ids = weeks(folder, turned, lambda k: (0.06, -0.04) if k >= AT else (0, 0))
    tally.check(told(trend) == [("camera-turned", ids[AT])] and "moved with it" in texts(trend),
                f"turned and moved: {trend['events']} {trend.get('changes')}")
    for sign, word in ((1, "longer"), (-1, "shorter")):
        trend, ids = weeks(folder, lambda k: one.Machine((sign * 5.3e-4 if k >= AT else 0, 0, 0)))  # noqa: B023
        tally.check(told(trend) == [("axes-changed", ids[AT])] and word in texts(trend) and "along x" in texts(trend),
                    f"belt {sign}: {trend['events']}")
    trend, ids = weeks(folder, lambda k: one.Machine((4e-4, 0, 7e-4 if k >= AT else -5e-4)))
    tally.check(told(trend) == [("axes-changed", ids[AT])] and "counter-clockwise" in texts(trend),
                f"frame: {trend['events']}")


def check_series(tally, folder):
    """The numbers of each run, as its own result has them."""
    trend, ids = weeks(folder, lambda k: one.Machine((5e-4 if k >= AT else 1e-3, -3e-4, 6e-4), (0.0173, 0.0169, 0.43 + 0.01 * k)))
    tally.check([c["run"] for c in trend["camera"]] == ids == [a["run"] for a in trend["axes"]], f"runs {ids}")
    tally.check([c["started"][:10] for c in trend["camera"]] == [f"2026-03-{2 + k:02d}" for k in range(RUNS)], "days")
    for k, (camera, axes) in enumerate(zip(trend["camera"], trend["axes"])):
        off = [(camera["scale_mm_per_px"]["x"] - 0.0173) / camera["u_scale_mm_per_px"]["x"],
               (camera["scale_mm_per_px"]["y"] - 0.0169) / camera["u_scale_mm_per_px"]["y"],
               (camera["turn_deg"] - 0.43 - 0.01 * k) / camera["u_turn_deg"],
               (axes["scale_x_ppm"] - (500 if k >= AT else 1000)) / axes["u_scale_x_ppm"],
               (axes["scale_y_ppm"] + 300) / axes["u_scale_y_ppm"], (axes["square_mm_per_m"] - 0.6) / axes["u_square_mm_per_m"]]
        tally.check(max(map(abs, off)) < 5 and 1 < axes["u_scale_x_ppm"] < 100, f"run {k}: {off}")
    trend, _ = weeks(folder, lambda k: one.Machine())
    tally.check("axes" not in trend and len(trend["camera"]) == RUNS, "right axes have no series")


def check_outlier(tally, folder):
    """One run that nobody confirms, in the middle, is no change; as the last one it is told."""
    def once(at):
        return lambda k: one.Machine(camera=(0.0173 * (1.004 if k == at else 1), 0.0169, 0.43))

    trend, ids = weeks(folder, once(AT))
    tally.check(told(trend) == [], f"one run by itself: {trend['events']}")
    trend, ids = weeks(folder, once(RUNS - 1))
    tally.check(told(trend) == [("focus-moved", ids[-1])], f"the last run: {trend['events']}")


def main():
    tally = Tally()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        check_quiet(tally, folder)
        check_changes(tally, folder)
        check_series(tally, folder)
        check_outlier(tally, folder)
    tally.close()


if __name__ == "__main__":
    main()
