# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""The pictures of docs/pictures, which are what `report --svg` writes, in renderers that have nothing in common: Chromium's and
librsvg's, and those that are named, such as inkscape (make check-release). They show the same, but for the edges of letters and
lines. And the comparison would see what it is for: a colour that one of them does not understand.

renderers.py [inkscape]. Environment: srcdir.

What is compared are means over squares of SQUARE pixels: a side that two renderers draw half a pixel apart, which is how they
differ, changes the mean of a square that it crosses by at most half a row of pixels of full contrast, 255 / 2 / SQUARE = 16 grey
levels; half as much again is let go. A filled thing in black, or without its fill, is off by its contrast over all its squares,
and a point of three pixels' radius by 33 and more.

2026-11-26: all pictures were black in librsvg, which knows no variables of CSS. 2026-11-27: and in Inkscape 1.2, which takes no
rule like "svg .bg" for what is inside the picture."""
import base64
import glob
import math
import os
import re
import subprocess
import sys
import tempfile

sys.path[:0] = [os.path.join(os.environ["srcdir"], "tests"), os.path.join(os.environ["srcdir"], "tests", "report")]
from browser import Browser  # noqa: E402
from tally import Tally  # noqa: E402

PICTURES = sorted(glob.glob(os.path.join(os.environ["srcdir"], "docs", "pictures", "*.svg")))
SQUARE = 8
MEAN, LARGEST = 1.5, 24.0  # grey levels of 255: over the picture, in one square
RENDERERS = {"librsvg": ["rsvg-convert", "-o", "{png}", "{svg}"],
             "inkscape": ["inkscape", "--export-type=png", "--export-filename={png}", "{svg}"]}  # fmt: skip
tally = Tally()

# Both drawn on white; of each channel the means of squares, and how far apart they are: over all, and most.
COMPARE = """
(async () => {
  const [width, height, square] = [%d, %d, %d];
  const pixels = async source => {
    const image = new Image();
    image.src = source;
    await image.decode();
    const canvas = document.createElement('canvas');
    canvas.width = width; canvas.height = height;
    const pen = canvas.getContext('2d');
    pen.fillStyle = '#fff';
    pen.fillRect(0, 0, width, height);
    pen.drawImage(image, 0, 0);
    return pen.getImageData(0, 0, width, height).data;
  };
  const [a, b] = [await pixels('%s'), await pixels('%s')];
  let sum = 0, most = 0, n = 0, ink = 0;
  for (let top = 0; top + square <= height; top += square)
    for (let left = 0; left + square <= width; left += square)
      for (let channel = 0; channel < 3; channel++) {
        let [of_a, of_b] = [0, 0];
        for (let y = top; y < top + square; y++)
          for (let x = left; x < left + square; x++) {
            const at = 4 * (y * width + x) + channel;
            of_a += a[at]; of_b += b[at];
          }
        const apart = Math.abs(of_a - of_b) / square / square;
        ink += of_a < 250 * square * square;
        sum += apart; n++; most = Math.max(most, apart);
      }
  return [sum / n, most, ink / n];
})()
"""


def source(kind, data):
    return f"data:image/{kind};base64,{base64.b64encode(data).decode()}"


def drawn(renderer, svg, folder):
    """@svg, bytes, as a PNG of @renderer."""
    paths = {"svg": os.path.join(folder, "picture.svg"), "png": os.path.join(folder, "picture.png")}
    with open(paths["svg"], "wb") as file:
        file.write(svg)
    subprocess.run([word.format(**paths) for word in RENDERERS[renderer]], check=True, stdout=subprocess.DEVNULL,
                   stderr=subprocess.DEVNULL)  # fmt: skip
    with open(paths["png"], "rb") as file:
        return file.read()


def apart(browser, svg, png):
    """How far a picture and the PNG of it are apart: mean, most, and the share of squares that are not blank."""
    width, height = (math.ceil(float(size)) for size in re.search(rb'width="([\d.]+)" height="([\d.]+)"', svg).groups())
    return browser.evaluate(COMPARE % (width, height, SQUARE, source("svg+xml", svg), source("png", png)))


def hidden(svg, rule):
    """@svg with the colour of the light scheme's @rule in a variable, as it was once: some renderers do not know what it is."""
    found = re.search(re.escape(rule) + rb"(?:fill|stroke):(#[0-9a-f]{3,6})", svg)
    colour = found.group(1)
    changed = svg[:found.start(1)] + b"var(--hidden)" + svg[found.end(1):]
    return changed.replace(b"<style>", b"<style>:root{--hidden:" + colour + b"}", 1)


def faults(browser, folder):
    """Each filled thing of each picture in a colour that librsvg does not know: seen, every one of them."""
    planted = 0
    for path in PICTURES:
        with open(path, "rb") as file:
            svg = file.read()
        for rule in (b".bg{", b".B{", b".r{", b".u{"):
            if re.search(rb'class="' + rule[1:-1] + rb'"', svg):
                faulty = hidden(svg, rule)
                mean, most, _ = apart(browser, faulty, drawn("librsvg", faulty, folder))
                tally.check(mean > MEAN or most > LARGEST,
                            f"{os.path.basename(path)}: {rule.decode()}}} without its colour is not seen: {mean:.2f}, {most:.1f}")
                planted += 1
    tally.check(planted >= 2 * len(PICTURES) - 3, f"only {planted} faults were planted")


def main(folder):
    with Browser() as browser:
        for renderer in ["librsvg", *sys.argv[1:]]:
            worst = [0, 0]
            for path in PICTURES:
                with open(path, "rb") as file:
                    svg = file.read()
                mean, most, ink = apart(browser, svg, drawn(renderer, svg, folder))
                name = os.path.basename(path)
                print(f"# {renderer}: {name}: mean {mean:.2f}, most {most:.1f}; {100 * ink:.0f} % not blank")
                tally.check(mean <= MEAN and most <= LARGEST, f"{name} in {renderer}: {mean:.2f} and {most:.1f} from Chromium's")
                tally.check(0.05 < ink < 0.95, f"{name}: {100 * ink:.0f} % of it is not blank")
                worst = [max(worst[0], mean), max(worst[1], most)]
            print(f"# {renderer}: at most {worst[0]:.2f} in the mean, {worst[1]:.1f} in a square")
        faults(browser, folder)
    tally.close()


with tempfile.TemporaryDirectory() as scratch:
    main(scratch)
