/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A comparison of two results, for a person and as tiptrue.compare/1. */
#include "config.h"

#include "output/output.h"

#include <math.h>

#include "output/json/json_write.h"
#include "output/text/text_parts.h"
#include "output/verdict.h"

static void write_test(struct tt_json *json, const struct tt_difference *d)
{
    tt_json_key_number_if(json, "t2", d->known, d->t2);
    tt_json_key_number_if(json, "dof", d->known, d->dof);
    tt_json_key_number_if(json, "p", d->known, d->p);
    tt_json_key_bool(json, "significant", d->known && d->significant);
}

static void write_in_plane(struct tt_json *json, const char *key, const struct tt_difference *d)
{
    if (!tt_json_key_open_if(json, key, d->known, '{')) {
        return;
    }
    tt_json_key_xy(json, "difference_mm", d->x, d->y);
    tt_json_key_xy(json, "u_mm", sqrt(d->cov.xx_mm2), sqrt(d->cov.yy_mm2));
    tt_json_key_open(json, "covariance_mm2", '[');
    for (int row = 0; row < 2; row++) {
        tt_json_open(json, '[');
        tt_json_number(json, row == 0 ? d->cov.xx_mm2 : d->cov.xy_mm2);
        tt_json_number(json, row == 0 ? d->cov.xy_mm2 : d->cov.yy_mm2);
        tt_json_close(json, ']');
    }
    tt_json_close(json, ']');
    write_test(json, d);
    tt_json_close(json, '}');
}

static void write_on_line(struct tt_json *json, const char *key, const char *value_key,
                          const char *u_key, double scale, const struct tt_difference *d)
{
    if (!tt_json_key_open_if(json, key, d->known, '{')) {
        return;
    }
    tt_json_key_fixed(json, value_key, scale * d->x);
    tt_json_key_fixed(json, u_key, scale * sqrt(d->cov.xx_mm2));
    write_test(json, d);
    tt_json_close(json, '}');
}

static void write_run(struct tt_json *json, const char *key, const struct tt_compared_run *run)
{
    tt_json_key_open(json, key, '{');
    tt_json_key_text(json, "id", run->id);
    tt_json_key_text(json, "file", run->file);
    tt_json_key_text(json, "machine", run->machine);
    tt_json_key_text(json, "plate", run->plate);
    tt_json_key_text(json, "plate_serial", run->plate_serial);
    tt_json_key_text(json, "started", run->started);
    tt_json_key_bool(json, "least_squares", run->least_squares);
    tt_json_key_text(json, "verdict", run->least_squares ? NULL : tt_verdict_word(run->verdict));
    tt_json_close(json, '}');
}

static void write_names(struct tt_json *json, const char *key, const char *const names[], size_t n)
{
    tt_json_key_open(json, key, '[');
    for (size_t i = 0; i < n; i++) {
        tt_json_text(json, names[i]);
    }
    tt_json_close(json, ']');
}

void tt_output_comparison_json(const struct tiptrue_comparison *c, struct tt_buffer *buffer)
{
    struct tt_json json = tt_json_begin(buffer, "tiptrue.compare/1");

    write_run(&json, "a", &c->a);
    write_run(&json, "b", &c->b);
    tt_json_key_bool(&json, "same_run", c->same_run);
    tt_json_key_bool(&json, "same_machine", c->same_machine);
    tt_json_key_bool(&json, "same_plate", c->same_plate);
    tt_json_key_open(&json, "tips", '[');
    for (size_t i = 0; i < c->n_tips; i++) {
        const struct tt_tip_comparison *t = &c->tips[i];
        tt_json_open(&json, '{');
        tt_json_key_text(&json, "tip", t->name);
        write_in_plane(&json, "offset", &t->offset);
        tt_json_key_both_if(&json, "between_run_u_mm", t->has_between, t->between_x_mm,
                            t->between_y_mm);
        write_in_plane(&json, "runout", &t->runout);
        write_on_line(&json, "contact_radius", "difference_mm", "u_mm", 1, &t->radius);
        write_on_line(&json, "height", "difference_mm", "u_mm", 1, &t->height);
        tt_json_key_text(&json, "text", t->text);
        tt_json_close(&json, '}');
    }
    tt_json_close(&json, ']');
    write_names(&json, "only_in_a", c->only_a, c->n_only_a);
    write_names(&json, "only_in_b", c->only_b, c->n_only_b);
    tt_json_key_open(&json, "poses", '[');
    for (size_t i = 0; i < c->n_poses; i++) {
        tt_json_open(&json, '{');
        tt_json_key_text(&json, "setup", c->poses[i].setup);
        write_in_plane(&json, "mark", &c->poses[i].mark);
        write_on_line(&json, "yaw", "difference_deg", "u_deg", tt_deg_from_rad(1),
                      &c->poses[i].yaw);
        tt_json_close(&json, '}');
    }
    tt_json_close(&json, ']');
    tt_json_close(&json, '}');
}

/* "run.csv (2026-03-02T07:40:00Z)" */
static void add_run(struct tt_buffer *words, const struct tt_compared_run *run)
{
    tt_buffer_puts(words, run->file != NULL ? run->file : run->id != NULL ? run->id : "a result");
    if (run->started != NULL) {
        tt_buffer_printf(words, " (%s)", run->started);
    }
}

static bool any_real(const struct tiptrue_comparison *c)
{
    for (size_t i = 0; i < c->n_tips; i++) {
        const struct tt_tip_comparison *t = &c->tips[i];
        if (t->offset.significant || t->runout.significant || t->radius.significant ||
            t->height.significant) {
            return true;
        }
    }
    return false;
}

static void say_cautions(struct tt_page *page, const struct tiptrue_comparison *c)
{
    bool between = c->n_tips > 0 && c->tips[0].has_between;

    if (c->same_run) {
        tt_page_prose(page, 2,
                      "Both are results of one and the same run: the difference is that of "
                      "documents or versions.");
    }
    if (!c->same_machine) {
        tt_page_prose(page, 2, "The results do not name the same machine.");
    }
    if (c->a.least_squares || c->b.least_squares) {
        tt_page_prose(page, 2,
                      "One of them has no verdict: it was made by least squares without rejecting "
                      "outliers, to compare with other programs; do not use its results.");
    } else if (c->a.verdict == TIPTRUE_REPEAT || c->b.verdict == TIPTRUE_REPEAT) {
        tt_page_prose(page, 2, "One of the runs ended in 'repeat': its results may not be used.");
    }
    tt_page_prose(
        page, 0,
        c->plate_by_name ? "Same plate by its name (no serial is stated): its own errors cancel, "
                           "and the uncertainty is that on one plate."
        : c->same_plate
            ? "Same plate: its own errors cancel, and the uncertainty is that on one plate."
            : "Not the same plate: the uncertainty is the full one, the errors of both plates in "
              "it.");
    tt_page_prose(page, 0,
                  between ? "The scatter between runs of this machine is in the uncertainty."
                          : "Runs scatter more than each says of itself; with a history "
                            "(--history) that is taken into account.");
}

static void row(struct tt_page *page, size_t at, const char *name, const char *what,
                const struct tt_difference *d, bool plane)
{
    if (!d->known) {
        return;
    }
    tt_page_puts(page, name);
    tt_page_at(page, at, what);
    tt_page_go(page, at + 15);
    tt_cell_um(page, 10, d->x, sqrt(d->cov.xx_mm2), true);
    if (plane) {
        tt_cell_um(page, 10, d->y, sqrt(d->cov.yy_mm2), true);
    }
    tt_page_go(page, at + 35);
    tt_cell_um(page, 9, sqrt(d->cov.xx_mm2), sqrt(d->cov.xx_mm2), false);
    if (plane) {
        tt_cell_um(page, 9, sqrt(d->cov.yy_mm2), sqrt(d->cov.yy_mm2), false);
    }
    tt_page_go(page, at + 53);
    if (d->p < 0.001) {
        tt_page_cell(page, 10, "< 0.001");
    } else {
        tt_page_cell_fixed(page, 10, d->p, 3, false);
    }
    tt_page_line_end(page);
}

static void head(struct tt_page *page, size_t at)
{
    tt_page_heads(page, "tip", at + 15, "20 B - A x, y|18 u x, y|10 p");
    tt_page_heads(page, "", at + 15, "20 {small}|18 {small}");
}

static void say_only(struct tt_page *page, const char *which, const char *const names[], size_t n)
{
    for (size_t i = 0; i < n; i++) {
        tt_buffer_printf(&page->words, "only in %s: %s", which, names[i]);
        tt_page_say(page, 2);
    }
}

void tt_output_comparison_text(const struct tiptrue_comparison *c,
                               const struct tiptrue_text_options *options, struct tt_buffer *buffer)
{
    struct tt_page page = tt_page_new(buffer, options, 40, 100);
    size_t at = 8;

    page.own[0] = (struct tt_own_names){c->n_tips > 0 ? &c->tips[0].name : NULL, c->n_tips,
                                        sizeof c->tips[0]};
    tt_page_colour(&page, any_real(c) ? TT_YELLOW : TT_GREEN);
    tt_page_puts(&page, c->n_tips == 0 ? "NOTHING TO COMPARE"
                        : any_real(c)  ? "DIFFERENT"
                                       : "NO REAL DIFFERENCE");
    tt_page_colour(&page, TT_PLAIN);
    tt_buffer_puts(&page.words, c->n_tips == 0 ? ": the results have no tip in common" : "");
    tt_page_say(&page, 2);
    for (size_t i = 0; i < c->n_tips; i++) {
        at = tt_page_wider(&page, at, c->tips[i].name, 2);
        tt_page_puts(&page, "  ");
        tt_page_prose(&page, 4, c->tips[i].text);
    }
    tt_page_line_end(&page);
    tt_buffer_puts(&page.words, "A: ");
    add_run(&page.words, &c->a);
    tt_page_say(&page, 3);
    tt_buffer_puts(&page.words, "B: ");
    add_run(&page.words, &c->b);
    tt_page_say(&page, 3);
    tt_page_line_end(&page);
    head(&page, at);
    for (size_t i = 0; i < c->n_tips; i++) {
        row(&page, at, c->tips[i].name, "offset", &c->tips[i].offset, true);
        row(&page, at, c->tips[i].name, "runout", &c->tips[i].runout, true);
        row(&page, at, c->tips[i].name, "contact radius", &c->tips[i].radius, false);
        row(&page, at, c->tips[i].name, "height", &c->tips[i].height, false);
    }
    for (size_t i = 0; i < c->n_poses; i++) {
        row(&page, at, "plate", "mark", &c->poses[i].mark, true);
    }
    say_only(&page, "A", c->only_a, c->n_only_a);
    say_only(&page, "B", c->only_b, c->n_only_b);
    tt_page_line_end(&page);
    say_cautions(&page, c);
    tt_page_end(&page);
}
