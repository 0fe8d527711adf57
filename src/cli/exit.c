/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The exit status of a command, from <sysexits.h>. */
#include "config.h"

#include <sysexits.h>

#include "cli/command.h"

int cli_exit_status(enum tiptrue_status status)
{
    static const int EXITS[] = {
        [TIPTRUE_OK] = EX_OK,
        [TIPTRUE_E_USAGE] = EX_USAGE,
        [TIPTRUE_E_DATA] = EX_DATAERR,
        [TIPTRUE_E_NO_INPUT] = EX_NOINPUT,
        [TIPTRUE_E_INTERNAL] = EX_SOFTWARE,
        [TIPTRUE_E_MEMORY] = EX_OSERR,
        [TIPTRUE_E_IO] = EX_IOERR,
        [TIPTRUE_E_CONFIG] = EX_CONFIG,
        [TIPTRUE_E_DEGENERATE] = EX_DATAERR,
    };
    return EXITS[status];
}

int cli_worse(int status, int other)
{
    return status > other ? status : other;
}
