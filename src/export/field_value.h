/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The number that a FIELD means, and the verdict that decides about it: of a height its own, of the
 * machine's the findings', of all else the offset's. */
#ifndef TT_EXPORT_FIELD_VALUE_H
#define TT_EXPORT_FIELD_VALUE_H

#include "base/status.h"
#include "export/field.h"

/* The number of @field, mm or as in export/field.h, without its modifiers, of @tip of @solution (of
 * the machine's NULL); @rotation_deg as the machine counts, used if the field is at a rotation.
 * TIPTRUE_E_DATA: the run does not determine it, or does not say how rotations count; or the other
 * tip of a difference is not there. */
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
