/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See style.h. The palette is our own, found by a search for the set whose nearest pair, ink
 * included, is furthest apart (CIEDE2000 at least 15 for every kind of colour vision, simulated
 * after G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans. Vis. Comput. Graph. 15
 * (2009) 1291), and no colour stands without a difference of shape or stroke besides. Contrast
 * (WCAG 2.2, 1.4.3 and 1.4.11): text at least 4.5 to 1, marks and lines that carry data at least
 * 3 to 1, in both schemes; tests/report computes it.
 */
#include "config.h"

#include "output/report/picture.h"

#include <string.h>

#define COLOUR '@' /* before the name of one */
#define DARK_MEDIA "@media screen and (prefers-color-scheme:dark){\n"

/* Colours of one scheme. */
struct palette {
    const char *paper, *ink, *soft, *grid, *fill, *blue, *ochre, *umber, *red, *green;
};
static const struct palette LIGHT = {"#fff",    "#1c2430", "#56606d", "#d9dee4", "#eef1f4",
                                     "#2042bb", "#ab6609", "#1b1405", "#961818", "#138163"};
static const struct palette DARK = {"#12171e", "#e9edf1", "#a9b3be", "#343e49", "#1d242d",
                                    "#ababed", "#f2960a", "#dbc6a5", "#ee365a", "#3e9b93"};

/* Classes stand alone: Inkscape 1.2 takes none for inside "svg". Nothing else on the page has one
 * of theirs. Neither '<' nor '&' in here: it stands in the page as it is, and an XML parser reads
 * it. */
static const char PICTURE[] =
    "svg{font:11px system-ui,\"DejaVu Sans\",\"Liberation "
    "Sans\",sans-serif;color:@ink;background:@paper}\n"
    ".bg{fill:@paper}\n"
    "text{fill:@ink}.m{fill:@soft}\n"
    ".g{stroke:@grid;fill:none}.f{stroke:@soft;fill:none}.z{stroke:@soft;fill:none}\n"
    ".c{stroke:@ochre;fill:none;stroke-width:1.5}.d{stroke:@umber;fill:none;stroke-width:1.5;"
    "stroke-dasharray:5 3}\n"
    ".u{fill:@blue}.w{fill:none;stroke:@blue}.x{fill:none;stroke:@red;stroke-width:1.6}\n"
    ".n{fill:none;stroke:@umber;stroke-width:1.3}.s{fill:none;stroke:@green;stroke-width:1.3}\n"
    ".pt{stroke:@blue;fill:none;stroke-width:3.4;stroke-linecap:round}\n"
    ".b{fill:@red}.k{stroke:@blue;fill:none}.kx{stroke:@red;fill:none}\n"
    ".e{stroke:@ink;stroke-width:2;fill:none}.h{stroke:@soft;fill:none;stroke-width:.8}\n"
    ".v{stroke:@red;fill:none;stroke-width:1.5;stroke-dasharray:2 2}\n"
    ".r{fill:@blue;fill-opacity:.18;stroke:@blue;stroke-width:1.3}\n"
    ".R{fill:none;stroke:@blue;stroke-width:1.3;stroke-dasharray:6 3}\n"
    ".l{fill:none;stroke:@green;stroke-width:1.6;stroke-dasharray:1 3;stroke-linecap:round}\n"
    ".N{fill:@blue}.P{fill:none;stroke:@ochre;stroke-width:2}\n"
    ".bx{fill:@blue}.by{fill:@ochre}.px{fill:none;stroke:@blue;stroke-width:1.2}\n"
    ".py{fill:none;stroke:@ochre;stroke-width:1.2}\n"
    ".E{fill:@green}.S{fill:none;stroke:@red;stroke-width:1.5}\n"
    ".no{font-weight:700;paint-order:stroke;stroke:@paper;stroke-width:3px}\n"
    ".pm{fill:@green;fill-opacity:.15;stroke:none}.o{fill:@ochre;fill-opacity:.16;stroke:none}.B{"
    "fill:@fill}\n";

static const char *colour(const struct palette *p, const char *name, size_t length)
{
    const struct {
        const char *name, *colour;
    } colours[] = {{"paper", p->paper}, {"ink", p->ink},     {"soft", p->soft},
                   {"grid", p->grid},   {"fill", p->fill},   {"blue", p->blue},
                   {"ochre", p->ochre}, {"umber", p->umber}, {"red", p->red},
                   {"green", p->green}};

    for (size_t i = 0; i < sizeof colours / sizeof colours[0]; i++) {
        if (strlen(colours[i].name) == length && memcmp(colours[i].name, name, length) == 0) {
            return colours[i].colour;
        }
    }
    return "#000"; /* tests/report finds it */
}

/* The rules with the colours themselves: programs that show an SVG file seldom know variables. */
static void put_rules(const struct palette *palette, struct tt_buffer *out)
{
    for (const char *at = PICTURE; *at != '\0'; at++) {
        if (*at != COLOUR) {
            tt_buffer_putc(out, *at);
            continue;
        }
        size_t length = strspn(at + 1, "abcdefghijklmnopqrstuvwxyz");
        tt_buffer_puts(out, colour(palette, at + 1, length));
        at += length;
    }
}

static void put_variables(const struct palette *p, struct tt_buffer *out)
{
    tt_buffer_printf(out, ":root{--paper:%s;--ink:%s;--soft:%s;--grid:%s;--fill:%s;", p->paper,
                     p->ink, p->soft, p->grid, p->fill);
    tt_buffer_printf(out, "--blue:%s;--ochre:%s;--umber:%s;--red:%s;--green:%s}", p->blue, p->ochre,
                     p->umber, p->red, p->green);
}

void tt_style_picture(struct tt_buffer *out)
{
    put_rules(&LIGHT, out);
    tt_buffer_puts(out, DARK_MEDIA);
    put_rules(&DARK, out);
    tt_buffer_puts(out, "}\n");
}

static const char PAGE[] =
    ":root{color-scheme:light dark}@media (min-width:2000px){html{font-size:20px}}\n"
    "*{box-sizing:border-box}\n"
    "body{margin:0;background:var(--paper);color:var(--ink);font:16px/1.45 system-ui,\"DejaVu "
    "Sans\",\"Liberation Sans\",sans-serif;overflow-wrap:anywhere}\n"
    "header,main,footer{max-width:116rem;margin:0 auto;padding:0 .5rem}\n"
    "@media (min-width:40rem){header,main,footer{padding:0 1.5rem}}\n"
    "h1{font-size:1.5rem;margin:.8rem 0 .2rem}h2{font-size:1.3rem;margin:1.6rem 0 "
    ".4rem;border-top:2px solid var(--grid);padding-top:.8rem}h3{font-size:1.1rem;margin:1.2rem 0 "
    ".4rem}\n"
    "p,ul,ol,dl{margin:.4rem 0;max-width:52rem}ul,ol{padding-left:1.3rem}li{margin:.2rem 0}\n"
    ".soft{color:var(--soft)}a{color:var(--blue)}\n"
    ".verdict{border:3px solid;border-left-width:14px;padding:.5rem "
    ".8rem;max-width:52rem;font-size:1.1rem}\n"
    ".verdict strong{font-size:1.3rem}.verdict span{color:var(--ink)}\n"
    ".keep{border-color:var(--green);color:var(--green)}.update{border-color:var(--ochre);color:"
    "var(--ochre);border-style:double;border-left-style:solid}.repeat{border-color:var(--red);"
    "color:var(--red);border-style:dashed;border-left-style:solid}\n"
    ".grid{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,340px),1fr));gap:1."
    "2rem;align-items:start}\n"
    "@media (min-width:2000px){.grid{grid-template-columns:repeat(auto-fill,minmax(420px,1fr))}}\n"
    "figure{margin:0;min-width:0;break-inside:avoid}figcaption{font-weight:600;margin:.2rem 0}\n"
    "figure svg{display:block;width:100%;max-width:560px;height:auto}\n"
    "table{border-collapse:collapse;font-size:.85rem;font-variant-numeric:tabular-nums;margin:."
    "3rem 0}\n"
    "th,td{padding:.1rem .45rem .1rem 0;text-align:right;vertical-align:top;border-bottom:1px "
    "solid var(--grid)}\n"
    ".verdict+table thead th,.verdict+p+table thead th{overflow-wrap:normal}tbody "
    "th,.t{min-width:4.6em}\n"
    "@media (max-width:30rem){table{font-size:.7rem}th,td{padding-right:.25rem}}\n"
    "td{white-space:nowrap}.t{white-space:normal}.t "
    "strong{white-space:nowrap}th:first-child,td:first-child,.t{text-align:left}\n"
    "summary{color:var(--soft);cursor:pointer;font-size:.85rem;padding:.25rem 0}\n"
    "summary:focus-visible,a:focus-visible{outline:3px solid var(--blue);outline-offset:2px}\n"
    ".note{border-left:4px solid var(--ochre);padding-left:.7rem}\n"
    /* a tip fills a sheet: its tables beside each other, four pictures beneath */
    "@media print{@page{size:A4;margin:14mm}body{font-size:10pt}\n"
    "header,main,footer{max-width:none;padding:0}\n"
    ".grid{grid-template-columns:1fr 1fr;gap:2mm 8mm}figure svg{max-width:78mm}\n"
    "h3[id^=run-]{break-before:page}section+section{break-before:page}\n"
    "h3[id^=run-]~table{display:inline-table;vertical-align:top;margin-right:6mm;font-size:7.5pt}\n"
    "details:not([open]){display:none}h2,h3,figcaption{break-after:avoid}}\n";

void tt_style_page(struct tt_buffer *out)
{
    put_variables(&LIGHT, out);
    tt_buffer_puts(out, "\n" DARK_MEDIA);
    put_variables(&DARK, out);
    tt_buffer_puts(out, "}\n");
    tt_style_picture(out);
    tt_buffer_puts(out, PAGE);
}
