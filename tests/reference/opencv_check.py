# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The picture of simulated views, wrong blobs among them, beside OpenCV's estimateAffine2D (RANSAC, then least squares of the good
ones) of the same positions and pixels. Run by `make check-release`. Environment: TIPTRUE, srcdir.
"""
import json
import math
import os
import pathlib
import sys
import tempfile

import cv2
import numpy

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests", "cli"))
from tally import Tally  # noqa: E402

import heights_simulate as scene  # noqa: E402
import views_plan  # noqa: E402


def compare(tally, folder, turn, mirrored, wrong, seed):
    camera = {"scale_mm_per_px": [0.0171, 0.0166], "turn_deg": turn, "shear_deg": 0.63, "mirrored": mirrored, "sigma_px": 0.15}
    scene.write(folder, truth=scene.truth(camera=camera))
    lines = scene.simulated(folder, "--seed", str(seed)).stdout.splitlines()
    views = [i for i, line in enumerate(lines) if line.startswith("view,")]
    names = next(line for line in lines if line.startswith("kind,")).split(",")
    for k in range(wrong):  # another blob was taken for the mark
        cells = lines[views[3 * k + 1]].split(",")
        cells[names.index("px")] = f"{float(cells[names.index('px')]) + 31.7 - 60 * k:.3f}"
        lines[views[3 * k + 1]] = ",".join(cells)
    (folder / "run.csv").write_text("\n".join(lines) + "\n")
    rows = [dict(zip(names, lines[i].split(","))) for i in views]
    v = numpy.array([[float(r["px"]) - 640, 480 - float(r["py"])] for r in rows])
    h = numpy.array([[float(r["x"]), float(r["y"])] for r in rows])
    matrix, good = cv2.estimateAffine2D(v, h - h.mean(axis=0), method=cv2.RANSAC, ransacReprojThreshold=0.02, maxIters=5000,
                                        confidence=0.9999, refineIters=50)
    a = -matrix[:, :2]
    found = json.loads(scene.run(folder, "solve", "--json", "run.csv").stdout)["camera"]
    what = f"turn {turn}, mirrored {mirrored}, {wrong} wrong"
    tally.check(int(good.sum()) == len(rows) - wrong, f"{what}: OpenCV takes {int(good.sum())} of {len(rows)}")
    pairs = ((found["scale_mm_per_px"]["x"], math.hypot(a[0, 0], a[1, 0]), found["u_scale_mm_per_px"]["x"]),
             (found["scale_mm_per_px"]["y"], math.hypot(a[0, 1], a[1, 1]), found["u_scale_mm_per_px"]["y"]),
             (found["turn_deg"], math.degrees(math.atan2(a[1, 0], a[0, 0])), found["u_turn_deg"]))
    for ours, theirs, u in pairs:
        tally.check(abs(ours - theirs) < 0.05 * u, f"{what}: {ours}, OpenCV {theirs}, u {u}")
    tally.check(bool(numpy.linalg.det(a) < 0) == found["mirrored"], f"{what}: mirrored")


def main():
    tally = Tally()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for seed, (turn, mirrored) in enumerate(((3.7, False), (3.7, True), (-87.9, False), (176.2, True))):
            scene.write(folder, plate=views_plan.plate(1), machine=views_plan.machine(turn, mirrored))
            plan = json.loads(views_plan.planned(folder, "--views", "15", "--json").stdout)
            scene.write(folder, plan=plan)
            for wrong in (0, 2):
                compare(tally, folder, turn, mirrored, wrong, seed + 1)
    tally.close()


if __name__ == "__main__":
    main()
