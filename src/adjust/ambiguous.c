/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The finding that two explanations of a run are about as probable, with both in words. */
#include "config.h"

#include <math.h>

#include "adjust/explain.h"
#include "adjust/findings.h"
#include "base/buffer.h"

static bool all_kept(const struct tiptrue_run *run, const double good[])
{
    bool all = true;

    for (size_t i = 0; i < run->n_observations && all; i++) {
        const struct tt_observation *o = &run->observations[i];
        all = o->kind != TT_TOUCH || o->use != TT_USE || good[i] >= 0.5;
    }
    return all;
}

/* What a mode's words name between their halves, and after them. */
enum subject { NOTHING, EDGE, MARK, TIP, SLIPPED_TIP, SIGHTING_LINE, ROW_LINE, QUARTERS };

static const struct {
    const char *before, *after;
    enum subject subject;
} words[TT_MODE_KINDS] = {
    [TT_MODE_FILM] = {"edge '", "' late as a whole", EDGE},
    [TT_MODE_EDGE] = {"edge '", "' not where the plate file says", EDGE},
    [TT_MODE_EDGE_OUT] = {"no touch of edge '", "' good", EDGE},
    [TT_MODE_SIGHT] = {"the sighting of line ", " off", SIGHTING_LINE},
    [TT_MODE_SIGHT_GROSS] = {"the sighting of line ", " off", SIGHTING_LINE},
    [TT_MODE_MARK] = {"mark '", "' not where the plate file says", MARK},
    [TT_MODE_MARK_GROSS] = {"mark '", "' not where the plate file says", MARK},
    [TT_MODE_RADIUS] = {"the stated contact radius of '", "' wrong", TIP},
    [TT_MODE_RADII] = {"the stated contact radii of all tips wrong", "", NOTHING},
    [TT_MODE_MOVED] = {"the plate moved at line ", "", ROW_LINE},
    [TT_MODE_SLIP] = {"the rotation of '", "' slipped", SLIPPED_TIP},
    [TT_MODE_DRIFT] = {"the plate drifted", "", NOTHING},
    [TT_MODE_LOST_MOTION] = {"the axes have reversal error", "", NOTHING},
    [TT_MODE_LATENCY] = {"contacts depend on the feed", "", NOTHING},
    [TT_MODE_SHAPE] = {"'", "' not round", TIP},
    [TT_MODE_REVERSED] = {"rotation counted the other way", "", NOTHING},
    [TT_MODE_NOT_SQUARE] = {"the axes not square", "", NOTHING},
    [TT_MODE_SCALE] = {"x and y to different scales", "", NOTHING},
    [TT_MODE_AXES] = {"the axes not true to scale or not square", "", NOTHING},
    [TT_MODE_DISTORTION] = {"the picture distorted towards its corners", "", NOTHING},
    [TT_MODE_TURNED] = {"the plate turned by ", "°", QUARTERS},
};

static void word(struct tt_buffer *text, const struct tt_view *view, const struct tt_mode *m)
{
    const struct tiptrue_run *run = view->run;

    tt_buffer_puts(text, words[m->kind].before);
    switch (words[m->kind].subject) {
    case NOTHING:
        break;
    case EDGE:
        tt_buffer_puts(text, view->plate->edges[m->index].name);
        break;
    case MARK:
        tt_buffer_puts(text, view->plate->marks[m->index].name);
        break;
    case TIP:
        tt_buffer_puts(text, run->tips[m->index]);
        break;
    case SLIPPED_TIP:
        tt_buffer_puts(text, run->tips[m->tip]);
        break;
    case SIGHTING_LINE:
        tt_buffer_printf(text, "%zu", run->observations[view->model->sights[m->index].row].line);
        break;
    case ROW_LINE:
        tt_buffer_printf(text, "%zu", run->observations[m->index].line);
        break;
    case QUARTERS:
        tt_buffer_printf(text, "%u", m->order * 90);
        break;
    }
    tt_buffer_puts(text, words[m->kind].after);
    if (m->kind == TT_MODE_SLIP) {
        tt_buffer_printf(text, " at line %zu", run->observations[m->index].line);
    }
}

/* An explanation in words, such as "edge 'left' late as a whole, and the sighting of line 12 off".
 */
static void words_modes(struct tt_buffer *text, const struct tt_view *view,
                        const struct tt_mode modes[], size_t n, const double good[])
{
    if (n == 0) {
        tt_buffer_puts(text, all_kept(view->run, good) ? "every touch is good and all is as stated"
                                                       : "only single touches are off");
    }
    for (size_t k = 0; k < n; k++) {
        tt_buffer_puts(text, k == 0 ? "" : ", and ");
        word(text, view, &modes[k]);
    }
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
            bool best = e->good[i] < 0.5, rival = e->rival_good[i] < 0.5;
            n[0] += best;
            n[1] += rival;
            differ += best != rival;
        }
    }
    return differ;
}

/* Where both explanations have the same modes they differ in which touches they leave out: the edge
 * on which they do most is named in both. */
static void words_touches(struct tt_buffer *best, struct tt_buffer *rival,
                          const struct tt_view *view)
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
    if (most > 0) {
        const char *name = view->plate->edges[worst].name;
        (void)left_out(view, worst, n);
        if (n[0] > 0) {
            tt_buffer_printf(best, ", %zu of edge '%s'", n[0], name);
        }
        if (n[1] > 0) {
            tt_buffer_printf(rival, ", %zu%s of edge '%s'", n[1], n[0] == n[1] ? " others" : "",
                             name);
        }
    }
}

enum tiptrue_status tt_finding_ambiguous(struct tt_view *view, size_t block, size_t tip)
{
    const struct tt_explanation *e = view->selection->explanation;
    struct tt_buffer best = {0}, rival = {0};
    enum tiptrue_status status = TIPTRUE_E_MEMORY;

    words_modes(&best, view, e->modes, e->n_modes, e->good);
    words_modes(&rival, view, e->rival_modes, e->n_rival_modes, e->rival_good);
    words_touches(&best, &rival, view);
    double expanded = e->rival_expanded_mm[block];
    const struct tt_machine_xy apart = e->rival_offset[block];
    bool vague = hypot(apart.x_mm, apart.y_mm) < expanded;
    if (!best.failed && !rival.failed) {
        status = tt_finding_add_values(
            view, TT_FINDING_AMBIGUOUS, TIPTRUE_ERROR,
            (struct tt_about){TT_NONE, tip, TT_NONE, NULL, 0},
            TT_VALUES(TT_TEXT("what", vague ? "vague" : "apart"), TT_TEXT("best", best.text),
                      TT_TEXT("rival", rival.text), TT_IN_MM("x", apart.x_mm),
                      TT_IN_MM("y", apart.y_mm), TT_IN_MM("expanded", expanded),
                      TT_PLAIN("odds", exp(-e->rival_log_odds))));
    }
    tt_buffer_clear(&best);
    tt_buffer_clear(&rival);
    return status;
}
