/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.plate/1: marks, groups, edges and pads of a reference plate. */
#include "config.h"

#include "formats/keys.h"
#include "formats/rows.h"
#include "model/machine.h"
#include "model/plate.h"

#define NAME                                                                                       \
    {                                                                                              \
        "name", TT_TEXT_FORM, AT(name), .need = TT_REQUIRED                                        \
    }
#define U                                                                                          \
    {"u", TT_U_FORM, AT(u_mm), .bounds = &tt_length_mm, .large = TT_LARGEST_STATED_MM},            \
        TT_KEY_BY_HAND("tolerance")
/* A damaged one is put out of use. */
#define USE                                                                                        \
    {                                                                                              \
        "use", TT_BOOL_FORM, AT(unused), .negated = true                                           \
    }
#define GROUP                                                                                      \
    {                                                                                              \
        "group", TT_HOOK_FORM, AT(group), .hook = TT_BENCH_MEMBER                                  \
    }
#define NOTE TT_KEY_BY_HAND("note")

static const struct tt_bounds expansion_ppm_per_K = {
    -1000.0, 1000.0, false, "circuit boards have 10 to 20, metals up to 30"};
static const struct tt_bounds temperature_C = {-100.0, 300.0, false,
                                               "degrees Celsius, -100 to 300"};
static const struct tt_bounds parts = {1.0, 1e9, false, "how many parts"};

static const char *const side_list[] = {[TT_LEFT] = "left", [TT_RIGHT] = "right"};
static const struct tt_vocabulary sides = {side_list, COUNT(side_list)};

#define T struct tt_group
/* Where the group's place is from, if boards told it; what is not read is for people. */
static const struct tt_key learned[] = {
    {"boards", TT_TEXT_FORM, AT(learned_boards), .need = TT_REQUIRED},
    {"parts", TT_COUNT_FORM, AT(learned_parts), .need = TT_REQUIRED, .bounds = &parts},
    TT_KEY_BY_HAND("run"),
    TT_KEY_BY_HAND("placed"),
    TT_KEY_BY_HAND("stated_u"),
};
static const struct tt_keys learned_keys = TT_KEYS_NAMED(learned, "learned");

static const struct tt_key group[] = {
    NAME,
    {"u", TT_U_FORM, AT(u_mm), .need = TT_REQUIRED, .bounds = &tt_length_mm,
     .large = TT_LARGEST_STATED_MM},
    TT_KEY_BY_HAND("tolerance"),
    {"learned", TT_OBJECT_FORM, .inner = &learned_keys},
    NOTE,
};
static const struct tt_keys group_keys = TT_KEYS_NAMED(group, "group");
#undef T

#define T struct tt_mark
static const struct tt_key mark[] = {
    NAME, {"at", TT_XY_FORM, AT(at), .need = TT_REQUIRED}, U, GROUP, USE, NOTE,
};
static const struct tt_keys mark_keys = TT_KEYS_NAMED(mark, "mark");
#undef T

#define T struct tt_edge
static const struct tt_key edge[] = {
    NAME,
    {"from", TT_XY_FORM, AT(from), .need = TT_REQUIRED, .absent = TT_IS_NAN},
    {"to", TT_XY_FORM, AT(to), .need = TT_REQUIRED, .absent = TT_IS_NAN},
    {"free_side", TT_WORD_FORM, AT(free_side), .need = TT_REQUIRED, .words = &sides},
    U,
    GROUP,
    USE,
    NOTE,
};
static const struct tt_keys edge_keys = TT_KEYS_NAMED(edge, "edge");
#undef T

#define T struct tt_pad
static const struct tt_key pad[] = {
    NAME,
    {"at", TT_XY_FORM, AT(at), SETS(has_at)},
    {"height", TT_LENGTH_FORM, AT(height_mm), .bounds = &tt_any_position_mm},
    U,
    USE,
    NOTE,
};
static const struct tt_keys pad_keys = TT_KEYS_NAMED(pad, "pad");
#undef T

#define T struct tiptrue_plate
static const struct tt_key plate[] = {
    TT_KEY_BY_HAND("schema"),
    NAME,
    {"serial", TT_TEXT_FORM, AT(serial)},
    TT_KEY_BY_HAND("units"),
    {"groups", LIST(groups, n_groups), .unique = true, .size = sizeof(struct tt_group),
     .inner = &group_keys},
    {"marks", LIST(marks, n_marks), .unique = true, .need = TT_REQUIRED,
     .size = sizeof(struct tt_mark), .inner = &mark_keys},
    {"edges", LIST(edges, n_edges), .unique = true, .need = TT_REQUIRED,
     .size = sizeof(struct tt_edge), .inner = &edge_keys, .hook = TT_BENCH_EDGE},
    {"pads", LIST(pads, n_pads), .unique = true, .size = sizeof(struct tt_pad), .inner = &pad_keys},
    {"reference", TT_HOOK_FORM, AT(reference), .need = TT_REQUIRED, .hook = TT_BENCH_REFERENCE},
    {"expansion_ppm_per_K", TT_NUMBER_FORM, AT(expansion_per_K), .bounds = &expansion_ppm_per_K,
     SETS(has_expansion), .times = 1e-6},
    {"measured_at_C", TT_NUMBER_FORM, AT(measured_at_C), .bounds = &temperature_C},
    NOTE,
};
const struct tt_keys tt_plate_keys = TT_KEYS_NAMED(plate, "plate");
#undef T
