/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Words for the rows of field tables, over the struct T that a table is of: each file defines T
 * before a table and undefines it behind. */
#ifndef TT_FORMATS_ROWS_H
#define TT_FORMATS_ROWS_H

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

/* The member, or two of them, that the key is kept in; a struct tt_stated. */
#define AT(member) .at = offsetof(T, member)
#define XY(x, y) .at = offsetof(T, x), .at_y = offsetof(T, y)
#define STATED(member) AT(member.value), SETS(member.stated)
/* There where the flag is true; the same, and reading sets the flag; the same of a whole object. */
#define WHEN(flag) .when = TT_FLAG(T, flag)
#define SETS(flag) .when = TT_FLAG(T, flag), .sets = TT_FLAG(T, flag)
#define WHOLE(flag) .whole = TT_FLAG(T, flag), .sets = TT_FLAG(T, flag)
/* Structs, and how many there are. */
#define LIST(list, number) TT_LIST_FORM, AT(list), .n = offsetof(T, number)

#endif
