/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Changes within a run, for the table of modes: at every row that is tried, by running sums from
 * the last row to the first. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "adjust/modes_parts.h"
#include "base/sums.h"

/* Rows at which a change is tried, of one setup or tip, at most: a change between two of them is
 * seen at the nearer one with a loss of evidence of at most a twentieth. Its cost is linear. */
#define MOST_CHANGE_ROWS 24
/* Nothing touches the plate between two sightings: that it moved there is so many times less
 * probable (common practice, no source). */
#define UNTOUCHED 10
/* Rows before and after a change at least. */
#define LEAST_ROWS 3

/* And sightings before and after the camera moved: one alone is a sighting that is off. */
#define LEAST_SIGHTINGS 2

/* And touches along every direction before and after a tip moved, by their squared cosines: more
 * than one, so that both places of the tip are told. Else those of an edge that are late together,
 * with no touch of another direction on that side, would be a movement across that costs nothing.
 * Touches that come early together are no film; but what is early on an edge must be so as against
 * other edges, and not only as against its own touches, of which the others may be the late ones:
 * this share of it at least in the mean over the tip's touches there. */
#define LEAST_ACROSS 1.5
#define LEAST_EARLY 0.5

/* A running candidate: its sums over the rows from the present one to the last. */
struct running {
    double zz[3], g[2], *v[2];
    size_t rows, seen, step; /* in all; passed; between two tries */
    size_t least;            /* rows before and after */
    double all[3];           /* of a tip: zz of all its touches */
    double early[2];         /* of a tip: sum of weight times residual, and with the means on their
                                edges for the residuals */
    double all_early;        /* of all its touches: either is the same then */
};

/* All of them, by what changes: of each setup, each tip, each tip, all tips, the run. */
struct changes {
    struct running *plate, *slip, *tip, *tips, *camera;
    double touch_dof, sight_dof; /* of the repeatabilities that a change is in */
};

/* @n of them, empty, in the arena; NULL: no memory. */
static struct running *running_new(const struct tt_mode_table *t, size_t n)
{
    size_t length = t->model->n_unknowns;
    struct running *r = TT_ARENA_NEW(t->arena, n, struct running);
    double *v = TT_ARENA_NEW(t->arena, n * 2 * length, double);

    if (r == NULL || v == NULL) {
        return NULL;
    }
    for (size_t k = 0; k < n; k++) {
        r[k].v[0] = v + 2 * k * length;
        r[k].v[1] = r[k].v[0] + length;
        r[k].least = LEAST_ROWS;
    }
    return r;
}

static void running_add(struct running *r, const struct tt_mode_table *t, size_t block,
                        const double half[], const double z[2], double w, double residual)
{
    const struct tt_model *model = t->model;
    size_t nb = model->n_border;

    r->zz[0] += w * z[0] * z[0];
    r->zz[1] += w * z[0] * z[1];
    r->zz[2] += w * z[1] * z[1];
    for (unsigned a = 0; a < 2 && w > 0; a++) {
        double wz = w * z[a], *v = r->v[a];
        r->g[a] += wz * residual;
        tt_add_times(v, wz, half, nb);
        if (block != TT_NONE) {
            tt_add_times(v + model->system.first[block], wz, half + nb, model->block_size[block]);
        }
    }
}

/* Is the change tried at the row that was just added? */
static bool running_due(struct running *r, size_t most_rows)
{
    size_t tries = r->rows >= 2 * r->least ? r->rows - 2 * r->least + 1 : 0;

    r->seen++;
    r->step = tries / most_rows > 1 ? tries / most_rows : 1;
    return r->seen >= r->least && r->rows - r->seen >= r->least &&
           (r->seen - r->least) % r->step == 0;
}

static void running_enter(struct tt_mode_table *t, const struct running *r, struct tt_mode mode,
                          size_t block, double others)
{
    double *v[2] = {t->v[0], t->v[1]};
    /* Neighbouring rows say the same: P is shared by as many as can be told apart. */
    double tries = fmin((double)(r->rows - 2 * r->least + 1), MOST_CHANGE_ROWS);

    memcpy(t->zz, r->zz, sizeof t->zz);
    memcpy(t->g, r->g, sizeof t->g);
    t->v[0] = r->v[0];
    t->v[1] = r->v[1];
    tt_mode_enter(t, mode, 2, block, tries * others);
    t->v[0] = v[0];
    t->v[1] = v[1];
}

/* Which sighting stands at each row of the run. */
static size_t *sight_by_row(const struct tt_mode_table *t)
{
    const struct tt_model *model = t->model;
    size_t rows = model->run->n_observations, *sight = TT_ARENA_ROOM(t->arena, rows, size_t);

    for (size_t i = 0; i < rows && sight != NULL; i++) {
        sight[i] = TT_NONE;
    }
    for (size_t i = 0; i < model->n_sights && sight != NULL; i++) {
        sight[model->sights[i].row] = i;
    }
    return sight;
}

/* Half solution of a touch's design row, into t->half; without a weight @w it is not needed. */
static void touch_half(struct tt_mode_table *t, size_t touch, double w)
{
    const struct tt_model *model = t->model;
    size_t k = model->cell_of[touch];
    const struct tt_cell *cell = &model->cells[k];
    const double *slope = model->slope + touch * model->stride;
    size_t n = model->n_border + model->block_size[cell->block];

    memcpy(t->half, tt_mode_half(t, k, TT_COLUMN_ONE), n * sizeof *t->half);
    for (size_t c = 1; c < cell->n_columns && w > 0; c++) {
        tt_add_times(t->half, slope[c], tt_mode_half(t, k, c), n);
    }
}

/* The touch whose half solution t->half is enters @r with the columns @z. Its row is that of a
 * candidate @mode, if it is one, and @tried; of its own tip, or of what acts on touches of all. */
static void touch_enters(struct tt_mode_table *t, struct running *r, struct tt_mode mode,
                         size_t touch, const double z[2], bool tried)
{
    const struct tt_model *model = t->model;
    size_t block = model->cells[model->cell_of[touch]].block;
    bool plate = mode.kind == TT_MODE_MOVED, all = plate || mode.tip == TT_NONE;

    running_add(r, t, block, t->half, z, t->fit->weight[touch], model->residual[touch]);
    if (running_due(r, t->most_rows) && tried) {
        mode.index = model->row[touch];
        mode.tip = all ? mode.tip : model->block_tip[block];
        running_enter(t, r, mode, all ? TT_NONE : block,
                      (double)(plate ? model->n_setups
                               : all ? 1
                                     : model->n_blocks));
    }
}

/* Would any row from the present touch of @cell on, which is in the plate's sums already, tell that
 * its tip moved from the plate that did? Not where all of them are touches of one setup, and no
 * other tip was touched on both sides: then it is the plate that is told, with every offset in
 * doubt. */
static bool tells_tip(const struct tt_model *model, const struct changes *changes,
                      const struct tt_cell *cell)
{
    bool tells = changes->camera->seen > 0;
    size_t touches = 1;

    for (size_t b = 0; b < model->n_blocks; b++) {
        const struct running *tip = &changes->tip[b];
        tells = tells || (b != cell->block && tip->seen > 0 && tip->seen < tip->rows);
        touches += tip->seen;
    }
    return tells || touches != changes->plate[cell->setup].seen;
}

/* And that all tips moved together, from one that did and from the plate? Where tips were touched
 * on both sides, two or more, and another setup's touches or a sighting come after. @changes has
 * the present touch. */
static bool tells_tips(const struct tt_model *model, const struct changes *changes, size_t setup)
{
    size_t both = 0, touches = 0;

    for (size_t b = 0; b < model->n_blocks; b++) {
        const struct running *tip = &changes->tip[b];
        both += tip->seen > 0 && tip->seen < tip->rows;
        touches += tip->seen;
    }
    return both > 1 && (changes->camera->seen > 0 || touches != changes->plate[setup].seen);
}

/* Are there so many touches along every direction, of information @zz, 1 / @var_mm2 each, or are
 * they early, by the sums @own and @mean of their residuals and of the means on their edges? */
static bool tells_place(const double zz[3], double own, double mean, double var_mm2)
{
    double half = 0.5 * (zz[0] + zz[2]), apart = 0.5 * (zz[0] - zz[2]);

    return (half - hypot(apart, zz[1])) * var_mm2 >= LEAST_ACROSS ||
           (own > 0 && mean >= LEAST_EARLY * own);
}

/* Do the touches of the tip from the present one on, with columns @n, and those before, tell where
 * it was? */
static bool tells_places(const struct tt_mode_table *t, struct running *tip, size_t touch,
                         const double n[2])
{
    const struct tt_model *model = t->model;
    size_t k = model->cell_of[touch];
    double w = t->fit->weight[touch], var_mm2 = t->fit->touch_var_mm2, after[3], before[3],
           own = tip->early[0] += w * model->residual[touch],
           mean = tip->early[1] += t->scores[k] / (double)model->cells[k].count;

    for (size_t c = 0; c < 3; c++) {
        after[c] = tip->zz[c] + w * n[c / 2] * n[(c + 1) / 2];
        before[c] = tip->all[c] - after[c];
    }
    return tells_place(after, own, mean, var_mm2) &&
           tells_place(before, tip->all_early - own, tip->all_early - mean, var_mm2);
}

static void change_at_touch(struct tt_mode_table *t, size_t touch, const struct changes *changes)
{
    const struct tt_model *model = t->model;
    const struct tt_cell *cell = &model->cells[model->cell_of[touch]];
    const double *slope = model->slope + touch * model->stride;
    const double n[2] = {-cell->site.n_x, -cell->site.n_y},
                 e[2] = {slope[TT_COLUMN_E_X], slope[TT_COLUMN_E_Y]};

    struct running *plate = &changes->plate[cell->setup], *slip = &changes->slip[cell->block];

    touch_half(t, touch, t->fit->weight[touch]);
    if (model->at_moved == TT_NONE) {
        touch_enters(t, plate, (struct tt_mode){.kind = TT_MODE_MOVED}, touch, n, true);
    }
    if (model->at_moved == TT_NONE && changes->tip != NULL) {
        struct running *tip = &changes->tip[cell->block];
        touch_enters(t, tip, (struct tt_mode){.kind = TT_MODE_TIP}, touch, n,
                     tells_places(t, tip, touch, n) && tells_tip(model, changes, cell));
        if (model->n_blocks > 1) {
            touch_enters(t, changes->tips, (struct tt_mode){.kind = TT_MODE_TIP, .tip = TT_NONE},
                         touch, n,
                         tells_places(t, changes->tips, touch, n) &&
                             tells_tips(model, changes, cell->setup));
        }
    }
    if (model->at_slip == TT_NONE) {
        touch_enters(t, slip, (struct tt_mode){.kind = TT_MODE_SLIP}, touch, e, true);
    }
}

/* The sighting enters @r. @mode is shared by @others rows besides. */
static void sight_enters(struct tt_mode_table *t, struct running *r, struct tt_mode mode,
                         const struct tt_sight *sight, double others)
{
    double w = tt_sight_weight(sight, 1 / t->fit->sight_var_mm2);

    for (size_t axis = 0; axis < 2; axis++) {
        const double z[2] = {axis == 0 ? -1 : 0, axis == 1 ? -1 : 0};
        running_add(r, t, TT_NONE, tt_mode_sight_half(t, sight, axis), z, w, sight->residual[axis]);
    }
    if (running_due(r, t->most_rows)) {
        mode.index = sight->row;
        running_enter(t, r, mode, TT_NONE, others);
    }
}

/* @untouched: the row before is a sighting, too. */
static void change_at_sight(struct tt_mode_table *t, const struct tt_sight *sight, bool untouched,
                            const struct changes *changes)
{
    double rarer = untouched ? UNTOUCHED : 1;

    sight_enters(t, &changes->plate[sight->setup], (struct tt_mode){.kind = TT_MODE_MOVED}, sight,
                 (double)t->model->n_setups * rarer);
    if (changes->camera != NULL) {
        t->own_dof = changes->sight_dof;
        sight_enters(t, changes->camera, (struct tt_mode){.kind = TT_MODE_CAMERA}, sight, rarer);
        t->own_dof = changes->touch_dof;
    }
}

/* Does the table hold any other change that acts like one of a tip alone, or of the camera? Those
 * of a single tip, with no sighting behind its first touch, are like those of the plate. */
static bool apart_from_plate(const struct tt_model *model)
{
    size_t first = TT_NONE;
    bool apart = model->n_blocks > 1 || model->n_setups > 1;

    for (size_t i = 0; i < model->n_touches; i++) {
        first = model->row[i] < first ? model->row[i] : first;
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        apart = apart || model->sights[i].row > first;
    }
    return apart;
}

/* @touch of @cell is one of those of @tip, in all. */
static void count_touch(const struct tt_mode_table *t, const struct tt_cell *cell, size_t touch,
                        struct running *tip)
{
    const double n[2] = {-cell->site.n_x, -cell->site.n_y}, w = t->fit->weight[touch];

    tip->rows++;
    tip->all_early += w * t->model->residual[touch];
    for (size_t k = 0; k < 3; k++) {
        tip->all[k] += w * n[k / 2] * n[(k + 1) / 2];
    }
}

static enum tiptrue_status changes_init(const struct tt_mode_table *t, struct changes *changes)
{
    const struct tt_model *model = t->model;
    bool apart = t->touches && apart_from_plate(model);

    *changes = (struct changes){.plate = running_new(t, model->n_setups),
                                .slip = running_new(t, model->n_blocks),
                                .touch_dof = t->own_dof,
                                /* a climb has it from elsewhere */
                                .sight_dof = model->terms.proper ? 0 : tt_dof_of_sightings(t->fit)};
    changes->tip = apart ? running_new(t, model->n_blocks + 1) : NULL;
    changes->tips = apart ? changes->tip + model->n_blocks : NULL;
    changes->camera = apart ? running_new(t, 1) : NULL;
    if (changes->plate == NULL || changes->slip == NULL ||
        (apart && (changes->tip == NULL || changes->camera == NULL))) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t i = 0; i < model->n_touches; i++) {
        const struct tt_cell *cell = &model->cells[model->cell_of[i]];
        changes->plate[cell->setup].rows++;
        changes->slip[cell->block].rows++;
        if (apart) {
            count_touch(t, cell, i, &changes->tip[cell->block]);
            count_touch(t, cell, i, changes->tips);
        }
    }
    for (size_t i = 0; i < model->n_sights; i++) {
        changes->plate[model->sights[i].setup].rows++;
    }
    if (apart) {
        changes->camera->rows = model->n_sights;
        changes->camera->least = LEAST_SIGHTINGS;
    }
    return TIPTRUE_OK;
}

enum tiptrue_status tt_modes_score_changes(struct tt_mode_table *t)
{
    const struct tt_model *model = t->model;
    const size_t *touch = tt_model_touch_by_row(model, t->arena), *sight = sight_by_row(t);
    struct changes changes;
    enum tiptrue_status status = changes_init(t, &changes);

    if (status != TIPTRUE_OK || touch == NULL || sight == NULL) {
        return TIPTRUE_E_MEMORY;
    }
    for (size_t row = model->run->n_observations; row-- > 0;) {
        if (touch[row] != TT_NONE) {
            change_at_touch(t, touch[row], &changes);
        } else if (sight[row] != TT_NONE && model->at_moved == TT_NONE) {
            change_at_sight(t, &model->sights[sight[row]], row > 0 && sight[row - 1] != TT_NONE,
                            &changes);
        }
    }
    return TIPTRUE_OK;
}
