/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The tables of docs/statistics.md about views and axes: views [RUNS], 500 runs of each design
 * unless said. Truth is drawn as the files state it: marks by 3 um, edges by 6 um, a view's
 * repeatability of 0.15 pixels (2.6 um) with ten degrees of freedom; a touch repeats to 2.5 um. A
 * centred sighting repeats to 3.7 um: as a view does, and as much again for the centring. */
#include "config.h"

#include "view_runs.h"

#include <stdint.h>

#include "adjust/uncertainty.h"
#include "tiptrue.h"

/* How the plate is turned, and how well that is known beforehand: all there is of it with one mark.
 */
#define YAW_RAD 0.012
#define U_YAW_RAD 0.0009

enum {
    SCALE_X,
    SCALE_Y,
    TURN,
    SHEAR,
    KAPPA,
    OFFSET_X,
    OFFSET_Y,
    AXIS_1,
    AXIS_2,
    AXIS_3,
    QUANTITIES
};

struct design {
    enum tt_kind kind;
    size_t marks, seen;
    bool kappa, axes;
};

struct tally {
    size_t runs, held[QUANTITIES], of[QUANTITIES], axes, distortion, repeat;
    double squares; /* of the offset's error on this plate, x and y */
};

/* xorshift64* (S. Vigna, ACM TOMS 42, 2016), Box and Muller. */
static uint64_t state = 88172645463325252u;
static double uniform(void)
{
    state ^= state >> 12;
    state ^= state << 25;
    state ^= state >> 27;
    return ((double)((state * 2685821657736338717u) >> 11) + 0.5) / 9007199254740992.0;
}
static double normal(void)
{
    return sqrt(-2 * log(uniform())) * cos(2 * TT_PI * uniform());
}

/* A standard deviation of which @stated was stated with TT_STATED_DOF degrees of freedom. */
static double true_sigma(double stated)
{
    double squares = 0;

    for (int k = 0; k < (int)TT_STATED_DOF; k++) {
        double z = normal();
        squares += z * z;
    }
    return stated * sqrt(TT_STATED_DOF / squares);
}

static void count(struct tally *tally, int what, double error, double expanded)
{
    tally->of[what]++;
    tally->held[what] += fabs(error) < expanded;
}

static void judge(const struct scene *s, const struct design *d,
                  const struct tiptrue_solution *solution, struct tally *tally)
{
    const struct tt_camera_result *c = &solution->camera;
    const struct tt_tip_result *tip = &solution->tips[0];
    const struct tt_axes_result *a = &solution->axes;
    const struct tt_truth_camera *truth = &s->truth.camera;
    double x = tip->offset.x_mm - s->tip.offset.x_mm, y = tip->offset.y_mm - s->tip.offset.y_mm;

    tally->runs++;
    tally->axes += a->found;
    tally->distortion += c->has_distortion;
    tally->repeat += solution->verdict == TIPTRUE_REPEAT;
    count(tally, OFFSET_X, x, tip->expanded_x_mm);
    count(tally, OFFSET_Y, y, tip->expanded_y_mm);
    tally->squares += x * x + y * y;
    if (c->views > 0 && c->determined) {
        double t = tt_factor_line(c->dof);
        count(tally, SCALE_X, c->scale_x_mm - truth->scale_mm[0], t * c->u_scale_x_mm);
        count(tally, SCALE_Y, c->scale_y_mm - truth->scale_mm[1], t * c->u_scale_y_mm);
        count(tally, TURN, tt_angle_wrap(c->turn_rad - truth->turn_rad), t * c->u_turn_rad);
        count(tally, SHEAR, c->shear_rad - truth->shear_rad, t * c->u_shear_rad);
        if (d->kappa) {
            count(tally, KAPPA, c->kappa - truth->kappa, t * c->u_kappa);
        }
    }
    if (a->found && d->axes) {
        count(tally, AXIS_1, a->scale_x - s->truth.axes.scale_x, 1.96 * a->u_scale_x);
        count(tally, AXIS_2, a->scale_y - s->truth.axes.scale_y, 1.96 * a->u_scale_y);
        count(tally, AXIS_3, a->square_rad - s->truth.axes.square_rad, 1.96 * a->u_square_rad);
    }
}

static void draw(struct scene *s, const struct design *d, bool exact)
{
    static const char *const MARKS[] = {"B", "C", "D"}, *const EDGES[] = {"e", "n", "w", "s"};
    static struct tt_truth_shift marks[3];
    static struct tt_truth_edge edges[4];

    for (size_t k = 0; k < 3; k++) {
        marks[k] = (struct tt_truth_shift){MARKS[k], {0.003 * normal(), 0.003 * normal()}};
    }
    for (size_t k = 0; k < 4; k++) {
        edges[k] = (struct tt_truth_edge){EDGES[k], exact ? 0 : 0.006 * normal()};
    }
    s->pose.yaw_rad = s->machine->yaw_rad + s->machine->u_yaw_rad * normal();
    s->truth.marks = marks;
    s->truth.n_marks = 3;
    s->truth.edges = edges;
    s->truth.n_edges = 4;
    s->truth.camera.sigma_px = (struct tt_stated){true, true_sigma(s->machine->camera.u_px)};
    s->truth.sighting_sigma_mm = (struct tt_stated){true, true_sigma(s->machine->u_sighting_mm)};
    s->truth.camera.kappa = d->kappa ? 0.006 * normal() : 0;
    if (d->axes) {
        s->truth.axes =
            (struct tt_truth_axes){uniform() < 0.5 ? -5e-4 : 5e-4, uniform() < 0.5 ? -5e-4 : 5e-4,
                                   uniform() < 0.5 ? -5e-4 : 5e-4};
    }
}

/* @exact: the edges are where the plate file has them, so that the error is that of touches and
 * marks alone. */
static void run_design(const struct design *d, size_t runs, bool exact, struct tally *tally)
{
    struct scene s;
    struct tt_adjust_workspace *workspace = NULL;

    *tally = (struct tally){0};
    scene_make(&s, d->kind, d->marks, d->seen, "0.0173, 0.0169", "0.43");
    s.machine->camera.u_kappa = d->kappa ? 0.006 : 0;
    s.machine->yaw_rad = YAW_RAD;
    s.machine->u_yaw_rad = U_YAW_RAD;
    if (d->kind == TT_SIGHT) {
        s.machine->u_sighting_mm = 0.0037;
    }
    must(tt_adjust_workspace_new(&workspace, NULL) == TIPTRUE_OK);
    for (size_t k = 0; k < runs; k++) {
        struct tiptrue_solution *solution = NULL;
        draw(&s, d, exact);
        struct tiptrue_run *run = scene_run(&s, k + 1);
        must(tt_adjust(workspace, s.plate, s.machine, run, NULL, &solution, NULL) == TIPTRUE_OK);
        judge(&s, d, solution, tally);
        tiptrue_solution_free(solution);
        tiptrue_run_free(run);
    }
    tt_adjust_workspace_free(workspace);
    scene_clear(&s);
}

static void print(const struct design *d, const struct tally *t)
{
    printf("%-5s %zu %2zu %s%s |", d->kind == TT_VIEW ? "view" : "sight", d->marks, d->seen,
           d->kappa ? "k" : "-", d->axes ? "a" : "-");
    for (int k = 0; k < QUANTITIES; k++) {
        if (t->of[k] > 0) {
            printf(" %5.1f", 100 * (double)t->held[k] / (double)t->of[k]);
        } else {
            printf("     -");
        }
    }
    printf(" | %6.2f %6.2f %6.2f | %5.2f um\n", 100 * (double)t->axes / (double)t->runs,
           100 * (double)t->distortion / (double)t->runs, 100 * (double)t->repeat / (double)t->runs,
           1e3 * sqrt(t->squares / (2 * (double)t->runs)));
    fflush(stdout);
}

int main(int argc, char **argv)
{
    static const size_t SEEN[] = {3, 6, 9};
    size_t runs = argc > 1 ? strtoul(argv[1], NULL, 10) : 500;
    struct tally tally;

    puts("kind marks each (k: kappa drawn, a: axes off) | held, %: scale x, y, turn, shear, kappa, "
         "offset x, y, axes | found, %: axes, distortion; repeat | rms of the offset");
    for (int faults = 0; faults < 3; faults++) {
        for (size_t marks = faults == 2 ? 3 : 1; marks <= 4; marks++) {
            for (size_t k = 0; k < 3; k++) {
                struct design d = {TT_VIEW, marks, SEEN[k], faults == 1, faults == 2};
                run_design(&d, runs, false, &tally);
                print(&d, &tally);
            }
        }
    }
    puts("edges exact: views, views about the picture's middle, twice as many sightings");
    for (size_t marks = 1; marks <= 4; marks++) {
        for (size_t k = 0; k < 3; k++) {
            struct design views = {TT_VIEW, marks, SEEN[k], false, false};
            struct design sights = {TT_SIGHT, marks, 2 * SEEN[k], false, false};
            run_design(&views, runs, true, &tally);
            print(&views, &tally);
            places = ABOUT_MIDDLE;
            run_design(&views, runs, true, &tally);
            print(&views, &tally);
            places = PIXELS;
            run_design(&sights, runs, true, &tally);
            print(&sights, &tally);
        }
    }
    return 0;
}
