/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where a run does not fit: what does. Columns, axes, labels and files are taken otherwise, one way
 * at a time, and all touches fitted anew (findings `mirrored`, `tips-exchanged`). What fits is
 * named, and never used. A run that nothing is said against costs nothing. */
#include "config.h"

#include "adjust/mirrored.h"

#include <math.h>

#include "adjust/plausible.h"

/* The misfit: rms of all residuals in stated (or usual) repeatabilities. A way fits below this, */
#define FITS 20.0
/* and that many times below that of the run as it was read: variances 16 times apart. */
#define FITS_BETTER 4.0
/* Where the run as read fits too, but changed implausibly: by how much the other way may fit worse.
 */
#define FITS_AS_WELL 1.5
/* Misfits nearer than this factor say nothing: then what is nearer to the offsets in use and the
 * yaw. */
#define SAME_MISFIT 1.2
/* And a first solution whose misfit is so many times the best one is not finished. */
#define NEVER_BETTER 2.0
#define USUAL_REPEATABILITY_MM 0.003 /* common practice, no source */
/* Share of a tip's touches left out that makes a run suspect by itself. */
#define SUSPECT_SHARE 0.3
/* Ways to exchange two edges grow with their square, and with the tips; beyond this many edges all
 * tips are taken together. */
#define MOST_EDGES_BY_TIP 6

enum way {
    WAY_AS_READ,
    WAY_PLATE_MIRRORED,
    WAY_X_SIGN,
    WAY_Y_SIGN,
    WAY_XY_EXCHANGED,
    WAY_EDGES_EXCHANGED,
    WAY_EDGES_TURNED, /* four edges, each with the name of the next */
    WAY_MARKS_EXCHANGED,
    WAY_ROTATIONS_HALVED,
    WAY_ROTATIONS_DOUBLED,
    WAY_RADII_OTHERWISE, /* not as stated */
    WAYS
};

static const char *const words[WAYS] = {
    [WAY_PLATE_MIRRORED] = "plate-mirrored",
    [WAY_X_SIGN] = "x-sign",
    [WAY_Y_SIGN] = "y-sign",
    [WAY_XY_EXCHANGED] = "xy-exchanged",
    [WAY_EDGES_EXCHANGED] = "edges-exchanged",
    [WAY_EDGES_TURNED] = "edges-turned",
    [WAY_MARKS_EXCHANGED] = "marks-exchanged",
    [WAY_ROTATIONS_HALVED] = "rotations-halved",
    [WAY_ROTATIONS_DOUBLED] = "rotations-doubled",
    [WAY_RADII_OTHERWISE] = "radii",
};

/* One way to take the run, and what came of it. */
struct trial {
    enum way way;
    size_t a, b;              /* what is exchanged; WAY_EDGES_TURNED: a = 1 or 3, by how many */
    size_t tip;               /* only in rows of this tip of the run; TT_NONE = all */
    double misfit, radius_mm; /* of the first tip that touched */
    size_t odd; /* how many changes and radii cannot be, and setups far from the nominal yaw */
};

struct search {
    struct tt_view *view;
    struct tt_arena arena; /* of one trial */
    struct tt_noise noise;
    size_t *touched, n_touched; /* edges, by the direction of their normal */
    struct trial as_read, best;
    bool out_of_memory;
};

/* ---- the run taken otherwise ---- */

static void exchange(size_t *target, size_t a, size_t b)
{
    *target = *target == a ? b : *target == b ? a : *target;
}

/* The edge @steps further round than @edge. */
static size_t turned_edge(const struct search *search, size_t edge, size_t steps)
{
    for (size_t k = 0; k < search->n_touched; k++) {
        if (search->touched[k] == edge) {
            return search->touched[(k + steps) % search->n_touched];
        }
    }
    return edge;
}

static void take_row(const struct search *search, const struct trial *trial,
                     struct tt_observation *o)
{
    struct tt_machine_xy h = o->h;
    bool touch = o->kind == TT_TOUCH && (trial->tip == TT_NONE || trial->tip == o->tip);

    switch (trial->way) {
    case WAY_X_SIGN:
        o->h.x_mm = -h.x_mm;
        break;
    case WAY_Y_SIGN:
        o->h.y_mm = -h.y_mm;
        break;
    case WAY_XY_EXCHANGED:
        o->h = (struct tt_machine_xy){h.y_mm, h.x_mm};
        break;
    case WAY_EDGES_EXCHANGED:
        if (touch) {
            exchange(&o->target, trial->a, trial->b);
        }
        break;
    case WAY_EDGES_TURNED:
        if (touch) {
            o->target = turned_edge(search, o->target, trial->a);
        }
        break;
    case WAY_MARKS_EXCHANGED:
        if (tt_is_sighting(o->kind)) {
            exchange(&o->target, trial->a, trial->b);
        }
        break;
    case WAY_ROTATIONS_HALVED:
        o->rotation_rad /= 2;
        break;
    case WAY_ROTATIONS_DOUBLED:
        o->rotation_rad *= 2;
        break;
    case WAY_AS_READ:
    case WAY_PLATE_MIRRORED:
    case WAY_RADII_OTHERWISE:
    case WAYS:
        break;
    }
}

/* A copy of the run, taken as @trial says. false: out of memory. */
static bool take_run(struct search *search, const struct trial *trial, struct tiptrue_run *run)
{
    *run = *search->view->run;
    run->observations = TT_ARENA_NEW(&search->arena, run->n_observations, struct tt_observation);
    for (size_t i = 0; i < run->n_observations && run->observations != NULL; i++) {
        run->observations[i] = search->view->run->observations[i];
        take_row(search, trial, &run->observations[i]);
    }
    return run->observations != NULL;
}

/* The plate, mirrored where @trial says so: x to -x. */
static bool take_plate(struct search *search, const struct trial *trial,
                       struct tiptrue_plate *plate)
{
    *plate = *search->view->plate;
    if (trial->way != WAY_PLATE_MIRRORED) {
        return true;
    }
    plate->edges = TT_ARENA_NEW(&search->arena, plate->n_edges, struct tt_edge);
    plate->marks = TT_ARENA_NEW(&search->arena, plate->n_marks, struct tt_mark);
    if (plate->edges == NULL || plate->marks == NULL) {
        return false;
    }
    for (size_t j = 0; j < plate->n_edges; j++) {
        plate->edges[j] = search->view->plate->edges[j];
        plate->edges[j].n_x = -plate->edges[j].n_x;
        plate->edges[j].from.x_mm = -plate->edges[j].from.x_mm;
        plate->edges[j].to.x_mm = -plate->edges[j].to.x_mm;
    }
    for (size_t k = 0; k < plate->n_marks; k++) {
        plate->marks[k] = search->view->plate->marks[k];
        plate->marks[k].at.x_mm = -plate->marks[k].at.x_mm;
    }
    return true;
}

/* The machine, without the stated radii where @trial says so. */
static bool take_machine(struct search *search, const struct trial *trial,
                         struct tiptrue_machine *machine)
{
    *machine = *search->view->machine;
    if (trial->way != WAY_RADII_OTHERWISE) {
        return true;
    }
    machine->tips = TT_ARENA_NEW(&search->arena, machine->n_tips, struct tt_tip);
    for (size_t t = 0; t < machine->n_tips && machine->tips != NULL; t++) {
        machine->tips[t] = search->view->machine->tips[t];
        machine->tips[t].has_radius = false;
    }
    return machine->tips != NULL;
}

/* ---- how it fits ---- */

/* Root mean square of the residuals of touches, sightings and priors in their standard deviations.
 */
static double misfit_of(const struct tt_model *model, const struct tt_noise *noise)
{
    double sum = 0, usual = USUAL_REPEATABILITY_MM * USUAL_REPEATABILITY_MM;
    double view_mm = noise->view_px * model->picture.pixel_mm; /* stated, not as large as it fits */

    for (size_t i = 0; i < model->n_touches; i++) {
        sum += model->residual[i] * model->residual[i] / noise->touch_var_mm2;
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        const double *r = model->sights[i].residual;
        double stated = model->sights[i].view ? view_mm * view_mm : noise->sight_var_mm2;
        sum += (r[0] * r[0] + r[1] * r[1]) / fmax(stated, usual);
    }
    for (size_t k = 0; k < model->n_priors; k++) {
        const struct tt_prior *prior = &model->priors[k];
        if (prior->kind != TT_PRIOR_WEAK) {
            double off =
                (model->x[tt_unknown(model, prior->block, prior->place)] - prior->value) / prior->u;
            sum += off * off;
        }
    }
    return sqrt(sum / (double)(model->n_touches + 2 * model->n_sights));
}

static size_t odd_of(const struct tt_view *view, const struct tt_model *model)
{
    const struct tiptrue_machine *machine = view->machine;
    double most_mm = tt_plausible_change_mm(&machine->limits);
    size_t odd = 0;

    for (size_t b = 0; b < model->n_blocks; b++) {
        size_t t = model->block_tip[b];
        const double *o = model->x + model->system.first[b];
        if (t < machine->n_tips && machine->tips[t].has_offset) {
            const struct tt_machine_xy *present = &machine->tips[t].offset;
            odd += hypot(o[TT_TIP_O_X] - present->x_mm, o[TT_TIP_O_Y] - present->y_mm) > most_mm;
        }
        odd += o[TT_TIP_R] < 0 || 2 * o[TT_TIP_R] > tt_opening_mm(view, b);
    }
    for (size_t s = 0; s < model->n_setups && machine->has_yaw; s++) {
        odd += fabs(tt_angle_wrap(model->x[tt_at_pose(s) + 2] - machine->yaw_rad)) > TT_PI / 4;
    }
    return odd;
}

/* Fit the run as @trial takes it; its misfit stays HUGE_VAL where it cannot be. */
static void fit(struct search *search, struct trial *trial)
{
    struct tt_view *view = search->view;
    struct tiptrue_run run;
    struct tiptrue_plate plate;
    struct tiptrue_machine machine;
    struct tt_model model;
    struct tt_fit fit;
    struct tt_terms terms = {.moved_at = TT_NONE,
                             .slipped_at = TT_NONE,
                             .orders = TT_ARENA_NEW(&search->arena, view->run->n_tips, unsigned)};

    trial->misfit = HUGE_VAL;
    if (terms.orders == NULL || !take_run(search, trial, &run) ||
        !take_plate(search, trial, &plate) || !take_machine(search, trial, &machine)) {
        search->out_of_memory = true;
        return;
    }
    for (int weak = 0; weak < 2; weak++) {
        enum tiptrue_status status =
            tt_model_build(&model, &search->arena, &plate, &machine, &run, &terms, weak == 1);
        if (status != TIPTRUE_OK ||
            (status = tt_fit_init(&fit, &search->arena, &model, &search->noise)) != TIPTRUE_OK) {
            search->out_of_memory = status == TIPTRUE_E_MEMORY;
            return;
        }
        tt_fit_run_roughly(&fit, NULL);
        /* as most ways are: what is left to do would move residuals by micrometres */
        bool far = misfit_of(&model, &search->noise) > NEVER_BETTER * fmax(search->best.misfit, 1);
        if (!fit.deficient && (far || tt_fit_finished(&fit) != NULL)) {
            trial->misfit = misfit_of(&model, &search->noise);
            trial->odd = odd_of(view, &model);
            trial->radius_mm = model.x[model.system.first[0] + TT_TIP_R];
            return;
        }
    }
}

static bool is_better(const struct trial *a, const struct trial *b)
{
    bool alike = a->misfit < SAME_MISFIT * b->misfit && b->misfit < SAME_MISFIT * a->misfit;

    return alike ? a->odd < b->odd : a->misfit < b->misfit;
}

static void try_way(struct search *search, struct trial trial)
{
    if (search->out_of_memory) {
        return;
    }
    tt_arena_reset(&search->arena);
    fit(search, &trial);
    if (is_better(&trial, &search->best)) {
        search->best = trial;
    }
}

/* ---- the ways ---- */

static double direction(const struct search *search, size_t edge)
{
    return atan2(search->view->plate->edges[edge].n_y, search->view->plate->edges[edge].n_x);
}

/* The edges that were touched, sorted by the direction they face. */
static bool find_touched(struct search *search)
{
    const struct tt_model *model = search->view->model;

    search->touched = TT_ARENA_NEW(search->view->scratch, model->plate->n_edges, size_t);
    for (size_t j = 0; j < model->plate->n_edges && search->touched != NULL; j++) {
        size_t k = search->n_touched;
        if (!model->edge_seen[j]) {
            continue;
        }
        for (; k > 0 && direction(search, search->touched[k - 1]) > direction(search, j); k--) {
            search->touched[k] = search->touched[k - 1];
        }
        search->touched[k] = j;
        search->n_touched++;
    }
    return search->touched != NULL;
}

static void try_edges(struct search *search)
{
    const struct tt_model *model = search->view->model;
    bool by_tip = model->n_blocks > 1 && search->n_touched <= MOST_EDGES_BY_TIP;

    for (size_t i = 0; i < search->n_touched; i++) {
        for (size_t k = 0; k < i; k++) {
            struct trial trial = {
                WAY_EDGES_EXCHANGED, search->touched[k], search->touched[i], TT_NONE, 0, 0, 0};
            try_way(search, trial);
            for (size_t b = 0; b < model->n_blocks && by_tip; b++) {
                trial.tip = model->block_tip[b];
                try_way(search, trial);
            }
        }
    }
    if (search->n_touched == 4) {
        try_way(search, (struct trial){WAY_EDGES_TURNED, 1, 0, TT_NONE, 0, 0, 0});
        try_way(search, (struct trial){WAY_EDGES_TURNED, 3, 0, TT_NONE, 0, 0, 0});
    }
}

static void try_marks(struct search *search)
{
    for (size_t i = 0; i < search->view->plate->n_marks; i++) {
        for (size_t k = 0; k < i; k++) {
            try_way(search, (struct trial){WAY_MARKS_EXCHANGED, k, i, TT_NONE, 0, 0, 0});
        }
    }
}

static void try_all(struct search *search)
{
    static const enum way whole[] = {WAY_PLATE_MIRRORED,   WAY_X_SIGN,
                                     WAY_Y_SIGN,           WAY_XY_EXCHANGED,
                                     WAY_ROTATIONS_HALVED, WAY_ROTATIONS_DOUBLED,
                                     WAY_RADII_OTHERWISE};

    search->as_read = search->best = (struct trial){WAY_AS_READ, 0, 0, TT_NONE, HUGE_VAL, 0, 0};
    fit(search, &search->as_read);
    search->best = search->as_read;
    if (search->as_read.misfit < FITS_BETTER && search->as_read.odd == 0) {
        return; /* it fits, and says nothing that is odd */
    }
    for (size_t k = 0; k < sizeof whole / sizeof whole[0]; k++) {
        try_way(search, (struct trial){whole[k], 0, 0, TT_NONE, 0, 0, 0});
    }
    try_marks(search);
    try_edges(search);
}

/* ---- findings ---- */

/* Whether something was found that a run taken the wrong way would show. */
static bool is_suspect(const struct tt_view *view)
{
    const struct tiptrue_solution *s = view->solution;

    for (size_t i = 0; i < s->n_findings; i++) {
        enum tt_finding_code code = s->findings[i].code;
        if (s->findings[i].severity == TIPTRUE_ERROR &&
            (code == TT_FINDING_IMPLAUSIBLE || code == TT_FINDING_CHANGE_IMPLAUSIBLE ||
             code == TT_FINDING_DOES_NOT_FIT || code == TT_FINDING_MARKS_OFF ||
             code == TT_FINDING_RADIUS_OFF || code == TT_FINDING_SCATTERED ||
             code == TT_FINDING_LATE_CONTACT || code == TT_FINDING_EDGE_OFF ||
             code == TT_FINDING_AMBIGUOUS)) {
            return true;
        }
    }
    return tt_largest_share_aside(view) > SUSPECT_SHARE;
}

static enum tiptrue_status tell(struct tt_view *view, const struct search *search)
{
    const struct trial *best = &search->best;
    const struct tiptrue_plate *plate = view->plate;
    const char *first = "", *second = "";

    if (best->way == WAY_EDGES_EXCHANGED) {
        first = plate->edges[best->a].name;
        second = plate->edges[best->b].name;
    } else if (best->way == WAY_MARKS_EXCHANGED) {
        first = plate->marks[best->a].name;
        second = plate->marks[best->b].name;
    }
    return tt_finding_add_values(view, TT_FINDING_MIRRORED, TIPTRUE_ERROR,
                                 (struct tt_about){TT_NONE, best->tip, TT_NONE, NULL, 0},
                                 TT_VALUES(TT_TEXT("kind", words[best->way]),
                                           TT_TEXT("first", first), TT_TEXT("second", second),
                                           TT_PLAIN("misfit", best->misfit),
                                           TT_PLAIN("misfit_as_read", search->as_read.misfit)));
}

/* Another radius than the stated one; of the first tip, which is like the others in this. */
static enum tiptrue_status tell_radius(struct tt_view *view, const struct search *search)
{
    size_t t = view->model->block_tip[0];

    return tt_finding_add_values(view, TT_FINDING_MIRRORED, TIPTRUE_ERROR,
                                 (struct tt_about){TT_NONE, t, TT_NONE, NULL, 0},
                                 TT_VALUES(TT_TEXT("kind", words[WAY_RADII_OTHERWISE]),
                                           TT_IN_MM("found", search->best.radius_mm),
                                           TT_IN_MM("stated", view->machine->tips[t].radius_mm),
                                           TT_PLAIN("misfit", search->best.misfit),
                                           TT_PLAIN("misfit_as_read", search->as_read.misfit)));
}

static enum tiptrue_status otherwise(struct tt_view *view)
{
    struct search search = {.view = view, .noise = *view->noise};
    double usual = USUAL_REPEATABILITY_MM * USUAL_REPEATABILITY_MM;

    if (view->model->n_touches == 0 || !is_suspect(view)) {
        return TIPTRUE_OK;
    }
    search.noise.touch_var_mm2 =
        search.noise.touch_known ? fmax(search.noise.touch_var_mm2, usual) : usual;
    search.noise.sight_var_mm2 =
        search.noise.sight_known ? fmax(search.noise.sight_var_mm2, usual) : usual;
    if (find_touched(&search)) {
        try_all(&search);
    }
    tt_arena_clear(&search.arena);
    if (search.touched == NULL || search.out_of_memory) {
        return TIPTRUE_E_MEMORY;
    }
    const struct trial *best = &search.best, *read = &search.as_read;
    bool fits_better = best->misfit < FITS && best->misfit * FITS_BETTER < read->misfit;
    bool fits_as_well = read->misfit < FITS &&
                        best->misfit < FITS_AS_WELL * fmax(read->misfit, 1) && read->odd > 0 &&
                        best->odd == 0;
    if (best->way == WAY_AS_READ || !(fits_better || fits_as_well)) {
        return TIPTRUE_OK;
    }
    return best->way == WAY_RADII_OTHERWISE ? tell_radius(view, &search) : tell(view, &search);
}

/* ---- tips ---- */

static double distance(struct tt_machine_xy a, struct tt_machine_xy b)
{
    return hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm);
}

/* By the offsets in use: each of the two is where the other should be, and not where it should be
 * itself. */
static bool exchanged_by_offset(const struct tt_view *view, size_t i, size_t k)
{
    const struct tt_tip_result *a = &view->solution->tips[i], *b = &view->solution->tips[k];
    double most_mm = tt_plausible_change_mm(&view->machine->limits);

    return a->has_present && b->has_present && a->offset_determined_x && a->offset_determined_y &&
           b->offset_determined_x && b->offset_determined_y &&
           distance(a->offset, a->present) > most_mm && distance(b->offset, b->present) > most_mm &&
           distance(a->offset, b->present) < most_mm && distance(b->offset, a->present) < most_mm;
}

/* In standard uncertainties of both. */
static double radius_off(const struct tt_tip_result *tip, const struct tt_tip *stated)
{
    return fabs(tip->contact_radius_mm - stated->radius_mm) /
           hypot(tip->u_contact_radius_mm, stated->u_radius_mm);
}

/* By the stated radii: each of the two has the other's, and not its own. */
static bool exchanged_by_radius(const struct tt_view *view, size_t i, size_t k)
{
    const struct tt_tip_result *a = &view->solution->tips[i], *b = &view->solution->tips[k];
    const struct tt_tip *of_a = tt_stated_tip(view, i), *of_b = tt_stated_tip(view, k);

    return of_a != NULL && of_b != NULL && of_a->has_radius && of_b->has_radius &&
           a->radius_determined && b->radius_determined && radius_off(a, of_a) > TT_TIPS_DIFFER &&
           radius_off(b, of_b) > TT_TIPS_DIFFER && radius_off(a, of_b) < TT_TIPS_AGREE &&
           radius_off(b, of_a) < TT_TIPS_AGREE;
}

static enum tiptrue_status exchanged_tips(struct tt_view *view)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < view->solution->n_tips; i++) {
        for (size_t k = 0; k < i && status == TIPTRUE_OK; k++) {
            bool offset = exchanged_by_offset(view, k, i);
            if (offset || exchanged_by_radius(view, k, i)) {
                status = tt_finding_add_values(
                    view, TT_FINDING_TIPS_EXCHANGED, TIPTRUE_ERROR, TT_ABOUT_RUN,
                    TT_VALUES(TT_TEXT("kind", offset ? "offset" : "radius"),
                              TT_TEXT("first", view->solution->tips[k].name),
                              TT_TEXT("second", view->solution->tips[i].name)));
            }
        }
    }
    return status;
}

enum tiptrue_status tt_findings_of_other_ways(struct tt_view *view)
{
    enum tiptrue_status status = otherwise(view);

    return status == TIPTRUE_OK ? exchanged_tips(view) : status;
}
