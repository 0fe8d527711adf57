/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Parts of tiptrue.result/1 that other documents share. */
#ifndef TT_OUTPUT_JSON_JSON_RESULT_H
#define TT_OUTPUT_JSON_JSON_RESULT_H

#include "model/placement.h"
#include "model/solution.h"
#include "output/json/json_write.h"

/* The list of the result that is kept at the place @at of a solution (findings, marks), with its
 * key: tt_json_result_list(json, offsetof(struct tiptrue_solution, marks), s). */
void tt_json_result_list(struct tt_json *json, size_t at, const struct tiptrue_solution *s);
/* An edge of tiptrue.check/1. */
void tt_json_checked_edge(struct tt_json *json, const struct tt_edge_result *edge);

/* What a board and a run of touches say together, as part of tiptrue.placement/1. */

/* More degrees of freedom than this are as good as infinitely many: null. */
#define TT_MOST_DOF 1e6

/* A part that is wanted of @tip: placement_json.c. */
void tt_json_part(struct tt_json *json, const char *tip, const struct tt_wanted_part *part);

#endif
