/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* One tip of a solution as JSON. */
#ifndef TT_OUTPUT_JSON_TIP_H
#define TT_OUTPUT_JSON_TIP_H

#include "model/solution.h"
#include "output/json_write.h"

/* Write @tip, one of the tips of @solution, as the next value of @json. */
void tt_json_tip(struct tt_json *json, const struct tiptrue_solution *solution, const struct tt_tip_result *tip);
/* Write a difference of two tips, an object of "between_tips". */
void tt_json_tip_difference(struct tt_json *json, const struct tt_tip_difference *difference);

#endif
