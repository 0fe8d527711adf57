/* SPDX-License-Identifier: GPL-3.0-or-later
 * Copyright (C) 2026 the tiptrue authors */
/* See style.h. The palette is our own: blue, ochre, purple and red of clearly different lightness, so that they differ for every
 * kind of colour vision, and never without a difference of shape or stroke besides. Contrast (WCAG 2.2, 1.4.3 and 1.4.11): text at
 * least 4.5 to 1, marks and lines that carry data at least 3 to 1, in both schemes; tests/report computes it.
 */
#include "config.h"

#include "output/style.h"

/* Neither '<' nor '&' in here: it stands in the page as it is, and an XML parser reads it. */
const char *const tt_style_picture =
    ":root{--paper:#fff;--ink:#1c2430;--soft:#56606d;--grid:#d9dee4;--fill:#eef1f4;--blue:#1d5fa6;--ochre:#a85a00;--purple:#7b3aa0;"
    "--red:#b3183f;--green:#0a6b4f}\n"
    "@media (prefers-color-scheme:dark){:root{--paper:#12171e;--ink:#e9edf1;--soft:#a9b3be;--grid:#343e49;--fill:#1d242d;"
    "--blue:#7fb6f5;--ochre:#f0a94b;--purple:#cfa0f0;--red:#ff8fa6;--green:#67d3ae}}\n"
    "@media print{:root{--paper:#fff;--ink:#1c2430;--soft:#56606d;--grid:#d9dee4;--fill:#eef1f4;--blue:#1d5fa6;--ochre:#a85a00;"
    "--purple:#7b3aa0;--red:#b3183f;--green:#0a6b4f}}\n"
    "svg{font:11px system-ui,\"DejaVu Sans\",\"Liberation Sans\",sans-serif;color:var(--ink);background:var(--paper)}\n"
    "svg text{fill:var(--ink)}svg .m{fill:var(--soft)}\n"
    "svg .g{stroke:var(--grid);fill:none}svg .f{stroke:var(--soft);fill:none}svg .z{stroke:var(--soft);fill:none}\n"
    "svg .c{stroke:var(--ochre);fill:none;stroke-width:1.5}svg .d{stroke:var(--purple);fill:none;stroke-width:1.5;"
    "stroke-dasharray:5 3}\n"
    "svg .u{fill:var(--blue)}svg .w{fill:none;stroke:var(--blue)}svg .x{fill:none;stroke:var(--red);stroke-width:1.6}\n"
    "svg .n{fill:none;stroke:var(--purple);stroke-width:1.3}svg .s{fill:none;stroke:var(--green);stroke-width:1.3}\n"
    "svg .b{fill:var(--red)}svg .k{stroke:var(--blue);fill:none}svg .kx{stroke:var(--red);fill:none}\n"
    "svg .e{stroke:var(--ink);stroke-width:2;fill:none}svg .h{stroke:var(--soft);fill:none;stroke-width:.8}\n"
    "svg .v{stroke:var(--red);fill:none;stroke-width:1.5;stroke-dasharray:2 2}\n"
    "svg .r{fill:var(--blue);fill-opacity:.18;stroke:var(--blue);stroke-width:1.3}\n"
    "svg .R{fill:none;stroke:var(--blue);stroke-width:1.3;stroke-dasharray:6 3}\n"
    "svg .l{fill:none;stroke:var(--green);stroke-width:1.6;stroke-dasharray:1 3;stroke-linecap:round}\n"
    "svg .N{fill:var(--blue)}svg .P{fill:none;stroke:var(--ochre);stroke-width:2}\n"
    "svg .bx{fill:var(--blue)}svg .by{fill:var(--ochre)}svg .px{fill:none;stroke:var(--blue);stroke-width:1.2}\n"
    "svg .py{fill:none;stroke:var(--ochre);stroke-width:1.2}\n"
    "svg .E{fill:var(--green)}svg .S{fill:none;stroke:var(--red);stroke-width:1.5}\n"
    "svg .o{fill:var(--ochre);fill-opacity:.16;stroke:none}svg .B{fill:var(--fill)}\n";

const char *const tt_style_page =
    ":root{color-scheme:light dark}@media (min-width:2000px){html{font-size:20px}}\n"
    "*{box-sizing:border-box}\n"
    "body{margin:0;background:var(--paper);color:var(--ink);font:16px/1.45 system-ui,\"DejaVu Sans\",\"Liberation "
    "Sans\",sans-serif;"
    "overflow-wrap:anywhere}\n"
    "header,main,footer{max-width:116rem;margin:0 auto;padding:0 .5rem}\n"
    "@media (min-width:40rem){header,main,footer{padding:0 1.5rem}}\n"
    "h1{font-size:1.5rem;margin:.8rem 0 .2rem}h2{font-size:1.3rem;margin:1.6rem 0 .4rem;border-top:2px solid var(--grid);"
    "padding-top:.8rem}h3{font-size:1.1rem;margin:1.2rem 0 .4rem}\n"
    "p,ul,dl{margin:.4rem 0;max-width:52rem}ul{padding-left:1.3rem}li{margin:.2rem 0}\n"
    ".soft{color:var(--soft)}a{color:var(--blue)}\n"
    ".verdict{border:3px solid;border-left-width:14px;padding:.5rem .8rem;max-width:52rem;font-size:1.1rem}\n"
    ".verdict strong{font-size:1.3rem}.verdict span{color:var(--ink)}\n"
    ".keep{border-color:var(--green);color:var(--green)}.update{border-color:var(--ochre);color:var(--ochre);border-style:double;"
    "border-left-style:solid}"
    ".repeat{border-color:var(--red);color:var(--red);border-style:dashed;border-left-style:solid}\n"
    ".grid{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,340px),1fr));gap:1.2rem;align-items:start}\n"
    "@media (min-width:2000px){.grid{grid-template-columns:repeat(auto-fill,minmax(420px,1fr))}}\n"
    "figure{margin:0;min-width:0;break-inside:avoid}figcaption{font-weight:600;margin:.2rem 0}\n"
    "figure svg{display:block;width:100%;max-width:560px;height:auto}\n"
    "table{border-collapse:collapse;font-size:.85rem;font-variant-numeric:tabular-nums;margin:.3rem 0}\n"
    "th,td{padding:.1rem .45rem .1rem 0;text-align:right;vertical-align:top;border-bottom:1px solid var(--grid)}\n"
    "td{white-space:nowrap}.t{white-space:normal}th:first-child,td:first-child,.t{text-align:left}\n"
    "summary{color:var(--soft);cursor:pointer;font-size:.85rem;padding:.25rem 0}\n"
    "summary:focus-visible,a:focus-visible{outline:3px solid var(--blue);outline-offset:2px}\n"
    ".note{border-left:4px solid var(--ochre);padding-left:.7rem}\n"
    "@media print{@page{size:A4;margin:14mm}body{font-size:10pt}header,main,footer{max-width:none;padding:0}"
    ".grid{display:block;columns:2;column-gap:8mm}figure{margin-bottom:5mm}figure "
    "svg{max-width:none}details:not([open]){display:none}"
    "h2,h3,figcaption{break-after:avoid}}\n";
