"""A lawn's height, from two weeks back to ten days ahead."""

import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from datetime import date

from mowalert.languages import sentence
from mowalert.web.drawing import svg
from mowalert.web.drawing.blades import Blade, stalk
from mowalert.web.drawing.lawn_labels import hold_names, lawn_labels, placed_names, written
from mowalert.web.drawing.lawn_plot import Plot, doubt_edges, height_points, plot_of
from mowalert.web.drawing.lawn_view import Hold, LawnView, holds_of, shown
from mowalert.web.drawing.letters import fitted, text_width
from mowalert.web.drawing.svg import WIDE, Point, clamped
from mowalert.web.drawing.words import DrawingWords, date_said, day_said, first_of

BLADE_PAIRS = (
    ((-2.6, 1.0, -2.0), (2.2, 0.9, 1.8)),
    ((-2.3, 0.91, -1.2), (2.5, 1.0, 2.2)),
    ((-2.6, 0.96, 1.4), (2.4, 0.88, -1.6)),
)
"""Foot from the middle of its day, share of the height and lean of a day's two blades, by turns."""


def draw_lawn(view: LawnView, *, words: DrawingWords) -> str:
    """Draw a lawn's grass height from two weeks back to ten days ahead.

    Days and mowings outside of these, and heights that are no numbers, are left out; of several on
    one date the last counts.

    Parameters
    ----------
    view : LawnView
        Heights, mowings and holds. [mm]
    words : DrawingWords
        The language.

    Returns
    -------
    str
        An ``svg`` element with a title and a description in sentences.
    """
    view = shown(view)
    holds = holds_of(view)
    named = placed_names(holds, plot_of(view, name_rows=0))
    plot = plot_of(view, name_rows=1 + max((hold.row for hold in named), default=-1))
    name = svg.name_of("lawn", (view, words.language))
    parts = [
        *_grass(view, plot),
        *_bands(holds, plot, name),
        *_levels(view, plot),
        *_doubt(view, plot),
        *_today(plot, words),
        *_height_line(view, plot),
        *_cut_marks(view, plot),
        *hold_names(named),
        *written(tuple(lawn_labels(view, plot, words)), named, view, plot),
        *_axis(view, plot, words),
    ]
    said = " ".join(_lawn_sentences(view, holds, words))
    return svg.document(name, plot.ground + 24, words.lawn_title, said, parts, words)


def _bands(holds: Sequence[Hold], plot: Plot, name: str) -> Iterator[ET.Element]:
    # Neighbours slant the other way, so that one hold is told from the next.
    if holds:
        yield from (svg.hatch(f"{name}-hatch{turn}", 6.0, "lines", turn=turn) for turn in (45, -45))
    for place, hold in enumerate(holds):
        x = plot.x(hold.first - 0.5)
        yield svg.element(
            "rect", class_="band", fill=f"url(#{name}-hatch{(45, -45)[place % 2]})",
            x=x, y=2, width=plot.x(hold.last + 0.5) - x, height=plot.ground - 2,
        )  # fmt: skip


def _grass(view: LawnView, plot: Plot) -> Iterator[ET.Element]:
    """Draw blades behind the line, what grew above the chosen height in a tone of its own.

    Held days have none, so that their hatching is seen as such.
    """
    kept, grown = [], []
    for day in view.days:
        if day.hold:
            continue
        for side, tall, lean in BLADE_PAIRS[day.on.toordinal() % len(BLADE_PAIRS)]:
            height = (plot.ground - plot.y(day.height_mm)) * tall
            part = min(1.0, (plot.ground - plot.y(view.chosen_mm)) / height) if height > 0 else 1.0
            blade = Blade(plot.x_on(day.on) + side, height, lean)
            kept.append(stalk(blade, plot.ground, 0.0, part))
            if part < 1.0:
                grown.append(stalk(blade, plot.ground, part, 1.0))
    for paths, name in ((kept, "grass"), (grown, "grass grown")):
        if paths:
            yield svg.path(name, "".join(paths), stroke_opacity=0.35, stroke_width=1.8)


def _levels(view: LawnView, plot: Plot) -> Iterator[ET.Element]:
    yield svg.line(plot.left, plot.ground, plot.right, plot.ground, class_="level")
    yield svg.line(plot.left, plot.y(view.chosen_mm), plot.right, plot.y(view.chosen_mm), class_="level")
    y = plot.y(view.limit_mm)
    yield svg.line(plot.left, y, plot.right, y, class_="limit", width=1.6)


def _doubt(view: LawnView, plot: Plot) -> Iterator[ET.Element]:
    upper, lower = doubt_edges(view, plot)
    if len(upper) > 1:
        yield svg.shape("doubt", svg.through([*upper, *lower[::-1]]) + "Z", fill_opacity=0.15)
        edges = svg.through(upper) + svg.through(lower)
        yield svg.path("doubt-edge", edges, stroke_dasharray="1 3", stroke_linecap="round")


def _today(plot: Plot, words: DrawingWords) -> Iterator[ET.Element]:
    x = plot.x(0)
    yield svg.line(x, plot.top - 6, x, plot.ground + 5, class_="today")
    text = fitted(words.today, 60)
    yield svg.text(text, x, plot.ground + 18, "accent", anchor="middle", bold=True)


def _height_line(view: LawnView, plot: Plot) -> Iterator[ET.Element]:
    """Draw the height as it was, and dashed as it is expected; a missing day breaks the line."""
    points = height_points(view, plot)
    past = {on: at for on, at in points.items() if on <= view.today}
    # The dashes set out from today's end, which is below a cut of today.
    ahead = {on: at[-1:] if on == view.today else at for on, at in points.items() if on >= view.today}
    ends: dict[str, str | float] = {"stroke_linejoin": "round", "stroke_linecap": "round"}
    if past:
        yield svg.path("height", _broken_line(past), stroke_width=2.2, **ends)
    if any(on > view.today for on in ahead):
        yield svg.path(
            "height to-come", _broken_line(ahead), stroke_width=2.2, stroke_dasharray="5 4", **ends
        )


def _broken_line(days: dict[date, list[Point]]) -> str:
    runs: list[list[Point]] = []
    last: date | None = None
    for on, points in days.items():
        if last is None or (on - last).days > 1:
            runs.append([])
        runs[-1].extend(points)
        last = on
    # A line from a point to itself, with round ends, is a dot: a day alone is seen.
    return "".join(svg.through(run if len(run) > 1 else run * 2) for run in runs)


def _cut_marks(view: LawnView, plot: Plot) -> Iterator[ET.Element]:
    if not view.mowings:
        return
    marks = svg.element("g", stroke="currentColor", stroke_width=1.6)
    for cut in view.mowings:
        look, fill = ("cut assumed", "none") if cut.assumed else ("cut", None)
        x, y = plot.x_on(cut.on), plot.y(cut.after_mm)
        marks.append(svg.element("circle", class_=look, cx=x, cy=y, r=4, fill=fill))
    yield marks


def _axis(view: LawnView, plot: Plot, words: DrawingWords) -> Iterator[ET.Element]:
    for day in view.days:
        if (day.on - view.today).days in (-14, -7, 7):
            text = fitted(date_said(words.day_short, day.on, words.months_short, words), 64)
            half = text_width(text) / 2
            x = clamped(plot.x_on(day.on), 2 + half, WIDE - 2 - half)
            yield svg.line(plot.x_on(day.on), plot.ground, plot.x_on(day.on), plot.ground + 4, class_="level")
            yield svg.text(text, x, plot.ground + 18, "quiet", anchor="middle")
    last_y = plot.ground + 99
    for mm, text in sorted(view.tick_labels):
        y = plot.y(mm)
        if 0 <= mm <= plot.most_mm and last_y - y >= 14:
            last_y = y
            yield svg.text(text, plot.left - 4, y + 4, "quiet", anchor="end")


def _lawn_sentences(view: LawnView, holds: Sequence[Hold], words: DrawingWords) -> Iterator[str]:
    yield words.say_now.format(height=view.now_text) if view.now_text else words.say_no_height
    yield words.say_kept.format(height=view.chosen_text)
    yield words.say_limit.format(height=view.limit_text)
    yield _limit_sentence(view, words)
    cuts = [
        (words.say_cut_assumed if cut.assumed else words.say_cut).format(
            day=day_said(cut.on, words), height=cut.after_text
        )
        for cut in view.mowings
    ]
    yield from first_of(cuts, words) if cuts else [words.say_no_cut]
    spans = [
        sentence(
            (words.say_hold if hold.last > hold.first else words.say_hold_day).format(
                name=hold.name, first=day_said(hold.first_on, words), last=day_said(hold.last_on, words)
            )
        )
        for hold in holds
    ]
    yield from first_of(spans, words)


def _limit_sentence(view: LawnView, words: DrawingWords) -> str:
    if view.limit_on is None:
        return words.say_never
    if view.limit_on <= view.today:
        return words.say_past
    return words.say_reaches.format(day=day_said(view.limit_on, words))
