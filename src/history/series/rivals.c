/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Other sets of events that explain the runs about as well as the one that was found: what a
 * forecast has to reckon with. A step less, or elsewhere, or a drift in its place; a drift less, or
 * a step in its place; a step more that was too small to pay. Each by its marginal likelihood times
 * its prior probability (R. E. Kass, A. E. Raftery, J. Am. Stat. Assoc. 90 (1995) 773; averaged as
 * J. A. Hoeting and others, Stat. Sci. 14 (1999) 382).
 */
#include "config.h"

#include <math.h>

#include "history/series/changes_parts.h"

/* What is believed beforehand, by judgement: some change in every so many runs, of any kind alike;
 * a drift of each kind in as many histories; their sizes, mm and mm a week. */
#define RUNS_A_CHANGE 40.0
#define HISTORIES_A_DRIFT 10.0
#define STEP_MM 0.01
#define DRIFT_MM 0.002
/* Steps are taken back, moved and renamed one at a time: the last ones. */
#define LAST_STEPS 3
/* Places asked about: the last runs. */
#define MOST_PLACES 300
/* Rivals less probable than this part of the best one's are left out: as twice the logarithm. */
#define FAR 10.0

/* Twice the logarithm of the evidence, with its sign changed: less is better. */
static double evidence_of(const struct tt_events *f)
{
    double sum = f->rss, kinds = (double)f->problem->n_steps;

    for (size_t i = 0; i < f->n_events; i++) {
        const struct tt_event *e = &f->event[i];
        double size = e->going == TT_STEP ? STEP_MM : DRIFT_MM;
        if (e->going == TT_OTHER_PLATE) {
            continue; /* in all of them */
        }
        sum += 2 * log(kinds * (e->going == TT_STEP ? RUNS_A_CHANGE : HISTORIES_A_DRIFT));
        for (size_t c = f->first[i]; c < f->first[i + 1]; c++) {
            double x = size * f->factor[c * f->room + c];
            sum += log1p(x * x);
        }
    }
    return sum;
}

/* Whether a step of @h moves places of tips, and is not another one's with something beside. */
static bool is_asked(const struct tt_hypothesis_of *h)
{
    return h->what == TT_CAMERA || h->what == TT_SEAT || h->what == TT_EDGE ||
           h->what == TT_LOST_MOTION || h->what == TT_ALL_HEIGHTS || h->what == TT_ONE_HEIGHT;
}

/* A rival: found without the event @less (TT_NONE: with all), and with one more. */
struct rival {
    size_t less;
    bool more;
    struct tt_event event;
    double evidence; /* as above */
};

struct rivals {
    struct tt_changes *c;
    struct tt_questions *q;
    struct rival best[TT_MOST_RIVALS];
    size_t n;
};

/* Keep the best ones in order. */
static void keep(struct rivals *r, const struct rival *one)
{
    size_t at = r->n < TT_MOST_RIVALS ? r->n++ : TT_MOST_RIVALS;

    if (at == TT_MOST_RIVALS && !(one->evidence < r->best[--at].evidence)) {
        return;
    }
    for (; at > 0 && r->best[at - 1].evidence > one->evidence; at--) {
        r->best[at] = r->best[at - 1];
    }
    r->best[at] = *one;
}

/* The rest, with one more event in the trial. */
static bool fit_more(struct rivals *r, const struct tt_event *e)
{
    tt_events_copy(&r->q->trial, &r->q->rest, NULL);
    return tt_events_append(&r->q->trial, e);
}

static void try_more(struct rivals *r, size_t less, const struct tt_event *e)
{
    if (fit_more(r, e)) {
        keep(r, &(struct rival){less, true, *e, evidence_of(&r->q->trial)});
    }
}

/* The rest, and with each step that may be worth it. */
static void try_rest(struct rivals *r, size_t less)
{
    const struct tt_problem *p = r->c->problem;
    const struct tt_events *rest = &r->q->rest;
    size_t n = r->c->values.n;
    double here = evidence_of(rest), price = 2 * log(RUNS_A_CHANGE * (double)p->n_steps);

    keep(r, &(struct rival){.less = less, .evidence = here});
    for (size_t run = n > MOST_PLACES ? n - MOST_PLACES : 1; run < n; run++) {
        tt_events_scan(rest, run, r->q->work, r->q->gain);
        for (size_t h = 0; h < p->n_steps; h++) {
            const struct tt_event e = {h, TT_STEP, run, n};
            bool same = less != TT_NONE && tt_event_is(&e, &r->c->fit.event[less]);
            if (is_asked(&p->hypothesis[h]) && !same &&
                here + price - r->q->gain[h] < r->best[0].evidence + FAR) {
                try_more(r, less, &e);
            }
        }
    }
}

/* All rivals that take one event back, but for those of the found set that no place is moved by. */
static void gather(struct rivals *r)
{
    const struct tt_events *fit = &r->c->fit;

    tt_events_copy(&r->q->rest, fit, NULL);
    try_rest(r, TT_NONE);
    for (size_t i = fit->n_events; i-- > 0;) {
        struct tt_event e = fit->event[i];
        enum tt_hypothesis what = r->c->problem->hypothesis[e.hypothesis].what;
        bool step = e.going == TT_STEP && e.to == r->c->values.n;
        size_t later = 0;
        for (size_t k = 0; step && k < fit->n_events; k++) {
            later += fit->event[k].going == TT_STEP && fit->event[k].from > e.from;
        }
        if (what == TT_POSE || what >= TT_WEAR || (step && later >= LAST_STEPS) ||
            !(step || e.going == TT_DRIFT)) {
            continue;
        }
        (void)tt_gain_of(fit, i, &r->q->rest, r->q->leave);
        try_rest(r, i);
        if (step && is_asked(&r->c->problem->hypothesis[e.hypothesis])) {
            e.going = TT_DRIFT;
            try_more(r, i, &e);
        }
    }
}

/* What @rival leads to expect of every tip. */
static void predict(struct rivals *r, const struct rival *rival, double *theta, double *covariance,
                    struct tt_prediction *to)
{
    struct tt_changes shown = *r->c;
    size_t tips = r->c->values.tips;

    tt_events_copy(&r->q->rest, &r->c->fit, NULL);
    if (rival->less != TT_NONE) {
        (void)tt_gain_of(&r->c->fit, rival->less, &r->q->rest, r->q->leave);
    }
    shown.fit = r->q->rest;
    if (rival->more && fit_more(r, &rival->event)) {
        shown.fit = r->q->trial;
    }
    shown.theta = theta;
    shown.covariance = covariance;
    tt_events_solve(&shown.fit, theta, covariance);
    for (size_t tip = 0; tip < tips; tip++) {
        tt_changes_predict(&shown, tip, false, &to[tip]);
        if (r->c->values.axes > 2) {
            tt_changes_predict(&shown, tip, true, &to[tips + tip]);
        }
    }
}

enum tiptrue_status tt_changes_rivals(struct tt_changes *c, struct tt_questions *q, double *theta,
                                      double *covariance)
{
    struct rivals r = {.c = c, .q = q};
    bool drifts = false;
    double sum = 0;

    for (size_t tip = 0; tip < c->values.tips; tip++) {
        drifts = drifts || c->drift[tip].shows || c->height_drift[tip].shows;
    }
    if (!drifts) { /* nothing is forecast */
        return TIPTRUE_OK;
    }
    c->rival = TT_ARENA_NEW(c->arena, 2 * TT_MOST_RIVALS * c->values.tips, struct tt_prediction);
    if (c->rival == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    gather(&r);
    for (size_t i = 0; i < r.n && r.best[i].evidence < r.best[0].evidence + FAR; i++) {
        predict(&r, &r.best[i], theta, covariance, c->rival + 2 * i * c->values.tips);
        c->rival_weight[c->n_rivals] = exp(-0.5 * (r.best[i].evidence - r.best[0].evidence));
        sum += c->rival_weight[c->n_rivals++];
    }
    for (size_t i = 0; i < c->n_rivals; i++) {
        c->rival_weight[i] /= sum;
    }
    return TIPTRUE_OK;
}
