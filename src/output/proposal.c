/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A proposal of moves: for a person, as tiptrue.plan/1, and as CSV for other controllers. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "base/escape.h"
#include "base/number.h"
#include "output/json/json_write.h"
#include "output/output.h"
#include "output/text/sentences.h"
#include "output/text/text_parts.h"

#define PLAIN_DECIMALS 8
/* 95 % of a normal distribution. */
#define EXPANDED_FACTOR 1.96

/* Largest same-plate expanded uncertainty of the axes. */
static double same_plate_mm(const struct tt_tip_result *tip)
{
    return fmax(tip->same_plate_expanded_x_mm, tip->same_plate_expanded_y_mm);
}

static bool is_determined(const struct tt_tip_result *tip)
{
    return tip->offset_determined_x && tip->offset_determined_y;
}

/* ---- for a person ---- */

static void put_um(struct tt_page *page, double value_mm)
{
    tt_page_puts(page, TT_PLUS_MINUS " ");
    tt_page_small(page, value_mm, tt_um_decimals(value_mm), false);
    tt_page_puts(page, " ");
    tt_page_puts(page, tt_page_units(page)->small);
}

static void put_count(struct tt_page *page, size_t n, const char *one, const char *many)
{
    tt_page_count(page, n);
    tt_page_puts(page, n == 1 ? one : many);
}

/* "12 touches, 6 heights and 2 sightings"; of a next step "12 more touches", without what is none.
 */
static void say_counts(struct tt_page *page, const struct tiptrue_proposal *p)
{
    const struct {
        size_t n;
        const char *one, *many;
    } parts[] = {{p->touches, "touch", "touches"},
                 {p->from_above, "height", "heights"},
                 {p->sightings, "sighting", "sightings"}};
    size_t last = p->next && p->sightings == 0 ? p->from_above > 0 ? 1 : 0 : 2;
    bool first = true;

    for (size_t i = 0; i <= last; i++) {
        if (parts[i].n == 0 && (i == 1 || p->next)) {
            continue;
        }
        tt_page_puts(page, first ? "" : i == last ? " and " : ", ");
        tt_page_count(page, parts[i].n);
        tt_page_puts(page, p->next ? " more " : " ");
        tt_page_puts(page, parts[i].n == 1 ? parts[i].one : parts[i].many);
        first = false;
    }
    tt_page_puts(page, first ? "no further touches" : "");
}

static void say_head(struct tt_page *page, const struct tiptrue_proposal *p)
{
    if (p->next && p->met && p->plan.n_moves == 0) {
        tt_page_puts(page, "DONE: the target of ");
        put_um(page, p->target_mm);
        tt_page_puts(page, " on this plate is met; no further touch is needed");
        tt_page_line_end(page);
        return;
    }
    tt_page_puts(page, p->next ? "NEXT: " : "PLAN: ");
    say_counts(page, p);
    if (p->has_target && p->next) {
        tt_page_puts(page, " (target of ");
        put_um(page, p->target_mm);
        tt_page_puts(page, p->met ? " change reached then)" : " change not reached yet)");
    } else if (p->has_target) {
        tt_page_puts(page, p->met ? " reach the target of " : " do not reach the target of ");
        put_um(page, p->target_mm);
        tt_page_puts(page, " change");
    }
    tt_page_line_end(page);
    if (p->default_touches) {
        tt_page_prose(page, 2,
                      "24 touches for each tip, since neither --target-u nor --touches was given");
    }
}

/* "  wide     24 touches   ± 2.3 µm change, ± 13 µm total" */
static void say_tip(struct tt_page *page, const struct tt_tip_result *tip)
{
    tt_page_go(page, 2);
    tt_page_puts(page, tip->name);
    tt_page_tab(page, 16);
    put_count(page, tip->touches, " touch", " touches");
    tt_page_tab(page, 30);
    if (!is_determined(tip)) {
        tt_page_puts(page, "offset not determined");
    } else {
        put_um(page, same_plate_mm(tip));
        tt_page_puts(page, " change, ");
        put_um(page, fmax(tip->expanded_x_mm, tip->expanded_y_mm));
        tt_page_puts(page, " total");
    }
    tt_page_line_end(page);
}

/* "  wide      12 heights   ± 2.3 µm change, ± 13 µm total" */
static void say_heights(struct tt_page *page, const struct tiptrue_proposal *p)
{
    for (size_t i = 0; i < p->n_heights; i++) {
        const struct tt_planned_height *height = &p->heights[i];
        tt_page_go(page, 2);
        tt_page_puts(page, height->tip);
        tt_page_tab(page, 16);
        put_count(page, height->touches, " height", " heights");
        tt_page_tab(page, 30);
        put_um(page, EXPANDED_FACTOR * height->same_plate_u_mm);
        tt_page_puts(page, " change, ");
        put_um(page, EXPANDED_FACTOR * height->u_mm);
        tt_page_puts(page, " total");
        tt_page_line_end(page);
    }
}

/* "  east, setup 1, tip wide at 0, 36, 72 degrees": a line for each pass over an edge. */
static void say_passes(struct tt_page *page, const struct tiptrue_proposal *p)
{
    static const char *const WORDS[TT_KINDS] = {[TT_SIGHT] = "sight ",
                                                [TT_TOUCH] = "touch ",
                                                [TT_HEIGHT] = "come down on ",
                                                [TT_WARMUP] = "",
                                                [TT_VIEW] = ""};
    struct tt_buffer *words = &page->words;

    for (size_t i = 0; i < p->plan.n_moves;) {
        const struct tt_move *first = &p->plan.moves[i];
        bool touch = first->kind != TT_SIGHT;
        tt_page_go(page, 2);
        tt_buffer_puts(words, WORDS[first->kind]);
        tt_buffer_puts(words, first->target);
        if (touch) {
            tt_buffer_puts(words, " with ");
            tt_buffer_puts(words, first->tip);
            tt_buffer_puts(words, " at");
        }
        for (; i < p->plan.n_moves; i++) {
            const struct tt_move *move = &p->plan.moves[i];
            bool same = move->kind == first->kind && strcmp(move->setup, first->setup) == 0;
            same = same && (!touch || (move->target == first->target && move->tip == first->tip));
            if (!same) {
                break;
            }
            if (touch && !move->is_find) {
                tt_buffer_putc(words, ' ');
                tt_number_write_rounded(words, tt_deg_from_rad(move->rotation_rad), 1);
            } else if (!touch && move != first) {
                tt_buffer_puts(words, ", ");
                tt_buffer_puts(words, move->target);
            }
        }
        if (touch) {
            tt_buffer_puts(words, TT_DEGREE);
        }
        if (p->plan.n_setups > 0) {
            tt_buffer_puts(words, " (setup ");
            tt_buffer_puts(words, first->setup);
            tt_buffer_putc(words, ')');
        }
        tt_page_say(page, 6);
    }
}

void tt_output_proposal_text(const struct tiptrue_proposal *p,
                             const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_page page = {.out = buffer, .columns = 80};

    if (options != NULL) {
        page.colour = options->colour;
        page.utf8 = options->utf8;
        page.columns = options->columns > 0 ? options->columns : 80;
        page.units = tt_units_of(options->units);
    }
    say_head(&page, p);
    for (size_t i = 0; p->expected != NULL && i < p->expected->n_tips; i++) {
        say_tip(&page, &p->expected->tips[i]);
    }
    say_heights(&page, p);
    for (size_t i = 0; i < p->n_left_out; i++) {
        tt_page_go(&page, 2);
        tt_buffer_printf(&page.words, "left out for tip '%s': edge '%s' %s", p->left_out[i].tip,
                         p->left_out[i].edge, p->left_out[i].reason);
        tt_page_say(&page, 4);
    }
    for (size_t i = 0; i < p->n_notes; i++) {
        tt_page_go(&page, 2);
        tt_sentence_note(&page.words, p, &p->notes[i]);
        tt_page_say(&page, 4);
    }
    for (size_t i = 0; i < p->plan.n_setups; i++) {
        tt_page_go(&page, 2);
        tt_buffer_printf(&page.words, "setup %s: the plate turned by ", p->plan.setups[i].name);
        tt_number_write_rounded(&page.words, tt_deg_from_rad(p->plan.setups[i].turned_rad), 3);
        tt_buffer_puts(&page.words, TT_DEGREE);
        tt_page_say(&page, 4);
    }
    if (p->plan.n_moves > 0) {
        tt_page_puts(&page, "In this order:");
        tt_page_line_end(&page);
        say_passes(&page, p);
    }
    tt_page_end(&page);
}

/* ---- JSON ---- */

static void put_point(struct tt_json *json, const char *key, double x_mm, double y_mm)
{
    tt_json_key(json, key);
    tt_json_open(json, '[');
    tt_json_fixed(json, x_mm);
    tt_json_fixed(json, y_mm);
    tt_json_close(json, ']');
}

/* An id of digits is a number. */
static void put_id(struct tt_json *json, const char *id)
{
    double value = 0;

    tt_json_key(json, "id");
    if (tt_number_read(id, strlen(id), '.', &value, NULL) == TT_NUMBER_OK) {
        tt_json_number(json, value);
    } else {
        tt_json_text(json, id);
    }
}

static void put_move(struct tt_json *json, const struct tt_move *move, bool states_stage)
{
    tt_json_open(json, '{');
    put_id(json, move->id);
    tt_json_key_text(json, "kind", tt_kind_words[move->kind]);
    tt_json_key_text(json, "target", move->target);
    if (move->kind != TT_SIGHT) {
        tt_json_key_text(json, "tip", move->tip);
        tt_json_key_fixed(json, "rotation", tt_deg_from_rad(move->rotation_rad));
        put_point(json, "at", move->at.x_mm, move->at.y_mm);
        if (states_stage) {
            tt_json_key_text(json, "stage", move->is_find ? "find" : "measure");
        }
        if (move->feed_mm_s > 0) {
            tt_json_key_fixed(json, "feed", 60 * move->feed_mm_s);
        }
    }
    tt_json_key_text(json, "setup", move->setup);
    tt_json_close(json, '}');
}

static void put_tip(struct tt_json *json, const struct tt_tip_result *tip)
{
    bool x = tip->offset_determined_x, y = tip->offset_determined_y;

    tt_json_open(json, '{');
    tt_json_key_text(json, "tip", tip->name);
    tt_json_key_count(json, "touches", tip->touches);
    tt_json_key_xy_if(json, "expected_u_offset_mm", x, sqrt(tip->cov.xx_mm2), y,
                      sqrt(tip->cov.yy_mm2));
    tt_json_key_xy_if(json, "expected_expanded_mm", x, tip->expanded_x_mm, y, tip->expanded_y_mm);
    tt_json_key_xy_if(json, "expected_same_plate_u_offset_mm", x, sqrt(tip->same_plate_cov.xx_mm2),
                      y, sqrt(tip->same_plate_cov.yy_mm2));
    tt_json_key_xy_if(json, "expected_same_plate_expanded_mm", x, tip->same_plate_expanded_x_mm, y,
                      tip->same_plate_expanded_y_mm);
    tt_json_key_fixed_if(json, "expected_u_runout_mm", tip->runout_determined,
                         tip->u_eccentricity_mm);
    tt_json_close(json, '}');
}

/* Nothing where no heights were asked for. */
static void put_heights(struct tt_json *json, const struct tiptrue_proposal *p)
{
    if (p->n_heights == 0) {
        return;
    }
    tt_json_key(json, "heights");
    tt_json_open(json, '[');
    for (size_t i = 0; i < p->n_heights; i++) {
        tt_json_open(json, '{');
        tt_json_key_text(json, "tip", p->heights[i].tip);
        tt_json_key_count(json, "touches", p->heights[i].touches);
        tt_json_key_fixed(json, "expected_u_mm", p->heights[i].u_mm);
        tt_json_key_fixed(json, "expected_same_plate_u_mm", p->heights[i].same_plate_u_mm);
        tt_json_key_fixed(json, "expected_u_face_runout_mm", p->heights[i].u_face_mm);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void put_setups(struct tt_json *json, const struct tiptrue_plan *plan)
{
    tt_json_key(json, "setups");
    tt_json_open(json, '[');
    for (size_t i = 0; i < plan->n_setups; i++) {
        tt_json_open(json, '{');
        tt_json_key_text(json, "setup", plan->setups[i].name);
        tt_json_key_fixed(json, "turned_deg", tt_deg_from_rad(plan->setups[i].turned_rad));
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void put_reasons(struct tt_json *json, const struct tiptrue_proposal *p)
{
    tt_json_key(json, "left_out");
    tt_json_open(json, '[');
    for (size_t i = 0; i < p->n_left_out; i++) {
        tt_json_open(json, '{');
        tt_json_key_text(json, "edge", p->left_out[i].edge);
        tt_json_key_text(json, "tip", p->left_out[i].tip);
        tt_json_key_text(json, "reason", p->left_out[i].reason);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
    tt_json_key_text(json, "limited_by", p->limited_by);
    tt_json_key(json, "notes");
    tt_json_open(json, '[');
    for (size_t i = 0; i < p->n_notes; i++) {
        struct tt_buffer text = {0};
        tt_sentence_note(&text, p, &p->notes[i]);
        tt_json_text(json, text.failed ? NULL : text.text);
        json->buffer->failed = json->buffer->failed || text.failed;
        tt_buffer_clear(&text);
    }
    tt_json_close(json, ']');
}

void tt_output_proposal_json(const struct tiptrue_proposal *p, struct tt_buffer *buffer)
{
    struct tt_json json = {.buffer = buffer, .first = true};

    tt_json_open(&json, '{');
    tt_json_key_text(&json, "schema", "tiptrue.plan/1");
    tt_json_key_text(&json, "machine", p->machine);
    tt_json_key_text(&json, "plate", p->plate);
    if (p->plan.log_mm_per_unit > 0 && p->plan.log_mm_per_unit != 1) {
        tt_json_key_text(&json, "log_units",
                         p->plan.log_mm_per_unit == TT_MM_PER_INCH ? "inch" : "um");
    }
    tt_json_key_count(&json, "touches", p->touches);
    tt_json_key_count(&json, "sightings", p->sightings);
    tt_json_key(&json, "target");
    tt_json_open(&json, '{');
    tt_json_key_fixed_if(&json, "same_plate_expanded_mm", p->has_target, p->target_mm);
    tt_json_close(&json, '}');
    tt_json_key(&json, "target_met");
    if (p->has_target) {
        tt_json_bool(&json, p->met);
    } else {
        tt_json_null(&json);
    }
    tt_json_key(&json, "tips");
    tt_json_open(&json, '[');
    for (size_t i = 0; p->expected != NULL && i < p->expected->n_tips; i++) {
        put_tip(&json, &p->expected->tips[i]);
    }
    tt_json_close(&json, ']');
    put_heights(&json, p);
    put_reasons(&json, p);
    put_setups(&json, &p->plan);
    tt_json_key(&json, "moves");
    tt_json_open(&json, '[');
    for (size_t i = 0; i < p->plan.n_moves; i++) {
        put_move(&json, &p->plan.moves[i], p->plan.states_stage);
    }
    tt_json_close(&json, ']');
    tt_json_close(&json, '}');
}

/* ---- CSV ---- */

void tt_csv_name(struct tt_buffer *out, const char *name)
{
    struct tt_buffer cell = {0};

    if (name[0] != '\0' && strchr("=+-@", name[0]) != NULL) {
        tt_buffer_putc(&cell, '\'');
    }
    tt_buffer_put_escaped(&cell, name);
    tt_csv_text(out, cell.text != NULL ? cell.text : "");
    out->failed = out->failed || cell.failed;
    tt_buffer_clear(&cell);
}

void tt_output_proposal_csv(const struct tiptrue_proposal *p, const struct tt_units *units,
                            struct tt_buffer *out)
{
    tt_buffer_printf(out, "# units: %s\n", units->word);
    tt_buffer_puts(out, "id,kind,target,tip,setup,rotation,at_x,at_y,x,y,stage,feed\n");
    for (size_t i = 0; i < p->plan.n_moves; i++) {
        const struct tt_move *move = &p->plan.moves[i];
        bool touch = move->kind != TT_SIGHT;
        tt_buffer_printf(out, "%s,%s,", move->id, tt_kind_words[move->kind]);
        tt_csv_name(out, move->target);
        tt_buffer_putc(out, ',');
        tt_csv_name(out, touch ? move->tip : "");
        tt_buffer_putc(out, ',');
        tt_csv_name(out, move->setup);
        tt_buffer_putc(out, ',');
        if (touch) {
            tt_number_write_rounded(out, tt_deg_from_rad(move->rotation_rad), PLAIN_DECIMALS);
            tt_buffer_putc(out, ',');
            tt_number_write_fixed(out, units->per_mm * move->at.x_mm, units->decimals, false);
            tt_buffer_putc(out, ',');
            tt_number_write_fixed(out, units->per_mm * move->at.y_mm, units->decimals, false);
        } else {
            tt_buffer_puts(out, ",,");
        }
        tt_buffer_putc(out, ',');
        tt_number_write_fixed(out, units->per_mm * p->head[i].x_mm, units->decimals, false);
        tt_buffer_putc(out, ',');
        tt_number_write_fixed(out, units->per_mm * p->head[i].y_mm, units->decimals, false);
        tt_buffer_puts(out, !touch || !p->plan.states_stage ? ","
                            : move->is_find                 ? ",find"
                                                            : ",measure");
        tt_buffer_putc(out, ',');
        if (move->feed_mm_s > 0) {
            tt_number_write_rounded(out, 60 * units->per_mm * move->feed_mm_s, PLAIN_DECIMALS);
        }
        tt_buffer_putc(out, '\n');
    }
}
