# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""A block of simulated runs of one scenario: the truth drawn from what plate and machine file state, faults, observations.

Everything is an array over the runs (first index) and the touches or sightings. Touch equation, frames and signs are those of
docs/formats.md, written here a second time on purpose: nothing is shared with the program.
"""
from types import SimpleNamespace

import numpy as np

from plates import Plate, across, turn

OFFSET_MM = np.array([-41.3, 12.7])
PITCH_MM = 17.0        # from tip to tip
RADIUS_MM, RADIUS_STEP_MM, RADIUS_U_MM = 0.31, 0.02, 0.02
YAW_U_RAD = np.radians(1.0)
ROTATION_U_RAD = np.radians(0.1)
RESOLUTION_MM = 0.0025
SIGHTING_U_MM, SIGHTING_U_EXACT_MM = 0.003, 0.0001
SIGHTINGS_OF_A_MARK = 2
LATE_MM = (0.020, 0.120)
ONE_DEPTH_SCATTER_MM, WHOLE_EDGE_SCATTER_MM = 0.001, 0.004  # of late touches that are equally deep
EDGES_TOUCHED = {"all": slice(None), "one-sided": [0, 2], "one-direction": [0, 1]}


def nominal_offset(tip):
    """The offset in use, about which the true one is drawn."""
    return OFFSET_MM + PITCH_MM * np.multiply.outer(tip, [1.0, 0.0])


def nominal_radius(tip):
    return RADIUS_MM + RADIUS_STEP_MM * tip


def layout(scenario, plate):
    """Which touches and sightings a run has: indices of edge, tip, setup, rotation, place along the edge; of mark and setup."""
    edges = np.arange(len(plate.edge_names))[EDGES_TOUCHED[scenario.faces]]
    turns = 2 * np.pi * np.arange(scenario.rotations) / scenario.rotations
    setup, tip, edge, turn_index = (a.ravel() for a in np.meshgrid(
        np.arange(scenario.setups), np.arange(scenario.tips), edges, np.arange(scenario.rotations), indexing="ij"))
    setup_seen, mark, _ = (a.ravel() for a in np.meshgrid(
        np.arange(scenario.setups), np.arange(len(plate.mark_names)), np.arange(SIGHTINGS_OF_A_MARK), indexing="ij"))
    at_end = np.zeros(len(mark), bool)
    if scenario.resight:
        at_end = np.repeat([False, True], len(mark))
        mark, setup_seen = np.tile(mark, 2), np.tile(setup_seen, 2)
    along = plate.middle_along[edge] + (turn_index % 3 - 1) * 0.3 * plate.length[edge]
    return SimpleNamespace(edges=edges, edge=edge, tip=tip, setup=setup, rotation=turns[turn_index], along=along,
                           mark=mark, setup_seen=setup_seen, at_end=at_end)


def touches_of(scenario):
    """The number of touches of a run."""
    return len(layout(scenario, Plate(scenario.plate, scenario.exact)).edge)


def draw_truth(scenario, plate, rng, runs):
    """The values that a run is to find, or to bear: poses, tips, and the plate's own errors."""
    s, tips = scenario, np.arange(scenario.tips)
    apart = np.arange(s.setups)
    truth = SimpleNamespace()
    truth.mark = rng.uniform([110, 60], [130, 95], (runs, 1, 2)) + apart[:, None] * np.array([30.0, 20.0])
    truth.yaw = rng.normal(0, YAW_U_RAD, (runs, s.setups)) + apart * np.pi
    truth.offset = nominal_offset(tips) + rng.uniform(-0.03, 0.03, (runs, s.tips, 2))
    direction = rng.uniform(0, 2 * np.pi, (runs, s.tips))
    truth.runout = rng.uniform(0.005, 0.06, (runs, s.tips, 1)) * np.stack([np.cos(direction), np.sin(direction)], -1)
    truth.radius = nominal_radius(tips) + rng.normal(0, RADIUS_U_MM, (runs, s.tips))
    truth.crest = rng.uniform(0, 2 * np.pi, (runs, s.tips))
    held = 0.0 if s.held else 1.0
    truth.edge_shift = held * rng.normal(size=(runs, len(plate.edge_u))) * plate.edge_u
    truth.group_shift = held * rng.normal(size=(runs, len(plate.group_u), 2)) * plate.group_u[:, None]
    truth.mark_shift = held * rng.normal(size=(runs, len(plate.mark_u), 2)) * plate.mark_u[:, None]
    return truth


def draw_late(scenario, design, rng, runs):
    """How deep each touch latches too late (0: not at all)."""
    s, touches = scenario, len(design.edge)
    depth = rng.uniform(*LATE_MM, (runs, touches))
    one_depth = rng.uniform(*LATE_MM, (runs, 1))
    chance = rng.random((runs, touches))
    bad = 2 if s.lateness == "two-edges" else 1
    picked = design.edges[np.argsort(rng.random((runs, len(design.edges))), 1)[:, :bad]]
    on_picked = (picked[:, :, None] == design.edge).any(1)
    if s.lateness in ("burr", "film"):
        depth = one_depth + rng.normal(0, ONE_DEPTH_SCATTER_MM, (runs, touches))
    if s.lateness == "whole-edge":
        return np.where(on_picked, one_depth + rng.normal(0, WHOLE_EDGE_SCATTER_MM, (runs, touches)), 0.0)
    if s.lateness in ("anywhere", "film"):
        return np.where(chance < s.late, depth, 0.0)
    return np.where(on_picked & (chance < s.late * len(design.edges) / bad), depth, 0.0)


def any_direction(length, rng, runs):
    angle = rng.uniform(0, 2 * np.pi, runs)
    return length * np.stack([np.cos(angle), np.sin(angle)], -1)


def draw_faults(scenario, design, truth, rng, runs):
    """Late and early touches, the order of touching, and what the plate does meanwhile (motion of the mark at each touch)."""
    s, touches = scenario, len(design.edge)
    faults = SimpleNamespace()
    faults.depth = draw_late(s, design, rng, runs) if s.late else np.zeros((runs, touches))
    early = rng.random((runs, touches)) < s.early
    faults.depth[early] = -rng.uniform(*LATE_MM, early.sum())
    if s.edge_off:
        off = design.edges[rng.integers(0, len(design.edges), runs)]
        truth.edge_shift[np.arange(runs), off] += s.edge_off * rng.choice([-1, 1], runs)
    faults.order = np.argsort(rng.random((runs, touches)), 1) if s.shuffled else np.tile(np.arange(touches), (runs, 1))
    when = np.argsort(faults.order, 1)[..., None] / touches
    jump, creep = any_direction(s.moved, rng, runs), any_direction(s.drift, rng, runs)
    faults.motion = jump[:, None] * (when >= 0.5) + creep[:, None] * when
    faults.motion_at_end = jump + creep
    return faults


def observe_touches(scenario, plate, design, truth, faults, rng):
    """The head positions at which the touches latch."""
    s, d = scenario, design
    scale = plate.scale(s.temperature)
    n = np.einsum("rtij,tj->rti", turn(truth.yaw)[:, d.setup], plate.n[d.edge])
    noise = rng.normal(0, s.scatter, n.shape[:2])
    rotation = d.rotation + rng.normal(0, ROTATION_U_RAD, n.shape[:2])
    seen_from_tip = np.arctan2(-n[..., 1], -n[..., 0]) - rotation
    rho = truth.radius[:, d.tip] + s.oval * np.cos(2 * seen_from_tip - truth.crest[:, d.tip]) + s.lost_motion * n[..., 0] ** 2
    distance = scale * plate.d[d.edge] + truth.edge_shift[:, d.edge] + rho + noise - faults.depth
    if len(plate.group_u):
        distance = distance + (truth.group_shift[:, plate.edge_group[d.edge]] * plate.n[d.edge]).sum(-1)
    tip_centre = truth.mark[:, d.setup] + faults.motion + distance[..., None] * n + (scale * d.along)[..., None] * across(n)
    runout = np.einsum("rtij,rtj->rti", turn(rotation), truth.runout[:, d.tip])
    head = tip_centre - truth.offset[:, d.tip] - runout
    return np.round(head / RESOLUTION_MM) * RESOLUTION_MM


def observe_sightings(scenario, plate, design, truth, faults, rng):
    """The head positions with a mark in the middle of the picture."""
    at = plate.scale(scenario.temperature) * plate.mark_at[design.mark] + truth.mark_shift[:, design.mark]
    head = truth.mark[:, design.setup_seen] + np.einsum("rsij,rsj->rsi", turn(truth.yaw)[:, design.setup_seen], at)
    head = head + faults.motion_at_end[:, None] * design.at_end[:, None]
    return np.round(head + rng.normal(0, sighting_u_mm(scenario), head.shape), sighting_decimals(scenario))


def sighting_u_mm(scenario):
    return SIGHTING_U_EXACT_MM if scenario.exact else SIGHTING_U_MM


def sighting_decimals(scenario):
    return 5 if scenario.exact else 4


def draw(scenario, rng, runs):
    """@runs runs: scenario, plate, design, truth, faults, and the head positions of touches and sightings."""
    plate = Plate(scenario.plate, scenario.exact)
    design = layout(scenario, plate)
    truth = draw_truth(scenario, plate, rng, runs)
    faults = draw_faults(scenario, design, truth, rng, runs)
    touches = observe_touches(scenario, plate, design, truth, faults, rng)
    sightings = observe_sightings(scenario, plate, design, truth, faults, rng)
    return SimpleNamespace(scenario=scenario, plate=plate, design=design, truth=truth, faults=faults, count=runs,
                           touches=touches, sightings=sightings)
