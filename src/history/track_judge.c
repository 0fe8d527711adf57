/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* What a term is worth, beside those of a fit or among them; what a fit predicts. */
#include "config.h"

#include <math.h>
#include <string.h>

#include "history/track_parts.h"

/* From this share of all scatter on, what an effect explains is continued as a straight line: the score's estimate is at its end.
 */
#define STEEP 0.9

/* From a squared distance to chi-squared of the same probability: exact for Hotelling's T^2 in the plane, to a hundredth on a line.
 */
static double chi2_of(double t2, double dof, unsigned axes)
{
    double scale = dof - (axes == 2 ? 1 : 0.5);

    return scale > 0 && t2 > 0 ? scale * log1p(t2 / dof) : 0;
}

/* The degrees of freedom of the scatter that a term is judged by; and of how many it would be one if what an effect adds to it were
 * spread over all of them. What all members share is known from the runs alone, and likeness of the members says nothing of it. */
struct sureness {
    double dof, diluted;
};

static struct sureness sureness_of(const struct tt_track *t, size_t member)
{
    double dof = t->dof[tt_track_column(t, member)];

    if (member == TT_TRACK_ALL) {
        double own = t->members == 1 ? t->prior_dof : 0;
        return (struct sureness){dof + own, dof + own};
    }
    double own = t->own_dof[member];
    return (struct sureness){own + t->prior_dof, own > 0 ? (own + t->prior_dof) * dof / own : 0};
}

double tt_track_gain(const struct tt_track *t, const struct tt_term *term)
{
    size_t size = 2 * t->n_terms;
    struct sureness sure = sureness_of(t, term->member);
    double *first = t->scratch, *second = t->scratch + size;

    if (t->singular || !(sure.dof > 2) || !(sure.diluted < HUGE_VAL)) {
        return -1;
    }
    struct tt_mat2 own = tt_track_product(t, term, term);
    struct tt_pair score = tt_track_residual(t, term);
    for (size_t a = 0; a < t->n_terms; a++) {
        struct tt_mat2 block = tt_track_product(t, term, &t->terms[a]);
        first[2 * a] = block.xx;
        first[2 * a + 1] = block.xy;
        second[2 * a] = block.yx;
        second[2 * a + 1] = block.yy;
    }
    tt_track_solve_lower(t, first);
    tt_track_solve_lower(t, second);
    struct tt_sym2 left = {own.xx, own.xy, own.yy};
    for (size_t i = 0; i < size; i++) {
        left.xx -= first[i] * first[i];
        left.xy -= first[i] * second[i];
        left.yy -= second[i] * second[i];
    }
    if (!(left.xx > TT_TRACK_SINGULAR * own.xx) || (t->axes == 2 && !(left.yy > TT_TRACK_SINGULAR * own.yy))) {
        return -1;
    }
    double t2 = t->axes == 2 ? tt_sym2_distance2(left, score) : score.x * score.x / left.xx;
    if (!(t2 >= 0)) {
        return -1;
    }
    /* the scatter still has the effect in it: taken out, the distance is larger */
    double share = t2 / sure.diluted, steep = 1 / (1 - STEEP);
    double without = share < STEEP ? share / (1 - share) : STEEP * steep + (share - STEEP) * steep * steep;
    return chi2_of((sure.diluted - 1) * without, sure.dof - 1, t->axes);
}

struct tt_sym2 tt_track_cov(const struct tt_track *t, size_t index)
{
    size_t size = 2 * t->n_terms;
    double *x = t->scratch;
    struct tt_sym2 cov = {0, 0, 0};

    for (size_t axis = 0; axis < 2; axis++) {
        memset(x, 0, size * sizeof *x);
        x[2 * index + axis] = 1;
        tt_track_solve_lower(t, x);
        tt_track_solve_upper(t, x);
        if (axis == 0) {
            cov.xx = x[2 * index];
            cov.xy = x[2 * index + 1];
        } else {
            cov.yy = x[2 * index + 1];
        }
    }
    /* of what persists from run to run, many runs know less than their number says: the variance of a mean of an autoregressive
     * series of first order */
    double more = (1 + t->persistence) / (1 - t->persistence);
    return (struct tt_sym2){more * cov.xx, more * cov.xy, more * cov.yy};
}

void tt_track_predict(const struct tt_track *t, size_t member, double week, struct tt_pair *value, struct tt_sym2 *cov)
{
    size_t size = 2 * t->n_terms;
    double *first = t->scratch, *second = t->scratch + size;

    *value = (struct tt_pair){0, 0};
    for (size_t a = 0; a < t->n_terms; a++) {
        double c = 0;
        for (size_t i = 0; i < t->terms[a].n_pieces; i++) {
            const struct tt_piece *p = &t->terms[a].piece[i];
            c += p->from < t->n ? p->sign * (p->power == 0 ? 1 : week) : 0;
        }
        c = t->terms[a].member == member || t->terms[a].member == TT_TRACK_ALL ? c : 0;
        value->x += c * t->coefficient[a].x;
        value->y += c * t->coefficient[a].y;
        first[2 * a] = second[2 * a + 1] = c;
        first[2 * a + 1] = second[2 * a] = 0;
    }
    tt_track_solve_lower(t, first);
    tt_track_solve_lower(t, second);
    *cov = (struct tt_sym2){0, 0, 0};
    for (size_t i = 0; i < size; i++) {
        cov->xx += first[i] * first[i];
        cov->xy += first[i] * second[i];
        cov->yy += second[i] * second[i];
    }
}

double tt_track_worth(const struct tt_track *t, size_t index)
{
    struct tt_sym2 cov = tt_track_cov(t, index);
    struct tt_pair c = t->coefficient[index];
    struct sureness sure = sureness_of(t, t->terms[index].member);
    double t2 = t->axes == 2 ? tt_sym2_distance2(cov, c) : c.x * c.x / cov.xx;

    return sure.dof > 1 && sure.diluted < HUGE_VAL ? chi2_of(t2, sure.dof, t->axes) : 0;
}

double tt_track_deviance(const struct tt_track *t)
{
    double sum = 0;

    for (size_t run = 0; run < t->n; run++) {
        struct tt_sym2 w_sum = {0, 0, 0};
        struct tt_pair weighted = {0, 0};
        for (size_t k = 0; k < t->members; k++) {
            if (!t->there[run * t->members + k]) {
                continue;
            }
            struct tt_sym2 own = tt_track_own_cov(t, run, k), w = tt_sym2_inverse(own);
            struct tt_pair r = t->residual[run * t->members + k], v = tt_sym2_times(w, r);
            sum += t->axes == 2 ? log(own.xx * own.yy - own.xy * own.xy) : log(own.xx);
            sum += r.x * v.x + r.y * v.y;
            w_sum = tt_sym2_plus(w_sum, w, 1);
            weighted.x += v.x;
            weighted.y += v.y;
        }
        struct tt_sym2 m = tt_track_shared_cov(t, run);
        struct tt_mat2 gm = tt_sym2_product(w_sum, m);
        struct tt_pair back = tt_sym2_times(tt_sym2_shared_part(m, w_sum), weighted);
        sum += log((1 + gm.xx) * (1 + gm.yy) - gm.xy * gm.yx) - (weighted.x * back.x + weighted.y * back.y);
    }
    return sum;
}
