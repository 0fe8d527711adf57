/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See machine_field.h. */
#include "config.h"

#include "export/machine_field.h"

#include <math.h>

/* Numbers that say the same: a tenth of the last digit of what is written. */
#define SAME 1e-8

static bool is_scale(const struct tt_export_field *field)
{
    return field->quantity == TT_CAMERA_SCALE_X || field->quantity == TT_CAMERA_SCALE_Y;
}

bool tt_export_field_is_machine(const struct tt_export_field *field)
{
    return field->quantity >= TT_CAMERA_SCALE_X && field->quantity <= TT_AXES_SQUARE;
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
    bool fine =
        field->quantity != TT_CAMERA_TURN &&
        (!tt_export_field_is_of_axes(field) || field->per_mm || field->quantity != TT_AXES_SQUARE);
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
    if (field->minus && tt_export_field_is_of_axes(field) && !square) {
        return "'minus' would turn an axis round";
    }
    return NULL;
}

const char *tt_machine_field_stands(const struct tt_export_field *field, double now, double next)
{
    if (!tt_export_field_is_of_axes(field) || fabs(now - next) < SAME) {
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
