/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A board as a history exports it. */
#include "config.h"

#include <string.h>

#include "base/digest.h"
#include "base/time.h"
#include "ingest/archive.h"
#include "ingest/archive_parts.h"

#define COUNT(list) (sizeof(list) / sizeof((list)[0]))

/* A whole number from 0 on of @object. */
static size_t count_member(struct tt_fields *fields, const cJSON *object, const char *key)
{
    const cJSON *item = tt_field(fields, object, "parts", key, TT_REQUIRED);

    if (item == NULL) {
        return 0;
    }
    if (!cJSON_IsNumber(item) || !(item->valuedouble >= 0 && item->valuedouble < 1e9)) {
        tt_field_tell_form(fields, item, "parts", key, "a whole number");
        return 0;
    }
    return (size_t)item->valuedouble;
}

/* What the members say together. */
static void check(struct tt_fields *fields, const cJSON *root, const struct tt_board_record *board)
{
    struct tt_place place = tt_json_place(&fields->json, root);
    char digest[17];

    if (board->table.text == NULL || board->said.text == NULL || board->verdict == NULL) {
        tt_fault(fields->diagnose, place, NULL, "board %s has no 'table', 'said' or 'verdict'",
                 board->id);
        return;
    }
    tt_digest(board->table.text, board->table.length, digest);
    if (strcmp(digest, board->id) != 0) {
        tt_fault(fields->diagnose, place,
                 "export the board again from the history that it comes from",
                 "the table of board %s is not the one of this id, which is the digest of its "
                 "bytes: those here have %s",
                 board->id, digest);
    }
    if (strcmp(board->verdict, "keep") != 0 && strcmp(board->verdict, "update") != 0 &&
        strcmp(board->verdict, "repeat") != 0) {
        tt_fault(fields->diagnose, place, NULL,
                 "board %s: 'verdict' is none of keep, update, repeat", board->id);
    }
}

enum tiptrue_status tt_archive_read_board(struct tt_diagnose *diagnose, const char *text,
                                          const char *end, struct tt_arena *arena,
                                          struct tt_board_record *board,
                                          struct tiptrue_error *error)
{
    static const char *const known[] = {"schema", "id",        "started", "machine", "added",
                                        "judged", "version",   "parts",   "run",     "verdict",
                                        "table",  "placement", "said"};
    struct tt_fields fields = {.diagnose = diagnose, .arena = arena, .mm_per_unit = 1.0};
    size_t faults = diagnose->faults;

    *board = (struct tt_board_record){.id = ""};
    if (tt_json_read(&fields.json, diagnose, text, end, NULL) &&
        tt_field_schema(&fields, fields.json.root, "tiptrue.board-record/1")) {
        const cJSON *root = fields.json.root;
        const cJSON *parts = tt_field_object(&fields, root, "board", "parts", TT_REQUIRED);
        tt_field_unknown(&fields, root, "board", known, COUNT(known));
        tt_archive_read_id(&fields, root, "board", board->id);
        board->machine = tt_archive_text_member(&fields, root, "board", "machine").text;
        board->machine = board->machine != NULL ? board->machine : "";
        board->started = tt_archive_text_member(&fields, root, "board", "started").text;
        board->added = tt_archive_time_member(&fields, root, "board", "added");
        board->judged = tt_archive_time_member(&fields, root, "board", "judged");
        board->version = tt_field_text(&fields, root, "board", "version", TT_REQUIRED);
        board->verdict = tt_field_text(&fields, root, "board", "verdict", TT_REQUIRED);
        board->run = tt_archive_text_member(&fields, root, "board", "run").text;
        board->parts_read = parts != NULL ? count_member(&fields, parts, "read") : 0;
        board->parts_used = parts != NULL ? count_member(&fields, parts, "used") : 0;
        board->table = tt_archive_text_member(&fields, root, "board", "table");
        board->said = tt_archive_text_member(&fields, root, "board", "said");
        board->json = tt_archive_compact_member(&fields, root, "board", "placement", TT_REQUIRED);
        const char *time = board->started != NULL ? board->started : board->added;
        if (time != NULL && !tt_time_read(time, strlen(time), &board->time_s)) {
            tt_fault(diagnose, tt_json_place(&fields.json, root), NULL,
                     "board %s: 'started' is no time", board->id);
        }
        if (diagnose->faults == faults && !fields.out_of_memory) {
            check(&fields, root, board);
        }
    }
    return tt_archive_end_of(&fields, faults, error);
}
