/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Numbers and times of the command line. */
#ifndef TT_CLI_AGE_H
#define TT_CLI_AGE_H

#include <argp.h>

/* A finite number at @text, *behind set; a usage error that names @option if there is none. */
double cli_number(struct argp_state *state, const char *option, const char *text,
                  const char **behind);

/* Seconds of "90s", "30min", "12h" or "2d", more than 0; else a usage error that names @option. */
double cli_age_s(struct argp_state *state, const char *option, const char *text);

#endif
