/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See options.h. A wrong use ends the program with status 64: argp's own exit status for it. */
#include "config.h"

#include "cli/options.h"

#include <assert.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

#include "cli/messages.h"

#define AT(member) offsetof(struct cli_inputs, member)
static const struct cli_option INPUTS[] = {
    {.group = 1, .doc = "Input files (- is standard input):"},
    {"plate", "FILE", 1, CLI_TEXT, AT(plate),
     .doc = "The reference plate: marks, edges and how well they are known"},
    {"machine", "FILE", 1, CLI_TEXT, AT(machine),
     .doc = "The machine: rotation, resolution, tips with their present offsets, limits; a file, "
            "or a name (default: looked for, see the manual)"},
    {"plan", "FILE", 1, CLI_TEXT, AT(plan),
     .doc = "What each move of a controller's log was; needs --pattern"},
    CLI_PATTERN_OPTIONS(1, struct cli_inputs, pattern, ok_words),
    {.group = 2, .doc = "Output:"},
    {"json", NULL, 2, CLI_FLAG, AT(json), .doc = "JSON, one line for each run"},
    {"plain", NULL, 2, CLI_FLAG, AT(plain), .doc = "Plain ASCII: no colour, symbols or charts"},
    CLI_QUIET_OPTION(2, struct cli_inputs, quiet),
    CLI_UNITS_OPTION(2, struct cli_inputs, units),
    {NULL, "RUN", 0, CLI_LIST, AT(runs), .n = AT(n_runs)},
    {0},
};

static void check_inputs(void *input, struct argp_state *state)
{
    struct cli_inputs *inputs = input;
    const char *const files[] = {inputs->plate, inputs->machine, inputs->plan};

    inputs->command = state->name;
    (void)cli_count_stdin(state, cli_count_stdin(state, 0, files, sizeof files / sizeof files[0]),
                          inputs->runs, inputs->n_runs);
}

const struct cli_shared cli_inputs_options = {INPUTS, check_inputs};

void cli_out_of_memory(void)
{
    fputs("tiptrue: error: out of memory\n", stderr);
    exit(EX_OSERR);
}

void cli_list_add(const struct argp_state *state, const char ***list, size_t *n, const char *text)
{
    if (*list == NULL) {
        *list = calloc((size_t)state->argc + 1, sizeof **list);
    }
    if (*list == NULL) {
        cli_out_of_memory();
    }
    (*list)[(*n)++] = text;
}

void cli_usage_error(const char *command, bool json, const char *text)
{
    if (json) {
        cli_print_usage_json(NULL, text);
    }
    fprintf(stderr, "%s: ", command);
    cli_put_escaped(stderr, text);
    fprintf(stderr, "\nTry `%s --help' or `%s --usage' for more information.\n", command, command);
    exit(EX_USAGE);
}

#define LONGEST_COMPARED 31

/* Letters to be put in, left out or changed to make @b of @a (V. I. Levenshtein, Soviet Phys. Dokl.
 * 10 (1966) 707), a pair that changed places counted once. */
static size_t distance(const char *a, const char *b)
{
    size_t rows[3][LONGEST_COMPARED + 1], n = strlen(b);
    size_t *before = rows[0], *above = rows[1], *row = rows[2];

    for (size_t j = 0; j <= n; j++) {
        above[j] = j;
    }
    for (size_t i = 1; a[i - 1] != '\0'; i++) {
        row[0] = i;
        for (size_t j = 1; j <= n; j++) {
            size_t best = above[j - 1] + (a[i - 1] != b[j - 1]);
            best = above[j] + 1 < best ? above[j] + 1 : best;
            best = row[j - 1] + 1 < best ? row[j - 1] + 1 : best;
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
                best = before[j - 2] + 1 < best ? before[j - 2] + 1 : best;
            }
            row[j] = best;
        }
        size_t *spare = before;
        before = above;
        above = row;
        row = spare;
    }
    return above[n];
}

const char *cli_nearest(const char *const names[], size_t n, const char *text)
{
    const char *nearest = NULL;
    size_t least = 3; /* two slips at most, and less than half of the word */

    if (strlen(text) > LONGEST_COMPARED) {
        return NULL;
    }
    for (size_t i = 0; i < n; i++) {
        size_t off = distance(text, names[i]);
        bool begins = strlen(text) >= 2 && strncmp(text, names[i], strlen(text)) == 0;
        if ((off < least && 2 * off < strlen(names[i])) || (begins && nearest == NULL)) {
            nearest = names[i];
            least = off < least ? off : least;
        }
    }
    return nearest;
}

/* Whether the command line asks for help, by which a parse ends well. */
static bool asks_for_help(int argc, char *argv[])
{
    static const char *const WORDS[] = {"-h", "-?", "--he", "--us"};

    for (int i = 1; i < argc; i++) {
        for (size_t k = 0; k < sizeof WORDS / sizeof WORDS[0]; k++) {
            if (strncmp(argv[i], WORDS[k], strlen(WORDS[k])) == 0) {
                return true;
            }
        }
    }
    return false;
}

/* The error object of what argp itself stumbles over, and has told. */
static void tell_stumbling(const struct argp_state *state)
{
    const char *at = state->next > 0 ? state->argv[state->next - 1] : "", *to;
    char text[400];

    if (cli_wants_json(state->argc, state->argv, &to)) {
        snprintf(
            text, sizeof text,
            at[0] == '-'
                ? "'%s' is not an option of this command, or lacks an argument, or has one too many"
                : "'%s' is one argument too many",
            at);
        cli_print_usage_json(to, text);
    }
}

/* -h, for fingers that know no other: what --help does. */
static error_t parse_help(int key, char *argument, struct argp_state *state)
{
    (void)argument;
    if (key == ARGP_KEY_ERROR) {
        tell_stumbling(state);
    }
    if (key != 'h') {
        return ARGP_ERR_UNKNOWN;
    }
    argp_state_help(state, state->out_stream, ARGP_HELP_STD_HELP);
    return 0;
}

void cli_put_quoted(const char *text, const char *shell)
{
    bool zsh = strcmp(shell, "zsh") == 0;

    for (const char *c = text; *c != '\0'; c++) {
        if (*c == '\'') {
            fputs(zsh ? "'\\''" : "\\'", stdout);
        } else if (zsh && strchr("[]:\\", *c) != NULL) {
            printf("\\%c", *c);
        } else {
            putchar(*c);
        }
    }
}

static void list_option(const struct argp_option *o, const char *command, const char *shell)
{
    bool takes = o->arg != NULL && !(o->flags & OPTION_ARG_OPTIONAL);

    if (strcmp(shell, "bash") == 0) {
        printf("--%s%s ", o->name, takes ? "=" : "");
    } else if (strcmp(shell, "zsh") == 0) {
        printf(" '--%s%s[", o->name, takes ? "=" : "");
        cli_put_quoted(o->doc, shell);
        printf("]%s%s%s'", takes ? ":" : "", takes ? o->arg : "", takes ? ":_files" : "");
    } else {
        printf("complete -c tiptrue -n '__fish_seen_subcommand_from %s' -l %s%s -d '", command,
               o->name, takes ? " -r" : "");
        cli_put_quoted(o->doc, shell);
        fputs("'\n", stdout);
    }
}

bool cli_parse(const struct argp *argp, int argc, char *argv[], unsigned flags, void *input)
{
    static const struct argp_option HELP_OPTIONS[] = {{NULL, 'h', NULL, OPTION_HIDDEN, NULL, -1},
                                                      {0}};
    static const struct argp HELP = {.options = HELP_OPTIONS, .parser = parse_help};
    /* last: the command's own are numbered as in its table */
    const struct argp_child children[] = {{&HELP, 0, NULL, 0}, {0}};
    struct argp whole = *argp;
    size_t listing = strlen(CLI_LIST_OPTIONS);
    const char *to;

    if (argc == 2 && strncmp(argv[1], CLI_LIST_OPTIONS, listing) == 0) {
        const char *command = strrchr(argv[0], ' ');
        for (const struct argp_option *o = argp->options;
             o != NULL && (o->name != NULL || o->doc != NULL); o++) {
            if (o->name != NULL) {
                list_option(o, command != NULL ? command + 1 : argv[0], argv[1] + listing);
            }
        }
        return false;
    }
    whole.children = children;
    /* without exits of its own, argp comes to tell_stumbling */
    bool json = cli_wants_json(argc, argv, &to) && !asks_for_help(argc, argv);
    error_t failed = argp_parse(&whole, argc, argv, flags | (json ? ARGP_NO_EXIT : 0), NULL, input);
    if (failed == 0) {
        return true;
    }
    if (failed == EINVAL) {
        exit(EX_USAGE);
    }
    fputs("tiptrue: error: out of memory\n", stderr);
    return false;
}

/* ---- tables of options ---- */

/* Options of a command and those it shares: more than any has. */
#define MOST_OPTIONS 50

/* Key of the first row that has no short name: above every character. */
#define FIRST_KEY 0x100

/* A command line in the reading. */
struct reading {
    const struct cli_syntax *syntax;
    char *input;
    const struct cli_option *rows[MOST_OPTIONS];
    char *into[MOST_OPTIONS]; /* the struct that the row's places are in */
    size_t n;
};

/* A whole number of the option's range, else a usage error. */
static size_t whole_number(struct argp_state *state, const struct cli_option *o, const char *text)
{
    size_t digits = strspn(text, "0123456789");
    unsigned long value;

    if (digits == 0 || text[digits] != '\0') {
        cli_usage(state, "--%s '%s' is not a whole number; allowed are %zu to %zu", o->name, text,
                  o->least, o->most);
    }
    errno = 0;
    value = strtoul(text, NULL, 10);
    if (errno != 0 || value < o->least || value > o->most) {
        cli_usage(state, "--%s %s is out of range; allowed are %zu to %zu", o->name, text, o->least,
                  o->most);
    }
    return value;
}

/* The unit that @text names, else a usage error. */
static enum tiptrue_units units_of(struct argp_state *state, const char *text)
{
    static const char *const WORDS[] = {
        [TIPTRUE_UNITS_MM] = "mm", [TIPTRUE_UNITS_INCH] = "inch", [TIPTRUE_UNITS_UM] = "um"};

    for (size_t i = TIPTRUE_UNITS_MM; i < sizeof WORDS / sizeof WORDS[0]; i++) {
        if (strcmp(text, WORDS[i]) == 0) {
            return (enum tiptrue_units)i;
        }
    }
    cli_usage(state, "--units '%s' is not a unit; allowed are mm, inch and um", text);
}

/* Millimetres to the unit that stands behind a length; 0: it is none. */
static double mm_per(const char *unit)
{
    static const struct {
        const char *word;
        double mm;
    } UNITS[] = {{"", 1}, {"mm", 1}, {"um", 0.001}, {"in", 25.4}, {"inch", 25.4}};

    for (size_t i = 0; i < sizeof UNITS / sizeof UNITS[0]; i++) {
        if (strcmp(unit, UNITS[i].word) == 0) {
            return UNITS[i].mm;
        }
    }
    return 0;
}

double cli_length_mm(struct argp_state *state, const char *option, const char *text)
{
    size_t digits = strspn(text, "0123456789.");
    char *end = NULL;
    /* the program's numbers are those of the C locale */
    double value = digits > 0 ? strtod(text, &end) : 0;

    value = end == text + digits ? value * mm_per(text + digits) : 0;
    if (!(value > 0 && value <= 1000)) {
        cli_usage(state,
                  "%s '%s' is not a length; allowed are millimetres such as 0.004, up to 1000, or "
                  "a unit behind it: 0.0001in, 3um",
                  option, text);
    }
    return value;
}

static void take_list(const struct reading *reading, size_t row, const char *argument,
                      struct argp_state *state)
{
    const struct cli_option *o = reading->rows[row];
    size_t *n = (size_t *)(void *)(reading->into[row] + o->n);

    if (reading->syntax->args_doc == NULL || (o->most > 0 && *n >= o->most)) {
        cli_usage(state, "'%s' is one %s too many", argument, o->argument);
    }
    cli_list_add(state, (const char ***)(void *)(reading->into[row] + o->at), n, argument);
}

double cli_number(struct argp_state *state, const char *option, const char *text,
                  const char **behind)
{
    size_t length = strspn(text, "+-.0123456789eE"); /* so neither hexadecimal nor nan nor inf */
    char *end = (char *)text;
    double value = strtod(text, &end);

    if (end == text || (size_t)(end - text) > length || !isfinite(value)) {
        cli_usage(state, "%s '%s': a number is expected", option, text);
    }
    *behind = end;
    return value;
}

/* Seconds of "90s", "30min", "12h" or "2d", more than 0; else a usage error that names @option. */
static double age_s(struct argp_state *state, const char *option, const char *text)
{
    static const struct {
        const char *unit;
        double seconds;
    } UNITS[] = {{"s", 1.0}, {"min", 60.0}, {"h", 3600.0}, {"d", 86400.0}};
    const char *unit;
    double value = cli_number(state, option, text, &unit);

    for (size_t i = 0; i < sizeof UNITS / sizeof UNITS[0]; i++) {
        if (strcmp(unit, UNITS[i].unit) == 0 && value > 0.0) {
            return value * UNITS[i].seconds;
        }
    }
    cli_usage(state,
              "%s '%s': a number above 0 with its unit is expected, s, min, h or d, such as 12h",
              option, text);
}

static void take_number(const struct cli_option *o, void *to, const char *argument,
                        struct argp_state *state)
{
    char name[32];

    snprintf(name, sizeof name, "--%s", o->name);
    if (o->form == CLI_COUNT) {
        *(size_t *)to = argument != NULL ? whole_number(state, o, argument) : o->least;
    } else if (o->form == CLI_LENGTH) {
        *(double *)to = cli_length_mm(state, name, argument);
    } else {
        *(double *)to = age_s(state, name, argument);
    }
}

static void take(const struct reading *reading, size_t row, const char *argument,
                 struct argp_state *state)
{
    const struct cli_option *o = reading->rows[row];
    void *to = reading->into[row] + o->at;

    if (o->sets > 0) {
        *(bool *)(reading->into[row] + o->sets - 1) = true;
    }
    switch (o->form) {
    case CLI_TEXT:
        if (o->name == NULL && *(const char **)to != NULL) {
            cli_usage(state, "'%s' is one %s too many", argument, o->argument);
        }
        *(const char **)to = argument;
        break;
    case CLI_FLAG:
        *(bool *)to = true;
        break;
    case CLI_VALUE:
        *(unsigned *)to = (unsigned)o->least;
        break;
    case CLI_UNITS:
        *(enum tiptrue_units *)to = units_of(state, argument);
        break;
    case CLI_LIST:
        take_list(reading, row, argument, state);
        break;
    case CLI_CALL:
        o->take(to, argument, state);
        break;
    default:
        take_number(o, to, argument, state);
    }
}

static error_t parse_row(int key, char *argument, struct argp_state *state)
{
    const struct reading *reading = state->input;
    const struct cli_syntax *syntax = reading->syntax;

    if (key == ARGP_KEY_END && syntax->shared != NULL && syntax->shared->check != NULL) {
        syntax->shared->check(reading->input + syntax->shared_at, state);
    }
    if (key == ARGP_KEY_END && syntax->check != NULL) {
        syntax->check(reading->input, state);
    }
    for (size_t i = 0; i < reading->n; i++) {
        const struct cli_option *o = reading->rows[i];
        int own = o->letter != 0 ? o->letter : o->name != NULL ? FIRST_KEY + (int)i : ARGP_KEY_ARG;
        if (key == own && o->form != CLI_HEAD) {
            take(reading, i, argument, state);
            return 0;
        }
    }
    return key == ARGP_KEY_END ? 0 : ARGP_ERR_UNKNOWN;
}

/* The rows of @table behind those that are there, and for argp what is an option of them. */
static void add_rows(struct reading *reading, const struct cli_option *table, size_t at,
                     struct argp_option options[], size_t *n_options)
{
    for (const struct cli_option *o = table; o->form != CLI_HEAD || o->doc != NULL; o++) {
        assert(reading->n < MOST_OPTIONS);
        if (o->doc != NULL) {
            int key = o->form == CLI_HEAD ? 0
                      : o->letter != 0    ? o->letter
                                          : FIRST_KEY + (int)reading->n;
            options[(*n_options)++] = (struct argp_option){
                o->name, key, o->argument, o->optional ? OPTION_ARG_OPTIONAL : 0, o->doc, o->group};
        }
        reading->rows[reading->n] = o;
        reading->into[reading->n++] = reading->input + at;
    }
}

bool cli_read(const struct cli_syntax *syntax, int argc, char *argv[], void *input)
{
    struct reading reading = {.syntax = syntax, .input = input};
    struct argp_option options[MOST_OPTIONS + 1] = {{0}};
    const struct argp argp = {
        .options = options, .parser = parse_row, .args_doc = syntax->args_doc, .doc = syntax->doc};
    size_t n = 0;

    if (syntax->options != NULL) {
        add_rows(&reading, syntax->options, 0, options, &n);
    }
    if (syntax->shared != NULL) {
        add_rows(&reading, syntax->shared->options, syntax->shared_at, options, &n);
    }
    return cli_parse(&argp, argc, argv, 0, &reading);
}
