/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A run log, whatever its format: which it is shows in its first character, never in its name. */
#include "config.h"

#include <stdlib.h>

#include "base/digest.h"
#include "ingest/builder.h"
#include "ingest/bytes.h"
#include "ingest/formats.h"
#include "ingest/ingest.h"

/* A row of a log takes about this many bytes, and an observation twice that: sizes the first block.
 */
#define BYTES_PER_ROW 40
/* Rows the first block is made for at most. */
#define MOST_EXPECTED_ROWS ((size_t)1 << 20)

/* What a run is read with. */
struct source {
    const char *name;
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    const struct tiptrue_plan *plan;
    const char *pattern;
    const struct tiptrue_sink *sink;
    struct tiptrue_error *error;
    bool keep; /* the text, in run->source */
};

static bool looks_like_json(const struct tt_diagnose *diagnose)
{
    const char *at = diagnose->text;
    while (at < diagnose->end && (*at == ' ' || *at == '\t' || *at == '\r' || *at == '\n')) {
        at++;
    }
    return at < diagnose->end && (*at == '{' || *at == '[');
}

static enum tiptrue_status read_format(const struct source *source, struct tt_builder *builder)
{
    if (source->plan != NULL) {
        builder->plan_file = source->plan->file;
        return tt_run_read_controller(builder, source->plan, source->pattern, source->error);
    }
    if (looks_like_json(builder->diagnose)) {
        tt_run_read_json(builder);
    } else {
        tt_run_read_csv(builder);
    }
    return TIPTRUE_OK;
}

static enum tiptrue_status read_text(const struct source *source, struct tt_diagnose *diagnose,
                                     struct tiptrue_run *run)
{
    struct tt_builder builder;
    size_t rows = (size_t)(diagnose->end - diagnose->text) / BYTES_PER_ROW;
    tt_builder_init(&builder, diagnose, source->plate, source->machine, run,
                    rows < MOST_EXPECTED_ROWS ? rows + 1 : MOST_EXPECTED_ROWS);
    enum tiptrue_status status = builder.out_of_memory ? TIPTRUE_OK : read_format(source, &builder);
    if (status == TIPTRUE_OK && diagnose->faults == 0 && !builder.out_of_memory) {
        tt_builder_finish(&builder);
        tt_metadata_compare(&builder);
    }
    if (builder.out_of_memory) {
        status = tt_fail_memory(source->error);
    } else if (status == TIPTRUE_OK && diagnose->faults > 0) {
        status = TIPTRUE_E_DATA;
    }
    tt_builder_clear(&builder);
    return status;
}

static enum tiptrue_status read_bytes(const struct source *source, const struct tt_bytes *bytes,
                                      struct tiptrue_run **run)
{
    struct tt_diagnose diagnose;
    struct tiptrue_run *made = calloc(1, sizeof(*made));
    if (made == NULL || (made->file = tt_arena_copy(&made->arena, source->name)) == NULL) {
        tiptrue_run_free(made);
        return tt_fail_memory(source->error);
    }
    tt_diagnose_bytes(&diagnose, source->sink, source->error, made->file, bytes);
    enum tiptrue_status status = TIPTRUE_E_DATA;
    if (tt_text_check(&diagnose) && tt_text_is_there(&diagnose)) {
        tt_digest(bytes->text, bytes->length, made->id);
        status = read_text(source, &diagnose, made);
    }
    if (status == TIPTRUE_OK) {
        *run = made;
    } else {
        tiptrue_run_free(made);
    }
    return status;
}

static enum tiptrue_status check_usage(const struct source *source)
{
    if ((source->plan == NULL) == (source->pattern == NULL)) {
        return TIPTRUE_OK;
    }
    return tt_fail(source->error, TIPTRUE_E_USAGE, NULL, 0, 0,
                   "the plan says what each move was, the pattern what its report looks like",
                   "a controller log needs both a plan and a pattern, and the %s is missing",
                   source->plan == NULL ? "plan" : "pattern");
}

/* The run of what was read; the text is given back, or becomes the run's. */
static enum tiptrue_status read_and_clear(const struct source *source, struct tt_bytes *bytes,
                                          struct tiptrue_run **run)
{
    enum tiptrue_status status = read_bytes(source, bytes, run);
    if (status == TIPTRUE_OK && source->keep) {
        (*run)->source = *bytes;
    } else {
        tt_bytes_clear(bytes);
    }
    return status;
}

enum tiptrue_status tt_run_read_bytes(const char *name, const char *text, size_t length,
                                      const struct tiptrue_plate *plate,
                                      const struct tiptrue_machine *machine,
                                      const struct tiptrue_plan *plan, const char *pattern,
                                      const struct tiptrue_sink *sink, struct tiptrue_run **run,
                                      struct tiptrue_error *error)
{
    const struct source source = {name, plate, machine, plan, pattern, sink, error, false};
    struct tt_bytes bytes;
    enum tiptrue_status status = check_usage(&source);
    status = status == TIPTRUE_OK ? tt_bytes_copy(text, length, &bytes, error) : status;
    return status == TIPTRUE_OK ? read_and_clear(&source, &bytes, run) : status;
}

static enum tiptrue_status read_path(const struct source *source, const char *path,
                                     struct tiptrue_run **run)
{
    struct tt_bytes bytes;
    enum tiptrue_status status = check_usage(source);
    status = status == TIPTRUE_OK ? tt_bytes_read(path, &bytes, source->error) : status;
    return status == TIPTRUE_OK ? read_and_clear(source, &bytes, run) : status;
}

enum tiptrue_status tiptrue_run_read(const char *path, const struct tiptrue_plate *plate,
                                     const struct tiptrue_machine *machine,
                                     const struct tiptrue_plan *plan, const char *pattern,
                                     const struct tiptrue_sink *sink, struct tiptrue_run **run,
                                     struct tiptrue_error *error)
{
    const struct source source = {
        tt_bytes_name(path), plate, machine, plan, pattern, sink, error, false};
    return read_path(&source, path, run);
}

enum tiptrue_status tiptrue_run_read_whole(const char *path, const struct tiptrue_plate *plate,
                                           const struct tiptrue_machine *machine,
                                           const struct tiptrue_plan *plan, const char *pattern,
                                           const struct tiptrue_sink *sink,
                                           struct tiptrue_run **run, struct tiptrue_error *error)
{
    const struct source source = {
        tt_bytes_name(path), plate, machine, plan, pattern, sink, error, true};
    return read_path(&source, path, run);
}

enum tiptrue_status tt_run_read_taken(const char *name, struct tt_bytes *bytes,
                                      const struct tiptrue_plate *plate,
                                      const struct tiptrue_machine *machine,
                                      const struct tiptrue_plan *plan, const char *pattern,
                                      const struct tiptrue_sink *sink, struct tiptrue_run **run,
                                      struct tiptrue_error *error)
{
    const struct source source = {name, plate, machine, plan, pattern, sink, error, true};
    struct tt_bytes taken = *bytes;
    enum tiptrue_status status = check_usage(&source);
    *bytes = (struct tt_bytes){0};
    if (status != TIPTRUE_OK) {
        tt_bytes_clear(&taken);
        return status;
    }
    return read_and_clear(&source, &taken, run);
}
