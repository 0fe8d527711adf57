/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See options.h. A wrong use ends the program with status 64: argp's own exit status for it. */
#include "config.h"

#include "cli/options.h"
#include "cli/messages.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>

/* Parsers that a command has below its own. */
#define MOST_CHILDREN 4

static const struct argp_option OPTIONS[] = {
    {NULL, 0, NULL, 0, "Input files (- is standard input):", 1},
    {"plate", CLI_KEY_PLATE, "FILE", 0,
     "The reference plate: marks, edges and how well they are known", 1},
    {"machine", CLI_KEY_MACHINE, "FILE", 0,
     "The machine: rotation, resolution, tips with their present offsets, limits; a file, or a "
     "name "
     "(default: looked for, see the manual)",
     1},
    {"plan", CLI_KEY_PLAN, "FILE", 0, "What each move of a controller's log was; needs --pattern",
     1},
    CLI_PATTERN_OPTIONS(1),
    {NULL, 0, NULL, 0, "Output:", 2},
    {"json", CLI_KEY_JSON, NULL, 0, "JSON, one line for each run", 2},
    {"plain", CLI_KEY_PLAIN, NULL, 0, "Plain ASCII: no colour, symbols or charts", 2},
    {"quiet", 'q', NULL, 0, "Do not say which files were found", 2},
    CLI_UNITS_OPTION(2),
    {0},
};

bool cli_take_name(const struct cli_name names[], size_t n, int key, const char *argument)
{
    for (size_t i = 0; i < n; i++) {
        if (names[i].key == key) {
            *names[i].to = argument;
            return true;
        }
    }
    return false;
}

static void check_inputs(const struct cli_inputs *inputs, struct argp_state *state)
{
    const char *const files[] = {inputs->plate, inputs->machine, inputs->plan};

    (void)cli_count_stdin(state, cli_count_stdin(state, 0, files, sizeof files / sizeof files[0]),
                          inputs->runs, inputs->n_runs);
}

static error_t parse_option(int key, char *argument, struct argp_state *state)
{
    struct cli_inputs *inputs = state->input;

    switch (key) {
    case ARGP_KEY_INIT:
        inputs->runs = calloc((size_t)state->argc + 1, sizeof *inputs->runs);
        return inputs->runs != NULL ? 0 : ENOMEM;
    case CLI_KEY_PLATE:
        inputs->plate = argument;
        return 0;
    case CLI_KEY_MACHINE:
        inputs->machine = argument;
        return 0;
    case CLI_KEY_PLAN:
        inputs->plan = argument;
        return 0;
    case CLI_KEY_OK_WORDS:
        inputs->ok_words = argument;
        return 0;
    case CLI_KEY_PATTERN:
        inputs->pattern = argument;
        return 0;
    case CLI_KEY_JSON:
        inputs->json = true;
        return 0;
    case CLI_KEY_PLAIN:
        inputs->plain = true;
        return 0;
    case 'q':
        inputs->quiet = true;
        return 0;
    case CLI_KEY_UNITS:
        inputs->units = cli_units(state, argument);
        return 0;
    case ARGP_KEY_ARG:
        inputs->runs[inputs->n_runs++] = argument;
        return 0;
    case ARGP_KEY_END:
        inputs->command = state->name;
        check_inputs(inputs, state);
        return 0;
    default:
        return ARGP_ERR_UNKNOWN;
    }
}

const struct argp cli_inputs_argp = {.options = OPTIONS, .parser = parse_option};

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

/* The options of @argp and of the parsers below it. */
static void list_options(const struct argp *argp, const char *command, const char *shell)
{
    for (const struct argp_option *o = argp->options;
         o != NULL && (o->name != NULL || o->key != 0 || o->doc != NULL); o++) {
        if (o->name != NULL && o->doc != NULL && !(o->flags & OPTION_HIDDEN)) {
            list_option(o, command, shell);
        }
    }
    for (const struct argp_child *c = argp->children; c != NULL && c->argp != NULL; c++) {
        list_options(c->argp, command, shell);
    }
}

bool cli_parse(const struct argp *argp, int argc, char *argv[], unsigned flags, void *input)
{
    static const struct argp_option HELP_OPTIONS[] = {{NULL, 'h', NULL, OPTION_HIDDEN, NULL, -1},
                                                      {0}};
    static const struct argp HELP = {.options = HELP_OPTIONS, .parser = parse_help};
    struct argp_child children[MOST_CHILDREN + 2] = {{0}};
    struct argp whole = *argp;
    size_t n = 0, listing = strlen(CLI_LIST_OPTIONS);
    const char *to;

    if (argc == 2 && strncmp(argv[1], CLI_LIST_OPTIONS, listing) == 0) {
        const char *command = strrchr(argv[0], ' ');
        list_options(argp, command != NULL ? command + 1 : argv[0], argv[1] + listing);
        return false;
    }
    for (; argp->children != NULL && argp->children[n].argp != NULL && n < MOST_CHILDREN; n++) {
        children[n] = argp->children[n];
    }
    children[n].argp = &HELP; /* last: the command's own are numbered as in its table */
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

size_t cli_whole_number(struct argp_state *state, const char *option, const char *text,
                        size_t least, size_t most)
{
    size_t digits = strspn(text, "0123456789");
    unsigned long value;

    if (digits == 0 || text[digits] != '\0') {
        cli_usage(state, "%s '%s' is not a whole number; allowed are %zu to %zu", option, text,
                  least, most);
    }
    errno = 0;
    value = strtoul(text, NULL, 10);
    if (errno != 0 || value < least || value > most) {
        cli_usage(state, "%s %s is out of range; allowed are %zu to %zu", option, text, least,
                  most);
    }
    return value;
}

enum tiptrue_units cli_units(struct argp_state *state, const char *text)
{
    static const char *const WORDS[] = {
        [TIPTRUE_UNITS_MM] = "mm", [TIPTRUE_UNITS_INCH] = "inch", [TIPTRUE_UNITS_UM] = "um"};

    for (size_t i = TIPTRUE_UNITS_MM; i < sizeof WORDS / sizeof WORDS[0]; i++) {
        if (strcmp(text, WORDS[i]) == 0) {
            return (enum tiptrue_units)i;
        }
    }
    cli_usage(state, "--units '%s' is not a unit; allowed are mm, inch and um", text);
    return TIPTRUE_UNITS_DEFAULT;
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
