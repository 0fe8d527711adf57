/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A run as a log: the CSV of docs/formats.md, or the lines that a motion controller would print of
 * it. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "base/number.h"
#include "output/output.h"

/* Rotations and feeds: what they are in degrees and mm/min, without the rounding of their way
 * there. */
#define PLAIN_DECIMALS 8

/* Which columns beyond those that every log has. */
struct columns {
    bool z, stage, feed, temperature, setup, pixels;
};

static struct columns columns_of(const struct tiptrue_run *run)
{
    struct columns columns = {.setup = run->n_setups > 1 ||
                                       (run->n_setups == 1 && strcmp(run->setups[0], "1") != 0)};

    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        columns.z = columns.z || o->kind == TT_HEIGHT;
        columns.stage = columns.stage || o->use == TT_USE_FIND;
        columns.feed = columns.feed || o->feed_mm_s > 0;
        columns.temperature = columns.temperature || o->has_temperature;
        columns.pixels = columns.pixels || o->kind == TT_VIEW;
    }
    return columns;
}

void tt_csv_text(struct tt_buffer *out, const char *text)
{
    if (strpbrk(text, ",;\t\"\r\n") == NULL) {
        tt_buffer_puts(out, text);
        return;
    }
    tt_buffer_putc(out, '"');
    for (const char *c = text; *c != '\0'; c++) {
        if (*c == '"') {
            tt_buffer_putc(out, '"');
        }
        tt_buffer_putc(out, *c);
    }
    tt_buffer_putc(out, '"');
}

/* "# key: value", a line whatever the value holds. */
static void put_remark(struct tt_buffer *out, const char *key, const char *value)
{
    if (value == NULL) {
        return;
    }
    tt_buffer_printf(out, "# %s: ", key);
    for (const char *c = value; *c != '\0'; c++) {
        tt_buffer_putc(out, (unsigned char)*c < 0x20 ? ' ' : *c);
    }
    tt_buffer_putc(out, '\n');
}

/* Decimals behind the point that make up @quantum_mm. */
static int decimals_of(double quantum_mm)
{
    int decimals = quantum_mm > 0 ? (int)lround(-log10(quantum_mm)) : 9;
    return decimals < 0 ? 0 : decimals > 9 ? 9 : decimals;
}

static double quantum_mm(const struct tiptrue_run *run, const struct tt_observation *o)
{
    return tt_is_sighting(o->kind) ? run->sighting_digits.quantum_mm : run->touch_digits.quantum_mm;
}

/* The same in another unit, where a step of the machine may lie between two digits: the finer one.
 */
static int decimals_from(double per_mm, double quantum_mm)
{
    if (per_mm == 1 || !(quantum_mm > 0)) {
        return decimals_of(quantum_mm);
    }
    int decimals = (int)ceil(-log10(per_mm * quantum_mm) - 0.01);
    return decimals < 0 ? 0 : decimals > 9 ? 9 : decimals;
}

static int decimals_in(double per_mm, const struct tiptrue_run *run, const struct tt_observation *o)
{
    return decimals_from(per_mm, quantum_mm(run, o));
}

static const char *target_name(const struct tiptrue_plate *plate, const struct tt_observation *o)
{
    return tt_is_sighting(o->kind) ? plate->marks[o->target].name
           : o->kind == TT_HEIGHT  ? plate->pads[o->target].name
                                   : plate->edges[o->target].name;
}

/* ",px,py": of a view; empty cells of another row. */
static void put_pixels(struct tt_buffer *out, const struct tiptrue_run *run,
                       const struct tt_observation *o)
{
    int decimals = decimals_of(run->quantum_px);

    tt_buffer_putc(out, ',');
    if (o->kind == TT_VIEW) {
        tt_number_write_fixed(out, o->px, decimals, false);
    }
    tt_buffer_putc(out, ',');
    if (o->kind == TT_VIEW) {
        tt_number_write_fixed(out, o->py, decimals, false);
    }
}

/* "z,": of a height; an empty cell of another row. */
static void put_z(struct tt_buffer *out, const struct tiptrue_run *run,
                  const struct tt_units *units, const struct tt_observation *o)
{
    if (o->kind == TT_HEIGHT) {
        tt_number_write_fixed(out, units->per_mm * o->z_mm,
                              decimals_from(units->per_mm, run->height_quantum_mm), false);
    }
    tt_buffer_putc(out, ',');
}

static void put_row(struct tt_buffer *out, const struct tiptrue_run *run,
                    const struct tiptrue_plate *plate, const struct columns *columns,
                    const struct tt_units *units, const struct tt_observation *o)
{
    int decimals = decimals_in(units->per_mm, run, o);
    bool touching = !tt_is_sighting(o->kind);

    tt_buffer_printf(out, "%s,", tt_kind_words[o->kind]);
    tt_csv_text(out, target_name(plate, o));
    tt_buffer_putc(out, ',');
    if (touching) {
        tt_csv_text(out, run->tips[o->tip]);
    }
    tt_buffer_printf(out, ",%s,%s,", tt_fixed(units->per_mm * o->h.x_mm, decimals, false).text,
                     tt_fixed(units->per_mm * o->h.y_mm, decimals, false).text);
    if (columns->z) {
        put_z(out, run, units, o);
    }
    if (touching) {
        tt_number_write_rounded(out, tt_deg_from_rad(o->rotation_rad), PLAIN_DECIMALS);
    }
    if (columns->stage) {
        tt_buffer_puts(out, !touching ? "," : o->use == TT_USE_FIND ? ",find" : ",measure");
    }
    if (columns->feed) {
        tt_buffer_putc(out, ',');
        if (o->feed_mm_s > 0) {
            tt_number_write_rounded(out, units->per_mm * o->feed_mm_s * 60, PLAIN_DECIMALS);
        }
    }
    if (columns->temperature) {
        tt_buffer_putc(out, ',');
        tt_number_write_rounded(out, o->temperature_C, PLAIN_DECIMALS);
    }
    if (columns->setup) {
        tt_buffer_putc(out, ',');
        tt_csv_text(out, run->setups[o->setup]);
    }
    if (columns->pixels) {
        put_pixels(out, run, o);
    }
    tt_buffer_puts(out, !touching ? ",\n" : o->use == TT_USE_NO_CONTACT ? ",0\n" : ",1\n");
}

void tt_output_run_csv(const struct tiptrue_run *run, const struct tiptrue_plate *plate,
                       const struct tt_units *units, struct tt_buffer *out)
{
    struct columns columns = columns_of(run);

    put_remark(out, "machine", run->machine);
    put_remark(out, "plate", run->plate);
    put_remark(out, "note", run->note);
    put_remark(out, "units", units->per_mm == 1 ? NULL : units->word);
    tt_buffer_printf(out, "kind,target,tip,x,y,%srotation%s%s%s%s%s,contact\n",
                     columns.z ? "z," : "", columns.stage ? ",stage" : "",
                     columns.feed ? ",feed" : "", columns.temperature ? ",temperature" : "",
                     columns.setup ? ",setup" : "", columns.pixels ? ",px,py" : "");
    for (size_t i = 0; i < run->n_observations; i++) {
        put_row(out, run, plate, &columns, units, &run->observations[i]);
    }
}

void tt_output_controller_log(const struct tiptrue_run *run, const struct tiptrue_plan *plan,
                              struct tt_buffer *out)
{
    double unit = plan->log_mm_per_unit > 0 ? plan->log_mm_per_unit : plan->mm_per_unit;

    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        int decimals = decimals_in(1 / unit, run, o);
        tt_buffer_puts(out, "trip id=");
        if (plan->moves[i].id != NULL) {
            tt_buffer_puts(out, plan->moves[i].id);
        } else {
            tt_buffer_printf(out, "%zu", i + 1);
        }
        tt_buffer_printf(
            out, " x=%s y=%s z=%s", tt_fixed(o->h.x_mm / unit, decimals, false).text,
            tt_fixed(o->h.y_mm / unit, decimals, false).text,
            tt_fixed(o->z_mm / unit,
                     o->kind == TT_HEIGHT ? decimals_from(1 / unit, run->height_quantum_mm) : 4,
                     false)
                .text);
        if (o->kind == TT_VIEW) {
            tt_buffer_printf(out, " px=%s py=%s",
                             tt_fixed(o->px, decimals_of(run->quantum_px), false).text,
                             tt_fixed(o->py, decimals_of(run->quantum_px), false).text);
        }
        tt_buffer_printf(out, " ok=%d\n", o->use != TT_USE_NO_CONTACT);
    }
}
