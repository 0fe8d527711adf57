/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See height_field.h. */
#include "config.h"

#include <string.h>

#include "export/machine_field.h"
#include "ingest/diagnose.h"

/* The tip that a difference counts from; NULL: there is none. */
static const struct tt_tip_result *other_tip(const struct tiptrue_solution *solution,
                                             const struct tt_export_field *field)
{
    for (size_t i = 0; i < solution->n_tips; i++) {
        const char *name = solution->tips[i].name;
        if (strlen(name) == field->over_length &&
            memcmp(name, field->over, field->over_length) == 0) {
            return &solution->tips[i];
        }
    }
    return NULL;
}

static bool is_determined(const struct tt_tip_result *tip)
{
    return tip->height != NULL && tip->height->determined;
}

static enum tiptrue_status height_value(const struct tiptrue_solution *solution,
                                        const struct tt_export_field *field,
                                        const struct tt_tip_result *tip, double *value_mm,
                                        struct tiptrue_error *error)
{
    const struct tt_tip_result *other = tip;
    if (field->quantity == TT_TIP_HEIGHT_OVER && (other = other_tip(solution, field)) == NULL) {
        return tt_fail(error, TIPTRUE_E_DATA, solution->file, 0, 0, NULL,
                       "the result has no tip '%s', over which field '%s' counts",
                       tt_shown(field->over, field->over_length).text,
                       tt_shown(field->text, field->length).text);
    }
    if (!is_determined(tip) || !is_determined(other)) {
        return tt_export_undetermined(field, error);
    }
    *value_mm = tip->height->value_mm -
                (field->quantity == TT_TIP_HEIGHT_OVER ? other->height->value_mm : 0.0);
    return TIPTRUE_OK;
}

enum tiptrue_status tt_export_value(const struct tiptrue_solution *solution,
                                    const struct tt_export_field *field,
                                    const struct tt_tip_result *tip, double rotation_deg,
                                    double *value_mm, struct tiptrue_error *error)
{
    const char *sense = solution->rotation_sense;
    if (tt_export_field_is_machine(field)) {
        return tt_machine_field_value(solution, field, value_mm, error);
    }
    if (tt_export_field_is_height(field)) {
        return height_value(solution, field, tip, value_mm, error);
    }
    if (field->has_rotation && sense == NULL) {
        return tt_export_no_sense(field, error);
    }
    return tt_export_field_value(field, tip, rotation_deg,
                                 sense != NULL && strcmp(sense, "cw") == 0, value_mm, error);
}

/* Of a height that was not judged, since nothing of it is stated: what the findings say. */
static enum tiptrue_verdict height_verdict(const struct tiptrue_solution *solution,
                                           const struct tt_tip_result *tip)
{
    if (tip->height != NULL && tip->height->has_verdict) {
        return tip->height->verdict;
    }
    for (size_t i = 0; i < solution->n_findings; i++) {
        const struct tt_finding *finding = &solution->findings[i];
        if (finding->severity == TIPTRUE_ERROR && tt_finding_spoils_heights(finding) &&
            (finding->tip == TT_NONE ||
             strcmp(solution->tip_names[finding->tip], tip->name) == 0)) {
            return TIPTRUE_REPEAT;
        }
    }
    return tip->height != NULL ? TIPTRUE_UPDATE : TIPTRUE_REPEAT;
}

enum tiptrue_verdict tt_export_field_verdict(const struct tiptrue_solution *solution,
                                             const struct tt_export_field *field,
                                             const struct tt_tip_result *tip)
{
    if (tt_export_field_is_machine(field)) {
        return tt_machine_field_verdict(solution, field);
    }
    if (!tt_export_field_is_height(field)) {
        return tip->offset_verdict;
    }
    const struct tt_tip_result *other =
        field->quantity == TT_TIP_HEIGHT_OVER ? other_tip(solution, field) : NULL;
    enum tiptrue_verdict own = height_verdict(solution, tip),
                         others = other != NULL ? height_verdict(solution, other) : own;
    return own > others ? own : others;
}
