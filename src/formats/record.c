/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a history exports, and lists: tiptrue.history/1, a run; tiptrue.board-record/1; and the
 * entry of each. */
#include "config.h"

#include "formats/keys.h"
#include "formats/rows.h"
#include "model/record.h"

#define STORED(key, member, what) key, TT_HOOK_FORM, AT(member), .hook = TT_STORED_##what
#define NEEDED .need = TT_REQUIRED

#define T struct tt_record_result
static const struct tt_key result[] = {
    {STORED("version", version, WORD), NEEDED},
    {STORED("solved", added, TIME), NEEDED},
    {STORED("plate", documents[TT_DOCUMENT_PLATE], TEXT)},
    {STORED("machine", documents[TT_DOCUMENT_MACHINE], TEXT)},
    {STORED("plan", documents[TT_DOCUMENT_PLAN], TEXT)},
    {STORED("pattern", documents[TT_DOCUMENT_PATTERN], TEXT)},
    {STORED("result", json, JSON), NEEDED},
};
static const struct tt_keys result_keys = TT_KEYS_NAMED(result, "result");
#undef T

#define T struct tt_record_export
static const struct tt_key export[] = {
    {STORED("time", time, TIME), NEEDED},     {STORED("file", file, WORD), NEEDED},
    {STORED("old_digest", old_digest, WORD)}, {STORED("new_digest", new_digest, WORD)},
    {STORED("old_values", old_values, JSON)}, {STORED("new_values", new_values, JSON)},
};
static const struct tt_keys export_keys = TT_KEYS_NAMED(export, "export");
#undef T

#define T struct tt_record
#define EXPORTS                                                                                    \
    {                                                                                              \
        "exports", LIST(exports, n_exports), .size = sizeof(struct tt_record_export),              \
                                             .inner = &export_keys                                 \
    }
static const struct tt_key record[] = {
    TT_KEY_BY_HAND("schema"),
    {STORED("id", id, ID), NEEDED},
    {STORED("added", added, TIME), NEEDED},
    {STORED("log", log, TEXT)},
    {"results", LIST(results, n_results), NEEDED, .size = sizeof(struct tt_record_result),
     .inner = &result_keys},
    EXPORTS,
};
const struct tt_keys tt_record_keys = TT_KEYS_NAMED(record, "run");

static const struct tt_key exports[] = {EXPORTS};
const struct tt_keys tt_record_export_keys = TT_KEYS_NAMED(exports, "run");
#undef T

#define T struct tt_board_record
static const struct tt_key parts[] = {
    {"read", TT_COUNT_FORM, AT(parts_read), NEEDED},
    {"used", TT_COUNT_FORM, AT(parts_used), NEEDED},
};
static const struct tt_keys parts_keys = TT_KEYS(parts);

#define BOARD_ENTRY                                                                                \
    TT_KEY_BY_HAND("schema"), {STORED("id", id, ID), NEEDED}, {STORED("started", started, WORD)},  \
        {STORED("machine", machine, NAME)}, {STORED("added", added, TIME), NEEDED},                \
        {STORED("judged", judged, TIME), NEEDED}, {STORED("version", version, WORD), NEEDED},      \
        {"parts", TT_OBJECT_FORM, NEEDED, .inner = &parts_keys}, {STORED("run", run, WORD)},       \
    {                                                                                              \
        STORED("verdict", verdict, WORD), NEEDED                                                   \
    }
static const struct tt_key board_entry[] = {BOARD_ENTRY};
const struct tt_keys tt_board_entry_keys = TT_KEYS_NAMED(board_entry, "board");

static const struct tt_key board[] = {
    BOARD_ENTRY,
    {STORED("table", table, TEXT)},
    {STORED("placement", json, JSON), NEEDED},
    {STORED("said", said, TEXT)},
};
const struct tt_keys tt_board_record_keys = TT_KEYS_NAMED(board, "board");
#undef T

#define T struct tt_record_tip
static const struct tt_key tip[] = {
    {"tip", TT_TEXT_FORM, AT(name)},
    {"offset_mm", TT_X_Y_FORM, XY(x_mm, y_mm), WHEN(determined)},
    {"verdict", TT_TEXT_FORM, AT(verdict)},
};
static const struct tt_keys tip_keys = TT_KEYS(tip);
#undef T

#define T struct tt_record_entry
static const struct tt_key entry[] = {
    {STORED("id", id, ID), NEEDED},
    {"started", TT_TEXT_FORM, AT(started)},
    {STORED("machine", machine, NAME)},
    {"plate", TT_TEXT_FORM, AT(plate)},
    {"plate_serial", TT_TEXT_FORM, AT(plate_serial)},
    {"added", TT_TEXT_FORM, AT(added)},
    {"solved", TT_TEXT_FORM, AT(solved)},
    {"version", TT_TEXT_FORM, AT(version)},
    {"results", TT_COUNT_FORM, AT(results)},
    {"exports", TT_COUNT_FORM, AT(exports)},
    {"log", TT_BOOL_FORM, AT(has_log)},
    {"excluded", TT_TEXT_FORM, AT(excluded)},
    {"tips", LIST(tips, n_tips), .size = sizeof(struct tt_record_tip), .inner = &tip_keys},
    {"verdict", TT_TEXT_FORM, AT(verdict)},
};
const struct tt_keys tt_record_entry_keys = TT_KEYS(entry);
#undef T
