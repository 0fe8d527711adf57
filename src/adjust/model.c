/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/model.h"

#include <gsl/gsl_sort.h>
#include <math.h>

#include "adjust/modes.h"
#include "adjust/views.h"

/* Weak priors stand in for what nothing determines, so that the rest can be solved: a tip is within
 * 10 mm, a yaw within 20 degrees of where the search starts. What rests on them is reported as
 * undetermined. Ten times wider, and double precision would show in the rest; ten times tighter,
 * and they would pull visibly at what is only poorly determined. */
#define WEAK_LENGTH_MM 10.0
/* A picometre (and a picoradian's thousandfold): places known better are exact. */
#define EXACT_MM 1e-9
#define WEAK_YAW_RAD 0.35
/* By how much a plate that moves far turns, as a standard deviation: some 1 mm over 100 mm (common
 * practice, no source). */
#define MOVED_TURN_RAD 0.01
/* In a proper model a tip's unknowns are within a millimetre of the robust start: what a search may
 * still find. It is Occam's factor of what an explanation leaves open; a tenth of it would favour
 * explanations that leave an offset open by 2.3. */
#define PROPER_TIP_MM 1.0
/* And what the plate file calls exact is known to a tenth of a micrometre, so that every feature
 * can be blamed. */
#define PROPER_LEAST_MM 1e-4
/* A stated nominal yaw that the sightings contradict by more than this many of its standard
 * uncertainties belongs to another placement of the plate (one turned by 180 degrees, for example)
 * and is not used for this one. */
#define YAW_CONTRADICTED 5.0

static double extra_of(const double *extras, size_t index)
{
    return extras != NULL ? extras[index] : 0;
}

/* Standard uncertainty of a feature stated to @u_mm, widened by @extra_mm. */
static double widened(const struct tt_model *model, double u_mm, double extra_mm)
{
    double least = model->terms.proper ? PROPER_LEAST_MM : 0;
    return extra_mm > 0 ? hypot(fmax(u_mm, least), extra_mm) : fmax(u_mm, least);
}

/* ---- layout ---- */

static enum tiptrue_status find_blocks(struct tt_model *model, struct tt_arena *arena)
{
    const struct tiptrue_run *run = model->run;

    model->tip_block = TT_ARENA_NEW(arena, run->n_tips, size_t);
    model->block_tip = TT_ARENA_NEW(arena, run->n_tips, size_t);
    model->block_size = TT_ARENA_NEW(arena, run->n_tips, size_t);
    if (model->tip_block == NULL || model->block_tip == NULL || model->block_size == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t t = 0; t < run->n_tips; t++) {
        model->tip_block[t] = TT_NONE;
    }
    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        if (o->kind == TT_TOUCH && o->use == TT_USE && model->tip_block[o->tip] == TT_NONE) {
            model->tip_block[o->tip] = 0;
        }
    }
    for (size_t t = 0; t < run->n_tips; t++) {
        if (model->tip_block[t] == TT_NONE) {
            continue;
        }
        size_t block = model->n_blocks++, orders = 0;
        for (unsigned k = 2; k <= TT_MOST_ORDER && model->terms.orders != NULL; k++) {
            orders += model->terms.orders[block] >> k & 1U;
        }
        model->tip_block[t] = block;
        model->block_tip[block] = t;
        model->block_size[block] = TT_TIP_SHAPE + 2 * orders;
    }
    return TIPTRUE_OK;
}

static bool is_in_plane(const struct tt_observation *o)
{
    return o->use == TT_USE && o->kind != TT_HEIGHT;
}

/* Terms of the run from place *@next on, which moves behind them. */
static void lay_out_terms(struct tt_model *model, size_t *next)
{
    model->at_lost_motion = model->terms.lost_motion ? (*next)++ : TT_NONE;
    model->at_latency = model->terms.latency ? (*next)++ : TT_NONE;
    model->n_axis = model->terms.axes == TT_AXES_RIGHT ? 0
                    : model->terms.axes == TT_AXES_ALL ? TT_AXIS_NUMBERS
                                                       : 1;
    model->at_axis = model->n_axis > 0 ? *next : TT_NONE;
    *next += model->n_axis;
    model->at_drift = TT_NONE;
    if (model->terms.drift) {
        model->at_drift = *next;
        *next += 2;
    }
    model->at_moved = model->at_turned = TT_NONE;
    if (model->terms.moved_at != TT_NONE) {
        model->moved_setup = model->run->observations[model->terms.moved_at].setup;
        model->at_moved = *next;
        *next += 2;
        model->at_turned = model->terms.mover == TT_MOVER_PLATE_FAR ? (*next)++ : TT_NONE;
    }
    model->at_slip = TT_NONE;
    if (model->terms.slipped_at != TT_NONE) {
        model->at_slip = *next;
        *next += 2;
    }
}

/* Features of the plate that the run saw become unknowns where they are uncertain. */
static enum tiptrue_status lay_out(struct tt_model *model, struct tt_arena *arena)
{
    const struct tiptrue_plate *plate = model->plate;
    const struct tiptrue_run *run = model->run;
    size_t next;

    model->n_setups = run->n_setups;
    model->at_edge = TT_ARENA_NEW(arena, plate->n_edges, size_t);
    model->at_group = TT_ARENA_NEW(arena, plate->n_groups, size_t);
    model->at_mark = TT_ARENA_NEW(arena, plate->n_marks, size_t);
    bool *edge_seen = TT_ARENA_NEW(arena, plate->n_edges, bool),
         *mark_seen = TT_ARENA_NEW(arena, plate->n_marks, bool);
    bool *group_seen = TT_ARENA_NEW(arena, plate->n_groups, bool);
    if (model->at_edge == NULL || model->at_group == NULL || model->at_mark == NULL ||
        edge_seen == NULL || mark_seen == NULL || group_seen == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        if (!is_in_plane(o)) {
            continue;
        }
        bool *seen = o->kind == TT_TOUCH ? edge_seen : mark_seen;
        size_t group =
            o->kind == TT_TOUCH ? plate->edges[o->target].group : plate->marks[o->target].group;
        seen[o->target] = true;
        if (group != TT_NONE) {
            group_seen[group] = true;
        }
    }
    model->edge_seen = edge_seen;
    next = tt_at_pose(model->n_setups);
    for (size_t g = 0; g < plate->n_groups; g++) {
        model->at_group[g] = group_seen[g] ? next : TT_NONE;
        next += group_seen[g] ? 2 : 0;
    }
    for (size_t j = 0; j < plate->n_edges; j++) {
        bool unknown = edge_seen[j] && widened(model, plate->edges[j].u_mm,
                                               extra_of(model->terms.edge_extra_mm, j)) > EXACT_MM;
        model->at_edge[j] = unknown ? next++ : TT_NONE;
    }
    for (size_t k = 0; k < plate->n_marks; k++) {
        bool unknown = mark_seen[k] && widened(model, plate->marks[k].u_mm,
                                               extra_of(model->terms.mark_extra_mm, k)) > EXACT_MM;
        model->at_mark[k] = unknown ? next : TT_NONE;
        next += unknown ? 2 : 0;
    }
    lay_out_terms(model, &next);
    tt_views_lay_out(model, &next);
    model->n_border = next;
    return TIPTRUE_OK;
}

/* ---- start values ---- */

/* Median over the sightings of @mark in @setup, axis by axis: one wrong sighting of three or more
 * moves it little. */
static struct tt_machine_xy median_sighting(const struct tt_model *model, size_t setup, size_t mark,
                                            double sorted[])
{
    double median[2];

    for (size_t axis = 0; axis < 2; axis++) {
        size_t n = 0;
        for (size_t i = 0; i < model->n_sights; i++) {
            const struct tt_sight *sight = &model->sights[i];
            if (sight->setup == setup && sight->mark == mark &&
                !tt_stands_elsewhere(model, sight)) {
                sorted[n++] = axis == 0 ? sight->place.x_mm : sight->place.y_mm;
            }
        }
        gsl_sort(sorted, 1, n);
        median[axis] = 0.5 * (sorted[(n - 1) / 2] + sorted[n / 2]);
    }
    return (struct tt_machine_xy){median[0], median[1]};
}

/* What was sighted in a setup, by place on the plate, in the machine (each mark's median), and by
 * the plate's expansion. */
struct sighted {
    struct tt_plate_xy *plate;
    struct tt_machine_xy *seen;
    double *scale;
    size_t n;
};

static enum tiptrue_status collect_sighted(const struct tt_model *model, struct tt_arena *arena,
                                           size_t setup, struct sighted *s)
{
    double *sorted = TT_ARENA_NEW(arena, model->n_sights, double);
    size_t *first = TT_ARENA_NEW(arena, model->plate->n_marks, size_t); /* of seen, + 1, by mark */

    *s = (struct sighted){TT_ARENA_NEW(arena, model->n_sights, struct tt_plate_xy),
                          TT_ARENA_NEW(arena, model->n_sights, struct tt_machine_xy),
                          TT_ARENA_NEW(arena, model->n_sights, double), 0};
    if (s->plate == NULL || s->seen == NULL || s->scale == NULL || sorted == NULL ||
        first == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        size_t mark = model->sights[i].mark, at = first[mark], n = s->n;
        if (model->sights[i].setup == setup && !tt_stands_elsewhere(model, &model->sights[i])) {
            s->plate[n] = model->plate->marks[mark].at;
            s->seen[n] = at > 0 ? s->seen[at - 1] : median_sighting(model, setup, mark, sorted);
            s->scale[n] = model->sights[i].scale;
            s->n = n + 1;
            first[mark] = at > 0 ? at : n + 1;
        }
    }
    return TIPTRUE_OK;
}

/* The pose of a setup from its sightings; from one place only the mark, with the nominal yaw;
 * without any, the machine file's mark.
 */
static enum tiptrue_status start_pose(struct tt_model *model, struct tt_arena *arena, size_t setup)
{
    const struct tiptrue_machine *machine = model->machine;
    struct sighted s;
    double *x = model->x + tt_at_pose(setup);
    double turned = model->terms.turned_rad != NULL ? model->terms.turned_rad[setup] : 0;
    struct tt_pose pose =
        tt_pose_make(machine->mark, (machine->has_yaw ? machine->yaw_rad : 0) + turned);

    if (collect_sighted(model, arena, setup, &s) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    /* 1 µm: marks closer than that give no direction. */
    model->yaw_sighted[setup] =
        s.n >= 2 && tt_pose_fit(s.plate, s.seen, s.scale, s.n, 1e-3, &pose) == TIPTRUE_OK;
    if (!model->yaw_sighted[setup] && s.n > 0) {
        struct tt_machine_xy arm = tt_pose_turn(&pose, s.plate[0]);
        pose.mark = (struct tt_machine_xy){s.seen[0].x_mm - s.scale[0] * arm.x_mm,
                                           s.seen[0].y_mm - s.scale[0] * arm.y_mm};
    }
    model->yaw_seen_rad[setup] = pose.yaw_rad;
    if (machine->has_yaw &&
        model->yaw_sighted[setup]) { /* keep beta near the nominal one, not a turn away */
        pose.yaw_rad = machine->yaw_rad + tt_angle_wrap(pose.yaw_rad - machine->yaw_rad);
    }
    x[0] = pose.mark.x_mm;
    x[1] = pose.mark.y_mm;
    x[2] = pose.yaw_rad;
    return TIPTRUE_OK;
}

/* A tip starts where its touches are in the middle of their edges: some millimetres off, which is
 * near enough for the arm of the yaw and for the weak priors, whatever offset the machine file
 * states. */
static void start_tip(struct tt_model *model, size_t block)
{
    size_t tip = model->block_tip[block], n = 0;
    double *x = model->x + model->system.first[block], sum_x = 0, sum_y = 0;

    for (size_t c = 0; c < model->n_cells; c++) {
        const struct tt_cell *cell = &model->cells[c];
        const struct tt_edge *edge = &model->plate->edges[cell->edge];
        const double *pose_x = model->x + tt_at_pose(cell->setup);
        if (cell->block != block) {
            continue;
        }
        struct tt_pose pose = tt_pose_make((struct tt_machine_xy){pose_x[0], pose_x[1]}, pose_x[2]);
        struct tt_plate_xy middle = {0.5 * (edge->from.x_mm + edge->to.x_mm),
                                     0.5 * (edge->from.y_mm + edge->to.y_mm)};
        struct tt_machine_xy q = tt_pose_place(&pose, 1, middle);
        for (size_t i = cell->first; i < cell->first + cell->count; i++) {
            sum_x += q.x_mm - model->touch[i].h.x_mm;
            sum_y += q.y_mm - model->touch[i].h.y_mm;
        }
        n += cell->count;
    }
    x[TT_TIP_O_X] = sum_x / (double)n;
    x[TT_TIP_O_Y] = sum_y / (double)n;
    if (tip < model->machine->n_tips && model->machine->tips[tip].has_radius) {
        x[TT_TIP_R] = model->machine->tips[tip].radius_mm;
    }
}

/* ---- priors ---- */

static struct tt_prior *add_prior(struct tt_model *model, enum tt_prior_kind kind, size_t block,
                                  size_t place, double value, double u, size_t what)
{
    u = fmax(u, EXACT_MM);
    model->priors[model->n_priors] = (struct tt_prior){
        .kind = kind, .block = block, .place = place, .value = value, .u = u, .what = what};
    return &model->priors[model->n_priors++];
}

static void plate_priors(struct tt_model *model)
{
    const struct tiptrue_plate *plate = model->plate;

    for (size_t g = 0; g < plate->n_groups; g++) {
        for (size_t axis = 0; axis < 2 && model->at_group[g] != TT_NONE; axis++) {
            add_prior(model, TT_PRIOR_GROUP, TT_NONE, model->at_group[g] + axis, 0,
                      plate->groups[g].u_mm, g);
        }
    }
    for (size_t j = 0; j < plate->n_edges; j++) {
        double extra = extra_of(model->terms.edge_extra_mm, j);
        if (model->at_edge[j] != TT_NONE) {
            add_prior(model, TT_PRIOR_EDGE, TT_NONE, model->at_edge[j], 0,
                      widened(model, plate->edges[j].u_mm, extra), j)
                ->extra = extra;
        }
    }
    for (size_t k = 0; k < plate->n_marks; k++) {
        double extra = extra_of(model->terms.mark_extra_mm, k);
        for (size_t axis = 0; axis < 2 && model->at_mark[k] != TT_NONE; axis++) {
            double u = widened(model, plate->marks[k].u_mm, extra);
            add_prior(model, TT_PRIOR_MARK, TT_NONE, model->at_mark[k] + axis, 0, u, k)->extra =
                extra;
        }
    }
}

static void machine_priors(struct tt_model *model)
{
    const struct tiptrue_machine *machine = model->machine;

    for (size_t s = 0; s < model->n_setups; s++) {
        if (model->n_sights ==
            0) { /* with marks sighted in another setup, this one's touches say where it lies */
            double u = tt_mark_u_mm(machine);
            add_prior(model, TT_PRIOR_PLACE, TT_NONE, tt_at_pose(s), machine->mark.x_mm, u, s);
            add_prior(model, TT_PRIOR_PLACE, TT_NONE, tt_at_pose(s) + 1, machine->mark.y_mm, u, s);
        }
        bool contradicted = machine->has_yaw && model->yaw_sighted[s] &&
                            fabs(tt_angle_wrap(model->yaw_seen_rad[s] - machine->yaw_rad)) >
                                YAW_CONTRADICTED * machine->u_yaw_rad;
        bool free = model->terms.yaw_free != NULL && model->terms.yaw_free[s];
        model->yaw_prior_used[s] = machine->has_yaw && !contradicted && !free;
        if (model->yaw_prior_used[s]) {
            add_prior(model, TT_PRIOR_YAW, TT_NONE, tt_at_pose(s) + 2, machine->yaw_rad,
                      machine->u_yaw_rad, s);
        }
    }
    for (size_t b = 0; b < model->n_blocks; b++) {
        size_t tip = model->block_tip[b];
        if (tip < machine->n_tips && machine->tips[tip].has_radius &&
            machine->tips[tip].u_radius_mm > 0) {
            double extra = extra_of(model->terms.radius_extra_mm, tip),
                   u = widened(model, machine->tips[tip].u_radius_mm, extra);
            add_prior(model, TT_PRIOR_RADIUS, b, model->n_border + TT_TIP_R,
                      machine->tips[tip].radius_mm, u, tip)
                ->extra = extra;
        }
    }
}

/* Of number @k of the fault of the axes that the model holds. */
static double axis_size(const struct tt_model *model, size_t k)
{
    const struct tt_terms *terms = &model->terms;
    bool alone = terms->axes == TT_AXES_ALL && terms->axes_far;
    enum tt_mode_kind usual =
        alone ? (terms->far_axis == TT_AXIS_X ? TT_MODE_AXIS_X : TT_MODE_AXIS_Y) : TT_MODE_AXES;

    return tt_mode_axis_size(
        terms->axes == TT_AXES_SCALE && terms->axes_far ? TT_MODE_SCALE_FAR : usual, k);
}

static void weak_priors(struct tt_model *model)
{
    double tip_mm = model->terms.proper ? PROPER_TIP_MM : WEAK_LENGTH_MM;

    for (size_t s = 0; s < model->n_setups; s++) {
        for (size_t k = 0; k < 3; k++) {
            size_t place = tt_at_pose(s) + k;
            add_prior(model, TT_PRIOR_WEAK, TT_NONE, place, model->x[place],
                      k < 2 ? WEAK_LENGTH_MM : WEAK_YAW_RAD, s);
        }
    }
    for (size_t b = 0; b < model->n_blocks; b++) {
        for (size_t k = 0; k < model->block_size[b]; k++) {
            double value = model->x[model->system.first[b] + k];
            double u = k < TT_TIP_SHAPE      ? tip_mm
                       : model->terms.proper ? tt_mode_size(TT_MODE_SHAPE)
                                             : WEAK_LENGTH_MM;
            add_prior(model, TT_PRIOR_WEAK, b, model->n_border + k, value, u, model->block_tip[b]);
        }
    }
    static const enum tt_mode_kind MOVERS[] = {[TT_MOVER_PLATE] = TT_MODE_MOVED,
                                               [TT_MOVER_PLATE_FAR] = TT_MODE_MOVED_FAR,
                                               [TT_MOVER_CAMERA] = TT_MODE_CAMERA,
                                               [TT_MOVER_TIP] = TT_MODE_TIP};
    const struct {
        size_t at, n;
        double size;
    } terms[] = {{model->at_lost_motion, 1, tt_mode_size(TT_MODE_LOST_MOTION)},
                 {model->at_latency, 1, tt_mode_size(TT_MODE_LATENCY)},
                 {model->at_axis, model->n_axis, NAN},
                 {model->at_drift, 2, tt_mode_size(TT_MODE_DRIFT)},
                 {model->at_moved, 2, tt_mode_size(MOVERS[model->terms.mover])},
                 {model->at_turned, 1, MOVED_TURN_RAD},
                 {model->at_slip, 2, tt_mode_size(TT_MODE_SLIP)},
                 {model->terms.distortion ? model->picture.at_kappa : TT_NONE, 1,
                  tt_mode_size(TT_MODE_DISTORTION)}};
    for (size_t i = 0; i < sizeof terms / sizeof terms[0]; i++) {
        for (size_t k = 0; k < terms[i].n && terms[i].at != TT_NONE; k++) {
            double size = terms[i].at == model->at_axis ? axis_size(model, k) : terms[i].size;
            double u = model->terms.proper ? size : WEAK_LENGTH_MM;
            add_prior(model, TT_PRIOR_WEAK, TT_NONE, terms[i].at + k, 0, u, 0);
        }
    }
}

/* Start values of the picture, the poses and the tips, each by those before. */
static enum tiptrue_status start_values(struct tt_model *model, struct tt_arena *arena)
{
    enum tiptrue_status status = tt_views_start(model, arena);

    for (size_t s = 0; s < model->n_setups && status == TIPTRUE_OK; s++) {
        status = start_pose(model, arena, s);
    }
    for (size_t b = 0; b < model->n_blocks && status == TIPTRUE_OK; b++) {
        start_tip(model, b);
    }
    return status;
}

/* The model of what @model names: plate, machine, run, terms. */
static enum tiptrue_status build(struct tt_model *model, struct tt_arena *arena,
                                 const struct tt_model *like)
{
    enum tiptrue_status status;

    if ((status = find_blocks(model, arena)) != TIPTRUE_OK ||
        (status = lay_out(model, arena)) != TIPTRUE_OK ||
        (status = tt_model_collect_rows(model, arena, like)) != TIPTRUE_OK ||
        (status = tt_system_init(&model->system, arena, model->n_border, model->n_blocks,
                                 model->block_size)) != TIPTRUE_OK) {
        return status;
    }
    model->n_unknowns = model->system.n_unknowns;
    model->x = TT_ARENA_NEW(arena, model->n_unknowns, double);
    model->yaw_sighted = TT_ARENA_NEW(arena, model->n_setups, bool);
    model->yaw_seen_rad = TT_ARENA_NEW(arena, model->n_setups, double);
    model->yaw_prior_used = TT_ARENA_NEW(arena, model->n_setups, bool);
    model->priors =
        TT_ARENA_NEW(arena, 2 * model->n_unknowns + 3 * model->n_setups, struct tt_prior);
    if (model->x == NULL || model->yaw_sighted == NULL || model->yaw_seen_rad == NULL ||
        model->yaw_prior_used == NULL || model->priors == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    if ((status = start_values(model, arena)) != TIPTRUE_OK) {
        return status;
    }
    plate_priors(model);
    machine_priors(model);
    model->n_priors += tt_views_priors(model, model->priors + model->n_priors);
    if (model->weak || model->terms.proper) {
        weak_priors(model);
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_model_build(struct tt_model *model, struct tt_arena *arena,
                                   const struct tiptrue_plate *plate,
                                   const struct tiptrue_machine *machine,
                                   const struct tiptrue_run *run, const struct tt_terms *terms,
                                   bool weak)
{
    *model = (struct tt_model){
        .plate = plate, .machine = machine, .run = run, .terms = *terms, .weak = weak};
    return build(model, arena, NULL);
}

enum tiptrue_status tt_model_build_like(struct tt_model *model, struct tt_arena *arena,
                                        const struct tt_model *like, const struct tt_terms *terms,
                                        bool weak)
{
    *model = (struct tt_model){.plate = like->plate,
                               .machine = like->machine,
                               .run = like->run,
                               .terms = *terms,
                               .weak = weak};
    return build(model, arena, like);
}
