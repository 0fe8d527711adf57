/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What was found, as terms of the tracks. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "history/changes_parts.h"

/* Set the terms of all tracks by what was found, and fit them. */
void tt_track_add(struct tt_track *track, struct tt_term term)
{
    if (track->n_terms < track->room_terms) {
        track->terms[track->n_terms++] = term;
    }
}

/* The runs of another plate than the first: its level against that of the first one. Alternating plates make it a comb; then the
 * pieces of a term do not suffice, and each stretch of runs gets a term of its own with the same prior. */
static void add_plates(const struct tt_changes *c, struct tt_track *track, size_t member, bool prior)
{
    for (size_t from = 0, to; from < c->n; from = to) {
        const char *plate = c->run[from]->plate;
        struct tt_sym2 sum = {0, 0, 0};
        double count = 0;
        for (to = from; to < c->n && strcmp(c->run[to]->plate, plate) == 0; to++) {
            for (size_t k = 0; prior && k < c->run[to]->n_tips; k++) {
                const struct tt_series_tip *tip = &c->run[to]->tips[k];
                sum.xx += tip->cov.xx_mm2 - tip->same_plate_cov.xx_mm2;
                sum.xy += tip->cov.xy_mm2 - tip->same_plate_cov.xy_mm2;
                sum.yy += tip->cov.yy_mm2 - tip->same_plate_cov.yy_mm2;
                count++;
            }
        }
        if (strcmp(plate, c->plates[0]) != 0 && tt_track_count(track, member, from, to) > 0) {
            struct tt_term term = to < c->n ? tt_term_block(member, from, to) : tt_term_step(member, from);
            if (prior && count > 0) {
                /* both plates' errors are in the difference; the first one's is taken as alike */
                term.prior = (struct tt_sym2){fmax(2 * sum.xx / count, 1e-12), 2 * sum.xy / count, fmax(2 * sum.yy / count, 1e-12)};
            }
            tt_track_add(track, term);
        }
    }
}

void tt_changes_set_offset_terms(struct tt_changes *c)
{
    c->offset.n_terms = 0;
    for (size_t tip = 0; tip < c->tips; tip++) {
        if (tt_track_count(&c->offset, tip, 0, c->n) > 0) {
            tt_track_add(&c->offset, tt_term_step(tip, 0));
        }
    }
    add_plates(c, &c->offset, TT_TRACK_ALL, true);
    for (size_t i = 0; i < c->n_events; i++) {
        if (tt_event_moves_offset(c->events[i].what)) {
            tt_track_add(&c->offset, tt_event_as_term(c, &c->events[i], tt_event_member(&c->events[i])));
        }
    }
    for (size_t tip = 0; tip < c->tips; tip++) {
        if (c->tip_drifts[tip]) {
            tt_track_add(&c->offset, tt_term_slope(tip));
        }
    }
    if (c->all_drift) {
        tt_track_add(&c->offset, tt_term_slope(TT_TRACK_ALL));
    }
}

static void set_lone_terms(struct tt_changes *c, struct tt_track *track, bool slope, bool of_plate,
                           bool (*moved)(const struct tt_event *, size_t), size_t tip)
{
    track->n_terms = 0;
    tt_track_add(track, tt_term_step(0, 0));
    if (of_plate) {
        add_plates(c, track, 0, false);
    }
    for (size_t i = 0; i < c->n_events; i++) {
        if (moved(&c->events[i], tip)) {
            tt_track_add(track, tt_event_as_term(c, &c->events[i], 0));
        }
    }
    if (slope) {
        tt_track_add(track, tt_term_slope(0));
    }
}

static bool moved_tip(const struct tt_event *e, size_t tip)
{
    return e->what == TT_TIP_CHANGED && e->tip == tip;
}

static bool moved_pose(const struct tt_event *e, size_t tip)
{
    (void)tip;
    return tt_event_moves_pose(e->what);
}

void tt_changes_fit(struct tt_changes *c)
{
    tt_changes_set_offset_terms(c);
    tt_track_fit_if_new(&c->offset);
    for (size_t tip = 0; tip < c->tips; tip++) {
        set_lone_terms(c, &c->runout[tip], c->tip_wears[tip], false, moved_tip, tip);
        tt_track_fit_if_new(&c->runout[tip]);
        set_lone_terms(c, &c->radius[tip], c->tip_wears[tip], true, moved_tip, tip);
        tt_track_fit_if_new(&c->radius[tip]);
    }
    set_lone_terms(c, &c->mark, c->pose_drifts, true, moved_pose, 0);
    tt_track_fit_if_new(&c->mark);
    set_lone_terms(c, &c->yaw, c->pose_drifts, true, moved_pose, 0);
    tt_track_fit_if_new(&c->yaw);
}

/* The term of @e in @track as last fitted, for @member; TT_NONE: none. */
static size_t find_term(const struct tt_changes *c, const struct tt_track *track, const struct tt_event *e, size_t member)
{
    struct tt_term term = tt_event_as_term(c, e, member);

    for (size_t i = 0; i < track->n_terms; i++) {
        const struct tt_term *t = &track->terms[i];
        if (t->member == member && t->n_pieces == term.n_pieces && t->piece[0].power == 0 && !(t->prior.xx > 0) &&
            t->piece[0].from == e->from && (e->from > 0 || t->n_pieces > 1) && (t->n_pieces < 2 || t->piece[1].from == e->to)) {
            return i;
        }
    }
    return TT_NONE;
}

static size_t term_in(const struct tt_changes *c, const struct tt_track *track, const struct tt_event *e)
{
    if (track == NULL || track->singular) {
        return TT_NONE;
    }
    return find_term(c, track, e, track == &c->offset ? tt_event_member(e) : 0);
}

void tt_changes_tracks(struct tt_changes *c, size_t index, struct tt_event_term terms[TT_EVENT_TRACKS])
{
    const struct tt_event *e = &c->events[index];
    struct tt_track *const tracks[TT_EVENT_TRACKS] = {
        [TT_OF_OFFSET] = tt_event_moves_offset(e->what) ? &c->offset : NULL,
        [TT_OF_RUNOUT] = e->what == TT_TIP_CHANGED ? &c->runout[e->tip] : NULL,
        [TT_OF_RADIUS] = e->what == TT_TIP_CHANGED ? &c->radius[e->tip] : NULL,
        [TT_OF_MARK] = tt_event_moves_pose(e->what) ? &c->mark : NULL,
        [TT_OF_YAW] = tt_event_moves_pose(e->what) ? &c->yaw : NULL,
    };
    for (int i = 0; i < TT_EVENT_TRACKS; i++) {
        size_t term = term_in(c, tracks[i], e);
        terms[i] = (struct tt_event_term){.there = term != TT_NONE, .track = tracks[i], .term = term};
        if (terms[i].there) {
            terms[i].shift = tracks[i]->coefficient[term];
            terms[i].cov = tt_track_cov(tracks[i], term);
        }
    }
}
