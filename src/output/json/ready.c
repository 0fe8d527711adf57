/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The answer before a job as JSON, the whole result in it. */
#include "config.h"

#include <string.h>

#include "base/named.h"
#include "base/time.h"
#include "output/json/json_write.h"
#include "output/output.h"
#include "output/trend_words.h"
#include "output/verdict.h"

static const char *const STATES[] = {[TIPTRUE_READY_START] = "start",
                                     [TIPTRUE_READY_UPDATE] = "update",
                                     [TIPTRUE_READY_STOP] = "stop"};

static const struct tt_tip_comparison *since_of(const struct tiptrue_ready *ready, const char *tip)
{
    size_t n = ready->since != NULL ? ready->since->n_tips : 0,
           i = TT_NAMED(ready->since->tips, n, tip);

    return i < n ? &ready->since->tips[i] : NULL;
}

static void write_tip(struct tt_json *json, const struct tiptrue_ready *ready,
                      const struct tt_tip_result *tip)
{
    const struct tt_tip_comparison *since = since_of(ready, tip->name);
    bool known = since != NULL && since->offset.known;
    bool x = tip->offset_determined_x, y = tip->offset_determined_y;

    tt_json_open(json, '{');
    tt_json_key_text(json, "tip", tip->name);
    tt_json_key_text(json, "verdict", tt_verdict_word(tip->verdict));
    tt_json_key_bool(json, "written",
                     ready->written && tip->offset_verdict == TIPTRUE_UPDATE &&
                         tt_tip_is_wanted(ready->solution, tip->name));
    tt_json_key_xy_if(json, "offset_mm", x, tip->offset.x_mm, y, tip->offset.y_mm);
    tt_json_key_both_if(json, "present_mm", tip->has_present, tip->present.x_mm, tip->present.y_mm);
    tt_json_key_xy_if(json, "expanded_mm", x, tip->expanded_x_mm, y, tip->expanded_y_mm);
    tt_json_key_xy_if(json, "same_plate_expanded_mm", x, tip->same_plate_expanded_x_mm, y,
                      tip->same_plate_expanded_y_mm);
    tt_json_key_both_if(json, "since_mm", known, known ? since->offset.x : 0,
                        known ? since->offset.y : 0);
    if (tt_json_key_if(json, "since_significant", known)) {
        tt_json_bool(json, since->offset.significant);
    }
    tt_json_close(json, '}');
}

static void write_latest(struct tt_json *json, const struct tiptrue_ready *ready)
{
    struct tt_buffer words = {0};

    if (!tt_json_key_open_if(json, "latest", ready->trend != NULL && ready->trend->latest.judged,
                             '{')) {
        return;
    }
    tt_latest_words(ready->trend, NULL, &words);
    tt_json_key_bool(json, "differs", ready->trend->latest.differs);
    tt_json_key_words(json, "text", &words);
    tt_json_close(json, '}');
    tt_buffer_clear(&words);
}

/* A board that was placed; null: none. */
static void write_board(struct tt_json *json, const char *key, const struct tt_last_board *board)
{
    char time[TT_TIME_SIZE];

    if (!tt_json_key_open_if(json, key, board->id[0] != '\0', '{')) {
        return;
    }
    tt_time_write(board->time_s, time);
    tt_json_key_text(json, "board", board->id);
    tt_json_key_text(json, "started", time);
    tt_json_key_count(json, "parts", board->parts);
    tt_json_key_text(json, "verdict", tt_verdict_word(board->verdict));
    tt_json_close(json, '}');
}

static void write_written(struct tt_json *json, const struct tiptrue_ready *ready)
{
    tt_json_key_open(json, "files_written", '[');
    for (size_t i = 0; ready->written && i < ready->exported->n_files; i++) {
        tt_json_open(json, '{');
        tt_json_key_text(json, "file", ready->exported->files[i].file);
        tt_json_key_text(json, "backup", ready->exported->files[i].backup);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

static void write_edges(struct tt_json *json, const struct tiptrue_ready *ready)
{
    tt_json_key_open(json, "late_edges", '[');
    for (size_t i = 0; i < ready->n_edges; i++) {
        const struct tt_ready_edge *edge = &ready->edges[i];
        tt_json_open(json, '{');
        tt_json_key_text(json, "edge", edge->name);
        tt_json_key_count(json, "touches", edge->touches);
        tt_json_key_count(json, "late", edge->late);
        tt_json_key_number_if(json, "touches_before", edge->has_before,
                              (double)edge->touches_before);
        tt_json_key_number_if(json, "late_before", edge->has_before, (double)edge->late_before);
        tt_json_close(json, '}');
    }
    tt_json_close(json, ']');
}

void tt_output_ready_json(const struct tiptrue_ready *ready, const struct tiptrue_used_file files[],
                          size_t n_files, struct tt_buffer *buffer)
{
    const struct tiptrue_solution *solution = ready->solution;
    struct tt_json json = tt_json_begin(buffer, "tiptrue.ready/1");

    tt_json_key_text(&json, "state", STATES[ready->state]);
    tt_json_key_text(&json, "verdict", tt_verdict_word(solution->verdict));
    tt_json_key_text(&json, "run", solution->run_id);
    tt_json_key_text(&json, "started", solution->started);
    tt_json_key_fixed_if(&json, "age_s", ready->has_started, ready->now_s - ready->started_s);
    tt_json_key_open(&json, "tips", '[');
    for (size_t i = 0; i < solution->n_tips; i++) {
        write_tip(&json, ready, &solution->tips[i]);
    }
    tt_json_close(&json, ']');
    tt_json_key_text(&json, "run_before", ready->before_id[0] != '\0' ? ready->before_id : NULL);
    tt_json_key_both_if(&json, "all_tips_moved_mm", ready->all_alike, ready->alike.x_mm,
                        ready->alike.y_mm);
    write_latest(&json, ready);
    write_board(&json, "last_board", &ready->board);
    write_board(&json, "confirmed", &ready->confirmed);
    tt_json_key(&json, "written_since_confirmed");
    if (ready->confirmed.id[0] != '\0') {
        tt_json_bool(&json, ready->written_since);
    } else {
        tt_json_null(&json);
    }
    write_edges(&json, ready);
    write_written(&json, ready);
    tt_json_key_open(&json, "files", '[');
    for (size_t i = 0; i < n_files; i++) {
        tt_json_open(&json, '{');
        tt_json_key_text(&json, "what", files[i].what);
        tt_json_key_text(&json, "path", files[i].path);
        tt_json_key_text(&json, "how", files[i].how);
        tt_json_close(&json, '}');
    }
    tt_json_close(&json, ']');
    tt_json_key(&json, "result");
    tt_output_json(solution, NULL, buffer);
    json.first = false;
    tt_json_close(&json, '}');
}
