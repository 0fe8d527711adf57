/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue solve: run logs in, a result for each out, in the order of the command line. */
#include "config.h"

#include <argp.h>
#include <errno.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>
#include <unistd.h>

#include "cli/batch.h"
#include "cli/command.h"
#include "cli/history.h"
#include "cli/inputs.h"
#include "cli/terminal.h"
#include "cli/messages.h"

#define LEAST_TRIALS 100
#define MOST_TRIALS 10000000
#define MOST_SEED 4294967295 /* what the generator takes */
#define MOST_JOBS                                                                                  \
    1024 /* threads: more than any machine's cores, few enough that their number never is the      \
            fault */

struct arguments {
    struct cli_inputs inputs;
    bool touches, brief, least_squares, accept_change, together;
    const char
        *present; /* configuration to read the present offsets from, NULL = the machine file's */
    size_t monte_carlo, seed;
    size_t jobs;       /* 0 = as many as there are cores */
    const char **tips; /* wanted; malloc'ed, n_tips of them */
    size_t n_tips;
    const char *history;
    bool record; /* into the history at its default place */
};

/* All that the workers share; they only read it, each but its own workspace. */
struct job {
    const struct arguments *arguments;
    const struct cli_objects *objects;
    struct tiptrue_text_options look;
    struct tiptrue_workspace **workspaces; /* one for each worker, made when first needed */
    struct cli_progress progress;
    struct tiptrue_history *history; /* NULL = runs are not entered; used under the lock */
    struct tiptrue_between
        *between; /* scatter between the runs that were there before; NULL = none is known */
    pthread_mutex_t *writing;
    int worst;
};

/* What one run results in. */
struct outcome {
    struct cli_messages messages;
    char *text; /* NULL = nothing for standard output */
    size_t length;
    int exit_status;
};

static int exit_of_verdict(enum tiptrue_verdict verdict)
{
    static const int EXITS[] = {[TIPTRUE_KEEP] = CLI_EXIT_KEEP,
                                [TIPTRUE_UPDATE] = CLI_EXIT_UPDATE,
                                [TIPTRUE_REPEAT] = CLI_EXIT_REPEAT,
                                [TIPTRUE_NOT_MEASURED] = CLI_EXIT_REPEAT};
    return EXITS[verdict];
}

/* A solution of the run into *outcome. */
static enum tiptrue_status write_solution(const struct job *job,
                                          const struct tiptrue_solution *solution,
                                          struct outcome *outcome, struct tiptrue_error *error)
{
    outcome->exit_status = exit_of_verdict(tiptrue_solution_verdict(solution));
    if (job->arguments->inputs.json) {
        return tiptrue_solution_json(solution, &job->look, &outcome->text, &outcome->length, error);
    }
    return tiptrue_solution_text(solution, &job->look, &outcome->text, &outcome->length, error);
}

/* Enter the run: it is on disk when this returns, and only then is its result shown. */
static enum tiptrue_status enter(const struct job *job, const struct tiptrue_run *run,
                                 const struct tiptrue_solution *solution,
                                 const struct tiptrue_sink *sink, struct tiptrue_error *error)
{
    const struct cli_objects *objects = job->objects;
    enum tiptrue_status status;

    pthread_mutex_lock(job->writing);
    status = tiptrue_history_add(job->history, objects->plate, objects->machine, objects->plan,
                                 job->arguments->inputs.pattern, run, solution, cli_now_s(), sink,
                                 error);
    pthread_mutex_unlock(job->writing);
    return status;
}

/* Only a history needs the text of the log beside what it says. */
static enum tiptrue_status read_run(const struct job *job, size_t index,
                                    const struct tiptrue_sink *sink, struct tiptrue_run **run,
                                    struct tiptrue_error *error)
{
    const struct cli_objects *objects = job->objects;
    const char *path = job->arguments->inputs.runs[index],
               *pattern = job->arguments->inputs.pattern;

    if (job->arguments->together) {
        return cli_runs_read_together(&job->arguments->inputs, objects, sink, run, error);
    }
    if (job->history != NULL) {
        return tiptrue_run_read_whole(path, objects->plate, objects->machine, objects->plan,
                                      pattern, sink, run, error);
    }
    return tiptrue_run_read(path, objects->plate, objects->machine, objects->plan, pattern, sink,
                            run, error);
}

static enum tiptrue_status solve_run(const struct job *job, struct tiptrue_workspace **workspace,
                                     size_t index, struct outcome *outcome,
                                     struct tiptrue_error *error)
{
    const struct cli_objects *objects = job->objects;
    struct tiptrue_sink sink = cli_messages_sink(&outcome->messages);
    struct tiptrue_solve_options options = {.least_squares = job->arguments->least_squares,
                                            .monte_carlo = job->arguments->monte_carlo,
                                            .seed = (unsigned long)job->arguments->seed,
                                            .between = job->between,
                                            .tips = job->arguments->tips,
                                            .n_tips = job->arguments->n_tips,
                                            .accept_change = job->arguments->accept_change};
    struct tiptrue_run *run = NULL;
    struct tiptrue_solution *solution = NULL;
    enum tiptrue_status status = TIPTRUE_OK;

    if (*workspace == NULL) {
        status = tiptrue_workspace_new(workspace, error);
    }
    status = status == TIPTRUE_OK ? read_run(job, index, &sink, &run, error) : status;
    if (status == TIPTRUE_OK) {
        status = tiptrue_solve(*workspace, objects->plate, objects->machine, run, &options,
                               &solution, error);
    }
    if (status == TIPTRUE_OK && job->history != NULL) {
        status = enter(job, run, solution, &sink, error);
    }
    status = status == TIPTRUE_OK ? write_solution(job, solution, outcome, error) : status;
    tiptrue_solution_free(solution);
    tiptrue_run_free(run);
    return status;
}

static void work(void *context, size_t worker, size_t index, void *slot)
{
    const struct job *job = context;
    struct outcome *outcome = slot;
    struct tiptrue_error error = {0};

    outcome->messages.telling = job->arguments->inputs.json ? CLI_TELL_LATER : CLI_TELL_NOTHING;
    error.status = solve_run(job, &job->workspaces[worker], index, outcome, &error);
    if (error.status == TIPTRUE_OK) {
        return;
    }
    outcome->exit_status = cli_exit_status(error.status);
    cli_messages_error(&outcome->messages, &error);
    if (job->arguments->inputs.json) {
        outcome->text = cli_messages_json(&outcome->messages, &error, &outcome->length);
    }
}

/* Results of several runs stand apart: by an empty line, as JSON by a line each. */
static void print(const struct job *job, size_t index, const struct outcome *outcome)
{
    bool json = job->arguments->inputs.json;

    if (outcome->text == NULL) {
        return;
    }
    if (!json && index > 0 && !job->arguments->brief) {
        cli_write("\n", 1);
    }
    cli_write_result(outcome->text, outcome->length, json);
    if (job->history != NULL) {
        fflush(stdout); /* what is on disk is told at once; a failure shows at the end */
    }
}

static void deliver(void *context, size_t index, void *slot)
{
    struct job *job = context;
    struct outcome *outcome = slot;

    if (cli_messages_any(&outcome->messages) || job->progress.total < 2) {
        cli_progress_clear(&job->progress);
    }
    job->worst = cli_worse(job->worst, outcome->exit_status);
    print(job, index, outcome);
    cli_messages_show(&outcome->messages);
    cli_progress_tell(&job->progress, index + 1);
    free(outcome->text);
}

/* The number of threads: as asked for, else one for each core. */
static size_t workers_for(const struct arguments *arguments)
{
    long cores;

    if (arguments->jobs > 0) {
        return arguments->jobs;
    }
    cores = sysconf(_SC_NPROCESSORS_ONLN);
    return cores < 1 ? 1 : cores > MOST_JOBS ? MOST_JOBS : (size_t)cores;
}

static int solve_all(const struct arguments *arguments, const struct cli_objects *objects,
                     struct tiptrue_history *history, struct tiptrue_between *between)
{
    pthread_mutex_t writing = PTHREAD_MUTEX_INITIALIZER;
    struct job job = {.arguments = arguments,
                      .objects = objects,
                      .look = cli_text_options(arguments->inputs.plain),
                      .history = history,
                      .between = between,
                      .writing = &writing};
    struct cli_batch batch = {.pieces = arguments->together ? 1 : arguments->inputs.n_runs,
                              .workers = workers_for(arguments),
                              .outcome_size = sizeof(struct outcome),
                              .context = &job,
                              .work = work,
                              .deliver = deliver};
    bool ran = false;

    job.look.observations = arguments->touches;
    job.look.brief = arguments->brief;
    job.look.units = cli_shown_units(&arguments->inputs, objects);
    cli_progress_begin(&job.progress, batch.pieces > 1 ? "runs" : "solving", batch.pieces,
                       !arguments->inputs.quiet && (batch.pieces < 2 || !isatty(STDOUT_FILENO)));
    job.workspaces = calloc(batch.workers, sizeof *job.workspaces);
    if (job.workspaces != NULL) {
        ran = cli_batch_run(&batch);
        for (size_t i = 0; i < batch.workers; i++) {
            tiptrue_workspace_free(job.workspaces[i]);
        }
        free(job.workspaces);
    }
    cli_progress_end(&job.progress);
    if (!ran) {
        fputs("tiptrue: error: out of memory\n", stderr);
        return EX_OSERR;
    }
    return job.worst;
}

/* The present offsets, from where the machine has them. */
static int read_present(const struct arguments *arguments, const struct cli_objects *objects)
{
    struct cli_messages messages = cli_messages_aloud(arguments->inputs.json);
    struct tiptrue_error error = {0};

    error.status = cli_present_read(arguments->present, objects->machine, &error);
    return cli_file_read(&messages, arguments->present, "configuration", &error);
}

/* Columns of a message: it is one line, whatever the terminal's width. */
#define LINE 2000

/* What the latest run shows against those before it: after the results, or, beside JSON, as a
 * warning where it differs. */
static int tell_latest(const struct arguments *arguments, const struct cli_objects *objects,
                       struct tiptrue_history *history)
{
    struct tiptrue_text_options look = cli_text_options(arguments->inputs.plain);
    struct tiptrue_error error = {0};
    char *text = NULL;
    bool differs = false;

    look.columns = arguments->inputs.json ? LINE : look.columns;
    look.units = cli_shown_units(&arguments->inputs, objects);
    error.status =
        tiptrue_history_latest(history, objects->machine, &look, &text, &differs, &error);
    if (error.status == TIPTRUE_OK && text != NULL && !arguments->inputs.json) {
        cli_write("\n", 1);
        cli_write(text, strlen(text));
    } else if (error.status == TIPTRUE_OK && differs) {
        fprintf(stderr, "tiptrue: warning: %s", text);
    }
    free(text);
    return cli_failed(arguments->inputs.json, &error);
}

/* With the history open, if runs are to be entered. */
static int solve_into_history(const struct arguments *arguments, const struct cli_objects *objects)
{
    struct cli_messages messages = cli_messages_aloud(arguments->inputs.json);
    struct tiptrue_history *history = NULL;
    struct tiptrue_between *between = NULL;
    struct tiptrue_error error = {0};
    int status = EX_OK;

    if (arguments->history != NULL || arguments->record) {
        status = cli_history_open(arguments->history, objects->machine, true, &messages, &history);
    }
    if (status == EX_OK && history != NULL) {
        error.status = tiptrue_history_present(history, objects->machine, cli_now_s(), &error);
        status = cli_failed(arguments->inputs.json, &error);
    }
    if (status == EX_OK && history != NULL) {
        /* once, before the first run: the order of runs solved at a time must not tell in their
         * results */
        error.status = tiptrue_history_between(history, objects->machine, &between, &error);
        status = cli_failed(arguments->inputs.json, &error);
    }
    status = status == EX_OK ? solve_all(arguments, objects, history, between) : status;
    if (history != NULL && status <= CLI_EXIT_REPEAT) {
        int failed = tell_latest(arguments, objects, history);
        status = failed != EX_OK ? failed : status;
    }
    tiptrue_between_free(between);
    tiptrue_history_close(history);
    return status;
}

/* What --together does not go with. */
static void check_together(const struct arguments *arguments, struct argp_state *state)
{
    cli_refuse_if(state, arguments->history != NULL || arguments->record,
                  "--together is not for a history, which keeps one log for each run: enter "
                  "each log by itself");
    cli_refuse_if(
        state, arguments->inputs.plan != NULL,
        "--together is not for controllers' logs: a plan says what the moves of one log were");
    cli_refuse_if(state, arguments->inputs.n_runs < 2,
                  "--together needs two RUNs or more: the log so far, and that of the "
                  "touches made after it");
}

/* What does not go together, and what is missing. */
static void check_arguments(void *input, struct argp_state *state)
{
    const struct arguments *arguments = input;
    if (arguments->least_squares && (arguments->history != NULL || arguments->record)) {
        cli_usage(state, "--least-squares is for comparing with other programs; its results do not "
                         "enter a history");
    }
    cli_refuse_if(state, arguments->present != NULL && strcmp(arguments->present, "-") == 0,
                  "--present names the machine's configuration file, not standard input");
    cli_refuse_if(state, arguments->inputs.n_runs == 0,
                  "a RUN is missing: name the file of the run log, or - for standard input");
    if (arguments->together) {
        check_together(arguments, state);
    }
}

#define AT(member) offsetof(struct arguments, member)
int cli_solve(int argc, char *argv[])
{
    static const struct cli_option OPTIONS[] = {
        {"present", "CONFIG", 1, CLI_TEXT, AT(present),
         .doc = "Where the offsets in use are: a file with the places of the machine file's "
                "export, 'machine' (as its file states them) or 'none' (default: all of its "
                "export, else its own)"},
        {"accept-change", NULL, 1, CLI_FLAG, AT(accept_change),
         .doc = "Accept offsets that differ from those in use by more than is plausible (0.3 mm, "
                "or the machine file's 'plausible_change')"},
        {"together", NULL, 1, CLI_FLAG, AT(together),
         .doc = "All RUNs are logs of one run, in the order in which they were made: the plate was "
                "not taken off between them"},
        {"tip", "NAME", 1, CLI_LIST, AT(tips),
         .doc = "This tip is wanted, and none that is not named so (can be given several times; "
                "default: all of the machine file that are in use)",
         .n = AT(n_tips)},
        {"touches", NULL, 2, CLI_FLAG, AT(touches),
         .doc = "Every row (residual, weight, left out), and findings that follow from others"},
        {"brief", NULL, 2, CLI_FLAG, AT(brief),
         .doc = "One line for each run: verdict and offsets"},
        {"history", "FILE", 2, CLI_TEXT, AT(history),
         .doc = "Enter each run into this history, before its result is shown"},
        {"record", NULL, 2, CLI_FLAG, AT(record),
         .doc = "Like --history, with the default history"},
        {"least-squares", NULL, 3, CLI_FLAG, AT(least_squares),
         .doc = "Do not reject outliers: to compare with other programs, not to work with"},
        {"monte-carlo", "N", 3, CLI_COUNT, AT(monte_carlo),
         .doc = "Propagate all distributions through the whole solve in N trials (JCGM 101), set "
                "beside the stated uncertainty",
         .least = LEAST_TRIALS, .most = MOST_TRIALS},
        {"seed", "S", 3, CLI_COUNT, AT(seed),
         .doc = "Seed of the trials' random numbers (default 1)", .most = MOST_SEED},
        {"jobs", "N", 3, CLI_COUNT, AT(jobs),
         .doc = "Solve N runs at a time (default: one for each core)", .least = 1,
         .most = MOST_JOBS, .letter = 'j'},
        {0},
    };
    static const struct cli_syntax SYNTAX = {
        .check = check_arguments,
        .options = OPTIONS,
        .args_doc = "RUN...",
        .doc = "Turn each RUN, the log of touches on the plate, into offset, runout and contact "
               "radius of every tip, with uncertainty, findings and a verdict.\v"
               "Exit status: 0 keep the present offset, 10 update it, 20 repeat the run; 64 wrong "
               "use, 65 bad input, 66 no input, 70 fault of the program, 71 out of memory, 74 "
               "reading or writing failed, 78 a configuration is not as it should be. Of several "
               "runs, the worst.",
        .shared = &cli_inputs_options,
        .shared_at = AT(inputs),
    };
    struct arguments arguments = {.seed = 1};
    struct cli_objects objects = {0};
    int status;

    if (!cli_read(&SYNTAX, argc, argv, &arguments)) {
        return EX_OSERR;
    }
    status = cli_objects_find(&arguments.inputs, CLI_NEEDS_BOTH,
                              arguments.inputs.json ? CLI_TELL_FIRST : CLI_TELL_NOTHING, &objects);
    status = status == 0 ? read_present(&arguments, &objects) : status;
    status = status == 0 ? solve_into_history(&arguments, &objects) : status;
    cli_objects_free(&objects);
    free(arguments.inputs.runs);
    free(arguments.tips);
    return status;
}
