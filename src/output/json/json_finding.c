/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "output/json/json_finding.h"

#include <stdio.h>

#include "output/verdict.h"

/* An angle is kept in radians and written in degrees. */
static void write_value(struct tt_json *json, const struct tt_value *value)
{
    char key[TT_LONGEST_KEY + 1];

    snprintf(key, sizeof key, "%s%s", value->key, tt_unit_suffix(value->unit));
    switch (value->text != NULL ? TT_UNITS : value->unit) {
    case TT_UNITS:
        tt_json_key_text(json, key, value->text);
        break;
    case TT_UNIT_MM:
        tt_json_key_fixed(json, key, value->number);
        break;
    case TT_UNIT_RAD:
        tt_json_key_fixed(json, key, tt_deg_from_rad(value->number));
        break;
    case TT_UNIT_NONE:
    case TT_UNIT_SHARE:
    case TT_UNIT_S:
    case TT_UNIT_C:
    case TT_UNIT_PPM:
    case TT_UNIT_PPM_PER_K:
        tt_json_key_number(json, key, value->number);
        break;
    }
}

static void write_values(struct tt_json *json, const struct tt_finding *finding)
{
    tt_json_key(json, "values");
    tt_json_open(json, '{');
    for (size_t i = 0; i < finding->n_values; i++) {
        write_value(json, &finding->values[i]);
    }
    tt_json_close(json, '}');
}

void tt_json_findings(struct tt_json *json, const struct tiptrue_solution *s)
{
    tt_json_key(json, "findings");
    tt_json_open(json, '[');
    for (size_t i = 0; i < s->n_findings; i++) {
        const struct tt_finding *f = &s->findings[i];
        tt_json_open(json, '{');
        tt_json_key_text(json, "code", tt_finding_name(f->code));
        tt_json_key_text(json, "severity", tt_severity_word(f->severity));
        tt_json_key_text(json, "text", f->text);
        tt_json_key_text(json, "edge", tt_finding_edge(s, f));
        tt_json_key_text(json, "tip", tt_finding_tip(s, f));
        tt_json_key_text(json, "setup", tt_finding_setup(s, f));
        tt_json_key(json, "rows");
        tt_json_open(json, '[');
        for (size_t k = 0; k < f->n_lines; k++) {
            tt_json_count(json, f->lines[k]);
        }
        tt_json_close(json, ']');
        write_values(json, f);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}
