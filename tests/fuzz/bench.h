/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A machine and its plate, for targets that solve. */
#ifndef TT_TESTS_FUZZ_BENCH_H
#define TT_TESTS_FUZZ_BENCH_H

static const char bench_plate[] =
    "{\"schema\": \"tiptrue.plate/1\", \"name\": \"weir\", \"serial\": \"W-3\", \"reference\": "
    "\"A\", \"marks\": [{\"name\": \"A\", \"at\": [0, 0]}, {\"name\": \"B\", \"at\": [31.2, 7.4], "
    "\"u\": 0.003}], \"edges\": ["
    "{\"name\": \"e\", \"from\": [38.1, 3.2], \"to\": [37.4, 19.7], \"free_side\": \"right\", "
    "\"u\": 0.004},"
    "{\"name\": \"n\", \"from\": [29.3, 24.6], \"to\": [9.8, 25.9], \"free_side\": \"right\", "
    "\"u\": 0.004},"
    "{\"name\": \"w\", \"from\": [-4.7, 21.3], \"to\": [-3.9, 4.6], \"free_side\": \"right\", "
    "\"u\": 0.004},"
    "{\"name\": \"s\", \"from\": [5.2, -6.8], \"to\": [27.6, -5.1], \"free_side\": \"right\", "
    "\"u\": 0.004}]}";
static const char bench_machine[] =
    "{\"schema\": \"tiptrue.machine/1\", \"name\": \"bench-7\", \"resolution\": 0.001, \"touch\": "
    "{\"u\": 0.002}, \"sighting\": {\"u\": 0.002}, \"rotation\": {\"u_deg\": 0.1}, \"limits\": "
    "{\"permitted_error\": 0.04}, \"tips\": [{\"name\": \"t\", \"radius\": 0.37, \"radius_u\": "
    "0.01, \"offset\": "
    "[36.21, -18.44]}, {\"name\": \"v\", \"radius\": 0.52, \"radius_u\": 0.01, \"offset\": "
    "[-23.85, 11.07]}]}";

#endif
