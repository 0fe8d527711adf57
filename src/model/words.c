/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Tables by designated index: the order of an enum binds nothing here. */
#include "config.h"

#include "model/words.h"

#include <string.h>

static const struct {
    const char *name, *source;
} BUDGET[TT_BUDGET_CODES] = {
    [TT_BUDGET_TOUCH] = {"touch-repeatability", "touch repeatability"},
    [TT_BUDGET_SIGHT] = {"sighting-repeatability", "sighting repeatability"},
    [TT_BUDGET_RESOLUTION] = {"resolution", "resolution of the coordinates"},
    [TT_BUDGET_ROTATION] = {"rotation-setting", "rotation setting"},
    [TT_BUDGET_RADIUS] = {"stated-radius", "stated contact radius"},
    [TT_BUDGET_YAW] = {"nominal-yaw", "nominal yaw"},
    [TT_BUDGET_PLACE] = {"stated-place", "stated place of the mark"},
    [TT_BUDGET_RIVALS] = {"explanations", "explanations not excluded"},
    [TT_BUDGET_EDGES] = {"edge-places", "edge places"},
    [TT_BUDGET_GROUPS] = {"group-shifts", "group shifts"},
    [TT_BUDGET_MARKS] = {"mark-places", "mark places"},
    [TT_BUDGET_BETWEEN_RUNS] = {"between-runs", "scatter between runs"},
    [TT_BUDGET_OTHER] = {"other", ""},
};

const char *tt_budget_name(enum tt_budget_code code)
{
    return BUDGET[code].name;
}

const char *tt_budget_source(enum tt_budget_code code)
{
    return BUDGET[code].source;
}

enum tt_budget_code tt_budget_find(const char *source)
{
    size_t code = 0;

    while (code < TT_BUDGET_OTHER && strcmp(BUDGET[code].source, source) != 0) {
        code++;
    }
    return (enum tt_budget_code)code;
}
