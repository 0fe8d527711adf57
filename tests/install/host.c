/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A host program, built by `make installcheck` against the installed header and library as a
 * stranger would: through pkg-config. */
#include <tiptrue.h>

#include <stdio.h>
#include <string.h>

int main(int argc, char *argv[])
{
    struct tiptrue_plate *plate = NULL;
    struct tiptrue_error error = {0};
    char macros[40];
    snprintf(macros, sizeof macros, "%d.%d.%d", TIPTRUE_VERSION_NUMBER / 10000,
             TIPTRUE_VERSION_NUMBER / 100 % 100, TIPTRUE_VERSION_PATCH);
    if (argc != 2 || strcmp(tiptrue_version(), argv[1]) != 0 || strcmp(macros, argv[1]) != 0 ||
        strcmp(TIPTRUE_VERSION, argv[1]) != 0) {
        fprintf(stderr, "the library is version '%s', its header '%s' and '%s'\n",
                tiptrue_version(), TIPTRUE_VERSION, macros);
        return 1;
    }
    const enum tiptrue_status status =
        tiptrue_plate_read("no-such-plate.json", NULL, &plate, &error);
    if (status != TIPTRUE_E_NO_INPUT || error.status != status || plate) {
        fprintf(stderr, "reading a plate that is not there: status %d, '%s'\n", (int)status,
                error.text);
        return 1;
    }
    return 0;
}
