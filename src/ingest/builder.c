/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Observations stand in one array that doubles; lengths stay in the file's unit until the last row,
 * since JSON may name it last. */
#include "config.h"

#include "ingest/builder.h"

#include <limits.h>
#include <math.h>
#include <string.h>

#include "base/number.h"
#include "base/time.h"
#include "ingest/formats.h"

/* Of a time of RFC 3339: the date and what parts it from the time of day; that without a fraction.
 */
#define DATE_LENGTH 11
#define CLOCK_LENGTH 8
#define HALF_DAY_S 43200.0
/* A controller's count of seconds: four months. */
#define LONGEST_COUNT_S 1e7
/* So many coordinates that differ from the first touch's, but not in the last digit, were rounded
 * with it: by chance they are once in 100 000. */
#define LEAST_APART 5
/* Nobody rounds more coarsely. */
#define MOST_ROUNDED_MM 0.11

void tt_builder_init(struct tt_builder *builder, struct tt_diagnose *diagnose,
                     const struct tiptrue_plate *plate, const struct tiptrue_machine *machine,
                     struct tiptrue_run *run, size_t expected_rows)
{
    *builder =
        (struct tt_builder){.diagnose = diagnose, .plate = plate, .machine = machine, .run = run};
    builder->marks.arena = builder->edges.arena = builder->pads.arena = &builder->scratch;
    builder->tips.arena = builder->setups.arena = &builder->scratch;
    builder->capacity = expected_rows > 0 ? expected_rows : 1;
    builder->mm_per_unit = 1.0;
    builder->sighting_decimals = builder->touch_decimals = builder->pixel_decimals =
        builder->height_decimals = INT_MIN;
    run->checked_against_plate = plate != NULL;
    run->checked_against_machine = machine != NULL;
    run->observations =
        tt_arena_grow(&run->arena, NULL, builder->capacity, sizeof(*run->observations));
    bool good = run->observations != NULL;
    for (size_t i = 0; plate != NULL && i < plate->n_marks; i++) {
        good = good && tt_names_add(&builder->marks, plate->marks[i].name);
    }
    for (size_t i = 0; plate != NULL && i < plate->n_edges; i++) {
        good = good && tt_names_add(&builder->edges, plate->edges[i].name);
    }
    for (size_t i = 0; plate != NULL && i < plate->n_pads; i++) {
        good = good && tt_names_add(&builder->pads, plate->pads[i].name);
    }
    for (size_t i = 0; machine != NULL && i < machine->n_tips; i++) {
        good = good && tt_names_add(&builder->tips, machine->tips[i].name);
    }
    builder->out_of_memory = !good;
}

void tt_builder_clear(struct tt_builder *builder)
{
    tt_arena_clear(&builder->scratch);
}

static struct tt_place place_of(struct tt_builder *builder, struct tt_origin origin)
{
    if (origin.move != NULL) {
        return (struct tt_place){builder->plan_file, origin.move->line, origin.move->column};
    }
    return origin.at != NULL ? tt_place_at(builder->diagnose, origin.at)
                             : tt_place_file(builder->diagnose);
}

/* Enter a new name; its index, or TT_NONE when out of memory. */
static size_t enter(struct tt_builder *builder, struct tt_names *names, const char *name,
                    size_t length)
{
    const char *copy = tt_arena_copy_text(&builder->scratch, name, length);
    if (copy == NULL || !tt_names_add(names, copy)) {
        builder->out_of_memory = true;
        return TT_NONE;
    }
    return names->count - 1;
}

static void tell_unknown(struct tt_builder *builder, const struct tt_names *known, const char *one,
                         const char *many, const char *name, size_t length, struct tt_origin origin)
{
    char hint[TT_HINT_SIZE];
    tt_names_hint(known->texts, known->count, many, name, length, hint);
    tt_fault(builder->diagnose, place_of(builder, origin), hint, "unknown %s '%s'", one,
             tt_shown(name, length).text);
}

/* What the plate does not know is a fault; without a plate every name is taken. */
static size_t find_feature(struct tt_builder *builder, struct tt_names *names,
                           const struct tt_names *others, const char *one, const char *many,
                           const char *name, size_t length, struct tt_origin origin)
{
    size_t index = tt_names_find(names, name, length);
    if (index != TT_NONE) {
        return index;
    }
    if (builder->plate == NULL) {
        return enter(builder, names, name, length);
    }
    bool is_other = others != NULL && others->count > 0 &&
                    tt_names_find((struct tt_names *)others, name, length) != TT_NONE;
    if (is_other) {
        bool wants_edge = names == &builder->edges;
        tt_fault(builder->diagnose, place_of(builder, origin),
                 wants_edge ? "marks are sighted, edges are touched"
                            : "edges are touched, marks are sighted",
                 "'%s' is %s, and %s is expected", tt_shown(name, length).text,
                 wants_edge ? "a mark" : "an edge", wants_edge ? "an edge" : "a mark");
        return TT_NONE;
    }
    tell_unknown(builder, names, one, many, name, length, origin);
    return TT_NONE;
}

size_t tt_builder_target(struct tt_builder *builder, enum tt_kind kind, const char *name,
                         size_t length, struct tt_origin origin)
{
    switch (kind) {
    case TT_SIGHT:
    case TT_VIEW:
        return find_feature(builder, &builder->marks, &builder->edges, "mark", "marks", name,
                            length, origin);
    case TT_TOUCH:
    case TT_WARMUP:
        return find_feature(builder, &builder->edges, &builder->marks, "edge", "edges", name,
                            length, origin);
    case TT_HEIGHT:
        break;
    }
    if (builder->plate != NULL && builder->pads.count == 0) {
        return TT_NONE; /* the plate names no pads, so that none can be wrong */
    }
    return find_feature(builder, &builder->pads, NULL, "pad", "pads", name, length, origin);
}

size_t tt_builder_tip(struct tt_builder *builder, const char *name, size_t length,
                      struct tt_origin origin)
{
    size_t index = tt_names_find(&builder->tips, name, length);
    if (index != TT_NONE) {
        return index;
    }
    if (builder->machine != NULL && builder->machine->n_tips > 0) {
        tell_unknown(builder, &builder->tips, "tip", "tips", name, length, origin);
        return TT_NONE;
    }
    if (builder->tips.count == TT_MOST_TIPS) {
        tt_fault(builder->diagnose, place_of(builder, origin), "is another thing in its place?",
                 "more than %d tips", TT_MOST_TIPS);
        return TT_NONE;
    }
    return enter(builder, &builder->tips, name, length);
}

size_t tt_builder_setup(struct tt_builder *builder, const char *name, size_t length,
                        struct tt_origin origin)
{
    size_t index = tt_names_find(&builder->setups, name, length);
    if (index != TT_NONE) {
        return index;
    }
    if (builder->setups.count == TT_MOST_SETUPS) {
        tt_fault(builder->diagnose, place_of(builder, origin),
                 "a setup is one placement of the plate; is another thing in its place?",
                 "more than %d setups", TT_MOST_SETUPS);
        return TT_NONE;
    }
    return enter(builder, &builder->setups, name, length);
}

/* A time of day, or seconds of the controller's own count, by the start of the run. */
static bool time_by_start(struct tt_builder *builder, const struct tt_cell *cell, double *seconds)
{
    const char *started = builder->run->started;
    double start_s = 0, start_clock_s = 0, own_s = 0;
    bool is_clock = tt_time_read_clock(cell->text, cell->length, &own_s);

    if (started == NULL || !tt_time_read(started, strlen(started), &start_s) ||
        !tt_time_read_clock(started + DATE_LENGTH, CLOCK_LENGTH, &start_clock_s)) {
        return false;
    }
    if (is_clock) {
        double last_s = builder->has_first_time ? builder->last_time_s : start_s;
        *seconds = start_s - fmod(start_s, 1.0) - start_clock_s + own_s;
        while (*seconds < last_s - HALF_DAY_S) {
            *seconds += 2 * HALF_DAY_S;
        }
        return true;
    }
    if (tt_number_read(cell->text, cell->length, '.', &own_s, NULL) != TT_NUMBER_OK ||
        !(own_s >= 0 && own_s <= LONGEST_COUNT_S)) {
        return false;
    }
    builder->first_count_s = builder->has_count ? builder->first_count_s : own_s;
    builder->has_count = true;
    *seconds = start_s + own_s - builder->first_count_s;
    return true;
}

bool tt_builder_time(struct tt_builder *builder, const struct tt_cell *cell, double *time_s)
{
    double seconds = 0;

    if (!tt_time_read(cell->text, cell->length, &seconds) &&
        !time_by_start(builder, cell, &seconds)) {
        tt_fault(builder->diagnose, tt_place_at(builder->diagnose, cell->at),
                 builder->run->started != NULL
                     ? "as in 2026-03-02T07:41:12Z, with 'Z' or an offset such as +01:00; a time "
                       "of day, as in 07:41:12; or seconds, 0 to 10000000"
                     : "as in 2026-03-02T07:41:12Z, with 'Z' or an offset such as +01:00; where "
                       "the log says '# started: TIME', a time of day or seconds will do",
                 "time '%s' is not a readable time", tt_shown(cell->text, cell->length).text);
        return false;
    }
    if (!builder->has_first_time) {
        builder->has_first_time = true;
        builder->first_time_s = seconds;
    }
    builder->last_time_s = seconds;
    *time_s = seconds - builder->first_time_s;
    return true;
}

/* Whether the row is of a mark, edge or pad that the plate file puts out of use, or a height that
 * names no pad or tip. */
static bool is_out_of_use(const struct tiptrue_plate *plate, const struct tt_observation *o)
{
    if (o->kind == TT_HEIGHT && (o->target == TT_NONE || o->tip == TT_NONE)) {
        return true;
    }
    if (plate == NULL || o->target == TT_NONE) {
        return false;
    }
    switch (o->kind) {
    case TT_SIGHT:
    case TT_VIEW:
        return plate->marks[o->target].unused;
    case TT_TOUCH:
    case TT_WARMUP:
        return plate->edges[o->target].unused;
    case TT_HEIGHT:
        break;
    }
    return o->target < plate->n_pads && plate->pads[o->target].unused;
}

void tt_builder_view(struct tt_builder *builder, struct tt_place place,
                     const struct tt_observation *row, int decimals)
{
    const struct tiptrue_machine *machine = builder->machine;

    builder->pixel_decimals =
        decimals > builder->pixel_decimals ? decimals : builder->pixel_decimals;
    if (machine == NULL) {
        return;
    }
    if (!machine->camera.present) {
        tt_fault(builder->diagnose, place,
                 "state \"camera\": {\"size_px\": [wide, high]} in the machine file",
                 "a view needs the size of the picture, and the machine file does not state it");
        return;
    }
    double wide = machine->camera.size_px[0], high = machine->camera.size_px[1];
    bool exchanged = row->px <= high && row->py <= wide;
    if (!(row->px >= 0 && row->px <= wide && row->py >= 0 && row->py <= high)) {
        tt_fault(builder->diagnose, place,
                 exchanged ? "are px and py exchanged? px counts to the right, py down, both from "
                             "the picture's upper left corner"
                           : "px counts to the right, py down, both from the picture's upper left "
                             "corner; compare the machine file's camera: size_px",
                 "px %g, py %g is outside of the picture, which is %g by %g pixels", row->px,
                 row->py, wide, high);
    }
}

void tt_builder_add(struct tt_builder *builder, const struct tt_observation *observation,
                    int decimals)
{
    struct tiptrue_run *run = builder->run;
    if (builder->out_of_memory) {
        return;
    }
    if (run->n_observations == builder->capacity) {
        struct tt_observation *grown =
            tt_arena_grow(&run->arena, run->observations, 2 * builder->capacity, sizeof(*grown));
        if (grown == NULL) {
            builder->out_of_memory = true;
            return;
        }
        run->observations = grown;
        builder->capacity *= 2;
    }
    run->observations[run->n_observations] = *observation;
    if (observation->use == TT_USE && is_out_of_use(builder->plate, observation)) {
        run->observations[run->n_observations].use = TT_USE_OTHER;
    }
    run->n_observations++;
    if (observation->use == TT_USE_NO_CONTACT) {
        return;
    }
    if (tt_is_sighting(observation->kind) && decimals > builder->sighting_decimals) {
        builder->sighting_decimals = decimals;
    } else if (observation->kind == TT_TOUCH && decimals > builder->touch_decimals) {
        builder->touch_decimals = decimals;
    } else if (observation->kind == TT_HEIGHT && decimals > builder->height_decimals) {
        builder->height_decimals = decimals;
    }
}

/* From the file's unit to mm. */
static void convert_units(struct tt_builder *builder)
{
    struct tiptrue_run *run = builder->run;
    double unit = builder->mm_per_unit;
    for (size_t i = 0; unit != 1.0 && i < run->n_observations; i++) {
        struct tt_observation *observation = &run->observations[i];
        observation->h.x_mm *= unit;
        observation->h.y_mm *= unit;
        observation->z_mm *= unit;
        observation->feed_mm_s *= unit;
    }
}

/* Whether @first is the fast touch of a pair that @second ends. A slow one without contact ends it
 * as well: what its fast one found is no measurement. */
static bool is_pair(const struct tt_observation *first, const struct tt_observation *second)
{
    return (first->kind == TT_TOUCH || first->kind == TT_HEIGHT) && second->kind == first->kind &&
           first->use == TT_USE && first->target == second->target && first->tip == second->tip &&
           first->setup == second->setup && first->rotation_rad == second->rotation_rad &&
           second->feed_mm_s > 0.0 && second->feed_mm_s < first->feed_mm_s;
}

static void infer_find(struct tt_builder *builder)
{
    struct tiptrue_run *run = builder->run;
    size_t pairs = 0, line = 0;
    for (size_t i = 0; i + 1 < run->n_observations; i++) {
        if (is_pair(&run->observations[i], &run->observations[i + 1])) {
            run->observations[i].use = TT_USE_FIND;
            line = pairs++ == 0 ? run->observations[i].line : line;
        }
    }
    if (pairs > 0) {
        run->find_inferred = true;
        tt_note(builder->diagnose, (struct tt_place){builder->diagnose->file, line, 0},
                "a column 'stage' with 'find' and 'measure' says it for sure",
                "%zu %s directly followed by a slower one of the same edge, tip and rotation: "
                "taken as 'find', and not used",
                pairs, pairs == 1 ? "touch is" : "touches are each");
    }
}

/* Whether two coordinates are a whole number of steps apart. Each is rounded to its last printed
 * digit, which leaves half a digit of doubt each; beyond that only the conversion of units rounds.
 */
static bool are_steps_apart(double from_mm, double to_mm, double step_mm, double quantum_mm)
{
    double apart_mm = to_mm - from_mm;
    double rest_mm = fabs(apart_mm - step_mm * rint(apart_mm / step_mm));
    double rounding_mm = 8.0 * 2.220446049250313e-16 * (fabs(from_mm) + fabs(to_mm));
    return rest_mm <= quantum_mm + rounding_mm;
}

bool tt_is_on_grid(const struct tiptrue_run *run, enum tt_kind kind, double step_mm,
                   double quantum_mm)
{
    const struct tt_observation *first = NULL;
    bool on_grid = true;
    for (size_t i = 0; on_grid && i < run->n_observations; i++) {
        const struct tt_observation *observation = &run->observations[i];
        bool of_kind =
            observation->kind == kind || (kind == TT_SIGHT && observation->kind == TT_VIEW);
        if (!of_kind || observation->use == TT_USE_NO_CONTACT) {
            continue;
        }
        first = first != NULL ? first : observation;
        on_grid = are_steps_apart(first->h.x_mm, observation->h.x_mm, step_mm, quantum_mm) &&
                  are_steps_apart(first->h.y_mm, observation->h.y_mm, step_mm, quantum_mm);
    }
    return on_grid;
}

/* The coordinates of touches that are others than those of the first one. */
static size_t touches_apart(const struct tiptrue_run *run)
{
    const struct tt_observation *first = NULL;
    size_t n = 0;
    for (size_t i = 0; i < run->n_observations; i++) {
        const struct tt_observation *o = &run->observations[i];
        if (o->kind == TT_TOUCH && o->use != TT_USE_NO_CONTACT) {
            first = first != NULL ? first : o;
            n += o->h.x_mm != first->h.x_mm;
            n += o->h.y_mm != first->h.y_mm;
        }
    }
    return n;
}

/* The last printed digits may be mere zeros, or alike in all rows: the unit of the last one that
 * varies is what the coordinates were rounded to. The touches tell it, not beyond @most_mm; marks
 * may well stand at round places, and a mark that was zeroed on is sighted at 0 each time. */
static void find_digits(struct tt_builder *builder, enum tt_kind kind, int decimals, double most_mm,
                        struct tt_digits *digits)
{
    double step_mm = builder->machine != NULL ? builder->machine->resolution_mm : 0.0;
    if (decimals == INT_MIN) {
        return;
    }
    digits->quantum_mm = builder->mm_per_unit * pow(10.0, -decimals);
    digits->on_grid =
        step_mm > 0.0 && tt_is_on_grid(builder->run, kind, step_mm, digits->quantum_mm);
    bool told = touches_apart(builder->run) >= LEAST_APART;
    for (int k = decimals - 1; told && k >= 0; k--) {
        double unit_mm = builder->mm_per_unit * pow(10.0, -k);
        told = unit_mm <= most_mm && tt_is_on_grid(builder->run, kind, unit_mm, 0.0);
        digits->quantum_mm = told ? unit_mm : digits->quantum_mm;
    }
}

/* The names of a table, copied: the run borrows nothing. */
static const char **copy_names(struct tt_builder *builder, const struct tt_names *names)
{
    struct tt_arena *arena = &builder->run->arena;
    const char **copies = TT_ARENA_NEW(arena, names->count, const char *);
    for (size_t i = 0; copies != NULL && i < names->count; i++) {
        copies[i] = tt_arena_copy_text(arena, names->texts[i], names->lengths[i]);
        if (copies[i] == NULL) {
            copies = NULL;
        }
    }
    builder->out_of_memory = builder->out_of_memory || copies == NULL;
    return copies;
}

void tt_builder_finish(struct tt_builder *builder)
{
    struct tiptrue_run *run = builder->run;
    convert_units(builder);
    if (!tt_repeats_drop(run, &builder->scratch)) {
        builder->out_of_memory = true;
    }
    if (!builder->states_stage) {
        infer_find(builder);
    }
    find_digits(builder, TT_TOUCH, builder->touch_decimals, MOST_ROUNDED_MM, &run->touch_digits);
    find_digits(builder, TT_SIGHT, builder->sighting_decimals, run->touch_digits.quantum_mm,
                &run->sighting_digits);
    run->quantum_px = builder->pixel_decimals > INT_MIN ? pow(10.0, -builder->pixel_decimals) : 0.0;
    if (builder->height_decimals != INT_MIN) {
        run->height_quantum_mm = builder->mm_per_unit * pow(10.0, -builder->height_decimals);
    }
    run->has_first_time = builder->has_first_time;
    run->first_time_s = builder->first_time_s;
    run->n_tips = builder->tips.count;
    run->n_setups = builder->setups.count;
    run->tips = copy_names(builder, &builder->tips);
    run->setups = copy_names(builder, &builder->setups);
}
