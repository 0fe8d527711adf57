/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/assemble.h"

#include <math.h>
#include <string.h>

#include "adjust/respond.h"
#include "adjust/robust.h"
#include "adjust/unseen.h"
#include "adjust/views.h"

/* A quantity whose uncertainty rests on nothing (see model.c, weak priors) by more than this is not
 * determined: half a millimetre. Nor is an offset of which touches, sightings and plate leave that
 * much. Larger, and results are called determined that nobody can place with; smaller, and a poor
 * plate (u of 0.1 mm) with edges at 10 degrees to each other is called undetermined. */
#define UNDETERMINED_MM 0.5
#define UNDETERMINED_RAD 0.035
/* A yaw that neither sightings nor a statement give, but touches alone, is not determined from
 * 0.003 rad (0.17 degrees) on: the touches then see it by its square, whose either root fits, and
 * the covariance at one of them tells nothing of the other. */
#define UNDETERMINED_TOUCHED_RAD 0.003

static double u_of(double variance_mm2)
{
    return sqrt(fmax(variance_mm2, 0));
}

static char *copy_text(struct tiptrue_solution *solution, const char *text, bool *failed)
{
    char *copy = NULL;
    if (text != NULL) {
        copy = tt_arena_copy(&solution->arena, text);
        *failed = *failed || copy == NULL;
    }
    return copy;
}

/* The names that a finding's edge, tip and setup count in. */
static bool fill_names(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    bool failed = false;

    s->n_edge_names = view->plate->n_edges;
    s->n_tip_names = view->run->n_tips;
    s->n_setup_names = view->run->n_setups;
    s->edge_names = TT_ARENA_NEW(&s->arena, s->n_edge_names, const char *);
    s->tip_names = TT_ARENA_NEW(&s->arena, s->n_tip_names, const char *);
    s->setup_names = TT_ARENA_NEW(&s->arena, s->n_setup_names, const char *);
    if (s->edge_names == NULL || s->tip_names == NULL || s->setup_names == NULL) {
        return false;
    }
    for (size_t j = 0; j < s->n_edge_names; j++) {
        s->edge_names[j] = copy_text(s, view->plate->edges[j].name, &failed);
    }
    for (size_t t = 0; t < s->n_tip_names; t++) {
        s->tip_names[t] = copy_text(s, view->run->tips[t], &failed);
    }
    for (size_t k = 0; k < s->n_setup_names; k++) {
        s->setup_names[k] = copy_text(s, view->run->setups[k], &failed);
    }
    return !failed;
}

static bool fill_run(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    const struct tiptrue_run *run = view->run;
    bool failed = false;
    size_t stated = 0;

    s->file = copy_text(s, run->file, &failed);
    s->run_id = copy_text(s, run->id, &failed);
    s->machine = copy_text(s, view->machine->name, &failed);
    s->plate = copy_text(s, view->plate->name, &failed);
    s->plate_serial = copy_text(s, view->plate->serial, &failed);
    s->started = copy_text(s, run->started, &failed);
    s->rotation_sense = copy_text(s, view->machine->clockwise ? "cw" : "ccw", &failed);
    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        s->touches_read += o->kind == TT_TOUCH;
        s->touches_no_contact += o->kind == TT_TOUCH && o->use == TT_USE_NO_CONTACT;
        s->touches_find += o->kind == TT_TOUCH && o->use == TT_USE_FIND;
        s->warmups += o->kind == TT_WARMUP;
        s->heights += o->kind == TT_HEIGHT;
        s->sightings += tt_is_sighting(o->kind);
        stated += o->has_temperature;
        s->temperature_C += o->has_temperature ? o->temperature_C : 0;
    }
    s->has_temperature = stated > 0;
    s->temperature_C = stated > 0 ? s->temperature_C / (double)stated : 0;
    for (size_t i = 0; i < view->model->n_touches; i++) {
        s->touches_used += view->fit->good[i] > 0;
        s->touches_set_aside += view->fit->good[i] == 0;
    }
    s->has_permitted_error = view->machine->limits.has_permitted_error;
    s->permitted_error_mm = view->machine->limits.permitted_error_mm;
    s->least_squares = !view->selection->robust;
    s->iterations = view->fit->iterations;
    return !failed;
}

static void fill_scatter(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    const struct tt_fit *fit = view->fit;
    const struct tt_noise *noise = view->noise;
    bool own = !noise->touch_known || fit->scattered,
         own_sight = !noise->sight_known || fit->sight_scattered;

    s->has_u_touch = !own || fit->dof_touch >= 0.5;
    s->u_touch_mm =
        own ? u_of(fit->touch_var_mm2 - noise->touch_digit_var_mm2) : sqrt(noise->touch_var_mm2);
    s->dof_touch = own ? fit->dof_touch : HUGE_VAL;
    s->stated_dof_touch = noise->touch_dof;
    s->has_u_sighting =
        view->model->n_sights > view->model->picture.n && (!own_sight || fit->dof_sight >= 0.5);
    s->u_sighting_mm = own_sight ? u_of(fit->sight_var_mm2 - noise->sight_digit_var_mm2)
                                 : sqrt(noise->sight_var_mm2);
    s->dof_sighting = own_sight ? fit->dof_sight : HUGE_VAL;
    s->stated_dof_sighting = noise->sight_dof;
}

static bool fill_poses(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    const struct tt_model *model = view->model;
    const double *c = model->system.c;
    size_t nb = model->n_border;
    bool failed = false;

    s->poses = TT_ARENA_NEW(&s->arena, model->n_setups, struct tt_pose_result);
    if (s->poses == NULL) {
        return false;
    }
    s->n_poses = model->n_setups;
    for (size_t k = 0; k < model->n_setups; k++) {
        size_t at = tt_at_pose(k);
        struct tt_pose_result *pose = &s->poses[k];
        pose->setup = copy_text(s, view->run->setups[k], &failed);
        pose->mark = (struct tt_machine_xy){model->x[at], model->x[at + 1]};
        pose->yaw_rad = tt_angle_wrap(model->x[at + 2]);
        pose->u_mark_x_mm = sqrt(c[at * nb + at]);
        pose->u_mark_y_mm = sqrt(c[(at + 1) * nb + at + 1]);
        pose->u_yaw_rad = sqrt(c[(at + 2) * nb + at + 2]);
        pose->mark_determined =
            pose->u_mark_x_mm < UNDETERMINED_MM && pose->u_mark_y_mm < UNDETERMINED_MM;
        bool touched_only = !model->yaw_sighted[k] && !model->yaw_prior_used[k];
        pose->yaw_determined =
            pose->u_yaw_rad < (touched_only ? UNDETERMINED_TOUCHED_RAD : UNDETERMINED_RAD);
    }
    return !failed;
}

/* ---- tips ---- */

static void budget_line(struct tt_tip_result *tip, enum tt_budget_code code, bool of_plate,
                        double xx, double yy)
{
    if (xx > 0 || yy > 0) {
        tip->budget[tip->n_budget++] = (struct tt_budget_line){.code = code,
                                                               .source = tt_budget_source(code),
                                                               .type = 'B',
                                                               .of_plate = of_plate,
                                                               .known_x = tip->offset_determined_x,
                                                               .known_y = tip->offset_determined_y,
                                                               .u_x_mm = u_of(xx),
                                                               .u_y_mm = u_of(yy),
                                                               .dof = HUGE_VAL};
    }
}

/* The same of a source that was estimated with @dof degrees of freedom. HUGE_VAL = stated after
 * all. */
static void estimated_line(struct tt_tip_result *tip, enum tt_budget_code code, double dof,
                           double xx, double yy)
{
    size_t n = tip->n_budget;

    budget_line(tip, code, false, xx, yy);
    if (tip->n_budget > n && dof < HUGE_VAL) {
        tip->budget[n].type = 'A';
        tip->budget[n].dof = fmax(dof, 1);
    }
}

/* The touches' part split into repeatability, resolution and rotation, in proportion to their
 * variances. */
static bool fill_budget(struct tt_view *view, const struct tt_tip_uncertainty *u,
                        struct tt_tip_result *tip)
{
    const struct tt_fit *fit = view->fit;
    const struct tt_cov2 *s = u->source;
    bool stated_touch = view->noise->touch_known && !fit->scattered,
         stated_sight = tt_sightings_stated(fit);
    double dof_touch = stated_touch ? HUGE_VAL : view->scatters.touch.dof;
    double dof_sight = stated_sight ? HUGE_VAL : view->scatters.sight.dof;
    double rotation = 0, used = 0, total;

    tip->budget = TT_ARENA_NEW(&view->solution->arena, TT_SOURCES + 4, struct tt_budget_line);
    if (tip->budget == NULL) {
        return false;
    }
    for (size_t i = 0; i < view->model->n_touches; i++) {
        rotation += fit->good[i] * fit->rotation_var_mm2[i];
        used += fit->good[i];
    }
    rotation = used > 0 ? rotation / used : 0;
    total = fit->touch_var_mm2 + rotation;
    double digit = fmin(fit->noise->touch_digit_var_mm2, fit->touch_var_mm2) / total,
           turn = rotation / total, rest = 1 - digit - turn;
    double sight_digit = fmin(fit->noise->sight_digit_var_mm2 / fit->sight_var_mm2, 1);
    const struct tt_cov2 *t = &s[TT_SOURCE_TOUCH], *v = &s[TT_SOURCE_SIGHT];

    estimated_line(tip, TT_BUDGET_TOUCH, dof_touch, rest * t->xx_mm2, rest * t->yy_mm2);
    estimated_line(tip, TT_BUDGET_SIGHT, dof_sight, (1 - sight_digit) * v->xx_mm2,
                   (1 - sight_digit) * v->yy_mm2);
    budget_line(tip, TT_BUDGET_RESOLUTION, false, digit * t->xx_mm2 + sight_digit * v->xx_mm2,
                digit * t->yy_mm2 + sight_digit * v->yy_mm2);
    budget_line(tip, TT_BUDGET_ROTATION, false, turn * t->xx_mm2, turn * t->yy_mm2);
    budget_line(tip, TT_BUDGET_RADIUS, false, s[TT_SOURCE_RADIUS].xx_mm2,
                s[TT_SOURCE_RADIUS].yy_mm2);
    budget_line(tip, TT_BUDGET_YAW, false, s[TT_SOURCE_YAW].xx_mm2, s[TT_SOURCE_YAW].yy_mm2);
    budget_line(tip, TT_BUDGET_PLACE, false, s[TT_SOURCE_PLACE].xx_mm2, s[TT_SOURCE_PLACE].yy_mm2);
    if (fmax(s[TT_SOURCE_CAMERA].xx_mm2, s[TT_SOURCE_CAMERA].yy_mm2) > TT_NOTICED_MM2) {
        budget_line(tip, TT_BUDGET_CAMERA, false, s[TT_SOURCE_CAMERA].xx_mm2,
                    s[TT_SOURCE_CAMERA].yy_mm2);
    }
    budget_line(tip, TT_BUDGET_LENS, false, s[TT_SOURCE_LENS].xx_mm2, s[TT_SOURCE_LENS].yy_mm2);
    budget_line(tip, TT_BUDGET_RIVALS, false, s[TT_SOURCE_RIVALS].xx_mm2,
                s[TT_SOURCE_RIVALS].yy_mm2);
    budget_line(tip, TT_BUDGET_EDGES, true, s[TT_SOURCE_EDGE].xx_mm2, s[TT_SOURCE_EDGE].yy_mm2);
    budget_line(tip, TT_BUDGET_GROUPS, true, s[TT_SOURCE_GROUP].xx_mm2, s[TT_SOURCE_GROUP].yy_mm2);
    budget_line(tip, TT_BUDGET_MARKS, true, s[TT_SOURCE_MARK].xx_mm2, s[TT_SOURCE_MARK].yy_mm2);
    return true;
}

static void fill_held(const struct tt_held_offset *held, struct tt_tip_result *tip)
{
    tip->has_held = true;
    tip->held = held->offset;
    tip->same_plate_cov = held->cov;
    tip->same_plate_touch = held->touch;
    tip->same_plate_sight = held->sight;
    tip->same_plate_dof = held->dof;
    tip->same_plate_factor = tt_factor_line(held->dof);
    tip->same_plate_expanded_x_mm = tip->same_plate_factor * u_of(held->cov.xx_mm2);
    tip->same_plate_expanded_y_mm = tip->same_plate_factor * u_of(held->cov.yy_mm2);
    tip->same_plate_region = tt_cov2_region(held->cov, tt_factor_plane(held->dof));
}

/* Whether touches, sightings and plate determine the offset on the axis that @axis takes from a
 * covariance. What rests on nothing must be small; and so must all but the stated yaw and place,
 * which have findings of their own: edges that are all but parallel leave no weak direction, and
 * yet metres. Where the run's own scatter is smaller than a usual one it does not decide: a run is
 * then determined as it was expected to be before it was made (check.h). */
static bool offset_determined(const struct tt_view *view, const struct tt_tip_uncertainty *u,
                              size_t axis)
{
    double own[TT_SOURCES], whole = axis == TT_TIP_O_X ? u->offset.xx_mm2 : u->offset.yy_mm2;
    double usual = TT_FIRST_SCATTER_MM * TT_FIRST_SCATTER_MM, found = view->fit->touch_var_mm2;

    for (size_t s = 0; s < TT_SOURCES; s++) {
        own[s] = axis == TT_TIP_O_X ? u->source[s].xx_mm2 : u->source[s].yy_mm2;
    }
    double rest = whole - own[TT_SOURCE_YAW] - own[TT_SOURCE_PLACE];
    rest += view->noise->touch_known ? 0 : own[TT_SOURCE_TOUCH] * fmax(usual / found - 1, 0);
    return u->weak_u_mm[axis] < UNDETERMINED_MM && rest < UNDETERMINED_MM * UNDETERMINED_MM;
}

static void fill_offset(const struct tt_tip_uncertainty *u, const double *x,
                        struct tt_tip_result *tip)
{
    double own_x = u->prior_u_mm[TT_TIP_O_X] * u->prior_u_mm[TT_TIP_O_X],
           own_y = u->prior_u_mm[TT_TIP_O_Y] * u->prior_u_mm[TT_TIP_O_Y];

    tip->offset = (struct tt_machine_xy){x[TT_TIP_O_X], x[TT_TIP_O_Y]};
    tip->cov = u->offset;
    tip->dof = u->dof;
    tip->factor = tt_factor_line(u->dof);
    tip->expanded_x_mm = tip->factor * u_of(u->offset.xx_mm2);
    tip->expanded_y_mm = tip->factor * u_of(u->offset.yy_mm2);
    tip->region = tt_cov2_region(u->offset, tt_factor_plane(u->dof));
    const struct tt_cov2 *own = &u->less_plate;
    tip->prior_share =
        fmax(own->xx_mm2 > 0 ? own_x / own->xx_mm2 : 0, own->yy_mm2 > 0 ? own_y / own->yy_mm2 : 0);
}

static void fill_runout(const struct tt_tip_uncertainty *u, const double *x,
                        struct tt_tip_result *tip)
{
    const double *c = u->cc;
    size_t n = u->size;
    double e_x = x[TT_TIP_E_X], e_y = x[TT_TIP_E_Y], size = hypot(e_x, e_y);
    struct tt_cov2 cov = {c[TT_TIP_E_X * n + TT_TIP_E_X], c[TT_TIP_E_X * n + TT_TIP_E_Y],
                          c[TT_TIP_E_Y * n + TT_TIP_E_Y]};

    tip->runout_determined =
        u->weak_u_mm[TT_TIP_E_X] < UNDETERMINED_MM && u->weak_u_mm[TT_TIP_E_Y] < UNDETERMINED_MM;
    tip->runout = (struct tt_tip_xy){e_x, e_y};
    tip->eccentricity_mm = size;
    tip->runout_angle_rad = atan2(e_y, e_x);
    if (size > 0) {
        double c_x = e_x / size, c_y = e_y / size;
        tip->u_eccentricity_mm =
            u_of(c_x * c_x * cov.xx_mm2 + 2 * c_x * c_y * cov.xy_mm2 + c_y * c_y * cov.yy_mm2);
        tip->u_runout_angle_rad = fmin(
            u_of(c_y * c_y * cov.xx_mm2 - 2 * c_x * c_y * cov.xy_mm2 + c_x * c_x * cov.yy_mm2) /
                size,
            TT_PI);
    } else {
        tip->u_eccentricity_mm = u_of(fmax(cov.xx_mm2, cov.yy_mm2));
        tip->u_runout_angle_rad = TT_PI;
    }
    tip->runout_dof = u->runout_dof;
    tip->runout_factor = tt_factor_line(u->runout_dof);
    tip->radius_determined = u->weak_u_mm[TT_TIP_R] < UNDETERMINED_MM;
    tip->contact_radius_mm = x[TT_TIP_R];
    tip->u_contact_radius_mm = u_of(c[TT_TIP_R * n + TT_TIP_R]);
    tip->radius_dof = u->radius_dof;
    tip->radius_factor = tt_factor_line(u->radius_dof);
    tip->same_plate_u_radius_mm =
        u_of(fmax(c[TT_TIP_R * n + TT_TIP_R] - u->plate_radius_var_mm2, 0));
}

static bool fill_shape(const struct tt_view *view, size_t block, const struct tt_tip_uncertainty *u,
                       const double *x, struct tt_tip_result *tip)
{
    size_t n = u->size;

    tip->shape = TT_ARENA_NEW(&view->solution->arena, TT_MOST_ORDER, struct tt_shape_term);
    if (tip->shape == NULL) {
        return false;
    }
    for (unsigned k = 2; k <= TT_MOST_ORDER; k++) {
        if (!(view->model->terms.orders[block] >> k & 1U)) {
            continue;
        }
        size_t at = TT_TIP_SHAPE + 2 * tip->n_shape;
        double a = x[at], b = x[at + 1], size = hypot(a, b), c_a = size > 0 ? a / size : 1,
               c_b = size > 0 ? b / size : 0;
        double variance = c_a * c_a * u->cc[at * n + at] + 2 * c_a * c_b * u->cc[at * n + at + 1] +
                          c_b * c_b * u->cc[(at + 1) * n + at + 1];
        tip->shape[tip->n_shape++] = (struct tt_shape_term){.order = k,
                                                            .amplitude_mm = size,
                                                            .u_amplitude_mm = u_of(variance),
                                                            .angle_rad = atan2(b, a) / k};
    }
    return true;
}

/* What a change is judged by. */
struct change {
    struct tt_cov2 cov;
    double dof;
};

/* Offsets in full: of the full solution, what comes from the plate cancels on the same one. */
static struct change change_in_full(const struct tt_tip_uncertainty *u,
                                    const struct tt_tip_result *tip)
{
    return tip->change_on_same_plate ? (struct change){u->less_plate, u->less_plate_dof}
                                     : (struct change){u->offset, u->dof};
}

static const struct tt_earlier *earlier_of(const struct tt_view *view,
                                           const struct tt_tip_result *tip)
{
    const struct tiptrue_between *between = view->between;

    for (size_t i = 0; between != NULL && i < between->n_earlier && tip->change_on_same_plate;
         i++) {
        if (strcmp(between->earlier[i].tip, tip->name) == 0) {
            return &between->earlier[i];
        }
    }
    return NULL;
}

/* Held offset less that of the run which the present offset came from. Scatter between runs is in
 * this run's covariance already, if it is known; the earlier run has it too. */
static struct change change_since(const struct tt_view *view, const struct tt_earlier *earlier,
                                  const struct tt_tip_result *tip)
{
    struct tt_cov2 apart = tt_plate_apart(tt_effects_of(view->solution, tip), earlier->effects),
                   between = {0, 0, 0};
    double between_dof = HUGE_VAL;

    for (size_t i = 0; i < view->between->n_tips; i++) {
        const struct tt_between_tip *b = &view->between->tips[i];
        if (strcmp(b->name, tip->name) == 0) {
            between = (struct tt_cov2){b->u_x_mm * b->u_x_mm, 0, b->u_y_mm * b->u_y_mm};
            between_dof = b->dof;
        }
    }
    struct tt_cov2 whole = {
        tip->same_plate_cov.xx_mm2 + earlier->cov.xx_mm2 + between.xx_mm2 + apart.xx_mm2,
        tip->same_plate_cov.xy_mm2 + earlier->cov.xy_mm2 + between.xy_mm2 + apart.xy_mm2,
        tip->same_plate_cov.yy_mm2 + earlier->cov.yy_mm2 + between.yy_mm2 + apart.yy_mm2};
    const struct tt_scatter_part parts[] = {{tip->same_plate_cov, tip->same_plate_dof},
                                            {earlier->cov, earlier->dof},
                                            {between, between_dof}};
    return (struct change){whole, tt_effective_dof(parts, sizeof parts / sizeof parts[0], whole)};
}

/* @u: of the tip. NULL: it made no contact. False: out of memory. */
static bool fill_change(const struct tt_view *view, size_t run_tip,
                        const struct tt_tip_uncertainty *u, struct tt_tip_result *tip)
{
    bool failed = false;

    if (run_tip >= view->machine->n_tips || !view->machine->tips[run_tip].has_offset) {
        return true;
    }
    const struct tt_tip *stated = &view->machine->tips[run_tip];
    tip->has_present = true;
    tip->present = stated->offset;
    tip->change = (struct tt_machine_xy){tip->offset.x_mm - stated->offset.x_mm,
                                         tip->offset.y_mm - stated->offset.y_mm};
    tip->change_on_same_plate = tt_found_with(stated, view->plate);
    if (u == NULL) {
        return true;
    }
    const struct tt_earlier *earlier = earlier_of(view, tip);
    struct change change =
        earlier != NULL ? change_since(view, earlier, tip) : change_in_full(u, tip);
    if (earlier != NULL) {
        tip->change = (struct tt_machine_xy){tip->held.x_mm - earlier->held.x_mm,
                                             tip->held.y_mm - earlier->held.y_mm};
        tip->change_from = copy_text(view->solution, earlier->run, &failed);
    }
    tip->change_cov = change.cov;
    tip->change_dof = change.dof;
    tip->change_expanded_x_mm = tt_factor_line(change.dof) * u_of(change.cov.xx_mm2);
    tip->change_expanded_y_mm = tt_factor_line(change.dof) * u_of(change.cov.yy_mm2);
    if (!tip->offset_determined_x || !tip->offset_determined_y) {
        return !failed;
    }
    tip->p_unchanged =
        tt_p_plane(tt_cov2_distance2(change.cov, tip->change.x_mm, tip->change.y_mm), change.dof);
    if (view->solution->has_permitted_error) {
        tip->has_conformity = true;
        tip->p_conforming = tt_p_within(tip->change.x_mm, tip->change.y_mm, change.cov, change.dof,
                                        view->solution->permitted_error_mm);
    }
    return !failed;
}

/* ---- the plate held ---- */

static bool fill_features(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    const struct tt_held *held = &view->held;
    const struct tiptrue_plate *plate = view->plate;
    bool failed = false;

    s->features = TT_ARENA_NEW(&s->arena, held->n_features, struct tt_plate_feature);
    if (s->features == NULL) {
        return false;
    }
    for (size_t i = 0; i < held->n_features; i++) {
        const struct tt_prior *prior = &view->model->priors[held->features[i]];
        struct tt_plate_feature *feature = &s->features[s->n_features++];
        feature->u_mm = prior->u;
        if (prior->kind == TT_PRIOR_EDGE) {
            *feature =
                (struct tt_plate_feature){TT_FEATURE_EDGE, s->edge_names[prior->what], 0, prior->u};
        } else if (prior->kind == TT_PRIOR_GROUP) {
            char *name = copy_text(s, plate->groups[prior->what].name, &failed);
            char axis = prior->place == view->model->at_group[prior->what] ? 'x' : 'y';
            *feature = (struct tt_plate_feature){TT_FEATURE_GROUP, name, axis, prior->u};
        } else {
            char *name = copy_text(s, plate->marks[prior->what].name, &failed);
            char axis = prior->place == view->model->at_mark[prior->what] ? 'x' : 'y';
            *feature = (struct tt_plate_feature){TT_FEATURE_MARK, name, axis, prior->u};
        }
    }
    return !failed;
}

static bool fill_effects(struct tt_view *view, size_t block, struct tt_tip_result *tip)
{
    const struct tt_held *held = &view->held;
    size_t n = held->n_features;

    tip->plate_effect_x = TT_ARENA_NEW(&view->solution->arena, n, double);
    tip->plate_effect_y = TT_ARENA_NEW(&view->solution->arena, n, double);
    if (tip->plate_effect_x == NULL || tip->plate_effect_y == NULL) {
        return false;
    }
    memcpy(tip->plate_effect_x, held->effect + 2 * block * n, n * sizeof *held->effect);
    memcpy(tip->plate_effect_y, held->effect + (2 * block + 1) * n, n * sizeof *held->effect);
    return true;
}

/* Every tip that made contact over the first one that did. */
static bool fill_between_tips(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    const struct tt_tip_result *first = NULL;
    size_t over = TT_NONE;

    s->between_tips = TT_ARENA_NEW(&s->arena, s->n_tips, struct tt_tip_difference);
    if (s->between_tips == NULL) {
        return false;
    }
    for (size_t i = 0; i < s->n_tips; i++) {
        const struct tt_tip_result *tip = &s->tips[i];
        size_t block = view->model->tip_block[tt_run_tip(view, i)];
        if (block == TT_NONE) {
            continue;
        }
        if (first == NULL) {
            first = tip;
            over = block;
            continue;
        }
        struct tt_held_offset d = tt_held_between(&view->held, block, over);
        double factor = tt_factor_line(d.dof);
        s->between_tips[s->n_between_tips++] = (struct tt_tip_difference){
            .tip = tip->name,
            .over = first->name,
            .determined = tip->offset_determined_x && tip->offset_determined_y &&
                          first->offset_determined_x && first->offset_determined_y,
            .offset = d.offset,
            .cov = d.cov,
            .dof = d.dof,
            .factor = factor,
            .expanded_x_mm = factor * u_of(d.cov.xx_mm2),
            .expanded_y_mm = factor * u_of(d.cov.yy_mm2)};
    }
    return true;
}

/* Tips that were attempted but never made contact have no block: nothing of them is determined. */
static bool fill_absent_tip(struct tt_view *view, size_t run_tip, struct tt_tip_result *tip)
{
    bool failed = false;
    *tip = (struct tt_tip_result){
        .verdict = TIPTRUE_REPEAT, .dof = HUGE_VAL, .same_plate_dof = HUGE_VAL};
    tip->name = copy_text(view->solution, view->run->tips[run_tip], &failed);
    return fill_change(view, run_tip, NULL, tip) && !failed;
}

static bool fill_tip(struct tt_view *view, struct tt_uncertainty *all, size_t run_tip, size_t block,
                     struct tt_tip_result *tip)
{
    const struct tt_model *model = view->model;
    const double *x = model->x + model->system.first[block];
    struct tt_tip_uncertainty *u = &view->tips[block];
    bool failed = false;

    *tip = (struct tt_tip_result){0};
    tip->name = copy_text(view->solution, view->run->tips[run_tip], &failed);
    for (size_t i = 0; i < model->n_touches; i++) {
        if (model->cells[model->cell_of[i]].block == block) {
            tip->touches++;
            tip->used += view->fit->good[i] > 0;
        }
    }
    tt_uncertainty_of_tip(all, block, u);
    for (size_t j = 0; j < TT_TIP_SHAPE; j++) {
        for (size_t k = 0; k < TT_TIP_SHAPE; k++) {
            view->tip_cov[block][j * TT_TIP_SHAPE + k] = u->cc[j * u->size + k];
        }
    }
    view->held_tips[block] = tt_held_of_tip(&view->held, block);
    tip->offset_determined_x = offset_determined(view, u, TT_TIP_O_X);
    tip->offset_determined_y = offset_determined(view, u, TT_TIP_O_Y);
    fill_offset(u, x, tip);
    fill_held(&view->held_tips[block], tip);
    double common_xx_mm2, common_yy_mm2;
    tt_held_common(&view->held, block, &common_xx_mm2, &common_yy_mm2);
    tip->common_u_x_mm = sqrt(common_xx_mm2);
    tip->common_u_y_mm = sqrt(common_yy_mm2);
    fill_runout(u, x, tip);
    if (failed || !fill_effects(view, block, tip) || !fill_shape(view, block, u, x, tip) ||
        !fill_budget(view, u, tip)) {
        return false;
    }
    u->cc = NULL;
    return fill_change(view, run_tip, u, tip);
}

/* Add scatter between runs to what a run says of itself, degrees of freedom included. */
static void add_between(struct tt_cov2 *cov, double *cov_dof, struct tt_cov2 between, double dof)
{
    struct tt_cov2 whole = {cov->xx_mm2 + between.xx_mm2, cov->xy_mm2,
                            cov->yy_mm2 + between.yy_mm2};
    const struct tt_scatter_part parts[] = {{*cov, *cov_dof}, {between, dof}};

    *cov_dof = tt_effective_dof(parts, sizeof parts / sizeof parts[0], whole);
    *cov = whole;
}

bool tt_assemble_between(struct tt_view *view)
{
    const struct tiptrue_between *between = view->between;
    bool good = true;

    for (size_t i = 0; i < view->solution->n_tips; i++) {
        struct tt_tip_result *tip = &view->solution->tips[i];
        size_t run_tip = tt_run_tip(view, i), block = view->model->tip_block[run_tip], k = 0;
        while (k < between->n_tips && strcmp(between->tips[k].name, tip->name) != 0) {
            k++;
        }
        if (k == between->n_tips || block == TT_NONE) {
            continue;
        }
        const struct tt_between_tip *b = &between->tips[k];
        struct tt_tip_uncertainty *u = &view->tips[block];
        struct tt_held_offset *held = &view->held_tips[block];
        struct tt_cov2 part = {b->u_x_mm * b->u_x_mm, 0, b->u_y_mm * b->u_y_mm};
        add_between(&u->offset, &u->dof, part, b->dof);
        add_between(&u->less_plate, &u->less_plate_dof, part, b->dof);
        add_between(&held->cov, &held->dof, part, b->dof);
        double prior_share =
            tip->prior_share; /* of what the run says: scatter makes no statement firmer */
        fill_offset(u, view->model->x + view->model->system.first[block], tip);
        fill_held(held, tip);
        tip->prior_share = prior_share;
        estimated_line(tip, TT_BUDGET_BETWEEN_RUNS, b->dof, part.xx_mm2, part.yy_mm2);
        good = fill_change(view, run_tip, u, tip) && good;
    }
    return good;
}

static enum tiptrue_status fill_tips(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    struct tt_uncertainty all;
    enum tiptrue_status status = tt_uncertainty_init(&all, view->scratch, view->fit);
    bool *attempted = TT_ARENA_NEW(view->scratch, view->run->n_tips, bool);

    view->tips = TT_ARENA_NEW(view->scratch, view->model->n_blocks, struct tt_tip_uncertainty);
    view->held_tips = TT_ARENA_NEW(view->scratch, view->model->n_blocks, struct tt_held_offset);
    view->tip_cov = tt_arena_get(view->scratch, view->model->n_blocks, sizeof *view->tip_cov);
    s->tips = TT_ARENA_NEW(&s->arena, view->run->n_tips, struct tt_tip_result);
    if (status != TIPTRUE_OK || attempted == NULL || view->tips == NULL || view->tip_cov == NULL ||
        view->held_tips == NULL || s->tips == NULL ||
        !tt_held_make(&view->held, view->scratch, view->fit) || !fill_features(view)) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < view->run->n_observations; i++) {
        if (view->run->observations[i].kind == TT_TOUCH) {
            attempted[view->run->observations[i].tip] = true;
        }
    }
    for (size_t t = 0; t < view->run->n_tips; t++) {
        size_t block = view->model->tip_block[t];
        if (!attempted[t]) {
            continue;
        }
        struct tt_tip_result *tip = &s->tips[s->n_tips++];
        if (block == TT_NONE ? !fill_absent_tip(view, t, tip)
                             : !fill_tip(view, &all, t, block, tip)) {
            return TIPTRUE_E_MEMORY;
        }
    }
    return fill_between_tips(view) ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}

/* ---- edges and rows ---- */

static bool fill_edges(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    const struct tt_model *model = view->model;
    size_t n = view->plate->n_edges;
    struct tt_edge_result *edges = TT_ARENA_NEW(view->scratch, n, struct tt_edge_result);
    bool failed = false;

    s->edges = TT_ARENA_NEW(&s->arena, n, struct tt_edge_result);
    if (edges == NULL || s->edges == NULL) {
        return false;
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        struct tt_edge_result *edge = &edges[model->cells[model->cell_of[i]].edge];
        double r = model->residual[i];
        edge->touches++;
        if (view->fit->good[i] > 0) {
            edge->used++;
            edge->mean_residual_mm += r;
            edge->rms_residual_mm += r * r;
        }
    }
    for (size_t j = 0; j < n; j++) {
        struct tt_edge_result *edge = &edges[j];
        if (edge->touches == 0) {
            continue;
        }
        double used = edge->used > 0 ? (double)edge->used : 1;
        edge->name = copy_text(s, view->plate->edges[j].name, &failed);
        edge->mean_residual_mm /= used;
        edge->rms_residual_mm = sqrt(edge->rms_residual_mm / used);
        size_t at = model->at_edge[j];
        if (at != TT_NONE) {
            edge->shift_mm = model->x[at];
            edge->u_shift_mm = u_of(model->system.c[at * model->n_border + at]);
        }
        s->edges[s->n_edges++] = *edge;
    }
    return !failed;
}

static bool fill_rows(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    const struct tiptrue_run *run = view->run;
    const struct tt_model *model = view->model;
    bool failed = false;
    char **edges = TT_ARENA_NEW(view->scratch, view->plate->n_edges, char *),
         **marks = TT_ARENA_NEW(view->scratch, view->plate->n_marks, char *);
    char **tips = TT_ARENA_NEW(view->scratch, run->n_tips, char *);

    s->rows = TT_ARENA_NEW(&s->arena, run->n_observations, struct tt_row_result);
    if (s->rows == NULL || edges == NULL || marks == NULL || tips == NULL) {
        return false;
    }
    s->n_rows = run->n_observations;
    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        struct tt_row_result *row = &s->rows[i];
        *row = (struct tt_row_result){
            .line = o->line, .kind = o->kind, .use = o->use, .rotation_rad = o->rotation_rad};
        row->setup = s->setup_names[o->setup];
        if (o->kind == TT_TOUCH || o->kind == TT_WARMUP) {
            char **name = &edges[o->target];
            *name =
                *name == NULL ? copy_text(s, view->plate->edges[o->target].name, &failed) : *name;
            row->target = *name;
            char **tip = o->tip == TT_NONE ? NULL : &tips[o->tip];
            if (tip != NULL) {
                *tip = *tip == NULL ? copy_text(s, run->tips[o->tip], &failed) : *tip;
                row->tip = *tip;
            }
        } else if (tt_is_sighting(o->kind)) {
            char **name = &marks[o->target];
            *name =
                *name == NULL ? copy_text(s, view->plate->marks[o->target].name, &failed) : *name;
            row->target = *name;
        } else if (o->target != TT_NONE && o->target < view->plate->n_pads) {
            row->target = copy_text(s, view->plate->pads[o->target].name, &failed);
        }
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        struct tt_row_result *row = &s->rows[model->row[i]];
        row->residual_mm = model->residual[i];
        row->weight = view->fit->good[i];
        row->set_aside = !(view->fit->good[i] > 0);
        row->moved_mm = tt_touch_moved(model, i);
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        struct tt_row_result *row = &s->rows[model->sights[i].row];
        row->residual_mm = model->sights[i].residual[0];
        row->residual_y_mm = model->sights[i].residual[1];
        struct tt_machine_xy moved = tt_sight_moved(model, &model->sights[i]);
        row->moved_mm = moved.x_mm;
        row->moved_y_mm = moved.y_mm;
        row->weight = tt_sight_weight(&model->sights[i], 1 / view->fit->sight_var_mm2) *
                      view->fit->sight_var_mm2 * model->sights[i].ratio;
        row->set_aside = model->sights[i].extra_mm2 > 0;
    }
    return !failed;
}

/* What this run would not see of its edges and marks, into s->edges (in the plate's order) and
 * s->marks. */
static bool fill_unseen(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    const struct tt_model *model = view->model;
    const struct tiptrue_plate *plate = view->plate;
    struct tt_unseen *edges = TT_ARENA_NEW(view->scratch, plate->n_edges, struct tt_unseen),
                     *marks = TT_ARENA_NEW(view->scratch, plate->n_marks, struct tt_unseen);
    bool(*determined)[2] = tt_arena_get(view->scratch, model->n_blocks, sizeof *determined),
    failed = false;
    size_t touched = 0;

    s->marks = TT_ARENA_NEW(&s->arena, plate->n_marks, struct tt_mark_result);
    if (edges == NULL || marks == NULL || determined == NULL || s->marks == NULL) {
        return false;
    }
    for (size_t i = 0; i < s->n_tips; i++) {
        size_t block = model->tip_block[tt_run_tip(view, i)];
        if (block != TT_NONE) {
            determined[block][0] = s->tips[i].offset_determined_x;
            determined[block][1] = s->tips[i].offset_determined_y;
        }
    }
    if (tt_unseen(view->fit, view->scratch, (const bool(*)[2])determined, edges, marks) !=
        TIPTRUE_OK) {
        return false;
    }
    for (size_t j = 0; j < plate->n_edges && touched < s->n_edges; j++) {
        if (strcmp(s->edges[touched].name, plate->edges[j].name) == 0) {
            s->edges[touched].unseen_shift_mm = edges[j].shift_mm;
            s->edges[touched++].unseen_effect_mm = edges[j].effect_mm;
        }
    }
    for (size_t m = 0; m < plate->n_marks; m++) {
        size_t i = 0;
        while (i < model->n_sights && model->sights[i].mark != m) {
            i++;
        }
        if (i < model->n_sights) {
            const char *name = copy_text(s, plate->marks[m].name, &failed);
            s->marks[s->n_marks++] =
                (struct tt_mark_result){name, marks[m].shift_mm, marks[m].effect_mm};
        }
    }
    return !failed;
}

enum tiptrue_status tt_assemble(struct tt_view *view)
{
    enum tiptrue_status status;

    if (!fill_run(view) || !fill_names(view)) {
        return TIPTRUE_E_MEMORY;
    }
    view->scatters = tt_scatters_of(view->fit);
    fill_scatter(view);
    if ((status = fill_tips(view)) != TIPTRUE_OK) {
        return status;
    }
    if (!fill_poses(view) || !fill_edges(view) || !tt_direct_lines(view) || !fill_unseen(view) ||
        !fill_rows(view) || (view->between != NULL && !tt_respond(view))) {
        return TIPTRUE_E_MEMORY;
    }
    tt_assemble_terms(view);
    return TIPTRUE_OK;
}
