# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""Pages of `tiptrue report` in headless Chromium: no message, no request, no text that overlaps or runs out at a phone's, a
screen's and a large screen's width and in print, nothing that axe-core finds against WCAG 2.2 AA, in light and dark; and the
contrast of palette, which no such tool looks at inside pictures."""
import hashlib
import itertools
import os
import re
import subprocess
import sys
import tarfile
import tempfile

sys.path[:0] = [os.path.join(os.environ["srcdir"], "tests"), os.path.join(os.environ["srcdir"], "tests", "report")]
import runs  # noqa: E402
import vision  # noqa: E402
from browser import Browser  # noqa: E402
from tally import Tally  # noqa: E402

AXE = "axe-core@4.10.3"
AXE_DIGEST = "880970c081707360e64f34cea25ff91892f5bc95675b0776925b9709dd8a68bb"  # SHA-256 of its axe.min.js
WIDTHS = (360, 1024, 2560)
# A4 less the margins of the style sheet, at 96 pixels to the inch
SHEET = (round(182 / 25.4 * 96), round(269 / 25.4 * 96))
tally = Tally()

# Texts of a picture against each other and against its frame; pictures and tables against the page. A text's box is taller than its
# letters, so that boxes may touch: 2 pixels of each side are let go.
FAULTS = """
(() => {
  const faults = [];
  const out = document.documentElement.scrollWidth - window.innerWidth;
  if (out > 0) faults.push('the page is ' + out + ' pixels too wide');
  for (const figure of document.querySelectorAll('figure')) {
    const svg = figure.querySelector('svg'), frame = svg.getBoundingClientRect();
    const box = figure.getBoundingClientRect();
    if (box.right > window.innerWidth + 0.5) faults.push(figure.id + ' runs out of the page');
    const texts = [...svg.querySelectorAll('text')].filter(t => t.textContent.trim() !== '')
      .map(t => ({text: t.textContent, r: t.getBoundingClientRect()}));
    for (const {text, r} of texts)
      if (r.left < frame.left - 1 || r.right > frame.right + 1 || r.top < frame.top - 2 || r.bottom > frame.bottom + 2)
        faults.push(figure.id + ": '" + text + "' runs out of the picture");
    for (let i = 0; i < texts.length; i++)
      for (let k = i + 1; k < texts.length; k++) {
        const a = texts[i].r, b = texts[k].r, w = 0.5, h = 0.16 * a.height;
        if (a.left < b.right - w && b.left < a.right - w && a.top < b.bottom - 2 * h && b.top < a.bottom - 2 * h)
          faults.push(figure.id + ": '" + texts[i].text + "' and '" + texts[k].text + "' overlap");
      }
  }
  for (const e of document.querySelectorAll('main *, header *, footer *')) {
    if (e.closest('svg') === null && e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0 &&
        getComputedStyle(e).display !== 'inline') faults.push(e.tagName + ' "' + e.textContent.slice(0, 40) + '" is too wide');
  }
  return faults;
})()
"""


def axe_source():
    """axe.min.js: named by AXE_CORE, or from this build's folder, where it is fetched once, by npm."""
    path = os.environ.get("AXE_CORE") or os.path.join(os.environ.get("builddir", "."), "axe.min.js")
    if not os.path.exists(path):
        with tempfile.TemporaryDirectory() as folder:
            subprocess.run(["npm", "pack", "--silent", AXE], cwd=folder, check=True, stdout=subprocess.DEVNULL)
            with tarfile.open(os.path.join(folder, os.listdir(folder)[0])) as archive:
                data = archive.extractfile("package/axe.min.js").read()
        with tempfile.NamedTemporaryFile(dir=os.path.dirname(path), delete=False) as file:  # another build may fetch it, too
            file.write(data)
        os.replace(file.name, path)
    with open(path, "rb") as file:
        data = file.read()
    digest = hashlib.sha256(data).hexdigest()
    if digest != AXE_DIGEST:
        raise RuntimeError(f"{path} is not {AXE}: its SHA-256 is {digest}")
    return data.decode()


def quiet(events, what):
    """No message of the console, no request but for the page itself."""
    said = [e["params"] for e in events if e.get("method") in ("Log.entryAdded", "Runtime.consoleAPICalled",
                                                               "Runtime.exceptionThrown")]
    tally.check(not said, f"{what}: the console says {said}")
    asked = [e["params"]["request"]["url"] for e in events if e.get("method") == "Network.requestWillBeSent"]
    asked = [u for u in asked if not u.startswith("data:")]
    tally.check(len(asked) == 1 and asked[0].startswith("file://"), f"{what}: requests {asked}")


class Seen:
    """Pages that were looked at without a fault, by this script: known by their bytes in the file that LOOKED names, if any. The
    same page looks the same, whichever build of the program made it."""
    def __init__(self):
        self.path = os.environ.get("LOOKED")
        self.seen = set()
        self.rules = b""
        for name in (__file__, sys.modules["browser"].__file__):
            with open(name, "rb") as file:
                self.rules += file.read()
        if self.path and os.path.exists(self.path):
            with open(self.path, encoding="ascii") as file:
                self.seen = set(file.read().split())

    def look(self, path, what, judge):
        """Judge the page unless that was done to one like it; keep it in mind if nothing was found."""
        with open(path, "rb") as file:
            digest = hashlib.sha256(self.rules + what.encode() + file.read()).hexdigest()
        bad = tally.failed
        if digest in self.seen:
            tally.check(True, f"{what}: as before")
        else:
            judge()
        if self.path and digest not in self.seen and tally.failed == bad:
            with open(self.path, "a", encoding="ascii") as file:
                file.write(digest + "\n")


def laid_out(browser, path, name):
    for width in WIDTHS:
        quiet(browser.open(path, width=width), f"{name} at {width}")
        faults = browser.evaluate(FAULTS)
        tally.check(not faults, f"{name} at {width}: {faults[:8]}")
        browser.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        faults = [f for f in browser.evaluate(FAULTS) if "too wide" in f]
        tally.check(not faults, f"{name} at {width}, tables open: {faults[:8]}")
    browser.open(path, width=SHEET[0], height=SHEET[1], media="print")
    faults = browser.evaluate(FAULTS)
    tally.check(not faults, f"{name} in print: {faults[:8]}")
    cut = browser.evaluate("[...document.querySelectorAll('figure')].filter(f => f.getBoundingClientRect().height > "
                           f"{SHEET[1]} || getComputedStyle(f).breakInside !== 'avoid').map(f => f.id)")
    tally.check(not cut, f"{name} in print: {cut} are cut by the sheet")


def judged(browser, path, name, axe, dark):
    browser.open(path, dark=dark)
    browser.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    browser.evaluate(axe + ";1")
    found = browser.evaluate("axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa',"
                             " 'best-practice']})"
                             ".then(r => ({bad: r.violations.map(v => v.id + ': ' + v.nodes[0].html.slice(0, 200)),"
                             " good: r.passes.length}))")
    tally.check(not found["bad"], f"{name}, {'dark' if dark else 'light'}: axe finds {found['bad']}")
    tally.check(found["good"] > 15, f"{name}: axe looked at {found['good']} rules only")


def printed(browser, path, folder, sheets, tips):
    """The first sheet holds the verdict and all tips at a glance; each tip has one sheet of its own."""
    browser.open(path, width=SHEET[0], height=SHEET[1], media="print")
    low = browser.evaluate("document.querySelector('main table').getBoundingClientRect().bottom")
    tally.check(0 < low < SHEET[1], f"the table of tips ends at {low} of a sheet of {SHEET[1]}")
    pdf = os.path.join(folder, "sheets.pdf")
    browser.pdf(pdf)
    with open(pdf, "rb") as file:
        n = len(re.findall(rb"/Type\s*/Page\b", file.read()))
    tally.check(n == sheets + tips, f"{tips} tips are printed on {n} sheets, {sheets + tips} expected")


def luminance(colour):
    """Relative luminance (WCAG 2.2, section 6)."""
    colour = "".join(2 * c for c in colour[1:]) if len(colour) == 4 else colour[1:]
    parts = [int(colour[i:i + 2], 16) / 255 for i in (0, 2, 4)]
    parts = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return sum(w * p for w, p in zip((0.2126, 0.7152, 0.0722), parts))


def contrast(a, b):
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


def palette(path):
    with open(path, encoding="utf-8") as file:
        text = file.read()
    schemes = re.findall(r":root\{(--paper:[^}]*)\}", text)
    tally.check(len(schemes) == 2, f"{len(schemes)} palettes, expected light and dark")
    dark = text.count("prefers-color-scheme:dark")
    tally.check(dark == text.count("@media screen and (prefers-color-scheme:dark)") > 0, "dark is for screens only, not for print")
    tally.check(abs(contrast("#777777", "#ffffff") - 4.48) < 0.005, "the contrast of #777 on white is 4.48 (W3C's own example)")
    for scheme in schemes:
        colours = dict(item.split(":") for item in scheme.replace("--", "").split(";"))
        for name, least in {"ink": 7, "soft": 4.5, "blue": 4.5, "ochre": 4.5, "umber": 4.5, "red": 4.5, "green": 4.5}.items():
            ratio = contrast(colours[name], colours["paper"])
            tally.check(ratio >= least, f"{name} {colours[name]} on {colours['paper']}: contrast {ratio:.2f}, asked is {least}")
        pairs = itertools.combinations(("blue", "ochre", "umber", "red", "green", "ink"), 2)
        for (one, other), kind in itertools.product(pairs, vision.KINDS):
            apart = vision.difference(colours[one], colours[other], kind)
            tally.check(apart >= 15, f"{one} and {other} are {apart:.1f} apart for {kind} vision, 15 is asked")


def main(folder):
    pages = {}
    for name in runs.FOLDERS:
        pages[name] = os.path.join(folder, name + ".html")
        runs.report(name, pages[name])
    names = ["<script>" * 4, "W" * 400, "ש" * 30, "a\u202eb", "m" * 40]
    plate, machine, log = runs.invent(os.path.join(folder, "hostile"), 96, tip=names[0], edges=names[1:5], note="W" * 900)
    pages["hostile"] = os.path.join(folder, "hostile.html")
    runs.call("report", "--plate", plate, "--machine", machine, log, "-o", pages["hostile"])
    pages["weeks"] = os.path.join(folder, "weeks.html")
    runs.call("report", "--history", runs.weeks(os.path.join(folder, "weeks"), 60, 37), "-o", pages["weeks"])
    for name in ("15-heights", "16-views"):
        pages[name] = os.path.join(folder, name + ".html")
        runs.report(name, pages[name])
    board = os.path.join(os.environ["srcdir"], "examples", "gauge-board")
    pages["board"] = os.path.join(folder, "board.html")
    runs.call("placement", "--machine", os.path.join(board, "machine.json"), os.path.join(board, "board.csv"),
              "--report", pages["board"])
    for name, units in (("run-above", "inch"), ("run", "um")):
        pages[units] = os.path.join(folder, units + ".html")
        runs.call("report", "--units", units, "--plate", os.path.join(board, "plate.json"), "--machine",
                  os.path.join(board, "machine.json"), os.path.join(board, name + ".csv"), "-o", pages[units])
        pages["board-" + units] = os.path.join(folder, "board-" + units + ".html")
        runs.call("placement", "--units", units, "--machine", os.path.join(board, "machine.json"),
                  os.path.join(board, "board.csv"), "--report", pages["board-" + units])
    pages["weeks-inch"] = os.path.join(folder, "weeks-inch.html")
    runs.call("report", "--units", "inch", "--history", os.path.join(folder, "weeks", "weeks.db"), "-o", pages["weeks-inch"])
    axe = axe_source()
    palette(pages["01-plain"])
    seen = Seen()
    with Browser() as browser:
        for name, path in pages.items():
            seen.look(path, f"{name}, layout", lambda path=path, name=name: laid_out(browser, path, name))
        # two of the run as a whole, one of cautions
        seen.look(pages["11-eight-tips"], "eight tips, sheets", lambda: printed(browser, pages["11-eight-tips"], folder, 3, 8))
        for name in ("02-film", "05-one-direction", "08-moved", "hostile", "weeks", "board"):
            for dark in (False, True):
                seen.look(pages[name], f"{name}, {'dark' if dark else 'light'}",
                          lambda path=pages[name], name=name, dark=dark: judged(browser, path, name, axe, dark))


with tempfile.TemporaryDirectory() as scratch:
    main(scratch)
tally.close()
