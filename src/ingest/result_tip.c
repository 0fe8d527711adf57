/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The parts of a tip of a result that are no plain values. */
#include "config.h"

#include "ingest/result.h"

#include <math.h>
#include <string.h>

#include "base/number.h"

#define COVERAGE 0.95 /* of every expanded uncertainty */

/* A correlation that another program computed may lie this far beyond its ends. */
static const struct tt_bounds a_correlation = {-1 - 1e-9, 1 + 1e-9, false, "from -1 to 1"};

/* An element of a matrix; null = 0. */
static double element(struct tt_fields *fields, const cJSON *item, const struct tt_member *member)
{
    double value = 0;

    if (cJSON_IsNull(item)) {
        return 0;
    }
    const struct tt_json_where *where = tt_json_where(&fields->json, item);
    if (!cJSON_IsNumber(item) || tt_number_read(where->value, (size_t)(where->end - where->value),
                                                '.', &value, NULL) != TT_NUMBER_OK) {
        tt_field_tell_form(fields, member, item, "a matrix of numbers");
    }
    return value;
}

/* Whether @cov, whose lower left element is @yx, is a covariance. Rounded on its way through a
 * program, a variance may become 0, but a matrix that is no covariance is a mistake. */
static bool is_covariance(const struct tt_cov2 *cov, double yx)
{
    return cov->xx_mm2 >= 0 && cov->yy_mm2 >= 0 &&
           fabs(cov->xy_mm2 - yx) <= 1e-9 * (cov->xx_mm2 + cov->yy_mm2) &&
           cov->xy_mm2 * cov->xy_mm2 <= cov->xx_mm2 * cov->yy_mm2 * (1 + 1e-9);
}

static void read_matrix(struct tt_fields *fields, const struct tt_member *member)
{
    const cJSON *first = cJSON_IsArray(member->item) ? member->item->child : NULL,
                *second = first != NULL ? first->next : NULL;

    if (cJSON_GetArraySize(member->item) != 2 || !cJSON_IsArray(first) || !cJSON_IsArray(second) ||
        cJSON_GetArraySize(first) != 2 || cJSON_GetArraySize(second) != 2) {
        tt_field_tell_form(fields, member, member->item, "[[xx, xy], [xy, yy]]");
        return;
    }
    struct tt_cov2 cov = {element(fields, first->child, member),
                          element(fields, first->child->next, member),
                          element(fields, second->child->next, member)};
    if (!is_covariance(&cov, element(fields, second->child, member))) {
        tt_field_fault(fields, member->item, "symmetric, variances on the diagonal",
                       "%s: '%s' is not a covariance matrix", member->what, member->key->key);
        return;
    }
    memcpy(member->into + member->key->at, &cov, sizeof cov);
}

/* Before the matrix came what other programs say in its place: the standard uncertainties, NaN
 * where there is none, and the correlation. */
bool tt_result_covariance(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_cov2 cov;

    if (member->item != NULL) {
        read_matrix(fields, member);
        return true;
    }
    memcpy(&cov, member->into + member->key->at, sizeof cov);
    bool told = fields->diagnose->faults > 0; /* perhaps of that very uncertainty */
    if (!told &&
        ((isnan(cov.xx_mm2) && member->key->when > 0 && tt_key_has_x(member->key, member->into)) ||
         (isnan(cov.yy_mm2) && member->key->when_y > 0 &&
          tt_key_has_y(member->key, member->into)))) {
        tt_field_fault(fields, member->object, "an offset without its uncertainty is of no use",
                       "%s: neither '%s' nor the standard uncertainty is there", member->what,
                       member->key->key);
    }
    cov.xx_mm2 = isnan(cov.xx_mm2) ? 0 : cov.xx_mm2;
    cov.yy_mm2 = isnan(cov.yy_mm2) ? 0 : cov.yy_mm2;
    memcpy(member->into + member->key->at, &cov, sizeof cov);
    return true;
}

bool tt_result_correlation(struct tt_fields *fields, const struct tt_member *member)
{
    double correlation = 0;
    struct tt_cov2 cov;

    if (tt_field_number(fields, member, &a_correlation, &correlation)) {
        memcpy(&cov, member->into + member->key->at, sizeof cov);
        cov.xy_mm2 = correlation * sqrt(cov.xx_mm2) * sqrt(cov.yy_mm2);
        cov.xy_mm2 = isnan(cov.xy_mm2) ? 0 : cov.xy_mm2;
        memcpy(member->into + member->key->at, &cov, sizeof cov);
    }
    return true;
}

/* Nothing better is known where a result has no second solution. */
bool tt_result_same_plate(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_tip_result *tip = (void *)member->into;

    (void)fields;
    tip->same_plate_cov = tip->cov;
    tip->held = tip->offset;
    return true;
}

/* Numbers, one for each feature; NULL where they are missing or wrong (told). */
bool tt_result_effect(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tiptrue_solution *solution = fields->document;
    size_t n = solution->n_features, at = 0;
    double *effect = TT_ARENA_NEW(fields->arena, n, double);

    fields->out_of_memory = fields->out_of_memory || effect == NULL;
    if (!cJSON_IsArray(member->item) || (size_t)cJSON_GetArraySize(member->item) != n) {
        tt_field_tell_form(fields, member, member->item != NULL ? member->item : member->object,
                           "a number for each feature of the plate");
        return true;
    }
    for (const cJSON *item = member->item->child; item != NULL && effect != NULL;
         item = item->next) {
        const struct tt_json_where *where = tt_json_where(&fields->json, item);
        if (!cJSON_IsNumber(item) ||
            tt_number_read(where->value, (size_t)(where->end - where->value), '.', &effect[at++],
                           NULL) != TT_NUMBER_OK) {
            tt_field_tell_form(fields, member, item, "a list of numbers");
            return true;
        }
    }
    memcpy(member->into + member->key->at, &effect, sizeof effect);
    return true;
}

bool tt_result_permitted(struct tt_fields *fields, const struct tt_member *member)
{
    struct tiptrue_solution *solution = fields->document;

    solution->has_permitted_error =
        tt_field_number(fields, member, &tt_not_negative, &solution->permitted_error_mm);
    return true;
}

/* Nothing is kept of it, but U of another coverage is none that the program could go by. */
bool tt_result_probability(struct tt_fields *fields, const struct tt_member *member)
{
    static const struct tt_bounds ours = {COVERAGE - 1e-9, COVERAGE + 1e-9, false,
                                          "0.95, as in all results"};
    double probability;

    (void)tt_field_number(fields, member, &ours, &probability);
    return true;
}

bool tt_result_budget_line(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_budget_line *line = (void *)member->into;
    const cJSON *array = cJSON_GetObjectItemCaseSensitive(member->object, member->key->key);
    size_t n = 0;

    line->code = line->source != NULL ? tt_budget_find(line->source) : TT_BUDGET_OTHER;
    if (!(line->dof > 0) && line->type != 'A') {
        line->dof = HUGE_VAL; /* stated */
    }
    for (const cJSON *item = array->child; item != member->item; item = item->next) {
        n++;
    }
    bool told = line->code == TT_BUDGET_OTHER || fields->diagnose->faults > 0;
    for (size_t i = 1; i <= n && !told; i++) {
        if ((line - i)->code == line->code) {
            tt_field_fault(fields, member->item, "each source contributes one line",
                           "%s: '%s' has two lines for '%s'", member->what, member->key->key,
                           tt_shown_text(line->source).text);
            break;
        }
    }
    return true;
}

bool tt_result_face(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_height_result *height = (void *)member->into;

    (void)fields;
    height->face_runout =
        (struct tt_tip_xy){height->face_amplitude_mm * cos(height->face_angle_rad),
                           height->face_amplitude_mm * sin(height->face_angle_rad)};
    return true;
}

bool tt_result_reasons(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_tip_result *tip = (void *)member->into;
    size_t n;
    const char **texts = tt_result_texts(fields, member, &n);

    tip->reasons = TT_ARENA_NEW(fields->arena, n, struct tt_reason);
    fields->out_of_memory = fields->out_of_memory || tip->reasons == NULL;
    for (size_t i = 0; i < n && !fields->out_of_memory; i++) {
        tip->reasons[tip->n_reasons++].text = texts[i];
    }
    return true;
}

/* What results of earlier versions do not say. */
static void fill_in(struct tt_tip_result *tip)
{
    if (!(tip->runout_factor > 0)) {
        tip->runout_factor = tip->same_plate_factor;
    }
    if (!(tip->radius_factor > 0)) {
        tip->radius_factor = tip->factor;
    }
    if (isnan(tip->same_plate_u_radius_mm)) {
        tip->same_plate_u_radius_mm = tip->u_contact_radius_mm;
    }
    bool plate = tip->change_on_same_plate;
    if (isnan(tip->change_expanded_x_mm)) {
        tip->change_expanded_x_mm = plate ? tip->same_plate_expanded_x_mm : tip->expanded_x_mm;
    }
    if (isnan(tip->change_expanded_y_mm)) {
        tip->change_expanded_y_mm = plate ? tip->same_plate_expanded_y_mm : tip->expanded_y_mm;
    }
    if (tip->height != NULL && !tip->height->has_verdict) {
        tip->height->verdict = TIPTRUE_KEEP;
    }
}

bool tt_result_tip(struct tt_fields *fields, const struct tt_member *member)
{
    (void)fields;
    fill_in((void *)member->into);
    return true;
}

const char **tt_result_texts(struct tt_fields *fields, const struct tt_member *member, size_t *n)
{
    const cJSON *array = tt_field_array(fields, member);
    size_t room = array != NULL ? (size_t)cJSON_GetArraySize(array) : 0;
    const char **texts = TT_ARENA_NEW(fields->arena, room, const char *);

    *n = 0;
    fields->out_of_memory = fields->out_of_memory || texts == NULL;
    for (const cJSON *item = room > 0 ? array->child : NULL; item != NULL && !fields->out_of_memory;
         item = item->next) {
        if (!cJSON_IsString(item)) {
            tt_field_tell_form(fields, member, item, "a list of strings");
            break;
        }
        texts[*n] = tt_arena_copy(fields->arena, item->valuestring);
        fields->out_of_memory = texts[*n] == NULL;
        *n += texts[*n] != NULL;
    }
    return texts;
}
