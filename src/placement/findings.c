/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a board says of itself, as codes with values; and the verdict. */
#include "config.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/distribution.h"
#include "placement/work.h"

/* Three parts of a tip are the least of which one can be seen to disagree with two. */
#define LEAST_PARTS 3
/* Degrees of freedom without which no repeatability is known. */
#define LEAST_DOF 2.0
/* With more than this share of a tip's parts set aside, which ones are good is a guess: robust
 * estimates break down at a half, and here terms are looked for besides. */
#define MOST_ASIDE (1.0 / 3.0)

/* A finding about @tip (or TT_NONE), its numbers, and lines that live in the result. */
static bool add(struct tt_placing *p, const struct tt_finding *finding,
                const struct tt_value values[], size_t n)
{
    struct tiptrue_placement *r = p->result;
    struct tt_finding *grown =
        tt_arena_grow(&r->arena, r->findings, r->n_findings + 1, sizeof(*grown));
    struct tt_value *copies = TT_ARENA_NEW(&r->arena, n, struct tt_value);
    if (grown == NULL || copies == NULL) {
        return false;
    }
    r->findings = grown;
    memcpy(copies, values, n * sizeof(*values));
    grown[r->n_findings] = *finding;
    grown[r->n_findings].values = copies;
    grown[r->n_findings].n_values = n;
    grown[r->n_findings].edge = grown[r->n_findings].setup = TT_NONE;
    r->n_findings++;
    return true;
}

/* The head of a finding without lines. */
static struct tt_finding head(enum tt_finding_code code, enum tiptrue_severity severity, size_t tip)
{
    return (struct tt_finding){.code = code, .severity = severity, .tip = tip};
}

static bool find_few(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    struct tt_finding few = head(TT_FINDING_FEW_PARTS, TIPTRUE_ERROR, TT_NONE);
    bool good = true;
    if (r->repeatability_dof < LEAST_DOF) {
        good = add(p, &few, TT_VALUES(TT_TEXT("what", "board"), TT_PLAIN("parts", r->parts_used)));
    }
    for (size_t t = 0; t < r->n_tips && good; t++) {
        const struct tt_placed_tip *tip = &r->tips[t];
        double of_mean = tip->used > 0 && tip->dof >= LEAST_DOF
                             ? tt_student_quantile(0.5 + 0.5 * TT_PLACED_COVERAGE, tip->dof) *
                                   tip->repeatability_mm / sqrt((double)tip->used)
                             : 0.0;
        few.tip = t;
        if (tip->used < LEAST_PARTS) {
            good = add(p, &few, TT_VALUES(TT_TEXT("what", "tip"), TT_PLAIN("parts", tip->used)));
        } else if (r->has_limit_mm && of_mean > r->limit_mm) {
            good = add(p, &few,
                       TT_VALUES(TT_TEXT("what", "scatter"), TT_IN_MM("mean_within", of_mean),
                                 TT_IN_MM("permitted", r->limit_mm)));
        }
    }
    return good;
}

static bool find_slipped(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    for (size_t t = 0; t < r->n_tips; t++) {
        size_t *lines = TT_ARENA_NEW(&r->arena, p->design.n, size_t), n = 0;
        for (size_t i = 0; lines != NULL && i < p->design.n; i++) {
            if (p->design.rows[i].tip == t && p->design.weight[i] == 0.0) {
                lines[n++] = p->board->parts[i].line;
            }
        }
        bool many = (double)n > MOST_ASIDE * (double)r->tips[t].parts;
        struct tt_finding slipped =
            head(TT_FINDING_SLIPPED_PARTS, many ? TIPTRUE_ERROR : TIPTRUE_WARNING, t);
        slipped.lines = lines;
        slipped.n_lines = n;
        if (lines == NULL ||
            (n > 0 && !add(p, &slipped,
                           TT_VALUES(TT_TEXT("what", many ? "many" : "some"), TT_PLAIN("parts", n),
                                     TT_PLAIN("of", r->tips[t].parts))))) {
            return false;
        }
    }
    return true;
}

/* The found places are not those of these parts, or some were never measured. */
static bool find_misread(struct tt_placing *p)
{
    const struct tt_reading_shown *read = &p->reading;
    struct tt_finding misread = head(TT_FINDING_IMPLAUSIBLE, TIPTRUE_ERROR, TT_NONE);
    bool good = !read->is_far ||
                add(p, &misread,
                    TT_VALUES(TT_TEXT("what", read->fits != NULL ? read->fits : "placed-elsewhere"),
                              TT_IN_MM("apart", read->apart_mm),
                              TT_IN_MM("fits_within", read->fits != NULL ? read->fits_mm : NAN)));
    return good && (read->copied == 0 ||
                    add(p, &misread,
                        TT_VALUES(TT_TEXT("what", "placed-copied"), TT_PLAIN("parts", read->copied),
                                  TT_PLAIN("of", p->board->n_parts))));
}

/* Something moved while the parts were placed or measured: no value can be trusted. */
static bool find_moved(struct tt_placing *p)
{
    const struct tt_order_shown *o = &p->order;
    struct tt_finding moved = head(TT_FINDING_MOVED_BOARD, TIPTRUE_ERROR, TT_NONE);
    return add(p, &moved,
               TT_VALUES(TT_TEXT("what", o->creeps ? "creep" : "step"), TT_PLAIN("line", o->line),
                         TT_IN_MM("x", o->size_mm.x), TT_IN_MM("y", o->size_mm.y),
                         TT_IN_DEG("turn", o->turn_rad), TT_SHARE("probability", o->probability)));
}

/* The tip that scatters most, where repeatabilities differ. */
static bool find_scattered(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    size_t worst = 0;
    for (size_t t = 1; t < r->n_tips; t++) {
        worst = r->tips[t].repeatability_mm > r->tips[worst].repeatability_mm ? t : worst;
    }
    struct tt_finding scattered = head(TT_FINDING_SCATTERED, TIPTRUE_WARNING, worst);
    return !r->by_tip || add(p, &scattered,
                             TT_VALUES(TT_TEXT("what", "placed-tip"),
                                       TT_IN_MM("repeatability", r->tips[worst].repeatability_mm),
                                       TT_IN_MM("of_all", r->repeatability_mm)));
}

static bool find_offsets(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    struct tt_finding common = head(TT_FINDING_ALL_TIPS_OFF, TIPTRUE_WARNING, TT_NONE);
    bool good = !r->common_shown ||
                add(p, &common,
                    TT_VALUES(TT_IN_MM("x", r->common_mm.x), TT_IN_MM("y", r->common_mm.y),
                              TT_IN_MM("u_x", r->u_common_mm.x), TT_IN_MM("u_y", r->u_common_mm.y),
                              TT_SHARE("probability", r->p_common)));
    for (size_t t = 0; t < r->n_tips && good; t++) {
        const struct tt_placed_tip *tip = &r->tips[t];
        struct tt_finding off = head(TT_FINDING_OFFSET_OFF, TIPTRUE_WARNING, t);
        struct tt_finding turning = head(TT_FINDING_TURNING, TIPTRUE_WARNING, t);
        if (tip->p_offset >= TT_TERM_SHOWN) {
            good = add(p, &off,
                       TT_VALUES(TT_TEXT("what", r->relative      ? "relative"
                                                 : r->n_tips == 1 ? "only-tip"
                                                                  : "of-several"),
                                 TT_IN_MM("x", tip->offset_mm.x), TT_IN_MM("y", tip->offset_mm.y),
                                 TT_IN_MM("u_x", tip->u_offset_mm.x),
                                 TT_IN_MM("u_y", tip->u_offset_mm.y),
                                 TT_SHARE("probability", tip->p_offset)));
        }
        if (good && tip->turning_shown) {
            good = add(p, &turning,
                       TT_VALUES(TT_IN_MM("x", tip->turning_mm.x), TT_IN_MM("y", tip->turning_mm.y),
                                 TT_IN_MM("u_x", tip->u_turning_mm.x),
                                 TT_IN_MM("u_y", tip->u_turning_mm.y),
                                 TT_SHARE("probability", tip->p_turning)));
        }
    }
    return good;
}

static bool find_angles(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    for (size_t t = 0; t < r->n_tips; t++) {
        const struct tt_placed_tip *tip = &r->tips[t];
        struct tt_finding angle = head(TT_FINDING_ROTATION_ZERO, TIPTRUE_WARNING, t);
        if (tip->angle_shown &&
            !add(p, &angle,
                 TT_VALUES(TT_IN_DEG("error", tip->angle_rad), TT_IN_DEG("u", tip->u_angle_rad),
                           TT_SHARE("probability", tip->p_angle)))) {
            return false;
        }
    }
    return true;
}

/* What it comes to over 100 mm of board: the larger column of E. */
static bool find_grid(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    const struct tt_board_grid *g = &r->grid;
    double turn = g->turn_known ? g->turn : 0.0;
    double along_x = hypot(g->scale_x, turn), along_y = hypot(g->shear - turn, g->scale_y);
    struct tt_finding off = head(TT_FINDING_GRID_OFF, TIPTRUE_WARNING, TT_NONE);
    return !g->shown ||
           add(p, &off,
               TT_VALUES(TT_IN_MM("over_100", 100.0 * fmax(along_x, along_y)),
                         (struct tt_value){"scale_x", TT_UNIT_PPM, 1e6 * g->scale_x, NULL, NULL},
                         (struct tt_value){"scale_y", TT_UNIT_PPM, 1e6 * g->scale_y, NULL, NULL},
                         TT_PLAIN("shear_mm_per_m", 1e3 * g->shear),
                         TT_PLAIN("turn_mm_per_m", g->turn_known ? 1e3 * g->turn : NAN),
                         TT_SHARE("probability", g->p)));
}

/* The best rival that is listed: its number among the explanations, from 1. */
static bool find_rival(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    size_t rival = tt_terms_rival(&p->weighed, 1);
    struct tt_finding ambiguous = head(TT_FINDING_AMBIGUOUS, TIPTRUE_WARNING, TT_NONE);
    return rival == TT_NONE || rival >= r->n_explanations || !tt_placing_any_shown(p) ||
           add(p, &ambiguous,
               TT_VALUES(TT_TEXT("what", "placed-terms"), TT_PLAIN("explanation", rival + 1),
                         TT_SHARE("probability", r->explanations[0].probability),
                         TT_SHARE("rival_probability", r->explanations[rival].probability)));
}

/* What the parts, as they lie, cannot tell. */
static bool find_open(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    bool good = true;
    for (size_t t = 0; t < r->n_tips && good; t++) {
        const struct tt_placed_tip *tip = &r->tips[t];
        struct tt_finding open = head(TT_FINDING_UNDETERMINED, TIPTRUE_WARNING, t);
        if (!tip->has_offset && tip->used > 0) {
            good = add(p, &open, TT_VALUES(TT_TEXT("what", "placed-frame")));
        } else if (!tip->offset_apart && tip->used >= LEAST_PARTS) {
            good = add(p, &open,
                       TT_VALUES(TT_TEXT("what", "placed-rotations"),
                                 TT_IN_MM("u", fmax(tip->u_offset_mm.x, tip->u_offset_mm.y))));
        }
    }
    struct tt_finding open = head(TT_FINDING_UNDETERMINED, TIPTRUE_WARNING, TT_NONE);
    return good && (tt_grid_is_told(p) || add(p, &open, TT_VALUES(TT_TEXT("what", "placed-grid"))));
}

static bool find_not_normal(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    for (size_t k = 1; k < r->n_capability; k++) {
        const struct tt_capability *c = &r->capability[k];
        const char *axis = c->has_place && !c->x.normal             ? "x"
                           : c->has_place && !c->y.normal           ? "y"
                           : c->has_rotation && !c->rotation.normal ? "rotation"
                                                                    : NULL;
        struct tt_finding odd = head(TT_FINDING_NOT_NORMAL, TIPTRUE_NOTE, c->tip);
        if (axis != NULL && !add(p, &odd, TT_VALUES(TT_TEXT("axis", axis)))) {
            return false;
        }
    }
    return true;
}

static bool find_other_machine(struct tt_placing *p)
{
    const char *log = p->result->machine, *name = p->machine->name;
    struct tt_finding other = head(TT_FINDING_OTHER_MACHINE, TIPTRUE_ERROR, TT_NONE);
    char *file = tt_arena_copy(&p->result->arena, name);
    return file != NULL &&
           (strcmp(log, file) == 0 ||
            add(p, &other,
                TT_VALUES(TT_TEXT("what", "board"), TT_TEXT("log", log), TT_TEXT("file", file))));
}

/* Whether the run of touches agrees with the board. */
static bool find_joined(struct tt_placing *p)
{
    const struct tt_joined *j = p->result->joined;
    struct tt_finding finding = head(TT_FINDING_CONFIRMED, TIPTRUE_NOTE, TT_NONE);
    if (j == NULL) {
        return true;
    }
    if (j->equations == 0.0) {
        finding.code = TT_FINDING_UNDETERMINED;
        finding.severity = TIPTRUE_WARNING;
        return add(p, &finding, TT_VALUES(TT_TEXT("what", "placed-seat"), TT_TEXT("run", j->run)));
    }
    if (j->agrees) {
        return add(p, &finding,
                   TT_VALUES(TT_TEXT("what", j->seat_known ? "offsets" : "differences"),
                             TT_TEXT("run", j->run), TT_SHARE("probability", j->p)));
    }
    finding = head(TT_FINDING_CONTRADICTED, TIPTRUE_ERROR, j->worst);
    return add(p, &finding,
               TT_VALUES(TT_TEXT("run", j->run), TT_IN_MM("x", j->worst_apart_mm.x),
                         TT_IN_MM("y", j->worst_apart_mm.y), TT_SHARE("probability", j->p)));
}

static int worst_first(const void *a, const void *b)
{
    const struct tt_finding *x = a, *y = b;
    if (x->severity != y->severity) {
        return (int)y->severity - (int)x->severity;
    }
    return x->code != y->code ? (int)x->code - (int)y->code : (x->tip > y->tip) - (x->tip < y->tip);
}

/* What the places say, where they are those of the parts and nothing moved: all of it would follow
 * from that. */
static bool find_all(struct tt_placing *p)
{
    return find_few(p) && find_slipped(p) && find_scattered(p) && find_offsets(p) &&
           find_angles(p) && find_grid(p) && find_rival(p) && find_open(p) && find_not_normal(p) &&
           find_joined(p);
}

bool tt_placing_findings(struct tt_placing *p)
{
    bool misread = p->reading.is_far || p->reading.copied > 0;
    bool good = find_other_machine(p) && find_misread(p) &&
                (misread || (p->order.found ? find_moved(p) : find_all(p)));
    if (good && p->result->n_findings > 0) {
        qsort(p->result->findings, p->result->n_findings, sizeof(*p->result->findings),
              worst_first);
    }
    return good;
}

/* Whether something that is shown is off by more than is permitted; without a limit, at all. */
static bool is_off(const struct tt_placing *p)
{
    const struct tiptrue_placement *r = p->result;
    bool off = tt_placing_any_shown(p) && (!r->has_limit_mm || r->systematic_mm > r->limit_mm);
    for (size_t t = 0; t < r->n_tips; t++) {
        off = off || (r->tips[t].angle_shown &&
                      (!r->has_limit_rad || fabs(r->tips[t].angle_rad) > r->limit_rad));
    }
    return off;
}

void tt_placing_verdict(struct tt_placing *p)
{
    struct tiptrue_placement *r = p->result;
    bool error = r->n_findings > 0 && r->findings[0].severity == TIPTRUE_ERROR;
    r->verdict = error ? TIPTRUE_REPEAT : is_off(p) ? TIPTRUE_UPDATE : TIPTRUE_KEEP;
}
