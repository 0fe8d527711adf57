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
# the rooms that find say it in codes: no words for people in what names changes and differences
for name in ("history/series/naming.c", "history/series/compare.c", "history/series/changes.c", "history/series/latest.c",
             "history/series/smooth.c", "history/series/forecast.c", "history/series/predict.c", "adjust/ambiguous.c"):
    code = re.sub(r"/\*.*?\*/", "", (top / name).read_text(encoding="utf-8"), flags=re.S)
    said = [text for text in re.findall(r'"(?:[^"\\\n]|\\.)*"', code) if re.search("[A-Za-z] [a-z]", text)]
    tally.check(said == [], f"{name}: {said}; give a code with values, and say it in output/text")
# the check itself can fail
for wrong in ("strstr(text, word)", "strcmp(line->source, name)", "strncmp(reason->text, other, n)",
              'strcmp(word, "touch repeatability")', "strcmp(tip->reasons[k].text, x)", "strcmp(changes[i].cause, word)"):
    tally.check(faults("adjust/x.c", f"if ({wrong} == 0) {{") != [], f"{wrong} is not seen")
for right in ("strcmp(tip->name, name)", 'strcmp(word, "no-contact")', 'strncmp(schema, "tiptrue.result/", 15)',
              "strcmp(value->text, kind)"):
    tally.check(faults("adjust/x.c", f"if ({right} == 0) {{") == [], f"{right} is told")
tally.close()
