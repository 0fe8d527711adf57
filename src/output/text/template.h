/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* A sentence made of a template and the values of a finding. In a template stand
 *     {key}          the value under that key, with its unit ("27 µm", "1.234 mm", "12 %")
 *     {key:format}   in another way: um (always in µm); over (with as many decimals as show that it
 *                    is over the value of "limit"); ms; factor; deg, fine (0 and 2 decimals); to,
 *                    back (the direction of an angle, the opposite one); line (its axis); shape (of
 *                    an order); phrase (what a word means)
 *     {tip} {edge} {setup}   what the finding is about
 *     {lines}        "line 17", "lines 17, 31 and 40": the rows it is about
 *     {facing} {missing}     directions of edges: "edges facing +x, -y", "one that faces +x"
 *     {values}       all values with their keys
 *     [ ... ]        left out where a {key} in it has no value
 */
#ifndef TT_OUTPUT_TEXT_TEMPLATE_H
#define TT_OUTPUT_TEXT_TEMPLATE_H

#include "base/buffer.h"
#include "model/solution.h"

/* A sentence of the findings of a code; of one kind (value `what` or `kind`) unless that is NULL.
 */
struct tt_template {
    enum tt_finding_code code;
    const char *kind;
    const char *text;
};

/* Those of the camera and of the axes (sentences_machine.c), of heights (height_sentences.c), of a
 * board (placement_sentences.c). */
struct tt_templates {
    const struct tt_template *list;
    size_t n;
};
extern const struct tt_templates tt_machine_templates, tt_height_templates, tt_placement_templates;

/* Add the sentence that the template @text makes of @finding, one of @solution's. */
void tt_template_put(struct tt_buffer *buffer, const struct tiptrue_solution *solution,
                     const struct tt_finding *finding, const char *text);

/* "late 3, of 12, depth 27 µm" */
void tt_template_values(struct tt_buffer *buffer, const struct tt_finding *finding);

/* Whether {@word} stands in the template @text. */
bool tt_template_names(const char *text, const char *word);

#endif
