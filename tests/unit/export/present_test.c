/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Present offsets out of a configuration: each number with its sign and unit, how far two places of
 * one value may lie apart, when the plate of an offset is doubted; and what export says of files
 * and places that are none. */
#include "config.h"

#include <check.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/buffer.h"
#include "export/export.h"
#include "export/guard.h"
#include "export/place_kinds.h"
#include "export/replace.h"
#include "ingest/ingest.h"

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static char folder[64];

static void set_up(void)
{
    strcpy(folder, "present-test-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(folder));
    ck_assert_int_eq(chdir(folder), 0);
}

static void tear_down(void)
{
    (void)unlink("c.json");
    (void)unlink("other.json");
    ck_assert_int_eq(chdir(".."), 0);
    (void)rmdir(folder);
}

static void write_file(const char *name, const char *text)
{
    FILE *file = fopen(name, "w");

    ck_assert_ptr_nonnull(file);
    ck_assert_int_ge(fputs(text, file), 0);
    ck_assert_int_eq(fclose(file), 0);
}

/* A machine of two tips that exports @puts, each a JSON string, into c.json. */
static struct tiptrue_machine *machine_of(const char *offset, const char *export)
{
    struct tt_buffer text = {0};
    struct tiptrue_machine *machine = NULL;
    struct tiptrue_error error = {0};

    tt_buffer_printf(&text,
                     "{\"schema\": \"tiptrue.machine/1\", \"name\": \"loom\", \"units\": \"mm\","
                     " \"rotation\": {\"sense\": \"ccw\"}, \"sighting\": {\"u\": 0.002},"
                     " \"tips\": [{\"name\": \"N1\", \"radius\": 0.45, \"offset\": %s,"
                     " \"offset_plate\": \"S-5\"}, {\"name\": \"N2\", \"radius\": 0.3}],"
                     " \"limits\": {\"permitted_error\": 0.04, \"expanded_uncertainty\": 0.03},"
                     " \"export\": %s}",
                     offset, export);
    ck_assert_msg(tt_machine_read_bytes("loom.json", text.text, text.length, NULL, &machine,
                                        &error) == TIPTRUE_OK,
                  "%s", error.text);
    tt_buffer_clear(&text);
    return machine;
}

START_TEST(each_number_with_its_sign_and_unit)
{
    struct tiptrue_machine *machine = machine_of(
        "[36.2125, -18.4439]",
        "[{\"put\": [\"N1.offset.x:minus=/a\", \"N1.offset.y:inch=/b\", \"N1.runout.x:um=/c\","
        " \"N1.runout.y:um:minus=/d\", \"N1.height:minus=/e\", \"N1.radius=/f\","
        " \"N1.offset.x@90=/g\", \"N2.runout.x=/h\"]}]");
    struct tiptrue_error error = {0};

    write_file("c.json", "{\"a\": 36.1, \"b\": -0.7, \"c\": 12.5, \"d\": 7.5, \"e\": 20.7,"
                         " \"f\": 9, \"g\": 8, \"h\": 0.03}");
    ck_assert_msg(tiptrue_machine_present(machine, "c.json", &error) == TIPTRUE_OK, "%s",
                  error.text);
    ck_assert(machine->tips[0].has_offset && machine->tips[0].has_runout);
    ck_assert_double_eq(machine->tips[0].offset.x_mm, -36.1);
    ck_assert_double_eq_tol(machine->tips[0].offset.y_mm, -17.78, 1e-12);
    ck_assert_double_eq_tol(machine->tips[0].runout.x_mm, 0.0125, 1e-15);
    ck_assert_double_eq_tol(machine->tips[0].runout.y_mm, -0.0075, 1e-15);
    ck_assert(machine->tips[0].height_mm.stated);
    ck_assert_double_eq(machine->tips[0].height_mm.value, -20.7);
    ck_assert(!machine->tips[1].has_offset && !machine->tips[1].has_runout);
    tiptrue_machine_free(machine);
}
END_TEST

/* What stands there is what the machine file states where they agree to half of the last digit. */
START_TEST(plates_are_doubted_beyond_half_a_digit)
{
    static const struct {
        const char *offset, *config;
        bool same;
    } CASES[] = {{"[36.21254999, -18.4439]", "{\"a\": 36.2125, \"b\": -18.4439}", true},
                 {"[36.2125502, -18.4439]", "{\"a\": 36.2125, \"b\": -18.4439}", false},
                 {"[36.2124498, -18.4439]", "{\"a\": 36.2125, \"b\": -18.4439}", false},
                 {"[36.2125, -18.44394999]", "{\"a\": 36.2125, \"b\": -18.4439}", true},
                 {"[36.2125, -18.4439502]", "{\"a\": 36.2125, \"b\": -18.4439}", false},
                 {"[36.2149, -18.4439]", "{\"a\": 36.21, \"b\": -18.4439}", true},
                 {"[36.2149, -18.4439]", "{\"a\": 36.210, \"b\": -18.4439}", false}};

    for (size_t k = 0; k < COUNT(CASES); k++) {
        struct tiptrue_machine *machine =
            machine_of(CASES[k].offset, "[{\"put\": [\"N1.offset.x=/a\", \"N1.offset.y=/b\"]}]");
        write_file("c.json", CASES[k].config);
        ck_assert_int_eq(tiptrue_machine_present(machine, "c.json", NULL), TIPTRUE_OK);
        ck_assert_msg((machine->tips[0].offset_plate != NULL) == CASES[k].same, "case %zu", k);
        tiptrue_machine_free(machine);
    }
}
END_TEST

/* Two places of one value agree to the sum of their last digits; the finer one is taken. */
START_TEST(places_that_contradict_each_other)
{
    static const struct {
        const char *config;
        double x_mm; /* NAN: they contradict */
    } CASES[] = {{"{\"a\": 36.2100, \"b\": 36.20, \"y\": 1}", 36.21},
                 {"{\"a\": 36.20, \"b\": 36.2100, \"y\": 1}", 36.21},
                 {"{\"a\": 36.20, \"b\": 36.21, \"y\": 1}", 36.20},
                 {"{\"a\": 36.2102, \"b\": 36.20, \"y\": 1}", NAN},
                 {"{\"a\": 36.20, \"b\": 36.2102, \"y\": 1}", NAN},
                 {"{\"a\": 36.1898, \"b\": 36.20, \"y\": 1}", NAN}};

    for (size_t k = 0; k < COUNT(CASES); k++) {
        struct tiptrue_machine *machine =
            machine_of("[7, 8]", "[{\"put\": [\"N1.offset.x=/a\", \"N1.offset.x=/b\","
                                 " \"N1.offset.y=/y\"]}]");
        struct tiptrue_error error = {0};
        bool good = !isnan(CASES[k].x_mm);
        write_file("c.json", CASES[k].config);
        ck_assert_int_eq(tiptrue_machine_present(machine, "c.json", &error),
                         good ? TIPTRUE_OK : TIPTRUE_E_CONFIG);
        ck_assert_double_eq(machine->tips[0].offset.x_mm, good ? CASES[k].x_mm : 7);
        ck_assert_str_eq(error.text, good ? "" : "places '/a' and '/b' contradict each other");
        ck_assert_str_eq(error.hint, good ? "" : "the machine uses one of them: which?");
        tiptrue_machine_free(machine);
    }
}
END_TEST

START_TEST(what_present_offsets_cannot_be_read_from)
{
    static const struct {
        const char *export, *path, *text, *hint;
    } CASES[] = {
        {"[]", "c.json", "has no \"export\", which says where the present offsets are in 'c.json'",
         "write \"export\" with the places into the machine file"},
        {"[{\"file\": \"a.ini\", \"put\": [\"N1.offset.x=a.x\"]},"
         " {\"file\": \"b/d.json\", \"put\": [\"N1.offset.x=/x\"]}]",
         "./c.json", "exports into several files, none of which is called 'c.json'",
         "name the configuration as its \"file\" is called"},
        {"[{\"put\": [\"N3.offset.x=/a\"]}]", "c.json",
         "exports the tip 'N3', which is not among its tips", "list it among the tips"},
        {"[{\"put\": [\"N1.offset.x=/a\"]}]", "c.json",
         "exports one axis of the offset of tip 'N1' only", "put both axes, or none"},
        {"[{\"put\": [\"N1.radius=/a\"]}]", "c.json",
         "exports no offset that could be read back from 'c.json'",
         "put offset.x and offset.y of a tip, without a rotation"},
        {"[{\"file\": \"none.json\", \"put\": [\"N1.offset.x=/a\"]}]", NULL,
         "cannot be opened: No such file or directory",
         "say where the offsets in use are: --present CONFIG, --present machine (as the machine "
         "file states them), or --present none"}};

    write_file("c.json", "{\"a\": 36.1, \"b\": -0.7}");
    for (size_t k = 0; k < COUNT(CASES); k++) {
        struct tiptrue_machine *machine = machine_of("[7, 8]", CASES[k].export);
        struct tiptrue_error error = {0};
        ck_assert_int_eq(tiptrue_machine_present(machine, CASES[k].path, &error), TIPTRUE_E_CONFIG);
        ck_assert_str_eq(error.text, CASES[k].text);
        ck_assert_str_eq(error.hint, CASES[k].hint);
        ck_assert_double_eq(machine->tips[0].offset.x_mm, 7);
        tiptrue_machine_free(machine);
    }
}
END_TEST

/* ---- files ---- */

START_TEST(where_the_machine_file_exports_to)
{
    static const struct {
        const char *machine, *file, *path; /* path NULL: it leads out */
    } CASES[] = {{"loom.json", "a.ini", "a.ini"},
                 {"shop/loom.json", "a.ini", "shop/a.ini"},
                 {"/shop/loom.json", "b/a.ini", "/shop/b/a.ini"},
                 {"shop/loom.json", "..a", "shop/..a"},
                 {"shop/loom.json", "a..", "shop/a.."},
                 {"shop/loom.json", "x", "shop/x"},
                 {"shop/loom.json", "..", NULL},
                 {"shop/loom.json", "../a", NULL},
                 {"shop/loom.json", "b/../../a", NULL},
                 {"shop/loom.json", "b/..", NULL},
                 {"shop/loom.json", "/a", NULL}};
    struct tiptrue_machine machine = {0};
    char *path = NULL;

    for (size_t k = 0; k < COUNT(CASES); k++) {
        const struct tt_export_target target = {.file = CASES[k].file};
        struct tiptrue_error error = {0};
        char text[120];
        machine.file = CASES[k].machine;
        if (CASES[k].path != NULL) {
            ck_assert_int_eq(tt_export_path(&machine, &target, &path, &error), TIPTRUE_OK);
            ck_assert_str_eq(path, CASES[k].path);
            free(path);
            continue;
        }
        ck_assert_int_eq(tt_export_path(&machine, &target, &path, &error), TIPTRUE_E_CONFIG);
        snprintf(text, sizeof text,
                 "'file' of the export, '%s', leads out of the machine file's folder",
                 CASES[k].file);
        ck_assert_str_eq(error.text, text);
        ck_assert_str_eq(error.hint, "name such a file on the command line, by --into");
        ck_assert_str_eq(error.file, CASES[k].machine);
    }
    const struct tt_export_target none = {.file = NULL};
    struct tiptrue_error error = {0};
    ck_assert_int_eq(tt_export_path(&machine, &none, &path, &error), TIPTRUE_E_USAGE);
    ck_assert_str_eq(error.text, "the export of the machine file does not say into which file");
    ck_assert_str_eq(error.hint, "name it by --into");
}
END_TEST

START_TEST(files_beside_another)
{
    struct tt_target *target = NULL;
    struct tiptrue_error error = {0};
    bool beside = false;

    write_file("c.json", "{}");
    write_file("other.json", "{}");
    ck_assert_int_eq(tt_target_open("c.json", &target, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_target_is_beside(target, "other.json", &beside, NULL), TIPTRUE_OK);
    ck_assert(beside);
    ck_assert_int_eq(tt_target_is_beside(target, "/dev/null", &beside, NULL), TIPTRUE_OK);
    ck_assert(!beside);
    ck_assert_int_eq(tt_target_is_beside(target, "none.json", &beside, &error), TIPTRUE_E_NO_INPUT);
    ck_assert_str_eq(error.text, "cannot be found: No such file or directory");
    ck_assert_str_eq(error.file, "none.json");
    tt_target_free(target);
}
END_TEST

static enum tiptrue_status look(void *context, const char *text, size_t length, const char *backup,
                                struct tiptrue_error *error)
{
    (void)error;
    ck_assert(length == 8 && memcmp(text, "{\"a\": 2}", 8) == 0);
    ck_assert_ptr_nonnull(strstr(backup, "c.json.2026-03-20T094640Z-"));
    ++*(int *)context;
    return TIPTRUE_OK;
}

/* The copy beside it is found by what took its place; no descriptor stays open. */
START_TEST(the_copy_of_the_old_file)
{
    struct tt_target *target = NULL;
    struct tt_bytes bytes = {0};
    struct tiptrue_error error = {0};
    char *made = NULL, *copy = NULL;
    int looked = 0, free_before = dup(0);
    const struct tt_check check = {look, &looked};

    close(free_before);
    write_file("c.json", "{\"a\": 1}");
    ck_assert_int_eq(tt_target_open("c.json", &target, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_target_backup(target, &copy, &bytes, &error), TIPTRUE_E_CONFIG);
    ck_assert_str_eq(error.text,
                     "was changed since the last export, or never exported: cannot undo");
    ck_assert_int_eq(tt_target_replace(target, "{\"a\": 2}", 8, 1774000000.0, &check, &made, NULL),
                     TIPTRUE_OK);
    ck_assert_int_eq(looked, 1);
    tt_target_free(target);
    ck_assert_int_eq(tt_target_open("c.json", &target, NULL), TIPTRUE_OK);
    ck_assert_str_eq(tt_target_bytes(target)->text, "{\"a\": 2}");
    ck_assert_int_eq(tt_target_backup(target, &copy, &bytes, NULL), TIPTRUE_OK);
    ck_assert_str_eq(bytes.text, "{\"a\": 1}");
    ck_assert_int_eq(unlink(copy), 0);
    ck_assert_str_eq(strrchr(copy, '/') != NULL ? strrchr(copy, '/') + 1 : copy,
                     strrchr(made, '/') != NULL ? strrchr(made, '/') + 1 : made);
    tt_bytes_clear(&bytes);
    tt_target_free(target);
    free(made);
    free(copy);
    int free_after = dup(0);
    ck_assert_int_eq(free_after, free_before);
    close(free_after);
}
END_TEST

/* ---- places ---- */

START_TEST(places_that_are_none)
{
    static const struct {
        const char *text, *place, *said, *hint;
    } CASES[] = {
        {"\xEF\xBB\xBF[a]\nx = one\n", "a.x", "place 'a.x' holds 'one', which is not a number",
         "only a number with a decimal point is replaced; is the place the one that is meant? "
         "Where no value stands yet, write 0 there"},
        {"[a]\nx = \xb5m\n", "a.x", "place 'a.x' holds '?m', which is not a number",
         "only a number with a decimal point is replaced; is the place the one that is meant? "
         "Where no value stands yet, write 0 there"},
        {"[a]\nx = \xc2\xb5m\n", "a.x", "place 'a.x' holds '\xc2\xb5m', which is not a number",
         "only a number with a decimal point is replaced; is the place the one that is meant? "
         "Where no value stands yet, write 0 there"},
        {"{\"a\": 1, \"\\u0061\": 2}", "/a",
         "place '/a' is 2 values, where one is meant; make the place narrower",
         "line 1: '{\"a\": 1, \"\\u0061\": 2}'; line 1: '{\"a\": 1, \"\\u0061\": 2}'"},
        {"{\"\\u0061b\": 1}", "/b", "no value found at '/b'",
         "the pointer reaches line 1, where there is an object with the keys: \\u0061b"}};

    for (size_t k = 0; k < COUNT(CASES); k++) {
        struct tt_config *config = NULL;
        struct tt_span span;
        struct tiptrue_error error = {0};
        double value;
        ck_assert_int_eq(tt_config_new("head", CASES[k].text, strlen(CASES[k].text), &config, NULL),
                         TIPTRUE_OK);
        ck_assert_int_eq(tt_config_number(config, CASES[k].place, &span, &value, &error),
                         TIPTRUE_E_CONFIG);
        ck_assert_str_eq(error.text, CASES[k].said);
        ck_assert_str_eq(error.hint, CASES[k].hint);
        tt_config_free(config);
    }
    struct tt_config *config = NULL;
    struct tiptrue_error error = {0};
    ck_assert_int_eq(tt_config_new("head", "a\0b", 3, &config, &error), TIPTRUE_E_CONFIG);
    ck_assert_str_eq(error.text, "holds NUL bytes: this is not text, or it is UTF-16");
    ck_assert_str_eq(error.hint,
                     "UTF-8 and other codes that extend ASCII can be edited, UTF-16 cannot");
    ck_assert_str_eq(error.file, "head");
}
END_TEST

/* Escaped keys are found as what they mean, and only there. */
START_TEST(escaped_keys)
{
    static const char TEXT[] = "{\"a\\tb\": 1.5, \"c\": {\"\\u0064\": 2.5}, \"e\": \"\\\\\"}";
    struct tt_config *config = NULL;
    struct tt_span span;
    double value = 0;

    ck_assert_int_eq(tt_config_new("head", TEXT, strlen(TEXT), &config, NULL), TIPTRUE_OK);
    ck_assert_int_eq(tt_config_number(config, "/a\tb", &span, &value, NULL), TIPTRUE_OK);
    ck_assert_double_eq(value, 1.5);
    ck_assert_int_eq(tt_config_number(config, "/c/d", &span, &value, NULL), TIPTRUE_OK);
    ck_assert_double_eq(value, 2.5);
    ck_assert_int_eq(tt_config_number(config, "/a\\tb", &span, &value, NULL), TIPTRUE_E_CONFIG);
    tt_config_free(config);
}
END_TEST

/* As much as fits, and that there is more; nothing is written beyond. */
START_TEST(lists_that_are_full)
{
    struct tt_list list = {0};
    char text[121];

    memset(text, 'a', 120);
    text[120] = '\0';
    tt_list_add(&list, text);
    ck_assert_uint_eq(list.length, 120);
    text[72] = '\0'; /* 120 + 2 + 72 and "; ..." with its NUL are 200 */
    tt_list_add(&list, text);
    ck_assert(!list.full && list.length == 194);
    tt_list_add(&list, "b");
    ck_assert(list.full);
    ck_assert_str_eq(list.text + 190, "aaaa; ...");
    struct tt_list other = {0};
    text[72] = 'a';
    tt_list_add(&other, text);
    text[73] = '\0';
    tt_list_add(&other, text);
    ck_assert(other.full);
    ck_assert_str_eq(other.text + 118, "aa; ...");
    tt_list_add(&other, "b");
    ck_assert_str_eq(other.text + 118, "aa; ...");
}
END_TEST

/* ---- axes ---- */

static struct tt_buffer told;

static void tell(void *context, const struct tiptrue_diagnostic *diagnostic)
{
    tt_buffer_printf(context, "%s:%zu: %s (%s)", diagnostic->file, diagnostic->line,
                     diagnostic->text, diagnostic->hint);
}

START_TEST(axes_in_force)
{
    static const struct {
        const char *field, *old_text, *new_text;
        double old, new;
        const char *said; /* NULL: nothing */
    } CASES[] = {
        {"axes.scale.x", "1.0002", "0.9997", 1.0002, 0.9997,
         "head:7: 'axes.scale.x' would replace 1.0002 by 0.9997 (the run was made with that in "
         "force, and it is to be multiplied by the new number: write 0.9998999; --force change "
         "exports all the same)"},
        {"axes.scale.y:.4", "1", "0.9997", 1, 0.9997, NULL},
        {"axes.scale.y:.4", "0", "0.9997", 0, 0.9997, NULL},
        {"axes.square:minus", "-0.12", "0.34", 0.12, -0.34,
         "head:7: 'axes.square:minus' would replace -0.12 by 0.34 (the run was made with that in "
         "force, and the new number is to be added to it: write 0.2200; --force change exports all "
         "the same)"},
        {"axes.square", "0", "0.34", 0, 0.34, NULL},
        {"axes.square", "0.34", "0.34", 0.34, 0.34, NULL},
        {"camera.turn", "0.12", "0.34", 0.12, 0.34, NULL}};
    const struct tiptrue_sink sink = {tell, &told};

    for (size_t k = 0; k < COUNT(CASES); k++) {
        struct tt_guards guards = {.sink = &sink};
        struct tt_edit edit = {.old_text = CASES[k].old_text,
                               .new_text = CASES[k].new_text,
                               .old_mm = CASES[k].old,
                               .new_mm = CASES[k].new,
                               .line = 7};
        ck_assert_int_eq(tt_export_field_read(CASES[k].field, strlen(CASES[k].field), false,
                                              &edit.put.field, NULL),
                         TIPTRUE_OK);
        tt_guard_axes(&guards, "head", &edit, 1);
        ck_assert_str_eq(told.text != NULL ? told.text : "",
                         CASES[k].said != NULL ? CASES[k].said : "");
        ck_assert_uint_eq(guards.refusals, CASES[k].said != NULL);
        tt_buffer_clear(&told);
        edit.kept = true;
        tt_guard_axes(&guards, "head", &edit, 1);
        ck_assert_uint_eq(told.length, 0);
    }
}
END_TEST

/* As many tips as fit into the hint. */
START_TEST(many_tips)
{
    static struct tt_tip_result tips[40];
    static char names[40][24];
    struct tiptrue_solution solution = {.tips = tips, .n_tips = 40};
    struct tiptrue_error error = {0};
    struct tt_export_field field;

    for (size_t i = 0; i < 40; i++) {
        snprintf(names[i], sizeof names[i], "nozzle-%02zu", i);
        tips[i].name = names[i];
    }
    ck_assert_int_eq(tt_export_field_read("N1.radius", 9, false, &field, NULL), TIPTRUE_OK);
    ck_assert_ptr_null(tt_export_field_tip(&field, &solution, &error));
    ck_assert_str_eq(error.text, "the result has no tip 'N1', which field 'N1.radius' names");
    ck_assert_str_eq(error.hint,
                     "tips of the result: 'nozzle-00' 'nozzle-01' 'nozzle-02' 'nozzle-03' "
                     "'nozzle-04' 'nozzle-05' 'nozzle-06' 'nozzle-07' 'nozzle-08'");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("export/present");
    TCase *tcase = tcase_create("present");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, each_number_with_its_sign_and_unit);
    tcase_add_test(tcase, plates_are_doubted_beyond_half_a_digit);
    tcase_add_test(tcase, places_that_contradict_each_other);
    tcase_add_test(tcase, what_present_offsets_cannot_be_read_from);
    tcase_add_test(tcase, where_the_machine_file_exports_to);
    tcase_add_test(tcase, files_beside_another);
    tcase_add_test(tcase, the_copy_of_the_old_file);
    tcase_add_test(tcase, places_that_are_none);
    tcase_add_test(tcase, escaped_keys);
    tcase_add_test(tcase, lists_that_are_full);
    tcase_add_test(tcase, axes_in_force);
    tcase_add_test(tcase, many_tips);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
