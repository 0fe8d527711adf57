# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Budgets of the C code: columns, lines of a function and of a file, parameters, complexity, and a
comment above every prototype of a header.

budget.list holds what is over its budget, one a line: KIND NUMBER NAME. It may only shrink: what is
over a budget and not listed fails, so does what exceeds the listed number, and so does a line that
says more than is needed. `python3 tests/style/budget.py --shrink` (with srcdir set) lowers and
removes lines; it adds none.

Lines of a function are those with code on them, from its return type to its last brace; lines of
a file are all. Complexity is McCabe's (IEEE Trans. Softw. Eng. 2 (1976) 308-320), operators of
conditions counted: 1, and 1 more for each if, for, while, case, &&, || and ?.
"""
import collections
import os
import pathlib
import re
import sys

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

COLUMNS = 100
MOST = {"lines": 60, "file": 500, "parameters": 6, "complexity": 15, "contract": 0}
SRC = pathlib.Path(os.environ["srcdir"], "src")
LIST = pathlib.Path(os.environ["srcdir"], "tests", "style", "budget.list")
UNREAD = re.compile(
    r"""/\*.*?\*/|//[^\n]*|"(?:[^"\\\n]|\\.)*"|'(?:[^'\\\n]|\\.)*'|^[ \t]*\#(?:[^\n\\]|\\.|\\\n)*""",
    re.S | re.M,
)
BRANCH = re.compile(r"\b(?:if|for|while|case)\b|&&|\|\||\?")
HEAD = re.compile(r"(\w+)\s*\($")


def bare(text):
    """@text with comments, strings and preprocessor lines blanked; the lines stay where they are."""
    return UNREAD.sub(
        lambda m: re.sub(r"[^\n]", " ", m.group()) if m.group()[0] not in "\"'" else '""', text
    )


def closing(text, at, pair):
    """Index of the bracket that closes the one at @at."""
    depth = 0
    for i in range(at, len(text)):
        depth += (text[i] == pair[0]) - (text[i] == pair[1])
        if depth == 0:
            return i
    raise ValueError("a bracket is not closed")


def count_parameters(inside):
    """Commas outside brackets, and one; none in (void)."""
    if inside.strip() in ("", "void"):
        return 0
    depth = 0
    commas = 0
    for c in inside:
        depth += (c in "([{") - (c in ")]}")
        commas += c == "," and depth == 0
    return commas + 1


def declarations(code):
    """(name, start, parameters, end of the head, body or None) of each function at file scope."""
    start = 0
    at = 0
    while at < len(code):
        c = code[at]
        if c == ";":
            start = at + 1
        elif c in "{":
            at = closing(code, at, "{}")
            rest = code[at + 1 : at + 2]
            start = at + 1 if rest == "\n" or rest == "" else start
        elif c == "(":
            end = closing(code, at, "()")
            name = HEAD.search(code[start : at + 1])
            after = re.compile(
                r"\s*(?:__attribute__\s*\(\(.*?\)\)\s*|TT_\w+(?:\([^)]*\))?\s*)*([;{])"
            ).match(code, end + 1)
            if name and after and "=" not in code[start:at] and "typedef" not in code[start:at]:
                opening = after.start(1)
                last = closing(code, opening, "{}") if after.group(1) == "{" else None
                yield name.group(1), start, code[at + 1 : end], opening, last
                at = last if last is not None else opening
                start = at + 1
            else:
                at = end
        at += 1


def has_contract(text, code, start):
    """Whether the declaration behind @start has a comment above it, or stands right below one that has."""
    first = start + len(code[start:]) - len(code[start:].lstrip())
    before = text[:first].rstrip(" ")
    return before.endswith("*/\n") or not before.endswith("\n\n") and not before.endswith("{\n")


def measured(path):
    """(kind, number, name) of all that has a budget in one file."""
    text = path.read_text(encoding="utf-8")
    code = bare(text)
    yield "file", text.count("\n"), str(path.relative_to(SRC))
    for name, start, parameters, opening, last in declarations(code):
        yield "parameters", count_parameters(parameters), name
        if path.suffix == ".h":
            yield "contract", 0 if has_contract(text, code, start) else 1, name
        if last is not None:
            yield "lines", sum(
                line.strip() != "" for line in code[start : last + 1].split("\n")
            ), name
            yield "complexity", 1 + len(BRANCH.findall(code[opening:last])), name


def all_measured():
    """{(kind, name): numbers, largest first} and the functions counted; a prototype and its definition are one."""
    found = collections.defaultdict(list)
    functions = 0
    for path in sorted(p for p in SRC.rglob("*") if p.suffix in (".c", ".h")):
        for kind, number, name in measured(path):
            functions += kind == "complexity"
            if number > MOST[kind]:
                found[kind, name].append((number, path))
    for (kind, name), places in found.items():
        if kind == "parameters":  # the header's and the source's are the same ones
            sources = [place for place in places if place[1].suffix == ".c"]
            found[kind, name] = sources or places
    return {
        key: sorted((n for n, _ in places), reverse=True) for key, places in found.items()
    }, functions


def listed():
    """The list as {(kind, name): numbers, largest first}."""
    found = collections.defaultdict(list)
    for line in LIST.read_text(encoding="utf-8").split("\n"):
        if line and not line.startswith("#"):
            kind, number, name = line.split()
            found[kind, name].append(int(number))
    return {key: sorted(numbers, reverse=True) for key, numbers in found.items()}


def shrink(now, before):
    """Write the list with numbers lowered and lines removed."""
    head = [line for line in LIST.read_text(encoding="utf-8").split("\n") if line.startswith("#")]
    lines = []
    for (kind, name), numbers in sorted(before.items()):
        lines += [
            f"{kind} {min(was, is_)} {name}" for was, is_ in zip(numbers, now.get((kind, name), []))
        ]
    LIST.write_text("\n".join(head + lines) + "\n", encoding="utf-8")


def self_check(tally):
    """The counter on a text whose counts are known."""
    text = (
        "/* x { */\nint a(void);\n\n/* c */\nint b(int x, int (*f)(int, int), char y[2]);\nint c(void);\n"
        "static const int t[] = {1, 2};\nstruct s { int z; };\n\n/* one */\nstatic int d(int p, int q)\n{\n"
        "    /* if */\n    if (p && q) {\n        return p ? 1 : '{';\n    }\n    return \"if (}\"[0];\n}\n"
    )
    code = bare(text)
    rows = list(declarations(code))
    tally.check(
        [r[0] for r in rows] == ["a", "b", "c", "d"],
        f"self check: functions {[r[0] for r in rows]}",
    )
    tally.check([count_parameters(r[2]) for r in rows] == [0, 3, 0, 2], "self check: parameters")
    tally.check(
        [has_contract(text, code, r[1]) for r in rows] == [True, True, True, True],
        "self check: comments",
    )
    without = "#define X 1\n\nint e(void);\n"
    row = list(declarations(bare(without)))[0]
    tally.check(
        not has_contract(without, bare(without), row[1]),
        "self check: a prototype without a comment",
    )
    d = rows[-1]
    tally.check(1 + len(BRANCH.findall(code[d[3] : d[4]])) == 4, "self check: complexity")
    tally.check(
        sum(line.strip() != "" for line in code[d[1] : d[4] + 1].split("\n")) == 7,
        "self check: lines",
    )


tally = Tally()
now, functions = all_measured()
if sys.argv[1:] == ["--shrink"]:
    shrink(now, listed())
    sys.exit(0)
if sys.argv[1:] == ["--show"]:
    for (kind, name), numbers in sorted(now.items()):
        for number in numbers:
            print(kind, number, name)
    sys.exit(0)
self_check(tally)
before = listed()
for kind, name in sorted(set(now) | set(before)):
    numbers, allowed = now.get((kind, name), []), before.get((kind, name), [])
    worse = len(numbers) > len(allowed) or any(n > a for n, a in zip(numbers, allowed))
    what = f"{name}: {kind} {numbers or 'within the budget'}, listed {allowed or 'not'}, the budget is {MOST[kind]}"
    if worse:
        tally.check(False, what + "; make it smaller: tests/style/budget.list takes nothing new")
    else:
        tally.check(
            numbers == allowed, what + "; run: srcdir=. python3 tests/style/budget.py --shrink"
        )
for path in sorted(
    p for folder in ("src", "tests", "examples") for p in (SRC.parent / folder).rglob("*.[ch]")
):
    wide = [
        n
        for n, line in enumerate(path.read_text(encoding="utf-8").split("\n"), 1)
        if len(line) > COLUMNS
    ]
    tally.check(not wide, f"{path}: over {COLUMNS} columns in lines {wide}")
tally.check(functions > 1000, f"only {functions} functions found")
tally.close()
