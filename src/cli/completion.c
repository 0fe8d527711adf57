/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue completion: what bash, zsh and fish complete by. The options come out of the tables by
 * which the commands are parsed: each command, run with --list-options, writes its own. */
#include "config.h"

#include <argp.h>
#include <stdio.h>
#include <string.h>
#include <sysexits.h>

#include "cli/command.h"
#include "cli/messages.h"
#include "cli/options.h"

struct shell {
    const char *name;
    void (*write)(const struct cli_completed commands[], size_t n);
};

static void list(const struct cli_completed *command, char *how)
{
    char name[64], *argv[] = {name, how, NULL};

    snprintf(name, sizeof name, "tiptrue %s", command->name);
    if (command->run != NULL) {
        (void)command->run(2, argv);
    }
}

static void put_names(const struct cli_completed commands[], size_t n)
{
    for (size_t i = 0; i < n; i++) {
        printf("%s%s", i > 0 ? " " : "", commands[i].name);
    }
}

static void write_bash(const struct cli_completed commands[], size_t n)
{
    char how[] = CLI_LIST_OPTIONS "bash";

    fputs("# bash completion of tiptrue, written by `tiptrue completion bash'\n"
          "_tiptrue()\n{\n"
          "    local word=${COMP_WORDS[COMP_CWORD]} options=\n"
          "    if [ \"$COMP_CWORD\" -eq 1 ]; then\n"
          "        COMPREPLY=($(compgen -W 'help ",
          stdout);
    put_names(commands, n);
    fputs("' -- \"$word\"))\n        return\n    fi\n"
          "    case ${COMP_WORDS[1]} in\n",
          stdout);
    for (size_t i = 0; i < n; i++) {
        printf("    %s) options='", commands[i].name);
        list(&commands[i], how);
        fputs("--help' ;;\n", stdout);
    }
    fputs("    esac\n"
          "    case $word in\n"
          "    -*) COMPREPLY=($(compgen -W \"$options\" -- \"$word\")) ;;\n"
          "    *) COMPREPLY=() ;;\n"
          "    esac\n}\n"
          "complete -o default -F _tiptrue tiptrue\n",
          stdout);
}

static void write_zsh(const struct cli_completed commands[], size_t n)
{
    char how[] = CLI_LIST_OPTIONS "zsh";

    fputs("#compdef tiptrue\n# zsh completion of tiptrue, written by `tiptrue completion zsh'\n"
          "if (( CURRENT == 2 )); then\n    _values command help ",
          stdout);
    for (size_t i = 0; i < n; i++) {
        printf(" '%s[", commands[i].name);
        cli_put_quoted(commands[i].purpose, "zsh");
        fputs("]'", stdout);
    }
    fputs("\n    return\nfi\ncase $words[2] in\n", stdout);
    for (size_t i = 0; i < n; i++) {
        printf("%s) shift words; (( CURRENT-- )); _arguments", commands[i].name);
        list(&commands[i], how);
        fputs(" '--help[Give this help list]' '*:file:_files' ;;\n", stdout);
    }
    fputs("esac\n", stdout);
}

static void write_fish(const struct cli_completed commands[], size_t n)
{
    char how[] = CLI_LIST_OPTIONS "fish";

    fputs("# fish completion of tiptrue, written by `tiptrue completion fish'\n", stdout);
    for (size_t i = 0; i < n; i++) {
        printf("complete -c tiptrue -n __fish_use_subcommand -a %s -d '", commands[i].name);
        cli_put_quoted(commands[i].purpose, "fish");
        fputs("'\n", stdout);
    }
    for (size_t i = 0; i < n; i++) {
        list(&commands[i], how);
    }
}

static const struct shell SHELLS[] = {
    {"bash", write_bash}, {"zsh", write_zsh}, {"fish", write_fish}};
#define N_SHELLS (sizeof SHELLS / sizeof SHELLS[0])

static error_t parse_option(int key, char *argument, struct argp_state *state)
{
    const struct shell **shell = state->input;

    switch (key) {
    case ARGP_KEY_ARG:
        for (size_t i = 0; i < N_SHELLS && *shell == NULL; i++) {
            *shell = strcmp(argument, SHELLS[i].name) == 0 ? &SHELLS[i] : NULL;
        }
        if (*shell == NULL) {
            cli_usage(state, "'%s' is not a shell that is known; there are bash, zsh, fish",
                      argument);
        }
        return 0;
    case ARGP_KEY_END:
        cli_refuse_if(state, *shell == NULL, "a shell is missing: bash, zsh or fish");
        return 0;
    default:
        return ARGP_ERR_UNKNOWN;
    }
}

int cli_completion(int argc, char *argv[], const struct cli_completed commands[], size_t n)
{
    static const struct argp ARGP = {
        .parser = parse_option,
        .args_doc = "bash|zsh|fish",
        .doc = "Write what the shell completes tiptrue's commands and options by. The installed "
               "program has it in place; for another, in bash: source <(tiptrue completion bash).",
    };
    const struct shell *shell = NULL;

    if (!cli_parse(&ARGP, argc, argv, 0, &shell)) {
        return EX_OSERR;
    }
    shell->write(commands, n);
    return EX_OK;
}
