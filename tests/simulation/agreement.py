# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The simulator and its bound against SciPy: the files of simulated runs, reduced to their good
rows, solved by the peer of tests/reference, which reads them by docs/formats.md and shares no line
with simulator, bound and program. Offsets and covariances must be those of the bound, and the
bound's own regions must hold 95 % of the true offsets.

agreement.py [RUNS]: runs for the regions (500); one in a thousand of them goes through the peer,
at least one.
"""
import copy
import os
import sys
import tempfile

import numpy as np

import bound
import draw
import law
import logs
import measure
from scenario import Scenario, generator

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "reference"))
import adjustment  # noqa: E402
import runfiles  # noqa: E402

# of u, and of the covariances: the bound weighs with the true runout, not with that found
NEAR = 0.02
BLOCK = 500
SCENARIOS = (
    Scenario(bare=True, plate="square", late=0.3),
    Scenario(
        bare=True, plate="ragged6", rotations=8, filmed="0+2", filmed_share=0.5, sighting=0.002
    ),
    Scenario(plate="ragged8", rotations=6, early=0.06, tips=3, shuffled=True),
    Scenario(plate="fan", rotations=7, mislabelled=1, digit=10.0, resight=True, temperature=26.5),
    Scenario(bare=True, plate="ragged5", rotations=5, slip=37.0, moved=0.03, resight=True),
    Scenario(
        plate="drawn-1", rotations=5, swapped=True, sighting_off=0.2, lost_motion=0.02, setups=2
    ),
    Scenario(bare=True, plate="drawn-2", rotations=4, exact=True, mistyped=0.5, misidentified=True),
)


def good_rows(block, run, path):
    """Takes out of the log the touches that are not good."""
    with open(path, encoding="utf-8") as stream:
        lines = stream.read().splitlines()
    good = iter(block.faults.good[run][block.faults.order[run]])
    kept = [line for line in lines if not line.startswith("touch,") or next(good)]
    with open(path, "w", encoding="utf-8") as stream:
        stream.write("\n".join(kept) + "\n")


def peer_agrees(block, runs):
    """The largest distances of the peer from the bound, in u and relative to the covariance, over
    offsets of the first @runs."""
    good = copy.copy(block)
    good.touches, good.sightings = block.good_touches, block.good_sightings
    offset, covariance, same_plate = bound.solve(block)
    machine = {**logs.machine_document(block.scenario), "touch": {"u": block.scenario.scatter}}
    apart, spread = 0.0, 0.0
    with tempfile.TemporaryDirectory(prefix="tiptrue-") as folder:
        for i, path in enumerate(logs.write(good, folder, range(runs))):
            good_rows(block, i, path)
            peer = adjustment.adjust(*runfiles.load_case(folder, machine, os.path.basename(path)))
            for tip in range(block.scenario.tips):
                k = peer.columns.tip[f"t{tip + 1}"]
                u = np.sqrt(np.diag(same_plate[i, tip]))
                apart = max(
                    apart, (np.abs(peer.x[k : k + 2].astype(float) - offset[i, tip]) / u).max()
                )
                for found, expected in (
                    (peer.covariance, covariance[i, tip]),
                    (peer.same_plate, same_plate[i, tip]),
                ):
                    size = np.outer(*2 * [np.sqrt(np.diag(expected))])
                    spread = max(
                        spread,
                        (np.abs(found[k : k + 2, k : k + 2].astype(float) - expected) / size).max(),
                    )
    return apart, spread


def covered(which, runs):
    """In how many runs the region of the bound holds the true offset of the last tip."""
    inside = 0
    for number in range(runs // BLOCK):
        block = draw.draw(which, generator(which, 20, number), BLOCK)
        offset, covariance, _ = bound.solve(block)
        error = offset[:, -1] - block.truth.offset[:, -1]
        inside += int(
            (measure.distance2(error, covariance[:, -1]) <= measure.region_size2(np.inf)).sum()
        )
    return inside


def main():
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    peer_runs, failed = max(1, runs // 1000), 0
    for which in SCENARIOS:
        block = draw.draw(which, generator(which, 20, 10**6), peer_runs)
        apart, spread = peer_agrees(block, peer_runs)
        inside = covered(which, runs)
        low, high = law.smallest_count(0.95, runs, False), law.largest_count(0.95, runs, False)
        good = apart <= NEAR and spread <= NEAR and low <= inside <= high
        failed += not good
        print(
            f"{'ok  ' if good else 'FAIL'} {which}: peer {apart:.4f} u apart, "
            f"covariance {spread:.4f}; region holds {inside} of {runs}, {low} to {high} are allowed"
        )
    print(f"{len(SCENARIOS) - failed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
