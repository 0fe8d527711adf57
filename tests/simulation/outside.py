# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""What is known to be outside its bound: outside.txt, a line for each figure, such as
'trials | one edge 80% late | square x12 | 1 tip | not stated | silent'. What is outside and not
listed is a failure. The list only gets shorter: --write takes out what is inside now, which means
something with many runs only."""
import os

PATH = os.path.join(os.path.dirname(os.path.abspath(__file__)), "outside.txt")


def lines():
    with open(PATH, encoding="utf-8") as stream:
        return stream.read().splitlines()


def take_out(inside):
    """Shorten the list by the lines in @inside."""
    kept = [line for line in lines() if line not in inside]
    with open(PATH, "w", encoding="utf-8") as stream:
        stream.write("\n".join(kept) + "\n")


def judge(given, measured):
    """Print what is outside, take out of the list what is not if @given, the command line, says so.
    @measured: (line for the list, whether it is inside, what was found). The exit status: 1 where a
    figure that is not listed is outside."""
    known = set(lines())
    wrong = [(line, found) for line, inside, found in measured if not inside]
    for line, found in wrong:
        print(f"{'outside, known' if line in known else 'FAIL'}: {line}: {found}")
    mended = {line for line, inside, _ in measured if inside} & known
    if mended:
        print(f"{len(mended)} figures are inside that outside.txt lists (--write takes them out)")
    if given.write:
        take_out(mended)
    failed = sum(line not in known for line, _ in wrong)
    print(f"{len(measured) - failed} passed, {failed} failed")
    return 1 if failed else 0
