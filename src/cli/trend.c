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

static void check_arguments(void *input, struct argp_state *state)
{
    struct arguments *arguments = input;

    (void)state;
    if (arguments->exit_status) {
        arguments->since = arguments->history.query.since;
        arguments->history.query.since = NULL;
    }
}

/* Write the trend; the exit status. */
static int show(const struct arguments *arguments, struct tiptrue_history *history)
{
    struct tiptrue_text_options look = cli_text_options(arguments->history.plain);
    struct tiptrue_trend *trend = NULL;
    struct cli_progress progress;
    struct tiptrue_error error = {0};
    char *text = NULL;
    size_t length = 0;
    bool changed = false;

    look.observations = arguments->points;
    look.units = arguments->history.units;
    cli_progress_begin(&progress, "looking at the runs", 0, !arguments->history.quiet);
    error.status = tiptrue_history_trend(history, &arguments->history.query, &arguments->trend,
                                         &trend, &error);
    cli_progress_end(&progress);
    if (error.status == TIPTRUE_OK) {
        error.status =
            tiptrue_trend_text(trend, arguments->history.json, &look, &text, &length, &error);
    }
    if (error.status == TIPTRUE_OK && arguments->exit_status) {
        error.status = tiptrue_history_changed(history, trend, arguments->since, &changed, &error);
    }
    if (error.status == TIPTRUE_OK) {
        cli_write_result(text, length, arguments->history.json);
    }
    free(text);
    tiptrue_trend_free(trend);
    return changed && error.status == TIPTRUE_OK ? CLI_EXIT_UPDATE
                                                 : cli_failed(arguments->history.json, &error);
}

#define AT(member) offsetof(struct arguments, member)
int cli_trend(int argc, char *argv[])
{
    static const struct cli_option OPTIONS[] = {
        {"machine", "NAME", 1, CLI_TEXT, AT(history.query.machine),
         .doc = "The machine, by name or file; needed where the history holds several"},
        {"tip", "NAME", 1, CLI_TEXT, AT(trend.tip),
         .doc = "Show this tip only; all are looked at, to tell what moved"},
        {"since", "TIME", 1, CLI_TEXT, AT(history.query.since),
         .doc = "Only runs started at this date, date and time (RFC 3339) or run, or later"},
        {"until", "TIME", 1, CLI_TEXT, AT(history.query.until),
         .doc = "Only runs started at that time, or before"},
        {"exit-status", NULL, 2, CLI_FLAG, AT(exit_status),
         .doc = "Exit with 10 if anything changed; with --since, after that time, and the runs "
                "before it are looked at too"},
        {"runs", "N", 1, CLI_COUNT, AT(trend.most_runs),
         .doc = "Look at the latest N runs (default 2000)", .least = 1, .most = MOST_RUNS},
        {"baseline", "N", 1, CLI_COUNT, AT(trend.baseline_runs),
         .doc = "Limits of the control charts from the first N runs after each change (default 20)",
         .least = LEAST_BASELINE, .most = MOST_BASELINE},
        {"json", NULL, 2, CLI_FLAG, AT(history.json), .doc = "JSON, one line"},
        {"points", NULL, 2, CLI_FLAG, AT(points), .doc = "With --json, every run of every tip too"},
        {0},
    };
    static const struct cli_syntax SYNTAX = {
        .check = check_arguments,
        .options = OPTIONS,
        .doc = "Say what the runs of a machine show over time: what changed and when, what moved, "
               "which tip drifts and when its offset will be out, how much runs scatter, and the "
               "signals of control charts.\v"
               "Times are those of the time zone TZ. Exit status: 0, whatever is found, but for "
               "--exit-status; 64 wrong use, 65 damaged history, 66 no such history or machine, 74 "
               "reading failed.",
        .shared = &cli_history_options,
        .shared_at = AT(history),
    };
    struct arguments arguments = {0};
    struct tiptrue_history *history = NULL;
    int status = EX_OSERR;

    if (cli_read(&SYNTAX, argc, argv, &arguments)) {
        status = cli_history_open_for(&arguments.history, false, &history);
    }
    status = status == EX_OK ? show(&arguments, history) : status;
    tiptrue_history_close(history);
    cli_history_clear(&arguments.history);
    return status;
}
