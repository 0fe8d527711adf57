/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* From files to a verdict. The first byte says what the others are: 't' plate, machine and log, a
 * line "=" between them; 'l' choices: a plate and a machine, for which touches are planned, their
 * run simulated and solved, and then spoiled and solved again; 'c' the same with touches that are
 * chosen, since planning takes most of the time. A solution keeps its promises, is written, and
 * read back gives the same bytes; without faults it holds the truth, or says no. */
#include "config.h"

#include <math.h>

#include "base/buffer.h"
#include "ingest/ingest.h"
#include "model/proposal.h"
#include "output/output.h"
#include "replay.h"
#include "tiptrue.h"

/* Beyond so many expanded uncertainties a clean run is wrong: 8 standard deviations and more. */
#define FAR 4.0

struct files {
    struct tiptrue_plate *plate;
    struct tiptrue_machine *machine;
    struct tiptrue_workspace *workspace;
    struct tiptrue_error error;
};

static void check_tip(const struct tiptrue_solution *solution, const struct tt_tip_result *tip)
{
    if (tip->offset_determined_x && tip->offset_determined_y) {
        FUZZ_ASSERT(isfinite(tip->offset.x_mm) && isfinite(tip->offset.y_mm) && tip->dof > 0);
        FUZZ_ASSERT(tip->cov.xx_mm2 >= 0 && tip->cov.yy_mm2 >= 0 &&
                    tip->cov.xy_mm2 * tip->cov.xy_mm2 <=
                        tip->cov.xx_mm2 * tip->cov.yy_mm2 * (1 + 1e-9) + 1e-30);
        FUZZ_ASSERT(isfinite(tip->expanded_x_mm) && isfinite(tip->expanded_y_mm));
    } else {
        FUZZ_ASSERT(tip->verdict >= TIPTRUE_REPEAT);
    }
    FUZZ_ASSERT(tip->used <= tip->touches);
    FUZZ_ASSERT(!tip->has_conformity || (tip->p_conforming >= 0 && tip->p_conforming <= 1));
    if (tip->verdict == TIPTRUE_KEEP && solution->has_permitted_error) {
        FUZZ_ASSERT(tip->has_present && fabs(tip->change.x_mm) <= solution->permitted_error_mm &&
                    fabs(tip->change.y_mm) <= solution->permitted_error_mm);
    }
}

static void check_solution(const struct tiptrue_solution *solution)
{
    struct tt_buffer text = {0}, first = {0}, second = {0};
    struct tiptrue_solution *again = NULL;
    for (size_t i = 0; i < solution->n_tips; i++) {
        check_tip(solution, &solution->tips[i]);
        FUZZ_ASSERT(!tt_tip_is_wanted(solution, solution->tips[i].name) ||
                    solution->tips[i].verdict <= solution->verdict ||
                    solution->verdict == TIPTRUE_REPEAT);
    }
    tt_output_text(solution, NULL, &text);
    tt_output_json(solution, NULL, &first);
    FUZZ_ASSERT(!text.failed && !first.failed && text.length > 0 && first.length > 0);
    FUZZ_ASSERT(strpbrk(text.text, "\r\033\t") == NULL);
    FUZZ_ASSERT(tt_result_read_bytes("r", first.text, first.length, NULL, &again, NULL) ==
                TIPTRUE_OK);
    tt_output_json(again, NULL, &second);
    FUZZ_ASSERT(first.length == second.length &&
                memcmp(first.text, second.text, first.length) == 0);
    tiptrue_solution_free(again);
    tt_buffer_clear(&text);
    tt_buffer_clear(&first);
    tt_buffer_clear(&second);
}

/* Of a run without faults: what is said of offsets is true, or nothing is said. */
static void check_truth(const struct tiptrue_solution *solution, const struct tiptrue_truth *truth)
{
    for (size_t i = 0; i < solution->n_tips; i++) {
        const struct tt_tip_result *tip = &solution->tips[i];
        for (size_t k = 0; k < truth->n_tips; k++) {
            const struct tt_truth_tip *is = &truth->tips[k];
            FUZZ_ASSERT(tip->verdict >= TIPTRUE_REPEAT || strcmp(is->name, tip->name) != 0 ||
                        (fabs(tip->offset.x_mm - is->offset.x_mm) < FAR * tip->expanded_x_mm &&
                         fabs(tip->offset.y_mm - is->offset.y_mm) < FAR * tip->expanded_y_mm));
        }
    }
}

/* ---- files ---- */

static void solve_run(struct files *f, const struct tiptrue_run *run,
                      const struct tiptrue_truth *truth)
{
    struct tiptrue_solution *solution = NULL;
    char *text = NULL;
    FUZZ_ASSERT(tiptrue_check(f->workspace, f->plate, f->machine, run, true, NULL, NULL, &text,
                              NULL, &f->error) == TIPTRUE_OK);
    free(text);
    FUZZ_ASSERT(tiptrue_solve(f->workspace, f->plate, f->machine, run, NULL, &solution,
                              &f->error) == TIPTRUE_OK);
    check_solution(solution);
    if (truth != NULL) {
        check_truth(solution, truth);
    }
    tiptrue_solution_free(solution);
}

/* The next part of *text: up to a line "=", or to the end. */
static const char *next_part(const char **text, const char *end, size_t *length)
{
    const char *start = *text, *at = start;
    while (at < end && !(end - at >= 3 && memcmp(at, "\n=\n", 3) == 0)) {
        at++;
    }
    *length = (size_t)(at - start);
    *text = at < end ? at + 3 : end;
    return start;
}

static void solve_files(struct files *f, const char *text, size_t size)
{
    const char *end = text + size;
    size_t length[3];
    const char *part[3];
    struct tiptrue_run *run = NULL;
    for (int i = 0; i < 3; i++) {
        part[i] = next_part(&text, end, &length[i]);
    }
    if (tt_plate_read_bytes("p", part[0], length[0], NULL, &f->plate, NULL) == TIPTRUE_OK &&
        tt_machine_read_bytes("m", part[1], length[1], NULL, &f->machine, NULL) == TIPTRUE_OK &&
        tt_run_read_bytes("r", part[2], length[2], f->plate, f->machine, NULL, NULL, NULL, &run,
                          NULL) == TIPTRUE_OK) {
        solve_run(f, run, NULL);
    }
    tiptrue_run_free(run);
}

/* ---- choices ---- */

struct choices {
    const uint8_t *at, *end;
};

/* A number from @low to @high. */
static double choose(struct choices *c, double low, double high)
{
    unsigned value = 0;
    for (int i = 0; i < 2; i++) {
        value = value << 8 | (c->at < c->end ? *c->at++ : 0x5B);
    }
    return low + (high - low) * value / 65535.0;
}

/* A number from @low to @high, near @low mostly: what is many times as long to solve is tried less
 * often. */
static double choose_low(struct choices *c, double low, double high)
{
    double t = choose(c, 0, 1);
    return low + (high - low) * t * t * t;
}

/* A plate of three to eight edges about its middle, few mostly, and two marks. */
static void make_plate(struct choices *c, char *text, size_t size)
{
    int n = (int)choose_low(c, 3, 8.99);
    double x = choose(c, 12, 40), y = choose(c, -30, 30), u = choose(c, 0.0005, 0.02);
    int at = snprintf(text, size,
                      "{\"schema\":\"tiptrue.plate/1\",\"name\":\"p\",\"reference\":\"A\","
                      "\"marks\":[{\"name\":\"A\",\"at\":[0,0]},{\"name\":\"B\",\"at\":[%.3f,%.3f],"
                      "\"u\":%.4f}],\"edges\":[",
                      x, y, u);
    for (int i = 0; i < n; i++) {
        double angle = 6.2831853 * i / n + choose(c, -0.5, 0.5), far = choose(c, 8, 40);
        double half = choose(c, 3, 12);
        x = far * cos(angle);
        y = far * sin(angle);
        u = choose(c, 0.0005, 0.02);
        at += snprintf(text + at, size - (size_t)at,
                       "%s{\"name\":\"e%d\",\"from\":[%.4f,%.4f],\"to\":[%.4f,%.4f],"
                       "\"free_side\":\"right\",\"u\":%.4f}",
                       i > 0 ? "," : "", i, x + half * sin(angle), y - half * cos(angle),
                       x - half * sin(angle), y + half * cos(angle), u);
    }
    snprintf(text + at, size - (size_t)at, "]}");
}

static void make_machine(struct choices *c, char *text, size_t size)
{
    static const double ranges[][2] = {{0.0002, 0.01}, {0.0005, 0.01}, {0.0005, 0.01},
                                       {0.002, 0.5},   {0.005, 0.3}, /* as in the text */
                                       {0.1, 1.5},     {0.002, 0.05},  {-60, 60},
                                       {-60, 60},      {0, 2},         {0, 4}};
    double v[sizeof ranges / sizeof ranges[0]]; /* in order: that of arguments is not stated */
    for (size_t i = 0; i < sizeof ranges / sizeof ranges[0]; i++) {
        v[i] = choose(c, ranges[i][0], ranges[i][1]);
    }
    snprintf(
        text, size,
        "{\"schema\":\"tiptrue.machine/1\",\"name\":\"m\",\"resolution\":%.4f,"
        "\"touch\":{\"u\":%.5f},\"sighting\":{\"u\":%.5f},\"rotation\":{\"u_deg\":%.3f,"
        "\"sense\":\"%s\"},\"limits\":{\"permitted_error\":%.4f},\"tips\":[{\"name\":\"t\","
        "\"radius\":%.4f,\"radius_u\":%.4f,\"offset\":[%.4f,%.4f]}%s]}",
        v[0], v[1], v[2], v[3], v[9] < 1 ? "ccw" : "cw", v[4], v[5], v[6], v[7], v[8],
        v[10] < 3
            ? ""
            : ",{\"name\":\"v\",\"radius\":0.52,\"radius_u\":0.012,\"offset\":[-23.85,11.07]}");
}

/* Touches late, early, mis-sighted or misnamed, few or many, as the choices say; whether any is. */
static bool spoil(struct choices *c, const struct tiptrue_plate *plate, struct tiptrue_run *run)
{
    const size_t every = (size_t)choose_low(c, 1, 12.99);
    const size_t most = (size_t)choose_low(c, 0, 12);
    for (size_t n = 0, i = 0; n < most && c->end - c->at >= 3; n++, i += every) {
        struct tt_observation *o = &run->observations[i % run->n_observations];
        double size_mm = pow(10, choose(c, -4, 1.5));
        switch (*c->at++ % 6) {
        case 0:
            o->h.x_mm += size_mm;
            break;
        case 1:
            o->h.y_mm -= size_mm;
            break;
        case 2:
            o->rotation_rad += size_mm;
            break;
        case 3:
            o->target = o->kind == TT_TOUCH ? (o->target + 1) % plate->n_edges : o->target;
            break;
        default: /* as it was */
            break;
        }
    }
    return most > 0;
}

/* The run as its log, read again; @truth NULL: it is spoilt. */
static void solve_log(struct files *f, const struct tiptrue_run *run,
                      const struct tiptrue_truth *truth)
{
    struct tiptrue_run *again = NULL;
    char *text = NULL;
    size_t length = 0;
    FUZZ_ASSERT(tiptrue_run_csv(run, f->plate, TIPTRUE_UNITS_MM, &text, &length, &f->error) ==
                TIPTRUE_OK);
    enum tiptrue_status status =
        tt_run_read_bytes("r", text, length, f->plate, f->machine, NULL, NULL, NULL, &again, NULL);
    FUZZ_ASSERT(status == TIPTRUE_OK || truth == NULL);
    if (again != NULL) {
        solve_run(f, again, truth);
    }
    tiptrue_run_free(again);
    free(text);
}

static void write_plan(struct files *f, const struct tiptrue_proposal *proposal)
{
    struct tiptrue_plan *plan = NULL;
    char *text = NULL;
    size_t length = 0;
    FUZZ_ASSERT(tiptrue_proposal_write(proposal, f->machine, TIPTRUE_PLAN_JSON, NULL, &text,
                                       &length, &f->error) == TIPTRUE_OK);
    FUZZ_ASSERT(tt_plan_read_bytes("l", text, length, NULL, &plan, NULL) == TIPTRUE_OK);
    FUZZ_ASSERT(plan->n_moves == tiptrue_proposal_moves(proposal));
    tiptrue_plan_free(plan);
    free(text);
}

/* Touches of all edges in turn, at rotations by a step, sightings before and after them. */
static struct tiptrue_plan *choose_plan(const struct files *f, struct choices *c)
{
    static const char SIGHT[] = "{\"kind\":\"sight\",\"target\":\"%s\"}%s";
    static const char TOUCH[] =
        "{\"kind\":\"touch\",\"target\":\"%s\",\"tip\":\"%s\",\"rotation\":%.3f},";
    size_t n = (size_t)choose_low(c, 3, 16), skip = (size_t)choose(c, 1, 3.99);
    double step_deg = choose(c, 1, 180);
    struct tt_buffer text = {0};
    struct tiptrue_plan *plan = NULL;
    tt_buffer_puts(&text, "{\"schema\":\"tiptrue.plan/1\",\"moves\":[");
    for (size_t k = 0; k < f->plate->n_marks; k++) {
        tt_buffer_printf(&text, SIGHT, f->plate->marks[k].name, ",");
    }
    for (size_t i = 0; i < n * f->machine->n_tips; i++) {
        tt_buffer_printf(&text, TOUCH, f->plate->edges[i * skip % f->plate->n_edges].name,
                         f->machine->tips[i / n].name, fmod((double)i * step_deg, 360));
    }
    tt_buffer_printf(&text, SIGHT, f->plate->marks[0].name, "]}");
    FUZZ_ASSERT(!text.failed);
    FUZZ_ASSERT(tt_plan_read_bytes("c", text.text, text.length, NULL, &plan, NULL) == TIPTRUE_OK);
    tt_buffer_clear(&text);
    return plan;
}

/* The plan's run as it is, and spoilt. */
static void solve_plan(struct files *f, struct choices *c, const struct tiptrue_plan *plan)
{
    unsigned long seed = (unsigned long)choose(c, 1, 65535);
    struct tiptrue_truth *truth = NULL;
    struct tiptrue_run *run = NULL;
    FUZZ_ASSERT(tiptrue_truth_draw(f->plate, f->machine, plan, seed, false, &truth, &f->error) ==
                TIPTRUE_OK);
    if (tiptrue_simulate(f->plate, f->machine, plan, truth, seed, &run, NULL) == TIPTRUE_OK) {
        solve_log(f, run, truth);
        if (spoil(c, f->plate, run)) {
            solve_log(f, run, NULL);
        }
    }
    tiptrue_run_free(run);
    tiptrue_truth_free(truth);
}

static void go_round(struct files *f, struct choices *c, bool planned)
{
    static char plate[4000], machine[1000];
    struct tiptrue_plan_options options = {.touches = (size_t)choose_low(c, 8, 24)};
    options.sightings = (size_t)choose(c, 1, 4);
    options.setups = (size_t)choose(c, 1, 2.2);
    struct tiptrue_proposal *proposal = NULL;
    make_plate(c, plate, sizeof plate);
    make_machine(c, machine, sizeof machine);
    FUZZ_ASSERT(tt_machine_read_bytes("m", machine, strlen(machine), NULL, &f->machine,
                                      &f->error) == TIPTRUE_OK);
    /* edges that cross, or touches that are too few, are refused */
    if (tt_plate_read_bytes("p", plate, strlen(plate), NULL, &f->plate, NULL) != TIPTRUE_OK) {
        return;
    }
    if (!planned) {
        struct tiptrue_plan *plan = choose_plan(f, c);
        solve_plan(f, c, plan);
        tiptrue_plan_free(plan);
    } else if (tiptrue_plan_make(f->workspace, f->plate, f->machine, &options, &proposal, NULL) ==
               TIPTRUE_OK) {
        write_plan(f, proposal);
        solve_plan(f, c, tiptrue_proposal_plan(proposal));
        tiptrue_proposal_free(proposal);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct files f = {0};
    if (size == 0 || memchr("tlc", data[0], 3) == NULL) {
        return 0;
    }
    FUZZ_ASSERT(tiptrue_workspace_new(&f.workspace, NULL) == TIPTRUE_OK);
    if (data[0] == 't') {
        solve_files(&f, (const char *)data + 1, size - 1);
    } else {
        go_round(&f, &(struct choices){data + 1, data + size}, data[0] == 'l');
    }
    tiptrue_plate_free(f.plate);
    tiptrue_machine_free(f.machine);
    tiptrue_workspace_free(f.workspace);
    return 0;
}
