#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The same runs by scipy.optimize.least_squares: scipy_peer.py FOLDER RUN...

The whole model of one tip (pose, offset, runout, radius, shifts of edges, group and mark with their priors), analytic derivatives,
loss 'cauchy' at the scale that is 95 % efficient; covariance from the derivatives. Prints a line for each run: name, offset x, y,
u of x, y, seconds of solve and covariance. FOLDER is one of make_runs.py.
"""
import os
import sys
import time

import numpy as np
from scipy.optimize import least_squares

CAUCHY = 2.385
POSE, TIP, SHIFTS = slice(0, 3), slice(3, 8), slice(8, None)  # m, beta | o, e, r | edges, group, marks but the first


def read_model(folder):
    model = {"mark": {}, "edge": {}}
    with open(os.path.join(folder, "model.txt"), encoding="utf-8") as stream:
        for key, *values in (line.split() for line in stream):
            if key in ("mark", "edge"):
                model[key][values[0]] = (len(model[key]), *map(float, values[1:]))
            else:
                model[key] = [float(v) for v in values]
    return model


def read_run(path):
    with open(path, encoding="utf-8") as stream:
        lines = [line for line in stream if not line.startswith("#")]
    header = lines[0].rstrip("\n").split(",")
    kind, target, x, y, rotation = (header.index(name) for name in ("kind", "target", "x", "y", "rotation"))
    rows = [line.split(",") for line in lines[1:]]
    sights = [(row[target], float(row[x]), float(row[y])) for row in rows if row[kind] == "sight"]
    touches = [(row[target], float(row[x]), float(row[y]), float(row[rotation])) for row in rows if row[kind] == "touch"]
    return sights, touches


class Problem:
    def __init__(self, model, sights, touches):
        self.yaw, self.u_yaw = np.radians(model["yaw_deg"])
        self.u_touch, self.u_sight = model["touch_u"][0], model["sighting_u"][0]
        self.n_edges, self.n_marks = len(model["edge"]), len(model["mark"])
        self.n = 8 + self.n_edges + 2 + 2 * (self.n_marks - 1)
        self.u_shifts = np.array(model["edge_u"] * self.n_edges + model["group_u"] * 2 + model["mark_u"] * (2 * (self.n_marks - 1)))
        self.edge = np.array([model["edge"][t[0]][0] for t in touches])
        self.normal = np.array([model["edge"][t[0]][1:3] for t in touches])
        self.distance = np.array([model["edge"][t[0]][3] for t in touches])
        self.head = np.array([t[1:3] for t in touches])
        angle = np.radians([t[3] for t in touches])
        self.cos, self.sin = np.cos(angle), np.sin(angle)
        self.mark = np.array([model["mark"][s[0]][0] for s in sights])
        self.mark_at = np.array([model["mark"][s[0]][1:3] for s in sights])
        self.seen = np.array([s[1:3] for s in sights])
        self.constant = self.constant_derivatives()

    def constant_derivatives(self):
        jacobian = np.zeros((2 * len(self.mark) + len(self.edge) + 1 + self.u_shifts.size, self.n))
        s, t = 2 * len(self.mark), np.arange(len(self.edge))
        jacobian[0:s:2, 0] = jacobian[1:s:2, 1] = -1 / self.u_sight
        jacobian[s + t, 7] = jacobian[s + t, 8 + self.edge] = -1 / self.u_touch
        jacobian[s + t, 8 + self.n_edges:10 + self.n_edges] = -self.normal / self.u_touch
        p = s + t.size
        jacobian[p, 2] = 1 / self.u_yaw
        jacobian[p + 1 + np.arange(self.u_shifts.size), 8 + np.arange(self.u_shifts.size)] = 1 / self.u_shifts
        return jacobian

    def marks(self, x):
        shifts = np.vstack([np.zeros(2), x[10 + self.n_edges:].reshape(-1, 2)])
        return self.mark_at + shifts[self.mark]

    def centres(self, x):
        ex, ey = x[5:7]
        return self.head + x[3:5] - x[0:2] + np.column_stack([self.cos * ex - self.sin * ey, self.sin * ex + self.cos * ey])

    def residuals(self, x):
        c, s = np.cos(x[2]), np.sin(x[2])
        turn = np.array([[c, s], [-s, c]])  # rows times it: turned by the yaw
        sights = (self.seen - x[0:2] - self.marks(x) @ turn) / self.u_sight
        shift = x[8 + self.edge] + self.normal @ x[8 + self.n_edges:10 + self.n_edges]
        touches = (np.sum(self.normal @ turn * self.centres(x), axis=1) - self.distance - shift - x[7]) / self.u_touch
        return np.concatenate([sights.ravel(), touches, [(x[2] - self.yaw) / self.u_yaw], x[SHIFTS] / self.u_shifts])

    def derivatives(self, x):
        c, s = np.cos(x[2]), np.sin(x[2])
        turn, across = np.array([[c, s], [-s, c]]), np.array([[-s, c], [-c, -s]])
        jacobian = self.constant.copy()
        n = 2 * len(self.mark)
        jacobian[0:n, 2] = -(self.marks(x) @ across).ravel() / self.u_sight
        for k in range(1, self.n_marks):
            rows, column = 2 * np.flatnonzero(self.mark == k), 8 + self.n_edges + 2 * k
            jacobian[rows, column], jacobian[rows, column + 1] = -c / self.u_sight, s / self.u_sight
            jacobian[rows + 1, column], jacobian[rows + 1, column + 1] = -s / self.u_sight, -c / self.u_sight
        touches = slice(n, n + len(self.edge))
        turned = self.normal @ turn / self.u_touch
        jacobian[touches, 0:2], jacobian[touches, 3:5] = -turned, turned
        jacobian[touches, 2] = np.sum(self.normal @ across * self.centres(x), axis=1) / self.u_touch
        jacobian[touches, 5] = turned[:, 0] * self.cos + turned[:, 1] * self.sin
        jacobian[touches, 6] = -turned[:, 0] * self.sin + turned[:, 1] * self.cos
        return jacobian

    def start(self):
        """Pose from the first sighting, offset from the touches' middle."""
        x = np.zeros(self.n)
        c, s = np.cos(self.yaw), np.sin(self.yaw)
        turn = np.array([[c, s], [-s, c]])
        x[0:2], x[2] = self.seen[0] - self.mark_at[0] @ turn, self.yaw
        normals, away = self.normal @ turn, self.distance - np.sum(self.normal @ turn * (self.head - x[0:2]), axis=1)
        x[[3, 4, 7]] = np.linalg.lstsq(np.column_stack([normals, -np.ones(len(away))]), away, rcond=None)[0]
        return x


def solve(model, sights, touches):
    problem = Problem(model, sights, touches)
    found = least_squares(problem.residuals, problem.start(), jac=problem.derivatives, loss="cauchy", f_scale=CAUCHY, x_scale="jac")
    weights = 1 / (1 + (found.fun / CAUCHY) ** 2)
    jacobian = problem.derivatives(found.x)
    return found.x, np.linalg.inv(jacobian.T @ (weights[:, None] * jacobian))


def main():
    folder, *runs = sys.argv[1:]
    model = read_model(folder)
    for run in runs:
        sights, touches = read_run(os.path.join(folder, run))
        begun = time.perf_counter()
        x, covariance = solve(model, sights, touches)
        seconds = time.perf_counter() - begun
        u = np.sqrt(np.diag(covariance))
        print(f"{run} {x[3]:.7f} {x[4]:.7f} {u[3]:.7f} {u[4]:.7f} {seconds:.7f}")


if __name__ == "__main__":
    main()
