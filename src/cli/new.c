/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* tiptrue new: a plate or machine file to begin with. JSON has no comments, so that what is to be
 * said stands under the key "note", which every object of these files may have. */
#include "config.h"

#include <argp.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sysexits.h>
#include <unistd.h>

#include "cli/command.h"
#include "cli/messages.h"
#include "cli/options.h"
#include "cli/terminal.h"

#define MOST_NUMBERS 4
/* Edges whose directions differ by less (cosine of 15 degrees) face each other, if they overlap. */
#define PARALLEL 0.966

/* "NAME=1,2,3": a name and numbers, as they were written and as values. */
struct item {
    const char *name;
    char *text; /* its copy, for free() */
    const char *written[MOST_NUMBERS];
    double value[MOST_NUMBERS];
    size_t n;
};

/* What a file lists: items of one form, with room for every argument. */
enum { MARKS, EDGES, PADS, TIPS, LISTS };
struct form {
    const char *option, *text;
    unsigned numbers; /* bit n: n numbers will do */
};
static const struct form FORMS[LISTS] = {
    {"--mark", "a mark: NAME=X,Y, such as M1=48,6", 1U << 2},
    {"--edge", "an edge: NAME=X,Y,X,Y, such as right=37,-23,37,-13", 1U << 4},
    {"--pad", "a pad: NAME=X,Y,HEIGHT, such as P1=12.5,-8,0.035", 1U << 3},
    {"--tip", "a tip: NAME, NAME=RADIUS or NAME=RADIUS,X,Y, such as wide=0.45,36.2,-21.3",
     1U << 0 | 1U << 1 | 1U << 3},
};
struct list {
    const struct form *form;
    struct item *items;
    size_t n;
};

struct arguments {
    const char *kind, *name, *serial, *output;
    enum tiptrue_units units;
    bool quiet;
    struct list lists[LISTS];
    FILE *to;
};

/* A name that needs no escapes in JSON. */
static const char *checked_name(struct argp_state *state, const char *name)
{
    bool good = name[0] != '\0';

    for (const char *c = name; *c != '\0'; c++) {
        good = good && (unsigned char)*c >= 0x20 && *c != '"' && *c != '\\' && *c != 0x7f;
    }
    if (!good) {
        cli_usage(state,
                  "'%s' is not a name: it is empty, or has a quotation mark, a backslash or a "
                  "control character",
                  name);
    }
    return name;
}

/* A number that JSON takes as it is written: no sign but a minus, no bare point, no words. */
static bool read_value(const char *text, double *value)
{
    const char *digits = text + (*text == '-');
    size_t n = strspn(digits, "0123456789");
    char *end = NULL;

    if (n == 0 || (n > 1 && *digits == '0') || strspn(text, "-0123456789.eE+") != strlen(text)) {
        return false;
    }
    *value = strtod(text, &end);
    const char *point = strchr(text, '.');
    return *end == '\0' && (point == NULL || (point[1] >= '0' && point[1] <= '9'));
}

/* The numbers of "1,2,3" into @item, whose text they are cut out of; false: they are none. */
static bool read_values(struct item *item, char *text)
{
    while (text != NULL && item->n < MOST_NUMBERS) {
        char *comma = strchr(text, ',');
        if (comma != NULL) {
            *comma++ = '\0';
        }
        item->written[item->n] = text;
        if (!read_value(text, &item->value[item->n++])) {
            return false;
        }
        text = comma;
    }
    return text == NULL;
}

/* @text as an item of @list. */
static struct item read_item(struct argp_state *state, const struct list *list, const char *text)
{
    struct item item = {.text = strdup(text)};
    char *values = item.text != NULL ? strchr(item.text, '=') : NULL;

    item.name = item.text;
    if (values != NULL) {
        *values++ = '\0';
    }
    bool good = item.text != NULL && read_values(&item, values);
    if (!good || (list->form->numbers >> item.n & 1U) == 0) {
        cli_usage(state, "%s '%s' is not %s", list->form->option, text, list->form->text);
    }
    (void)checked_name(state, item.name);
    return item;
}

/* ---- the plate ---- */

/* The edge that edge @i faces, and on which side: 1 left, -1 right of the walk. NULL: none. */
static const struct item *facing(const struct arguments *a, size_t i, int *side, double *apart)
{
    const double *e = a->lists[EDGES].items[i].value;
    double length = hypot(e[2] - e[0], e[3] - e[1]);
    double dx = (e[2] - e[0]) / length, dy = (e[3] - e[1]) / length;
    const struct item *found = NULL;

    for (size_t k = 0; k < a->lists[EDGES].n; k++) {
        const double *f = a->lists[EDGES].items[k].value;
        double other = hypot(f[2] - f[0], f[3] - f[1]);
        double along = fabs((f[2] - f[0]) * dx + (f[3] - f[1]) * dy) / other;
        double mx = 0.5 * (f[0] + f[2] - e[0] - e[2]), my = 0.5 * (f[1] + f[3] - e[1] - e[3]);
        double across = -mx * dy + my * dx;
        bool faces = k != i && along > PARALLEL && fabs(mx * dx + my * dy) < 0.5 * (length + other);
        if (faces && across != 0 && (found == NULL || fabs(across) < *apart)) {
            found = &a->lists[EDGES].items[k];
            *apart = fabs(across);
            *side = across > 0 ? 1 : -1;
        }
    }
    return found;
}

/* Of a unit: its name in files, and what is written where nothing was said: how well the place of
 * an edge or pad may be known (standard), the resolution of a machine, how well the radius of a
 * tip, the permitted error. */
struct guess {
    const char *units, *u, *resolution, *radius_u, *permitted_error;
};

static const struct guess *guess(const struct arguments *a)
{
    static const struct guess MM = {"mm", "0.005", "0.001", "0.03", "0.03"},
                              INCH = {"inch", "0.0002", "0.0001", "0.001", "0.0012"},
                              UM = {"um", "5", "1", "30", "30"};

    return a->units == TIPTRUE_UNITS_INCH ? &INCH : a->units == TIPTRUE_UNITS_UM ? &UM : &MM;
}

static void write_edge(const struct arguments *a, size_t i)
{
    const struct item *edge = &a->lists[EDGES].items[i];
    double apart = 0;
    int side = 1;
    const struct item *other = facing(a, i, &side, &apart);

    fprintf(a->to,
            "    {\"name\": \"%s\", \"from\": [%s, %s], \"to\": [%s, %s], \"free_side\": \"%s\", "
            "\"u\": %s,\n     \"note\": \"free_side guessed: ",
            edge->name, edge->written[0], edge->written[1], edge->written[2], edge->written[3],
            side > 0 ? "left" : "right", guess(a)->u);
    if (other != NULL) {
        fprintf(a->to, "the edge faces '%s', %.6g away, and a gap between them is taken for free",
                other->name, apart);
    } else {
        fputs("no edge faces it", a->to);
    }
    fprintf(a->to, "; check it\"}%s\n", i + 1 < a->lists[EDGES].n ? "," : "");
}

static void write_plate(const struct arguments *a)
{
    fprintf(a->to,
            "{\n  \"schema\": \"tiptrue.plate/1\",\n"
            "  \"note\": \"Begun by tiptrue new. Replace what is guessed; 'tiptrue check --plate' "
            "draws the plate as it is understood.\",\n"
            "  \"name\": \"%s\",\n  \"serial\": \"%s\",\n  \"units\": \"%s\",\n"
            "  \"reference\": \"%s\",\n  \"marks\": [\n",
            a->name != NULL ? a->name : "my plate", a->serial != NULL ? a->serial : "1",
            guess(a)->units, a->lists[MARKS].items[0].name);
    for (size_t i = 0; i < a->lists[MARKS].n; i++) {
        fprintf(a->to, "    {\"name\": \"%s\", \"at\": [%s, %s]%s}%s\n",
                a->lists[MARKS].items[i].name, a->lists[MARKS].items[i].written[0],
                a->lists[MARKS].items[i].written[1],
                i == 0 ? ", \"note\": \"the origin: x to the right, y up, seen from above\""
                       : ", \"note\": \"u: how well its place is known (standard uncertainty)\"",
                i + 1 < a->lists[MARKS].n ? "," : "");
    }
    fputs("  ],\n  \"edges\": [\n", a->to);
    for (size_t i = 0; i < a->lists[EDGES].n; i++) {
        write_edge(a, i);
    }
    for (size_t i = 0; i < a->lists[PADS].n; i++) {
        const struct item *pad = &a->lists[PADS].items[i];
        fprintf(a->to,
                "%s    {\"name\": \"%s\", \"at\": [%s, %s], \"height\": %s, \"u\": %s,\n"
                "     \"note\": \"height above the plane of the first mark; u guessed\"}",
                i == 0 ? "  ],\n  \"pads\": [\n" : ",\n", pad->name, pad->written[0],
                pad->written[1], pad->written[2], guess(a)->u);
    }
    fputs(a->lists[PADS].n > 0 ? "\n  ]\n}\n" : "  ]\n}\n", a->to);
}

/* ---- the machine ---- */

static void write_machine(const struct arguments *a)
{
    fprintf(a->to,
            "{\n  \"schema\": \"tiptrue.machine/1\",\n"
            "  \"note\": \"Begun by tiptrue new. What is not known may be left out; docs: formats, "
            "section Machine.\",\n"
            "  \"name\": \"%s\",\n  \"units\": \"%s\",\n"
            "  \"rotation\": {\"sense\": \"ccw\", \"note\": \"as the machine counts, seen from "
            "above: ccw or cw\"},\n"
            "  \"resolution\": %s,\n"
            "  \"yaw\": {\"value_deg\": 0, \"u_deg\": 2, \"note\": \"how the plate is turned, "
            "roughly; needed with one mark\"},\n  \"tips\": [\n",
            a->name != NULL ? a->name : "my machine", guess(a)->units, guess(a)->resolution);
    for (size_t i = 0; i < a->lists[TIPS].n; i++) {
        const struct item *tip = &a->lists[TIPS].items[i];
        fprintf(a->to, "    {\"name\": \"%s\"", tip->name);
        if (tip->n > 0) {
            fprintf(a->to, ", \"radius\": %s, \"radius_u\": %s", tip->written[0],
                    guess(a)->radius_u);
        }
        if (tip->n > 2) {
            fprintf(a->to, ", \"offset\": [%s, %s]", tip->written[1], tip->written[2]);
        }
        fprintf(a->to, "%s}%s\n",
                tip->n > 2 ? ""
                           : ", \"note\": \"offset: [x, y] in use, tip's axis less camera's axis\"",
                i + 1 < a->lists[TIPS].n ? "," : "");
    }
    fprintf(a->to,
            "  ],\n  \"limits\": {\"permitted_error\": %s, \"note\": \"how far the offset in use "
            "may be from the true one: what the parts allow\"}\n}\n",
            guess(a)->permitted_error);
}

/* ---- the command ---- */

static void check_edges(const struct arguments *a, struct argp_state *state)
{
    for (size_t i = 0; i < a->lists[EDGES].n; i++) {
        const double *e = a->lists[EDGES].items[i].value;
        if (e[0] == e[2] && e[1] == e[3]) {
            cli_usage(state, "edge '%s' begins and ends at one place",
                      a->lists[EDGES].items[i].name);
        }
    }
}

static void check_kind(void *input, struct argp_state *state)
{
    const struct arguments *a = input;
    bool plate = a->kind != NULL && strcmp(a->kind, "plate") == 0;

    cli_refuse_if(state, a->kind == NULL || (!plate && strcmp(a->kind, "machine") != 0),
                  "say what is wanted: 'tiptrue new plate' or 'tiptrue new machine'");
    cli_refuse_if(state, plate && a->lists[TIPS].n > 0, "--tip is for a machine");
    if (!plate &&
        (a->lists[MARKS].n + a->lists[EDGES].n + a->lists[PADS].n > 0 || a->serial != NULL)) {
        cli_usage(state, "--mark, --edge, --pad and --serial are for a plate");
    }
    if (plate && a->lists[MARKS].n > 0 &&
        (a->lists[MARKS].items[0].value[0] != 0 || a->lists[MARKS].items[0].value[1] != 0)) {
        cli_usage(state, "the first --mark is the origin: '%s' must be at 0,0",
                  a->lists[MARKS].items[0].name);
    }
    check_edges(a, state);
}

static void take_name(void *at, const char *argument, struct argp_state *state)
{
    *(const char **)at = checked_name(state, argument);
}

static void take_item(void *at, const char *argument, struct argp_state *state)
{
    struct list *list = at;

    list->items[list->n++] = read_item(state, list, argument);
}

/* What stands for what was not said: a window of four edges, one tip. */
static void fill_in(struct arguments *a)
{
    static const struct item mark = {.name = "M0", .written = {"0", "0"}, .n = 2};
    static const struct item edges[] = {
        {"right", NULL, {"40", "5", "40", "25"}, {40, 5, 40, 25}, 4},
        {"left", NULL, {"10", "25", "10", "5"}, {10, 25, 10, 5}, 4},
        {"top", NULL, {"35", "30", "15", "30"}, {35, 30, 15, 30}, 4},
        {"bottom", NULL, {"15", "0", "35", "0"}, {15, 0, 35, 0}, 4},
    };
    static const struct item tip = {.name = "tip1"};

    if (a->lists[MARKS].n == 0) {
        a->lists[MARKS].items[a->lists[MARKS].n++] = mark;
    }
    for (size_t i = 0; a->lists[EDGES].n < 4 && i < 4 && (i > 0 || a->lists[EDGES].n == 0); i++) {
        a->lists[EDGES].items[a->lists[EDGES].n++] = edges[i];
    }
    if (a->lists[TIPS].n == 0) {
        a->lists[TIPS].items[a->lists[TIPS].n++] = tip;
    }
}

static int write_all(struct arguments *a)
{
    char *text = NULL;
    size_t length = 0;
    struct tiptrue_error error = {0};

    if (a->output != NULL && access(a->output, F_OK) == 0) {
        fprintf(stderr,
                "tiptrue new: error: %s is there already, and stays as it is: name another file\n",
                a->output);
        return EX_IOERR;
    }
    a->to = open_memstream(&text, &length);
    if (a->to == NULL) {
        fputs("tiptrue: error: out of memory\n", stderr);
        return EX_OSERR;
    }
    fill_in(a);
    (strcmp(a->kind, "plate") == 0 ? write_plate : write_machine)(a);
    if (fclose(a->to) != 0) {
        fputs("tiptrue: error: out of memory\n", stderr);
        free(text);
        return EX_OSERR;
    }
    if (a->output == NULL) {
        cli_write(text, length);
    } else {
        error.status = cli_write_file(a->output, text, length, false, &error);
    }
    free(text);
    if (error.status != TIPTRUE_OK) {
        fprintf(stderr, "%s: error: %s\n", error.file, error.text);
    }
    return cli_exit_status(error.status);
}

#define AT(member) offsetof(struct arguments, member)
int cli_new(int argc, char *argv[])
{
    static const struct cli_option OPTIONS[] = {
        {"name", "NAME", 1, CLI_CALL, AT(name), .doc = "What it is called", .take = take_name},
        {"serial", "TEXT", 1, CLI_CALL, AT(serial), .doc = "Of a plate: its serial number",
         .take = take_name},
        {"units", "UNIT", 1, CLI_UNITS, AT(units),
         .doc = "Unit of all lengths: mm (default), inch or um"},
        {"mark", "NAME=X,Y", 2, CLI_CALL, AT(lists[MARKS]),
         .doc =
             "Of a plate: a mark; the first one is the origin, at 0,0 (can be given several times)",
         .take = take_item},
        {"edge", "NAME=X,Y,X,Y", 2, CLI_CALL, AT(lists[EDGES]),
         .doc = "Of a plate: an edge, from and to; its free side is guessed from the edge that it "
                "faces (can be given several times)",
         .take = take_item},
        {"pad", "NAME=X,Y,HEIGHT", 2, CLI_CALL, AT(lists[PADS]),
         .doc = "Of a plate: a pad that is touched from above, and how high it lies above the "
                "plane of the first mark (can be given several times)",
         .take = take_item},
        {"tip", "NAME=R,X,Y", 2, CLI_CALL, AT(lists[TIPS]),
         .doc = "Of a machine: a tip, perhaps with radius, and with the offset in use (can be "
                "given several times)",
         .take = take_item},
        {"output", "FILE", 3, CLI_TEXT, AT(output),
         .doc = "Write FILE, which must not be there yet", .letter = 'o'},
        CLI_QUIET_OPTION(3, struct arguments, quiet),
        {.argument = "argument", .form = CLI_TEXT, .at = AT(kind)},
        {0},
    };
    static const struct cli_syntax SYNTAX = {
        .check = check_kind,
        .options = OPTIONS,
        .args_doc = "plate\nmachine",
        .doc = "Write a plate or machine file to begin with. What is guessed in it says so in a "
               "\"note\".\v"
               "Exit status: 0 written, 64 wrong use, 74 cannot be written, or is there already.",
    };
    size_t room = (size_t)argc + 8;
    struct arguments arguments = {0};
    int status = EX_OSERR;

    for (size_t i = 0; i < LISTS; i++) {
        arguments.lists[i] = (struct list){&FORMS[i], calloc(room, sizeof(struct item)), 0};
        if (arguments.lists[i].items == NULL) {
            cli_out_of_memory();
        }
    }
    if (cli_read(&SYNTAX, argc, argv, &arguments)) {
        status = write_all(&arguments);
    }
    for (size_t i = 0; i < LISTS; i++) {
        for (size_t k = 0; k < arguments.lists[i].n; k++) {
            free(arguments.lists[i].items[k].text);
        }
        free(arguments.lists[i].items);
    }
    return status;
}
