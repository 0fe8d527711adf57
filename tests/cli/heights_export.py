# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Heights and offsets are exported each by its own verdict.

Environment: TIPTRUE, srcdir.
"""
import json
import os
import pathlib
import random
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "cli"))
from tally import Tally  # noqa: E402

import heights  # noqa: E402

TIPTRUE = os.environ["TIPTRUE"]
PLACES = [f"{tip}.offset.{axis}:.4=/{tip}/{axis}" for tip in heights.TIPS for axis in "xy"]


def configuration(offsets=0.0):
    """What the machine has in use: each offset off by so many mm along x."""
    return {name: {"x": round(tip["offset"][0] + offsets, 4), "y": tip["offset"][1], "z": round(tip["height"], 4)}
            for name, tip in heights.TIPS.items()}


def machine(offsets=0.0, high=0.0, **more):
    """As heights.machine, with a configuration to export into and values in use that are off."""
    made = heights.machine(**more)
    made["export"] = [{"file": "head.json", "put": more.get("put", PLACES)}]
    made.pop("put", None)
    for tip in made["tips"]:
        tip["offset"][0] = round(tip["offset"][0] + offsets, 4)
        tip["height"] = round(tip["height"] + high, 4)
    return made


def exported(folder, result, *options):
    (folder / "result.json").write_text(json.dumps(result))
    done = subprocess.run([TIPTRUE, "export", "--machine", "machine.json", *options, "result.json"], cwd=folder,
                          capture_output=True, text=True, check=False)
    return done, json.loads((folder / "head.json").read_text())


def case(folder, rows, plate=None, **off):
    (folder / "head.json").write_text(json.dumps(configuration(off.get("offsets", 0.0)), indent=1) + "\n")
    return heights.solve(folder, plate or heights.plate(), machine(**off), heights.log(random.Random(3), rows))


def near(now, then, within=0.006):
    return all(abs(now[tip][axis] - then[tip][axis]) < within for tip in now for axis in "xy")


def check_verdicts(tally, folder):
    rows = heights.rows_of(random.Random(31))
    true = configuration()
    r = case(folder, rows, high=0.09)
    tally.check([t["offset_verdict"] + t["height"]["verdict"] for t in r["tips"]] == ["keepupdate"] * 2 and
                r["verdict"] == "update", "heights that are off: update of them alone")
    done, now = exported(folder, r)
    tally.check(done.returncode == 0 and now == true, f"an update of heights leaves offsets: {done.stdout} {done.stderr}")
    r = case(folder, rows, offsets=0.11)
    tally.check([t["offset_verdict"] + t["height"]["verdict"] for t in r["tips"]] == ["updatekeep"] * 2, "offsets that are off")
    done, now = exported(folder, r)
    tally.check(done.returncode == 0 and near(now, true) and now["fine"]["z"] == true["fine"]["z"],
                f"an update of offsets leaves heights: {now} {done.stderr}")
    r = case(folder, list(heights.with_z(rows, lambda z, _: -z)), offsets=0.11)
    tally.check([t["offset_verdict"] + t["height"]["verdict"] for t in r["tips"]] == ["updaterepeat"] * 2 and
                r["verdict"] == "repeat", "z of the wrong sign: heights are not usable, offsets are")
    done, now = exported(folder, r)
    tally.check(done.returncode == 0 and near(now, true), f"bad pads do not refuse offsets: {now} {done.stderr}")


def main():
    tally = Tally()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        check_verdicts(tally, folder)
    tally.close()


if __name__ == "__main__":
    main()
