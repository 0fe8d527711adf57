/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where a tip can touch: candidates of edge, place on the edge, rotation and setup, and what is
 * left out because the tip does not fit.
 *
 * A touch needs room for a disc of the tip's radius and the margin: along the edge, and everywhere
 * on its way from the start, which is the start distance off the edge, to the contact, against
 * every other edge of the plate.
 */
#include "config.h"

#include "planning/design.h"

#include <math.h>

#include "base/buffer.h"
#include "base/number.h"

/* An edge within this of a machine axis is met along it: cos 2 degrees is 1 to 0.06 %. */
#define ALONG_AXIS_RAD (2 * TT_PI / 180)

static double dot(struct tt_plate_xy a, struct tt_plate_xy b)
{
    return a.x_mm * b.x_mm + a.y_mm * b.y_mm;
}

static struct tt_plate_xy less(struct tt_plate_xy a, struct tt_plate_xy b)
{
    return (struct tt_plate_xy){a.x_mm - b.x_mm, a.y_mm - b.y_mm};
}

static double point_to_segment(struct tt_plate_xy p, struct tt_plate_xy from, struct tt_plate_xy to)
{
    struct tt_plate_xy along = less(to, from), v = less(p, from);
    double length2 = dot(along, along),
           t = length2 > 0 ? fmin(fmax(dot(v, along) / length2, 0), 1) : 0;

    return hypot(v.x_mm - t * along.x_mm, v.y_mm - t * along.y_mm);
}

static double side_of(struct tt_plate_xy p, struct tt_plate_xy from, struct tt_plate_xy to)
{
    struct tt_plate_xy along = less(to, from), v = less(p, from);
    return along.x_mm * v.y_mm - along.y_mm * v.x_mm;
}

/* Distance of two segments, 0 where they cross. */
static double segment_distance(struct tt_plate_xy a, struct tt_plate_xy b, struct tt_plate_xy c,
                               struct tt_plate_xy d)
{
    if (side_of(a, c, d) * side_of(b, c, d) < 0 && side_of(c, a, b) * side_of(d, a, b) < 0) {
        return 0;
    }
    return fmin(fmin(point_to_segment(a, c, d), point_to_segment(b, c, d)),
                fmin(point_to_segment(c, a, b), point_to_segment(d, a, b)));
}

/* The other edge that the tip comes closest to on its way to a touch at @at, and how close. */
static double nearest_edge(const struct tiptrue_plate *plate, const struct tt_room *room,
                           size_t edge, struct tt_plate_xy at, size_t *nearest)
{
    const struct tt_edge *own = &plate->edges[edge];
    double far_mm = room->radius_mm + room->start_mm, least = HUGE_VAL;
    struct tt_plate_xy contact = {at.x_mm + room->radius_mm * own->n_x,
                                  at.y_mm + room->radius_mm * own->n_y};
    struct tt_plate_xy start = {at.x_mm + far_mm * own->n_x, at.y_mm + far_mm * own->n_y};

    for (size_t j = 0; j < plate->n_edges; j++) {
        double distance =
            j != edge ? segment_distance(contact, start, plate->edges[j].from, plate->edges[j].to)
                      : HUGE_VAL;
        if (distance < least) {
            least = distance;
            *nearest = j;
        }
    }
    return least;
}

static void add_mm(struct tt_buffer *text, double value_mm)
{
    tt_number_write_rounded(text, value_mm, 3);
    tt_buffer_puts(text, " mm");
}

static void reason_short(const struct tt_room *room, double length_mm, struct tt_buffer *text)
{
    tt_buffer_puts(text, "is ");
    add_mm(text, length_mm);
    tt_buffer_puts(text, " long, and a tip of radius ");
    add_mm(text, room->radius_mm);
    tt_buffer_puts(text, " with a margin of ");
    add_mm(text, room->margin_mm);
    tt_buffer_puts(text, " needs ");
    add_mm(text, 2 * (room->radius_mm + room->margin_mm));
}

static void reason_narrow(const struct tiptrue_plate *plate, const struct tt_room *room,
                          size_t other, double left_mm, struct tt_buffer *text)
{
    tt_buffer_puts(text, "has no place for the tip: between its start, ");
    add_mm(text, room->start_mm);
    tt_buffer_puts(text, " off, and the contact, edge '");
    tt_buffer_puts(text, plate->edges[other].name);
    tt_buffer_puts(text, "' comes within ");
    add_mm(text, left_mm);
    tt_buffer_puts(text, " of its axis, and radius and margin need ");
    add_mm(text, room->radius_mm + room->margin_mm);
}

/* The angle between the edge's normal on the machine and the nearest axis. */
static double off_axis_rad(const struct tt_edge *edge, double yaw_rad)
{
    double angle = atan2(edge->n_y, edge->n_x) + yaw_rad, quarter = TT_PI / 2;
    return fabs(angle - quarter * round(angle / quarter));
}

static bool keep_reason(const char **reason, struct tt_buffer *text, struct tt_arena *arena)
{
    *reason = text->failed ? NULL : tt_arena_copy_text(arena, text->text, text->length);
    tt_buffer_clear(text);
    return *reason != NULL;
}

enum tiptrue_status tt_spots_find(const struct tiptrue_plate *plate, const struct tt_room *room,
                                  size_t places, struct tt_arena *arena, struct tt_spot spots[],
                                  size_t *n_spots, const char *reasons[])
{
    double need_mm = room->radius_mm + room->margin_mm;

    *n_spots = 0;
    for (size_t j = 0; j < plate->n_edges; j++) {
        const struct tt_edge *edge = &plate->edges[j];
        double length_mm = hypot(edge->to.x_mm - edge->from.x_mm, edge->to.y_mm - edge->from.y_mm),
               widest = -1;
        size_t before = *n_spots, other = 0;
        struct tt_buffer text = {0};
        reasons[j] = NULL;
        for (size_t k = 0; k < places && length_mm >= 2 * need_mm && !edge->unused; k++) {
            double share = places > 1 ? (double)k / (double)(places - 1) : 0.5;
            double t = (need_mm + share * (length_mm - 2 * need_mm)) / length_mm;
            struct tt_plate_xy at = {edge->from.x_mm + t * (edge->to.x_mm - edge->from.x_mm),
                                     edge->from.y_mm + t * (edge->to.y_mm - edge->from.y_mm)};
            size_t nearest = 0;
            double free_mm = nearest_edge(plate, room, j, at, &nearest);
            if (free_mm >= need_mm) {
                spots[(*n_spots)++] = (struct tt_spot){.edge = j, .at = at, .share = share};
            } else if (free_mm > widest) {
                widest = free_mm;
                other = nearest;
            }
        }
        if (edge->unused) {
            tt_buffer_puts(&text, "is put out of use in the plate file");
        } else if (room->along_axes && off_axis_rad(edge, room->yaw_rad) > ALONG_AXIS_RAD) {
            *n_spots = before;
            tt_buffer_puts(
                &text,
                "is not parallel to a machine axis; this machine probes along its axes only");
        } else if (length_mm < 2 * need_mm) {
            reason_short(room, length_mm, &text);
        } else if (*n_spots == before) {
            reason_narrow(plate, room, other, widest, &text);
        } else {
            continue;
        }
        if (!keep_reason(&reasons[j], &text, arena)) {
            return TIPTRUE_E_MEMORY;
        }
    }
    return TIPTRUE_OK;
}
