/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What moved, in words, and what to do about it. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "base/buffer.h"
#include "base/number.h"
#include "history/series/trend.h"
#include "history/series/words.h"
#include "base/distribution.h"

/* A quantity is named as changed when its change is rarer than this by chance. */
#define NAMED_ALPHA 0.01

static bool shows(const struct tt_moved_by *m, unsigned axes)
{
    if (!m->there) {
        return false;
    }
    double det = m->xx * m->yy - m->xy * m->xy;
    double chi2 = axes == 1
                      ? m->x * m->x / m->xx
                      : (m->yy * m->x * m->x - 2 * m->xy * m->x * m->y + m->xx * m->y * m->y) / det;

    return tt_chi2_upper(chi2, axes) < NAMED_ALPHA;
}

static void fill_shifts(const struct tt_change *from, struct tt_trend_change *change)
{
    change->has_shift = from->offset.there;
    change->shift = (struct tt_machine_xy){from->offset.x, from->offset.y};
    change->u_shift_x_mm = sqrt(from->offset.xx);
    change->u_shift_y_mm = sqrt(from->offset.yy);
    change->has_runout_shift = from->runout.there;
    change->runout_shift = (struct tt_tip_xy){from->runout.x, from->runout.y};
    change->has_radius_shift = from->radius.there;
    change->radius_shift_mm = from->radius.x;
    change->u_radius_shift_mm = sqrt(from->radius.xx);
    change->has_pose_shift = from->mark.there;
    change->mark_shift = (struct tt_machine_xy){from->mark.x, from->mark.y};
    change->yaw_shift_rad = from->yaw.x;
    change->has_height_shift = from->height.there;
    change->height_shift_mm = from->height.x;
    change->u_height_shift_mm = sqrt(from->height.xx);
    change->edge_shift_mm = from->edge.x;
    change->u_edge_shift_mm = sqrt(from->edge.xx);
}

static void say_pair(struct tt_buffer *b, const struct tt_moved_by *m)
{
    tt_words_shift(b, m->x, m->y, sqrt(m->xx), sqrt(m->yy));
}

static void say_tip(struct tt_buffer *b, const struct tt_changes *c, const struct tt_change *from,
                    struct tt_trend_change *change)
{
    bool runout = shows(&from->runout, 2), radius = shows(&from->radius, 1),
         bent = runout || radius || from->height.there;

    change->moved = TT_MOVED_TIP;
    change->tip = from->who;
    change->code = bent ? "tip-changed" : "seat";
    change->cause = bent ? "tip changed or bent" : "seat of the tip";
    tt_buffer_printf(b, "the offset of %s moved by ", c->values.series->tip_names[from->who]);
    say_pair(b, &from->offset);
    if (runout) {
        tt_buffer_puts(b, ", its runout by ");
        say_pair(b, &from->runout);
    }
    if (radius) {
        tt_buffer_puts(b, ", its contact radius by ");
        tt_words_um_pm(b, change->radius_shift_mm, change->u_radius_shift_mm);
        tt_buffer_puts(b, " \xc2\xb5m");
    }
    if (from->height.there) {
        tt_buffer_puts(b, ", its height by ");
        tt_words_um_pm(b, change->height_shift_mm, change->u_height_shift_mm);
        tt_buffer_puts(b, " \xc2\xb5m");
    }
    tt_buffer_puts(b, bent ? ": the tip was changed or bent; update its offset, and look at the "
                             "tip if nobody changed it"
                           : ", its runout and radius stayed: it sits differently in its holder; "
                             "seat it firmly, then update its "
                             "offset");
}

static void say_mark(struct tt_buffer *b, const struct tt_change *from)
{
    tt_buffer_puts(b, "the plate's mark moved by ");
    say_pair(b, &from->mark);
    if (shows(&from->yaw, 1)) {
        tt_buffer_puts(b, " and the plate turned by ");
        tt_number_write_fixed(b, tt_deg_from_rad(from->yaw.x), 3, true);
        tt_buffer_puts(b, "\xc2\xb0");
    }
}

static void say_pose(struct tt_buffer *b, const struct tt_change *from,
                     struct tt_trend_change *change)
{
    change->moved = TT_MOVED_PLATE;
    change->code = "plate-pose";
    change->cause = "plate";
    say_mark(b, from);
    tt_buffer_puts(b, ": it was taken off or slipped, or the machine was re-homed; the offsets "
                      "stayed as they were, nothing to do");
}

static void say_offsets(struct tt_buffer *b, const struct tt_changes *c,
                        const struct tt_change *from)
{
    tt_buffer_puts(b, c->values.tips > 1 ? "all tips moved by the same amount, "
                                         : "the offset moved by ");
    say_pair(b, &from->offset);
}

static void say_all(struct tt_buffer *b, const struct tt_changes *c, const struct tt_change *from,
                    struct tt_trend_change *change)
{
    bool one = c->values.tips == 1;

    change->moved = TT_MOVED_ALL_TIPS;
    say_offsets(b, c, from);
    if (from->plate) {
        change->moved = TT_MOVED_PLATE;
        change->code = "plate-moved";
        change->cause = "plate";
        tt_buffer_puts(b, ", and ");
        say_mark(b, from);
        tt_buffer_puts(b, ": the plate was moved or exchanged and its edges lie differently "
                          "against its marks, or the camera moved "
                          "at the same time; check the plate, then repeat the run");
    } else if (from->what == TT_CAMERA_MARK) {
        change->code = change->cause = "camera";
        tt_buffer_puts(b, ", and the mark seems to have moved by as much: the camera slipped on "
                          "the head; tighten its mount, then "
                          "update all tips");
    } else if (one) {
        change->moved = TT_MOVED_TIP;
        change->tip = 0;
        change->code = "seat-or-camera";
        change->cause = "seat of the tip, head or camera";
        tt_buffer_puts(b, ", its runout and radius stayed: its holder, the head or the camera "
                          "moved; one tip alone cannot show "
                          "which; check all three, then update its offset");
    } else {
        change->code = "camera-or-head";
        change->cause = "camera or head";
        tt_buffer_puts(b, ", and the plate stayed where it was: the camera moved against the tips, "
                          "or the head that carries them; "
                          "tighten the camera's mount, then update all tips");
    }
}

/* Heights count upwards: a tip that became shorter reaches the plate with the head further down. */
static void say_height(struct tt_buffer *b, const struct tt_changes *c,
                       const struct tt_change *from, struct tt_trend_change *change)
{
    bool shorter = from->height.x < 0;

    change->moved = TT_MOVED_TIP;
    change->tip = from->who;
    change->code = "tip-height";
    change->cause = shorter ? "tip shorter: worn, chipped or pushed up"
                            : "tip longer: slipped down, or dirt on its end";
    tt_buffer_printf(b, "the height of %s moved by ", c->values.series->tip_names[from->who]);
    tt_words_um_pm(b, change->height_shift_mm, change->u_height_shift_mm);
    tt_buffer_puts(b, shorter
                          ? " \xc2\xb5m, the other tips' and its offset stayed: it is shorter, "
                            "worn, chipped or pushed up in its holder; look at it, then update "
                            "its height"
                          : " \xc2\xb5m, the other tips' and its offset stayed: it reaches further "
                            "down, slipped in its holder or with dirt on its end; look at it, "
                            "then update its height");
}

static void say_heights(struct tt_buffer *b, const struct tt_changes *c,
                        struct tt_trend_change *change)
{
    bool one = c->values.tips == 1;

    change->moved = one ? TT_MOVED_TIP : TT_MOVED_Z_HOME;
    change->tip = one ? 0 : TT_NONE;
    change->code = one ? "height-or-z-home" : "z-home";
    change->cause = one ? "Z home, the plate's seat or the tip" : "Z home or the plate's seat";
    tt_buffer_puts(b, one ? "the height moved by " : "the heights of all tips moved by ");
    tt_words_um_pm(b, change->height_shift_mm, change->u_height_shift_mm);
    tt_buffer_puts(b,
                   one ? " \xc2\xb5m: Z was homed elsewhere, the plate lies higher or lower, or "
                         "the tip is longer or shorter; one tip alone cannot show which; check "
                         "all three, then update its height"
                       : " \xc2\xb5m, by the same: Z was homed elsewhere, or the plate lies higher "
                         "or lower on its seat; clean the seat and home Z again, then update "
                         "all heights");
}

static void say_edge(struct tt_buffer *b, const struct tt_changes *c, const struct tt_change *from,
                     struct tt_trend_change *change)
{
    bool further_in = from->edge.x < 0;

    change->moved = TT_MOVED_EDGE;
    change->edge = from->who;
    change->code = "edge-moved";
    change->cause = further_in ? "film on the edge, or the edge bent" : "edge cleaned, or bent";
    tt_buffer_printf(b, "edge %s lies ", c->values.series->edge_names[from->who]);
    tt_number_write_fixed(b, 1e3 * fabs(from->edge.x), sqrt(from->edge.xx) < 0.0095 ? 1 : 0, false);
    tt_buffer_puts(b, further_in
                          ? " \xc2\xb5m further in: a film, clean it; or it is bent"
                          : " \xc2\xb5m further out: a film came off, or it is bent; look at it");
}

/* Name one change, in the trend's arena. */
static bool name(struct tiptrue_trend *trend, const struct tt_changes *c,
                 const struct tt_change *from, struct tt_trend_change *change)
{
    struct tt_buffer b = {0};

    *change = (struct tt_trend_change){
        .after_s = c->values.run[from->first - 1]->time_s,
        .before_s = c->values.run[from->last]->time_s,
        .first_run = (size_t)(c->values.run[from->from] - c->values.series->runs),
        .tip = TT_NONE,
        .edge = TT_NONE,
        .confidence = 1 - fmin(exp(from->log_p), 1),
        .attribution = from->weight,
        .drift_alike = from->drift_alike};
    fill_shifts(from, change);
    switch (from->what) {
    case TT_SEAT:
    case TT_CHANGED:
        say_tip(&b, c, from, change);
        break;
    case TT_POSE:
        say_pose(&b, from, change);
        break;
    case TT_ONE_HEIGHT:
        say_height(&b, c, from, change);
        break;
    case TT_ALL_HEIGHTS:
        say_heights(&b, c, change);
        break;
    case TT_EDGE:
        say_edge(&b, c, from, change);
        break;
    case TT_CAMERA:
    case TT_CAMERA_MARK:
    case TT_WEAR:
    case TT_PLATE_LEVEL:
    case TT_PLATE_HEIGHT:
        say_all(&b, c, from, change);
        break;
    }
    if (from->drift_alike) {
        tt_buffer_puts(&b, " (a drift over these weeks would explain the runs about as well)");
    }
    change->text = b.failed ? NULL : tt_arena_copy_text(&trend->arena, b.text, b.length);
    tt_buffer_clear(&b);
    return change->text != NULL;
}

static bool name_latest(struct tiptrue_trend *trend, const struct tt_changes *c)
{
    const struct tt_series_run *run = c->values.run[c->values.n - 1];
    struct tt_trend_latest *latest = &trend->latest;

    *latest = (struct tt_trend_latest){.judged = c->latest.judged,
                                       .differs = c->latest.differs,
                                       .run = (size_t)(run - c->values.series->runs),
                                       .time_s = run->time_s};
    if (run->id != NULL) {
        latest->id = tt_arena_copy_text(&trend->arena, run->id, strlen(run->id));
    }
    return (run->id == NULL || latest->id != NULL) &&
           (!latest->differs || name(trend, c, &c->latest.change, &latest->change));
}

enum tiptrue_status tt_trend_name_changes(struct tiptrue_trend *trend, const struct tt_changes *c)
{
    trend->changes = TT_ARENA_NEW(&trend->arena, c->n_changes, struct tt_trend_change);
    if (trend->changes == NULL || !name_latest(trend, c)) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < c->n_changes; i++) {
        if (c->change[i].to >= c->values.n &&
            !name(trend, c, &c->change[i], &trend->changes[trend->n_changes++])) {
            return TIPTRUE_E_MEMORY;
        }
    }
    return TIPTRUE_OK;
}
