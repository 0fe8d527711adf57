/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A truth as tiptrue.truth/1: what `simulate` reads back exactly. */
#include "config.h"

#include "output/json/json_write.h"
#include "output/output.h"

static void put_xy(struct tt_json *json, const char *key, double x_mm, double y_mm)
{
    tt_json_key(json, key);
    tt_json_open(json, '[');
    tt_json_fixed(json, x_mm);
    tt_json_fixed(json, y_mm);
    tt_json_close(json, ']');
}

static void put_tips(struct tt_json *json, const struct tiptrue_truth *truth)
{
    tt_json_key(json, "tips");
    tt_json_open(json, '[');
    for (size_t i = 0; i < truth->n_tips; i++) {
        const struct tt_truth_tip *tip = &truth->tips[i];
        tt_json_open(json, '{');
        tt_json_key_text(json, "tip", tip->name);
        put_xy(json, "offset", tip->offset.x_mm, tip->offset.y_mm);
        put_xy(json, "runout", tip->runout.x_mm, tip->runout.y_mm);
        tt_json_key_fixed(json, "radius", tip->radius_mm);
        tt_json_key(json, "shape");
        tt_json_open(json, '[');
        for (size_t k = 0; k < tip->n_shape; k++) {
            tt_json_open(json, '{');
            tt_json_key_count(json, "order", tip->shape[k].order);
            tt_json_key_fixed(json, "cos", tip->shape[k].cos_mm);
            tt_json_key_fixed(json, "sin", tip->shape[k].sin_mm);
            tt_json_close(json, '}');
        }
        tt_json_close(json, ']');
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void put_poses(struct tt_json *json, const struct tiptrue_truth *truth)
{
    tt_json_key(json, "poses");
    tt_json_open(json, '[');
    for (size_t i = 0; i < truth->n_poses; i++) {
        tt_json_open(json, '{');
        tt_json_key_text(json, "setup", truth->poses[i].setup);
        put_xy(json, "mark", truth->poses[i].mark.x_mm, truth->poses[i].mark.y_mm);
        tt_json_key_fixed(json, "yaw_deg", tt_deg_from_rad(truth->poses[i].yaw_rad));
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void put_shifts(struct tt_json *json, const char *list, const char *kind,
                       const struct tt_truth_shift shifts[], size_t n)
{
    tt_json_key(json, list);
    tt_json_open(json, '[');
    for (size_t i = 0; i < n; i++) {
        tt_json_open(json, '{');
        tt_json_key_text(json, kind, shifts[i].name);
        put_xy(json, "shift", shifts[i].shift.x_mm, shifts[i].shift.y_mm);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void put_edges(struct tt_json *json, const struct tiptrue_truth *truth)
{
    tt_json_key(json, "edges");
    tt_json_open(json, '[');
    for (size_t i = 0; i < truth->n_edges; i++) {
        tt_json_open(json, '{');
        tt_json_key_text(json, "edge", truth->edges[i].name);
        tt_json_key_fixed(json, "shift", truth->edges[i].shift_mm);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void put_fault(struct tt_json *json, const char *share, const char *depth,
                      const struct tt_truth_fault *fault)
{
    if (fault->share > 0) {
        tt_json_key_fixed(json, share, fault->share);
        put_xy(json, depth, fault->from_mm, fault->to_mm);
    }
}

/* Scatter and what goes on during the run; what was left to the machine file stays so. */
static void put_rest(struct tt_json *json, const struct tiptrue_truth *truth)
{
    tt_json_key(json, "touch");
    tt_json_open(json, '{');
    if (truth->touch_sigma_mm.stated) {
        tt_json_key_fixed(json, "sigma", truth->touch_sigma_mm.value);
    }
    put_fault(json, "late_share", "late_depth", &truth->late);
    put_fault(json, "early_share", "early_depth", &truth->early);
    if (truth->missed_share > 0) {
        tt_json_key_fixed(json, "missed_share", truth->missed_share);
    }
    tt_json_close(json, '}');
    if (truth->sighting_sigma_mm.stated) {
        tt_json_key(json, "sighting");
        tt_json_open(json, '{');
        tt_json_key_fixed(json, "sigma", truth->sighting_sigma_mm.value);
        tt_json_close(json, '}');
    }
    if (truth->rotation_sigma_rad.stated) {
        tt_json_key(json, "rotation");
        tt_json_open(json, '{');
        tt_json_key_fixed(json, "sigma_deg", tt_deg_from_rad(truth->rotation_sigma_rad.value));
        tt_json_close(json, '}');
    }
    if (truth->resolution_mm.stated) {
        tt_json_key_fixed(json, "resolution", truth->resolution_mm.value);
    }
    if (truth->temperature_C.stated) {
        tt_json_key_fixed(json, "temperature_C", truth->temperature_C.value);
    }
    tt_json_key_fixed(json, "lost_motion", truth->lost_motion_mm);
    tt_json_key_fixed(json, "latency_s", truth->latency_s);
    put_xy(json, "drift", truth->drift.x_mm, truth->drift.y_mm);
    tt_json_key(json, "moved");
    tt_json_open(json, '{');
    tt_json_key_fixed(json, "after", truth->moved_after);
    put_xy(json, "by", truth->moved.x_mm, truth->moved.y_mm);
    tt_json_close(json, '}');
}

void tt_output_truth_json(const struct tiptrue_truth *truth, struct tt_buffer *buffer)
{
    struct tt_json json = {.buffer = buffer, .first = true};

    tt_json_open(&json, '{');
    tt_json_key_text(&json, "schema", "tiptrue.truth/1");
    put_poses(&json, truth);
    put_tips(&json, truth);
    put_edges(&json, truth);
    put_shifts(&json, "groups", "group", truth->groups, truth->n_groups);
    put_shifts(&json, "marks", "mark", truth->marks, truth->n_marks);
    put_rest(&json, truth);
    tt_json_close(&json, '}');
}
