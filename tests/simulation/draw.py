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
SIGHTING_U_EXACT_MM = 0.0001
SIGHTINGS_OF_A_MARK = 2
LATE_MM = (0.020, 0.120)
FILM_MM = (0.020, 0.060)
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
    if s.paired:
        for shift in (truth.edge_shift, truth.group_shift, truth.mark_shift):
            shift[1::2] = shift[:-1:2]
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
    if s.film_depth:
        one_depth = np.full((runs, 1), s.film_depth)
    if s.lateness in ("burr", "film"):
        depth = one_depth + rng.normal(0, ONE_DEPTH_SCATTER_MM, (runs, touches))
    if s.lateness == "whole-edge":
        return np.where(on_picked, one_depth + rng.normal(0, WHOLE_EDGE_SCATTER_MM, (runs, touches)), 0.0)
    if s.lateness in ("anywhere", "film"):
        return np.where(chance < s.late, depth, 0.0)
    return np.where(on_picked & (chance < s.late * len(design.edges) / bad), depth, 0.0)


def draw_film(scenario, design, rng, runs):
    """How deep each touch on the edges named by the scenario latches too late (0: not at all)."""
    s, shape = scenario, (runs, len(design.edge))
    if s.filmed == "any":
        picked = rng.choice(design.edges, (runs, 1))
    else:
        picked = np.tile([int(number) for number in s.filmed.split("+")], (runs, 1))
    depth = rng.uniform(*LATE_MM, shape)
    if s.one_depth:
        depth = rng.uniform(*FILM_MM, (runs, 1)) + rng.normal(0, ONE_DEPTH_SCATTER_MM, shape)
    on_picked = (picked[:, :, None] == design.edge).any(1)
    return np.where(on_picked & (rng.random(shape) < s.filmed_share), depth, 0.0)


def any_direction(length, rng, runs):
    angle = rng.uniform(0, 2 * np.pi, runs)
    return length * np.stack([np.cos(angle), np.sin(angle)], -1)


def one_of(count, rng, runs):
    """Marks one of @count in each run: an array (runs, count)."""
    return np.arange(count) == rng.integers(0, count, (runs, 1))


def draw_row_faults(scenario, design, faults, rng, runs):
    """Rows of touches that are wrong in the log: another edge's name, a coordinate off."""
    s, touches, edges = scenario, len(design.edge), design.edges
    faults.label = np.tile(design.edge, (runs, 1))
    faults.digit = np.zeros((runs, touches, 2))
    run = np.arange(runs)
    if s.mislabelled:
        rows = np.argsort(rng.random((runs, touches)), 1)[:, :s.mislabelled]
        place = np.searchsorted(edges, design.edge)[rows]
        other = (place + rng.integers(1, len(edges), place.shape)) % len(edges)
        faults.label[run[:, None], rows] = edges[other]
    if s.digit:
        faults.digit[run, rng.integers(0, touches, runs), rng.integers(0, 2, runs)] = s.digit * rng.choice([-1, 1], runs)


def draw_sighting_faults(scenario, plate, design, faults, rng, runs):
    """Sightings that are off, and marks that are not those of the row."""
    s, marks, sightings = scenario, len(plate.mark_names), len(design.mark)
    faults.sighting = np.zeros((runs, sightings, 2))
    faults.seen = np.tile(design.mark, (runs, 1))
    if s.sighting_off:
        faults.sighting = one_of(sightings, rng, runs)[..., None] * any_direction(s.sighting_off, rng, runs)[:, None]
    if s.misidentified:
        shift = one_of(sightings, rng, runs) * rng.integers(1, marks, (runs, 1))
        faults.seen = (faults.seen + shift) % marks
    if s.swapped:
        pair = [marks - 1, marks - 2]
        faults.seen = np.where(faults.seen == pair[0], pair[1], np.where(faults.seen == pair[1], pair[0], faults.seen))


def draw_slip(scenario, design, when, rng, runs):
    """By how much (radians) the rotation is not the logged one, at each touch."""
    s, slip = scenario, np.zeros((runs, len(design.edge)))
    if s.slip:
        own = design.tip == rng.integers(0, s.tips, (runs, 1))
        middle = np.nanmedian(np.where(own, when, np.nan), 1, keepdims=True)
        slip = np.where(own & (when >= middle), np.radians(s.slip) * rng.choice([-1, 1], (runs, 1)), 0.0)
    return slip


def draw_faults(scenario, plate, design, truth, rng, runs):
    """Late and early touches, the order of touching, what the plate does meanwhile (motion of the mark at each touch), and what is
    wrong in the log. @good: touches that are as they should be."""
    s, touches = scenario, len(design.edge)
    faults = SimpleNamespace(lost_motion=s.lost_motion)
    faults.depth = draw_late(s, design, rng, runs) if s.late else np.zeros((runs, touches))
    early = rng.random((runs, touches)) < s.early
    faults.depth[early] = -rng.uniform(*LATE_MM, early.sum())
    faults.edge_shift = np.zeros_like(truth.edge_shift)
    if s.edge_off:
        off = design.edges[rng.integers(0, len(design.edges), runs)]
        faults.edge_shift[np.arange(runs), off] = s.edge_off * rng.choice([-1, 1], runs)
    faults.order = np.argsort(rng.random((runs, touches)), 1) if s.shuffled else np.tile(np.arange(touches), (runs, 1))
    when = np.argsort(faults.order, 1) / touches
    jump, creep = any_direction(s.moved, rng, runs), any_direction(s.drift, rng, runs)
    faults.motion = jump[:, None] * (when[..., None] >= 0.5) + creep[:, None] * when[..., None]
    faults.motion_at_end = jump + creep
    if s.filmed:
        faults.depth = np.where(faults.depth, faults.depth, draw_film(s, design, rng, runs))
    if s.mistyped:
        faults.edge_shift[:, design.edges[0]] = s.mistyped * rng.choice([-1, 1], runs)
    if s.radius_off:
        truth.radius += s.radius_off * RADIUS_U_MM * rng.choice([-1, 1], truth.radius.shape)
    faults.slip = draw_slip(s, design, when, rng, runs)
    draw_row_faults(s, design, faults, rng, runs)
    draw_sighting_faults(s, plate, design, faults, rng, runs)
    faults.good = (faults.depth == 0) & (faults.label == design.edge) & (faults.digit == 0).all(2)
    return faults


def repaired(faults):
    """The same without what concerns more than single touches: what the bound may see."""
    zero = np.zeros_like
    return SimpleNamespace(lost_motion=0.0, depth=faults.depth, edge_shift=zero(faults.edge_shift), slip=zero(faults.slip),
                           motion=zero(faults.motion), motion_at_end=zero(faults.motion_at_end), digit=faults.digit,
                           sighting=zero(faults.sighting), seen=None, good=faults.good)


def draw_noise(scenario, design, rng, runs):
    shape = (runs, len(design.edge))
    return SimpleNamespace(touch=rng.normal(0, scenario.scatter, shape), rotation=rng.normal(0, ROTATION_U_RAD, shape),
                           sighting=rng.normal(0, sighting_u_mm(scenario), (runs, len(design.mark), 2)))


def observe_touches(scenario, plate, design, truth, faults, noise):
    """The head positions at which the touches latch."""
    s, d = scenario, design
    scale = plate.scale(s.temperature)
    n = np.einsum("rtij,tj->rti", turn(truth.yaw)[:, d.setup], plate.n[d.edge])
    rotation = d.rotation + noise.rotation + faults.slip
    seen_from_tip = np.arctan2(-n[..., 1], -n[..., 0]) - rotation
    rho = truth.radius[:, d.tip] + s.oval * np.cos(2 * seen_from_tip - truth.crest[:, d.tip]) + faults.lost_motion * n[..., 0] ** 2
    shift = truth.edge_shift + faults.edge_shift
    distance = scale * plate.d[d.edge] + shift[:, d.edge] + rho + noise.touch - faults.depth
    if len(plate.group_u):
        distance = distance + (truth.group_shift[:, plate.edge_group[d.edge]] * plate.n[d.edge]).sum(-1)
    tip_centre = truth.mark[:, d.setup] + faults.motion + distance[..., None] * n + (scale * d.along)[..., None] * across(n)
    runout = np.einsum("rtij,rtj->rti", turn(rotation), truth.runout[:, d.tip])
    head = tip_centre - truth.offset[:, d.tip] - runout
    return np.round(head / RESOLUTION_MM) * RESOLUTION_MM + faults.digit


def observe_sightings(scenario, plate, design, truth, faults, noise):
    """The head positions with a mark in the middle of the picture."""
    places = plate.scale(scenario.temperature) * plate.mark_at + truth.mark_shift
    at = places[:, design.mark]
    if faults.seen is not None:
        at = np.take_along_axis(places, faults.seen[..., None], 1)
    head = truth.mark[:, design.setup_seen] + np.einsum("rsij,rsj->rsi", turn(truth.yaw)[:, design.setup_seen], at)
    head = head + faults.motion_at_end[:, None] * design.at_end[:, None] + faults.sighting
    return np.round(head + noise.sighting, sighting_decimals(scenario))


def sighting_u_mm(scenario):
    return SIGHTING_U_EXACT_MM if scenario.exact else scenario.sighting


def sighting_decimals(scenario):
    return 5 if scenario.exact else 4


def draw(scenario, rng, runs):
    """@runs runs: scenario, plate, design, truth, faults, and the head positions of touches and sightings; the latter also as
    they would be without the faults that concern more than single touches (good_...)."""
    plate = Plate(scenario.plate, scenario.exact)
    design = layout(scenario, plate)
    truth = draw_truth(scenario, plate, rng, runs)
    faults = draw_faults(scenario, plate, design, truth, rng, runs)
    noise = draw_noise(scenario, design, rng, runs)
    known = (scenario, plate, design, truth)
    mended = repaired(faults)
    return SimpleNamespace(
        scenario=scenario, plate=plate, design=design, truth=truth, faults=faults, count=runs,
        touches=observe_touches(*known, faults, noise), sightings=observe_sightings(*known, faults, noise),
        good_touches=observe_touches(*known, mended, noise), good_sightings=observe_sightings(*known, mended, noise))
