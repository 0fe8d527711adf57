# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""How far apart two colours look, for each kind of colour vision.

The simulation is that of G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291,
severity 1.0 (matrices from memory), on linear light; the difference is CIEDE2000 (ISO/CIE 11664-6), checked against pairs of
G. Sharma, W. Wu, E. N. Dalal, Color Res. Appl. 30 (2005) 21, table 1."""
from math import atan2, cos, degrees, exp, hypot, radians, sin, sqrt

KINDS = {
    "normal": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}
TO_XYZ = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))  # IEC 61966-2-1
WHITE = (0.9505, 1.0, 1.089)


def times(matrix, vector):
    return [sum(m * v for m, v in zip(row, vector)) for row in matrix]


def lab(colour, kind):
    values = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)] if len(colour) == 7 else [int(c, 16) / 15 for c in colour[1:]]
    light = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in values]
    seen = [min(max(v, 0), 1) for v in times(KINDS[kind], light)]
    f = [v ** (1 / 3) if v > 0.008856 else 7.787 * v + 16 / 116 for v in (x / w for x, w in zip(times(TO_XYZ, seen), WHITE))]
    return 116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])


def ciede2000(one, two):
    (l1, a1, b1), (l2, a2, b2) = one, two
    mean = (hypot(a1, b1) + hypot(a2, b2)) / 2
    g = 1.5 - 0.5 * sqrt(mean ** 7 / (mean ** 7 + 25 ** 7))
    c1, c2 = hypot(a1 * g, b1), hypot(a2 * g, b2)
    h1, h2 = (degrees(atan2(b, a * g)) % 360 for a, b in ((a1, b1), (a2, b2)))
    turn = (h2 - h1 + 180) % 360 - 180 if c1 * c2 > 0 else 0
    dh = 2 * sqrt(c1 * c2) * sin(radians(turn / 2))
    lm, cm = (l1 + l2) / 2, (c1 + c2) / 2
    hm = h1 + h2 if c1 * c2 == 0 else (h1 + turn / 2) % 360
    t = (1 - 0.17 * cos(radians(hm - 30)) + 0.24 * cos(radians(2 * hm)) + 0.32 * cos(radians(3 * hm + 6))
         - 0.2 * cos(radians(4 * hm - 63)))
    sl, sc, sh = 1 + 0.015 * (lm - 50) ** 2 / sqrt(20 + (lm - 50) ** 2), 1 + 0.045 * cm, 1 + 0.015 * cm * t
    rt = -sin(radians(60 * exp(-(((hm - 275) / 25) ** 2)))) * 2 * sqrt(cm ** 7 / (cm ** 7 + 25 ** 7))
    x, y, z = (l2 - l1) / sl, (c2 - c1) / sc, dh / sh
    return sqrt(x * x + y * y + z * z + rt * y * z)


# Sharma's pairs 1, 7 and 25
for first, second, apart in (((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425), ((50, 0, 0), (50, -1, 2), 2.3669),
                             ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644)):
    if abs(ciede2000(first, second) - apart) > 1e-4:
        raise ValueError(f"CIEDE2000 of {first} and {second} is {ciede2000(first, second)}, published is {apart}")


def difference(one, two, kind):
    return ciede2000(lab(one, kind), lab(two, kind))
