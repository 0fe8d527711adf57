/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a log says of itself before its rows: enough to choose the machine and plate that it is read
 * with. Faults are not told here: whoever reads the log itself tells them. */
#include "config.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/status.h"
#include "base/utf8.h"
#include "ingest/builder.h"
#include "ingest/formats.h"

/* What a log says of itself stands before its rows, in its first bytes: so many are read of it. */
#define HEAD_BYTES 8192

/* Up to HEAD_BYTES of the regular file @path, NUL-terminated, without a piece of a line at the
 * end. False: it cannot be read, or out of memory. */
static bool read_beginning(const char *path, char text[HEAD_BYTES + 1], size_t *length)
{
    struct stat about;
    int file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    ssize_t got = 0;
    size_t sum = 0;
    if (file < 0) {
        return false;
    }
    if (fstat(file, &about) == 0 && S_ISREG(about.st_mode)) {
        do {
            got = read(file, text + sum, HEAD_BYTES - sum);
            sum += got > 0 ? (size_t)got : 0;
        } while ((got > 0 && sum < HEAD_BYTES) || (got < 0 && errno == EINTR));
    }
    close(file);
    while (sum == HEAD_BYTES && sum > 0 && text[sum - 1] != '\n' && text[sum - 1] != '\r') {
        sum--;
    }
    text[sum] = '\0';
    *length = strlen(text); /* a NUL ends it: it is no text then */
    return got >= 0;
}

static bool is_json(const char *text)
{
    text += strspn(text, " \t\r\n");
    return *text == '{' || *text == '[';
}

/* What @run states, each for free(). False: out of memory. */
static bool take(const struct tiptrue_run *run, struct tiptrue_log_head *head)
{
    const char *const from[] = {run->machine, run->plate, run->plate_serial, run->started};
    char **const to[] = {&head->machine, &head->plate, &head->plate_serial, &head->started};
    bool good = true;
    for (size_t i = 0; i < sizeof from / sizeof from[0]; i++) {
        *to[i] = from[i] != NULL ? strdup(from[i]) : NULL;
        good = good && (from[i] == NULL || *to[i] != NULL);
    }
    return good;
}

static enum tiptrue_status read_lines(const char *text, size_t length,
                                      struct tiptrue_log_head *head, struct tiptrue_error *error)
{
    struct tiptrue_error unseen = {0};
    struct tt_diagnose diagnose;
    struct tt_builder builder;
    struct tiptrue_run *run = calloc(1, sizeof *run);
    if (run == NULL) {
        return tt_fail_memory(error);
    }
    size_t mark = tt_byte_order_mark(text, length);
    tt_diagnose_init(&diagnose, NULL, &unseen, "", text + mark, length - mark);
    tt_builder_init(&builder, &diagnose, NULL, NULL, run, 1);
    head->is_run_log = !builder.out_of_memory && tt_run_read_csv_head(&builder);
    bool good = !builder.out_of_memory && take(run, head);
    tt_builder_clear(&builder);
    tiptrue_run_free(run);
    return good ? TIPTRUE_OK : tt_fail_memory(error);
}

enum tiptrue_status tiptrue_log_head_read(const char *path, struct tiptrue_log_head *head,
                                          struct tiptrue_error *error)
{
    char text[HEAD_BYTES + 1];
    size_t length = 0;
    struct tiptrue_run *run = NULL;
    enum tiptrue_status status = TIPTRUE_OK;
    *head = (struct tiptrue_log_head){0};
    if (!read_beginning(path, text, &length)) {
        return TIPTRUE_OK;
    }
    if (!is_json(text + tt_byte_order_mark(text, length))) {
        status = read_lines(text, length, head, error);
    } else if (tiptrue_run_read(path, NULL, NULL, NULL, NULL, NULL, &run, NULL) == TIPTRUE_OK) {
        head->is_run_log = true;
        status = take(run, head) ? TIPTRUE_OK : tt_fail_memory(error);
        tiptrue_run_free(run);
    } else {
        head->is_document = true;
    }
    if (status != TIPTRUE_OK) {
        tiptrue_log_head_clear(head);
    }
    return status;
}

void tiptrue_log_head_clear(struct tiptrue_log_head *head)
{
    free(head->machine);
    free(head->plate);
    free(head->plate_serial);
    free(head->started);
    *head = (struct tiptrue_log_head){0};
}
