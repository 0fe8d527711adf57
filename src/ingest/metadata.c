/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Keys are few and looked up one by one. What contradicts itself is a fault: the later statement
 * never wins silently. */
#include "config.h"

#include "ingest/formats.h"

#include <string.h>

#include "base/time.h"
#include "ingest/cells.h"
#include "ingest/units.h"

enum key { MACHINE, PLATE, PLATE_SERIAL, STARTED, UNITS, OPERATOR, NOTE };
const char *const tt_metadata_keys[TT_METADATA] = {
    [MACHINE] = "machine", [PLATE] = "plate", [PLATE_SERIAL] = "plate_serial",
    [STARTED] = "started", [UNITS] = "units", [OPERATOR] = "operator",
    [NOTE] = "note",
};

bool tt_metadata_is_key(const struct tt_cell *key)
{
    return tt_cell_find(key, tt_metadata_keys, TT_METADATA) < TT_METADATA;
}

static void tell_again(struct tt_builder *builder, const struct tt_cell *key)
{
    tt_fault(builder->diagnose, tt_place_at(builder->diagnose, key->at), "leave one of them",
             "'%s' is stated twice", tt_shown(key->text, key->length).text);
}

static void set_text(struct tt_builder *builder, const struct tt_cell *key,
                     const struct tt_cell *value, const char **text)
{
    if (*text != NULL) {
        tell_again(builder, key);
    } else {
        *text = tt_cell_keep(&builder->run->arena, value, &builder->out_of_memory);
    }
}

/* All notes together, bytes: each new one is put behind a copy of those before. */
#define LONGEST_NOTE 65536

/* Notes in their order, with "; " between. */
static void add_note(struct tt_builder *builder, const struct tt_cell *key,
                     const struct tt_cell *value)
{
    struct tiptrue_run *run = builder->run;
    size_t before = run->note != NULL ? strlen(run->note) + 2 : 0;
    if (before > LONGEST_NOTE) {
        tt_fault(builder->diagnose, tt_place_at(builder->diagnose, key->at),
                 "keep long texts in a file of their own", "the notes are longer than %d bytes",
                 LONGEST_NOTE);
        return;
    }
    char *note = tt_arena_get(&run->arena, before + value->length + 1, 1);
    if (note == NULL) {
        builder->out_of_memory = true;
        return;
    }
    if (before > 0) {
        memcpy(note, run->note, before - 2);
        memcpy(note + before - 2, "; ", 2);
    }
    memcpy(note + before, value->text, value->length);
    run->note = note;
}

static void set_started(struct tt_builder *builder, const struct tt_cell *key,
                        const struct tt_cell *value)
{
    double seconds;
    if (tt_time_read(value->text, value->length, &seconds)) {
        set_text(builder, key, value, &builder->run->started);
    } else {
        tt_warn(builder->diagnose, tt_place_at(builder->diagnose, value->at),
                "as in 2026-03-02T07:41:12Z, with 'Z' or an offset such as +01:00",
                "started '%s' is not a time of RFC 3339, and is not used",
                tt_shown(value->text, value->length).text);
    }
}

static void set_units(struct tt_builder *builder, const struct tt_cell *key,
                      const struct tt_cell *value)
{
    if (builder->states_units) {
        tell_again(builder, key);
    } else if (!tt_units_read(value->text, value->length, &builder->mm_per_unit)) {
        tt_fault(builder->diagnose, tt_place_at(builder->diagnose, value->at), TT_UNITS_HINT,
                 "unknown units '%s'", tt_shown(value->text, value->length).text);
    }
    builder->states_units = true;
}

void tt_metadata_add(struct tt_builder *builder, const struct tt_cell *key,
                     const struct tt_cell *value)
{
    struct tiptrue_run *run = builder->run;
    size_t index = tt_cell_find(key, tt_metadata_keys, TT_METADATA);
    if (index == TT_METADATA && tt_diagnose_is_full_of_warnings(builder->diagnose)) {
        return;
    }
    if (index == TT_METADATA) {
        char hint[TT_HINT_SIZE];
        tt_names_hint(tt_metadata_keys, TT_METADATA, "keys", key->text, key->length, hint);
        tt_warn(builder->diagnose, tt_place_at(builder->diagnose, key->at), hint,
                "unknown key '%s' is not used", tt_shown(key->text, key->length).text);
        return;
    }
    if (value->length == 0 && index != UNITS) {
        return;
    }
    switch ((enum key)index) {
    case MACHINE:
        set_text(builder, key, value, &run->machine);
        break;
    case PLATE:
        set_text(builder, key, value, &run->plate);
        break;
    case PLATE_SERIAL:
        set_text(builder, key, value, &run->plate_serial);
        break;
    case STARTED:
        set_started(builder, key, value);
        break;
    case UNITS:
        set_units(builder, key, value);
        break;
    case OPERATOR:
        set_text(builder, key, value, &run->operator_name);
        break;
    case NOTE:
        add_note(builder, key, value);
        break;
    }
}

void tt_metadata_compare(struct tt_builder *builder)
{
    const struct tiptrue_run *run = builder->run;
    const struct tiptrue_plate *plate = builder->plate;
    const struct tiptrue_machine *machine = builder->machine;
    struct tt_place place = tt_place_file(builder->diagnose);
    if (machine != NULL && run->machine != NULL && strcmp(run->machine, machine->name) != 0) {
        tt_warn(builder->diagnose, place, "is it the machine file that was meant?",
                "the run was made on machine '%s', and the machine file is of '%s'",
                tt_shown_text(run->machine).text, tt_shown_text(machine->name).text);
    }
    if (plate != NULL && run->plate != NULL && strcmp(run->plate, plate->name) != 0 &&
        (plate->serial == NULL || strcmp(run->plate, plate->serial) != 0)) {
        tt_warn(builder->diagnose, place, "is it the plate file that was meant?",
                "the run was made on plate '%s', and the plate file is of '%s'",
                tt_shown_text(run->plate).text, tt_shown_text(plate->name).text);
    }
    if (plate != NULL && run->plate_serial != NULL && plate->serial != NULL &&
        strcmp(run->plate_serial, plate->serial) != 0) {
        tt_warn(builder->diagnose, place, "is it the plate file that was meant?",
                "the run was made on the plate with serial '%s', and the plate file is of '%s'",
                tt_shown_text(run->plate_serial).text, tt_shown_text(plate->serial).text);
    }
}
