/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A solution as tiptrue.result/1, by its field tables (formats/result.h); an error as
 * tiptrue.error/1.
 *
 * One pass, straight into the buffer: a batch has microseconds for this. What the run does not
 * determine, what was not stated, and infinitely many degrees of freedom (all uncertainty stated,
 * none estimated) are null.
 */
#include "config.h"

#include "output/output.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "formats/result.h"
#include "output/json/json_result.h"
#include "output/json/json_write.h"
#include "output/verdict.h"

#define COVERAGE 0.95

static void write_schema(struct tt_json *json, const struct tt_key *key, const void *from)
{
    (void)from;
    tt_json_key_text(json, key->key, "tiptrue.result/1");
}

static void write_program(struct tt_json *json, const struct tt_key *key, const void *from)
{
    (void)from;
    tt_json_key_open(json, key->key, '{');
    tt_json_key_text(json, "name", "tiptrue");
    tt_json_key_text(json, "version", PACKAGE_VERSION);
    tt_json_close(json, '}');
}

static void write_verdict(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tiptrue_solution *solution = json->document;
    enum tiptrue_verdict verdict;

    memcpy(&verdict, (const char *)from + key->at, sizeof verdict);
    tt_json_key_text(json, key->key, solution->least_squares ? NULL : tt_verdict_word(verdict));
}

static void write_covariance(struct tt_json *json, const struct tt_key *key, const void *from)
{
    bool x = tt_key_has_x(key, from), y = tt_key_has_y(key, from);
    struct tt_cov2 cov;

    memcpy(&cov, (const char *)from + key->at, sizeof cov);
    tt_json_key_open(json, key->key, '[');
    tt_json_open(json, '[');
    tt_json_number(json, x ? cov.xx_mm2 : NAN);
    tt_json_number(json, x && y ? cov.xy_mm2 : NAN);
    tt_json_close(json, ']');
    tt_json_open(json, '[');
    tt_json_number(json, x && y ? cov.xy_mm2 : NAN);
    tt_json_number(json, y ? cov.yy_mm2 : NAN);
    tt_json_close(json, ']');
    tt_json_close(json, ']');
}

static void write_correlation(struct tt_json *json, const struct tt_key *key, const void *from)
{
    struct tt_cov2 cov;

    memcpy(&cov, (const char *)from + key->at, sizeof cov);
    double u_product = sqrt(cov.xx_mm2) * sqrt(cov.yy_mm2);
    tt_json_key_number_if(json, key->key,
                          tt_key_has_x(key, from) && tt_key_has_y(key, from) && u_product > 0,
                          cov.xy_mm2 / (u_product > 0 ? u_product : 1));
}

static void write_probability(struct tt_json *json, const struct tt_key *key, const void *from)
{
    (void)from;
    tt_json_key_number(json, key->key, COVERAGE);
}

static void write_effect(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tiptrue_solution *solution = json->document;
    const double *effect;

    memcpy(&effect, (const char *)from + key->at, sizeof effect);
    tt_json_key_open(json, key->key, '[');
    for (size_t i = 0; i < solution->n_features && effect != NULL; i++) {
        tt_json_number(json, effect[i]);
    }
    tt_json_close(json, ']');
}

static void write_permitted(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tiptrue_solution *solution = json->document;

    (void)from;
    tt_json_key_fixed(json, key->key, solution->permitted_error_mm);
}

static void write_budget_code(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tt_budget_line *line = from;

    tt_json_key_text(json, key->key, tt_budget_name(line->code));
}

static void write_reasons(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tt_tip_result *tip = from;

    tt_json_key_open(json, key->key, '[');
    for (size_t i = 0; i < tip->n_reasons; i++) {
        tt_json_text(json, key->hook == TT_HOOK_REASONS ? tip->reasons[i].text
                                                        : tt_reason_name(&tip->reasons[i]));
    }
    tt_json_close(json, ']');
}

static void write_finding_code(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tt_finding *finding = from;

    tt_json_key_text(json, key->key, tt_finding_name(finding->code));
}

static void write_name(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tiptrue_solution *s = json->document;

    tt_json_key_text(json, key->key,
                     key->hook == TT_HOOK_EDGE_NAME  ? tt_finding_edge(s, from)
                     : key->hook == TT_HOOK_TIP_NAME ? tt_finding_tip(s, from)
                                                     : tt_finding_setup(s, from));
}

static void write_lines(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tt_finding *finding = from;

    tt_json_key_open(json, key->key, '[');
    for (size_t i = 0; i < finding->n_lines; i++) {
        tt_json_count(json, finding->lines[i]);
    }
    tt_json_close(json, ']');
}

/* An angle is kept in radians and written in degrees. */
static void write_value(struct tt_json *json, const struct tt_value *value)
{
    char key[TT_LONGEST_KEY + 1];

    snprintf(key, sizeof key, "%s%s", value->key, tt_unit_suffix(value->unit));
    switch (value->text != NULL ? TT_UNITS : value->unit) {
    case TT_UNITS:
        tt_json_key_text(json, key, value->text);
        break;
    case TT_UNIT_MM:
        tt_json_key_fixed(json, key, value->number);
        break;
    case TT_UNIT_RAD:
        tt_json_key_fixed(json, key, tt_deg_from_rad(value->number));
        break;
    case TT_UNIT_NONE:
    case TT_UNIT_SHARE:
    case TT_UNIT_S:
    case TT_UNIT_C:
    case TT_UNIT_PPM:
    case TT_UNIT_PPM_PER_K:
        tt_json_key_number(json, key, value->number);
        break;
    }
}

static void write_values(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tt_finding *finding = from;

    tt_json_key_open(json, key->key, '{');
    for (size_t i = 0; i < finding->n_values; i++) {
        write_value(json, &finding->values[i]);
    }
    tt_json_close(json, '}');
}

/* A number of a touch, two of a sighting. */
static void write_one_or_two(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tt_row_result *row = from;
    bool used = row->use == TT_USE, two = tt_is_sighting(row->kind) && used;
    double x, y;

    memcpy(&x, (const char *)from + key->at, sizeof x);
    memcpy(&y, (const char *)from + key->at_y, sizeof y);
    if (key->hook == TT_HOOK_MOVED && (!used || (x == 0 && (!two || y == 0)))) {
        return;
    }
    if (two) {
        tt_json_key_xy(json, key->key, x, y);
    } else {
        tt_json_key_fixed_if(json, key->key, used, x);
    }
}

static void write_wanted(struct tt_json *json, const struct tt_key *key, const void *from)
{
    const struct tiptrue_solution *s = from;

    if (!tt_json_key_open_if(json, key->key, s->n_wanted > 0, '[')) {
        return;
    }
    for (size_t i = 0; i < s->n_wanted; i++) {
        tt_json_text(json, s->wanted[i]);
    }
    tt_json_close(json, ']');
}

static tt_member_writer *const writers[TT_WRITTEN_HOOKS] = {
    [TT_HOOK_SCHEMA] = write_schema,           [TT_HOOK_PROGRAM] = write_program,
    [TT_HOOK_VERDICT] = write_verdict,         [TT_HOOK_COVARIANCE] = write_covariance,
    [TT_HOOK_CORRELATION] = write_correlation, [TT_HOOK_PROBABILITY] = write_probability,
    [TT_HOOK_EFFECT] = write_effect,           [TT_HOOK_PERMITTED] = write_permitted,
    [TT_HOOK_REASONS] = write_reasons,         [TT_HOOK_REASON_CODES] = write_reasons,
    [TT_HOOK_BUDGET_CODE] = write_budget_code, [TT_HOOK_FINDING_CODE] = write_finding_code,
    [TT_HOOK_EDGE_NAME] = write_name,          [TT_HOOK_TIP_NAME] = write_name,
    [TT_HOOK_SETUP_NAME] = write_name,         [TT_HOOK_LINES] = write_lines,
    [TT_HOOK_VALUES] = write_values,           [TT_HOOK_RESIDUAL] = write_one_or_two,
    [TT_HOOK_MOVED] = write_one_or_two,        [TT_HOOK_WANTED] = write_wanted,
};

void tt_output_json(const struct tiptrue_solution *s, const struct tiptrue_text_options *options,
                    struct tt_buffer *buffer)
{
    struct tt_json json = {.buffer = buffer,
                           .first = true,
                           .more = options != NULL && options->observations,
                           .hooks = writers,
                           .document = s};

    tt_json_open(&json, '{');
    tt_json_keys(&json, &tt_result_keys, s);
    tt_json_close(&json, '}');
}

void tt_json_result_list(struct tt_json *json, size_t at, const struct tiptrue_solution *s)
{
    json->hooks = writers;
    json->document = s;
    tt_json_key_at(json, &tt_result_keys, at, s);
}

void tt_json_checked_edge(struct tt_json *json, const struct tt_edge_result *edge)
{
    tt_json_open(json, '{');
    tt_json_keys(json, &tt_checked_edge_keys, edge);
    tt_json_close(json, '}');
}

/* A line or column: 0 = none. */
static void write_place(struct tt_json *json, const char *key, size_t place)
{
    tt_json_key(json, key);
    if (place > 0) {
        tt_json_count(json, place);
    } else {
        tt_json_null(json);
    }
}

static void write_file_and_place(struct tt_json *json, const struct tiptrue_error *error)
{
    tt_json_key_text(json, "file", error->file[0] != '\0' ? error->file : NULL);
    write_place(json, "line", error->line);
    write_place(json, "column", error->column);
}

static void write_text_and_hint(struct tt_json *json, const struct tiptrue_error *error)
{
    tt_json_key_text(json, "text", error->text);
    tt_json_key_text(json, "hint", error->hint[0] != '\0' ? error->hint : NULL);
}

void tt_output_error_json(const struct tiptrue_error *error, const struct tiptrue_error faults[],
                          size_t n, struct tt_buffer *buffer)
{
    struct tt_json json = tt_json_begin(buffer, "tiptrue.error/1");

    write_file_and_place(&json, error);
    tt_json_key_text(&json, "code", tt_status_word(error->status));
    write_text_and_hint(&json, error);
    tt_json_key_open(&json, "faults", '[');
    for (size_t i = 0; i < n; i++) {
        tt_json_open(&json, '{');
        write_file_and_place(&json, &faults[i]);
        write_text_and_hint(&json, &faults[i]);
        tt_json_close(&json, '}');
    }
    tt_json_close(&json, ']');
    tt_json_close(&json, '}');
}

/* ---- a truth as tiptrue.truth/1: what `simulate` reads back exactly ---- */

void tt_output_truth_json(const struct tiptrue_truth *truth, struct tt_buffer *buffer)
{
    struct tt_json json = tt_json_begin(buffer, "tiptrue.truth/1");

    tt_json_keys(&json, &tt_truth_keys, truth);
    tt_json_close(&json, '}');
}
