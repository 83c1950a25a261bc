"""Three lessons: a third of the blade, height and roots, short clippings and long ones."""

import xml.etree.ElementTree as ET
from collections.abc import Sequence

from mowalert.web.drawing import svg
from mowalert.web.drawing.blades import Blade, leaf
from mowalert.web.drawing.letters import fitted, text_width
from mowalert.web.drawing.svg import WIDE, pair
from mowalert.web.drawing.words import DrawingWords

COLUMNS = (72.0, 170.0, 266.0)
"""Middles of three tufts side by side."""
TUFT = (
    (-1.0, 0.94, -1.6), (-0.74, 0.99, -0.4), (-0.5, 0.95, -1.3), (-0.22, 1.0, 0.6), (0.02, 0.96, -0.7),
    (0.3, 0.98, 1.3), (0.56, 1.0, -0.3), (0.8, 0.94, 1.0), (1.0, 0.97, 1.9),
)  # fmt: skip
"""Foot (of half the tuft's width), height (of the tuft's) and lean of each blade."""
ROOTS = (
    (-1.0, 0.78, -7), (-0.6, 0.95, -4), (-0.2, 0.84, 3), (0.2, 1.0, -1), (0.6, 0.88, 5), (1.0, 0.76, 9),
)  # fmt: skip
"""Foot, depth and drift of each root, likewise."""
SWARD = tuple(
    (-68.0 + 8 * place, (0.93, 1.0, 0.94, 0.88, 0.98)[place % 5], (-6, 3, 7, -3, 2, -8, 5)[place % 7])
    for place in range(18)
)
"""Foot from the middle, height and lean of blades in a row, likewise."""
SHORT_CLIPPINGS = (
    (-62, 3, 7, 1), (-48, 20, 5, 5), (-40, 2, 8, 1), (-30, 36, 4, -6), (-22, 10, 6, 3), (-8, 3, 8, -1),
    (-5, 28, 5, 5), (10, 14, 3, 6), (17, 2, 7, 1), (27, 38, 5, -5), (34, 18, 6, 3), (42, 3, 8, 1),
    (56, 24, 4, 6), (60, 4, 7, -1),
)  # fmt: skip
"""Where a clipping begins, from the middle and above the soil, and how far on and up it ends."""
LONG_CLIPPINGS = (
    (-54, 20, 40, 3), (-40, 17, 46, 4), (-4, 18, 42, 2), (12, 20, 42, -2), (-48, 27, 44, 5), (-16, 24, 48, 2),
    (8, 28, 40, -4), (-40, 35, 40, 6), (-10, 32, 44, 5), (10, 37, 34, -7), (-30, 43, 34, 5), (-4, 41, 36, 1),
    (-44, 25, 26, 15), (16, 46, 24, -17), (-20, 49, 30, 2), (-26, 29, 24, 13), (2, 49, 20, -5),
    (-4, 22, 24, 12),
)  # fmt: skip
"""The same of long ones."""


def draw_third(words: DrawingWords) -> str:
    """Draw what a third of the blade is: a cut that comes too early, at the limit, too late.

    Parameters
    ----------
    words : DrawingWords
        The language.

    Returns
    -------
    str
        An ``svg`` element with a title and a description.
    """
    ground, kept = 138.0, 56.0
    label = fitted(words.third_cut, 50)
    parts = [svg.line(4, ground, WIDE - 4, ground, class_="level")]
    # After its cut a blade is 9/10, 2/3 and 1/2 of what it was.
    for x, height in zip(COLUMNS, (kept / 0.9, kept * 1.5, kept * 2.0), strict=True):
        blades = _tuft(x, height)
        stay = (leaf(blade, ground, end=min(1.0, kept / blade.height)) for blade in blades)
        off = (leaf(blade, ground, start=kept / blade.height) for blade in blades if blade.height > kept)
        parts += [svg.shape("leaf", "".join(stay)), svg.path("off", "".join(off))]
    start, y = 8 + text_width(label), ground - kept
    line = svg.line(start, y, WIDE - 4, y, class_="blade-line", dashes="7 4")
    parts += [svg.text(label, 4, y + 4), line]
    parts += _columns_said(ground + 20, COLUMNS, words.third_names, words.third_shares)
    name = svg.name_of("third", words.language)
    return svg.document(name, ground + 44, words.third_title, words.third_desc, parts, words)


def draw_roots(words: DrawingWords) -> str:
    """Draw height and rooting: the taller grass is kept, the deeper its roots.

    Parameters
    ----------
    words : DrawingWords
        The language.

    Returns
    -------
    str
        An ``svg`` element with a title and a description.
    """
    ground = 84.0
    parts = [svg.line(4, ground, WIDE - 4, ground, class_="level")]
    for x, height, depth in zip(COLUMNS, (22.0, 46.0, 74.0), (20.0, 52.0, 92.0), strict=True):
        leaves = (leaf(blade, ground) for blade in _tuft(x, height))
        roots = (_root(x + 20 * foot, ground, depth * deep, drift) for foot, deep, drift in ROOTS)
        parts.append(svg.shape("leaf", "".join(leaves)))
        parts.append(svg.path("root", "".join(roots), stroke_width=1.2, stroke_linecap="round"))
    parts += _columns_said(ground + 112, COLUMNS, words.roots_names, words.roots_depths)
    name = svg.name_of("roots", words.language)
    return svg.document(name, ground + 136, words.roots_title, words.roots_desc, parts, words)


def draw_clippings(words: DrawingWords) -> str:
    """Draw short clippings that sink in between the blades, and long ones that lie and smother.

    Parameters
    ----------
    words : DrawingWords
        The language.

    Returns
    -------
    str
        An ``svg`` element with a title and a description.
    """
    ground, left, right = 96.0, 80.0, 240.0
    standing = [Blade(left + x, 50 * tall, lean) for x, tall, lean in SWARD]
    # Under the row the blades are pressed down; beside it they stand.
    pressed = [
        Blade(right + x, 18 * tall, 2 * lean) if abs(x) < 50 else Blade(right + x, 50 * tall, lean)
        for x, tall, lean in SWARD
    ]
    short = [_clipping(left + x, ground - y, dx, dy) for x, y, dx, dy in SHORT_CLIPPINGS]
    long = [_clipping(right + x, ground - y, dx, dy) for x, y, dx, dy in LONG_CLIPPINGS]
    parts = [
        svg.line(4, ground, 156, ground, class_="level"),
        svg.line(164, ground, WIDE - 4, ground, class_="level"),
        svg.shape("leaf", "".join(leaf(blade, ground) for blade in standing + pressed)),
        svg.path("clipping", "".join(short + long), stroke_width=2.4, stroke_linecap="round"),
        *_columns_said(ground + 20, (left, right), words.clippings_names, words.clippings_fates),
    ]
    name = svg.name_of("clippings", words.language)
    return svg.document(name, ground + 44, words.clippings_title, words.clippings_desc, parts, words)


def _tuft(x: float, height: float) -> list[Blade]:
    # A taller blade hangs over further.
    return [Blade(x + 24 * foot, height * tall, lean * (4 + height / 14)) for foot, tall, lean in TUFT]


def _columns_said(
    y: float, columns: Sequence[float], names: Sequence[str], seconds: Sequence[str]
) -> list[ET.Element]:
    room = 2 * min(columns[0], WIDE - columns[-1], (columns[1] - columns[0]) / 2) - 2
    return [
        label
        for x, name, second in zip(columns, names, seconds, strict=True)
        for label in (
            svg.text(fitted(name, room), x, y, anchor="middle", bold=True),
            svg.text(fitted(second, room), x, y + 16, "quiet", anchor="middle"),
        )
    ]


def _root(foot: float, ground: float, depth: float, drift: float) -> str:
    """Return the path of a root that winds down and has two hairs."""
    end = foot + drift
    bend = foot + drift / 2
    main = (
        f"M{pair(foot, ground)}Q{pair(foot - drift / 2, ground + depth / 4)} "
        f"{pair(bend, ground + depth / 2)}Q{pair(end, ground + depth * 0.75)} {pair(end, ground + depth)}"
    )
    hairs = (
        f"M{pair(bend, ground + depth / 2)}Q{pair(bend + 4, ground + depth * 0.6)} "
        f"{pair(bend + 6, ground + depth * 0.7)}"
        f"M{pair(end, ground + depth * 0.72)}L{pair(end - 5, ground + depth * 0.86)}"
    )
    return main + hairs


def _clipping(x: float, y: float, dx: float, dy: float) -> str:
    """Return the path of a cut piece of leaf: it bows a little, as leaves do."""
    return f"M{pair(x, y)}Q{pair(x + dx / 2, y - dy / 2 - abs(dx) / 8)} {pair(x + dx, y - dy)}"
