/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.result/1 back into the solution it was written from: written again it gives the same
 * bytes. */
#include "config.h"

#include "ingest/result.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/time.h"
#include "base/utf8.h"
#include "ingest/archive.h"
#include "ingest/fields.h"
#include "ingest/ingest.h"

/* Whatever a double holds: what a result says of itself is not judged here. */
static const struct tt_bounds any_number = {-HUGE_VAL, HUGE_VAL, false, NULL};

/* Nothing to read: it was looked at before, or is made from the rest. */
static bool skip(struct tt_fields *fields, const struct tt_member *member)
{
    (void)fields;
    (void)member;
    return true;
}

/* "keep", "update", "repeat"; told if it is another word or missing, but for the offset's, which
 * results of earlier versions do not have. A result of least squares has none: TIPTRUE_REPEAT,
 * whatever an older program wrote there. */
static bool read_verdict(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tiptrue_solution *solution = fields->document;
    const struct tt_key *key = member->key;
    bool of_tip = member->into != (const char *)solution,
         of_offset = of_tip && key->at == offsetof(struct tt_tip_result, offset_verdict);
    const struct tt_key needed = {
        .key = key->key, .need = solution->least_squares || of_offset ? TT_OPTIONAL : TT_REQUIRED};
    const struct tt_member word = tt_member_of(member->object, member->what, &needed);
    enum tiptrue_verdict verdict =
        (enum tiptrue_verdict)tt_field_word(fields, &word, tt_verdict_words, TT_VERDICTS);

    if (of_tip && !of_offset) {
        struct tt_tip_result *tip = (void *)member->into;
        if ((int)tip->offset_verdict == TT_VERDICTS) {
            tip->offset_verdict = (int)verdict == TT_VERDICTS ? TIPTRUE_REPEAT : verdict;
        }
    }
    if (solution->least_squares || (!of_offset && (int)verdict == TT_VERDICTS)) {
        verdict = TIPTRUE_REPEAT;
    }
    memcpy(member->into + key->at, &verdict, sizeof verdict);
    return true;
}

static bool check_run(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tiptrue_solution *s = fields->document;
    double seconds;

    if (s->started != NULL && !tt_time_read(s->started, strlen(s->started), &seconds)) {
        tt_field_fault(fields, member->item, "RFC 3339, such as 2026-03-02T07:40:00Z",
                       "%s: its start '%s' is not a time", member->key->inner->name,
                       tt_shown_text(s->started).text);
    }
    return true;
}

/* A group's and a mark's shift are along x or along y, an edge's along its normal. */
static bool check_feature(struct tt_fields *fields, const struct tt_member *member)
{
    struct tt_plate_feature *feature = (void *)member->into;

    if (feature->kind == TT_FEATURE_EDGE) {
        feature->axis = '\0';
    } else if (feature->axis == '\0') {
        tt_field_fault(fields, member->item, "x or y", "%s: its axis is missing", member->what);
    }
    return true;
}

/* A number, or an object of x and y. */
static bool read_one_or_two(struct tt_fields *fields, const struct tt_member *member)
{
    const struct tt_key *key = member->key;
    bool two = cJSON_IsObject(member->item);
    double x = 0, y = 0;

    if (two) {
        const struct tt_key keys[] = {{.key = "x"}, {.key = "y"}};
        const struct tt_member in_x = tt_member_of(member->item, member->what, &keys[0]),
                               in_y = tt_member_of(member->item, member->what, &keys[1]);
        (void)tt_field_number(fields, &in_x, &any_number, &x);
        (void)tt_field_number(fields, &in_y, &any_number, &y);
    } else {
        (void)tt_field_number(fields, member, &any_number, &x);
    }
    memcpy(member->into + key->at, &x, sizeof x);
    memcpy(member->into + key->at_y, &y, sizeof y);
    return true;
}

static bool read_wanted(struct tt_fields *fields, const struct tt_member *member)
{
    struct tiptrue_solution *s = fields->document;

    s->wanted = tt_result_texts(fields, member, &s->n_wanted);
    return true;
}

static tt_member_reader *const readers[TT_RESULT_HOOKS] = {
    [TT_HOOK_SCHEMA] = skip,
    [TT_HOOK_PROGRAM] = skip,
    [TT_HOOK_VERDICT] = read_verdict,
    [TT_HOOK_COVARIANCE] = tt_result_covariance,
    [TT_HOOK_CORRELATION] = tt_result_correlation,
    [TT_HOOK_PROBABILITY] = tt_result_probability,
    [TT_HOOK_EFFECT] = tt_result_effect,
    [TT_HOOK_PERMITTED] = tt_result_permitted,
    [TT_HOOK_REASONS] = tt_result_reasons,
    [TT_HOOK_REASON_CODES] = skip,
    [TT_HOOK_BUDGET_CODE] = skip,
    [TT_HOOK_FINDING_CODE] = tt_result_finding_code,
    [TT_HOOK_EDGE_NAME] = tt_result_edge_name,
    [TT_HOOK_TIP_NAME] = tt_result_tip_name,
    [TT_HOOK_SETUP_NAME] = tt_result_setup_name,
    [TT_HOOK_LINES] = tt_result_lines,
    [TT_HOOK_VALUES] = tt_result_values,
    [TT_HOOK_RESIDUAL] = read_one_or_two,
    [TT_HOOK_MOVED] = read_one_or_two,
    [TT_HOOK_WANTED] = read_wanted,
    [TT_HOOK_RUN] = check_run,
    [TT_HOOK_TIP] = tt_result_tip,
    [TT_HOOK_SAME_PLATE] = tt_result_same_plate,
    [TT_HOOK_FEATURE] = check_feature,
    [TT_HOOK_BUDGET_LINE] = tt_result_budget_line,
    [TT_HOOK_FACE] = tt_result_face,
    [TT_HOOK_NAMES] = tt_result_names,
    [TT_HOOK_FINDING] = tt_result_finding,
};

static void read_result(void *object, struct tt_fields *fields)
{
    fields->hooks = readers;
    fields->document = object;
    tt_keys_read(fields, fields->json.root, tt_result_keys.name, &tt_result_keys, object);
}

static const struct tt_document RESULT = {.schema = "tiptrue.result/1",
                                          .read = read_result,
                                          .size = sizeof(struct tiptrue_solution),
                                          .arena = offsetof(struct tiptrue_solution, arena)};

enum tiptrue_status tt_result_read_bytes(const char *name, const char *text, size_t length,
                                         const struct tiptrue_sink *sink,
                                         struct tiptrue_solution **solution,
                                         struct tiptrue_error *error)
{
    const struct tt_text given = {text, length};
    void *made;
    enum tiptrue_status status =
        tt_document_read(&RESULT, name, text != NULL ? &given : NULL, sink, &made, error);

    if (status == TIPTRUE_OK) {
        tt_result_sort_reasons(made);
        *solution = made;
    }
    return status;
}

enum tiptrue_status tiptrue_solution_read(const char *path, const struct tiptrue_sink *sink,
                                          struct tiptrue_solution **solution,
                                          struct tiptrue_error *error)
{
    return tt_result_read_bytes(path, NULL, 0, sink, solution, error);
}

bool tt_result_is(const char *text, size_t length)
{
    char schema[40];

    (void)tt_archive_object(text + tt_byte_order_mark(text, length), text + length, schema,
                            sizeof schema);
    return strncmp(schema, "tiptrue.result/", strlen("tiptrue.result/")) == 0;
}
