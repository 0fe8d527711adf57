/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where requests for memory come from: those that come from one place by the same calls are of one
 * kind, and to refuse the first of a kind is to test it. */
#ifndef SITES_H
#define SITES_H

#include <dlfcn.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <unwind.h>

/* Requests that are noted, and places for kinds of them, of which there are far fewer. */
enum { SITES = 100000, PLACES = 1 << 16 };

/* The sites of all requests while @on, told by their @calls innermost calls. */
struct sites {
    bool on;
    int calls;
    size_t n;
    uint64_t site[SITES];
    size_t n_kinds, first[SITES]; /* of its kind: the number of that; 0: it was there before */
    uint64_t kinds[PLACES];
};

struct site_walk {
    uint64_t digest; /* FNV-1a of where the calls stand in their files */
    int left;
};

static _Unwind_Reason_Code add_call(struct _Unwind_Context *context, void *of)
{
    struct site_walk *walk = (struct site_walk *)of;
    const _Unwind_Ptr call = _Unwind_GetIP(context);
    Dl_info file = {0};

    dladdr((void *)call, &file);
    walk->digest = (walk->digest ^ (call - (_Unwind_Ptr)file.dli_fbase)) * 1099511628211u;
    return --walk->left > 0 ? _URC_NO_REASON : _URC_END_OF_STACK;
}

/* Whether no site like it was noted before; it is now. */
static bool is_new(struct sites *sites, uint64_t site)
{
    size_t place = site % PLACES;

    while (sites->kinds[place] != 0 && sites->kinds[place] != site) {
        place = (place + 1) % PLACES;
    }
    if (sites->kinds[place] == site) {
        return false;
    }
    sites->kinds[place] = site;
    return true;
}

/* Note the request that is being made. Unwinding may ask for memory itself, which is not noted. */
static __attribute__((noinline)) void note_site(struct sites *sites)
{
    struct site_walk walk = {14695981039346656037u, sites->calls};

    if (sites->on && sites->n < SITES) {
        sites->on = false;
        _Unwind_Backtrace(add_call, &walk);
        sites->first[sites->n] = is_new(sites, walk.digest) ? ++sites->n_kinds : 0;
        sites->site[sites->n++] = walk.digest;
        sites->on = true;
    }
}

#endif
