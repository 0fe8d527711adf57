/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The plate as it lies against the machine's XY plane, seen obliquely, its tilt enlarged, and
 * more so how far each pad is off: which way the plate slopes, by how much, and which pad is bad.
 */
#include "config.h"

#include "base/named.h"
#include "output/report/pictures.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "output/page.h"

#define LEFT 62.0
#define RIGHT 274.0
#define TOP 40.0
#define LEAN 0.35     /* of y to the right */
#define SHRINK 0.5    /* of y upwards */
#define TALL 56.0     /* of the largest height that is drawn */
#define OFF_TALL 18.0 /* of the pad that is off most */
#define LEAST_UM 2.0
#define MOST_KEYS 12
#define GAP 2.0

/* A place along machine x and y from the reference mark, mm, and the height there, um. */
struct point {
    double x, y, z;
};

struct view {
    const struct tt_scene *scene;
    const struct tt_surface_result *surface;
    struct tt_picture *picture;
    struct point corner[4];
    double left_mm, low_mm, per_mm; /* of the oblique view: its edges, and its pixels per mm */
    double bottom, per_um, off_per_um;
    struct {
        double left, top, right, bottom;
    } taken[4 + MOST_KEYS]; /* by texts */
    size_t n_taken;
};

static const struct tt_pose_result *pose_of(const struct tt_scene *scene, size_t k)
{
    const struct tiptrue_solution *s = scene->solution;
    const char *setup = s->surface[k].setup;

    for (size_t i = 0; i < s->n_poses; i++) {
        const char *other = s->poses[i].setup;
        if (s->n_poses == 1 || other == setup ||
            (other != NULL && setup != NULL && strcmp(other, setup) == 0)) {
            return &s->poses[i];
        }
    }
    return NULL;
}

static struct point lie(const struct view *view, const struct tt_pose_result *pose,
                        struct tt_plate_xy at)
{
    double c = cos(pose->yaw_rad), s = sin(pose->yaw_rad);
    struct point point = {c * at.x_mm - s * at.y_mm, s * at.x_mm + c * at.y_mm, 0};

    if (view->surface->slope_determined) {
        point.z = 1000 * (view->surface->slope_x * point.x + view->surface->slope_y * point.y);
    }
    return point;
}

static const struct tt_pad *find_pad(const struct tiptrue_plate *plate, const char *name)
{
    size_t i = TT_NAMED(plate->pads, plate->n_pads, name);

    return i < plate->n_pads && plate->pads[i].has_at ? &plate->pads[i] : NULL;
}

static double place_x(const struct view *view, struct point p)
{
    return LEFT + view->per_mm * (p.x + LEAN * p.y - view->left_mm);
}

static double place_y(const struct view *view, struct point p, double z_um)
{
    return view->bottom - view->per_mm * SHRINK * (p.y - view->low_mm) - view->per_um * z_um;
}

/* The plate's corners: around all that has a place on it. */
static void find_corners(struct view *view, const struct tt_pose_result *pose)
{
    struct tt_extent x = {0}, y = {0};

    tt_plate_extent(view->scene->plate, true, &x, &y);
    double border = fmax(0.06 * fmax(x.high - x.low, y.high - y.low), 0.5);
    struct tt_plate_xy corners[] = {{x.low - border, y.low - border},
                                    {x.high + border, y.low - border},
                                    {x.high + border, y.high + border},
                                    {x.low - border, y.high + border}};
    for (size_t i = 0; i < 4; i++) {
        view->corner[i] = lie(view, pose, corners[i]);
    }
}

/* How far its touches found the pad above its stated height over the plane: what is taken for its
 * own error, and what is left. */
static double off_um(const struct tt_pad_result *pad)
{
    return pad->used > 0 ? 1000 * (pad->shift_mm + pad->mean_residual_mm) : 0;
}

static void set_scales(struct view *view)
{
    struct tt_extent across = {0}, deep = {0};
    double z_um = LEAST_UM, off = LEAST_UM, high = 0, low = 0;

    for (size_t i = 0; i < 4; i++) {
        tt_extent_add(&across, view->corner[i].x + LEAN * view->corner[i].y);
        tt_extent_add(&deep, view->corner[i].y);
        z_um = fmax(z_um, fabs(view->corner[i].z));
    }
    for (size_t i = 0; i < view->surface->n_pads; i++) {
        off = fmax(off, fabs(off_um(&view->surface->pads[i])));
    }
    view->left_mm = across.low;
    view->low_mm = deep.low;
    view->per_mm = (RIGHT - LEFT) / (across.high - across.low);
    view->per_um = TALL / z_um;
    view->off_per_um = OFF_TALL / off;
    for (size_t i = 0; i < 4; i++) {
        for (int lies = 0; lies < 2; lies++) { /* level, and as it lies */
            double y = place_y(view, view->corner[i], lies ? view->corner[i].z : 0);
            high = fmin(high, y);
            low = fmax(low, y);
        }
    }
    view->bottom = TOP - high;
    view->picture->height = view->bottom + low;
}

/* @text beside (@x, @y) where no other stands, to the right first or to the left; left out where
 * there is no such place: the table has it. */
static void put_text(struct view *view, double x, double y, const char *text, bool to_the_left)
{
    const double side = to_the_left ? -1 : 1, ASIDE[][2] = {{side, 0}, {-side, 0}, {0, -1}, {0, 1}};
    double width = tt_picture_text_width(text);

    for (size_t k = 0; k < 4; k++) {
        double middle = x + ASIDE[k][0] * (width / 2 + 7), base = y + 4 + ASIDE[k][1] * 12;
        bool is_free = middle - width / 2 > GAP && middle + width / 2 < TT_PICTURE_WIDTH - GAP;
        for (size_t i = 0; i < view->n_taken; i++) {
            is_free =
                is_free && (middle - width / 2 > view->taken[i].right + GAP ||
                            middle + width / 2 < view->taken[i].left - GAP ||
                            base - 11 > view->taken[i].bottom || base + 3 < view->taken[i].top);
        }
        if (is_free && view->n_taken < sizeof view->taken / sizeof view->taken[0]) {
            view->taken[view->n_taken].left = middle - width / 2;
            view->taken[view->n_taken].right = middle + width / 2;
            view->taken[view->n_taken].top = base - 11;
            view->taken[view->n_taken++].bottom = base + 3;
            tt_picture_text(view->picture, "m", middle, base, "middle", text, 40);
            return;
        }
    }
}

/* How many times larger heights are drawn than lengths along the plate, to two digits. */
static double times_enlarged(const struct view *view, double per_um)
{
    double times = 1000 * per_um / view->per_mm, unit = pow(10, floor(log10(times)) - 1);

    return unit * round(times / unit);
}

static struct tt_fixed corner_height(const struct view *view, size_t i)
{
    return tt_signed_small(view->picture->units, 1e-3 * view->corner[i].z, 0, true);
}

static void draw_outline(struct view *view)
{
    for (size_t i = 0; i < 4; i++) {
        struct point a = view->corner[i], b = view->corner[(i + 1) % 4];
        tt_picture_line(view->picture, "d", place_x(view, a), place_y(view, a, 0), place_x(view, b),
                        place_y(view, b, 0));
        if (view->surface->slope_determined) {
            tt_picture_line(view->picture, "e", place_x(view, a), place_y(view, a, a.z),
                            place_x(view, b), place_y(view, b, b.z));
            tt_picture_line(view->picture, "h", place_x(view, a), place_y(view, a, 0),
                            place_x(view, a), place_y(view, a, a.z));
        }
    }
    for (size_t i = 0; i < 4 && view->surface->slope_determined; i++) {
        struct point a = view->corner[i];
        put_text(view, place_x(view, a), place_y(view, a, a.z),
                 tt_picture_words(view->picture, "%s " TT_UM, corner_height(view, i).text),
                 i % 3 == 0);
    }
}

static void draw_pad(struct view *view, const struct tt_pose_result *pose, size_t i)
{
    const struct tt_pad_result *pad = &view->surface->pads[i];
    const struct tt_pad *stated = find_pad(view->scene->plate, pad->name);
    double off = off_um(pad);
    enum tt_shape shape = pad->used > 0 ? TT_MARK_USED : TT_MARK_ASIDE;
    char number[24];

    if (stated == NULL) {
        return;
    }
    struct point at = lie(view, pose, stated->at);
    double x = place_x(view, at), y = place_y(view, at, at.z), end = y - view->off_per_um * off;
    tt_picture_line(view->picture, "k", x, y, x, end);
    tt_picture_line(view->picture, "z", x - 4, y, x + 4, y);
    tt_picture_mark(view->picture, shape, x, end);
    tt_markup_named(&view->picture->svg, "pad ", pad->name, ", ");
    if (pad->used > 0) {
        tt_picture_say(view->picture, &view->picture->svg, "%s " TT_UM,
                       tt_signed_small(view->picture->units, 1e-3 * off, 1, true).text);
    } else {
        tt_buffer_puts(&view->picture->svg, "left out");
    }
    tt_picture_mark_end(view->picture, shape);
    snprintf(number, sizeof number, "%zu", i + 1);
    put_text(view, x, end, number, false);
}

/* The pads by their numbers, under the picture. */
static void draw_keys(struct view *view)
{
    struct tt_picture *p = view->picture;
    char text[48];
    double y = p->height + 30;
    double x = tt_picture_key_line(p, "d", TT_KEYS_LEFT, y, "level");

    x = view->surface->slope_determined ? tt_picture_key_line(p, "e", x, y, "plate") : x;
    snprintf(text, sizeof text, "off its height, %.0f times",
             times_enlarged(view, view->off_per_um));
    tt_picture_key(p, TT_MARK_USED, x, y, text);
    for (size_t i = 0; i < view->surface->n_pads && i < MOST_KEYS; i++) {
        char number[24];
        x = i % 3 == 0 ? TT_KEYS_LEFT : x;
        y += i % 3 == 0 ? 16 : 0;
        snprintf(number, sizeof number, "%zu", i + 1);
        tt_picture_text(p, "m", x, y, "start", number, 4);
        tt_picture_text(p, "t", x + 18, y, "start", view->surface->pads[i].name, 10);
        x += 110;
    }
    p->height = y + 8;
}

static void write_table(struct view *view)
{
    struct tt_picture *p = view->picture;

    tt_picture_columns(p, "number|pad|touches|used|mean residual, " TT_UM
                          "|above its stated height, " TT_UM);
    for (size_t i = 0; i < view->surface->n_pads; i++) {
        const struct tt_pad_result *pad = &view->surface->pads[i];
        tt_picture_row(p);
        tt_picture_cell_count(p, i + 1);
        tt_picture_cell(p, pad->name);
        tt_picture_cell_count(p, pad->touches);
        tt_picture_cell_count(p, pad->used);
        tt_picture_cell_small(p, pad->mean_residual_mm + (pad->used > 0 ? 0 : NAN), 1, true);
        tt_picture_cell_small(p, pad->shift_mm, 1, true);
        tt_picture_row_end(p);
    }
}

static void write_words(struct view *view)
{
    struct tt_buffer *title = &view->picture->title, *desc = &view->picture->desc;

    tt_buffer_puts(title, "Tilt of the plate");
    if (view->scene->solution->n_surface > 1) {
        tt_markup_named(title, ", setup ", view->surface->setup != NULL ? view->surface->setup : "",
                        "");
    }
    tt_buffer_printf(title, ", heights %.0f times", times_enlarged(view, view->per_um));
    tt_buffer_printf(desc,
                     "The plate seen obliquely, machine x to the right, y to the rear, against a "
                     "level plane through the reference mark, with %zu pads, each moved up or down "
                     "by how far it was found off its stated height. ",
                     view->surface->n_pads);
    if (!view->surface->slope_determined) {
        tt_buffer_puts(desc, "The slope is not determined.");
        return;
    }
    tt_buffer_puts(desc, "Heights at the corners: ");
    for (size_t i = 0; i < 4; i++) {
        static const char *const CORNERS[] = {"front left ", ", front right ", ", rear right ",
                                              ", rear left "};
        tt_buffer_printf(desc, "%s%s", CORNERS[i], corner_height(view, i).text);
    }
    tt_picture_say(view->picture, desc, " " TT_UM ".");
}

bool tt_can_draw_surface(const struct tt_scene *scene, size_t k)
{
    const struct tt_surface_result *surface = &scene->solution->surface[k];
    const struct tt_pose_result *pose = pose_of(scene, k);
    bool any = false;

    for (size_t i = 0; scene->plate != NULL && i < surface->n_pads; i++) {
        any = any || find_pad(scene->plate, surface->pads[i].name) != NULL;
    }
    return any && pose != NULL && pose->yaw_determined;
}

void tt_draw_surface(const struct tt_scene *scene, size_t k, struct tt_picture *picture)
{
    const struct tt_pose_result *pose = pose_of(scene, k);
    struct view view = {
        .scene = scene, .surface = &scene->solution->surface[k], .picture = picture};

    find_corners(&view, pose);
    set_scales(&view);
    draw_outline(&view);
    for (size_t i = 0; i < view.surface->n_pads; i++) {
        draw_pad(&view, pose, i);
    }
    tt_picture_text(picture, "m", 2, 12, "start",
                    "machine x to the right, y to the rear, height upwards", 60);
    write_words(&view);
    draw_keys(&view);
    write_table(&view);
}
