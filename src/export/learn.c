/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See learn.h. The u that is written is that of the group alone. What the board says of edges and
 * group together is left out: it would need their correlation, and without it the u of an offset
 * comes out larger, never smaller. */
#include "config.h"

#include "export/export.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/number.h"
#include "export/place.h"

/* 10 nm, and 2.5 nm of inches: below what any board tells. */
#define DECIMALS_MM 5
#define DECIMALS_INCH 7
/* A group of which the board tells less than this share of its u is as it was. */
#define LEAST_LEARNED 0.02
/* An edge whose normal has less than this along an axis does not answer to a shift along it: 1e-6
 * of a millimetre's shift is nothing. */
#define FACES 1e-6
/* The u that is stated in the plate is that of the run, but for the digits of a result. */
#define SAME_U_MM 1e-9

struct piece {
    struct tt_span at;
    const char *text;
};

struct learning {
    const struct tiptrue_placement *placement;
    const struct tiptrue_plate *plate;
    struct tt_config *config;
    struct piece *pieces;
    size_t n;
    struct tt_arena arena;
    bool out_of_memory;
};

/* The value at @place, in *span; false: there is none. */
static bool find(struct learning *l, const char *place, struct tt_span *span)
{
    struct tiptrue_error unseen = {0};
    return tt_config_find(l->config, place, span, &unseen) == TIPTRUE_OK;
}

/* text[at] gives way to what is in @text, which is emptied. */
static void put(struct learning *l, struct tt_span at, struct tt_buffer *text)
{
    struct piece *piece = tt_arena_more(&l->arena, &l->pieces, &l->n, sizeof *piece);
    const char *kept = tt_buffer_keep(text, &l->arena);

    l->out_of_memory = l->out_of_memory || kept == NULL || piece == NULL;
    if (piece != NULL) {
        *piece = (struct piece){at, kept};
    }
}

static int decimals(const struct learning *l)
{
    return l->plate->mm_per_unit == TT_MM_PER_INCH ? DECIMALS_INCH : DECIMALS_MM;
}

/* The number at "/@list/@index/@key" becomes @value_mm, in the file's unit. */
static void put_length(struct learning *l, const char *list, size_t index, const char *key,
                       double value_mm)
{
    char place[80];
    struct tt_span span;
    struct tt_buffer text = {0};
    snprintf(place, sizeof place, "/%s/%zu/%s", list, index, key);
    if (find(l, place, &span)) {
        tt_number_write_rounded(&text, value_mm / l->plate->mm_per_unit, decimals(l));
        put(l, span, &text);
    }
}

static void move_point(struct learning *l, const char *list, size_t index, const char *key,
                       struct tt_plate_xy to)
{
    char axis[2][8];
    snprintf(axis[0], sizeof axis[0], "%s/0", key);
    snprintf(axis[1], sizeof axis[1], "%s/1", key);
    put_length(l, list, index, axis[0], to.x_mm);
    put_length(l, list, index, axis[1], to.y_mm);
}

static struct tt_plate_xy moved(struct tt_plate_xy from, struct tt_pair shift)
{
    return (struct tt_plate_xy){from.x_mm + shift.x, from.y_mm + shift.y};
}

/* Everything of group @index by @shift. */
static void move_group(struct learning *l, size_t index, struct tt_pair shift)
{
    for (size_t i = 0; i < l->plate->n_edges; i++) {
        const struct tt_edge *edge = &l->plate->edges[i];
        if (edge->group == index) {
            move_point(l, "edges", i, "from", moved(edge->from, shift));
            move_point(l, "edges", i, "to", moved(edge->to, shift));
        }
    }
    for (size_t i = 0; i < l->plate->n_marks; i++) {
        if (l->plate->marks[i].group == index) {
            move_point(l, "marks", i, "at", moved(l->plate->marks[i].at, shift));
        }
    }
}

/* The string at "/groups/@index/learned/@key" becomes @text, behind what is there if @behind. */
static void put_text(struct learning *l, size_t index, const char *key, const char *text,
                     bool behind)
{
    char place[80];
    struct tt_span span;
    struct tt_buffer made = {0};
    snprintf(place, sizeof place, "/groups/%zu/learned/%s", index, key);
    if (text != NULL && find(l, place, &span)) {
        tt_buffer_puts(&made, behind ? " " : "");
        tt_buffer_puts(&made, text);
        span = behind ? (struct tt_span){span.at + span.length, 0} : span;
        put(l, span, &made);
    }
}

/* "learned" behind the group's name; or what is there counts one board more. */
static void say_where_from(struct learning *l, size_t index)
{
    const struct tiptrue_placement *p = l->placement;
    const struct tt_group *group = &l->plate->groups[index];
    char place[80];
    struct tt_span span;
    struct tt_buffer made = {0};
    if (group->learned_boards != NULL) {
        snprintf(place, sizeof place, "/groups/%zu/learned/parts", index);
        if (find(l, place, &span)) {
            tt_buffer_printf(&made, "%zu", group->learned_parts + p->parts_used);
            put(l, span, &made);
        }
        put_text(l, index, "boards", p->id, true);
        put_text(l, index, "run", p->joined->run, false);
        put_text(l, index, "placed", p->started, false);
        return;
    }
    snprintf(place, sizeof place, "/groups/%zu/name", index);
    if (find(l, place, &span)) {
        tt_buffer_printf(&made,
                         ", \"learned\": {\"parts\": %zu, \"boards\": \"%s\", \"run\": \"%s\"",
                         p->parts_used, p->id, p->joined->run);
        if (p->started != NULL) {
            tt_buffer_printf(&made, ", \"placed\": \"%s\"", p->started);
        }
        tt_buffer_puts(&made, ", \"stated_u\": ");
        tt_number_write_rounded(&made, group->u_mm / l->plate->mm_per_unit, decimals(l));
        tt_buffer_putc(&made, '}');
        put(l, (struct tt_span){span.at + span.length + 1, 0}, &made); /* the quotation mark */
    }
}

/* The larger u of the axes along which something of the group @index answers to its shift: edges
 * that all face one way have no place along themselves. */
static double u_of(const struct learning *l, const struct tt_joined_group *group, size_t index)
{
    bool along_x = false, along_y = false;
    for (size_t i = 0; i < l->plate->n_edges; i++) {
        const struct tt_edge *edge = &l->plate->edges[i];
        along_x = along_x || (edge->group == index && fabs(edge->n_x) > FACES);
        along_y = along_y || (edge->group == index && fabs(edge->n_y) > FACES);
    }
    for (size_t i = 0; i < l->plate->n_marks; i++) {
        along_x = along_x || l->plate->marks[i].group == index;
        along_y = along_y || l->plate->marks[i].group == index;
    }
    double x = along_x ? group->u_mm.x : 0.0, y = along_y ? group->u_mm.y : 0.0;
    return along_x || along_y ? fmax(x, y) : group->u_stated_mm;
}

/* The plate's group of that name with that u, or TT_NONE. */
static size_t find_group(const struct learning *l, const struct tt_joined_group *group)
{
    for (size_t i = 0; i < l->plate->n_groups; i++) {
        if (strcmp(l->plate->groups[i].name, group->name) == 0 &&
            fabs(l->plate->groups[i].u_mm - group->u_stated_mm) <= SAME_U_MM) {
            return i;
        }
    }
    return TT_NONE;
}

static void learn_group(struct learning *l, const struct tt_joined_group *group, size_t index)
{
    double u_mm = u_of(l, group, index);
    move_group(l, index, group->shift_mm);
    put_length(l, "groups", index, "u", u_mm);
    put_length(l, "groups", index, "tolerance", sqrt(3.0) * u_mm);
    say_where_from(l, index);
}

static int by_place(const void *a, const void *b)
{
    const struct piece *x = a, *y = b;
    return (x->at.at > y->at.at) - (x->at.at < y->at.at);
}

static void splice(struct learning *l, struct tt_buffer *to)
{
    const struct tt_bytes *source = &l->plate->source;
    size_t at = 0;
    if (l->n > 0) {
        qsort(l->pieces, l->n, sizeof(*l->pieces), by_place);
    }
    for (size_t i = 0; i < l->n; i++) {
        tt_buffer_add(to, source->text + at, l->pieces[i].at.at - at);
        tt_buffer_puts(to, l->pieces[i].text);
        at = l->pieces[i].at.at + l->pieces[i].at.length;
    }
    tt_buffer_add(to, source->text + at, source->length - at);
}

static enum tiptrue_status refuse(const struct tiptrue_plate *plate, const char *hint,
                                  const char *text, struct tiptrue_error *error)
{
    return tt_fail(error, TIPTRUE_E_DATA, plate->file, 0, 0, hint, "%s", text);
}

/* Whether the two texts differ, where both are stated. */
static bool differ(const char *a, const char *b)
{
    return a != NULL && b != NULL && strcmp(a, b) != 0;
}

/* What speaks against learning, before any group is looked at. */
static enum tiptrue_status check(const struct tiptrue_placement *p,
                                 const struct tiptrue_plate *plate, struct tiptrue_error *error)
{
    const struct tt_joined *j = p->joined;
    if (differ(j->serial, plate->serial) || differ(j->plate, plate->name)) {
        return refuse(plate, "name the plate that the run was made with",
                      "the run was made with another plate", error);
    }
    if (!j->seat_known) {
        return refuse(
            plate,
            "state '# board_u:' and '# device_u:' in the board's file: how well the board's seat "
            "and the measuring device are known, standard, each axis",
            "nothing is learned from a board whose seat and measuring device are not stated",
            error);
    }
    if (p->verdict == TIPTRUE_REPEAT || !j->agrees || j->equations == 0.0) {
        return refuse(plate, "see the findings", "nothing is learned from this board", error);
    }
    return TIPTRUE_OK;
}

/* Whether the board of digest @id is among those that the group was learned from. */
static bool has_board(const struct tt_group *group, const char *id)
{
    size_t length = strlen(id);
    bool has = false;
    for (const char *at = group->learned_boards; at != NULL && *at != '\0';) {
        size_t width = strcspn(at, " ");
        has = has || (width == length && memcmp(at, id, length) == 0);
        at += width + strspn(at + width, " ");
    }
    return has;
}

static enum tiptrue_status learn_groups(struct learning *l, struct tiptrue_error *error)
{
    const struct tt_joined *j = l->placement->joined;
    size_t learned = 0;
    for (size_t i = 0; i < j->n_groups; i++) {
        const struct tt_joined_group *group = &j->groups[i];
        size_t index = find_group(l, group);
        if (index == TT_NONE) {
            return refuse(l->plate,
                          "solve the run's log with this plate file, and name that result",
                          "the run was solved with another version of this plate", error);
        }
        if (has_board(&l->plate->groups[index], l->placement->id)) {
            return refuse(l->plate, "a board counts once: place another",
                          "what this board says is in the plate file already", error);
        }
        if (u_of(l, group, index) <= (1.0 - LEAST_LEARNED) * group->u_stated_mm) {
            learn_group(l, group, index);
            learned++;
        }
    }
    if (learned == 0) {
        return refuse(l->plate,
                      "it takes groups with a u, and a board whose seat, device and parts are "
                      "known better than that",
                      "the board says nothing new of the plate's groups", error);
    }
    return l->out_of_memory ? tt_fail_memory(error) : TIPTRUE_OK;
}

enum tiptrue_status tt_learn(const struct tiptrue_placement *placement,
                             const struct tiptrue_plate *plate, struct tt_buffer *to,
                             struct tiptrue_error *error)
{
    struct learning l = {.placement = placement, .plate = plate};
    enum tiptrue_status status = check(placement, plate, error);
    if (status == TIPTRUE_OK) {
        status =
            tt_config_new(plate->file, plate->source.text, plate->source.length, &l.config, error);
    }
    status = status == TIPTRUE_OK ? learn_groups(&l, error) : status;
    if (status == TIPTRUE_OK) {
        splice(&l, to);
        status = to->failed ? tt_fail_memory(error) : TIPTRUE_OK;
    }
    tt_config_free(l.config);
    tt_arena_clear(&l.arena);
    return status;
}
