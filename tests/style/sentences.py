# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""No logic rests on a sentence: no strstr, strcmp or strncmp on what people read. What is found, why, and of what is a code
with values; its English is made last (src/output/text). Environment: srcdir."""
import os
import pathlib
import re
import sys

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

# looked for in the bytes of files, in paths, in users' patterns, in what the dynamic linker says: not in what the program says
SEARCHES = {"app/files.c", "export/export_plan.c", "export/xml_library.c", "export/xml_scan.c", "ingest/pattern.c"}
# the sources of a budget as results of earlier versions name them, which have no code
OLDER = {"model/words.c"}
CALL = re.compile(r"\b(strstr|strcasestr|strcmp|strncmp)\(((?:[^()]|\((?:[^()]|\([^()]*\))*\))*)\)")
SAYING = r"(?:finding|reason|change|note|event|signal|error|f)s?(?:\[[^\]]*\])?(?:->|\.)(?:text|cause|hint)\b"
SENTENCE = re.compile(r'"[^"]*[a-z] [a-z][^"]*"|' + SAYING + r"|(?:->|\.)(?:source|cause|reason|sentence)\b")


def faults(name, code):
    """What is compared in @code that people read."""
    code = re.sub(r"/\*.*?\*/", "", code, flags=re.S)
    found = []
    for call, arguments in CALL.findall(code):
        if call in ("strstr", "strcasestr") and name not in SEARCHES:
            found.append(f"{call}({arguments})")
        elif SENTENCE.search(arguments) and name not in OLDER:
            found.append(f"{call}({arguments})")
    return found


tally = Tally()
top = pathlib.Path(os.environ["srcdir"], "src")
for path in sorted(top.rglob("*.c")):
    name = str(path.relative_to(top))
    found = faults(name, path.read_text(encoding="utf-8"))
    tally.check(found == [], f"{name}: logic on a sentence: {found}; compare a code instead (src/model/words.h)")
# the rooms that find say it in codes: no words for people but in errors, whose words stand where they arise
ERROR = re.compile(r"\btt_fail\w*\([^;]*;")
VALUES = {"measured_at_C of the plate file", "another unit"}  # that documents have had from the first


def said(code):
    """What @code says in words."""
    code = ERROR.sub("", re.sub(r"/\*.*?\*/", "", code, flags=re.S))
    words = re.findall(r'"((?:[^"\\\n]|\\.)*)"', code)
    return [text for text in words if re.search("[A-Za-z] [a-z]|%[a-z]", text) and text not in VALUES]


for room in ("adjust", "geometry", "history/series", "placement"):
    for path in sorted((top / room).glob("*.c")):
        found = said(path.read_text(encoding="utf-8"))
        tally.check(found == [], f"{path.relative_to(top)}: {found}; give a code with values, and say it in output/text")
tally.check(said('tt_buffer_printf(words, "%s %zu touches", and, n);') != [], "words are not seen")
tally.check(said('return tt_fail(error, 3, NULL, 0, 0, "hint for it", "no tip \'%s\'", tip);') == [], "an error is told")
# the check itself can fail
for wrong in ("strstr(text, word)", "strcmp(line->source, name)", "strncmp(reason->text, other, n)",
              'strcmp(word, "touch repeatability")', "strcmp(tip->reasons[k].text, x)", "strcmp(changes[i].cause, word)"):
    tally.check(faults("adjust/x.c", f"if ({wrong} == 0) {{") != [], f"{wrong} is not seen")
for right in ("strcmp(tip->name, name)", 'strcmp(word, "no-contact")', 'strncmp(schema, "tiptrue.result/", 15)',
              "strcmp(value->text, kind)"):
    tally.check(faults("adjust/x.c", f"if ({right} == 0) {{") == [], f"{right} is told")
tally.close()
