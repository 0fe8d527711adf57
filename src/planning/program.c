/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "planning/program.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"
#include "planning/program_parts.h"

/* Comment lines of a controller may be 256 characters long (NISTIR 6556, 3.3); names are cut far
 * below that. */
#define MOST_NAME 40

/* ---- lines ---- */

/* A name in a comment: what RS274 does not allow there, and all that is not plain ASCII, becomes a
 * point. */
static void put_name(struct tt_buffer *out, const char *name)
{
    for (size_t i = 0; i < MOST_NAME && name[i] != '\0'; i++) {
        unsigned char c = (unsigned char)name[i];
        tt_buffer_putc(out, (c < 0x80 && isalnum(c)) || strchr(" -_+.", c) != NULL ? (char)c : '.');
    }
}

static void put_number(struct tt_buffer *out, const char *word, double value)
{
    tt_buffer_puts(out, word);
    tt_number_write_fixed(out, value, TT_MM_DECIMALS, false);
}

/* Decimals of coordinates. */
static int decimals_of(const struct program *g)
{
    return g->inches ? TT_INCH_DECIMALS : TT_MM_DECIMALS;
}

/* A coordinate, or a feed per minute, in the program's unit. */
static void put_length(const struct program *g, const char *word, double value_mm)
{
    tt_buffer_puts(g->out, word);
    tt_number_write_fixed(g->out, tt_program_per_mm(g) * value_mm, decimals_of(g), false);
}

/* Within the limits, to the digits that are written. */
static bool is_within(const struct program *g, const struct tt_range *range, double value)
{
    const double half_digit = range == &g->motion->rotation_rad
                                  ? 0.5e-4
                                  : 0.5 * pow(10, -decimals_of(g)) / tt_program_per_mm(g);
    return value >= range->low - half_digit && value <= range->high + half_digit;
}

static void leave(struct program *g, const char *id, const char *axis, double value,
                  const struct tt_range *range, bool angle)
{
    double unit = angle ? 180 / TT_PI : tt_program_per_mm(g);
    struct tt_buffer text = {0};

    tt_buffer_printf(&text, "move %s would go to %s ", id, axis);
    tt_number_write_rounded(&text, value * unit, decimals_of(g));
    tt_buffer_puts(&text, ", and the limits are ");
    tt_number_write_rounded(&text, range->low * unit, decimals_of(g));
    tt_buffer_puts(&text, " to ");
    tt_number_write_rounded(&text, range->high * unit, decimals_of(g));
    tt_buffer_puts(&text, angle ? " degrees" : g->inches ? " in" : " mm");
    g->status =
        text.failed
            ? tt_fail_memory(g->error)
            : tt_program_refuse(
                  g, "is the plate where \"mark\" says, and are the limits those of the machine?",
                  text.text);
    tt_buffer_clear(&text);
}

static void check_xy(struct program *g, const char *id, struct tt_machine_xy at)
{
    if (g->status == TIPTRUE_OK && !is_within(g, &g->motion->x_mm, at.x_mm)) {
        leave(g, id, "X", at.x_mm, &g->motion->x_mm, false);
    }
    if (g->status == TIPTRUE_OK && !is_within(g, &g->motion->y_mm, at.y_mm)) {
        leave(g, id, "Y", at.y_mm, &g->motion->y_mm, false);
    }
}

static void check_heights(struct program *g)
{
    const struct tt_range *z = &g->motion->z_mm;

    if (!is_within(g, z, g->motion->safe_height_mm.value)) {
        leave(g, "1", "Z", g->motion->safe_height_mm.value, z, false);
    } else if (!is_within(g, z, g->motion->touch_height_mm.value)) {
        leave(g, "1", "Z", g->motion->touch_height_mm.value, z, false);
    }
}

/* "G1 X… Y… F…" or "G38.2 X… Y… F…" */
static void line_xy(struct program *g, const char *code, const char *id, struct tt_machine_xy at,
                    double feed_mm_s)
{
    check_xy(g, id, at);
    tt_buffer_puts(g->out, code);
    put_length(g, " X", at.x_mm);
    put_length(g, " Y", at.y_mm);
    put_length(g, " F", 60 * feed_mm_s);
    tt_buffer_putc(g->out, '\n');
}

static void line_z(struct program *g, double z_mm, double feed_mm_s)
{
    tt_buffer_puts(g->out, "G1");
    put_length(g, " Z", z_mm);
    put_length(g, " F", 60 * feed_mm_s);
    tt_buffer_putc(g->out, '\n');
}

static void line_rotation(struct program *g, const char *id, double rotation_rad)
{
    const char word[] = {' ', g->motion->rotation_word, '\0'};

    if (g->status == TIPTRUE_OK && !is_within(g, &g->motion->rotation_rad, rotation_rad)) {
        leave(g, id, "rotation", rotation_rad, &g->motion->rotation_rad, true);
    }
    if (g->turned && g->rotation_rad == rotation_rad) {
        return;
    }
    tt_buffer_puts(g->out, "G1");
    put_number(g->out, word, tt_deg_from_rad(rotation_rad));
    put_number(g->out, " F", 60 * tt_deg_from_rad(g->motion->rotation_feed_rad_s.value));
    tt_buffer_putc(g->out, '\n');
    g->turned = true;
    g->rotation_rad = rotation_rad;
}

static void comment(struct program *g, const char *text)
{
    tt_buffer_printf(g->out, "(%s)\n", text);
}

/* "(MSG,id=12 measure east t1)": shown, and logged, by controllers that follow the standard
 * (3.3.5). */
static void line_id(struct program *g, const struct tt_move *move)
{
    tt_buffer_printf(g->out, "(MSG,id=%s %s ", move->id,
                     tt_is_sighting(move->kind) ? tt_kind_words[move->kind]
                     : move->is_find            ? "find"
                                                : "measure");
    put_name(g->out, move->target);
    if (move->tip != NULL) {
        tt_buffer_putc(g->out, ' ');
        put_name(g->out, move->tip);
    }
    if (move->kind == TT_VIEW) {
        tt_buffer_printf(g->out, " px=%g py=%g", move->px, move->py);
    }
    tt_buffer_puts(g->out, ")\n");
}

/* ---- the program ---- */

/* What the modes mean for whoever stands at the machine, and what they do not see to. */
static void write_modes(struct program *g)
{
    comment(g, g->inches ? "Coordinates are the head's, in inches, of coordinate system 1 - G54 - "
                           "whose origin must be that of the log. The controller is left in inches."
                         : "Coordinates are the head's, in mm, of coordinate system 1 - G54 - "
                           "whose origin must be that of the log. The controller is left in mm.");
    comment(g, "G49 cancels tool length: the heights are those that Z shows without it.");
    comment(g, "No G92 offset may be active; the program does not cancel one.");
    comment(g,
            "G61 is exact path: a controller that rounds corners would cut them beside an edge.");
    tt_buffer_puts(g->out, "(The first motion is to");
    put_length(g, " Z", g->motion->safe_height_mm.value);
    tt_buffer_puts(g->out, ": down, if the head is higher. Clear the way below it.)\n");
    if (g->p->views > 0) {
        comment(g, "M0 stops at a view: note the position, and where in the picture the mark is - "
                   "pixels to the right and down from its upper left corner - as px and py; do not "
                   "centre it; go on.");
    } else {
        comment(g, "M0 stops: centre the camera on the mark, note the position, go on.");
    }
    comment(g, "If the controller does not jog during M0: sight the marks by hand before and after "
               "the program, note the positions under the same ids, and only go on here.");
    tt_buffer_puts(g->out, g->inches ? "G17 G20 G40 G49 G54 G61 G80 G90 G94\n"
                                     : "G17 G21 G40 G49 G54 G61 G80 G90 G94\n");
}

static void write_head(struct program *g)
{
    comment(g, "touches of a reference plate, written by tiptrue");
    tt_buffer_puts(g->out, "(machine ");
    put_name(g->out, g->p->machine);
    tt_buffer_puts(g->out, ", plate ");
    put_name(g->out, g->p->plate);
    tt_buffer_puts(g->out, ")\n");
    comment(g, "CAUTION. A moving machine pinches hands and breaks tips.");
    comment(g, "Keep hands clear, and the stop within reach.");
    comment(g, "First run: in the air, with the work offset raised above the plate, at low feed "
               "override.");
    comment(g, "Check the contact circuit by hand first: a tip that is not connected drives on "
               "into the edge.");
    if (g->p->from_above > 0) {
        comment(g, "Moves straight down can break a tip: make them slow at first, with a hand at "
                   "the stop.");
    }
    comment(g, "Guards and electrical work: qualified people only, following local rules.");
    write_modes(g);
    line_z(g, g->motion->safe_height_mm.value, g->motion->plunge_feed_mm_s.value);
}

static void write_sighting(struct program *g, size_t i)
{
    const struct tt_move *move = &g->p->plan.moves[i];

    line_id(g, move);
    line_xy(g, "G1", move->id, g->p->head[i], g->motion->travel_feed_mm_s.value);
    tt_buffer_puts(g->out, "M0\n");
    line_z(g, g->motion->safe_height_mm.value,
           g->motion->plunge_feed_mm_s.value); /* wherever the head was driven meanwhile */
}

/* The direction from which the edge is met: its normal, or the machine axis nearest to that. */
static struct tt_machine_xy way_of(const struct program *g, struct tt_machine_xy n)
{
    if (g->motion->probing != TT_ALONG_AXES) {
        return n;
    }
    return fabs(n.x_mm) > fabs(n.y_mm) ? (struct tt_machine_xy){n.x_mm > 0 ? 1 : -1, 0}
                                       : (struct tt_machine_xy){0, n.y_mm > 0 ? 1 : -1};
}

static struct tt_machine_xy beside(struct tt_machine_xy at, struct tt_machine_xy way,
                                   double distance_mm)
{
    return (struct tt_machine_xy){at.x_mm + distance_mm * way.x_mm,
                                  at.y_mm + distance_mm * way.y_mm};
}

/* The pair of moves @i (fast) and @i + 1 (slow). */
static void write_touch(struct program *g, size_t i)
{
    const struct tt_motion *m = g->motion;
    const struct tt_move *find = &g->p->plan.moves[i], *measure = &g->p->plan.moves[i + 1];
    struct tt_machine_xy way = way_of(g, g->p->normal[i]);
    struct tt_machine_xy start = beside(g->p->head[i], way, m->start_distance_mm.value);
    struct tt_machine_xy end = beside(g->p->head[i], way, -m->overtravel_mm.value);

    line_rotation(g, find->id, find->rotation_rad);
    line_xy(g, "G1", find->id, start, m->travel_feed_mm_s.value);
    line_z(g, m->touch_height_mm.value, m->plunge_feed_mm_s.value);
    line_id(g, find);
    line_xy(g, "G38.2", find->id, end, m->find_feed_mm_s.value);
    line_xy(g, "G1", find->id, start, m->find_feed_mm_s.value);
    line_id(g, measure);
    line_xy(g, "G38.2", measure->id, end, m->measure_feed_mm_s.value);
    line_xy(g, "G1", measure->id, start, m->find_feed_mm_s.value);
    line_z(g, m->safe_height_mm.value, m->plunge_feed_mm_s.value);
}

/* "G38.2 Z… F…" */
static void line_down(struct program *g, const char *id, double z_mm, double feed_mm_s)
{
    if (g->status == TIPTRUE_OK && !is_within(g, &g->motion->z_mm, z_mm)) {
        leave(g, id, "Z", z_mm, &g->motion->z_mm, false);
    }
    tt_buffer_puts(g->out, "G38.2");
    put_length(g, " Z", z_mm);
    put_length(g, " F", 60 * feed_mm_s);
    tt_buffer_putc(g->out, '\n');
}

/* The pair of moves @i and @i + 1 on a pad: over it, turned, at the safe height; straight down. */
static void write_height(struct program *g, size_t i)
{
    const struct tt_motion *m = g->motion;
    const struct tt_move *find = &g->p->plan.moves[i], *measure = &g->p->plan.moves[i + 1];
    double start_mm = g->p->z_mm[i] + m->start_distance_mm.value,
           end_mm = g->p->z_mm[i] - m->overtravel_mm.value;

    line_rotation(g, find->id, find->rotation_rad);
    line_xy(g, "G1", find->id, g->p->head[i], m->travel_feed_mm_s.value);
    line_z(g, start_mm, m->plunge_feed_mm_s.value);
    line_id(g, find);
    line_down(g, find->id, end_mm, m->find_feed_mm_s.value);
    line_z(g, start_mm, m->find_feed_mm_s.value);
    line_id(g, measure);
    line_down(g, measure->id, end_mm, m->measure_feed_mm_s.value);
    line_z(g, m->safe_height_mm.value, m->plunge_feed_mm_s.value);
}

/* Which tip is down is the machine's own matter: the program stops until it is. */
static void write_tip(struct program *g, const char *tip)
{
    tt_buffer_puts(g->out, "(MSG,only tip ");
    put_name(g->out, tip);
    tt_buffer_puts(g->out, " may be down)\nM0\n");
    g->tip = tip;
}

static void write_setup(struct program *g, const char *setup)
{
    tt_buffer_puts(g->out, "(MSG,place the plate for setup ");
    put_name(g->out, setup);
    tt_buffer_puts(g->out, ")\nM0\n");
}

enum tiptrue_status tt_program_write(const struct tiptrue_proposal *proposal,
                                     const struct tiptrue_machine *machine, struct tt_buffer *out,
                                     struct tiptrue_error *error)
{
    struct program g = {
        .p = proposal, .machine = machine, .motion = &machine->motion, .out = out, .error = error};
    g.inches = machine->mm_per_unit == TT_MM_PER_INCH;
    const struct tiptrue_plan *plan = &proposal->plan;
    size_t before = out->length;

    g.status = tt_program_check(&g);
    if (g.status != TIPTRUE_OK) {
        return g.status;
    }
    check_heights(&g);
    write_head(&g);
    for (size_t i = 0; i < plan->n_moves && g.status == TIPTRUE_OK; i++) {
        const char *tip = plan->moves[i].tip;
        if (tip != NULL && (g.tip == NULL || strcmp(tip, g.tip) != 0)) {
            write_tip(&g, tip);
        }
        if (i > 0 && strcmp(plan->moves[i].setup, plan->moves[i - 1].setup) != 0) {
            write_setup(&g, plan->moves[i].setup);
        }
        if (tt_is_sighting(plan->moves[i].kind)) {
            write_sighting(&g, i);
        } else if (plan->moves[i].kind == TT_HEIGHT) {
            write_height(&g, i++);
        } else {
            write_touch(&g, i++);
        }
    }
    tt_buffer_puts(out, "M2\n");
    if (g.status != TIPTRUE_OK && out->text != NULL) {
        out->length = before;
        out->text[before] = '\0';
    }
    return g.status;
}
