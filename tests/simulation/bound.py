# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The bound: least squares of the good touches alone, with the noise known. No estimator that has to find the good touches and
their scatter by itself does better on average. All runs of a block at once, in numpy.

    touch     n . (h + o + R(theta) e - m) - s d - shift - n_plate . g - r = 0     n = R(yaw) n_plate
    sighting  h - m - R(yaw) (s u + mark shift) = 0
Unknowns: m, yaw of each setup; o, e, r of each tip; shifts of edges, groups and marks whose u is not 0. Each shift, yaw and radius
has its stated value and u as prior. Gauss-Newton from the truth: linear but for the yaw, so three steps are more than enough.
"""
import numpy as np

import draw
from plates import across, turn

STEPS = 3
OPEN_U_MM = 10000.0  # a prior that says nothing, so that an offset which the edges leave open can be solved for


class Unknowns:
    """The column of each unknown, and the priors: values and weights (1/u squared; 0: none)."""

    def __init__(self, scenario, plate):
        self.size = 0
        self.weight, self.value, self.of_plate = [], [], []
        yaw, tips = np.pi * np.arange(scenario.setups), np.arange(scenario.tips)
        self.pose = np.array([self.take([0, 0, a], [0, 0, draw.YAW_U_RAD]) for a in yaw])
        self.tip = np.array([self.take([*draw.nominal_offset(t), 0, 0, draw.nominal_radius(t)],
                                       [OPEN_U_MM, OPEN_U_MM, 0, 0, 0 if scenario.bare else draw.RADIUS_U_MM]) for t in tips])
        self.edge = self.take_shifts(plate.edge_u[:, None])
        self.group = self.take_shifts(np.repeat(plate.group_u[:, None], 2, 1))
        self.mark = self.take_shifts(np.repeat(plate.mark_u[:, None], 2, 1))
        self.weight, self.value, self.of_plate = np.array(self.weight), np.array(self.value, float), np.array(self.of_plate)

    def take(self, values, u, of_plate=False):
        self.weight += [x ** -2 if x else 0.0 for x in u]
        self.value += values
        self.of_plate += [of_plate] * len(u)
        self.size += len(u)
        return list(range(self.size - len(u), self.size))

    def take_shifts(self, u):
        """Columns (features, 1 or 2) of the shifts; -1 for a feature taken as exact."""
        columns = np.full(u.shape, -1)
        for i, row in enumerate(u):
            if row.all():
                columns[i] = self.take([0.0] * len(row), row, of_plate=True)
        return columns


def at(x, columns):
    """The values of @columns, 0 where there is no column."""
    return np.where(columns >= 0, x[:, columns], 0.0)


def touch_rows(block, unknowns, x):
    """Residuals (runs, touches) and their derivatives (runs, touches, unknowns) at @x."""
    d, plate, k = block.design, block.plate, unknowns
    scale = plate.scale(block.scenario.temperature)
    plate_n = plate.n[d.edge]
    n = np.einsum("rtij,tj->rti", turn(x[:, k.pose[d.setup, 2]]), plate_n)
    turned = turn(d.rotation)
    v = (block.good_touches + x[:, k.tip[d.tip, :2]] - x[:, k.pose[d.setup, :2]]
         + np.einsum("tij,rtj->rti", turned, x[:, k.tip[d.tip, 2:4]]))
    edge, group = k.edge[d.edge, 0], np.full((len(d.edge), 2), -1)
    if len(plate.group_u):
        group = k.group[plate.edge_group[d.edge]]
    residual = (n * v).sum(-1) - scale * plate.d[d.edge] - x[:, k.tip[d.tip, 4]] - at(x, edge) - (at(x, group) * plate_n).sum(-1)

    row = np.arange(len(d.edge))
    derivative = np.zeros((block.count, len(row), k.size))
    for c in (0, 1):
        derivative[:, row, k.pose[d.setup, c]] = -n[..., c]
        derivative[:, row, k.tip[d.tip, c]] = n[..., c]
        derivative[:, row, k.tip[d.tip, 2 + c]] = (n * turned[..., c]).sum(-1)
        known = group[:, c] >= 0
        derivative[:, row[known], group[known, c]] = -plate_n[known, c]
    derivative[:, row, k.pose[d.setup, 2]] = (across(n) * v).sum(-1)
    derivative[:, row, k.tip[d.tip, 4]] = -1
    derivative[:, row[edge >= 0], edge[edge >= 0]] = -1
    return residual, derivative


def sighting_rows(block, unknowns, x):
    """Residuals (runs, 2 x sightings) and their derivatives at @x."""
    d, plate, k = block.design, block.plate, unknowns
    mark = k.mark[d.mark]
    turned = turn(x[:, k.pose[d.setup_seen, 2]])
    place = np.einsum("rsij,rsj->rsi", turned, plate.scale(block.scenario.temperature) * plate.mark_at[d.mark] + at(x, mark))
    residual = block.good_sightings - x[:, k.pose[d.setup_seen, :2]] - place
    row = np.arange(len(d.mark))
    derivative = np.zeros((block.count, len(row), 2, k.size))
    for i in (0, 1):
        derivative[:, row, i, k.pose[d.setup_seen, i]] = -1
        derivative[:, row, i, k.pose[d.setup_seen, 2]] = -across(place)[..., i]
        for c in (0, 1):
            known = mark[:, c] >= 0
            derivative[:, row[known], i, mark[known, c]] = -turned[:, known, i, c]
    return residual.reshape(block.count, -1), derivative.reshape(block.count, 2 * len(row), -1)


def touch_variance_mm2(block):
    """Scatter, rounding (JCGM 100, F.2.2.1), and what the rotation's uncertainty makes of the runout across the edge."""
    d, truth = block.design, block.truth
    n = np.einsum("rtij,tj->rti", turn(truth.yaw)[:, d.setup], block.plate.n[d.edge])
    swing = across(np.einsum("tij,rtj->rti", turn(d.rotation), truth.runout[:, d.tip]))
    return block.scenario.scatter ** 2 + draw.RESOLUTION_MM ** 2 / 12 + ((n * swing).sum(-1) * draw.ROTATION_U_RAD) ** 2


def true_vector(block, unknowns):
    x = np.zeros((block.count, unknowns.size))
    x[:, unknowns.pose[:, :2]], x[:, unknowns.pose[:, 2]] = block.truth.mark, block.truth.yaw
    x[:, unknowns.tip[:, :2]], x[:, unknowns.tip[:, 2:4]] = block.truth.offset, block.truth.runout
    x[:, unknowns.tip[:, 4]] = block.truth.radius
    return x


def solve(block):
    """Offsets (runs, tips, 2), their covariances (runs, tips, 2, 2) in full and on the same plate."""
    k = Unknowns(block.scenario, block.plate)
    x = true_vector(block, k)
    touch_weight = block.faults.good / touch_variance_mm2(block)
    sighting_weight = 1 / (draw.sighting_u_mm(block.scenario) ** 2 + 10.0 ** (-2 * draw.sighting_decimals(block.scenario)) / 12)
    diagonal = np.arange(k.size)
    for step in range(STEPS + 1):
        touch, touch_derivative = touch_rows(block, k, x)
        sighting, sighting_derivative = sighting_rows(block, k, x)
        residual = np.concatenate([touch, sighting], 1)
        derivative = np.concatenate([touch_derivative, sighting_derivative], 1)
        weight = np.concatenate([touch_weight, np.full_like(sighting, sighting_weight)], 1)
        by_weight = (derivative * weight[..., None]).transpose(0, 2, 1)
        data = by_weight @ derivative
        normal = data.copy()
        normal[:, diagonal, diagonal] += k.weight
        size = np.sqrt(normal[:, diagonal, diagonal])  # priors of micrometres beside metres: scale before solving
        inverse = np.linalg.inv(normal / size[:, :, None] / size[:, None, :]) / size[:, :, None] / size[:, None, :]
        if step < STEPS:
            gradient = (by_weight @ residual[..., None])[..., 0] + k.weight * (x - k.value)
            x = x - (inverse @ gradient[..., None])[..., 0]
    data[:, diagonal, diagonal] += np.where(k.of_plate, 0.0, k.weight)
    same_plate = inverse @ data @ inverse
    tips = k.tip[:, :2]
    pick = (slice(None), tips[:, :, None], tips[:, None, :])
    return x[:, tips], inverse[pick], same_plate[pick]
