/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/finding_add.h"

#include <string.h>

#include "base/named.h"

/* Room for one more finding; false: out of memory. */
static bool make_room(struct tt_view *view)
{
    struct tiptrue_solution *s = view->solution;

    if (s->n_findings < view->findings_capacity) {
        return true;
    }
    size_t capacity = view->findings_capacity == 0 ? 16 : 2 * view->findings_capacity;
    struct tt_finding *larger = TT_ARENA_NEW(&s->arena, capacity, struct tt_finding);
    if (larger == NULL) {
        return false;
    }
    if (s->n_findings > 0) {
        memcpy(larger, s->findings, s->n_findings * sizeof *larger);
    }
    s->findings = larger;
    view->findings_capacity = capacity;
    return true;
}

static enum tiptrue_status add(struct tt_view *view, struct tt_finding finding,
                               struct tt_about about)
{
    struct tiptrue_solution *s = view->solution;
    size_t *lines = TT_ARENA_NEW(&s->arena, about.n_lines, size_t);

    if (lines == NULL || !make_room(view)) {
        return TIPTRUE_E_MEMORY;
    }
    if (about.n_lines > 0) {
        memcpy(lines, about.lines, about.n_lines * sizeof *lines);
    }
    finding.edge = about.edge;
    finding.tip = about.tip;
    finding.setup = about.setup;
    finding.lines = lines;
    finding.n_lines = about.n_lines;
    s->findings[s->n_findings++] = finding;
    return TIPTRUE_OK;
}

/* A copy of @clauses with its own names; NULL: out of memory. */
static const struct tt_clauses *copy_of(struct tt_arena *arena, const struct tt_clauses *clauses)
{
    struct tt_clauses *copy = TT_ARENA_NEW(arena, 1, struct tt_clauses);
    struct tt_clause *to = TT_ARENA_NEW(arena, clauses->n, struct tt_clause);
    bool done = copy != NULL && to != NULL;

    for (size_t i = 0; i < clauses->n && done; i++) {
        to[i] = clauses->clause[i];
        if (to[i].name != NULL) {
            to[i].name = tt_arena_copy(arena, to[i].name);
            done = to[i].name != NULL;
        }
    }
    if (done) {
        *copy = (struct tt_clauses){to, clauses->n};
    }
    return done ? copy : NULL;
}

enum tiptrue_status tt_finding_add_values(struct tt_view *view, enum tt_finding_code code,
                                          enum tiptrue_severity severity, struct tt_about about,
                                          const struct tt_value values[], size_t n_values)
{
    struct tt_arena *arena = &view->solution->arena;
    struct tt_value *copy = TT_ARENA_NEW(arena, n_values, struct tt_value);

    for (size_t i = 0; i < n_values && copy != NULL; i++) {
        const char *text = values[i].text;
        copy[i] = values[i];
        if (text != NULL && (copy[i].text = tt_arena_copy(arena, text)) == NULL) {
            return TIPTRUE_E_MEMORY;
        }
        if (copy[i].clauses != NULL &&
            (copy[i].clauses = copy_of(arena, copy[i].clauses)) == NULL) {
            return TIPTRUE_E_MEMORY;
        }
    }
    if (copy == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    return add(view,
               (struct tt_finding){
                   .code = code, .severity = severity, .values = copy, .n_values = n_values},
               about);
}

size_t tt_run_tip(const struct tt_view *view, size_t index)
{
    const struct tiptrue_run *run = view->run;
    size_t t = TT_NAME_AT(run->tips, run->n_tips, view->solution->tips[index].name);

    return t < run->n_tips ? t : TT_NONE;
}

const struct tt_tip *tt_stated_tip(const struct tt_view *view, size_t index)
{
    size_t t = tt_run_tip(view, index);

    return t < view->machine->n_tips ? &view->machine->tips[t] : NULL;
}

enum tiptrue_status tt_find_all(struct tt_view *view, tt_finder *const finders[], size_t n)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t k = 0; k < n && status == TIPTRUE_OK; k++) {
        status = finders[k](view);
    }
    return status;
}
