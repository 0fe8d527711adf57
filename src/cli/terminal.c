/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See terminal.h. */
#include "config.h"

#include "cli/terminal.h"

#include <errno.h>
#include <fcntl.h>
#include <langinfo.h>
#include <locale.h>
#include <math.h>
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

/* Days from 1970-01-01 to the date of @t, for the difference of two times alone. */
static long day_of(const struct tm *t)
{
    long years = t->tm_year - 70L;

    /* the year before this one's leap days, of the Gregorian calendar */
    long y = t->tm_year + 1899L;
    return 365 * years + (y / 4 - 492) - (y / 100 - 19) + (y / 400 - 4) + t->tm_yday;
}

static long ahead_of_utc(void *context, double utc_s, char name[TIPTRUE_ZONE_NAME])
{
    time_t at = (time_t)floor(utc_s);
    struct tm local, utc;

    (void)context;
    if (localtime_r(&at, &local) == NULL || gmtime_r(&at, &utc) == NULL ||
        strftime(name, TIPTRUE_ZONE_NAME, "%Z", &local) == 0) {
        return 0;
    }
    return 86400 * (day_of(&local) - day_of(&utc)) + 3600L * (local.tm_hour - utc.tm_hour) +
           60L * (local.tm_min - utc.tm_min) + (local.tm_sec - utc.tm_sec);
}

const struct tiptrue_zone *cli_local_zone(void)
{
    static const struct tiptrue_zone ZONE = {.ahead_s = ahead_of_utc};

    return &ZONE;
}

struct tiptrue_text_options cli_text_options(bool plain)
{
    struct tiptrue_text_options options = {.zone = cli_local_zone()};
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

static void show_progress(struct cli_progress *p)
{
    if (p->total > 1) {
        fprintf(stderr, "\r%zu of %zu %s", p->done, p->total, p->what);
    } else {
        fprintf(stderr, "\r%s: %u s", p->what, p->seconds);
    }
    p->printed = true;
}

/* Each second, until the end. */
static void *watch(void *context)
{
    struct cli_progress *p = context;
    struct timespec next;

    pthread_mutex_lock(&p->lock);
    bool more = clock_gettime(CLOCK_REALTIME, &next) == 0;
    while (more && !p->ended) {
        next.tv_sec += 1;
        while (!p->ended && pthread_cond_timedwait(&p->end, &p->lock, &next) == 0) {
        }
        p->seconds++;
        if (!p->ended) {
            show_progress(p);
        }
    }
    pthread_mutex_unlock(&p->lock);
    return NULL;
}

void cli_progress_begin(struct cli_progress *p, const char *what, size_t total, bool shown)
{
    *p = (struct cli_progress){.what = what, .total = total};
    p->shown = shown && isatty(STDERR_FILENO) && pthread_mutex_init(&p->lock, NULL) == 0 &&
               pthread_cond_init(&p->end, NULL) == 0 &&
               pthread_create(&p->watcher, NULL, watch, p) == 0;
}

void cli_progress_tell(struct cli_progress *p, size_t done)
{
    struct timespec now;

    if (!p->shown || clock_gettime(CLOCK_MONOTONIC, &now) != 0) {
        return;
    }
    pthread_mutex_lock(&p->lock);
    p->done = done;
    /* ten times a second is as fast as one reads */
    double since_s =
        (double)(now.tv_sec - p->last.tv_sec) + 1e-9 * (double)(now.tv_nsec - p->last.tv_nsec);
    if (p->total > 1 && since_s >= 0.1) {
        show_progress(p);
        p->last = now;
    }
    pthread_mutex_unlock(&p->lock);
}

void cli_progress_clear(struct cli_progress *p)
{
    if (p->shown) {
        pthread_mutex_lock(&p->lock);
        fputs(p->printed ? "\r\033[K" : "", stderr);
        p->printed = false;
        pthread_mutex_unlock(&p->lock);
    }
}

void cli_progress_end(struct cli_progress *p)
{
    if (p->shown) {
        pthread_mutex_lock(&p->lock);
        p->ended = true;
        pthread_cond_signal(&p->end);
        pthread_mutex_unlock(&p->lock);
        pthread_join(p->watcher, NULL);
        cli_progress_clear(p);
        pthread_cond_destroy(&p->end);
        pthread_mutex_destroy(&p->lock);
        p->shown = false;
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
