"""A map of weather cells, shaded from the least value to the most."""

import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import cos, floor, isfinite, radians

from mowalert.web.drawing import svg
from mowalert.web.drawing.letters import fitted, plain, text_width
from mowalert.web.drawing.svg import WIDE, clamped, number, pair
from mowalert.web.drawing.words import DrawingWords, first_of

MOST_SQUARES = 200
"""More squares than this are drawn together: they would be specks, and the text too long."""
MOST_LABELS = 30
"""More squares than this have a key instead of a value in each."""
MOST_CELLS_SAID = 20
"""Most cells that a description lists."""
LEAST_SIDE, MOST_SIDE = 9.0, 104.0
"""Bounds of a square's side."""
STEP_LOOKS = (
    (6.0, "plain", 0.0), (8.0, "lines", 0.14), (5.0, "lines", 0.27), (5.0, "crossed", 0.4),
    (6.0, "plain", 1.0),
)  # fmt: skip
"""Five steps from light to dark: distance of the lines, how they run, and the tone behind them."""


@dataclass(frozen=True, slots=True)
class DrawnCell:
    """The middle of a weather cell [°], a value, and the value as people say it."""

    latitude_deg: float
    longitude_deg: float
    value: float
    label: str


def draw_cells(cells: Sequence[DrawnCell], *, words: DrawingWords, cell_deg: float = 0.1) -> str:
    """Draw a region's weather cells as squares, shaded in five steps from the least value to the most.

    Degrees of longitude are drawn as narrow as they are in the middle of the region. A region may
    lie across the date line. Where there are more squares than can be told apart, neighbours are
    drawn together by their middle value.

    Parameters
    ----------
    cells : Sequence[DrawnCell]
        Middles of the cells, their values and labels. [°]
    words : DrawingWords
        The language; ``cells_title`` should say what the values are.
    cell_deg : float
        Side of a cell. [°]

    Returns
    -------
    str
        An ``svg`` element with a title and a description that lists the cells.
    """
    known = _unwrapped([_known(cell) for cell in cells if _drawable(cell)])
    squares, side_deg = _together(known, max(0.01, cell_deg))
    name = svg.name_of("cells", known)
    said = " ".join(_cell_sentences(squares, words, together=len(squares) < len(known)))
    if not squares:
        none = svg.text(fitted(words.cells_none, WIDE - 8), WIDE / 2, 24, "quiet", anchor="middle")
        return svg.document(name, 40, words.cells_title, said, [none], words)
    chart = _chart(squares, side_deg)
    labelled = _labels_fit(squares, chart)
    parts = [*_step_hatches(name, chart.width), *_squares(squares, chart, name)]
    parts += _square_labels(squares, chart) if labelled else []
    bottom = chart.bottom + 20
    if not labelled:
        parts += _key(squares, bottom, name, words)
        bottom += 22
    parts += _extent(squares, side_deg, bottom, words)
    return svg.document(name, bottom + 24, words.cells_title, said, parts, words)


@dataclass(frozen=True, slots=True)
class _Chart:
    """How degrees become units of the drawing: equirectangular, true to scale at its middle."""

    west_deg: float
    north_deg: float
    x_per_deg: float
    y_per_deg: float
    left: float
    bottom: float
    width: float
    height: float

    def x(self, longitude_deg: float) -> float:
        """Return the middle of a square, which lies on the drawing as a whole."""
        x = self.left + (longitude_deg - self.west_deg) * self.x_per_deg
        return clamped(x, 4 + self.width / 2, WIDE - 4 - self.width / 2)

    def y(self, latitude_deg: float) -> float:
        y = 4 + (self.north_deg - latitude_deg) * self.y_per_deg
        return clamped(y, 4 + self.height / 2, self.bottom - self.height / 2)


def _drawable(cell: DrawnCell) -> bool:
    return isfinite(cell.latitude_deg) and isfinite(cell.longitude_deg) and isfinite(cell.value)


def _known(cell: DrawnCell) -> DrawnCell:
    return replace(cell, latitude_deg=clamped(cell.latitude_deg, -90, 90), label=plain(cell.label))


def _unwrapped(cells: Sequence[DrawnCell]) -> list[DrawnCell]:
    """Count longitudes from the widest gap on, so that neighbours across the date line stay so."""
    if not cells:
        return []
    around = sorted({cell.longitude_deg % 360 for cell in cells})
    gaps = [around[0] + 360 - around[-1], *(east - west for west, east in pairwise(around))]
    start = around[gaps.index(max(gaps))]
    return [replace(cell, longitude_deg=start + (cell.longitude_deg % 360 - start) % 360) for cell in cells]


def _together(cells: list[DrawnCell], side_deg: float) -> tuple[list[DrawnCell], float]:
    while len(cells) > MOST_SQUARES:
        side_deg *= 2
        groups: dict[tuple[int, int], list[DrawnCell]] = {}
        for cell in cells:
            place = floor(cell.latitude_deg / side_deg), floor(cell.longitude_deg / side_deg)
            groups.setdefault(place, []).append(cell)
        cells = [
            # The middle one, not the mean: its label is then true of it.
            replace(
                sorted(members, key=lambda cell: cell.value)[len(members) // 2],
                latitude_deg=(row + 0.5) * side_deg,
                longitude_deg=(column + 0.5) * side_deg,
            )
            for (row, column), members in groups.items()
        ]
    return cells, side_deg


def _chart(squares: Sequence[DrawnCell], side_deg: float) -> _Chart:
    latitudes = [cell.latitude_deg for cell in squares]
    longitudes = [cell.longitude_deg for cell in squares]
    south, north = min(latitudes) - side_deg / 2, max(latitudes) + side_deg / 2
    west, east = min(longitudes) - side_deg / 2, max(longitudes) + side_deg / 2
    # At the pole a degree of longitude is nothing; a square of no width would not be seen.
    narrow = max(0.05, cos(radians((south + north) / 2)))
    per_deg = min((WIDE - 8) / ((east - west) * narrow), 240 / (north - south), MOST_SIDE / side_deg)
    height = max(LEAST_SIDE, side_deg * per_deg)
    return _Chart(
        west_deg=west,
        north_deg=north,
        x_per_deg=per_deg * narrow,
        y_per_deg=per_deg,
        left=(WIDE - (east - west) * narrow * per_deg) / 2,
        bottom=4 + max(height, (north - south) * per_deg),
        width=max(LEAST_SIDE, side_deg * per_deg * narrow),
        height=height,
    )


def _steps(squares: Sequence[DrawnCell]) -> list[int]:
    """Put each value in one of five steps; equal values are all in the middle one."""
    # Halved first: the span of the widest floats would overflow.
    halves = [cell.value / 2 for cell in squares]
    low, span = min(halves), max(halves) - min(halves)
    return [min(4, int((half - low) / span * 5)) if span > 0 else 2 for half in halves]


def _step_hatches(name: str, side: float) -> list[ET.Element]:
    # In a small square wide hatching would show no line at all.
    finer = clamped(side / 26, 0.6, 1.0)
    return [
        svg.hatch(f"{name}-{step}", apart * finer, look, tone)
        for step, (apart, look, tone) in enumerate(STEP_LOOKS)
    ]


def _squares(squares: Sequence[DrawnCell], chart: _Chart, name: str) -> list[ET.Element]:
    by_step: dict[int, list[str]] = {}
    for cell, step in zip(squares, _steps(squares), strict=True):
        x, y = chart.x(cell.longitude_deg), chart.y(cell.latitude_deg)
        by_step.setdefault(step, []).append(_square(x, y, chart.width, chart.height))
    return [
        svg.element("path", class_="square", d="".join(paths), **_filled(name, step))
        for step, paths in sorted(by_step.items())
    ]


def _square(x: float, y: float, width: float, height: float) -> str:
    # The sides are told from where the pen is: shorter, where there are hundreds.
    return f"M{pair(x - width / 2, y - height / 2)}h{number(width)}v{number(height)}h{number(-width)}Z"


def _filled(name: str, step: int) -> dict[str, str | float]:
    return {"fill": f"url(#{name}-{step})", "stroke": "currentColor", "stroke_width": 0.7}


def _labels_fit(squares: Sequence[DrawnCell], chart: _Chart) -> bool:
    if len(squares) > MOST_LABELS or not all(cell.label for cell in squares):
        return False
    return max(text_width(cell.label) for cell in squares) + 8 <= chart.width and chart.height >= 20


def _square_labels(squares: Sequence[DrawnCell], chart: _Chart) -> Iterator[ET.Element]:
    for cell in squares:
        x, y, wide = chart.x(cell.longitude_deg), chart.y(cell.latitude_deg), text_width(cell.label) + 4
        yield svg.element(
            "rect", class_="plate", x=x - wide / 2, y=y - 8, width=wide, height=16, rx=2, fill="none"
        )
        yield svg.text(cell.label, x, y + 4, anchor="middle")


def _key(squares: Sequence[DrawnCell], y: float, name: str, words: DrawingWords) -> Iterator[ET.Element]:
    least = min(squares, key=lambda cell: cell.value)
    most = max(squares, key=lambda cell: cell.value)
    if least.value == most.value:
        text = fitted(words.cells_all.format(label=most.label), WIDE - 40)
        left = (WIDE - text_width(text) - 20) / 2
        yield _swatch(left, y, name, 2)
        yield svg.text(text, left + 20, y)
        return
    left, right = WIDE / 2 - 30, WIDE / 2 + 30
    for step in range(5):
        yield _swatch(left + 12 * step, y, name, step)
    yield svg.text(fitted(words.cells_least.format(label=least.label), left - 10), left - 6, y, anchor="end")
    yield svg.text(fitted(words.cells_most.format(label=most.label), left - 10), right + 6, y)


def _swatch(x: float, y: float, name: str, step: int) -> ET.Element:
    return svg.element("rect", class_="square", x=x, y=y - 11, width=12, height=14, **_filled(name, step))


def _extent(
    squares: Sequence[DrawnCell], side_deg: float, y: float, words: DrawingWords
) -> Iterator[ET.Element]:
    latitudes = [cell.latitude_deg for cell in squares]
    longitudes = [cell.longitude_deg for cell in squares]
    extent = words.cells_extent.format(
        south=_latitude_said(max(-90.0, min(latitudes) - side_deg / 2), words),
        north=_latitude_said(min(90.0, max(latitudes) + side_deg / 2), words),
        west=_longitude_said(min(longitudes) - side_deg / 2, words),
        east=_longitude_said(max(longitudes) + side_deg / 2, words),
    )
    for row, text in enumerate((extent, words.cells_north)):
        yield svg.text(fitted(text, WIDE - 8), WIDE / 2, y + 16 * row, "quiet", anchor="middle")


def _cell_sentences(squares: Sequence[DrawnCell], words: DrawingWords, *, together: bool) -> Iterator[str]:
    if not squares:
        yield words.cells_none
    if together:
        yield words.cells_together
    # North to south and west to east, as one reads.
    ordered = sorted(squares, key=lambda cell: (-cell.latitude_deg, cell.longitude_deg))
    cells = [
        words.cells_one.format(
            place=f"{_latitude_said(cell.latitude_deg, words)}, {_longitude_said(cell.longitude_deg, words)}",
            label=cell.label,
        )
        for cell in ordered
    ]
    yield from first_of(cells, words, most=MOST_CELLS_SAID)


def _latitude_said(degrees: float, words: DrawingWords) -> str:
    north, south, _, _ = words.compass
    return f"{_degrees_said(degrees, words)} {north if degrees >= 0 else south}"


def _longitude_said(degrees: float, words: DrawingWords) -> str:
    _, _, east, west = words.compass
    around = (degrees + 180) % 360 - 180
    return f"{_degrees_said(around, words)} {east if around >= 0 else west}"


def _degrees_said(degrees: float, words: DrawingWords) -> str:
    return f"{abs(degrees):.2f}".rstrip("0").rstrip(".").replace(".", words.decimal) + "°"
