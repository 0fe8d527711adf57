/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* How a finding is added to a view; which there are: findings.h. */
#ifndef TT_ADJUST_FINDING_ADD_H
#define TT_ADJUST_FINDING_ADD_H

#include "adjust/assemble.h"

/* What a finding is about; TT_NONE = nothing of that kind. @lines are copied. */
struct tt_about {
    size_t edge, tip, setup;
    const size_t *lines;
    size_t n_lines;
};

#define TT_ABOUT_RUN ((struct tt_about){TT_NONE, TT_NONE, TT_NONE, NULL, 0})
#define TT_ABOUT_TIP(tip) ((struct tt_about){TT_NONE, (tip), TT_NONE, NULL, 0})
#define TT_ABOUT_SETUP(setup) ((struct tt_about){TT_NONE, TT_NONE, (setup), NULL, 0})

/* Add a finding, whose sentence output makes: add a template for it to src/output/text/sentences.c.
 * Texts and clauses among @values are copied; their keys are literals, none twice. For example
 *     tt_finding_add_values(view, TT_FINDING_MARKS_OFF, TIPTRUE_ERROR, TT_ABOUT_RUN,
 *                           TT_VALUES(TT_IN_MM("found", found_mm), TT_TEXT("mark", mark->name))) */
TT_MUST_USE enum tiptrue_status
tt_finding_add_values(struct tt_view *view, enum tt_finding_code code,
                      enum tiptrue_severity severity, struct tt_about about,
                      const struct tt_value values[], size_t n_values);

/* Adds what there is to find of one kind. */
typedef enum tiptrue_status tt_finder(struct tt_view *view);
/* Each of the @n, until one fails. */
TT_MUST_USE enum tiptrue_status tt_find_all(struct tt_view *view, tt_finder *const finders[],
                                            size_t n);

/* Tip of the run (index into run->tips) behind the @index-th tip of the solution. */
size_t tt_run_tip(const struct tt_view *view, size_t index);
/* The stated tip behind the result number @index, or NULL. */
const struct tt_tip *tt_stated_tip(const struct tt_view *view, size_t index);

#endif
