/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Options and arguments that several commands share. */
#ifndef TT_CLI_OPTIONS_H
#define TT_CLI_OPTIONS_H

#include <argp.h>
#include <stdbool.h>
#include <stddef.h>

#include "tiptrue.h"

/* --pattern and --ok-words in the table of options of a command that reads controllers' logs. */
#define CLI_PATTERN_OPTIONS(group)                                                                 \
    {"pattern",                                                                                    \
     CLI_KEY_PATTERN,                                                                              \
     "REGEX",                                                                                      \
     0,                                                                                            \
     "How a controller's report looks (PCRE2; groups x, y and perhaps z, id, ok); needs --plan",   \
     group},                                                                                       \
    {                                                                                              \
        "ok-words", CLI_KEY_OK_WORDS, "MADE,NONE", 0,                                              \
            "What the pattern's group ok says of a contact, and of none (default: 1,0)", group     \
    }
/* --units in the table of options of a command that prints lengths, as group @group. */
#define CLI_UNITS_OPTION(group)                                                                    \
    {                                                                                              \
        "units", CLI_KEY_UNITS, "UNIT", 0,                                                         \
            "Print lengths in mm, inch or um (default: the machine file's; JSON is in mm always)", \
            group                                                                                  \
    }

/* Keys of options without a short name: above every character. */
enum {
    CLI_KEY_PLATE = 0x100,
    CLI_KEY_MACHINE,
    CLI_KEY_PLAN,
    CLI_KEY_PATTERN,
    CLI_KEY_OK_WORDS,
    CLI_KEY_JSON,
    CLI_KEY_PLAIN,
    CLI_KEY_TOUCHES,
    CLI_KEY_LEAST_SQUARES,
    CLI_KEY_ACCEPT_CHANGE,
    CLI_KEY_TOGETHER,
    CLI_KEY_MONTE_CARLO,
    CLI_KEY_SEED,
    CLI_KEY_BASELINE,
    CLI_KEY_RUNS,
    CLI_KEY_POINTS,
    CLI_KEY_JOBS,
    CLI_KEY_PRESENT,
    CLI_KEY_INTO,
    CLI_KEY_PUT,
    CLI_KEY_TEMPLATE,
    CLI_KEY_ROTATIONS,
    CLI_KEY_MAX_AGE,
    CLI_KEY_MAX_CHANGE,
    CLI_KEY_FORCE,
    CLI_KEY_DRY_RUN,
    CLI_KEY_UNDO,
    CLI_KEY_TARGET_U,
    CLI_KEY_SIGHTINGS,
    CLI_KEY_HEIGHTS,
    CLI_KEY_VIEWS,
    CLI_KEY_TARGET_VIEW,
    CLI_KEY_SETUPS,
    CLI_KEY_TIP,
    CLI_KEY_MARGIN,
    CLI_KEY_AFTER,
    CLI_KEY_RS274,
    CLI_KEY_TRUTH,
    CLI_KEY_TRUTH_OUT,
    CLI_KEY_DRAW,
    CLI_KEY_EXACT,
    CLI_KEY_CONTROLLER_LOG,
    /* the history */
    CLI_KEY_HISTORY,
    CLI_KEY_RECORD,
    CLI_KEY_SINCE,
    CLI_KEY_CSV,
    CLI_KEY_LOG,
    CLI_KEY_DOCUMENT,
    CLI_KEY_AGAIN,
    CLI_KEY_WHY,
    CLI_KEY_REPLACE,
    CLI_KEY_UNITS,
    CLI_KEY_UNTIL,
    CLI_KEY_EXIT_STATUS,
    CLI_KEY_LAST,
    CLI_KEY_RESULT,
    CLI_KEY_LEARN,
    CLI_KEY_BOARD,
    CLI_KEY_PARTS,
    CLI_KEY_BRIEF
};

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

/* An option that names something, and where its argument goes. */
struct cli_name {
    int key;
    const char **to;
};
/* Enter @argument where the one of @names with this @key says; false: none of them has it. */
bool cli_take_name(const struct cli_name names[], size_t n, int key, const char *argument);

/* A child parser for --plate, --machine, --plan, --pattern, --json, --plain, --quiet and RUN
 * arguments; its input is a struct cli_inputs. */
extern const struct argp cli_inputs_argp;

/* Tell a wrong use as argp does, as JSON too if @json is set, and end the program with its exit
 * status. */
_Noreturn void cli_usage_error(const char *command, bool json, const char *text);
/* argp_parse with -h beside --help. False: out of memory, told, or the
 * options were listed (CLI_LIST_OPTIONS); all else that is wrong ends the
 * program with status 64. */
bool cli_parse(const struct argp *argp, int argc, char *argv[], unsigned flags, void *input);

/* A command that gets this and a shell's name for its only argument writes its options for that
 * shell (cli_parse does). */
#define CLI_LIST_OPTIONS "--list-options="
/* @text within single quotes of @shell, onto standard output. */
void cli_put_quoted(const char *text, const char *shell);

/* The one of @n @names that @text is most likely a misspelling of; NULL: none is near. */
const char *cli_nearest(const char *const names[], size_t n, const char *text);

/* The unit that @text names, else a usage error. */
enum tiptrue_units cli_units(struct argp_state *state, const char *text);

/* A whole number from @least to @most, else a usage error that names @option. */
size_t cli_whole_number(struct argp_state *state, const char *option, const char *text,
                        size_t least, size_t most);

/* A length, more than 0 and up to a metre, in mm: mm unless a unit stands behind it ("0.0001in",
 * "3um"), else a usage error that names @option. */
double cli_length_mm(struct argp_state *state, const char *option, const char *text);

#endif
