# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The field tables of src/formats, the schemas and docs/formats.md say the same; schemas of input take what the program takes:
null for what may be left out, and keys that are unknown (a warning). Schemas keep to strict mode. Environment: srcdir, TIPTRUE."""
import copy
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile

import jsonschema

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally  # noqa: E402

top = pathlib.Path(os.environ["srcdir"]).resolve()
program = os.environ["TIPTRUE"]
tally = Tally()
schemas = {path.name.split(".")[0]: json.loads(path.read_text(encoding="utf-8"))
           for path in sorted((top / "docs" / "schema").glob("*.json"))}
board = top / "examples" / "gauge-board"


def tables(name):
    """Table -> {key: required} of src/formats/NAME.c."""
    text = (top / "src" / "formats" / f"{name}.c").read_text(encoding="utf-8")
    found = {}
    for table, body in re.findall(r"static const struct tt_key (\w+)\[\] = \{(.*?)\n\};", text, re.S):
        rows = re.split(r'(?=\b(?:TT_KEY\w*|LENGTH|FEED)\(\s*"|\{(?:\.key = )?")', body)
        found[table] = {re.search(r'"([^"]+)"', row).group(1): "TT_REQUIRED" in row for row in rows if '"' in row}
    return found


def object_of(schema):
    """The object that @schema asks for, beside null and within an array."""
    for part in schema.get("anyOf", []):
        if part.get("type") in ("object", "array"):
            schema = part
    return object_of(schema["items"]) if schema.get("type") == "array" else schema


def expect_same(name, table, schema):
    stated = {key: key in schema.get("required", []) for key in schema["properties"]}
    by_hand = {"schema"}  # required, and read by hand
    found = {key: need or key in by_hand and stated.get(key, False) for key, need in table.items()}
    tally.check(found == stated, f"{name}: src/formats has {found}, docs/schema {stated}")
    missing = [key for key in table if not re.search(rf'[`"]{re.escape(key)}["`]', formats)]
    tally.check(missing == [], f"{name}: docs/formats.md does not name {missing}")


formats = (top / "docs" / "formats.md").read_text(encoding="utf-8")
truth, motion = tables("truth"), tables("motion")
inner = {"pose": "poses", "tip": "tips", "edge": "edges", "group": "groups", "mark": "marks", "touch": "touch",
         "sighting": "sighting", "rotation": "rotation", "moved": "moved", "pad": "pads", "height": "height",
         "camera": "camera", "axes": "axes"}
expect_same("truth", truth["truth"], schemas["truth"])
for table, key in inner.items():
    expect_same(f"truth {key}", truth[table], object_of(schemas["truth"]["properties"][key]))
expect_same("truth shape", truth["shape"], object_of(object_of(schemas["truth"]["properties"]["tips"])["properties"]["shape"]))
of_motion = object_of(schemas["machine"]["properties"]["motion"])
expect_same("motion", motion["motion"], of_motion)
expect_same("motion limits", motion["limits"], object_of(of_motion["properties"]["limits"]))

# a key stands once
for key in ("late_share", "early_depth", "touch_height", "measure_feed"):
    places = [path.name for path in (top / "src").rglob("*.[ch]") for _ in re.findall(f'"{key}"', path.read_text(encoding="utf-8"))]
    tally.check(len(places) == 1, f"'{key}' stands in {places}")


def strict(schema, at):
    """What strict mode does not allow: a required key that is not defined there, a union of types but for null."""
    if isinstance(schema, list):
        return [fault for i, part in enumerate(schema) for fault in strict(part, f"{at}/{i}")]
    if not isinstance(schema, dict):
        return []
    faults = [f"{at}: {key} is required and not defined" for key in schema.get("required", [])
              if isinstance(schema["required"], list) and key not in schema.get("properties", {})]
    types = schema.get("type")
    if isinstance(types, list) and len(set(types) - {"null"}) > 1:
        faults.append(f"{at}: type {types}")
    return faults + [fault for key, part in schema.items() for fault in strict(part, f"{at}/{key}")]


for name, schema in schemas.items():
    tally.check(strict(schema, name) == [], f"docs/schema/{name}: {strict(schema, name)}")
tally.check(strict({"required": ["u"]}, "x") != [], "a required key that is not defined is not seen")


def variants(document, schema, path=()):
    """@document with each optional key null, and with a key that nobody knows, object by object."""
    if isinstance(document, list):
        for i, part in enumerate(document[:1]):
            yield from variants(part, schema, (*path, i))
    elif isinstance(document, dict):
        yield (*path, "nobody_knows"), 17.5
        inner_schema = object_of(schema)
        for key, part in document.items():
            if key not in inner_schema.get("required", []):
                yield (*path, key), None
            of_key = inner_schema.get("properties", {}).get(key, {})
            if isinstance(part, (dict, list)) and "$ref" not in of_key and "properties" in object_of(of_key):
                yield from variants(part, of_key, (*path, key))


def with_value(document, path, value):
    changed = copy.deepcopy(document)
    within = changed
    for step in path[:-1]:
        within = within[step]
    within[path[-1]] = value
    return changed


def accepts(name, document, folder):
    """The program's exit status and what it says of the document."""
    path = pathlib.Path(folder, f"{name}.json")
    path.write_text(json.dumps(document), encoding="utf-8")
    command = [program, "check", f"--{name}", str(path)]
    if name == "truth":
        command = [program, "simulate", "--truth", str(path), "--plate", str(board / "plate.json"),
                   "--machine", str(board / "machine.json")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return done.returncode == 0, done.stderr


# what another part of the document refers to, or a value asks for: no schema sees it
BEYOND = {("plate", ("groups",)), ("truth", ("poses",)), ("truth", ("tips",)), ("truth", ("touch", "late_depth"))}
with tempfile.TemporaryDirectory() as folder:
    for name in ("plate", "machine", "truth"):
        document = json.loads((board / f"{name}.json").read_text(encoding="utf-8"))
        validator = jsonschema.Draft202012Validator(schemas[name])
        for path, value in variants(document, schemas[name]):
            if (name, path) in BEYOND:
                continue
            changed = with_value(document, path, value)
            good, said = accepts(name, changed, folder)
            by_schema = [error.message for error in validator.iter_errors(changed)]
            tally.check(good == (by_schema == []), f"{name}: {path} = {value}: the program takes it: {good} "
                                                   f"({said.strip()[:200]}), the schema says {by_schema[:2]}")
            tally.check(value is None or "nobody_knows" in said, f"{name}: {path}: no warning")
tally.close()
