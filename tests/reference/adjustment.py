# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""A whole run adjusted by SciPy: a peer of the program that shares no line with it.

The model is that of docs/method.md without shape and lost-motion terms, priors as further residuals:
    touch     n_b . (h + o + R(theta) e - m) - s d - shift - n . g - r = 0
    sighting  h - m - R(b) (s u + mark shift + g) = 0
SciPy's least_squares (Levenberg-Marquardt, MINPACK) finds the minimum; Gauss-Newton steps by a QR
factorisation in extended precision (modified Gram-Schmidt, twice) then carry it on to some 1e-13 mm and give the covariance.
The variance of a touch holds the rotation's share, which depends on e: weights and solution are repeated until they agree.
"""
import numpy as np
from scipy.optimize import least_squares

EXTENDED = np.longdouble


class Columns:
    """Where each unknown stands in the vector, and the priors: (index, value, u, of the plate)."""

    def __init__(self, plate, machine, run):
        self.size = 0
        self.priors = []
        self.pose = {s: self.take(3) for s in run.setups}
        self.tip = {t: self.take(5) for t in run.tips}
        self.edge = self.shifts(plate.edge, plate.edge_u, 1)
        self.group = self.shifts(plate.group, plate.group_u, 2)
        self.mark = self.shifts(plate.mark, plate.mark_u, 2)
        for t in run.tips:
            if t in machine.radius:
                self.priors.append((self.tip[t] + 4, *machine.radius[t], False))
        self.of_plate = np.zeros(self.size, bool)
        for index, _, _, of_plate in self.priors:
            self.of_plate[index] |= of_plate

    def take(self, count):
        self.size += count
        return self.size - count

    def shifts(self, names, u, count):
        """Columns of the shifts with a stated u; a feature taken as exact has none."""
        columns = {}
        for name, i in names.items():
            if u[i] > 0:
                columns[i] = self.take(count)
                self.priors += [(columns[i] + k, 0.0, u[i], True) for k in range(count)]
        return columns


def start_pose(plate, machine, run, setup):
    """Mark and yaw of a setup from its sightings (least squares in the plane); what they leave open from the machine file."""
    s = run.sights
    here = [i for i in range(s.count) if s.setup[i] == setup]
    if not here:
        return machine.mark[0], machine.yaw[0]
    at = plate.mark_at[[plate.mark[s.target[i]] for i in here]] * s.scale[here][:, None]
    head = s.head[here]
    a, b = at - at.mean(axis=0), head - head.mean(axis=0)
    yaw = machine.yaw[0] if np.abs(a).max() == 0 else np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum())
    c, k = np.cos(yaw), np.sin(yaw)
    return head.mean(axis=0) - np.array([[c, -k], [k, c]]) @ at.mean(axis=0), yaw


def start_vector(plate, machine, run, columns):
    """Poses from the sightings, offsets and radii from the touches of each tip taken as a linear problem without runout."""
    x = np.zeros(columns.size)
    for setup in run.setups:
        mark, yaw = start_pose(plate, machine, run, setup)
        x[columns.pose[setup]:columns.pose[setup] + 3] = [*mark, yaw]
    for tip in run.tips:
        k = columns.tip[tip]
        here = [i for i in range(run.touches.count) if run.touches.tip[i] == tip]
        residual, jacobian = touch_rows(plate, run, columns, x)
        a, y = jacobian[here][:, [k, k + 1, k + 4]], -residual[here]
        x[[k, k + 1, k + 4]] += np.linalg.lstsq(a, y, rcond=None)[0]
    return x


YAW_REACH = 5.0  # standard uncertainties of the stated yaw; beyond, the setup was turned on purpose


def add_yaw_priors(machine, run, columns, start):
    """The stated yaw binds the setups that lie as stated; one that was turned on purpose (by 180 degrees, say) it does not."""
    if machine.yaw is None:
        return
    value, u = machine.yaw
    for setup in run.setups:
        index = columns.pose[setup] + 2
        if abs(np.remainder(start[index] - value + np.pi, 2 * np.pi) - np.pi) < YAW_REACH * u:
            columns.priors.append((index, value, u, False))


def turn(c, s, v):
    return np.stack([c * v[..., 0] - s * v[..., 1], s * v[..., 0] + c * v[..., 1]], axis=-1)


def touch_rows(plate, run, columns, x):
    """Residuals of the touches and their derivatives, in the precision of @x."""
    t = run.touches
    pose = np.array([columns.pose[s] for s in t.setup])
    tip = np.array([columns.tip[k] for k in t.tip])
    edge = [plate.edge[e] for e in t.target]
    row = np.arange(t.count)
    c, s = np.cos(x[pose + 2]), np.sin(x[pose + 2])
    plate_n = plate.n[edge].astype(x.dtype)
    n = turn(c, s, plate_n)
    across = np.stack([-n[:, 1], n[:, 0]], axis=1)
    ct, st = np.cos(t.rotation.astype(x.dtype)), np.sin(t.rotation.astype(x.dtype))
    at = t.head + np.stack([x[tip], x[tip + 1]], axis=1) - np.stack([x[pose], x[pose + 1]], axis=1)
    at = at + turn(ct, st, np.stack([x[tip + 2], x[tip + 3]], axis=1))
    residual = (n * at).sum(axis=1) - t.scale * plate.d[edge] - x[tip + 4]
    jacobian = np.zeros((t.count, columns.size), x.dtype)
    jacobian[row, pose], jacobian[row, pose + 1] = -n[:, 0], -n[:, 1]
    jacobian[row, pose + 2] = (across * at).sum(axis=1)
    jacobian[row, tip], jacobian[row, tip + 1] = n[:, 0], n[:, 1]
    jacobian[row, tip + 2] = n[:, 0] * ct + n[:, 1] * st
    jacobian[row, tip + 3] = n[:, 1] * ct - n[:, 0] * st
    jacobian[row, tip + 4] = -1
    for i in row:
        if edge[i] in columns.edge:
            jacobian[i, columns.edge[edge[i]]] = -1
            residual[i] -= x[columns.edge[edge[i]]]
        group = columns.group.get(plate.edge_group[edge[i]])
        if group is not None:
            jacobian[i, group:group + 2] = -plate_n[i]
            residual[i] -= plate_n[i] @ x[group:group + 2]
    return residual, jacobian


def sight_rows(plate, run, columns, x):
    """Residuals of the sightings (x and y in turn) and their derivatives."""
    v = run.sights
    residual = np.zeros(2 * v.count, x.dtype)
    jacobian = np.zeros((2 * v.count, columns.size), x.dtype)
    for i in range(v.count):
        pose, mark = columns.pose[v.setup[i]], plate.mark[v.target[i]]
        c, s = np.cos(x[pose + 2]), np.sin(x[pose + 2])
        at = (v.scale[i] * plate.mark_at[mark]).astype(x.dtype)
        rows = slice(2 * i, 2 * i + 2)
        for column in (columns.mark.get(mark), columns.group.get(plate.mark_group[mark])):
            if column is not None:
                at = at + x[column:column + 2]
                jacobian[rows, column:column + 2] = -np.array([[c, -s], [s, c]])
        place = turn(c, s, at)
        residual[rows] = v.head[i] - x[pose:pose + 2] - place
        jacobian[rows, pose:pose + 2] = -np.eye(2)
        jacobian[rows, pose + 2] = [place[1], -place[0]]
    return residual, jacobian


def touch_variance(plate, machine, run, columns, x):
    """u^2 + q^2/12 + (n . R(theta + 90 deg) e u_theta)^2 of each touch."""
    t = run.touches
    q = max(machine.resolution, t.quantum)
    variance = np.full(t.count, machine.u_touch ** 2 + q ** 2 / 12, x.dtype)
    _, jacobian = touch_rows(plate, run, columns, x)
    for i in range(t.count):
        k = columns.tip[t.tip[i]]
        # R(theta + 90 deg) e is R(theta) applied to (-e_y, e_x), and the jacobian holds n R(theta)
        across = jacobian[i, k + 3] * x[k + 2] - jacobian[i, k + 2] * x[k + 3]
        variance[i] += (across * machine.u_rotation) ** 2
    return variance


def sight_variance(machine, run):
    s = run.sights
    q = s.quantum
    if s.count and machine.resolution > 0 and s.on_grid(machine.resolution):
        q = max(q, machine.resolution)
    return machine.u_sighting ** 2 + q ** 2 / 12


class Problem:
    """The weighted rows of one run, touches first, then sightings, then priors."""

    def __init__(self, plate, machine, run):
        self.plate, self.machine, self.run = plate, machine, run
        run.touches.rotation = machine.turn * run.touches.rotation
        self.columns = Columns(plate, machine, run)
        self.start = start_vector(plate, machine, run, self.columns)
        add_yaw_priors(machine, run, self.columns, self.start)
        self.add_mark_priors()
        self.touch_weight = np.ones(run.touches.count)

    def add_mark_priors(self):
        for setup in self.run.setups:
            if setup not in self.run.sights.setup and self.machine.mark is not None:
                at, u = self.machine.mark
                self.columns.priors += [(self.columns.pose[setup] + k, at[k], u, False) for k in range(2)]

    def rows(self, x):
        touch, touch_j = touch_rows(self.plate, self.run, self.columns, x)
        sight, sight_j = sight_rows(self.plate, self.run, self.columns, x)
        index = np.array([p[0] for p in self.columns.priors], int)
        value, u = np.array([p[1] for p in self.columns.priors]), np.array([p[2] for p in self.columns.priors])
        prior_j = np.zeros((len(index), x.size), x.dtype)
        prior_j[np.arange(len(index)), index] = 1
        w = self.touch_weight.astype(x.dtype)
        v = 1 / np.sqrt(EXTENDED(sight_variance(self.machine, self.run))).astype(x.dtype)
        residual = np.concatenate([touch * w, sight * v, (x[index] - value) / u])
        return residual, np.concatenate([touch_j * w[:, None], sight_j * v, prior_j / u[:, None]])

    def reweight(self, x):
        self.touch_weight = 1 / np.sqrt(touch_variance(self.plate, self.machine, self.run, self.columns, x.astype(EXTENDED)))


def orthogonalise(matrix):
    """Q, R of a tall matrix by modified Gram-Schmidt done twice (which leaves Q orthogonal to working precision)."""
    q, r = matrix.copy(), np.eye(matrix.shape[1], dtype=matrix.dtype)
    for _ in range(2):
        step = np.zeros_like(r)
        for j in range(q.shape[1]):
            step[j, j] = np.sqrt((q[:, j] ** 2).sum())
            q[:, j] /= step[j, j]
            step[j, j + 1:] = q[:, j] @ q[:, j + 1:]
            q[:, j + 1:] -= np.outer(q[:, j], step[j, j + 1:])
        r = step @ r
    return q, r


def back_substitute(r, y):
    x = y.copy()
    for i in reversed(range(r.shape[0])):
        x[i] = (x[i] - r[i, i + 1:] @ x[i + 1:]) / r[i, i]
    return x


class Result:
    """Unknowns, covariance (full; same_plate = with the plate held; less_plate = of the same estimate, plate errors left out), and
    how far SciPy's minimum was from the final one."""

    def __init__(self, problem, x, covariance, same_plate, less_plate, apart_mm):
        self.columns, self.x, self.covariance, self.apart_mm = problem.columns, x, covariance, apart_mm
        self.same_plate, self.less_plate = same_plate, less_plate


def polish(problem, x):
    """Gauss-Newton in extended precision, weights and unknowns in turn, until a step is below 1e-15."""
    for _ in range(60):
        problem.reweight(x)
        residual, jacobian = problem.rows(x)
        scale = np.sqrt((jacobian ** 2).sum(axis=0))
        q, r = orthogonalise(jacobian / scale)
        step = back_substitute(r, -(q.T @ residual)) / scale
        x = x + step
        if np.abs(step).max() < 1e-15:
            break
    return x, r, scale


def held_covariance(problem, x):
    """The covariance with the plate's features held at their places: their columns left out (0 in their rows)."""
    _, jacobian = problem.rows(x)
    free = sorted(set(range(x.size)) - {index for index, _, _, of_plate in problem.columns.priors if of_plate})
    scale = np.sqrt((jacobian[:, free] ** 2).sum(axis=0))
    _, r = orthogonalise(jacobian[:, free] / scale)
    inverse = back_substitute(r, np.eye(len(free), dtype=EXTENDED)) / scale[:, None]
    covariance = np.zeros((x.size, x.size), EXTENDED)
    covariance[np.ix_(free, free)] = inverse @ inverse.T
    return covariance


def adjust(plate, machine, run):
    problem = Problem(plate, machine, run)
    x = problem.start
    for _ in range(4):
        problem.reweight(x)
        found = least_squares(lambda v: problem.rows(v)[0].astype(float), x, jac=lambda v: problem.rows(v)[1].astype(float),
                              method="lm", x_scale="jac", xtol=1e-15, ftol=1e-15, gtol=1e-15)
        x = found.x
    final, r, scale = polish(problem, x.astype(EXTENDED))
    inverse = back_substitute(r, np.eye(final.size, dtype=EXTENDED)) / scale[:, None]
    covariance = inverse @ inverse.T
    plate_information = np.zeros((final.size, final.size), EXTENDED)
    for index, _, u, of_plate in problem.columns.priors:
        if of_plate:
            plate_information[index, index] += EXTENDED(1) / EXTENDED(u) ** 2
    less_plate = covariance - covariance @ plate_information @ covariance
    return Result(problem, final, covariance, held_covariance(problem, final), less_plate, float(np.abs(final - x).max()))
