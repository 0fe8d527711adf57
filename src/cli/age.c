/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See age.h. The program never sets a locale, so that the decimal sign is the point. */
#include "config.h"

#include "cli/options.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli/messages.h"

double cli_number(struct argp_state *state, const char *option, const char *text,
                  const char **behind)
{
    size_t length = strspn(text, "+-.0123456789eE"); /* so neither hexadecimal nor nan nor inf */
    char *end = (char *)text;
    double value = strtod(text, &end);

    if (end == text || (size_t)(end - text) > length || !isfinite(value)) {
        cli_usage(state, "%s '%s': a number is expected", option, text);
    }
    *behind = end;
    return value;
}

double cli_age_s(struct argp_state *state, const char *option, const char *text)
{
    static const struct {
        const char *unit;
        double seconds;
    } UNITS[] = {{"s", 1.0}, {"min", 60.0}, {"h", 3600.0}, {"d", 86400.0}};
    const char *unit;
    double value = cli_number(state, option, text, &unit);

    for (size_t i = 0; i < sizeof UNITS / sizeof UNITS[0]; i++) {
        if (strcmp(unit, UNITS[i].unit) == 0 && value > 0.0) {
            return value * UNITS[i].seconds;
        }
    }
    cli_usage(state,
              "%s '%s': a number above 0 with its unit is expected, s, min, h or d, such as 12h",
              option, text);
    return 0.0;
}
