/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Which touches and terms explain the run: least squares of everything where that stands, else the
 * best of all explanations. */
#ifndef TT_ADJUST_SELECT_H
#define TT_ADJUST_SELECT_H

#include "adjust/explain.h"

struct tt_selection {
    struct tt_model *model;
    struct tt_fit *fit;
    struct tt_terms terms;
    struct tt_explanation *explanation; /* NULL: least squares of everything stands */
    bool robust;                        /* least squares was asked whether it stands */
    bool weak;                          /* something is determined by neither data nor statements */
};

/* Fit @run (@robust; else the plain model by least squares). Memory from @arena. TIPTRUE_E_DATA: no
 * touch can be used. */
TT_MUST_USE enum tiptrue_status tt_select(struct tt_selection *selection, struct tt_arena *arena,
                                          const struct tiptrue_plate *plate,
                                          const struct tiptrue_machine *machine,
                                          const struct tiptrue_run *run, struct tt_noise *noise,
                                          bool robust);

#endif
