/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a board's log says of itself as a whole. What contradicts itself is a fault: the later
 * statement never wins silently. */
#include "config.h"

#include "ingest/board_metadata.h"

#include "base/time.h"
#include "ingest/cells.h"
#include "ingest/names.h"
#include "ingest/units.h"

static const char *const keys[TT_BOARD_KEYS] = {
    [TT_BOARD_MACHINE] = "machine",   [TT_BOARD_STARTED] = "started",
    [TT_BOARD_UNITS] = "units",       [TT_BOARD_FRAME] = "frame",
    [TT_BOARD_BOARD_U] = "board_u",   [TT_BOARD_DEVICE_U] = "device_u",
    [TT_BOARD_OPERATOR] = "operator", [TT_BOARD_NOTE] = "note",
};

static void set_started(struct tt_board_metadata *metadata, const struct tt_cell *value)
{
    double seconds;
    if (tt_time_read(value->text, value->length, &seconds)) {
        metadata->board->started =
            tt_cell_keep(&metadata->board->arena, value, &metadata->out_of_memory);
    } else {
        tt_warn(metadata->diagnose, tt_place_at(metadata->diagnose, value->at),
                "as in 2026-03-02T07:41:12Z, with 'Z' or an offset such as +01:00",
                "started '%s' is not a time of RFC 3339, and is not used",
                tt_shown(value->text, value->length).text);
    }
}

static void set_frame(struct tt_board_metadata *metadata, const struct tt_cell *value)
{
    metadata->board->own_frame = tt_cell_is(value, "board");
    if (!metadata->board->own_frame && !tt_cell_is(value, "machine")) {
        tt_fault(metadata->diagnose, tt_place_at(metadata->diagnose, value->at),
                 "machine: places in the machine's coordinates; board: in the board's own",
                 "frame '%s' is neither 'machine' nor 'board'",
                 tt_shown(value->text, value->length).text);
    }
}

/* A stated standard uncertainty, in the file's units. */
static bool set_u(struct tt_board_metadata *metadata, enum tt_board_key key,
                  const struct tt_cell *value, double *u)
{
    struct tt_bounds bounds = tt_positive_length_mm;
    const struct tt_number_column of = {keys[key], "a standard uncertainty in the file's units",
                                        &bounds};
    struct tt_signs own = {.comma_allowed = true}; /* the separator is not known yet */
    return tt_cell_number(metadata->diagnose, &own, value, &of, u, NULL);
}

static void set_value(struct tt_board_metadata *metadata, enum tt_board_key key,
                      const struct tt_cell *value)
{
    struct tiptrue_board *board = metadata->board;
    switch (key) {
    case TT_BOARD_MACHINE:
        board->machine = tt_cell_keep(&metadata->board->arena, value, &metadata->out_of_memory);
        break;
    case TT_BOARD_STARTED:
        set_started(metadata, value);
        break;
    case TT_BOARD_UNITS:
        if (!tt_units_read(value->text, value->length, &metadata->mm_per_unit)) {
            tt_fault(metadata->diagnose, tt_place_at(metadata->diagnose, value->at), TT_UNITS_HINT,
                     "unknown units '%s'", tt_shown(value->text, value->length).text);
        }
        break;
    case TT_BOARD_FRAME:
        set_frame(metadata, value);
        break;
    case TT_BOARD_BOARD_U:
        board->has_u_board = set_u(metadata, key, value, &board->u_board_mm);
        break;
    case TT_BOARD_DEVICE_U:
        board->has_u_device = set_u(metadata, key, value, &board->u_device_mm);
        break;
    case TT_BOARD_OPERATOR:
    case TT_BOARD_NOTE:
    case TT_BOARD_KEYS:
        break; /* for people */
    }
}

void tt_board_remark(struct tt_board_metadata *metadata, const struct tt_cell *remark, bool late)
{
    struct tt_cell key, value;
    if (!tt_remark_split(remark, &key, &value)) {
        return;
    }
    size_t index = tt_cell_find(&key, keys, TT_BOARD_KEYS);
    if (index == TT_BOARD_KEYS && !late) {
        char hint[TT_HINT_SIZE];
        tt_names_hint(keys, TT_BOARD_KEYS, "keys", key.text, key.length, hint);
        tt_warn(metadata->diagnose, tt_place_at(metadata->diagnose, key.at), hint,
                "unknown key '%s' is not used", tt_shown(key.text, key.length).text);
    } else if (index < TT_BOARD_KEYS && late && index != TT_BOARD_NOTE) {
        tt_fault(metadata->diagnose, tt_place_at(metadata->diagnose, key.at),
                 "write it before the header", "'%s' is stated after the header line", keys[index]);
    } else if (index < TT_BOARD_KEYS && metadata->stated[index] != NULL && index != TT_BOARD_NOTE) {
        tt_fault(metadata->diagnose, tt_place_at(metadata->diagnose, key.at), "leave one of them",
                 "'%s' is stated twice", keys[index]);
    } else if (index < TT_BOARD_KEYS) {
        metadata->stated[index] = key.at;
        set_value(metadata, (enum tt_board_key)index, &value);
    }
}
