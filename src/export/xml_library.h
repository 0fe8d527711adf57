/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* libxml2, loaded when an XML file is to be searched and not before: with the libraries that it
 * needs itself it costs a start of the program more than all the rest, and a solve never asks for
 * it. */
#ifndef TT_EXPORT_XML_LIBRARY_H
#define TT_EXPORT_XML_LIBRARY_H

#include <libxml/parser.h>
#include <libxml/xpath.h>
#include <libxml/xpathInternals.h>

#include "base/status.h"

/* The calls that are used, under their names without the "xml". */
struct tt_xml_library {
    __typeof__(&xmlNewParserCtxt) NewParserCtxt;
    __typeof__(&xmlCtxtReadMemory) CtxtReadMemory;
    __typeof__(&xmlFreeParserCtxt) FreeParserCtxt;
    __typeof__(&xmlFreeDoc) FreeDoc;
    __typeof__(&xmlDocGetRootElement) DocGetRootElement;
    __typeof__(&xmlXPathNewContext) XPathNewContext;
    __typeof__(&xmlXPathFreeContext) XPathFreeContext;
    __typeof__(&xmlXPathEval) XPathEval;
    __typeof__(&xmlXPathFreeObject) XPathFreeObject;
    __typeof__(&xmlXPathRegisterNs) XPathRegisterNs;
    __typeof__(&xmlXPathNsLookup) XPathNsLookup;
    /* the calling thread's handler of messages that have no context, and its context */
    xmlGenericErrorFunc *(*thread_handler)(void);
    void **(*thread_context)(void);
};

/* TIPTRUE_E_CONFIG: it is not installed. TIPTRUE_E_MEMORY, TIPTRUE_E_IO: it is there and cannot be
 * loaded, for want of memory or of file descriptors. It stays loaded. */
TT_MUST_USE enum tiptrue_status tt_xml_library_load(struct tt_xml_library *library,
                                                    struct tiptrue_error *error);

#endif
