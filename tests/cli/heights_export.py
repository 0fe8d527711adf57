# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Heights and offsets are exported each by its own verdict; heights there and back, in millimetres and inches, into
a configuration, a template and the machine file.

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
    return all(abs(now[tip][axis] - then[tip][axis]) < within for tip in then for axis in "xy")


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


WITH_HEIGHTS = PLACES + ["fine.height:.4=/fine/z", "broad.height:minus:inch:.6=/broad/z", "broad.height-over.fine:um:.1=/over"]


def in_mm(now):
    return {"fine": now["fine"]["z"], "broad": -25.4 * now["broad"]["z"], "over": 1e-3 * now["over"]}


def height_case(folder, rows, high=0.09, **more):
    head = configuration()
    head["fine"]["z"] = round(head["fine"]["z"] + high, 4)
    head["broad"]["z"] = -round((heights.TIPS["broad"]["height"] + high) / 25.4, 6)
    head["over"] = 1e3 * (heights.TIPS["broad"]["height"] - heights.TIPS["fine"]["height"]) - 70.0
    (folder / "head.json").write_text(json.dumps(head, indent=1) + "\n")
    made = machine(put=WITH_HEIGHTS, **more)
    return heights.solve(folder, heights.plate(), made, heights.log(random.Random(3), rows), "--present", "head.json")


def check_there_and_back(tally, folder):
    rows = heights.rows_of(random.Random(31))
    r = height_case(folder, rows)
    found = {t["tip"]: t["height"] for t in r["tips"]}
    for name, height in found.items():
        tally.check(abs(height["change_mm"] + 0.09) < 0.012 and height["verdict"] == "update",
                    f"the height of {name} in use is read from the configuration: {height['change_mm']}")
    done, now = exported(folder, r)
    stands = in_mm(now)
    tally.check(done.returncode == 0, f"heights are written: {done.stderr}")
    tally.check(abs(stands["fine"] - found["fine"]["value_mm"]) <= 0.000051, f"in mm: {now}")
    tally.check(abs(stands["broad"] - found["broad"]["value_mm"]) <= 25.4 * 0.51e-6, f"in inches, sign turned: {now}")
    tally.check(abs(stands["over"] - r["between_tips"][0]["height_mm"]) <= 0.000051, f"their difference, in um: {now}")
    tally.check("stays" in done.stdout and near(now, configuration(), 1e-9), "offsets are kept")
    log = (folder / "run.csv").read_text()
    again = heights.solve(folder, heights.plate(), machine(put=WITH_HEIGHTS), log, "--present", "head.json")
    tally.check(again["verdict"] == "keep" and all(abs(t["height"]["change_mm"]) < 1e-4 for t in again["tips"]),
                "read back, nothing changes")
    done, _ = exported(folder, again)
    tally.check(done.returncode == 0 and "nothing to do" in done.stdout, f"nothing more to write: {done.stdout}")


def check_refused(tally, folder):
    rows = heights.rows_of(random.Random(31))
    wrong = list(heights.with_z(rows, lambda z, _: z / 25.4))
    r = height_case(folder, wrong)
    before = json.loads((folder / "head.json").read_text())
    tally.check(r["verdict"] == "repeat" and all(t["offset_verdict"] == "keep" for t in r["tips"]), "z in inches: heights only")
    done, now = exported(folder, r)
    tally.check(done.returncode == 0 and now == before and "'fine.height:.4': its verdict is repeat" in done.stderr,
                f"heights that may not be used stay, and that is told: {done.stdout} {done.stderr}")
    put = ["--into", "head.json", "--put", "fine.height:.4=/fine/z"]
    done, now = exported(folder, r, *put)
    tally.check(done.returncode == 65 and now == before, f"alone they are refused: {done.returncode} {done.stderr}")
    done, now = exported(folder, r, *put, "--force", "verdict")
    tally.check(done.returncode == 65 and now == before and "would move by" in done.stderr,
                f"forced, the change is refused: {done.stderr}")
    good = height_case(folder, rows)
    for tip in good["tips"]:
        tip["offset_verdict"] = tip["verdict"] = "repeat"
    good["verdict"] = "repeat"
    done, now = exported(folder, good)
    tally.check(done.returncode == 65 and now["fine"]["z"] == before["fine"]["z"],
                f"offsets that may not be used refuse: {done.stderr}")
    done, now = exported(folder, good, *put)
    tally.check(done.returncode == 0 and abs(now["fine"]["z"] - good["tips"][0]["height"]["value_mm"]) < 6e-5,
                f"a height alone has its own verdict: {done.stderr}")
    r = case(folder, rows, high=0.09)
    done, _ = exported(folder, r)
    tally.check("the height of tip 'fine' is to be updated, and has no place" in done.stderr, f"no place is told: {done.stderr}")
    for field in ("fine.height-over.none", "fine.height@90", "fine.height-over.", ".height", "fine.heights"):
        done, _ = exported(folder, r, "--into", "head.json", "--put", f"{field}=/fine/z")
        tally.check(done.returncode in (64, 65) and field in done.stderr, f"{field}: {done.returncode} {done.stderr}")


def check_template(tally, folder):
    rows = heights.rows_of(random.Random(31))
    r = case(folder, rows)
    (folder / "tips.txt").write_text("@(*.name) @(*.height:.4) @(broad.height-over.fine:inch:.6)\n")
    (folder / "result.json").write_text(json.dumps(r))
    done = subprocess.run([TIPTRUE, "export", "--template", "tips.txt", "--machine", "machine.json", "result.json"], cwd=folder,
                          capture_output=True, text=True, check=False)
    lines = [line.split() for line in done.stdout.splitlines()]
    found = {t["tip"]: t["height"]["value_mm"] for t in r["tips"]}
    tally.check(done.returncode == 0 and len(lines) == 2 and
                all(abs(float(line[1]) - found[line[0]]) <= 0.000051 for line in lines), f"template: {done.stdout} {done.stderr}")
    over = found["broad"] - found["fine"]
    tally.check(all(abs(25.4 * float(line[2]) - over) <= 0.51e-6 * 25.4 for line in lines), f"template, over: {done.stdout}")


def ready(folder, *options):
    return subprocess.run([TIPTRUE, "ready", "--history", "weeks.db", *options, "run.csv"], cwd=folder, capture_output=True,
                          text=True, check=False)


def check_ready(tally, folder):
    """Without an export the machine file is the configuration."""
    rows = heights.rows_of(random.Random(31))
    for keys in ({"high": 0.09}, {"high": None}):
        (folder / "weeks.db").unlink(missing_ok=True)
        made = machine(high=keys["high"] or 0.0)
        del made["export"]
        for tip in made["tips"] if keys["high"] is None else []:
            del tip["height"]
        r = heights.solve(folder, heights.plate(), made, heights.log(random.Random(3), rows))
        done = ready(folder, "--write")
        now = json.loads((folder / "machine.json").read_text())
        found = {t["tip"]: t["height"]["value_mm"] for t in r["tips"]}
        tally.check(done.returncode == 0 and "START THE JOB" in done.stdout, f"ready writes heights: {done.stdout} {done.stderr}")
        tally.check(all(abs(tip["height"] - found[tip["name"]]) <= 0.000051 for tip in now["tips"]),
                    f"into the machine file: {now['tips']}")
        tally.check([tip["offset"] for tip in now["tips"]] == [tip["offset"] for tip in made["tips"]], "offsets that are kept stay")
        tally.check(ready(folder).returncode == 0, "asked again, the job may start")
    (folder / "weeks.db").unlink()
    case(folder, rows, high=0.09)
    left = "the new heights {} not written, for no place is named for them: write them where the machine has them"
    for what, told in (((), "are"), (("--write",), "were"), ((), "are")):
        done = ready(folder, *what)
        said = " ".join(done.stdout.split())
        tally.check(done.returncode == 10 and left.format(told) in said, f"a height without a place {what}: {done.stdout}")
        tally.check("writes the new heights" not in said and "offsets and heights" not in said, f"no way is shown: {done.stdout}")


def main():
    tally = Tally()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        check_verdicts(tally, folder)
        check_there_and_back(tally, folder)
        check_refused(tally, folder)
        check_template(tally, folder)
        check_ready(tally, folder)
    tally.close()


if __name__ == "__main__":
    main()
