/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What is called by a name, in a list of structs or of names. */
#ifndef TT_BASE_NAMED_H
#define TT_BASE_NAMED_H

#include <stddef.h>

/* The index of the first of @n elements, @size bytes apart, whose name is the @length bytes at
 * @text; @n: there is none. @first: the name of the first of them. A name that is NULL is none. */
size_t tt_named(const char *const *first, size_t n, size_t size, const char *text, size_t length);

/* The same of the NUL-terminated @text; NULL is no name. */
size_t tt_called(const char *const *first, size_t n, size_t size, const char *text);

/* The same two in the list of @n structs with a member "name" at @list, which is not looked at
 * where @n is 0; and in a list of names. */
#define TT_NAMED_PART(list, n, text, length)                                                       \
    ((n) > 0 ? tt_named(&(list)->name, (n), sizeof *(list), (text), (length)) : 0)
#define TT_NAMED(list, n, text)                                                                    \
    ((n) > 0 ? tt_called(&(list)->name, (n), sizeof *(list), (text)) : 0)
#define TT_NAME_AT(names, n, text) tt_called((names), (n), sizeof *(names), (text))

#endif
