/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* XPath 1.0: libxml2 says which node is meant, our own scan says where its bytes are, and both must
 * agree on its name and value.
 *
 * Nothing outside the text is read: no network, no external subset, no entities, neither expanded
 * nor declared. A prefix in a path means what it means in the document.
 */
#include "config.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "export/place_kinds.h"
#include "export/xml_library.h"
#include "export/xml_scan.h"
#include "ingest/diagnose.h"

/* Most steps of a path's evaluation: about a second. */
#define MOST_STEPS 20000000UL

struct tt_xml_places {
    struct tt_xml_library library;
    xmlDocPtr document;
    xmlXPathContextPtr context;
};

/* Attributes of one tag beyond which a file is refused: libxml2 compares each with all others,
 * 40 000 for half a minute. A configuration has some tens. */
#define MOST_ATTRIBUTES 2000
/* Memory that must be there before libxml2 is let at a text: its tree of plain elements takes some
 * twenty times the text's bytes. libxml2 2.9.14 frees a node twice where its own requests fail
 * half-way, so that they had better not; memory that others take meanwhile, and failures of single
 * requests, remain. */
#define TREE_PER_BYTE 24
#define TREE_LEAST ((size_t)1 << 20)

/* Messages go nowhere: what libxml2 says is read from its contexts. */
static void be_silent(void *data, xmlErrorPtr what)
{
    (void)data;
    (void)what;
}

/* The same for messages without a context, which the library prints by itself; the host may have
 * set a handler. */
static void say_nothing(void *context, const char *format, ...)
{
    (void)context;
    (void)format;
}

struct silence {
    xmlGenericErrorFunc handler;
    void *context;
};

static struct silence begin_silence(const struct tt_xml_library *library)
{
    struct silence kept = {*library->thread_handler(), *library->thread_context()};
    *library->thread_handler() = say_nothing;
    return kept;
}

static void end_silence(const struct tt_xml_library *library, struct silence kept)
{
    *library->thread_handler() = kept.handler;
    *library->thread_context() = kept.context;
}

static enum tiptrue_status no_xml(const struct tt_config_text *config, xmlParserCtxtPtr parser,
                                  struct tiptrue_error *error)
{
    const xmlError *why = &parser->lastError;
    if (why->code == XML_ERR_NO_MEMORY) {
        return tt_fail_memory(error);
    }
    size_t length = why->message != NULL ? strcspn(why->message, "\r\n") : 0;
    return tt_fail(error, TIPTRUE_E_CONFIG, config->name, why->line > 0 ? (size_t)why->line : 0, 0,
                   "mend the file, or name the place by ~REGEX", "is not well-formed XML: %.*s",
                   (int)(length < 200 ? length : 200), why->message != NULL ? why->message : "");
}

/* The next node in document order; NULL behind the last. */
static xmlNodePtr next_node(xmlNodePtr node)
{
    if (node->type == XML_ELEMENT_NODE && node->children != NULL) {
        return node->children;
    }
    while (node->next == NULL) {
        node = node->parent;
        if (node == NULL || node->type != XML_ELEMENT_NODE) {
            return NULL;
        }
    }
    return node->next;
}

/* Prefixes of the document, the first declaration of each. */
static enum tiptrue_status register_prefixes(struct tt_xml_places *kept,
                                             struct tiptrue_error *error)
{
    for (xmlNodePtr node = kept->library.DocGetRootElement(kept->document); node != NULL;
         node = next_node(node)) {
        for (xmlNsPtr space = node->type == XML_ELEMENT_NODE ? node->nsDef : NULL; space != NULL;
             space = space->next) {
            if (space->prefix != NULL &&
                kept->library.XPathNsLookup(kept->context, space->prefix) == NULL &&
                kept->library.XPathRegisterNs(kept->context, space->prefix, space->href) != 0) {
                return tt_fail_memory(error);
            }
        }
    }
    return TIPTRUE_OK;
}

/* What libxml2 cannot cope with, found out before it is asked. */
static enum tiptrue_status check_size(const struct tt_config_text *config,
                                      struct tiptrue_error *error)
{
    size_t at = 0, attributes = tt_xml_most_attributes(config->text, config->length, &at);
    if (config->length > INT_MAX / TREE_PER_BYTE) {
        return tt_fail(error, TIPTRUE_E_CONFIG, config->name, 0, 0,
                       "name the place by ~REGEX, or divide the file",
                       "is larger than %d MiB, too large for XML", (INT_MAX / TREE_PER_BYTE) >> 20);
    }
    if (attributes > MOST_ATTRIBUTES) {
        return tt_fail(error, TIPTRUE_E_CONFIG, config->name, tt_config_text_line(config, at), 0,
                       "name the place by ~REGEX, or write elements instead",
                       "a tag has %zu attributes; at most %d are read", attributes,
                       MOST_ATTRIBUTES);
    }
    void *tree = malloc(TREE_LEAST + TREE_PER_BYTE * config->length);
    free(tree);
    return tree != NULL ? TIPTRUE_OK : tt_fail_memory(error);
}

static enum tiptrue_status parse(struct tt_xml_places *kept, const struct tt_config_text *config,
                                 struct tiptrue_error *error)
{
    size_t at = 0;
    if (tt_xml_declares_entity(config->text, config->length, &at)) {
        return tt_fail(error, TIPTRUE_E_CONFIG, config->name, tt_config_text_line(config, at), 0,
                       "write the text where the entity stands, or name the place by ~REGEX",
                       "declares an entity; such a document is not parsed, since entities can name "
                       "other files and grow without bound");
    }
    enum tiptrue_status status = check_size(config, error);
    status = status == TIPTRUE_OK ? tt_xml_library_load(&kept->library, error) : status;
    if (status != TIPTRUE_OK) {
        return status;
    }
    xmlParserCtxtPtr parser = kept->library.NewParserCtxt();
    if (parser == NULL) {
        return tt_fail_memory(error);
    }
    struct silence silence = begin_silence(&kept->library);
    kept->document =
        kept->library.CtxtReadMemory(parser, config->text, (int)config->length, NULL, NULL,
                                     XML_PARSE_NONET | XML_PARSE_NOERROR | XML_PARSE_NOWARNING);
    end_silence(&kept->library, silence);
    if (kept->document == NULL) {
        status = no_xml(config, parser, error);
    }
    kept->library.FreeParserCtxt(parser);
    if (status != TIPTRUE_OK) {
        return status;
    }
    kept->context = kept->library.XPathNewContext(kept->document);
    if (kept->context == NULL) {
        return tt_fail_memory(error);
    }
    kept->context->error = be_silent;
    return register_prefixes(kept, error);
}

void tt_xml_places_free(struct tt_xml_places *kept)
{
    if (kept != NULL) {
        if (kept->context != NULL) {
            kept->library.XPathFreeContext(kept->context);
        }
        if (kept->document != NULL) {
            kept->library.FreeDoc(kept->document);
        }
        free(kept);
    }
}

/* How many elements begin before @element, and *elements in all. */
static size_t ordinal_of(struct tt_xml_places *kept, xmlNodePtr element, size_t *elements)
{
    size_t count = 0, ordinal = 0;
    for (xmlNodePtr node = kept->library.DocGetRootElement(kept->document); node != NULL;
         node = next_node(node)) {
        if (node == element) {
            ordinal = count;
        }
        count += node->type == XML_ELEMENT_NODE;
    }
    *elements = count;
    return ordinal;
}

static enum tiptrue_status not_a_value(const struct tt_config_text *config, const char *place,
                                       xmlNodePtr node, const char *what, const char *hint,
                                       struct tiptrue_error *error)
{
    long line = node != NULL ? (long)node->line : 0;
    return tt_fail(error, TIPTRUE_E_CONFIG, config->name,
                   line > 0 && line < USHRT_MAX ? (size_t)line : 0, 0, hint, "place '%s' %s", place,
                   what);
}

/* Whether the bytes of @span, without blanks, are the text that libxml2 read, without blanks. */
static bool agrees(const struct tt_config_text *config, struct tt_span span, const xmlChar *content)
{
    const char *text = content != NULL ? (const char *)content : "",
               *first = config->text + span.at, *end = first + span.length;
    size_t length;
    text += strspn(text, " \t\r\n");
    length = strlen(text);
    while (length > 0 && strchr(" \t\r\n", text[length - 1]) != NULL) {
        length--;
    }
    while (first < end && strchr(" \t\r\n", *first) != NULL) {
        first++;
    }
    while (end > first && strchr(" \t\r\n", end[-1]) != NULL) {
        end--;
    }
    return (size_t)(end - first) == length && memcmp(first, text, length) == 0;
}

/* Whether the bytes of @span are the name, with its prefix; names beyond ASCII may be coded
 * otherwise and are not compared. */
static bool is_name(const struct tt_config_text *config, struct tt_span span, const xmlNs *space,
                    const xmlChar *name)
{
    const char *text = config->text + span.at;
    const char *prefix =
        space != NULL && space->prefix != NULL ? (const char *)space->prefix : NULL;
    for (size_t i = 0; i < span.length; i++) {
        if ((unsigned char)text[i] >= 0x80) {
            return true;
        }
    }
    size_t skip = prefix != NULL ? strlen(prefix) + 1 : 0, length = strlen((const char *)name);
    return span.length == skip + length && memcmp(text + skip, name, length) == 0 &&
           (skip == 0 || (memcmp(text, prefix, skip - 1) == 0 && text[skip - 1] == ':'));
}

#define ENTITY_HINT "write the value in plain digits, without &#...;"

static enum tiptrue_status locate_attribute(const struct tt_config_text *config, const char *place,
                                            xmlAttrPtr attribute,
                                            const struct tt_xml_element *element,
                                            struct tt_span *span, struct tiptrue_error *error)
{
    size_t index = 0;
    struct tt_span name;
    for (xmlAttrPtr before = attribute->prev; before != NULL; before = before->prev) {
        index++;
    }
    bool found = tt_xml_attribute_find(config->text, element, index, &name, span) &&
                 is_name(config, name, attribute->ns, attribute->name);
    if (!found) {
        return not_a_value(config, place, attribute->parent,
                           "is an attribute that the document type adds, not one that is written",
                           "write the attribute in the tag", error);
    }
    const xmlNode *value = attribute->children;
    if (value != NULL && (value->next != NULL || value->type != XML_TEXT_NODE)) {
        return not_a_value(config, place, attribute->parent, "is not written plainly", ENTITY_HINT,
                           error);
    }
    return agrees(config, *span, value != NULL ? value->content : NULL)
               ? TIPTRUE_OK
               : not_a_value(config, place, attribute->parent, "is not written plainly",
                             ENTITY_HINT, error);
}

/* The one text in @node that is more than blanks, as libxml2 read it. */
static const xmlChar *own_text(xmlNodePtr node)
{
    for (xmlNodePtr child = node->children; child != NULL; child = child->next) {
        bool data = child->type == XML_TEXT_NODE || child->type == XML_CDATA_SECTION_NODE;
        if (data && child->content != NULL &&
            child->content[strspn((const char *)child->content, " \t\r\n")] != '\0') {
            return child->content;
        }
    }
    return NULL;
}

static enum tiptrue_status locate_text(const struct tt_config_text *config, const char *place,
                                       xmlNodePtr node, const struct tt_xml_element *element,
                                       struct tt_span *span, struct tiptrue_error *error)
{
    if (element->children > 0) {
        return not_a_value(config, place, node, "is an element with other elements in it",
                           "let the path go on to the value", error);
    }
    if (element->pieces != 1) {
        return not_a_value(
            config, place, node,
            element->pieces == 0 ? "is an element without text" : "is a text in several pieces",
            element->pieces == 0 ? "write 0 there first" : "write the value in one piece", error);
    }
    *span = element->piece;
    return agrees(config, *span, own_text(node))
               ? TIPTRUE_OK
               : not_a_value(config, place, node, "is not written plainly", ENTITY_HINT, error);
}

static enum tiptrue_status locate(struct tt_xml_places *kept, const struct tt_config_text *config,
                                  const char *place, xmlNodePtr node, struct tt_span *span,
                                  struct tiptrue_error *error)
{
    struct tt_xml_element element;
    size_t elements, scanned;
    xmlNodePtr owner = node->type == XML_ELEMENT_NODE ? node : node->parent;
    bool data = node->type == XML_TEXT_NODE || node->type == XML_CDATA_SECTION_NODE;
    if ((node->type != XML_ELEMENT_NODE && node->type != XML_ATTRIBUTE_NODE && !data) ||
        owner == NULL || owner->type != XML_ELEMENT_NODE) {
        return not_a_value(config, place, NULL,
                           "is neither an attribute nor an element nor its text",
                           "a comment holds no value", error);
    }
    size_t ordinal = ordinal_of(kept, owner, &elements);
    if (!tt_xml_element_find(config->text, config->length, ordinal, &element, &scanned) ||
        scanned != elements || !is_name(config, element.name, owner->ns, owner->name)) {
        return not_a_value(config, place, owner,
                           "cannot be told to the byte: two readings of the file differ",
                           "name the place by ~REGEX", error);
    }
    return node->type == XML_ATTRIBUTE_NODE
               ? locate_attribute(config, place, (xmlAttrPtr)node, &element, span, error)
               : locate_text(config, place, owner, &element, span, error);
}

/* "@h:y" */
struct shown_name {
    char text[160];
};

static struct shown_name shown_name(const char *sign, const xmlNs *space, const xmlChar *name)
{
    struct shown_name shown;
    const char *prefix = space != NULL && space->prefix != NULL ? (const char *)space->prefix : "";
    snprintf(shown.text, sizeof(shown.text), "%s%s%s%s", sign, tt_shown_text(prefix).text,
             prefix[0] != '\0' ? ":" : "", tt_shown_text((const char *)name).text);
    return shown;
}

/* What the path reaches when its last steps are left out, for a message. */
static enum tiptrue_status missing(struct tt_xml_places *kept, const struct tt_config_text *config,
                                   const char *place, struct tiptrue_error *error)
{
    struct tt_buffer hint = {0};
    struct tt_list names = {0};
    xmlNodePtr node = kept->library.DocGetRootElement(kept->document), at = node;
    char *path = strdup(place);
    size_t used = 0;
    if (path == NULL) {
        return tt_fail_memory(error);
    }
    for (char *cut = strrchr(path, '/'); cut != NULL && cut > path && used == 0;
         cut = strrchr(path, '/')) {
        *cut = '\0';
        xmlXPathObjectPtr result = kept->library.XPathEval((const xmlChar *)path, kept->context);
        if (result != NULL && result->type == XPATH_NODESET && result->nodesetval != NULL &&
            result->nodesetval->nodeNr > 0 &&
            result->nodesetval->nodeTab[0]->type == XML_ELEMENT_NODE) {
            at = result->nodesetval->nodeTab[0];
            used = strlen(path);
        }
        kept->library.XPathFreeObject(result);
    }
    tt_buffer_printf(
        &hint, "%s%s%s<%s> has: ", used > 0 ? "the path reaches '" : "the outermost element ",
        used > 0 ? path : "", used > 0 ? "', " : "", shown_name("", at->ns, at->name).text);
    free(path);
    for (xmlAttrPtr attribute = at->properties; attribute != NULL; attribute = attribute->next) {
        tt_list_add(&names, shown_name("@", attribute->ns, attribute->name).text);
    }
    for (xmlNodePtr child = at->children; child != NULL; child = child->next) {
        if (child->type == XML_ELEMENT_NODE) {
            tt_list_add(&names, shown_name("", child->ns, child->name).text);
        }
    }
    tt_buffer_puts(&hint, names.length > 0 ? names.text : "nothing");
    if (at->ns != NULL && at->ns->prefix == NULL) {
        tt_buffer_puts(&hint, " (in a namespace without prefix: write *[local-name()='NAME'])");
    }
    enum tiptrue_status status =
        hint.failed ? tt_fail_memory(error) : tt_place_missing(config, place, hint.text, error);
    tt_buffer_clear(&hint);
    return status;
}

static enum tiptrue_status doubled(const struct tt_config_text *config, const char *place,
                                   const xmlNodeSet *nodes, struct tiptrue_error *error)
{
    struct tt_list where = {0};
    for (int i = 0; i < nodes->nodeNr && !where.full; i++) {
        const xmlNode *node = nodes->nodeTab[i];
        bool attribute = node->type == XML_ATTRIBUTE_NODE;
        const xmlNode *owner = attribute ? node->parent : node;
        const xmlChar *text = attribute && node->children != NULL ? node->children->content
                              : node->type == XML_ELEMENT_NODE    ? own_text(nodes->nodeTab[i])
                              : node->type == XML_TEXT_NODE || node->type == XML_CDATA_SECTION_NODE
                                  ? node->content
                                  : NULL;
        char line[120];
        const char *shown = text != NULL ? (const char *)text : "";
        snprintf(line, sizeof(line), "line %d: '%s'",
                 owner->type != XML_NAMESPACE_DECL ? (int)owner->line : 0,
                 tt_shown_text(shown).text);
        tt_list_add(&where, line);
    }
    return tt_place_doubled(config, place, (size_t)nodes->nodeNr, &where, error);
}

static enum tiptrue_status evaluate(struct tt_xml_places *kept, const struct tt_config_text *config,
                                    const char *place, struct tt_span *span,
                                    struct tiptrue_error *error)
{
    enum tiptrue_status status;
    kept->context->node = (xmlNodePtr)kept->document;
    kept->context->opLimit = MOST_STEPS;
    kept->context->opCount = 0;
    kept->context->lastError.code = XML_ERR_OK;
    struct silence silence = begin_silence(&kept->library);
    xmlXPathObjectPtr result = kept->library.XPathEval((const xmlChar *)place, kept->context);
    end_silence(&kept->library, silence);
    if (result == NULL) {
        int code = kept->context->lastError.code;
        return code == XML_ERR_NO_MEMORY
                   ? tt_fail_memory(error)
                   : tt_fail(error, TIPTRUE_E_USAGE, config->name, 0, 0,
                             "such as //tip[@name='t1']/@x; prefixes are those of the file",
                             "place '%s': the configuration is XML, where a place is an XPath 1.0, "
                             "and this is none that can be evaluated",
                             place);
    }
    if (result->type != XPATH_NODESET) {
        status = tt_fail(error, TIPTRUE_E_USAGE, config->name, 0, 0, "such as //tip[@name='t1']/@x",
                         "place '%s' is computed from the file, and is not a value in it", place);
    } else if (result->nodesetval == NULL || result->nodesetval->nodeNr == 0) {
        status = missing(kept, config, place, error);
    } else if (result->nodesetval->nodeNr > 1) {
        status = doubled(config, place, result->nodesetval, error);
    } else {
        status = locate(kept, config, place, result->nodesetval->nodeTab[0], span, error);
    }
    kept->library.XPathFreeObject(result);
    return status;
}

enum tiptrue_status tt_xml_places_find(const struct tt_config_text *config,
                                       struct tt_xml_places **kept, const char *place,
                                       struct tt_span *span, struct tiptrue_error *error)
{
    if (*kept == NULL) {
        struct tt_xml_places *made = calloc(1, sizeof(*made));
        if (made == NULL) {
            return tt_fail_memory(error);
        }
        enum tiptrue_status status = parse(made, config, error);
        if (status != TIPTRUE_OK) {
            tt_xml_places_free(made);
            return status;
        }
        *kept = made;
    }
    return evaluate(*kept, config, place, span, error);
}
