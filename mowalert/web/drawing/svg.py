"""Elements of a drawing, and numbers as short as a path can have them."""

import xml.etree.ElementTree as ET
from collections.abc import Iterable, Sequence
from zlib import crc32

from mowalert.web.drawing.letters import LETTERS, legal
from mowalert.web.drawing.words import DrawingWords

WIDE = 320.0
"""Width of every drawing in its own units."""
Point = tuple[float, float]


def document(
    name: str, height: float, title: str, said: str, parts: Iterable[ET.Element], words: DrawingWords
) -> str:
    """Write a drawing out: its name, its title and what it says in sentences, then its parts."""
    root = element(
        "svg",
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(WIDE)} {number(height)}",
        class_="drawing",
        role="img",
        aria_labelledby=f"{name}-title {name}-desc",
        lang=words.language,
        fill="currentColor",
        font_size=LETTERS,
        font_family="Georgia, 'Times New Roman', serif",
    )
    root.append(_worded("title", legal(title), id=f"{name}-title"))
    root.append(_worded("desc", legal(said), id=f"{name}-desc"))
    root.extend(parts)
    return ET.tostring(root, encoding="unicode")


def name_of(kind: str, shown: object) -> str:
    """Name a drawing by what it shows: names stay unlike on a page with several, and never change."""
    return f"{kind}-{crc32(repr(shown).encode('utf-8', 'backslashreplace')):08x}"


def text(
    said: str, x: float, y: float, look: str | None = None, *, anchor: str | None = None, bold: bool = False
) -> ET.Element:
    """Make a text whose letters stand on a point."""
    weight = "bold" if bold else None
    return _worded("text", said, class_=look, x=x, y=y, text_anchor=anchor, font_weight=weight)


def line(
    x1: float, y1: float, x2: float, y2: float, *, class_: str, width: float = 1.0, dashes: str | None = None
) -> ET.Element:
    """Make a straight line."""
    ends: dict[str, float] = {"x1": x1, "y1": y1, "x2": x2, "y2": y2}
    return element(
        "line", class_=class_, stroke="currentColor", stroke_width=width, stroke_dasharray=dashes, **ends
    )


def path(class_: str, d: str, **more: str | float) -> ET.Element:
    """Make a line along a path."""
    return element("path", class_=class_, d=d, fill="none", stroke="currentColor", **more)


def shape(class_: str, d: str, **more: str | float) -> ET.Element:
    """Make what a path goes round, filled."""
    return element("path", class_=class_, d=d, **more)


def hatch(name: str, apart: float, look: str, tone: float = 0.0, *, turn: int = 45) -> ET.Element:
    """Make something to fill with: a tone, and on it lines that slant."""
    units, turned = "userSpaceOnUse", f"rotate({turn})"
    pattern = element(
        "pattern", id=name, width=apart, height=apart, patternUnits=units, patternTransform=turned
    )
    if tone:
        tones = {"width": apart, "height": apart, "fill_opacity": tone}
        pattern.append(element("rect", class_="tone", **tones))
    lines = {"lines": f"M0 0V{number(apart)}", "crossed": f"M0 0V{number(apart)}M0 0H{number(apart)}"}
    if look in lines:
        pattern.append(path("hatch", lines[look]))
    return pattern


def through(points: Sequence[Point]) -> str:
    """Return the path through points."""
    return "M" + "L".join(pair(x, y) for x, y in points)


def clamped(value: float, least: float, most: float) -> float:
    """Keep a number within bounds."""
    return max(least, min(most, value))


def _worded(tag: str, said: str, **attributes: str | float | None) -> ET.Element:
    worded = element(tag, **attributes)
    worded.text = said
    return worded


def element(tag: str, **attributes: str | float | None) -> ET.Element:
    """Make an element; an underscore stands for the hyphen, and ends what Python keeps for itself."""
    given = {name.rstrip("_").replace("_", "-"): value for name, value in attributes.items()}
    return ET.Element(tag, {name: _written_out(value) for name, value in given.items() if value is not None})


def _written_out(value: str | float) -> str:
    return value if isinstance(value, str) else number(value)


def pair(x: float, y: float) -> str:
    """Write a point."""
    return f"{number(x)} {number(y)}"


def number(value: float) -> str:
    """Write a number to a tenth of a unit, as short as it gets; tones need the hundredth."""
    digits = 1 if abs(value) >= 1 else 2
    written = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if written in ("-0", "") else written
