/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "planning/view_design.h"

#include <math.h>
#include <string.h>

#include "adjust/views.h"

/* How far the places keep from the picture's edges, as a share of it: a mark must be in it whole
 * (common practice, no source). */
#define BORDER 0.125
/* An exchange must be better by more than rounding; most designs stand still after two rounds. */
#define BETTER 1e-9
#define ROUNDS 6
/* Once round the picture, from its upper left corner: those that face each other are four apart. */
static const double PLACES[][2] = {{0, 0},   {0.5, 0}, {1, 0},   {1, 0.5},  {1, 1},
                                   {0.5, 1}, {0, 1},   {0, 0.5}, {0.5, 0.5}};
#define N_PLACES (sizeof PLACES / sizeof PLACES[0])

struct design {
    struct tt_scene scene; /* its views are the candidates: mark by mark, place by place */
    struct tt_engine engine;
    size_t *counts, *ones; /* of each candidate; 1 for each touch */
    size_t n_marks, n, least_of_mark;
    bool next; /* a run was begun, whose touches count */
};

double tt_view_corner_mm(const struct tiptrue_solution *expected)
{
    const struct tt_camera_result *camera = &expected->camera;

    return camera->determined ? tt_factor_line(camera->dof) * camera->u_corner_mm : HUGE_VAL;
}

void tt_view_camera(struct tiptrue_machine *machine, const struct tt_camera_result *found)
{
    struct tt_camera *camera = &machine->camera;

    if (found->views > 0 && found->determined) {
        camera->scale_mm[0] = found->scale_x_mm;
        camera->scale_mm[1] = found->scale_y_mm;
        camera->turn_rad = found->turn_rad;
        camera->mirrored = found->mirrored;
        camera->has_scale = camera->has_turn = true;
    }
}

/* The variance of a' x, @slope being a of the picture's four numbers, mm2. */
static double variance(const struct design *d, const double slope[4])
{
    const struct tt_running *full = &d->engine.full;
    size_t at = d->engine.model.picture.at;
    double sum = 0;

    for (size_t i = 0; i < 4; i++) {
        for (size_t j = 0; j < 4; j++) {
            sum += slope[i] * full->c[(at + i) * full->n + at + j] * slope[j];
        }
    }
    return sum;
}

/* That of a feature's place at the picture's corners, mean of all four, x and y; mm2. */
static double corner_mm2(const struct design *d)
{
    double sum = 0, v[2], slope[2][4];

    for (size_t k = 0; k < 4; k++) {
        tt_picture_corner(&d->scene.machine->camera, k, v);
        tt_picture_slope(v[0], v[1], slope);
        sum += 0.25 * (variance(d, slope[0]) + variance(d, slope[1]));
    }
    return sum;
}

/* What is to be small, mm2; HUGE_VAL: so few views do not determine it. */
static double score(struct design *d)
{
    tt_engine_weigh_views(&d->engine, d->counts);
    return tt_engine_set(&d->engine, d->ones) ? tt_engine_score(&d->engine) + corner_mm2(d)
                                              : HUGE_VAL;
}

static size_t of_mark(const struct design *d, size_t mark)
{
    size_t n = 0;
    for (size_t k = 0; k < N_PLACES; k++) {
        n += d->counts[mark * N_PLACES + k];
    }
    return n;
}

/* One view more: the best candidate, which is returned, not another than @keep unless it is better.
 * Where @of_its_mark, one of the mark of @keep. */
static size_t take_best(struct design *d, size_t keep, bool of_its_mark)
{
    size_t first = of_its_mark ? keep / N_PLACES : 0, last = of_its_mark ? first + 1 : d->n_marks;
    double best = HUGE_VAL;

    if (keep != TT_NONE) {
        d->counts[keep]++;
        best = score(d);
        d->counts[keep]--;
    }
    for (size_t c = first * N_PLACES; c < last * N_PLACES; c++) {
        d->counts[c]++;
        double with = score(d);
        d->counts[c]--;
        if (with < best * (1 - BETTER) || keep == TT_NONE) {
            best = with;
            keep = c;
        }
    }
    d->counts[keep]++;
    return keep;
}

/* Two views of each mark, in corners that face each other: one diagonal and the other in turn. */
static void begin(struct design *d, size_t n)
{
    for (size_t i = 0; i < 2 * d->n_marks && d->n < n; i++, d->n++) {
        size_t mark = i / 2;
        d->counts[mark * N_PLACES + 2 * (mark % 2) + 4 * (i % 2)]++;
    }
}

static void exchange(struct design *d)
{
    bool changed = true;

    for (size_t round = 0; round < ROUNDS && changed; round++) {
        changed = false;
        for (size_t c = 0; c < d->n_marks * N_PLACES; c++) {
            for (size_t i = d->counts[c]; i > 0; i--) {
                bool needed = of_mark(d, c / N_PLACES) <= d->least_of_mark;
                d->counts[c]--;
                changed = take_best(d, c, needed) != c || changed;
            }
        }
    }
}

/* ---- the views of a scene ---- */

/* Those that were chosen, the ones of the start before those of the end; a mark's views, which
 * follow each other round the picture, go to start and end in turn, so that drift and a plate that
 * moved show, and both see the picture all round. The reference mark is first, and last. */
static void put_in_order(const struct design *d, struct tt_scene *scene,
                         struct tt_view_place *views)
{
    size_t n = 0;

    for (size_t end = 0; end < 2; end++) {
        for (size_t m = 0; m < d->n_marks; m++) {
            size_t mark = end == 0 ? m : d->n_marks - 1 - m, turn = mark / 2;
            for (size_t k = 0; k < N_PLACES; k++) {
                size_t c = mark * N_PLACES + k;
                for (size_t i = 0; i < d->counts[c]; i++, turn++) {
                    if (turn % 2 == end) {
                        views[n++] = d->scene.views[c];
                    }
                }
            }
        }
        scene->n_views_first = end == 0 ? n : scene->n_views_first;
    }
    scene->views = views;
    scene->n_views = n;
}

static enum tiptrue_status check_wish(const struct tt_scene *scene, const struct tt_view_wish *wish,
                                      struct tiptrue_error *error)
{
    const struct tiptrue_machine *machine = scene->machine;

    if (!machine->camera.present || !machine->camera.has_scale) {
        return tt_fail(error, TIPTRUE_E_DATA, machine->file, 0, 0,
                       "state \"camera\": {\"size_px\": [wide, high], \"scale_mm_per_px\": [x, y], "
                       "\"turn_deg\": ...}, the scale to a tenth",
                       "where the head goes for a view is not known: the machine file does not "
                       "state %s",
                       machine->camera.present ? "'scale_mm_per_px' of its camera" : "its camera");
    }
    if (wish->n > 0 &&
        ((wish->n < TT_LEAST_VIEWS && scene->so_far == NULL) || wish->n > TT_MOST_VIEWS)) {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0,
                       "6 to 100: the place of the plate has three numbers, scale, turn and shear "
                       "of the picture four, and some more must be there to contradict a wrong one",
                       "%zu views are too %s", wish->n, wish->n < TT_LEAST_VIEWS ? "few" : "many");
    }
    return TIPTRUE_OK;
}

/* Place @k in the picture. Where the turn is not stated the mark may be seen anywhere on a circle
 * about the centre: all places are on the largest one that keeps from the picture's edges. */
static void set_place(const struct tt_camera *camera, size_t k, struct tt_view_place *view)
{
    const double *size = camera->size_px, *centre = camera->centre_px;
    double x = 2 * PLACES[k][0] - 1, y = 2 * PLACES[k][1] - 1, length = hypot(x, y);

    if (camera->has_turn) {
        view->px = round(size[0] * (0.5 + (0.5 - BORDER) * x));
        view->py = round(size[1] * (0.5 + (0.5 - BORDER) * y));
        return;
    }
    double nearest =
               fmin(fmin(centre[0], size[0] - centre[0]), fmin(centre[1], size[1] - centre[1])),
           reach = length > 0 ? (1 - 2 * BORDER) * fmax(nearest, 0) / length : 0;
    view->px = round(centre[0] + reach * x);
    view->py = round(centre[1] + reach * y);
}

static enum tiptrue_status design_init(struct design *d, const struct tt_scene *scene,
                                       const struct tt_view_wish *wish, struct tt_arena *arena)
{
    const struct tiptrue_plate *plate = scene->plate;

    *d = (struct design){
        .scene = *scene, .n_marks = tt_plate_marks_in_use(plate), .next = scene->so_far != NULL};
    struct tt_view_place *all = TT_ARENA_NEW(arena, d->n_marks * N_PLACES, struct tt_view_place);
    d->counts = TT_ARENA_NEW(arena, d->n_marks * N_PLACES, size_t);
    d->ones = TT_ARENA_NEW(arena, wish->n_probes, size_t);
    if (all == NULL || d->counts == NULL || d->ones == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t c = 0; c < d->n_marks * N_PLACES; c++) {
        all[c].mark = tt_plate_mark_in_use(plate, plate->reference, c / N_PLACES);
        set_place(&scene->machine->camera, c % N_PLACES, &all[c]);
    }
    for (size_t i = 0; i < wish->n_probes; i++) {
        d->ones[i] = d->next ? 0 : 1;
    }
    d->scene.views = all;
    d->scene.n_views = d->n_marks * N_PLACES;
    return tt_engine_init(&d->engine, &d->scene, wish->probes[0].tip, wish->probes, wish->n_probes,
                          0);
}

/* What is expected of the views of @scene, with usual touches of a tip. */
static enum tiptrue_status expect(const struct tt_scene *scene, const struct tt_view_wish *wish,
                                  double *corner_mm, struct tiptrue_error *error)
{
    struct tiptrue_solution *expected = NULL;
    enum tiptrue_status status =
        tt_scene_check(scene, wish->probes, scene->so_far != NULL ? 0 : wish->n_probes,
                       wish->workspace, &expected, error);

    *corner_mm = status == TIPTRUE_OK ? tt_view_corner_mm(expected) : HUGE_VAL;
    tiptrue_solution_free(expected);
    return status;
}

/* The best @n views into @scene; @views has room for the most. */
static void choose(struct design *d, size_t n, struct tt_scene *scene, struct tt_view_place *views)
{
    memset(d->counts, 0, d->n_marks * N_PLACES * sizeof *d->counts);
    d->n = 0;
    if (!d->next) {
        begin(d, n);
    }
    for (; d->n < n; d->n++) {
        (void)take_best(d, TT_NONE, false);
    }
    d->least_of_mark = n >= 2 * d->n_marks && !d->next ? 2 : 0;
    exchange(d);
    put_in_order(d, scene, views);
}

/* As many as are wanted, or do: doubled until they do, then halving what lies between. */
static enum tiptrue_status choose_number(struct design *d, const struct tt_view_wish *wish,
                                         struct tt_scene *scene, struct tt_view_place *views,
                                         struct tiptrue_error *error)
{
    size_t least = d->next ? 1 : TT_LEAST_VIEWS, few = 0, n = wish->n > 0 ? wish->n : least,
           enough = 0;
    double corner_mm = HUGE_VAL;
    enum tiptrue_status status = TIPTRUE_OK;

    choose(d, n, scene, views);
    while (wish->n == 0 && (enough == 0 || enough - few > 1) &&
           (status = expect(scene, wish, &corner_mm, error)) == TIPTRUE_OK) {
        if (corner_mm <= wish->corner_mm) {
            enough = n;
        } else {
            few = n;
        }
        if (n == (enough == 0 ? TT_MOST_VIEWS : least)) {
            break;
        }
        n = enough > 0 ? (few + enough + 1) / 2 : 2 * n < TT_MOST_VIEWS ? 2 * n : TT_MOST_VIEWS;
        choose(d, n, scene, views);
    }
    return status;
}

enum tiptrue_status tt_plan_views(struct tt_scene *scene, const struct tt_view_wish *wish,
                                  struct tt_arena *arena, struct tiptrue_error *error)
{
    struct design d = {.scene = {0}};
    enum tiptrue_status status = check_wish(scene, wish, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    struct tt_view_place *views = TT_ARENA_NEW(arena, TT_MOST_VIEWS, struct tt_view_place);
    status = views != NULL ? design_init(&d, scene, wish, arena) : TIPTRUE_E_MEMORY;
    status =
        status == TIPTRUE_OK ? choose_number(&d, wish, scene, views, error) : tt_fail_memory(error);
    tt_engine_clear(&d.engine);
    return status;
}
