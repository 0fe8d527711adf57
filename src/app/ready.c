/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The question before each job: a run solved with what the history knows, entered, judged; the new
 * offsets written, read back and noted. */
#include "config.h"

#include "app/ready.h"

#include <stdlib.h>
#include <string.h>

#include "base/named.h"
#include "base/time.h"
#include "export/export.h"
#include "ingest/diagnose.h"
#include "output/output.h"

static enum tiptrue_readiness state_of(const struct tiptrue_solution *solution)
{
    return solution->verdict == TIPTRUE_KEEP     ? TIPTRUE_READY_START
           : solution->verdict == TIPTRUE_UPDATE ? TIPTRUE_READY_UPDATE
                                                 : TIPTRUE_READY_STOP;
}

static enum tiptrue_status solve_and_enter(const struct tiptrue_ready_inputs *with,
                                           const struct tiptrue_ready_options *options,
                                           const struct tiptrue_sink *sink,
                                           struct tiptrue_solution **solution,
                                           struct tiptrue_error *error)
{
    struct tiptrue_between *between = NULL;
    enum tiptrue_status status =
        tiptrue_history_between(with->history, with->machine, &between, error);
    if (status == TIPTRUE_OK) {
        const struct tiptrue_solve_options how = {.between = between,
                                                  .tips = options->tips,
                                                  .n_tips = options->n_tips,
                                                  .accept_change = options->accept_change};
        status = tiptrue_solve(with->workspace, with->plate, with->machine, with->run, &how,
                               solution, error);
    }
    if (status == TIPTRUE_OK) {
        status = tiptrue_history_add(with->history, with->plate, with->machine, with->plan,
                                     options->pattern, with->run, *solution, options->now_s, sink,
                                     error);
    }
    tiptrue_between_free(between);
    return status;
}

/* Notes that the run is there already are nothing to tell of who asks again. */
static void told_no_note(void *context, const struct tiptrue_diagnostic *diagnostic)
{
    const struct tiptrue_sink *sink = context;
    if (diagnostic->severity != TIPTRUE_NOTE) {
        tt_tell(sink, diagnostic);
    }
}

enum tiptrue_status tiptrue_ready_make(const struct tiptrue_ready_inputs *inputs,
                                       const struct tiptrue_ready_options *options,
                                       const struct tiptrue_sink *sink,
                                       struct tiptrue_ready **ready, struct tiptrue_error *error)
{
    const struct tiptrue_sink quieter = {told_no_note, (void *)sink};
    const struct tiptrue_run *run = inputs->run;
    struct tiptrue_ready *made = calloc(1, sizeof *made);
    bool later = false;
    if (made == NULL) {
        return tt_fail_memory(error);
    }
    made->plate = inputs->plate;
    made->machine = inputs->machine;
    made->now_s = options->now_s;
    made->has_started =
        run->started != NULL && tt_time_read(run->started, strlen(run->started), &made->started_s);
    enum tiptrue_status status =
        tt_ready_admit(inputs->history, inputs->machine, run, options, &later, error);
    if (status == TIPTRUE_OK) {
        status = solve_and_enter(inputs, options, &quieter, &made->solution, error);
    }
    if (status == TIPTRUE_OK && later) {
        status = tt_ready_not_last(run, error);
    }
    if (status == TIPTRUE_OK) {
        made->state = state_of(made->solution);
        status = tt_ready_compare(made, inputs->history, error);
    }
    if (status == TIPTRUE_OK) {
        *ready = made;
    } else {
        tiptrue_ready_free(made);
    }
    return status;
}

void tiptrue_ready_free(struct tiptrue_ready *ready)
{
    if (ready != NULL) {
        tiptrue_exported_free(ready->exported);
        tiptrue_trend_free(ready->trend);
        tiptrue_comparison_free(ready->since);
        tiptrue_solution_free(ready->solution);
        tt_arena_clear(&ready->arena);
        free(ready);
    }
}

enum tiptrue_readiness tiptrue_ready_state(const struct tiptrue_ready *ready)
{
    return ready->state;
}

const struct tiptrue_solution *tiptrue_ready_solution(const struct tiptrue_ready *ready)
{
    return ready->solution;
}

const char *tiptrue_ready_id(const struct tiptrue_ready *ready)
{
    return ready->solution->run_id;
}

const char *tiptrue_ready_diff(const struct tiptrue_ready *ready)
{
    return ready->exported != NULL && !ready->written ? ready->exported->text : "";
}

/* What stands there now, by a machine file read anew: that of the job may have been edited. */
static enum tiptrue_status read_back(const struct tiptrue_ready *ready,
                                     struct tiptrue_machine **now, struct tiptrue_error *error)
{
    enum tiptrue_status status = tiptrue_machine_read(ready->machine->file, NULL, now, error);
    return status == TIPTRUE_OK ? tiptrue_machine_present(*now, NULL, error) : status;
}

/* Whether every tip that was to be updated stands there as it was found. *heights: no height that
 * was to be written is left. */
static bool is_as_meant(const struct tiptrue_ready *ready, const struct tiptrue_exported *exported,
                        const struct tiptrue_machine *now, bool *heights)
{
    *heights = true;
    for (size_t i = 0; i < ready->solution->n_tips; i++) {
        const struct tt_tip_result *tip = &ready->solution->tips[i];
        size_t k = TT_NAMED(now->tips, now->n_tips, tip->name);
        if (!tt_tip_is_wanted(ready->solution, tip->name)) {
            continue;
        }
        bool kept = tip->offset_verdict != TIPTRUE_UPDATE, axis[2] = {kept, kept};
        bool written = !tt_height_waits(tip), same = true;
        for (size_t f = 0; f < exported->n_files && k < now->n_tips; f++) {
            const char *values = exported->files[f].new_values;
            struct tt_text new = {values, strlen(values)};
            tt_values_match((struct tt_text){0}, new, &now->tips[k], axis);
            same = tt_height_matches(new, &now->tips[k], &written) && same;
        }
        if (!axis[0] || !axis[1] || !same) {
            return false;
        }
        *heights = *heights && written;
    }
    return true;
}

/* What was written is not what stands there: the old files come back. */
static enum tiptrue_status take_back(const struct tiptrue_exported *exported, double now_s,
                                     struct tiptrue_error *error)
{
    bool back = true;
    for (size_t i = exported->n_files; i-- > 0;) {
        struct tiptrue_exported *undone = NULL;
        back = tiptrue_export_undo(exported->files[i].file, false, now_s, &undone, NULL) ==
                   TIPTRUE_OK &&
               back;
        tiptrue_exported_free(undone);
    }
    return tt_fail(error, TIPTRUE_E_IO, exported->files[0].file, 0, 0,
                   back ? "does another program write to it? the old file is there again"
                        : "does another program write to it? its copy is beside it, named .bak",
                   "what was written does not read back");
}

/* Into what the machine file exports to, else into that file itself. */
static enum tiptrue_status export_it(const struct tiptrue_ready *ready, bool dry_run, double now_s,
                                     const struct tiptrue_sink *sink,
                                     struct tiptrue_exported **exported,
                                     struct tiptrue_error *error)
{
    const struct tiptrue_export_options options = {
        .machine = ready->machine, .plate = ready->plate, .now_s = now_s, .dry_run = dry_run};
    return ready->machine->n_exports > 0
               ? tiptrue_export(ready->solution, &options, sink, exported, error)
               : tt_export_own(ready->solution, &options, sink, exported, error);
}

enum tiptrue_status tiptrue_ready_write(struct tiptrue_ready *ready,
                                        struct tiptrue_history *history, bool dry_run, double now_s,
                                        const struct tiptrue_sink *sink,
                                        struct tiptrue_error *error)
{
    struct tiptrue_exported *exported = NULL;
    struct tiptrue_machine *now = NULL;
    if (ready->state != TIPTRUE_READY_UPDATE) {
        return TIPTRUE_OK;
    }
    bool heights = !tt_a_height_waits(ready->solution);
    enum tiptrue_status status = export_it(ready, dry_run, now_s, sink, &exported, error);
    if (status == TIPTRUE_OK && !dry_run) {
        struct tiptrue_error why = {0};
        enum tiptrue_status read = read_back(ready, &now, &why);
        if (exported->n_files > 0 &&
            (read != TIPTRUE_OK || !is_as_meant(ready, exported, now, &heights))) {
            status = take_back(exported, now_s, error);
        }
        tiptrue_machine_free(now);
    }
    if (status == TIPTRUE_OK && !dry_run) {
        status = tiptrue_history_add_export(history, ready->solution, exported, now_s, error);
    }
    if (status != TIPTRUE_OK) {
        tiptrue_exported_free(exported);
        return status;
    }
    tiptrue_exported_free(ready->exported);
    ready->exported = exported;
    if (!dry_run) {
        ready->written = true;
        ready->state = heights ? TIPTRUE_READY_START : TIPTRUE_READY_UPDATE;
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tiptrue_ready_text(const struct tiptrue_ready *ready, bool brief,
                                       const struct tiptrue_text_options *options, char **text,
                                       size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};
    tt_output_ready_text(ready, brief, options, &buffer);
    return tt_buffer_hand_over(&buffer, text, length, error);
}

enum tiptrue_status tiptrue_ready_json(const struct tiptrue_ready *ready,
                                       const struct tiptrue_used_file files[], size_t n_files,
                                       char **text, size_t *length, struct tiptrue_error *error)
{
    struct tt_buffer buffer = {0};
    tt_output_ready_json(ready, files, n_files, &buffer);
    return tt_buffer_hand_over(&buffer, text, length, error);
}
