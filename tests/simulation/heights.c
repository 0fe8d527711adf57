/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* The tables of docs/statistics.md about heights: heights [RUNS [SEED]], 500 runs of each design
 * and seed 2027 unless said. */
#include "config.h"

#include "height_runs.h"

#include <stdio.h>
#include <stdlib.h>

static void print(const struct design *d, const struct tally *t)
{
    double n = (double)t->used;

    printf("%zu %2zu %3.0f %2.0f %-6s  %6.2f %6.2f %6.2f  %5.3f %5.3f  %6.2f %6.2f %6.2f %6.2f "
           "%6.2f %6.2f  %6.2f\n",
           d->pads, d->touches, 100 * d->late, 1e3 * d->face_mm, d->stated ? "stated" : "own",
           100 * (double)t->total / n, 100 * (double)t->same_plate / n,
           100 * (double)t->between / n, sqrt(t->squares / t->stated), sqrt(t->squares / t->bound),
           100 * (double)t->face / (double)t->runs, 100 * (double)t->other / (double)t->runs,
           100 * (double)t->ambiguous / (double)t->runs, 100 * (double)t->few / (double)t->runs,
           100 * (double)t->undetermined / (double)t->runs,
           100 * (double)t->beyond / (double)t->runs,
           t->slopes > 0 ? 100 * (double)t->slope / (double)t->slopes : NAN);
}

int main(int argc, char **argv)
{
    static const size_t TOUCHES[] = {3, 6, 12};
    static const double LATE[] = {0, 0.15, 0.30};
    size_t runs = argc > 1 ? strtoul(argv[1], NULL, 10) : 500;
    uint64_t first = state, seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 2027;
    struct tally tally;

    printf("pads touches late%% face   | total same between | rms/u rms/bound | face other ambig "
           "few undet "
           "beyond3U (%%) | slope\n");
    for (size_t cell = 0; cell < 2 * 2 * 4 * 3 * 3; cell++) {
        struct design d = {cell / 9 % 4 + 1, TOUCHES[cell / 3 % 3], LATE[cell % 3],
                           cell / 72 == 1 ? 0.010 : 0, cell / 36 % 2 == 0};
        state = first ^ (0x9e3779b97f4a7c15u * seed); /* each design by itself */
        for (int k = 0; k < 20; k++) {
            (void)uniform();
        }
        run_design(&d, runs, &tally);
        print(&d, &tally);
        fflush(stdout);
    }
    return 0;
}
