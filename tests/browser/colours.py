"""Colour science for tests of the pages: relative luminance, contrast, what people with a colour deficiency see, distance.

Sources: Web Content Accessibility Guidelines 2.2 (relative luminance, contrast ratio). IEC 61966-2-1 (sRGB). Vienot, Brettel and
Mollon, "Digital video colourmaps for checking the legibility of displays by dichromats", Color Research and Application 24 (1999):
the cone matrix and the two planes. Machado, Oliveira and Fernandes, "A physiologically-based model for simulation of color vision
deficiency", IEEE Transactions on Visualization and Computer Graphics 15 (2009): the matrices at full severity. CIE 142 / ISO/CIE
11664-6 (the CIEDE2000 distance).
"""
import math


def channels(colour):
    """"#rrggbb" -> linear red, green, blue, each 0 to 1."""
    values = [int(colour.lstrip("#")[at:at + 2], 16) / 255 for at in (0, 2, 4)]
    return [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in values]


def luminance(linear):
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    high, low = sorted((luminance(channels(one)), luminance(channels(other))), reverse=True)
    return (high + 0.05) / (low + 0.05)


def times(matrix, vector):
    return [sum(factor * part for factor, part in zip(row, vector)) for row in matrix]


def inverse(m):
    (a, b, c), (d, e, f), (g, h, i) = m
    whole = a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
    return [[(e * i - f * h) / whole, (c * h - b * i) / whole, (b * f - c * e) / whole],
            [(f * g - d * i) / whole, (a * i - c * g) / whole, (c * d - a * f) / whole],
            [(d * h - e * g) / whole, (b * g - a * h) / whole, (a * e - b * d) / whole]]


CONES = [[17.8824, 43.5161, 4.11935], [3.45565, 27.1554, 3.86714], [0.0299566, 0.184309, 1.46709]]
VIENOT = {"protanopia": [[0, 2.02344, -2.52581], [0, 1, 0], [0, 0, 1]], "deuteranopia": [[1, 0, 0], [0.494207, 0, 1.24827], [0, 0, 1]]}
MACHADO = {"protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
           "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
           "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]}


def as_seen():
    """name -> a function of linear red, green, blue."""
    held = lambda linear: [min(1, max(0, value)) for value in linear]
    seen = {"all cones": lambda linear: linear}
    for name, plane in VIENOT.items():
        seen[f"{name} (Vienot)"] = lambda linear, plane=plane: held(times(inverse(CONES), times(plane, times(CONES, linear))))
    for name, matrix in MACHADO.items():
        seen[f"{name} (Machado)"] = lambda linear, matrix=matrix: held(times(matrix, linear))
    return seen


def lab(linear):
    """CIE 1976 L*a*b* under D65 (matrix of IEC 61966-2-1)."""
    xyz = times([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]], linear)
    root = lambda t: t ** (1 / 3) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29
    x, y, z = (root(part / white) for part, white in zip(xyz, (0.9505, 1, 1.089)))
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def distance(one, other):
    """CIEDE2000 of two L*a*b* colours."""
    (l1, a1, b1), (l2, a2, b2) = one, other
    mean_chroma = (math.hypot(a1, b1) + math.hypot(a2, b2)) / 2
    g = (1 - math.sqrt(mean_chroma ** 7 / (mean_chroma ** 7 + 25 ** 7))) / 2
    a1, a2 = a1 * (1 + g), a2 * (1 + g)
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)
    h1, h2 = math.degrees(math.atan2(b1, a1)) % 360, math.degrees(math.atan2(b2, a2)) % 360
    grey = c1 * c2 == 0
    turn = 0 if grey else (h2 - h1 + 180) % 360 - 180
    dl, dc, dh = l2 - l1, c2 - c1, 2 * math.sqrt(c1 * c2) * math.sin(math.radians(turn / 2))
    ml, mc = (l1 + l2) / 2, (c1 + c2) / 2
    mh = h1 + h2 if grey else (h1 + turn / 2) % 360
    t = (1 - 0.17 * math.cos(math.radians(mh - 30)) + 0.24 * math.cos(math.radians(2 * mh)) + 0.32 * math.cos(math.radians(3 * mh + 6))
         - 0.20 * math.cos(math.radians(4 * mh - 63)))
    sl, sc, sh = 1 + 0.015 * (ml - 50) ** 2 / math.sqrt(20 + (ml - 50) ** 2), 1 + 0.045 * mc, 1 + 0.015 * mc * t
    rt = -math.sin(math.radians(60 * math.exp(-((mh - 275) / 25) ** 2))) * 2 * math.sqrt(mc ** 7 / (mc ** 7 + 25 ** 7))
    return math.sqrt((dl / sl) ** 2 + (dc / sc) ** 2 + (dh / sh) ** 2 + rt * (dc / sc) * (dh / sh))
