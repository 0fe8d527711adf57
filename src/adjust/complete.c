/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Is the run what it should be: of this machine and plate, each row once, every tip touched? */
#include "config.h"

#include <math.h>
#include <string.h>

#include "adjust/findings.h"
#include "base/named.h"

/* Whether the log names something else than the file does. A log that names nothing is silent, no
 * mismatch. */
static bool differs(const char *in_log, const char *in_file)
{
    return in_log != NULL && in_file != NULL && strcmp(in_log, in_file) != 0;
}

static enum tiptrue_status other_machine(struct tt_view *view)
{
    if (!differs(view->run->machine, view->machine->name)) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_OTHER_MACHINE, TIPTRUE_ERROR, TT_ABOUT_RUN,
        TT_VALUES(TT_TEXT("log", view->run->machine), TT_TEXT("file", view->machine->name)));
}

/* "plate" of a log may be the plate's name or its serial. */
static enum tiptrue_status other_plate(struct tt_view *view)
{
    const struct tiptrue_run *run = view->run;
    const struct tiptrue_plate *plate = view->plate;
    bool name = differs(run->plate, plate->name) &&
                (plate->serial == NULL || strcmp(run->plate, plate->serial) != 0);
    bool serial = differs(run->plate_serial, plate->serial);

    if (!name && !serial) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_OTHER_PLATE, TIPTRUE_ERROR, TT_ABOUT_RUN,
        TT_VALUES(TT_TEXT("log", serial ? run->plate_serial : run->plate),
                  TT_TEXT("file", serial || plate->name == NULL ? plate->serial : plate->name)));
}

static enum tiptrue_status repeated_rows(struct tt_view *view)
{
    const struct tiptrue_run *run = view->run;

    if (run->n_repeated == 0) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_REPEATED_ROWS, TIPTRUE_WARNING,
        (struct tt_about){TT_NONE, TT_NONE, TT_NONE, run->repeated, run->n_repeated},
        TT_VALUES(TT_PLAIN("rows", run->n_repeated), TT_PLAIN("first", run->repeated[0]),
                  TT_PLAIN("last", run->repeated[run->n_repeated - 1])));
}

/* Where the lines of each log begin. */
static enum tiptrue_status several_logs(struct tt_view *view)
{
    const struct tiptrue_run *run = view->run;
    struct tt_clauses where = {TT_ARENA_NEW(view->scratch, run->n_logs, struct tt_clause),
                               run->n_logs};

    if (where.clause == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < run->n_logs; i++) {
        where.clause[i] =
            (struct tt_clause){TT_CLAUSE_LOG, run->logs[i].file, run->logs[i].line_offset + 1, 0};
    }
    return run->n_logs == 0
               ? TIPTRUE_OK
               : tt_finding_add_values(
                     view, TT_FINDING_SEVERAL_LOGS, TIPTRUE_NOTE, TT_ABOUT_RUN,
                     TT_VALUES(TT_PLAIN("logs", run->n_logs), TT_CLAUSES("where", &where)));
}

/* ---- tips ---- */

bool tt_is_wanted(const struct tiptrue_solve_options *options, const char *name)
{
    size_t n = options != NULL ? options->n_tips : 0;

    return n == 0 || TT_NAME_AT(options->tips, n, name) < n;
}

/* Whether tip @t of the machine file should have been touched and was not. */
static bool is_missing(const struct tt_view *view, size_t t)
{
    const struct tt_tip *tip = &view->machine->tips[t];
    bool asked =
        view->options->n_tips > 0 ? tt_is_wanted(view->options, tip->name) : !tip->not_in_use;

    return asked && tt_solution_tip(view->solution, tip->name) == NULL;
}

static enum tiptrue_status not_touched(struct tt_view *view)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t t = 0; t < view->machine->n_tips && status == TIPTRUE_OK; t++) {
        if (is_missing(view, t)) {
            status = tt_finding_add_values(view, TT_FINDING_NOT_TOUCHED, TIPTRUE_ERROR,
                                           (struct tt_about){TT_NONE, t, TT_NONE, NULL, 0},
                                           TT_NO_VALUES);
        }
    }
    return status;
}

enum tiptrue_status tt_findings_of_completeness(struct tt_view *view)
{
    enum tiptrue_status status;

    if (view->options == NULL) {
        return TIPTRUE_OK; /* an unfinished run: nothing is missed in it */
    }
    if ((status = other_machine(view)) == TIPTRUE_OK &&
        (status = other_plate(view)) == TIPTRUE_OK &&
        (status = repeated_rows(view)) == TIPTRUE_OK &&
        (status = several_logs(view)) == TIPTRUE_OK) {
        status = not_touched(view);
    }
    return status;
}

enum tiptrue_status tt_add_missing_tips(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    const struct tiptrue_machine *machine = view->machine;
    size_t n = s->n_tips;
    struct tt_tip_result *tips = TT_ARENA_NEW(&s->arena, n + machine->n_tips, struct tt_tip_result);

    if (tips == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    size_t made = 0, old = 0;
    for (size_t t = 0; t < machine->n_tips && view->options != NULL; t++) {
        if (old < n && strcmp(s->tips[old].name, machine->tips[t].name) == 0) {
            tips[made++] = s->tips[old++];
        } else if (is_missing(view, t)) {
            struct tt_tip_result *tip = &tips[made++];
            *tip = (struct tt_tip_result){.name = s->tip_names[t],
                                          .verdict = TIPTRUE_NOT_MEASURED,
                                          .offset_verdict = TIPTRUE_NOT_MEASURED,
                                          .dof = HUGE_VAL,
                                          .same_plate_dof = HUGE_VAL,
                                          .has_present = machine->tips[t].has_offset,
                                          .present = machine->tips[t].offset};
            s->verdict = TIPTRUE_REPEAT;
        }
    }
    while (old < n) {
        tips[made++] = s->tips[old++];
    }
    s->tips = tips;
    s->n_tips = made;
    return TIPTRUE_OK;
}

enum tiptrue_status tt_copy_wanted(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;
    size_t n = view->options != NULL ? view->options->n_tips : 0;

    s->wanted = TT_ARENA_NEW(&s->arena, n, const char *);
    for (size_t k = 0; s->wanted != NULL && k < n; k++) {
        const char *name = view->options->tips[k];
        s->wanted[k] = tt_arena_copy(&s->arena, name);
        if (s->wanted[k] == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        s->n_wanted++;
    }
    return s->wanted != NULL ? TIPTRUE_OK : TIPTRUE_E_MEMORY;
}
