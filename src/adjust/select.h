/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which model the run supports: the plain one, and what must be added to it. */
#ifndef TT_ADJUST_SELECT_H
#define TT_ADJUST_SELECT_H

#include "adjust/extra.h"

/* An edge that lies further off than it should. */
struct tt_edge_doubt {
    size_t edge;        /* TT_NONE = none */
    double off_mm;      /* along n, where the other edges put it */
    bool attributed;    /* the other edges single it out; it was then left out of the reference (edge_free) */
    double log_p, gain; /* as in tt_extra */
};

struct tt_selection {
    struct tt_model *model;
    struct tt_fit *fit;
    struct tt_terms terms;
    struct tt_edge_doubt doubt;
    struct tt_edge_doubt instead; /* an edge that would explain a supported lost motion as well; edge TT_NONE = none */
    bool weak;                    /* something is determined by neither data nor statements */
};

/* Fit @run, adding terms while the touches support them (@robust; else the plain model by least squares). Memory from @arena.
 * TIPTRUE_E_DATA: no touch can be used. */
TT_MUST_USE enum tiptrue_status tt_select(struct tt_selection *selection, struct tt_arena *arena, const struct tiptrue_plate *plate,
                                          const struct tiptrue_machine *machine, const struct tiptrue_run *run,
                                          struct tt_noise *noise, bool robust);

#endif
