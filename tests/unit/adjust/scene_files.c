/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A scene's files as text; read and solved as the program does it; what its findings say. */
#include "config.h"

#include "scene.h"

#include <check.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "ingest/ingest.h"
#include "output/text/sentences.h"

/* Text that grows; numbers by printf, since tests run in the C locale and must not share the
 * program's own way. */
__attribute__((format(printf, 2, 3))) static void add(struct tt_buffer *text, const char *format,
                                                      ...)
{
    char part[512];
    va_list arguments;
    va_start(arguments, format);
    const int length = vsnprintf(part, sizeof part, format, arguments);
    va_end(arguments);
    ck_assert(length >= 0 && (size_t)length < sizeof part);
    tt_buffer_add(text, part, (size_t)length);
}

static void add_number(struct tt_buffer *text, const char *key, double value)
{
    if (value != 0) {
        add(text, ", \"%s\": %.17g", key, value);
    }
}

static void add_text(struct tt_buffer *text, const char *key, const char *value)
{
    if (value != NULL) {
        add(text, ", \"%s\": \"%s\"", key, value);
    }
}

static char *finished(struct tt_buffer *text)
{
    ck_assert(!text->failed);
    return text->text;
}

char *scene_plate_text(const struct scene *s)
{
    struct tt_buffer text = {0};
    const double unit = s->plate_in_inch ? 25.4 : 1;
    add(&text,
        "{\"schema\": \"tiptrue.plate/1\", \"name\": \"slots\", \"units\": \"%s\", \"reference\": "
        "\"%s\"",
        s->plate_in_inch ? "inch" : "mm", s->marks[0].name);
    add_text(&text, "serial", s->serial);
    add_number(&text, "expansion_ppm_per_K", s->expansion_ppm_per_K);
    add_number(&text, "measured_at_C", s->measured_at_C);
    add(&text, ", \"marks\": [");
    for (size_t k = 0; k < s->n_marks; k++) {
        const struct scene_mark *m = &s->marks[k];
        add(&text, "%s{\"name\": \"%s\", \"at\": [%.17g, %.17g]", k > 0 ? ", " : "", m->name,
            m->x / unit, m->y / unit);
        add_number(&text, "u", m->u / unit);
        add_text(&text, "group", m->group);
        add(&text, "}");
    }
    add(&text, "], \"groups\": [");
    for (size_t g = 0; g < s->n_groups; g++) {
        add(&text, "%s{\"name\": \"%s\", \"u\": %.17g}", g > 0 ? ", " : "", s->groups[g].name,
            s->groups[g].u / unit);
    }
    add(&text, "], \"edges\": [");
    for (size_t k = 0; k < s->n_edges; k++) {
        const struct scene_edge *e = &s->edges[k];
        add(&text,
            "%s{\"name\": \"%s\", \"from\": [%.17g, %.17g], \"to\": [%.17g, %.17g], \"free_side\": "
            "\"%s\"",
            k > 0 ? ", " : "", e->name, e->from_x / unit, e->from_y / unit, e->to_x / unit,
            e->to_y / unit, e->free_right ? "right" : "left");
        add_number(&text, "u", e->u / unit);
        add_text(&text, "group", e->group);
        add(&text, "}");
    }
    add(&text, "]}");
    return finished(&text);
}

static void add_tips(struct tt_buffer *text, const struct scene *s, double unit)
{
    add(text, ", \"tips\": [");
    for (size_t t = 0; t < s->n_tips; t++) {
        const struct scene_tip *tip = &s->tips[t];
        add(text, "%s{\"name\": \"%s\"", t > 0 ? ", " : "", tip->name);
        add_number(text, "radius", tip->stated_radius / unit);
        add_number(text, "radius_u", tip->u_radius / unit);
        if (tip->has_present) {
            add(text, ", \"offset\": [%.17g, %.17g]", tip->present_x / unit, tip->present_y / unit);
        }
        add_text(text, "offset_plate", tip->present_plate);
        add(text, "}");
    }
    add(text, "]");
}

static void add_limits(struct tt_buffer *text, const struct scene *s, double unit)
{
    const char *const names[] = {"permitted_error", "expanded_uncertainty", "runout"};
    const double values[] = {s->permitted_error, s->expanded, s->runout_limit};
    const char *before = "";
    add(text, ", \"limits\": {");
    for (size_t k = 0; k < 3; k++) {
        if (values[k] > 0) {
            add(text, "%s\"%s\": %.17g", before, names[k], values[k] / unit);
            before = ", ";
        }
    }
    add(text, "}");
}

char *scene_machine_text(const struct scene *s)
{
    struct tt_buffer text = {0};
    const double unit = s->machine_in_inch ? 25.4 : 1;
    add(&text,
        "{\"schema\": \"tiptrue.machine/1\", \"name\": \"bench-4\", \"units\": \"%s\", "
        "\"rotation\": {\"sense\": \"%s\"",
        s->machine_in_inch ? "inch" : "mm", s->clockwise ? "cw" : "ccw");
    add_number(&text, "u_deg", s->u_rotation_deg);
    add(&text, "}");
    add_number(&text, "resolution", s->resolution / unit);
    if (s->u_sight > 0) {
        add(&text, ", \"sighting\": {\"u\": %.17g, \"dof\": %g}", s->u_sight / unit,
            scene_stated_dof(s));
    }
    if (s->u_touch > 0) {
        add(&text, ", \"touch\": {\"u\": %.17g, \"dof\": %g}", s->u_touch / unit,
            scene_stated_dof(s));
    }
    if (s->has_yaw) {
        add(&text, ", \"yaw\": {\"value_deg\": %.17g, \"u_deg\": %.17g}", s->nominal_yaw_deg,
            s->u_yaw_deg);
    }
    if (s->has_mark) {
        add(&text, ", \"mark\": {\"at\": [%.17g, %.17g], \"u\": %.17g}", s->machine_mark_x / unit,
            s->machine_mark_y / unit, s->u_mark / unit);
    }
    add_tips(&text, s, unit);
    add_limits(&text, s, unit);
    add(&text, "}");
    return finished(&text);
}

static void add_coordinate(struct tt_buffer *text, const struct scene *s, double value)
{
    value /= s->run_in_inch ? 25.4 : 1;
    if (s->decimals > 0) {
        add(text, ",%.*f", s->decimals, value);
    } else {
        add(text, ",%.17g", value);
    }
}

size_t scene_line(const struct scene *s, size_t index)
{
    return index + (s->run_in_inch ? 4 : 3);
}

char *scene_run_text(const struct scene *s, const struct scene_rows *rows)
{
    struct tt_buffer text = {0};
    add(&text,
        "# machine: bench-4\n%skind,target,tip,x,y,rotation,feed,temperature,setup,contact\n",
        s->run_in_inch ? "# units: inch\n" : "");
    for (size_t i = 0; i < rows->n; i++) {
        const struct scene_row *row = &rows->row[i];
        add(&text, "%s,%s,%s", row->is_sight ? "sight" : "touch",
            row->is_sight ? s->marks[row->target].name : s->edges[row->target].name,
            row->is_sight ? "" : s->tips[row->tip].name);
        add_coordinate(&text, s, row->x);
        add_coordinate(&text, s, row->y);
        if (row->is_sight) {
            add(&text, ",,");
        } else if (row->feed_mm_min > 0) {
            add(&text, ",%.17g,%.17g", row->rotation_deg,
                row->feed_mm_min / (s->run_in_inch ? 25.4 : 1));
        } else {
            add(&text, ",%.17g,", row->rotation_deg);
        }
        if (s->expansion_ppm_per_K != 0) {
            add(&text, ",%.17g", s->temperature_C);
        } else {
            add(&text, ",");
        }
        add(&text, ",%s,%s\n", s->setups[row->setup].name,
            row->is_sight     ? ""
            : row->no_contact ? "0"
                              : "1");
    }
    return finished(&text);
}

/* ---- read and solve ---- */

static void fail_on_fault(void *context, const struct tiptrue_diagnostic *d)
{
    (void)context;
    if (d->severity == TIPTRUE_ERROR) {
        ck_abort_msg("%s:%zu:%zu: %s", d->file, d->line, d->column, d->text);
    }
}

struct scene_read scene_read(const struct scene *s, const struct scene_rows *rows)
{
    const struct tiptrue_sink sink = {fail_on_fault, NULL};
    struct scene_read read = {0};
    char *plate = scene_plate_text(s), *machine = scene_machine_text(s),
         *run = scene_run_text(s, rows);
    ck_assert_int_eq(
        tt_plate_read_bytes("plate.json", plate, strlen(plate), &sink, &read.plate, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(
        tt_machine_read_bytes("machine.json", machine, strlen(machine), &sink, &read.machine, NULL),
        TIPTRUE_OK);
    ck_assert_int_eq(tt_run_read_bytes("run.csv", run, strlen(run), read.plate, read.machine, NULL,
                                       NULL, &sink, &read.run, NULL),
                     TIPTRUE_OK);
    free(plate);
    free(machine);
    free(run);
    return read;
}

void scene_read_free(struct scene_read *read)
{
    tiptrue_run_free(read->run);
    tiptrue_machine_free(read->machine);
    tiptrue_plate_free(read->plate);
    *read = (struct scene_read){0};
}

struct tiptrue_solution *scene_solve(const struct scene *s, const struct scene_rows *rows,
                                     bool least_squares)
{
    const struct tiptrue_solve_options options = {.least_squares = least_squares};
    struct scene_read read = scene_read(s, rows);
    struct tt_adjust_workspace *workspace = NULL;
    struct tiptrue_solution *solution = NULL;
    struct tiptrue_error error = {0};
    ck_assert_int_eq(tt_adjust_workspace_new(&workspace, NULL), TIPTRUE_OK);
    const enum tiptrue_status status =
        tt_adjust(workspace, read.plate, read.machine, read.run, &options, &solution, &error);
    ck_assert_msg(status == TIPTRUE_OK, "%s", error.text);
    ck_assert_int_eq(tt_sentences(solution), TIPTRUE_OK);
    tt_adjust_workspace_free(workspace);
    scene_read_free(&read);
    return solution;
}

struct tiptrue_solution *scene_result(const struct scene *s)
{
    struct scene_rows rows = scene_simulate(s);
    struct tiptrue_solution *solution = scene_solve(s, &rows, false);
    scene_rows_free(&rows);
    return solution;
}

size_t scene_count(const struct tiptrue_solution *solution, enum tt_finding_code code)
{
    size_t n = 0;
    for (size_t i = 0; i < solution->n_findings; i++) {
        n += solution->findings[i].code == code;
    }
    return n;
}

const struct tt_finding *scene_finding(const struct tiptrue_solution *solution,
                                       enum tt_finding_code code)
{
    for (size_t i = 0; i < solution->n_findings; i++) {
        if (solution->findings[i].code == code) {
            return &solution->findings[i];
        }
    }
    ck_abort_msg("no finding '%s'", tt_finding_name(code));
    return NULL;
}

const struct tt_finding *scene_only(const struct tiptrue_solution *solution,
                                    enum tt_finding_code code, enum tiptrue_severity severity)
{
    for (size_t i = 0; i < solution->n_findings; i++) {
        ck_assert_msg(solution->findings[i].code == code, "%s: %s",
                      tt_finding_name(solution->findings[i].code), solution->findings[i].text);
    }
    ck_assert_uint_eq(solution->n_findings, 1);
    ck_assert_int_eq(solution->findings[0].severity, severity);
    return &solution->findings[0];
}

void scene_check_words(const char *text, const char *const words[], size_t n)
{
    for (size_t k = 0; k < n; k++) {
        ck_assert_msg(strstr(text, words[k]) != NULL, "'%s' is not in: %s", words[k], text);
    }
}

void scene_check_near(const struct tiptrue_solution *solution, const struct scene *s,
                      double tolerance_mm)
{
    ck_assert_double_eq_tol(solution->tips[0].offset.x_mm, s->tips[0].offset_x, tolerance_mm);
    ck_assert_double_eq_tol(solution->tips[0].offset.y_mm, s->tips[0].offset_y, tolerance_mm);
}
