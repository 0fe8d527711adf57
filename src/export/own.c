/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See own.h. Pieces are put in from the last one to the first, so that places stay what they are.
 */
#include "config.h"

#include "export/own.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/utf8.h"
#include "export/place.h"
#include "ingest/archive.h"

/* Decimals of an offset: 0.1 um, and 0.25 um of inches. */
#define DECIMALS_MM 4
#define DECIMALS_INCH 5

bool tt_own_is(const struct tiptrue_machine *machine, const char *path)
{
    struct stat own, other;
    return machine != NULL && stat(machine->file, &own) == 0 && stat(path, &other) == 0 &&
           own.st_dev == other.st_dev && own.st_ino == other.st_ino;
}

/* What a database of SQLite begins with, and where it names its application. */
#define SQLITE_MAGIC "SQLite format 3"
#define SQLITE_APPLICATION_AT 68

static bool is_history(const char *text, size_t length)
{
    static const unsigned char APPLICATION[4] = {0x74, 0x69, 0x70, 0x54};
    return length > SQLITE_APPLICATION_AT + sizeof APPLICATION &&
           memcmp(text, SQLITE_MAGIC, sizeof SQLITE_MAGIC) == 0 &&
           memcmp(text + SQLITE_APPLICATION_AT, APPLICATION, sizeof APPLICATION) == 0;
}

bool tt_own_is_any(const char *path, const char *text, size_t length)
{
    char schema[32] = "";
    struct tiptrue_log_head head;
    bool own = is_history(text, length);
    if (!own) {
        (void)tt_archive_object(text, text + length, schema, sizeof schema);
        own = strncmp(schema, "tiptrue.", strlen("tiptrue.")) == 0;
    }
    if (!own && tiptrue_log_head_read(path, &head, NULL) == TIPTRUE_OK) {
        own = head.is_run_log;
        tiptrue_log_head_clear(&head);
    }
    return own;
}

/* The edit of one number of tips[@index] of the machine file. False: out of memory. */
static bool own_edit(const struct tiptrue_machine *machine, size_t index,
                     const struct tt_tip_result *tip, enum tt_quantity quantity,
                     struct tt_arena *arena, struct tt_edit *edit)
{
    static const struct {
        const char *word, *key;
    } OF[TT_QUANTITIES] = {[TT_OFFSET_X] = {"offset.x", "offset/0"},
                           [TT_OFFSET_Y] = {"offset.y", "offset/1"},
                           [TT_TIP_HEIGHT] = {"height", "height"}};
    bool inch = machine->mm_per_unit == TT_MM_PER_INCH;
    struct tt_buffer place = {0}, field = {0};
    tt_buffer_printf(&place, "/tips/%zu/%s", index, OF[quantity].key);
    tt_buffer_printf(&field, "%s.%s%s", tip->name, OF[quantity].word, inch ? ":inch" : "");
    size_t length = field.length;
    const char *at = tt_buffer_keep(&place, arena), *text = tt_buffer_keep(&field, arena);
    *edit = (struct tt_edit){.put = {.field = {.text = text,
                                               .length = length,
                                               .tip = tip->name,
                                               .tip_length = strlen(tip->name),
                                               .quantity = quantity,
                                               .unit = inch ? TT_INCH : TT_MM,
                                               .decimals = inch ? DECIMALS_INCH : DECIMALS_MM},
                                     .place = at},
                             .tip = tip->name,
                             .value_mm = quantity == TT_OFFSET_X   ? tip->offset.x_mm
                                         : quantity == TT_OFFSET_Y ? tip->offset.y_mm
                                                                   : tip->height->value_mm,
                             .verdict = TIPTRUE_UPDATE};
    return at != NULL && text != NULL;
}

bool tt_own_edits(const struct tiptrue_machine *machine, size_t index,
                  const struct tt_tip_result *tip, struct tt_arena *arena, struct tt_edit edits[],
                  size_t *n)
{
    bool good = true;
    if (tip->offset_verdict == TIPTRUE_UPDATE) {
        good = own_edit(machine, index, tip, TT_OFFSET_X, arena, &edits[*n]) &&
               own_edit(machine, index, tip, TT_OFFSET_Y, arena, &edits[*n + 1]);
        *n += 2;
    }
    if (good && tt_height_waits(tip)) {
        good = own_edit(machine, index, tip, TT_TIP_HEIGHT, arena, &edits[(*n)++]);
    }
    return good;
}

/* text[at..at + length) gives way to @piece. */
static void put_in(struct tt_buffer *text, struct tt_span at, const struct tt_buffer *piece)
{
    struct tt_buffer made = {.failed = text->failed || piece->failed};
    tt_buffer_add(&made, text->text, at.at);
    tt_buffer_add(&made, piece->text, piece->length);
    tt_buffer_puts(&made, text->text + at.at + at.length);
    tt_buffer_clear(text);
    *text = made;
}

/* Where tips[@index]'s @key is, in *span, of a string what is between its quotation marks; false:
 * it is not there. */
static bool find(struct tt_config *config, size_t index, const char *key, struct tt_span *span)
{
    char place[80];
    struct tiptrue_error unseen = {0};
    snprintf(place, sizeof place, "/tips/%zu/%s", index, key);
    return tt_config_find(config, place, span, &unseen) == TIPTRUE_OK;
}

/* Where what is put in behind the name of tips[@index] goes; TIPTRUE_E_CONFIG: it has none. */
static enum tiptrue_status behind_name(struct tt_config *config,
                                       const struct tiptrue_machine *machine, size_t index,
                                       struct tt_span *behind, struct tiptrue_error *error)
{
    struct tt_span name;
    if (!find(config, index, "name", &name)) {
        return tt_fail(error, TIPTRUE_E_CONFIG, machine->file, 0, 0, "ask again",
                       "was changed since it was read");
    }
    *behind = (struct tt_span){name.at + name.length + 1, 0}; /* the quotation mark */
    return TIPTRUE_OK;
}

/* The offset of tips[@index] in @to as own.h says. */
static enum tiptrue_status prepare_offset(const struct tiptrue_machine *machine, size_t index,
                                          const char *plate, struct tt_buffer *to,
                                          struct tiptrue_error *error)
{
    struct tt_config *config = NULL;
    struct tt_span behind = {0}, last, old_plate;
    struct tt_buffer piece = {0};
    enum tiptrue_status status = tt_config_new(machine->file, to->text, to->length, &config, error);
    status = status == TIPTRUE_OK ? behind_name(config, machine, index, &behind, error) : status;
    if (status != TIPTRUE_OK) {
        tt_config_free(config);
        return status;
    }
    bool has_offset = find(config, index, "offset/1", &last);
    bool has_plate = find(config, index, "offset_plate", &old_plate);
    tt_config_free(config);
    if (has_plate) {
        tt_buffer_put_quoted(&piece, plate, strlen(plate));
        put_in(to, old_plate, &piece);
        behind.at += old_plate.at < behind.at ? piece.length - old_plate.length : 0;
    }
    tt_buffer_reset(&piece);
    if (!has_offset) {
        tt_buffer_puts(&piece, ", \"offset\": [0, 0]");
    }
    if (!has_plate) {
        tt_buffer_puts(&piece, ", \"offset_plate\": \"");
        tt_buffer_put_quoted(&piece, plate, strlen(plate));
        tt_buffer_putc(&piece, '"');
    }
    if (piece.length > 0) {
        put_in(to, behind, &piece);
    }
    tt_buffer_clear(&piece);
    return to->failed ? tt_fail_memory(error) : TIPTRUE_OK;
}

/* The same of its height. */
static enum tiptrue_status prepare_height(const struct tiptrue_machine *machine, size_t index,
                                          struct tt_buffer *to, struct tiptrue_error *error)
{
    struct tt_config *config = NULL;
    struct tt_span behind = {0}, height;
    struct tt_buffer piece = {0};
    enum tiptrue_status status = tt_config_new(machine->file, to->text, to->length, &config, error);
    status = status == TIPTRUE_OK ? behind_name(config, machine, index, &behind, error) : status;
    if (status == TIPTRUE_OK && !find(config, index, "height", &height)) {
        tt_buffer_puts(&piece, ", \"height\": 0");
        put_in(to, behind, &piece);
    }
    tt_config_free(config);
    tt_buffer_clear(&piece);
    return status == TIPTRUE_OK && to->failed ? tt_fail_memory(error) : status;
}

enum tiptrue_status tt_own_prepare(const struct tt_own_work *work, const struct tt_bytes *read,
                                   struct tt_buffer *to, struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;
    tt_buffer_add(to, read->text, read->length);
    if (to->failed) {
        return tt_fail_memory(error);
    }
    for (size_t i = 0; i < work->n && status == TIPTRUE_OK; i++) {
        const struct tt_export_put *put = &work->edits[i].put;
        size_t index = (size_t)strtoul(put->place + strlen("/tips/"), NULL, 10);
        if (put->field.quantity == TT_OFFSET_X) {
            status = prepare_offset(work->machine, index, work->plate, to, error);
        } else if (put->field.quantity == TT_TIP_HEIGHT) {
            status = prepare_height(work->machine, index, to, error);
        }
    }
    return status;
}
