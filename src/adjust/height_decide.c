/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the explanations of the touches from above mean together: which faults there are, and what
 * all of them leave of each height, by their probabilities. */
#include "config.h"

#include "adjust/height_pool.h"

#include <math.h>
#include <string.h>

#include "adjust/uncertainty.h"

/* Good touches of a tip that a face runout is adopted on: more than it and the height are. */
#define FACE_UNKNOWNS 3
/* ln odds, times good touches beyond that, that a face runout must lead by where touches of its tip
 * are rejected: late ones look like one. */
#define FACE_AMONG_LATE 1.0
/* With good touches at so many rotations, or fewer, a face runout and the height fit whatever they
 * are at each: touches that are late alike at one rotation look like one. There its evidence, of
 * all sets, must lead by these ln odds over that of late touches in its place. */
#define FACE_ROTATIONS 3
#define FACE_OVER_LATE 3.0
#define FACE_SAME_COSINE 0.9998 /* of the angle between rotations that are one: 0.02 rad */
/* A tip whose face runs out does so in all its runs: that few tips have it says nothing for this
 * one, so that for the heights it is so many times as probable, with any tip. */
#define FACE_OFTEN 4.0
/* ln odds behind the most probable explanation within which one bears on the heights. */
#define HEIGHT_PART_LN 7.0
#define MOST_HEIGHT_PARTS 96
#define HEIGHT_PART_STEP 0.25 /* by which that is drawn in where there are more */
/* Probability of explanations beyond U from which a height is ambiguous: of all, and of those with
 * another pad off, which may be so by anything. */
#define HEIGHT_BEYOND 0.015
#define HEIGHT_PAD_BEYOND 0.01
/* ln Bayes factor of modes that something speaks for, at least: more than rounding. */
#define LEAST_BAYES_LN 1e-6

/* Least squares of what @found calls good. TIPTRUE_E_DEGENERATE: that does not determine it. */
static enum tiptrue_status finish(const struct tt_height_pool *s,
                                  const struct tt_height_explanation *found, bool proper,
                                  struct tt_height_fit **finished)
{
    struct tt_height_fit *fit = *finished = TT_ARENA_NEW(s->arena, 1, struct tt_height_fit);

    if (fit == NULL || tt_height_fit_init(fit, s->arena, s->heights, found->modes, found->n_modes,
                                          proper) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    return tt_height_least_squares(fit, found->good) ? TIPTRUE_OK : TIPTRUE_E_DEGENERATE;
}

/* ---- which faults there are ---- */

static bool same_faults(const struct tt_height_explanation *a,
                        const struct tt_height_explanation *b)
{
    size_t same = 0;

    for (size_t i = 0; i < a->n_modes; i++) {
        for (size_t k = 0; k < b->n_modes; k++) {
            same += a->modes[i].kind == b->modes[k].kind && a->modes[i].what == b->modes[k].what;
        }
    }
    return a->n_modes == b->n_modes && same == a->n_modes;
}

static bool has_face(const struct tt_height_explanation *e, size_t tip)
{
    bool has = false;

    for (size_t m = 0; m < e->n_modes; m++) {
        has = has || (e->modes[m].kind == TT_HEIGHT_FACE && e->modes[m].what == tip);
    }
    return has;
}

/* Touches of @tip; *good: those that @e calls good. */
static size_t count_rows(const struct tt_heights *h, const struct tt_height_explanation *e,
                         size_t tip, size_t *good)
{
    size_t all = 0;

    *good = 0;
    for (size_t i = 0; i < h->n_rows; i++) {
        all += h->rows[i].tip == tip;
        *good += h->rows[i].tip == tip && e->good[i] > 0;
    }
    return all;
}

/* Whether the good touches of @tip are at more than FACE_ROTATIONS rotations. */
static bool is_turned_enough(const struct tt_heights *h, const struct tt_height_explanation *e,
                             size_t tip)
{
    const struct tt_height_row *at[FACE_ROTATIONS];
    size_t n = 0;

    for (size_t i = 0; i < h->n_rows; i++) {
        const struct tt_height_row *row = &h->rows[i];
        bool there = row->tip != tip || !(e->good[i] > 0);
        for (size_t k = 0; k < n; k++) {
            there =
                there || row->cosine * at[k]->cosine + row->sine * at[k]->sine > FACE_SAME_COSINE;
        }
        if (!there && n == FACE_ROTATIONS) {
            return true;
        }
        if (!there) {
            at[n++] = row;
        }
    }
    return false;
}

/* Whether late touches explain too much of what a face runout of @tip does. */
static bool is_imitated(const struct tt_height_pool *s, size_t tip)
{
    double face = 0, late = 0, most = -INFINITY;

    for (size_t i = 0; i < s->n_found; i++) {
        most = fmax(most, s->found[i].log_evidence);
    }
    for (size_t i = 0; i < s->n_found; i++) {
        size_t good, all = count_rows(s->heights, &s->found[i], tip, &good);
        double p = exp(s->found[i].log_evidence - most);
        bool has = has_face(&s->found[i], tip);
        face += has ? p : 0;
        late += !has && good < all ? p : 0;
    }
    return face < exp(FACE_OVER_LATE) * late;
}

/* ln odds that the face runouts of @e must lead by; infinite: one rests on no more good touches
 * than any numbers would fit, or on what late touches do as well. */
static double must_lead_by(const struct tt_height_pool *s, const struct tt_height_explanation *e)
{
    double lead = 0;

    for (size_t m = 0; m < e->n_modes; m++) {
        size_t good, tip = e->modes[m].what;
        if (e->modes[m].kind != TT_HEIGHT_FACE) {
            continue;
        }
        size_t all = count_rows(s->heights, e, tip, &good);
        if (all < TT_LEAST_FACE_ROWS || good <= FACE_UNKNOWNS ||
            (s->imitated[tip] && !is_turned_enough(s->heights, e, tip))) {
            return INFINITY;
        }
        if (all > good) {
            lead += FACE_AMONG_LATE / (double)(good - FACE_UNKNOWNS);
        }
    }
    return lead;
}

/* ln evidence by which the faults of @e are adopted, of all sets of good touches. */
static double claim(const struct tt_height_pool *s, const struct tt_height_explanation *e)
{
    double sum = 0;

    for (size_t i = 0; i < s->n_found; i++) {
        const struct tt_height_explanation *other = &s->found[i];
        sum += same_faults(e, other)
                   ? exp(other->log_evidence - e->log_evidence - must_lead_by(s, other))
                   : 0;
    }
    return e->log_evidence + log(sum);
}

/* The most probable set of good touches of the faults that are adopted; NULL: none. */
static const struct tt_height_explanation *best_of(const struct tt_height_pool *s)
{
    const struct tt_height_explanation *best = NULL;
    double most = -INFINITY;

    for (size_t i = 0; i < s->n_found; i++) {
        const struct tt_height_explanation *e = &s->found[i];
        if (must_lead_by(s, e) == INFINITY) {
            continue;
        }
        bool same = best != NULL && same_faults(e, best);
        double its = same ? most : claim(s, e);
        if (same ? e->log_evidence > best->log_evidence : its > most) {
            best = e;
            most = its;
        }
    }
    return best;
}

/* ---- what they leave of the heights ---- */

/* ln evidence with which @e bears on the heights. */
static double for_heights(const struct tt_height_pool *s, const struct tt_height_explanation *e)
{
    double ln = e->log_evidence;

    for (size_t m = 0; m < e->n_modes; m++) {
        ln += e->modes[m].kind == TT_HEIGHT_FACE ? log(FACE_OFTEN * (double)s->heights->n_tips) : 0;
    }
    return ln;
}

/* Whether the modes of @e hold those of @less; *more: ln prior probability of the others. A face
 * runout of a tip of which touches are rejected is none of these: those that are left balance no
 * longer, so that it moves the height whether or not they speak for it. */
static bool adds_to(const struct tt_heights *h, const struct tt_height_explanation *e,
                    const struct tt_height_explanation *less, double *more)
{
    size_t same = 0, good;

    *more = 0;
    for (size_t i = 0; i < e->n_modes; i++) {
        const struct tt_height_mode *mode = &e->modes[i];
        bool there = false;
        for (size_t k = 0; k < less->n_modes; k++) {
            const struct tt_height_mode *other = &less->modes[k];
            there = there || (mode->kind == other->kind && mode->what == other->what &&
                              mode->size == other->size);
        }
        same += there;
        *more += there ? 0 : mode->log_p;
        if (!there && mode->kind == TT_HEIGHT_FACE && count_rows(h, e, mode->what, &good) > good) {
            return false;
        }
    }
    return same == less->n_modes && e->n_modes > less->n_modes;
}

/* Whether @e only adds modes that no touch speaks for to another explanation: what a run cannot
 * show widens no height of a run that raises questions, as it widens none of another. */
static bool is_idle(const struct tt_height_pool *s, const struct tt_height_explanation *e)
{
    double more;

    for (size_t i = 0; i < s->n_found; i++) {
        const struct tt_height_explanation *less = &s->found[i];
        if (adds_to(s->heights, e, less, &more) &&
            e->log_evidence - more <= less->log_evidence + LEAST_BAYES_LN &&
            memcmp(e->good, less->good, s->heights->n_rows * sizeof *e->good) == 0) {
            return true;
        }
    }
    return false;
}

/* ln evidence from which explanations bear on the heights. */
static double least_of_parts(const struct tt_height_pool *s)
{
    size_t n = MOST_HEIGHT_PARTS + 1;
    double least = -INFINITY;

    for (size_t i = 0; i < s->n_found; i++) {
        least = fmax(least, for_heights(s, &s->found[i]) - HEIGHT_PART_LN);
    }
    for (least -= HEIGHT_PART_STEP; n > MOST_HEIGHT_PARTS;) {
        least += HEIGHT_PART_STEP;
        n = 0;
        for (size_t i = 0; i < s->n_found; i++) {
            n += for_heights(s, &s->found[i]) >= least;
        }
    }
    return least;
}

static enum tiptrue_status fill_parts(const struct tt_height_pool *s,
                                      struct tt_height_choice *choice)
{
    double least = least_of_parts(s), sum = 0;

    choice->parts = TT_ARENA_NEW(s->arena, MOST_HEIGHT_PARTS, struct tt_height_part);
    if (choice->parts == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < s->n_found; i++) {
        double ln = for_heights(s, &s->found[i]);
        struct tt_height_part *part = &choice->parts[choice->n_parts];
        if (ln < least || is_idle(s, &s->found[i])) {
            continue;
        }
        enum tiptrue_status status = finish(s, &s->found[i], true, &part->fit);
        if (status == TIPTRUE_E_MEMORY) {
            return status;
        }
        if (status == TIPTRUE_OK) {
            sum += part->probability = exp(ln - least);
            choice->n_parts++;
        }
    }
    for (size_t i = 0; i < choice->n_parts; i++) {
        choice->parts[i].probability /= sum;
    }
    return TIPTRUE_OK;
}

/* The explanation that contributes most to what the height at hand scatters about @value_mm. */
static void blame(struct tt_height_choice *choice, double value_mm)
{
    double most = -1, first = 0;

    for (size_t i = 0; i < choice->n_parts; i++) {
        const struct tt_height_part *part = &choice->parts[i];
        double off = part->value_mm - value_mm, moves = part->probability * off * off;
        first = fmax(first, part->probability);
        if (moves > most) {
            most = moves;
            choice->rival = part->fit;
            choice->rival_odds = part->probability;
        }
    }
    choice->rival_odds = first / choice->rival_odds;
}

/* Whether in @a a pad is off that in @b is not. */
static bool has_other_pad(const struct tt_height_fit *a, const struct tt_height_fit *b)
{
    bool other = false;

    for (size_t i = 0; i < a->n_modes; i++) {
        bool there = a->modes[i].kind != TT_HEIGHT_PAD && a->modes[i].kind != TT_HEIGHT_PAD_FAR;
        for (size_t k = 0; k < b->n_modes; k++) {
            there = there ||
                    (a->modes[i].kind == b->modes[k].kind && a->modes[i].what == b->modes[k].what);
        }
        other = other || !there;
    }
    return other;
}

/* Heights of which explanations that are not improbable lie beyond U, or with far less worth than
 * the same touches, all good, would give. */
static void doubt(struct tt_height_choice *choice)
{
    for (size_t t = 0; t < choice->fit->heights->n_tips && choice->n_parts > 1; t++) {
        struct tt_height_worth worth = tt_height_worth_of(choice, t, TT_NONE);
        double expanded = tt_factor_line(worth.dof) * worth.u_mm, beyond = 0, pads = 0;
        for (size_t i = 0; i < choice->n_parts; i++) {
            const struct tt_height_part *part = &choice->parts[i];
            bool far = fabs(part->value_mm - worth.value_mm) > expanded,
                 other =
                     has_other_pad(part->fit, choice->fit) || has_other_pad(choice->fit, part->fit);
            beyond += far ? part->probability : 0;
            pads += far && other ? part->probability : 0;
        }
        if (beyond > HEIGHT_BEYOND || pads > HEIGHT_PAD_BEYOND ||
            worth.u_mm > TT_HEIGHT_LITTLE * sqrt(choice->all_good_mm2[t])) {
            choice->ambiguous[t] = true;
            blame(choice, worth.value_mm);
        }
    }
}

enum tiptrue_status tt_height_decide(struct tt_height_pool *s, struct tt_height_choice *choice)
{
    s->imitated = TT_ARENA_NEW(s->arena, s->heights->n_tips, bool);
    if (s->imitated == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t t = 0; t < s->heights->n_tips; t++) {
        s->imitated[t] = is_imitated(s, t);
    }
    const struct tt_height_explanation *best = best_of(s);
    enum tiptrue_status status =
        best == NULL ? TIPTRUE_E_DEGENERATE : finish(s, best, false, &choice->fit);

    if (status != TIPTRUE_OK) {
        return status;
    }
    choice->slope_known = tt_height_slope_is_known(choice->fit, 0);
    status = tt_height_all_good(s, choice) ? fill_parts(s, choice) : TIPTRUE_E_MEMORY;
    if (status != TIPTRUE_OK) {
        return status;
    }
    doubt(choice);
    return TIPTRUE_OK;
}

/* Variances that the same touches, all good, would give. */
bool tt_height_all_good(const struct tt_height_pool *s, struct tt_height_choice *choice)
{
    struct tt_height_fit fit;
    const struct tt_height_fit *chosen = choice->fit;
    enum tiptrue_status status =
        tt_height_fit_init(&fit, s->arena, s->heights, chosen->modes, chosen->n_modes, false);

    if (status != TIPTRUE_OK) {
        return false;
    }
    fit.variance_mm2 = chosen->variance_mm2;
    for (size_t i = 0; i < s->heights->n_rows; i++) {
        fit.weight[i] = 1 / fit.variance_mm2;
    }
    if (!tt_height_solve(&fit)) {
        return false;
    }
    for (size_t t = 0; t < s->heights->n_tips; t++) {
        tt_height_gradient(&fit, choice->slope_known, t, TT_NONE, choice->g);
        choice->all_good_mm2[t] = tt_height_variance(&fit, choice->g, choice->g + fit.n);
    }
    return true;
}
