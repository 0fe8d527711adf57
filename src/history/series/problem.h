/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The hypotheses of what can move, what each costs, and the criterion that a set of them is judged
 * by: weighted sum of squares plus prices. Nobody outside this folder includes this.
 *
 * The price of a step is q F(1 - alpha / (hypotheses x looks); q, nu): what the best of all steps
 * gains in a history without any, exceeded in a share alpha of histories. n places are 8 ln n - 5
 * looks, since neighbours say nearly the same (B. James, K. L. James, D. Siegmund, Biometrika 74
 * (1987) 71; the constants by simulation), and k places that are taken leave k + 1 stretches of
 * n / (k + 1) runs for one more (as the sum over segments of N. R. Zhang, D. O. Siegmund,
 * Biometrics 63 (2007) 22, where all are of one length).
 */
#ifndef TT_HISTORY_SERIES_PROBLEM_H
#define TT_HISTORY_SERIES_PROBLEM_H

#include "base/distribution.h"
#include "history/series/gls.h"

enum tt_hypothesis {
    TT_CAMERA,      /* the offsets of all tips, by the same */
    TT_CAMERA_MARK, /* likewise, and the mark by the same: the camera on the head */
    TT_POSE,        /* mark and yaw */
    TT_SEAT,        /* the offset of one tip */
    TT_ALL_HEIGHTS, /* the heights of all tips, by the same: Z home, or the plate's seat */
    TT_ONE_HEIGHT,  /* the height of one tip */
    TT_CHANGED,     /* its offset, runout and contact radius */
    TT_EDGE,        /* one edge along its normal, and what the solution makes of that */
    TT_LOST_MOTION, /* of the axes, and what the solution makes of that */
    TT_WEAR,        /* runout and contact radius of one tip: as a drift only */
    TT_PLATE_LEVEL, /* what another plate brings with it: a level of its own, not an event */
    TT_PLATE_HEIGHT /* the same of the heights */
};

struct tt_hypothesis_of {
    enum tt_hypothesis what;
    size_t who; /* tip, edge; TT_NONE */
    size_t q, atom[6];
    double price, price_same,
        price_one_look; /* of a step; of one more at its place; where the place is known */
    double price_drift, price_temperature, price_season;
    double nu;
};

/* How it goes in time. */
enum tt_going { TT_STEP, TT_DRIFT, TT_TEMPERATURE, TT_SEASON, TT_OTHER_PLATE };

struct tt_event {
    size_t hypothesis;
    enum tt_going going;
    size_t from, to; /* TT_STEP: the runs of it, to the last one unless to < n; TT_OTHER_PLATE: from
                        is the plate */
};

/* The level of false alarms for the latest run alone (docs/trend.md). */
#define TT_LATEST_ALPHA 0.002
#define TT_MOST_PLATES 6

struct tt_problem {
    const struct tt_values *values;
    struct tt_gls gls;
    double alpha;
    struct tt_pattern *atom; /* the columns of the hypotheses' patterns */
    size_t n_atoms;
    struct tt_hypothesis_of *hypothesis;
    const struct tt_hypothesis_of *all_heights; /* one of them; NULL: there are no heights */
    size_t n_hypotheses, n_steps;         /* the first n_steps of them are looked for as steps */
    size_t regressor[4 + TT_MOST_PLATES]; /* of enum tt_going, plates behind; TT_NONE: none */
    double *own_right;  /* [run * n_atoms + atom]: right side of a step, levels eliminated */
    double *own_normal; /* [run * own_size + own_at[hypothesis] + ...]: q x q */
    double *own_whole;  /* scratch: [atom] */
    size_t own_size, *own_at;
    double looks, *more_places; /* [places]: what so many pay beyond the price of each */
    double plate, plate_same,
        plate_one_look; /* prices of camera and pose at one place: the plate */
    struct tt_arena *arena;
};

/* @alpha: share of quiet histories that show a change. Steps are asked about from run @from on; as
 * many as there are runs: none is, and nothing has a price. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_problem_make(struct tt_problem *problem,
                                                const struct tt_values *values,
                                                const struct tt_series_noise *noise, double alpha,
                                                size_t from, struct tt_arena *arena);

/* The index of a hypothesis; TT_NONE: this machine has none such. */
size_t tt_problem_find(const struct tt_problem *problem, enum tt_hypothesis what, size_t who);
/* The first run from @run on that has anything of the tip of @hypothesis: a step of it is the same
 * in runs that have nothing, and stands where other tips' may stand too. Of what is no tip's: @run.
 */
size_t tt_problem_seen_from(const struct tt_problem *problem, size_t hypothesis, size_t run);
/* What @event costs by itself; what all of them cost, several at one place paying its looks once.
 */
double tt_problem_price(const struct tt_problem *problem, const struct tt_event *event);
double tt_problem_prices(const struct tt_problem *problem, const struct tt_event *events, size_t n);
/* What a step at one more place costs besides its own price. */
double tt_problem_next_place(const struct tt_problem *problem, const struct tt_event *events,
                             size_t n);
/* Add the parameters of @event to those of the classes that it moves, by its energy in each. */
void tt_problem_count(const struct tt_problem *problem, const struct tt_event *event,
                      double parameters[TT_CLASSES]);
static inline bool tt_event_is(const struct tt_event *a, const struct tt_event *b)
{
    return a->hypothesis == b->hypothesis && a->going == b->going && a->from == b->from &&
           a->to == b->to;
}
/* Regressors of an event: a season has two. */
static inline size_t tt_event_courses(const struct tt_event *e)
{
    return e->going == TT_SEASON ? 2 : 1;
}
/* Camera and camera with the mark at one place are the plate's move with the yaw left out, by
 * another name. */
static inline bool tt_hypotheses_exclude(const struct tt_hypothesis_of *a,
                                         const struct tt_hypothesis_of *b)
{
    return a->what <= TT_CAMERA_MARK && b->what <= TT_CAMERA_MARK;
}
/* Both at one place are the plate's move. */
static inline bool tt_hypotheses_make_plate(const struct tt_hypothesis_of *a,
                                            const struct tt_hypothesis_of *b)
{
    return (a->what <= TT_CAMERA_MARK && b->what == TT_POSE) ||
           (a->what == TT_POSE && b->what <= TT_CAMERA_MARK);
}
static inline bool tt_is_of_tip(enum tt_hypothesis what)
{
    return what == TT_SEAT || what == TT_CHANGED || what == TT_ONE_HEIGHT;
}
/* The same thing by another name: two hypotheses of one tip, and those of the camera. */
static inline bool tt_hypotheses_kin(const struct tt_hypothesis_of *a,
                                     const struct tt_hypothesis_of *b)
{
    bool camera = a->what <= TT_CAMERA_MARK && b->what <= TT_CAMERA_MARK,
         tip = tt_is_of_tip(a->what) && tt_is_of_tip(b->what);
    return camera || (a->who == b->who && (tip || a->what == b->what));
}
/* What a step of @h costs at a place where there is one of @first. */
static inline double tt_problem_beside(const struct tt_problem *p, const struct tt_hypothesis_of *h,
                                       const struct tt_hypothesis_of *first)
{
    return tt_hypotheses_make_plate(h, first) ? p->plate - first->price : h->price_same;
}
struct tt_course tt_event_course(const struct tt_problem *problem, const struct tt_event *event,
                                 size_t index);

/* A set of events with its fit. */
struct tt_events {
    const struct tt_problem *problem;
    struct tt_event *event;
    size_t n_events, *first; /* [event + 1]: its first column */
    size_t columns, room, room_events;
    struct tt_course *course;
    size_t *atom;
    double *normal, *factor; /* room x room; factor: lower triangle by columns, factor[j * room + i]
                                for i >= j */
    double *right, *forward; /* right side; factor^-1 of it */
    double *level, *levels;  /* [column * p]: weight of levels against the column; covariance of the
                                levels times that */
    double rss;
};

/* Room for @room_events events and at least @columns columns. */
TT_MUST_USE enum tiptrue_status tt_events_init(struct tt_events *events,
                                               const struct tt_problem *problem, size_t room_events,
                                               size_t columns);
/* Start with what is always there (other plates). */
void tt_events_reset(struct tt_events *fit);
/* Take @event in; false, and nothing has changed: it cannot be told from the others, or there is no
 * room. */
bool tt_events_append(struct tt_events *fit, const struct tt_event *event);
/* @to = @from without the events whose @leave is set (NULL: all of them). @to has room for them. */
void tt_events_copy(struct tt_events *to, const struct tt_events *from, const bool *leave);
double tt_events_criterion(const struct tt_events *fit);
/* theta[columns]; covariance[columns * columns]. */
void tt_events_solve(const struct tt_events *fit, double *theta, double *covariance);
/* Of every step at @run: gain[n_steps], how much the sum of squares falls with it; 0 where it
 * cannot be told from the fit's. */
void tt_events_scan(const struct tt_events *fit, size_t run, double *work, double *gain);
size_t tt_events_scan_room(const struct tt_events *fit);
/* Residuals [run * p + column], levels taken out; 2 p numbers of room behind them: the levels come
 * first there. */
void tt_events_residuals(const struct tt_events *fit, const double *theta, double *residual);

/* Optimal partitioning (B. Jackson and others, IEEE Signal Process. Lett. 12 (2005) 105; pruned as
 * PELT, R. Killick, P. Fearnhead, I. A. Eckley, JASA 107 (2012) 1590) of @n values with @d axes of
 * unit variance and lag-1 autocorrelation @phi, @price a segment: into place[], the first of each
 * segment but the first one, their number is returned. @work: tt_segment_room(n) numbers; d at
 * most 3. */
size_t tt_segment_room(size_t n);
size_t tt_segment(const double *value, size_t n, size_t d, double phi, double price, double *work,
                  size_t place[]);

/* Find the set of events with the least criterion; @seed (may be NULL) is one start. The best is
 * left in *best. TIPTRUE_E_MEMORY. */
TT_MUST_USE enum tiptrue_status tt_search(struct tt_problem *problem, const struct tt_events *seed,
                                          struct tt_events *best);

#endif
