/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* One tip of a solution as JSON: an object of "tips" in tiptrue.result/1. */
#include "config.h"

#include "output/json/json_tip.h"

#include <math.h>

#include "output/verdict.h"

static bool both_determined(const struct tt_tip_result *tip)
{
    return tip->offset_determined_x && tip->offset_determined_y;
}

static void write_matrix(struct tt_json *json, bool x, bool y, const struct tt_cov2 *cov)
{
    tt_json_key(json, "covariance_mm2");
    tt_json_open(json, '[');
    tt_json_open(json, '[');
    tt_json_number_if(json, x, cov->xx_mm2);
    tt_json_number_if(json, x && y, cov->xy_mm2);
    tt_json_close(json, ']');
    tt_json_open(json, '[');
    tt_json_number_if(json, x && y, cov->xy_mm2);
    tt_json_number_if(json, y, cov->yy_mm2);
    tt_json_close(json, ']');
    tt_json_close(json, ']');
}

static void write_covariance(struct tt_json *json, const struct tt_tip_result *t,
                             const struct tt_cov2 *cov)
{
    write_matrix(json, t->offset_determined_x, t->offset_determined_y, cov);
}

/* null where @determined is false. */
static void write_region(struct tt_json *json, bool determined, double factor,
                         const struct tt_region *region)
{
    tt_json_key(json, "region");
    if (!determined) {
        tt_json_null(json);
        return;
    }
    tt_json_open(json, '{');
    tt_json_key_number(json, "factor", factor);
    tt_json_key_fixed(json, "semi_major_mm", region->semi_major_mm);
    tt_json_key_fixed(json, "semi_minor_mm", region->semi_minor_mm);
    tt_json_key_fixed(json, "angle_deg", tt_deg_from_rad(region->angle_rad));
    tt_json_close(json, '}');
}

static void write_offset(struct tt_json *json, const struct tt_tip_result *t)
{
    const struct tt_cov2 *cov = &t->cov;
    double u_product = sqrt(cov->xx_mm2) * sqrt(cov->yy_mm2);

    tt_json_key_xy_if(json, "offset_mm", t->offset_determined_x, t->offset.x_mm,
                      t->offset_determined_y, t->offset.y_mm);
    tt_json_key_xy_if(json, "u_offset_mm", t->offset_determined_x, sqrt(cov->xx_mm2),
                      t->offset_determined_y, sqrt(cov->yy_mm2));
    tt_json_key_number_if(json, "correlation", both_determined(t) && u_product > 0,
                          cov->xy_mm2 / (u_product > 0 ? u_product : 1));
    write_covariance(json, t, cov);
}

static void write_effect(struct tt_json *json, const char *axis, const double effect[], size_t n)
{
    tt_json_key(json, axis);
    tt_json_open(json, '[');
    for (size_t i = 0; i < n; i++) {
        tt_json_number(json, effect[i]);
    }
    tt_json_close(json, ']');
}

/* In the order of "plate_features"; null where they are not known. */
static void write_effects(struct tt_json *json, const struct tiptrue_solution *s,
                          const struct tt_tip_result *t)
{
    tt_json_key(json, "plate_effect");
    if (t->plate_effect_x == NULL || t->plate_effect_y == NULL || !both_determined(t)) {
        tt_json_null(json);
        return;
    }
    tt_json_open(json, '{');
    write_effect(json, "x", t->plate_effect_x, s->n_features);
    write_effect(json, "y", t->plate_effect_y, s->n_features);
    tt_json_close(json, '}');
}

static void write_same_plate(struct tt_json *json, const struct tiptrue_solution *s,
                             const struct tt_tip_result *t)
{
    const struct tt_cov2 *cov = &t->same_plate_cov;
    bool x = t->offset_determined_x, y = t->offset_determined_y;

    tt_json_key(json, "same_plate");
    tt_json_open(json, '{');
    tt_json_key_xy_if(json, "offset_mm", x, t->held.x_mm, y, t->held.y_mm);
    tt_json_key_xy_if(json, "u_offset_mm", x, sqrt(cov->xx_mm2), y, sqrt(cov->yy_mm2));
    write_covariance(json, t, cov);
    tt_json_key_number_if(json, "dof", x || y, t->same_plate_dof);
    tt_json_key_number_if(json, "factor", x || y, t->same_plate_factor);
    tt_json_key_xy_if(json, "expanded_mm", x, t->same_plate_expanded_x_mm, y,
                      t->same_plate_expanded_y_mm);
    write_region(json, x && y, t->same_plate_region_factor, &t->same_plate_region);
    tt_json_key_xy_if(json, "common_u_mm", x, t->common_u_x_mm, y, t->common_u_y_mm);
    write_effects(json, s, t);
    tt_json_key_fixed_if(json, "u_contact_radius_mm", t->radius_determined,
                         t->same_plate_u_radius_mm);
    tt_json_close(json, '}');
}

static void write_coverage(struct tt_json *json, const struct tt_tip_result *t)
{
    bool x = t->offset_determined_x, y = t->offset_determined_y;

    tt_json_key(json, "coverage");
    tt_json_open(json, '{');
    tt_json_key_number(json, "probability", 0.95);
    tt_json_key_number_if(json, "dof", x || y, t->dof);
    tt_json_key_number_if(json, "factor", x || y, t->factor);
    tt_json_key_xy_if(json, "expanded_mm", x, t->expanded_x_mm, y, t->expanded_y_mm);
    write_region(json, x && y, t->region_factor, &t->region);
    tt_json_close(json, '}');
}

static void write_runout(struct tt_json *json, const struct tt_tip_result *t)
{
    bool known = t->runout_determined;

    tt_json_key(json, "runout");
    tt_json_open(json, '{');
    tt_json_key_xy_if(json, "at_zero_mm", known, t->runout.x_mm, known, t->runout.y_mm);
    tt_json_key_fixed_if(json, "eccentricity_mm", known, t->eccentricity_mm);
    tt_json_key_fixed_if(json, "u_mm", known, t->u_eccentricity_mm);
    tt_json_key_fixed_if(json, "angle_deg", known, tt_deg_from_rad(t->runout_angle_rad));
    tt_json_key_fixed_if(json, "u_deg", known, tt_deg_from_rad(t->u_runout_angle_rad));
    tt_json_key_number_if(json, "dof", known, t->runout_dof);
    tt_json_key_number_if(json, "factor", known, t->runout_factor);
    tt_json_close(json, '}');
    tt_json_key_fixed_if(json, "contact_radius_mm", t->radius_determined, t->contact_radius_mm);
    tt_json_key_fixed_if(json, "u_contact_radius_mm", t->radius_determined, t->u_contact_radius_mm);
    tt_json_key_number_if(json, "contact_radius_dof", t->radius_determined, t->radius_dof);
    tt_json_key_number_if(json, "contact_radius_factor", t->radius_determined, t->radius_factor);
}

static void write_shape(struct tt_json *json, const struct tt_tip_result *t)
{
    tt_json_key(json, "shape");
    tt_json_open(json, '[');
    for (size_t i = 0; i < t->n_shape; i++) {
        const struct tt_shape_term *term = &t->shape[i];
        tt_json_open(json, '{');
        tt_json_key_count(json, "order", term->order);
        tt_json_key_fixed(json, "amplitude_mm", term->amplitude_mm);
        tt_json_key_fixed(json, "u_mm", term->u_amplitude_mm);
        tt_json_key_fixed(json, "angle_deg", tt_deg_from_rad(term->angle_rad));
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void write_budget(struct tt_json *json, const struct tt_tip_result *t)
{
    tt_json_key(json, "budget");
    tt_json_open(json, '[');
    for (size_t i = 0; i < t->n_budget; i++) {
        const struct tt_budget_line *line = &t->budget[i];
        const char type[2] = {line->type, '\0'};
        tt_json_open(json, '{');
        tt_json_key_text(json, "source", line->source);
        tt_json_key_text(json, "code", tt_budget_name(line->code));
        tt_json_key_text(json, "type", type);
        tt_json_key(json, "of_plate");
        tt_json_bool(json, line->of_plate);
        tt_json_key_xy_if(json, "u_mm", t->offset_determined_x, line->u_x_mm,
                          t->offset_determined_y, line->u_y_mm);
        tt_json_key_number_if(json, "dof", line->dof > 0, line->dof);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

/* The present offset and what is said of it; all null when none is stated. */
static void write_present(struct tt_json *json, const struct tiptrue_solution *s,
                          const struct tt_tip_result *t)
{
    if (t->has_present) {
        bool x = t->offset_determined_x, y = t->offset_determined_y;
        tt_json_key_xy(json, "present_mm", t->present.x_mm, t->present.y_mm);
        tt_json_key_xy_if(json, "change_mm", x, t->change.x_mm, y, t->change.y_mm);
        tt_json_key_xy_if(json, "change_expanded_mm", x, t->change_expanded_x_mm, y,
                          t->change_expanded_y_mm);
    } else {
        tt_json_key_text(json, "present_mm", NULL);
        tt_json_key_text(json, "change_mm", NULL);
        tt_json_key_text(json, "change_expanded_mm", NULL);
    }
    tt_json_key_text(json, "change_from_run", t->has_present ? t->change_from : NULL);
    tt_json_key(json, "change_on_same_plate");
    tt_json_bool(json, t->has_present && t->change_on_same_plate);
    tt_json_key_number_if(json, "p_unchanged", t->has_present && both_determined(t),
                          t->p_unchanged);
    tt_json_key(json, "conformity");
    if (t->has_conformity && both_determined(t)) {
        tt_json_open(json, '{');
        tt_json_key_fixed(json, "permitted_error_mm", s->permitted_error_mm);
        tt_json_key_number(json, "probability", t->p_conforming);
        tt_json_close(json, '}');
    } else {
        tt_json_null(json);
    }
}

/* How far down the tip reaches; null without touches from above. */
static void write_height(struct tt_json *json, const struct tt_height_result *h)
{
    tt_json_key(json, "height");
    if (h == NULL) {
        tt_json_null(json);
        return;
    }
    tt_json_open(json, '{');
    tt_json_key_fixed_if(json, "value_mm", h->determined, h->value_mm);
    tt_json_key_fixed_if(json, "u_mm", h->determined, h->u_mm);
    tt_json_key_fixed_if(json, "expanded_mm", h->determined, h->expanded_mm);
    tt_json_key_number_if(json, "dof", h->determined, h->dof);
    tt_json_key_number_if(json, "factor", h->determined, h->factor);
    tt_json_key(json, "same_plate");
    tt_json_open(json, '{');
    tt_json_key_fixed_if(json, "u_mm", h->determined, h->same_plate_u_mm);
    tt_json_key_fixed_if(json, "expanded_mm", h->determined, h->same_plate_expanded_mm);
    tt_json_close(json, '}');
    tt_json_key(json, "touches");
    tt_json_open(json, '{');
    tt_json_key_count(json, "read", h->touches);
    tt_json_key_count(json, "used", h->used);
    tt_json_close(json, '}');
    tt_json_key(json, "face_runout");
    if (h->has_face_runout) {
        tt_json_open(json, '{');
        tt_json_key_fixed(json, "amplitude_mm", h->face_amplitude_mm);
        tt_json_key_fixed(json, "u_mm", h->u_face_amplitude_mm);
        tt_json_key_fixed(json, "angle_deg", tt_deg_from_rad(h->face_angle_rad));
        tt_json_close(json, '}');
    } else {
        tt_json_null(json);
    }
    bool compared = h->has_present && h->determined;
    tt_json_key_fixed_if(json, "present_mm", h->has_present, h->present_mm);
    tt_json_key_fixed_if(json, "change_mm", compared, h->change_mm);
    tt_json_key_number_if(json, "p_unchanged", compared, h->p_unchanged);
    tt_json_key(json, "conformity");
    if (h->has_conformity) {
        tt_json_open(json, '{');
        tt_json_key_fixed(json, "permitted_error_mm", h->permitted_error_mm);
        tt_json_key_number(json, "probability", h->p_conforming);
        tt_json_close(json, '}');
    } else {
        tt_json_null(json);
    }
    tt_json_key_text(json, "verdict", h->has_verdict ? tt_verdict_word(h->verdict) : NULL);
    tt_json_close(json, '}');
}

static void write_tip_verdict(struct tt_json *json, const struct tiptrue_solution *s,
                              const struct tt_tip_result *t)
{
    tt_json_key_text(json, "offset_verdict",
                     s->least_squares ? NULL : tt_verdict_word(t->offset_verdict));
    tt_json_key_text(json, "verdict", s->least_squares ? NULL : tt_verdict_word(t->verdict));
    tt_json_key(json, "reasons");
    tt_json_open(json, '[');
    for (size_t i = 0; i < t->n_reasons; i++) {
        tt_json_text(json, t->reasons[i].text);
    }
    tt_json_close(json, ']');
    tt_json_key(json, "reason_codes");
    tt_json_open(json, '[');
    for (size_t i = 0; i < t->n_reasons; i++) {
        tt_json_text(json, tt_reason_name(&t->reasons[i]));
    }
    tt_json_close(json, ']');
}

static void write_trial_axis(struct tt_json *json, const char *key,
                             const struct tt_trial_axis *axis)
{
    tt_json_key(json, key);
    tt_json_open(json, '{');
    tt_json_key_fixed(json, "u_mm", axis->u_mm);
    tt_json_key_fixed(json, "mean_mm", axis->mean_mm);
    tt_json_key(json, "interval_mm");
    tt_json_open(json, '[');
    tt_json_fixed(json, axis->low_mm);
    tt_json_fixed(json, axis->high_mm);
    tt_json_close(json, ']');
    tt_json_key_fixed(json, "difference_mm", axis->off_mm);
    tt_json_key_fixed(json, "tolerance_mm", axis->tolerance_mm);
    tt_json_key_fixed(json, "u_difference_mm", axis->noise_mm);
    tt_json_key(json, "agrees");
    tt_json_bool(json, axis->agrees);
    tt_json_close(json, '}');
}

static void write_trials(struct tt_json *json, const struct tt_tip_result *t)
{
    tt_json_key(json, "monte_carlo");
    if (t->trials == NULL) {
        tt_json_null(json);
        return;
    }
    tt_json_open(json, '{');
    tt_json_key_count(json, "trials", t->trials->n);
    write_trial_axis(json, "x", &t->trials->x);
    write_trial_axis(json, "y", &t->trials->y);
    tt_json_key_number(json, "region_coverage", t->trials->covered);
    tt_json_close(json, '}');
}

void tt_json_tip(struct tt_json *json, const struct tiptrue_solution *s,
                 const struct tt_tip_result *t)
{
    tt_json_open(json, '{');
    tt_json_key_text(json, "tip", t->name);
    tt_json_key(json, "touches");
    tt_json_open(json, '{');
    tt_json_key_count(json, "read", t->touches);
    tt_json_key_count(json, "used", t->used);
    tt_json_close(json, '}');
    write_offset(json, t);
    write_same_plate(json, s, t);
    write_coverage(json, t);
    write_runout(json, t);
    write_shape(json, t);
    write_budget(json, t);
    write_trials(json, t);
    tt_json_key_number(json, "prior_share", t->prior_share);
    write_present(json, s, t);
    write_height(json, t->height);
    write_tip_verdict(json, s, t);
    tt_json_close(json, '}');
}

void tt_json_tip_difference(struct tt_json *json, const struct tt_tip_difference *d)
{
    bool known = d->determined;

    tt_json_open(json, '{');
    tt_json_key_text(json, "tip", d->tip);
    tt_json_key_text(json, "over", d->over);
    tt_json_key_xy_if(json, "offset_mm", known, d->offset.x_mm, known, d->offset.y_mm);
    write_matrix(json, known, known, &d->cov);
    tt_json_key_number_if(json, "dof", known, d->dof);
    tt_json_key_number_if(json, "factor", known, d->factor);
    tt_json_key_xy_if(json, "expanded_mm", known, d->expanded_x_mm, known, d->expanded_y_mm);
    tt_json_key_fixed_if(json, "height_mm", d->height_determined, d->height_mm);
    tt_json_key_fixed_if(json, "u_height_mm", d->height_determined, d->u_height_mm);
    tt_json_key_fixed_if(json, "expanded_height_mm", d->height_determined, d->expanded_height_mm);
    tt_json_close(json, '}');
}
