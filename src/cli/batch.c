/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See batch.h. A ring of slots, one lock: workers take the next piece while its slot is free, the caller empties slots in order. */
#include "config.h"

#include "cli/batch.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

struct ring {
    const struct cli_batch *batch;
    pthread_mutex_t lock;
    pthread_cond_t finished, emptied; /* a piece is done; a slot is free again */
    size_t slots;
    char *outcomes;
    bool *done;
    size_t next;      /* piece to be taken */
    size_t delivered; /* pieces handed on */
};

struct worker {
    struct ring *ring;
    pthread_t thread;
    size_t number;
};

static void *outcome_of(const struct ring *ring, size_t piece)
{
    return ring->outcomes + piece % ring->slots * ring->batch->outcome_size;
}

/* The next piece, once its slot is free. False: there is none left. */
static bool take(struct ring *ring, size_t *piece)
{
    bool got = false;

    pthread_mutex_lock(&ring->lock);
    while (ring->next < ring->batch->pieces && ring->next >= ring->delivered + ring->slots) {
        pthread_cond_wait(&ring->emptied, &ring->lock);
    }
    if (ring->next < ring->batch->pieces) {
        *piece = ring->next++;
        got = true;
    }
    pthread_mutex_unlock(&ring->lock);
    return got;
}

static void *work(void *context)
{
    struct worker *worker = context;
    struct ring *ring = worker->ring;
    size_t piece;

    while (take(ring, &piece)) {
        void *outcome = outcome_of(ring, piece);
        memset(outcome, 0, ring->batch->outcome_size);
        ring->batch->work(ring->batch->context, worker->number, piece, outcome);
        pthread_mutex_lock(&ring->lock);
        ring->done[piece % ring->slots] = true;
        pthread_cond_signal(&ring->finished);
        pthread_mutex_unlock(&ring->lock);
    }
    return NULL;
}

static void deliver_all(struct ring *ring)
{
    const struct cli_batch *batch = ring->batch;

    for (size_t piece = 0; piece < batch->pieces; piece++) {
        pthread_mutex_lock(&ring->lock);
        while (!ring->done[piece % ring->slots]) {
            pthread_cond_wait(&ring->finished, &ring->lock);
        }
        pthread_mutex_unlock(&ring->lock);
        batch->deliver(batch->context, piece, outcome_of(ring, piece));
        pthread_mutex_lock(&ring->lock);
        ring->done[piece % ring->slots] = false;
        ring->delivered++;
        pthread_cond_broadcast(&ring->emptied);
        pthread_mutex_unlock(&ring->lock);
    }
}

/* One worker: the caller itself. False: out of memory. */
static bool run_alone(const struct cli_batch *batch)
{
    void *outcome = malloc(batch->outcome_size);

    if (outcome == NULL) {
        return false;
    }
    for (size_t piece = 0; piece < batch->pieces; piece++) {
        memset(outcome, 0, batch->outcome_size);
        batch->work(batch->context, 0, piece, outcome);
        batch->deliver(batch->context, piece, outcome);
    }
    free(outcome);
    return true;
}

static bool run_ring(struct ring *ring, struct worker *workers, size_t n_workers)
{
    size_t started = 0;

    while (started < n_workers) {
        workers[started] = (struct worker){.ring = ring, .number = started};
        if (pthread_create(&workers[started].thread, NULL, work, &workers[started]) != 0) {
            break;
        }
        started++;
    }
    if (started == 0) {
        return run_alone(ring->batch);
    }
    deliver_all(ring);
    for (size_t i = 0; i < started; i++) {
        pthread_join(workers[i].thread, NULL);
    }
    return true;
}

bool cli_batch_run(const struct cli_batch *batch)
{
    size_t n_workers = batch->workers < batch->pieces ? batch->workers : batch->pieces;
    struct ring ring = {.batch = batch, .slots = CLI_BATCH_DEPTH * n_workers};
    struct worker *workers;
    bool ran = false;

    if (n_workers <= 1) {
        return run_alone(batch);
    }
    workers = calloc(n_workers, sizeof *workers);
    ring.outcomes = calloc(ring.slots, batch->outcome_size);
    ring.done = calloc(ring.slots, sizeof *ring.done);
    if (workers != NULL && ring.outcomes != NULL && ring.done != NULL) {
        pthread_mutex_init(&ring.lock, NULL);
        pthread_cond_init(&ring.finished, NULL);
        pthread_cond_init(&ring.emptied, NULL);
        ran = run_ring(&ring, workers, n_workers);
        pthread_cond_destroy(&ring.emptied);
        pthread_cond_destroy(&ring.finished);
        pthread_mutex_destroy(&ring.lock);
    }
    free(ring.done);
    free(ring.outcomes);
    free(workers);
    return ran;
}
