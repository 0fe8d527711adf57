/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Findings about the explanation of a run: what was found besides normal scatter, whether another
 * does as well, whether the result fits what was stated. Sentences: output/text/sentences.c. */
#include "config.h"

#include <math.h>
#include <stdlib.h>

#include "adjust/findings.h"
#include "base/distribution.h"
#include "base/order.h"

/* An edge or a mark that lies further off than this is not filmed or worn: its place, or its name,
 * was put down wrong. The words differ; a mark's makes an error, for it holds the offset itself. */
#define BELIEVED_SHIFT_MM 0.1
/* An edge all of whose touches are late by more than this (median) is something else than late. */
#define BELIEVED_DEPTH_MM 0.15
/* Two sightings are off alike within this many standard deviations of their difference. */
#define ALIKE 4.0
/* Global tests: probability below which residuals or shifts do not fit what is stated of them. */
#define DOES_NOT_FIT 1e-6
/* More than this share of the sightings set aside: which are right cannot be told. */
#define MOST_SIGHTINGS (1.0 / 3)
/* A touch off by more than this met another edge than its row says, or a digit is wrong; so many,
 * and so large a share of a tip's, are no slips of the pen: columns or names are exchanged. */
#define GROSS_MM 0.5
#define MANY_GROSS 3
#define GROSS_SHARE 0.05
/* A contact radius is not the stated one from this many of its u on: the global test's probability
 * of 1e-6, normal, either side. */
#define RADIUS_OFF 4.892

static const struct tt_explanation *explanation_of(const struct tt_view *view)
{
    return view->selection->explanation;
}

/* ---- modes ---- */

/* How far an edge lies from where it is stated, along the normal to its free side, mm. */
static double shift_of(const struct tt_view *view, size_t edge)
{
    return view->model->x[view->model->at_edge[edge]];
}

/* Adopted edges that lie further off than a plate is made or bent. One is a slip of the pen, which
 * the other edges show; names that are exchanged put two off at once, and what then fits best may
 * fit by chance. */
static size_t far_edges(const struct tt_view *view)
{
    const struct tt_explanation *e = explanation_of(view);
    size_t n = 0;

    for (size_t k = 0; k < e->n_modes; k++) {
        const struct tt_mode *m = &e->modes[k];
        n += (m->kind == TT_MODE_EDGE || m->kind == TT_MODE_FILM) &&
             fabs(shift_of(view, m->index)) > BELIEVED_SHIFT_MM;
    }
    return n;
}

static enum tiptrue_status edge_off(struct tt_view *view, size_t edge)
{
    double shift = shift_of(view, edge), u = view->plate->edges[edge].u_mm;
    bool far = fabs(shift) > BELIEVED_SHIFT_MM, several = far && far_edges(view) > 1;
    const struct tt_value values[] = {TT_IN_MM("shift", shift), TT_IN_MM("off", fabs(shift)),
                                      TT_IN_MM("u", u),
                                      TT_TEXT("what", several ? "several"
                                                      : far   ? "far"
                                                              : "off"),
                                      TT_TEXT("way", shift > 0 ? "out" : "in")};

    return tt_finding_add_values(view, TT_FINDING_EDGE_OFF,
                                 several ? TIPTRUE_ERROR : TIPTRUE_WARNING,
                                 (struct tt_about){edge, TT_NONE, TT_NONE, NULL, 0}, values,
                                 sizeof values / sizeof values[0]);
}

/* An edge none of whose touches is good: late contacts say so, unless it lies elsewhere. */
static enum tiptrue_status edge_out(struct tt_view *view, size_t edge)
{
    const struct tt_model *model = view->model;
    size_t n = 0, deeper = 0;

    for (size_t i = 0; i < model->n_touches; i++) {
        if (model->cells[model->cell_of[i]].edge == edge) {
            n++;
            deeper += fabs(model->residual[i]) > BELIEVED_DEPTH_MM;
        }
    }
    if (2 * deeper <= n) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_EDGE_OFF, TIPTRUE_ERROR,
        (struct tt_about){edge, TT_NONE, TT_NONE, NULL, 0},
        TT_VALUES(TT_TEXT("what", "out"), TT_IN_MM("most", BELIEVED_DEPTH_MM)));
}

/* Are two sightings of a setup that were left out off alike, as no glare and no speck makes them?
 */
static bool off_alike(const struct tt_view *view, const struct tt_sight *a,
                      const struct tt_sight *b)
{
    double apart = hypot(a->residual[0] - b->residual[0], a->residual[1] - b->residual[1]);

    return a->setup == b->setup && a->extra_mm2 > 0 && b->extra_mm2 > 0 && !a->view && !b->view &&
           apart < ALIKE * sqrt(2 * view->fit->sight_var_mm2);
}

/* All that are off like @index, at the first of them: another place of the camera or the plate, and
 * which place the other rows belong to nothing tells. */
static enum tiptrue_status sightings_off_alike(struct tt_view *view, size_t index, bool *told)
{
    const struct tt_model *model = view->model;
    const struct tt_sight *sight = &model->sights[index];
    size_t *lines = TT_ARENA_NEW(view->scratch, model->n_sights, size_t), n = 0, first = index;

    if (lines == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        if (off_alike(view, sight, &model->sights[i])) {
            first = i < first ? i : first;
            lines[n++] = view->run->observations[model->sights[i].row].line;
        }
    }
    *told = n > 1;
    return n < 2 || first < index
               ? TIPTRUE_OK
               : tt_finding_add_values(view, TT_FINDING_SCATTERED, TIPTRUE_ERROR,
                                       (struct tt_about){TT_NONE, TT_NONE, sight->setup, lines, n},
                                       TT_VALUES(TT_TEXT("what", "sightings-alike"),
                                                 TT_IN_MM("x", sight->residual[0]),
                                                 TT_IN_MM("y", sight->residual[1])));
}

/* Is a sighting that was left out off by as much as the plate is to have moved at another row? Then
 * it stands on the wrong side of that move, which is one of the camera or of other rows. */
static bool off_as_moved(const struct tt_view *view, const struct tt_sight *sight)
{
    const struct tt_model *model = view->model;

    if (!tt_plate_moves(model) || sight->view || sight->setup != model->moved_setup) {
        return false;
    }
    const double *moved = model->x + model->at_moved, sign = sight->moved ? -1 : 1;
    return hypot(sight->residual[0] - sign * moved[0], sight->residual[1] - sign * moved[1]) <
           ALIKE * sqrt(2 * view->fit->sight_var_mm2);
}

static enum tiptrue_status sighting_off(struct tt_view *view, size_t index)
{
    const struct tt_sight *sight = &view->model->sights[index];
    size_t line = view->run->observations[sight->row].line;
    bool told = false, as_moved = off_as_moved(view, sight);
    enum tiptrue_status status = sightings_off_alike(view, index, &told);

    if (told || status != TIPTRUE_OK) {
        return status;
    }
    return tt_finding_add_values(
        view, TT_FINDING_SCATTERED, as_moved ? TIPTRUE_ERROR : TIPTRUE_WARNING,
        (struct tt_about){TT_NONE, TT_NONE, sight->setup, &line, 1},
        TT_VALUES(TT_TEXT("what", as_moved ? "sighting-as-moved" : "sighting"),
                  TT_TEXT("mark", view->plate->marks[sight->mark].name),
                  TT_IN_MM("off", hypot(sight->residual[0], sight->residual[1]))));
}

static enum tiptrue_status mark_off(struct tt_view *view, size_t mark, bool gross)
{
    const struct tt_model *model = view->model;
    size_t at = model->at_mark[mark];
    double off = at != TT_NONE ? hypot(model->x[at], model->x[at + 1]) : 0;

    return tt_finding_add_values(
        view, TT_FINDING_MARKS_OFF,
        gross || off > BELIEVED_SHIFT_MM ? TIPTRUE_ERROR : TIPTRUE_WARNING, TT_ABOUT_RUN,
        TT_VALUES(TT_TEXT("what", "mark"), TT_TEXT("mark", view->plate->marks[mark].name),
                  TT_IN_MM("off", off), TT_IN_MM("u", view->plate->marks[mark].u_mm)));
}

static enum tiptrue_status radius_off(struct tt_view *view, size_t run_tip,
                                      enum tiptrue_severity severity)
{
    const struct tt_model *model = view->model;
    const struct tt_tip *stated = &view->machine->tips[run_tip];
    double found = model->x[model->system.first[model->tip_block[run_tip]] + TT_TIP_R];

    return tt_finding_add_values(
        view, TT_FINDING_RADIUS_OFF, severity,
        (struct tt_about){TT_NONE, run_tip, TT_NONE, NULL, 0},
        TT_VALUES(TT_TEXT("what", severity == TIPTRUE_WARNING ? "freed" : "held"),
                  TT_IN_MM("found", found), TT_IN_MM("stated", stated->radius_mm),
                  TT_IN_MM("u", stated->u_radius_mm)));
}

static enum tiptrue_status radii_off(struct tt_view *view)
{
    const struct tt_model *model = view->model;
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < model->n_priors && status == TIPTRUE_OK; i++) {
        if (model->priors[i].kind == TT_PRIOR_RADIUS) {
            status = radius_off(view, model->priors[i].what, TIPTRUE_WARNING);
        }
    }
    return status;
}

static enum tiptrue_status slipped(struct tt_view *view)
{
    const struct tt_model *model = view->model;
    size_t line = view->run->observations[model->terms.slipped_at].line,
           block = model->tip_block[model->terms.slipped_tip];
    const double *after = model->x + model->system.first[block] + TT_TIP_E_X,
                 *slip = model->x + model->at_slip;
    double before_x = after[0] + slip[0], before_y = after[1] + slip[1];
    double turned = tt_angle_wrap(atan2(after[1], after[0]) - atan2(before_y, before_x));

    return tt_finding_add_values(
        view, TT_FINDING_ROTATION_SLIP, TIPTRUE_WARNING,
        (struct tt_about){TT_NONE, model->terms.slipped_tip, TT_NONE, &line, 1},
        TT_VALUES(TT_IN_DEG("turned", turned), TT_IN_MM("before", hypot(before_x, before_y)),
                  TT_IN_MM("after", hypot(after[0], after[1]))));
}

/* What is found of scales is their difference, half of it at each axis: where the run spans one of
 * them alone, that half is all that is seen. */
static enum tiptrue_status axes_off(struct tt_view *view, bool square)
{
    double over_100_mm = fabs(view->model->x[view->model->at_axis]) * 100;

    return square ? tt_finding_add_values(
                        view, TT_FINDING_DOES_NOT_FIT, TIPTRUE_ERROR, TT_ABOUT_RUN,
                        TT_VALUES(TT_TEXT("kind", "square"), TT_IN_MM("over_100", over_100_mm)))
                  : tt_finding_add_values(
                        view, TT_FINDING_DOES_NOT_FIT, TIPTRUE_ERROR, TT_ABOUT_RUN,
                        TT_VALUES(TT_TEXT("kind", "scale"), TT_IN_MM("over_100", over_100_mm),
                                  TT_IN_MM("each", over_100_mm / 2)));
}

/* What an adopted mode says. Those that are terms of the model are told by model_findings.c. */
static enum tiptrue_status mode(struct tt_view *view, const struct tt_mode *m)
{
    switch (m->kind) {
    case TT_MODE_FILM:
    case TT_MODE_EDGE:
        return edge_off(view, m->index);
    case TT_MODE_EDGE_OUT:
        return edge_out(view, m->index);
    case TT_MODE_SIGHT:
    case TT_MODE_SIGHT_GROSS:
        return sighting_off(view, m->index);
    case TT_MODE_MARK:
    case TT_MODE_MARK_GROSS:
        return mark_off(view, m->index, m->kind == TT_MODE_MARK_GROSS);
    case TT_MODE_RADIUS:
        return radius_off(view, m->index, TIPTRUE_WARNING);
    case TT_MODE_RADII:
        return radii_off(view);
    case TT_MODE_SLIP:
        return slipped(view);
    case TT_MODE_NOT_SQUARE:
    case TT_MODE_SCALE:
    case TT_MODE_SCALE_FAR:
        return axes_off(view, m->kind == TT_MODE_NOT_SQUARE);
    default: /* a term of the model */
        return TIPTRUE_OK;
    }
}

/* ---- doubts ---- */

static enum tiptrue_status doubts(struct tt_view *view)
{
    const struct tt_explanation *e = explanation_of(view);
    const struct tt_model *model = view->model;
    size_t doubted = 0, worst = 0;
    enum tiptrue_status status = TIPTRUE_OK;

    if (e->doubt == TT_DOUBT_UNEVEN) {
        return tt_finding_add_values(view, TT_FINDING_LATE_CONTACT, TIPTRUE_ERROR,
                                     (struct tt_about){e->uneven_edge, TT_NONE, TT_NONE, NULL, 0},
                                     TT_VALUES(TT_TEXT("what", "uneven")));
    }
    if (e->doubt == TT_DOUBT_LITTLE) {
        bool touches = view->solution->touches_set_aside > 0;
        return tt_finding_add_values(
            view, touches ? TT_FINDING_LATE_CONTACT : TT_FINDING_UNCERTAINTY_OVER, TIPTRUE_ERROR,
            TT_ABOUT_RUN, TT_VALUES(TT_TEXT("what", "little")));
    }
    for (size_t b = 0; b < model->n_blocks && e->doubt == TT_DOUBT_RIVAL; b++) {
        const struct tt_machine_xy o = e->rival_offset[b], w = e->rival_offset[worst];
        doubted += e->doubted[b];
        worst = hypot(o.x_mm, o.y_mm) > hypot(w.x_mm, w.y_mm) ? b : worst;
    }
    if (doubted == model->n_blocks && doubted > 0) {
        return tt_finding_ambiguous(view, worst, TT_NONE);
    }
    for (size_t b = 0; b < model->n_blocks && doubted > 0 && status == TIPTRUE_OK; b++) {
        status = e->doubted[b] ? tt_finding_ambiguous(view, b, model->block_tip[b]) : TIPTRUE_OK;
    }
    return status;
}

/* ---- global tests ---- */

/* Priors of one kind: do the shifts found fit what is stated of them? The test is on the safe side:
 * a shift is less uncertain beforehand than its u. */
static enum tiptrue_status fits(struct tt_view *view, enum tt_prior_kind kind, const char *name)
{
    const struct tt_model *model = view->model;
    double chi2 = 0, n = 0, most = 0;
    size_t worst = TT_NONE;

    for (size_t i = 0; i < model->n_priors; i++) {
        const struct tt_prior *prior = &model->priors[i];
        double off = model->x[tt_unknown(model, prior->block, prior->place)] - prior->value;
        if (prior->kind != kind || prior->extra > 0) {
            continue;
        }
        chi2 += off * off / (prior->u * prior->u);
        n += 1;
        if (fabs(off) / prior->u > most) {
            most = fabs(off) / prior->u;
            worst = prior->what;
        }
    }
    if (!(n > 0) || !(tt_chi2_upper(chi2, n) < DOES_NOT_FIT)) {
        return TIPTRUE_OK;
    }
    const char *of = kind == TT_PRIOR_EDGE    ? view->plate->edges[worst].name
                     : kind == TT_PRIOR_GROUP ? view->plate->groups[worst].name
                                              : view->plate->marks[worst].name;
    return tt_finding_add_values(
        view, TT_FINDING_DOES_NOT_FIT, TIPTRUE_ERROR,
        (struct tt_about){kind == TT_PRIOR_EDGE ? worst : TT_NONE, TT_NONE, TT_NONE, NULL, 0},
        TT_VALUES(TT_TEXT("kind", name), TT_TEXT("of", of), TT_PLAIN("times_u", most),
                  TT_PLAIN("chi2", chi2), TT_PLAIN("dof", n)));
}

/* Residuals of sightings, or of views. */
struct seen {
    double n, aside, squares; /* in all; set aside; sum of the others' squares */
    size_t line;              /* of the worst one */
};

static struct seen residuals_of(const struct tt_view *view, bool views)
{
    const struct tt_model *model = view->model;
    struct seen seen = {0};
    double most = 0;

    for (size_t i = 0; i < model->n_sights; i++) {
        const struct tt_sight *sight = &model->sights[i];
        const double *r = sight->residual, size = r[0] * r[0] + r[1] * r[1];
        if (sight->view != views) {
            continue;
        }
        seen.n += 1;
        if (sight->extra_mm2 > 0) {
            seen.aside += 1;
            continue;
        }
        seen.squares += sight->share * size;
        if (size > most) {
            most = size;
            seen.line = view->run->observations[sight->row].line;
        }
    }
    return seen;
}

static enum tiptrue_status tell_seen(struct tt_view *view, const struct seen *seen,
                                     const char *kind, double found_mm2, double stated_mm2)
{
    return tt_finding_add_values(
        view, TT_FINDING_DOES_NOT_FIT, TIPTRUE_ERROR,
        (struct tt_about){TT_NONE, TT_NONE, TT_NONE, &seen->line, seen->line > 0 ? 1 : 0},
        TT_VALUES(TT_TEXT("kind", kind), TT_PLAIN("aside", seen->aside), TT_PLAIN("of", seen->n),
                  TT_IN_MM("found", sqrt(found_mm2)), TT_IN_MM("stated", sqrt(stated_mm2))));
}

static enum tiptrue_status seen_fit(struct tt_view *view, bool views)
{
    const struct tt_fit *fit = view->fit;
    const struct tt_noise *noise = fit->noise;
    struct seen seen = residuals_of(view, views);
    double stated_dof = views                ? noise->view_dof
                        : noise->sight_known ? noise->sight_dof
                                             : 0,
           dof = views ? fit->dof_view : fit->dof_sight,
           stated =
               views ? fit->view_stated_mm2 : noise->sight_var_mm2 + noise->sight_digit_var_mm2;
    bool many = seen.aside > 0 && seen.aside > MOST_SIGHTINGS * seen.n;
    bool scattered = stated_dof > 0 && dof >= 1 &&
                     tt_fisher_upper(seen.squares / dof / stated, dof, stated_dof) < DOES_NOT_FIT;

    if (!many && !scattered) {
        return TIPTRUE_OK;
    }
    return tell_seen(view, &seen,
                     many    ? "sightings-aside"
                     : views ? "views"
                             : "sightings",
                     seen.squares / fmax(dof, 1), stated);
}

static enum tiptrue_status sightings_fit(struct tt_view *view)
{
    enum tiptrue_status status = seen_fit(view, false);

    return status == TIPTRUE_OK && view->model->picture.n > 0 ? seen_fit(view, true) : status;
}

/* Touches of a tip that are off by what no contact is. */
static enum tiptrue_status targets_fit(struct tt_view *view, size_t block)
{
    const struct tt_model *model = view->model;
    size_t n = 0, gross = 0, *lines = TT_ARENA_NEW(view->scratch, model->n_touches, size_t);

    if (lines == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        if (model->cells[model->cell_of[i]].block == block) {
            n++;
            if (!(view->fit->good[i] > 0) && fabs(model->residual[i]) > GROSS_MM) {
                lines[gross++] = view->run->observations[model->row[i]].line;
            }
        }
    }
    qsort(lines, gross, sizeof *lines, tt_by_count);
    if (gross < MANY_GROSS || (double)gross <= GROSS_SHARE * (double)n) {
        return TIPTRUE_OK;
    }
    return tt_finding_add_values(
        view, TT_FINDING_DOES_NOT_FIT, TIPTRUE_ERROR,
        (struct tt_about){TT_NONE, model->block_tip[block], TT_NONE, lines, gross},
        TT_VALUES(TT_TEXT("kind", "touches"), TT_PLAIN("gross", gross), TT_PLAIN("of", n),
                  TT_IN_MM("most", GROSS_MM)));
}

static enum tiptrue_status radii_fit(struct tt_view *view)
{
    const struct tt_model *model = view->model;
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t i = 0; i < model->n_priors && status == TIPTRUE_OK; i++) {
        const struct tt_prior *prior = &model->priors[i];
        double off = model->x[tt_unknown(model, prior->block, prior->place)] - prior->value;
        if (prior->kind == TT_PRIOR_RADIUS && !(prior->extra > 0) &&
            fabs(off) > RADIUS_OFF * prior->u) {
            status = radius_off(view, prior->what, TIPTRUE_ERROR);
        }
    }
    return status;
}

/* Of a search: its modes, its doubts, and a film. */
static enum tiptrue_status explained(struct tt_view *view, const struct tt_explanation *e)
{
    enum tiptrue_status status = TIPTRUE_OK;

    for (size_t k = 0; k < e->n_modes && status == TIPTRUE_OK; k++) {
        status = mode(view, &e->modes[k]);
    }
    status = status == TIPTRUE_OK ? doubts(view) : status;
    return status == TIPTRUE_OK ? tt_findings_of_film(view) : status;
}

enum tiptrue_status tt_findings_of_explanation(struct tt_view *view)
{
    static const struct {
        enum tt_prior_kind kind;
        const char *name;
    } kinds[] = {{TT_PRIOR_MARK, "marks"}, {TT_PRIOR_EDGE, "edges"}, {TT_PRIOR_GROUP, "groups"}};
    const struct tt_explanation *e = explanation_of(view);
    enum tiptrue_status status = TIPTRUE_OK;

    if (!view->selection->robust || view->model->n_touches == 0) {
        return TIPTRUE_OK;
    }
    status = e != NULL ? explained(view, e) : status;
    status = status == TIPTRUE_OK ? sightings_fit(view) : status;
    for (size_t k = 0; k < sizeof kinds / sizeof kinds[0] && status == TIPTRUE_OK; k++) {
        status = fits(view, kinds[k].kind, kinds[k].name);
    }
    for (size_t b = 0; b < view->model->n_blocks && status == TIPTRUE_OK; b++) {
        status = targets_fit(view, b);
    }
    return status == TIPTRUE_OK ? radii_fit(view) : status;
}
