/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See messages.h. */
#include "config.h"

#include "cli/messages.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/terminal.h"

/* A writer holds a history for some milliseconds; after so long it hangs. */
#define PATIENCE_S 600

/* Where to write: when memory for keeping is short, standard error, for a message in the wrong
 * place is better than none. */
static FILE *stream_of(struct cli_messages *messages)
{
    if (messages->stream != NULL) {
        return messages->stream;
    }
    if (messages->kept == NULL) {
        messages->kept = open_memstream(&messages->text, &messages->length);
    }
    return messages->kept != NULL ? messages->kept : stderr;
}

void cli_put_escaped(FILE *to, const char *text)
{
    char line[512], shown[TIPTRUE_ESCAPE_SIZE]; /* in pieces: standard error has no buffer */
    size_t at = 0;

    while (*text != '\0') {
        size_t length = tiptrue_escape(text, shown);
        if (length > 0) {
            memcpy(line + at, shown, strlen(shown));
            at += strlen(shown);
        } else {
            unsigned char first = (unsigned char)*text; /* of a well-formed character */
            length = first < 0x80 ? 1 : first < 0xe0 ? 2 : first < 0xf0 ? 3 : 4;
            memcpy(line + at, text, length);
            at += length;
        }
        text += length;
        if (at + sizeof shown > sizeof line || *text == '\0') {
            fwrite(line, 1, at, to);
            at = 0;
        }
    }
}

bool cli_wants_json(int argc, char *const argv[], const char **to)
{
    bool takes_file = argc > 0 && strcmp(argv[0], CLI_READY) == 0;
    const size_t least = sizeof "--js" - 1; /* --jobs begins alike */

    *to = NULL;
    for (int i = 1; i < argc && strcmp(argv[i], "--") != 0; i++) {
        size_t length = strcspn(argv[i], "=");
        if (length >= least && strncmp(argv[i], "--json", length) == 0) {
            if (takes_file) {
                *to = argv[i][length] == '=' ? argv[i] + length + 1 : argv[i + 1];
            }
            return !takes_file || *to != NULL;
        }
    }
    return false;
}

/* Write @error as a line of JSON to standard output. */
static void print_error_json(const struct tiptrue_error *error)
{
    char *text;

    if (tiptrue_error_json(error, &text, NULL, NULL) == TIPTRUE_OK) {
        puts(text);
        free(text);
    }
}

void cli_print_usage_json(const char *to, const char *text)
{
    struct tiptrue_error error = {.status = TIPTRUE_E_USAGE}, unwritten = {0};
    char *json = NULL;
    size_t length = 0;

    snprintf(error.text, sizeof error.text, "%s", text);
    if (to == NULL || strcmp(to, "-") == 0) {
        print_error_json(&error);
    } else if (tiptrue_error_json(&error, &json, &length, NULL) == TIPTRUE_OK) {
        unwritten.status = cli_write_file(to, json, length, true, &unwritten);
    }
    free(json);
    if (unwritten.status != TIPTRUE_OK) {
        (void)cli_failed(false, &unwritten);
    }
}

void cli_usage(const struct argp_state *state, const char *format, ...)
{
    char text[1024], *shown = NULL;
    size_t length;
    FILE *to = open_memstream(&shown, &length);
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    if (to != NULL) {
        cli_put_escaped(to, text);
    }
    bool whole = to != NULL && fclose(to) == 0;
    const char *json_to;
    if (cli_wants_json(state->argc, state->argv, &json_to)) {
        cli_print_usage_json(json_to, text);
    }
    argp_error(state, "%s", whole ? shown : "out of memory");
    free(shown);
    exit(EX_USAGE); /* under ARGP_NO_EXIT argp_error comes back */
}

void cli_refuse_if(const struct argp_state *state, bool wrong, const char *text)
{
    if (wrong) {
        cli_usage(state, "%s", text);
    }
}

size_t cli_count_stdin(const struct argp_state *state, size_t before, const char *const files[],
                       size_t n)
{
    size_t named = before;

    for (size_t i = 0; i < n; i++) {
        named += files[i] != NULL && strcmp(files[i], "-") == 0;
    }
    if (named > 1) {
        cli_usage(state, "'-' is named %zu times, but standard input can be read only once", named);
    }
    return named;
}

static void write_message(FILE *to, const char *severity, const char *file, size_t line,
                          size_t column, const char *text, const char *hint)
{
    cli_put_escaped(to, file != NULL && file[0] != '\0' ? file : "tiptrue");
    if (line > 0) {
        fprintf(to, ":%zu", line);
    }
    if (line > 0 && column > 0) {
        fprintf(to, ":%zu", column);
    }
    fprintf(to, ": %s: ", severity);
    cli_put_escaped(to, text);
    if (hint != NULL && hint[0] != '\0') {
        fputs("\n  hint: ", to);
        cli_put_escaped(to, hint);
    }
    putc('\n', to);
}

static void tell_waiting(void *context, const struct tiptrue_diagnostic *note)
{
    (void)context;
    write_message(stderr, "note", note->file, 0, 0, note->text, NULL);
}

void cli_wait_aloud(struct tiptrue_history *history)
{
    static const struct tiptrue_sink aloud = {.told = tell_waiting};

    if (history != NULL) {
        tiptrue_history_wait(history, PATIENCE_S, &aloud);
    }
}

/* A fault more; without memory for it the JSON holds those before. */
static void keep_fault(struct cli_messages *messages, const struct tiptrue_error *fault)
{
    struct tiptrue_error *faults =
        messages->telling == CLI_TELL_FIRST || messages->telling == CLI_TELL_LATER
            ? realloc(messages->faults, (messages->n_faults + 1) * sizeof *faults)
            : NULL;

    if (faults != NULL) {
        messages->faults = faults;
        faults[messages->n_faults++] = *fault;
    }
}

static struct tiptrue_error fault_of(const struct tiptrue_diagnostic *d)
{
    struct tiptrue_error error = {.status = TIPTRUE_E_DATA, .line = d->line, .column = d->column};

    snprintf(error.file, sizeof error.file, "%s", d->file != NULL ? d->file : "");
    snprintf(error.text, sizeof error.text, "%s", d->text);
    snprintf(error.hint, sizeof error.hint, "%s", d->hint != NULL ? d->hint : "");
    return error;
}

static void told(void *context, const struct tiptrue_diagnostic *d)
{
    static const char *const SEVERITIES[] = {
        [TIPTRUE_NOTE] = "note", [TIPTRUE_WARNING] = "warning", [TIPTRUE_ERROR] = "error"};
    struct cli_messages *messages = context;

    if (d->severity == TIPTRUE_ERROR) {
        const struct tiptrue_error fault = fault_of(d);
        messages->errors++;
        keep_fault(messages, &fault);
        if (messages->telling == CLI_TELL_EACH) {
            print_error_json(&fault);
        }
    }
    const char *hint = d->hint != NULL && strcmp(d->hint, messages->hint) != 0 ? d->hint : NULL;
    write_message(stream_of(messages), SEVERITIES[d->severity], d->file, d->line, d->column,
                  d->text, hint);
    snprintf(messages->hint, sizeof messages->hint, "%s", d->hint != NULL ? d->hint : "");
}

struct tiptrue_sink cli_messages_sink(struct cli_messages *messages)
{
    messages->errors = 0;
    return (struct tiptrue_sink){.told = told, .context = messages};
}

void cli_messages_error(struct cli_messages *messages, const struct tiptrue_error *error)
{
    bool repeated = messages->errors > 0;

    if (!repeated) {
        keep_fault(messages, error);
    }
    if (messages->telling == CLI_TELL_FIRST) {
        size_t length = 0;
        char *text = cli_messages_json(messages, error, &length);
        puts(text != NULL ? text : "");
        free(text);
        cli_messages_clear(messages);
    } else if (messages->telling == CLI_TELL_EACH && !repeated) {
        print_error_json(error);
    }
    if (!repeated) {
        messages->errors++;
        write_message(stream_of(messages), "error", error->file, error->line, error->column,
                      error->text, error->hint);
    }
}

char *cli_messages_json(const struct cli_messages *messages, const struct tiptrue_error *error,
                        size_t *length)
{
    char *text = NULL;

    if (error == NULL && messages->n_faults == 0) {
        return NULL;
    }
    return tiptrue_errors_json(error != NULL ? error : &messages->faults[0], messages->faults,
                               messages->n_faults, &text, length, NULL) == TIPTRUE_OK
               ? text
               : NULL;
}

void cli_messages_clear(struct cli_messages *messages)
{
    free(messages->faults);
    messages->faults = NULL;
    messages->n_faults = 0;
}

struct cli_messages cli_messages_aloud(bool json)
{
    return (struct cli_messages){.stream = stderr,
                                 .telling = json ? CLI_TELL_FIRST : CLI_TELL_NOTHING};
}

int cli_messages_failed(struct cli_messages *messages, const struct tiptrue_error *error)
{
    if (error->status != TIPTRUE_OK) {
        cli_messages_error(messages, error);
    }
    return cli_exit_status(error->status);
}

int cli_failed(bool json, const struct tiptrue_error *error)
{
    struct cli_messages messages = cli_messages_aloud(json);

    return cli_messages_failed(&messages, error);
}

bool cli_messages_any(const struct cli_messages *messages)
{
    return messages->kept != NULL;
}

void cli_messages_show(struct cli_messages *messages)
{
    cli_messages_clear(messages);
    if (messages->kept == NULL) {
        return;
    }
    if (fclose(messages->kept) == 0) {
        fwrite(messages->text, 1, messages->length, stderr);
    }
    free(messages->text);
    *messages = (struct cli_messages){0};
}

/* ---- the exit status of a command, from <sysexits.h> ---- */

int cli_exit_status(enum tiptrue_status status)
{
    static const int EXITS[] = {
        [TIPTRUE_OK] = EX_OK,
        [TIPTRUE_E_USAGE] = EX_USAGE,
        [TIPTRUE_E_DATA] = EX_DATAERR,
        [TIPTRUE_E_NO_INPUT] = EX_NOINPUT,
        [TIPTRUE_E_INTERNAL] = EX_SOFTWARE,
        [TIPTRUE_E_MEMORY] = EX_OSERR,
        [TIPTRUE_E_IO] = EX_IOERR,
        [TIPTRUE_E_CONFIG] = EX_CONFIG,
        [TIPTRUE_E_DEGENERATE] = EX_DATAERR,
    };
    return EXITS[status];
}

int cli_worse(int status, int other)
{
    return status > other ? status : other;
}
