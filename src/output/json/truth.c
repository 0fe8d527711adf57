/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A truth as tiptrue.truth/1: what `simulate` reads back exactly. */
#include "config.h"

#include "output/json/json_write.h"
#include "output/output.h"

/* The list @key of the @n elements at @from, @size bytes each. */
static void put_list(struct tt_json *json, const char *key, const struct tt_keys *keys,
                     const void *from, size_t n, size_t size)
{
    tt_json_key_open(json, key, '[');
    for (size_t i = 0; i < n; i++) {
        tt_json_open(json, '{');
        tt_json_keys(json, keys, (const char *)from + i * size);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void put_xy(struct tt_json *json, const char *key, double x, double y)
{
    tt_json_key_open(json, key, '{');
    tt_json_key_fixed(json, "x", x);
    tt_json_key_fixed(json, "y", y);
    tt_json_close(json, '}');
}

/* What heights are made from; nothing where the truth says nothing of it. */
static void put_pads(struct tt_json *json, const struct tiptrue_truth *t)
{
    if (t->n_pads > 0) {
        put_list(json, "pads", &tt_truth_pad_keys, t->pads, t->n_pads, sizeof *t->pads);
    }
    if (t->slope_x != 0 || t->slope_y != 0) {
        put_xy(json, "slope_mm_per_m", t->slope_x * 1e3, t->slope_y * 1e3);
    }
    if (t->height_sigma_mm.stated) {
        tt_json_key_open(json, "height", '{');
        tt_json_keys(json, &tt_truth_height_keys, t);
        tt_json_close(json, '}');
    }
}

static void put_tips(struct tt_json *json, const struct tiptrue_truth *truth)
{
    tt_json_key_open(json, "tips", '[');
    for (size_t i = 0; i < truth->n_tips; i++) {
        const struct tt_truth_tip *tip = &truth->tips[i];
        tt_json_open(json, '{');
        tt_json_keys(json, &tt_truth_tip_keys, tip);
        if (tip->face_runout.x_mm != 0 || tip->face_runout.y_mm != 0) {
            put_xy(json, "face_runout", tip->face_runout.x_mm, tip->face_runout.y_mm);
        }
        tt_json_key_open(json, "shape", '[');
        for (size_t k = 0; k < tip->n_shape; k++) {
            tt_json_open(json, '{');
            tt_json_key_count(json, "order", tip->shape[k].order);
            tt_json_keys(json, &tt_truth_shape_keys, &tip->shape[k]);
            tt_json_close(json, '}');
        }
        tt_json_close(json, ']');
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void put_object(struct tt_json *json, const char *key, const struct tt_keys *keys,
                       const struct tiptrue_truth *truth)
{
    tt_json_key_open(json, key, '{');
    tt_json_keys(json, keys, truth);
    tt_json_close(json, '}');
}

/* Nothing where the truth says nothing of it. */
static void put_picture(struct tt_json *json, const struct tt_truth_camera *camera)
{
    if (!camera->stated) {
        return;
    }
    tt_json_key_open(json, "camera", '{');
    tt_json_key_open(json, "scale_mm_per_px", '[');
    tt_json_number(json, camera->scale_mm[0]);
    tt_json_number(json, camera->scale_mm[1]);
    tt_json_close(json, ']');
    tt_json_key_fixed(json, "turn_deg", tt_deg_from_rad(camera->turn_rad));
    tt_json_key_fixed(json, "shear_deg", tt_deg_from_rad(camera->shear_rad));
    tt_json_key_bool(json, "mirrored", camera->mirrored);
    tt_json_key_number(json, "kappa", camera->kappa);
    if (camera->sigma_px.stated) {
        tt_json_key_number(json, "sigma_px", camera->sigma_px.value);
    }
    tt_json_close(json, '}');
}

static void put_axes(struct tt_json *json, const struct tt_truth_axes *axes)
{
    double scale_x_ppm = axes->scale_x * 1e6, scale_y_ppm = axes->scale_y * 1e6,
           square_mm_per_m = axes->square_rad * 1e3;

    if (axes->scale_x != 0 || axes->scale_y != 0 || axes->square_rad != 0) {
        tt_json_key_open(json, "axes", '{');
        tt_json_key_fixed(json, "scale_x_ppm", scale_x_ppm);
        tt_json_key_fixed(json, "scale_y_ppm", scale_y_ppm);
        tt_json_key_fixed(json, "square_mm_per_m", square_mm_per_m);
        tt_json_close(json, '}');
    }
}

void tt_output_truth_json(const struct tiptrue_truth *t, struct tt_buffer *buffer)
{
    struct tt_json json = {.buffer = buffer, .first = true};

    tt_json_open(&json, '{');
    tt_json_key_text(&json, "schema", "tiptrue.truth/1");
    put_list(&json, "poses", &tt_truth_pose_keys, t->poses, t->n_poses, sizeof *t->poses);
    put_tips(&json, t);
    put_list(&json, "edges", &tt_truth_edge_keys, t->edges, t->n_edges, sizeof *t->edges);
    put_list(&json, "groups", &tt_truth_group_keys, t->groups, t->n_groups, sizeof *t->groups);
    put_list(&json, "marks", &tt_truth_mark_keys, t->marks, t->n_marks, sizeof *t->marks);
    put_pads(&json, t);
    put_object(&json, "touch", &tt_truth_touch_keys, t);
    if (t->sighting_sigma_mm.stated) {
        put_object(&json, "sighting", &tt_truth_sighting_keys, t);
    }
    if (t->rotation_sigma_rad.stated) {
        put_object(&json, "rotation", &tt_truth_rotation_keys, t);
    }
    tt_json_keys(&json, &tt_truth_keys, t);
    put_picture(&json, &t->camera);
    put_axes(&json, &t->axes);
    put_object(&json, "moved", &tt_truth_moved_keys, t);
    tt_json_close(&json, '}');
}
