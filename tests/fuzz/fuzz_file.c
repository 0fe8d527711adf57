/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Any bytes behind a first one that says what they are: 'b' a board, which is judged and written;
 * 't' a truth; 'p' a template, filled with a result. */
#include "config.h"

#include <cjson/cJSON.h>
#include <math.h>

#include "as_file.h"
#include "ingest/ingest.h"
#include "model/placement.h"

static const char machine_text[] =
    "{\"schema\": \"tiptrue.machine/1\", \"name\": \"bench-7\", \"rotation\": {\"sense\": \"cw\"}, "
    "\"tips\": [{\"name\": \"thin\"}, {\"name\": \"wide\"}], "
    "\"limits\": {\"placement\": {\"permitted_mm\": 0.1, \"permitted_deg\": 3}}}";
static const char result_text[] =
    "{\"schema\": \"tiptrue.result/1\", \"run\": {\"id\": \"0123456789abcdef\", \"machine\": "
    "\"bench-7\", \"rotation_sense\": \"cw\"}, \"tips\": [{\"tip\": \"thin\", \"offset_mm\": "
    "{\"x\": 36.2, \"y\": -18.4}, \"covariance_mm2\": [[1e-6, 0], [0, 1e-6]], \"verdict\": "
    "\"keep\"}], \"verdict\": \"keep\"}";

static void told(void *context, const struct tiptrue_diagnostic *diagnostic)
{
    size_t *errors = context;
    FUZZ_ASSERT(diagnostic->text != NULL && diagnostic->text[0] != '\0' &&
                strlen(diagnostic->text) < 512);
    FUZZ_ASSERT(strpbrk(diagnostic->text, "\n\r\033") == NULL);
    *errors += diagnostic->severity == TIPTRUE_ERROR;
}

/* The placement as JSON is JSON, and every number in it one. */
static void check_placement(const struct tiptrue_placement *placement)
{
    char *text = NULL;
    size_t length = 0;
    for (size_t i = 0; i < placement->n_tips; i++) {
        const struct tt_placed_tip *tip = &placement->tips[i];
        FUZZ_ASSERT(isfinite(tip->offset_mm.x) && isfinite(tip->u_offset_mm.y) &&
                    tip->p_offset >= 0.0 && tip->p_offset <= 1.0 + 1e-9);
        FUZZ_ASSERT(tip->used <= tip->parts);
    }
    FUZZ_ASSERT(tiptrue_placement_text(placement, true, NULL, &text, &length, NULL) == TIPTRUE_OK);
    cJSON *root = cJSON_ParseWithLength(text, length);
    FUZZ_ASSERT(root != NULL && strstr(text, "nan") == NULL && strstr(text, ":inf") == NULL);
    cJSON_Delete(root);
    free(text);
    FUZZ_ASSERT(tiptrue_placement_text(placement, false, NULL, &text, &length, NULL) == TIPTRUE_OK);
    free(text);
}

static void read_board(const char *path, const struct tiptrue_machine *machine)
{
    size_t errors = 0;
    const struct tiptrue_sink sink = {told, &errors};
    struct tiptrue_board *board = NULL;
    struct tiptrue_placement *placement = NULL;
    struct tiptrue_error error = {0};
    enum tiptrue_status status = tiptrue_board_read(path, machine, &sink, &board, &error);
    FUZZ_ASSERT(status == TIPTRUE_OK || status == TIPTRUE_E_DATA);
    FUZZ_ASSERT(error.status == status && (status == TIPTRUE_OK) == (board != NULL));
    FUZZ_ASSERT((status == TIPTRUE_E_DATA) == (errors > 0));
    if (board != NULL && machine != NULL) {
        FUZZ_ASSERT(tiptrue_place(board, machine, NULL, &placement, &error) == TIPTRUE_OK);
        check_placement(placement);
    }
    tiptrue_placement_free(placement);
    tiptrue_board_free(board);
}

static void read_truth(const char *path)
{
    size_t errors = 0;
    const struct tiptrue_sink sink = {told, &errors};
    struct tiptrue_truth *truth = NULL;
    struct tiptrue_error error = {0};
    enum tiptrue_status status = tiptrue_truth_read(path, &sink, &truth, &error);
    FUZZ_ASSERT(status == TIPTRUE_OK || status == TIPTRUE_E_DATA);
    FUZZ_ASSERT((status == TIPTRUE_OK) == (truth != NULL));
    tiptrue_truth_free(truth);
}

static void fill_template(const char *path)
{
    static const double rotations_deg[] = {0.0, 37.5};
    struct tiptrue_solution *solution = NULL;
    struct tiptrue_exported *exported = NULL;
    struct tiptrue_error error = {0};
    const struct tiptrue_export_options options = {.now_s = 1.8e9, .force = ~0u};
    FUZZ_ASSERT(tt_result_read_bytes("r", result_text, strlen(result_text), NULL, &solution,
                                     &error) == TIPTRUE_OK);
    enum tiptrue_status status =
        tiptrue_template(solution, path, rotations_deg, 2, &options, NULL, &exported, &error);
    FUZZ_ASSERT((status == TIPTRUE_OK) == (exported != NULL) && error.status == status);
    tiptrue_exported_free(exported);
    tiptrue_solution_free(solution);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tiptrue_machine *machine = NULL;
    if (size == 0) {
        return 0;
    }
    const char *path = fuzz_as_file(data + 1, size - 1);
    switch (data[0]) {
    case 'b':
        FUZZ_ASSERT(tt_machine_read_bytes("m", machine_text, strlen(machine_text), NULL, &machine,
                                          NULL) == TIPTRUE_OK);
        read_board(path, machine);
        read_board(path, NULL);
        tiptrue_machine_free(machine);
        break;
    case 't':
        read_truth(path);
        break;
    case 'p':
        fill_template(path);
        break;
    default:
        break;
    }
    return 0;
}
