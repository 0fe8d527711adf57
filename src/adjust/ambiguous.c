/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The finding that two explanations of a run are about as probable, and what each says. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "adjust/explain.h"
#include "adjust/findings.h"

/* What the clause of a mode names. */
enum subject { NOTHING, EDGE, MARK, TIP, SLIPPED_TIP, SIGHTING_LINE, ROW_LINE, QUARTERS };

static const struct {
    enum tt_clause_code code;
    enum subject subject;
} clauses[TT_MODE_KINDS] = {
    [TT_MODE_FILM] = {TT_CLAUSE_EDGE_LATE, EDGE},
    [TT_MODE_EDGE] = {TT_CLAUSE_EDGE_OFF, EDGE},
    [TT_MODE_EDGE_OUT] = {TT_CLAUSE_EDGE_OUT, EDGE},
    [TT_MODE_SIGHT] = {TT_CLAUSE_SIGHTING, SIGHTING_LINE},
    [TT_MODE_SIGHT_GROSS] = {TT_CLAUSE_SIGHTING, SIGHTING_LINE},
    [TT_MODE_MARK] = {TT_CLAUSE_MARK, MARK},
    [TT_MODE_MARK_GROSS] = {TT_CLAUSE_MARK, MARK},
    [TT_MODE_RADIUS] = {TT_CLAUSE_RADIUS, TIP},
    [TT_MODE_RADII] = {TT_CLAUSE_RADII, NOTHING},
    [TT_MODE_MOVED] = {TT_CLAUSE_MOVED, ROW_LINE},
    [TT_MODE_MOVED_FAR] = {TT_CLAUSE_MOVED, ROW_LINE},
    [TT_MODE_CAMERA] = {TT_CLAUSE_CAMERA, ROW_LINE},
    [TT_MODE_TIP] = {TT_CLAUSE_TIP, SLIPPED_TIP},
    [TT_MODE_SLIP] = {TT_CLAUSE_SLIPPED, SLIPPED_TIP},
    [TT_MODE_DRIFT] = {TT_CLAUSE_DRIFTED, NOTHING},
    [TT_MODE_LOST_MOTION] = {TT_CLAUSE_LOST_MOTION, NOTHING},
    [TT_MODE_LATENCY] = {TT_CLAUSE_LATENCY, NOTHING},
    [TT_MODE_SHAPE] = {TT_CLAUSE_NOT_ROUND, TIP},
    [TT_MODE_REVERSED] = {TT_CLAUSE_REVERSED, NOTHING},
    [TT_MODE_NOT_SQUARE] = {TT_CLAUSE_NOT_SQUARE, NOTHING},
    [TT_MODE_SCALE] = {TT_CLAUSE_SCALES, NOTHING},
    [TT_MODE_AXES] = {TT_CLAUSE_AXES, NOTHING},
    [TT_MODE_SCALE_FAR] = {TT_CLAUSE_SCALES, NOTHING},
    [TT_MODE_AXIS_X] = {TT_CLAUSE_AXES, NOTHING},
    [TT_MODE_AXIS_Y] = {TT_CLAUSE_AXES, NOTHING},
    [TT_MODE_DISTORTION] = {TT_CLAUSE_DISTORTED, NOTHING},
    [TT_MODE_TURNED] = {TT_CLAUSE_TURNED, QUARTERS},
};

/* Names are those of plate and run. */
static struct tt_clause clause_of(const struct tt_view *view, const struct tt_mode *m)
{
    const struct tiptrue_run *run = view->run;
    struct tt_clause clause = {.code = clauses[m->kind].code};

    switch (clauses[m->kind].subject) {
    case NOTHING:
        break;
    case EDGE:
        clause.name = view->plate->edges[m->index].name;
        break;
    case MARK:
        clause.name = view->plate->marks[m->index].name;
        break;
    case TIP:
        clause.name = run->tips[m->index];
        break;
    case SLIPPED_TIP:
        clause.code = m->tip == TT_NONE ? TT_CLAUSE_TIPS : clause.code;
        clause.name = m->tip == TT_NONE ? NULL : run->tips[m->tip];
        clause.number = run->observations[m->index].line;
        break;
    case SIGHTING_LINE:
        clause.number = run->observations[view->model->sights[m->index].row].line;
        break;
    case ROW_LINE:
        clause.number = run->observations[m->index].line;
        break;
    case QUARTERS:
        clause.number = m->order * 90;
        break;
    }
    return clause;
}

static void put(struct tt_clauses *to, struct tt_clause clause)
{
    to->clause[to->n++] = clause;
}

/* What an explanation says, with room for one clause more; false: out of memory. */
static bool put_modes(const struct tt_view *view, struct tt_clauses *to,
                      const struct tt_mode modes[], size_t n, const double good[])
{
    to->clause = TT_ARENA_NEW(view->scratch, n + 2, struct tt_clause);
    if (to->clause == NULL) {
        return false;
    }
    if (n == 0) {
        bool all = tt_all_good(view->run, good);
        put(to, (struct tt_clause){.code = all ? TT_CLAUSE_ALL_GOOD : TT_CLAUSE_SOME_TOUCHES});
    }
    for (size_t k = 0; k < n; k++) {
        put(to, clause_of(view, &modes[k]));
    }
    return true;
}

/* Touches of @edge that the best explanation and its rival leave out; returns by how many they
 * differ. */
static size_t left_out(const struct tt_view *view, size_t edge, size_t n[2])
{
    const struct tt_explanation *e = view->selection->explanation;
    size_t differ = 0;

    n[0] = n[1] = 0;
    for (size_t i = 0; i < view->run->n_observations; i++) {
        const struct tt_observation *o = &view->run->observations[i];
        if (o->kind == TT_TOUCH && o->use == TT_USE && o->target == edge) {
            bool best = !tt_is_good(e->good[i]), rival = !tt_is_good(e->rival_good[i]);
            n[0] += best;
            n[1] += rival;
            differ += best != rival;
        }
    }
    return differ;
}

/* Where both explanations have the same modes they differ in which touches they leave out: the edge
 * on which they do most is named in both. */
static void put_touches(const struct tt_view *view, struct tt_clauses *best,
                        struct tt_clauses *rival)
{
    const struct tt_explanation *e = view->selection->explanation;
    size_t most = 0, worst = 0, n[2];
    bool same = e->n_modes == e->n_rival_modes;

    for (size_t k = 0; k < e->n_modes && same; k++) {
        same = e->modes[k].kind == e->rival_modes[k].kind &&
               e->modes[k].index == e->rival_modes[k].index;
    }
    for (size_t j = 0; j < view->plate->n_edges && same; j++) {
        size_t differ = left_out(view, j, n);
        worst = differ > most ? j : worst;
        most = differ > most ? differ : most;
    }
    if (most == 0) {
        return;
    }
    const char *name = view->plate->edges[worst].name;
    (void)left_out(view, worst, n);
    enum tt_clause_code others = n[0] == n[1] ? TT_CLAUSE_OTHER_TOUCHES : TT_CLAUSE_TOUCHES;
    if (n[0] > 0) {
        put(best, (struct tt_clause){TT_CLAUSE_TOUCHES, name, n[0], 0});
    }
    if (n[1] > 0) {
        put(rival, (struct tt_clause){others, name, n[1], 0});
    }
}

enum tiptrue_status tt_finding_ambiguous(struct tt_view *view, size_t block, size_t tip)
{
    const struct tt_explanation *e = view->selection->explanation;
    struct tt_clauses best = {0}, rival = {0};

    if (!put_modes(view, &best, e->modes, e->n_modes, e->good) ||
        !put_modes(view, &rival, e->rival_modes, e->n_rival_modes, e->rival_good)) {
        return TIPTRUE_E_MEMORY;
    }
    put_touches(view, &best, &rival);
    double expanded = e->rival_expanded_mm[block];
    const struct tt_machine_xy apart = e->rival_offset[block];
    bool vague = hypot(apart.x_mm, apart.y_mm) < expanded;
    return tt_finding_add_values(
        view, TT_FINDING_AMBIGUOUS, TIPTRUE_ERROR, TT_ABOUT_TIP(tip),
        TT_VALUES(TT_TEXT("what", vague ? "vague" : "apart"), TT_CLAUSES("best", &best),
                  TT_CLAUSES("rival", &rival), TT_IN_MM("x", apart.x_mm), TT_IN_MM("y", apart.y_mm),
                  TT_IN_MM("expanded", expanded), TT_PLAIN("odds", exp(-e->rival_log_odds))));
}
