/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See verdict.h. Tables by designated index: the order of an enum binds nothing here. */
#include "config.h"

#include "output/verdict.h"

static const char *const STATUSES[] = {
    [TIPTRUE_OK] = "ok",
    [TIPTRUE_E_USAGE] = "usage",
    [TIPTRUE_E_DATA] = "data",
    [TIPTRUE_E_NO_INPUT] = "no-input",
    [TIPTRUE_E_INTERNAL] = "internal",
    [TIPTRUE_E_MEMORY] = "memory",
    [TIPTRUE_E_IO] = "io",
    [TIPTRUE_E_CONFIG] = "config",
    [TIPTRUE_E_DEGENERATE] = "degenerate",
};

const char *tt_verdict_word(enum tiptrue_verdict verdict)
{
    return tt_verdict_words[verdict];
}

const char *tt_verdict_shown(const struct tiptrue_solution *solution, enum tiptrue_verdict verdict)
{
    return solution->least_squares ? "none" : tt_verdict_words[verdict];
}

const char *tt_verdict_shout(enum tiptrue_verdict verdict)
{
    static const char *const SHOUTS[] = {[TIPTRUE_KEEP] = "KEEP",
                                         [TIPTRUE_UPDATE] = "UPDATE",
                                         [TIPTRUE_REPEAT] = "REPEAT",
                                         [TIPTRUE_NOT_MEASURED] = "NOT MEASURED"};
    return SHOUTS[verdict];
}

const char *tt_severity_word(enum tiptrue_severity severity)
{
    return tt_severity_words[severity];
}

const char *tt_status_word(enum tiptrue_status status)
{
    return STATUSES[status];
}

static const char *name_at(const char *const names[], size_t n, size_t index)
{
    return index < n ? names[index] : NULL; /* TT_NONE is beyond every n */
}

const char *tt_finding_edge(const struct tiptrue_solution *solution,
                            const struct tt_finding *finding)
{
    return name_at(solution->edge_names, solution->n_edge_names, finding->edge);
}

const char *tt_finding_tip(const struct tiptrue_solution *solution,
                           const struct tt_finding *finding)
{
    return name_at(solution->tip_names, solution->n_tip_names, finding->tip);
}

const char *tt_finding_setup(const struct tiptrue_solution *solution,
                             const struct tt_finding *finding)
{
    return name_at(solution->setup_names, solution->n_setup_names, finding->setup);
}

struct tiptrue_solution tt_placement_names(const struct tiptrue_placement *placement)
{
    return (struct tiptrue_solution){.tip_names = placement->tip_names,
                                     .n_tip_names = placement->n_tips,
                                     .findings = placement->findings,
                                     .n_findings = placement->n_findings};
}
