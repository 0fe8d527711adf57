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

/* Whether @field is one of these. */
bool tt_export_field_is_machine(const struct tt_export_field *field);

/* The number of @field, as above. TIPTRUE_E_DATA: there were no views, or they or the marks do not
 * tell it; or the picture is mirrored, and a turn alone would not put that right. */
TT_MUST_USE enum tiptrue_status tt_machine_field_value(const struct tiptrue_solution *solution,
                                                       const struct tt_export_field *field,
                                                       double *value, struct tiptrue_error *error);

/* TIPTRUE_KEEP: the stated scale and turn are not shown to be off; else TIPTRUE_UPDATE. */
enum tiptrue_verdict tt_machine_field_verdict(const struct tiptrue_solution *solution,
                                              const struct tt_export_field *field);

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

/* The number that a FIELD means, heights among them, and the verdict that decides about it: of a
 * height its own, of all else the offset's. */

/* The number of @field, mm or as in export/machine_field.h, without its modifiers, of @tip of
 * @solution (of the machine's NULL); @rotation_deg as the
 * machine counts, used if the field is at a rotation. TIPTRUE_E_DATA: the run does not determine
 * it, or does not say how rotations count; or the other tip of a difference is not there. */
TT_MUST_USE enum tiptrue_status tt_export_value(const struct tiptrue_solution *solution,
                                                const struct tt_export_field *field,
                                                const struct tt_tip_result *tip,
                                                double rotation_deg, double *value_mm,
                                                struct tiptrue_error *error);

/* TIPTRUE_KEEP: what is in use stays; TIPTRUE_UPDATE: it is written; TIPTRUE_REPEAT: it may not be
 * used. A difference of heights has the worse verdict of both. */
enum tiptrue_verdict tt_export_field_verdict(const struct tiptrue_solution *solution,
                                             const struct tt_export_field *field,
                                             const struct tt_tip_result *tip);

#endif
