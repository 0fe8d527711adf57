/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Any bytes as a plate, a machine and a plan: the answer keeps its promises, or a fault has a
 * place. */
#include "config.h"

#include <math.h>

#include "ingest/ingest.h"
#include "replay.h"

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

static void check_status(enum tiptrue_status status, const struct tiptrue_error *error,
                         size_t errors, const void *made)
{
    FUZZ_ASSERT(status == TIPTRUE_OK || status == TIPTRUE_E_DATA);
    FUZZ_ASSERT(error->status == status);
    FUZZ_ASSERT((status == TIPTRUE_OK) == (made != NULL));
    FUZZ_ASSERT((status == TIPTRUE_E_DATA) == (errors > 0) && errors <= TT_MOST_FAULTS + 1);
}

static void read_plate(const uint8_t *data, size_t size)
{
    size_t errors = 0;
    const struct tiptrue_sink sink = {told, &errors};
    struct tiptrue_plate *plate = NULL;
    struct tiptrue_error error = {0};
    enum tiptrue_status status =
        tt_plate_read_bytes("f", (const char *)data, size, &sink, &plate, &error);
    check_status(status, &error, errors, plate);
    if (plate != NULL) {
        const struct tt_mark *reference = &plate->marks[plate->reference];
        FUZZ_ASSERT(plate->reference < plate->n_marks && reference->at.x_mm == 0.0 &&
                    reference->at.y_mm == 0.0 && reference->u_mm == 0.0);
        for (size_t i = 0; i < plate->n_edges; i++) {
            const struct tt_edge *edge = &plate->edges[i];
            FUZZ_ASSERT(fabs(hypot(edge->n_x, edge->n_y) - 1.0) < 1e-9 && isfinite(edge->d_mm) &&
                        edge->u_mm >= 0.0);
            FUZZ_ASSERT(edge->group == TT_NONE || plate->groups[edge->group].u_mm > 0.0);
        }
    }
    tiptrue_plate_free(plate);
}

static void read_machine(const uint8_t *data, size_t size)
{
    size_t errors = 0;
    const struct tiptrue_sink sink = {told, &errors};
    struct tiptrue_machine *machine = NULL;
    struct tiptrue_error error = {0};
    enum tiptrue_status status =
        tt_machine_read_bytes("f", (const char *)data, size, &sink, &machine, &error);
    check_status(status, &error, errors, machine);
    if (machine != NULL) {
        FUZZ_ASSERT(machine->name != NULL && machine->resolution_mm >= 0.0 &&
                    machine->u_rotation_rad >= 0.0);
        FUZZ_ASSERT(!machine->has_u_touch || machine->u_touch_mm > 0.0);
        for (size_t i = 0; i < machine->n_tips; i++) {
            FUZZ_ASSERT(!machine->tips[i].has_radius ||
                        (machine->tips[i].radius_mm > 0.0 && machine->tips[i].u_radius_mm > 0.0));
        }
    }
    tiptrue_machine_free(machine);
}

static void read_plan(const uint8_t *data, size_t size)
{
    size_t errors = 0;
    const struct tiptrue_sink sink = {told, &errors};
    struct tiptrue_plan *plan = NULL;
    struct tiptrue_error error = {0};
    enum tiptrue_status status =
        tt_plan_read_bytes("f", (const char *)data, size, &sink, &plan, &error);
    check_status(status, &error, errors, plan);
    for (size_t i = 0; plan != NULL && i < plan->n_moves; i++) {
        const struct tt_move *move = &plan->moves[i];
        FUZZ_ASSERT(move->target != NULL && isfinite(move->rotation_rad) &&
                    isfinite(move->feed_mm_s) && move->line > 0);
        FUZZ_ASSERT(move->kind != TT_TOUCH || (move->tip != NULL && move->has_rotation));
    }
    tiptrue_plan_free(plan);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    read_plate(data, size);
    read_machine(data, size);
    read_plan(data, size);
    return 0;
}
