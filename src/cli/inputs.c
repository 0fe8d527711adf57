/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See inputs.h. */
#include "config.h"

#include "cli/inputs.h"

#include <stdio.h>
#include <stdlib.h>

#include "cli/command.h"

int cli_file_read(struct cli_messages *messages, const char *path, const char *what,
                  const struct tiptrue_error *error)
{
    if (error->status != TIPTRUE_OK) {
        cli_messages_error(messages, error);
    }
    if (messages->telling == CLI_TELL_TEXT) {
        if (messages->errors == 0) {
            printf("%s: %s is good\n", path, what);
        } else {
            printf("%s: %s has %zu fault%s\n", path, what, messages->errors,
                   messages->errors == 1 ? "" : "s");
        }
    }
    return cli_exit_status(error->status);
}

int cli_objects_read(const struct cli_inputs *inputs, enum cli_telling telling,
                     struct cli_objects *objects)
{
    int worst = 0;

    if (inputs->plate != NULL) {
        struct cli_messages messages = {.stream = stderr, .telling = telling};
        struct tiptrue_sink sink = cli_messages_sink(&messages);
        struct tiptrue_error error = {0};
        error.status = tiptrue_plate_read(inputs->plate, &sink, &objects->plate, &error);
        worst = cli_worse(worst, cli_file_read(&messages, inputs->plate, "plate", &error));
    }
    if (inputs->machine != NULL) {
        struct cli_messages messages = {.stream = stderr, .telling = telling};
        struct tiptrue_sink sink = cli_messages_sink(&messages);
        struct tiptrue_error error = {0};
        error.status = tiptrue_machine_read(inputs->machine, &sink, &objects->machine, &error);
        worst = cli_worse(worst, cli_file_read(&messages, inputs->machine, "machine", &error));
    }
    if (inputs->plan != NULL) {
        struct cli_messages messages = {.stream = stderr, .telling = telling};
        struct tiptrue_sink sink = cli_messages_sink(&messages);
        struct tiptrue_error error = {0};
        error.status = tiptrue_plan_read(inputs->plan, &sink, &objects->plan, &error);
        worst = cli_worse(worst, cli_file_read(&messages, inputs->plan, "plan", &error));
    }
    return worst;
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

void cli_objects_free(struct cli_objects *objects)
{
    tiptrue_plate_free(objects->plate);
    tiptrue_machine_free(objects->machine);
    tiptrue_plan_free(objects->plan);
}
