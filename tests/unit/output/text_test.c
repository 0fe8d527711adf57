/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The text output against whole pages kept beside this file, and what must hold of every page. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "output/history.h"
#include "output/output.h"
#include "output/text/text_parts.h"
#include "sample.h"

/* The file NAME beside this one, for free(). */
static char *kept_page(const char *name)
{
    const char *srcdir = getenv("srcdir");
    char path[512];
    char *text = calloc(1, 65536);
    FILE *file;

    snprintf(path, sizeof path, "%s/tests/unit/output/%s", srcdir != NULL ? srcdir : ".", name);
    file = fopen(path, "r");
    ck_assert_msg(file != NULL, "cannot open %s", path);
    ck_assert_uint_gt(fread(text, 1, 65535, file), 0);
    fclose(file);
    return text;
}

static char *page_of(const struct sample *sample, struct tiptrue_text_options options)
{
    struct tt_buffer buffer = {0};

    tt_output_text(&sample->solution, &options, &buffer);
    ck_assert(!buffer.failed);
    return buffer.text;
}

/* @text without sequences of colour. */
static void strip_colour(char *text)
{
    char *to = text;

    while (*text != '\0') {
        if (*text == '\033') {
            text = strchr(text, 'm') + 1;
        } else {
            *to++ = *text++;
        }
    }
    *to = '\0';
}

/* Characters in the longest line of UTF-8. */
static size_t widest_line(const char *text)
{
    size_t widest = 0, width = 0;

    for (; *text != '\0'; text++) {
        width = *text == '\n' ? 0 : width + (((unsigned char)*text & 0xc0) != 0x80);
        widest = width > widest ? width : widest;
    }
    return widest;
}

START_TEST(one_tip_is_the_page_kept)
{
    struct sample sample;
    char *kept = kept_page("one-tip.txt"), *page;

    sample_one_tip(&sample);
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert_str_eq(page, kept);
    free(page);
    free(kept);
}
END_TEST

START_TEST(two_tips_with_all_rows_are_the_page_kept)
{
    struct sample sample;
    char *kept = kept_page("two-tips.txt"), *page;

    sample_two_tips(&sample);
    page = page_of(&sample, (struct tiptrue_text_options){.observations = true});
    ck_assert_str_eq(page, kept);
    free(page);
    free(kept);
}
END_TEST

START_TEST(colour_adds_nothing_but_colour)
{
    struct sample sample;
    char *plain, *colour;

    sample_two_tips(&sample);
    plain = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    colour = page_of(&sample, (struct tiptrue_text_options){.utf8 = true, .colour = true});
    ck_assert(strchr(plain, '\033') == NULL);
    ck_assert(strncmp(colour, "\033[1;31mREPEAT\033[0m", 17) == 0);
    strip_colour(colour);
    ck_assert_str_eq(colour, plain);
    free(plain);
    free(colour);
}
END_TEST

START_TEST(a_page_without_utf8_is_ascii)
{
    struct sample sample;
    char *page;

    sample_one_tip(&sample);
    sample.tips[0].name = "d\xc3\xbcse";
    sample.findings[0].text = "2 \xc3\x97 3 \xc2\xb5m \xe2\x89\xa4 \xf0\x9f\x94\xa7";
    page = page_of(&sample, (struct tiptrue_text_options){.observations = true});
    for (const char *c = page; *c != '\0'; c++) {
        ck_assert_uint_lt((unsigned char)*c, 0x80);
    }
    ck_assert(strstr(page, "write the new offset of d?se\n") != NULL);
    ck_assert(strstr(page, "2 x 3 um <= ?") != NULL);
    free(page);
}
END_TEST

START_TEST(a_name_cannot_steer_the_terminal)
{
    struct sample sample;
    char *page;

    sample_one_tip(&sample);
    sample.tips[0].name = "t\033[2J\r\x7f\xff\xc2\x9b";
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strstr(page, "new offset of t\\u001b[2J\\u000d\\u007f\\xff\\u009b\n") != NULL);
    ck_assert(strpbrk(page, "\033\r\x7f\xff") == NULL);
    free(page);
}
END_TEST

/* 2026-11-26: the page rewrote names that users gave: an edge called "90 deg" was shown as "90°",
 * one called "slot 40 um" as "slot 40 µm", since units in sentences got their signs wherever they
 * stood. A sentence is shown as it is. */
START_TEST(names_are_shown_as_they_were_given)
{
    static const char *const sentences[] = {
        "3 of 7 touches on edge '90 deg' triggered 27 µm deep",
        "edge 'Joe's 90 deg' triggered 27 µm deep",
        "'slot 40 um' was at 12°; the tip's runout is 40 µm",
        "group 'upper 5 um' is off; 'Joe's 90 deg' is 1° off",
    };

    for (size_t i = 0; i < SAMPLE_COUNT(sentences); i++) {
        struct sample sample;
        sample_one_tip(&sample);
        sample.edge_names[0] = i == 0 ? "90 deg" : "Joe's 90 deg";
        sample.tip_names[0] = sample.tips[0].name = "slot 40 um";
        sample.findings[0].severity = TIPTRUE_WARNING;
        sample.findings[0].text = sentences[i];
        sample.findings[0].n_lines = 0;
        char *page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true, .columns = 200});
        ck_assert_msg(strstr(page, sentences[i]) != NULL, "%s\n%s", sentences[i], page);
        free(page);
    }
}
END_TEST

START_TEST(lines_fit_the_terminal)
{
    struct sample sample;
    char *page;

    sample_two_tips(&sample);
    page = page_of(&sample, (struct tiptrue_text_options){.observations = true});
    ck_assert_uint_le(widest_line(page), 80);
    free(page);
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true, .columns = 300});
    ck_assert_uint_le(widest_line(page), 80);
    free(page);
    /* the prose gives way, the tables of one tip need 60 columns */
    sample_one_tip(&sample);
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true, .columns = 61});
    ck_assert_uint_le(widest_line(page), 61);
    free(page);
}
END_TEST

START_TEST(what_is_not_determined_is_said)
{
    struct sample sample;
    char *page;

    sample_one_tip(&sample);
    sample.tips[0].offset_determined_x = sample.tips[0].offset_determined_y = false;
    sample.tips[0].runout_determined = sample.tips[0].radius_determined = false;
    sample.poses[0].yaw_determined = false;
    sample.tips[0].offset_verdict = sample.tips[0].verdict = sample.solution.verdict =
        TIPTRUE_REPEAT;
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strstr(page, "  offset          not determined  not determined  mm\n") != NULL);
    ck_assert(strstr(page, "  runout          not determined\n") != NULL);
    ck_assert(strstr(page, "  contact radius  not determined\n") != NULL);
    ck_assert(strstr(page, "turned by an angle not determined\n") != NULL);
    ck_assert(strstr(page, "41.3009") ==
              NULL); /* none of the numbers that stand behind the flags */
    ck_assert(strstr(page, "0.2487") == NULL);
    ck_assert(strstr(page, "Head at") == NULL);
    free(page);
}
END_TEST

START_TEST(a_repeat_is_not_offered_for_use)
{
    struct sample sample;
    char *page;

    sample_one_tip(&sample);
    sample.tips[0].offset_verdict = sample.tips[0].verdict = sample.solution.verdict =
        TIPTRUE_REPEAT;
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strncmp(page, "REPEAT: do not use this run's results for t1\n", 45) == 0);
    ck_assert(strstr(page,
                     "\nTo check signs only, not for use: Head at (161.8012, 67.5496) mm puts "
                     "the axis\nof t1") != NULL);
    ck_assert(strstr(page, "write the new offset") == NULL);
    free(page);
}
END_TEST

/* A finding that is the reason of a verdict stands at the top, with its lines, and not again below.
 */
START_TEST(a_reason_is_told_once)
{
    struct sample sample;
    char *page, *first;

    sample_one_tip(&sample);
    sample.findings[0].severity = TIPTRUE_ERROR;
    sample.findings[0].text = "the plate moved";
    sample.reasons[0] =
        (struct tt_reason){TT_REASON_FINDING, &sample.findings[0], "late-contact: the plate moved"};
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    first = strstr(page, "the plate moved");
    ck_assert(strstr(page, "\n  late-contact: the plate moved (lines 5-6, 9)\n\nrun.csv") != NULL);
    ck_assert(strstr(first + 1, "the plate moved") == NULL);
    ck_assert(strstr(first, "Findings:\n  note, tip-not-round") != NULL);
    free(page);
}
END_TEST

/* Tips with the same reason share a line; numbers that differ are left to the tables. */
START_TEST(tips_share_a_reason)
{
    struct sample sample;
    char *page;

    sample_two_tips(&sample);
    sample.tips[0].offset_verdict = sample.tips[0].verdict = TIPTRUE_REPEAT;
    sample.tips[1].offset_verdict = sample.tips[1].verdict = TIPTRUE_UPDATE;
    sample.tips[0].p_conforming = 0.3512;
    sample.tips[1].p_conforming = 0.3574;
    sample.reasons[0] = sample.reasons_2[0] =
        (struct tt_reason){TT_REASON_NOT_WITHIN, NULL, "not within (probability 35.1 %)"};
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(
        strstr(page, "\n  t1, t2: the offset in use may be off by more than 30 \xc2\xb5m\n") !=
        NULL);
    free(page);
    sample.tips[1].p_conforming = 0.3513;
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strstr(page, "\n  t1, t2: not within (probability 35.1 %)\n\n") != NULL);
    free(page);
    sample.reasons_2[0] = (struct tt_reason){TT_REASON_CHANGED, NULL, "it changed"};
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strstr(page, "\n  t1: not within (probability 35.1 %)\n  t2: it changed\n") != NULL);
    free(page);
}
END_TEST

/* Findings that say the same of each tip are told once; not so where a number, or the edge that
 * they are about, is another one's. */
START_TEST(tips_share_what_is_found_of_each)
{
    static const struct tt_finding found = {
        TT_FINDING_FEW_TOUCHES, TIPTRUE_ERROR, "", TT_NONE, 0, TT_NONE, NULL, 0, NULL, 0};
    struct tt_finding findings[2] = {found, found};
    struct sample sample;
    char *page;

    sample_two_tips(&sample);
    sample.tips[0].offset_verdict = sample.tips[0].verdict = TIPTRUE_REPEAT;
    sample.solution.findings = findings;
    sample.solution.n_findings = 2;
    findings[1].tip = 1;
    sample.reasons[0] = (struct tt_reason){TT_REASON_FINDING, &findings[0], "few: 't1' has 5"};
    sample.reasons_2[0] = (struct tt_reason){TT_REASON_FINDING, &findings[1], "few: 't2' has 5"};
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strstr(page, "\n  t1, t2: few: each has 5\n\n") != NULL);
    free(page);
    findings[0].edge = findings[1].edge = 0;
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strstr(page, "\n  t1: few: 't1' has 5\n  t2: few: 't2' has 5\n") != NULL);
    free(page);
    findings[0].edge = findings[1].edge = TT_NONE;
    sample.reasons_2[0].text = "few: 't2' has 4";
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strstr(page, "\n  t1: few: 't1' has 5\n  t2: few: 't2' has 4\n") != NULL);
    free(page);
    sample.reasons_2[0].text = "few: 't1' has 5"; /* of t2 another tip is named */
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strstr(page, "\n  t1: few: 't1' has 5\n  t2: few: 't1' has 5\n") != NULL);
    free(page);
}
END_TEST

/* Lines that were named before are not named again. */
START_TEST(lines_are_told_once)
{
    struct sample sample;
    char *page;

    sample_one_tip(&sample);
    sample.findings[0].n_lines = 2; /* both set aside */
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strstr(page, "lines 5-6 triggered late") != NULL);
    ck_assert(strstr(page, "touch it again\n") != NULL);
    free(page);
    sample.late_lines[1] = 8; /* used */
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strstr(page, "touch it again (lines 5, 8)\n") != NULL);
    free(page);
    sample.findings[0].code = TT_FINDING_NO_CONTACT; /* its sentence names the rows */
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strstr(page, "touch it again\n") != NULL);
    free(page);
}
END_TEST

START_TEST(keep_says_what_may_be_kept)
{
    struct sample sample;
    char *page;

    sample_one_tip(&sample);
    sample.reasons[0].text = "no limit was stated";
    sample.tips[0].offset_verdict = sample.tips[0].verdict = sample.solution.verdict = TIPTRUE_KEEP;
    sample.tips[0].has_conformity = false;
    sample.tips[0].change_on_same_plate = true;
    sample.tips[0].change_expanded_x_mm = 0.00234;
    sample.tips[0].change_expanded_y_mm = 0.00254;
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strncmp(page, "KEEP: keep the present offset of t1\n  no limit was stated\n", 58) ==
              0);
    ck_assert(strstr(page, "  change                   -55.4           +10.4  \xc2\xb5m, same "
                           "plate as before\n") != NULL);
    ck_assert(strstr(page, "probability") == NULL);
    ck_assert(strstr(page, "Next: nothing to write.\n") != NULL);
    free(page);
}
END_TEST

START_TEST(no_present_offset_no_change)
{
    struct sample sample;
    char *page;

    sample_one_tip(&sample);
    sample.tips[0].has_present = false;
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(strstr(page, "  present       none stated in the machine file\n") != NULL);
    ck_assert(strstr(page, "\n  change") == NULL);
    ck_assert(strstr(page, "12.69") == NULL);
    free(page);
}
END_TEST

/* The numbers of the worked sentence add up digit by digit: head plus offset is the mark. */
START_TEST(worked_sentence_adds_up)
{
    struct sample sample;

    for (int k = 0; k < 500; k++) {
        double head[2], mark[2], offset[2];
        char *page, *sentence;
        sample_one_tip(&sample);
        sample.poses[0].mark = (struct tt_machine_xy){100 + 0.123456 * k, -50 + 0.0765432 * k};
        sample.tips[0].offset = (struct tt_machine_xy){30 - 0.2345678 * k, 0.4567891 * k - 70};
        page = page_of(&sample, (struct tiptrue_text_options){0});
        sentence = strstr(page, "Head at");
        ck_assert_ptr_nonnull(sentence);
        ck_assert_int_eq(sscanf(sentence,
                                "Head at (%lf, %lf) mm puts the axis of t1 over the mark at "
                                "(%lf, %lf) mm: offset x %lf, y %lf mm.",
                                &head[0], &head[1], &mark[0], &mark[1], &offset[0], &offset[1]),
                         6);
        for (int axis = 0; axis < 2; axis++) {
            ck_assert_int_eq(lround(head[axis] * 1e4) + lround(offset[axis] * 1e4),
                             lround(mark[axis] * 1e4));
        }
        ck_assert_double_eq_tol(offset[0], sample.tips[0].offset.x_mm, 0.51e-4);
        ck_assert_double_eq_tol(offset[1], sample.tips[0].offset.y_mm, 0.51e-4);
        ck_assert_double_eq_tol(mark[0], sample.poses[0].mark.x_mm, 0.51e-4);
        ck_assert_double_eq_tol(mark[1], sample.poses[0].mark.y_mm, 0.51e-4);
        free(page);
    }
}
END_TEST

START_TEST(uncertainty_keeps_two_digits)
{
    ck_assert_int_eq(tt_um_decimals(0.00994), 1);
    ck_assert_int_eq(tt_um_decimals(0.00996), 0);
    ck_assert_int_eq(tt_um_decimals(0.000994), 2);
    ck_assert_int_eq(tt_um_decimals(0.000996), 1);
    ck_assert_int_eq(tt_um_decimals(0.3), 0);
    ck_assert_int_eq(tt_um_decimals(0), 1);
    ck_assert_int_eq(tt_um_decimals(-0.003), 1);
}
END_TEST

static void check_lines(const size_t lines[], size_t n, const char *expected)
{
    struct tt_buffer words = {0};

    tt_text_lines(&words, lines, n);
    ck_assert_str_eq(words.text, expected);
    tt_buffer_clear(&words);
}

START_TEST(lines_are_told_in_stretches)
{
    const size_t one[] = {17}, few[] = {17, 19, 20, 21, 31, 32};
    size_t many[12];

    for (size_t i = 0; i < SAMPLE_COUNT(many); i++) {
        many[i] = 3 * i + 5;
    }
    check_lines(one, SAMPLE_COUNT(one), "line 17");
    check_lines(few, SAMPLE_COUNT(few), "lines 17, 19-21, 31-32");
    check_lines(many, 8, "lines 5, 8, 11, 14, 17, 20, 23, 26");
    check_lines(many, 9, "lines 5, 8, 11, 14, 17, 20, 23, 26 and 1 more");
    check_lines(many, 12, "lines 5, 8, 11, 14, 17, 20, 23, 26 and 4 more");
}
END_TEST

START_TEST(probabilities_near_certainty_do_not_lie)
{
    static const struct {
        double p;
        const char *text;
    } CASES[] = {{0.9996, "probability over 99.9 %;"}, {0.9994, "probability 99.9 %;"},
                 {0.0004, "probability under 0.1 %;"}, {0.0006, "probability 0.1 %;"},
                 {0.5051, "probability 51 %;"},        {0.9512, "probability 95.1 %;"}};

    for (size_t i = 0; i < SAMPLE_COUNT(CASES); i++) {
        struct sample sample;
        char *page;
        sample_one_tip(&sample);
        sample.tips[0].p_conforming = CASES[i].p;
        page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
        ck_assert_msg(strstr(page, CASES[i].text) != NULL, "%s not in\n%s", CASES[i].text, page);
        free(page);
    }
}
END_TEST

START_TEST(lost_motion_and_latency_are_told)
{
    struct sample sample;
    char *page;

    sample_one_tip(&sample);
    sample.solution.has_lost_motion = sample.solution.has_latency = true;
    sample.solution.lost_motion_mm = -0.01234;
    sample.solution.u_lost_motion_mm = 0.00043;
    sample.solution.latency_s = 0.00456;
    sample.solution.u_latency_s = 0.0021;
    page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
    ck_assert(
        strstr(
            page,
            "on X less that on Y: -12.34 \xc2\xb5m (standard uncertainty\n  0.43 \xc2\xb5m)\n") !=
        NULL);
    ck_assert(strstr(page, "latch latency: +4.6 ms (standard uncertainty 2.1 ms)\n") != NULL);
    free(page);
}
END_TEST

/* A slope with the digits that its uncertainty has, which is told doubled. */
START_TEST(slopes_and_pads_are_told)
{
    static const struct {
        double u_x, u_y;
        const char *told;
    } OF[] = {
        {9.45e-5, 9.55e-5, "+1.235 \xc2\xb1 0.189 mm/m along x, -0.56 \xc2\xb1 0.19 mm/m along y"},
        {9.45e-4, 9.55e-4, "+1.23 \xc2\xb1 1.89 mm/m along x, -0.6 \xc2\xb1 1.9 mm/m along y"}};
    struct tt_height_result height = {.determined = true, .value_mm = -19.8043};
    struct tt_pad_result pads[] = {{.name = "p1", .shift_mm = 0.0213},
                                   {.name = "p2", .shift_mm = -0.0178}};
    struct tt_surface_result surface = {.slope_determined = true,
                                        .slope_x = 1.2346e-3,
                                        .slope_y = -5.647e-4,
                                        .pads = pads,
                                        .n_pads = 2};
    struct sample sample;
    char *page;

    sample_one_tip(&sample);
    sample.tips[0].height = &height;
    sample.solution.surface = &surface;
    sample.solution.n_surface = 1;
    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++) {
        surface.u_slope_x = OF[i].u_x;
        surface.u_slope_y = OF[i].u_y;
        page = page_of(&sample, (struct tiptrue_text_options){.utf8 = true});
        for (char *end = page; (end = strstr(end, "\n  ")) != NULL;) {
            memmove(end, end + 2, strlen(end + 2) + 1); /* one line again */
            *end = ' ';
        }
        ck_assert_msg(strstr(page, OF[i].told) != NULL, "not told '%s':\n%s", OF[i].told, page);
        ck_assert_ptr_nonnull(strstr(page, "heights by p1 +21.3, p2 -17.8 \xc2\xb5m"));
        free(page);
    }
}
END_TEST

/* Solved again: what differs by less than half of the last decimal shown, 0.01 um, is no
 * difference. */
START_TEST(differences_that_show)
{
    static const double BY_MM[] = {4.98e-6, -5.02e-6, 0.00317};
    static const char *const TOLD[] = {NULL, "  t1: contact radius -0.01 \xc2\xb5m\n",
                                       "  t1: contact radius +3.17 \xc2\xb5m\n"};

    for (size_t i = 0; i < sizeof BY_MM / sizeof BY_MM[0]; i++) {
        struct sample before, anew;
        struct tt_buffer text = {0};
        sample_one_tip(&before);
        sample_one_tip(&anew);
        anew.tips[0].contact_radius_mm += BY_MM[i];
        ck_assert(tt_output_again_text(&before.solution, "0.1", &anew.solution,
                                       &(struct tiptrue_text_options){.utf8 = true}, &text));
        ck_assert_msg(TOLD[i] == NULL ? strstr(text.text, "contact radius") == NULL
                                      : strstr(text.text, TOLD[i]) != NULL,
                      "by %g mm:\n%s", BY_MM[i], text.text);
        tt_buffer_clear(&text);
    }
}
END_TEST

int main(void)
{
    const TTest *const TESTS[] = {one_tip_is_the_page_kept,
                                  two_tips_with_all_rows_are_the_page_kept,
                                  colour_adds_nothing_but_colour,
                                  a_page_without_utf8_is_ascii,
                                  a_name_cannot_steer_the_terminal,
                                  names_are_shown_as_they_were_given,
                                  lines_fit_the_terminal,
                                  what_is_not_determined_is_said,
                                  a_repeat_is_not_offered_for_use,
                                  a_reason_is_told_once,
                                  tips_share_a_reason,
                                  tips_share_what_is_found_of_each,
                                  lines_are_told_once,
                                  keep_says_what_may_be_kept,
                                  no_present_offset_no_change,
                                  worked_sentence_adds_up,
                                  uncertainty_keeps_two_digits,
                                  lines_are_told_in_stretches,
                                  probabilities_near_certainty_do_not_lie,
                                  lost_motion_and_latency_are_told,
                                  slopes_and_pads_are_told,
                                  differences_that_show};
    Suite *suite = suite_create("output/text");
    TCase *cases = tcase_create("text");
    SRunner *runner;
    int failed;

    for (size_t i = 0; i < SAMPLE_COUNT(TESTS); i++) {
        tcase_add_test(cases, TESTS[i]);
    }
    suite_add_tcase(suite, cases);
    runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
