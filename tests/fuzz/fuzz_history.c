/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A history of two runs with some of its bytes changed: an input is places (three bytes) and what
 * is put there (one). Nothing crashes; what cannot be read is told; what `verify` calls sound is
 * listed, exported and asked for the weeks. */
#include "config.h"

#include "as_file.h"
#include "bench.h"
#include "ingest/bytes.h"
#include "ingest/ingest.h"
#include "tiptrue.h"

static uint8_t *sound;
static size_t sound_size;

static enum tiptrue_status pass(void *context, const char *text, size_t length)
{
    *(size_t *)context += length + (text != NULL);
    return TIPTRUE_OK;
}

static void told(void *context, const struct tiptrue_diagnostic *diagnostic)
{
    FUZZ_ASSERT(diagnostic->text[0] != '\0' && strpbrk(diagnostic->text, "\n\r\033") == NULL);
    *(size_t *)context += diagnostic->severity == TIPTRUE_ERROR;
}

static bool is_documented(enum tiptrue_status status)
{
    return status == TIPTRUE_OK || status == TIPTRUE_E_DATA || status == TIPTRUE_E_IO ||
           status == TIPTRUE_E_NO_INPUT;
}

/* One run, simulated with @seed, into @history. */
static void add_run(struct tiptrue_history *history, unsigned long seed)
{
    const struct tiptrue_plan_options options = {.touches = 24, .sightings = 1, .setups = 1};
    struct tiptrue_workspace *workspace = NULL;
    struct tiptrue_plate *plate = NULL;
    struct tiptrue_machine *machine = NULL;
    struct tiptrue_proposal *proposal = NULL;
    struct tiptrue_truth *truth = NULL;
    struct tiptrue_run *run = NULL, *whole = NULL;
    struct tiptrue_solution *solution = NULL;
    char *log = NULL;
    size_t length = 0;
    FUZZ_ASSERT(tiptrue_workspace_new(&workspace, NULL) == TIPTRUE_OK);
    FUZZ_ASSERT(tt_plate_read_bytes("p", bench_plate, strlen(bench_plate), NULL, &plate, NULL) ==
                TIPTRUE_OK);
    FUZZ_ASSERT(tt_machine_read_bytes("m", bench_machine, strlen(bench_machine), NULL, &machine,
                                      NULL) == TIPTRUE_OK);
    FUZZ_ASSERT(tiptrue_plan_make(workspace, plate, machine, &options, &proposal, NULL) ==
                TIPTRUE_OK);
    const struct tiptrue_plan *plan = tiptrue_proposal_plan(proposal);
    FUZZ_ASSERT(tiptrue_truth_draw(plate, machine, plan, seed, false, &truth, NULL) == TIPTRUE_OK);
    FUZZ_ASSERT(tiptrue_simulate(plate, machine, plan, truth, seed, &run, NULL) == TIPTRUE_OK);
    FUZZ_ASSERT(tiptrue_run_csv(run, plate, TIPTRUE_UNITS_MM, &log, &length, NULL) == TIPTRUE_OK);
    const char *path = fuzz_as_file((const uint8_t *)log, length);
    FUZZ_ASSERT(tiptrue_run_read_whole(path, plate, machine, NULL, NULL, NULL, &whole, NULL) ==
                TIPTRUE_OK);
    FUZZ_ASSERT(tiptrue_solve(workspace, plate, machine, whole, NULL, &solution, NULL) ==
                TIPTRUE_OK);
    FUZZ_ASSERT(tiptrue_history_add(history, plate, machine, NULL, NULL, whole, solution, 1.8e9,
                                    NULL, NULL) == TIPTRUE_OK);
    free(log);
    tiptrue_solution_free(solution);
    tiptrue_run_free(whole);
    tiptrue_run_free(run);
    tiptrue_truth_free(truth);
    tiptrue_proposal_free(proposal);
    tiptrue_machine_free(machine);
    tiptrue_plate_free(plate);
    tiptrue_workspace_free(workspace);
}

static void take_away_beside(const char *path)
{
    static const char *const ends[] = {"-wal", "-shm", "-journal"};
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        char beside[128];
        snprintf(beside, sizeof beside, "%s%s", path, ends[i]);
        unlink(beside);
    }
}

static void make_sound(void)
{
    char path[128];
    struct tiptrue_history *history = NULL;
    struct tt_bytes bytes = {0};
    snprintf(path, sizeof path, "%s.sound", fuzz_as_file((const uint8_t *)"", 0));
    FUZZ_ASSERT(tiptrue_history_open(path, TIPTRUE_HISTORY_WRITE, &history, NULL) == TIPTRUE_OK);
    add_run(history, 3);
    add_run(history, 8);
    tiptrue_history_close(history);
    FUZZ_ASSERT(tt_bytes_read(path, &bytes, NULL) == TIPTRUE_OK);
    sound = malloc(bytes.length);
    FUZZ_ASSERT(sound != NULL && bytes.length > 8192);
    memcpy(sound, bytes.text, bytes.length);
    sound_size = bytes.length;
    tt_bytes_clear(&bytes);
    unlink(path);
    take_away_beside(path);
}

static void ask(struct tiptrue_history *history)
{
    const struct tiptrue_history_query query = {.machine = "bench-7"}, all = {0};
    size_t written = 0, faults = 0;
    const struct tiptrue_writer writer = {pass, &written};
    const struct tiptrue_sink sink = {told, &faults};
    struct tiptrue_history_counts counts = {0};
    struct tiptrue_trend *trend = NULL;
    struct tiptrue_error error = {0};
    enum tiptrue_status verified = tiptrue_history_verify(history, &sink, &counts, &error);
    FUZZ_ASSERT(is_documented(verified) && (verified == TIPTRUE_OK || error.text[0] != '\0'));
    enum tiptrue_status said[] = {
        tiptrue_history_list(history, &all, true, NULL, &writer, NULL),
        tiptrue_history_list(history, &all, false, NULL, &writer, NULL),
        tiptrue_history_export(history, &all, false, &writer, NULL),
        tiptrue_history_trend(history, &query, NULL, &trend, NULL),
    };
    for (size_t i = 0; i < sizeof said / sizeof said[0]; i++) {
        FUZZ_ASSERT(is_documented(said[i]));
        FUZZ_ASSERT(verified != TIPTRUE_OK || said[i] == TIPTRUE_OK || counts.runs < 2);
    }
    tiptrue_trend_free(trend);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tiptrue_history *history = NULL;
    struct tiptrue_error error = {0};
    if (sound == NULL) {
        make_sound();
    }
    uint8_t *changed = malloc(sound_size);
    FUZZ_ASSERT(changed != NULL);
    memcpy(changed, sound, sound_size);
    for (size_t i = 0; i + 4 <= size; i += 4) {
        size_t at = (size_t)data[i] << 16 | (size_t)data[i + 1] << 8 | data[i + 2];
        changed[at % sound_size] = data[i + 3];
    }
    const char *path = fuzz_as_file(changed, sound_size);
    free(changed);
    enum tiptrue_status status = tiptrue_history_open(path, TIPTRUE_HISTORY_READ, &history, &error);
    FUZZ_ASSERT(is_documented(status) && (status == TIPTRUE_OK) == (history != NULL));
    if (history != NULL) {
        ask(history);
    }
    tiptrue_history_close(history);
    take_away_beside(path);
    return 0;
}
