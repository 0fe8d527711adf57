/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
#include "config.h"

#include "planning/propose.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "planning/view_design.h"
#include "tiptrue.h"

/* Notes that a proposal can hold: those of this file, and one for each finding. */
#define MOST_NOTES 64
/* A part of the plate is worth a sentence if it makes up this share of the full variance. */
#define WORTH_SAYING 0.25

double tt_same_plate_mm(const struct tt_tip_result *tip)
{
    if (!tip->offset_determined_x || !tip->offset_determined_y) {
        return HUGE_VAL;
    }
    return fmax(tip->same_plate_expanded_x_mm, tip->same_plate_expanded_y_mm);
}

struct tt_parts tt_same_plate_parts(const struct tt_tip_result *tip)
{
    const struct tt_cov2 *all = &tip->same_plate_cov, *touch = &tip->same_plate_touch,
                         *sight = &tip->same_plate_sight;
    bool by_x = all->xx_mm2 > all->yy_mm2;
    struct tt_parts parts = {by_x ? touch->xx_mm2 : touch->yy_mm2,
                             by_x ? sight->xx_mm2 : sight->yy_mm2,
                             by_x ? all->xx_mm2 : all->yy_mm2};

    parts.rest = fmax(parts.rest - parts.touches - parts.sightings, 0);
    return parts;
}

bool tt_plan_is_sound(const struct tiptrue_solution *expected)
{
    bool sound = true;

    for (size_t i = 0; i < expected->n_findings; i++) {
        const struct tt_finding *finding = &expected->findings[i];
        sound = sound && finding->code != TT_FINDING_FEW_TOUCHES &&
                !(finding->code == TT_FINDING_UNDETERMINED && finding->severity == TIPTRUE_ERROR);
    }
    return sound;
}

const struct tt_tip_result *tt_worst_tip(const struct tiptrue_solution *expected)
{
    const struct tt_tip_result *worst = NULL;

    for (size_t i = 0; i < expected->n_tips; i++) {
        if (worst == NULL || tt_same_plate_mm(&expected->tips[i]) > tt_same_plate_mm(worst)) {
            worst = &expected->tips[i];
        }
    }
    return worst;
}

static const char *keep(struct tiptrue_proposal *p, const char *text, bool *good)
{
    return tt_arena_keep(&p->plan.arena, text, good);
}

void tt_proposal_note(struct tiptrue_proposal *proposal, struct tt_note note)
{
    if (proposal->n_notes < MOST_NOTES) {
        proposal->notes[proposal->n_notes++] = note;
    }
}

/* ---- moves ---- */

struct writer {
    const struct tt_choice *choice;
    struct tiptrue_proposal *p;
    const char **edges, **marks, **tips, **setups, **pads;
    size_t id;
    bool good, pairs; /* pairs: a fast and a slow move for each touch */
};

static struct tt_move *add_move(struct writer *w)
{
    struct tt_move *move = &w->p->plan.moves[w->p->plan.n_moves++];
    char id[24];

    snprintf(id, sizeof id, "%zu", w->id++);
    *move = (struct tt_move){.id = keep(w->p, id, &w->good)};
    return move;
}

static void add_sightings(struct writer *w, size_t setup, bool at_end)
{
    const struct tt_scene *scene = w->choice->scene;
    const struct tiptrue_plate *plate = scene->plate;
    struct tt_pose pose = tt_scene_pose(scene, setup);

    for (size_t k = 0, n = (tt_scene_marks(scene) - scene->n_views) / 2; k < n; k++) {
        /* the reference mark first at the start and last at the end */
        size_t mark = tt_plate_mark_in_use(plate, plate->reference, at_end ? n - 1 - k : k);
        struct tt_move *move = add_move(w);
        move->kind = TT_SIGHT;
        move->target = w->marks[mark];
        move->setup = w->setups[setup];
        w->p->head[w->p->plan.n_moves - 1] = tt_pose_place(&pose, 1, plate->marks[mark].at);
        w->p->sightings++;
    }
}

static void add_views(struct writer *w, size_t setup, bool at_end)
{
    const struct tt_scene *scene = w->choice->scene;
    size_t first = at_end ? scene->n_views_first : 0,
           end = at_end ? scene->n_views : scene->n_views_first;

    for (size_t k = first; k < end; k++) {
        const struct tt_view_place *view = &scene->views[k];
        struct tt_move *move = add_move(w);
        move->kind = TT_VIEW;
        move->target = w->marks[view->mark];
        move->setup = w->setups[setup];
        move->has_pixel = true;
        move->px = view->px;
        move->py = view->py;
        w->p->head[w->p->plan.n_moves - 1] = tt_scene_view_head(scene, setup, view);
        w->p->views++;
    }
}

static void add_touch(struct writer *w, const struct tt_probe *probe, bool find)
{
    const struct tt_scene *scene = w->choice->scene;
    const struct tt_motion *motion = &scene->machine->motion;
    const struct tt_edge *edge = &scene->plate->edges[probe->edge];
    struct tt_pose pose = tt_scene_pose(scene, probe->setup);
    struct tt_move *move = add_move(w);

    move->kind = TT_TOUCH;
    move->target = w->edges[probe->edge];
    move->tip = w->tips[probe->tip];
    move->setup = w->setups[probe->setup];
    move->has_rotation = move->has_at = true;
    move->rotation_rad = probe->rotation_rad;
    move->at = probe->at;
    move->is_find = find;
    if (w->pairs) {
        move->feed_mm_s = find ? motion->find_feed_mm_s.value : motion->measure_feed_mm_s.value;
    }
    w->p->head[w->p->plan.n_moves - 1] = tt_scene_head(scene, probe);
    w->p->normal[w->p->plan.n_moves - 1] =
        tt_pose_turn(&pose, (struct tt_plate_xy){edge->n_x, edge->n_y});
    w->p->u_place_mm[w->p->plan.n_moves - 1] = tt_scene_u_place(scene, probe->setup, probe->at);
    w->p->touches += !find;
}

static void add_height(struct writer *w, const struct tt_height_probe *probe, bool find)
{
    const struct tt_scene *scene = w->choice->scene;
    const struct tt_motion *motion = &scene->machine->motion;
    struct tt_move *move = add_move(w);
    size_t at = w->p->plan.n_moves - 1;

    move->kind = TT_HEIGHT;
    move->target = w->pads[probe->pad];
    move->tip = w->tips[probe->tip];
    move->setup = w->setups[0];
    move->has_rotation = move->has_at = true;
    move->rotation_rad = probe->rotation_rad;
    move->at = scene->plate->pads[probe->pad].at;
    move->is_find = find;
    if (w->pairs) {
        move->feed_mm_s = find ? motion->find_feed_mm_s.value : motion->measure_feed_mm_s.value;
    }
    w->p->u_z_mm[at] = tt_height_probe_place(scene, probe, &w->p->head[at], &w->p->z_mm[at]);
    w->p->u_place_mm[at] = tt_scene_u_place(scene, 0, move->at);
    w->p->from_above += !find;
}

static void add_heights(struct writer *w)
{
    const struct tt_height_plan *heights = w->choice->heights;

    for (size_t i = 0; heights != NULL && i < heights->n; i++) {
        if (w->pairs) {
            add_height(w, &heights->probes[i], true);
        }
        add_height(w, &heights->probes[i], false);
    }
}

static bool keep_heights(struct writer *w)
{
    const struct tt_height_plan *heights = w->choice->heights;
    size_t n = heights != NULL ? heights->n_expected : 0;

    w->p->heights = TT_ARENA_NEW(&w->p->plan.arena, n, struct tt_planned_height);
    for (size_t i = 0; i < n && w->p->heights != NULL; i++) {
        w->p->heights[i] = heights->expected[i];
        w->p->heights[i].tip = keep(w->p, heights->expected[i].tip, &w->good);
        w->p->n_heights++;
        w->p->u_slope_x = heights->u_slope_x;
        w->p->u_slope_y = heights->u_slope_y;
    }
    return w->p->heights != NULL;
}

static bool keep_names(struct writer *w)
{
    const struct tt_scene *scene = w->choice->scene;
    const struct tiptrue_plate *plate = scene->plate;
    struct tt_arena *arena = &w->p->plan.arena;

    w->edges = TT_ARENA_NEW(arena, plate->n_edges, const char *);
    w->marks = TT_ARENA_NEW(arena, plate->n_marks, const char *);
    w->tips = TT_ARENA_NEW(arena, scene->n_tips, const char *);
    w->setups = TT_ARENA_NEW(arena, scene->n_setups, const char *);
    w->pads = TT_ARENA_NEW(arena, plate->n_pads, const char *);
    if (w->edges == NULL || w->marks == NULL || w->tips == NULL || w->setups == NULL ||
        w->pads == NULL) {
        return false;
    }
    for (size_t j = 0; j < plate->n_edges; j++) {
        w->edges[j] = keep(w->p, plate->edges[j].name, &w->good);
    }
    for (size_t k = 0; k < plate->n_marks; k++) {
        w->marks[k] = keep(w->p, plate->marks[k].name, &w->good);
    }
    for (size_t k = 0; k < plate->n_pads; k++) {
        w->pads[k] = keep(w->p, plate->pads[k].name, &w->good);
    }
    for (size_t t = 0; t < scene->n_tips; t++) {
        w->tips[t] = keep(w->p, scene->tips[t], &w->good);
    }
    for (size_t s = 0; s < scene->n_setups; s++) {
        w->setups[s] = keep(w->p, scene->setups[s], &w->good);
    }
    return w->good;
}

/* Room for @most moves. */
static bool make_arrays(const struct writer *w, size_t most)
{
    struct tiptrue_proposal *p = w->p;
    struct tt_arena *arena = &p->plan.arena;

    p->plan.moves = TT_ARENA_NEW(arena, most, struct tt_move);
    p->head = TT_ARENA_NEW(arena, most, struct tt_machine_xy);
    p->normal = TT_ARENA_NEW(arena, most, struct tt_machine_xy);
    p->u_place_mm = TT_ARENA_NEW(arena, most, double);
    p->z_mm = TT_ARENA_NEW(arena, most, double);
    p->u_z_mm = TT_ARENA_NEW(arena, most, double);
    p->plan.setups = TT_ARENA_NEW(arena, w->choice->scene->n_setups, struct tt_plan_setup);
    return p->plan.moves != NULL && p->head != NULL && p->normal != NULL && p->u_place_mm != NULL &&
           p->z_mm != NULL && p->u_z_mm != NULL && p->plan.setups != NULL;
}

static bool write_moves(struct writer *w)
{
    const struct tt_choice *choice = w->choice;
    const struct tt_scene *scene = choice->scene;
    struct tiptrue_proposal *p = w->p;
    size_t most = 2 * choice->n_probes + 2 * (choice->heights != NULL ? choice->heights->n : 0) +
                  tt_scene_marks(scene) * scene->n_setups;

    if (!make_arrays(w, most) || !keep_names(w) || !keep_heights(w)) {
        return false;
    }
    for (size_t s = 0, i = 0; s < scene->n_setups; s++) {
        if (scene->turned_rad != NULL && scene->turned_rad[s] != 0) {
            p->plan.setups[p->plan.n_setups++] =
                (struct tt_plan_setup){w->setups[s], scene->turned_rad[s]};
        }
        add_sightings(w, s, false);
        add_views(w, s, false);
        for (; i < choice->n_probes && choice->probes[i].setup == s; i++) {
            if (w->pairs) {
                add_touch(w, &choice->probes[i], true);
            }
            add_touch(w, &choice->probes[i], false);
        }
        if (s == 0) {
            add_heights(w);
        }
        add_sightings(w, s, true);
        add_views(w, s, true);
    }
    return w->good;
}

/* ---- what stands in the way ---- */

static bool keep_left_out(const struct tt_choice *choice, struct tiptrue_proposal *p)
{
    size_t n_edges = choice->scene->plate->n_edges;
    bool good = true;

    p->left_out = TT_ARENA_NEW(&p->plan.arena, choice->n_designs * n_edges, struct tt_left_out);
    for (size_t k = 0; k < choice->n_designs && p->left_out != NULL; k++) {
        const struct tt_design *design = &choice->designs[k];
        for (size_t j = 0; j < n_edges; j++) {
            if (design->reasons[j] != NULL) {
                p->left_out[p->n_left_out++] = (struct tt_left_out){
                    .edge = keep(p, choice->scene->plate->edges[j].name, &good),
                    .tip = keep(p, choice->scene->tips[design->tip], &good),
                    .reason = keep(p, design->reasons[j], &good)};
            }
        }
    }
    return good && p->left_out != NULL;
}

/* The largest line of the budget that is of the plate, or stated of the tip or its place. */
static const struct tt_budget_line *largest(const struct tt_tip_result *tip, bool of_plate)
{
    const struct tt_budget_line *found = NULL;

    for (size_t k = 0; k < tip->n_budget; k++) {
        const struct tt_budget_line *line = &tip->budget[k];
        bool stated = line->code == TT_BUDGET_RADIUS || line->code == TT_BUDGET_YAW ||
                      line->code == TT_BUDGET_PLACE;
        if (line->of_plate == of_plate && (of_plate || stated) &&
            (found == NULL || tt_budget_u_mm(line) > tt_budget_u_mm(found))) {
            found = line;
        }
    }
    return found;
}

static void note_target(struct tiptrue_proposal *p, const struct tt_tip_result *tip)
{
    const struct tt_budget_line *line = largest(tip, false);
    struct tt_parts parts = tt_same_plate_parts(tip);
    bool by_sightings = line == NULL || parts.sightings >= parts.rest;
    enum tt_budget_code source = by_sightings ? TT_BUDGET_SIGHT : line->code;

    if (!p->met) {
        p->limited_by = tt_budget_source(source);
        tt_proposal_note(
            p, (struct tt_note){.code = by_sightings ? TT_NOTE_SIGHTINGS : TT_NOTE_STATED,
                                .tip = tip->name,
                                .source = source,
                                .u_mm = sqrt(by_sightings ? parts.sightings : parts.rest)});
    }
}

static void note_plate(const struct tt_scene *scene, struct tiptrue_proposal *p,
                       const struct tt_tip_result *tip, bool *good)
{
    const struct tt_budget_line *line = largest(tip, true);
    double full_mm2 = fmax(tip->cov.xx_mm2, tip->cov.yy_mm2);

    if (line == NULL || !(tt_budget_u_mm(line) * tt_budget_u_mm(line) > WORTH_SAYING * full_mm2)) {
        return;
    }
    bool group = line->code == TT_BUDGET_GROUPS;
    tt_proposal_note(p, (struct tt_note){.code = TT_NOTE_PLATE,
                                         .tip = tip->name,
                                         .source = line->code,
                                         .u_mm = tt_budget_u_mm(line),
                                         .group = group && scene->plate->n_groups == 1
                                                      ? keep(p, scene->plate->groups[0].name, good)
                                                      : NULL,
                                         .second_setup_helps = scene->n_setups == 1 && group});
}

static bool write_notes(const struct tt_choice *choice, struct tiptrue_proposal *p)
{
    const struct tt_tip_result *worst = p->expected != NULL ? tt_worst_tip(p->expected) : NULL;
    bool good = true;

    if (worst != NULL && worst->offset_determined_x && worst->offset_determined_y) {
        note_target(p, worst);
        note_plate(choice->scene, p, worst, &good);
    }
    for (size_t i = 0; p->expected != NULL && i < p->expected->n_findings; i++) {
        tt_proposal_note(p, (struct tt_note){.code = TT_NOTE_FINDING, .index = i});
    }
    return good;
}

enum tiptrue_status tt_propose(const struct tt_choice *choice, struct tiptrue_proposal **proposal,
                               struct tiptrue_error *error)
{
    const struct tt_scene *scene = choice->scene;
    const struct tt_motion *motion = &scene->machine->motion;
    struct tiptrue_proposal *p = calloc(1, sizeof *p);
    struct writer w = {.choice = choice, .p = p, .id = choice->first_id, .good = true};

    if (p == NULL) {
        return tt_fail_memory(error);
    }
    w.pairs = motion->find_feed_mm_s.stated && motion->measure_feed_mm_s.stated;
    p->plan.file = "-";
    p->plan.mm_per_unit = 1;
    p->plan.log_mm_per_unit = scene->machine->mm_per_unit;
    p->plan.states_stage = w.pairs;
    p->machine = keep(p, scene->machine->name, &w.good);
    p->plate = keep(p, scene->plate->name, &w.good);
    p->notes = TT_ARENA_NEW(&p->plan.arena, MOST_NOTES, struct tt_note);
    p->has_target = choice->target_mm > 0;
    p->target_mm = choice->target_mm;
    p->expected = choice->expected;
    const struct tt_tip_result *worst = p->expected != NULL ? tt_worst_tip(p->expected) : NULL;
    p->met = !p->has_target || (worst != NULL && tt_same_plate_mm(worst) <= p->target_mm);
    p->target_view_mm = choice->target_view_mm;
    p->permitted_view_mm = scene->machine->limits.permitted_view_mm;
    p->corner_mm = p->expected != NULL ? tt_view_corner_mm(p->expected) : HUGE_VAL;
    p->view_met = !(p->target_view_mm > 0) || p->corner_mm <= p->target_view_mm;
    if (p->notes == NULL || !write_moves(&w) || !keep_left_out(choice, p) ||
        !write_notes(choice, p) || !w.good) {
        p->expected = NULL;
        tiptrue_proposal_free(p);
        return tt_fail_memory(error);
    }
    *proposal = p;
    return TIPTRUE_OK;
}
