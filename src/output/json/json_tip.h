/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* One tip of a solution as JSON. */
#ifndef TT_OUTPUT_JSON_JSON_TIP_H
#define TT_OUTPUT_JSON_JSON_TIP_H

#include "model/solution.h"
#include "output/json/json_write.h"

/* Write @tip, one of the tips of @solution, as the next value of @json. */
void tt_json_tip(struct tt_json *json, const struct tiptrue_solution *solution,
                 const struct tt_tip_result *tip);
/* Write a difference of two tips, an object of "between_tips". */
void tt_json_tip_difference(struct tt_json *json, const struct tt_tip_difference *difference);
/* json.c: "unseen_shift_mm" and "unseen_effect_mm" of the object that is open, null = NaN; and the
 * array "marks". */
void tt_json_unseen(struct tt_json *json, double shift_mm, double effect_mm);
void tt_json_marks(struct tt_json *json, const struct tiptrue_solution *solution);

#endif
