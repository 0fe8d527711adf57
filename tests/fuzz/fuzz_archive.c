/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Any bytes as what a history imports: a fault is told, or a record is whole; and a record that was
 * read, written out by either form, is read back the same. */
#include "config.h"

#include "ingest/archive.h"
#include "output/history.h"
#include "replay.h"

static void told(void *context, const struct tiptrue_diagnostic *diagnostic)
{
    size_t *errors = context;
    FUZZ_ASSERT(diagnostic->text != NULL && diagnostic->text[0] != '\0' &&
                strpbrk(diagnostic->text, "\n\r\033") == NULL);
    *errors += diagnostic->severity == TIPTRUE_ERROR;
}

static struct tt_buffer written(const struct tt_record *record)
{
    struct tt_buffer text = {0};
    tt_output_record_json(record, &text);
    FUZZ_ASSERT(!text.failed);
    return text;
}

/* @record out as JSON and as CSV and back: the same each time. */
static void check_both_ways(const struct tt_record *record)
{
    struct tt_buffer first = written(record), csv = {0};
    struct tt_record again = {0}, third = {0};
    struct tt_diagnose diagnose;
    bool more = false;

    tt_diagnose_init(&diagnose, NULL, NULL, "f", first.text, first.length);
    FUZZ_ASSERT(tt_archive_read_record(&diagnose, first.text, first.text + first.length, &again,
                                       NULL) == TIPTRUE_OK);
    struct tt_buffer second = written(&again);
    FUZZ_ASSERT(first.length == second.length &&
                memcmp(first.text, second.text, first.length) == 0);

    tt_output_record_csv(record, &csv);
    FUZZ_ASSERT(!csv.failed);
    const char *at = csv.text;
    tt_diagnose_init(&diagnose, NULL, NULL, "f", csv.text, csv.length);
    FUZZ_ASSERT(tt_archive_read_csv(&diagnose, &at, &more, &third, NULL) == TIPTRUE_OK && more);
    FUZZ_ASSERT(at == csv.text + csv.length);
    struct tt_buffer last = written(&third);
    FUZZ_ASSERT(first.length == last.length && memcmp(first.text, last.text, first.length) == 0);
    tt_record_clear(&again);
    tt_record_clear(&third);
    tt_buffer_clear(&first);
    tt_buffer_clear(&second);
    tt_buffer_clear(&csv);
    tt_buffer_clear(&last);
}

static void check_record(const struct tt_record *record, bool whole)
{
    FUZZ_ASSERT(strlen(record->id) == TT_RUN_ID_SIZE - 1 && record->n_results > 0);
    for (size_t i = 0; i < record->n_results; i++) {
        FUZZ_ASSERT(record->results[i].version != NULL && record->results[i].json.text != NULL);
        FUZZ_ASSERT(!whole || record->results[i].added != NULL);
    }
    if (whole) {
        FUZZ_ASSERT(record->added != NULL);
        check_both_ways(record);
    }
}

static void read_object(const char *text, size_t size, bool bare)
{
    size_t errors = 0;
    const struct tiptrue_sink sink = {told, &errors};
    struct tt_record record = {0};
    struct tt_diagnose diagnose;

    tt_diagnose_init(&diagnose, &sink, NULL, "f", text, size);
    enum tiptrue_status status =
        bare ? tt_archive_read_result(&diagnose, text, text + size, &record, NULL)
             : tt_archive_read_record(&diagnose, text, text + size, &record, NULL);
    FUZZ_ASSERT(status == TIPTRUE_OK || (status == TIPTRUE_E_DATA && errors > 0));
    if (status == TIPTRUE_OK) {
        check_record(&record, !bare);
    }
    tt_record_clear(&record);
}

static void read_rows(const char *text, size_t size)
{
    size_t errors = 0;
    const struct tiptrue_sink sink = {told, &errors};
    struct tt_diagnose diagnose;
    const char *at = tt_archive_csv_begin(text, text + size);
    bool more = true;

    tt_diagnose_init(&diagnose, &sink, NULL, "f", text, size);
    while (more) {
        struct tt_record record = {0};
        const char *before = at;
        enum tiptrue_status status = tt_archive_read_csv(&diagnose, &at, &more, &record, NULL);
        FUZZ_ASSERT(status == TIPTRUE_OK || (status == TIPTRUE_E_DATA && errors > 0));
        FUZZ_ASSERT(!more || at > before);
        FUZZ_ASSERT(status != TIPTRUE_OK || !more || record.n_results > 0);
        more = more && status == TIPTRUE_OK;
        tt_record_clear(&record);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tt_diagnose diagnose;
    char schema[40], *text = malloc(size + 1);

    FUZZ_ASSERT(text != NULL);
    if (size > 0) {
        memcpy(text, data, size);
    }
    text[size] = '\0';
    tt_diagnose_init(&diagnose, NULL, NULL, "f", text, size);
    if (tt_text_check(&diagnose)) { /* as before every import */
        (void)tt_archive_kind(text, text + size);
        const char *end = tt_archive_object(text, text + size, schema, sizeof schema);
        FUZZ_ASSERT(end == NULL || (end > text && end <= text + size));
        read_object(text, size, false);
        read_object(text, size, true);
        read_rows(text, size);
    }
    free(text);
    return 0;
}
