/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What keeps a motion program from being written: see program_parts.h. */
#include "config.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/named.h"
#include "base/number.h"
#include "formats/keys.h"
#include "planning/program_parts.h"

static void name_missing(struct tt_buffer *missing, bool stated, const char *key)
{
    if (!stated) {
        tt_buffer_puts(missing, missing->length > 0 ? ", " : "");
        tt_buffer_puts(missing, key);
    }
}

/* The keys of @keys of which @motion has nothing, with @before in front of their names. */
static void name_all_missing(struct tt_buffer *missing, const struct tt_motion *motion,
                             const struct tt_keys *keys, const char *before)
{
    for (size_t i = 0; i < keys->n; i++) {
        bool stated = true;
        char name[40];
        if (keys->list[i].sets > 0) {
            memcpy(&stated, (const char *)motion + keys->list[i].sets - 1, sizeof stated);
        }
        snprintf(name, sizeof name, "%s%s", before, keys->list[i].key);
        name_missing(missing, stated, name);
    }
}

static void find_missing(const struct tt_motion *m, struct tt_buffer *missing)
{
    name_all_missing(missing, m, &tt_motion_keys, "");
    name_all_missing(missing, m, &tt_motion_limit_keys, "limits.");
}

enum tiptrue_status tt_program_refuse(struct program *g, const char *hint, const char *text)
{
    return tt_fail(g->error, TIPTRUE_E_CONFIG, g->machine->file, 0, 0, hint,
                   "no motion program is written: %s", text);
}

static const struct tt_tip *tip_of(const struct program *g, const char *name)
{
    size_t t = TT_NAMED(g->machine->tips, g->machine->n_tips, name);

    return t < g->machine->n_tips ? &g->machine->tips[t] : NULL;
}

/* An edge must be where the program expects it, else the tip comes down on it, and a pad, else the
 * tip comes down beside it: within the margin, and within half of the start distance, at twice the
 * standard uncertainty. */
static enum tiptrue_status check_place(struct program *g, size_t i)
{
    const struct tt_move *move = &g->p->plan.moves[i];
    double off_mm = 2 * g->p->u_place_mm[i], start_mm = g->motion->start_distance_mm.value;
    struct tt_buffer text = {0};
    enum tiptrue_status status;

    if (off_mm <= g->motion->margin_mm.value && off_mm <= 0.5 * start_mm) {
        return TIPTRUE_OK;
    }
    tt_buffer_printf(&text, "%s '%s' may lie ", move->kind == TT_HEIGHT ? "pad" : "edge",
                     move->target);
    if (off_mm < HUGE_VAL) {
        tt_number_write_rounded(&text, tt_program_per_mm(g) * off_mm, g->inches ? 4 : 2);
        tt_buffer_puts(&text, g->inches ? " in" : " mm");
        tt_buffer_puts(
            &text,
            " from where it is expected, which is more than margin or half of start_distance");
    } else {
        tt_buffer_puts(&text, "anywhere, since how the plate is turned is not stated");
    }
    status =
        text.failed
            ? tt_fail_memory(g->error)
            : tt_program_refuse(g,
                                "sight two marks first, and name that log by --after; or state "
                                "\"mark\" and \"yaw\" with their u more "
                                "tightly in the machine file",
                                text.text);
    tt_buffer_clear(&text);
    return status;
}

/* How high the tip meets the pad must be known to a quarter of the start distance, standard, and
 * the start lie below the safe height. */
static enum tiptrue_status check_height(struct program *g, size_t i)
{
    const struct tt_move *move = &g->p->plan.moves[i];
    double start_mm = g->motion->start_distance_mm.value, off_mm = 2 * g->p->u_z_mm[i];
    struct tt_buffer text = {0};
    enum tiptrue_status status = TIPTRUE_OK;

    if (!(off_mm < HUGE_VAL)) {
        return tt_fail(g->error, TIPTRUE_E_CONFIG, g->machine->file, 0, 0,
                       "state 'height' of the tip, the head's Z at which its end meets the plane "
                       "of the reference mark: touch a pad by hand, slowly, and read Z",
                       "no motion program is written: no height is stated of tip '%s'", move->tip);
    }
    if (!(off_mm <= 0.5 * start_mm)) {
        tt_buffer_printf(&text, "pad '%s' may lie ", move->target);
        tt_number_write_rounded(&text, tt_program_per_mm(g) * off_mm, g->inches ? 4 : 2);
        tt_buffer_puts(&text, g->inches ? " in" : " mm");
        tt_buffer_puts(&text, " higher than expected, which is more than half of start_distance");
        status = text.failed
                     ? tt_fail_memory(g->error)
                     : tt_program_refuse(g,
                                         "state the pads' heights with their u, and \"level\" in "
                                         "the machine file, more tightly",
                                         text.text);
    } else if (!(g->p->z_mm[i] + start_mm <= g->motion->safe_height_mm.value)) {
        tt_buffer_printf(&text, "a probing move on pad '%s' would start above safe_height",
                         move->target);
        status = text.failed ? tt_fail_memory(g->error)
                             : tt_program_refuse(g, "is the tip's 'height' right? Z counts upwards",
                                                 text.text);
    }
    tt_buffer_clear(&text);
    return status;
}

/* The place of what move @i meets, and its height. */
static enum tiptrue_status check_target(struct program *g, size_t i)
{
    enum tt_kind kind = g->p->plan.moves[i].kind;
    enum tiptrue_status status = tt_is_sighting(kind) ? TIPTRUE_OK : check_place(g, i);

    return status == TIPTRUE_OK && kind == TT_HEIGHT ? check_height(g, i) : status;
}

enum tiptrue_status tt_program_check(struct program *g)
{
    const struct tt_motion *m = g->motion;
    struct tt_buffer missing = {0};
    enum tiptrue_status status = TIPTRUE_OK;

    find_missing(m, &missing);
    if (missing.failed) {
        status = tt_fail_memory(g->error);
    } else if (missing.length > 0) {
        status =
            tt_fail(g->error, TIPTRUE_E_CONFIG, g->machine->file, 0, 0,
                    "state it in the machine file's \"motion\" part; none of these has a default",
                    "no motion program is written: not stated in \"motion\": %s", missing.text);
    } else if (!(m->safe_height_mm.value > m->touch_height_mm.value)) {
        status = tt_program_refuse(g, "heights count upwards along Z",
                                   "safe_height is not above touch_height");
    } else if (!(m->measure_feed_mm_s.value < m->find_feed_mm_s.value)) {
        status = tt_program_refuse(g, "the second touch is the slow one",
                                   "measure_feed is not below find_feed");
    } else if (!(m->start_distance_mm.value > m->lost_motion_mm.value)) {
        status = tt_program_refuse(
            g, "every probing move must take up the lost motion before it meets the edge",
            "start_distance is not larger than lost_motion");
    }
    tt_buffer_clear(&missing);
    for (size_t i = 0; status == TIPTRUE_OK && i < g->p->plan.n_moves; i++) {
        const struct tt_move *move = &g->p->plan.moves[i];
        const struct tt_tip *tip = move->tip != NULL ? tip_of(g, move->tip) : NULL;
        if (!tt_is_sighting(move->kind) && (tip == NULL || !tip->has_offset)) {
            status = tt_fail(
                g->error, TIPTRUE_E_CONFIG, g->machine->file, 0, 0,
                "state the offset, to a millimetre at least: from it the head's place is reckoned",
                "no motion program is written: no offset is stated of tip '%s'", move->tip);
        }
    }
    for (size_t i = 0; status == TIPTRUE_OK && i < g->p->plan.n_moves; i++) {
        status = check_target(g, i);
    }
    return status;
}
