/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* All of the table that a search sees, as one digest: what was found from it is known again. */
#include "config.h"

#include <string.h>

#include "base/digest.h"
#include "history/series/values.h"

void tt_values_digest(const struct tt_values *v, char digest[17])
{
    const size_t sizes[] = {v->n, v->tips, v->edges, v->contrasts, v->p, v->axes, v->n_plates};
    const struct {
        const void *at;
        size_t size;
    } parts[] = {
        {sizes, sizeof sizes},
        {v->y, v->n * v->p * sizeof *v->y},
        {v->stated, v->n * v->p * sizeof *v->stated},
        {v->there, v->n * v->p * sizeof *v->there},
        {v->common, v->axes * v->n * sizeof *v->common},
        {v->weeks, v->n * sizeof *v->weeks},
        {v->temperature, v->temperature != NULL ? v->n * sizeof *v->temperature : 0},
        {&v->period_weeks, sizeof v->period_weeks},
        {v->doubted, v->n * sizeof *v->doubted},
        {v->plate, v->n * sizeof *v->plate},
        {v->plate_u2, 2 * v->n_plates * sizeof *v->plate_u2},
        {v->response, (v->edges + (v->lost_motion != NULL)) * v->p * sizeof *v->response},
    };
    char both[2][17] = {{0}}; /* of all so far, and of the next */

    for (size_t i = 0; i < v->tips; i++) {
        tt_digest(v->series->tip_names[i], strlen(v->series->tip_names[i]), both[1]);
        tt_digest(both[0], sizeof both, both[0]);
    }
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        tt_digest(parts[i].size > 0 ? parts[i].at : "", parts[i].size, both[1]);
        tt_digest(both[0], sizeof both, both[0]);
    }
    memcpy(digest, both[0], sizeof both[0]);
}
