/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The pictures of a run, each drawn from a scene into an empty picture. Lengths in them are
 * micrometres where people think so, and become the picture's units where they are shown. */
#ifndef TT_OUTPUT_REPORT_PICTURES_H
#define TT_OUTPUT_REPORT_PICTURES_H

#include "model/machine.h"
#include "model/placement.h"
#include "model/plate.h"
#include "model/sketch.h"
#include "model/solution.h"
#include "model/weeks.h"
#include "output/report/picture.h"

/* What there is to draw from. @plate and @machine may be NULL. Of pictures that there is one of,
 * the number @only says nothing: it is there for a table of all kinds. */
struct tt_scene {
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    const struct tiptrue_solution *solution;
    const struct tt_sketch *sketch;
    size_t number; /* of the run on its page, from 1: part of the pictures' names */
};

/* The plate to scale in one setup, with the touches and their residuals. Needs the plate and the
 * touches' places. */
bool tt_can_draw_plate(const struct tt_scene *scene, size_t setup);
void tt_draw_plate(const struct tt_scene *scene, size_t setup, struct tt_picture *picture);

/* The plate alone, as it is understood before any run: with pads, and on each edge the way of a tip
 * from its free side. */
void tt_draw_bare_plate(const struct tiptrue_plate *plate, struct tt_picture *picture);
/* What marks, edges and (@pads) pads take of the plate's frame, mm: added to @x and @y. */
void tt_plate_extent(const struct tiptrue_plate *plate, bool pads, struct tt_extent *x,
                     struct tt_extent *y);

/* Residuals in the order of the log, a lane for each edge and for the sightings, with a movement or
 * drift found. Needs rows. */
bool tt_can_draw_order(const struct tt_scene *scene, size_t only);
void tt_draw_order(const struct tt_scene *scene, size_t only, struct tt_picture *picture);

/* Contact against rotation with the fitted curve, residuals beneath. Without plate and machine the
 * residuals alone. */
void tt_draw_track(const struct tt_scene *scene, size_t track, struct tt_picture *picture);

/* The plate's tilt in one setup with touches from above, a member of the solution's surface. Needs
 * the plate, with the places of pads. */
bool tt_can_draw_surface(const struct tt_scene *scene, size_t surface);
void tt_draw_surface(const struct tt_scene *scene, size_t surface, struct tt_picture *picture);

/* The camera's picture with the views' residuals. Needs the machine, and the log of the run. */
bool tt_can_draw_views(const struct tt_scene *scene, size_t only);
void tt_draw_views(const struct tt_scene *scene, size_t only, struct tt_picture *picture);

/* Three marks or more on the plate, with how far from their places they were seen, with and without
 * the errors of the axes. Needs plate, machine and log. */
bool tt_can_draw_marks(const struct tt_scene *scene, size_t only);
void tt_draw_marks(const struct tt_scene *scene, size_t only, struct tt_picture *picture);

/* Of one tip of the solution. */
bool tt_can_draw_height(const struct tt_scene *scene, size_t tip);
void tt_draw_height(const struct tt_scene *scene, size_t tip, struct tt_picture *picture);
bool tt_can_draw_offset(const struct tt_scene *scene, size_t tip);
void tt_draw_offset(const struct tt_scene *scene, size_t tip, struct tt_picture *picture);
bool tt_can_draw_runout(const struct tt_scene *scene, size_t tip);
void tt_draw_runout(const struct tt_scene *scene, size_t tip, struct tt_picture *picture);
bool tt_can_draw_shape(const struct tt_scene *scene, size_t tip);
void tt_draw_shape(const struct tt_scene *scene, size_t tip, struct tt_picture *picture);
bool tt_can_draw_budget(const struct tt_scene *scene, size_t tip);
void tt_draw_budget(const struct tt_scene *scene, size_t tip, struct tt_picture *picture);

/* The parts of a board as arrows, and around a dial of their rotations, of one tip or (the board,
 * TT_NONE) of all; and against the distance from their middle. */
void tt_draw_board(const struct tiptrue_placement *placement, size_t tip,
                   struct tt_picture *picture);
void tt_draw_board_dial(const struct tiptrue_placement *placement, size_t tip,
                        struct tt_picture *picture);
void tt_draw_board_distance(const struct tiptrue_placement *placement, struct tt_picture *picture);

/* One quantity of a machine over the weeks. */
bool tt_can_draw_weeks(const struct tt_weeks *weeks, enum tt_weeks_quantity quantity);
void tt_draw_weeks(const struct tt_weeks *weeks, enum tt_weeks_quantity quantity,
                   const struct tiptrue_zone *zone, struct tt_picture *picture);
/* Grid lines at midnight of @zone between @top and @bottom, some five of them, with dates below. */
void tt_draw_days(struct tt_picture *picture, const struct tt_scale *time,
                  const struct tiptrue_zone *zone, double top, double bottom, bool labels);
/* "2026-03-02 to 2026-05-11, UTC" at the right at @y. */
void tt_name_days(struct tt_picture *picture, const struct tt_extent *times,
                  const struct tiptrue_zone *zone, double y);
/* "offset-x" and so on. */
const char *tt_weeks_name(enum tt_weeks_quantity quantity);

/* ---- what they share ---- */

/* Whether @row has a residual. */
bool tt_row_is_seen(const struct tt_row_result *row);
enum tt_shape tt_row_shape(const struct tt_row_result *row);
/* "set aside" and the like, or "". */
const char *tt_row_remark(const struct tt_row_result *row);
/* "line 17, 30.0 deg, -2.3 um" into the drawing; @value_mm is the residual shown. */
void tt_row_tell(struct tt_picture *picture, const struct tt_row_result *row, double value_mm);
/* The mark of @row at (@x, @y), or, where @y is beyond @scale's ends, a triangle at that end. */
void tt_row_mark(struct tt_picture *picture, const struct tt_row_result *row,
                 const struct tt_scale *scale, double x, double value_um, double told_mm);
/* The half-width in um that shows all residuals that are used, and those set aside up to twelve
 * times as far. At least 2 um. */
double tt_residual_reach_um(const struct tiptrue_solution *solution, bool with_movement);
/* Which shapes rows have, as the marks are set; starts as {0}. */
struct tt_shapes {
    bool seen[TT_MARK_SIGNAL + 1];
};
void tt_shapes_add(struct tt_shapes *shapes, const struct tt_row_result *row);
/* A legend of them from @y down; returns where the picture may end. */
double tt_shapes_legend(struct tt_picture *picture, const struct tt_shapes *shapes, double y);
/* @rotation_rad in degrees from 0 to below 360. */
double tt_turn_deg(double rotation_rad);

#endif
