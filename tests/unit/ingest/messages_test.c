/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Every message that reading can give, word for word: the cases stand in
 * tests/data/ingest/messages-*.txt. "messages_test print FILE" writes FILE with what is told now,
 * for a look at the difference before it is kept.
 */
#include "config.h"

#include "collect.h"
#include "ingest/ingest.h"

#define FOLDER "tests/data/ingest/"
#define PATTERN_ROOM 300

enum kind { PLATE, MACHINE, PLAN, CSV, JSON, LOG, KINDS };
static const char *const kind_words[KINDS] = {"plate", "machine", "plan", "csv", "json", "log"};
static const char *const kind_files[KINDS] = {"plate.json", "machine.json", "plan.json",
                                              "run.csv",    "run.json",     "controller.log"};

/* One case: the texts to read, and what is expected to be told. */
struct example {
    char title[200];
    enum kind kind;
    struct tt_buffer text, plan, expected;
    bool own_text; /* by lines behind '|' */
    char pattern[PATTERN_ROOM];
};

static void clear(struct example *example)
{
    tt_buffer_clear(&example->text);
    tt_buffer_clear(&example->plan);
    tt_buffer_clear(&example->expected);
    *example = (struct example){.kind = KINDS};
}

static void set_file(struct tt_buffer *buffer, enum kind kind)
{
    char path[100];
    snprintf(path, sizeof(path), FOLDER "%s", kind_files[kind]);
    char *text = source_text(path);
    tt_buffer_reset(buffer);
    tt_buffer_puts(buffer, text);
    free(text);
}

/* @length bytes with their escapes resolved, at the end of @buffer. */
static void add_unescaped(struct tt_buffer *buffer, const char *text, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        if (text[i] != '\\' || i + 1 == length) {
            tt_buffer_putc(buffer, text[i]);
            continue;
        }
        i++;
        if (text[i] == 'x' && i + 2 < length + 1) {
            char digits[3] = {text[i + 1], text[i + 2], '\0'};
            tt_buffer_putc(buffer, (char)strtol(digits, NULL, 16));
            i += 2;
        } else {
            tt_buffer_putc(buffer, text[i] == 'n' ? '\n' : text[i] == 't' ? '\t' : text[i]);
        }
    }
}

/* Where @old stands in the buffer, whose text may hold NUL. */
static size_t find(const struct tt_buffer *buffer, const struct tt_buffer *old)
{
    for (size_t i = 0; i + old->length <= buffer->length; i++) {
        if (memcmp(buffer->text + i, old->text, old->length) == 0) {
            return i;
        }
    }
    return (size_t)-1;
}

/* "OLD => NEW", once. */
static void change(struct example *example, struct tt_buffer *buffer, const char *line,
                   size_t length)
{
    const char *arrow = strstr(line, " =>");
    ck_assert_msg(arrow != NULL && arrow < line + length, "%s: no ' =>' in '%.*s'", example->title,
                  (int)length, line);
    const char *new_text = arrow + 3 + (arrow + 3 < line + length);
    struct tt_buffer old = {0}, result = {0};
    add_unescaped(&old, line, (size_t)(arrow - line));
    size_t at = find(buffer, &old);
    ck_assert_msg(at != (size_t)-1, "%s: '%s' is not in the text", example->title, old.text);
    tt_buffer_add(&result, buffer->text, at);
    add_unescaped(&result, new_text, (size_t)(line + length - new_text));
    tt_buffer_add(&result, buffer->text + at + old.length, buffer->length - at - old.length);
    tt_buffer_clear(buffer);
    tt_buffer_clear(&old);
    *buffer = result;
}

static enum tiptrue_status read_with_others(const struct example *example,
                                            const struct tiptrue_sink *sink,
                                            struct tiptrue_error *error)
{
    struct tiptrue_plate *plate = NULL;
    struct tiptrue_machine *machine = NULL;
    struct tiptrue_plan *plan = NULL;
    struct tiptrue_run *run = NULL;
    char *plate_path = source_path(FOLDER "plate.json"),
         *machine_path = source_path(FOLDER "machine.json");
    ck_assert_int_eq(tiptrue_plate_read(plate_path, NULL, &plate, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tiptrue_machine_read(machine_path, NULL, &machine, NULL), TIPTRUE_OK);
    if (example->kind == LOG) {
        ck_assert_int_eq(tt_plan_read_bytes("plan.json", example->plan.text, example->plan.length,
                                            sink, &plan, error),
                         TIPTRUE_OK);
    }
    enum tiptrue_status status = tt_run_read_bytes(
        kind_files[example->kind], example->text.text, example->text.length, plate, machine, plan,
        plan != NULL ? example->pattern : NULL, sink, &run, error);
    ck_assert((status == TIPTRUE_OK) == (run != NULL));
    tiptrue_run_free(run);
    tiptrue_plan_free(plan);
    tiptrue_machine_free(machine);
    tiptrue_plate_free(plate);
    free(plate_path);
    free(machine_path);
    return status;
}

static enum tiptrue_status read_example(const struct example *example,
                                        const struct tiptrue_sink *sink,
                                        struct tiptrue_error *error)
{
    struct tiptrue_plate *plate = NULL;
    struct tiptrue_machine *machine = NULL;
    struct tiptrue_plan *plan = NULL;
    const char *name = kind_files[example->kind], *text = example->text.text;
    size_t length = example->text.length;
    enum tiptrue_status status;
    if (example->kind == PLATE) {
        status = tt_plate_read_bytes(name, text, length, sink, &plate, error);
    } else if (example->kind == MACHINE) {
        status = tt_machine_read_bytes(name, text, length, sink, &machine, error);
    } else if (example->kind == PLAN) {
        status = tt_plan_read_bytes(name, text, length, sink, &plan, error);
    } else {
        return read_with_others(example, sink, error);
    }
    ck_assert((status == TIPTRUE_OK) == (plate != NULL || machine != NULL || plan != NULL));
    tiptrue_plate_free(plate);
    tiptrue_machine_free(machine);
    tiptrue_plan_free(plan);
    return status;
}

/* What is told of the example; a wrong pattern is no fault of a file and shows in the error alone.
 */
static void tell(const struct example *example, struct tt_buffer *told)
{
    const struct tiptrue_sink sink = {collect_told, told};
    struct tiptrue_error error = {0};
    tt_buffer_reset(told);
    enum tiptrue_status status = read_example(example, &sink, &error);
    ck_assert_int_eq(error.status, status);
    if (status == TIPTRUE_E_USAGE) {
        tt_buffer_printf(told, "usage: %s\n  hint: %s\n", error.text, error.hint);
    } else {
        bool has_fault = told->text != NULL && strstr(told->text, " error: ") != NULL;
        ck_assert_int_eq(status, has_fault ? TIPTRUE_E_DATA : TIPTRUE_OK);
        ck_assert_msg(!has_fault || strstr(told->text, error.text) != NULL,
                      "%s: the error is another: %s", example->title, error.text);
    }
}

struct counts {
    size_t cases, wrong;
};

static void finish(struct example *example, FILE *print, struct counts *counts)
{
    struct tt_buffer told = {0};
    if (example->kind == KINDS) {
        return;
    }
    tell(example, &told);
    const char *text = told.text != NULL ? told.text : "",
               *expected = example->expected.text != NULL ? example->expected.text : "";
    counts->cases++;
    if (strcmp(text, expected) != 0) {
        counts->wrong++;
        printf("%s: told:\n%sexpected:\n%s\n", example->title, text, expected);
        fflush(stdout); /* the test's process may end by a signal */
    }
    for (const char *line = text; print != NULL && *line != '\0'; line = strchr(line, '\n') + 1) {
        fprintf(print, "> %.*s\n", (int)strcspn(line, "\n"), line);
    }
    tt_buffer_clear(&told);
}

static void begin(struct example *example, const char *word, size_t length)
{
    size_t kind = 0;
    while (kind < KINDS &&
           !(strlen(kind_words[kind]) == length && strncmp(word, kind_words[kind], length) == 0)) {
        kind++;
    }
    ck_assert_msg(kind < KINDS, "%s: unknown kind '%.*s'", example->title, (int)length, word);
    example->kind = (enum kind)kind;
    set_file(&example->text, example->kind);
    set_file(&example->plan, PLAN);
}

/* One line of a file of cases. */
static void take(struct example *example, const char *line, size_t length)
{
    if (length > 2 && strncmp(line, "= ", 2) == 0) {
        snprintf(example->title, sizeof(example->title), "%.*s", (int)(length - 2), line + 2);
    } else if (strncmp(line, "read ", 5) == 0) {
        begin(example, line + 5, length - 5);
    } else if (strncmp(line, "change ", 7) == 0) {
        change(example, &example->text, line + 7, length - 7);
    } else if (strncmp(line, "plan ", 5) == 0) {
        change(example, &example->plan, line + 5, length - 5);
    } else if (strncmp(line, "pattern ", 8) == 0) {
        ck_assert_uint_lt(length - 8, PATTERN_ROOM);
        snprintf(example->pattern, PATTERN_ROOM, "%.*s", (int)(length - 8), line + 8);
    } else if (length == 4 && strncmp(line, "text", 4) == 0) {
        tt_buffer_reset(&example->text);
        example->own_text = true;
    } else if (*line == '|' && example->own_text) {
        add_unescaped(&example->text, line + 1, length - 1);
        tt_buffer_putc(&example->text, '\n');
    } else if (strncmp(line, "> ", 2) == 0) {
        tt_buffer_add(&example->expected, line + 2, length - 2);
        tt_buffer_putc(&example->expected, '\n');
    } else {
        ck_assert_msg(length == 0 || *line == '#', "%s: what is '%.*s'?", example->title,
                      (int)length, line);
    }
}

/* All cases of the file; @print: the file again, with what is told. */
static struct counts run_cases(const char *path, FILE *print)
{
    char *all = source_text(path);
    struct example example = {.kind = KINDS};
    struct counts counts = {0, 0};
    for (const char *line = all; *line != '\0';) {
        size_t length = strcspn(line, "\n");
        if (length == 0 || *line == '=') { /* a case ends */
            finish(&example, print, &counts);
            clear(&example);
        }
        take(&example, line, length);
        if (print != NULL && *line != '>') {
            fprintf(print, "%.*s\n", (int)length, line);
        }
        line += length + (line[length] == '\n');
    }
    finish(&example, print, &counts);
    clear(&example);
    free(all);
    return counts;
}

static const struct {
    const char *path;
    size_t cases;
} files[] = {
    {FOLDER "messages-csv.txt", 33},   {FOLDER "messages-json.txt", 35},
    {FOLDER "messages-plate.txt", 18}, {FOLDER "messages-machine.txt", 14},
    {FOLDER "messages-log.txt", 22},
};

/* The file to print, instead of the tests. */
static const char *printed;

START_TEST(print_messages)
{
    run_cases(printed, stderr);
}
END_TEST

START_TEST(messages_are_as_written)
{
    struct counts counts = run_cases(files[_i].path, NULL);
    ck_assert_uint_eq(counts.wrong, 0);
    ck_assert_uint_eq(counts.cases, files[_i].cases); /* none was passed over */
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("ingest/messages");
    TCase *tests = tcase_create("messages");
    if (argc == 3 && strcmp(argv[1], "print") == 0) {
        printed = argv[2];
        tcase_add_test(tests, print_messages);
    } else {
        tcase_add_loop_test(tests, messages_are_as_written, 0,
                            (int)(sizeof(files) / sizeof(files[0])));
    }
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
