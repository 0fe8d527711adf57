/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See field_value.h. */
#include "config.h"

#include "export/field_value.h"

#include <math.h>
#include <string.h>

#include "base/named.h"
#include "geometry/pose.h"
#include "ingest/diagnose.h"
#include "model/frames.h"

#define SAYS_WHY "the findings of the result say why"

/* TIPTRUE_E_DATA, told: @what of the field's number. */
static enum tiptrue_status unknown(const struct tt_export_field *field, const char *what,
                                   const char *hint, struct tiptrue_error *error)
{
    return tt_fail(error, TIPTRUE_E_DATA, NULL, 0, 0, hint, "field '%s': %s",
                   tt_shown(field->text, field->length).text, what);
}

static enum tiptrue_status undetermined(const struct tt_export_field *field, const char *hint,
                                        struct tiptrue_error *error)
{
    return unknown(field, "the run does not determine it", hint, error);
}

/* ---- of the machine ---- */

static enum tiptrue_status axes_value(const struct tt_axes_result *axes,
                                      const struct tt_export_field *field, double *value,
                                      struct tiptrue_error *error)
{
    if (!axes->found) {
        return unknown(field, "the run does not show that the axes are off",
                       "leave the axes as they are, or sight three marks or more that are well "
                       "known and not in a line",
                       error);
    }
    *value = field->quantity == TT_AXES_SCALE_X   ? 1 / (1 + axes->scale_x)
             : field->quantity == TT_AXES_SCALE_Y ? 1 / (1 + axes->scale_y)
                                                  : 1e3 * axes->square_rad;
    return TIPTRUE_OK;
}

/* There may be no views, or they or the marks do not tell it; or the picture is mirrored, and a
 * turn alone would not put that right. */
static enum tiptrue_status machine_value(const struct tiptrue_solution *solution,
                                         const struct tt_export_field *field, double *value,
                                         struct tiptrue_error *error)
{
    const struct tt_camera_result *camera = &solution->camera;

    if (tt_export_field_is_of_axes(field)) {
        return axes_value(&solution->axes, field, value, error);
    }
    if (camera->views == 0 || !camera->determined) {
        return undetermined(
            field, "view one mark at three places of the picture that are not in a line", error);
    }
    if (field->quantity == TT_CAMERA_TURN && camera->mirrored) {
        return unknown(field, "the picture is mirrored, and no turn puts that right",
                       "see the finding picture-mirrored; put that right first", error);
    }
    *value = field->quantity == TT_CAMERA_SCALE_X   ? camera->scale_x_mm
             : field->quantity == TT_CAMERA_SCALE_Y ? camera->scale_y_mm
                                                    : tt_deg_from_rad(camera->turn_rad);
    return TIPTRUE_OK;
}

/* TIPTRUE_KEEP: the stated scale and turn are not shown to be off. */
static enum tiptrue_verdict machine_verdict(const struct tiptrue_solution *solution,
                                            const struct tt_export_field *field)
{
    bool stays = !tt_export_field_is_of_axes(field) && solution->camera.has_off;

    for (size_t i = 0; i < solution->n_findings && stays; i++) {
        enum tt_finding_code code = solution->findings[i].code;
        stays = code != TT_FINDING_CAMERA_OFF && code != TT_FINDING_PICTURE_MIRRORED;
    }
    return stays ? TIPTRUE_KEEP : TIPTRUE_UPDATE;
}

/* ---- of a tip ---- */

/* R(theta) e, with theta counter-clockwise: what a machine counts clockwise is turned round here.
 */
static struct tt_machine_xy turned_runout(const struct tt_tip_result *tip, double rotation_deg,
                                          bool clockwise)
{
    double rad = tt_rad_from_deg(clockwise ? -rotation_deg : rotation_deg);
    return tt_tip_turn(cos(rad), sin(rad), tip->runout);
}

/* Whether the solution knows what the field asks for. At a rotation each axis of the runout reaches
 * into both of the offset. */
static bool is_determined(const struct tt_export_field *field, const struct tt_tip_result *tip)
{
    enum { X = 1, Y = 2, RUNOUT = 4, RADIUS = 8 };
    static const unsigned NEEDS[TT_QUANTITIES] = {[TT_OFFSET_X] = X,
                                                  [TT_OFFSET_Y] = Y,
                                                  [TT_RUNOUT_X] = RUNOUT,
                                                  [TT_RUNOUT_Y] = RUNOUT,
                                                  [TT_ECCENTRICITY] = RUNOUT,
                                                  [TT_RADIUS] = RADIUS,
                                                  [TT_U_X] = X,
                                                  [TT_U_Y] = Y,
                                                  [TT_EXPANDED_X] = X,
                                                  [TT_EXPANDED_Y] = Y};
    unsigned needs = NEEDS[field->quantity];
    unsigned has = (tip->offset_determined_x ? X : 0u) | (tip->offset_determined_y ? Y : 0u) |
                   (tip->runout_determined ? RUNOUT : 0u) | (tip->radius_determined ? RADIUS : 0u);

    return needs != 0 && ((needs | (field->has_rotation ? RUNOUT : 0u)) & ~has) == 0;
}

static enum tiptrue_status tip_value(const struct tt_export_field *field,
                                     const struct tt_tip_result *tip, double rotation_deg,
                                     bool clockwise, double *value_mm, struct tiptrue_error *error)
{
    struct tt_machine_xy turned = {0.0, 0.0};
    if (!is_determined(field, tip)) {
        return undetermined(field, SAYS_WHY, error);
    }
    if (field->has_rotation) {
        turned = turned_runout(tip, rotation_deg, clockwise);
    }
    const double values_mm[TT_QUANTITIES] = {
        [TT_OFFSET_X] = tip->offset.x_mm + turned.x_mm,
        [TT_OFFSET_Y] = tip->offset.y_mm + turned.y_mm,
        [TT_RUNOUT_X] = field->has_rotation ? turned.x_mm : tip->runout.x_mm,
        [TT_RUNOUT_Y] = field->has_rotation ? turned.y_mm : tip->runout.y_mm,
        [TT_ECCENTRICITY] = tip->eccentricity_mm,
        [TT_RADIUS] = tip->contact_radius_mm,
        [TT_U_X] = sqrt(tip->cov.xx_mm2),
        [TT_U_Y] = sqrt(tip->cov.yy_mm2),
        [TT_EXPANDED_X] = tip->expanded_x_mm,
        [TT_EXPANDED_Y] = tip->expanded_y_mm};
    *value_mm = values_mm[field->quantity];
    return TIPTRUE_OK;
}

/* The tip that a difference counts from; NULL: there is none. */
static const struct tt_tip_result *other_tip(const struct tiptrue_solution *solution,
                                             const struct tt_export_field *field)
{
    size_t i = TT_NAMED_PART(solution->tips, solution->n_tips, field->over, field->over_length);

    return i < solution->n_tips ? &solution->tips[i] : NULL;
}

static bool has_height(const struct tt_tip_result *tip)
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
    if (!has_height(tip) || !has_height(other)) {
        return undetermined(field, SAYS_WHY, error);
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
        return machine_value(solution, field, value_mm, error);
    }
    if (tt_export_field_is_height(field)) {
        return height_value(solution, field, tip, value_mm, error);
    }
    if (field->has_rotation && sense == NULL) {
        return unknown(field, "the result does not say in which sense its machine counts rotations",
                       "solve the run again with this version", error);
    }
    return tip_value(field, tip, rotation_deg, sense != NULL && strcmp(sense, "cw") == 0, value_mm,
                     error);
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
        return machine_verdict(solution, field);
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
