/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A text with placeholders "@(FIELD)", filled. A line whose placeholders name the tip "*" is
 * written once for each tip, one that asks for each rotation once for each of those given. There is
 * nothing else: no conditions, no files, no commands.
 */
#include "config.h"

#include <string.h>

#include "base/utf8.h"
#include "base/number.h"
#include "export/exported.h"
#include "export/field.h"
#include "export/guard.h"
#include "export/field_value.h"
#include "ingest/bytes.h"
#include "ingest/diagnose.h"

enum word { MACHINE, PLATE, RUN, STARTED, ROTATION, WORDS };
static const char *const words[WORDS] = {[MACHINE] = "machine",
                                         [PLATE] = "plate",
                                         [RUN] = "run",
                                         [STARTED] = "started",
                                         [ROTATION] = "rotation"};

struct filling {
    const struct tiptrue_solution *solution;
    const double *rotations_deg;
    size_t n_rotations;
    struct tt_diagnose diagnose; /* of the template */
    struct tt_buffer *to;
    bool rotations_used;
    bool forced; /* the guard of verdicts is */
    struct tiptrue_error *error;
};

/* What one placeholder is. */
struct placeholder {
    const char *at; /* behind "@(" */
    size_t length;
    enum {
        FIELD,
        NAME,
        NUMBER,
        WORD
    } kind; /* NAME and NUMBER: "TIP.name", "TIP.number", its place in the result from 1 */
    enum word word;
    struct tt_export_field field; /* of NAME and NUMBER: the tip alone */
};

static bool is_text(const struct placeholder *p, const char *text)
{
    return strlen(text) == p->length && memcmp(p->at, text, p->length) == 0;
}

static bool ends_with(const struct placeholder *p, const char *end)
{
    size_t length = strlen(end);
    return p->length > length && memcmp(p->at + p->length - length, end, length) == 0;
}

static enum tiptrue_status fault(struct filling *filling, const char *at, const char *hint,
                                 const char *text)
{
    struct tt_place place = tt_place_at(&filling->diagnose, at);
    return tt_fail(filling->error, TIPTRUE_E_DATA, place.file, place.line, place.column,
                   hint[0] != '\0' ? hint : NULL, "%s", text);
}

static enum tiptrue_status read_placeholder(struct filling *filling, struct placeholder *p)
{
    struct tiptrue_error why = {0};
    for (int word = 0; word < WORDS; word++) {
        if (is_text(p, words[word])) {
            p->kind = WORD;
            p->word = (enum word)word;
            return TIPTRUE_OK;
        }
    }
    if (ends_with(p, ".name") || ends_with(p, ".number")) {
        p->kind = ends_with(p, ".name") ? NAME : NUMBER;
        p->field = (struct tt_export_field){.text = p->at, .length = p->length, .tip = p->at};
        p->field.tip_length = p->length - strlen(p->kind == NAME ? ".name" : ".number");
        return TIPTRUE_OK;
    }
    p->kind = FIELD;
    return tt_export_field_read(p->at, p->length, true, &p->field, &why) == TIPTRUE_OK
               ? TIPTRUE_OK
               : fault(filling, p->at, why.hint, why.text);
}

/* The next placeholder in [*at, end), with what is before it written if @write; *found false: none,
 * the rest is written. */
static enum tiptrue_status next(struct filling *filling, const char **at, const char *end,
                                bool write, struct placeholder *p, bool *found)
{
    const char *first = *at, *c = first;
    *found = false;
    for (; c < end; c++) {
        if (c[0] == '@' && end - c > 2 && c[1] == '@' && c[2] == '(') {
            if (write) {
                tt_buffer_add(filling->to, first, (size_t)(c - first));
                tt_buffer_puts(filling->to, "@(");
            }
            c += 2;
            first = c + 1;
        } else if (c[0] == '@' && end - c > 1 && c[1] == '(') {
            const char *closing = memchr(c, ')', (size_t)(end - c));
            if (closing == NULL) {
                return fault(filling, c,
                             "a placeholder stands on one line; a literal @( is written @@(",
                             "'@(' without ')'");
            }
            *p = (struct placeholder){.at = c + 2, .length = (size_t)(closing - c - 2)};
            *at = closing + 1;
            *found = true;
            break;
        }
    }
    if (write) {
        tt_buffer_add(filling->to, first, (size_t)(c - first));
    }
    return *found ? read_placeholder(filling, p) : TIPTRUE_OK;
}

/* Words of the documents go into machine code and tables: what could end a comment or a cell there
 * is refused. */
static enum tiptrue_status put_text(struct filling *filling, const char *at, const char *text)
{
    static const char ALLOWED[] =
        "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 _-+.:/";
    if (text == NULL) {
        return fault(filling, at, "", "the result does not state this");
    }
    char shown[TT_ESCAPE_SIZE];
    for (const char *c = text; *c != '\0'; c++) {
        /* no byte within a character beyond ASCII begins one that steers */
        bool steers = ((unsigned char)*c & 0xc0) != 0x80 && tt_escape(c, shown) > 0;
        if (steers || ((unsigned char)*c < 0x80 && strchr(ALLOWED, *c) == NULL)) {
            return fault(
                filling, at,
                "letters, digits, blanks and _ - + . : / can stand in any file; take the "
                "placeholder out",
                "what would stand here holds a character that could mean something in the file");
        }
    }
    tt_buffer_puts(filling->to, text);
    return TIPTRUE_OK;
}

static enum tiptrue_status put_word(struct filling *filling, const struct placeholder *p,
                                    double rotation_deg)
{
    const struct tiptrue_solution *s = filling->solution;
    switch (p->word) {
    case MACHINE:
        return put_text(filling, p->at, s->machine);
    case PLATE:
        return put_text(filling, p->at, s->plate_serial != NULL ? s->plate_serial : s->plate);
    case RUN:
        return put_text(filling, p->at, s->run_id);
    case STARTED:
        return put_text(filling, p->at, s->started);
    case ROTATION:
        tt_number_write(filling->to, rotation_deg);
        break;
    case WORDS:
        break;
    }
    return TIPTRUE_OK;
}

static bool is_each_tip(const struct placeholder *p)
{
    return p->kind != WORD && p->field.tip_length == 1 && p->field.tip[0] == '*';
}

static bool is_each_rotation(const struct placeholder *p)
{
    return (p->kind == WORD && p->word == ROTATION) || (p->kind == FIELD && p->field.each_rotation);
}

static enum tiptrue_status put_value(struct filling *filling, const struct placeholder *p,
                                     const struct tt_tip_result *tip, double rotation_deg)
{
    struct tiptrue_error why = {0};
    double value_mm = 0.0;
    double at_deg = p->field.each_rotation ? rotation_deg : p->field.rotation_deg;
    if (tt_export_field_is_height(&p->field) && !filling->forced &&
        tt_export_field_verdict(filling->solution, &p->field, tip) >= TIPTRUE_REPEAT) {
        return fault(filling, p->at, "make the run again; --force verdict exports all the same",
                     "the verdict of this height is repeat: it may not be used");
    }
    enum tiptrue_status status =
        tt_export_value(filling->solution, &p->field, tip, at_deg, &value_mm, &why);
    if (status != TIPTRUE_OK) {
        return fault(filling, p->at, why.hint, why.text);
    }
    tt_export_field_write(&p->field, value_mm, filling->to);
    return TIPTRUE_OK;
}

static enum tiptrue_status put(struct filling *filling, const struct placeholder *p,
                               const struct tt_tip_result *each, double rotation_deg)
{
    struct tiptrue_error why = {0};
    if (p->kind == WORD) {
        return put_word(filling, p, rotation_deg);
    }
    if (p->kind == FIELD && tt_export_field_is_machine(&p->field)) {
        return put_value(filling, p, NULL, rotation_deg);
    }
    const struct tt_tip_result *tip =
        is_each_tip(p) ? each : tt_export_field_tip(&p->field, filling->solution, &why);
    if (tip == NULL) {
        return fault(filling, p->at, why.hint, why.text);
    }
    if (p->kind == NAME) {
        return put_text(filling, p->at, tip->name);
    }
    if (p->kind == NUMBER) {
        tt_buffer_printf(filling->to, "%zu", (size_t)(tip - filling->solution->tips) + 1);
        return TIPTRUE_OK;
    }
    return put_value(filling, p, tip, rotation_deg);
}

static enum tiptrue_status write_line(struct filling *filling, const char *line, const char *end,
                                      const struct tt_tip_result *each, double rotation_deg)
{
    struct placeholder p;
    bool found = true;
    enum tiptrue_status status = TIPTRUE_OK;
    for (const char *at = line; status == TIPTRUE_OK;) {
        status = next(filling, &at, end, true, &p, &found);
        if (!found || status != TIPTRUE_OK) {
            return status;
        }
        status = put(filling, &p, each, rotation_deg);
    }
    return status;
}

/* The line, as often as its placeholders ask for. */
static enum tiptrue_status fill_line(struct filling *filling, const char *line, const char *end)
{
    struct placeholder p;
    bool found = true, each_tip = false, each_rotation = false;
    const char *first = line;
    for (const char *at = line; found;) {
        enum tiptrue_status status = next(filling, &at, end, false, &p, &found);
        if (status != TIPTRUE_OK) {
            return status;
        }
        if (found) {
            each_tip = each_tip || is_each_tip(&p);
            first = is_each_rotation(&p) && !each_rotation ? p.at : first;
            each_rotation = each_rotation || is_each_rotation(&p);
        }
    }
    if (each_rotation && filling->n_rotations == 0) {
        return fault(filling, first, "such as --rotations 0,90,180,270 or --rotations every:30",
                     "this line is for each rotation; --rotations is missing");
    }
    filling->rotations_used = filling->rotations_used || each_rotation;
    size_t tips = each_tip ? filling->solution->n_tips : 1,
           rotations = each_rotation ? filling->n_rotations : 1;
    for (size_t i = 0; i < tips * rotations; i++) {
        const struct tt_tip_result *tip = each_tip ? &filling->solution->tips[i / rotations] : NULL;
        enum tiptrue_status status = write_line(
            filling, line, end, tip, each_rotation ? filling->rotations_deg[i % rotations] : 0.0);
        if (status != TIPTRUE_OK) {
            return status;
        }
    }
    return TIPTRUE_OK;
}

static enum tiptrue_status fill(struct filling *filling, const char *text, size_t length)
{
    for (const char *at = text, *end = text + length; at < end;) {
        const char *feed = memchr(at, '\n', (size_t)(end - at));
        const char *behind = feed != NULL ? feed + 1 : end;
        enum tiptrue_status status = fill_line(filling, at, behind);
        if (status != TIPTRUE_OK) {
            return status;
        }
        at = behind;
    }
    return TIPTRUE_OK;
}

/* Guards that do not need a present value. */
static enum tiptrue_status guard(const struct tiptrue_solution *solution,
                                 const struct tiptrue_export_options *options,
                                 const struct tiptrue_sink *sink, struct tiptrue_error *error)
{
    struct tt_guards guards = {.sink = sink, .forced = options->force, .error = error};
    tt_guard_verdict(&guards, solution, options);
    tt_guard_machine(&guards, solution, options->machine);
    tt_guard_plate(&guards, solution, NULL, options->plate, NULL, 0);
    if (options->has_max_age) {
        tt_guard_age(&guards, solution, options->max_age_s, options->now_s);
    }
    return guards.refusals > 0 ? TIPTRUE_E_DATA : TIPTRUE_OK;
}

static enum tiptrue_status fill_file(struct filling *filling, const char *path,
                                     const struct tiptrue_sink *sink)
{
    struct tt_bytes bytes = {0};
    enum tiptrue_status status = tt_bytes_read(path, &bytes, filling->error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    tt_diagnose_init(&filling->diagnose, sink, filling->error, tt_bytes_name(path), bytes.text,
                     bytes.length);
    status = tt_text_check(&filling->diagnose) ? fill(filling, bytes.text, bytes.length)
                                               : TIPTRUE_E_DATA;
    if (status == TIPTRUE_OK && filling->n_rotations > 0 && !filling->rotations_used) {
        tt_warn(&filling->diagnose, tt_place_file(&filling->diagnose), "such as @(*.offset.x@*:.4)",
                "no placeholder asks for a rotation; --rotations has no effect");
    }
    tt_bytes_clear(&bytes);
    return status;
}

enum tiptrue_status tiptrue_template(const struct tiptrue_solution *solution, const char *path,
                                     const double rotations_deg[], size_t n_rotations,
                                     const struct tiptrue_export_options *options,
                                     const struct tiptrue_sink *sink,
                                     struct tiptrue_exported **exported,
                                     struct tiptrue_error *error)
{
    struct tt_exported *out = NULL;
    enum tiptrue_status status = tt_exported_new(&out, error);
    if (status != TIPTRUE_OK) {
        return status;
    }
    struct filling filling = {.solution = solution,
                              .rotations_deg = rotations_deg,
                              .n_rotations = n_rotations,
                              .forced = (options->force & TIPTRUE_GUARD_VERDICT) != 0,
                              .to = &out->text,
                              .error = error};
    status = guard(solution, options, sink, error);
    status = status == TIPTRUE_OK ? fill_file(&filling, path, sink) : status;
    return tt_exported_finish(out, status, exported, error);
}
