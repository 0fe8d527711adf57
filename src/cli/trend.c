/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue trend: what the runs of a machine say over time. */
#include "config.h"

#include <argp.h>
#include <stdlib.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/history.h"
#include "cli/options.h"
#include "cli/terminal.h"

#define LEAST_BASELINE 8
#define MOST_BASELINE 1000
#define MOST_RUNS 100000

struct arguments {
    struct cli_history_arguments history;
    struct tiptrue_trend_options trend;
    bool points, exit_status;
    const char *since; /* of --exit-status: the runs before are looked at too */
};

static error_t parse_option(int key, char *argument, struct argp_state *state)
{
    struct arguments *arguments = state->input;

    switch (key) {
    case ARGP_KEY_INIT:
        state->child_inputs[0] = &arguments->history;
        return 0;
    case CLI_KEY_JSON:
        arguments->history.json = true;
        return 0;
    case CLI_KEY_MACHINE:
        arguments->history.query.machine = argument;
        return 0;
    case CLI_KEY_SINCE:
        arguments->history.query.since = argument;
        return 0;
    case CLI_KEY_UNTIL:
        arguments->history.query.until = argument;
        return 0;
    case CLI_KEY_EXIT_STATUS:
        arguments->exit_status = true;
        return 0;
    case ARGP_KEY_END:
        if (arguments->exit_status) {
            arguments->since = arguments->history.query.since;
            arguments->history.query.since = NULL;
        }
        return 0;
    case CLI_KEY_TIP:
        arguments->trend.tip = argument;
        return 0;
    case CLI_KEY_BASELINE:
        arguments->trend.baseline_runs =
            cli_whole_number(state, "--baseline", argument, LEAST_BASELINE, MOST_BASELINE);
        return 0;
    case CLI_KEY_RUNS:
        arguments->trend.most_runs = cli_whole_number(state, "--runs", argument, 1, MOST_RUNS);
        return 0;
    case CLI_KEY_POINTS:
        arguments->points = true;
        return 0;
    default:
        return ARGP_ERR_UNKNOWN;
    }
}

/* Write the trend; the exit status. */
static int show(const struct arguments *arguments, struct tiptrue_history *history)
{
    struct tiptrue_text_options look = cli_text_options(arguments->history.plain);
    struct tiptrue_trend *trend = NULL;
    struct tiptrue_error error = {0};
    char *text = NULL;
    size_t length = 0;
    bool changed = false;

    look.observations = arguments->points;
    look.units = arguments->history.units;
    look.zone = cli_local_zone();
    error.status = tiptrue_history_trend(history, &arguments->history.query, &arguments->trend,
                                         &trend, &error);
    if (error.status == TIPTRUE_OK) {
        error.status =
            tiptrue_trend_text(trend, arguments->history.json, &look, &text, &length, &error);
    }
    if (error.status == TIPTRUE_OK && arguments->exit_status) {
        error.status = tiptrue_history_changed(history, trend, arguments->since, &changed, &error);
    }
    if (error.status == TIPTRUE_OK) {
        cli_write(text, length);
        if (arguments->history.json) {
            cli_write("\n", 1);
        }
    }
    free(text);
    tiptrue_trend_free(trend);
    return changed && error.status == TIPTRUE_OK ? CLI_EXIT_UPDATE
                                                 : cli_failed(arguments->history.json, &error);
}

int cli_trend(int argc, char *argv[])
{
    static const struct argp_option OPTIONS[] = {
        {"machine", CLI_KEY_MACHINE, "NAME", 0,
         "The machine, by name or file; needed where the history holds several", 1},
        {"tip", CLI_KEY_TIP, "NAME", 0, "Show this tip only; all are looked at, to tell what moved",
         1},
        {"since", CLI_KEY_SINCE, "TIME", 0,
         "Only runs started at this date, date and time (RFC 3339) or run, or later", 1},
        {"until", CLI_KEY_UNTIL, "TIME", 0, "Only runs started at that time, or before", 1},
        {"exit-status", CLI_KEY_EXIT_STATUS, NULL, 0,
         "Exit with 10 if anything changed; with --since, after that time, and the runs before it "
         "are looked at too",
         2},
        {"runs", CLI_KEY_RUNS, "N", 0, "Look at the latest N runs (default 2000)", 1},
        {"baseline", CLI_KEY_BASELINE, "N", 0,
         "Limits of the control charts from the first N runs after each change (default 20)", 1},
        {"json", CLI_KEY_JSON, NULL, 0, "JSON, one line", 2},
        {"points", CLI_KEY_POINTS, NULL, 0, "With --json, every run of every tip too", 2},
        {0},
    };
    static const struct argp_child CHILDREN[] = {{&cli_history_common_argp, 0, NULL, 0}, {0}};
    static const struct argp ARGP = {
        .options = OPTIONS,
        .parser = parse_option,
        .doc = "Say what the runs of a machine show over time: what changed and when, what moved, "
               "which tip drifts and when its "
               "offset "
               "will be out, how much runs scatter, and the signals of control charts.\v"
               "Times are those of the time zone TZ. "
               "Exit status: 0, whatever is found, but for --exit-status; 64 wrong use, 65 damaged "
               "history, 66 no such "
               "history or machine, 74 reading "
               "failed.",
        .children = CHILDREN,
    };
    struct arguments arguments = {0};
    struct tiptrue_history *history = NULL;
    int status = EX_OSERR;

    if (cli_history_parse_into(&ARGP, argc, argv, &arguments)) {
        status = cli_history_open_for(&arguments.history, false, &history);
    }
    if (status == EX_OK) {
        status = show(&arguments, history);
    }
    tiptrue_history_close(history);
    cli_history_clear(&arguments.history);
    return status;
}
