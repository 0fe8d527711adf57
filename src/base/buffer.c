/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Grows by doubling, so that adding n bytes one at a time costs n. One byte more than `capacity`
 * says is never needed: the terminating NUL is counted in it.
 */
#include "config.h"

#include "base/buffer.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Bytes of the first block: the result of a run with one tip, so that a batch copies none of its
 * texts. */
#define FIRST_CAPACITY 8192

/* Room for @more bytes and the NUL; false: out of memory, remembered. */
static bool reserve(struct tt_buffer *buffer, size_t more)
{
    if (buffer->failed) {
        return false;
    }
    if (more < buffer->capacity && buffer->length < buffer->capacity - more) {
        return true;
    }
    if (more > SIZE_MAX / 4 || buffer->length > SIZE_MAX / 4) {
        buffer->failed = true;
        return false;
    }
    size_t capacity = buffer->capacity > 0 ? buffer->capacity : FIRST_CAPACITY;
    while (capacity <= buffer->length + more) {
        capacity *= 2;
    }
    char *text = realloc(buffer->text, capacity);
    if (text == NULL) {
        buffer->failed = true;
        return false;
    }
    buffer->text = text;
    buffer->capacity = capacity;
    return true;
}

void tt_buffer_add(struct tt_buffer *buffer, const char *text, size_t length)
{
    if (!reserve(buffer, length)) {
        return;
    }
    if (length > 0) {
        memcpy(buffer->text + buffer->length, text, length);
    }
    buffer->length += length;
    buffer->text[buffer->length] = '\0';
}

char *tt_buffer_room(struct tt_buffer *buffer, size_t most)
{
    return reserve(buffer, most) ? buffer->text + buffer->length : NULL;
}

void tt_buffer_end(struct tt_buffer *buffer, char *end)
{
    *end = '\0';
    buffer->length = (size_t)(end - buffer->text);
}

void tt_buffer_puts(struct tt_buffer *buffer, const char *text)
{
    tt_buffer_add(buffer, text, strlen(text));
}

void tt_buffer_putc(struct tt_buffer *buffer, char c)
{
    tt_buffer_add(buffer, &c, 1);
}

void tt_buffer_vprintf(struct tt_buffer *buffer, const char *format, va_list arguments)
{
    va_list again;
    va_copy(again, arguments);
    int length = vsnprintf(NULL, 0, format, arguments);
    buffer->failed = buffer->failed || length < 0;
    if (!buffer->failed && reserve(buffer, (size_t)length)) {
        vsnprintf(buffer->text + buffer->length, (size_t)length + 1, format, again);
        buffer->length += (size_t)length;
    }
    va_end(again);
}

void tt_buffer_printf(struct tt_buffer *buffer, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    tt_buffer_vprintf(buffer, format, arguments);
    va_end(arguments);
}

void tt_buffer_reset(struct tt_buffer *buffer)
{
    buffer->length = 0;
    buffer->failed = false;
    if (buffer->text != NULL) {
        buffer->text[0] = '\0';
    }
}

void tt_buffer_clear(struct tt_buffer *buffer)
{
    free(buffer->text);
    *buffer = (struct tt_buffer){0};
}

enum tiptrue_status tt_buffer_hand_over(struct tt_buffer *buffer, char **text, size_t *length,
                                        struct tiptrue_error *error)
{
    if (buffer->text == NULL) {
        tt_buffer_puts(buffer, ""); /* an empty text is a text */
    }
    if (buffer->failed) {
        tt_buffer_clear(buffer);
        return tt_fail_memory(error);
    }
    *text = buffer->text;
    if (length != NULL) {
        *length = buffer->length;
    }
    return TIPTRUE_OK;
}

const char *tt_buffer_keep(struct tt_buffer *buffer, struct tt_arena *arena)
{
    const char *text = buffer->failed || buffer->text == NULL
                           ? NULL
                           : tt_arena_copy_text(arena, buffer->text, buffer->length);

    tt_buffer_clear(buffer);
    return text;
}
