/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Several logs as one run. Each was read by its own header and units; here only what is counted
 * within a log is counted anew: names, lines, seconds since the first time, and rows that are there
 * twice. */
#include "config.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "base/digest.h"
#include "base/order.h"
#include "base/time.h"
#include "ingest/builder.h"
#include "ingest/formats.h"

/* Lines of a later log begin at so many at least, so that the log and the line are both seen in the
 * number. */
#define LEAST_LINE_STEP 1000

struct join {
    const struct tiptrue_run *const *runs;
    size_t n;
    const struct tiptrue_plate *plate;
    const struct tiptrue_machine *machine;
    struct tiptrue_run *run; /* the joined one */
    struct tt_names tips, setups;
    struct tt_arena scratch;
    struct tiptrue_error *error;
};

/* ---- whether they belong together ---- */

/* @what: "machine"; of the log at @index. The first log that states it is the one to agree with. */
static enum tiptrue_status tell_other(const struct join *join, size_t index, const char *what,
                                      const char *found, const char *stated)
{
    return tt_fail(join->error, TIPTRUE_E_DATA, join->runs[index]->file, 0, 0,
                   "only logs of one machine and one plate, which was not taken off between them, "
                   "are solved together: solve this one alone",
                   "%s '%s' is stated here, and '%s' in a log before", what, found, stated);
}

static bool is_named(const struct tiptrue_plate *plate, const char *text)
{
    return (plate->name != NULL && strcmp(text, plate->name) == 0) ||
           (plate->serial != NULL && strcmp(text, plate->serial) == 0);
}

/* "plate" of a log may be the plate's name or its serial: one log may state this one, another that
 * one. */
static bool is_same_plate(const struct tiptrue_plate *plate, const char *one, const char *other)
{
    return strcmp(one, other) == 0 || (is_named(plate, one) && is_named(plate, other));
}

/* Take over what the log states, if none before did; else compare. */
static enum tiptrue_status join_statements(struct join *join, size_t index)
{
    const struct tiptrue_run *log = join->runs[index];
    struct tiptrue_run *run = join->run;

    if (log->machine != NULL && run->machine != NULL && strcmp(log->machine, run->machine) != 0) {
        return tell_other(join, index, "machine", log->machine, run->machine);
    }
    if (log->plate != NULL && run->plate != NULL &&
        !is_same_plate(join->plate, log->plate, run->plate)) {
        return tell_other(join, index, "plate", log->plate, run->plate);
    }
    if (log->plate_serial != NULL && run->plate_serial != NULL &&
        strcmp(log->plate_serial, run->plate_serial) != 0) {
        return tell_other(join, index, "plate_serial", log->plate_serial, run->plate_serial);
    }
    run->machine = run->machine != NULL ? run->machine : log->machine;
    run->plate = run->plate != NULL ? run->plate : log->plate;
    run->plate_serial = run->plate_serial != NULL ? run->plate_serial : log->plate_serial;
    run->operator_name = run->operator_name != NULL ? run->operator_name : log->operator_name;
    run->note = run->note != NULL ? run->note : log->note;
    run->started = index == 0 ? log->started : run->started;
    return TIPTRUE_OK;
}

/* Drift, slips and moves are sought in the order of the rows. */
static enum tiptrue_status check_order(const struct join *join, size_t index)
{
    const struct tiptrue_run *before = join->runs[index - 1], *log = join->runs[index];
    double began_s, begins_s;
    bool earlier =
        before->has_first_time && log->has_first_time && log->first_time_s < before->first_time_s;

    if (before->started != NULL && log->started != NULL &&
        tt_time_read(before->started, strlen(before->started), &began_s) &&
        tt_time_read(log->started, strlen(log->started), &begins_s)) {
        earlier = earlier || begins_s < began_s;
    }
    if (earlier) {
        return tt_fail(join->error, TIPTRUE_E_DATA, log->file, 0, 0,
                       "name the logs in the order in which they were made",
                       "this log begins before '%s', which is named before it", before->file);
    }
    return TIPTRUE_OK;
}

/* ---- rows ---- */

/* Index of the name in the joined run; TT_NONE: out of memory. */
static size_t index_of(struct tt_names *names, const char *name)
{
    size_t index = tt_names_find(names, name, strlen(name));

    if (index != TT_NONE) {
        return index;
    }
    return tt_names_add(names, name) ? names->count - 1 : TT_NONE;
}

/* Where the lines of each log begin: those of the first as they are, those of the k-th at k times a
 * power of ten above every line of any of them. */
static size_t line_step(const struct join *join)
{
    size_t step = LEAST_LINE_STEP;

    for (size_t i = 0; i < join->n; i++) {
        const struct tiptrue_run *log = join->runs[i];
        size_t rows = log->n_observations, last = rows > 0 ? log->observations[rows - 1].line : 0;
        last = log->n_repeated > 0 && log->repeated[log->n_repeated - 1] > last
                   ? log->repeated[log->n_repeated - 1]
                   : last;
        while (step <= last) {
            step *= 10;
        }
    }
    return step;
}

/* The rows of the log at @index behind those before; false: out of memory. */
static bool join_rows(struct join *join, size_t index)
{
    const struct tiptrue_run *log = join->runs[index];
    struct tiptrue_run *run = join->run;

    if (log->has_first_time && !run->has_first_time) {
        run->has_first_time = true;
        run->first_time_s = log->first_time_s;
    }
    for (size_t i = 0; i < log->n_observations; i++) {
        struct tt_observation *o = &run->observations[run->n_observations++];
        *o = log->observations[i];
        o->line += run->logs[index].line_offset;
        o->setup = index_of(&join->setups, log->setups[o->setup]);
        o->tip = o->tip != TT_NONE ? index_of(&join->tips, log->tips[o->tip]) : TT_NONE;
        if (o->setup == TT_NONE || (o->tip == TT_NONE && log->observations[i].tip != TT_NONE)) {
            return false;
        }
        if (o->has_time) {
            o->time_s = o->time_s + log->first_time_s -
                        run->first_time_s; /* exact: the same row in two logs stays equal */
        }
    }
    return true;
}

/* Rows that are in two of the logs, beside those that each log holds twice; false: out of memory.
 */
static bool join_repeats(struct join *join)
{
    struct tiptrue_run *run = join->run;
    size_t total = 0;

    if (!tt_repeats_drop(run, &join->scratch)) {
        return false;
    }
    for (size_t i = 0; i < join->n; i++) {
        total += join->runs[i]->n_repeated;
    }
    size_t *lines = TT_ARENA_NEW(&run->arena, total + run->n_repeated, size_t), n = run->n_repeated;
    if (lines == NULL) {
        return false;
    }
    for (size_t k = 0; k < n; k++) {
        lines[k] = run->repeated[k];
    }
    for (size_t i = 0; i < join->n; i++) {
        for (size_t k = 0; k < join->runs[i]->n_repeated; k++) {
            lines[n++] = join->runs[i]->repeated[k] + run->logs[i].line_offset;
        }
    }
    qsort(lines, n, sizeof *lines, tt_by_count);
    run->repeated = lines;
    run->n_repeated = n;
    return true;
}

/* The coarser printing counts for all rows: no uncertainty is stated too small. */
static void join_digits(const struct join *join, enum tt_kind kind)
{
    struct tt_digits *joined =
        kind == TT_SIGHT ? &join->run->sighting_digits : &join->run->touch_digits;
    double step_mm = join->machine->resolution_mm, *height_mm = &join->run->height_quantum_mm;

    for (size_t i = 0; i < join->n; i++) {
        const struct tiptrue_run *log = join->runs[i];
        *height_mm = fmax(*height_mm, log->height_quantum_mm);
        join->run->quantum_px = fmax(join->run->quantum_px, log->quantum_px);
        joined->quantum_mm =
            fmax(joined->quantum_mm,
                 kind == TT_SIGHT ? log->sighting_digits.quantum_mm : log->touch_digits.quantum_mm);
    }
    joined->on_grid = joined->quantum_mm > 0 && step_mm > 0 &&
                      tt_is_on_grid(join->run, kind, step_mm, joined->quantum_mm);
}

/* ---- the run ---- */

/* "first.csv + second.csv", and the digest of "id+id"; where the lines of each log are found;
 * false: out of memory. */
static bool name_run(struct join *join)
{
    struct tiptrue_run *run = join->run;
    struct tt_buffer files = {0}, ids = {0};
    size_t step = line_step(join);

    run->logs = TT_ARENA_NEW(&run->arena, join->n, struct tt_log);
    for (size_t i = 0; i < join->n && run->logs != NULL; i++) {
        const char *file = join->runs[i]->file;
        tt_buffer_printf(&files, "%s%s", i > 0 ? " + " : "", file);
        tt_buffer_printf(&ids, "%s%s", i > 0 ? "+" : "", join->runs[i]->id);
        run->logs[i] =
            (struct tt_log){tt_arena_copy(&run->arena, file), i > 0 ? (i + 1) * step : 0};
        run->n_logs += run->logs[i].file != NULL;
    }
    bool good = run->n_logs == join->n && !files.failed && !ids.failed;
    if (good) {
        tt_digest(ids.text, ids.length, run->id);
        run->file = tt_arena_copy_text(&run->arena, files.text, files.length);
    }
    tt_buffer_clear(&files);
    tt_buffer_clear(&ids);
    return good && run->file != NULL;
}

/* The names of @texts in the run's own memory; NULL: out of memory. */
static const char **copied(struct tt_arena *arena, const char *const *texts, size_t n)
{
    const char **copies = TT_ARENA_NEW(arena, n, const char *);

    for (size_t i = 0; i < n && copies != NULL; i++) {
        copies[i] = tt_arena_copy(arena, texts[i]);
        copies = copies[i] != NULL ? copies : NULL;
    }
    return copies;
}

/* What the run borrows of the logs, in its own memory; false: out of memory. */
static bool own_texts(struct join *join)
{
    struct tiptrue_run *run = join->run;
    const char **texts[] = {&run->machine, &run->plate,         &run->plate_serial,
                            &run->started, &run->operator_name, &run->note};

    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        if (*texts[i] != NULL && (*texts[i] = tt_arena_copy(&run->arena, *texts[i])) == NULL) {
            return false;
        }
    }
    run->n_tips = join->tips.count;
    run->n_setups = join->setups.count;
    run->tips = copied(&run->arena, join->tips.texts, run->n_tips);
    run->setups = copied(&run->arena, join->setups.texts, run->n_setups);
    return run->tips != NULL && run->setups != NULL;
}

static bool begin(struct join *join)
{
    struct tiptrue_run *run = join->run;
    size_t rows = 0;
    bool good = true;

    join->tips.arena = join->setups.arena = &join->scratch;
    run->checked_against_plate = run->checked_against_machine = true;
    for (size_t i = 0; i < join->n; i++) {
        rows += join->runs[i]->n_observations;
        run->find_inferred = run->find_inferred || join->runs[i]->find_inferred;
        for (size_t k = 0; k < join->runs[i]->n_tips && good;
             k++) { /* the machine's first, in every log */
            good = index_of(&join->tips, join->runs[i]->tips[k]) != TT_NONE;
        }
    }
    run->observations = TT_ARENA_NEW(&run->arena, rows, struct tt_observation);
    return good && run->observations != NULL && name_run(join);
}

static enum tiptrue_status join_all(struct join *join)
{
    enum tiptrue_status status = begin(join) ? TIPTRUE_OK : TIPTRUE_E_MEMORY;

    for (size_t i = 0; i < join->n && status == TIPTRUE_OK; i++) {
        status = join_statements(join, i);
        if (status == TIPTRUE_OK && i > 0) {
            status = check_order(join, i);
        }
        if (status == TIPTRUE_OK && !join_rows(join, i)) {
            status = TIPTRUE_E_MEMORY;
        }
    }
    if (status == TIPTRUE_OK &&
        (join->setups.count > TT_MOST_SETUPS || join->tips.count > TT_MOST_TIPS)) {
        status =
            tt_fail(join->error, TIPTRUE_E_DATA, join->run->file, 0, 0,
                    "is another thing in the place of setup or tip?",
                    "more than %d setups or %d tips in all logs", TT_MOST_SETUPS, TT_MOST_TIPS);
    }
    if (status == TIPTRUE_OK && !(own_texts(join) && join_repeats(join))) {
        status = TIPTRUE_E_MEMORY;
    }
    if (status == TIPTRUE_OK) {
        join_digits(join, TT_SIGHT);
        join_digits(join, TT_TOUCH);
    }
    return status;
}

static bool all_checked(const struct tiptrue_run *const *runs, size_t n)
{
    bool checked = n > 0;

    for (size_t i = 0; i < n; i++) {
        checked = checked && runs[i]->checked_against_plate && runs[i]->checked_against_machine;
    }
    return checked;
}

enum tiptrue_status tiptrue_run_join(const struct tiptrue_run *const runs[], size_t n,
                                     const struct tiptrue_plate *plate,
                                     const struct tiptrue_machine *machine,
                                     struct tiptrue_run **joined, struct tiptrue_error *error)
{
    if (!all_checked(runs, n)) {
        return tt_fail(error, TIPTRUE_E_USAGE, NULL, 0, 0,
                       "read each run with its plate and machine",
                       "runs that were read without plate and machine cannot be joined");
    }
    struct join join = {.runs = runs, .n = n, .plate = plate, .machine = machine, .error = error};
    join.run = calloc(1, sizeof *join.run);
    enum tiptrue_status status = join.run != NULL ? join_all(&join) : TIPTRUE_E_MEMORY;
    tt_arena_clear(&join.scratch);
    if (status == TIPTRUE_OK) {
        *joined = join.run;
        return TIPTRUE_OK;
    }
    tiptrue_run_free(join.run);
    return status == TIPTRUE_E_MEMORY ? tt_fail_memory(error) : status;
}
