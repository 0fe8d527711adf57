/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See inputs.h. */
#include "config.h"

#include "cli/inputs.h"

#include "cli/command.h"

int cli_file_read(struct cli_messages *messages, const char *path, const char *what, const struct tiptrue_error *error)
{
    if (error->status != TIPTRUE_OK) {
        cli_messages_error(messages, error);
    }
    if (messages->telling == CLI_TELL_TEXT) {
        if (messages->errors == 0) {
            printf("%s: %s is good\n", path, what);
        } else {
            printf("%s: %s has %zu fault%s\n", path, what, messages->errors, messages->errors == 1 ? "" : "s");
        }
    }
    return cli_exit_status(error->status);
}

int cli_objects_read(const struct cli_inputs *inputs, enum cli_telling telling, struct cli_objects *objects)
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

void cli_objects_free(struct cli_objects *objects)
{
    tiptrue_plate_free(objects->plate);
    tiptrue_machine_free(objects->machine);
    tiptrue_plan_free(objects->plan);
}
