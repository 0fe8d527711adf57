/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* From a series to its tracks, and what is asked of them. */
#include "config.h"

#include "history/changes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "history/changes_parts.h"

static bool is_used(const struct tt_series_tip *tip)
{
    return tip->has_offset && tip->verdict != TIPTRUE_REPEAT;
}

static bool run_is_used(const struct tt_series_run *run)
{
    for (size_t i = 0; i < run->n_tips; i++) {
        if (is_used(&run->tips[i])) {
            return true;
        }
    }
    return false;
}

static struct tt_sym2 sym2_of(struct tt_cov2 cov)
{
    return (struct tt_sym2){cov.xx_mm2, cov.xy_mm2, cov.yy_mm2};
}

/* What all tips of a run share of their uncertainty, correlated as the tip's own is: it comes by the same pose. */
static struct tt_sym2 common_of(const struct tt_series_tip *tip)
{
    const struct tt_cov2 *cov = &tip->same_plate_cov;
    double x = tip->common_u_x_mm, y = tip->common_u_y_mm, product = sqrt(cov->xx_mm2) * sqrt(cov->yy_mm2);

    return (struct tt_sym2){x * x, product > 0 ? x * y * cov->xy_mm2 / product : 0, y * y};
}

static void fill_tip(struct tt_changes *c, size_t run, const struct tt_series_tip *tip)
{
    size_t at = run * c->tips + tip->tip;

    c->offset.there[at] = true;
    c->offset.value[at] = (struct tt_pair){tip->offset.x_mm, tip->offset.y_mm};
    c->offset.stated[at] = sym2_of(tip->same_plate_cov);
    c->offset.common[run] = common_of(tip);
    if (tip->has_runout) {
        c->runout[tip->tip].there[run] = true;
        c->runout[tip->tip].value[run] = (struct tt_pair){tip->runout.x_mm, tip->runout.y_mm};
        c->runout[tip->tip].stated[run] = sym2_of(tip->runout_cov);
    }
    if (tip->has_radius) {
        c->radius[tip->tip].there[run] = true;
        c->radius[tip->tip].value[run].x = tip->radius_mm;
        c->radius[tip->tip].stated[run].xx = tip->u_radius_mm * tip->u_radius_mm;
    }
}

static void fill_run(struct tt_changes *c, size_t at)
{
    const struct tt_series_run *run = c->run[at];

    for (size_t i = 0; i < run->n_tips; i++) {
        if (is_used(&run->tips[i])) {
            fill_tip(c, at, &run->tips[i]);
        }
    }
    if (run->has_pose) {
        c->mark.there[at] = c->yaw.there[at] = true;
        c->mark.value[at] = (struct tt_pair){run->mark.x_mm, run->mark.y_mm};
        c->mark.stated[at] = (struct tt_sym2){run->u_mark_x_mm * run->u_mark_x_mm, 0, run->u_mark_y_mm * run->u_mark_y_mm};
        c->yaw.value[at].x = run->yaw_rad;
        c->yaw.stated[at].xx = run->u_yaw_rad * run->u_yaw_rad;
    }
}

/* A track is complete. Values near 0, so that sums of squares keep their digits: everything is counted from the first one of its
 * kind. */
static void centre(struct tt_track *track)
{
    tt_track_filled(track);
    for (size_t k = 0; k < track->members; k++) {
        struct tt_pair origin = {0, 0};
        bool found = false;
        for (size_t run = 0; run < track->n; run++) {
            size_t at = run * track->members + k;
            if (track->there[at]) {
                origin = found ? origin : track->value[at];
                found = true;
                track->value[at].x -= origin.x;
                track->value[at].y -= origin.y;
            }
        }
    }
}

static enum tiptrue_status allocate(struct tt_changes *c)
{
    /* a term for each level, plate stretch, event and slope */
    size_t stretches = 1;
    for (size_t i = 1; i < c->n; i++) {
        stretches += strcmp(c->run[i]->plate, c->run[i - 1]->plate) != 0;
    }
    c->room_events = 4 + c->n / 5;
    size_t most = 2 * c->tips + 2 + stretches + c->room_events;
    c->runout = TT_ARENA_NEW(c->arena, c->tips, struct tt_track);
    c->radius = TT_ARENA_NEW(c->arena, c->tips, struct tt_track);
    c->events = TT_ARENA_NEW(c->arena, c->room_events + 1, struct tt_event);
    c->tip_drifts = TT_ARENA_NEW(c->arena, c->tips, bool);
    c->tip_wears = TT_ARENA_NEW(c->arena, c->tips, bool);
    bool good = c->runout && c->radius && c->events && c->tip_drifts && c->tip_wears;
    good = good && tt_track_init(&c->offset, c->arena, c->n, c->tips, 2, most, c->weeks) == TIPTRUE_OK;
    good = good && tt_track_init(&c->mark, c->arena, c->n, 1, 2, most, c->weeks) == TIPTRUE_OK;
    good = good && tt_track_init(&c->yaw, c->arena, c->n, 1, 1, most, c->weeks) == TIPTRUE_OK;
    for (size_t tip = 0; good && tip < c->tips; tip++) {
        good = tt_track_init(&c->runout[tip], c->arena, c->n, 1, 2, most, c->weeks) == TIPTRUE_OK &&
               tt_track_init(&c->radius[tip], c->arena, c->n, 1, 1, most, c->weeks) == TIPTRUE_OK;
    }
    return good ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}

/* The runs that are used, their times in weeks from their middle, and the plates they were made on. */
static enum tiptrue_status gather(struct tt_changes *c)
{
    const struct tt_series *series = c->series;

    c->run = TT_ARENA_NEW(c->arena, series->n_runs, const struct tt_series_run *);
    c->weeks = TT_ARENA_NEW(c->arena, series->n_runs, double);
    c->plates = TT_ARENA_NEW(c->arena, series->n_runs, const char *);
    if (c->run == NULL || c->weeks == NULL || c->plates == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < series->n_runs; i++) {
        if (run_is_used(&series->runs[i])) {
            c->run[c->n++] = &series->runs[i];
        }
    }
    double middle_s = c->n > 0 ? 0.5 * (c->run[0]->time_s + c->run[c->n - 1]->time_s) : 0;
    for (size_t i = 0; i < c->n; i++) {
        size_t k = 0;
        c->weeks[i] = (c->run[i]->time_s - middle_s) / (7 * 86400.0);
        while (k < c->n_plates && strcmp(c->plates[k], c->run[i]->plate) != 0) {
            k++;
        }
        if (k == c->n_plates) {
            c->plates[c->n_plates++] = c->run[i]->plate;
        }
    }
    return TIPTRUE_OK;
}

static int by_place(const void *a, const void *b)
{
    const struct tt_event *first = a, *second = b;
    return (first->from > second->from) - (first->from < second->from);
}

enum tiptrue_status tt_changes_find(struct tt_changes *c, const struct tt_series *series, struct tt_arena *arena)
{
    *c = (struct tt_changes){.series = series, .arena = arena, .tips = series->n_tip_names};
    enum tiptrue_status status = gather(c);

    if (status == TIPTRUE_OK) {
        status = allocate(c);
    }
    if (status != TIPTRUE_OK || c->n == 0) {
        return status;
    }
    for (size_t i = 0; i < c->n; i++) {
        fill_run(c, i);
    }
    centre(&c->offset);
    centre(&c->mark);
    centre(&c->yaw);
    for (size_t tip = 0; tip < c->tips; tip++) {
        centre(&c->runout[tip]);
        centre(&c->radius[tip]);
    }
    status = tt_changes_search(c);
    if (status == TIPTRUE_OK) {
        tt_changes_find_brackets(c);
        if (c->n_events > 1) {
            qsort(c->events, c->n_events, sizeof *c->events, by_place);
            tt_changes_fit(c);
        }
    }
    return status;
}

void tt_changes_fit_slopes(struct tt_changes *c, size_t slope[])
{
    tt_changes_set_offset_terms(c);
    bool all = c->all_drift;
    if (all) {
        c->offset.n_terms--; /* it stands last; each tip's own takes its place */
    }
    for (size_t tip = 0; tip < c->tips; tip++) {
        slope[tip] = TT_NONE;
        for (size_t i = 0; i < c->offset.n_terms; i++) {
            if (c->offset.terms[i].member == tip && c->offset.terms[i].piece[0].power == 1) {
                slope[tip] = i;
            }
        }
        if (slope[tip] == TT_NONE && tt_track_count(&c->offset, tip, 0, c->n) > TT_FEWEST_RUNS) {
            slope[tip] = c->offset.n_terms;
            tt_track_add(&c->offset, tt_term_slope(tip));
        }
    }
    tt_track_fit(&c->offset);
    if (c->offset.singular) {
        /* runs at one time, or as good as that: there is no slope to be had */
        tt_changes_set_offset_terms(c);
        for (size_t tip = 0; tip < c->tips; tip++) {
            slope[tip] = TT_NONE;
        }
        tt_track_fit(&c->offset);
    }
}
