/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See machine_field.h. */
#include "config.h"

#include "export/machine_field.h"

#include <math.h>
#include <string.h>

#include "base/named.h"
#include "ingest/diagnose.h"
#include "model/frames.h"

/* Numbers that say the same: a tenth of the last digit of what is written. */
#define SAME 1e-8

static bool is_scale(const struct tt_export_field *field)
{
    return field->quantity == TT_CAMERA_SCALE_X || field->quantity == TT_CAMERA_SCALE_Y;
}

static bool is_of_axes(const struct tt_export_field *field)
{
    return field->quantity >= TT_AXES_SCALE_X && field->quantity <= TT_AXES_SQUARE;
}

bool tt_export_field_is_machine(const struct tt_export_field *field)
{
    return field->quantity >= TT_CAMERA_SCALE_X && field->quantity <= TT_AXES_SQUARE;
}

static enum tiptrue_status axes_value(const struct tt_axes_result *axes,
                                      const struct tt_export_field *field, double *value,
                                      struct tiptrue_error *error)
{
    if (!axes->found) {
        return tt_fail(error, TIPTRUE_E_DATA, NULL, 0, 0,
                       "leave the axes as they are, or sight three marks or more that are well "
                       "known and not in a line",
                       "field '%s': the run does not show that the axes are off",
                       tt_shown(field->text, field->length).text);
    }
    *value = field->quantity == TT_AXES_SCALE_X   ? 1 / (1 + axes->scale_x)
             : field->quantity == TT_AXES_SCALE_Y ? 1 / (1 + axes->scale_y)
                                                  : 1e3 * axes->square_rad;
    return TIPTRUE_OK;
}

enum tiptrue_status tt_machine_field_value(const struct tiptrue_solution *solution,
                                           const struct tt_export_field *field, double *value,
                                           struct tiptrue_error *error)
{
    const struct tt_camera_result *camera = &solution->camera;

    if (is_of_axes(field)) {
        return axes_value(&solution->axes, field, value, error);
    }
    if (camera->views == 0 || !camera->determined) {
        return tt_fail(error, TIPTRUE_E_DATA, NULL, 0, 0,
                       "view one mark at three places of the picture that are not in a line",
                       "field '%s': the run does not determine it",
                       tt_shown(field->text, field->length).text);
    }
    if (field->quantity == TT_CAMERA_TURN && camera->mirrored) {
        return tt_fail(error, TIPTRUE_E_DATA, NULL, 0, 0,
                       "see the finding picture-mirrored; put that right first",
                       "field '%s': the picture is mirrored, and no turn puts that right",
                       tt_shown(field->text, field->length).text);
    }
    *value = field->quantity == TT_CAMERA_SCALE_X   ? camera->scale_x_mm
             : field->quantity == TT_CAMERA_SCALE_Y ? camera->scale_y_mm
                                                    : tt_deg_from_rad(camera->turn_rad);
    return TIPTRUE_OK;
}

enum tiptrue_verdict tt_machine_field_verdict(const struct tiptrue_solution *solution,
                                              const struct tt_export_field *field)
{
    bool stays = !is_of_axes(field) && solution->camera.has_off;

    for (size_t i = 0; i < solution->n_findings && stays; i++) {
        enum tt_finding_code code = solution->findings[i].code;
        stays = code != TT_FINDING_CAMERA_OFF && code != TT_FINDING_PICTURE_MIRRORED;
    }
    return stays ? TIPTRUE_KEEP : TIPTRUE_UPDATE;
}

double tt_machine_field_out(const struct tt_export_field *field, double value)
{
    if (is_scale(field)) {
        return field->per_mm ? 1 / value : value / tt_length_unit_mm(field->unit);
    }
    return field->per_mm ? 1e-3 * value : value;
}

double tt_machine_field_back(const struct tt_export_field *field, double written)
{
    if (is_scale(field)) {
        return !field->per_mm ? written * tt_length_unit_mm(field->unit)
               : written != 0 ? 1 / written
                              : 0; /* none was set there yet */
    }
    return field->per_mm ? 1e3 * written : written;
}

int tt_machine_field_decimals(const struct tt_export_field *field)
{
    if (is_scale(field)) {
        return field->per_mm || field->unit == TT_UM ? 4 : field->unit == TT_INCH ? 9 : 7;
    }
    bool fine = field->quantity != TT_CAMERA_TURN &&
                (!is_of_axes(field) || field->per_mm || field->quantity != TT_AXES_SQUARE);
    return fine ? 7 : 4;
}

const char *tt_machine_field_misfit(const struct tt_export_field *field, bool has_unit)
{
    bool square = field->quantity == TT_AXES_SQUARE;

    if (field->per_mm && has_unit) {
        return "'per-mm' stands beside a unit";
    }
    if (has_unit && !is_scale(field)) {
        return "it is not a length, and has no unit";
    }
    if (field->per_mm && !is_scale(field) && !square) {
        return "'per-mm' is for scales of the camera, and for axes.square";
    }
    if (field->minus && is_of_axes(field) && !square) {
        return "'minus' would turn an axis round";
    }
    return NULL;
}

const char *tt_machine_field_stands(const struct tt_export_field *field, double now, double next)
{
    if (!is_of_axes(field) || fabs(now - next) < SAME) {
        return NULL;
    }
    if (field->quantity == TT_AXES_SQUARE) {
        return fabs(now) < SAME ? NULL
                                : "the run was made with that in force, and the new number is "
                                  "to be added to it";
    }
    return fabs(now) < SAME || fabs(now - 1) < SAME ? NULL
                                                    : "the run was made with that in force, and it "
                                                      "is to be multiplied by the new number";
}

/* The tip that a difference counts from; NULL: there is none. */
static const struct tt_tip_result *other_tip(const struct tiptrue_solution *solution,
                                             const struct tt_export_field *field)
{
    size_t n = solution->n_tips,
           i = n > 0 ? tt_named(&solution->tips->name, n, sizeof *solution->tips, field->over,
                                field->over_length)
                     : 0;

    return i < n ? &solution->tips[i] : NULL;
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
