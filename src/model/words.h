/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Every vocabulary that documents and people share, once: a code, its word. All texts are static.
 */
#ifndef TT_MODEL_WORDS_H
#define TT_MODEL_WORDS_H

#include <stdbool.h>
#include <stddef.h>

/* By code: "keep"; "note"; "sight" (enum tt_kind); "find" (of a touch that was made twice);
 * "used" (enum tt_use). */
enum { TT_VERDICTS = 4, TT_SEVERITIES = 3, TT_KINDS = 5, TT_STAGES = 2, TT_USES = 4 };
extern const char *const tt_verdict_words[TT_VERDICTS], *const tt_severity_words[TT_SEVERITIES],
                                                            *const tt_kind_words[TT_KINDS],
                                                                *const tt_stage_words[TT_STAGES],
                                                                    *const tt_use_words[TT_USES];

/* What a line of the uncertainty's budget is of. */
enum tt_budget_code {
    TT_BUDGET_TOUCH,
    TT_BUDGET_SIGHT,
    TT_BUDGET_RESOLUTION,
    TT_BUDGET_ROTATION,
    TT_BUDGET_RADIUS,
    TT_BUDGET_YAW,
    TT_BUDGET_PLACE,
    TT_BUDGET_CAMERA,
    TT_BUDGET_LENS,
    TT_BUDGET_RIVALS,
    TT_BUDGET_EDGES,
    TT_BUDGET_GROUPS,
    TT_BUDGET_MARKS,
    TT_BUDGET_BETWEEN_RUNS, /* what a history brings in: beyond what each run explains */
    TT_BUDGET_OTHER,        /* of a result by a newer version */
    TT_BUDGET_CODES         /* how many */
};

/* "touch-repeatability" for programs, "touch repeatability" for people; both stand in a result. */
const char *tt_budget_name(enum tt_budget_code code);
const char *tt_budget_source(enum tt_budget_code code);
/* The code whose source is @source; TT_BUDGET_OTHER: none. */
enum tt_budget_code tt_budget_find(const char *source);

#endif
