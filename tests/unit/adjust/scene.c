/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "scene.h"

#include <check.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "ingest/ingest.h"

#define DEG (acos(-1) / 180)

struct scene_edge scene_edge_at(const char *name, double x, double y, double normal_deg, double half, bool free_right)
{
    /* to the left of the direction of travel lies what it is turned to by a quarter turn counter-clockwise */
    const double along_deg = free_right ? normal_deg + 90 : normal_deg - 90;
    const double a = half * cos(along_deg * DEG), b = half * sin(along_deg * DEG);
    return (struct scene_edge){
        .name = name, .from_x = x - a, .from_y = y - b, .to_x = x + a, .to_y = y + b, .free_right = free_right};
}

struct scene scene_plain(void)
{
    struct scene s = {.serial = "0417",
                      .n_marks = 3,
                      .marks = {{.name = "A"}, {.name = "B", .x = 43.5, .y = -2.25}, {.name = "C", .x = -3.75, .y = 31.5}},
                      .n_edges = 4,
                      .u_touch = 0.003,
                      .u_sight = 0.002,
                      .n_tips = 1,
                      .n_setups = 1,
                      .setups = {{"1", 117.25, 71.8125, 0.3}},
                      .sightings = 2,
                      .rotations = 12,
                      .first_rotation_deg = 7.5,
                      .sweep_deg = 360,
                      .spread = 0.13,
                      .seed = 20260401};
    s.edges[0] = scene_edge_at("left", 13.25, 8.5, 0, 3.5, false);
    s.edges[1] = scene_edge_at("right", 21.75, 8.25, 180, 3.5, true);
    s.edges[2] = scene_edge_at("lower", 17.5, 4.75, 90, 2.75, true);
    s.edges[3] = scene_edge_at("upper", 17.25, 12.5, 270, 2.75, false);
    s.tips[0] = (struct scene_tip){
        .name = "t1", .offset_x = -41.3125, .offset_y = 12.7031, .runout_x = 0.0312, .runout_y = -0.0187, .radius = 0.2481};
    return s;
}

struct scene scene_usual(unsigned long seed)
{
    struct scene s = scene_plain();
    s.sigma_touch = 0.003;
    s.sigma_sight = 0.002;
    s.decimals = 4;
    s.seed = seed;
    return s;
}

/* ---- what is logged ---- */

struct vector {
    double x, y;
};

static struct vector turn(double angle_deg, double x, double y)
{
    const double c = cos(angle_deg * DEG), s = sin(angle_deg * DEG);
    return (struct vector){c * x - s * y, s * x + c * y};
}

static double thermal_scale(const struct scene *s)
{
    return 1 + s->expansion_ppm_per_K * 1e-6 * (s->temperature_C - s->measured_at_C);
}

static struct vector group_shift(const struct scene *s, const char *name)
{
    for (size_t g = 0; g < s->n_groups && name != NULL; g++) {
        if (strcmp(s->groups[g].name, name) == 0) {
            return (struct vector){s->groups[g].shift_x, s->groups[g].shift_y};
        }
    }
    return (struct vector){0, 0};
}

/* The camera over a mark. */
static struct scene_row sight(const struct scene *s, size_t setup, size_t mark)
{
    const struct scene_setup *pose = &s->setups[setup];
    const struct scene_mark *m = &s->marks[mark];
    const struct vector g = group_shift(s, m->group);
    const struct vector arm = turn(pose->yaw_deg, m->x, m->y), shift = turn(pose->yaw_deg, m->shift_x + g.x, m->shift_y + g.y);
    return (struct scene_row){.is_sight = true,
                              .target = mark,
                              .setup = setup,
                              .x = pose->mark_x + thermal_scale(s) * arm.x + shift.x,
                              .y = pose->mark_y + thermal_scale(s) * arm.y + shift.y};
}

/* What lies between the tip's centre and the latch, when the edge's normal points to @normal_deg of the machine. */
static double contact_radius(const struct scene *s, const struct scene_tip *tip, double normal_deg, double rotation_deg,
                             double feed)
{
    const double psi = (normal_deg + 180 - rotation_deg) * DEG, c = cos(normal_deg * DEG), n = sin(normal_deg * DEG);
    double rho = tip->radius + 0.5 * s->lost_motion * (c * c - n * n) - s->latency_s * feed / 60;
    if (tip->order > 0) {
        rho += tip->shape_cos * cos(tip->order * psi) + tip->shape_sin * sin(tip->order * psi);
    }
    return rho;
}

/* The head where the tip's contact point lies on the edge, @share of the way along it. */
static struct scene_row touch(const struct scene *s, size_t setup, size_t edge, size_t t, double rotation_deg, double share,
                              double feed)
{
    const struct scene_setup *pose = &s->setups[setup];
    const struct scene_edge *e = &s->edges[edge];
    const struct scene_tip *tip = &s->tips[t];
    const double along_deg = atan2(e->to_y - e->from_y, e->to_x - e->from_x) / DEG;
    const double plate_normal_deg = e->free_right ? along_deg - 90 : along_deg + 90;
    const struct vector plate_n = turn(plate_normal_deg, 1, 0), n = turn(pose->yaw_deg, plate_n.x, plate_n.y);
    const struct vector g = group_shift(s, e->group);
    const struct vector at =
        turn(pose->yaw_deg, e->from_x + share * (e->to_x - e->from_x), e->from_y + share * (e->to_y - e->from_y));
    const double out =
        e->shift + g.x * plate_n.x + g.y * plate_n.y + contact_radius(s, tip, plate_normal_deg + pose->yaw_deg, rotation_deg, feed);
    const struct vector runout = turn(rotation_deg, tip->runout_x, tip->runout_y);
    return (struct scene_row){.target = edge,
                              .tip = t,
                              .setup = setup,
                              .x = pose->mark_x + thermal_scale(s) * at.x + out * n.x - tip->offset_x - runout.x,
                              .y = pose->mark_y + thermal_scale(s) * at.y + out * n.y - tip->offset_y - runout.y,
                              .rotation_deg = s->clockwise ? -rotation_deg : rotation_deg,
                              .feed_mm_min = feed,
                              .n_x = n.x,
                              .n_y = n.y};
}

void scene_deepen(struct scene_row *row, double mm)
{
    row->x -= mm * row->n_x;
    row->y -= mm * row->n_y;
}

static void add_scatter(const struct scene *s, struct scene_row *row, gsl_rng *random)
{
    if (row->is_sight) {
        row->x += gsl_ran_gaussian(random, s->sigma_sight);
        row->y += gsl_ran_gaussian(random, s->sigma_sight);
    } else {
        scene_deepen(row, gsl_ran_gaussian(random, s->sigma_touch));
    }
}

struct scene_rows scene_simulate(const struct scene *s)
{
    struct scene_rows rows = {0};
    const size_t most = s->n_setups * (s->sightings * s->n_marks + s->rotations * s->n_edges * s->n_tips);
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    rows.row = calloc(most, sizeof *rows.row);
    ck_assert(random != NULL && rows.row != NULL);
    gsl_rng_set(random, s->seed);
    for (size_t setup = 0; setup < s->n_setups; setup++) {
        for (size_t i = 0; i < s->sightings * s->n_marks; i++) {
            rows.row[rows.n++] = sight(s, setup, i / s->sightings);
        }
        for (size_t i = 0; i < s->rotations * s->n_edges * s->n_tips; i++) {
            const size_t tip = i % s->n_tips, edge = i / s->n_tips % s->n_edges, turn_index = i / (s->n_tips * s->n_edges);
            const double rotation_deg = s->first_rotation_deg + s->sweep_deg * (double)turn_index / (double)s->rotations;
            const double feed = s->feed_mm_min[s->feed_mm_min[1] > 0 ? (turn_index + edge) % 2 : 0];
            rows.row[rows.n++] = touch(s, setup, edge, tip, rotation_deg, 0.3 + s->spread * (double)(turn_index % 4), feed);
        }
    }
    for (size_t i = 0; i < rows.n; i++) {
        add_scatter(s, &rows.row[i], random);
    }
    gsl_rng_free(random);
    return rows;
}

void scene_rows_free(struct scene_rows *rows)
{
    free(rows->row);
    *rows = (struct scene_rows){0};
}

/* ---- files ---- */

/* Text that grows; numbers by printf, since tests run in the C locale and must not share the program's own way. */
__attribute__((format(printf, 2, 3))) static void add(struct tt_buffer *text, const char *format, ...)
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
    add(&text, "{\"schema\": \"tiptrue.plate/1\", \"name\": \"slots\", \"units\": \"%s\", \"reference\": \"%s\"",
        s->plate_in_inch ? "inch" : "mm", s->marks[0].name);
    add_text(&text, "serial", s->serial);
    add_number(&text, "expansion_ppm_per_K", s->expansion_ppm_per_K);
    add_number(&text, "measured_at_C", s->measured_at_C);
    add(&text, ", \"marks\": [");
    for (size_t k = 0; k < s->n_marks; k++) {
        const struct scene_mark *m = &s->marks[k];
        add(&text, "%s{\"name\": \"%s\", \"at\": [%.17g, %.17g]", k > 0 ? ", " : "", m->name, m->x / unit, m->y / unit);
        add_number(&text, "u", m->u / unit);
        add_text(&text, "group", m->group);
        add(&text, "}");
    }
    add(&text, "], \"groups\": [");
    for (size_t g = 0; g < s->n_groups; g++) {
        add(&text, "%s{\"name\": \"%s\", \"u\": %.17g}", g > 0 ? ", " : "", s->groups[g].name, s->groups[g].u / unit);
    }
    add(&text, "], \"edges\": [");
    for (size_t k = 0; k < s->n_edges; k++) {
        const struct scene_edge *e = &s->edges[k];
        add(&text, "%s{\"name\": \"%s\", \"from\": [%.17g, %.17g], \"to\": [%.17g, %.17g], \"free_side\": \"%s\"",
            k > 0 ? ", " : "", e->name, e->from_x / unit, e->from_y / unit, e->to_x / unit, e->to_y / unit,
            e->free_right ? "right" : "left");
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
    add(&text, "{\"schema\": \"tiptrue.machine/1\", \"name\": \"bench-4\", \"units\": \"%s\", \"rotation\": {\"sense\": \"%s\"",
        s->machine_in_inch ? "inch" : "mm", s->clockwise ? "cw" : "ccw");
    add_number(&text, "u_deg", s->u_rotation_deg);
    add(&text, "}");
    add_number(&text, "resolution", s->resolution / unit);
    if (s->u_sight > 0) {
        add(&text, ", \"sighting\": {\"u\": %.17g}", s->u_sight / unit);
    }
    if (s->u_touch > 0) {
        add(&text, ", \"touch\": {\"u\": %.17g}", s->u_touch / unit);
    }
    if (s->has_yaw) {
        add(&text, ", \"yaw\": {\"value_deg\": %.17g, \"u_deg\": %.17g}", s->nominal_yaw_deg, s->u_yaw_deg);
    }
    if (s->has_mark) {
        add(&text, ", \"mark\": {\"at\": [%.17g, %.17g], \"u\": %.17g}", s->machine_mark_x / unit, s->machine_mark_y / unit,
            s->u_mark / unit);
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
    add(&text, "# machine: bench-4\n%skind,target,tip,x,y,rotation,feed,temperature,setup,contact\n",
        s->run_in_inch ? "# units: inch\n" : "");
    for (size_t i = 0; i < rows->n; i++) {
        const struct scene_row *row = &rows->row[i];
        add(&text, "%s,%s,%s", row->is_sight ? "sight" : "touch",
            row->is_sight ? s->marks[row->target].name : s->edges[row->target].name, row->is_sight ? "" : s->tips[row->tip].name);
        add_coordinate(&text, s, row->x);
        add_coordinate(&text, s, row->y);
        if (row->is_sight) {
            add(&text, ",,");
        } else if (row->feed_mm_min > 0) {
            add(&text, ",%.17g,%.17g", row->rotation_deg, row->feed_mm_min / (s->run_in_inch ? 25.4 : 1));
        } else {
            add(&text, ",%.17g,", row->rotation_deg);
        }
        if (s->expansion_ppm_per_K != 0) {
            add(&text, ",%.17g", s->temperature_C);
        } else {
            add(&text, ",");
        }
        add(&text, ",%s,%s\n", s->setups[row->setup].name, row->is_sight ? "" : row->no_contact ? "0" : "1");
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
    char *plate = scene_plate_text(s), *machine = scene_machine_text(s), *run = scene_run_text(s, rows);
    ck_assert_int_eq(tt_plate_read_bytes("plate.json", plate, strlen(plate), &sink, &read.plate, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_machine_read_bytes("machine.json", machine, strlen(machine), &sink, &read.machine, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_run_read_bytes("run.csv", run, strlen(run), read.plate, read.machine, NULL, NULL, &sink, &read.run, NULL),
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

struct tiptrue_solution *scene_solve(const struct scene *s, const struct scene_rows *rows, bool least_squares)
{
    const struct tiptrue_solve_options options = {.least_squares = least_squares};
    struct scene_read read = scene_read(s, rows);
    struct tt_adjust_workspace *workspace = NULL;
    struct tiptrue_solution *solution = NULL;
    struct tiptrue_error error = {0};
    ck_assert_int_eq(tt_adjust_workspace_new(&workspace, NULL), TIPTRUE_OK);
    const enum tiptrue_status status = tt_adjust(workspace, read.plate, read.machine, read.run, &options, &solution, &error);
    ck_assert_msg(status == TIPTRUE_OK, "%s", error.text);
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

const struct tt_finding *scene_finding(const struct tiptrue_solution *solution, enum tt_finding_code code)
{
    for (size_t i = 0; i < solution->n_findings; i++) {
        if (solution->findings[i].code == code) {
            return &solution->findings[i];
        }
    }
    ck_abort_msg("no finding '%s'", tt_finding_name(code));
    return NULL;
}
