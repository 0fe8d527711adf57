/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "adjust/views.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <string.h>

/* Views of one mark tell a direction of the picture where their spread along it is at least this
 * many pixels, and this share of the spread across: twenty times the error of a usual view (common
 * practice, no source), so that the direction is known to a few percent. */
#define LEAST_SPREAD_PX 4.0
#define LEAST_SPREAD_SHARE 0.03
/* Steps of reweighting, and residuals, in pixels, below which all count alike. */
#define START_STEPS 12
#define FLOOR_PX 0.1
/* What is known of each of the four numbers beside what the views tell, in pixels' sizes: a tenth,
 * which is nothing against views that tell it (some 10^-4) and keeps the rest solvable. */
#define VAGUE_SHARE 0.1
/* Pixels are square and the picture's axes perpendicular to two parts in a hundred (common
 * practice, no source): what views along one line cannot tell. */
#define SQUARE_SHARE 0.02
/* A pixel of a camera of which nothing is known, mm: pictures of bench machines are 10 to 40 mm
 * wide (common practice, no source). */
#define USUAL_PIXEL_MM 0.02
/* Of a median of squares against their mean, and that median itself, for normal deviates. */
#define MEDIAN_EFFICIENCY 0.37
#define MEDIAN_OF_SQUARES 0.455
/* Marks span a plane where their spread across is at least this, mm, and this share of that along.
 */
#define LEAST_SPAN_MM 1.0
#define LEAST_SPAN_SHARE 0.05

struct tt_picture_matrix tt_picture_matrix(const double p[4])
{
    return (struct tt_picture_matrix){{{p[0] + p[2], p[3] - p[1]}, {p[1] + p[3], p[0] - p[2]}}};
}

void tt_picture_slope(double x, double y, double slope[2][4])
{
    const double by[2][4] = {{x, -y, x, y}, {y, x, -y, x}};
    memcpy(slope, by, sizeof by);
}

void tt_picture_corner(const struct tt_camera *camera, size_t k, double v[2])
{
    v[0] = (k % 2 == 0 ? 0 : camera->size_px[0]) - camera->centre_px[0];
    v[1] = camera->centre_px[1] - (k / 2 == 0 ? 0 : camera->size_px[1]);
}

void tt_views_lay_out(struct tt_model *model, size_t *next)
{
    struct tt_picture_model *picture = &model->picture;
    const struct tt_camera *camera = &model->machine->camera;
    size_t n = 0;

    for (size_t i = 0; model->run->quantum_px > 0 && i < model->run->n_observations; i++) {
        const struct tt_observation *o = &model->run->observations[i];
        n += o->kind == TT_VIEW && o->use == TT_USE;
    }
    *picture = (struct tt_picture_model){.n = n, .at = TT_NONE, .at_kappa = TT_NONE};
    if (n == 0) {
        return;
    }
    picture->rho_px = 0.5 * hypot(camera->size_px[0], camera->size_px[1]);
    picture->at = *next;
    *next += 4;
    if (model->terms.distortion || camera->u_kappa > 0) {
        picture->at_kappa = (*next)++;
    }
}

/* ---- the start ---- */

/* Views in groups whose mean tells nothing: y + A v is the same within each but for errors. */
struct differences {
    const struct tt_model *model;
    size_t n_groups;
    size_t *group;           /* per sighting */
    struct tt_machine_xy *y; /* per sighting */
    double *weight, *sorted; /* per sighting; twice as many */
    double (*mean)[5];       /* per group: sum of weights, means of v and y */
    double s[3], t[4];       /* sums of weighted squares of v; products of y and v */
    double numbers[4];
    size_t groups, views;
};

static void sum_groups(struct differences *d)
{
    memset(d->mean, 0, d->n_groups * sizeof *d->mean);
    for (size_t i = 0; i < d->model->n_sights; i++) {
        const struct tt_sight *sight = &d->model->sights[i];
        double *m = d->mean[d->group[i]], w = d->weight[i];
        m[0] += w;
        m[1] += w * sight->v_x;
        m[2] += w * sight->v_y;
        m[3] += w * d->y[i].x_mm;
        m[4] += w * d->y[i].y_mm;
    }
    d->groups = 0;
    for (size_t g = 0; g < d->n_groups; g++) {
        d->groups += d->mean[g][0] > 0;
        for (size_t k = 1; k < 5 && d->mean[g][0] > 0; k++) {
            d->mean[g][k] /= d->mean[g][0];
        }
    }
}

/* v and y of sighting @i about its group's means. */
static void deviation(const struct differences *d, size_t i, double v[2], double y[2])
{
    const struct tt_sight *sight = &d->model->sights[i];
    const double *m = d->mean[d->group[i]];

    v[0] = sight->v_x - m[1];
    v[1] = sight->v_y - m[2];
    y[0] = d->y[i].x_mm - m[3];
    y[1] = d->y[i].y_mm - m[4];
}

static void sum_products(struct differences *d)
{
    double v[2], y[2];

    memset(d->s, 0, sizeof d->s);
    memset(d->t, 0, sizeof d->t);
    for (size_t i = 0; i < d->model->n_sights; i++) {
        double w = d->weight[i];
        deviation(d, i, v, y);
        d->s[0] += w * v[0] * v[0];
        d->s[1] += w * v[0] * v[1];
        d->s[2] += w * v[1] * v[1];
        for (size_t k = 0; k < 4; k++) {
            d->t[k] += w * y[k / 2] * v[k % 2];
        }
    }
}

/* In how many directions of the picture the views differ: 0, 1 or 2. */
static unsigned rank_of(const struct differences *d)
{
    double mean = 0.5 * (d->s[0] + d->s[2]), half = 0.5 * (d->s[0] - d->s[2]);
    double root = hypot(half, d->s[1]), most = sqrt(fmax(mean + root, 0)),
           least = sqrt(fmax(mean - root, 0));

    return most < LEAST_SPREAD_PX                                         ? 0
           : least < LEAST_SPREAD_PX || least < LEAST_SPREAD_SHARE * most ? 1
                                                                          : 2;
}

/* All four numbers by least squares with the present weights. */
static void solve_matrix(struct differences *d)
{
    double det = d->s[0] * d->s[2] - d->s[1] * d->s[1], a[4];

    for (size_t row = 0; row < 2; row++) {
        const double *t = d->t + 2 * row;
        a[2 * row] = -(d->s[2] * t[0] - d->s[1] * t[1]) / det;
        a[2 * row + 1] = -(d->s[0] * t[1] - d->s[1] * t[0]) / det;
    }
    d->numbers[0] = 0.5 * (a[0] + a[3]);
    d->numbers[1] = 0.5 * (a[2] - a[1]);
    d->numbers[2] = 0.5 * (a[0] - a[3]);
    d->numbers[3] = 0.5 * (a[1] + a[2]);
}

/* Scale and turn alone. */
static void solve_similarity(struct differences *d)
{
    double squares = d->s[0] + d->s[2];

    d->numbers[0] = -(d->t[0] + d->t[3]) / squares;
    d->numbers[1] = -(d->t[2] - d->t[1]) / squares;
    d->numbers[2] = d->numbers[3] = 0;
}

/* Residuals of the views with the present numbers into sorted (squares of both coordinates), and,
 * @weigh, new weights of them. */
static void find_residuals(struct differences *d, bool weigh)
{
    struct tt_picture_matrix m = tt_picture_matrix(d->numbers);
    double v[2], y[2], floor_mm = FLOOR_PX * hypot(m.a[0][0], m.a[1][0]);
    size_t n = 0;

    for (size_t i = 0; i < d->model->n_sights; i++) {
        if (!d->model->sights[i].view) {
            continue;
        }
        deviation(d, i, v, y);
        for (size_t k = 0; k < 2; k++) {
            double r = y[k] + m.a[k][0] * v[0] + m.a[k][1] * v[1];
            d->sorted[n++] = r * r;
        }
        if (weigh) {
            d->weight[i] = 1 / fmax(sqrt(d->sorted[n - 1] + d->sorted[n - 2]), floor_mm);
        }
    }
    d->views = n / 2;
}

/* The numbers from the differences within the groups; how many directions they tell. */
static unsigned solve_differences(struct differences *d)
{
    unsigned rank = 0;

    for (size_t i = 0; i < d->model->n_sights; i++) {
        d->weight[i] = d->model->sights[i].view ? 1 : 0;
    }
    for (size_t step = 0; step < START_STEPS; step++) {
        sum_groups(d);
        sum_products(d);
        rank = step == 0 ? rank_of(d) : rank;
        if (rank == 0) {
            return 0;
        }
        if (rank == 2) {
            solve_matrix(d);
        } else {
            solve_similarity(d);
        }
        find_residuals(d, true);
    }
    return rank;
}

static enum tiptrue_status differences_init(struct differences *d, struct tt_arena *arena,
                                            const struct tt_model *model)
{
    size_t n = model->n_sights;

    *d = (struct differences){.model = model, .n_groups = model->n_setups * model->plate->n_marks};
    d->n_groups = d->n_groups > model->n_setups ? d->n_groups : model->n_setups;
    d->group = TT_ARENA_NEW(arena, n, size_t);
    d->y = TT_ARENA_NEW(arena, n, struct tt_machine_xy);
    d->weight = TT_ARENA_NEW(arena, n, double);
    d->sorted = TT_ARENA_NEW(arena, 2 * n, double);
    d->mean = tt_arena_get(arena, d->n_groups, sizeof *d->mean);
    return d->group == NULL || d->y == NULL || d->weight == NULL || d->sorted == NULL ||
                   d->mean == NULL
               ? TIPTRUE_E_MEMORY
               : TIPTRUE_OK;
}

/* Views of one mark differ by the head's place alone. */
static void group_by_mark(struct differences *d)
{
    for (size_t i = 0; i < d->model->n_sights; i++) {
        const struct tt_sight *sight = &d->model->sights[i];
        d->group[i] = sight->setup * d->model->plate->n_marks + sight->mark;
        d->y[i] = d->model->run->observations[sight->row].h;
    }
}

/* With the plate at its nominal yaw, those of different marks by the marks' places, too. */
static void group_by_setup(struct differences *d)
{
    const struct tiptrue_machine *machine = d->model->machine;
    double yaw = machine->has_yaw ? machine->yaw_rad : 0, c = cos(yaw), s = sin(yaw);

    for (size_t i = 0; i < d->model->n_sights; i++) {
        const struct tt_sight *sight = &d->model->sights[i];
        struct tt_plate_xy u = d->model->plate->marks[sight->mark].at;
        struct tt_machine_xy h = d->model->run->observations[sight->row].h;
        d->group[i] = sight->setup;
        d->y[i].x_mm = h.x_mm - sight->scale * (c * u.x_mm - s * u.y_mm);
        d->y[i].y_mm = h.y_mm - sight->scale * (s * u.x_mm + c * u.y_mm);
    }
}

/* The numbers of the stated scale and turn; false: no scale is stated. */
static bool stated_numbers(const struct tt_camera *camera, double p[4])
{
    double x = camera->scale_mm[0],
           y = camera->mirrored ? -camera->scale_mm[1] : camera->scale_mm[1];
    double sum = 0.5 * (x + y), half = 0.5 * (x - y);

    p[0] = sum * cos(camera->turn_rad);
    p[1] = sum * sin(camera->turn_rad);
    p[2] = half * cos(camera->turn_rad);
    p[3] = half * sin(camera->turn_rad);
    return camera->has_scale;
}

/* Repeatability of a view from the median of the residuals' squares. */
static void find_scatter(struct differences *d, struct tt_picture_model *picture)
{
    double dof = 2 * ((double)d->views - (double)d->groups - 2);

    find_residuals(d, false);
    if (!(dof >= 2)) {
        return;
    }
    gsl_sort(d->sorted, 1, 2 * d->views);
    double median = 0.5 * (d->sorted[d->views - 1] + d->sorted[d->views]);
    picture->own_var_mm2 = median / MEDIAN_OF_SQUARES * 2 * (double)d->views / dof;
    picture->own_dof = MEDIAN_EFFICIENCY * dof;
}

/* The best start there is, into model->x and the picture's u. */
static void choose_start(struct tt_model *model, struct differences *d)
{
    struct tt_picture_model *picture = &model->picture;
    const struct tt_camera *camera = &model->machine->camera;
    double *p = model->x + picture->at, stated[4], share[2] = {VAGUE_SHARE, VAGUE_SHARE};
    bool has_stated = stated_numbers(camera, stated);

    group_by_mark(d);
    unsigned rank = solve_differences(d);
    if (rank == 1 && has_stated && camera->mirrored) {
        rank = 0; /* two views tell scale and turn of a picture that is not mirrored */
    }
    if (rank == 2) {
        find_scatter(d, picture);
    } else {
        double along[4];
        memcpy(along, d->numbers, sizeof along);
        group_by_setup(d);
        if (solve_differences(d) != 2) {
            memcpy(d->numbers, rank == 1 ? along : stated, sizeof along);
            for (size_t k = 2; k < 4 && rank == 1; k++) {
                d->numbers[k] = has_stated ? stated[k] : 0;
            }
            share[1] = rank == 1 ? SQUARE_SHARE : VAGUE_SHARE;
            if (rank == 0 && !has_stated) {
                memcpy(d->numbers, (double[4]){USUAL_PIXEL_MM, 0, 0, 0}, sizeof along);
                share[0] = share[1] = 1;
            }
        }
    }
    memcpy(p, d->numbers, sizeof d->numbers);
    struct tt_picture_matrix m = tt_picture_matrix(p);
    double det = m.a[0][0] * m.a[1][1] - m.a[0][1] * m.a[1][0];
    picture->pixel_mm = sqrt(fmax(fabs(det), 1e-18));
    for (size_t k = 0; k < 4; k++) {
        picture->u[k] = share[k / 2] * picture->pixel_mm;
    }
}

/* Which views were made at one place of the picture, of one mark in one setup. */
static void find_places(struct tt_model *model)
{
    struct tt_sight *s = model->sights;

    for (size_t i = 0; i < model->n_sights; i++) {
        s[i].first = i;
        for (size_t j = 0; j < i && s[i].view && s[i].first == i; j++) {
            bool same = s[j].view && s[j].first == j && s[j].mark == s[i].mark &&
                        s[j].setup == s[i].setup &&
                        hypot(s[j].v_x - s[i].v_x, s[j].v_y - s[i].v_y) < LEAST_SPREAD_PX;
            s[i].first = same ? j : i;
        }
        s[s[i].first].alike++;
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        s[i].alike = s[s[i].first].alike;
    }
}

enum tiptrue_status tt_views_start(struct tt_model *model, struct tt_arena *arena)
{
    const struct tt_camera *camera = &model->machine->camera;
    struct differences d;

    if (model->picture.n == 0) {
        return TIPTRUE_OK;
    }
    if (differences_init(&d, arena, model) != TIPTRUE_OK) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        struct tt_sight *sight = &model->sights[i];
        const struct tt_observation *o = &model->run->observations[sight->row];
        sight->v_x = sight->view ? o->px - camera->centre_px[0] : 0;
        sight->v_y = sight->view ? camera->centre_px[1] - o->py : 0;
    }
    find_places(model);
    choose_start(model, &d);
    struct tt_picture_matrix m = tt_picture_matrix(model->x + model->picture.at);
    for (size_t i = 0; i < model->n_sights; i++) {
        struct tt_sight *sight = &model->sights[i];
        sight->place.x_mm += m.a[0][0] * sight->v_x + m.a[0][1] * sight->v_y;
        sight->place.y_mm += m.a[1][0] * sight->v_x + m.a[1][1] * sight->v_y;
    }
    return TIPTRUE_OK;
}

size_t tt_views_priors(const struct tt_model *model, struct tt_prior priors[TT_PICTURE_PRIORS])
{
    const struct tt_picture_model *picture = &model->picture;
    double u_kappa = model->machine->camera.u_kappa;
    size_t n = 0;

    for (size_t k = 0; k < 4 && picture->n > 0; k++) {
        priors[n++] = (struct tt_prior){.kind = TT_PRIOR_CAMERA,
                                        .block = TT_NONE,
                                        .place = picture->at + k,
                                        .value = model->x[picture->at + k],
                                        .u = picture->u[k]};
    }
    if (picture->n > 0 && u_kappa > 0 && !model->terms.distortion) {
        priors[n++] = (struct tt_prior){
            .kind = TT_PRIOR_LENS, .block = TT_NONE, .place = picture->at_kappa, .u = u_kappa};
    }
    return n;
}

/* ---- the equation ---- */

struct tt_machine_xy tt_view_bend(const struct tt_model *model, const struct tt_sight *sight)
{
    const struct tt_picture_model *picture = &model->picture;
    struct tt_picture_matrix m = tt_picture_matrix(model->x + picture->at);
    double bend =
        (sight->v_x * sight->v_x + sight->v_y * sight->v_y) / (picture->rho_px * picture->rho_px);

    return (struct tt_machine_xy){bend * (m.a[0][0] * sight->v_x + m.a[0][1] * sight->v_y),
                                  bend * (m.a[1][0] * sight->v_x + m.a[1][1] * sight->v_y)};
}

void tt_view_linearise(const struct tt_model *model, struct tt_sight *sight)
{
    const struct tt_picture_model *picture = &model->picture;
    const double *p = model->x + picture->at;
    struct tt_picture_matrix m = tt_picture_matrix(p);
    double bend =
        (sight->v_x * sight->v_x + sight->v_y * sight->v_y) / (picture->rho_px * picture->rho_px);
    double kappa = picture->at_kappa != TT_NONE ? model->x[picture->at_kappa] : 0;
    double x = sight->v_x * (1 + kappa * bend), y = sight->v_y * (1 + kappa * bend);
    struct tt_machine_xy by_kappa = tt_view_bend(model, sight);
    double slope[2][4];

    tt_picture_slope(x, y, slope);
    for (size_t axis = 0; axis < 2; axis++) {
        sight->residual[axis] += m.a[axis][0] * x + m.a[axis][1] * y;
        for (size_t k = 0; k < 4; k++) {
            sight->entries[axis][sight->n_entries + k] =
                (struct tt_entry){.place = picture->at + k, .value = slope[axis][k]};
        }
        if (picture->at_kappa != TT_NONE) {
            sight->entries[axis][sight->n_entries + 4] = (struct tt_entry){
                .place = picture->at_kappa, .value = axis == 0 ? by_kappa.x_mm : by_kappa.y_mm};
        }
    }
    sight->n_entries += picture->at_kappa != TT_NONE ? 5 : 4;
}

/* ---- marks ---- */

bool tt_marks_span(const struct tt_model *model)
{
    bool span = false;

    for (size_t s = 0; s < model->n_setups && !span; s++) {
        double n = 0, x = 0, y = 0, xx = 0, xy = 0, yy = 0;
        for (size_t i = 0; i < model->n_sights; i++) {
            const struct tt_sight *sight = &model->sights[i];
            struct tt_plate_xy u = model->plate->marks[sight->mark].at;
            if (sight->setup != s || sight->extra_mm2 > 0) {
                continue;
            }
            n += 1;
            x += u.x_mm;
            y += u.y_mm;
            xx += u.x_mm * u.x_mm;
            xy += u.x_mm * u.y_mm;
            yy += u.y_mm * u.y_mm;
        }
        if (n < 3) {
            continue;
        }
        xx = xx / n - x * x / (n * n);
        xy = xy / n - x * y / (n * n);
        yy = yy / n - y * y / (n * n);
        double root = hypot(0.5 * (xx - yy), xy), mean = 0.5 * (xx + yy);
        double across = sqrt(fmax(mean - root, 0)), along = sqrt(fmax(mean + root, 0));
        span = across > LEAST_SPAN_MM && across > LEAST_SPAN_SHARE * along;
    }
    return span;
}
