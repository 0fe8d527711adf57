/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a tip is like: how far its offset in use lies from the new one, its runout circle, its shape
 * in polar form. */
#include "config.h"

#include "output/report/pictures.h"

#include <math.h>

#include "base/number.h"
#include "output/report/markup.h"
#include "output/page.h"

#define STEPS (TT_SKETCH_STEPS + 1)

/* A row of a name and two lengths; and of one small length. */
static void tell_lengths(struct tt_picture *picture, const char *name, double x_mm, double y_mm)
{
    tt_picture_row(picture);
    tt_picture_cell(picture, name);
    tt_picture_cell_length(picture, x_mm, 4, false);
    tt_picture_cell_length(picture, y_mm, 4, false);
    tt_picture_row_end(picture);
}

static void tell_small(struct tt_picture *picture, const char *name, double value_mm, int decimals)
{
    tt_picture_row(picture);
    tt_picture_cell(picture, tt_picture_words(picture, "%s", name));
    tt_picture_cell_small(picture, value_mm, decimals, false);
    tt_picture_row_end(picture);
}

/* ---- offset ---- */

#define OFFSET_TOP 28.0
#define OFFSET_SIDE 262.0
#define OFFSET_LEFT 56.0

struct target {
    const struct tt_tip_result *tip;
    struct tt_picture *picture;
    struct tt_scale x, y; /* um from the origin */
    struct tt_machine_xy origin;
    double permitted_um; /* 0 = none stated */
};

static double um_from(double value_mm, double origin_mm)
{
    return 1000 * (value_mm - origin_mm);
}

/* A square that holds all that is to be drawn. */
static void fit_target(struct target *target)
{
    const struct tt_tip_result *tip = target->tip;
    bool x = tip->offset_determined_x, y = tip->offset_determined_y;
    struct tt_extent at_x = {0}, at_y = {0};
    double u_x = 1000 * (x && y ? hypot(tip->region.semi_major_mm * cos(tip->region.angle_rad),
                                        tip->region.semi_minor_mm * sin(tip->region.angle_rad))
                                : tip->expanded_x_mm);
    double u_y = 1000 * (x && y ? hypot(tip->region.semi_major_mm * sin(tip->region.angle_rad),
                                        tip->region.semi_minor_mm * cos(tip->region.angle_rad))
                                : tip->expanded_y_mm);

    if (x) {
        double at = um_from(tip->offset.x_mm, target->origin.x_mm);
        tt_extent_span(&at_x, at - u_x, at + u_x);
    }
    if (y) {
        double at = um_from(tip->offset.y_mm, target->origin.y_mm);
        tt_extent_span(&at_y, at - u_y, at + u_y);
    }
    tt_extent_span(&at_x, -target->permitted_um, target->permitted_um);
    tt_extent_span(&at_y, -target->permitted_um, target->permitted_um);
    double half = 0.54 * fmax(fmax(at_x.high - at_x.low, at_y.high - at_y.low), 4);
    double middle_x = 0.5 * (at_x.low + at_x.high), middle_y = 0.5 * (at_y.low + at_y.high);
    target->x = tt_scale_make((struct tt_span){middle_x - half, middle_x + half, 1, OFFSET_LEFT,
                                               OFFSET_LEFT + OFFSET_SIDE, 5, false,
                                               tt_picture_per_um(target->picture)});
    target->y = tt_scale_make((struct tt_span){middle_y - half, middle_y + half, 1,
                                               OFFSET_TOP + OFFSET_SIDE, OFFSET_TOP, 5, false,
                                               tt_picture_per_um(target->picture)});
}

static void draw_region(const struct target *target, const char *class,
                        const struct tt_region *region)
{
    double scale = 1000 * OFFSET_SIDE / (target->x.high - target->x.low);

    tt_picture_ellipse(
        target->picture, class,
        tt_scale_place(&target->x, um_from(target->tip->offset.x_mm, target->origin.x_mm)),
        tt_scale_place(&target->y, um_from(target->tip->offset.y_mm, target->origin.y_mm)),
        scale * region->semi_major_mm, scale * region->semi_minor_mm, region->angle_rad);
}

/* Only one axis is determined: the offset lies somewhere in a band along the other. */
static void draw_band(const struct target *target)
{
    const struct tt_tip_result *tip = target->tip;
    double left = OFFSET_LEFT, right = OFFSET_LEFT + OFFSET_SIDE, top = OFFSET_TOP,
           bottom = OFFSET_TOP + OFFSET_SIDE;

    if (tip->offset_determined_x) {
        double x_um = um_from(tip->offset.x_mm, target->origin.x_mm),
               u_um = 1000 * tip->expanded_x_mm;
        left = tt_scale_clip(&target->x, x_um - u_um);
        right = tt_scale_clip(&target->x, x_um + u_um);
    } else {
        double y_um = um_from(tip->offset.y_mm, target->origin.y_mm),
               u_um = 1000 * tip->expanded_y_mm;
        bottom = tt_scale_clip(&target->y, y_um - u_um);
        top = tt_scale_clip(&target->y, y_um + u_um);
    }
    tt_markup(&target->picture->svg, "<path class=\"r\" d=\"M@ @H@V@H@z\"/>\n",
              TT_AT(left, top, right, bottom, left));
}

static void mark_offset(const struct target *target, enum tt_shape shape, const char *name,
                        struct tt_machine_xy at)
{
    struct tt_picture *p = target->picture;

    tt_picture_mark(p, shape, tt_scale_place(&target->x, um_from(at.x_mm, target->origin.x_mm)),
                    tt_scale_place(&target->y, um_from(at.y_mm, target->origin.y_mm)));
    tt_picture_say(p, &p->svg, "%s: x %s mm, y %s mm", name,
                   tt_signed_length(p->units, at.x_mm, 4, true).text,
                   tt_signed_length(p->units, at.y_mm, 4, true).text);
    tt_picture_mark_end(p, shape);
    tell_lengths(p, name, at.x_mm, at.y_mm);
}

static void draw_legend(const struct target *target)
{
    struct tt_picture *p = target->picture;
    const struct tt_tip_result *tip = target->tip;
    bool both = tip->offset_determined_x && tip->offset_determined_y;
    double y = OFFSET_TOP + OFFSET_SIDE + 44, x = 8;

    if (both) {
        tt_picture_key(p, TT_MARK_NEW, x, y, "new");
        tt_picture_key_line(p, "r", 8 + 76, y, "95 %, change");
        tt_picture_key_line(p, "R", 8 + 214, y, "95 %, total");
    } else {
        tt_picture_key_line(p, "r", x, y, "95 %; the other axis is not determined");
    }
    y += 16;
    if (tip->has_present) {
        tt_picture_key(p, TT_MARK_PRESENT, x, y, "in use");
        if (target->permitted_um > 0) {
            tt_picture_key_line(p, "l", 8 + 76, y, "permitted error around it");
        }
        y += 16;
    }
    p->height = y - 8;
}

static void draw_origin(const struct target *target)
{
    struct tt_picture *p = target->picture;
    struct tt_fixed x = tt_signed_length(p->units, target->origin.x_mm, 4, true),
                    y = tt_signed_length(p->units, target->origin.y_mm, 4, true);

    tt_picture_text(p, "m", 2, 14, "start", tt_picture_words(p, "y, " TT_UM " from %s mm", y.text),
                    60);
    tt_picture_text(p, "m", OFFSET_LEFT + OFFSET_SIDE, OFFSET_TOP + OFFSET_SIDE + 28, "end",
                    tt_picture_words(p, "x, " TT_UM " from %s mm", x.text), 60);
}

bool tt_can_draw_offset(const struct tt_scene *scene, size_t index)
{
    const struct tt_tip_result *tip = &scene->solution->tips[index];

    return (tip->offset_determined_x && tip->offset_determined_y) ||
           (tip->has_present && (tip->offset_determined_x || tip->offset_determined_y));
}

void tt_draw_offset(const struct tt_scene *scene, size_t index, struct tt_picture *picture)
{
    const struct tt_tip_result *tip = &scene->solution->tips[index];
    const struct tiptrue_solution *s = scene->solution;
    bool both = tip->offset_determined_x && tip->offset_determined_y;
    struct target target = {
        .tip = tip, .picture = picture, .origin = tip->has_present ? tip->present : tip->offset};
    /* a result document does not say the limit; the machine file does */
    double permitted_mm = s->has_permitted_error ? s->permitted_error_mm
                          : scene->machine != NULL && scene->machine->limits.has_permitted_error
                              ? scene->machine->limits.permitted_error_mm
                              : 0;

    target.permitted_um = tip->has_present ? 1000 * permitted_mm : 0;
    fit_target(&target);
    tt_picture_axis_x(picture, &target.x, OFFSET_TOP, OFFSET_TOP + OFFSET_SIDE, true);
    tt_picture_axis_y(picture, &target.y, OFFSET_LEFT, OFFSET_LEFT + OFFSET_SIDE);
    draw_origin(&target);
    tt_picture_columns(picture, "quantity|x, mm|y, mm");
    if (target.permitted_um > 0) {
        double radius = target.permitted_um * OFFSET_SIDE / (target.x.high - target.x.low);
        tt_picture_ellipse(picture, "l", tt_scale_place(&target.x, 0), tt_scale_place(&target.y, 0),
                           radius, radius, 0);
        tell_lengths(picture, "permitted error", permitted_mm, permitted_mm);
    }
    if (both) {
        draw_region(&target, "R", &tip->region);
        draw_region(&target, "r", &tip->same_plate_region);
    } else {
        draw_band(&target);
    }
    if (tip->has_present) {
        mark_offset(&target, TT_MARK_PRESENT, "in use", tip->present);
    }
    if (both) {
        mark_offset(&target, TT_MARK_NEW, "new", tip->offset);
    }
    tell_lengths(picture, "95 %, total, " TT_PLUS_MINUS,
                 tip->offset_determined_x ? tip->expanded_x_mm : NAN,
                 tip->offset_determined_y ? tip->expanded_y_mm : NAN);
    tell_lengths(picture, "95 %, change, " TT_PLUS_MINUS,
                 tip->offset_determined_x ? tip->same_plate_expanded_x_mm : NAN,
                 tip->offset_determined_y ? tip->same_plate_expanded_y_mm : NAN);
    draw_legend(&target);
    tt_markup_named(&picture->title, "Tip ", tip->name, ": offset, new and in use");
    tt_buffer_puts(&picture->desc,
                   both
                       ? "The new offset with its 95 % regions, total and change"
                       : "The band in which the new offset lies, since one axis is not determined");
    tt_buffer_puts(&picture->desc, tip->has_present ? ", and the offset in use" : "");
    tt_buffer_puts(&picture->desc, target.permitted_um > 0
                                       ? " with the circle of the permitted error around it."
                                       : ".");
}

/* ---- polar pictures ---- */

#define CENTRE_X 170.0
#define CENTRE_Y 142.0
#define OUTER 112.0

/* Spokes every 45 degrees, named at their ends, out to @radius. */
static void draw_spokes(struct tt_picture *picture, double radius)
{
    static const char *const NAMES[] = {"0" TT_DEGREE,   "", "90" TT_DEGREE,  "",
                                        "180" TT_DEGREE, "", "270" TT_DEGREE, ""};

    for (size_t i = 0; i < 8; i++) {
        double angle = TT_PI * (double)i / 4;
        tt_picture_line(picture, "g", CENTRE_X, CENTRE_Y, CENTRE_X + radius * cos(angle),
                        CENTRE_Y - radius * sin(angle));
        if (NAMES[i][0] != '\0') {
            tt_picture_text(picture, "m", CENTRE_X + (radius + 6) * cos(angle),
                            CENTRE_Y - (radius + 10) * sin(angle) + 4,
                            i == 0   ? "start"
                            : i == 4 ? "end"
                                     : "middle",
                            NAMES[i], 8);
        }
    }
}

static void draw_circle(struct tt_picture *picture, const char *class, double radius)
{
    tt_buffer_printf(&picture->svg, "<circle class=\"%s\" ", class);
    tt_markup(&picture->svg, "cx=\"@\" cy=\"@\" r=\"@\"/>\n", TT_AT(CENTRE_X, CENTRE_Y, radius));
}

/* A bar of a round length at the left below, with its text. */
static void draw_bar(struct tt_picture *picture, double pixels_per_um, double most)
{
    double per = tt_picture_per_um(picture), um = tt_scale_round_shown(most / pixels_per_um, per),
           shown = um * per, y = CENTRE_Y + OUTER + 26;
    int decimals = shown >= 1 ? 0 : shown >= 0.1 ? 1 : 2;

    tt_markup(&picture->svg, "<path class=\"f\" d=\"M@ @v6m0-3h@m0-3v6\"/>",
              TT_AT(8, y - 7, um * pixels_per_um));
    tt_picture_text(picture, "m", 14 + um * pixels_per_um, y, "start",
                    tt_picture_words(picture, "%s " TT_UM, tt_signed(shown, decimals, false).text),
                    20);
}

/* ---- runout ---- */

static double runout_limit_um(const struct tt_scene *scene)
{
    return scene->machine != NULL && scene->machine->limits.has_runout
               ? 1000 * scene->machine->limits.runout_mm
               : 0;
}

/* Rotations are told apart to a tenth of a degree, as they are shown. */
#define ROTATIONS 3600

/* The tip's centre at each rotation touched, once, however many edges were touched there. */
static void mark_rotations(const struct tt_scene *scene, size_t index, double scale,
                           struct tt_picture *picture)
{
    const struct tiptrue_solution *s = scene->solution;
    const struct tt_tip_result *tip = &s->tips[index];
    double radius = 1000 * tip->eccentricity_mm * scale;
    size_t touches[ROTATIONS] = {0};

    for (size_t i = 0; scene->sketch->has_sense && i < s->n_rows; i++) {
        size_t track = scene->sketch->spots[i].track;
        if (s->rows[i].use == TT_USE && track != TT_NONE &&
            scene->sketch->tracks[track].tip == index) {
            touches[(size_t)(10 * tt_turn_deg(s->rows[i].rotation_rad) + 0.5) % ROTATIONS]++;
        }
    }
    for (size_t k = 0; k < ROTATIONS; k++) {
        if (touches[k] > 0) {
            double theta = tt_rad_from_deg((double)k / 10);
            double angle = tip->runout_angle_rad + (scene->sketch->clockwise ? -theta : theta);
            tt_picture_mark(picture, TT_MARK_USED, CENTRE_X + radius * cos(angle),
                            CENTRE_Y - radius * sin(angle));
            tt_buffer_puts(&picture->svg, tt_signed((double)k / 10, 1, false).text);
            tt_buffer_printf(&picture->svg, TT_DEGREE ": %zu touch%s", touches[k],
                             touches[k] == 1 ? "" : "es");
            tt_picture_mark_end(picture, TT_MARK_USED);
        }
    }
}

bool tt_can_draw_runout(const struct tt_scene *scene, size_t index)
{
    return scene->solution->tips[index].runout_determined;
}

void tt_draw_runout(const struct tt_scene *scene, size_t index, struct tt_picture *picture)
{
    const struct tt_tip_result *tip = &scene->solution->tips[index];
    double e_um = 1000 * tip->eccentricity_mm,
           u_um = 1000 * tip->runout_factor * tip->u_eccentricity_mm;
    double limit_um = runout_limit_um(scene);
    double outer_um = fmax(fmax(e_um + u_um, limit_um), 0.5), scale = OUTER / outer_um;
    double y = CENTRE_Y + OUTER + 26;

    draw_spokes(picture, OUTER);
    draw_circle(picture, "k", scale * e_um);
    draw_circle(picture, "R", scale * (e_um + u_um));
    if (e_um > u_um) {
        draw_circle(picture, "R", scale * (e_um - u_um));
    }
    if (limit_um > 0) {
        draw_circle(picture, "l", scale * limit_um);
    }
    mark_rotations(scene, index, scale, picture);
    tt_picture_line(picture, "e", CENTRE_X, CENTRE_Y,
                    CENTRE_X + scale * e_um * cos(tip->runout_angle_rad),
                    CENTRE_Y - scale * e_um * sin(tip->runout_angle_rad));
    tt_picture_mark(picture, TT_MARK_NEW, CENTRE_X + scale * e_um * cos(tip->runout_angle_rad),
                    CENTRE_Y - scale * e_um * sin(tip->runout_angle_rad));
    tt_buffer_puts(&picture->svg, "centre at rotation 0");
    tt_picture_mark_end(picture, TT_MARK_NEW);
    draw_bar(picture, scale, 60);
    tt_picture_key(picture, TT_MARK_NEW, 138, y, "centre at rotation 0" TT_DEGREE);
    tt_picture_key_line(picture, "k", 8, y + 16, "path of the centre");
    tt_picture_key_line(picture, "R", 178, y + 16, "95 %");
    if (limit_um > 0) {
        tt_picture_key_line(picture, "l", 248, y + 16, "limit");
    }
    picture->height = y + 24;
    tt_markup_named(&picture->title, "Tip ", tip->name, ": runout circle");
    tt_picture_say(
        picture, &picture->desc,
        "The path of the tip's centre around its axis, seen from above: eccentricity %s " TT_UM
        ", full indicator movement %s " TT_UM "; dots are the rotations touched.",
        tt_signed_small(picture->units, tip->eccentricity_mm, 1, false).text,
        tt_signed_small(picture->units, 2 * tip->eccentricity_mm, 1, false).text);
    tt_picture_columns(picture, "quantity|value");
    tell_small(picture, "eccentricity, " TT_UM, tip->eccentricity_mm, 2);
    tell_small(picture, "95 %, " TT_PLUS_MINUS " " TT_UM, 1e-3 * u_um, 2);
    tell_small(picture, "full indicator movement, " TT_UM, 2 * tip->eccentricity_mm, 2);
    tt_picture_row(picture);
    tt_picture_cell(picture, "direction at rotation 0, " TT_DEGREE);
    tt_picture_cell_fixed(picture, tt_deg_from_rad(tip->runout_angle_rad), 1, false);
    tt_picture_row_end(picture);
    if (limit_um > 0) {
        tell_small(picture, "limit, " TT_UM, 1e-3 * limit_um, 1);
    }
}

/* ---- shape ---- */

#define ROUND 66.0 /* of the circle that a round tip would be */
#define LEAST_SHAPE_UM                                                                             \
    1.0 /* that the magnification makes room for: finer is noise of any bench                      \
         */

struct rose {
    const struct tt_scene *scene;
    size_t tip;
    const double *shape_mm;
    struct tt_scale radius; /* um off the round tip */
    struct tt_shapes shapes;
    struct tt_picture *picture;
};

static bool has_direction(const struct rose *rose, size_t row)
{
    const struct tt_spot *spot = &rose->scene->sketch->spots[row];
    size_t track = spot->track;

    return track != TT_NONE && spot->has_swing &&
           rose->scene->sketch->tracks[track].tip == rose->tip &&
           rose->scene->solution->rows[row].use == TT_USE;
}

/* The shape at psi, between the steps. */
static double shape_um(const struct rose *rose, double psi_rad)
{
    double turns = psi_rad / (2 * TT_PI), at = (turns - floor(turns)) * TT_SKETCH_STEPS;
    size_t step = (size_t)fmin(floor(at), TT_SKETCH_STEPS - 1);

    return 1000 * (rose->shape_mm[step] +
                   (at - (double)step) * (rose->shape_mm[step + 1] - rose->shape_mm[step]));
}

/* The tip's radius that a touch speaks for: a larger one stops the head earlier, which is a
 * positive residual. */
static double touch_um(const struct rose *rose, size_t row)
{
    return shape_um(rose, rose->scene->sketch->spots[row].direction_rad) +
           1000 * rose->scene->solution->rows[row].residual_mm;
}

static double rose_reach_um(const struct rose *rose)
{
    double reach_um = LEAST_SHAPE_UM, used_um = 0, all_um = 0;

    for (size_t i = 0; i < STEPS; i++) {
        reach_um = fmax(reach_um, fabs(1000 * rose->shape_mm[i]));
    }
    for (size_t i = 0; i < rose->scene->solution->n_rows; i++) {
        if (has_direction(rose, i)) {
            double off_um = fabs(touch_um(rose, i));
            all_um = fmax(all_um, off_um);
            used_um = rose->scene->solution->rows[i].set_aside ? used_um : fmax(used_um, off_um);
        }
    }
    return fmax(reach_um, fmin(all_um, 2 * fmax(used_um, reach_um)));
}

static void draw_outline(const struct rose *rose)
{
    struct tt_buffer *svg = &rose->picture->svg;

    tt_buffer_puts(svg, "<path class=\"c\" d=\"");
    for (size_t i = 0; i < STEPS; i++) {
        double psi = 2 * TT_PI * (double)i / TT_SKETCH_STEPS;
        double radius = tt_scale_clip(&rose->radius, 1000 * rose->shape_mm[i]);
        tt_buffer_putc(svg, i == 0 ? 'M' : 'L');
        tt_markup(svg, "@ @", TT_AT(CENTRE_X + radius * cos(psi), CENTRE_Y - radius * sin(psi)));
    }
    tt_buffer_puts(svg, "z\"/>\n");
}

static void mark_touches(struct rose *rose)
{
    for (size_t i = 0; i < rose->scene->solution->n_rows; i++) {
        if (!has_direction(rose, i)) {
            continue;
        }
        const struct tt_row_result *row = &rose->scene->solution->rows[i];
        double psi = rose->scene->sketch->spots[i].direction_rad,
               radius = tt_scale_clip(&rose->radius, touch_um(rose, i));
        tt_shapes_add(&rose->shapes, row);
        tt_picture_mark(rose->picture, tt_row_shape(row), CENTRE_X + radius * cos(psi),
                        CENTRE_Y - radius * sin(psi));
        tt_row_tell(rose->picture, row, row->residual_mm);
        tt_picture_mark_end(rose->picture, tt_row_shape(row));
    }
}

/* Rings at round deviations, named along the lower left spoke. */
static void draw_rings(const struct rose *rose)
{
    size_t n;
    double tick = tt_scale_tick(&rose->radius, &n);

    for (size_t i = 0; i < n; i++) {
        double um = tick + (double)i * rose->radius.step,
               radius = tt_scale_place(&rose->radius, um);
        bool zero = fabs(um) < 0.5 * rose->radius.step;
        draw_circle(rose->picture, zero ? "z" : "g", radius);
    }
}

bool tt_can_draw_shape(const struct tt_scene *scene, size_t index)
{
    struct rose rose = {.scene = scene, .tip = index};

    for (size_t i = 0; i < scene->solution->n_rows; i++) {
        if (has_direction(&rose, i)) {
            return true;
        }
    }
    return scene->solution->tips[index].n_shape > 0;
}

void tt_draw_shape(const struct tt_scene *scene, size_t index, struct tt_picture *picture)
{
    const struct tt_tip_result *tip = &scene->solution->tips[index];
    struct rose rose = {.scene = scene,
                        .tip = index,
                        .picture = picture,
                        .shape_mm = scene->sketch->shape_mm + index * STEPS};
    double reach_um = rose_reach_um(&rose), y = CENTRE_Y + OUTER + 26;

    rose.radius = tt_scale_make((struct tt_span){-reach_um, reach_um, 1, 2 * ROUND - OUTER, OUTER,
                                                 4, false, tt_picture_per_um(picture)});
    draw_spokes(picture, OUTER);
    draw_rings(&rose);
    mark_touches(&rose);
    draw_outline(&rose);
    draw_bar(picture, (OUTER - ROUND) / reach_um, 60);
    tt_picture_key_line(picture, "z", 118, y, "round");
    tt_picture_key_line(picture, "c", 198, y, "fitted shape");
    picture->height = tt_shapes_legend(picture, &rose.shapes, y + 16);
    tt_markup_named(&picture->title, "Tip ", tip->name,
                    tip->n_shape > 0 ? ": shape, not round" : ": shape, round");
    tt_buffer_puts(&picture->desc, "Deviation of the tip from a circle, magnified, against the "
                                   "direction of the contact seen in the "
                                   "tip's own frame; the grey circle is a round tip");
    if (tip->radius_determined) {
        tt_picture_say(picture, &picture->desc, " of contact radius %s mm",
                       tt_signed_length(picture->units, tip->contact_radius_mm, 4, false).text);
    }
    tt_buffer_puts(&picture->desc, ".");
    tt_picture_columns(picture,
                       "order|amplitude, " TT_UM "|95 %, \xc2\xb1 " TT_UM "|crest, " TT_DEGREE);
    for (size_t i = 0; i < tip->n_shape; i++) {
        const struct tt_shape_term *term = &tip->shape[i];
        tt_picture_row(picture);
        tt_picture_cell_count(picture, term->order);
        tt_picture_cell_small(picture, term->amplitude_mm, 2, false);
        tt_picture_cell_small(picture, tip->runout_factor * term->u_amplitude_mm, 2, false);
        tt_picture_cell_fixed(picture, tt_deg_from_rad(term->angle_rad), 0, false);
        tt_picture_row_end(picture);
    }
    if (tip->n_shape == 0) {
        tt_picture_row(picture);
        for (size_t i = 0; i < 4; i++) {
            tt_picture_cell(picture, i == 0 ? "none: round" : "");
        }
        tt_picture_row_end(picture);
    }
}
