/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue.truth/1 by its table (formats/truth.c). */
#include "config.h"

#include <string.h>

#include "ingest/fields.h"
#include "ingest/ingest.h"

/* A depth stands with its share, and is a range: those keys are the pairs among a touch's. */
static bool check_depths(struct tt_fields *fields, const struct tt_member *member)
{
    for (size_t i = 0; i < member->key->inner->n; i++) {
        const struct tt_key *key = &member->key->inner->list[i];
        double share, depth_mm[2];
        if (key->form != TT_XY_FORM) {
            continue;
        }
        memcpy(&share, member->into + key->above_0 - 1, sizeof share);
        memcpy(depth_mm, member->into + key->at, sizeof depth_mm);
        const struct tt_key needed = {.key = key->key,
                                      .need = share > 0 ? TT_REQUIRED : TT_OPTIONAL};
        const struct tt_member pair = tt_member_of(member->item, member->key->key, &needed);
        const cJSON *depth = tt_field(fields, &pair);
        if (depth != NULL && !(depth_mm[0] >= 0 && depth_mm[1] >= depth_mm[0])) {
            tt_field_fault(fields, depth, "[least, most], neither negative",
                           "touch: '%s' is not a range of depths", key->key);
        }
    }
    return true;
}

static tt_member_reader *const hooks[TT_BENCH_HOOKS] = {[TT_BENCH_TOUCH] = check_depths};

static void read_truth(void *truth, struct tt_fields *fields)
{
    fields->hooks = hooks;
    tt_keys_read(fields, fields->json.root, tt_truth_keys.name, &tt_truth_keys, truth);
}

static const struct tt_document TRUTH = {.schema = "tiptrue.truth/1",
                                         .read = read_truth,
                                         .size = sizeof(struct tiptrue_truth),
                                         .arena = offsetof(struct tiptrue_truth, arena),
                                         .file = TT_FLAG(struct tiptrue_truth, file)};

enum tiptrue_status tiptrue_truth_read(const char *path, const struct tiptrue_sink *sink,
                                       struct tiptrue_truth **truth, struct tiptrue_error *error)
{
    void *made;
    enum tiptrue_status status = tt_document_read(&TRUTH, path, NULL, sink, &made, error);

    *truth = status == TIPTRUE_OK ? made : *truth;
    return status;
}
