/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See schema.h. A step is never changed once it was released: a new one is added behind it.
 *
 * Texts are blobs: they come back byte by byte, whatever is in them. Times are RFC 3339 in UTC with
 * whole seconds, so that they sort as text; time_s, seconds since 1970, is for the order of runs.
 * summary and tip hold what the newest result of each run says, for fast reading; they are
 * clustered by machine and time, and can be derived again from the results.
 */
#include "config.h"

#include "history/store/schema.h"

#include <stdio.h>

static const char *const STEPS[TT_SCHEMA_VERSION] = {
    /* 1: runs, and what they consist of */
    "CREATE TABLE document("
    " no INTEGER PRIMARY KEY,"
    " kind TEXT NOT NULL CHECK(kind IN ('plate', 'machine', 'plan', 'pattern')),"
    " digest TEXT NOT NULL CHECK(length(digest) = 16),"
    " text BLOB NOT NULL) STRICT;"
    "CREATE INDEX document_by_digest ON document(digest);"
    "CREATE TABLE run("
    " no INTEGER PRIMARY KEY,"
    " id TEXT NOT NULL UNIQUE CHECK(length(id) = 16),"
    " added TEXT NOT NULL) STRICT;"
    "CREATE TABLE log("
    " run INTEGER PRIMARY KEY REFERENCES run(no),"
    " text BLOB NOT NULL) STRICT;"
    "CREATE TABLE result("
    " no INTEGER PRIMARY KEY,"
    " run INTEGER NOT NULL REFERENCES run(no),"
    " version TEXT NOT NULL,"
    " added TEXT NOT NULL,"
    " plate INTEGER REFERENCES document(no),"
    " machine INTEGER REFERENCES document(no),"
    " plan INTEGER REFERENCES document(no),"
    " pattern INTEGER REFERENCES document(no),"
    " verdict TEXT NOT NULL CHECK(verdict IN ('keep', 'update', 'repeat')),"
    " digest TEXT NOT NULL CHECK(length(digest) = 16),"
    " json BLOB NOT NULL) STRICT;"
    "CREATE INDEX result_by_run ON result(run, added, no);",
    /* 2: what the newest results say */
    "CREATE TABLE summary("
    " machine TEXT NOT NULL, time_s REAL NOT NULL, run INTEGER NOT NULL REFERENCES run(no),"
    " result INTEGER NOT NULL REFERENCES result(no),"
    " id TEXT NOT NULL, time_stated INTEGER NOT NULL, started TEXT, plate TEXT, plate_serial TEXT, "
    "plate_key TEXT NOT NULL,"
    " verdict INTEGER NOT NULL, tips INTEGER NOT NULL, permitted_error_mm REAL,"
    " has_pose INTEGER NOT NULL, setup TEXT, mark_x_mm REAL, mark_y_mm REAL, u_mark_x_mm REAL, "
    "u_mark_y_mm REAL,"
    " yaw_rad REAL, u_yaw_rad REAL,"
    " PRIMARY KEY(machine, time_s, run)) STRICT, WITHOUT ROWID;"
    "CREATE UNIQUE INDEX summary_by_run ON summary(run);"
    "CREATE INDEX summary_by_time ON summary(time_s, id);"
    "CREATE TABLE tip("
    " machine TEXT NOT NULL, time_s REAL NOT NULL, run INTEGER NOT NULL REFERENCES run(no), "
    "position INTEGER NOT NULL,"
    " name TEXT NOT NULL, verdict INTEGER NOT NULL, has INTEGER NOT NULL,"
    " x_mm REAL NOT NULL, y_mm REAL NOT NULL, cov_xx_mm2 REAL NOT NULL, cov_xy_mm2 REAL NOT NULL, "
    "cov_yy_mm2 REAL NOT NULL,"
    " same_plate_xx_mm2 REAL NOT NULL, same_plate_xy_mm2 REAL NOT NULL, same_plate_yy_mm2 REAL NOT "
    "NULL,"
    " common_u_x_mm REAL NOT NULL, common_u_y_mm REAL NOT NULL,"
    " runout_x_mm REAL NOT NULL, runout_y_mm REAL NOT NULL,"
    " runout_xx_mm2 REAL NOT NULL, runout_xy_mm2 REAL NOT NULL, runout_yy_mm2 REAL NOT NULL,"
    " radius_mm REAL NOT NULL, u_radius_mm REAL NOT NULL, present_x_mm REAL NOT NULL, present_y_mm "
    "REAL NOT NULL,"
    " PRIMARY KEY(machine, time_s, run, position)) STRICT, WITHOUT ROWID;"
    /* runs whose summary is still to be derived: all that are there already */
    "CREATE TABLE pending(run INTEGER PRIMARY KEY REFERENCES run(no)) STRICT;"
    "INSERT INTO pending SELECT no FROM run;",
    /* 3: results written into configurations */
    "CREATE TABLE export("
    " no INTEGER PRIMARY KEY,"
    " run INTEGER NOT NULL REFERENCES run(no),"
    " time TEXT NOT NULL,"
    " file TEXT NOT NULL,"
    " old_digest TEXT, new_digest TEXT,"
    " old_values TEXT, new_values TEXT) STRICT;"
    "CREATE INDEX export_by_run ON export(run);",
    /* 4: runs are compared by the offset with the plate held (x_mm, y_mm); the one in full stands
     * beside it. What was summed up by the offset in full is derived again */
    "ALTER TABLE tip ADD COLUMN full_x_mm REAL NOT NULL DEFAULT 0;"
    "ALTER TABLE tip ADD COLUMN full_y_mm REAL NOT NULL DEFAULT 0;"
    /* edges and conditions of runs; what people say of a run: kept out and why, a corrected start,
       notes */
    "ALTER TABLE summary ADD COLUMN temperature_C REAL;"
    "ALTER TABLE summary ADD COLUMN u_touch_mm REAL;"
    "ALTER TABLE summary ADD COLUMN u_sighting_mm REAL;"
    "ALTER TABLE summary ADD COLUMN left_out TEXT;"
    "ALTER TABLE summary ADD COLUMN edges INTEGER NOT NULL DEFAULT 0;"
    "CREATE TABLE edge("
    " machine TEXT NOT NULL, time_s REAL NOT NULL, run INTEGER NOT NULL REFERENCES run(no), "
    "position INTEGER NOT NULL,"
    " name TEXT NOT NULL, shift_mm REAL NOT NULL, u_shift_mm REAL NOT NULL, touches INTEGER NOT "
    "NULL, late INTEGER NOT NULL,"
    " PRIMARY KEY(machine, time_s, run, position)) STRICT, WITHOUT ROWID;"
    "ALTER TABLE run ADD COLUMN excluded TEXT;" /* why; NULL: it is not */
    "ALTER TABLE run ADD COLUMN doubt TEXT;"    /* what is wrong with its clock; NULL: nothing, or
                                                   somebody knows better */
    "ALTER TABLE run ADD COLUMN started TEXT;"  /* a corrected start */
    "CREATE TABLE note("
    " no INTEGER PRIMARY KEY,"
    " run INTEGER NOT NULL REFERENCES run(no),"
    " time TEXT NOT NULL,"
    " text TEXT NOT NULL) STRICT;"
    "CREATE INDEX note_by_run ON note(run);"
    "INSERT OR IGNORE INTO pending SELECT no FROM run;",
    /* 5: the picture and the axes of runs with views, or with marks enough */
    "ALTER TABLE summary ADD COLUMN machine_numbers TEXT;"
    "INSERT OR IGNORE INTO pending SELECT no FROM run;",
    /* 6: heights; NULL: the run does not know it */
    "ALTER TABLE tip ADD COLUMN height_mm REAL;"
    "ALTER TABLE tip ADD COLUMN u_height_mm REAL;"
    "ALTER TABLE tip ADD COLUMN full_u_height_mm REAL;"
    "ALTER TABLE tip ADD COLUMN common_u_height_mm REAL;"
    "ALTER TABLE tip ADD COLUMN present_height_mm REAL;"
    "ALTER TABLE tip ADD COLUMN permitted_height_mm REAL;"
    "ALTER TABLE tip ADD COLUMN height_pads TEXT;"
    "INSERT OR IGNORE INTO pending SELECT no FROM run;",
    /* 7: boards with parts, each with what was said of it last */
    "CREATE TABLE board("
    " no INTEGER PRIMARY KEY,"
    " id TEXT NOT NULL UNIQUE CHECK(length(id) = 16),"
    " machine TEXT NOT NULL, started TEXT, added TEXT NOT NULL,"
    " judged TEXT NOT NULL, version TEXT NOT NULL,"
    " verdict TEXT NOT NULL CHECK(verdict IN ('keep', 'update', 'repeat')),"
    " run TEXT, time_s REAL NOT NULL, parts_read INTEGER NOT NULL, parts_used INTEGER NOT NULL,"
    " text BLOB NOT NULL, json BLOB NOT NULL, digest TEXT NOT NULL CHECK(length(digest) = 16),"
    " said BLOB NOT NULL, said_digest TEXT NOT NULL CHECK(length(said_digest) = 16)) STRICT;"
    "CREATE INDEX board_by_time ON board(machine, time_s);",
    /* 8: what a result as text does not hold: what the run itself shows of repeatability, and what
     * the result makes of edges that shift; that a result of before is given when it is asked for
     * first */
    "CREATE TABLE response("
    " result INTEGER PRIMARY KEY REFERENCES result(no),"
    " numbers BLOB NOT NULL,"
    " digest TEXT NOT NULL CHECK(length(digest) = 16)) STRICT;",
    /* 9: which edges a run did not take where the plate file has them; which tips it refused for
     * no more than a doubt (tip.has) */
    "ALTER TABLE edge ADD COLUMN freed INTEGER NOT NULL DEFAULT 0;"
    "INSERT OR IGNORE INTO pending SELECT no FROM run;",
    /* 10: the scatter between the latest runs of a machine, as the last trend of them found it; of:
     * digest of all that it was found from */
    "CREATE TABLE scatter("
    " machine TEXT PRIMARY KEY,"
    " of TEXT NOT NULL CHECK(length(of) = 16),"
    " numbers BLOB NOT NULL,"
    " digest TEXT NOT NULL CHECK(length(digest) = 16)) STRICT, WITHOUT ROWID;",
    /* 11: what explanations of a run differ by, which is in its uncertainty and no scatter */
    "DELETE FROM scatter;"
    "ALTER TABLE tip ADD COLUMN u_rivals_x_mm REAL NOT NULL DEFAULT 0;"
    "ALTER TABLE tip ADD COLUMN u_rivals_y_mm REAL NOT NULL DEFAULT 0;"
    "INSERT OR IGNORE INTO pending SELECT no FROM run;",
    /* 12: lost motion that a run found, behind the other machine_numbers */
    "INSERT OR IGNORE INTO pending SELECT no FROM run;",
};

/* What the file's header says, and how many tables and indexes there are. */
struct header {
    sqlite3_int64 application, user, tables;
};

static enum tiptrue_status read_header(struct tiptrue_history *store, struct header *header,
                                       struct tiptrue_error *error)
{
    enum tiptrue_status status =
        tt_sql_number(store, "PRAGMA application_id", &header->application, error);

    if (status == TIPTRUE_OK) {
        status = tt_sql_number(store, "PRAGMA user_version", &header->user, error);
    }
    return status == TIPTRUE_OK
               ? tt_sql_number(store, "SELECT count(*) FROM sqlite_schema", &header->tables, error)
               : status;
}

/* All three at one moment: read one by one while another process makes the file, they would look
 * like those of a foreign one. */
static enum tiptrue_status read_header_at_once(struct tiptrue_history *store, struct header *header,
                                               struct tiptrue_error *error)
{
    bool own = sqlite3_get_autocommit(store->db) != 0;
    enum tiptrue_status status = own ? tt_sql_run(store, "BEGIN", error) : TIPTRUE_OK;

    if (status == TIPTRUE_OK) {
        status = read_header(store, header, error);
    }
    if (own) { /* nothing was written; without memory the transaction stays open, and nothing can be
                  done with the file */
        int code = sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL);
        status = status == TIPTRUE_OK ? tt_sql_fail(store, code, error) : status;
    }
    return status;
}

enum tiptrue_status tt_schema_version(struct tiptrue_history *store, int *version,
                                      struct tiptrue_error *error)
{
    struct header header = {0};
    enum tiptrue_status status = read_header_at_once(store, &header, error);

    if (status != TIPTRUE_OK) {
        return status;
    }
    if (header.application != TT_SCHEMA_APPLICATION &&
        (header.application != 0 || header.user != 0 || header.tables != 0)) {
        return tt_fail(error, TIPTRUE_E_DATA, store->path, 0, 0, "is it the file that was meant?",
                       "a database of another program, not a tiptrue history");
    }
    if (header.user > TT_SCHEMA_VERSION) {
        return tt_fail(error, TIPTRUE_E_DATA, store->path, 0, 0,
                       "take the newer tiptrue; an older one must not write into its history",
                       "the history has schema version %lld, written by a newer tiptrue; this one "
                       "knows versions up to %d",
                       (long long)header.user, TT_SCHEMA_VERSION);
    }
    /* the number and the application's are written together, with the first table */
    if (header.user < 0 || (header.user == 0 && header.application == TT_SCHEMA_APPLICATION)) {
        return tt_fail(
            error, TIPTRUE_E_DATA, store->path, 0, 0,
            "use a backup; without one, keep this file and begin a new history",
            "the history is damaged: its header gives schema version %lld; versions count from 1",
            (long long)header.user);
    }
    *version = (int)header.user;
    return TIPTRUE_OK;
}

static enum tiptrue_status take_steps(struct tiptrue_history *store, int from, int to,
                                      struct tiptrue_error *error)
{
    char sql[80];
    enum tiptrue_status status = TIPTRUE_OK;

    for (int step = from; step < to && status == TIPTRUE_OK; step++) {
        status = tt_sql_run(store, STEPS[step], error);
    }
    if (status == TIPTRUE_OK && from < to) {
        snprintf(sql, sizeof sql, "PRAGMA application_id = %d; PRAGMA user_version = %d",
                 TT_SCHEMA_APPLICATION, to);
        status = tt_sql_run(store, sql, error);
    }
    return status;
}

enum tiptrue_status tt_schema_migrate(struct tiptrue_history *store, int version,
                                      struct tiptrue_error *error)
{
    int present = 0;
    enum tiptrue_status status = tt_schema_version(store, &present, error);

    if (status != TIPTRUE_OK || present >= version) {
        return status;
    }
    status = tt_sql_run(store, "BEGIN IMMEDIATE", error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    status =
        tt_schema_version(store, &present, error); /* again: another process may have been faster */
    if (status == TIPTRUE_OK) {
        status = take_steps(store, present, version, error);
    }
    if (status == TIPTRUE_OK) {
        status = tt_sql_run(store, "COMMIT", error);
    }
    if (status != TIPTRUE_OK) {
        sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL); /* the first error stays */
    }
    return status;
}
