/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Fields of the machine itself, of no tip: the camera's picture and the axes. Their numbers are in
 *
 *   camera.scale.x, .y   mm per pixel, along the picture's axes
 *   camera.turn          degrees counter-clockwise, of the picture's x against the machine's
 *   axes.scale.x, .y     1: what to multiply the steps per millimetre by, 1/(1 + error)
 *   axes.square          mm per m by which the y axis leans counter-clockwise
 */
#ifndef TT_EXPORT_MACHINE_FIELD_H
#define TT_EXPORT_MACHINE_FIELD_H

#include "export/field.h"

/* Whether @field is one of these; of the axes. */
bool tt_export_field_is_machine(const struct tt_export_field *field);
static inline bool tt_export_field_is_of_axes(const struct tt_export_field *field)
{
    return field->quantity >= TT_AXES_SCALE_X && field->quantity <= TT_AXES_SQUARE;
}

/* @value as the field's modifiers want it, its sign apart; and the way back. */
double tt_machine_field_out(const struct tt_export_field *field, double value);
double tt_machine_field_back(const struct tt_export_field *field, double written);

/* Decimals where the field states none: a thousandth of a pixel over the picture, 0.1 ppm. */
int tt_machine_field_decimals(const struct tt_export_field *field);
/* Why the modifiers of @field (has_unit: it has a unit's) cannot be; NULL: they can. */
const char *tt_machine_field_misfit(const struct tt_export_field *field, bool has_unit);

/* Why @now, which stands where @field is to be put, must not be replaced by its number; NULL: it
 * may. The axes' numbers are found with what stands there in force: they come on top of it. */
const char *tt_machine_field_stands(const struct tt_export_field *field, double now, double next);

#endif
