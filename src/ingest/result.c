/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.result/1 back into the solution it was written from: written again it gives the same
 * bytes. */
#include "config.h"

#include "ingest/result.h"

#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "ingest/document.h"
#include "ingest/ingest.h"
#include "ingest/kinds.h"
#include "base/time.h"
#include "ingest/archive.h"
#include "ingest/bytes.h"

/* A correlation or a probability that another program computed may lie this far beyond its ends. */
#define ROUNDING 1e-9

/* Whatever a double holds: what a result says of itself is not judged here. */
static const struct tt_bounds any_number = {-HUGE_VAL, HUGE_VAL, false, NULL};
static const struct tt_bounds any_count = {0, INT_MAX, false, "a whole number of at least 0"};

bool tt_result_number(struct tt_fields *fields, const cJSON *object, const char *what,
                      const char *key, double *value)
{
    return tt_field_number(fields, object, what, key, TT_OPTIONAL, &any_number, value);
}

bool tt_result_number_in(struct tt_fields *fields, const cJSON *object, const char *what,
                         const char *key, double lowest, double highest, double *value)
{
    char hint[80];
    const struct tt_bounds bounds = {lowest - ROUNDING, highest + ROUNDING, false, hint};

    snprintf(hint, sizeof hint, isinf(highest) ? "at least %g" : "from %g to %g", lowest, highest);
    return tt_field_number(fields, object, what, key, TT_OPTIONAL, &bounds, value);
}

size_t tt_result_count(struct tt_fields *fields, const cJSON *object, const char *what,
                       const char *key)
{
    double value = 0;

    return tt_field_number(fields, object, what, key, TT_OPTIONAL, &any_count, &value)
               ? (size_t)value
               : 0;
}

struct tt_result_xy tt_result_xy(struct tt_fields *fields, const cJSON *object, const char *what,
                                 const char *key)
{
    struct tt_result_xy xy = {0};
    const cJSON *item =
        object != NULL ? tt_field_object(fields, object, what, key, TT_OPTIONAL) : NULL;

    if (item != NULL) {
        xy.has_x = tt_result_number(fields, item, what, "x", &xy.x);
        xy.has_y = tt_result_number(fields, item, what, "y", &xy.y);
    }
    return xy;
}

double tt_result_angle(struct tt_fields *fields, const cJSON *object, const char *what,
                       const char *key)
{
    double angle_deg = 0;

    tt_result_number(fields, object, what, key, &angle_deg);
    return tt_rad_from_deg(angle_deg);
}

bool tt_result_bool(struct tt_fields *fields, const cJSON *object, const char *what,
                    const char *key)
{
    const cJSON *item = tt_field(fields, object, what, key, TT_OPTIONAL);

    if (item != NULL && !cJSON_IsBool(item)) {
        tt_field_tell_form(fields, item, what, key, "true or false");
    }
    return cJSON_IsTrue(item);
}

const cJSON *tt_result_array(struct tt_fields *fields, const cJSON *object, const char *what,
                             const char *key, size_t *n)
{
    const cJSON *array = tt_field_array(fields, object, what, key, TT_OPTIONAL);

    *n = array != NULL ? (size_t)cJSON_GetArraySize(array) : 0;
    for (const cJSON *item = array != NULL ? array->child : NULL; item != NULL; item = item->next) {
        if (!cJSON_IsObject(item) && !cJSON_IsString(item)) {
            tt_field_tell_form(fields, item, what, key, "a list of objects");
            *n = 0;
            break;
        }
    }
    return array;
}

enum tiptrue_verdict tt_result_verdict(struct tt_fields *fields, const cJSON *object,
                                       const char *key, const char *what, bool least_squares)
{
    size_t word =
        tt_field_word(fields, object, what, key, least_squares ? TT_OPTIONAL : TT_REQUIRED,
                      tt_verdict_words, TT_VERDICTS, TIPTRUE_REPEAT);
    return least_squares ? TIPTRUE_REPEAT : (enum tiptrue_verdict)word;
}

static void read_run(struct tt_fields *fields, struct tiptrue_solution *solution)
{
    static const char *const known[] = {
        "id",           "file",      "machine",       "plate",
        "plate_serial", "started",   "temperature_C", "rotation_sense",
        "touches",      "sightings", "heights"};
    static const char *const senses[] = {"ccw", "cw"};
    const char *what = "run of the result";
    const cJSON *run = tt_field_object(fields, fields->json.root, "result", "run", TT_REQUIRED),
                *touches;

    if (run == NULL) {
        return;
    }
    tt_field_unknown(fields, run, what, known, sizeof known / sizeof known[0]);
    solution->run_id = tt_field_text(fields, run, what, "id", TT_REQUIRED);
    solution->file = tt_field_text(fields, run, what, "file", TT_OPTIONAL);
    solution->machine = tt_field_text(fields, run, what, "machine", TT_OPTIONAL);
    solution->plate = tt_field_text(fields, run, what, "plate", TT_OPTIONAL);
    solution->plate_serial = tt_field_text(fields, run, what, "plate_serial", TT_OPTIONAL);
    solution->started = tt_field_text(fields, run, what, "started", TT_OPTIONAL);
    solution->has_temperature = cJSON_GetObjectItemCaseSensitive(run, "temperature_C") != NULL;
    if (solution->has_temperature) {
        tt_result_number(fields, run, what, "temperature_C", &solution->temperature_C);
    }
    size_t sense =
        tt_field_word(fields, run, what, "rotation_sense", TT_OPTIONAL, senses, 2, TT_NONE);
    solution->rotation_sense = sense != TT_NONE ? senses[sense] : NULL;
    double seconds;
    if (solution->started != NULL &&
        !tt_time_read(solution->started, strlen(solution->started), &seconds)) {
        tt_fault(fields->diagnose,
                 tt_json_place(&fields->json, cJSON_GetObjectItemCaseSensitive(run, "started")),
                 "RFC 3339, such as 2026-03-02T07:40:00Z", "%s: 'started' is no time", what);
    }
    solution->sightings = tt_result_count(fields, run, what, "sightings");
    solution->heights = tt_result_count(fields, run, what, "heights");
    touches = tt_field_object(fields, run, what, "touches", TT_OPTIONAL);
    if (touches != NULL) {
        solution->touches_read = tt_result_count(fields, touches, what, "read");
        solution->touches_used = tt_result_count(fields, touches, what, "used");
        solution->touches_set_aside = tt_result_count(fields, touches, what, "set_aside");
        solution->touches_no_contact = tt_result_count(fields, touches, what, "no_contact");
        solution->touches_find = tt_result_count(fields, touches, what, "find");
        solution->warmups = tt_result_count(fields, touches, what, "warmup");
    }
}

static void read_poses(struct tt_fields *fields, struct tiptrue_solution *solution)
{
    const char *what = "pose";
    size_t n;
    const cJSON *array = tt_result_array(fields, fields->json.root, "result", "poses", &n);

    solution->poses = TT_ARENA_NEW(fields->arena, n, struct tt_pose_result);
    fields->out_of_memory = fields->out_of_memory || solution->poses == NULL;
    for (const cJSON *item = n > 0 ? array->child : NULL; item != NULL && solution->poses != NULL;
         item = item->next) {
        struct tt_pose_result *pose = &solution->poses[solution->n_poses++];
        struct tt_result_xy mark = tt_result_xy(fields, item, what, "mark_mm"),
                            u = tt_result_xy(fields, item, what, "u_mark_mm");
        double yaw_deg;
        pose->setup = tt_field_text(fields, item, what, "setup", TT_REQUIRED);
        pose->mark_determined = mark.has_x && mark.has_y;
        pose->mark = (struct tt_machine_xy){mark.x, mark.y};
        pose->u_mark_x_mm = u.x;
        pose->u_mark_y_mm = u.y;
        pose->yaw_determined = tt_result_number(fields, item, what, "yaw_deg", &yaw_deg);
        pose->yaw_rad = pose->yaw_determined ? tt_rad_from_deg(yaw_deg) : 0;
        pose->u_yaw_rad = tt_result_angle(fields, item, what, "u_yaw_deg");
    }
}

static void read_tips(struct tt_fields *fields, struct tiptrue_solution *solution)
{
    size_t n;
    const cJSON *array = tt_result_array(fields, fields->json.root, "result", "tips", &n);

    if (array == NULL) {
        tt_fault(fields->diagnose, tt_json_place(&fields->json, fields->json.root), NULL,
                 "result: 'tips' is missing");
    }
    solution->tips = TT_ARENA_NEW(fields->arena, n, struct tt_tip_result);
    solution->tip_names = TT_ARENA_NEW(fields->arena, n, const char *);
    if (solution->tips == NULL || solution->tip_names == NULL) {
        fields->out_of_memory = true;
        return;
    }
    for (const cJSON *item = n > 0 ? array->child : NULL; item != NULL; item = item->next) {
        struct tt_tip_result *tip = &solution->tips[solution->n_tips];
        tt_result_read_tip(fields, item, solution, tip);
        for (size_t i = 0; i < solution->n_tips && tip->name != NULL; i++) {
            if (solution->tips[i].name != NULL && strcmp(solution->tips[i].name, tip->name) == 0) {
                tt_fault(fields->diagnose, tt_json_place(&fields->json, item), NULL,
                         "result: tip '%s' stands twice",
                         tt_shown(tip->name, strlen(tip->name)).text);
            }
        }
        solution->tip_names[solution->n_tips++] = tip->name;
    }
    solution->n_tip_names = solution->n_tips;
}

/* {"u": ..., "dof": ..., "stated_dof": ...} */
static bool read_repeatability(struct tt_fields *fields, const char *key, double *u_mm, double *dof,
                               double *stated_dof)
{
    const cJSON *item = tt_field_object(fields, fields->json.root, "result", key, TT_OPTIONAL);

    if (item == NULL || !tt_result_number(fields, item, key, "u", u_mm)) {
        return false;
    }
    *dof = HUGE_VAL;
    tt_result_number(fields, item, key, "dof", dof);
    tt_result_number(fields, item, key, "stated_dof", stated_dof);
    return true;
}

static void read_edges(struct tt_fields *fields, struct tiptrue_solution *solution)
{
    const char *what = "edge of the result";
    size_t n;
    const cJSON *array = tt_result_array(fields, fields->json.root, "result", "edges", &n);

    solution->edges = TT_ARENA_NEW(fields->arena, n, struct tt_edge_result);
    solution->edge_names = TT_ARENA_NEW(fields->arena, n, const char *);
    if (solution->edges == NULL || solution->edge_names == NULL) {
        fields->out_of_memory = true;
        return;
    }
    for (const cJSON *item = n > 0 ? array->child : NULL; item != NULL; item = item->next) {
        struct tt_edge_result *edge = &solution->edges[solution->n_edges];
        edge->name = tt_field_text(fields, item, what, "edge", TT_REQUIRED);
        edge->touches = tt_result_count(fields, item, what, "touches");
        edge->used = tt_result_count(fields, item, what, "used");
        tt_result_number(fields, item, what, "mean_residual_mm", &edge->mean_residual_mm);
        tt_result_number(fields, item, what, "rms_residual_mm", &edge->rms_residual_mm);
        tt_result_later(fields, item, what, "straightness_mm", &edge->straightness_mm);
        tt_result_number(fields, item, what, "shift_mm", &edge->shift_mm);
        tt_result_number(fields, item, what, "u_shift_mm", &edge->u_shift_mm);
        tt_result_later(fields, item, what, "unseen_shift_mm", &edge->unseen_shift_mm);
        tt_result_later(fields, item, what, "unseen_effect_mm", &edge->unseen_effect_mm);
        solution->edge_names[solution->n_edges++] = edge->name;
    }
    solution->n_edge_names = solution->n_edges;
}

/* The index of @name, which a table of names has room for: an edge may be untouched. */
static size_t name_index(const char *name, const char **names, size_t *n)
{
    size_t i = name == NULL ? TT_NONE : 0;

    while (i < *n && (names[i] == NULL || strcmp(names[i], name) != 0)) {
        i++;
    }
    if (i == *n) {
        names[(*n)++] = name;
    }
    return i;
}

/* @names with room for @more further ones. */
static const char **widened(struct tt_fields *fields, const char **names, size_t n, size_t more)
{
    const char **wide = TT_ARENA_NEW(fields->arena, n + more, const char *);

    if (wide == NULL) {
        fields->out_of_memory = true;
    } else if (n > 0) {
        memcpy(wide, names, n * sizeof *wide);
    }
    return wide;
}

static const size_t *read_lines(struct tt_fields *fields, const cJSON *item, const char *what,
                                size_t *n_lines)
{
    const cJSON *rows = tt_field_array(fields, item, what, "rows", TT_OPTIONAL);
    size_t n = rows != NULL ? (size_t)cJSON_GetArraySize(rows) : 0,
           *lines = TT_ARENA_NEW(fields->arena, n, size_t);

    fields->out_of_memory = fields->out_of_memory || lines == NULL;
    for (const cJSON *row = n > 0 ? rows->child : NULL; row != NULL && lines != NULL;
         row = row->next) {
        if (!cJSON_IsNumber(row) || row->valuedouble < 0 || row->valuedouble > INT_MAX) {
            tt_field_tell_form(fields, row, what, "rows", "a list of line numbers");
            break;
        }
        lines[(*n_lines)++] = (size_t)row->valuedouble;
    }
    return lines;
}

/* The key @name of "values" without its unit's suffix, copied, or NULL (told, or out of memory). */
static const char *read_key(struct tt_fields *fields, const cJSON *item, enum tt_unit *unit)
{
    size_t length = strlen(item->string), cut = 0;

    *unit = TT_UNIT_NONE;
    for (int i = 0; i < TT_UNITS && !cJSON_IsString(item); i++) {
        const char *suffix = tt_unit_suffix((enum tt_unit)i);
        size_t n = strlen(suffix);
        if (n > cut && n < length && strcmp(item->string + length - n, suffix) == 0) {
            cut = n;
            *unit = (enum tt_unit)i;
        }
    }
    if (length == 0 || length > TT_LONGEST_KEY) {
        tt_field_tell_form(fields, item, "finding", "values",
                           "an object with keys of 1 to 63 bytes");
        return NULL;
    }
    const char *key = tt_arena_copy_text(fields->arena, item->string, length - cut);
    fields->out_of_memory = fields->out_of_memory || key == NULL;
    return key;
}

/* "values": numbers, texts, null for what is not determined. Results of earlier versions have none.
 */
static void read_values(struct tt_fields *fields, const cJSON *finding, struct tt_finding *made)
{
    const cJSON *object = tt_field_object(fields, finding, "finding", "values", TT_OPTIONAL);
    size_t n = object != NULL ? (size_t)cJSON_GetArraySize(object) : 0;
    struct tt_value *values = TT_ARENA_NEW(fields->arena, n, struct tt_value);

    fields->out_of_memory = fields->out_of_memory || values == NULL;
    for (const cJSON *item = n > 0 ? object->child : NULL; item != NULL && values != NULL;
         item = item->next) {
        struct tt_value *value = &values[made->n_values];
        if (!cJSON_IsNumber(item) && !cJSON_IsString(item) && !cJSON_IsNull(item)) {
            tt_field_tell_form(fields, item, "finding", "values", "an object of numbers and texts");
            return;
        }
        if ((value->key = read_key(fields, item, &value->unit)) == NULL) {
            return;
        }
        if (cJSON_IsString(item)) {
            value->text =
                tt_arena_copy_text(fields->arena, item->valuestring, strlen(item->valuestring));
            fields->out_of_memory = fields->out_of_memory || value->text == NULL;
        } else {
            double number = cJSON_IsNumber(item) ? item->valuedouble : NAN;
            value->number = value->unit == TT_UNIT_RAD ? tt_rad_from_deg(number) : number;
        }
        made->n_values++;
    }
    made->values = values;
}

/* false: its code is not known here (warned): a newer version may know more. */
static bool read_code(struct tt_fields *fields, const cJSON *item, const char *what,
                      enum tt_finding_code *code)
{
    const char *name = tt_field_text(fields, item, what, "code", TT_REQUIRED);

    for (int i = 0; name != NULL && i < TT_FINDING_CODES; i++) {
        if (strcmp(name, tt_finding_name((enum tt_finding_code)i)) == 0) {
            *code = (enum tt_finding_code)i;
            return true;
        }
    }
    if (name != NULL) {
        tt_warn(fields->diagnose, tt_json_place(&fields->json, item),
                "was the result written by a newer version?", "%s: unknown code '%s' is left out",
                what, tt_shown(name, strlen(name)).text);
    }
    return false;
}

static void read_findings(struct tt_fields *fields, struct tiptrue_solution *solution)
{
    const char *what = "finding";
    size_t n;
    const cJSON *array = tt_result_array(fields, fields->json.root, "result", "findings", &n);

    solution->findings = TT_ARENA_NEW(fields->arena, n, struct tt_finding);
    solution->edge_names = widened(fields, solution->edge_names, solution->n_edge_names, n);
    solution->tip_names = widened(fields, solution->tip_names, solution->n_tip_names, n);
    solution->setup_names = widened(fields, NULL, 0, n);
    fields->out_of_memory = fields->out_of_memory || solution->findings == NULL;
    if (fields->out_of_memory) {
        return;
    }
    for (const cJSON *item = n > 0 ? array->child : NULL; item != NULL; item = item->next) {
        struct tt_finding finding = {0};
        if (!read_code(fields, item, what, &finding.code)) {
            continue;
        }
        finding.severity =
            (enum tiptrue_severity)tt_field_word(fields, item, what, "severity", TT_REQUIRED,
                                                 tt_severity_words, TT_SEVERITIES, TIPTRUE_ERROR);
        finding.text = tt_field_text(fields, item, what, "text", TT_REQUIRED);
        finding.edge = name_index(tt_field_text(fields, item, what, "edge", TT_OPTIONAL),
                                  solution->edge_names, &solution->n_edge_names);
        finding.tip = name_index(tt_field_text(fields, item, what, "tip", TT_OPTIONAL),
                                 solution->tip_names, &solution->n_tip_names);
        finding.setup = name_index(tt_field_text(fields, item, what, "setup", TT_OPTIONAL),
                                   solution->setup_names, &solution->n_setup_names);
        finding.lines = read_lines(fields, item, what, &finding.n_lines);
        read_values(fields, item, &finding);
        solution->findings[solution->n_findings++] = finding;
    }
}

/* A number in *x, or an object of x and y. */
static void read_one_or_two(struct tt_fields *fields, const cJSON *item, const char *what,
                            const char *key, double *x, double *y)
{
    if (cJSON_IsObject(cJSON_GetObjectItemCaseSensitive(item, key))) {
        struct tt_result_xy xy = tt_result_xy(fields, item, what, key);
        *x = xy.x;
        *y = xy.y;
    } else {
        tt_result_number(fields, item, what, key, x);
    }
}

static void read_row(struct tt_fields *fields, const cJSON *item, struct tt_row_result *row)
{
    const char *what = "observation";

    row->line = tt_result_count(fields, item, what, "line");
    row->kind = (enum tt_kind)tt_field_word(fields, item, what, "kind", TT_REQUIRED, tt_kind_words,
                                            TT_KINDS, TT_SIGHT);
    row->use = (enum tt_use)tt_field_word(fields, item, what, "use", TT_REQUIRED, tt_use_words,
                                          TT_USES, TT_USE_OTHER);
    row->target = tt_field_text(fields, item, what, "target", TT_OPTIONAL);
    row->tip = tt_field_text(fields, item, what, "tip", TT_OPTIONAL);
    row->rotation_rad = tt_result_angle(fields, item, what, "rotation_deg");
    row->setup = tt_field_text(fields, item, what, "setup", TT_OPTIONAL);
    read_one_or_two(fields, item, what, "residual_mm", &row->residual_mm, &row->residual_y_mm);
    read_one_or_two(fields, item, what, "moved_mm", &row->moved_mm, &row->moved_y_mm);
    tt_result_number(fields, item, what, "weight", &row->weight);
    row->set_aside = tt_result_bool(fields, item, what, "set_aside");
}

static void read_rows(struct tt_fields *fields, struct tiptrue_solution *solution)
{
    size_t n;
    const cJSON *array = tt_result_array(fields, fields->json.root, "result", "observations", &n);

    solution->rows = TT_ARENA_NEW(fields->arena, n, struct tt_row_result);
    fields->out_of_memory = fields->out_of_memory || solution->rows == NULL;
    for (const cJSON *item = n > 0 ? array->child : NULL; item != NULL && solution->rows != NULL;
         item = item->next) {
        read_row(fields, item, &solution->rows[solution->n_rows++]);
    }
}

static void read_wanted(struct tt_fields *fields, struct tiptrue_solution *solution)
{
    const cJSON *names =
        tt_field_array(fields, fields->json.root, "result", "tips_wanted", TT_OPTIONAL);
    size_t n = names != NULL ? (size_t)cJSON_GetArraySize(names) : 0;

    solution->wanted = TT_ARENA_NEW(fields->arena, n, const char *);
    fields->out_of_memory = fields->out_of_memory || solution->wanted == NULL;
    for (const cJSON *name = n > 0 ? names->child : NULL; name != NULL && !fields->out_of_memory;
         name = name->next) {
        if (!cJSON_IsString(name)) {
            tt_field_tell_form(fields, name, "result", "tips_wanted", "a list of names");
            return;
        }
        const char *copy =
            tt_arena_copy_text(fields->arena, name->valuestring, strlen(name->valuestring));
        fields->out_of_memory = copy == NULL;
        solution->wanted[solution->n_wanted] = copy;
        solution->n_wanted += copy != NULL;
    }
}

static void read_result(void *object, struct tt_fields *fields)
{
    static const char *const known[] = {"schema",
                                        "program",
                                        "run",
                                        "poses",
                                        "tips",
                                        "touch_repeatability_mm",
                                        "lost_motion",
                                        "latency",
                                        "camera",
                                        "axes",
                                        "sighting_repeatability_mm",
                                        "edges",
                                        "findings",
                                        "observations",
                                        "verdict",
                                        "least_squares",
                                        "between_tips",
                                        "plate_features",
                                        "change_accepted",
                                        "tips_wanted",
                                        "surface",
                                        "height_repeatability_mm",
                                        "marks"};
    struct tiptrue_solution *s = object;

    tt_field_unknown(fields, fields->json.root, "result", known, sizeof known / sizeof known[0]);
    s->least_squares = tt_result_bool(fields, fields->json.root, "result", "least_squares");
    read_run(fields, s);
    read_poses(fields, s);
    tt_result_read_features(fields, s);
    read_tips(fields, s);
    tt_result_read_between_tips(fields, s);
    s->has_u_touch = read_repeatability(fields, "touch_repeatability_mm", &s->u_touch_mm,
                                        &s->dof_touch, &s->stated_dof_touch);
    s->has_u_sighting = read_repeatability(fields, "sighting_repeatability_mm", &s->u_sighting_mm,
                                           &s->dof_sighting, &s->stated_dof_sighting);
    s->has_u_height = read_repeatability(fields, "height_repeatability_mm", &s->u_height_mm,
                                         &s->dof_height, &s->stated_dof_height);
    tt_result_read_terms(fields, s);
    if (!fields->out_of_memory) {
        read_edges(fields, s);
        tt_result_read_marks(fields, s);
        tt_result_read_surface(fields, s);
        read_findings(fields, s);
        read_rows(fields, s);
    }
    read_wanted(fields, s);
    s->change_accepted = tt_result_bool(fields, fields->json.root, "result", "change_accepted");
    s->verdict =
        tt_result_verdict(fields, fields->json.root, "verdict", "result", s->least_squares);
}

static enum tiptrue_status finish(enum tiptrue_status status, struct tiptrue_solution *made,
                                  struct tiptrue_solution **solution)
{
    if (status == TIPTRUE_OK) {
        tt_result_sort_reasons(made);
        *solution = made;
    } else {
        tiptrue_solution_free(made);
    }
    return status;
}

enum tiptrue_status tt_result_read_bytes(const char *name, const char *text, size_t length,
                                         const struct tiptrue_sink *sink,
                                         struct tiptrue_solution **solution,
                                         struct tiptrue_error *error)
{
    struct tiptrue_solution *made = calloc(1, sizeof *made);
    const char *file;

    if (made == NULL) {
        return tt_fail_memory(error);
    }
    const struct tt_document document = {"tiptrue.result/1", read_result, made,
                                         &made->arena,       &file,       NULL};
    return finish(tt_document_read_bytes(&document, name, text, length, sink, error), made,
                  solution);
}

enum tiptrue_status tt_result_read(const char *path, const struct tiptrue_sink *sink,
                                   struct tiptrue_solution **solution, struct tiptrue_error *error)
{
    struct tiptrue_solution *made = calloc(1, sizeof *made);
    const char *file;

    if (made == NULL) {
        return tt_fail_memory(error);
    }
    const struct tt_document document = {"tiptrue.result/1", read_result, made,
                                         &made->arena,       &file,       NULL};
    return finish(tt_document_read(&document, path, sink, error), made, solution);
}

bool tt_result_is(const char *text, size_t length)
{
    char schema[40];

    (void)tt_archive_object(text + tt_byte_order_mark(text, length), text + length, schema,
                            sizeof schema);
    return strncmp(schema, "tiptrue.result/", strlen("tiptrue.result/")) == 0;
}
