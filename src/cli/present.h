/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where the offsets in use are read from. */
#ifndef TT_CLI_PRESENT_H
#define TT_CLI_PRESENT_H

#include "tiptrue.h"

/* The offsets in use of @machine from @word, what --present says: "machine" (as the machine file
 * states them), "none", or a configuration file; NULL: the files that the machine file exports to,
 * else as it states them. */
enum tiptrue_status cli_present_read(const char *word, struct tiptrue_machine *machine,
                                     struct tiptrue_error *error);

#endif
