# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Are the tests worth their name? Plants faults in src, one at a time; asks the tests that reach the place.

    make mutation [FAULTS=400] [SEED=1] [ROOMS="adjust history/store"] [TESTS=...] [MOST=50] [AGAIN=a log of before]

A fault is one change at a place drawn by the seed: a comparison negated, + for -, a constant
times 1.01, a statement left out, two arguments exchanged, sin for cos. What does not compile, or
compiles to the same machine code, is no fault and another is drawn. The library is linked as a
shared one, so that only the changed file is compiled and nothing else linked, but the few tests
through which requests for memory pass.

Every test of make check runs once with gcov, which tells the lines that it reaches. A fault is
shown to the tests that reach its line: first those of the unit tests' folder of its room, the
regression test and those that found the most in that file, the quick ones before the slow ones, until one fails or
MOST seconds are spent; one that hangs has found it. Tests slower than SLOW seconds take no part. All is done in the build's
folder `mutation`; no source is touched. Survivors are listed; known.txt beside this file holds
those that cannot matter, with the reason, and these are not counted. AGAIN shows the survivors of
a log once more, where the source has them still.
"""
import argparse
import collections
import hashlib
import json
import os
import pathlib
import random
import re
import resource
import shlex
import shutil
import subprocess
import sys
import time

TOP = pathlib.Path(os.environ["srcdir"]).resolve()
WORK = pathlib.Path(os.environ["builddir"], "mutation")
CC = shlex.split(os.environ["CC"])
# an exchange that is not the types' is no fault
FLAGS = shlex.split(os.environ["TEST_CPPFLAGS"]) + [
    "-std=c11",
    "-ffp-contract=off",
    "-O2",
    "-fPIC",
    "-Werror=int-conversion",
    "-Werror=incompatible-pointer-types",
    "-Werror=format",
    "-Werror=discarded-qualifiers",
    "-I" + os.environ["builddir"],
]
# lines that are reached, not how often: a count that another thread's overwrites is above nothing all the same
COUNTED = ["-w", "-O1", "-fno-early-inlining", "--coverage", "-fprofile-update=single"]
LIBS = shlex.split(os.environ["MUTATION_LIBS"])
TESTS = os.environ["MUTATION_TESTS"].split()
KNOWN = pathlib.Path(__file__).with_name("known.txt")
SHARED_HELPERS = ["tests/unit/adjust/scene.c", "tests/unit/adjust/scene_files.c"]
PROGRAMS = ["tests/history/fill_history"]
# tests through which requests for memory pass: these hold the library themselves
WRAPPED = re.compile(r"tests/fault/(?:\w+_)?memory_test")
WRAP = "-Wl,--wrap=malloc,--wrap=calloc,--wrap=realloc,--wrap=tt_arena_get"
# processor time with gcov, s, twice as much as without: of a test that takes part, and of all that are shown one fault
SLOW = 20.0
MOST = float(os.environ.get("MOST", 50))

HIDDEN = re.compile(
    r"""/\*.*?\*/|//[^\n]*|"(?:[^"\\\n]|\\.)*"|'(?:[^'\\\n]|\\.)*'|^[ \t]*\#[ \t]*(?:include|if|elif|ifdef|ifndef)[^\n]*""",
    re.S | re.M,
)
NEGATED = {"<": ">=", ">": "<=", "<=": ">", ">=": "<", "==": "!=", "!=": "=="}
SIGNS = {" + ": " - ", " - ": " + ", " += ": " -= ", " -= ": " += "}
STATEMENT = re.compile(
    r"^[ ]+(?!assert\b|return\b|break\b|continue\b|else\b|case\b|goto\b|struct\b|const\b|size_t\b|double\b|bool\b|int\b|char\b|"
    r"enum\b|unsigned\b|static\b)[*\w(][^\n{}]*;$",
    re.M,
)
GIVES_BACK = re.compile(r"\b(?:free|\w+_(?:free|clear)|Free\w+)\(")
# of two texts that are compared for being the same either comes first
SYMMETRIC = re.compile(r"(?:strcmp|memcmp)\([^;{]*?\) [!=]= 0")
SHOWN = re.compile(r" *\d+ SURVIVED (\S+):\d+ \| (\w+) \| (.*?) -> (.*?) \| (.*)")


def masked(text):
    """@text with comments, strings and directives blanked, each at its place."""
    return HIDDEN.sub(lambda m: re.sub(r"[^\n]", " ", m.group()), text)


def pairs_of_arguments(code):
    """(start, end, start, end) of two neighbouring arguments of a call."""
    # of fmax, fmin, hypot and a scalar product an exchange means the same
    for call in re.finditer(r"\b(?!if\b|for\b|while\b|switch\b|return\b|sizeof\b|fmax\b|fmin\b|hypot\b|dot\b)\w+\(", code):
        if re.search(r"^[\w*].*$", code[code.rfind("\n", 0, call.start()) + 1 : call.start() + 1]):
            continue  # a head at the first column: a declaration
        if SYMMETRIC.match(code, call.start()):
            continue
        depth, cuts, at = 1, [call.end()], call.end()
        while at < len(code) and depth and code[at] not in ";{":
            depth += (code[at] in "([") - (code[at] in ")]")
            if depth == 1 and code[at] == ",":
                cuts.append(at + 1)
            at += 1
        cuts.append(at)
        for a, b, c in zip(cuts, cuts[1:], cuts[2:]):
            yield a, b - 1, b, c - 1


def faults_of(text):
    """(kind, start, end, replacement) of every fault that could be planted in @text."""
    code = masked(text)
    for m in re.finditer(r"(?<=[\w)\]] )(?:<=|>=|==|!=|<|>)(?= )", code):
        yield "comparison", m.start(), m.end(), NEGATED[m.group()]
    for m in re.finditer(r" (?:\+|-|\+=|-=) ", code):
        yield "sign", m.start(), m.end(), SIGNS[m.group()]
    for m in re.finditer(r"(?<![\w.])(?:\d+\.\d*(?:e[+-]?\d+)?|\d+e[+-]?\d+)(?![\w.])", code):
        if float(m.group()) != 0:
            yield "constant", m.start(), m.end(), repr(float(m.group()) * 1.01)
    for m in STATEMENT.finditer(code):
        whole = text[m.start() : m.end()]
        # what does not give memory back is found by the build with sanitizers
        if whole.count("(") == whole.count(")") and not GIVES_BACK.search(whole):
            before = code[: m.start()].rstrip()
            if before.endswith((";", "{", "}", ":")):
                yield "statement", m.start(), m.end(), ";"
    for a, b, c, d in pairs_of_arguments(code):
        first, second = text[a:b].strip(), text[c:d].strip()
        if first != second:
            yield "arguments", a, d, f"{second}, {first}"
    for m in re.finditer(r"\b(sin|cos)\(", code):
        yield "sine", m.start(1), m.end(1), "cos" if m.group(1) == "sin" else "sin"


def digest_of(paths):
    whole = hashlib.sha256()
    for path in paths:
        whole.update(path.read_bytes())
    return whole.hexdigest()


def room_of(path):
    """history/store and history/series are rooms, as each folder of src is."""
    parts = path.relative_to(TOP / "src").parts
    return "/".join(parts[:2]) if parts[0] == "history" else parts[0]


class Fault:
    """One change of one file; how it is shown is how a log or known.txt names it."""

    def __init__(self, source, kind, start, end, new):
        self.source, self.kind, self.new = source, kind, new
        text = source.read_text()
        self.text = text[:start] + new + text[end:]
        self.line = text.count("\n", 0, start) + 1 + (text[start] == "\n")
        self.last = text.count("\n", 0, end) + 1
        self.shown = text.split("\n")[self.line - 1].strip()
        self.file = str(source.relative_to(TOP))
        self.change = f"{' '.join(text[start:end].split())} -> {' '.join(new.split())}"


class House:
    """The objects, the shared library, the program and the tests, built once and mended after each fault."""

    def __init__(self, folder, extra):
        self.folder, self.extra = folder, extra
        (folder / "o").mkdir(parents=True, exist_ok=True)
        self.sources = sorted((TOP / "src").rglob("*.c"))
        self.library = folder / "libmutant.so"
        self.program = folder / "tiptrue"
        self.mutant = folder / "mutant.o"

    def object_of(self, source):
        return self.folder / "o" / (str(source.relative_to(TOP)).replace("/", "__") + ".o")

    def compile(self, source, target, text):
        """Whether @text in the place of @source compiles; the object @target is written."""
        # -x c -: the text; the digest of the object does not depend on where it lies
        given = [source] if self.extra else ["-x", "c", "-"]
        result = subprocess.run(
            [*CC, *FLAGS, *self.extra, f"-I{source.parent}", "-c", *given, "-o", target],
            stderr=subprocess.DEVNULL,
            input=None if self.extra else text.encode(),
        )
        return result.returncode == 0

    def objects(self, of_program, source=None):
        """Those of the program or the library, the mutant in the place of @source."""
        return [
            self.mutant if s == source else self.object_of(s)
            for s in self.sources
            if (room_of(s) == "cli") == of_program
        ]

    def link(self, source=None):
        """The library, and the program if it holds @source, with the mutant in its place; or both as they are."""
        library = self.objects(False, source)
        commands = [["-shared", "-Wl,-soname,libmutant.so", "-o", self.library, *library]]
        if source is None or room_of(source) == "cli":
            commands.append(
                ["-o", self.program, *self.objects(True, source), self.library, f"-Wl,-rpath,{self.folder}"]
            )
        return all(
            subprocess.run([*CC, *self.extra, *c, *LIBS]).returncode == 0 for c in commands
        )

    def build(self):
        """Compiles what changed since the last time."""
        flags = repr([CC, FLAGS, self.extra]) + digest_of(sorted((TOP / "src").rglob("*.h")))
        for source in self.sources:
            key = flags + digest_of([source])
            note = self.object_of(source).with_suffix(".key")
            if note.exists() and note.read_text() == key:
                continue
            if not self.compile(source, self.object_of(source), source.read_text()):
                sys.exit(f"{source} does not compile")
            note.write_text(key)
        if not self.link():
            sys.exit("the library does not link")

    def is_same(self, source):
        return self.mutant.read_bytes() == self.object_of(source).read_bytes()


def build_test(test, house, mutated=None):
    """A unit test or another program of the tests, beside the library of @house; or with its objects, of @mutated the mutant."""
    source, binary = TOP / f"{test}.c", WORK / test
    binary.parent.mkdir(parents=True, exist_ok=True)
    library = [house.library, f"-Wl,-rpath,{WORK}"]
    if WRAPPED.fullmatch(test):
        library = [*house.objects(False, mutated), WRAP, *house.extra]
    return (
        subprocess.run(
            [*CC, *FLAGS, f"-I{TOP}/tests/unit", source, *(WORK / h for h in ("scene.o", "scene_files.o")), *library]
            + [*LIBS, "-o", binary],
            stderr=subprocess.DEVNULL,
        ).returncode
        == 0
    )


def command(test):
    path = TOP / test
    if path.suffix == ".sh":
        return ["sh", str(path)]
    return [os.environ["PYTHON"], str(path)] if path.suffix == ".py" else ["./" + test]


def bound(seconds):
    """Bounds this process's memory, and its processor time by @seconds: a test that hangs ends early on a busy machine too."""
    resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))
    resource.setrlimit(resource.RLIMIT_CPU, (int(seconds) + 1, int(seconds) + 2))


def run(test, seconds, house, counts=None):
    """Whether @test passes within @seconds of processor time; gcov's counts go to the folder @counts."""
    patience = 4 * seconds + 20
    environment = dict(
        os.environ,
        TIPTRUE=str(house.program),
        LD_LIBRARY_PATH=str(house.folder),
        srcdir=str(TOP),
        builddir=str(WORK),
        HOME=str(WORK / "home"),
        TMPDIR=str(WORK / "tmp"),
        CK_DEFAULT_TIMEOUT=str(int(patience)),
    )
    if counts:
        environment.update(GCOV_PREFIX=str(counts), GCOV_PREFIX_STRIP=str(len(house.folder.parts)))
    for folder in ("home", "tmp"):
        shutil.rmtree(WORK / folder, ignore_errors=True)
        (WORK / folder).mkdir()
    process = subprocess.Popen(
        command(test),
        cwd=WORK,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
        preexec_fn=lambda: bound(seconds),
    )
    try:
        return process.wait(patience) == 0
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, 9)
        process.wait()
        return False


def processor_s():
    """Processor time of all tests so far, s."""
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    return spent.ru_utime + spent.ru_stime


class Reach:
    """Which tests there are, how long each takes and which lines it reaches."""

    def __init__(self, house):
        self.counted = House(WORK / "counted", COUNTED)
        self.took = {}
        self.lines = {}
        self.shown_s = 0.0
        self.memory = WORK / "found.json"
        self.found = collections.Counter(json.loads(self.memory.read_text()) if self.memory.exists() else {})
        self.measure(house)

    def remember(self, test, fault):
        """That @test found @fault, in runs to come too: what found the most is asked first."""
        self.found[f"{test} {fault.file}"] += 1
        self.found[f"{test} {room_of(fault.source)}"] += 1
        self.memory.write_text(json.dumps(self.found, indent=0))

    def measure(self, house):
        """Runs each test with gcov; what was measured on the same sources before is taken from there."""
        headers = sorted((TOP / "src").rglob("*.h"))
        self.source = digest_of(house.sources + headers)
        note = WORK / "reach.json"
        before = json.loads(note.read_text()) if note.exists() else {}
        same = before.get("source") == self.source
        if not same:
            before = {}
            shutil.rmtree(WORK / "counts", ignore_errors=True)
            self.counted.build()
        for test in TESTS:
            if test.startswith(("tests/style/", "tests/fuzz/", "tests/report/looks", "tests/report/renderers")):
                continue
            path = TOP / (test if "." in pathlib.Path(test).name else f"{test}.c")
            mark = digest_of([path])
            old = before.get("tests", {}).get(test)
            if path.suffix == ".c" and not build_test(test, self.counted if WRAPPED.fullmatch(test) else house):
                print(f"left out: {test} does not build here")
                continue
            if same and old and old[0] == mark:
                self.took[test] = old[1:]
                continue
            counts = WORK / "counts" / test.replace("/", "__")
            shutil.rmtree(counts, ignore_errors=True)
            began = processor_s()
            good = run(test, 2 * SLOW, self.counted, counts)
            self.took[test] = [processor_s() - began, good]
            before.setdefault("tests", {})[test] = [mark, *self.took[test]]
            before["source"] = self.source
            note.write_text(json.dumps(before, indent=0))
        for test, (took, good) in self.took.items():
            if not good or took > SLOW:
                print(f"left out: {test} {'takes %.1f s' % took if good else 'fails without a fault, or is slow'}")
        self.took = {t: s for t, (s, good) in self.took.items() if good and s <= SLOW}

    def lines_of(self, source):
        """test -> lines of @source that it reaches; and the lines that gcov knows, the spans of functions."""
        if source in self.lines:
            return self.lines[source]
        plain = self.counted.object_of(source).with_suffix("")
        reached, known, spans = {}, set(), []
        for test in self.took:
            folder = WORK / "counts" / test.replace("/", "__")
            if not (folder / f"{plain.name}.gcda").exists():
                continue
            notes = folder / f"{plain.name}.gcno"
            if not notes.exists():
                notes.symlink_to(plain.parent / notes.name)
            told = subprocess.run(
                ["gcov", "-t", "-j", folder / f"{plain.name}.gcda"],
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                cwd=folder,
            ).stdout
            lines = set()
            for file in json.loads(told or '{"files": []}')["files"]:
                if pathlib.Path(file["file"]).name != source.name:
                    continue
                known |= {n["line_number"] for n in file["lines"]}
                lines |= {n["line_number"] for n in file["lines"] if n["count"]}
                spans = [(f["start_line"], f["end_line"]) for f in file["functions"]]
            reached[test] = lines
        self.lines[source] = reached, known, spans
        return self.lines[source]

    def tests_for(self, fault):
        """The tests that reach @fault, those most likely to find it soon first."""
        reached, known, spans = self.lines_of(fault.source)
        span = next(((a, b) for a, b in spans if a <= fault.line <= b), None)
        if span:
            wanted = set(range(fault.line, fault.last + 1)) & known
            while not wanted and fault.line - len(wanted) >= span[0]:
                before = [n for n in known if span[0] <= n < fault.line]
                wanted = {max(before, default=span[0])}
            tests = [t for t, lines in reached.items() if lines & wanted]
        elif spans:
            tests = [t for t, lines in reached.items() if lines]
        else:
            tests = list(self.took)  # tables without code
        room = room_of(fault.source)

        def rank(test):
            own = test.startswith((f"tests/unit/{room.split('/')[0]}/", "tests/regression/"))
            likely = 0.2 + own + 4 * self.found[f"{test} {fault.file}"] + self.found[f"{test} {room}"]
            return self.took[test] / likely

        chosen, left = [], MOST
        for test in sorted(tests, key=rank):
            if self.took[test] <= left:
                chosen.append(test)
                left -= self.took[test]
        return chosen


def known_faults():
    """(file, kind, line of the fault) -> why it cannot matter."""
    known = {}
    for line in KNOWN.read_text().split("\n") if KNOWN.exists() else []:
        if line and not line.startswith("#"):
            place, kind, rest = line.split(" | ", 2)
            found, reason = rest.rsplit(" | ", 1)
            known[place, kind, found.strip()] = reason
    return known


def draw(rng, rooms):
    """Faults in random order: the kind first, then one of its places, each at most once."""
    by_kind = collections.defaultdict(list)
    for source in sorted((TOP / "src").rglob("*.c")):
        if not rooms or room_of(source) in rooms or room_of(source).split("/")[0] in rooms:
            for fault in faults_of(source.read_text()):
                by_kind[fault[0]].append((source, *fault))
    for faults in by_kind.values():
        rng.shuffle(faults)
    while by_kind:
        kind = rng.choice(sorted(by_kind))
        yield Fault(*by_kind[kind].pop())
        if not by_kind[kind]:
            del by_kind[kind]


def survivors(log):
    """The faults that survived in @log, where the source has them still."""
    for line in pathlib.Path(log).read_text().split("\n"):
        m = SHOWN.fullmatch(line)
        if not m:
            continue
        source = TOP / m.group(1)
        for fault in faults_of(source.read_text()) if source.exists() else ():
            made = Fault(source, *fault)
            if (made.kind, made.change, made.shown) == (
                m.group(2),
                f"{m.group(3)} -> {m.group(4)}",
                m.group(5),
            ):
                yield made
                break


def plant(house, reach, fault):
    """None if @fault is none; else the test that found it, or "", or "-" where no test reaches it."""
    if not house.compile(fault.source, house.mutant, fault.text) or house.is_same(fault.source):
        return None
    if not house.link(fault.source):
        return "nothing links"
    began = time.monotonic()
    found = "-"
    for test in reach.tests_for(fault):
        found = ""
        if WRAPPED.fullmatch(test) and not build_test(test, house, fault.source):
            continue
        if not run(test, 2 * reach.took[test] + 3, house):
            reach.remember(test, fault)
            found = test
            break
    reach.shown_s += time.monotonic() - began
    if room_of(fault.source) == "cli":
        house.link()
    return found


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--faults", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--again")
    parser.add_argument("rooms", nargs="*", default=[])
    options = parser.parse_args()
    house = House(WORK, [])
    house.build()
    for helper in SHARED_HELPERS:
        subprocess.run(
            [*CC, *FLAGS, f"-I{TOP}/tests/unit", "-c", TOP / helper]
            + ["-o", WORK / pathlib.Path(helper).with_suffix(".o").name],
            check=True,
        )
    for program in PROGRAMS:
        build_test(program, house)
    reach = Reach(house)
    known = known_faults()
    count = collections.defaultdict(lambda: [0, 0])
    faults = (
        survivors(options.again)
        if options.again
        else draw(random.Random(options.seed), options.rooms)
    )
    planted, began = 0, time.monotonic()
    for fault in faults:
        if planted == options.faults:
            break
        if (fault.file, fault.kind, fault.shown) in known:
            continue
        found = plant(house, reach, fault)
        if found is None:
            continue
        planted += 1
        lost = found in ("", "-")
        count[room_of(fault.source)][not lost] += 1
        print(
            f"{planted:4} {'SURVIVED' if lost else 'found   '} {fault.file}:{fault.line} | {fault.kind} | "
            f"{fault.change} | {fault.shown}" + ("" if lost else f" | {found}"),
            flush=True,
        )
        if found == "-":
            print("     (no test reaches it)", flush=True)
    house.link()
    print("\nroom            planted  found")
    for room in sorted(count):
        missed, found = count[room]
        print(f"{room:14} {missed + found:8} {100 * found / (missed + found):5.1f} %")
    found = sum(c[1] for c in count.values())
    print(f"all            {planted:8} {100 * found / max(planted, 1):5.1f} %")
    print(f"\n{time.monotonic() - began:.0f} s, of them {reach.shown_s:.0f} s in tests")


main()
