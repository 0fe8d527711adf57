/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* One pass over the markup of XML 1.0 (section 2 of the recommendation): tags, comments, processing
 * instructions, CDATA sections, the document type. The NUL behind the text ends every search. */
#include "config.h"

#include "export/xml_scan.h"

#include <string.h>

static bool begins(const char *at, const char *word)
{
    return strncmp(at, word, strlen(word)) == 0;
}

/* Behind the next @word, or at the end. */
static const char *behind(const char *at, const char *end, const char *word)
{
    const char *found = strstr(at, word);
    return found != NULL ? found + strlen(word) : end;
}

/* From "<!DOCTYPE" to behind its '>'. */
static const char *pass_doctype(const char *at, const char *end)
{
    int depth = 0;
    while (at < end) {
        if (begins(at, "<!--")) {
            at = behind(at + 4, end, "-->");
        } else if (begins(at, "<?")) {
            at = behind(at, end, "?>");
        } else if (*at == '"' || *at == '\'') {
            const char *closing = strchr(at + 1, *at);
            at = closing != NULL ? closing + 1 : end;
        } else {
            depth += (*at == '<') - (*at == '>');
            at++;
            if (depth == 0) {
                return at;
            }
        }
    }
    return end;
}

/* From '<' of a tag to behind its '>', which may stand in quotation marks before; *equals: the
 * equals signs outside of them. */
static const char *pass_tag(const char *at, const char *end, size_t *equals)
{
    *equals = 0;
    while (at < end && *at != '>') {
        if (*at == '"' || *at == '\'') {
            const char *closing = strchr(at + 1, *at);
            if (closing == NULL) {
                return end;
            }
            at = closing;
        }
        *equals += *at == '=';
        at++;
    }
    return at < end ? at + 1 : end;
}

/* Behind the comment, processing instruction, CDATA section or document type at @at; NULL: that is
 * a tag. */
static const char *pass_other(const char *at, const char *end)
{
    return begins(at, "<!--")        ? behind(at + 4, end, "-->")
           : begins(at, "<?")        ? behind(at, end, "?>")
           : begins(at, "<![CDATA[") ? behind(at, end, "]]>")
           : begins(at, "<!")        ? pass_doctype(at, end)
                                     : NULL;
}

bool tt_xml_declares_entity(const char *text, size_t length, size_t *at)
{
    const char *end = text + length, *c = text;
    while (c != NULL && (c = strchr(c, '<')) != NULL) {
        const char *next = pass_other(c, end);
        if (begins(c, "<!DOCTYPE")) {
            /* also one in a comment or a literal: whoever writes that has no claim to be understood
             */
            const char *entity = strstr(c, "<!ENTITY");
            *at = entity != NULL && entity < next ? (size_t)(entity - text) : 0;
            return entity != NULL && entity < next;
        }
        c = next; /* NULL: the root element; no document type can follow */
    }
    return false;
}

size_t tt_xml_most_attributes(const char *text, size_t length, size_t *at)
{
    const char *end = text + length, *c = text;
    size_t most = 0;
    while ((c = strchr(c, '<')) != NULL) {
        const char *tag = c;
        size_t count = 0;
        c = pass_other(tag, end);
        c = c != NULL ? c : pass_tag(tag, end, &count);
        if (count > most) {
            most = count;
            *at = (size_t)(tag - text);
        }
    }
    return most;
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

struct walk {
    const char *text, *end;
    size_t ordinal;
    struct tt_xml_element *element;
    size_t elements, depth;
    size_t wanted_depth; /* of the element's content; 0 = not in it */
    bool found, closed;
};

static void take_data(struct walk *walk, const char *at, const char *end)
{
    const char *c = at;
    while (c < end && is_blank(*c)) {
        c++;
    }
    if (c < end && walk->wanted_depth > 0 && walk->depth == walk->wanted_depth) {
        walk->element->pieces++;
        walk->element->piece = (struct tt_span){(size_t)(at - walk->text), (size_t)(end - at)};
    }
}

static void start_tag(struct walk *walk, const char *at, const char *end)
{
    bool empty = end - at >= 3 && end[-2] == '/';
    if (walk->wanted_depth > 0 && walk->depth == walk->wanted_depth) {
        walk->element->children++;
    }
    if (walk->elements == walk->ordinal) {
        const char *name_end = at + 1;
        const char *tag_end = end - 1 - (empty ? 1 : 0);
        while (name_end < tag_end && !is_blank(*name_end)) {
            name_end++;
        }
        *walk->element = (struct tt_xml_element){
            .name = {(size_t)(at + 1 - walk->text), (size_t)(name_end - at - 1)},
            .tag = {(size_t)(name_end - walk->text), (size_t)(tag_end - name_end)},
        };
        walk->found = true;
        walk->closed = empty;
        walk->wanted_depth = empty ? 0 : walk->depth + 1;
    }
    walk->elements++;
    walk->depth += !empty;
}

static void end_tag(struct walk *walk)
{
    if (walk->wanted_depth > 0 && walk->depth == walk->wanted_depth) {
        walk->wanted_depth = 0;
        walk->closed = true;
    }
    walk->depth -= walk->depth > 0;
}

/* What begins with '<' at @at; where it ends. */
static const char *pass_markup(struct walk *walk, const char *at)
{
    const char *next = pass_other(at, walk->end);
    size_t equals;
    if (next != NULL) {
        if (begins(at, "<![CDATA[") && next - at >= 12) {
            take_data(walk, at + 9, next - 3);
        }
        return next;
    }
    next = pass_tag(at, walk->end, &equals);
    if (at[1] == '/') {
        end_tag(walk);
    } else {
        start_tag(walk, at, next);
    }
    return next;
}

bool tt_xml_element_find(const char *text, size_t length, size_t ordinal,
                         struct tt_xml_element *element, size_t *elements)
{
    struct tt_xml_element made = {{0, 0}, {0, 0}, {0, 0}, 0, 0};
    struct walk walk = {.text = text, .end = text + length, .ordinal = ordinal, .element = &made};
    const char *at = text;
    while (at < walk.end) {
        const char *next = strchr(at, '<');
        next = next != NULL ? next : walk.end;
        take_data(&walk, at, next);
        at = next < walk.end ? pass_markup(&walk, next) : next;
    }
    if (elements != NULL) {
        *elements = walk.elements;
    }
    if (walk.found && walk.closed) {
        *element = made;
        return true;
    }
    return false;
}

bool tt_xml_attribute_find(const char *text, const struct tt_xml_element *element, size_t index,
                           struct tt_span *name, struct tt_span *value)
{
    const char *at = text + element->tag.at, *end = at + element->tag.length;
    for (;;) {
        while (at < end && is_blank(*at)) {
            at++;
        }
        const char *first = at;
        while (at < end && !is_blank(*at) && *at != '=') {
            at++;
        }
        const char *last = at;
        while (at < end && *at != '"' && *at != '\'') {
            at++;
        }
        const char *closing = at < end ? memchr(at + 1, *at, (size_t)(end - at - 1)) : NULL;
        if (closing == NULL) {
            return false;
        }
        bool declaration = begins(first, "xmlns:") || (last - first == 5 && begins(first, "xmlns"));
        if (!declaration && index-- == 0) {
            *name = (struct tt_span){(size_t)(first - text), (size_t)(last - first)};
            *value = (struct tt_span){(size_t)(at + 1 - text), (size_t)(closing - at - 1)};
            return true;
        }
        at = closing + 1;
    }
}
