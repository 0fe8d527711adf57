/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What `tiptrue ready' leaves beside its answer: which files were used, JSON, pages. */
#include "config.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/ready.h"
#include "cli/terminal.h"

/* Machine, plate, plan, log, history. */
#define MOST_FILES 5
/* Digits of an id in the name of a page. */
#define ID_DIGITS 8

/* The files that were used. */
static size_t used_files(const struct cli_ready_job *job,
                         struct tiptrue_used_file files[MOST_FILES])
{
    const struct cli_inputs *inputs = &job->arguments->inputs;
    const struct cli_objects *objects = &job->objects;
    const char *paths[] = {inputs->machine, inputs->plate, inputs->plan, inputs->runs[0]};
    const enum cli_way ways[] = {
        job->machine_way, objects->plate_file.path != NULL ? objects->plate_file.way : CLI_NAMED,
        objects->plan_file.path != NULL ? objects->plan_file.way : CLI_NAMED,
        job->log != NULL ? CLI_BY_MACHINE_FILE : CLI_NAMED};
    static const char *const WHAT[] = {"machine", "plate", "plan", "log"};
    size_t n = 0;

    for (size_t i = 0; i < sizeof paths / sizeof paths[0]; i++) {
        if (paths[i] != NULL) {
            files[n++] = (struct tiptrue_used_file){WHAT[i], paths[i], cli_way_words(ways[i])};
        }
    }
    return n;
}

void cli_ready_say_files(const struct cli_ready_job *job)
{
    struct tiptrue_used_file files[MOST_FILES];
    size_t n = used_files(job, files);
    bool dim = cli_is_coloured(stderr, job->arguments->inputs.plain), any = false;

    if (job->arguments->inputs.quiet) {
        return;
    }
    for (size_t i = 0; i < n; i++) {
        if (strcmp(files[i].how, cli_way_words(CLI_NAMED)) != 0) {
            fprintf(stderr, "%s%s %s %s (%s)", dim && !any ? "\033[2m" : "", any ? "," : "using",
                    files[i].what, files[i].path, files[i].how);
            any = true;
        }
    }
    if (any) {
        fputs(dim ? "\033[0m\n" : "\n", stderr);
    }
}

int cli_ready_failed(const struct cli_ready_job *job, const struct tiptrue_error *error)
{
    struct cli_messages *messages = job->messages;

    messages->errors = 0; /* a sink may have told this one, or another file's */
    for (size_t i = 0; i < messages->n_faults; i++) {
        const struct tiptrue_error *fault = &messages->faults[i];
        messages->errors += fault->line == error->line && fault->column == error->column &&
                            strcmp(fault->file, error->file) == 0;
    }
    return cli_messages_failed(messages, error);
}

static enum tiptrue_status put_json(const struct cli_ready_job *job, const char *text,
                                    size_t length, struct tiptrue_error *error)
{
    if (strcmp(job->arguments->json, "-") != 0) {
        return cli_write_file(job->arguments->json, text, length, true, error);
    }
    cli_write(text, length);
    cli_write("\n", 1);
    return TIPTRUE_OK;
}

void cli_ready_write_failure(const struct cli_ready_job *job, const struct tiptrue_error *error)
{
    struct tiptrue_error unwritten = {0};
    size_t length = 0;
    char *text =
        job->arguments->json != NULL ? cli_messages_json(job->messages, error, &length) : NULL;

    if (text != NULL) {
        unwritten.status = put_json(job, text, length, &unwritten);
    }
    free(text);
    (void)cli_failed(false, &unwritten);
}

static int write_json(const struct cli_ready_job *job)
{
    struct tiptrue_used_file files[MOST_FILES];
    struct tiptrue_error error = {0};
    char *text = NULL;
    size_t length = 0, n = used_files(job, files);

    if (job->arguments->json == NULL) {
        return EX_OK;
    }
    error.status = tiptrue_ready_json(job->ready, files, n, &text, &length, &error);
    error.status = error.status == TIPTRUE_OK ? put_json(job, text, length, &error) : error.status;
    free(text);
    return cli_ready_failed(job, &error);
}

/* The page of the run as the file @path. */
static int write_page(const struct cli_ready_job *job, const char *path)
{
    const struct cli_objects *objects = &job->objects;
    struct tiptrue_report *report = NULL;
    struct tiptrue_error error = {0};

    error.status = tiptrue_report_new(cli_local_zone(), &report, &error);
    if (error.status == TIPTRUE_OK) {
        tiptrue_report_units(report, cli_shown_units(&job->arguments->inputs, objects));
        error.status = tiptrue_report_add_run(report, objects->plate, objects->machine, job->run,
                                              tiptrue_ready_solution(job->ready), &error);
    }
    if (error.status == TIPTRUE_OK) {
        error.status = cli_report_write(report, path, &error);
    }
    tiptrue_report_free(report);
    return cli_ready_failed(job, &error);
}

/* The page in the machine file's folder of reports, named by the run's start. */
static int write_into_folder(const struct cli_ready_job *job)
{
    struct tiptrue_error error = {0};
    const char *started = job->objects.head.started;
    char *folder = NULL, *path = NULL, name[64] = "";
    size_t at = 0;
    int status;

    error.status =
        tiptrue_machine_path(job->objects.machine, TIPTRUE_MACHINE_REPORTS, &folder, &error);
    status = cli_ready_failed(job, &error);
    if (status != EX_OK || folder == NULL) {
        return status;
    }
    for (; started != NULL && *started != '\0' && at < sizeof name - 1; started++) {
        if (strchr("0123456789-TZ+", *started) != NULL) {
            name[at++] = *started; /* colons are no part of a name on some disks */
        }
    }
    size_t size = strlen(folder) + sizeof name + ID_DIGITS + sizeof "/-.html";
    path = malloc(size);
    if (path == NULL || (mkdir(folder, 0777) != 0 && errno != EEXIST)) {
        fprintf(stderr, "%s: error: the folder cannot be made: %s\n", folder, strerror(errno));
        status = EX_IOERR;
    } else {
        snprintf(path, size, "%s/%s%s%.*s.html", folder, name, at > 0 ? "-" : "", ID_DIGITS,
                 tiptrue_ready_id(job->ready));
        status = write_page(job, path);
    }
    free(path);
    free(folder);
    return status;
}

int cli_ready_write_files(const struct cli_ready_job *job)
{
    int status = write_json(job);

    if (job->arguments->report != NULL) {
        status = cli_worse(status, write_page(job, job->arguments->report));
    }
    return cli_worse(status, write_into_folder(job));
}
