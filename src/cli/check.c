/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue check: every fault of the files, and what a run can determine, before anything is solved.
 */
#include "config.h"

#include <argp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/find.h"
#include "cli/inputs.h"
#include "cli/terminal.h"
#include "cli/messages.h"

/* What the checks of all runs share. */
struct job {
    const struct cli_inputs *inputs;
    const struct cli_objects *objects;
    struct tiptrue_text_options look;
    struct tiptrue_workspace *workspace; /* made when first needed */
};

/* What a good run can determine; needs plate and machine. Returns the exit status. */
static int tell_determined(struct job *job, const char *path, const struct tiptrue_run *run)
{
    const struct cli_objects *objects = job->objects;
    struct cli_messages messages = cli_messages_aloud(job->inputs->json);
    struct tiptrue_error error = {0};
    bool determined = false;
    char *text = NULL;
    size_t length = 0;

    if (objects->plate == NULL || objects->machine == NULL) {
        if (!job->inputs->json) {
            cli_put_escaped(stdout, path);
            puts(": give a good --plate and --machine too, to see what the run can determine");
        }
        return 0;
    }
    job->look.units = cli_shown_units(job->inputs, objects);
    if (job->workspace == NULL) {
        error.status = tiptrue_workspace_new(&job->workspace, &error);
    }
    if (error.status == TIPTRUE_OK) {
        error.status =
            tiptrue_check(job->workspace, objects->plate, objects->machine, run, job->inputs->json,
                          &job->look, &determined, &text, &length, &error);
    }
    if (error.status != TIPTRUE_OK) {
        return cli_file_read(&messages, path, "run", &error);
    }
    cli_write_result(text, length, job->inputs->json);
    free(text);
    return determined ? 0 : CLI_EXIT_REPEAT;
}

static int check_run(struct job *job, const char *path)
{
    struct cli_messages messages = {.stream = stderr,
                                    .telling = job->inputs->json ? CLI_TELL_EACH : CLI_TELL_TEXT};
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    struct tiptrue_error error = {0};
    struct tiptrue_run *run = NULL;
    int status;

    error.status = tiptrue_run_read(path, job->objects->plate, job->objects->machine,
                                    job->objects->plan, job->inputs->pattern, &sink, &run, &error);
    status = cli_file_read(&messages, path, "run", &error);
    status = status == 0 ? tell_determined(job, path, run) : status;
    tiptrue_run_free(run);
    return status;
}

struct arguments {
    struct cli_inputs inputs;
    const char *svg;
    bool view;   /* the plate is to be shown */
    bool folder; /* the plate or the machine of this folder is there to be checked */
};

static void check_arguments(void *input, struct argp_state *state)
{
    const struct arguments *arguments = input;
    const struct cli_inputs *inputs = &arguments->inputs;

    if (inputs->plate == NULL && inputs->machine == NULL && inputs->plan == NULL &&
        inputs->n_runs == 0 && !arguments->folder) {
        cli_usage(state, "nothing to check: name a plate, a machine, a plan or a run");
    }
}

/* As much of a file as shows what it is. */
#define HEAD 4096

/* Whether the file @path has the schema @schema: it is told by that, never by its name. */
static bool has_schema(const char *path, const char *schema)
{
    char head[HEAD + 1] = "";
    FILE *file = strcmp(path, "-") != 0 ? fopen(path, "r") : NULL;
    size_t length = file != NULL ? fread(head, 1, HEAD, file) : 0;

    if (file != NULL) {
        fclose(file);
    }
    head[length] = '\0';
    for (const char *at = head; *at != '\0'; at++) {
        if (strncmp(at, schema, strlen(schema)) == 0) {
            return true;
        }
    }
    return false;
}

/* The first file among the runs that has @schema is @meant, unless an option named it; whether one
 * was taken. */
static bool take_by_schema(struct cli_inputs *inputs, const char *schema, const char **meant)
{
    for (size_t i = 0; i < inputs->n_runs && *meant == NULL; i++) {
        if (has_schema(inputs->runs[i], schema)) {
            *meant = inputs->runs[i];
            inputs->n_runs--;
            memmove(inputs->runs + i, inputs->runs + i + 1,
                    (inputs->n_runs - i) * sizeof inputs->runs[0]);
            return true;
        }
    }
    return false;
}

/* The plate as it was understood; the exit status. */
static int show_plate(const struct arguments *arguments, const struct cli_objects *objects)
{
    struct tiptrue_text_options look = cli_text_options(arguments->inputs.plain);
    struct tiptrue_error error = {0};
    char *text = NULL;
    size_t length = 0;

    if (objects->plate == NULL) {
        return 0;
    }
    look.units = arguments->inputs.units != TIPTRUE_UNITS_DEFAULT
                     ? arguments->inputs.units
                     : tiptrue_plate_units(objects->plate);
    if (!arguments->inputs.json) {
        error.status = tiptrue_plate_view(objects->plate, false, &look, &text, &length, &error);
        if (error.status == TIPTRUE_OK) {
            cli_write(text, length);
        }
        free(text);
        text = NULL;
    }
    if (error.status == TIPTRUE_OK && arguments->svg != NULL) {
        error.status = tiptrue_plate_view(objects->plate, true, &look, &text, &length, &error);
    }
    if (error.status == TIPTRUE_OK && arguments->svg != NULL) {
        error.status = cli_write_file(arguments->svg, text, length, false, &error);
    }
    free(text);
    if (error.status != TIPTRUE_OK) {
        struct cli_messages messages = {.stream = stderr};
        cli_messages_error(&messages, &error);
    }
    return cli_exit_status(error.status);
}

#define AT(member) offsetof(struct arguments, member)
int cli_check(int argc, char *argv[])
{
    static const struct cli_option OPTIONS[] = {
        {"svg", "FILE", 2, CLI_TEXT, AT(svg),
         .doc = "Write the plate as it is understood as a picture, and show it in characters",
         .sets = CLI_SETS(struct arguments, view)},
        {0},
    };
    static const struct cli_syntax SYNTAX = {
        .check = check_arguments,
        .options = OPTIONS,
        .args_doc = "[PLATE] [MACHINE] [RUN...]",
        .doc = "Report every error in the files named; from plate, machine and run, say also which "
               "quantities the touches can determine. A PLATE among the files is shown as it is "
               "understood. Without any file, those of this folder are checked.\v"
               "Exit status: 0 the files are good and each run determines its offsets, 20 a run "
               "does not; 64 wrong use, 65 bad input, "
               "66 no input, 74 reading or writing failed. Of several files, the worst.",
        .shared = &cli_inputs_options,
        .shared_at = AT(inputs),
    };
    struct arguments arguments = {.folder = cli_is_regular(CLI_PLATE_FILE) ||
                                            cli_is_regular(CLI_MACHINE_FILE)};
    struct cli_inputs *inputs = &arguments.inputs;
    struct cli_objects objects = {0};
    struct job job = {.inputs = inputs, .objects = &objects};
    enum cli_need need = CLI_NEEDS_NAMED;
    int status;

    if (!cli_read(&SYNTAX, argc, argv, &arguments)) {
        return EX_OSERR;
    }
    if (take_by_schema(inputs, "\"tiptrue.plate/", &inputs->plate)) {
        arguments.view = true;
    }
    take_by_schema(inputs, "\"tiptrue.machine/", &inputs->machine);
    job.look = cli_text_options(inputs->plain);
    if (inputs->plate == NULL && inputs->machine == NULL && inputs->plan == NULL &&
        inputs->n_runs == 0) {
        arguments.view = true;
        need = CLI_NEEDS_FOUND;
    }
    status = cli_objects_find(inputs, inputs->n_runs > 0 ? CLI_NEEDS_FOUND : need,
                              inputs->json ? CLI_TELL_EACH : CLI_TELL_TEXT, &objects);
    if (arguments.view) {
        status = cli_worse(status, show_plate(&arguments, &objects));
    }
    for (size_t i = 0; i < inputs->n_runs; i++) {
        if (inputs->plan != NULL && objects.plan == NULL) {
            break; /* without the plan a controller's log says nothing */
        }
        status = cli_worse(status, check_run(&job, inputs->runs[i]));
    }
    tiptrue_workspace_free(job.workspace);
    cli_objects_free(&objects);
    free(inputs->runs);
    return status;
}
