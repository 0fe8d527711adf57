/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See sketch.h. With the touch equation of touch.h, the head's place along n at contact is
 *   n_beta . (h + o - m) - d - shift - n . g - r - ... = residual + swing,  swing(theta) = -n_beta
 * . R(theta) e + sum_k (a_k cos
 * ...), so that a picture of the contacts needs the solution and the edge's normal, but not the
 * log. Terms that are the same for all touches of an edge (lost motion) or that depend on the feed
 * (latency) are left out of both sides.
 */
#include "config.h"

#include "geometry/sketch.h"

#include <math.h>
#include <string.h>

#include "base/named.h"
#include "geometry/touch.h"

#define STEPS (TT_SKETCH_STEPS + 1)
/* Marks nearer to each other tell no yaw. */
#define SAME_MARK_MM 0.1

struct draft {
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    const struct tiptrue_run *run;
    const struct tiptrue_solution *solution;
    struct tt_sketch *sketch;
    size_t *track_of; /* by tip, edge, setup: its track, TT_NONE = none */
};

/* ---- names to indices ---- */

static bool is_named(const char *name, const char *other)
{
    return name == other || (name != NULL && other != NULL && strcmp(name, other) == 0);
}

static size_t find_on_plate(const struct tiptrue_plate *plate, const char *name)
{
    size_t n = plate != NULL ? plate->n_edges : 0, j = TT_NAMED(plate->edges, n, name);

    return j < n ? j : TT_NONE;
}

/* The pose of a row; a solution with one pose has no other. */
static size_t find_pose(const struct tiptrue_solution *s, const struct tt_row_result *row)
{
    for (size_t i = 0; i < s->n_poses; i++) {
        if (s->n_poses == 1 || is_named(s->poses[i].setup, row->setup)) {
            return i;
        }
    }
    return TT_NONE;
}

/* ---- rows into tracks ---- */

static size_t cell_of(const struct draft *draft, size_t edge, size_t tip, size_t pose)
{
    const struct tiptrue_solution *s = draft->solution;

    return (tip * s->n_edges + edge) * s->n_poses + pose;
}

/* Touches with a residual, and those without contact: what a picture of an edge shows. */
static bool is_drawn(const struct tt_row_result *row)
{
    return row->kind == TT_TOUCH && (row->use == TT_USE || row->use == TT_USE_NO_CONTACT);
}

/* Count the rows of each cell, number the cells that have any, then hand the rows out. False: out
 * of memory. */
static bool sort_rows(struct draft *draft)
{
    const struct tiptrue_solution *s = draft->solution;
    struct tt_sketch *sketch = draft->sketch;
    size_t n_cells = s->n_tips * s->n_edges * s->n_poses, n_drawn = 0, next = 0;
    size_t *cell = TT_ARENA_NEW(&sketch->arena, s->n_rows, size_t),
           *count = TT_ARENA_NEW(&sketch->arena, n_cells, size_t);

    if (cell == NULL || count == NULL) {
        return false;
    }
    for (size_t i = 0; i < s->n_rows; i++) {
        const struct tt_row_result *row = &s->rows[i];
        cell[i] = TT_NONE;
        if (is_drawn(row)) {
            size_t edge = TT_NAMED(s->edges, s->n_edges, row->target),
                   tip = TT_NAMED(s->tips, s->n_tips, row->tip), pose = find_pose(s, row);
            if (edge < s->n_edges && tip < s->n_tips && pose != TT_NONE) {
                cell[i] = cell_of(draft, edge, tip, pose);
                count[cell[i]]++;
                n_drawn++;
            }
        }
    }
    for (size_t c = 0; c < n_cells; c++) {
        sketch->n_tracks += count[c] > 0;
    }
    size_t *rows = TT_ARENA_NEW(&sketch->arena, n_drawn, size_t);
    sketch->tracks = TT_ARENA_NEW(&sketch->arena, sketch->n_tracks, struct tt_sketch_track);
    if (rows == NULL || sketch->tracks == NULL) {
        return false;
    }
    for (size_t c = 0; c < n_cells; c++) {
        draft->track_of[c] = TT_NONE;
        if (count[c] > 0) {
            draft->track_of[c] = next;
            sketch->tracks[next++] = (struct tt_sketch_track){.tip = c / s->n_poses / s->n_edges,
                                                              .edge = c / s->n_poses % s->n_edges,
                                                              .setup = c % s->n_poses,
                                                              .rows = rows};
            rows += count[c];
        }
    }
    for (size_t i = 0; i < s->n_rows; i++) {
        sketch->spots[i].track = TT_NONE;
        if (cell[i] != TT_NONE) {
            struct tt_sketch_track *track = &sketch->tracks[draft->track_of[cell[i]]];
            sketch->spots[i].track = draft->track_of[cell[i]];
            ((size_t *)track->rows)[track->n_rows++] = i;
        }
    }
    return true;
}

/* ---- curves ---- */

static double shape_at(const struct tt_tip_result *tip, double psi_rad)
{
    double sum_mm = 0;

    for (size_t k = 0; k < tip->n_shape; k++) {
        sum_mm += tip->shape[k].amplitude_mm *
                  cos((double)tip->shape[k].order * (psi_rad - tip->shape[k].angle_rad));
    }
    return sum_mm;
}

/* n_beta of @track, in the machine frame. */
static struct tt_machine_xy normal_of(const struct draft *draft,
                                      const struct tt_sketch_track *track)
{
    const struct tt_edge *edge = &draft->plate->edges[draft->sketch->edge_of[track->edge]];
    struct tt_pose pose =
        tt_pose_make((struct tt_machine_xy){0, 0}, draft->solution->poses[track->setup].yaw_rad);

    return tt_pose_turn(&pose, (struct tt_plate_xy){edge->n_x, edge->n_y});
}

/* psi of the contact and the swing at the logged @rotation_rad, counted clockwise or not. */
static double swing(const struct tt_tip_result *tip, struct tt_machine_xy n, double rotation_rad,
                    bool clockwise, double *psi_rad)
{
    double theta = clockwise ? -rotation_rad : rotation_rad;
    struct tt_machine_xy e = {0, 0};

    if (tip->runout_determined) {
        e = tt_tip_turn(cos(theta), sin(theta), tip->runout);
    }
    *psi_rad = tt_angle_wrap(atan2(-n.y_mm, -n.x_mm) - theta);
    return -(n.x_mm * e.x_mm + n.y_mm * e.y_mm) + shape_at(tip, *psi_rad);
}

static void draw_track(struct draft *draft, struct tt_sketch_track *track, bool stated_clockwise)
{
    const struct tiptrue_solution *s = draft->solution;
    const struct tt_tip_result *tip = &s->tips[track->tip];
    struct tt_sketch *sketch = draft->sketch;
    double psi_rad;

    if (!sketch->has_sense || sketch->edge_of[track->edge] == TT_NONE ||
        !s->poses[track->setup].yaw_determined) {
        return;
    }
    struct tt_machine_xy n = normal_of(draft, track);
    track->has_curve = tip->runout_determined;
    track->sense_contradicted = track->has_curve && sketch->clockwise != stated_clockwise;
    for (size_t i = 0; i < STEPS; i++) {
        double rotation_rad = 2 * TT_PI * (double)i / TT_SKETCH_STEPS;
        track->curve_mm[i] = swing(tip, n, rotation_rad, sketch->clockwise, &psi_rad);
        track->stated_mm[i] = swing(tip, n, rotation_rad, stated_clockwise, &psi_rad);
    }
    for (size_t i = 0; i < track->n_rows; i++) {
        struct tt_spot *spot = &sketch->spots[track->rows[i]];
        spot->has_swing = track->has_curve;
        spot->swing_mm = swing(tip, n, s->rows[track->rows[i]].rotation_rad, sketch->clockwise,
                               &spot->direction_rad);
    }
}

static bool draw_shapes(struct draft *draft)
{
    const struct tiptrue_solution *s = draft->solution;
    double *shape = TT_ARENA_NEW(&draft->sketch->arena, s->n_tips * STEPS, double);

    if (shape == NULL) {
        return false;
    }
    draft->sketch->shape_mm = shape;
    for (size_t i = 0; i < s->n_tips * STEPS; i++) {
        shape[i] = shape_at(&s->tips[i / STEPS], 2 * TT_PI * (double)(i % STEPS) / TT_SKETCH_STEPS);
    }
    return true;
}

/* ---- places ---- */

/* The offset, with the one in use where the run does not determine it. */
static bool offset_of(const struct tt_tip_result *tip, struct tt_machine_xy *offset)
{
    if (!tip->has_present && (!tip->offset_determined_x || !tip->offset_determined_y)) {
        return false;
    }
    offset->x_mm = tip->offset_determined_x ? tip->offset.x_mm : tip->present.x_mm;
    offset->y_mm = tip->offset_determined_y ? tip->offset.y_mm : tip->present.y_mm;
    return true;
}

/* The tip's centre in the plate frame, then its foot on the edge. */
static void place_spot(const struct draft *draft, const struct tt_sketch_track *track, size_t row)
{
    const struct tt_tip_result *tip = &draft->solution->tips[track->tip];
    const struct tt_pose_result *pose = &draft->solution->poses[track->setup];
    const struct tt_edge *edge = &draft->plate->edges[draft->sketch->edge_of[track->edge]];
    struct tt_machine_xy offset, h = draft->run->observations[row].h;
    struct tt_spot *spot = &draft->sketch->spots[row];

    if (!offset_of(tip, &offset)) {
        return;
    }
    struct tt_pose here = tt_pose_make(pose->mark, pose->yaw_rad);
    struct tt_plate_xy c =
        tt_pose_back(&here, (struct tt_machine_xy){h.x_mm + offset.x_mm, h.y_mm + offset.y_mm});
    double off_mm = edge->n_x * c.x_mm + edge->n_y * c.y_mm - edge->d_mm;
    spot->has_place = true;
    spot->at = (struct tt_plate_xy){c.x_mm - off_mm * edge->n_x, c.y_mm - off_mm * edge->n_y};
}

/* Whether @run is the one that the rows of the solution are of. */
static bool same_rows(const struct draft *draft)
{
    const struct tiptrue_solution *s = draft->solution;

    if (draft->run == NULL || draft->run->n_observations != s->n_rows) {
        return false;
    }
    for (size_t i = 0; i < s->n_rows; i++) {
        if (draft->run->observations[i].line != s->rows[i].line) {
            return false;
        }
    }
    return true;
}

static void place_spots(struct draft *draft)
{
    const struct tiptrue_solution *s = draft->solution;

    for (size_t t = 0; t < draft->sketch->n_tracks; t++) {
        const struct tt_sketch_track *track = &draft->sketch->tracks[t];
        const struct tt_pose_result *pose = &s->poses[track->setup];
        if (draft->sketch->edge_of[track->edge] == TT_NONE || !pose->mark_determined ||
            !pose->yaw_determined) {
            continue;
        }
        for (size_t i = 0; i < track->n_rows; i++) {
            place_spot(draft, track, track->rows[i]);
        }
    }
}

/* ---- the whole ---- */

static bool sense_found_wrong(const struct tiptrue_solution *s)
{
    for (size_t i = 0; i < s->n_findings; i++) {
        if (s->findings[i].code == TT_FINDING_ROTATION_SENSE) {
            return true;
        }
    }
    return false;
}

/* a, b, c, d of the picture's matrix: A e_x = scale_x at the turn, and A e_y = scale_y at the turn,
 * a quarter and the shear. */
static void picture_of(const struct tt_camera_result *camera, double a[4])
{
    double right = camera->turn_rad,
           up = right + camera->shear_rad + (camera->mirrored ? -TT_PI / 2 : TT_PI / 2);

    a[0] = camera->scale_x_mm * cos(right);
    a[1] = camera->scale_y_mm * cos(up);
    a[2] = camera->scale_x_mm * sin(right);
    a[3] = camera->scale_y_mm * sin(up);
}

/* Residuals of views as the picture shows them: v = A^-1 r, to the right and up. */
static void place_pixels(struct draft *draft)
{
    const struct tiptrue_solution *s = draft->solution;
    double a[4];

    picture_of(&s->camera, a);
    double det = a[0] * a[3] - a[1] * a[2];
    for (size_t i = 0; s->camera.determined && det != 0 && i < s->n_rows; i++) {
        const struct tt_row_result *row = &s->rows[i];
        struct tt_spot *spot = &draft->sketch->spots[i];
        if (row->kind == TT_VIEW) {
            spot->has_pixel = true;
            spot->px = draft->run->observations[i].px;
            spot->py = draft->run->observations[i].py;
            spot->off_right_px = (a[3] * row->residual_mm - a[1] * row->residual_y_mm) / det;
            spot->off_down_px = -(a[0] * row->residual_y_mm - a[2] * row->residual_mm) / det;
        }
    }
}

/* ---- marks ---- */

/* Sightings and views of one setup. */
struct seen {
    size_t *mark, n;
    struct tt_plate_xy *plate;
    struct tt_machine_xy *place;
    double *scale;
};

/* Where the row @i has its mark: true, with the errors of the axes that were found, or as the
 * machine reports places (@plain). */
static struct tt_machine_xy seen_at(const struct draft *draft, size_t i, bool plain)
{
    const struct tt_observation *o = &draft->run->observations[i];
    const struct tt_axes_result *axes = &draft->solution->axes;
    const struct tt_camera_result *camera = &draft->solution->camera;
    struct tt_machine_xy v = {0, 0}, h = o->h;

    if (o->kind == TT_VIEW) {
        const struct tt_camera *stated = &draft->machine->camera;
        double a[4], x = o->px - stated->centre_px[0], y = stated->centre_px[1] - o->py,
                     rho2 = 0.25 * (stated->size_px[0] * stated->size_px[0] +
                                    stated->size_px[1] * stated->size_px[1]);
        double bend = 1 + (camera->has_distortion ? camera->kappa * (x * x + y * y) / rho2 : 0);
        picture_of(camera, a);
        v = (struct tt_machine_xy){bend * (a[0] * x + a[1] * y), bend * (a[2] * x + a[3] * y)};
    }
    if (plain) { /* what was seen aside in the machine's units, the first order of which does */
        return (struct tt_machine_xy){h.x_mm + v.x_mm - axes->scale_x * v.x_mm +
                                          axes->square_rad * v.y_mm,
                                      h.y_mm + v.y_mm - axes->scale_y * v.y_mm};
    }
    return (struct tt_machine_xy){h.x_mm + axes->scale_x * h.x_mm - axes->square_rad * h.y_mm +
                                      v.x_mm,
                                  h.y_mm + axes->scale_y * h.y_mm + v.y_mm};
}

/* The rows of setup @pose into @seen. */
static void gather(const struct draft *draft, size_t pose, bool plain, struct seen *seen)
{
    const struct tiptrue_solution *s = draft->solution;

    seen->n = 0;
    for (size_t i = 0; i < s->n_rows; i++) {
        const struct tt_observation *o = &draft->run->observations[i];
        if (tt_is_sighting(o->kind) && o->use == TT_USE && !s->rows[i].set_aside &&
            (o->kind == TT_SIGHT || s->camera.determined) && find_pose(s, &s->rows[i]) == pose) {
            seen->mark[seen->n] = o->target;
            seen->plate[seen->n] = draft->plate->marks[o->target].at;
            seen->scale[seen->n] =
                o->has_temperature ? tt_plate_scale(draft->plate, o->temperature_C) : 1;
            seen->place[seen->n++] = seen_at(draft, i, plain);
        }
    }
}

/* Means over all setups; they are told apart by the pose that fits each best. */
static bool place_marks(struct draft *draft)
{
    struct tt_arena *arena = &draft->sketch->arena;
    size_t n = draft->solution->n_rows, n_marks = draft->plate->n_marks;
    struct tt_sketch_mark *marks = TT_ARENA_NEW(arena, n_marks, struct tt_sketch_mark);
    struct seen seen = {
        TT_ARENA_NEW(arena, n, size_t), 0, TT_ARENA_NEW(arena, n, struct tt_plate_xy),
        TT_ARENA_NEW(arena, n, struct tt_machine_xy), TT_ARENA_NEW(arena, n, double)};
    struct tt_pose fit;

    if (marks == NULL || seen.mark == NULL || seen.plate == NULL || seen.place == NULL ||
        seen.scale == NULL) {
        return false;
    }
    for (size_t k = 0; k < 2 * draft->solution->n_poses; k++) {
        bool plain = k % 2 == 0;
        gather(draft, k / 2, plain, &seen);
        if (tt_pose_fit(seen.plate, seen.place, seen.scale, seen.n, SAME_MARK_MM, &fit) !=
            TIPTRUE_OK) {
            continue;
        }
        for (size_t i = 0; i < seen.n; i++) {
            struct tt_sketch_mark *mark = &marks[seen.mark[i]];
            struct tt_plate_xy at = tt_pose_back(&fit, seen.place[i]),
                               *sum = plain ? &mark->plain : &mark->off;
            sum->x_mm += at.x_mm - seen.scale[i] * seen.plate[i].x_mm;
            sum->y_mm += at.y_mm - seen.scale[i] * seen.plate[i].y_mm;
            mark->n += plain;
        }
    }
    for (size_t m = 0; m < n_marks; m++) {
        double by = marks[m].n > 0 ? 1 / (double)marks[m].n : 0;
        marks[m].plain = (struct tt_plate_xy){by * marks[m].plain.x_mm, by * marks[m].plain.y_mm};
        marks[m].off = (struct tt_plate_xy){by * marks[m].off.x_mm, by * marks[m].off.y_mm};
    }
    draft->sketch->marks = marks;
    return true;
}

enum tiptrue_status tt_sketch_draw(const struct tiptrue_plate *plate,
                                   const struct tiptrue_machine *machine,
                                   const struct tiptrue_run *run,
                                   const struct tiptrue_solution *solution,
                                   struct tt_sketch *sketch, struct tiptrue_error *error)
{
    const struct tiptrue_solution *s = solution;
    struct draft draft = {
        .plate = plate, .machine = machine, .run = run, .solution = solution, .sketch = sketch};
    bool stated_clockwise = machine != NULL && machine->clockwise;

    sketch->n_spots = s->n_rows;
    sketch->spots = TT_ARENA_NEW(&sketch->arena, s->n_rows, struct tt_spot);
    sketch->edge_of = TT_ARENA_NEW(&sketch->arena, s->n_edges, size_t);
    draft.track_of = TT_ARENA_NEW(&sketch->arena, s->n_tips * s->n_edges * s->n_poses, size_t);
    if (sketch->spots == NULL || sketch->edge_of == NULL || draft.track_of == NULL ||
        !sort_rows(&draft) || !draw_shapes(&draft)) {
        return tt_fail_memory(error);
    }
    for (size_t i = 0; i < s->n_edges; i++) {
        sketch->edge_of[i] = find_on_plate(plate, s->edges[i].name);
    }
    sketch->has_sense = plate != NULL && machine != NULL;
    sketch->clockwise = stated_clockwise != sense_found_wrong(s);
    for (size_t t = 0; t < sketch->n_tracks; t++) {
        draw_track(&draft, &sketch->tracks[t], stated_clockwise);
    }
    if (plate != NULL && same_rows(&draft)) {
        place_spots(&draft);
        place_pixels(&draft);
        if (machine != NULL && !place_marks(&draft)) {
            return tt_fail_memory(error);
        }
    }
    return TIPTRUE_OK;
}

void tt_sketch_clear(struct tt_sketch *sketch)
{
    tt_arena_clear(&sketch->arena);
    *sketch = (struct tt_sketch){0};
}
