# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Views, camera and axes through the program, from the log to the machine: rows are made here, from the definitions of
docs/method.md, with a crooked camera and crooked axes both ways; what is exported must make the next run right.

A machine with wrong axes is one that goes to T(p) when told p. Told what docs/export.md says, it must go to p.
Environment: TIPTRUE, srcdir.
"""
import json
import math
import os
import pathlib
import random
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

TIPTRUE = os.environ["TIPTRUE"]
MARKS = {"A": (0, 0), "B": (60.3, 3.1), "C": (-4.3, 61.2), "D": (58.1, 62.7)}
EDGES = {"e": ((44, 22), (44, 32), (-1, 0)), "w": ((14, 32), (14, 22), (1, 0)),
         "n": ((34, 42), (24, 42), (0, -1)), "s": ((24, 12), (34, 12), (0, 1))}
PIXELS = [(120.3, 110.7), (1150.2, 130.4), (140.9, 850.1), (800.6, 560.8), (640.2, 300.5)]
CENTRE = (640, 480)
AT, YAW, OFFSET, RUNOUT, RADIUS = (144.16, 88.46), 0.0117, (38.61, -16.25), (0.012, -0.021), 0.31


def turn(angle, p):
    return (math.cos(angle) * p[0] - math.sin(angle) * p[1], math.sin(angle) * p[0] + math.cos(angle) * p[1])


class Machine:
    """How it moves and sees: axes (ex, ey, g) as they are, and camera (scale x, y in mm, turn in degrees)."""

    def __init__(self, axes=(0, 0, 0), camera=(0.0173, 0.0169, 0.43)):
        self.axes, self.camera = axes, camera
        self.factor, self.square = (1.0, 1.0), 0.0  # what was written into it

    def told(self, place):
        """What the controller reports at the true place, counted from the mark."""
        (ex, ey, g), (x, y) = self.axes, (place[0] - AT[0], place[1] - AT[1])
        steps_y = y / (1 + ey)
        steps_x = (x + g * steps_y) / (1 + ex)
        at_y = steps_y / self.factor[1]
        return AT[0] + steps_x / self.factor[0] - self.square * at_y, AT[1] + at_y

    def seen(self, pixel):
        """The camera's centre less what is seen at the pixel: minus A v."""
        x, y, degrees = self.camera
        across, up = turn(math.radians(degrees), ((pixel[0] - CENTRE[0]) * x, (CENTRE[1] - pixel[1]) * y))
        return -across, -up


def log(machine, rng, touches=True):
    """Rows of a run: each mark seen in five places of the picture, then touches."""
    rows = ["kind,target,tip,x,y,rotation,px,py"]
    for name, at in MARKS.items():
        mark = turn(YAW, at)
        for px, py in PIXELS:
            shift = machine.seen((px, py))
            x, y = machine.told((AT[0] + mark[0] + shift[0], AT[1] + mark[1] + shift[1]))
            rows.append(f"view,{name},,{x:.4f},{y:.4f},,{px + rng.gauss(0, 0.15):.3f},{py + rng.gauss(0, 0.15):.3f}")
    for name, ((ax, ay), (bx, by), inward) in EDGES.items() if touches else ():
        for k in range(8):
            theta, along = math.radians(5.73 + 45 * k), (0.2 + 0.08 * k)
            e, depth = turn(theta, RUNOUT), RADIUS + rng.gauss(0, 0.002)
            edge = turn(YAW, (ax + along * (bx - ax) + inward[0] * depth, ay + along * (by - ay) + inward[1] * depth))
            # the axis of the tip is at told(head) + offset in the machine's own units of motion
            axis = machine.told((AT[0] + edge[0] - e[0], AT[1] + edge[1] - e[1]))
            rows.append(f"touch,{name},t,{axis[0] - OFFSET[0]:.4f},{axis[1] - OFFSET[1]:.4f},{5.73 + 45 * k:.3f},,")
    return "\n".join(rows) + "\n"


def write_files(folder, **camera):
    plate = {"schema": "tiptrue.plate/1", "name": "pane", "reference": "A",
             "marks": [{"name": n, "at": p, "u": 0.001} if n != "A" else {"name": n, "at": p} for n, p in MARKS.items()],
             "edges": [{"name": n, "from": a, "to": b, "free_side": "left", "u": 0.004} for n, (a, b, _) in EDGES.items()]}
    machine = {"schema": "tiptrue.machine/1", "name": "loom", "yaw": {"value_deg": 0, "u_deg": 2},
               "camera": {"size_px": [1280, 960], "u_px": 0.15, **camera},
               "tips": [{"name": "t", "radius": RADIUS, "radius_u": 0.02}]}
    (folder / "plate.json").write_text(json.dumps(plate))
    (folder / "machine.json").write_text(json.dumps(machine))


def call(folder, *arguments):
    return subprocess.run([TIPTRUE, *arguments], cwd=folder, capture_output=True, text=True, check=False)


def solve(folder, machine, seed):
    (folder / "run.csv").write_text(log(machine, random.Random(seed)))
    done = call(folder, "solve", "--json", "--plate", "plate.json", "--machine", "machine.json", "run.csv")
    (folder / "result.json").write_text(done.stdout)
    return json.loads(done.stdout)


def export(folder, places, now, *options):
    """Exit status, what stands in the configuration then, and what was said."""
    (folder / "head.json").write_text(json.dumps(now))
    puts = [word for field, key in places.items() for word in ("--put", f"{field}=/{key}")]
    done = call(folder, "export", "--machine", "machine.json", "--into", "head.json", *puts, *options, "result.json")
    return done.returncode, json.loads((folder / "head.json").read_text()), done.stdout + done.stderr


def check_axes(tally, folder):
    write_files(folder)
    for k, axes in enumerate([(6.1e-4, -3.7e-4, 8.3e-4), (-5.3e-4, 7.9e-4, -6.7e-4), (4.1e-4, 6.3e-4, -9.1e-4)]):
        machine = Machine(axes)
        r = solve(folder, machine, k)
        found = [r["axes"]["scale_x_ppm"] / 1e6, r["axes"]["scale_y_ppm"] / 1e6, r["axes"]["square_mm_per_m"] / 1e3]
        u = [r["axes"]["u_scale_x_ppm"] / 1e6, r["axes"]["u_scale_y_ppm"] / 1e6, r["axes"]["u_square_mm_per_m"] / 1e3]
        tally.check(all(abs(f - a) < 4 * s for f, a, s in zip(found, axes, u)), f"axes {axes}: {found}, u {u}")
        tally.check(abs(r["tips"][0]["offset_mm"]["x"] - OFFSET[0]) < 0.01, f"offset: {r['tips'][0]['offset_mm']}")
        status, now, said = export(folder, {"axes.scale.x": "x", "axes.scale.y": "y", "axes.square:per-mm": "g"},
                                   {"x": 1, "y": 1.0, "g": 0})
        tally.check(status == 0, f"axes are exported: {status} {said}")
        tally.check(abs(now["x"] * (1 + axes[0]) - 1) < 1e-4 and abs(now["y"] * (1 + axes[1]) - 1) < 1e-4, f"factors: {now}")
        machine.factor, machine.square = (now["x"], now["y"]), now["g"]
        for told in ((37.1, 0), (0, 41.3), (-23.9, 61.7)):  # goes where it is told to
            place = (AT[0] + told[0], AT[1] + told[1])
            back = machine.told(place)
            tally.check(math.hypot(back[0] - place[0], back[1] - place[1]) < 0.006, f"{axes}: told {back}, is at {place}")
        tally.check(solve(folder, machine, 50 + k)["axes"] is None, f"axes {axes} are right then")


def check_what_stands(tally, folder):
    """Numbers of the axes come on top of what is in force: nothing but 1 and 0 is overwritten."""
    write_files(folder)
    solve(folder, Machine((6.1e-4, -3.7e-4, 8.3e-4)), 3)
    for field, now in (("axes.scale.x", 80), ("axes.scale.y", 1.0005), ("axes.square", 0.4)):
        status, then, said = export(folder, {field: "v"}, {"v": now})
        tally.check(status == 65 and then == {"v": now} and "in force" in said, f"{field} over {now}: {status} {said}")
    status, then, said = export(folder, {"axes.scale.x": "v"}, {"v": 80}, "--force", "change")
    tally.check(status == 0 and abs(then["v"] - 0.99939) < 1e-4, f"forced: {status} {then} {said}")
    solve(folder, Machine(), 4)
    status, then, said = export(folder, {"axes.scale.x": "v"}, {"v": 1})
    tally.check(status == 65 and "does not show that the axes are off" in said, f"axes that are right: {said}")


def check_camera(tally, folder):
    for k, camera in enumerate([(0.0173, 0.0169, -3.73), (0.0214, 0.0219, 91.27)]):
        write_files(folder)
        solve(folder, Machine(camera=camera), 20 + k)
        places = {"camera.scale.x": "x", "camera.scale.y:um": "y", "camera.scale.y:inch": "i", "camera.scale.x:per-mm": "p",
                  "camera.turn": "t", "camera.turn:minus:.2": "m"}
        status, now, said = export(folder, places, {key: 0 for key in places.values()})
        tally.check(status == 0, f"the camera is exported: {status} {said}")
        for key, wanted in (("x", camera[0]), ("y", 1e3 * camera[1]), ("i", camera[1] / 25.4), ("p", 1 / camera[0]),
                            ("t", camera[2]), ("m", -camera[2])):
            within = 0.025 if key in "tm" else 1e-3 * wanted
            tally.check(abs(now[key] - wanted) < within, f"{camera} {key}: {now[key]}, expected {wanted}")
        # stated as found, the camera is right: nothing is written; off, it is
        write_files(folder, scale_mm_per_px=[now["x"], now["y"] / 1e3], turn_deg=now["t"])
        solve(folder, Machine(camera=camera), 30 + k)
        status, then, said = export(folder, {"camera.scale.x": "x"}, {"x": 7})
        tally.check(status == 0 and then == {"x": 7} and "nothing to do" in said, f"a camera that is right: {said}")
        solve(folder, Machine(camera=(1.004 * camera[0], *camera[1:])), 40 + k)
        status, then, said = export(folder, {"camera.scale.x": "x"}, {"x": 7})
        tally.check(status == 0 and abs(then["x"] / camera[0] - 1.004) < 1e-3, f"a focus that moved: {then} {said}")


def check_refused(tally, folder):
    for field in ("camera.turn:inch", "camera.turn:per-mm", "axes.scale.x:minus", "axes.scale.x:mm", "t.offset.x:per-mm",
                  "camera.scale.x:per-mm:mm", "camera.scale", "axes.turn", "camera.turn@90"):
        status, _, said = export(folder, {field: "x"}, {"x": 1})
        tally.check(status == 64, f"{field}: {status} {said}")
    mirrored = Machine()
    mirrored.camera = (-0.0173, 0.0169, 0.43)
    write_files(folder)
    solve(folder, mirrored, 5)
    status, _, said = export(folder, {"camera.turn": "x"}, {"x": 1})
    tally.check(status == 65 and "mirrored" in said, f"a mirrored picture: {status} {said}")


def check_template(tally, folder):
    write_files(folder)
    solve(folder, Machine((6.1e-4, -3.7e-4, 8.3e-4), (0.0173, 0.0169, -3.73)), 6)
    (folder / "t.txt").write_text("@(axes.scale.x:.4) @(axes.square:minus:.1) @(camera.scale.x:per-mm:.0) @(camera.turn:.1) "
                                  "@(*.name)\n")
    done = call(folder, "export", "--machine", "machine.json", "--template", "t.txt", "result.json")
    tally.check(done.stdout == "0.9994 -0.8 58 -3.7 t\n", f"template: {done.stdout!r} {done.stderr}")


def main():
    tally = Tally()
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        check_axes(tally, folder)
        check_what_stands(tally, folder)
        check_camera(tally, folder)
        check_refused(tally, folder)
        check_template(tally, folder)
    tally.close()


if __name__ == "__main__":
    main()
