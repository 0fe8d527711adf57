/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue history import: files, and folders with all that is below them. */
#include "config.h"

#include <argp.h>
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/history.h"
#include "cli/inputs.h"
#include "cli/options.h"
#include "cli/terminal.h"
#include "cli/messages.h"

/* Folders within folders: more is no archive of runs but a loop of mounts. */
#define MOST_DEEP 64

struct arguments {
    struct cli_history_arguments common;
    struct cli_inputs inputs; /* only plate, machine, plan, pattern */
};

static void check_arguments(void *input, struct argp_state *state)
{
    const struct arguments *arguments = input;
    const struct cli_inputs *inputs = &arguments->inputs;

    cli_refuse_if(state, arguments->common.n_names == 0,
                  "a PATH is missing: name a file or a folder");
    cli_refuse_if(state, (inputs->plan == NULL) != (inputs->pattern == NULL),
                  "--plan and --pattern need each other");
    cli_refuse_if(state, (inputs->plate == NULL) != (inputs->machine == NULL),
                  "--plate and --machine need each other");
}

/* Paths that were found, each for free(). */
struct paths {
    char **paths;
    size_t n, room;
};

static bool add_path(struct paths *paths, const char *folder, const char *name)
{
    size_t size = (folder != NULL ? strlen(folder) + 1 : 0) + strlen(name) + 1;
    char *path = malloc(size);

    if (path != NULL && paths->n == paths->room) {
        size_t room = 2 * paths->room + 16;
        char **grown = realloc(paths->paths, room * sizeof *grown);
        if (grown == NULL) {
            free(path);
            return false;
        }
        paths->paths = grown;
        paths->room = room;
    }
    if (path == NULL) {
        return false;
    }
    snprintf(path, size, "%s%s%s", folder != NULL ? folder : "", folder != NULL ? "/" : "", name);
    paths->paths[paths->n++] = path;
    return true;
}

static void free_paths(struct paths *paths)
{
    for (size_t i = 0; i < paths->n; i++) {
        free(paths->paths[i]);
    }
    free(paths->paths);
    *paths = (struct paths){0};
}

static int compare_paths(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static int tell_path(const char *path, int number)
{
    cli_put_escaped(stderr, path);
    fprintf(stderr, ": error: cannot be read: %s\n", strerror(number));
    return number == ENOMEM ? EX_OSERR : EX_NOINPUT;
}

/* What is in the folder, sorted, without what is hidden. */
static int read_folder(const char *folder, struct paths *inside)
{
    DIR *open = opendir(folder);
    struct dirent *entry;
    int status = EX_OK;

    if (open == NULL) {
        return tell_path(folder, errno);
    }
    errno = 0;
    while (status == EX_OK && (entry = readdir(open)) != NULL) {
        if (entry->d_name[0] != '.' && !add_path(inside, folder, entry->d_name)) {
            status = tell_path(folder, ENOMEM);
        }
        errno = 0;
    }
    if (status == EX_OK && errno != 0) {
        status = tell_path(folder, errno);
    }
    closedir(open);
    if (inside->n > 1) {
        qsort(inside->paths, inside->n, sizeof *inside->paths, compare_paths);
    }
    return status;
}

/* Add the files below @folder. A symbolic link is not followed: it may lead out of the folder, or
 * round in it. */
static int walk(const char *folder, int deep, struct paths *files)
{
    struct paths inside = {0};
    int worst = deep < MOST_DEEP ? read_folder(folder, &inside) : tell_path(folder, ELOOP);

    for (size_t i = 0; i < inside.n; i++) {
        struct stat about;
        if (lstat(inside.paths[i], &about) != 0) {
            worst = cli_worse(worst, tell_path(inside.paths[i], errno));
        } else if (S_ISDIR(about.st_mode)) {
            worst = cli_worse(worst, walk(inside.paths[i], deep + 1, files));
        } else if (S_ISREG(about.st_mode) && !add_path(files, NULL, inside.paths[i])) {
            worst = cli_worse(worst, tell_path(inside.paths[i], ENOMEM));
        }
    }
    free_paths(&inside);
    return worst;
}

static void print_count(size_t n, const char *one, const char *many, const char **between)
{
    if (n > 0) {
        printf("%s%zu %s", *between, n, n == 1 ? one : many);
        *between = ", ";
    }
}

static void print_report(void *context, const struct tiptrue_import_report *report)
{
    struct cli_progress *progress = context;
    const char *between = ": ";

    cli_progress_tell(progress, progress->done + 1);
    cli_progress_clear(progress);
    if (report->status != TIPTRUE_OK && report->new_runs + report->new_results +
                                                report->known_runs + report->new_boards +
                                                report->known_boards ==
                                            0) {
        return; /* its faults were told */
    }
    cli_put_escaped(stdout, report->path);
    print_count(report->new_runs, "run added", "runs added", &between);
    print_count(report->known_runs, "run there already", "runs there already", &between);
    print_count(report->new_results, "result added to it", "results added to them", &between);
    print_count(report->new_boards, "board added", "boards added", &between);
    print_count(report->known_boards, "board there already", "boards there already", &between);
    puts(between[0] == ':' ? ": nothing to import in it" : "");
}

/* Files that were named, and files that were found in folders: among the latter plates and machines
 * are no fault. */
static int import_paths(const struct arguments *arguments, const struct cli_objects *objects,
                        struct tiptrue_history *history, const struct paths *files, bool found)
{
    struct tiptrue_import_options options = {.plate = objects->plate,
                                             .machine = objects->machine,
                                             .plan = objects->plan,
                                             .pattern = arguments->inputs.pattern,
                                             .now_s = cli_now_s(),
                                             .pass_documents = found};
    struct cli_messages messages = {.stream = stderr};
    struct tiptrue_sink sink = cli_messages_sink(&messages);
    struct tiptrue_workspace *workspace = NULL;
    struct tiptrue_error error = {0};
    enum tiptrue_status status = tiptrue_workspace_new(&workspace, &error);

    struct cli_progress progress;
    cli_progress_begin(&progress, files->n > 1 ? "files" : "importing", files->n,
                       !arguments->common.quiet);
    if (status == TIPTRUE_OK) {
        status = tiptrue_history_import(history, workspace, (const char *const *)files->paths,
                                        files->n, &options, &sink, print_report, &progress, &error);
    }
    cli_progress_end(&progress);
    tiptrue_workspace_free(workspace);
    (void)cli_failed(false, &error);
    return cli_exit_status(status);
}

static int import_all(const struct arguments *arguments, const struct cli_objects *objects,
                      struct tiptrue_history *history)
{
    int worst = EX_OK;

    for (size_t i = 0; i < arguments->common.n_names; i++) {
        const char *path = arguments->common.names[i];
        struct paths files = {0};
        struct stat about;
        bool folder = strcmp(path, "-") != 0 && stat(path, &about) == 0 && S_ISDIR(about.st_mode);
        if (folder) {
            worst = cli_worse(worst, walk(path, 0, &files));
        } else if (!add_path(&files, NULL, path)) {
            worst = cli_worse(worst, tell_path(path, ENOMEM));
        }
        worst = cli_worse(worst, import_paths(arguments, objects, history, &files, folder));
        free_paths(&files);
        if (worst == EX_IOERR) {
            break; /* the history itself cannot be written */
        }
    }
    return worst;
}

#define AT(member) offsetof(struct arguments, member)
int cli_history_import(int argc, char *argv[])
{
    static const struct cli_option OPTIONS[] = {
        {.group = 3, .doc = "For run logs, which are solved:"},
        {"plate", "FILE", 3, CLI_TEXT, AT(inputs.plate), .doc = "The reference plate of the runs"},
        {"machine", "FILE", 3, CLI_TEXT, AT(inputs.machine), .doc = "Their machine"},
        {"plan", "FILE", 3, CLI_TEXT, AT(inputs.plan),
         .doc = "For logs of a controller: what each move was"},
        {"pattern", "REGEX", 3, CLI_TEXT, AT(inputs.pattern),
         .doc = "For logs of a controller: how a report looks"},
        {0},
    };
    static const struct cli_syntax SYNTAX = {
        .check = check_arguments,
        .options = OPTIONS,
        .args_doc = "PATH...",
        .doc =
            "Take files into the history, told apart by their content: exports of a history, "
            "results of `tiptrue solve --json', run logs. Of a folder, all files below it; hidden "
            "ones and symbolic links are passed over. What is there already stays as it is.",
        .shared = &cli_history_options,
        .shared_at = AT(common)};
    struct arguments arguments = {0};
    struct cli_objects objects = {0};
    struct tiptrue_history *history = NULL;
    int status = cli_read(&SYNTAX, argc, argv, &arguments) ? EX_OK : EX_OSERR;

    if (status == EX_OK) {
        status = cli_objects_find(&arguments.inputs, CLI_NEEDS_NAMED, CLI_TELL_NOTHING, &objects);
    }
    status = status == EX_OK ? cli_history_open_for(&arguments.common, true, &history) : status;
    status = status == EX_OK ? import_all(&arguments, &objects, history) : status;
    tiptrue_history_close(history);
    cli_objects_free(&objects);
    cli_history_clear(&arguments.common);
    return status;
}
