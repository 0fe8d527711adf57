/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See xml_library.h. The name is that of the library found by configure, with the version of its
 * interface in it. */
#include "config.h"

#include "export/xml_library.h"

#include <dlfcn.h>
#include <errno.h>
#include <string.h>

/* Why dlopen failed: the loader says it in words only. Want of memory or descriptors is nothing
 * that an installation mends. */
static enum tiptrue_status not_loaded(struct tiptrue_error *error)
{
    static const char *const MEMORY[] = {"annot allocate", "cannot map", "failed to map",
                                         "cannot create", "annot enlarge"};
    const char *why = dlerror();

    if (why == NULL) { /* no memory for the words themselves */
        return tt_fail_memory(error);
    }
    for (size_t i = 0; i < sizeof MEMORY / sizeof MEMORY[0]; i++) {
        if (strstr(why, MEMORY[i]) != NULL) {
            return tt_fail_memory(error);
        }
    }
    if (strstr(why, strerror(EMFILE)) != NULL || strstr(why, strerror(ENFILE)) != NULL ||
        strstr(why, strerror(EIO)) != NULL) {
        return tt_fail(error, TIPTRUE_E_IO, NULL, 0, 0,
                       "close other programs or raise the limit, or name the place by ~REGEX",
                       "XML files are read by the library " LIBXML2_SONAME
                       ", which cannot be loaded: %s",
                       why);
    }
    return tt_fail(error, TIPTRUE_E_CONFIG, NULL, 0, 0,
                   "Debian: apt-get install libxml2; or name the place by ~REGEX",
                   "XML files are read by the library " LIBXML2_SONAME ", which is not installed");
}

enum tiptrue_status tt_xml_library_load(struct tt_xml_library *library, struct tiptrue_error *error)
{
    struct tt_xml_library made;
    const struct {
        const char *name;
        void *call; /* pointer to the pointer to be set */
    } calls[] = {
        {"xmlNewParserCtxt", &made.NewParserCtxt},
        {"xmlCtxtReadMemory", &made.CtxtReadMemory},
        {"xmlFreeParserCtxt", &made.FreeParserCtxt},
        {"xmlFreeDoc", &made.FreeDoc},
        {"xmlDocGetRootElement", &made.DocGetRootElement},
        {"xmlXPathNewContext", &made.XPathNewContext},
        {"xmlXPathFreeContext", &made.XPathFreeContext},
        {"xmlXPathEval", &made.XPathEval},
        {"xmlXPathFreeObject", &made.XPathFreeObject},
        {"xmlXPathRegisterNs", &made.XPathRegisterNs},
        {"xmlXPathNsLookup", &made.XPathNsLookup},
        {"__xmlGenericError", &made.thread_handler},
        {"__xmlGenericErrorContext", &made.thread_context},
    };
    void *handle = dlopen(LIBXML2_SONAME, RTLD_NOW | RTLD_LOCAL | RTLD_NODELETE);
    if (handle == NULL) {
        return not_loaded(error);
    }
    for (size_t i = 0; i < sizeof(calls) / sizeof(calls[0]); i++) {
        void *address = dlsym(handle, calls[i].name);
        if (address == NULL) {
            (void)dlclose(handle);
            return tt_fail(error, TIPTRUE_E_CONFIG, NULL, 0, 0, NULL,
                           "the library " LIBXML2_SONAME " has no call %s", calls[i].name);
        }
        memcpy(calls[i].call, &address,
               sizeof(address)); /* POSIX: a function's address fits a void pointer */
    }
    (void)dlclose(handle);
    *library = made;
    return TIPTRUE_OK;
}
