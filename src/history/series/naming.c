/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What moved, as codes with values. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "history/series/trend.h"
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
    change->u_runout_shift_x_mm = sqrt(from->runout.xx);
    change->u_runout_shift_y_mm = sqrt(from->runout.yy);
    change->u_mark_shift_x_mm = sqrt(from->mark.xx);
    change->u_mark_shift_y_mm = sqrt(from->mark.yy);
    change->runout_shows = shows(&from->runout, 2);
    change->radius_shows = shows(&from->radius, 1);
    change->yaw_shows = shows(&from->yaw, 1);
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

static void name_tip(const struct tt_change *from, struct tt_trend_change *change)
{
    bool bent = change->runout_shows || change->radius_shows || change->has_height_shift;

    change->moved = TT_MOVED_TIP;
    change->tip = from->who;
    change->code = bent ? TT_CHANGE_TIP_CHANGED : TT_CHANGE_SEAT;
}

/* The offsets of all tips, or of the one there is. */
static void name_all(const struct tt_change *from, bool one, struct tt_trend_change *change)
{
    change->moved = TT_MOVED_ALL_TIPS;
    if (from->plate) {
        change->moved = TT_MOVED_PLATE;
        change->code = TT_CHANGE_PLATE_MOVED;
    } else if (from->what == TT_CAMERA_MARK) {
        change->code = TT_CHANGE_CAMERA;
    } else if (one) {
        change->moved = TT_MOVED_TIP;
        change->tip = 0;
        change->code = TT_CHANGE_SEAT_OR_CAMERA;
    } else {
        change->code = TT_CHANGE_CAMERA_OR_HEAD;
    }
}

static void name_heights(bool one, struct tt_trend_change *change)
{
    change->moved = one ? TT_MOVED_TIP : TT_MOVED_Z_HOME;
    change->tip = one ? 0 : TT_NONE;
    change->code = one ? TT_CHANGE_HEIGHT_OR_Z_HOME : TT_CHANGE_Z_HOME;
}

/* What one change is. */
static void name(const struct tt_changes *c, const struct tt_change *from,
                 struct tt_trend_change *change)
{
    bool one = c->values.tips == 1;

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
        name_tip(from, change);
        break;
    case TT_POSE:
        change->moved = TT_MOVED_PLATE;
        change->code = TT_CHANGE_PLATE_POSE;
        break;
    case TT_ONE_HEIGHT:
        change->moved = TT_MOVED_TIP;
        change->tip = from->who;
        change->code = TT_CHANGE_TIP_HEIGHT;
        break;
    case TT_ALL_HEIGHTS:
        name_heights(one, change);
        break;
    case TT_EDGE:
        change->moved = TT_MOVED_EDGE;
        change->edge = from->who;
        change->code = TT_CHANGE_EDGE_MOVED;
        break;
    case TT_LOST_MOTION:
        change->moved = TT_MOVED_AXES;
        change->code = TT_CHANGE_LOST_MOTION;
        break;
    case TT_CAMERA:
    case TT_CAMERA_MARK:
    case TT_WEAR:
    case TT_PLATE_LEVEL:
    case TT_PLATE_HEIGHT:
        name_all(from, one, change);
        break;
    }
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
        latest->id = tt_arena_copy(&trend->arena, run->id);
    }
    if (latest->differs) {
        name(c, &c->latest.change, &latest->change);
    }
    return run->id == NULL || latest->id != NULL;
}

enum tiptrue_status tt_trend_name_changes(struct tiptrue_trend *trend, const struct tt_changes *c)
{
    trend->changes = TT_ARENA_NEW(&trend->arena, c->n_changes, struct tt_trend_change);
    if (trend->changes == NULL || !name_latest(trend, c)) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < c->n_changes; i++) {
        if (c->change[i].to >= c->values.n) {
            name(c, &c->change[i], &trend->changes[trend->n_changes++]);
        }
    }
    return TIPTRUE_OK;
}
