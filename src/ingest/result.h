/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Hooks that read the parts of a result that are no plain values: see formats/result.h. What a
 * fault is, is told; memory that does not suffice is noted in the fields. */
#ifndef TT_INGEST_RESULT_H
#define TT_INGEST_RESULT_H

#include "formats/result.h"
#include "ingest/fields.h"

/* The texts of a list, copied, with their number; NULL: out of memory. */
const char **tt_result_texts(struct tt_fields *fields, const struct tt_member *member, size_t *n);

/* result_tip.c */
tt_member_reader tt_result_covariance, tt_result_correlation, tt_result_same_plate,
    tt_result_effect, tt_result_permitted, tt_result_probability, tt_result_budget_line,
    tt_result_face, tt_result_reasons, tt_result_tip;

/* result_findings.c */
tt_member_reader tt_result_finding_code, tt_result_finding, tt_result_names, tt_result_edge_name,
    tt_result_tip_name, tt_result_setup_name, tt_result_lines, tt_result_values;

/* What the tips' reasons are: a tip's errors among the findings, in their order, or what its
 * numbers say. A result of an older program has no more than their texts. */
void tt_result_sort_reasons(struct tiptrue_solution *solution);

#endif
