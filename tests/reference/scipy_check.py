# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Whole runs against SciPy's least_squares, the robust step off: positions to 1e-9 mm, covariances to 1e-6.

Source of the peer: scipy.optimize.least_squares (MINPACK lmder) on a model written from docs/method.md (adjustment.py), carried on
in extended precision. touch.u is stated in every machine file used here, for then both weigh the touches alike.
Environment: TIPTRUE, srcdir.
"""
import json
import math
import os
import subprocess
import sys
import tempfile

import numpy as np

import adjustment
import invented
import runfiles

POSITION_MM = 1e-9
YAW_DEG = math.degrees(POSITION_MM / 100)  # 1e-9 mm at 100 mm from the mark; JSON's last digit, 1e-10 degrees, is below it
RELATIVE = 1e-6
PEER_MM = 1e-9  # SciPy's own minimum against its continuation in extended precision

FIELD = ["01-plain", "02-film", "03-two-tips", "04-oval", "06-one-sided", "07-sense", "08-moved", "09-inch-comma", "10-reversal",
         "11-eight-tips"]


class Tally:
    def __init__(self):
        self.passed = self.failed = 0

    def check(self, what, good, detail=""):
        if good:
            self.passed += 1
        else:
            self.failed += 1
            print(f"FAIL {what}: {detail}")

    def near(self, what, found, expected, tolerance):
        apart = [abs(f - float(e)) if f is not None else math.inf for f, e in zip(found, expected)]
        wanted = [float(e) for e in expected]
        self.check(what, max(apart) <= tolerance, f"found {found}, expected {wanted}, apart {max(apart):.3g} of {tolerance:.3g}")


def solved(folder, machine_path):
    """The program's result, robust step off."""
    command = [os.environ["TIPTRUE"], "solve", "--least-squares", "--json", "--plate", os.path.join(folder, "plate.json"),
               "--machine", machine_path, os.path.join(folder, "run.csv")]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    if done.returncode not in (0, 10, 20):
        raise RuntimeError(f"exit status {done.returncode}: {done.stderr.strip() or done.stdout.strip()}")
    return json.loads(done.stdout)


def pair(point):
    return [point["x"], point["y"]]


def block(matrix, first):
    return matrix[first:first + 2, first:first + 2].astype(float)


def same_covariance(tally, what, found, expected):
    """Each element, relative to the product of the two standard uncertainties."""
    u = np.sqrt(np.diag(expected))
    apart = np.abs(np.array(found, float) - expected) / np.outer(u, u)
    tally.check(what, bool(np.all(apart <= RELATIVE)), f"found {found}, expected {expected.tolist()}, relative {apart.max():.3g}")


def compare_tip(tally, name, tip, peer):
    k = peer.columns.tip[tip["tip"]]
    at = f"{name} tip '{tip['tip']}'"
    tally.near(f"{at}: offset", pair(tip["offset_mm"]), peer.x[k:k + 2], POSITION_MM)
    tally.near(f"{at}: runout", pair(tip["runout"]["at_zero_mm"]), peer.x[k + 2:k + 4], POSITION_MM)
    tally.near(f"{at}: contact radius", [tip["contact_radius_mm"]], peer.x[k + 4:k + 5], POSITION_MM)
    tally.near(f"{at}: u of the contact radius", [tip["u_contact_radius_mm"]], [math.sqrt(peer.covariance[k + 4, k + 4])],
               RELATIVE * math.sqrt(peer.covariance[k + 4, k + 4]) + 1e-10)
    same_covariance(tally, f"{at}: covariance", tip["covariance_mm2"], block(peer.covariance, k))
    same_covariance(tally, f"{at}: same-plate covariance", tip["same_plate"]["covariance_mm2"], block(peer.same_plate, k))


def compare_pose(tally, name, pose, peer):
    k = peer.columns.pose[pose["setup"]]
    at = f"{name} setup '{pose['setup']}'"
    tally.near(f"{at}: mark", pair(pose["mark_mm"]), peer.x[k:k + 2], POSITION_MM)
    turns = 360 * round((pose["yaw_deg"] - math.degrees(peer.x[k + 2])) / 360)
    tally.near(f"{at}: yaw", [pose["yaw_deg"] - turns], [math.degrees(peer.x[k + 2])], YAW_DEG)
    u = np.sqrt(np.diag(peer.covariance)[k:k + 3].astype(float))
    tally.near(f"{at}: u of the mark", pair(pose["u_mark_mm"]), u[:2], RELATIVE * u[:2].max() + 1e-10)
    tally.near(f"{at}: u of the yaw", [pose["u_yaw_deg"]], [math.degrees(u[2])], RELATIVE * math.degrees(u[2]) + 1e-10)


def derivatives_hold(tally, name, problem):
    """The peer's own derivatives against central differences: a wrong one would only slow it down, so it is looked at apart."""
    x = problem.start.astype(adjustment.EXTENDED)
    _, jacobian = problem.rows(x)
    worst = 0.0
    for k in range(x.size):
        step = np.zeros_like(x)
        step[k] = 1e-6
        numeric = (problem.rows(x + step)[0] - problem.rows(x - step)[0]) / 2e-6
        worst = max(worst, float(np.abs(numeric - jacobian[:, k]).max() / np.abs(jacobian[:, k]).max()))
    tally.check(f"{name}: derivatives", worst < 1e-7, f"relative difference {worst:.3g}")


def compare(tally, name, folder, temporary):
    document = runfiles.load(os.path.join(folder, "machine.json"))
    document.setdefault("touch", {"u": 0.0031})
    machine_path = os.path.join(temporary, name + "-machine.json")
    with open(machine_path, "w", encoding="utf-8") as stream:
        json.dump(document, stream)
    derivatives_hold(tally, name, adjustment.Problem(*runfiles.load_case(folder, document)))
    peer = adjustment.adjust(*runfiles.load_case(folder, document))
    tally.check(f"{name}: SciPy's minimum", peer.apart_mm < PEER_MM, f"{peer.apart_mm:.3g} mm from its continuation")
    try:
        result = solved(folder, machine_path)
    except (RuntimeError, ValueError, OSError, subprocess.TimeoutExpired) as fault:
        tally.check(f"{name}: solve", False, str(fault))
        return
    tips = [t["tip"] for t in result["tips"]]
    tally.check(f"{name}: tips", sorted(tips) == sorted(peer.columns.tip), str(tips))
    tally.check(f"{name}: every touch used", result["run"]["touches"]["set_aside"] == 0, str(result["run"]["touches"]))
    for tip in result["tips"]:
        compare_tip(tally, name, tip, peer)
    for pose in result["poses"]:
        compare_pose(tally, name, pose, peer)


def main():
    tally = Tally()
    field = os.path.join(os.environ.get("srcdir", "."), "tests", "field")
    with tempfile.TemporaryDirectory() as temporary:
        for name in FIELD:
            compare(tally, name, os.path.join(field, name), temporary)
        for name in invented.INVENTED:
            invented.write(name, os.path.join(temporary, name))
            compare(tally, name, os.path.join(temporary, name), temporary)
    print(f"{tally.passed} passed, {tally.failed} failed")
    return 0 if tally.failed == 0 and tally.passed > 0 else 1


if __name__ == "__main__":
    sys.exit(main())
