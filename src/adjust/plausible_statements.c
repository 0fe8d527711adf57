/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Limits and uncertainties of more than TT_LARGEST_STATED_MM: micrometres or mils where millimetres
 * are read. They are warned of where they are read; a tip that would be kept by them is not. */
#include "config.h"

#include "adjust/plausible.h"


struct statement {
    const char *field, *name; /* name: of the edge, mark, group or tip it is of; NULL = none */
    double value_mm, most_mm;
};

/* The first of the machine file's; value 0: none. */
static struct statement of_machine(const struct tiptrue_machine *machine)
{
    const struct tt_limits *limits = &machine->limits;
    const struct statement all[] = {
        {"limits.permitted_error", NULL,
         limits->has_permitted_error ? limits->permitted_error_mm : 0, TT_LARGEST_STATED_MM},
        {"limits.expanded_uncertainty", NULL, limits->has_expanded ? limits->expanded_mm : 0,
         TT_LARGEST_STATED_MM},
        {"limits.runout", NULL, limits->has_runout ? limits->runout_mm : 0, TT_LARGEST_STATED_MM},
        {"touch.u", NULL, machine->has_u_touch ? machine->u_touch_mm : 0, TT_LARGEST_STATED_MM},
        {"sighting.u", NULL, machine->has_u_sighting ? machine->u_sighting_mm : 0,
         TT_LARGEST_STATED_MM},
        {"resolution", NULL, machine->resolution_mm, TT_COARSEST_RESOLUTION_MM},
    };

    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        if (all[i].value_mm > all[i].most_mm) {
            return all[i];
        }
    }
    for (size_t t = 0; t < machine->n_tips; t++) {
        if (machine->tips[t].has_radius && machine->tips[t].u_radius_mm > TT_LARGEST_STATED_MM) {
            return (struct statement){"radius_u", machine->tips[t].name,
                                      machine->tips[t].u_radius_mm, TT_LARGEST_STATED_MM};
        }
    }
    return (struct statement){0};
}

static struct statement of_plate(const struct tiptrue_plate *plate)
{
    for (size_t i = 0; i < plate->n_edges; i++) {
        if (plate->edges[i].u_mm > TT_LARGEST_STATED_MM) {
            return (struct statement){"u", plate->edges[i].name, plate->edges[i].u_mm,
                                      TT_LARGEST_STATED_MM};
        }
    }
    for (size_t i = 0; i < plate->n_marks; i++) {
        if (plate->marks[i].u_mm > TT_LARGEST_STATED_MM) {
            return (struct statement){"u", plate->marks[i].name, plate->marks[i].u_mm,
                                      TT_LARGEST_STATED_MM};
        }
    }
    for (size_t i = 0; i < plate->n_groups; i++) {
        if (plate->groups[i].u_mm > TT_LARGEST_STATED_MM) {
            return (struct statement){"u", plate->groups[i].name, plate->groups[i].u_mm,
                                      TT_LARGEST_STATED_MM};
        }
    }
    return (struct statement){0};
}

enum tiptrue_status tt_findings_of_statements(struct tt_view *view)
{
    struct statement found = of_machine(view->machine);
    enum tiptrue_status status = TIPTRUE_OK;
    size_t n = view->solution->n_tips;

    if (!(found.value_mm > 0)) {
        found = of_plate(view->plate);
    }
    for (size_t i = 0; i < n && found.value_mm > 0 && status == TIPTRUE_OK; i++) {
        if (tt_would_keep(&view->solution->tips[i])) {
            status = tt_finding_add_values(
                view, TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR,
                (struct tt_about){TT_NONE, tt_run_tip(view, i), TT_NONE, NULL, 0},
                TT_VALUES(TT_TEXT("what", "statement"), TT_TEXT("field", found.field),
                          TT_TEXT("of", found.name != NULL ? found.name : ""),
                          TT_IN_MM("stated", found.value_mm), TT_IN_MM("most", found.most_mm)));
        }
    }
    return status;
}
