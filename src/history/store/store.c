/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Opening, closing and waiting. How SQLite behaves on read-only media:
 * https://www.sqlite.org/wal.html, «Read-Only Databases». */
#include "config.h"

#include "history/store/store.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "base/buffer.h"
#include "history/store/schema.h"
#include "history/store/sql.h"

/* Of one wait: short enough that a file that is free for a moment between two commits of somebody
 * else is met soon. */
#define SHORTEST_WAIT_MS 1
#define LONGEST_WAIT_MS 12
/* After so long somebody at the machine begins to wonder. */
#define SAID_AFTER_MS 1000

static void sleep_ms(unsigned long ms)
{
    struct timespec time = {.tv_sec = (time_t)(ms / 1000), .tv_nsec = (long)(ms % 1000) * 1000000L};
    while (nanosleep(&time, &time) != 0 && errno == EINTR) {
    }
}

/* SQLite's own waits grow to 100 ms, by which who has waited long loses against who comes: this one
 * stays short. */
static int wait_for_others(void *context, int times)
{
    struct tiptrue_history *store = context;
    unsigned long ms = SHORTEST_WAIT_MS + (unsigned long)times % LONGEST_WAIT_MS;

    if (store->waited_ms >= store->most_ms) {
        return 0;
    }
    if (store->waited_ms < SAID_AFTER_MS && store->waited_ms + ms >= SAID_AFTER_MS &&
        store->waiting != NULL) {
        store->waiting(store->waiting_context, store->path);
    }
    sleep_ms(ms);
    store->waited_ms += ms;
    return 1;
}

static enum tiptrue_status open_file(struct tiptrue_history *store, const char *name, int flags,
                                     struct tiptrue_error *error)
{
    int code = sqlite3_open_v2(name, &store->db,
                               flags | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE, NULL);

    if (code != SQLITE_OK) {
        return tt_sql_fail(store, code, error);
    }
    sqlite3_busy_handler(store->db, wait_for_others, store);
    return tt_sql_run(store, "PRAGMA foreign_keys = ON; PRAGMA trusted_schema = OFF", error);
}

static void close_file(struct tiptrue_history *store)
{
    for (size_t i = 0; i < store->n_kept; i++) {
        sqlite3_finalize(store->kept[i].statement);
    }
    free(store->kept);
    store->kept = NULL;
    store->n_kept = store->room = 0;
    sqlite3_close(store->db);
    store->db = NULL;
}

/* The mode is kept in the file. Changing it needs the file alone, and is refused without a wait
 * where another process has just begun to do the same: then that one's change is what was wanted.
 */
static enum tiptrue_status set_mode(struct tiptrue_history *store, struct tiptrue_error *error)
{
    int code;

    store->waited_ms = 0;
    while ((code = sqlite3_exec(store->db, "PRAGMA journal_mode = WAL", NULL, NULL, NULL)) ==
               SQLITE_OK ||
           (code & 0xFF) == SQLITE_BUSY) {
        if (code == SQLITE_OK || wait_for_others(store, 0) == 0) {
            break;
        }
    }
    if (code != SQLITE_OK) {
        return tt_sql_fail(store, code, error);
    }
    return tt_sql_run(store, "PRAGMA synchronous = FULL", error);
}

static enum tiptrue_status open_to_write(struct tiptrue_history *store, struct tiptrue_error *error)
{
    int version;
    struct stat about;

    store->made = stat(store->path, &about) != 0 && errno == ENOENT;
    enum tiptrue_status status =
        open_file(store, store->path, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, error);

    if (status == TIPTRUE_OK && sqlite3_db_readonly(store->db, "main") == 1) {
        status = tt_sql_fail(store, SQLITE_READONLY, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_schema_version(store, &version, error); /* before anything is changed */
    }
    if (status == TIPTRUE_OK) {
        status = set_mode(store, error);
    }
    return status == TIPTRUE_OK ? tt_schema_migrate(store, TT_SCHEMA_VERSION, error) : status;
}

/* The path as a URI that takes the file as it is and nothing beside it. NULL: out of memory; for
 * free(). */
static char *immutable_uri(const char *path)
{
    struct tt_buffer uri = {0};

    tt_buffer_puts(&uri, path[0] == '/' ? "file://" : "file:");
    for (const char *at = path; *at != '\0'; at++) {
        if (*at == '%' || *at == '?' || *at == '#') {
            tt_buffer_printf(&uri, "%%%02X", (unsigned)(unsigned char)*at);
        } else {
            tt_buffer_putc(&uri, *at);
        }
    }
    tt_buffer_puts(&uri, "?immutable=1");
    if (uri.failed) {
        tt_buffer_clear(&uri);
    }
    return uri.text;
}

/* Where the files beside the history cannot be made, it can be read as it is, as long as nothing
 * waits in its write-ahead log. */
static enum tiptrue_status open_immutable(struct tiptrue_history *store,
                                          struct tiptrue_error *error)
{
    struct tt_buffer wal = {0};
    char *uri = immutable_uri(store->path);
    struct stat about;
    enum tiptrue_status status;

    tt_buffer_puts(&wal, store->path);
    tt_buffer_puts(&wal, "-wal");
    if (wal.failed || uri == NULL) {
        status = tt_fail_memory(error);
    } else if (stat(wal.text, &about) == 0 && about.st_size > 0) {
        status = tt_fail(error, TIPTRUE_E_IO, store->path, 0, 0,
                         "copy both files into a folder that can be written, and read them there",
                         "runs wait in '%s', and the folder cannot be written", wal.text);
    } else {
        close_file(store);
        status = open_file(store, uri, SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, error);
    }
    tt_buffer_clear(&wal);
    free(uri);
    return status;
}

/* Whether the file's header can be read: only then are the files beside it there. */
static bool is_readable(struct tiptrue_history *store)
{
    sqlite3_int64 version;
    return tt_sql_number(store, "PRAGMA user_version", &version, NULL) == TIPTRUE_OK;
}

/* An older schema: the file is brought to the present one, as its owner's next run would. */
static enum tiptrue_status bring_forward(struct tiptrue_history *store, struct tiptrue_error *error)
{
    close_file(store);
    enum tiptrue_status status = open_to_write(store, error);
    if (status == TIPTRUE_OK) {
        store->writable = true;
    }
    if (status != TIPTRUE_E_IO) {
        return status;
    }
    return tt_fail(error, TIPTRUE_E_IO, store->path, 0, 0,
                   "copy it into a folder that can be written, and read it there",
                   "the history is of an older schema, and cannot be brought to the present one, "
                   "for it is read-only");
}

static enum tiptrue_status open_to_read(struct tiptrue_history *store, struct tiptrue_error *error)
{
    struct stat about;
    int version = 0;

    if (stat(store->path, &about) != 0) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, store->path, 0, 0,
                       errno == ENOENT ? "solve --history or history import makes one" : NULL,
                       "the history cannot be opened: %s", strerror(errno));
    }
    if (!S_ISREG(about.st_mode)) {
        return tt_fail(error, TIPTRUE_E_NO_INPUT, store->path, 0, 0, NULL, "is not a regular file");
    }
    enum tiptrue_status status = open_file(store, store->path, SQLITE_OPEN_READWRITE, error);
    if (status == TIPTRUE_OK && !is_readable(store)) {
        int code = sqlite3_errcode(store->db) & 0xFF;
        bool closed = code == SQLITE_CANTOPEN || code == SQLITE_READONLY || code == SQLITE_PERM ||
                      code == SQLITE_IOERR;
        status = closed ? open_immutable(store, error) : TIPTRUE_OK;
    }
    if (status == TIPTRUE_OK) {
        status = tt_schema_version(store, &version, error);
    }
    if (status == TIPTRUE_OK && version == 0) {
        return tt_fail(error, TIPTRUE_E_DATA, store->path, 0, 0, "is it the file that was meant?",
                       "not a tiptrue history: the file is empty");
    }
    if (status == TIPTRUE_OK && version < TT_SCHEMA_VERSION) {
        return bring_forward(store, error);
    }
    return status == TIPTRUE_OK ? tt_sql_run(store, "PRAGMA query_only = ON", error) : status;
}

enum tiptrue_status tt_store_open(const char *path, bool write, struct tiptrue_history **store,
                                  struct tiptrue_error *error)
{
    struct tiptrue_history *made = calloc(1, sizeof *made);
    enum tiptrue_status status;

    if (made == NULL || (made->path = strdup(path)) == NULL) {
        free(made);
        return tt_fail_memory(error);
    }
    made->writable = write;
    made->most_ms = TT_STORE_PATIENCE_MS;
    status = write ? open_to_write(made, error) : open_to_read(made, error);
    if (status == TIPTRUE_OK) {
        *store = made;
    } else {
        tiptrue_history_close(made);
    }
    return status;
}

/* A history that was made for runs of which none could be stored is taken away, if nobody else has
 * it open: a connection to a file in WAL mode holds a shared lock on it, and this one an exclusive
 * one. */
static void remove_empty(struct tiptrue_history *store)
{
    sqlite3_int64 runs = -1;
    struct tt_buffer beside = {0};
    struct stat about;

    if (stat(store->path, &about) == 0 && about.st_size == 0) {
        /* nothing in it, and no room for the lock's journal: who has it open finds out that it was
         * removed (tt_store_begin) */
        (void)unlink(store->path);
        return;
    }
    if (open_file(store, store->path, SQLITE_OPEN_READWRITE, NULL) == TIPTRUE_OK) {
        sqlite3_busy_timeout(store->db, 0);
        bool alone = tt_sql_run(store, "PRAGMA locking_mode = EXCLUSIVE; BEGIN EXCLUSIVE", NULL) ==
                     TIPTRUE_OK;
        bool empty =
            tt_sql_number(store, "SELECT count(*) FROM sqlite_schema", &runs, NULL) == TIPTRUE_OK &&
            (runs == 0 ||
             (tt_sql_number(store, "SELECT count(*) FROM run", &runs, NULL) == TIPTRUE_OK &&
              runs == 0));
        tt_buffer_puts(&beside, store->path);
        tt_buffer_puts(&beside, "-wal");
        if (alone && empty && !beside.failed) {
            (void)unlink(store->path);
            (void)unlink(beside.text);
            memcpy(beside.text + beside.length - 3, "shm", 3);
            (void)unlink(beside.text);
        }
    }
    tt_buffer_clear(&beside);
    close_file(store);
}

void tiptrue_history_close(struct tiptrue_history *store)
{
    if (store != NULL) {
        tt_store_rollback(store);
        close_file(store);
        if (store->made && !store->added) {
            remove_empty(store);
        }
        free(store->path);
        free(store);
    }
}

void tt_store_wait(struct tiptrue_history *store, unsigned long most_ms,
                   void (*waiting)(void *context, const char *path), void *context)
{
    store->most_ms = most_ms;
    store->waiting = waiting;
    store->waiting_context = context;
}

bool tt_store_is_writable(const struct tiptrue_history *store)
{
    return store->writable;
}

const char *tt_store_path(const struct tiptrue_history *store)
{
    return store->path;
}

enum tiptrue_status tt_store_begin_reading(struct tiptrue_history *store,
                                           struct tiptrue_error *error)
{
    enum tiptrue_status status = tt_sql_run(store, "BEGIN", error);

    store->in_group = status == TIPTRUE_OK;
    return status;
}

enum tiptrue_status tt_store_begin(struct tiptrue_history *store, struct tiptrue_error *error)
{
    enum tiptrue_status status = tt_sql_run(store, "BEGIN IMMEDIATE", error);
    int moved = 0;

    store->in_group = status == TIPTRUE_OK;
    if (status == TIPTRUE_OK &&
        sqlite3_file_control(store->db, "main", SQLITE_FCNTL_HAS_MOVED, &moved) == SQLITE_OK &&
        moved != 0) {
        tt_store_rollback(store);
        return tt_fail(error, TIPTRUE_E_IO, store->path, 0, 0, "try again",
                       "the history was moved or removed by another process");
    }
    return status;
}

enum tiptrue_status tt_store_commit(struct tiptrue_history *store, struct tiptrue_error *error)
{
    enum tiptrue_status status = tt_sql_run(store, "COMMIT", error);

    if (status != TIPTRUE_OK) {
        tt_store_rollback(store);
    }
    store->in_group = false;
    store->added = store->added || status == TIPTRUE_OK;
    return status;
}

void tt_store_rollback(struct tiptrue_history *store)
{
    tt_sql_roll_back(store);
    store->in_group = false;
}

enum tiptrue_status tt_store_end(struct tiptrue_history *store, enum tiptrue_status status,
                                 struct tiptrue_error *error)
{
    if (status == TIPTRUE_OK) {
        return tt_store_commit(store, error);
    }
    tt_store_rollback(store);
    return status;
}
