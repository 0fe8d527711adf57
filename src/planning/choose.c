/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "planning/choose.h"

#include <math.h>
#include <string.h>

#include "planning/propose.h"

/* Rounds of sightings at each end that are tried. */
#define MOST_SIGHTINGS 8
/* Starts of the exchange: so many that they come to this many touches, within bounds. Doubled, no
 * plan of the tests gets better by a thousandth. While the number of touches is searched, one is
 * enough: what more starts gain is a few per mille. */
#define STARTED_TOUCHES 120
#define MOST_STARTS 12
#define SEARCH_STARTS 1
#define FEWER_STARTS 2
/* Touches of a tip between which the uncertainty is interpolated, each some 1.5 times the one
 * before: the interpolation is then good to one touch in thirty. */
static const size_t NODES[] = {TT_LEAST_PLANNED, 12, 18, 27, 40, 60, 90, 135, 190, TT_MOST_TOUCHES};
#define N_NODES (sizeof NODES / sizeof NODES[0])
/* Numbers of sightings whose interpolated moves are within this of the fewest are searched to the
 * end. */
#define CLOSE_CALL 1.06
/* With more starts fewer touches may do; so many fewer are tried. */
#define MOST_FEWER 3

/* A design of one of the NODES sizes, for all tips. */
struct node {
    struct tt_probe *probes; /* NULL = not made yet */
    double expanded_mm[MOST_SIGHTINGS + 1];
};

struct search {
    struct tt_planner *p;
    struct node nodes[N_NODES];
    size_t first_rounds; /* those of the scene when the designs were made */
    bool fixed;          /* the sightings are; the nodes have slot 0 for them */
};

/* Where the touches of planned tip @tip are chosen. */
static struct tt_probe *probes_of(const struct tt_planner *p, size_t tip)
{
    return p->chosen + tip * (TT_MOST_TOUCHES + 1);
}

void tt_choose_gather(struct tt_planner *p)
{
    p->n_probes = 0;
    for (size_t i = 0; i < p->n_tips; i++) {
        memcpy(p->probes + p->n_probes, probes_of(p, i), p->counts[i] * sizeof *p->probes);
        p->n_probes += p->counts[i];
    }
}

/* ---- designs of all tips ---- */

size_t tt_choose_bound(const struct tt_planner *p)
{
    size_t edges = 0, tips = p->n_tips * TT_LEAST_PLANNED;

    for (size_t i = 0; i < p->n_designs; i++) {
        edges = p->designs[i].n_edges > edges ? p->designs[i].n_edges : edges;
    }
    edges = TT_LEAST_ON_EDGE * (edges < TT_LEAST_EDGES ? edges : TT_LEAST_EDGES);
    return tips > edges ? tips : edges;
}

static size_t starts_for(size_t n)
{
    size_t starts = STARTED_TOUCHES / n;
    return starts < 2 ? 2 : starts > MOST_STARTS ? MOST_STARTS : starts;
}

/* The same-plate trace of the tip of @probes, alone. */
static enum tiptrue_status trace_of(struct tt_planner *p, const struct tt_probe probes[], size_t n,
                                    double *trace_mm2, struct tiptrue_error *error)
{
    struct tiptrue_solution *expected;
    enum tiptrue_status status =
        tt_scene_check(&p->scene, probes, n, p->workspace, &expected, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    const struct tt_tip_result *tip = tt_solution_tip(expected, p->scene.tips[probes[0].tip]);
    *trace_mm2 = tt_same_plate_mm(tip) < HUGE_VAL
                     ? tip->same_plate_cov.xx_mm2 + tip->same_plate_cov.yy_mm2
                     : HUGE_VAL;
    tiptrue_solution_free(expected);
    return TIPTRUE_OK;
}

/* The touches of planned tip @tip by exchange or, should they be better after all, evenly spread
 * ones. */
static enum tiptrue_status design_tip(struct tt_planner *p, size_t tip, size_t starts, bool *even,
                                      struct tiptrue_error *error)
{
    size_t n = p->counts[tip];
    double even_mm2 = HUGE_VAL, best_mm2 = HUGE_VAL;
    enum tiptrue_status found = tt_design_best(&p->designs[tip], n, starts, probes_of(p, tip)),
                        status = TIPTRUE_OK;

    *even = found != TIPTRUE_OK;
    if (found == TIPTRUE_E_MEMORY) {
        return tt_fail_memory(error);
    }
    tt_design_even(&p->designs[tip], n, p->scratch);
    if (found == TIPTRUE_OK && starts > SEARCH_STARTS) {
        status = trace_of(p, p->scratch, n, &even_mm2, error);
        status =
            status == TIPTRUE_OK ? trace_of(p, probes_of(p, tip), n, &best_mm2, error) : status;
        *even = even_mm2 < best_mm2;
    }
    if (status == TIPTRUE_OK && *even) {
        memcpy(probes_of(p, tip), p->scratch, n * sizeof *p->scratch);
    }
    return status;
}

/* @total touches of all tips, dealt out evenly. */
static enum tiptrue_status design_all(struct tt_planner *p, size_t total, size_t rounds,
                                      size_t first_rounds, size_t starts,
                                      struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;
    bool even = false;

    for (size_t i = 0; i < p->n_tips && status == TIPTRUE_OK; i++) {
        p->designs[i].least_on_edge = p->n_tips > 1 ? TT_LEAST_ON_EDGE_EACH : TT_LEAST_ON_EDGE;
        p->designs[i].engine.sightings = (double)rounds / (double)first_rounds;
        p->counts[i] = total / p->n_tips + (i < total % p->n_tips);
        bool alike = i > 0 && !even && p->counts[i] == p->counts[i - 1];
        if (!alike || !tt_design_like(&p->designs[i], &p->designs[i - 1], probes_of(p, i))) {
            status = design_tip(p, i, starts > 0 ? starts : starts_for(p->counts[i]), &even, error);
        }
    }
    return status;
}

/* What is expected of the worst tip, its expanded uncertainty on the same plate; HUGE_VAL: not
 * determined, or too few touches to say what they are worth. */
static enum tiptrue_status expect(struct tt_planner *p, size_t rounds, double *worst_mm,
                                  struct tiptrue_error *error)
{
    struct tiptrue_solution *expected;

    tt_choose_gather(p);
    p->scene.sightings = rounds;
    *worst_mm = HUGE_VAL;
    if (p->n_probes < tt_choose_bound(p)) {
        return TIPTRUE_OK;
    }
    enum tiptrue_status status =
        tt_scene_check(&p->scene, p->probes, p->n_probes, p->workspace, &expected, error);
    if (status == TIPTRUE_OK) {
        *worst_mm =
            tt_plan_is_sound(expected) ? tt_same_plate_mm(tt_worst_tip(expected)) : HUGE_VAL;
        tiptrue_solution_free(expected);
    }
    return status;
}

/* ---- how many ---- */

/* The expanded uncertainty of the node with @rounds of sightings. */
static enum tiptrue_status ask_node(struct search *s, size_t at, size_t rounds, double *worst_mm,
                                    struct tiptrue_error *error)
{
    struct tt_planner *p = s->p;
    struct node *node = &s->nodes[at];
    size_t n = NODES[at], of_all = n * p->n_tips, slot = s->fixed ? 0 : rounds;
    enum tiptrue_status status = TIPTRUE_OK;

    if (node->probes == NULL) {
        node->probes = TT_ARENA_NEW(&p->arena, of_all, struct tt_probe);
        status = node->probes != NULL
                     ? design_all(p, of_all, rounds, s->first_rounds, SEARCH_STARTS, error)
                     : tt_fail_memory(error);
        for (size_t i = 0; i < p->n_tips && status == TIPTRUE_OK; i++) {
            memcpy(node->probes + i * n, probes_of(p, i), n * sizeof *node->probes);
        }
    }
    *worst_mm = node->expanded_mm[slot];
    if (status != TIPTRUE_OK || *worst_mm > 0) {
        return status;
    }
    for (size_t i = 0; i < p->n_tips; i++) {
        p->counts[i] = n;
        memcpy(probes_of(p, i), node->probes + i * n, n * sizeof *node->probes);
    }
    status = expect(p, rounds, worst_mm, error);
    node->expanded_mm[slot] = *worst_mm;
    return status;
}

/* How many touches of each tip meet the target with @rounds of sightings, by interpolation;
 * HUGE_VAL: more than there may be. */
static enum tiptrue_status interpolate(struct search *s, size_t rounds, double *touches,
                                       struct tiptrue_error *error)
{
    double target_mm = s->p->options->target_mm, mm = HUGE_VAL, more_mm = HUGE_VAL,
           fewer_mm = HUGE_VAL;
    size_t low = 0, high = N_NODES; /* low: the nodes below it are too small */
    enum tiptrue_status status = TIPTRUE_OK;

    while (low < high && status == TIPTRUE_OK) {
        size_t middle = (low + high) / 2;
        status = ask_node(s, middle, rounds, &mm, error);
        if (mm <= target_mm) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    *touches = HUGE_VAL;
    if (status != TIPTRUE_OK || low == N_NODES) {
        return status;
    }
    *touches = (double)NODES[low];
    status = ask_node(s, low, rounds, &more_mm, error);
    if (low > 0 && status == TIPTRUE_OK) {
        status = ask_node(s, low - 1, rounds, &fewer_mm, error);
    }
    if (status == TIPTRUE_OK && low > 0 && fewer_mm < HUGE_VAL) {
        double few = 1 / (double)NODES[low - 1], many = 1 / (double)NODES[low];
        double share =
            (target_mm * target_mm - more_mm * more_mm) / (fewer_mm * fewer_mm - more_mm * more_mm);
        *touches = 1 / (many + share * (few - many));
    }
    return status;
}

static size_t sightings_of(const struct tt_planner *p, size_t rounds)
{
    return p->scene.n_setups *
           (p->scene.n_views > 0 ? p->scene.n_views : 2 * rounds * tt_plate_marks_in_use(p->plate));
}

/* Whether @total touches do with @rounds. */
static enum tiptrue_status try(struct search *s, size_t total, size_t rounds, size_t starts,
                               bool *enough, struct tiptrue_error *error)
{
    double mm = HUGE_VAL;
    enum tiptrue_status status = design_all(s->p, total, rounds, s->first_rounds, starts, error);

    status = status == TIPTRUE_OK ? expect(s->p, rounds, &mm, error) : status;
    *enough = mm <= s->p->options->target_mm;
    return status;
}

/* The fewest touches of all tips with @rounds, from a @guess of each tip's on. 0: none do. */
static enum tiptrue_status fewest(struct search *s, size_t rounds, double guess, size_t *total,
                                  struct tiptrue_error *error)
{
    size_t tips = s->p->n_tips, n = (size_t)ceil(guess);
    bool enough = false;
    enum tiptrue_status status = try(s, n * tips, rounds, SEARCH_STARTS, &enough, error);

    if (enough) {
        while (status == TIPTRUE_OK && n > TT_LEAST_PLANNED) {
            status = try(s, (n - 1) * tips, rounds, SEARCH_STARTS, &enough, error);
            if (!enough) {
                break;
            }
            n--;
        }
    } else {
        while (status == TIPTRUE_OK && !enough && n < TT_MOST_TOUCHES) {
            status = try(s, ++n * tips, rounds, SEARCH_STARTS, &enough, error);
        }
        n = enough ? n : 0;
    }
    *total = n * tips;
    for (size_t less = 1; less < tips && n > TT_LEAST_PLANNED && status == TIPTRUE_OK;
         less++) { /* some tips one touch less */
        status = try(s, n * tips - less, rounds, SEARCH_STARTS, &enough, error);
        if (!enough) {
            break;
        }
        *total = n * tips - less;
    }
    return status;
}

/* How often the marks are to be sighted, and how many touches then do: together the fewest. *total
 * 0: none do. */
static enum tiptrue_status choose_numbers(struct search *s, size_t *total, size_t *rounds,
                                          struct tiptrue_error *error)
{
    struct tt_planner *p = s->p;
    double touches[MOST_SIGHTINGS + 1], least_moves = HUGE_VAL;
    bool fixed = s->fixed;
    size_t first = fixed ? p->scene.sightings : 1, last = fixed ? first : MOST_SIGHTINGS;
    size_t best_moves = 0, tips = p->n_tips;
    enum tiptrue_status status = TIPTRUE_OK;

    *total = 0;
    *rounds = first;
    for (size_t r = first; r <= last && status == TIPTRUE_OK; r++) {
        size_t slot = fixed ? 0 : r;
        touches[slot] = HUGE_VAL;
        if ((double)(sightings_of(p, r) + tt_choose_bound(p)) < least_moves) {
            status = interpolate(s, r, &touches[slot], error);
            least_moves =
                fmin(least_moves, (double)tips * touches[slot] + (double)sightings_of(p, r));
        }
    }
    for (size_t r = first; r <= last && status == TIPTRUE_OK; r++) {
        double guess = touches[fixed ? 0 : r];
        size_t found = 0;
        if (!(guess < HUGE_VAL) ||
            (double)tips * guess + (double)sightings_of(p, r) > CLOSE_CALL * least_moves) {
            continue;
        }
        status = fewest(s, r, guess, &found, error);
        if (found > 0 && (*total == 0 || found + sightings_of(p, r) < best_moves)) {
            *total = found;
            *rounds = r;
            best_moves = found + sightings_of(p, r);
        }
    }
    return status;
}

/* The touches themselves, with more starts, with which a few less may do. */
static enum tiptrue_status meet_target(struct search *s, size_t total, size_t rounds,
                                       struct tiptrue_error *error)
{
    struct tt_planner *p = s->p;
    bool enough = true;
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t less = 0;
         less < MOST_FEWER && enough && total > tt_choose_bound(p) && status == TIPTRUE_OK;
         less++) {
        status = try(s, total - 1, rounds, FEWER_STARTS, &enough, error);
        total -= enough;
    }
    enough = false;
    while (status == TIPTRUE_OK && !enough && total <= p->n_tips * TT_MOST_TOUCHES) {
        status = try(s, total, rounds, 0, &enough, error);
        total += !enough;
    }
    return status;
}

enum tiptrue_status tt_choose(struct tt_planner *p, struct tiptrue_error *error)
{
    struct search search = {.p = p,
                            .first_rounds = p->scene.sightings,
                            .fixed = p->options->sightings > 0 || p->scene.n_views > 0};
    size_t total = p->options->touches > 0 ? p->options->touches : TT_USUAL_TOUCHES * p->n_tips,
           wanted = 0;
    size_t rounds = p->scene.sightings;
    enum tiptrue_status status = TIPTRUE_OK;

    if (p->options->target_mm > 0) {
        status = choose_numbers(&search, &wanted, &rounds, error);
        p->scene.sightings = rounds;
        if (status == TIPTRUE_OK && wanted > 0) {
            return meet_target(&search, wanted, rounds, error);
        }
    }
    return status == TIPTRUE_OK ? design_all(p, total, rounds, search.first_rounds, 0, error)
                                : status;
}

enum tiptrue_status tt_choose_least(struct tt_planner *p, size_t from, size_t *least,
                                    struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;
    double mm = HUGE_VAL;

    *least = 0;
    for (size_t n = from; n <= p->n_tips * TT_MOST_TOUCHES && *least == 0 && status == TIPTRUE_OK;
         n++) {
        status = design_all(p, n, p->scene.sightings, p->scene.sightings, SEARCH_STARTS, error);
        status = status == TIPTRUE_OK ? expect(p, p->scene.sightings, &mm, error) : status;
        *least = mm < HUGE_VAL ? n : 0;
    }
    return status;
}
