/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a run as JSON means: the same as the table with the same content. Its faults: messages_test.
 */
#include "config.h"

#include "collect.h"
#include "ingest/ingest.h"

static struct tiptrue_run *read_run(const char *text, const char *expected)
{
    struct tiptrue_run *run = NULL;
    struct tt_buffer told = {0};
    const struct tiptrue_sink sink = {collect_told, &told};
    enum tiptrue_status status = tt_run_read_bytes("run.json", text, strlen(text), NULL, NULL, NULL,
                                                   NULL, &sink, &run, NULL);
    assert_told(&told, expected);
    ck_assert_int_eq(status, TIPTRUE_OK);
    tt_buffer_clear(&told);
    return run;
}

static void assert_same(const struct tiptrue_run *a, const struct tiptrue_run *b)
{
    ck_assert_uint_eq(a->n_observations, b->n_observations);
    for (size_t i = 0; i < a->n_observations; i++) {
        const struct tt_observation *p = &a->observations[i], *q = &b->observations[i];
        ck_assert_double_eq(p->h.x_mm, q->h.x_mm);
        ck_assert_double_eq(p->h.y_mm, q->h.y_mm);
        ck_assert_double_eq(p->rotation_rad, q->rotation_rad);
        ck_assert_double_eq(p->feed_mm_s, q->feed_mm_s);
        ck_assert_double_eq(p->temperature_C, q->temperature_C);
        ck_assert_double_eq(p->time_s, q->time_s);
        ck_assert_double_eq(p->z_mm, q->z_mm);
        ck_assert_uint_eq(p->target, q->target);
        ck_assert_uint_eq(p->tip, q->tip);
        ck_assert_uint_eq(p->setup, q->setup);
        ck_assert_int_eq(p->kind, q->kind);
        ck_assert_int_eq(p->use, q->use);
        ck_assert_int_eq(p->approach_x, q->approach_x);
        ck_assert_int_eq(p->approach_y, q->approach_y);
        ck_assert(p->has_time == q->has_time && p->has_z == q->has_z &&
                  p->has_temperature == q->has_temperature);
    }
    ck_assert_double_eq(a->sighting_digits.quantum_mm, b->sighting_digits.quantum_mm);
    ck_assert_double_eq(a->touch_digits.quantum_mm, b->touch_digits.quantum_mm);
    ck_assert(a->find_inferred == b->find_inferred);
    ck_assert_str_eq(a->machine, b->machine);
    ck_assert_str_eq(a->plate, b->plate);
    ck_assert_str_eq(a->started, b->started);
    ck_assert_str_eq(a->operator_name, b->operator_name);
    ck_assert_str_eq(a->note, b->note);
}

START_TEST(same_as_the_table)
{
    struct tiptrue_run *json =
        read_run("\xEF\xBB\xBF\n {\"observations\": [\n"
                 "{\"kind\": \"sight\", \"target\": \"A\", \"x\": 4.35, \"y\": 2.50, \"approach\": "
                 "\"+-\", \"temperature\": 21.5, "
                 "\"tip\": null},\n"
                 "{\"y\": 2.25, \"x\": 6.125e0, \"kind\": \"touch\", \"target\": \"b\\u0061nk\", "
                 "\"tip\": \"t\", \"rotation\": "
                 "-15, \"feed\": 12, \"stage\": \"find\"},\n"
                 "{\"kind\": \"touch\", \"target\": \"bank\", \"tip\": \"t\", \"x\": 6.1, \"y\": "
                 "2, \"rotation\": -15, \"feed\": "
                 "2.5, \"setup\": \"2\", \"contact\": 1,"
                 "\"time\": \"2026-05-04T07:31:40Z\"},\n"
                 "{\"kind\": \"touch\", \"target\": \"bank\", \"tip\": \"t\", \"x\": 6.1, \"y\": "
                 "2, \"rotation\": 15, \"setup\": "
                 "2, \"contact\": false,"
                 "\"time\": \"2026-05-04T07:31:50.5Z\"},\n"
                 "{\"kind\": \"height\", \"target\": \"pad\", \"x\": 6.1, \"y\": 2, \"z\": -0.125, "
                 "\"contact\": true}],\n"
                 "\"note\": \"n\", \"operator\": \"o\", \"units\": \"inch\", \"started\": "
                 "\"2026-05-04T09:30:00Z\", \"plate\": "
                 "\"p\", \"machine\": \"m\","
                 "\"schema\": \"tiptrue.run/1\"}",
                 "");
    struct tiptrue_run *table = read_run(
        "# machine: m\n# plate: p\n# started: 2026-05-04T09:30:00Z\n# units: inch\n# operator: "
        "o\n# note: n\n"
        "kind,target,tip,x,y,rotation,feed,temperature,time,setup,contact,z,stage,approach\n"
        "sight,A,,4.35,2.50,,,21.5,,,,,,+-\ntouch,bank,t,6.125,2.25,-15,12,,,,,,find,\n"
        "touch,bank,t,6.1,2,-15,2.5,,2026-05-04T07:31:40Z,2,1,,,\ntouch,bank,t,6.1,2,15,,,2026-05-"
        "04T07:31:50.5Z,2,0,,,\n"
        "height,pad,,6.1,2,,,,,,1,-0.125,,\n",
        "");
    assert_same(json, table);
    static const size_t lines[] = {3, 4, 5, 6, 7};
    for (size_t i = 0; i < 5; i++) {
        ck_assert_uint_eq(json->observations[i].line, lines[i]);
    }
    ck_assert_str_ne(json->id, table->id);
    tiptrue_run_free(json);
    tiptrue_run_free(table);
}
END_TEST

START_TEST(pairs_are_inferred_without_stages)
{
    struct tiptrue_run *run = read_run("{\"schema\": \"tiptrue.run/1\", \"observations\": ["
                                       "{\"kind\":\"touch\",\"target\":\"e\",\"tip\":\"t\",\"x\":1,"
                                       "\"y\":2,\"rotation\":15,\"feed\":300},\n"
                                       "{\"kind\":\"touch\",\"target\":\"e\",\"tip\":\"t\",\"x\":1,"
                                       "\"y\":2,\"rotation\":15,\"feed\":60}]}",
                                       "run.json:1: note: 1 touch is directly followed by a slower "
                                       "one of the same edge, tip and rotation: taken as "
                                       "'find', and not used\n  hint: a column 'stage' with 'find' "
                                       "and 'measure' says it for sure\n");
    ck_assert(run->find_inferred);
    ck_assert_uint_eq(run->observations[1].line, 2); /* of the file */
    ck_assert_int_eq(run->observations[0].use, TT_USE_FIND);
    ck_assert_int_eq(run->observations[1].use, TT_USE);
    tiptrue_run_free(run);
}
END_TEST

/* Many observations on one line: places are found in one pass, and a tree is held of one of them
 * only. */
START_TEST(many_observations_on_one_line)
{
    enum { COUNT = 50000 };
    struct tt_buffer text = {0};
    tt_buffer_puts(&text, "{\"schema\":\"tiptrue.run/1\",\"observations\":[");
    for (int i = 0; i < COUNT; i++) {
        tt_buffer_printf(
            &text,
            "%s{\"kind\":\"sight\",\"target\":\"m%d\",\"x\":%d.5,\"y\":2,\"temperature\":21.5}",
            i > 0 ? "," : "", i % 300, i);
    }
    tt_buffer_puts(&text, "]}");
    struct tiptrue_run *run = read_run(text.text, "");
    ck_assert_uint_eq(run->n_observations, COUNT);
    ck_assert_uint_eq(run->observations[0].line, 1); /* their number, since they share a line */
    ck_assert_uint_eq(run->observations[COUNT - 1].line, COUNT);
    ck_assert_double_eq(run->observations[COUNT - 1].h.x_mm, COUNT - 0.5);
    ck_assert_uint_eq(run->observations[COUNT - 1].target, (COUNT - 1) % 300);
    tiptrue_run_free(run);
    tt_buffer_clear(&text);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ingest/run_json");
    TCase *tests = tcase_create("run_json");
    tcase_add_test(tests, same_as_the_table);
    tcase_add_test(tests, pairs_are_inferred_without_stages);
    tcase_add_test(tests, many_observations_on_one_line);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
