/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where the history is. */
#ifndef TT_CLI_PLACE_H
#define TT_CLI_PLACE_H

#include <stdbool.h>

#include "tiptrue.h"

/* The path of the history into *path, for free(): @named, or, where that is NULL,
 * tiptrue/history.db below $XDG_DATA_HOME (only if it is absolute, as the XDG Base Directory
 * Specification wants it), else below ~/.local/share. @make: the folders of the latter are made
 * where they are missing, for their owner only. TIPTRUE_E_USAGE: nothing says where it is. */
enum tiptrue_status cli_history_place(const char *named, bool make, char **path,
                                      struct tiptrue_error *error);

/* Seconds since 1970-01-01T00:00:00Z. */
double cli_now_s(void);

#endif
