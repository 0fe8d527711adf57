/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue ready: may the job start? One run, its files found, solved, kept, and written if told. */
#include "config.h"

#include "cli/ready.h"

#include <argp.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>
#include <unistd.h>

#include "cli/command.h"
#include "cli/history.h"
#include "cli/inputs.h"
#include "cli/terminal.h"

static void check_arguments(void *input, struct argp_state *state)
{
    struct cli_ready_arguments *arguments = input;

    arguments->inputs.command = state->name;
    cli_refuse_if(state, arguments->write && arguments->dry_run,
                  "--write and --dry-run exclude each other");
}

static _Noreturn void wrong_use(const struct cli_ready_job *job, const char *text)
{
    struct tiptrue_error error = {.status = TIPTRUE_E_USAGE};

    snprintf(error.text, sizeof error.text, "%s", text);
    cli_ready_write_failure(job, &error);
    cli_usage_error(job->arguments->inputs.command, false, text);
}

/* Without a RUN: the newest log of the machine file that is found. */
static int find_log(struct cli_ready_job *job)
{
    struct cli_inputs *inputs = &job->arguments->inputs;
    struct tiptrue_sink sink = cli_messages_sink(job->messages);
    struct cli_found found = {0};
    struct tiptrue_machine *machine = NULL;
    struct tiptrue_error error = {0};

    if (!cli_find_machine(inputs->machine, inputs->n_runs > 0 ? inputs->runs[0] : NULL, &found)) {
        return EX_OSERR;
    }
    job->machine_way = found.way;
    if (found.path == NULL || inputs->n_runs > 0) {
        free(found.path);
        if (inputs->n_runs == 0 && !job->arguments->undo) {
            wrong_use(
                job,
                "a RUN is missing, and no machine file was found that says where the logs are");
        }
        return EX_OK;
    }
    error.status = tiptrue_machine_read(found.path, &sink, &machine, &error);
    if (error.status == TIPTRUE_OK && !job->arguments->undo) {
        error.status = tiptrue_machine_newest_log(machine, &job->log, &error);
    }
    if (error.status == TIPTRUE_OK && job->log != NULL) { /* no RUN was given: there is no list */
        inputs->runs = calloc(1, sizeof *inputs->runs);
        if (inputs->runs == NULL) {
            cli_out_of_memory();
        }
        inputs->runs[inputs->n_runs++] = job->log;
    }
    tiptrue_machine_free(machine);
    job->machine_path = found.path;
    inputs->machine = found.path; /* the same for what follows */
    return cli_ready_failed(job, &error);
}

/* What the run is judged by, open and read; the exit status. */
static int open_all(struct cli_ready_job *job)
{
    struct cli_ready_arguments *arguments = job->arguments;
    const struct cli_objects *objects = &job->objects;
    struct tiptrue_sink sink = cli_messages_sink(job->messages);
    struct tiptrue_error error = {0};
    int status =
        cli_history_open(arguments->history, objects->machine, true, job->messages, &job->history);

    if (status != EX_OK) {
        return status;
    }
    error.status = cli_present_read(arguments->present, objects->machine, &error);
    if (error.status == TIPTRUE_OK) {
        error.status = tiptrue_history_present(job->history, objects->machine,
                                               arguments->options.now_s, &error);
    }
    if (error.status == TIPTRUE_OK) {
        error.status = tiptrue_workspace_new(&job->workspace, &error);
    }
    if (error.status == TIPTRUE_OK) {
        error.status = tiptrue_run_read_whole(arguments->inputs.runs[0], objects->plate,
                                              objects->machine, objects->plan,
                                              arguments->inputs.pattern, &sink, &job->run, &error);
    }
    if (error.status == TIPTRUE_OK) {
        const struct tiptrue_ready_inputs with = {.workspace = job->workspace,
                                                  .history = job->history,
                                                  .plate = objects->plate,
                                                  .machine = objects->machine,
                                                  .plan = objects->plan,
                                                  .run = job->run};
        error.status = tiptrue_ready_make(&with, &arguments->options, &sink, &job->ready, &error);
    }
    return cli_ready_failed(job, &error);
}

static int show(const struct cli_ready_job *job, bool brief)
{
    struct tiptrue_text_options look = cli_text_options(job->arguments->inputs.plain);
    struct tiptrue_error error = {0};
    char *text = NULL;
    size_t length = 0;

    look.units = cli_shown_units(&job->arguments->inputs, &job->objects);
    error.status = tiptrue_ready_text(job->ready, brief, &look, &text, &length, &error);
    if (error.status == TIPTRUE_OK) {
        cli_write(text, length);
    }
    free(text);
    return cli_ready_failed(job, &error);
}

/* Write, or look what would be; guards and places that stand in the way are told. */
static int write_it(const struct cli_ready_job *job, bool dry_run)
{
    struct tiptrue_sink sink = cli_messages_sink(job->messages);
    struct tiptrue_error error = {0};

    error.status =
        tiptrue_ready_write(job->ready, job->history, dry_run, cli_now_s(), &sink, &error);
    fflush(stdout);
    return cli_ready_failed(job, &error);
}

/* Found where nobody chose it for this run, the machine file is written to only for a log that
 * names its machine. */
static bool may_write(const struct cli_ready_job *job)
{
    bool far = job->machine_way == CLI_BY_VARIABLE || job->machine_way == CLI_CONFIGURED;

    if (far && job->objects.head.machine == NULL) {
        struct tiptrue_error error = {.status = TIPTRUE_E_DATA};
        snprintf(error.file, sizeof error.file, "%s", job->arguments->inputs.runs[0]);
        snprintf(error.text, sizeof error.text,
                 "the log does not name its machine, and the machine file was found %s: nothing is "
                 "written",
                 cli_way_words(job->machine_way));
        snprintf(error.hint, sizeof error.hint,
                 "let the log say '# machine: NAME', or name the machine file by --machine");
        (void)cli_ready_failed(job, &error);
        return false;
    }
    return true;
}

/* "y" on a terminal. */
static bool is_agreed(void)
{
    char line[16] = "";

    fputs("Write it? [y/N] ", stdout);
    fflush(stdout);
    return fgets(line, sizeof line, stdin) != NULL && (line[0] == 'y' || line[0] == 'Y');
}

/* What is to be updated: the diff, and the writing if it is wanted. */
static int update(struct cli_ready_job *job)
{
    const struct cli_ready_arguments *arguments = job->arguments;
    bool quiet = arguments->inputs.quiet, ask;
    int status;

    if (arguments->write) {
        status = may_write(job) ? write_it(job, false) : EX_DATAERR;
        return cli_worse(status, show(job, quiet));
    }
    status = write_it(job, true);
    status = cli_worse(status, show(job, quiet));
    if (status != EX_OK) {
        return status;
    }
    if (!quiet) {
        const char *diff = tiptrue_ready_diff(job->ready);
        cli_write(diff, strlen(diff));
    }
    ask = !quiet && !arguments->dry_run && isatty(STDIN_FILENO) && isatty(STDOUT_FILENO);
    if (ask && is_agreed()) {
        status = may_write(job) ? write_it(job, false) : EX_DATAERR;
        return status == EX_OK ? show(job, true) : status;
    }
    return EX_OK;
}

static int judge(struct cli_ready_job *job)
{
    static const int EXITS[] = {[TIPTRUE_READY_START] = CLI_EXIT_KEEP,
                                [TIPTRUE_READY_UPDATE] = CLI_EXIT_UPDATE,
                                [TIPTRUE_READY_STOP] = CLI_EXIT_REPEAT};
    int status = open_all(job);

    if (status != EX_OK) {
        return status;
    }
    status = tiptrue_ready_state(job->ready) == TIPTRUE_READY_UPDATE
                 ? update(job)
                 : show(job, job->arguments->inputs.quiet);
    fflush(stdout);
    cli_ready_say_files(job);
    status = cli_worse(status, cli_ready_write_files(job));
    return cli_worse(status, EXITS[tiptrue_ready_state(job->ready)]);
}

static int undo(const struct cli_ready_job *job)
{
    struct tiptrue_exported *exported = NULL;
    struct tiptrue_error error = {0};

    error.status = tiptrue_ready_undo(job->objects.machine, job->arguments->dry_run, cli_now_s(),
                                      &exported, &error);
    if (error.status == TIPTRUE_OK) {
        cli_write(exported->text, exported->length);
    }
    tiptrue_exported_free(exported);
    return cli_ready_failed(job, &error);
}

static int do_it(struct cli_ready_job *job)
{
    struct cli_ready_arguments *arguments = job->arguments;
    struct cli_inputs inputs;
    bool quiet = arguments->inputs.quiet;
    int status = find_log(job);

    if (status != EX_OK) {
        return status;
    }
    inputs = arguments->inputs;
    inputs.quiet = true;
    status = cli_objects_find(&inputs, arguments->undo ? CLI_NEEDS_FOUND : CLI_NEEDS_BOTH,
                              CLI_TELL_NOTHING, &job->objects);
    arguments->inputs = inputs;
    arguments->inputs.quiet = quiet;
    if (status == EX_OK && arguments->undo && job->objects.machine == NULL) {
        wrong_use(job, "--machine is missing: name the file of the machine");
    }
    if (status == EX_OK && !arguments->options.has_max_age && job->objects.machine != NULL) {
        arguments->options.has_max_age =
            tiptrue_machine_max_age(job->objects.machine, &arguments->options.max_age_s);
    }
    if (status == EX_OK) {
        arguments->options.pattern = inputs.pattern;
        status = arguments->undo ? undo(job) : judge(job);
    }
    return status;
}

#define AT(member) offsetof(struct cli_ready_arguments, member)
static const struct cli_option OPTIONS[] = {
    {.group = 1, .doc = "Input files (looked for where they are not named):"},
    {"plate", "FILE", 1, CLI_TEXT, AT(inputs.plate), .doc = "The reference plate"},
    {"machine", "FILE", 1, CLI_TEXT, AT(inputs.machine), .doc = "The machine; a file, or a name"},
    {"plan", "FILE", 1, CLI_TEXT, AT(inputs.plan),
     .doc = "What each move of a controller's log was"},
    CLI_PATTERN_OPTIONS(1, struct cli_ready_arguments, inputs.pattern, inputs.ok_words),
    {"history", "FILE", 1, CLI_TEXT, AT(history), .doc = "The history that keeps the run"},
    {"present", "CONFIG", 1, CLI_TEXT, AT(present),
     .doc = "Where the offsets in use are: a file, 'machine' (the machine file's own) or 'none'"},
    {"tip", "NAME", 2, CLI_LIST, AT(tips), .doc = "This tip is wanted (can be given several times)",
     .n = AT(options.n_tips)},
    {"max-age", "TIME", 2, CLI_AGE, AT(options.max_age_s),
     .doc = "Refuse a run that was started longer ago, such as 2h (s, min, h, d)",
     .sets = CLI_SETS(struct cli_ready_arguments, options.has_max_age)},
    {"accept-change", NULL, 2, CLI_FLAG, AT(options.accept_change),
     .doc = "Accept offsets that changed by more than is plausible"},
    {"write", NULL, 3, CLI_FLAG, AT(write), .doc = "Write them, and read them back"},
    {"dry-run", NULL, 3, CLI_FLAG, AT(dry_run), .doc = "Show the change, do not ask"},
    {"undo", NULL, 3, CLI_FLAG, AT(undo), .doc = "Put back what the last export replaced"},
    {"json", "FILE", 4, CLI_TEXT, AT(json), .doc = "The answer as JSON too; - is standard output"},
    {"report", "FILE", 4, CLI_TEXT, AT(report), .doc = "A page with pictures (HTML) too"},
    CLI_UNITS_OPTION(4, struct cli_ready_arguments, inputs.units),
    {"plain", NULL, 4, CLI_FLAG, AT(inputs.plain), .doc = "Plain ASCII: no colour or symbols"},
    {"quiet", NULL, 4, CLI_FLAG, AT(inputs.quiet), .doc = "One line", .letter = 'q'},
    {NULL, "RUN", 0, CLI_LIST, AT(inputs.runs), .n = AT(inputs.n_runs), .most = 1},
    {0},
};

int cli_ready(int argc, char *argv[])
{
    static const struct cli_syntax SYNTAX = {
        .check = check_arguments,
        .options = OPTIONS,
        .args_doc = "[RUN]",
        .doc = "Say whether the job may start: solve RUN (default: the newest log of the machine), "
               "keep it in the history, compare it with the runs before and with the offsets in "
               "use, and write new ones when told.\v"
               "Exit status: 0 the job may start, 10 new offsets are needed and were not written, "
               "20 do not start: repeat the run; 64 wrong use, 65 bad input, a run that is stale "
               "or not the last one, or a guard refuses, 66 no input, 70 fault of the program, 71 "
               "out of memory, 74 reading or writing failed, 78 a place or the configuration is "
               "not as it should be.",
    };
    struct cli_ready_arguments arguments = {0};
    struct cli_messages messages = {.stream = stderr, .telling = CLI_TELL_LATER};
    struct cli_ready_job job = {.arguments = &arguments, .messages = &messages};
    int status;

    if (!cli_read(&SYNTAX, argc, argv, &arguments)) {
        return EX_OSERR;
    }
    arguments.options.tips = arguments.tips;
    arguments.options.now_s = cli_now_s();
    arguments.inputs.messages = &messages;
    status = do_it(&job);
    if (status >= EX__BASE && job.ready == NULL) {
        cli_ready_write_failure(&job, NULL);
    }
    cli_messages_clear(&messages);
    tiptrue_ready_free(job.ready);
    tiptrue_run_free(job.run);
    tiptrue_workspace_free(job.workspace);
    tiptrue_history_close(job.history);
    cli_objects_free(&job.objects);
    free(job.log);
    free(job.machine_path);
    free(arguments.inputs.runs);
    free(arguments.tips);
    return status;
}
