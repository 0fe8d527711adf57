/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a history brings into a solve: scatter between the machine's runs, and the runs that the
 * offsets in use came from. */
#include "config.h"

#include "app/weeks.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "adjust/uncertainty.h"
#include "history/series/trend.h"
#include "history/store/store.h"
#include "history/store/response.h"
#include "model/between.h"

/* The degrees of freedom of the between-run part of @tip. A result written before the budget had
 * them says only those of the whole, of which the part explains a share (Welch and Satterthwaite):
 * fewer than this the part cannot have had. */
static double between_dof(const struct tt_tip_result *tip, const struct tt_budget_line *line)
{
    const struct tt_scatter_part part = {
        {line->u_x_mm * line->u_x_mm, 0, line->u_y_mm * line->u_y_mm}, 1};

    return line->dof > 0
               ? line->dof
               : fmax(tip->same_plate_dof / tt_effective_dof(&part, 1, tip->same_plate_cov), 1);
}

/* A copy of @effects in @arena. False: out of memory. */
static bool copy_effects(struct tt_arena *arena, struct tt_plate_effects from,
                         struct tt_plate_effects *to)
{
    struct tt_plate_feature *features = TT_ARENA_NEW(arena, from.n, struct tt_plate_feature);
    double *x = TT_ARENA_NEW(arena, from.n, double), *y = TT_ARENA_NEW(arena, from.n, double);

    if (features == NULL || x == NULL || y == NULL) {
        return false;
    }
    for (size_t i = 0; i < from.n; i++) {
        features[i] = from.features[i];
        features[i].name = tt_arena_copy(arena, from.features[i].name);
        x[i] = from.x[i];
        y[i] = from.y[i];
        if (features[i].name == NULL) {
            return false;
        }
    }
    *to = (struct tt_plate_effects){features, from.x != NULL ? x : NULL, y, from.n};
    return true;
}

/* The covariance of the held offset without the scatter between runs that a history put into it. */
static struct tt_cov2 cov_of_run(const struct tt_tip_result *tip)
{
    struct tt_cov2 cov = tip->same_plate_cov;

    for (size_t i = 0; i < tip->n_budget; i++) {
        const struct tt_budget_line *line = &tip->budget[i];
        if (line->code == TT_BUDGET_BETWEEN_RUNS) {
            cov.xx_mm2 -= line->u_x_mm * line->u_x_mm;
            cov.yy_mm2 -= line->u_y_mm * line->u_y_mm;
        }
    }
    return cov;
}

/* Enter what the run @id says of @tip as that which the offset in use came from. Nothing is entered
 * where it says nothing. */
static enum tiptrue_status note_earlier(struct tiptrue_history *history, const char *id,
                                        const char *tip, struct tiptrue_between *between,
                                        struct tiptrue_error *error)
{
    struct tiptrue_solution *solution = NULL;
    enum tiptrue_status status = tiptrue_history_comparable(history, id, &solution, error);

    for (size_t i = 0; status == TIPTRUE_OK && i < solution->n_tips; i++) {
        const struct tt_tip_result *from = &solution->tips[i];
        if (strcmp(from->name, tip) != 0 || !from->has_held || !from->offset_determined_x ||
            !from->offset_determined_y) {
            continue;
        }
        struct tt_earlier *earlier = &between->earlier[between->n_earlier];
        *earlier = (struct tt_earlier){.tip = tt_arena_copy(&between->arena, tip),
                                       .run = tt_arena_copy(&between->arena, id),
                                       .held = from->held,
                                       .cov = cov_of_run(from),
                                       .dof = from->same_plate_dof};
        if (earlier->tip == NULL || earlier->run == NULL ||
            !copy_effects(&between->arena, tt_effects_of(solution, from), &earlier->effects)) {
            status = tt_fail_memory(error);
            break;
        }
        between->n_earlier++;
    }
    tiptrue_solution_free(solution);
    return status;
}

/* The scatter between runs that the result of @before was given with: solving anew is to show what
 * else changed. */
enum tiptrue_status tt_between_of_result(struct tiptrue_history *history,
                                         const struct tiptrue_solution *before,
                                         struct tiptrue_between **between,
                                         struct tiptrue_error *error)
{
    struct tiptrue_between *made = calloc(1, sizeof *made);
    enum tiptrue_status status = TIPTRUE_OK;

    if (made == NULL ||
        (made->tips = TT_ARENA_NEW(&made->arena, before->n_tips, struct tt_between_tip)) == NULL ||
        (made->earlier = TT_ARENA_NEW(&made->arena, before->n_tips, struct tt_earlier)) == NULL) {
        tiptrue_between_free(made);
        return tt_fail_memory(error);
    }
    made->edges = before->edges;
    made->n_edges = before->n_edges;
    for (size_t i = 0; i < before->n_tips; i++) {
        const struct tt_tip_result *tip = &before->tips[i];
        size_t k = 0;
        while (k < tip->n_budget && tip->budget[k].code != TT_BUDGET_BETWEEN_RUNS) {
            k++;
        }
        if (k < tip->n_budget) {
            const struct tt_budget_line *line = &tip->budget[k];
            made->tips[made->n_tips++] =
                (struct tt_between_tip){tip->name, line->u_x_mm, line->u_y_mm,
                                        between_dof(tip, line)}; /* the names live in @before */
        }
    }
    for (size_t i = 0; i < before->n_tips && status == TIPTRUE_OK; i++) {
        const struct tt_tip_result *tip = &before->tips[i];
        status = tip->change_from != NULL
                     ? note_earlier(history, tip->change_from, tip->name, made, error)
                     : TIPTRUE_OK;
        status =
            status == TIPTRUE_E_NO_INPUT ? TIPTRUE_OK : status; /* the run is not there any more */
    }
    if (status == TIPTRUE_OK) {
        *between = made;
    } else {
        tiptrue_between_free(made);
    }
    return status;
}

/* So many runs say where the edges were: more would mix in what the plate was long ago. */
#define MOST_PAST 100
/* Steps of a millimetre in which a result gives lengths (docs/formats.md): what is taken into a
 * result is one of them, so that solving it again begins with the same number. */
#define GIVEN_PER_MM 1e10

/* An offset in use is that of a stored run if it lies within this of it on both axes:
 * configurations keep three decimals or more.
 */
#define SAME_OFFSET_MM 0.0005

/* The run that gave @tip its offset in use, on the plate that the machine file says: the nearest
 * one, of equal ones the latest. NULL = there is none. */
static const struct tt_series_run *origin_of(const struct tt_series *series,
                                             const struct tt_tip *tip)
{
    const struct tt_series_run *best = NULL;
    double best_mm = SAME_OFFSET_MM;

    for (size_t i = 0; i < series->n_runs && tip->has_offset && tip->offset_plate != NULL; i++) {
        const struct tt_series_run *run = &series->runs[i];
        for (size_t k = 0; k < run->n_tips && strcmp(run->plate, tip->offset_plate) == 0; k++) {
            const struct tt_series_tip *t = &run->tips[k];
            double off_mm =
                fmax(fabs(t->full.x_mm - tip->offset.x_mm), fabs(t->full.y_mm - tip->offset.y_mm));
            if (t->has_offset && strcmp(series->tip_names[t->tip], tip->name) == 0 &&
                off_mm <= best_mm) {
                best = run;
                best_mm = off_mm;
            }
        }
    }
    return best;
}

static enum tiptrue_status find_origins(struct tiptrue_history *history,
                                        const struct tt_series *series,
                                        const struct tiptrue_machine *machine,
                                        struct tiptrue_between *between,
                                        struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;

    between->earlier = TT_ARENA_NEW(&between->arena, machine->n_tips, struct tt_earlier);
    if (between->earlier == NULL) {
        return tt_fail_memory(error);
    }
    for (size_t t = 0; t < machine->n_tips && status == TIPTRUE_OK; t++) {
        const struct tt_series_run *run = origin_of(series, &machine->tips[t]);
        status = run != NULL ? note_earlier(history, run->id, machine->tips[t].name, between, error)
                             : TIPTRUE_OK;
    }
    return status;
}

/* The scatter between the runs of @series into *made, as the last trend of them found it; where it
 * was of other runs, it is found here. */
static enum tiptrue_status find_scatter(struct tiptrue_history *history,
                                        const struct tt_series *series,
                                        struct tiptrue_between *made, struct tiptrue_error *error)
{
    char of[17];
    bool known = false;
    enum tiptrue_status status = tt_trend_between_of(series, of);

    if (status == TIPTRUE_OK) {
        status = tt_store_scatter(history, series, of, &known, made, error);
    }
    if (status == TIPTRUE_OK && !known) {
        status = tt_trend_all_between(series, made);
    }
    return status == TIPTRUE_E_MEMORY ? tt_fail_memory(error) : status;
}

enum tiptrue_status tiptrue_history_between(struct tiptrue_history *history,
                                            const struct tiptrue_machine *machine,
                                            struct tiptrue_between **between,
                                            struct tiptrue_error *error)
{
    struct tt_arena arena = {0};
    struct tt_series series = {.arena = &arena, .machine = machine->name};
    struct tiptrue_between *made = calloc(1, sizeof *made);
    enum tiptrue_status status = made != NULL ? tt_history_series(history, machine->name, NULL,
                                                                  TT_LATEST_RUNS, &series, error)
                                              : tt_fail_memory(error);

    if (status == TIPTRUE_OK) {
        status = find_scatter(history, &series, made, error);
    }
    if (status == TIPTRUE_OK) {
        status = find_origins(history, &series, machine, made, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_store_past(history, machine->name, MOST_PAST, made, error);
    }
    tt_arena_clear(&arena);
    for (size_t i = 0; status == TIPTRUE_OK && i < made->n_tips; i++) {
        made->tips[i].u_x_mm = round(made->tips[i].u_x_mm * GIVEN_PER_MM) / GIVEN_PER_MM;
        made->tips[i].u_y_mm = round(made->tips[i].u_y_mm * GIVEN_PER_MM) / GIVEN_PER_MM;
    }
    if (status == TIPTRUE_OK) {
        *between = made;
    } else {
        tiptrue_between_free(made);
    }
    return status;
}

void tiptrue_between_free(struct tiptrue_between *between)
{
    if (between != NULL) {
        tt_arena_clear(&between->arena);
        free(between);
    }
}
