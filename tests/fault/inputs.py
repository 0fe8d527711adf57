# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Every key, column and byte form of every input, changed: each case is one change of one file, made from the schemas, the columns
of the example's own files and the list of forms below, and given to a command that reads the file. Of each is asked:
  the exit status is one of those documented, never a signal, and the answer comes within LIMIT_S;
  a refusal leaves standard output empty, with --json but for one error object (tiptrue.error/1); JSON is strict (RFC 8259, no
    name twice);
  nothing steers a terminal; the folder holds what it held before;
  what the schema does not allow, a key or column that is misspelt or there twice, and text for a number, is refused or told;
  what changes nothing that is meant (order, blanks, line ends, a byte order mark, other spellings of numbers) changes no number;
  what changes a measured number changes the result, or is told.
CASES: how many of all, spread evenly (200, 100 under sanitizers; 0: all). ONLY: of which files. SEED: which. --list: all of
them. Environment: srcdir, TIPTRUE."""
import copy
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time

import jsonschema

sys.path.insert(0, os.path.join(os.environ["srcdir"], "tests"))
from tally import Tally, times  # noqa: E402

top = pathlib.Path(os.environ["srcdir"]).resolve()
program = str(pathlib.Path(os.environ["TIPTRUE"]).resolve())
board, recorded = top / "examples" / "gauge-board", top / "tests" / "field" / "14-controller-log"
tally = Tally()
SANITIZED = b"__asan_" in pathlib.Path(program).read_bytes() or "asan" in os.popen(f"ldd {program}").read()
LIMIT_S = 10 if SANITIZED else 2
ALLOWED = {0, 10, 20, 64, 65, 66, 74, 78}  # docs/formats.md; 70 and 71 are for faults of the program and of memory
STEERS = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]")
PATTERN = r"id=(?<id>\d+) (at )?x=(?<x>\S+) y=(?<y>\S+) z=(?<z>\S+) ok=(?<ok>[01])"
ANY, TOLD, SAME, OTHER = "any", "told", "same", "other"
schemas = {path.name.split(".")[0]: json.loads(path.read_text()) for path in (top / "docs" / "schema").glob("*.json")}
errors = jsonschema.Draft202012Validator(schemas["error"])


# ---- what stands in a schema ----

def resolve(schema, root):
    """@schema without references, and of alternatives the one that is not null."""
    while True:
        if not isinstance(schema, dict):
            return {}
        if "$ref" in schema:
            schema = root["$defs"][schema["$ref"].rsplit("/", 1)[1]]
        elif "anyOf" in schema or "oneOf" in schema and "properties" not in schema:
            parts = schema.get("anyOf", schema.get("oneOf"))
            schema = next(p for p in parts if p.get("type") != "null")
        else:
            return schema


def example(schema, root):
    """A value that @schema allows."""
    schema = resolve(schema, root)
    if "const" in schema:
        return schema["const"]
    if "enum" in schema:
        return schema["enum"][0]
    kind = schema.get("type", "object" if "properties" in schema else "string")
    kind = kind[0] if isinstance(kind, list) else kind
    if kind in ("number", "integer"):
        low, high = schema.get("minimum", schema.get("exclusiveMinimum", 0)), schema.get("maximum", 1e3)
        return round(min(low + 2, high)) if kind == "integer" else min(low + 0.0237, (low + high) / 2)
    if kind == "boolean":
        return True
    if kind == "array":
        return [example(schema.get("items", {}), root) for _ in range(schema.get("minItems", 1))]
    if kind == "object":
        return {key: example(schema["properties"][key], root) for key in schema.get("required", []) if key in schema["properties"]}
    return "2026-03-02T07:40:00Z" if "3339" in schema.get("description", "") else "K1"


def places(value, schema, root, path=()):
    """(path, schema) of every key of @schema in the first object of each array of @value, whether it stands there or not."""
    schema = resolve(schema, root)
    if isinstance(value, list):
        for i, part in enumerate(value[:1]):
            yield from places(part, schema.get("items", {}), root, (*path, i))
    elif isinstance(value, dict):
        for key, inner in schema.get("properties", {}).items():
            yield (*path, key), inner
            yield from places(value.get(key, example(inner, root)), inner, root, (*path, key))


def changed(document, path, change):
    """@document with what stands at @path given to @change(its object, its key)."""
    made = copy.deepcopy(document)
    at = made
    for step in path[:-1]:
        at = at.setdefault(step, {}) if isinstance(at, dict) else at[step]
    change(at, path[-1])
    return made


# ---- changes ----

NESTED = "[" * 200 + "]" * 200
NO_NUMBERS = ["+1", "01", ".5", "1.", "NaN", "-Infinity", "0x10", "1e400", "1,5", NESTED]
FREE = {"note", "operator"}  # words for people
VALUES = [None, True, "x", "", -1, 0, 1e308, -1e-300, [], {}, [1, 2, 3], "\u202e\x1b[31m", "\udce4", 2**70]


def text_of(document):
    return json.dumps(document, ensure_ascii=False).encode("utf-8", "surrogatepass")


def json_cases(document, schema, strict):
    """@strict(path, value, kind): whether @value there, where the schema has @kind, is to be told if it is refused; not all that
    programs write is read."""
    valid = jsonschema.Draft202012Validator(schema)
    for path, inner in places(document, schema, schema):
        name = "/".join(map(str, path))

        def put(value, path=path):
            return changed(document, path, lambda at, key: at.__setitem__(key, value))

        try:
            here = document
            for step in path:
                here = here[step]
        except (KeyError, IndexError, TypeError):
            here = example(inner, schema)
        there = put(here)
        kind = str(resolve(inner, schema).get("type"))
        heard = strict(path, None, kind)
        yield f"{name}: there", text_of(there), ANY
        for value in VALUES:
            made = put(value)
            bad = strict(path, value, kind) and path[-1] not in FREE and not valid.is_valid(made)
            yield f"{name}: {str(value)[:20]!r}", text_of(made), TOLD if bad else ANY
        text = text_of(there).decode("utf-8", "surrogatepass")
        key = json.dumps(path[-1])
        if f"{key}: " in text:
            yield f"{name}: misspelt", text.replace(f"{key}: ", f"{key[:-1]}q\": ", 1).encode(), TOLD if heard else ANY
            yield f"{name}: twice", text.replace(f"{key}: ", f"{key}: {json.dumps(here)}, {key}: ", 1).encode(), TOLD
        if isinstance(here, (int, float)) and not isinstance(here, bool):
            marked = text_of(put("@@")).decode()
            # the digits of a log say how fine its machine reports
            same = SAME if there == document and "observations" not in path else ANY
            plain = repr(float(here))
            finer, spelt = (plain, plain) if "e" in plain else (plain + "00", plain + "e0")
            for form, meant in [(finer, same), (spelt, same), (f'"{here}"', TOLD), *((form, TOLD) for form in NO_NUMBERS)]:
                number = form.startswith('"') and not heard
                yield f"{name}: as {form[:12]}", marked.replace('"@@"', form).encode(), ANY if number else meant


ODD = {"NUL": b"\0", "no UTF-8": b"\xff", "overlong": b"\xc0\xaf", "escape": b"\x1b[2J", "U+202E": b"\xe2\x80\xae"}


def byte_cases(text, is_json):
    """Forms of the whole file."""
    body = text.rstrip(b"\n")
    yield "byte order mark", b"\xef\xbb\xbf" + text, SAME
    yield "CR LF", text.replace(b"\n", b"\r\n"), SAME
    yield "no line end at the end", body, SAME
    yield "blank lines at the end", text + b"\n\n", SAME
    yield "empty", b"", TOLD
    yield "only blanks", b" \n\t\n", TOLD
    yield "UTF-16", text.decode().encode("utf-16"), TOLD
    yield "twice", text + text, TOLD if is_json else ANY
    yield "long line", text + b"# " + b"x" * 3000000 + b"\n", TOLD if is_json else ANY
    for at in range(1, 12):
        cut = len(body) * at // 12
        yield f"cut at {cut}", body[:cut], TOLD if is_json else ANY
        for what, put in ODD.items():
            # within a remark or a note an odd character is not told
            yield f"{what} at {cut}", body[:cut] + put + body[cut:], TOLD if what in ("NUL", "no UTF-8", "overlong") else ANY
    if is_json:
        document = json.loads(text)
        yield "indented", json.dumps(document, indent=3).encode(), SAME
        yield "in another order", json.dumps(document, sort_keys=True).encode(), SAME
        yield "escaped", re.sub(r'"n', r'"\\u006e', json.dumps(document)).encode(), SAME
        yield "comment", b"/* x */" + text, TOLD
        yield "comma at the end", body[:-1] + b",}", TOLD
        yield "single quotes", text.replace(b'"', b"'"), TOLD
        yield "deep", b'{"a":' * 5000 + b"1" + b"}" * 5000, TOLD


NUMBERS = ["nan", "inf", "-", "0x10", "1.2.3", "1e400", "1 2", "--1", "1e", "\u0663", "1_0", "x"]


def table_cases(text, columns, measured):
    """Columns and cells of a table; @columns: those with numbers; @measured: whose numbers the result rests on."""
    lines = text.decode().splitlines()
    head = next(i for i, line in enumerate(lines) if not line.startswith("#"))
    names = lines[head].split(",")
    rows = [line.split(",") for line in lines[head + 1 :]]

    def table(names, rows, separator=",", end="\n"):
        return end.join([*lines[:head], separator.join(names), *(separator.join(row) for row in rows)]).encode() + end.encode()

    def cell(row, column, value):
        made = [list(r) for r in rows]
        made[row][column] = value
        return table(names, made)

    mixed = sorted(range(len(names)), key=lambda i: (i * 5 + 3) % len(names))
    yield "columns in another order", table([names[i] for i in mixed], [[r[i] for i in mixed] for r in rows]), SAME
    yield "semicolons", table(names, rows, ";"), SAME
    yield "tabs", table(names, rows, "\t"), SAME
    yield "quoted", table(names, [[f'"{c}"' for c in r] for r in rows]), SAME
    yield "blanks about", table(names, [[f" {c} " for c in r] for r in rows]), SAME
    commas = [[c.replace(".", ",") if i in columns else c for i, c in enumerate(r)] for r in rows]
    yield "decimal commas", table(names, commas, ";"), SAME
    yield "a column more", table([*names, "colour"], [[*r, "red"] for r in rows]), TOLD
    yield "a cell more", table(names, [*rows[:9], [*rows[9], "1"], *rows[10:]]), TOLD
    yield "a cell less", table(names, [*rows[:9], rows[9][:-2], *rows[10:]]), TOLD
    yield "no head", "\n".join([*lines[:head], *lines[head + 1 :]]).encode(), TOLD
    yield "head twice", "\n".join([*lines[: head + 1], *lines[head:]]).encode(), ANY
    where = [i for i, r in enumerate(rows) if all(r[c] for c in measured)]
    for c, name in enumerate(names):
        kept = [i for i in range(len(names)) if i != c]
        yield f"{name}: left out", table([names[i] for i in kept], [[r[i] for i in kept] for r in rows]), ANY
        yield f"{name}: misspelt", table([n + "q" if i == c else n for i, n in enumerate(names)], rows), TOLD
        yield f"{name}: twice", table([*names, name], [[*r, r[c]] for r in rows]), TOLD
        for at in (where[3], where[-2]):
            yield f"{name}, row {at}: empty", cell(at, c, ""), ANY
            yield f"{name}, row {at}: steering", cell(at, c, "\u202e\x1b[31m"), ANY
            yield f"{name}, row {at}: long", cell(at, c, "9" * 70000), ANY
            yield f"{name}, row {at}: formula", cell(at, c, "=1+1"), TOLD if c in columns else ANY
            for form in NUMBERS if c in columns else []:
                yield f"{name}, row {at}: {form!r}", cell(at, c, form), TOLD
            if c in columns and rows[at][c]:
                value = rows[at][c]
                longer = "-0" + value[1:] if value[0] == "-" else "0" + value
                yield f"{name}, row {at}: 0 at the front", cell(at, c, longer), ANY
                yield f"{name}, row {at}: plus", cell(at, c, "+" + value if value[0] != "-" else value), ANY
                for factor in (-1, 25.4, 1.01) if name in measured_names(names, measured) and float(value) != 0 else ():
                    yield f"{name}, row {at}: times {factor}", cell(at, c, f"{float(value) * factor:.4f}"), OTHER
    for i, line in enumerate(lines[:head]):
        yield f"remark {i}: left out", "\n".join(lines[:i] + lines[i + 1 :]).encode(), ANY
        yield f"remark {i}: twice", "\n".join(lines[: i + 1] + lines[i:]).encode(), ANY
        yield f"remark {i}: empty", "\n".join([*lines[:i], line.split(":")[0] + ":", *lines[i + 1 :]]).encode(), ANY


def measured_names(names, measured):
    return {names[c] for c in measured}


BOMBS = [
    r"(a+)+$", r"(?<x>(\S+\s*)+)y(?<y>\S+)$", "(" * 300 + ")" * 300, r"(?<x>.)(?<x>.)(?<y>.)", r"(?<x>a{65535})(?<y>b)",
    "x" * 100000, r"\C(?<x>.)(?<y>.)", r"(*LIMIT_MATCH=1)(?<x>.)(?<y>.)", "(?C1)(?<x>.)(?<y>.)", "@(" * 5000,
    "@(*.offset.x:.99)", "@(t1.offset.x:1e9)",
]  # fmt: skip


def word_cases(text):
    """A pattern, a template: each piece of it left out, doubled, changed."""
    for at in range(len(text)):
        yield f"without byte {at}", (text[:at] + text[at + 1 :]).encode(), ANY
        yield f"byte {at} twice", (text[: at + 1] + text[at:]).encode(), ANY
        yield f"cut at {at}", text[:at].encode(), ANY
    for bomb in BOMBS:
        yield f"as {bomb[:24]}", bomb.encode(), ANY


# ---- the files, and who reads them ----

def read(command):
    return subprocess.run([program, *command], capture_output=True, check=True, timeout=60).stdout


def make_folder(folder):
    os.chdir(folder)
    os.environ.update(XDG_DATA_HOME=str(folder / "data"), XDG_CONFIG_HOME=str(folder / "config"), TZ="UTC0", LC_ALL="C.UTF-8")
    os.environ.pop("TIPTRUE_MACHINE", None)
    for name in ("plate.json", "machine.json", "run.csv", "board.csv", "bench.conf", "truth.json"):
        shutil.copyfile(board / name, name)
    for name in ("plate.json", "machine.json", "plan.json", "controller.log"):
        shutil.copyfile(recorded / name, "c-" + name)
    pathlib.Path("run.csv").write_text("\n".join(line for i, line in enumerate((board / "run.csv").read_text().splitlines())
                                                 if i < 16 or i % 2 == 0 or line.startswith("sight")) + "\n")  # fmt: skip
    names, *rows = [line.split(",") for line in pathlib.Path("run.csv").read_text().splitlines() if not line.startswith("#")]
    kinds = object_properties(schemas["run"])
    numeric = {key for key in names if "number" in str(kinds[key].get("type"))}
    made = [{n: float(c) if n in numeric else int(c) if n == "contact" else c for n, c in zip(names, row) if c} for row in rows]
    pathlib.Path("run.json").write_text(json.dumps({"schema": "tiptrue.run/1", "machine": "weir-bench", "plate": "cross window",
                                                    "started": "2026-04-14T06:52:04Z", "observations": made}))  # fmt: skip
    outputs = {"plan.json": "plan --json --touches 24", "result.json": "solve --json run.csv",
               "history.json": "history export --history h.db", "history.csv": "history export --csv --history h.db"}  # fmt: skip
    for output, command in outputs.items():
        if "h.db" in command:
            subprocess.run([program, "solve", "--history", "h.db", "run.csv"], capture_output=True, check=False)
        done = subprocess.run([program, *command.split()], capture_output=True, check=False)
        pathlib.Path(output).write_bytes(done.stdout)
    shutil.copyfile(top / "examples" / "correction-table.csv.in", "table.in")
    pathlib.Path("p.txt").write_text(PATTERN)
    return names, numeric


def object_properties(schema):
    return schema["properties"]["observations"]["items"]["properties"]


SOLVE = ["solve", "--json", "--quiet", "--plate", "plate.json", "--machine", "machine.json"]
CONTROLLER = ["solve", "--json", "--plate", "c-plate.json", "--machine", "c-machine.json", "--plan", "c-plan.json"]


def kinds_of(names, numeric):
    """(file, commands, cases) of each kind of input."""
    def document(name):
        return json.loads(pathlib.Path(name).read_text())

    def negative(path, value, kind):
        """A number below 0 where the schema has a larger one; but for what is made from the covariance, and not read. A
        probability may be rounded."""
        least = -1e-9 if path[-1] in ("probability", "prior_share", "p_unchanged") else 0
        return "number" in kind and type(value) in (int, float) and value < least and "u_offset_mm" not in path

    def both(name, schema, strict=lambda path, value, kind: True):
        yield from json_cases(document(name), schemas[schema], strict)
        yield from byte_cases(pathlib.Path(name).read_bytes(), True)

    numbers = [i for i, name in enumerate(names) if name in numeric]
    measured = [names.index(name) for name in ("x", "y")]
    placed = pathlib.Path("board.csv").read_text().splitlines()
    placed_names = next(line for line in placed if not line.startswith("#")).split(",")
    placed_numbers = [i for i, name in enumerate(placed_names) if name not in ("part", "tip")]
    found = [placed_names.index("found_x"), placed_names.index("found_y")]
    def bytes_of(name):
        return byte_cases(pathlib.Path(name).read_bytes(), False)

    run, controller = [[*SOLVE, "run.csv"]], [[*CONTROLLER, "--pattern", PATTERN, "c-controller.log"]]
    placement = [["placement", "--json", "--machine", "machine.json", "board.csv"]]
    export = ["export", "result.json", "--machine", "machine.json", "--force", "age"]
    imported = ["history", "import", "--history", "new.db"]
    of_moves = set(names) - {"x", "y"}  # what a plan's moves have of a log's columns
    yield "plate.json", [*run, ["check", "--json", *SOLVE[3:], "run.csv"]], both("plate.json", "plate")
    yield "machine.json", [*run, ["plan", "--json", *SOLVE[3:], "--touches", "24"]], both("machine.json", "machine")
    yield "run.json", [[*SOLVE, "run.json"]], both("run.json", "run")
    yield "run.csv", run, table_cases(pathlib.Path("run.csv").read_bytes(), numbers, measured)
    yield "run.csv", run, bytes_of("run.csv")
    yield "truth.json", [["simulate", *SOLVE[3:], "--truth", "truth.json", "--plan", "plan.json"]], both("truth.json", "truth")
    yield "c-plan.json", controller, both("c-plan.json", "plan", lambda path, *_: path[0] == "moves" and path[-1] in of_moves)
    yield "c-controller.log", controller, bytes_of("c-controller.log")
    yield "p.txt", [[*CONTROLLER, "--pattern", "@p.txt", "c-controller.log"]], word_cases(PATTERN)
    filled = [[*export, "--template", "table.in", "--rotations", "every:90"]]
    yield "table.in", filled, word_cases(pathlib.Path("table.in").read_text())
    yield "result.json", [["compare", "--json", "result.json", "result.json"], [*imported, "result.json"], export], both(
        "result.json", "result", negative)
    yield "history.json", [[*imported, "history.json"]], both("history.json", "history", negative)
    yield "history.csv", [[*imported, "history.csv"]], bytes_of("history.csv")
    yield "board.csv", placement, table_cases(pathlib.Path("board.csv").read_bytes(), placed_numbers, found)
    yield "board.csv", placement, bytes_of("board.csv")


# ---- the oracle ----

def once(pairs):
    if len({key for key, _ in pairs}) != len(pairs):
        raise ValueError(f"a name twice: {[key for key, _ in pairs]}")
    return dict(pairs)


def no_constant(text):
    raise ValueError(f"{text} is no JSON")


def strict_json(text):
    return [json.loads(line, parse_constant=no_constant, object_pairs_hook=once) for line in text.splitlines()]


def ask(command):
    command = [pathlib.Path(part[1:]).read_bytes() if part.startswith("@") else part for part in command]
    began = time.monotonic()
    done = subprocess.run([program, *command], capture_output=True, check=False, timeout=60, stdin=subprocess.DEVNULL)
    return done, time.monotonic() - began


def numbers_of(out):
    """What was said, without what names the bytes of the inputs."""
    return re.sub(rb'"(id|digest|file)":"[^"]*"|"line":[0-9]+|"rows":\[[0-9, ]*\]|lines? [0-9, -]+', b"", out)


def faults_of(done, seconds, command, meant, whole):
    """What is wrong with this answer; @whole: that to the file as it was."""
    out, err = (text.decode("utf-8", "surrogateescape") for text in (done.stdout, done.stderr))
    refused = done.returncode >= 64
    if done.returncode not in ALLOWED:
        yield "this exit status is not documented"
    if seconds > LIMIT_S:
        yield f"{seconds:.1f} s"
    for what, text in (("output", out.replace("\x7f", "") if "--json" in command else out), ("messages", err)):
        found = STEERS.search(text)
        if found:
            yield f"{found[0]!r} in the {what}: {text[max(0, found.start() - 40) : found.end() + 10]!r}"
    if "--json" in command:
        try:
            documents = strict_json(out)
            # check: an object for each fault (docs/formats.md)
            one = len(documents) == 1 or documents and command[0] == "check"
            if refused and (not one or any(fault for d in documents for fault in errors.iter_errors(d))):
                yield f"no error object: {out[:200]}"
            if not refused and not documents:
                yield "no output"
        except ValueError as fault:
            yield f"no strict JSON: {fault}"
    elif refused and out and command[:2] != ["history", "import"]:  # which goes on, and counts what it took
        yield f"output of a refusal: {out[:100]}"
    if refused and "error: " not in err:
        yield "refused without a message"
    told = refused or "warning: " in err
    if meant == TOLD and not told:
        yield f"nothing is told of it: {err[:200]}"
    if meant == SAME and (done.returncode != whole.returncode or numbers_of(done.stdout) != numbers_of(whole.stdout)):
        yield f"changes the answer, which was {whole.returncode}: {err[:200]}"
    if meant == OTHER and not told and numbers_of(done.stdout) == numbers_of(whole.stdout):
        yield "changes nothing, and nothing is told"


def state():
    return {path: path.read_bytes() for path in sorted(pathlib.Path(".").iterdir()) if path.is_file()}


def put_back(before, now):
    for path in now.keys() - before.keys():
        path.unlink()
    for path in before:
        if now.get(path) != before[path]:
            path.write_bytes(before[path])


def may_write(command, refused):
    """Whether other files than before may be there: what an import or an export was asked for."""
    return not refused and (command[0] == "export" and "--template" not in command or command[:2] == ["history", "import"])


def run_case(name, commands, label, data, meant, wholes):
    path = pathlib.Path(name)
    good = path.read_bytes()
    path.write_bytes(data)
    before = state()
    for command, whole in zip(commands, wholes):
        try:
            done, seconds = ask(command)
        except ValueError:
            continue  # a NUL cannot stand in an argument
        except subprocess.TimeoutExpired:
            tally.check(False, f"{name}, {label}: {command[0]}: no end")
            continue
        expected = meant if command[0] in ("solve", "placement", "simulate") or meant == TOLD and command[0] != "plan" else ANY
        if label == "twice" and command[:2] == ["history", "import"]:
            expected = ANY  # documents one after the other are what it takes
        wrong = list(faults_of(done, seconds, command, expected, whole))
        now = state()
        if now != before:
            different = {str(p) for p in now.keys() ^ before.keys()} | {str(p) for p in before if now.get(p) != before[p]}
            if not may_write(command, done.returncode >= 64):
                wrong.append(f"left other files: {sorted(different)}")
            put_back(before, now)
        tally.check(not wrong, f"{name}, {label}: {' '.join(command[:2])}: exit status {done.returncode}: {'; '.join(wrong)}")
    path.write_bytes(good)


def main():
    most, chance = int(os.environ.get("CASES", times(200, 100))), random.Random(int(os.environ.get("SEED", "1")))
    with tempfile.TemporaryDirectory() as scratch:
        names, numeric = make_folder(pathlib.Path(scratch))
        kinds = [(name, commands, list(cases)) for name, commands, cases in kinds_of(names, numeric)
                 if name in os.environ.get("ONLY", name).split()]
        if "--list" in sys.argv:
            print("\n".join(f"{name}: {label}: {meant}" for name, _, cases in kinds for label, _, meant in cases))
            return
        for name, commands, cases in kinds:
            share = max(8, most // len(kinds))
            wholes = [ask(command)[0] for command in commands]
            for command, whole in zip(commands, wholes):
                tally.check(whole.returncode in (0, 10), f"{name}: {command[0]}: {whole.returncode}: {whole.stderr[:300]}")
            chosen = cases if most == 0 else chance.sample(cases, min(share, len(cases)))
            for label, data, meant in chosen:
                run_case(name, commands, label, data, meant, wholes)
        os.chdir("/")
    tally.close()


main()
