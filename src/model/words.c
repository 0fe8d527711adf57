/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Tables by designated index: the order of an enum binds nothing here. */
#include "config.h"

#include "model/words.h"

#include <string.h>

#include "model/run.h"
#include "tiptrue.h"

const char *const tt_verdict_words[TT_VERDICTS] = {[TIPTRUE_KEEP] = "keep",
                                                   [TIPTRUE_UPDATE] = "update",
                                                   [TIPTRUE_REPEAT] = "repeat",
                                                   [TIPTRUE_NOT_MEASURED] = "not measured"};
const char *const tt_severity_words[TT_SEVERITIES] = {
    [TIPTRUE_NOTE] = "note", [TIPTRUE_WARNING] = "warning", [TIPTRUE_ERROR] = "error"};
const char *const tt_kind_words[TT_KINDS] = {[TT_SIGHT] = "sight",
                                             [TT_TOUCH] = "touch",
                                             [TT_HEIGHT] = "height",
                                             [TT_WARMUP] = "warmup",
                                             [TT_VIEW] = "view"};
const char *const tt_stage_words[TT_STAGES] = {"find", "measure"};
const char *const tt_use_words[TT_USES] = {[TT_USE] = "used",
                                           [TT_USE_NO_CONTACT] = "no-contact",
                                           [TT_USE_FIND] = "find",
                                           [TT_USE_OTHER] = "other"};

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
    [TT_BUDGET_CAMERA] = {"camera", "stated scale and turn of the camera"},
    [TT_BUDGET_LENS] = {"distortion", "distortion of the picture"},
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
