/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Any bytes as a run: as CSV or JSON with and without plate and machine, and as a controller's log.
 * Whatever they are, the answer is a run that keeps its promises, or a fault with a place; and the
 * same twice.
 */
#include "config.h"

#include <math.h>

#include "ingest/ingest.h"
#include "replay.h"

static const char plate_text[] =
    "{\"schema\": \"tiptrue.plate/1\", \"name\": \"p\", \"reference\": \"A\", \"marks\": "
    "[{\"name\": \"A\", \"at\": [0, 0]},"
    "{\"name\": \"B\", \"at\": [31, 7]}], \"edges\": [{\"name\": \"bank\", \"from\": [8, 3], "
    "\"to\": [11, 7], \"free_side\": "
    "\"left\"},"
    "{\"name\": \"weir\", \"from\": [20, -6], \"to\": [26, -14], \"free_side\": \"right\"}], "
    "\"pads\": [{\"name\": \"ledge\"}]}";
static const char machine_text[] =
    "{\"schema\": \"tiptrue.machine/1\", \"name\": \"bench-7\", \"resolution\": 0.004,"
    "\"tips\": [{\"name\": \"thin\"}, {\"name\": \"wide\"}]}";
static const char plan_text[] =
    "{\"schema\": \"tiptrue.plan/1\", \"moves\": [{\"id\": 1, \"kind\": \"sight\", \"target\": "
    "\"A\"},"
    "{\"id\": 2, \"kind\": \"touch\", \"target\": \"bank\", \"tip\": \"thin\", \"rotation\": 15},"
    "{\"id\": 3, \"kind\": \"touch\", \"target\": \"weir\", \"tip\": \"wide\", \"rotation\": 105},"
    "{\"id\": 4, \"kind\": \"height\", \"target\": \"ledge\", \"tip\": \"thin\"}]}";
static const char *const patterns[] = {
    "(?<id>\\d+) x(?<x>\\S+) y(?<y>\\S+) z(?<z>\\S+) ok(?<ok>\\S)", "x(?<x>\\S*) y(?<y>\\S*)"};

struct files {
    struct tiptrue_plate *plate;
    struct tiptrue_machine *machine;
    struct tiptrue_plan *plan;
};

static void told(void *context, const struct tiptrue_diagnostic *diagnostic)
{
    size_t *errors = context;
    FUZZ_ASSERT(diagnostic->text != NULL && diagnostic->text[0] != '\0' &&
                strlen(diagnostic->text) < 512);
    FUZZ_ASSERT(strpbrk(diagnostic->text, "\n\r\033") == NULL);
    FUZZ_ASSERT(diagnostic->hint == NULL || strlen(diagnostic->hint) < 256);
    FUZZ_ASSERT(diagnostic->file != NULL);
    *errors += diagnostic->severity == TIPTRUE_ERROR;
}

static void check_observation(const struct tiptrue_run *run, const struct tt_observation *o)
{
    FUZZ_ASSERT(isfinite(o->h.x_mm) && isfinite(o->h.y_mm) && isfinite(o->rotation_rad) &&
                isfinite(o->z_mm));
    FUZZ_ASSERT(fabs(o->h.x_mm) <= 25.4e5 && fabs(o->h.y_mm) <= 25.4e5);
    FUZZ_ASSERT(o->feed_mm_s >= 0.0 && isfinite(o->feed_mm_s) && isfinite(o->time_s) &&
                isfinite(o->temperature_C));
    FUZZ_ASSERT(o->setup < run->n_setups && o->line > 0);
    FUZZ_ASSERT(o->kind != TT_TOUCH || (o->tip < run->n_tips && o->target != TT_NONE));
    FUZZ_ASSERT(o->kind != TT_SIGHT || (o->tip == TT_NONE && o->target != TT_NONE));
    FUZZ_ASSERT(!run->checked_against_plate || o->kind == TT_HEIGHT || o->target < 2);
}

/* Read once and again; true results and faults alike are repeated. */
static void read_run(const struct files *files, const uint8_t *data, size_t size,
                     const struct tiptrue_plan *plan, const char *pattern)
{
    char ids[2][17] = {"", ""};
    enum tiptrue_status statuses[2];
    for (int i = 0; i < 2; i++) {
        size_t errors = 0;
        const struct tiptrue_sink sink = {told, &errors};
        struct tiptrue_run *run = NULL;
        struct tiptrue_error error = {0};
        statuses[i] = tt_run_read_bytes("r", (const char *)data, size, files->plate, files->machine,
                                        plan, pattern, &sink, &run, &error);
        FUZZ_ASSERT(error.status == statuses[i]);
        FUZZ_ASSERT((statuses[i] == TIPTRUE_OK) == (run != NULL));
        FUZZ_ASSERT((statuses[i] == TIPTRUE_E_DATA) == (errors > 0) &&
                    errors <= TT_MOST_FAULTS + 1);
        for (size_t j = 0; run != NULL && j < run->n_observations; j++) {
            check_observation(run, &run->observations[j]);
        }
        FUZZ_ASSERT(run == NULL || run->n_observations > 0);
        memcpy(ids[i], run != NULL ? run->id : "", run != NULL ? 17 : 1);
        tiptrue_run_free(run);
    }
    FUZZ_ASSERT(statuses[0] == statuses[1] && strcmp(ids[0], ids[1]) == 0);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct files files = {NULL, NULL, NULL};
    FUZZ_ASSERT(tt_plate_read_bytes("p", plate_text, strlen(plate_text), NULL, &files.plate,
                                    NULL) == TIPTRUE_OK);
    FUZZ_ASSERT(tt_machine_read_bytes("m", machine_text, strlen(machine_text), NULL, &files.machine,
                                      NULL) == TIPTRUE_OK);
    FUZZ_ASSERT(tt_plan_read_bytes("l", plan_text, strlen(plan_text), NULL, &files.plan, NULL) ==
                TIPTRUE_OK);
    const struct files none = {NULL, NULL, NULL};
    read_run(&files, data, size, NULL, NULL);
    read_run(&none, data, size, NULL, NULL);
    read_run(&files, data, size, files.plan, patterns[0]);
    read_run(&files, data, size, files.plan, patterns[1]);
    tiptrue_plan_free(files.plan);
    tiptrue_machine_free(files.machine);
    tiptrue_plate_free(files.plate);
    return 0;
}
