# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""A dictionary for the fuzzers: every key and word of the schemas and of the field tables. dictionary.py >words.dict"""
import json
import os
import pathlib
import re

top = pathlib.Path(os.environ.get("srcdir", "."))
words = set()


def collect(schema):
    if isinstance(schema, dict):
        words.update(f'"{key}":' for key in schema.get("properties", {}))
        words.update(f'"{word}"' for word in [*schema.get("enum", []), schema.get("const")] if isinstance(word, str))
        for part in schema.values():
            collect(part)
    elif isinstance(schema, list):
        for part in schema:
            collect(part)


for path in (top / "docs" / "schema").glob("*.json"):
    collect(json.loads(path.read_text(encoding="utf-8")))
sources = [path for room in ("formats", "ingest", "export") for path in (top / "src" / room).glob("*.c")]
for path in sources:
    words.update(re.findall(r'"([a-z_][a-z_.0-9-]{1,20})"', path.read_text(encoding="utf-8")))
words.update(["1e308", "-0", "null", "\\u0000", "(?<x>", "(?#ok-words ", "(@(", "*)", ".offset.x", ":minus", ":inch", "T07:40:00Z"])
for word in sorted(words):
    escaped = word.replace("\\", "\\\\").replace('"', '\\"')
    print(f'"{escaped}"')
