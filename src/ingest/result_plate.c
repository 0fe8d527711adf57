/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a result says of the solution with the plate held: features of the plate, their effects,
 * differences between tips. All of it may be missing: results were written before there was such a
 * solution. */
#include "config.h"

#include "ingest/result.h"

#include <math.h>

#include "base/number.h"

void tt_result_read_features(struct tt_fields *fields, struct tiptrue_solution *solution)
{
    static const char *const kinds[] = {
        [TT_FEATURE_EDGE] = "edge", [TT_FEATURE_GROUP] = "group", [TT_FEATURE_MARK] = "mark"};
    static const char *const axes[] = {"x", "y"};
    const char *what = "feature of the plate";
    size_t n;
    const cJSON *array = tt_result_array(fields, fields->json.root, "result", "plate_features", &n);

    solution->features = TT_ARENA_NEW(fields->arena, n, struct tt_plate_feature);
    fields->out_of_memory = fields->out_of_memory || solution->features == NULL;
    for (const cJSON *item = n > 0 ? array->child : NULL;
         item != NULL && solution->features != NULL; item = item->next) {
        struct tt_plate_feature *feature = &solution->features[solution->n_features++];
        feature->kind = (enum tt_feature_kind)tt_field_word(fields, item, what, "kind", TT_REQUIRED,
                                                            kinds, 3, TT_FEATURE_EDGE);
        feature->name = tt_field_text(fields, item, what, "name", TT_REQUIRED);
        if (feature->kind != TT_FEATURE_EDGE) {
            feature->axis =
                axes[tt_field_word(fields, item, what, "axis", TT_REQUIRED, axes, 2, 0)][0];
        }
        tt_result_number(fields, item, what, "u_mm", &feature->u_mm);
    }
}

/* Numbers, one for each feature; NULL where they are missing or wrong (told). */
static double *read_effect(struct tt_fields *fields, const cJSON *object, const char *what,
                           const char *axis, size_t n)
{
    size_t at = 0;
    const cJSON *array = tt_field_array(fields, object, what, axis, TT_REQUIRED);

    if (array == NULL || (size_t)cJSON_GetArraySize(array) != n) {
        tt_field_tell_form(fields, object, what, "plate_effect",
                           "a number for each of 'plate_features'");
        return NULL;
    }
    double *effect = TT_ARENA_NEW(fields->arena, n, double);
    fields->out_of_memory = fields->out_of_memory || effect == NULL;
    for (const cJSON *item = array->child; item != NULL && effect != NULL; item = item->next) {
        const struct tt_json_where *where = tt_json_where(&fields->json, item);
        if (!cJSON_IsNumber(item) ||
            tt_number_read(where->value, (size_t)(where->end - where->value), '.', &effect[at++],
                           NULL) != TT_NUMBER_OK) {
            tt_field_tell_form(fields, item, what, "plate_effect", "a list of numbers");
            return NULL;
        }
    }
    return effect;
}

void tt_result_read_effects(struct tt_fields *fields, const cJSON *same_plate, const char *what,
                            size_t n, struct tt_tip_result *tip)
{
    const cJSON *effect = tt_field_object(fields, same_plate, what, "plate_effect", TT_OPTIONAL);

    if (effect != NULL) {
        tip->plate_effect_x = read_effect(fields, effect, what, "x", n);
        tip->plate_effect_y = read_effect(fields, effect, what, "y", n);
    }
}

void tt_result_read_between_tips(struct tt_fields *fields, struct tiptrue_solution *solution)
{
    const char *what = "difference of tips";
    size_t n;
    const cJSON *array = tt_result_array(fields, fields->json.root, "result", "between_tips", &n);

    solution->between_tips = TT_ARENA_NEW(fields->arena, n, struct tt_tip_difference);
    fields->out_of_memory = fields->out_of_memory || solution->between_tips == NULL;
    for (const cJSON *item = n > 0 ? array->child : NULL;
         item != NULL && solution->between_tips != NULL; item = item->next) {
        struct tt_tip_difference *d = &solution->between_tips[solution->n_between_tips++];
        struct tt_result_xy offset = tt_result_xy(fields, item, what, "offset_mm"),
                            expanded = tt_result_xy(fields, item, what, "expanded_mm");
        d->tip = tt_field_text(fields, item, what, "tip", TT_REQUIRED);
        d->over = tt_field_text(fields, item, what, "over", TT_REQUIRED);
        d->determined = offset.has_x && offset.has_y;
        d->offset = (struct tt_machine_xy){offset.x, offset.y};
        (void)tt_result_covariance(fields, item, what, &d->cov);
        d->dof = HUGE_VAL;
        tt_result_number(fields, item, what, "dof", &d->dof);
        tt_result_number(fields, item, what, "factor", &d->factor);
        d->height_determined = tt_result_number(fields, item, what, "height_mm", &d->height_mm);
        tt_result_number(fields, item, what, "u_height_mm", &d->u_height_mm);
        tt_result_number(fields, item, what, "expanded_height_mm", &d->expanded_height_mm);
        d->expanded_x_mm = expanded.x;
        d->expanded_y_mm = expanded.y;
    }
}

void tt_result_later(struct tt_fields *fields, const cJSON *item, const char *what, const char *key,
                     double *value_mm)
{
    *value_mm = NAN;
    tt_result_number_in(fields, item, what, key, 0, HUGE_VAL, value_mm);
}

void tt_result_read_marks(struct tt_fields *fields, struct tiptrue_solution *solution)
{
    const char *what = "mark of the result";
    size_t n;
    const cJSON *array = tt_result_array(fields, fields->json.root, "result", "marks", &n);

    solution->marks = TT_ARENA_NEW(fields->arena, n, struct tt_mark_result);
    if (solution->marks == NULL) {
        fields->out_of_memory = true;
        return;
    }
    for (const cJSON *item = n > 0 ? array->child : NULL; item != NULL; item = item->next) {
        struct tt_mark_result *mark = &solution->marks[solution->n_marks++];
        mark->name = tt_field_text(fields, item, what, "mark", TT_REQUIRED);
        tt_result_later(fields, item, what, "unseen_shift_mm", &mark->unseen_shift_mm);
        tt_result_later(fields, item, what, "unseen_effect_mm", &mark->unseen_effect_mm);
    }
}
