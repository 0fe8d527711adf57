/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A tip of a result. Offset and covariance must be there; the rest may be missing from a document
 * that another program wrote. */
#include "config.h"

#include "ingest/result.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"

/* An element of a matrix or of a pair; null = 0. */
static double element(struct tt_fields *fields, const cJSON *item, const char *what,
                      const char *key)
{
    double value = 0;

    if (item == NULL || cJSON_IsNull(item)) {
        return 0;
    }
    const struct tt_json_where *where = tt_json_where(&fields->json, item);
    if (!cJSON_IsNumber(item) || tt_number_read(where->value, (size_t)(where->end - where->value),
                                                '.', &value, NULL) != TT_NUMBER_OK) {
        tt_field_tell_form(fields, item, what, key, "a matrix of numbers");
    }
    return value;
}

bool tt_result_covariance(struct tt_fields *fields, const cJSON *object, const char *what,
                          struct tt_cov2 *cov)
{
    const char *key = "covariance_mm2";
    const cJSON *rows = tt_field_array(fields, object, what, key, TT_OPTIONAL);
    const cJSON *first = rows != NULL ? rows->child : NULL,
                *second = first != NULL ? first->next : NULL;

    if (rows == NULL) {
        return false;
    }
    if (cJSON_GetArraySize(rows) != 2 || !cJSON_IsArray(first) || !cJSON_IsArray(second) ||
        cJSON_GetArraySize(first) != 2 || cJSON_GetArraySize(second) != 2) {
        tt_field_tell_form(fields, rows, what, key, "[[xx, xy], [xy, yy]]");
        return false;
    }
    *cov = (struct tt_cov2){element(fields, first->child, what, key),
                            element(fields, first->child->next, what, key),
                            element(fields, second->child->next, what, key)};
    double yx = element(fields, second->child, what, key);
    /* rounded on its way through a program, a variance may become 0, but a matrix that is no
     * covariance is a mistake */
    if (cov->xx_mm2 < 0 || cov->yy_mm2 < 0 ||
        fabs(cov->xy_mm2 - yx) > 1e-9 * (cov->xx_mm2 + cov->yy_mm2) ||
        cov->xy_mm2 * cov->xy_mm2 > cov->xx_mm2 * cov->yy_mm2 * (1 + 1e-9)) {
        tt_fault(fields->diagnose, tt_json_place(&fields->json, rows),
                 "symmetric, variances on the diagonal", "%s: '%s' is no covariance matrix", what,
                 key);
        return false;
    }
    return true;
}

static double dof_of(struct tt_fields *fields, const cJSON *object, const char *what)
{
    double dof = HUGE_VAL; /* null: infinitely many */

    if (object != NULL && tt_result_number(fields, object, what, "dof", &dof) && !(dof > 0)) {
        tt_fault(fields->diagnose,
                 tt_json_place(&fields->json, cJSON_GetObjectItemCaseSensitive(object, "dof")),
                 NULL, "%s: 'dof' must be more than 0", what);
        dof = HUGE_VAL;
    }
    return dof;
}

static void read_region(struct tt_fields *fields, const cJSON *object, const char *what,
                        double *factor, struct tt_region *region)
{
    const cJSON *item =
        object != NULL ? tt_field_object(fields, object, what, "region", TT_OPTIONAL) : NULL;

    if (item != NULL) {
        tt_result_number(fields, item, what, "factor", factor);
        tt_result_number(fields, item, what, "semi_major_mm", &region->semi_major_mm);
        tt_result_number(fields, item, what, "semi_minor_mm", &region->semi_minor_mm);
        region->angle_rad = tt_result_angle(fields, item, what, "angle_deg");
    }
}

static void read_coverage(struct tt_fields *fields, const cJSON *object, const char *what,
                          struct tt_tip_result *tip)
{
    const cJSON *coverage = tt_field_object(fields, object, what, "coverage", TT_OPTIONAL);

    tip->dof = dof_of(fields, coverage, what);
    if (coverage != NULL) {
        struct tt_result_xy expanded = tt_result_xy(fields, coverage, what, "expanded_mm");
        tt_result_number(fields, coverage, what, "factor", &tip->factor);
        tip->expanded_x_mm = expanded.x;
        tip->expanded_y_mm = expanded.y;
    }
    read_region(fields, coverage, what, &tip->region_factor, &tip->region);
}

static void read_same_plate(struct tt_fields *fields, const cJSON *object, const char *what,
                            size_t n_features, struct tt_tip_result *tip)
{
    const cJSON *same = tt_field_object(fields, object, what, "same_plate", TT_OPTIONAL);

    tip->same_plate_dof = dof_of(fields, same, what);
    tip->same_plate_cov = tip->cov; /* nothing better is known */
    tip->held = tip->offset;
    tip->same_plate_u_radius_mm = tip->u_contact_radius_mm;
    if (same == NULL) {
        return;
    }
    struct tt_result_xy expanded = tt_result_xy(fields, same, what, "expanded_mm"),
                        common = tt_result_xy(fields, same, what, "common_u_mm"),
                        held = tt_result_xy(fields, same, what, "offset_mm");
    tip->has_held = cJSON_HasObjectItem(same, "offset_mm");
    if (held.has_x || held.has_y) {
        tip->held = (struct tt_machine_xy){held.x, held.y};
    }
    tt_result_read_effects(fields, same, what, n_features, tip);
    (void)tt_result_covariance(fields, same, what, &tip->same_plate_cov);
    tt_result_number(fields, same, what, "factor", &tip->same_plate_factor);
    tip->same_plate_expanded_x_mm = expanded.x;
    tip->same_plate_expanded_y_mm = expanded.y;
    tip->common_u_x_mm = common.x;
    tip->common_u_y_mm = common.y;
    tt_result_number(fields, same, what, "u_contact_radius_mm", &tip->same_plate_u_radius_mm);
    read_region(fields, same, what, &tip->same_plate_region_factor, &tip->same_plate_region);
}

static void read_offset(struct tt_fields *fields, const cJSON *object, const char *what,
                        struct tt_tip_result *tip)
{
    struct tt_result_xy offset = tt_result_xy(fields, object, what, "offset_mm"),
                        u = tt_result_xy(fields, object, what, "u_offset_mm");

    tip->offset_determined_x = offset.has_x;
    tip->offset_determined_y = offset.has_y;
    tip->offset = (struct tt_machine_xy){offset.x, offset.y};
    if (!tt_result_covariance(fields, object, what, &tip->cov)) {
        double correlation = 0;
        tt_result_number_in(fields, object, what, "correlation", -1, 1, &correlation);
        if (u.x < 0 || u.y < 0) {
            tt_fault(fields->diagnose,
                     tt_json_place(&fields->json,
                                   cJSON_GetObjectItemCaseSensitive(object, "u_offset_mm")),
                     NULL, "%s: 'u_offset_mm' is negative", what);
        }
        tip->cov = (struct tt_cov2){u.x * u.x, correlation * u.x * u.y, u.y * u.y};
        if ((offset.has_x && !u.has_x) || (offset.has_y && !u.has_y)) {
            tt_fault(fields->diagnose, tt_json_place(&fields->json, object),
                     "an offset without its uncertainty is of no use",
                     "%s: neither 'covariance_mm2' nor 'u_offset_mm' is there", what);
        }
    }
}

static void read_runout(struct tt_fields *fields, const cJSON *object, const char *what,
                        struct tt_tip_result *tip)
{
    const cJSON *runout = tt_field_object(fields, object, what, "runout", TT_OPTIONAL);

    if (runout != NULL) {
        struct tt_result_xy e = tt_result_xy(fields, runout, what, "at_zero_mm");
        tip->runout_determined = e.has_x && e.has_y;
        tip->runout = (struct tt_tip_xy){e.x, e.y};
        tt_result_number_in(fields, runout, what, "eccentricity_mm", 0, HUGE_VAL,
                            &tip->eccentricity_mm);
        tt_result_number_in(fields, runout, what, "u_mm", 0, HUGE_VAL, &tip->u_eccentricity_mm);
        tip->runout_angle_rad = tt_result_angle(fields, runout, what, "angle_deg");
        tip->u_runout_angle_rad = tt_result_angle(fields, runout, what, "u_deg");
        tip->runout_dof = dof_of(fields, runout, what);
        tt_result_number(fields, runout, what, "factor", &tip->runout_factor);
    }
    tip->radius_determined =
        tt_result_number(fields, object, what, "contact_radius_mm", &tip->contact_radius_mm);
    tt_result_number_in(fields, object, what, "u_contact_radius_mm", 0, HUGE_VAL,
                        &tip->u_contact_radius_mm);
    tip->radius_dof = HUGE_VAL;
    tt_result_number(fields, object, what, "contact_radius_dof", &tip->radius_dof);
    tip->radius_factor = tip->factor;
    tt_result_number(fields, object, what, "contact_radius_factor", &tip->radius_factor);
}

static void read_shape(struct tt_fields *fields, const cJSON *object, const char *what,
                       struct tt_tip_result *tip)
{
    size_t n;
    const cJSON *array = tt_result_array(fields, object, what, "shape", &n);

    tip->shape = TT_ARENA_NEW(fields->arena, n, struct tt_shape_term);
    fields->out_of_memory = fields->out_of_memory || tip->shape == NULL;
    for (const cJSON *item = n > 0 ? array->child : NULL; item != NULL && tip->shape != NULL;
         item = item->next) {
        struct tt_shape_term *term = &tip->shape[tip->n_shape++];
        term->order = (unsigned)tt_result_count(fields, item, what, "order");
        tt_result_number(fields, item, what, "amplitude_mm", &term->amplitude_mm);
        tt_result_number(fields, item, what, "u_mm", &term->u_amplitude_mm);
        term->angle_rad = tt_result_angle(fields, item, what, "angle_deg");
    }
}

/* Whether the budget has a line of @code among its first @n. */
static bool has_line(const struct tt_tip_result *tip, size_t n, enum tt_budget_code code)
{
    bool has = false;

    for (size_t i = 0; i < n; i++) {
        has = has || tip->budget[i].code == code;
    }
    return has;
}

static void read_budget(struct tt_fields *fields, const cJSON *object, const char *what,
                        struct tt_tip_result *tip)
{
    static const char *const types[] = {"A", "B"};
    size_t n;
    const cJSON *array = tt_result_array(fields, object, what, "budget", &n);

    tip->budget = TT_ARENA_NEW(fields->arena, n, struct tt_budget_line);
    fields->out_of_memory = fields->out_of_memory || tip->budget == NULL;
    for (const cJSON *item = n > 0 ? array->child : NULL; item != NULL && tip->budget != NULL;
         item = item->next) {
        struct tt_budget_line *line = &tip->budget[tip->n_budget++];
        struct tt_result_xy u = tt_result_xy(fields, item, what, "u_mm");
        line->source = tt_field_text(fields, item, what, "source", TT_REQUIRED);
        line->code = line->source != NULL ? tt_budget_find(line->source) : TT_BUDGET_OTHER;
        line->type = types[tt_field_word(fields, item, what, "type", TT_REQUIRED, types, 2, 1)][0];
        line->of_plate = tt_result_bool(fields, item, what, "of_plate");
        line->u_x_mm = u.x;
        line->u_y_mm = u.y;
        line->dof = line->type == 'A' ? 0 : HUGE_VAL;
        if (tt_result_number(fields, item, what, "dof", &line->dof) && !(line->dof > 0)) {
            tt_fault(fields->diagnose, tt_json_place(&fields->json, item), NULL,
                     "%s: 'dof' must be more than 0", what);
        }
        if (line->code != TT_BUDGET_OTHER && has_line(tip, tip->n_budget - 1, line->code)) {
            tt_fault(fields->diagnose, tt_json_place(&fields->json, item),
                     "each source contributes one line", "%s: 'budget' has two lines for '%s'",
                     what, tt_shown(line->source, strlen(line->source)).text);
            return;
        }
    }
}

static void read_trial_axis(struct tt_fields *fields, const cJSON *trials, const char *what,
                            const char *key, struct tt_trial_axis *axis)
{
    const cJSON *item = tt_field_object(fields, trials, what, key, TT_REQUIRED);
    const cJSON *interval =
        item != NULL ? tt_field_array(fields, item, what, "interval_mm", TT_REQUIRED) : NULL;

    if (interval == NULL) {
        return;
    }
    tt_result_number(fields, item, what, "u_mm", &axis->u_mm);
    tt_result_number(fields, item, what, "mean_mm", &axis->mean_mm);
    axis->low_mm = element(fields, interval->child, what, "interval_mm");
    axis->high_mm = element(fields, interval->child != NULL ? interval->child->next : NULL, what,
                            "interval_mm");
    tt_result_number(fields, item, what, "difference_mm", &axis->off_mm);
    tt_result_number(fields, item, what, "tolerance_mm", &axis->tolerance_mm);
    tt_result_number(fields, item, what, "u_difference_mm", &axis->noise_mm);
    axis->agrees = tt_result_bool(fields, item, what, "agrees");
}

static void read_trials(struct tt_fields *fields, const cJSON *object, const char *what,
                        struct tt_tip_result *tip)
{
    const cJSON *trials = tt_field_object(fields, object, what, "monte_carlo", TT_OPTIONAL);

    if (trials == NULL) {
        return;
    }
    tip->trials = TT_ARENA_NEW(fields->arena, 1, struct tt_trials);
    if (tip->trials == NULL) {
        fields->out_of_memory = true;
        return;
    }
    tip->trials->n = tt_result_count(fields, trials, what, "trials");
    if (tip->trials->n < 2) {
        tt_fault(fields->diagnose, tt_json_place(&fields->json, trials), NULL,
                 "%s: 'monte_carlo' of %zu trials, where 2 are the fewest that scatter", what,
                 tip->trials->n);
    }
    read_trial_axis(fields, trials, what, "x", &tip->trials->x);
    read_trial_axis(fields, trials, what, "y", &tip->trials->y);
    tt_result_number_in(fields, trials, what, "region_coverage", 0, 1, &tip->trials->covered);
}

static void read_present(struct tt_fields *fields, const cJSON *object, const char *what,
                         struct tiptrue_solution *solution, struct tt_tip_result *tip)
{
    struct tt_result_xy present = tt_result_xy(fields, object, what, "present_mm"),
                        change = tt_result_xy(fields, object, what, "change_mm");
    const cJSON *conformity = tt_field_object(fields, object, what, "conformity", TT_OPTIONAL);

    tip->has_present = present.has_x && present.has_y;
    tip->present = (struct tt_machine_xy){present.x, present.y};
    tip->change = (struct tt_machine_xy){change.x, change.y};
    tip->change_on_same_plate = tt_result_bool(fields, object, what, "change_on_same_plate");
    struct tt_result_xy expanded = tt_result_xy(fields, object, what, "change_expanded_mm");
    bool plate = tip->change_on_same_plate;
    tip->change_from = tt_field_text(fields, object, what, "change_from_run", TT_OPTIONAL);
    tip->change_expanded_x_mm = expanded.has_x ? expanded.x
                                : plate        ? tip->same_plate_expanded_x_mm
                                               : tip->expanded_x_mm;
    tip->change_expanded_y_mm = expanded.has_y ? expanded.y
                                : plate        ? tip->same_plate_expanded_y_mm
                                               : tip->expanded_y_mm;
    tt_result_number_in(fields, object, what, "p_unchanged", 0, 1, &tip->p_unchanged);
    if (conformity != NULL) {
        tip->has_conformity = true;
        solution->has_permitted_error = tt_result_number(
            fields, conformity, what, "permitted_error_mm", &solution->permitted_error_mm);
        tt_result_number_in(fields, conformity, what, "probability", 0, 1, &tip->p_conforming);
    }
}

/* What the numbers say of a tip that need not be measured again. */
static enum tt_reason_code reason_by_numbers(const struct tt_tip_result *tip)
{
    bool keep = tip->offset_verdict == TIPTRUE_KEEP;

    if (!tip->has_present) {
        return TT_REASON_NOTHING_PRESENT;
    }
    if (tip->has_conformity) {
        return keep ? TT_REASON_WITHIN : TT_REASON_NOT_WITHIN;
    }
    return keep ? TT_REASON_UNCHANGED : TT_REASON_CHANGED;
}

static enum tt_reason_code reason_by_height(const struct tt_height_result *height)
{
    bool keep = height->verdict == TIPTRUE_KEEP;

    if (!height->has_present) {
        return TT_REASON_NO_HEIGHT_PRESENT;
    }
    if (height->has_conformity) {
        return keep ? TT_REASON_HEIGHT_WITHIN : TT_REASON_HEIGHT_NOT_WITHIN;
    }
    return keep ? TT_REASON_HEIGHT_UNCHANGED : TT_REASON_HEIGHT_CHANGED;
}

/* The next error finding about @tip or about no tip, from the @from-th on, of heights or not; NULL:
 * there is none. */
static const struct tt_finding *next_error(const struct tiptrue_solution *s,
                                           const struct tt_tip_result *tip, bool of_heights,
                                           size_t *from)
{
    while (*from < s->n_findings) {
        const struct tt_finding *finding = &s->findings[(*from)++];
        if (finding->severity == TIPTRUE_ERROR && tt_finding_is_of_heights(finding) == of_heights &&
            (finding->tip == TT_NONE || strcmp(s->tip_names[finding->tip], tip->name) == 0)) {
            return finding;
        }
    }
    return NULL;
}

/* What the @at-th reason says that is of no finding; @last: the last one, and a height counts. */
static enum tt_reason_code code_at(const struct tt_tip_result *tip, size_t at, bool last)
{
    bool repeat = tip->offset_verdict == TIPTRUE_REPEAT;

    if (at == 0 && !repeat) {
        return reason_by_numbers(tip);
    }
    return last ? reason_by_height(tip->height) : TT_REASON_OUT_OF_REACH;
}

static void sort_reasons(const struct tiptrue_solution *solution, struct tt_tip_result *tip)
{
    bool counts = tip->height != NULL && tip->height->has_verdict;
    bool repeat = tip->offset_verdict == TIPTRUE_REPEAT,
         repeat_height = counts && tip->height->verdict == TIPTRUE_REPEAT;
    size_t at = 0, at_height = 0;

    for (size_t i = 0; i < tip->n_reasons; i++) {
        struct tt_reason *reason = &tip->reasons[i];
        reason->finding = repeat ? next_error(solution, tip, false, &at) : NULL;
        if (reason->finding == NULL && repeat_height && (repeat || i > 0)) {
            reason->finding = next_error(solution, tip, true, &at_height);
        }
        bool last = counts && !repeat_height && i + 1 == tip->n_reasons;
        reason->code = reason->finding != NULL ? TT_REASON_FINDING : code_at(tip, i, last);
    }
}

void tt_result_sort_reasons(struct tiptrue_solution *solution)
{
    for (size_t i = 0; i < solution->n_tips; i++) {
        sort_reasons(solution, &solution->tips[i]);
    }
}

static void read_reasons(struct tt_fields *fields, const cJSON *object, const char *what,
                         struct tt_tip_result *tip)
{
    size_t n;
    const cJSON *array = tt_result_array(fields, object, what, "reasons", &n);

    tip->reasons = TT_ARENA_NEW(fields->arena, n, struct tt_reason);
    fields->out_of_memory = fields->out_of_memory || tip->reasons == NULL;
    for (const cJSON *item = n > 0 ? array->child : NULL; item != NULL && tip->reasons != NULL;
         item = item->next) {
        if (!cJSON_IsString(item)) {
            tt_field_tell_form(fields, item, what, "reasons", "a list of strings");
            return;
        }
        const char *reason =
            tt_arena_copy_text(fields->arena, item->valuestring, strlen(item->valuestring));
        fields->out_of_memory = fields->out_of_memory || reason == NULL;
        tip->reasons[tip->n_reasons++].text = reason;
    }
}

/* The height and its verdict, the offset's, and the worse one of both. */
static void read_verdicts(struct tt_fields *fields, const cJSON *object, const char *what,
                          bool least_squares, struct tt_tip_result *tip)
{
    tt_result_read_height(fields, object, what, tip);
    tip->verdict = tt_result_verdict(fields, object, "verdict", what, least_squares);
    tip->offset_verdict = tip->verdict; /* results of earlier versions have no other */
    if (cJSON_HasObjectItem(object, "offset_verdict")) {
        tip->offset_verdict =
            tt_result_verdict(fields, object, "offset_verdict", what, least_squares);
    }
}

void tt_result_read_tip(struct tt_fields *fields, const cJSON *object,
                        struct tiptrue_solution *solution, struct tt_tip_result *tip)
{
    static const char *const known[] = {"tip",
                                        "touches",
                                        "offset_mm",
                                        "u_offset_mm",
                                        "correlation",
                                        "covariance_mm2",
                                        "same_plate",
                                        "coverage",
                                        "runout",
                                        "shape",
                                        "contact_radius_mm",
                                        "u_contact_radius_mm",
                                        "contact_radius_dof",
                                        "contact_radius_factor",
                                        "budget",
                                        "monte_carlo",
                                        "prior_share",
                                        "present_mm",
                                        "change_mm",
                                        "change_expanded_mm",
                                        "change_from_run",
                                        "p_unchanged",
                                        "conformity",
                                        "change_on_same_plate",
                                        "height",
                                        "offset_verdict",
                                        "verdict",
                                        "reasons",
                                        "reason_codes"};
    char what[80];

    tip->name = tt_field_text(fields, object, "tip of the result", "tip", TT_REQUIRED);
    snprintf(what, sizeof what, "tip '%s'",
             tip->name != NULL ? tt_shown(tip->name, strlen(tip->name)).text : "?");
    tt_field_unknown(fields, object, what, known, sizeof known / sizeof known[0]);
    const cJSON *touches = tt_field_object(fields, object, what, "touches", TT_OPTIONAL);
    if (touches != NULL) {
        tip->touches = tt_result_count(fields, touches, what, "read");
        tip->used = tt_result_count(fields, touches, what, "used");
    }
    read_offset(fields, object, what, tip);
    read_coverage(fields, object, what, tip);
    read_runout(fields, object, what, tip);
    read_same_plate(fields, object, what, solution->n_features, tip);
    if (!(tip->runout_factor > 0)) {
        tip->runout_factor = tip->same_plate_factor; /* as it was before a result said */
    }
    read_shape(fields, object, what, tip);
    read_budget(fields, object, what, tip);
    read_trials(fields, object, what, tip);
    tt_result_number_in(fields, object, what, "prior_share", 0, HUGE_VAL, &tip->prior_share);
    read_present(fields, object, what, solution, tip);
    read_verdicts(fields, object, what, solution->least_squares, tip);
    read_reasons(fields, object, what, tip);
}
