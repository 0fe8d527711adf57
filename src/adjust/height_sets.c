/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Sets of good touches, followed touch by touch. Tips come one after the other, so that a branch
 * holds what it knows of a tip's own unknowns only as long as touches of that tip come. */
#include "config.h"

#include "adjust/height_sets.h"

#include <math.h>
#include <string.h>

#include "adjust/mixture.h"
#include "model/frames.h"

/* ln probability behind the best set from which one is given up, and the step by which that is
 * drawn in where there are too many. */
#define HEIGHT_SET_GIVEN_UP 10.0
#define HEIGHT_SET_STEP 0.25
/* Spreads on the good side of the bound from which a touch is not asked whether it is off: the
 * probability is 1e-10. */
#define HEIGHT_SURELY_GOOD 4.5

/* Spreads on that side of the bound from which a touch that was called off when less was known is
 * seen not to be (the same set with it good goes on as well); on the other side, to be. */
#define HEIGHT_NOT_OFF 3.0

/* What the touches called good so far tell of the unknowns that touches to come share with them. */
struct known {
    double *x, *covariance; /* per place; places x places, in rows of s->most */
};

/* A touch that is off is unsure as long as its tip's others do not tell that it is. */
enum called { CALLED_GOOD, CALLED_OFF, CALLED_UNSURE };

/* One way to call the touches so far good or off. */
struct branch {
    double log_p;
    struct known *known;
    double late_run, *late; /* late touches so far: in all; per pad */
    unsigned char *off;     /* per row: enum called */
    size_t n_unsure;
};

struct tt_height_branches {
    size_t n, n_next; /* branches */
    double best_next; /* log_p */
    struct branch now[TT_MOST_HEIGHT_SETS], next[2 * TT_MOST_HEIGHT_SETS];
    struct known known[2 * TT_MOST_HEIGHT_SETS], *spare[2 * TT_MOST_HEIGHT_SETS];
    size_t n_spare;
    double *good[TT_MOST_HEIGHT_SETS]; /* per row, of the sets found */
    size_t most;                       /* unknowns */
    size_t *order;                     /* rows, tip by tip */
    double *pad_rows;                  /* so far */
    /* Unknowns that some touch so far and some touch to come depend on have a place. */
    size_t n_places, *unknown, *place; /* at each place; of each unknown, or TT_NONE */
    size_t *last;                      /* per unknown: the last in order that depends on it */
    /* per row: how many unknowns it depends on; which, by how much (s->most for each row) */
    size_t *n_of, *of;
    double *by;
    double *ca; /* per place */
};

/* ---- room ---- */

static bool make_branch(struct branch *b, struct tt_arena *arena, const struct tt_heights *h)
{
    b->late = TT_ARENA_NEW(arena, h->n_pads, double);
    b->off = TT_ARENA_NEW(arena, h->n_rows, unsigned char);
    return b->late != NULL && b->off != NULL;
}

static bool make_known(struct known *known, struct tt_arena *arena, size_t most)
{
    known->x = TT_ARENA_NEW(arena, most + most * most, double);
    known->covariance = known->x != NULL ? known->x + most : NULL;
    return known->x != NULL;
}

static bool make_lists(struct tt_height_branches *s, struct tt_arena *arena,
                       const struct tt_heights *h)
{
    size_t n = h->n_rows, each = n * s->most;
    size_t *sizes = TT_ARENA_NEW(arena, 2 * n + each + 3 * s->most, size_t);
    double *numbers = TT_ARENA_NEW(arena, each + h->n_pads + s->most, double);

    if (sizes == NULL || numbers == NULL) {
        return false;
    }
    s->order = sizes;
    s->n_of = sizes + n;
    s->of = sizes + 2 * n;
    s->unknown = s->of + each;
    s->place = s->unknown + s->most;
    s->last = s->place + s->most;
    s->by = numbers;
    s->pad_rows = numbers + each;
    s->ca = s->pad_rows + h->n_pads;
    n = 0;
    for (size_t t = 0; t < h->n_tips; t++) {
        for (size_t i = 0; i < h->n_rows; i++) {
            s->order[n] = i;
            n += h->rows[i].tip == t;
        }
    }
    return true;
}

bool tt_height_sets_init(struct tt_height_sets *sets, struct tt_arena *arena,
                         const struct tt_heights *heights, size_t most)
{
    struct tt_height_branches *s = TT_ARENA_NEW(arena, 1, struct tt_height_branches);

    sets->room = s;
    if (s == NULL) {
        return false;
    }
    s->most = most;
    bool good = make_lists(s, arena, heights);
    for (size_t k = 0; k < TT_MOST_HEIGHT_SETS && good; k++) {
        s->good[k] = TT_ARENA_NEW(arena, heights->n_rows, double);
        good = s->good[k] != NULL && make_branch(&s->now[k], arena, heights);
    }
    for (size_t k = 0; k < 2 * TT_MOST_HEIGHT_SETS && good; k++) {
        good = make_branch(&s->next[k], arena, heights) && make_known(&s->known[k], arena, most);
    }
    return good;
}

/* ---- unknowns come and go ---- */

/* A place for @unknown, of which nothing but its prior is known. */
static void add_place(struct tt_height_branches *s, const struct tt_height_fit *fit, size_t unknown)
{
    size_t p = s->place[unknown] = s->n_places++;
    double u = fit->prior_u[unknown];

    s->unknown[p] = unknown;
    for (size_t k = 0; k < s->n; k++) {
        struct known *known = s->now[k].known;
        known->x[p] = fit->prior_value[unknown];
        for (size_t q = 0; q < p; q++) {
            known->covariance[p * s->most + q] = known->covariance[q * s->most + p] = 0;
        }
        known->covariance[p * s->most + p] = u * u;
    }
}

/* Places for the unknowns that row @i depends on. */
static void add_places(struct tt_height_branches *s, const struct tt_height_fit *fit, size_t i)
{
    for (size_t m = 0; m < s->n_of[i]; m++) {
        size_t unknown = s->of[i * s->most + m];
        if (s->place[unknown] == TT_NONE) {
            add_place(s, fit, unknown);
        }
    }
}

/* The last place takes the number of @hole. */
static void close_place(struct tt_height_branches *s, size_t hole)
{
    size_t end = --s->n_places, most = s->most;

    s->place[s->unknown[hole]] = TT_NONE;
    if (hole == end) {
        return;
    }
    s->unknown[hole] = s->unknown[end];
    s->place[s->unknown[hole]] = hole;
    for (size_t k = 0; k < s->n; k++) {
        double *c = s->now[k].known->covariance;
        s->now[k].known->x[hole] = s->now[k].known->x[end];
        for (size_t q = 0; q < end; q++) {
            c[hole * most + q] = c[q * most + hole] = c[end * most + q];
        }
        c[hole * most + hole] = c[end * most + end];
    }
}

/* The unknowns that no row after the @k-th in order depends on are let go. */
static void drop_places(struct tt_height_branches *s, size_t k)
{
    for (size_t p = s->n_places; p-- > 0;) {
        if (s->last[s->unknown[p]] == k) {
            close_place(s, p);
        }
    }
}

/* ---- sets, touch by touch ---- */

/* A branch of s->next like @from with @log_p; NULL where it would be given up anyway. */
static struct branch *add_branch(struct tt_height_branches *s, const struct branch *from,
                                 double log_p, const struct tt_heights *h)
{
    s->best_next = fmax(s->best_next, log_p);
    if (!(log_p > s->best_next - HEIGHT_SET_GIVEN_UP)) {
        return NULL;
    }
    struct branch *to = &s->next[s->n_next++];
    to->log_p = log_p;
    to->known = from->known;
    to->late_run = from->late_run;
    to->n_unsure = from->n_unsure;
    memcpy(to->late, from->late, h->n_pads * sizeof *to->late);
    memcpy(to->off, from->off, h->n_rows * sizeof *to->off);
    return to;
}

/* Share of late touches to be expected on @pad, of the @k-th touch. */
static double late_share(const struct tt_height_branches *s, const struct branch *b, size_t pad,
                         size_t k)
{
    double run = (b->late_run + SHARE_PRIOR_LATE) / ((double)k + SHARE_PRIOR_TOUCHES);

    return (b->late[pad] + SHARE_STRENGTH * run) / (s->pad_rows[pad] + SHARE_STRENGTH);
}

/* What a row that deviates by @r_mm from what @from expects, with @variance_mm2, adds to it; s->ca:
 * covariance of the places with what is expected. */
static void learn(const struct tt_height_branches *s, const struct known *from, struct known *to,
                  double r_mm, double variance_mm2)
{
    for (size_t j = 0; j < s->n_places; j++) {
        const double *before = from->covariance + j * s->most;
        double *after = to->covariance + j * s->most, gain = s->ca[j] / variance_mm2;
        to->x[j] = from->x[j] + gain * r_mm;
        for (size_t m = 0; m < s->n_places; m++) {
            after[m] = before[m] - gain * s->ca[m];
        }
    }
}

/* Variance of what @known expects of row @i, s->ca, and what is left of *r. */
static double expect(struct tt_height_branches *s, const struct known *known, size_t i, double *r)
{
    const size_t *of = s->of + i * s->most;
    const double *by = s->by + i * s->most;
    double variance = 0;

    memset(s->ca, 0, s->n_places * sizeof *s->ca);
    for (size_t m = 0; m < s->n_of[i]; m++) {
        size_t p = s->place[of[m]];
        const double *column = known->covariance + p * s->most;
        for (size_t j = 0; j < s->n_places; j++) {
            s->ca[j] += column[j] * by[m];
        }
        *r -= by[m] * known->x[p];
    }
    for (size_t m = 0; m < s->n_of[i]; m++) {
        variance += by[m] * s->ca[s->place[of[m]]];
    }
    return variance;
}

/* Whether something is still known of all that row @i depends on. */
static bool has_places(const struct tt_height_branches *s, size_t i)
{
    bool has = true;

    for (size_t m = 0; m < s->n_of[i]; m++) {
        has = has && s->place[s->of[i * s->most + m]] != TT_NONE;
    }
    return has;
}

/* What @b now tells of the touches that it was not sure to be off. False: one is not. */
static bool settle(struct tt_height_branches *s, const struct tt_height_fit *fit, struct branch *b,
                   double sd)
{
    size_t left = b->n_unsure;

    for (size_t i = 0; left > 0; i++) {
        if (b->off[i] != CALLED_UNSURE) {
            continue;
        }
        left--;
        double r = fit->given[i], least = OFF_FROM_SCATTERS * sd, spread = 0;
        bool has = has_places(s, i);
        if (has) {
            spread = sqrt(2 * fmax(expect(s, b->known, i, &r), 1e-4 * sd * sd));
        }
        if (has && fabs(r) < least - HEIGHT_NOT_OFF * spread) {
            return false;
        }
        if (!has || fabs(r) > least + HEIGHT_NOT_OFF * spread) {
            b->off[i] = CALLED_OFF;
            b->n_unsure--;
        }
    }
    return true;
}

/* Branch @b with the @k-th row good, and with it off. */
static void divide(struct tt_height_branches *s, const struct tt_height_fit *fit, size_t k,
                   const struct branch *b, double sd)
{
    size_t i = s->order[k], pad = fit->heights->rows[i].pad;
    double r = fit->given[i], known = expect(s, b->known, i, &r), least = OFF_FROM_SCATTERS * sd,
           spread = sqrt(2 * fmax(known, 1e-4 * sd * sd)), variance = known + sd * sd;
    double share = late_share(s, b, pad, k), early = SHARE_PRIOR_EARLY / SHARE_PRIOR_TOUCHES;
    struct branch *good = add_branch(s, b,
                                     b->log_p + log1p(-fmin(share + early, 0.99)) -
                                         0.5 * (r * r / variance + log(2 * TT_PI * variance)),
                                     fit->heights);
    struct branch *off = NULL;

    if (!(fabs(r) < least - HEIGHT_SURELY_GOOD * spread)) {
        double late = 0.5 * erfc((r + least) / spread), above = 0.5 * erfc((least - r) / spread);
        off =
            add_branch(s, b, b->log_p + log((share * late + early * above) * tt_off_density(r, sd)),
                       fit->heights);
        if (off != NULL) {
            off->late[pad] += late > above ? 1 : 0;
            off->late_run += late > above ? 1 : 0;
            bool sure = fabs(r) > least + HEIGHT_NOT_OFF * spread;
            off->off[i] = sure ? CALLED_OFF : CALLED_UNSURE;
            off->n_unsure += sure ? 0 : 1;
        }
    }
    if (good != NULL) {
        good->known = off != NULL ? s->spare[--s->n_spare] : b->known;
        learn(s, b->known, good->known, r, variance);
        if (!settle(s, fit, good, sd) && good->log_p < s->best_next) {
            good->log_p = -INFINITY;
        }
    } else if (off == NULL) {
        s->spare[s->n_spare++] = b->known;
    }
}

/* The most probable ones of s->next into s->now. */
static void keep_best(struct tt_height_branches *s)
{
    size_t kept = TT_MOST_HEIGHT_SETS + 1;
    double least = s->best_next - HEIGHT_SET_GIVEN_UP - HEIGHT_SET_STEP;

    while (kept > TT_MOST_HEIGHT_SETS) {
        least += HEIGHT_SET_STEP;
        kept = 0;
        for (size_t k = 0; k < s->n_next; k++) {
            kept += s->next[k].log_p > least;
        }
    }
    s->n = 0;
    for (size_t k = 0; k < s->n_next; k++) {
        if (s->next[k].log_p > least) {
            struct branch spare = s->now[s->n];
            s->now[s->n++] = s->next[k];
            s->next[k] = spare;
        } else {
            s->spare[s->n_spare++] = s->next[k].known;
        }
    }
}

/* One branch that knows nothing yet. */
static void begin(struct tt_height_branches *s, const struct tt_height_fit *fit)
{
    const struct tt_heights *h = fit->heights;

    s->n = 1;
    s->n_spare = s->n_places = 0;
    for (size_t k = 1; k < sizeof s->known / sizeof s->known[0]; k++) {
        s->spare[s->n_spare++] = &s->known[k];
    }
    s->now[0].log_p = s->now[0].late_run = 0;
    s->now[0].n_unsure = 0;
    s->now[0].known = &s->known[0];
    memset(s->now[0].late, 0, h->n_pads * sizeof *s->now[0].late);
    memset(s->now[0].off, 0, h->n_rows * sizeof *s->now[0].off);
    memset(s->pad_rows, 0, h->n_pads * sizeof *s->pad_rows);
    for (size_t j = 0; j < fit->n; j++) {
        s->place[j] = TT_NONE;
    }
    for (size_t k = 0; k < h->n_rows; k++) {
        size_t i = s->order[k];
        const double *a = fit->design + i * fit->n;
        s->n_of[i] = 0;
        for (size_t j = 0; j < fit->n; j++) {
            if (a[j] != 0) {
                s->by[i * s->most + s->n_of[i]] = a[j];
                s->of[i * s->most + s->n_of[i]++] = j;
                s->last[j] = k;
            }
        }
    }
}

void tt_height_sets_find(struct tt_height_sets *sets, const struct tt_height_fit *fit, double sd_mm)
{
    struct tt_height_branches *s = sets->room;
    const struct tt_heights *h = fit->heights;

    begin(s, fit);
    for (size_t k = 0; k < h->n_rows; k++) {
        add_places(s, fit, s->order[k]);
        s->n_next = 0;
        s->best_next = -INFINITY;
        for (size_t m = 0; m < s->n; m++) {
            divide(s, fit, k, &s->now[m], sd_mm);
        }
        s->pad_rows[h->rows[s->order[k]].pad] += 1;
        keep_best(s);
        drop_places(s, k);
    }
    sets->best = -INFINITY;
    sets->n = s->n;
    for (size_t m = 0; m < s->n; m++) {
        for (size_t i = 0; i < h->n_rows; i++) {
            s->good[m][i] = s->now[m].off[i] == CALLED_GOOD ? 1 : 0;
        }
        sets->good[m] = s->good[m];
        sets->log_p[m] = s->now[m].log_p;
        sets->best = fmax(sets->best, s->now[m].log_p);
    }
}
