/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The field tables of tiptrue.result/1 (result.c, result_tip.c), and what of it is no plain value:
 * for each of these parts ingest has a hook that reads it and output/json one that writes it. */
#ifndef TT_FORMATS_RESULT_H
#define TT_FORMATS_RESULT_H

#include "formats/keys.h"
#include "model/solution.h"

enum tt_result_hook {
    TT_HOOK_NONE,
    TT_HOOK_SCHEMA,       /* the document's */
    TT_HOOK_PROGRAM,      /* name and version */
    TT_HOOK_VERDICT,      /* a word; null with least squares */
    TT_HOOK_COVARIANCE,   /* [[xx, xy], [xy, yy]] */
    TT_HOOK_CORRELATION,  /* of the same */
    TT_HOOK_PROBABILITY,  /* 0.95 */
    TT_HOOK_EFFECT,       /* a number for each feature of the plate */
    TT_HOOK_PERMITTED,    /* the run's permitted error, said of each tip */
    TT_HOOK_REASONS,      /* texts */
    TT_HOOK_REASON_CODES, /* made from the rest */
    TT_HOOK_BUDGET_CODE,  /* made from the source */
    TT_HOOK_FINDING_CODE, /* unknown ones are left out */
    TT_HOOK_EDGE_NAME,    /* names, kept as indices */
    TT_HOOK_TIP_NAME,     /* */
    TT_HOOK_SETUP_NAME,   /* */
    TT_HOOK_LINES,        /* lines of the run's file */
    TT_HOOK_VALUES,       /* of a finding: keys with their units' suffixes */
    TT_HOOK_RESIDUAL,     /* a number of a touch, two of a sighting; null unless used */
    TT_HOOK_MOVED,        /* the same; left out where nothing moved */
    TT_HOOK_WANTED,       /* names; null: all */
    TT_WRITTEN_HOOKS,     /* what follows looks at what was read, or prepares it */
    TT_HOOK_RUN = TT_WRITTEN_HOOKS,
    TT_HOOK_TIP,
    TT_HOOK_SAME_PLATE,
    TT_HOOK_FEATURE,
    TT_HOOK_BUDGET_LINE,
    TT_HOOK_FACE,
    TT_HOOK_NAMES,
    TT_HOOK_FINDING,
    TT_RESULT_HOOKS /* how many */
};

/* The document; a tip, a difference of two, each of their own file. */
extern const struct tt_keys tt_result_keys, tt_result_tip_keys, tt_result_tip_difference_keys;
/* An edge in tiptrue.check/1. */
extern const struct tt_keys tt_checked_edge_keys;

/* "keep", "update", ... */
extern const struct tt_vocabulary tt_result_verdicts;

/* Numbers of at least 0; above 0. */
extern const struct tt_bounds tt_not_negative, tt_above_0;

#endif
