/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "planning/design.h"

#include <math.h>
#include <string.h>

#include "base/random.h"

/* A tip is taken to be out of round by a twentieth of a touch's repeatability in each harmonic: so
 * little that it costs nothing that shows, and enough that among equal designs the one is chosen
 * that keeps the tip's shape out of the offset (facing edges at the same rotations, rotations in
 * opposite pairs). */
#define SHAPE_SHARE 0.05
/* An exchange must lessen the criterion by this share of it; less is rounding. */
#define GAIN 1e-9
/* Passes; most designs are done after three or four. */
#define MOST_PASSES 12
/* The runout's variance may be so much larger than with evenly spread touches: it is wanted too,
 * but the offset comes first. */
#define RUNOUT_SHARE 1.25
/* Starts look at every fifth rotation only, twelve of a turn; the best of several is then bettered
 * over all. */
#define START_STRIDE 5
/* Any number would do. */
#define START_SEED 26

/* Three rotations a third of a turn apart: no gap wider than that. */
#define WIDEST_GAP (1.0 / 3 + 1e-9)

/* ---- candidates ---- */

/* Facing edges one after the other: first the edge nearest to the reference mark, then the one that
 * most faces it, and so on. */
static void order_edges(struct tt_design *design)
{
    const struct tiptrue_plate *plate = design->scene->plate;
    size_t n = 0;

    for (size_t j = 0; j < plate->n_edges; j++) {
        if (design->reasons[j] == NULL) {
            design->edge_order[n++] = j;
        }
    }
    design->n_edges = design->n_open = n;
    for (size_t k = 0; k + 1 < n; k++) {
        size_t best = k;
        double best_score = HUGE_VAL;
        const struct tt_edge *last = k > 0 ? &plate->edges[design->edge_order[k - 1]] : NULL;
        for (size_t i = k; i < n; i++) {
            const struct tt_edge *edge = &plate->edges[design->edge_order[i]];
            double x_mm = 0.5 * (edge->from.x_mm + edge->to.x_mm),
                   y_mm = 0.5 * (edge->from.y_mm + edge->to.y_mm);
            double far_mm = last != NULL ? hypot(x_mm - 0.5 * (last->from.x_mm + last->to.x_mm),
                                                 y_mm - 0.5 * (last->from.y_mm + last->to.y_mm))
                                         : hypot(x_mm, y_mm);
            double facing = k % 2 == 1 ? edge->n_x * last->n_x + edge->n_y * last->n_y : 0;
            double score = 1e6 * round(1e3 * facing) / 1e3 +
                           far_mm; /* how they face comes first, the way second */
            if (score < best_score) {
                best_score = score;
                best = i;
            }
        }
        size_t kept = design->edge_order[best];
        memmove(design->edge_order + k + 1, design->edge_order + k,
                (best - k) * sizeof *design->edge_order);
        design->edge_order[k] = kept;
    }
}

static void lay_candidates(struct tt_design *design)
{
    for (size_t s = 0; s < design->n_setups; s++) {
        for (size_t k = 0; k < design->n_spots; k++) {
            for (size_t r = 0; r < design->rotations; r++) {
                design->candidates[design->n_candidates++] = (struct tt_probe){
                    .setup = s,
                    .tip = design->tip,
                    .edge = design->spots[k].edge,
                    .at = design->spots[k].at,
                    .rotation_rad = 2 * TT_PI * (double)r / (double)design->rotations};
            }
        }
    }
}

static enum tiptrue_status fits_nowhere(const struct tt_design *design, struct tiptrue_error *error)
{
    const struct tiptrue_plate *plate = design->scene->plate;

    if (plate->n_edges == 0) {
        return tt_fail(error, TIPTRUE_E_DATA, plate->file, 0, 0, "list them in 'edges'",
                       "the plate has no edges to touch");
    }
    return tt_fail(error, TIPTRUE_E_DATA, plate->file, 0, 0,
                   "a plate with wider openings, or a thinner tip",
                   "tip '%s' fits to no edge: edge '%s' %s", design->scene->tips[design->tip],
                   plate->edges[0].name, design->reasons[0]);
}

enum tiptrue_status tt_design_init(struct tt_design *design, const struct tt_scene *scene,
                                   size_t tip, const struct tt_room *room, struct tt_grid grid,
                                   struct tiptrue_error *error)
{
    size_t edges = scene->plate->n_edges;
    struct tt_arena *arena = &design->arena;
    enum tiptrue_status status = TIPTRUE_E_MEMORY;

    *design = (struct tt_design){.scene = scene,
                                 .tip = tip,
                                 .grid = grid,
                                 .n_setups = scene->n_setups,
                                 .rotations = grid.rotations};
    design->spots = TT_ARENA_NEW(arena, edges * grid.places, struct tt_spot);
    design->reasons = TT_ARENA_NEW(arena, edges, const char *);
    design->edge_order = TT_ARENA_NEW(arena, edges, size_t);
    design->on_edge = TT_ARENA_NEW(arena, edges, size_t);
    if (design->spots != NULL && design->reasons != NULL && design->edge_order != NULL &&
        design->on_edge != NULL) {
        status = tt_spots_find(scene->plate, room, grid.places, arena, design->spots,
                               &design->n_spots, design->reasons);
    }
    if (status == TIPTRUE_OK && design->n_spots == 0) {
        status = fits_nowhere(design, error);
    }
    if (status == TIPTRUE_OK) {
        size_t n = design->n_setups * design->n_spots * design->rotations;
        design->candidates = TT_ARENA_NEW(arena, n, struct tt_probe);
        design->counts = TT_ARENA_NEW(arena, n, size_t);
        status =
            design->candidates != NULL && design->counts != NULL ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
    }
    if (status == TIPTRUE_OK) {
        lay_candidates(design);
        order_edges(design);
        double u_mm = scene->machine->has_u_touch ? scene->machine->u_touch_mm : 3e-3;
        status = tt_engine_init(&design->engine, scene, tip, design->candidates,
                                design->n_candidates, SHAPE_SHARE * u_mm);
    }
    if (status != TIPTRUE_OK) {
        tt_design_clear(design);
    }
    return status == TIPTRUE_E_MEMORY ? tt_fail_memory(error) : status;
}

void tt_design_clear(struct tt_design *design)
{
    tt_engine_clear(&design->engine);
    tt_arena_clear(&design->arena);
    *design = (struct tt_design){0};
}

/* ---- evenly spread ---- */

/* How many spots @edge has; *first: the first of them. */
static size_t spots_of(const struct tt_design *design, size_t edge, size_t *first)
{
    size_t n = 0;

    for (*first = 0; design->spots[*first].edge != edge;) {
        (*first)++;
    }
    while (*first + n < design->n_spots && design->spots[*first + n].edge == edge) {
        n++;
    }
    return n;
}

/* The @k-th spot of @edge, in turn. */
static const struct tt_spot *spot_of(const struct tt_design *design, size_t edge, size_t k)
{
    size_t first, n = spots_of(design, edge, &first);

    return &design->spots[first + k % n];
}

void tt_design_even(const struct tt_design *design, size_t n, struct tt_probe probes[])
{
    size_t sides = design->n_setups * design->n_open, done = 0;

    for (size_t k = 0; k < sides;
         k++) { /* setups in turn within an edge, so that few touches still reach both */
        size_t edge = design->edge_order[k / design->n_setups], count = n / sides + (k < n % sides);
        for (size_t i = 0; i < count; i++) {
            const struct tt_spot *spot = spot_of(design, edge, i);
            /* a turn on each edge; with so few that it would be no turn, all of them share one */
            double turn = count >= 3 ? (double)i / (double)count : (double)done / (double)n;
            probes[done++] = (struct tt_probe){.setup = k % design->n_setups,
                                               .tip = design->tip,
                                               .edge = edge,
                                               .at = spot->at,
                                               .rotation_rad = 2 * TT_PI * turn};
        }
    }
}

/* The candidate nearest to @probe. */
static size_t nearest_candidate(const struct tt_design *design, const struct tt_probe *probe)
{
    double turn = probe->rotation_rad / (2 * TT_PI);
    size_t rotation = (size_t)lround(turn * (double)design->rotations) % design->rotations,
           spot = 0;

    for (size_t k = 0; k < design->n_spots; k++) {
        const struct tt_spot *s = &design->spots[k];
        if (s->edge == probe->edge && s->at.x_mm == probe->at.x_mm &&
            s->at.y_mm == probe->at.y_mm) {
            spot = k;
        }
    }
    return (probe->setup * design->n_spots + spot) * design->rotations + rotation;
}

/* ---- exchange ---- */

double tt_widest_gap(const size_t used[], size_t n)
{
    size_t first = n, last = n, widest = 0;

    for (size_t i = 0; i < n; i++) {
        if (used[i] == 0) {
            continue;
        }
        widest = last < n && i - last > widest ? i - last : widest;
        first = first == n ? i : first;
        last = i;
    }
    if (first == n) {
        return 1;
    }
    widest = first + n - last > widest ? first + n - last : widest;
    return (double)widest / (double)n;
}

/* Which rotations may be taken so that no gap is too wide, @used being those that stay. */
static void find_allowed(const struct tt_design *design, size_t used[], bool allowed[])
{
    for (size_t r = 0; r < design->rotations; r++) {
        used[r]++;
        allowed[r] = tt_widest_gap(used, design->rotations) <= WIDEST_GAP;
        used[r]--;
    }
}

/* Replace the touch @chosen by the candidate that lessens the criterion most, of every @stride-th
 * rotation. Returns whether there is one. */
static bool exchange(struct tt_design *design, size_t stride, size_t *chosen, size_t used[],
                     bool allowed[], double *score)
{
    size_t old = *chosen, best = old;
    double best_score = *score * (1 - GAIN);

    if (!tt_engine_change(&design->engine, old, -1)) {
        return false;
    }
    used[old % design->rotations]--;
    find_allowed(design, used, allowed);
    size_t edge = design->candidates[old].edge;
    bool stays =
        design->on_edge[edge] <= design->least_on_edge; /* else too few would be left on the edge */
    for (size_t k = 0; k < design->n_candidates; k += stride) {
        size_t there = design->candidates[k].edge;
        bool open = allowed[k % design->rotations] && (design->counts[k] == 0 || k == old) &&
                    (there == edge || (!stays && design->on_edge[there] >= design->least_on_edge));
        double with = open ? tt_engine_score_with(&design->engine, k, best_score) : HUGE_VAL;
        if (with < best_score) {
            best_score = with;
            best = k;
        }
    }
    (void)tt_engine_change(&design->engine, best, 1); /* adding takes nothing away */
    used[best % design->rotations]++;
    design->counts[old]--;
    design->counts[best]++;
    design->on_edge[edge]--;
    design->on_edge[design->candidates[best].edge]++;
    *chosen = best;
    *score = best != old ? best_score : *score;
    return best != old;
}

/* What an exchange works on. */
struct trial {
    size_t *chosen, *best, *used; /* of each touch, so far best; touches at each rotation */
    bool *allowed;
    double score;
};

/* A start: touches anywhere, at rotations that are spread evenly and dealt out at random. */
static void draw_start(const struct tt_design *design, size_t stride, gsl_rng *random, size_t n,
                       size_t chosen[])
{
    double phase = gsl_rng_uniform(random);

    for (size_t i = 0; i < n; i++) {
        double turn = ((double)i + phase) / (double)n;
        size_t rotation = (size_t)(turn * (double)design->rotations / (double)stride) * stride %
                          design->rotations;
        size_t place = gsl_rng_uniform_int(random, design->n_setups * design->n_spots);
        if (design->least_on_edge > 0) { /* the edges in turn */
            size_t first = 0,
                   spots = spots_of(design, design->edge_order[i % design->n_open], &first);
            size_t setup = gsl_rng_uniform_int(random, design->n_setups);
            place = setup * design->n_spots + first + gsl_rng_uniform_int(random, spots);
        }
        chosen[i] = place * design->rotations + rotation;
    }
}

/* Exchange from the touches chosen, to the end. False: they do not determine the unknowns. */
static bool climb(struct tt_design *design, size_t stride, struct trial *t, size_t n)
{
    bool changed = true;

    design->engine.stride = stride;
    memset(design->counts, 0, design->n_candidates * sizeof *design->counts);
    memset(t->used, 0, design->rotations * sizeof *t->used);
    memset(design->on_edge, 0, design->scene->plate->n_edges * sizeof *design->on_edge);
    for (size_t i = 0; i < n; i++) {
        design->counts[t->chosen[i]]++;
        design->on_edge[design->candidates[t->chosen[i]].edge]++;
        t->used[t->chosen[i] % design->rotations]++;
    }
    for (size_t pass = 0; pass < MOST_PASSES && changed; pass++) {
        if (!tt_engine_set(&design->engine,
                           design->counts)) { /* anew each pass: rounding does not gather */
            return false;
        }
        t->score = tt_engine_score(&design->engine);
        changed = false;
        for (size_t i = 0; i < n; i++) {
            changed =
                exchange(design, stride, &t->chosen[i], t->used, t->allowed, &t->score) || changed;
        }
    }
    return true;
}

/* Full uncertainty and runout are not to get worse than with the touches chosen, which are evenly
 * spread. */
static void set_limits(struct tt_design *design, const struct trial *t, size_t n)
{
    memset(design->counts, 0, design->n_candidates * sizeof *design->counts);
    for (size_t i = 0; i < n; i++) {
        design->counts[t->chosen[i]]++;
    }
    design->engine.full_limit_mm2 = design->engine.runout_limit_mm2 = HUGE_VAL;
    if (tt_engine_set(&design->engine, design->counts)) {
        tt_engine_limit(&design->engine, RUNOUT_SHARE);
    }
}

static bool search(struct tt_design *design, struct trial *t, gsl_rng *random, size_t n,
                   size_t starts, struct tt_probe probes[])
{
    size_t stride = design->rotations % START_STRIDE == 0 && design->rotations / START_STRIDE >= 12
                        ? START_STRIDE
                        : 1;
    double best_score = HUGE_VAL;

    design->n_open = design->n_edges;
    if (design->least_on_edge > 0 && n / design->least_on_edge < design->n_edges) {
        design->n_open = n / design->least_on_edge > 0 ? n / design->least_on_edge : 1;
    }
    tt_design_even(design, n, probes);
    for (size_t i = 0; i < n; i++) {
        t->chosen[i] = nearest_candidate(design, &probes[i]);
    }
    set_limits(design, t, n);
    for (size_t start = 0; start < starts + (starts > 1); start++) {
        bool last = start == starts; /* the best so far once more, over all rotations */
        if (last && best_score < HUGE_VAL) {
            memcpy(t->chosen, t->best, n * sizeof *t->chosen);
        } else if (start > 0) {
            draw_start(design, stride, random, n, t->chosen);
        }
        if (climb(design, last ? 1 : stride, t, n) && t->score < best_score) {
            best_score = t->score;
            memcpy(t->best, t->chosen, n * sizeof *t->best);
        }
    }
    memset(design->counts, 0, design->n_candidates * sizeof *design->counts);
    for (size_t i = 0; i < n && best_score < HUGE_VAL; i++) {
        probes[i] = design->candidates[t->best[i]];
        design->counts[t->best[i]]++;
    }
    return best_score < HUGE_VAL;
}

enum tiptrue_status tt_design_best(struct tt_design *design, size_t n, size_t starts,
                                   struct tt_probe probes[])
{
    struct tt_arena scratch = {0};
    struct tt_random memory;
    gsl_rng *random =
        tt_random_start(&memory, gsl_rng_taus2, START_SEED); /* the same plan each time */
    struct trial t = {.chosen = TT_ARENA_NEW(&scratch, n, size_t),
                      .best = TT_ARENA_NEW(&scratch, n, size_t),
                      .used = TT_ARENA_NEW(&scratch, design->rotations, size_t),
                      .allowed = TT_ARENA_NEW(&scratch, design->rotations, bool)};
    enum tiptrue_status status = TIPTRUE_E_MEMORY;

    if (random != NULL && t.chosen != NULL && t.best != NULL && t.used != NULL &&
        t.allowed != NULL) {
        status = search(design, &t, random, n, starts, probes) ? TIPTRUE_OK : TIPTRUE_E_DEGENERATE;
    }
    tt_arena_clear(&scratch);
    return status;
}

bool tt_design_like(struct tt_design *design, const struct tt_design *other,
                    struct tt_probe probes[])
{
    size_t n = 0;
    bool same = design->n_candidates == other->n_candidates && design->n_spots == other->n_spots;

    for (size_t k = 0; k < design->n_spots && same; k++) {
        same = design->spots[k].edge == other->spots[k].edge;
    }
    for (size_t k = 0; k < design->n_candidates && same; k++) {
        design->counts[k] = other->counts[k];
        for (size_t i = 0; i < other->counts[k]; i++) {
            probes[n++] = design->candidates[k];
        }
    }
    return same;
}

bool tt_design_next(struct tt_design *design, const struct tt_probe planned[], size_t n_planned,
                    struct tt_probe *next)
{
    size_t best = TT_NONE;

    design->engine.stride = 1;
    memset(design->counts, 0, design->n_candidates * sizeof *design->counts);
    for (size_t i = 0; i < n_planned; i++) {
        if (planned[i].tip == design->tip) {
            design->counts[nearest_candidate(design, &planned[i])]++;
        }
    }
    if (!tt_engine_set(&design->engine, design->counts)) {
        return false;
    }
    double best_score = tt_engine_score(&design->engine) * (1 - GAIN);
    for (size_t k = 0; k < design->n_candidates; k++) {
        double with = design->counts[k] == 0 ? tt_engine_score_with(&design->engine, k, best_score)
                                             : HUGE_VAL;
        if (with < best_score) {
            best_score = with;
            best = k;
        }
    }
    if (best != TT_NONE) {
        *next = design->candidates[best];
    }
    return best != TT_NONE;
}
