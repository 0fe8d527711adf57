/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Any bytes as a result: what is read is what a result can be, is written for people, and written
 * and read again gives the same bytes. */
#include "config.h"

#include <math.h>

#include "base/buffer.h"
#include "ingest/ingest.h"
#include "output/output.h"
#include "replay.h"

static void told(void *context, const struct tiptrue_diagnostic *diagnostic)
{
    size_t *errors = context;
    FUZZ_ASSERT(diagnostic->text != NULL && diagnostic->text[0] != '\0' &&
                strlen(diagnostic->text) < 512);
    FUZZ_ASSERT(strpbrk(diagnostic->text, "\n\r\033") == NULL);
    *errors += diagnostic->severity == TIPTRUE_ERROR;
}

static struct tiptrue_solution *read_result(const char *text, size_t size)
{
    size_t errors = 0;
    const struct tiptrue_sink sink = {told, &errors};
    struct tiptrue_solution *solution = NULL;
    struct tiptrue_error error = {0};
    enum tiptrue_status status = tt_result_read_bytes("r", text, size, &sink, &solution, &error);
    FUZZ_ASSERT(status == TIPTRUE_OK || status == TIPTRUE_E_DATA);
    FUZZ_ASSERT(error.status == status && (status == TIPTRUE_OK) == (solution != NULL));
    FUZZ_ASSERT((status == TIPTRUE_E_DATA) == (errors > 0));
    return solution;
}

static void check_tip(const struct tt_tip_result *tip)
{
    FUZZ_ASSERT(tip->name != NULL && tip->dof > 0.0 && tip->same_plate_dof > 0.0);
    FUZZ_ASSERT(isfinite(tip->offset.x_mm) && isfinite(tip->offset.y_mm));
    FUZZ_ASSERT(tip->cov.xx_mm2 >= 0.0 && tip->cov.yy_mm2 >= 0.0);
    FUZZ_ASSERT(tip->trials == NULL || tip->trials->n > 1);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tiptrue_solution *solution = read_result((const char *)data, size);
    if (solution != NULL) {
        struct tt_buffer text = {0}, first = {0}, second = {0};
        for (size_t i = 0; i < solution->n_tips; i++) {
            check_tip(&solution->tips[i]);
        }
        tt_output_text(solution, NULL, &text);
        tt_output_json(solution, NULL, &first);
        FUZZ_ASSERT(!text.failed && !first.failed && first.length > 0);
        struct tiptrue_solution *again = read_result(first.text, first.length);
        FUZZ_ASSERT(again != NULL);
        tt_output_json(again, NULL, &second);
        FUZZ_ASSERT(first.length == second.length &&
                    memcmp(first.text, second.text, first.length) == 0);
        tiptrue_solution_free(again);
        tt_buffer_clear(&text);
        tt_buffer_clear(&first);
        tt_buffer_clear(&second);
    }
    tiptrue_solution_free(solution);
    return 0;
}
