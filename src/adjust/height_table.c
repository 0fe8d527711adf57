/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The faults that touches from above may have. */
#include "config.h"

#include <math.h>

#include "adjust/height_search.h"

/* Size and prior probability of each kind of fault, the latter shared by its candidates
 * (docs/method.md, section 5). */
static const struct {
    double size, probability;
} PRIORS[TT_HEIGHT_MODES] = {
    [TT_HEIGHT_FACE] = {0.012, 0.03}, [TT_HEIGHT_PAD] = {0.06, 0.03},
    [TT_HEIGHT_PAD_FAR] = {3, 0.01},  [TT_HEIGHT_DRIFT] = {0.02, 0.002},
    [TT_HEIGHT_MOVE] = {0.03, 0.01},  [TT_HEIGHT_LATENCY] = {5e-3, 0.02},
};
/* Of some tips the end is out of square by more: the same mode with another size. */
#define FAR_FACE_MM 0.05
#define FAR_FACE_PROBABILITY 0.01
/* Rows at which a move of all heights is tried, at most. */
#define MOST_HEIGHT_MOVES 24
#define LEAST_HEIGHT_ROWS 3

struct table {
    struct tt_height_mode *table;
    size_t n_table;
};

static void add_mode(struct table *s, enum tt_height_mode_kind kind, size_t what, size_t share)
{
    s->table[s->n_table++] = (struct tt_height_mode){kind, what, PRIORS[kind].size,
                                                     log(PRIORS[kind].probability / (double)share)};
}

bool tt_height_table(struct tt_arena *arena, const struct tt_heights *h,
                     struct tt_height_mode **modes, size_t *n_modes)
{
    struct table made = {0}, *s = &made;
    size_t n = h->n_rows, moves = n > 2 * LEAST_HEIGHT_ROWS ? n - 2 * LEAST_HEIGHT_ROWS + 1 : 0;

    moves = moves > MOST_HEIGHT_MOVES ? MOST_HEIGHT_MOVES : moves;
    s->table =
        TT_ARENA_NEW(arena, 2 * h->n_tips + 2 * h->n_pads + moves + 2, struct tt_height_mode);
    if (s->table == NULL) {
        return false;
    }
    for (size_t t = 0; t < h->n_tips && h->rotations_stated; t++) {
        size_t rows = 0;
        for (size_t i = 0; i < n; i++) {
            rows += h->rows[i].tip == t;
        }
        if (rows >= LEAST_HEIGHT_ROWS) {
            add_mode(s, TT_HEIGHT_FACE, t, h->n_tips);
        }
        if (rows >= TT_LEAST_FACE_ROWS) {
            add_mode(s, TT_HEIGHT_FACE, t, h->n_tips);
            s->table[s->n_table - 1].size = FAR_FACE_MM;
            s->table[s->n_table - 1].log_p = log(FAR_FACE_PROBABILITY / (double)h->n_tips);
        }
    }
    for (size_t p = 0; p < h->n_pads; p++) {
        add_mode(s, TT_HEIGHT_PAD, p, h->n_pads);
        add_mode(s, TT_HEIGHT_PAD_FAR, p, h->n_pads);
    }
    if (n > 2 * LEAST_HEIGHT_ROWS) {
        add_mode(s, TT_HEIGHT_DRIFT, 0, 1);
    }
    for (size_t k = 0; k < moves; k++) {
        size_t span = n - 2 * LEAST_HEIGHT_ROWS;
        size_t at = LEAST_HEIGHT_ROWS + (moves > 1 ? k * span / (moves - 1) : 0);
        add_mode(s, TT_HEIGHT_MOVE, at, moves);
    }
    if (h->feeds_differ && !h->latency_s.stated) {
        add_mode(s, TT_HEIGHT_LATENCY, 0, 1);
    }
    *modes = s->table;
    *n_modes = s->n_table;
    return true;
}
