# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Planned touches from above: what is expected of them against a covariance worked out here with numpy, against `check` of a run of
the plan, and against random plans of as many touches; the order; the motion program, block by block; what is refused.

Environment: TIPTRUE, srcdir.
"""
import json
import math
import os
import pathlib
import random
import re
import subprocess
import sys
import tempfile

import numpy

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "cli"))
from tally import Tally  # noqa: E402

import heights_simulate as scene  # noqa: E402

MOTION = {"safe_height": 12, "touch_height": -18.5, "travel_feed": 1500, "plunge_feed": 240, "find_feed": 120, "measure_feed": 30,
          "rotation_feed": 3600, "rotation_word": "A", "probing": "normal", "start_distance": 0.7, "overtravel": 0.5,
          "lost_motion": 0.04, "margin": 0.25, "limits": {"x": [0, 300], "y": [0, 300], "z": [-22, 40], "rotation": [0, 360]}}
SIGMA, PAD_U = 0.002, 0.004


def machine(**more):
    made = scene.machine(motion=json.loads(json.dumps(MOTION)), mark={"at": [131.27, 88.41], "u": 0.02},
                         yaw={"value_deg": 11.37, "u_deg": 0.05}, level={"u_mm_per_m": 1})
    made.update(more)
    return made


def planned(folder, *options, touches="40"):
    return scene.run(folder, "plan", "--touches", touches, *options)


def covariance(moves):
    """Of height and face runout of each tip, slope along plate x and y, pads: priors and touches."""
    tips, pads = list(scene.TIPS), list(scene.PADS)
    n = 3 * len(tips) + 2 + len(pads)
    prior = [10.0, 0.1, 0.1] * len(tips) + [1e-3] * 2 + [PAD_U] * len(pads)
    normal = numpy.diag([1 / u**2 for u in prior])
    for tip, pad, rotation in moves:
        row = numpy.zeros(n)
        t, turn = 3 * tips.index(tip), math.radians(rotation)
        row[t:t + 3] = 1, math.cos(turn), math.sin(turn)
        row[3 * len(tips):3 * len(tips) + 2] = scene.PADS[pad][0]
        row[3 * len(tips) + 2 + pads.index(pad)] = 1
        normal += numpy.outer(row, row) / (SIGMA**2 + 1e-12 / 12)
    return numpy.linalg.inv(normal)


def trace(cov):
    """What the plan is to make small: heights, faces, slopes at the furthest pad from the middle."""
    n = 3 * len(scene.TIPS)
    places = numpy.array([at for at, _ in scene.PADS.values()])
    reach = max(numpy.linalg.norm(places - places.mean(axis=0), axis=1))
    return sum(cov[i, i] for i in range(n)) + reach**2 * (cov[n, n] + cov[n + 1, n + 1])


def measured(plan):
    return [(m["tip"], m["target"], m["rotation"]) for m in plan["moves"] if m["kind"] == "height" and m["stage"] == "measure"]


def check_design(tally, folder):
    scene.write(folder, plate=scene.plate(), machine=machine())
    rng = random.Random(8)
    for each in (5, 12):
        done = planned(folder, "--heights", str(each), "--json")
        plan = json.loads(done.stdout)
        moves = measured(plan)
        cov = covariance(moves)
        tally.check(len(moves) == 2 * each and [h["touches"] for h in plan["heights"]] == [each] * 2, f"{each} of each tip")
        for t, height in enumerate(plan["heights"]):
            u = math.sqrt(cov[3 * t, 3 * t])
            tally.check(abs(height["expected_u_mm"] / u - 1) < 1e-6, f"{height}, by numpy {u}")
            u = math.sqrt(max(cov[3 * t + 1, 3 * t + 1], cov[3 * t + 2, 3 * t + 2]))
            tally.check(abs(height["expected_u_face_runout_mm"] / u - 1) < 1e-6, f"{height}, face by numpy {u}")
        drawn = [[(tip, rng.choice(list(scene.PADS)), 30.0 * rng.randrange(12)) for tip in scene.TIPS for _ in range(each)]
                 for _ in range(200)]
        others = [trace(covariance(one)) for one in drawn]
        tally.check(trace(cov) <= min(others), f"{each}: {trace(cov)}, the best of 200 random plans {min(others)}")
        place = {tip: [i for i, move in enumerate(moves) if move[0] == tip] for tip in scene.TIPS}
        means = [sum(of) / len(of) for of in place.values()]
        tally.check(abs(means[0] - means[1]) <= 0.1 * len(moves), f"a drift cancels: middles at {means}")


def check_expected(tally, folder):
    scene.write(folder, plate=scene.plate(), machine=machine(), truth=scene.truth())
    plan = json.loads(planned(folder, "--heights", "9", "--json").stdout)
    scene.write(folder, plan=plan)
    (folder / "run.csv").write_text(scene.simulated(folder).stdout)
    done = scene.run(folder, "check", "--json", "run.csv")
    for height, tip in zip(plan["heights"], json.loads(done.stdout)["tips"]):
        found = tip["height"]
        tally.check(found["touches"] == 9 and found["determined"], f"{found}")
        for key in ("expected_u_mm", "expected_same_plate_u_mm"):
            tally.check(abs(height[key] / found[key] - 1) < 0.03, f"{key}: planned {height}, checked {found}")
    solved = json.loads(scene.run(folder, "solve", "--json", "run.csv").stdout)
    tally.check(solved["verdict"] in ("keep", "update"), "its run is used")
    text = planned(folder, "--heights", "9").stdout
    tally.check("40 touches, 18 heights and" in text and "come down on P1 with fine at" in text and
                max(map(len, text.splitlines())) <= 80, text)
    rows = [line.split(",") for line in planned(folder, "--heights", "9", "--csv").stdout.splitlines() if ",height," in line]
    tally.check(len(rows) == 36, f"{len(rows)} rows of CSV")
    plain = [planned(folder, form).stdout for form in ("--json", "--csv", "--rs274")]
    words = ("height,", '"heights"', "straight down")
    tally.check(all(word not in text for text in plain for word in words), "without --heights none")


def check_few_pads(tally, folder):
    """Pads that do not tell the slope: heights are planned where they are stated, at the pads' middle."""
    for n in (1, 2):
        plate = scene.plate()
        plate["pads"] = plate["pads"][:n]
        made = machine()
        del made["level"]
        scene.write(folder, plate=plate, machine=made, truth={**scene.truth(), "pads": []})
        plan = json.loads(planned(folder, "--heights", "12", "--json").stdout)
        scene.write(folder, plan=plan)
        (folder / "run.csv").write_text(scene.simulated(folder).stdout)
        found = json.loads(scene.run(folder, "check", "--json", "run.csv").stdout)["tips"]
        for height, tip in zip(plan["heights"], found):
            for key in ("expected_u_mm", "expected_same_plate_u_mm"):
                tally.check(abs(height[key] / tip["height"][key] - 1) < 0.03, f"{n} pads, {key}: {height}, checked {tip['height']}")
        by_hand = math.hypot(SIGMA / math.sqrt(12), PAD_U)
        tally.check(n > 1 or abs(plan["heights"][0]["expected_u_mm"] / by_hand - 1) < 1e-3, f"by hand {by_hand}")


def check_program(tally, folder):
    """Over the pad and turned at the safe height; straight down; never below the expected contact by more than overtravel."""
    for mm, units in ((1, "mm"), (25.4, "inch")):
        made = machine() if mm == 1 else in_inches(machine())
        scene.write(folder, plate=scene.plate(), machine=made)
        done = planned(folder, "--heights", "6", "--rs274")
        text = done.stdout
        tally.check(done.returncode == 0 and "(Moves straight down can break a tip" in text, f"{units}: {done.stderr}")
        at, down, lowest = {}, 0, {}
        tip = None
        for line in text.splitlines():
            tip = next((name for name in scene.TIPS if line.startswith(f"(MSG,only tip {name} ")), tip)
            if line.startswith("("):
                if re.match(r"\(MSG,id=\d+ (find|measure) P", line):
                    pad = line.split()[2]
                continue
            code, words = line.split()[0], {word[0]: float(word[1:]) for word in line.split()[1:]}
            turned = "A" in words or "X" in words
            if code == "G1" and turned and "F" in words and at.get("pad"):
                tally.check(abs(mm * at["Z"] - 12) < 2e-4, f"{units}: moves over and turns at the safe height: {line}")
            if code == "G38.2" and "Z" in words:
                down += 1
                tally.check("X" not in words and "Y" not in words, f"straight down: {line}")
                expected = scene.TIPS[tip]["height"] + scene.PADS[pad][1]
                where = f"{units} {tip} {pad}: contact at {expected}"
                tally.check(abs(mm * words["Z"] - (expected - 0.5)) < 4e-4, f"{where}, down to {line}")
                tally.check(abs(mm * at["Z"] - (expected + 0.7)) < 4e-4, f"{where}, from {at}")
                rate = mm * words["F"]
                tally.check(abs(rate - (120 if down % 2 else 30)) < 2e-3, f"{units}: feed {line}")
                lowest[pad] = words["Z"]
                at["pad"] = True
            at.update(words)
        tally.check(down == 24 and len(lowest) == 3, f"{units}: {down} moves down on {lowest}")


def in_inches(made):
    """The same machine in inches."""
    made = json.loads(json.dumps(made))
    per = 1 / 25.4
    made["units"] = "inch"
    for key in ("resolution",):
        made[key] *= per
    for key in ("touch", "sighting", "height"):
        made[key]["u"] *= per
    made["mark"] = {"at": [c * per for c in made["mark"]["at"]], "u": made["mark"]["u"] * per}
    for tip in made["tips"]:
        tip["offset"] = [c * per for c in tip["offset"]]
        for key in ("radius", "radius_u", "height"):
            tip[key] *= per
    motion = made["motion"]
    for key in ("safe_height", "touch_height", "travel_feed", "plunge_feed", "find_feed", "measure_feed", "start_distance",
                "overtravel", "lost_motion", "margin"):
        motion[key] *= per
    for axis in "xyz":
        motion["limits"][axis] = [c * per for c in motion["limits"][axis]]
    return made


def check_refused(tally, folder):
    def refused(status, words, plate=None, **more):
        made = machine()
        for key, value in more.items():
            if key == "tips":
                for tip in made["tips"]:
                    tip.pop(value)
            elif key in made["motion"]:
                made["motion"][key] = value
            else:
                made[key] = value
        scene.write(folder, plate=plate or scene.plate(), machine=made)
        done = planned(folder, "--heights", "6", "--rs274")
        tally.check(done.returncode == status and done.stdout == "" and words in done.stderr,
                    f"{words}: {done.returncode} {done.stdout[:80]} {done.stderr}")

    refused(78, "no height is stated of tip", tips="height")
    refused(78, "would go to Z", limits={**MOTION["limits"], "z": [-21, 40]})
    refused(78, "higher than expected", level={"u_mm_per_m": 9})
    refused(78, "would start above safe_height", touch_height=-21, safe_height=-19.2)
    refused(78, "may lie", yaw={"value_deg": 11.37, "u_deg": 1})
    vague = scene.plate()
    vague["pads"][1]["u"] = 0.4
    refused(78, "pad 'P2' may lie 0.8", plate=vague)
    for share, status in ((0.498, 0), (0.502, 78)):
        # twice u is this share of the start distance: half of it is allowed
        vague["pads"][1]["u"] = math.sqrt((share * 0.7 / 2)**2 - (1e-3 * math.hypot(*scene.PADS["P2"][0]))**2)
        scene.write(folder, plate=vague, machine=machine())
        done = planned(folder, "--heights", "6", "--rs274")
        tally.check(done.returncode == status, f"twice u is {share} of the start distance: {done.returncode} {done.stderr}")
    bare = scene.plate()
    for pad in bare["pads"]:
        del pad["at"]
    refused(65, "no pad in use whose place is stated", plate=bare)
    unused = scene.plate()
    unused["pads"][0]["use"] = False
    scene.write(folder, plate=unused, machine=machine())
    plan = json.loads(planned(folder, "--heights", "6", "--json").stdout)
    scene.write(folder, plate=scene.plate(), truth=scene.truth(), plan=plan)
    (folder / "begun.csv").write_text(scene.simulated(folder).stdout)
    done = scene.run(folder, "plan", "--after", "begun.csv", "--heights", "6")
    tally.check(done.returncode == 64 and "a run that was begun" in done.stderr, f"after a run: {done.returncode} {done.stderr}")
    tally.check({m[1] for m in measured(plan)} == {"P2", "P3"}, "a pad that is out of use is left out")
    for wrong in ("0", "-1", "x"):
        tally.check(planned(folder, "--heights", wrong).returncode == 64, f"--heights {wrong}")


def main():
    tally = Tally()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for check in (check_design, check_expected, check_few_pads, check_program, check_refused):
            check(tally, folder)
    tally.close()


if __name__ == "__main__":
    main()
