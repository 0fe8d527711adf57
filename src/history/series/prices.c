/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a set of events costs. */
#include "config.h"

#include <math.h>

#include "history/series/problem.h"

double tt_problem_price(const struct tt_problem *p, const struct tt_event *e)
{
    const struct tt_hypothesis_of *h = &p->hypothesis[e->hypothesis];
    const double prices[] = {[TT_STEP] = h->price,
                             [TT_DRIFT] = h->price_drift,
                             [TT_TEMPERATURE] = h->price_temperature,
                             [TT_SEASON] = h->price_season,
                             [TT_OTHER_PLATE] = 0};

    return prices[e->going];
}

double tt_problem_next_place(const struct tt_problem *p, const struct tt_event *events, size_t n)
{
    size_t places = 0;

    for (size_t i = 0; i < n; i++) {
        bool first = events[i].going == TT_STEP;
        for (size_t k = 0; k < i && first; k++) {
            first = events[k].going != TT_STEP || events[k].from != events[i].from;
        }
        places += first;
    }
    return places < p->values->n ? p->more_places[places + 1] - p->more_places[places] : 0;
}

/* The steps at one place: sum of what they cost as further ones, the most that being the first one
 * adds, the cheapest further one, of all and of heights. */
struct place {
    double same, most, least, least_height;
    size_t here, changed, heights;
    const struct tt_hypothesis_of *camera, *pose;
};

static void join_place(struct place *at, const struct tt_hypothesis_of *h)
{
    at->here++;
    at->changed += h->what == TT_CHANGED;
    at->same += h->price_same;
    at->most = fmax(at->most, h->price - h->price_same);
    at->least = fmin(at->least, h->price_same);
    at->camera = h->what <= TT_CAMERA_MARK ? h : at->camera;
    at->pose = h->what == TT_POSE ? h : at->pose;
    if (h->what == TT_ONE_HEIGHT || h->what == TT_ALL_HEIGHTS) {
        at->least_height = fmin(at->least_height, h->price_same);
        at->heights++;
    }
}

/* Several are never cheaper than all tips by the same and the cheapest one more, nor several of
 * heights than all heights by the same; the plate is one. */
static double place_price(const struct tt_problem *p, struct place at)
{
    bool plate = at.camera != NULL && at.pose != NULL;

    if (plate) {
        at.same += p->plate_same - at.camera->price_same - at.pose->price_same;
        at.most = fmax(at.most, p->plate - p->plate_same);
    }
    double all = at.here - plate > 1 ? p->hypothesis[0].price + at.least : 0;
    all = at.heights < 2 ? all : fmax(all, p->all_heights->price + at.least_height);
    return fmax(at.same + at.most, all);
}

/* Each place pays its looks once. */
double tt_problem_prices(const struct tt_problem *p, const struct tt_event *events, size_t n)
{
    double sum = 0;
    size_t places = 0, further = 0;

    for (size_t i = 0; i < n; i++) {
        if (events[i].going != TT_STEP) {
            sum += tt_problem_price(p, &events[i]);
            continue;
        }
        bool first = true;
        struct place at = {.least = HUGE_VAL, .least_height = HUGE_VAL};
        for (size_t k = 0; k < n && first; k++) {
            if (events[k].going != TT_STEP || events[k].from != events[i].from) {
                continue;
            }
            const struct tt_hypothesis_of *h = &p->hypothesis[events[k].hypothesis];
            first = k >= i;
            if (k != i && tt_hypotheses_exclude(h, &p->hypothesis[events[i].hypothesis])) {
                return HUGE_VAL;
            }
            join_place(&at, h);
        }
        if (first) {
            sum += place_price(p, at);
            further += at.here - 1 + at.changed;
            places++;
        }
    }
    /* one more at some place, or a tip changed and not its seat: so many places to look at */
    return sum + p->more_places[places] +
           (places > 1 ? 2 * log((double)places) * (double)further : 0);
}
