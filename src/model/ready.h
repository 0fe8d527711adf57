/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* May the job start: a run judged, held against the runs before it, and what was written of it. */
#ifndef TT_MODEL_READY_H
#define TT_MODEL_READY_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "model/comparison.h"
#include "model/machine.h"
#include "model/plate.h"
#include "model/solution.h"
#include "model/trend.h"

/* An edge of the run, with how often it made contact late, then and in the run before. */
struct tt_ready_edge {
    const char *name;
    size_t touches, late;
    bool has_before;
    size_t touches_before, late_before;
};

/* A board of a machine, as far as a job asks. */
struct tt_last_board {
    char id[TIPTRUE_RUN_ID_SIZE]; /* "": there is none */
    double time_s;
    size_t parts; /* that were used */
    enum tiptrue_verdict verdict;
};

struct tiptrue_ready {
    enum tiptrue_readiness state;
    bool written; /* the new offsets were, and were read back */
    struct tiptrue_solution *solution;
    const struct tiptrue_plate *plate;     /* borrowed */
    const struct tiptrue_machine *machine; /* borrowed; with the offsets in use before */
    double now_s;
    bool has_started;
    double started_s;
    char before_id[TIPTRUE_RUN_ID_SIZE]; /* the run before, on the same plate; "": none */
    double before_s;
    struct tiptrue_comparison *since; /* this run less that one; NULL: there is none */
    bool all_alike;                   /* all tips moved by the same amount since then */
    struct tt_machine_xy alike;
    struct tiptrue_trend *trend; /* of the latest runs; NULL: none */
    struct tt_ready_edge *edges; /* those that made contact late in this run */
    size_t n_edges;
    struct tt_last_board board, confirmed; /* the latest one, and the latest that confirms */
    bool written_since; /* offsets were written into a configuration after it was confirmed */
    struct tiptrue_exported *exported; /* what was written, or would be; NULL: nothing yet */
    struct tt_arena arena;
};

#endif
