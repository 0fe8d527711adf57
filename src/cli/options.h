/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Options and arguments that several commands share. */
#ifndef TT_CLI_OPTIONS_H
#define TT_CLI_OPTIONS_H

#include <argp.h>
#include <stdbool.h>
#include <stddef.h>

#include "tiptrue.h"

/* What becomes of an option's argument, or of an argument beside the options. */
enum cli_form {
    CLI_HEAD,   /* no option: @doc over the group, if there is one */
    CLI_TEXT,   /* const char * */
    CLI_FLAG,   /* bool; takes no argument */
    CLI_VALUE,  /* an enumeration, set to @least; takes no argument */
    CLI_COUNT,  /* size_t, from @least to @most */
    CLI_LENGTH, /* double, mm */
    CLI_AGE,    /* double, s */
    CLI_UNITS,  /* enum tiptrue_units */
    CLI_LIST,   /* const char **, for free(), their number at @n; not more than @most, if above 0 */
    CLI_CALL    /* @take sees to it */
};

/* A row of a command's table of options, which ends with {0}. Places are bytes from the start of
 * the struct that is filled in. */
struct cli_option {
    const char *name;     /* NULL: the arguments beside the options */
    const char *argument; /* what it is called; NULL: there is none */
    int group;            /* of --help */
    enum cli_form form;
    size_t at;
    const char *doc;
    int letter;         /* its short name; 0: none */
    size_t least, most; /* CLI_COUNT, CLI_VALUE, CLI_LIST */
    size_t n;
    size_t sets;   /* a bool that tells that it was given: its place plus one; 0: none */
    bool optional; /* its argument may be left out: @least then */
    void (*take)(void *at, const char *argument, struct argp_state *state); /* CLI_CALL */
};
#define CLI_SETS(type, member) (offsetof(type, member) + 1)

/* Options that several commands have. */
struct cli_shared {
    const struct cli_option *options;
    void (*check)(void *input, struct argp_state *state); /* before the command's own */
};

struct cli_syntax {
    const struct cli_option *options;
    const struct cli_shared *shared; /* NULL: none */
    size_t shared_at;                /* place of the struct that those fill in */
    const char *args_doc, *doc;      /* as argp has them; args_doc NULL: no arguments */
    void (*check)(void *input, struct argp_state *state); /* at the end; NULL: nothing to check */
};
/* Read the command line into @input. False: out of memory, told, or the options were listed
 * (CLI_LIST_OPTIONS); all else that is wrong ends the program with status 64. */
bool cli_read(const struct cli_syntax *syntax, int argc, char *argv[], void *input);

/* --pattern and --ok-words of a command that reads controllers' logs into a @type. */
#define CLI_PATTERN_OPTIONS(group, type, pattern, ok_words)                                        \
    {"pattern",                                                                                    \
     "REGEX",                                                                                      \
     group,                                                                                        \
     CLI_TEXT,                                                                                     \
     offsetof(type, pattern),                                                                      \
     .doc = "How a controller's report looks (PCRE2; groups x, y and perhaps z, id, ok); needs "   \
            "--plan"},                                                                             \
    {                                                                                              \
        "ok-words", "MADE,NONE", group, CLI_TEXT, offsetof(type, ok_words),                        \
            .doc = "What the pattern's group ok says of a contact, and of none (default: 1,0)"     \
    }
/* --quiet of a command that finds files, or takes long. */
#define CLI_QUIET_OPTION(group, type, quiet)                                                       \
    {                                                                                              \
        "quiet", NULL, group, CLI_FLAG, offsetof(type, quiet),                                     \
            .letter = 'q', .doc = "Do not say which files were found, nor how far it is"           \
    }
/* --units of a command that prints lengths. */
#define CLI_UNITS_OPTION(group, type, units)                                                       \
    {                                                                                              \
        "units", "UNIT", group, CLI_UNITS, offsetof(type, units),                                  \
            .doc = "Print lengths in mm, inch or um (default: the machine file's; JSON is in mm "  \
                   "always)"                                                                       \
    }

/* The files that the command line names; NULL = not named. All point into argv, but for the list of
 * runs. */
struct cli_inputs {
    const char *plate, *machine, *plan, *pattern, *ok_words;
    const char **runs; /* for free() */
    size_t n_runs;
    bool json, plain, quiet;
    const char *command;           /* as in messages: "tiptrue solve" */
    struct cli_messages *messages; /* that faults go to; NULL: new ones for each file */
    enum tiptrue_units units;      /* TIPTRUE_UNITS_DEFAULT: the machine file's */
};

/* --plate, --machine, --plan, --pattern, --json, --plain, --quiet and RUN arguments, into a struct
 * cli_inputs. */
extern const struct cli_shared cli_inputs_options;

/* One entry more of a list that starts as NULL; without memory for it the program ends. */
void cli_list_add(const struct argp_state *state, const char ***list, size_t *n, const char *text);
_Noreturn void cli_out_of_memory(void);

/* Tell a wrong use as argp does, as JSON too if @json is set, and end the program with its exit
 * status. */
_Noreturn void cli_usage_error(const char *command, bool json, const char *text);
/* cli_read for a parser of argp's own. */
bool cli_parse(const struct argp *argp, int argc, char *argv[], unsigned flags, void *input);

/* A command that gets this and a shell's name for its only argument writes its options for that
 * shell (cli_parse does). */
#define CLI_LIST_OPTIONS "--list-options="
/* @text within single quotes of @shell, onto standard output. */
void cli_put_quoted(const char *text, const char *shell);

/* The one of @n @names that @text is most likely a misspelling of; NULL: none is near. */
const char *cli_nearest(const char *const names[], size_t n, const char *text);

/* A length, more than 0 and up to a metre, in mm: mm unless a unit stands behind it ("0.0001in",
 * "3um"), else a usage error that names @option. */
double cli_length_mm(struct argp_state *state, const char *option, const char *text);

/* Numbers and times of the command line. */

/* A finite number at @text, *behind set; a usage error that names @option if there is none. */
double cli_number(struct argp_state *state, const char *option, const char *text,
                  const char **behind);

#endif
