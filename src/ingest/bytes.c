/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Plain read(2) rather than a mapping: a mapped log that another process cuts would end the program
 * with a signal, and a pipe cannot be mapped. The block is as large as the file says it is, and
 * doubles where it says nothing.
 */
#include "config.h"

#include "ingest/bytes.h"

#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/utf8.h"
#include "ingest/diagnose.h"

/* First block for a pipe, bytes. */
#define FIRST_BLOCK 16384
/* Most bytes of one read(2): Linux moves no more than 2^31 - 4096 at once. */
#define ONE_READ ((size_t)1 << 30)

static bool reserve(struct tt_bytes *bytes, size_t *capacity, size_t wanted)
{
    char *text = realloc(bytes->text, wanted);
    if (text == NULL) {
        return false;
    }
    bytes->text = text;
    *capacity = wanted;
    return true;
}

/* From @file to its end. */
static enum tiptrue_status read_all(int file, const char *name, size_t size, struct tt_bytes *bytes,
                                    struct tiptrue_error *error)
{
    size_t capacity = 0;
    if (!reserve(bytes, &capacity, size + 2)) {
        return tt_fail_memory(error);
    }
    for (;;) {
        if (capacity - bytes->length < 2 &&
            (capacity > SIZE_MAX / 2 || !reserve(bytes, &capacity, 2 * capacity))) {
            return tt_fail_memory(error);
        }
        size_t room = capacity - bytes->length - 1;
        ssize_t got = read(file, bytes->text + bytes->length, room < ONE_READ ? room : ONE_READ);
        if (got == 0) {
            bytes->text[bytes->length] = '\0';
            return TIPTRUE_OK;
        }
        if (got > 0) {
            bytes->length += (size_t)got;
        } else if (errno != EINTR) {
            return tt_fail(error, TIPTRUE_E_IO, name, 0, 0, NULL, "cannot be read to its end: %s",
                           strerror(errno));
        }
    }
}

static enum tiptrue_status read_open_file(int file, const char *name, struct tt_bytes *bytes,
                                          struct tiptrue_error *error)
{
    struct stat about;
    if (fstat(file, &about) != 0) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, name, 0, 0, NULL, "cannot be read: %s",
                       strerror(errno));
    }
    if (S_ISDIR(about.st_mode)) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, name, 0, 0, "name a file in it",
                       "is a directory, not a file");
    }
    size_t size = FIRST_BLOCK;
    if (S_ISREG(about.st_mode) && about.st_size > 0) {
        if ((uintmax_t)about.st_size > SIZE_MAX / 2) {
            return tt_fail_memory(error);
        }
        size = (size_t)about.st_size;
    }
    struct tt_bytes all = {0};
    enum tiptrue_status status = read_all(file, name, size, &all, error);
    if (status == TIPTRUE_OK) {
        *bytes = all;
    } else {
        tt_bytes_clear(&all);
    }
    return status;
}

enum tiptrue_status tt_bytes_read(const char *path, struct tt_bytes *bytes,
                                  struct tiptrue_error *error)
{
    if (strcmp(path, "-") == 0) {
        return read_open_file(STDIN_FILENO, tt_bytes_name(path), bytes, error);
    }
    int file = open(path, O_RDONLY | O_NOCTTY | O_CLOEXEC);
    if (file < 0) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, path, 0, 0,
                       errno == ENOENT ? "is the name right, and the folder?" : NULL,
                       "cannot be opened: %s", strerror(errno));
    }
    enum tiptrue_status status = read_open_file(file, path, bytes, error);
    close(file);
    return status;
}

enum tiptrue_status tt_bytes_copy(const char *text, size_t length, struct tt_bytes *bytes,
                                  struct tiptrue_error *error)
{
    char *copy = length < SIZE_MAX ? malloc(length + 1) : NULL;
    if (copy == NULL) {
        return tt_fail_memory(error);
    }
    if (length > 0) {
        memcpy(copy, text, length);
    }
    copy[length] = '\0';
    *bytes = (struct tt_bytes){copy, length};
    return TIPTRUE_OK;
}

const char *tt_bytes_name(const char *path)
{
    return strcmp(path, "-") == 0 ? TT_STANDARD_INPUT : path;
}

void tt_diagnose_bytes(struct tt_diagnose *diagnose, const struct tiptrue_sink *sink,
                       struct tiptrue_error *error, const char *file, const struct tt_bytes *bytes)
{
    size_t mark = tt_byte_order_mark(bytes->text, bytes->length);

    tt_diagnose_init(diagnose, sink, error, file, bytes->text + mark, bytes->length - mark);
}

void tt_bytes_clear(struct tt_bytes *bytes)
{
    free(bytes->text);
    *bytes = (struct tt_bytes){0};
}

/* Is it text at all: UTF-8, and no NUL. Runs of ASCII pass eight bytes at a time, since all that is
 * usual is ASCII.
 */

#define EACH_BYTE(value) (UINT64_C(0x0101010101010101) * (value))

/* Whether eight bytes are all between 0x01 and 0x7F. */
static bool is_plain(const char *at)
{
    uint64_t word;
    memcpy(&word, at, sizeof(word));
    return ((word | (word - EACH_BYTE(1))) & EACH_BYTE(0x80)) == 0;
}

static bool tell_wrong_byte(struct tt_diagnose *diagnose, const char *at)
{
    const unsigned char *first = (const unsigned char *)diagnose->text;
    size_t length = (size_t)(diagnose->end - diagnose->text);
    if (length >= 2 &&
        ((first[0] == 0xFF && first[1] == 0xFE) || (first[0] == 0xFE && first[1] == 0xFF))) {
        tt_fault(diagnose, tt_place_file(diagnose), "save it as UTF-8",
                 "the file is UTF-16 text, and UTF-8 is expected");
    } else if (*at == '\0') {
        tt_fault(diagnose, tt_place_at(diagnose, at), "the file is not text, or was damaged",
                 "a NUL byte, where text is expected");
    } else {
        tt_fault(diagnose, tt_place_at(diagnose, at), "save the file as UTF-8",
                 "byte 0x%02X is not valid UTF-8", (unsigned)(unsigned char)*at);
    }
    return false;
}

bool tt_text_check(struct tt_diagnose *diagnose)
{
    const char *at = diagnose->text, *end = diagnose->end;
    while (at < end) {
        if (end - at >= 8 && is_plain(at)) {
            at += 8;
            continue;
        }
        size_t length = *at == '\0' ? 0 : tt_utf8_within(at, (size_t)(end - at));
        if (length == 0) {
            return tell_wrong_byte(diagnose, at);
        }
        at += length;
    }
    return true;
}

bool tt_text_is_there(struct tt_diagnose *diagnose)
{
    for (const char *at = diagnose->text; at < diagnose->end; at++) {
        if (*at != ' ' && *at != '\t' && *at != '\r' && *at != '\n') {
            return true;
        }
    }
    tt_fault(diagnose, tt_place_file(diagnose), NULL, "the file is empty");
    return false;
}
