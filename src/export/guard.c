/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See guard.h. */
#include "config.h"

#include "export/guard.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "base/named.h"
#include "base/number.h"
#include "base/time.h"
#include "ingest/diagnose.h"

static const char *word_of(enum tiptrue_guard guard)
{
    switch (guard) {
    case TIPTRUE_GUARD_VERDICT:
        return "verdict";
    case TIPTRUE_GUARD_AGE:
        return "age";
    case TIPTRUE_GUARD_MACHINE:
        return "machine";
    case TIPTRUE_GUARD_CHANGE:
        return "change";
    case TIPTRUE_GUARD_PLATE:
        return "plate";
    }
    return "";
}

static void tell(const struct tt_guards *guards, enum tiptrue_severity severity, const char *file,
                 size_t line, const char *text, const char *hint)
{
    struct tiptrue_diagnostic diagnostic = {severity, file, line, 0, text, hint};
    tt_tell(guards->sink, &diagnostic);
}

/* The guard stands in the way: an error, or where it is forced a warning. */
static void stand(struct tt_guards *guards, enum tiptrue_guard guard, const char *file, size_t line,
                  const char *advice, const char *format, ...) TT_PRINTF(6, 7);

static void stand(struct tt_guards *guards, enum tiptrue_guard guard, const char *file, size_t line,
                  const char *advice, const char *format, ...)
{
    char text[400], told[440], hint[250];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof(text), format, arguments);
    va_end(arguments);
    if ((guards->forced & guard) != 0) {
        snprintf(told, sizeof(told), "%s (forced)", text);
        tell(guards, TIPTRUE_WARNING, file, line, told, NULL);
        return;
    }
    snprintf(hint, sizeof(hint), "%s; --force %s exports all the same", advice, word_of(guard));
    tell(guards, TIPTRUE_ERROR, file, line, text, hint);
    if (guards->refusals++ == 0) {
        (void)tt_fail(guards->error, TIPTRUE_E_DATA, file, line, 0, hint, "%s", text);
    }
}

bool tt_export_is_wanted(const struct tiptrue_export_options *options,
                         const struct tiptrue_solution *solution, const char *name, size_t length)
{
    bool asked = options->n_tips > 0;
    size_t n = asked ? options->n_tips : solution->n_wanted;

    return n == 0 || tt_named(asked ? options->tips : (const char *const *)solution->wanted, n,
                              sizeof name, name, length) < n;
}

enum tiptrue_verdict tt_export_verdict(const struct tiptrue_solution *solution,
                                       const struct tiptrue_export_options *options)
{
    enum tiptrue_verdict worst = TIPTRUE_KEEP;

    if (solution->n_tips == 0) {
        return solution->verdict;
    }
    for (size_t i = 0; i < solution->n_tips; i++) {
        const struct tt_tip_result *tip = &solution->tips[i];
        if (tt_export_is_wanted(options, solution, tip->name, strlen(tip->name)) &&
            tip->offset_verdict > worst) {
            worst = tip->offset_verdict;
        }
    }
    return worst > TIPTRUE_REPEAT ? TIPTRUE_REPEAT : worst;
}

void tt_guard_verdict(struct tt_guards *guards, const struct tiptrue_solution *solution,
                      const struct tiptrue_export_options *options)
{
    if (solution->least_squares) { /* not to be forced: no guard stands for what nobody judged */
        const char *text = "the result is of --least-squares: it is for comparison with other "
                           "programs, and has no verdict";
        const char *hint = "export the result of solve without --least-squares";
        tell(guards, TIPTRUE_ERROR, NULL, 0, text, hint);
        if (guards->refusals++ == 0) {
            (void)tt_fail(guards->error, TIPTRUE_E_DATA, NULL, 0, 0, hint, "%s", text);
        }
    } else if (tt_export_verdict(solution, options) == TIPTRUE_REPEAT) {
        stand(guards, TIPTRUE_GUARD_VERDICT, NULL, 0,
              "make the run again, or name the tips that are good by --tip",
              "the verdict of the %s is repeat: nothing of it may be used",
              options->n_tips > 0 ? "tips that are named" : "run");
    }
}

void tt_guard_heights(struct tt_guards *guards, const struct tt_edit edits[], size_t n, bool alone)
{
    for (size_t i = 0; i < n; i++) {
        const struct tt_edit *edit = &edits[i];
        char text[200];
        if (!tt_export_field_is_height(&edit->put.field) || edit->verdict < TIPTRUE_REPEAT) {
            continue;
        }
        snprintf(text, sizeof text, "'%.90s': its verdict is repeat, it may not be used",
                 tt_shown(edit->put.field.text, edit->put.field.length).text);
        if (alone || !edit->kept) { /* not kept: forced */
            stand(guards, TIPTRUE_GUARD_VERDICT, NULL, 0, "make the run again", "%s", text);
        } else {
            tell(guards, TIPTRUE_WARNING, NULL, 0, text,
                 "it stays as it is; what else is exported is written");
        }
    }
}

void tt_guard_height_places(struct tt_guards *guards, const struct tt_tip_result *tip)
{
    char text[200], hint[120];
    snprintf(text, sizeof text, "the height of tip '%.90s' is to be updated, and has no place",
             tt_shown_text(tip->name).text);
    snprintf(hint, sizeof hint, "put 'TIP.height', or write %.4f mm where the machine has it",
             tip->height->value_mm);
    tell(guards, TIPTRUE_WARNING, NULL, 0, text, hint);
}

void tt_guard_age(struct tt_guards *guards, const struct tiptrue_solution *solution,
                  double max_age_s, double now_s)
{
    char age[TT_HOURS_SIZE], most[TT_HOURS_SIZE];
    double started_s = 0.0;
    if (solution->started == NULL ||
        !tt_time_read(solution->started, strlen(solution->started), &started_s)) {
        stand(guards, TIPTRUE_GUARD_AGE, NULL, 0, "let the log say '# started: TIME'",
              "the result does not say when its run was started, so nobody knows how old it is");
    } else if (now_s - started_s > max_age_s) {
        stand(guards, TIPTRUE_GUARD_AGE, NULL, 0, "make a new run",
              "the run was started %s ago, at %s; the most allowed is %s",
              tt_hours(now_s - started_s, age), solution->started, tt_hours(max_age_s, most));
    } else if (started_s - now_s > TT_CLOCK_DIFFERENCE_S) {
        stand(guards, TIPTRUE_GUARD_AGE, NULL, 0, "set the clocks right",
              "the run was started at %s, which is %s from now", solution->started,
              tt_hours(started_s - now_s, age));
    }
}

void tt_guard_machine(struct tt_guards *guards, const struct tiptrue_solution *solution,
                      const struct tiptrue_machine *machine)
{
    const char *of = solution->machine != NULL ? solution->machine : "";
    if (machine == NULL) {
        tell(guards, TIPTRUE_WARNING, NULL, 0,
             "no machine file is named: not checked that the result is of this machine",
             "give --machine");
    } else if (strcmp(of, machine->name) != 0) {
        stand(guards, TIPTRUE_GUARD_MACHINE, NULL, 0, "is it the result that was meant?",
              "the result is of the machine '%s', the machine file of '%s'", tt_shown_text(of).text,
              tt_shown_text(machine->name).text);
    }
}

static bool is_exported(const struct tt_tip *tip, const struct tt_edit edits[], size_t n)
{
    for (size_t i = 0; i < n; i++) {
        if (!edits[i].kept && strcmp(edits[i].tip, tip->name) == 0 &&
            tt_export_field_is_offset(&edits[i].put.field)) {
            return true;
        }
    }
    return false;
}

/* The plate's serial number, or its name where it has none. */
static bool is_same_plate(const struct tiptrue_solution *solution,
                          const struct tiptrue_plate *plate)
{
    if (plate->serial != NULL || solution->plate_serial != NULL) {
        return plate->serial != NULL && solution->plate_serial != NULL &&
               strcmp(plate->serial, solution->plate_serial) == 0;
    }
    return plate->name != NULL && solution->plate != NULL &&
           strcmp(plate->name, solution->plate) == 0;
}

void tt_guard_plate(struct tt_guards *guards, const struct tiptrue_solution *solution,
                    const struct tiptrue_machine *machine, const struct tiptrue_plate *plate,
                    const struct tt_edit edits[], size_t n)
{
    const char *serial = solution->plate_serial != NULL ? solution->plate_serial
                         : solution->plate != NULL      ? solution->plate
                                                        : "";
    if (plate != NULL && !is_same_plate(solution, plate)) {
        const char *present = plate->serial != NULL ? plate->serial : plate->name;
        stand(guards, TIPTRUE_GUARD_PLATE, NULL, 0, "touch the present plate",
              "the result was made with the plate '%s', the present one is '%s'",
              tt_shown_text(serial).text, tt_shown_text(present).text);
    }
    for (size_t i = 0; machine != NULL && i < machine->n_tips; i++) {
        const struct tt_tip *tip = &machine->tips[i];
        if (tip->offset_plate != NULL && strcmp(tip->offset_plate, serial) != 0 &&
            is_exported(tip, edits, n)) {
            stand(guards, TIPTRUE_GUARD_PLATE, NULL, 0,
                  "another plate's own errors come in with the change",
                  "the present offset of tip '%s' was found with the plate '%s', the result was "
                  "made with '%s'",
                  tt_shown_text(tip->name).text, tt_shown_text(tip->offset_plate).text,
                  tt_shown_text(serial).text);
        }
    }
}

/* "0.1234 mm" */
static const char *length_of(double value_mm, char text[40])
{
    struct tt_buffer buffer = {0};
    tt_number_write_rounded(&buffer, value_mm, 5);
    snprintf(text, 40, "%.30s mm", buffer.failed ? "?" : buffer.text);
    tt_buffer_clear(&buffer);
    return text;
}

/* A value that only turns its sign is looked at where it moves by more than this, though that be
 * plausible: wear and knocks that end on the mirrored place are rarer than a sign forgotten. */
#define SIGN_TURNS_MM 0.05
/* How near the mirrored value is then, as a part of it. */
#define SIGN_NEAR 0.1

static bool is_limited(const struct tt_edit *edit)
{
    return tt_export_field_is_offset(&edit->put.field) ||
           tt_export_field_is_height(&edit->put.field);
}

/* What the new value of edits[i] looks like beside the old ones: "" or "; it is ...". */
static void say_likeness(const struct tt_edit edits[], size_t n, size_t i, double near_mm,
                         char text[120])
{
    double old_mm = edits[i].old_mm, new_mm = edits[i].new_mm;
    text[0] = '\0';
    if (fabs(new_mm + old_mm) <= near_mm) {
        snprintf(text, 120, "; it is the old one's negative");
    } else if (fabs(new_mm - TT_MM_PER_INCH * old_mm) <= near_mm) {
        snprintf(text, 120, "; it is the old one x 25.4 (inch taken for mm)");
    } else if (fabs(new_mm - old_mm / TT_MM_PER_INCH) <= near_mm) {
        snprintf(text, 120, "; it is the old one / 25.4 (mm taken for inch)");
    }
    for (size_t j = 0; j < n && text[0] == '\0'; j++) {
        if (strcmp(edits[j].tip, edits[i].tip) != 0 &&
            edits[j].put.field.quantity == edits[i].put.field.quantity && is_limited(&edits[j]) &&
            fabs(new_mm - edits[j].old_mm) <= near_mm) {
            snprintf(text, 120, "; it is the old one of another tip, '%.60s'",
                     tt_shown_text(edits[j].tip).text);
        }
    }
}

void tt_guard_change(struct tt_guards *guards, const char *name, const struct tt_edit edits[],
                     size_t n, double max_change_mm, bool from_zero)
{
    char from[40], to[40], change[40], most[40], like[120];
    for (size_t i = 0; i < n; i++) {
        const struct tt_edit *edit = &edits[i];
        double change_mm = fabs(edit->new_mm - edit->old_mm);
        bool guarded = !edit->kept && is_limited(edit) && !(from_zero && edit->old_mm == 0);
        bool turns = max_change_mm < HUGE_VAL && change_mm > SIGN_TURNS_MM &&
                     fabs(edit->new_mm + edit->old_mm) <= SIGN_NEAR * fabs(edit->old_mm);
        if (!guarded || (change_mm <= max_change_mm && !turns)) {
            continue;
        }
        say_likeness(edits, n, i, fmin(max_change_mm, TT_PLAUSIBLE_CHANGE_MM), like);
        length_of(change_mm, change);
        length_of(edit->old_mm, from);
        length_of(edit->new_mm, to);
        if (turns && change_mm <= max_change_mm) {
            stand(guards, TIPTRUE_GUARD_CHANGE, name, edit->line,
                  "is the sign right, or 'minus' missing?",
                  "'%s' would move by %s, from %s to %s; it is the old one's negative",
                  tt_shown(edit->put.field.text, edit->put.field.length).text, change, from, to);
            continue;
        }
        stand(guards, TIPTRUE_GUARD_CHANGE, name, edit->line,
              "are sign, unit and place right? was the tip changed?",
              "'%s' would move by %s, from %s to %s; the most allowed is %s%s",
              tt_shown(edit->put.field.text, edit->put.field.length).text, change, from, to,
              length_of(max_change_mm, most), like);
    }
}

void tt_guard_axes(struct tt_guards *guards, const char *name, const struct tt_edit edits[],
                   size_t n)
{
    char advice[160];
    for (size_t i = 0; i < n; i++) {
        const struct tt_edit *edit = &edits[i];
        const char *why =
            !edit->kept ? tt_machine_field_stands(&edit->put.field, edit->old_mm, edit->new_mm)
                        : NULL;
        if (why != NULL) {
            bool square = edit->put.field.quantity == TT_AXES_SQUARE;
            double both =
                tt_machine_field_out(&edit->put.field, square ? edit->old_mm + edit->new_mm
                                                              : edit->old_mm * edit->new_mm);
            snprintf(advice, sizeof(advice), "%s: write %.*f", why, edit->put.field.decimals,
                     edit->put.field.minus ? -both : both);
            stand(guards, TIPTRUE_GUARD_CHANGE, name, edit->line, advice,
                  "'%s' would replace %s by %s",
                  tt_shown(edit->put.field.text, edit->put.field.length).text, edit->old_text,
                  edit->new_text);
        }
    }
}
