/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See inputs.h. */
#include "config.h"

#include "cli/inputs.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/terminal.h"

int cli_file_read(struct cli_messages *messages, const char *path, const char *what,
                  const struct tiptrue_error *error)
{
    if (error->status != TIPTRUE_OK) {
        cli_messages_error(messages, error);
    }
    if (messages->telling == CLI_TELL_TEXT) {
        cli_put_escaped(stdout, path);
        if (messages->errors == 0) {
            printf(": %s is good\n", what);
        } else {
            printf(": %s has %zu fault%s\n", what, messages->errors,
                   messages->errors == 1 ? "" : "s");
        }
    }
    return cli_exit_status(error->status);
}

/* A file into *object by @read, with what is said of it. Returns the exit status. */
#define READ(path, what, telling, read, object)                                                    \
    do {                                                                                           \
        struct cli_messages own = {.stream = stderr, .telling = (telling)},                        \
                            *messages = inputs->messages != NULL ? inputs->messages : &own;        \
        struct tiptrue_sink sink = cli_messages_sink(messages);                                    \
        struct tiptrue_error error = {0};                                                          \
        error.status = read((path), &sink, (object), &error);                                      \
        worst = cli_worse(worst, cli_file_read(messages, (path), (what), &error));                 \
    } while (0)

static int read_named(const struct cli_inputs *inputs, enum cli_telling telling,
                      struct cli_objects *objects)
{
    int worst = 0;

    if (inputs->plate != NULL) {
        READ(inputs->plate, "plate", telling, tiptrue_plate_read, &objects->plate);
    }
    if (inputs->machine != NULL) {
        READ(inputs->machine, "machine", telling, tiptrue_machine_read, &objects->machine);
    }
    if (inputs->plan != NULL) {
        READ(inputs->plan, "plan", telling, tiptrue_plan_read, &objects->plan);
    }
    return worst;
}

static bool is_there(const char *path)
{
    struct stat about;

    return path != NULL && strcmp(path, "-") != 0 && stat(path, &about) == 0;
}

static bool is_same_file(const char *path, const char *other)
{
    struct stat a, b;

    return (path == NULL) == (other == NULL) &&
           (path == NULL || (stat(path, &a) == 0 && stat(other, &b) == 0 && a.st_dev == b.st_dev &&
                             a.st_ino == b.st_ino));
}

/* Runs in several folders, each with a file of its own there, are not read with that of the first
 * one. */
static bool check_others(const struct cli_inputs *inputs, const struct cli_objects *objects)
{
    for (size_t i = 1; i < inputs->n_runs; i++) {
        struct cli_found other = {0};
        const char *option = "machine";
        bool good = true, same = true;
        if (inputs->machine == NULL) {
            good = cli_find_machine(NULL, inputs->runs[i], &other);
            same = is_same_file(other.path, objects->machine_file.path);
        }
        if (good && same && inputs->plate == NULL) {
            free(other.path);
            option = "plate";
            good = cli_find_plate(inputs->runs[i], &other);
            same = is_same_file(other.path, objects->plate_file.path);
        }
        free(other.path);
        if (!good) {
            return false;
        }
        if (!same) {
            char text[600];
            snprintf(text, sizeof text,
                     "the RUNs have different %s files beside them; name one by --%s", option,
                     option);
            cli_usage_error(inputs->command, inputs->json, text);
        }
    }
    return true;
}

/* The plate, plan and pattern that the machine file names, where the command line does not. */
static enum tiptrue_status find_by_machine(const struct cli_inputs *inputs, enum cli_need need,
                                           const struct tiptrue_machine *machine,
                                           struct cli_objects *objects, struct tiptrue_error *error)
{
    enum tiptrue_status status = TIPTRUE_OK;

    if (inputs->plate == NULL && tiptrue_machine_has_plate(machine)) {
        struct cli_found found = {.way = CLI_BY_MACHINE_FILE};
        status = tiptrue_machine_plate_path(machine, inputs->n_runs > 0 ? &objects->head : NULL,
                                            &found.path, error);
        free(objects->plate_file.path);
        objects->plate_file = found;
    }
    bool has_moves = need == CLI_NEEDS_MOVES ||
                     (inputs->n_runs > 0 && !objects->head.is_run_log &&
                      (inputs->pattern != NULL || tiptrue_machine_pattern(machine) != NULL));
    if (status == TIPTRUE_OK && inputs->plan == NULL && has_moves) {
        objects->plan_file.way = CLI_BY_MACHINE_FILE;
        status =
            tiptrue_machine_path(machine, TIPTRUE_MACHINE_PLAN, &objects->plan_file.path, error);
    }
    return status;
}

/* The pattern of the machine file goes with a plan. */
static void take_pattern(struct cli_inputs *inputs, const struct tiptrue_machine *machine,
                         struct cli_objects *objects)
{
    const char *pattern = machine != NULL ? tiptrue_machine_pattern(machine) : NULL;

    if (inputs->pattern == NULL && pattern != NULL && inputs->plan != NULL) {
        objects->pattern = strdup(pattern);
        inputs->pattern = objects->pattern;
    }
}

/* --ok-words becomes a comment of the pattern, which goes wherever the pattern goes. False: out of
 * memory. */
static bool add_ok_words(struct cli_inputs *inputs, struct cli_objects *objects)
{
    static const char FORMAT[] = "%s(?#ok-words %s)";

    if (inputs->ok_words == NULL || inputs->pattern == NULL) {
        return true;
    }
    size_t size = strlen(inputs->pattern) + strlen(inputs->ok_words) + sizeof FORMAT;
    char *pattern = malloc(size);
    if (pattern == NULL) {
        return false;
    }
    snprintf(pattern, size, FORMAT, inputs->pattern, inputs->ok_words);
    free(objects->pattern);
    inputs->pattern = objects->pattern = pattern;
    return true;
}

/* All paths of what was not named; nothing is read yet but to see what the machine file names, and
 * what is wrong with that file is told when it is read. */
static int find_all(struct cli_inputs *inputs, enum cli_need need, enum cli_telling telling,
                    struct cli_objects *objects)
{
    const char *run = inputs->n_runs > 0 ? inputs->runs[0] : NULL;
    struct tiptrue_machine *machine = NULL;
    struct tiptrue_error error = {0};

    if (run != NULL && strcmp(run, "-") != 0) {
        error.status = tiptrue_log_head_read(run, &objects->head, &error);
    }
    if (error.status != TIPTRUE_OK ||
        !cli_find_machine(inputs->machine, run, &objects->machine_file) ||
        (inputs->plate == NULL && !cli_find_plate(run, &objects->plate_file)) ||
        !check_others(inputs, objects)) {
        fputs("tiptrue: error: out of memory\n", stderr);
        return EX_OSERR;
    }
    if (is_there(objects->machine_file.path)) {
        objects->machine_is_bad =
            tiptrue_machine_read(objects->machine_file.path, NULL, &machine, NULL) != TIPTRUE_OK;
    }
    if (machine != NULL) {
        error.status = find_by_machine(inputs, need, machine, objects, &error);
    }
    inputs->machine = objects->machine_file.path;
    inputs->plate = inputs->plate != NULL ? inputs->plate : objects->plate_file.path;
    inputs->plan = inputs->plan != NULL ? inputs->plan : objects->plan_file.path;
    take_pattern(inputs, machine, objects);
    tiptrue_machine_free(machine);
    if (error.status != TIPTRUE_OK) {
        struct cli_messages own = {.stream = stderr, .telling = telling};
        cli_messages_error(inputs->messages != NULL ? inputs->messages : &own, &error);
    }
    return cli_exit_status(error.status);
}

/* One piece of the line: "plate plate.json (beside the run)". */
static void say_one(const struct cli_inputs *inputs, const char *what,
                    const struct cli_found *found, bool *any)
{
    if (found->path != NULL && found->way != CLI_NAMED) {
        const char *dim = !*any && cli_is_coloured(stderr, inputs->plain) ? "\033[2m" : "";
        fprintf(stderr, "%s%s %s ", dim, *any ? "," : "using", what);
        cli_put_escaped(stderr, found->path);
        fprintf(stderr, " (%s)", cli_way_words(found->way));
        *any = true;
    }
}

/* What was found, in one line. */
static void say_found(const struct cli_inputs *inputs, const struct cli_objects *objects)
{
    bool any = false;

    if (inputs->quiet) {
        return;
    }
    say_one(inputs, "machine", &objects->machine_file, &any);
    say_one(inputs, "plate", &objects->plate_file, &any);
    say_one(inputs, "plan", &objects->plan_file, &any);
    if (any) {
        fputs(cli_is_coloured(stderr, inputs->plain) ? "\033[0m\n" : "\n", stderr);
    }
}

/* What is missing, in the order of the options. */
static void check_found(const struct cli_inputs *inputs, enum cli_need need)
{
    bool both = need == CLI_NEEDS_BOTH || need == CLI_NEEDS_MOVES;
    const struct {
        bool wrong;
        const char *text;
    } RULES[] = {
        {both && inputs->plate == NULL, "--plate is missing: name the file of the reference plate"},
        {both && inputs->machine == NULL, "--machine is missing: name the file of the machine"},
        {need != CLI_NEEDS_MOVES && inputs->plan != NULL && inputs->pattern == NULL,
         "--plan needs --pattern: how a report of the controller looks"},
        {inputs->pattern != NULL && inputs->plan == NULL,
         "--pattern needs --plan: what each move of the log was"},
        {inputs->ok_words != NULL && inputs->pattern == NULL,
         "--ok-words needs --pattern, which has a group ok"}};

    for (size_t i = 0; i < sizeof RULES / sizeof RULES[0]; i++) {
        if (RULES[i].wrong) {
            cli_usage_error(inputs->command, inputs->json, RULES[i].text);
        }
    }
}

int cli_objects_find(struct cli_inputs *inputs, enum cli_need need, enum cli_telling telling,
                     struct cli_objects *objects)
{
    int status = EX_OK;

    if (need != CLI_NEEDS_NAMED) {
        status = find_all(inputs, need, telling, objects);
    }
    if (status != EX_OK) {
        return status;
    }
    if (!add_ok_words(inputs, objects)) {
        fputs("tiptrue: error: out of memory\n", stderr);
        return EX_OSERR;
    }
    if (!objects->machine_is_bad) { /* else its own faults come first */
        check_found(inputs, need);
    }
    status = read_named(inputs, telling, objects);
    if (status == EX_OK) {
        say_found(inputs, objects);
    }
    return status;
}

enum tiptrue_status cli_runs_read_together(const struct cli_inputs *inputs,
                                           const struct cli_objects *objects,
                                           const struct tiptrue_sink *sink,
                                           struct tiptrue_run **run, struct tiptrue_error *error)
{
    struct tiptrue_run **logs = calloc(inputs->n_runs, sizeof *logs);
    enum tiptrue_status status = TIPTRUE_OK;

    if (logs == NULL) {
        snprintf(error->text, sizeof error->text, "out of memory");
        return error->status = TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < inputs->n_runs; i++) {
        enum tiptrue_status got = tiptrue_run_read(
            inputs->runs[i], objects->plate, objects->machine, NULL, NULL, sink, &logs[i], error);
        status = status == TIPTRUE_OK ? got : status;
    }
    if (status == TIPTRUE_OK) {
        status = tiptrue_run_join((const struct tiptrue_run *const *)logs, inputs->n_runs,
                                  objects->plate, objects->machine, run, error);
    }
    for (size_t i = 0; i < inputs->n_runs; i++) {
        tiptrue_run_free(logs[i]);
    }
    free(logs);
    return status;
}

enum tiptrue_units cli_shown_units(const struct cli_inputs *inputs,
                                   const struct cli_objects *objects)
{
    return inputs->units != TIPTRUE_UNITS_DEFAULT ? inputs->units
           : objects->machine != NULL             ? tiptrue_machine_units(objects->machine)
                                                  : TIPTRUE_UNITS_MM;
}

void cli_objects_free(struct cli_objects *objects)
{
    tiptrue_plate_free(objects->plate);
    tiptrue_machine_free(objects->machine);
    tiptrue_plan_free(objects->plan);
    tiptrue_log_head_clear(&objects->head);
    free(objects->machine_file.path);
    free(objects->plate_file.path);
    free(objects->plan_file.path);
    free(objects->pattern);
}

enum tiptrue_status cli_present_read(const char *word, struct tiptrue_machine *machine,
                                     struct tiptrue_error *error)
{
    if (word != NULL && strcmp(word, "machine") == 0) {
        return TIPTRUE_OK;
    }
    if (word != NULL && strcmp(word, "none") == 0) {
        tiptrue_machine_present_none(machine);
        return TIPTRUE_OK;
    }
    return tiptrue_machine_present(machine, word, error);
}
