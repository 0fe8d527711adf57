/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What the input files of a command hold, read and reported. */
#ifndef TT_CLI_INPUTS_H
#define TT_CLI_INPUTS_H

#include "cli/find.h"
#include "cli/messages.h"
#include "cli/options.h"
#include "tiptrue.h"

/* NULL = not named, or not readable. */
struct cli_objects {
    struct tiptrue_plate *plate;
    struct tiptrue_machine *machine;
    struct tiptrue_plan *plan;
    struct cli_found machine_file, plate_file, plan_file; /* where they were found */
    bool machine_is_bad;                                  /* it is there, but cannot be read */
    char *pattern;                                        /* of the machine file, for free() */
    struct tiptrue_log_head head;                         /* of the first RUN */
};

/* What a command needs of plate and machine. */
enum cli_need {
    CLI_NEEDS_NAMED, /* only what is named is read */
    CLI_NEEDS_FOUND, /* what can be found, too */
    CLI_NEEDS_BOTH,  /* both, else the use is wrong */
    CLI_NEEDS_MOVES  /* likewise; a plan is of moves to be made, and needs no pattern */
};

/* Find and read plate, machine and plan, all of them even when one is bad; inputs->plate, machine,
 * plan and pattern are then what was found, too, and live as long as @objects. What was found is
 * said in one line on standard error. Returns the exit status: 0, or the worst. A wrong use ends
 * the program. */
int cli_objects_find(struct cli_inputs *inputs, enum cli_need need, enum cli_telling telling,
                     struct cli_objects *objects);
/* The unit that lengths are printed in: as asked for, else the machine file's, else mm. */
enum tiptrue_units cli_shown_units(const struct cli_inputs *inputs,
                                   const struct cli_objects *objects);
void cli_objects_free(struct cli_objects *objects);

/* All RUNs of the command line as one run, tiptrue_run_join; of all logs the faults are told, even
 * when one is bad. */
enum tiptrue_status cli_runs_read_together(const struct cli_inputs *inputs,
                                           const struct cli_objects *objects,
                                           const struct tiptrue_sink *sink,
                                           struct tiptrue_run **run, struct tiptrue_error *error);

/* What is said of a file after it was read: @error holds the status, TIPTRUE_OK or not. Returns the
 * exit status for it. */
int cli_file_read(struct cli_messages *messages, const char *path, const char *what,
                  const struct tiptrue_error *error);

/* Where the offsets in use are read from. */

/* The offsets in use of @machine from @word, what --present says: "machine" (as the machine file
 * states them), "none", or a configuration file; NULL: the files that the machine file exports to,
 * else as it states them. */
enum tiptrue_status cli_present_read(const char *word, struct tiptrue_machine *machine,
                                     struct tiptrue_error *error);

#endif
