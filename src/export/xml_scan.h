/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* Where in the bytes of an XML text one element's attributes and character data stand. It takes for
 * granted that the text is well-formed, which libxml2 says; its findings are held against
 * libxml2's. Markup is ASCII in every code that extends it.
 */
#ifndef TT_EXPORT_XML_SCAN_H
#define TT_EXPORT_XML_SCAN_H

#include <stdbool.h>
#include <stddef.h>

#include "export/place.h"

/* Whether the document type declares an entity: nothing here needs one, and whole attacks consist
 * of them. *at receives where. */
bool tt_xml_declares_entity(const char *text, size_t length, size_t *at);

/* Attributes, declarations of namespaces among them, of the tag that has the most. *at receives
 * where that tag is. */
size_t tt_xml_most_attributes(const char *text, size_t length, size_t *at);

struct tt_xml_element {
    struct tt_span name;  /* of the start tag */
    struct tt_span tag;   /* between the name and '>' or '/>' */
    struct tt_span piece; /* its own character data or CDATA section that is more than blanks, if
                             there is one; not that of children */
    size_t pieces;        /* how many there are */
    size_t children;      /* elements in it */
};

/* Element @ordinal (0 = the root) in document order. false: there is none, or the text ends within
 * it. *elements (may be NULL) receives how many the text has. */
bool tt_xml_element_find(const char *text, size_t length, size_t ordinal,
                         struct tt_xml_element *element, size_t *elements);

/* Attribute @index of the tag, declarations of namespaces not counted: its name, and its value
 * without quotation marks. */
bool tt_xml_attribute_find(const char *text, const struct tt_xml_element *element, size_t index,
                           struct tt_span *name, struct tt_span *value);

#endif
