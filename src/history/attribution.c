/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What moved, in words. All tips alike: the camera or the head. All tips alike and the pose with them: the plate, unless the mark
 * seems to have moved by the very same as the offsets; then it was the camera, since what it looks at shifts in the machine frame
 * by what the camera shifted, and so does every offset. One tip: changed or bent if its runout or radius went with it, else its
 * seat.
 */
#include "config.h"

#include <math.h>
#include <string.h>

#include "base/buffer.h"
#include "base/distribution.h"
#include "base/number.h"
#include "history/plane.h"
#include "history/trend.h"
#include "history/words.h"

/* The mark's shift is taken for that of the offsets unless this rare. */
#define SAME_ALPHA 0.001
/* A quantity is told as changed when its change is rarer than this. */
#define TOLD_ALPHA 0.01

static bool shows(const struct tt_event_term *t)
{
    if (!t->there) {
        return false;
    }
    double chi2 = t->track->axes == 1 ? t->shift.x * t->shift.x / t->cov.xx : tt_sym2_distance2(t->cov, t->shift);
    return tt_chi2_upper(chi2, t->track->axes) < TOLD_ALPHA;
}

/* Whether the mark moved as the offsets did and the yaw stayed: what a camera that slipped looks like. */
static bool is_camera(const struct tt_event_term terms[])
{
    const struct tt_event_term *o = &terms[TT_OF_OFFSET], *m = &terms[TT_OF_MARK], *y = &terms[TT_OF_YAW];

    if (!o->there || !m->there || !shows(m)) {
        return false;
    }
    struct tt_pair apart = {m->shift.x - o->shift.x, m->shift.y - o->shift.y};
    double chi2 = tt_sym2_distance2(tt_sym2_plus(o->cov, m->cov, 1), apart);
    chi2 += y->there ? y->shift.x * y->shift.x / y->cov.xx : 0;
    return tt_chi2_upper(chi2, y->there ? 3 : 2) > SAME_ALPHA;
}

static void fill_shifts(const struct tt_event_term terms[], struct tt_trend_change *change)
{
    const struct tt_event_term *t = &terms[TT_OF_OFFSET];

    change->has_shift = t->there;
    if (t->there) {
        change->shift = (struct tt_machine_xy){t->shift.x, t->shift.y};
        change->u_shift_x_mm = sqrt(t->cov.xx);
        change->u_shift_y_mm = sqrt(t->cov.yy);
    }
    t = &terms[TT_OF_RUNOUT];
    change->has_runout_shift = t->there;
    change->runout_shift = (struct tt_tip_xy){t->shift.x, t->shift.y};
    t = &terms[TT_OF_RADIUS];
    change->has_radius_shift = t->there;
    change->radius_shift_mm = t->shift.x;
    change->u_radius_shift_mm = t->there ? sqrt(t->cov.xx) : 0;
    change->has_pose_shift = terms[TT_OF_MARK].there;
    change->mark_shift = (struct tt_machine_xy){terms[TT_OF_MARK].shift.x, terms[TT_OF_MARK].shift.y};
    change->yaw_shift_rad = terms[TT_OF_YAW].there ? terms[TT_OF_YAW].shift.x : 0;
}

static void say_tip(struct tt_buffer *b, const struct tt_changes *c, const struct tt_event *e, const struct tt_event_term terms[],
                    struct tt_trend_change *change)
{
    const char *name = c->series->tip_names[e->tip];
    bool runout = shows(&terms[TT_OF_RUNOUT]), radius = shows(&terms[TT_OF_RADIUS]);

    change->moved = TT_MOVED_TIP;
    change->tip = e->tip;
    change->cause = runout || radius ? "tip changed or bent" : c->tips > 1 ? "seat of the tip" : "seat of the tip, head or camera";
    tt_buffer_printf(b, "the offset of %s moved by ", name);
    tt_words_shift(b, change->shift.x_mm, change->shift.y_mm, change->u_shift_x_mm, change->u_shift_y_mm);
    if (runout) {
        tt_buffer_puts(b, ", its runout by ");
        tt_words_shift(b, change->runout_shift.x_mm, change->runout_shift.y_mm, sqrt(terms[TT_OF_RUNOUT].cov.xx),
                       sqrt(terms[TT_OF_RUNOUT].cov.yy));
    }
    if (radius) {
        tt_buffer_puts(b, ", its contact radius by ");
        tt_words_um_pm(b, change->radius_shift_mm, change->u_radius_shift_mm);
        tt_buffer_puts(b, " \xc2\xb5m");
    }
    if (runout || radius) {
        tt_buffer_puts(b, ": the tip was changed or bent");
    } else if (c->tips > 1) {
        tt_buffer_puts(b, ", its runout and radius stayed: it sits otherwise in its seat");
    } else {
        tt_buffer_puts(b,
                       ", its runout and radius stayed: its seat, the head or the camera moved; one tip alone cannot tell which");
    }
}

static void say_mark(struct tt_buffer *b, const struct tt_event_term terms[], const struct tt_trend_change *change)
{
    tt_buffer_puts(b, "the plate's mark moved by ");
    tt_words_shift(b, change->mark_shift.x_mm, change->mark_shift.y_mm, sqrt(terms[TT_OF_MARK].cov.xx),
                   sqrt(terms[TT_OF_MARK].cov.yy));
    if (terms[TT_OF_YAW].there && shows(&terms[TT_OF_YAW])) {
        tt_buffer_puts(b, " and the plate turned by ");
        tt_number_write_fixed(b, tt_deg_from_rad(change->yaw_shift_rad), 3, true);
        tt_buffer_puts(b, "\xc2\xb0");
    }
}

static void say_plate(struct tt_buffer *b, const struct tt_changes *c, const struct tt_event_term terms[],
                      struct tt_trend_change *change)
{
    const char *all = c->tips > 1 ? "all tips moved alike by " : "the offset moved by ";

    change->moved = TT_MOVED_PLATE;
    change->tip = TT_NONE;
    change->cause = "plate";
    if (!change->has_shift) {
        say_mark(b, terms, change);
        tt_buffer_puts(b, ": it was taken off or slipped, or the machine was homed anew; the offsets stayed as they were");
        return;
    }
    tt_buffer_puts(b, all);
    tt_words_shift(b, change->shift.x_mm, change->shift.y_mm, change->u_shift_x_mm, change->u_shift_y_mm);
    if (is_camera(terms)) {
        change->moved = TT_MOVED_ALL_TIPS;
        change->cause = "camera";
        tt_buffer_puts(b, ", and the mark seems to have moved by as much: the camera slipped on the head");
        return;
    }
    tt_buffer_puts(b, ", and ");
    say_mark(b, terms, change);
    tt_buffer_puts(b, ": the plate was moved or is another one, and its edges lie otherwise against its marks");
}

static void say_all(struct tt_buffer *b, const struct tt_changes *c, struct tt_trend_change *change)
{
    change->moved = TT_MOVED_ALL_TIPS;
    change->tip = TT_NONE;
    change->cause = "camera or head";
    tt_buffer_puts(b, c->tips > 1 ? "all tips moved alike by " : "the offset moved by ");
    tt_words_shift(b, change->shift.x_mm, change->shift.y_mm, change->u_shift_x_mm, change->u_shift_y_mm);
    tt_buffer_puts(b, ", and the plate stayed where it was: the camera moved against the tips, or the head that carries them");
}

/* How probable it is that what is said to have moved did, among all that could have. */
static bool weigh(struct tt_changes *c, size_t index, struct tt_trend_change *change)
{
    double *score = TT_ARENA_NEW(c->arena, TT_HYPOTHESES * c->tips, double), best = -HUGE_VAL, own = 0, all = 0;

    if (score == NULL) {
        return false;
    }
    tt_changes_scores(c, index, score);
    for (size_t i = 0; i < TT_HYPOTHESES * c->tips; i++) {
        best = fmax(best, score[i]);
    }
    for (size_t i = 0; i < TT_HYPOTHESES * c->tips; i++) {
        double weight = score[i] > -HUGE_VAL ? exp(0.5 * (score[i] - best)) : 0;
        enum tt_hypothesis what = (enum tt_hypothesis)(i / c->tips);
        bool tip = what == TT_TIP_SEAT || what == TT_TIP_CHANGED, plate = what == TT_PLATE || what == TT_POSE;
        bool same = change->moved == TT_MOVED_TIP ? tip && i % c->tips == change->tip
                    : change->moved == TT_MOVED_PLATE
                        ? plate
                        : what == TT_ALL_TIPS || (what == TT_PLATE && strcmp(change->cause, "camera") == 0);
        all += weight;
        own += same ? weight : 0;
    }
    change->attribution = all > 0 ? own / all : 0;
    return true;
}

static bool name_change(struct tiptrue_trend *trend, struct tt_changes *c, size_t index)
{
    const struct tt_event e = c->events[index];
    struct tt_trend_change *change = &trend->changes[trend->n_changes++];
    struct tt_event_term terms[TT_EVENT_TRACKS];
    struct tt_buffer b = {0};

    *change = (struct tt_trend_change){.after_s = c->run[e.first - 1]->time_s,
                                       .before_s = c->run[e.last]->time_s,
                                       .first_run = (size_t)(c->run[e.from] - c->series->runs),
                                       .confidence = 1 - fmin(exp(e.log_p), 1)};
    tt_changes_tracks(c, index, terms);
    fill_shifts(terms, change);
    switch (e.what) {
    case TT_TIP_SEAT:
    case TT_TIP_CHANGED:
        say_tip(&b, c, &e, terms, change);
        break;
    case TT_PLATE:
    case TT_POSE:
        say_plate(&b, c, terms, change);
        break;
    case TT_ALL_TIPS:
    case TT_HYPOTHESES:
        say_all(&b, c, change);
        break;
    }
    change->text = b.failed ? NULL : tt_arena_copy_text(&trend->arena, b.text, b.length);
    tt_buffer_clear(&b);
    return change->text != NULL && weigh(c, index, change);
}

enum tiptrue_status tt_trend_name_changes(struct tiptrue_trend *trend, struct tt_changes *c)
{
    trend->changes = TT_ARENA_NEW(&trend->arena, c->n_events, struct tt_trend_change);
    if (trend->changes == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < c->n_events; i++) {
        if (c->events[i].to >= c->n && !name_change(trend, c, i)) {
            return TIPTRUE_E_MEMORY;
        }
    }
    return TIPTRUE_OK;
}
