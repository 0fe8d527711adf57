/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Any bytes as a configuration, with any place, which is the first line: a value lies within the
 * text, and put in the place of itself it gives the same text; or there is a message. The file is
 * written and put back, or stays as it was. */
#include "config.h"

#include <dirent.h>

#include "as_file.h"
#include "export/edit.h"
#include "ingest/bytes.h"
#include "ingest/ingest.h"
#include "tiptrue.h"

static const char result_text[] =
    "{\"schema\": \"tiptrue.result/1\", \"run\": {\"id\": \"0123456789abcdef\", \"machine\": "
    "\"bench-7\", \"rotation_sense\": \"cw\"}, \"tips\": [{\"tip\": \"thin\", \"offset_mm\": "
    "{\"x\": 36.2, \"y\": -18.4}, \"covariance_mm2\": [[1e-6, 0], [0, 1e-6]], \"verdict\": "
    "\"update\"}], \"verdict\": \"update\"}";

static char folder[64], config[80];

/* Take away all files of the folder; how many were there. */
static size_t empty_folder(void)
{
    DIR *opened = opendir(folder);
    size_t n = 0;
    FUZZ_ASSERT(opened != NULL);
    for (const struct dirent *entry; (entry = readdir(opened)) != NULL;) {
        char path[400];
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        n += entry->d_name[0] != '.' && unlink(path) == 0;
    }
    closedir(opened);
    return n;
}

static void take_away_folder(void)
{
    empty_folder();
    rmdir(folder);
}

static void expect_bytes(const char *text, size_t length)
{
    struct tt_bytes bytes = {0};
    FUZZ_ASSERT(tt_bytes_read(config, &bytes, NULL) == TIPTRUE_OK);
    FUZZ_ASSERT(bytes.length == length && memcmp(bytes.text, text, length) == 0);
    tt_bytes_clear(&bytes);
}

static void write_config(const char *text, size_t length)
{
    if (folder[0] == '\0') {
        snprintf(folder, sizeof folder, "%s/tiptrue-fuzz-XXXXXX",
                 access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp");
        FUZZ_ASSERT(mkdtemp(folder) != NULL && atexit(take_away_folder) == 0);
        snprintf(config, sizeof config, "%s/c", folder);
    }
    FILE *file = fopen(config, "wb");
    FUZZ_ASSERT(file != NULL && fwrite(text, 1, length, file) == length && fclose(file) == 0);
}

/* Export into the file and undo it. */
static void check_file(const char *text, size_t length, const char *place)
{
    struct tiptrue_solution *solution = NULL;
    struct tiptrue_exported *exported = NULL;
    struct tiptrue_error error = {0};
    char *put = malloc(strlen(place) + sizeof "thin.offset.x=");
    FUZZ_ASSERT(put != NULL && tt_result_read_bytes("r", result_text, strlen(result_text), NULL,
                                                    &solution, NULL) == TIPTRUE_OK);
    sprintf(put, "thin.offset.x=%s", place);
    const char *const puts[] = {put};
    const struct tiptrue_export_options options = {
        .into = config, .put = puts, .n_put = 1, .now_s = 1.8e9, .force = ~0u};
    write_config(text, length);
    if (tiptrue_export(solution, &options, NULL, &exported, &error) == TIPTRUE_OK) {
        tiptrue_exported_free(exported);
        exported = NULL;
        FUZZ_ASSERT(tiptrue_export_undo(config, false, 1.8e9 + 60, &exported, &error) ==
                    TIPTRUE_OK);
        tiptrue_exported_free(exported);
        expect_bytes(text, length);
        empty_folder();
    } else {
        FUZZ_ASSERT(error.text[0] != '\0' && error.status != TIPTRUE_E_INTERNAL);
        expect_bytes(text, length);
        FUZZ_ASSERT(empty_folder() == 1);
    }
    tiptrue_solution_free(solution);
    free(put);
}

static void check_found(const char *text, size_t length, const char *place)
{
    struct tt_edit edit = {
        .put = {.field = {.text = "t.radius", .length = 8, .quantity = TT_RADIUS, .decimals = 4},
                .place = place},
        .value_mm = 2.385};
    struct tt_edit kept = edit;
    struct tt_arena arena = {0};
    struct tt_buffer to = {0};
    struct tiptrue_error error = {0};
    kept.kept = true;
    if (tt_edits_find("f", text, length, &edit, 1, &arena, &error) != TIPTRUE_OK) {
        FUZZ_ASSERT(error.status == TIPTRUE_E_CONFIG || error.status == TIPTRUE_E_USAGE);
        FUZZ_ASSERT(error.text[0] != '\0' && strlen(error.text) < sizeof(error.text));
    } else {
        FUZZ_ASSERT(edit.span.at + edit.span.length <= length && edit.line > 0);
        FUZZ_ASSERT(tt_edits_find("f", text, length, &kept, 1, &arena, &error) == TIPTRUE_OK);
        tt_edits_apply(text, length, &kept, 1, &to);
        FUZZ_ASSERT(to.length == length && memcmp(to.text, text, length) == 0);
        tt_buffer_reset(&to);
        tt_edits_apply(text, length, &edit, 1, &to);
        FUZZ_ASSERT(to.length == length - edit.span.length + 6);
        /* the place may be another one afterwards, where a path or pattern looks at values; then it
         * must be told, as a fault of the configuration or the place and never of the program */
        error = (struct tiptrue_error){0};
        if (tt_edits_verify("f", text, length, to.text, to.length, &edit, 1, &error) !=
            TIPTRUE_OK) {
            FUZZ_ASSERT(error.status == TIPTRUE_E_CONFIG || error.status == TIPTRUE_E_USAGE);
        }
    }
    tt_buffer_clear(&to);
    tt_arena_clear(&arena);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const uint8_t *feed = memchr(data, '\n', size);
    size_t length = feed != NULL ? (size_t)(feed - data) : 0;
    if (feed == NULL || memchr(data, '\0', length) != NULL) {
        return 0;
    }
    char *place = malloc(length + 1), *text = malloc(size - length);
    FUZZ_ASSERT(place != NULL && text != NULL);
    memcpy(place, data, length);
    place[length] = '\0';
    memcpy(text, feed + 1, size - length - 1);
    text[size - length - 1] = '\0';
    check_found(text, size - length - 1, place);
    check_file(text, size - length - 1, place);
    free(place);
    free(text);
    return 0;
}
