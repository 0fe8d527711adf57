/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A controller's log joined to its plan: by the reports' ids if the pattern has them, else in
 * order. A pairing that could be shifted is refused, never guessed.
 */
#include "config.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/number.h"
#include "ingest/cells.h"
#include "ingest/formats.h"
#include "ingest/report.h"
#include "ingest/units.h"

struct joiner {
    struct tt_builder *builder;
    const struct tiptrue_plan *plan;
    struct tt_pattern *pattern;
    struct tt_reports reports;
    struct tt_names ids;             /* of the plan's moves that have one */
    size_t *moves;                   /* index of the move of each id */
    const struct tt_report **paired; /* by move; NULL: none */
};

/* The table of the plan's ids. */
static bool index_ids(struct joiner *joiner)
{
    const struct tiptrue_plan *plan = joiner->plan;
    struct tt_arena *arena = &joiner->builder->scratch;
    joiner->ids.arena = arena;
    joiner->moves = TT_ARENA_NEW(arena, plan->n_moves, size_t);
    joiner->paired = TT_ARENA_NEW(arena, plan->n_moves, const struct tt_report *);
    bool good = joiner->moves != NULL && joiner->paired != NULL;
    for (size_t i = 0; good && i < plan->n_moves; i++) {
        if (plan->moves[i].id != NULL) {
            joiner->moves[joiner->ids.count] = i;
            good = tt_names_add(&joiner->ids, plan->moves[i].id);
        }
    }
    joiner->builder->out_of_memory = joiner->builder->out_of_memory || !good;
    return good;
}

/* The move that the printed id names: as it stands, or as a number ("007" is 7). */
static size_t find_move(struct joiner *joiner, const char *id)
{
    size_t index = tt_names_find(&joiner->ids, id, strlen(id));
    double value = 0.0;
    if (index == TT_NONE && tt_number_read(id, strlen(id), '.', &value, NULL) == TT_NUMBER_OK) {
        struct tt_buffer shortest = {0};
        tt_number_write(&shortest, value);
        if (shortest.failed) {
            joiner->builder->out_of_memory = true;
        } else {
            index = tt_names_find(&joiner->ids, shortest.text, shortest.length);
        }
        tt_buffer_clear(&shortest);
    }
    return index != TT_NONE ? joiner->moves[index] : TT_NONE;
}

/* Rotations are printed with a decimal or two. */
#define SAME_ROTATION_DEG 0.06

/* What the report says besides the place. Its rotation is that of the plan, or it is another move's
 * report: told. */
static void add_extras(struct joiner *joiner, const struct tt_move *move,
                       const struct tt_report *report, struct tt_observation *row)
{
    struct tt_builder *builder = joiner->builder;

    if (report->has_rotation && move->has_rotation) {
        double off =
            fabs(remainder(report->rotation_deg - tt_deg_from_rad(move->rotation_rad), 360.0));
        if (off > SAME_ROTATION_DEG) {
            tt_fault(builder->diagnose, tt_place_at(builder->diagnose, report->at),
                     "is it the plan of this log, and does the controller count the tip's rotation "
                     "as the machine file says?",
                     "the report has rotation %g, and the plan's move %g", report->rotation_deg,
                     tt_deg_from_rad(move->rotation_rad));
        }
    }
    row->feed_mm_s = report->has_feed ? report->feed / 60.0 : row->feed_mm_s;
    row->has_temperature = report->has_temperature;
    row->temperature_C = report->temperature_C;
    row->has_time =
        report->time.length > 0 && tt_builder_time(builder, &report->time, &row->time_s);
}

/* How a row of @move may be used, if there was contact. */
static enum tt_use use_of(const struct tt_move *move)
{
    bool probes = move->kind == TT_TOUCH || move->kind == TT_HEIGHT;

    return move->kind == TT_WARMUP ? TT_USE_OTHER : probes && move->is_find ? TT_USE_FIND : TT_USE;
}

/* Where the mark is in the picture, of a view. */
static void take_pixels(struct joiner *joiner, const struct tt_report *report,
                        struct tt_observation *row)
{
    struct tt_builder *builder = joiner->builder;
    struct tt_place place = tt_place_at(builder->diagnose, report->at);

    if (row->kind != TT_VIEW) {
        return;
    }
    if (!report->has_pixels) {
        tt_fault(builder->diagnose, place, "name groups 'px' and 'py' in the pattern",
                 "the report of a view has no px and py");
        return;
    }
    row->px = report->px;
    row->py = report->py;
    tt_builder_view(builder, place, row, report->pixel_decimals);
}

/* Append what the move was, with what the report says. */
static void add(struct joiner *joiner, const struct tt_move *move, const struct tt_report *report)
{
    struct tt_builder *builder = joiner->builder;
    size_t faults = builder->diagnose->faults;
    const struct tt_origin origin = {NULL, move};
    const char *setup = move->setup != NULL ? move->setup : "1";
    struct tt_observation row = {.kind = move->kind,
                                 .line = report->line,
                                 .tip = TT_NONE,
                                 .rotation_rad = move->rotation_rad};
    row.h = (struct tt_machine_xy){report->x, report->y};
    row.has_z = report->has_z;
    row.z_mm = report->z;
    row.feed_mm_s =
        move->feed_mm_s / builder->mm_per_unit; /* the builder converts all lengths at the end */
    add_extras(joiner, move, report, &row);
    row.approach_x = move->approach_x;
    row.approach_y = move->approach_y;
    row.target = tt_builder_target(builder, move->kind, move->target, strlen(move->target), origin);
    if (move->tip != NULL && !tt_is_sighting(move->kind)) {
        row.tip = tt_builder_tip(builder, move->tip, strlen(move->tip), origin);
    }
    row.setup = tt_builder_setup(builder, setup, strlen(setup), origin);
    row.use = use_of(move);
    /* A sighting makes no contact that could fail: two equal ones agree. */
    bool contact = report->contact && !(report->repeats && !tt_is_sighting(move->kind) &&
                                        !tt_pattern_has(joiner->pattern, TT_GROUP_OK));
    row.use = !contact && move->kind != TT_WARMUP ? TT_USE_NO_CONTACT : row.use;
    if (move->kind == TT_HEIGHT && !report->has_z) {
        tt_fault(builder->diagnose, tt_place_at(builder->diagnose, report->at),
                 "name a group 'z' in the pattern", "the report of a height has no z");
    }
    take_pixels(joiner, report, &row);
    if (builder->diagnose->faults == faults) {
        tt_builder_add(builder, &row,
                       move->kind == TT_HEIGHT ? report->decimals_z : report->decimals);
    }
}

/* "move 17 (touch 'east')" */
struct shown_move {
    char text[112];
};
static struct shown_move shown_move(const struct joiner *joiner, size_t index)
{
    struct shown_move shown;
    const struct tt_move *move = &joiner->plan->moves[index];
    snprintf(shown.text, sizeof(shown.text), "move %zu (%s '%s')", index + 1,
             tt_kind_words[move->kind], tt_shown_text(move->target).text);
    return shown;
}

/* Moves that no report names. At the log's end they are a log cut short; within, moves that the
 * controller did not report. */
static void tell_unpaired(struct joiner *joiner)
{
    struct tt_diagnose *diagnose = joiner->builder->diagnose;
    size_t n = joiner->plan->n_moves, last = n, missing = 0, first = TT_NONE;
    while (last > 0 && joiner->paired[last - 1] == NULL) {
        last--;
    }
    for (size_t i = 0; i < last; i++) {
        if (joiner->paired[i] == NULL) {
            first = missing++ == 0 ? i : first;
        }
    }
    if (last < n) {
        tt_fault(diagnose, tt_place_file(diagnose),
                 "if these moves were not made or not reported, take them out of the plan",
                 "the log looks cut short: the last %zu of %zu moves have no report, from %s on",
                 n - last, n, shown_move(joiner, last).text);
    }
    if (missing > 0) {
        tt_warn(diagnose, tt_place_file(diagnose),
                "controllers that do not report failed moves leave such gaps",
                "%zu of %zu moves have no report, the first is %s", missing, n,
                shown_move(joiner, first).text);
    }
}

static void pair_by_id(struct joiner *joiner)
{
    struct tt_diagnose *diagnose = joiner->builder->diagnose;
    for (size_t i = 0; i < joiner->reports.count && !tt_diagnose_is_full(diagnose); i++) {
        const struct tt_report *report = &joiner->reports.items[i];
        size_t move = find_move(joiner, report->id);
        const char *shown = report->id;
        if (joiner->builder->out_of_memory) {
            return;
        }
        if (move == TT_NONE) {
            tt_fault(diagnose, tt_place_at(diagnose, report->at), "is it the plan of this log?",
                     "the plan has no move with id '%s'", tt_shown_text(shown).text);
        } else if (joiner->paired[move] != NULL) {
            tt_fault(diagnose, tt_place_at(diagnose, report->at), "are there two logs in one file?",
                     "a second report with id '%s', the first is in line %zu",
                     tt_shown_text(shown).text, joiner->paired[move]->line);
        } else {
            joiner->paired[move] = report;
            add(joiner, &joiner->plan->moves[move], report);
        }
    }
    if (diagnose->faults == 0) {
        tell_unpaired(joiner);
    }
}

static void pair_in_order(struct joiner *joiner)
{
    const struct tiptrue_plan *plan = joiner->plan;
    if (joiner->reports.count != plan->n_moves) {
        struct tt_builder *builder = joiner->builder;
        bool told = tt_parting_tell(builder->diagnose, plan, &joiner->reports, &builder->scratch);
        builder->out_of_memory = builder->out_of_memory || !told;
        return;
    }
    for (size_t i = 0; i < plan->n_moves && !tt_diagnose_is_full(joiner->builder->diagnose); i++) {
        add(joiner, &plan->moves[i], &joiner->reports.items[i]);
    }
}

static void join(struct joiner *joiner)
{
    struct tt_diagnose *diagnose = joiner->builder->diagnose;
    if (!tt_pattern_has(joiner->pattern, TT_GROUP_OK)) {
        tt_warn(diagnose, tt_place_file(diagnose),
                "name a group 'ok' in the pattern if the log says which moves failed",
                "the pattern has no group 'ok': a failed move cannot be told from a contact, but "
                "for a report equal to the one before");
    }
    if (joiner->reports.count == 0) {
        tt_fault(diagnose, tt_place_file(diagnose), "try the pattern on one line of the log",
                 "the pattern finds no report in the log");
    } else if (tt_pattern_has(joiner->pattern, TT_GROUP_ID)) {
        pair_by_id(joiner);
    } else {
        pair_in_order(joiner);
    }
}

/* The unit of the log: what it says itself goes before the plan's, and may not contradict the
 * plan's "log_units". */
static void set_units(struct tt_builder *builder, const struct tiptrue_plan *plan,
                      const struct tt_cell *word)
{
    struct tt_diagnose *diagnose = builder->diagnose;
    double mm = 0.0;

    if (!tt_units_read(word->text, word->length, &mm)) {
        tt_fault(diagnose, tt_place_at(diagnose, word->at), TT_UNITS_HINT, "unknown units '%s'",
                 tt_shown(word->text, word->length).text);
    } else if (plan->log_mm_per_unit > 0.0 && plan->log_mm_per_unit != mm) {
        tt_fault(diagnose, tt_place_at(diagnose, word->at), "one of them is wrong",
                 "the log's units are not those of the plan's 'log_units'");
    } else {
        builder->mm_per_unit = mm;
    }
}

/* Lines "# key: value" of the log, as in other logs; those of the controller's own are passed
 * over. */
static void read_remarks(struct tt_builder *builder, const struct tiptrue_plan *plan)
{
    const struct tt_diagnose *diagnose = builder->diagnose;

    for (const char *line = diagnose->text, *end; line < diagnose->end; line = end + 1) {
        const char *feed = memchr(line, '\n', (size_t)(diagnose->end - line));
        struct tt_cell remark = {line, 0, line}, key, value;
        end = feed != NULL ? feed : diagnose->end;
        remark.length = (size_t)(end - line) - (end > line && end[-1] == '\r');
        if (remark.length == 0 || line[0] != '#' || !tt_remark_split(&remark, &key, &value) ||
            !tt_metadata_is_key(&key)) {
            continue;
        }
        if (tt_cell_is(&key, "units")) {
            set_units(builder, plan, &value);
        } else {
            tt_metadata_add(builder, &key, &value);
        }
    }
}

enum tiptrue_status tt_run_read_controller(struct tt_builder *builder,
                                           const struct tiptrue_plan *plan, const char *pattern,
                                           struct tiptrue_error *error)
{
    struct joiner joiner = {.builder = builder, .plan = plan};
    builder->mm_per_unit = plan->log_mm_per_unit > 0.0 ? plan->log_mm_per_unit : plan->mm_per_unit;
    read_remarks(builder, plan);
    builder->states_stage = plan->states_stage;
    if (!index_ids(&joiner)) {
        return TIPTRUE_OK;
    }
    enum tiptrue_status status = tt_pattern_new(pattern, builder->diagnose, &joiner.pattern, error);
    if (status == TIPTRUE_OK) {
        status = tt_reports_read(joiner.pattern, builder->diagnose,
                                 tt_any_position_mm.highest / builder->mm_per_unit,
                                 &builder->scratch, &joiner.reports, error);
    }
    if (status == TIPTRUE_OK && builder->diagnose->faults == 0) {
        join(&joiner);
    }
    tt_pattern_free(joiner.pattern);
    return status;
}
