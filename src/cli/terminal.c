/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See terminal.h. */
#include "config.h"

#include "cli/terminal.h"

#include <errno.h>
#include <fcntl.h>
#include <langinfo.h>
#include <locale.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sysexits.h>
#include <unistd.h>

/* End the program because standard output failed; errno says why, 0 = not known any more. */
_Noreturn static void output_failed(void)
{
    if (errno != EPIPE) {
        fprintf(stderr, "tiptrue: standard output: error: cannot be written: %s\n",
                errno != 0 ? strerror(errno) : "an earlier part was lost");
    }
    _exit(EX_IOERR);
}

static void close_stdout(void)
{
    bool failed = ferror(stdout) != 0;

    errno = 0;
    if (fclose(stdout) != 0 || failed) {
        output_failed();
    }
}

void cli_write(const char *text, size_t length)
{
    errno = 0;
    if (fwrite(text, 1, length, stdout) != length) {
        output_failed();
    }
}

void cli_write_result(const char *text, size_t length, bool line_end)
{
    cli_write(text, length);
    if (line_end) {
        cli_write("\n", 1);
    }
}

void cli_guard_streams(void)
{
    for (int stream = STDIN_FILENO; stream <= STDERR_FILENO; stream++) {
        if (fcntl(stream, F_GETFD) == -1 && errno == EBADF) {
            /* the lowest free number, so this one; open the wrong way round, so that using it fails
             * as a closed one does */
            (void)open("/dev/null", stream == STDIN_FILENO ? O_WRONLY : O_RDONLY);
        }
    }
    if (atexit(close_stdout) != 0) {
        fprintf(stderr, "tiptrue: out of memory\n");
        _exit(EX_OSERR);
    }
}

void cli_guard_signals(void)
{
#ifdef SIGXFSZ
    /* beyond a limit on the size of files a write fails then, with a status and a message */
    struct sigaction ignore = {.sa_handler = SIG_IGN};
    (void)sigaction(SIGXFSZ, &ignore, NULL);
#endif
}

static bool is_set(const char *name)
{
    const char *value = getenv(name);

    return value != NULL && value[0] != '\0';
}

bool cli_is_coloured(FILE *stream, bool plain)
{
    const char *terminal = getenv("TERM");

    return isatty(fileno(stream)) && !plain && !is_set("NO_COLOR") &&
           (terminal == NULL || strcmp(terminal, "dumb") != 0);
}

struct tiptrue_text_options cli_text_options(bool plain)
{
    struct tiptrue_text_options options = {0};
    struct winsize size;

    if (isatty(STDOUT_FILENO)) {
        options.colour = cli_is_coloured(stdout, plain);
        if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0) {
            options.columns = size.ws_col;
            options.rows = size.ws_row;
        }
    }
    options.charts = !plain;
    /* characters only: numbers must read and print the same everywhere */
    if (!plain && setlocale(LC_CTYPE, "") != NULL) {
        options.utf8 = strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
    }
    return options;
}

void cli_progress_begin(struct cli_progress *progress, size_t total)
{
    *progress = (struct cli_progress){
        .shown = total > 1 && isatty(STDERR_FILENO) && !isatty(STDOUT_FILENO), .total = total};
}

void cli_progress_tell(struct cli_progress *progress, size_t done)
{
    struct timespec now;

    if (!progress->shown || clock_gettime(CLOCK_MONOTONIC, &now) != 0) {
        return;
    }
    /* ten times a second is as fast as one reads */
    double since_s = (double)(now.tv_sec - progress->last.tv_sec) +
                     1e-9 * (double)(now.tv_nsec - progress->last.tv_nsec);
    if (since_s >= 0.1) {
        fprintf(stderr, "\r%zu of %zu runs", done, progress->total);
        progress->last = now;
    }
}

void cli_progress_clear(const struct cli_progress *progress)
{
    if (progress->shown) {
        fputs("\r\033[K", stderr);
    }
}

static enum tiptrue_status file_failed(const char *path, struct tiptrue_error *error)
{
    error->status = TIPTRUE_E_IO;
    snprintf(error->file, sizeof error->file, "%s", path);
    snprintf(error->text, sizeof error->text, "cannot be written: %s", strerror(errno));
    return TIPTRUE_E_IO;
}

/* All of @text into the open @file, which is closed. */
static bool pour(FILE *file, const char *text, size_t length, bool line_end)
{
    bool written =
        fwrite(text, 1, length, file) == length && (!line_end || fputc('\n', file) != EOF);

    return fclose(file) == 0 && written;
}

enum tiptrue_status cli_write_file(const char *path, const char *text, size_t length, bool line_end,
                                   struct tiptrue_error *error)
{
    static const char TAIL[] = ".XXXXXX";
    struct stat there;
    enum tiptrue_status status = TIPTRUE_OK;

    if (stat(path, &there) == 0 && !S_ISREG(there.st_mode)) {
        FILE *file = fopen(path, "w");
        return file != NULL && pour(file, text, length, line_end) ? TIPTRUE_OK
                                                                  : file_failed(path, error);
    }
    size_t size = strlen(path) + sizeof TAIL;
    char *draft = malloc(size);
    if (draft == NULL) {
        return file_failed(path, error);
    }
    snprintf(draft, size, "%s%s", path, TAIL);
    int descriptor = mkstemp(draft);
    mode_t mask = umask(0);
    umask(mask);
    FILE *file =
        descriptor >= 0 && fchmod(descriptor, 0666 & ~mask) == 0 ? fdopen(descriptor, "w") : NULL;
    if (file == NULL || !pour(file, text, length, line_end) || rename(draft, path) != 0) {
        status = file_failed(path, error);
        if (descriptor >= 0) {
            unlink(draft);
        }
    }
    free(draft);
    return status;
}
