"""Words beside the lines of a lawn's drawing, each where it covers least."""

import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from mowalert.web.drawing import svg
from mowalert.web.drawing.lawn_plot import NAME_ROW, Plot, doubt_edges, height_points
from mowalert.web.drawing.lawn_view import Hold, LawnView
from mowalert.web.drawing.letters import fitted, text_width
from mowalert.web.drawing.svg import clamped
from mowalert.web.drawing.words import DrawingWords

_Box = tuple[float, float, float, float]


A_HEIGHT = 150
"""Width in which a height is said whole, in any of our languages and units."""
BEFORE = {"start": 0.0, "middle": 0.5, "end": 1.0}
"""Share of a text that stands before its point."""


@dataclass(frozen=True, slots=True)
class HoldName:
    """A hold's name, where its middle stands, and in which row."""

    text: str
    x: float
    row: int


@dataclass(frozen=True, slots=True)
class Place:
    """Where a text may stand: a point at its start, middle or end, and the foot of its letters."""

    x: float
    y: float
    anchor: str = "middle"


@dataclass(frozen=True, slots=True)
class Label:
    """A text, the places it may take, the best first, and its look.

    An ``optional`` one is left out rather than written over another.
    """

    text: str
    places: tuple[Place, ...]
    look: str
    bold: bool = False
    optional: bool = False


def placed_names(holds: Sequence[Hold], plot: Plot) -> list[HoldName]:
    """Give each hold's name a place in one of two rows; a name without room is only told."""
    ends = [0.0, 0.0]
    placed = []
    for hold in holds:
        text = fitted(hold.name, plot.right - plot.left)
        half = text_width(text) / 2
        x = clamped((plot.x(hold.first) + plot.x(hold.last)) / 2, plot.left + half, plot.right - half)
        row = next((row for row in (0, 1) if x - half >= ends[row]), None)
        if row is not None:
            ends[row] = x + half + 6
            placed.append(HoldName(text, x, row))
    return placed


def hold_names(named: Sequence[HoldName]) -> Iterator[ET.Element]:
    """Write the names of holds above their bands."""
    for hold in named:
        yield svg.text(hold.text, hold.x, 15 + NAME_ROW * hold.row, "halo", anchor="middle")


def written(
    labels: Sequence[Label], named: Sequence[HoldName], view: LawnView, plot: Plot
) -> Iterator[ET.Element]:
    """Write each label where it covers least of the words and lines already there."""
    lines = _line_boxes(view, plot)
    words = [_text_box(hold.text, Place(hold.x, 15 + NAME_ROW * hold.row)) for hold in named]
    for label in labels:
        places = [_inside(label.text, place, plot) for place in label.places]
        boxes = [_text_box(label.text, place) for place in places]
        costs = [10 * _met(box, words) + _met(box, lines) for box in boxes]
        best = costs.index(min(costs))
        if not (label.optional and costs[best] >= 10):
            words.append(boxes[best])
            at = places[best]
            yield svg.text(label.text, at.x, at.y, label.look, anchor=at.anchor, bold=label.bold)


def _inside(text: str, place: Place, plot: Plot) -> Place:
    """Move a place so that its text is within the plot; under the ground it would be read as a date."""
    before = text_width(text) * BEFORE[place.anchor]
    x = clamped(place.x, plot.left + before, plot.right - text_width(text) + before)
    return Place(x, clamped(place.y, 14, plot.ground - 4), place.anchor)


def _met(box: _Box, others: Sequence[_Box]) -> int:
    left, top, right, bottom = box
    return sum(
        left < right_ and right > left_ and top < bottom_ and bottom > top_
        for left_, top_, right_, bottom_ in others
    )


def _text_box(text: str, place: Place) -> _Box:
    left = place.x - text_width(text) * BEFORE[place.anchor]
    return left - 1, place.y - 12, left + text_width(text) + 1, place.y + 4


def _line_boxes(view: LawnView, plot: Plot) -> list[_Box]:
    """Cut all that labels should not cover into small boxes: lines, edges of the range, marks."""
    heights = [point for points in height_points(view, plot).values() for point in points]
    upper, lower = doubt_edges(view, plot)
    dots = [
        (x0 + (x1 - x0) * part / 4, y0 + (y1 - y0) * part / 4)
        for line in (heights, upper, lower)
        for (x0, y0), (x1, y1) in pairwise(line)
        for part in range(4)
    ]
    marks = [(plot.x_on(cut.on), plot.y(cut.after_mm)) for cut in view.mowings]
    levels = [plot.y(mm) for mm in (view.chosen_mm, view.limit_mm)]
    return [
        *((x - 1, y - 1, x + 1, y + 1) for x, y in dots),
        *((x - 5, y - 5, x + 5, y + 5) for x, y in marks),
        *((plot.left, y, plot.right, y) for y in levels),
        (plot.x(0), plot.top, plot.x(0), plot.ground),
    ]


def lawn_labels(view: LawnView, plot: Plot, words: DrawingWords) -> Iterator[Label]:
    """Name the cuts, the height of today, the two levels and the range."""
    for cut in view.mowings:
        text = fitted(words.cut_assumed if cut.assumed else words.cut, 90)
        yield Label(text, _about(plot.x_on(cut.on), plot.y(cut.after_mm)), "halo", optional=True)
    yield from _now_label(view, plot, words)
    wide, limit_y, kept_y = plot.right - plot.left, plot.y(view.limit_mm), plot.y(view.chosen_mm)
    limit = fitted(words.limit.format(height=view.limit_text), A_HEIGHT)
    along = [plot.left + 2 + wide * part / 8 for part in range(8)]
    places = (Place(x, y, "start") for y in (limit_y - 5, limit_y + 13) for x in along)
    yield Label(limit, tuple(places), "halo growth")
    kept = fitted(words.kept.format(height=view.chosen_text), A_HEIGHT)
    along = [plot.right - 2 - wide * part / 8 for part in range(8)]
    places = (Place(x, y, "end") for y in (kept_y + 13, kept_y - 5) for x in along)
    yield Label(kept, tuple(places), "halo")
    upper, lower = doubt_edges(view, plot)
    if len(upper) > 1:
        ends = (upper[-1][1] - 6, lower[-1][1] + 14)
        places = (Place(plot.right - 2, y, "end") for y in ends)
        yield Label(fitted(words.doubt, 110), tuple(places), "halo quiet", optional=True)


def _about(x: float, y: float) -> tuple[Place, ...]:
    """Return places about a mark: under it, beside it, above it, further under it."""
    beside = (
        (x + 7, y + 14, "start"),
        (x - 7, y + 14, "end"),
        (x + 7, y - 8, "start"),
        (x - 7, y - 8, "end"),
    )
    return Place(x, y + 17), *(Place(*place) for place in beside), Place(x, y + 34)


def _now_label(view: LawnView, plot: Plot, words: DrawingWords) -> Iterator[Label]:
    today = next((day for day in view.days if day.on == view.today), None)
    if today is None or not view.now_text:
        return
    text = fitted(words.now.format(height=view.now_text), A_HEIGHT)
    x, y = plot.x(0), height_points(view, plot)[view.today][-1][1]
    sides = ((x - 6, "end"), (x + 6, "start"))
    places = (Place(at, y + down, anchor) for down in (-7, 17, -20, 30) for at, anchor in sides)
    yield Label(text, tuple(places), "halo accent", bold=True)
