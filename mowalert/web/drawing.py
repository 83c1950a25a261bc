"""Drawings for the web pages, as SVG text: a lawn's height, three lessons, a map of weather cells.

Every function is pure: the same facts and words give the same text. A drawing is 320 units wide and
its text 12 units high, so that letters keep 12 px in the column of the narrowest telephone. Colours
come from ``static/drawing.css`` by class, never from a style attribute, so a strict content policy
holds; without that file a drawing is plain line art in the colour of the text around it.
"""

import unicodedata
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby, pairwise
from math import cos, floor, isfinite, radians
from zlib import crc32

WIDE = 320.0
"""Width of every drawing in its own units."""
LETTERS = 12.0
"""Height of its letters."""
PAST_DAYS, AHEAD_DAYS = 14, 10
"""Days drawn before and after today."""
MOST_SAID = 5
"""A description that lists more than this is heard by nobody to its end."""
MOST_SQUARES = 200
"""More squares than this are drawn together: they would be specks, and the text too long."""
MOST_LABELS = 30
"""More squares than this have a key instead of a value in each."""
MOST_CELLS_SAID = 20
"""Most cells that a description lists."""
LEAST_SIDE, MOST_SIDE = 9.0, 104.0
"""Bounds of a square's side."""
MOST_LETTERS = 28
"""Longest text taken from outside."""
NAME_ROW = 16.0
"""Height of a row of hold names."""
STEP_LOOKS = (
    (6.0, "plain", 0.0), (8.0, "lines", 0.14), (5.0, "lines", 0.27), (5.0, "crossed", 0.4),
    (6.0, "plain", 1.0),
)  # fmt: skip
"""Five steps from light to dark: distance of the lines, how they run, and the tone behind them."""

_Point = tuple[float, float]
_Curve = tuple[_Point, _Point, _Point]
_Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class DrawnDay:
    """A lawn's height on one day. Heights in mm; ``low_mm`` and ``high_mm`` if the forecast is doubted.

    ``hold`` names the hold in force, as people say it.
    """

    on: date
    height_mm: float
    low_mm: float | None = None
    high_mm: float | None = None
    hold: str | None = None


@dataclass(frozen=True, slots=True)
class DrawnCut:
    """One mowing: heights in mm, the height after it as people say it, and whether it is assumed."""

    on: date
    before_mm: float
    after_mm: float
    after_text: str
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class LawnView:
    """What the drawing of a lawn's height shows. Heights in mm, and as the keeper's units say them.

    ``limit_on`` is the first day on which a cut would take more than it may, if it lies in the days
    shown; ``tick_labels`` are heights and what stands beside them.
    """

    today: date
    chosen_mm: float
    limit_mm: float
    now_text: str
    chosen_text: str
    limit_text: str
    limit_on: date | None
    days: tuple[DrawnDay, ...] = ()
    mowings: tuple[DrawnCut, ...] = ()
    tick_labels: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnCell:
    """The middle of a weather cell [°], a value, and the value as people say it."""

    latitude_deg: float
    longitude_deg: float
    value: float
    label: str


@dataclass(frozen=True, slots=True)
class DrawingWords:
    """All that drawings say, in one language; braces name what is filled in. English by default."""

    language: str = "en"
    weekdays: tuple[str, ...] = (
        "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday",
    )  # fmt: skip
    months: tuple[str, ...] = (
        "January", "February", "March", "April", "May", "June", "July", "August", "September",
        "October", "November", "December",
    )  # fmt: skip
    months_short: tuple[str, ...] = (
        "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
    )  # fmt: skip
    day: str = "{weekday} {day} {month}"
    day_short: str = "{day} {month}"
    compass: tuple[str, str, str, str] = ("N", "S", "E", "W")
    decimal: str = "."
    more: str = "And {count} more."

    today: str = "today"
    now: str = "about {height}"
    kept: str = "kept at {height}"
    limit: str = "limit {height}"
    cut: str = "cut"
    cut_assumed: str = "assumed cut"
    doubt: str = "likely range"
    lawn_title: str = "Grass height, the last two weeks and the next ten days"
    say_now: str = "The grass is about {height} tall today."
    say_no_height: str = "The height of today is not known."
    say_kept: str = "It is kept at {height}."
    say_limit: str = "The limit for one cut is {height}."
    say_reaches: str = "It is expected to reach the limit on {day}."
    say_past: str = "It has reached the limit."
    say_never: str = "It is not expected to reach the limit in the days shown."
    say_cut: str = "Cut on {day} to {height}."
    say_cut_assumed: str = "A cut on {day} to {height} is assumed."
    say_no_cut: str = "No cut is known in the days shown."
    say_hold: str = "{name} from {first} to {last}."
    say_hold_day: str = "{name} on {first}."

    third_title: str = "A third of the blade"
    third_desc: str = (
        "Three tufts of grass and one line at the height they are cut to. The first is hardly taller than "
        "the line: a cut takes a tenth and is not needed yet. The second is half as tall again as the line: "
        "a cut takes a third of the blade, the most it should. The third is twice as tall: a cut would take "
        "half, which is too late."
    )
    third_cut: str = "cut"
    third_names: tuple[str, str, str] = ("too early", "at the limit", "too late")
    third_shares: tuple[str, str, str] = ("takes a tenth", "takes a third", "takes half")

    roots_title: str = "Height and roots"
    roots_desc: str = (
        "Three tufts of grass with their roots. Grass kept short has shallow roots, grass kept at a middle "
        "height has deeper ones, and grass kept tall has the deepest: they reach water in a dry week."
    )
    roots_names: tuple[str, str, str] = ("kept short", "middle", "kept tall")
    roots_depths: tuple[str, str, str] = ("shallow roots", "deeper", "deep roots")

    clippings_title: str = "Short clippings and long ones"
    clippings_desc: str = (
        "On the left, short clippings fall between the blades, down to the soil, and feed the lawn. On the "
        "right, long clippings lie in a row on top of the grass, and the blades under it are bent and "
        "smothered."
    )
    clippings_names: tuple[str, str] = ("short clippings", "long clippings")
    clippings_fates: tuple[str, str] = ("sink in and feed", "lie and smother")

    cells_title: str = "Weather cells of the region"
    cells_none: str = "There is no cell to show."
    cells_extent: str = "{south} to {north}, {west} to {east}"
    cells_north: str = "north is up"
    cells_one: str = "{place}: {label}."
    cells_together: str = "Neighbouring cells are drawn together, by their middle value."
    cells_least: str = "least: {label}"
    cells_most: str = "most: {label}"
    cells_all: str = "all: {label}"


ENGLISH = DrawingWords()
SPANISH = DrawingWords(
    language="es",
    weekdays=("lunes", "martes", "miércoles", "jueves", "viernes", "sábado", "domingo"),
    months=("enero", "febrero", "marzo", "abril", "mayo", "junio", "julio", "agosto", "septiembre",
            "octubre", "noviembre", "diciembre"),
    months_short=("ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic"),
    day="{weekday} {day} de {month}",
    compass=("N", "S", "E", "O"),
    decimal=",",
    more="Y {count} más.",
    today="hoy",
    now="unos {height}",
    kept="se corta a {height}",
    limit="límite {height}",
    cut="corte",
    cut_assumed="corte supuesto",
    doubt="margen probable",
    lawn_title="Altura del césped, las dos últimas semanas y los próximos diez días",
    say_now="El césped mide hoy unos {height}.",
    say_no_height="No se conoce la altura de hoy.",
    say_kept="Se corta a {height}.",
    say_limit="El límite para un solo corte es {height}.",
    say_reaches="Se espera que llegue al límite el {day}.",
    say_past="Ya ha llegado al límite.",
    say_never="No se espera que llegue al límite en los días que se muestran.",
    say_cut="Corte el {day} a {height}.",
    say_cut_assumed="Se supone un corte el {day} a {height}.",
    say_no_cut="No se conoce ningún corte en los días que se muestran.",
    say_hold="{name} del {first} al {last}.",
    say_hold_day="{name} el {first}.",
    third_title="Un tercio de la hoja",
    third_desc=(
        "Tres matas de césped y una línea a la altura a la que se cortan. La primera apenas pasa de la "
        "línea: un corte quita un décimo y aún no hace falta. La segunda la pasa en la mitad de su altura: "
        "un corte quita un tercio de la hoja, lo más que debe quitar. La tercera mide el doble: un corte "
        "quitaría la mitad, y ya es tarde."
    ),
    third_cut="corte",
    third_names=("muy pronto", "en el límite", "muy tarde"),
    third_shares=("quita un décimo", "quita un tercio", "quita la mitad"),
    roots_title="Altura y raíces",
    roots_desc=(
        "Tres matas de césped con sus raíces. El césped que se corta bajo tiene raíces someras, el de "
        "altura media las tiene más hondas y el alto las más hondas de todas: alcanzan el agua en una "
        "semana seca."
    ),
    roots_names=("bajo", "medio", "alto"),
    roots_depths=("raíces someras", "más hondas", "raíces hondas"),
    clippings_title="Recortes cortos y largos",
    clippings_desc=(
        "A la izquierda, los recortes cortos caen entre las hojas hasta el suelo y alimentan el césped. A la "
        "derecha, los recortes largos quedan en una hilera sobre el césped, y las hojas de debajo se doblan "
        "y se asfixian."
    ),
    clippings_names=("recortes cortos", "recortes largos"),
    clippings_fates=("caen y alimentan", "tapan y asfixian"),
    cells_title="Celdas del tiempo de la región",
    cells_none="No hay ninguna celda que mostrar.",
    cells_extent="{south} a {north}, {west} a {east}",
    cells_north="el norte está arriba",
    cells_together="Las celdas vecinas se dibujan juntas, con su valor mediano.",
    cells_least="mínimo: {label}",
    cells_most="máximo: {label}",
    cells_all="todas: {label}",
)  # fmt: skip


# --- a lawn's height ---


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
    view = _shown(view)
    holds = _holds(view)
    named = _placed_names(holds, _plot(view, name_rows=0))
    plot = _plot(view, name_rows=1 + max((hold.row for hold in named), default=-1))
    name = _name("lawn", (view, words.language))
    parts = [
        *_grass(view, plot),
        *_bands(holds, plot, name),
        *_levels(view, plot),
        *_doubt(view, plot),
        *_today(plot, words),
        *_height_line(view, plot),
        *_cut_marks(view, plot),
        *_hold_names(named),
        *_written(tuple(_lawn_labels(view, plot, words)), named, view, plot),
        *_axis(view, plot, words),
    ]
    said = " ".join(_lawn_sentences(view, holds, words))
    return _svg(name, plot.ground + 24, words.lawn_title, said, parts, words)


@dataclass(frozen=True, slots=True)
class _Hold:
    """Days on end under one hold, counted from today."""

    name: str
    first: int
    last: int
    first_on: date
    last_on: date


@dataclass(frozen=True, slots=True)
class _HoldName:
    """A hold's name, where its middle stands, and in which row."""

    text: str
    x: float
    row: int


@dataclass(frozen=True, slots=True)
class _Plot:
    """Where days and heights lie on the drawing."""

    today: date
    left: float
    right: float
    top: float
    ground: float
    most_mm: float

    @property
    def column(self) -> float:
        return (self.right - self.left) / (PAST_DAYS + 1 + AHEAD_DAYS)

    def x(self, offset: float) -> float:
        """Return the middle of a day's column, the day counted from today."""
        return self.left + (offset + PAST_DAYS + 0.5) * self.column

    def x_on(self, on: date) -> float:
        return self.x((on - self.today).days)

    def y(self, mm: float) -> float:
        return self.ground - (self.ground - self.top) * max(0.0, min(1.0, mm / self.most_mm))


def _shown(view: LawnView) -> LawnView:
    """Keep what can be drawn, in the order of its days, with texts that cannot spill."""
    days = {
        day.on: replace(day, hold=_plain(day.hold or "") or None)
        for day in view.days
        if _within_days(day.on, view.today) and isfinite(day.height_mm)
    }
    cuts = {
        cut.on: replace(cut, after_text=_plain(cut.after_text))
        for cut in view.mowings
        if _within_days(cut.on, view.today) and isfinite(cut.before_mm) and isfinite(cut.after_mm)
    }
    return replace(
        view,
        now_text=_plain(view.now_text),
        chosen_text=_plain(view.chosen_text),
        limit_text=_plain(view.limit_text),
        days=tuple(days[on] for on in sorted(days)),
        mowings=tuple(cuts[on] for on in sorted(cuts)),
        tick_labels=tuple((mm, _fitted(_plain(text), 60)) for mm, text in view.tick_labels if isfinite(mm)),
    )


def _within_days(on: date, today: date) -> bool:
    return -PAST_DAYS <= (on - today).days <= AHEAD_DAYS


def _plot(view: LawnView, *, name_rows: int) -> _Plot:
    heights = [
        view.chosen_mm,
        view.limit_mm,
        *(mm for day in view.days for mm in (day.height_mm, *_range_mm(day))),
        *(mm for cut in view.mowings for mm in (cut.before_mm, cut.after_mm)),
    ]
    most_mm = max((mm for mm in heights if isfinite(mm)), default=0.0)
    ticks = max((_width(text) for _, text in view.tick_labels), default=-4.0)
    top = 24.0 + NAME_ROW * name_rows
    return _Plot(
        today=view.today,
        left=8.0 + ticks,
        right=WIDE - 4,
        top=top,
        ground=top + 150,
        most_mm=most_mm if most_mm > 0 else 1.0,
    )


def _range_mm(day: DrawnDay) -> tuple[float, ...]:
    edges = [mm for mm in (day.low_mm, day.high_mm) if mm is not None and isfinite(mm)]
    return tuple(sorted(edges)) if len(edges) == 2 else ()


def _holds(view: LawnView) -> list[_Hold]:
    held = [((day.on - view.today).days, day) for day in view.days if day.hold]
    # Days on end keep the difference between their number and their place in the list.
    runs = groupby(enumerate(held), key=lambda item: (item[1][0] - item[0], item[1][1].hold))
    holds = []
    for (_, name), members in runs:
        days = [member for _, member in members]
        holds.append(_Hold(str(name), days[0][0], days[-1][0], days[0][1].on, days[-1][1].on))
    return holds


def _placed_names(holds: Sequence[_Hold], plot: _Plot) -> list[_HoldName]:
    """Give each hold's name a place in one of two rows; a name without room is only told."""
    ends = [0.0, 0.0]
    placed = []
    for hold in holds:
        text = _fitted(hold.name, plot.right - plot.left)
        half = _width(text) / 2
        x = _clamped((plot.x(hold.first) + plot.x(hold.last)) / 2, plot.left + half, plot.right - half)
        row = next((row for row in (0, 1) if x - half >= ends[row]), None)
        if row is not None:
            ends[row] = x + half + 6
            placed.append(_HoldName(text, x, row))
    return placed


def _bands(holds: Sequence[_Hold], plot: _Plot, name: str) -> Iterator[ET.Element]:
    # Neighbours slant the other way, so that one hold is told from the next.
    if holds:
        yield from (_hatch(f"{name}-hatch{turn}", 6.0, "lines", turn=turn) for turn in (45, -45))
    for place, hold in enumerate(holds):
        x = plot.x(hold.first - 0.5)
        yield _element(
            "rect", class_="band", fill=f"url(#{name}-hatch{(45, -45)[place % 2]})",
            x=x, y=2, width=plot.x(hold.last + 0.5) - x, height=plot.ground - 2,
        )  # fmt: skip


def _hold_names(named: Sequence[_HoldName]) -> Iterator[ET.Element]:
    for hold in named:
        yield _text(hold.text, hold.x, 15 + NAME_ROW * hold.row, "halo", anchor="middle")


def _grass(view: LawnView, plot: _Plot) -> Iterator[ET.Element]:
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
            blade = _Blade(plot.x_on(day.on) + side, height, lean)
            kept.append(_stalk(blade, plot.ground, 0.0, part))
            if part < 1.0:
                grown.append(_stalk(blade, plot.ground, part, 1.0))
    for paths, name in ((kept, "grass"), (grown, "grass grown")):
        if paths:
            yield _path(name, "".join(paths), stroke_opacity=0.35, stroke_width=1.8)


def _levels(view: LawnView, plot: _Plot) -> Iterator[ET.Element]:
    yield _line(plot.left, plot.ground, plot.right, plot.ground, class_="level")
    yield _line(plot.left, plot.y(view.chosen_mm), plot.right, plot.y(view.chosen_mm), class_="level")
    y = plot.y(view.limit_mm)
    yield _line(plot.left, y, plot.right, y, class_="limit", width=1.6)


def _doubt(view: LawnView, plot: _Plot) -> Iterator[ET.Element]:
    upper, lower = _doubt_edges(view, plot)
    if len(upper) > 1:
        yield _shape("doubt", _through([*upper, *lower[::-1]]) + "Z", fill_opacity=0.15)
        edges = _through(upper) + _through(lower)
        yield _path("doubt-edge", edges, stroke_dasharray="1 3", stroke_linecap="round")


def _doubt_edges(view: LawnView, plot: _Plot) -> tuple[list[_Point], list[_Point]]:
    doubted = [day for day in view.days if day.on >= view.today and _range_mm(day)]
    edges = [(plot.x_on(day.on), _range_mm(day)) for day in doubted]
    return [(x, plot.y(mm[1])) for x, mm in edges], [(x, plot.y(mm[0])) for x, mm in edges]


def _today(plot: _Plot, words: DrawingWords) -> Iterator[ET.Element]:
    x = plot.x(0)
    yield _line(x, plot.top - 6, x, plot.ground + 5, class_="today")
    text = _fitted(words.today, 60)
    yield _text(text, x, plot.ground + 18, "accent", anchor="middle", bold=True)


def _height_line(view: LawnView, plot: _Plot) -> Iterator[ET.Element]:
    """Draw the height as it was, and dashed as it is expected; a missing day breaks the line."""
    points = _points(view, plot)
    past = {on: at for on, at in points.items() if on <= view.today}
    # The dashes set out from today's end, which is below a cut of today.
    ahead = {on: at[-1:] if on == view.today else at for on, at in points.items() if on >= view.today}
    ends: dict[str, str | float] = {"stroke_linejoin": "round", "stroke_linecap": "round"}
    if past:
        yield _path("height", _broken_line(past), stroke_width=2.2, **ends)
    if any(on > view.today for on in ahead):
        yield _path("height to-come", _broken_line(ahead), stroke_width=2.2, stroke_dasharray="5 4", **ends)


def _points(view: LawnView, plot: _Plot) -> dict[date, list[_Point]]:
    """Put each day on the drawing; a day with a cut stands there before and after it."""
    heights = {day.on: [day.height_mm] for day in view.days}
    heights |= {cut.on: [cut.before_mm, cut.after_mm] for cut in view.mowings if cut.on in heights}
    return {on: [(plot.x_on(on), plot.y(mm)) for mm in heights_mm] for on, heights_mm in heights.items()}


def _broken_line(days: dict[date, list[_Point]]) -> str:
    runs: list[list[_Point]] = []
    last: date | None = None
    for on, points in days.items():
        if last is None or (on - last).days > 1:
            runs.append([])
        runs[-1].extend(points)
        last = on
    # A line from a point to itself, with round ends, is a dot: a day alone is seen.
    return "".join(_through(run if len(run) > 1 else run * 2) for run in runs)


def _cut_marks(view: LawnView, plot: _Plot) -> Iterator[ET.Element]:
    if not view.mowings:
        return
    marks = _element("g", stroke="currentColor", stroke_width=1.6)
    for cut in view.mowings:
        look, fill = ("cut assumed", "none") if cut.assumed else ("cut", None)
        x, y = plot.x_on(cut.on), plot.y(cut.after_mm)
        marks.append(_element("circle", class_=look, cx=x, cy=y, r=4, fill=fill))
    yield marks


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a text may stand: a point at its start, middle or end, and the foot of its letters."""

    x: float
    y: float
    anchor: str = "middle"


@dataclass(frozen=True, slots=True)
class _Label:
    """A text, the places it may take, the best first, and its look.

    An ``optional`` one is left out rather than written over another.
    """

    text: str
    places: tuple[_Place, ...]
    look: str
    bold: bool = False
    optional: bool = False


def _written(
    labels: Sequence[_Label], named: Sequence[_HoldName], view: LawnView, plot: _Plot
) -> Iterator[ET.Element]:
    """Write each label where it covers least of the words and lines already there."""
    lines = _line_boxes(view, plot)
    words = [_text_box(hold.text, _Place(hold.x, 15 + NAME_ROW * hold.row)) for hold in named]
    for label in labels:
        places = [_inside(label.text, place, plot) for place in label.places]
        boxes = [_text_box(label.text, place) for place in places]
        costs = [10 * _met(box, words) + _met(box, lines) for box in boxes]
        best = costs.index(min(costs))
        if not (label.optional and costs[best] >= 10):
            words.append(boxes[best])
            at = places[best]
            yield _text(label.text, at.x, at.y, label.look, anchor=at.anchor, bold=label.bold)


def _inside(text: str, place: _Place, plot: _Plot) -> _Place:
    """Move a place so that its text is within the plot; under the ground it would be read as a date."""
    before = _width(text) * BEFORE[place.anchor]
    x = _clamped(place.x, plot.left + before, plot.right - _width(text) + before)
    return _Place(x, _clamped(place.y, 14, plot.ground - 4), place.anchor)


BEFORE = {"start": 0.0, "middle": 0.5, "end": 1.0}
"""Share of a text that stands before its point."""


def _met(box: _Box, others: Sequence[_Box]) -> int:
    left, top, right, bottom = box
    return sum(
        left < right_ and right > left_ and top < bottom_ and bottom > top_
        for left_, top_, right_, bottom_ in others
    )


def _text_box(text: str, place: _Place) -> _Box:
    left = place.x - _width(text) * BEFORE[place.anchor]
    return left - 1, place.y - 12, left + _width(text) + 1, place.y + 4


def _line_boxes(view: LawnView, plot: _Plot) -> list[_Box]:
    """Cut all that labels should not cover into small boxes: lines, edges of the range, marks."""
    heights = [point for points in _points(view, plot).values() for point in points]
    upper, lower = _doubt_edges(view, plot)
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


def _lawn_labels(view: LawnView, plot: _Plot, words: DrawingWords) -> Iterator[_Label]:
    for cut in view.mowings:
        text = _fitted(words.cut_assumed if cut.assumed else words.cut, 90)
        yield _Label(text, _about(plot.x_on(cut.on), plot.y(cut.after_mm)), "halo", optional=True)
    yield from _now_label(view, plot, words)
    wide, limit_y, kept_y = plot.right - plot.left, plot.y(view.limit_mm), plot.y(view.chosen_mm)
    limit = _fitted(words.limit.format(height=view.limit_text), 130)
    along = [plot.left + 2 + wide * part / 8 for part in range(8)]
    places = (_Place(x, y, "start") for y in (limit_y - 5, limit_y + 13) for x in along)
    yield _Label(limit, tuple(places), "halo growth")
    kept = _fitted(words.kept.format(height=view.chosen_text), 130)
    along = [plot.right - 2 - wide * part / 8 for part in range(8)]
    places = (_Place(x, y, "end") for y in (kept_y + 13, kept_y - 5) for x in along)
    yield _Label(kept, tuple(places), "halo")
    upper, lower = _doubt_edges(view, plot)
    if len(upper) > 1:
        ends = (upper[-1][1] - 6, lower[-1][1] + 14)
        places = (_Place(plot.right - 2, y, "end") for y in ends)
        yield _Label(_fitted(words.doubt, 110), tuple(places), "halo quiet", optional=True)


def _about(x: float, y: float) -> tuple[_Place, ...]:
    """Return places about a mark: under it, beside it, above it, further under it."""
    beside = (
        (x + 7, y + 14, "start"),
        (x - 7, y + 14, "end"),
        (x + 7, y - 8, "start"),
        (x - 7, y - 8, "end"),
    )
    return _Place(x, y + 17), *(_Place(*place) for place in beside), _Place(x, y + 34)


def _now_label(view: LawnView, plot: _Plot, words: DrawingWords) -> Iterator[_Label]:
    today = next((day for day in view.days if day.on == view.today), None)
    if today is None or not view.now_text:
        return
    text = _fitted(words.now.format(height=view.now_text), 110)
    x, y = plot.x(0), _points(view, plot)[view.today][-1][1]
    sides = ((x - 6, "end"), (x + 6, "start"))
    places = (_Place(at, y + down, anchor) for down in (-7, 17, -20, 30) for at, anchor in sides)
    yield _Label(text, tuple(places), "halo accent", bold=True)


def _axis(view: LawnView, plot: _Plot, words: DrawingWords) -> Iterator[ET.Element]:
    for day in view.days:
        if (day.on - view.today).days in (-14, -7, 7):
            text = _fitted(_date_said(words.day_short, day.on, words.months_short, words), 64)
            half = _width(text) / 2
            x = _clamped(plot.x_on(day.on), 2 + half, WIDE - 2 - half)
            yield _line(plot.x_on(day.on), plot.ground, plot.x_on(day.on), plot.ground + 4, class_="level")
            yield _text(text, x, plot.ground + 18, "quiet", anchor="middle")
    last_y = plot.ground + 99
    for mm, text in sorted(view.tick_labels):
        y = plot.y(mm)
        if 0 <= mm <= plot.most_mm and last_y - y >= 14:
            last_y = y
            yield _text(text, plot.left - 4, y + 4, "quiet", anchor="end")


def _lawn_sentences(view: LawnView, holds: Sequence[_Hold], words: DrawingWords) -> Iterator[str]:
    yield words.say_now.format(height=view.now_text) if view.now_text else words.say_no_height
    yield words.say_kept.format(height=view.chosen_text)
    yield words.say_limit.format(height=view.limit_text)
    yield _limit_sentence(view, words)
    cuts = [
        (words.say_cut_assumed if cut.assumed else words.say_cut).format(
            day=_day_said(cut.on, words), height=cut.after_text
        )
        for cut in view.mowings
    ]
    yield from _first_of(cuts, words) if cuts else [words.say_no_cut]
    spans = [
        _sentence(
            (words.say_hold if hold.last > hold.first else words.say_hold_day).format(
                name=hold.name, first=_day_said(hold.first_on, words), last=_day_said(hold.last_on, words)
            )
        )
        for hold in holds
    ]
    yield from _first_of(spans, words)


def _limit_sentence(view: LawnView, words: DrawingWords) -> str:
    if view.limit_on is None:
        return words.say_never
    if view.limit_on <= view.today:
        return words.say_past
    return words.say_reaches.format(day=_day_said(view.limit_on, words))


# --- three lessons ---


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
    label = _fitted(words.third_cut, 50)
    parts = [_line(4, ground, WIDE - 4, ground, class_="level")]
    # After its cut a blade is 9/10, 2/3 and 1/2 of what it was.
    for x, height in zip(COLUMNS, (kept / 0.9, kept * 1.5, kept * 2.0), strict=True):
        blades = _tuft(x, height)
        stay = (_leaf(blade, ground, end=min(1.0, kept / blade.height)) for blade in blades)
        off = (_leaf(blade, ground, start=kept / blade.height) for blade in blades if blade.height > kept)
        parts += [_shape("leaf", "".join(stay)), _path("off", "".join(off))]
    line = _line(8 + _width(label), ground - kept, WIDE - 4, ground - kept, class_="blade-line", dashes="7 4")
    parts += [_text(label, 4, ground - kept + 4), line]
    parts += _columns_said(ground + 20, COLUMNS, words.third_names, words.third_shares)
    name = _name("third", words.language)
    return _svg(name, ground + 44, words.third_title, words.third_desc, parts, words)


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
    parts = [_line(4, ground, WIDE - 4, ground, class_="level")]
    for x, height, depth in zip(COLUMNS, (22.0, 46.0, 74.0), (20.0, 52.0, 92.0), strict=True):
        leaves = (_leaf(blade, ground) for blade in _tuft(x, height))
        roots = (_root(x + 20 * foot, ground, depth * deep, drift) for foot, deep, drift in ROOTS)
        parts.append(_shape("leaf", "".join(leaves)))
        parts.append(_path("root", "".join(roots), stroke_width=1.2, stroke_linecap="round"))
    parts += _columns_said(ground + 112, COLUMNS, words.roots_names, words.roots_depths)
    name = _name("roots", words.language)
    return _svg(name, ground + 136, words.roots_title, words.roots_desc, parts, words)


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
    standing = [_Blade(left + x, 50 * tall, lean) for x, tall, lean in SWARD]
    # Under the row the blades are pressed down; beside it they stand.
    pressed = [
        _Blade(right + x, 18 * tall, 2 * lean) if abs(x) < 50 else _Blade(right + x, 50 * tall, lean)
        for x, tall, lean in SWARD
    ]
    short = [_clipping(left + x, ground - y, dx, dy) for x, y, dx, dy in SHORT_CLIPPINGS]
    long = [_clipping(right + x, ground - y, dx, dy) for x, y, dx, dy in LONG_CLIPPINGS]
    parts = [
        _line(4, ground, 156, ground, class_="level"),
        _line(164, ground, WIDE - 4, ground, class_="level"),
        _shape("leaf", "".join(_leaf(blade, ground) for blade in standing + pressed)),
        _path("clipping", "".join(short + long), stroke_width=2.4, stroke_linecap="round"),
        *_columns_said(ground + 20, (left, right), words.clippings_names, words.clippings_fates),
    ]
    name = _name("clippings", words.language)
    return _svg(name, ground + 44, words.clippings_title, words.clippings_desc, parts, words)


@dataclass(frozen=True, slots=True)
class _Blade:
    """A blade of grass: where its foot stands, its height, and how far its tip leans."""

    foot: float
    height: float
    lean: float


def _tuft(x: float, height: float) -> list[_Blade]:
    # A taller blade hangs over further.
    return [_Blade(x + 24 * foot, height * tall, lean * (4 + height / 14)) for foot, tall, lean in TUFT]


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


BLADE_PAIRS = (
    ((-2.6, 1.0, -2.0), (2.2, 0.9, 1.8)),
    ((-2.3, 0.91, -1.2), (2.5, 1.0, 2.2)),
    ((-2.6, 0.96, 1.4), (2.4, 0.88, -1.6)),
)
"""Foot from the middle of its day, share of the height and lean of a day's two blades, by turns."""


def _columns_said(
    y: float, columns: Sequence[float], names: Sequence[str], seconds: Sequence[str]
) -> list[ET.Element]:
    room = 2 * min(columns[0], WIDE - columns[-1], (columns[1] - columns[0]) / 2) - 2
    return [
        label
        for x, name, second in zip(columns, names, seconds, strict=True)
        for label in (
            _text(_fitted(name, room), x, y, anchor="middle", bold=True),
            _text(_fitted(second, room), x, y + 16, "quiet", anchor="middle"),
        )
    ]


# --- a map of weather cells ---


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
    name = _name("cells", known)
    said = " ".join(_cell_sentences(squares, words, together=len(squares) < len(known)))
    if not squares:
        none = _text(_fitted(words.cells_none, WIDE - 8), WIDE / 2, 24, "quiet", anchor="middle")
        return _svg(name, 40, words.cells_title, said, [none], words)
    chart = _chart(squares, side_deg)
    labelled = _labels_fit(squares, chart)
    parts = [*_step_hatches(name, chart.width), *_squares(squares, chart, name)]
    parts += _square_labels(squares, chart) if labelled else []
    bottom = chart.bottom + 20
    if not labelled:
        parts += _key(squares, bottom, name, words)
        bottom += 22
    parts += _extent(squares, side_deg, bottom, words)
    return _svg(name, bottom + 24, words.cells_title, said, parts, words)


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
        return _clamped(x, 4 + self.width / 2, WIDE - 4 - self.width / 2)

    def y(self, latitude_deg: float) -> float:
        y = 4 + (self.north_deg - latitude_deg) * self.y_per_deg
        return _clamped(y, 4 + self.height / 2, self.bottom - self.height / 2)


def _drawable(cell: DrawnCell) -> bool:
    return isfinite(cell.latitude_deg) and isfinite(cell.longitude_deg) and isfinite(cell.value)


def _known(cell: DrawnCell) -> DrawnCell:
    return replace(cell, latitude_deg=_clamped(cell.latitude_deg, -90, 90), label=_plain(cell.label))


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
    finer = _clamped(side / 26, 0.6, 1.0)
    return [
        _hatch(f"{name}-{step}", apart * finer, look, tone)
        for step, (apart, look, tone) in enumerate(STEP_LOOKS)
    ]


def _squares(squares: Sequence[DrawnCell], chart: _Chart, name: str) -> list[ET.Element]:
    by_step: dict[int, list[str]] = {}
    for cell, step in zip(squares, _steps(squares), strict=True):
        x, y = chart.x(cell.longitude_deg), chart.y(cell.latitude_deg)
        by_step.setdefault(step, []).append(_square(x, y, chart.width, chart.height))
    return [
        _element("path", class_="square", d="".join(paths), **_filled(name, step))
        for step, paths in sorted(by_step.items())
    ]


def _filled(name: str, step: int) -> dict[str, str | float]:
    return {"fill": f"url(#{name}-{step})", "stroke": "currentColor", "stroke_width": 0.7}


def _labels_fit(squares: Sequence[DrawnCell], chart: _Chart) -> bool:
    if len(squares) > MOST_LABELS or not all(cell.label for cell in squares):
        return False
    return max(_width(cell.label) for cell in squares) + 8 <= chart.width and chart.height >= 20


def _square_labels(squares: Sequence[DrawnCell], chart: _Chart) -> Iterator[ET.Element]:
    for cell in squares:
        x, y, wide = chart.x(cell.longitude_deg), chart.y(cell.latitude_deg), _width(cell.label) + 4
        yield _element(
            "rect", class_="plate", x=x - wide / 2, y=y - 8, width=wide, height=16, rx=2, fill="none"
        )
        yield _text(cell.label, x, y + 4, anchor="middle")


def _key(squares: Sequence[DrawnCell], y: float, name: str, words: DrawingWords) -> Iterator[ET.Element]:
    least = min(squares, key=lambda cell: cell.value)
    most = max(squares, key=lambda cell: cell.value)
    if least.value == most.value:
        text = _fitted(words.cells_all.format(label=most.label), WIDE - 40)
        left = (WIDE - _width(text) - 20) / 2
        yield _swatch(left, y, name, 2)
        yield _text(text, left + 20, y)
        return
    left, right = WIDE / 2 - 30, WIDE / 2 + 30
    for step in range(5):
        yield _swatch(left + 12 * step, y, name, step)
    yield _text(_fitted(words.cells_least.format(label=least.label), left - 10), left - 6, y, anchor="end")
    yield _text(_fitted(words.cells_most.format(label=most.label), left - 10), right + 6, y)


def _swatch(x: float, y: float, name: str, step: int) -> ET.Element:
    return _element("rect", class_="square", x=x, y=y - 11, width=12, height=14, **_filled(name, step))


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
        yield _text(_fitted(text, WIDE - 8), WIDE / 2, y + 16 * row, "quiet", anchor="middle")


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
    yield from _first_of(cells, words, most=MOST_CELLS_SAID)


def _latitude_said(degrees: float, words: DrawingWords) -> str:
    north, south, _, _ = words.compass
    return f"{_degrees_said(degrees, words)} {north if degrees >= 0 else south}"


def _longitude_said(degrees: float, words: DrawingWords) -> str:
    _, _, east, west = words.compass
    around = (degrees + 180) % 360 - 180
    return f"{_degrees_said(around, words)} {east if around >= 0 else west}"


def _degrees_said(degrees: float, words: DrawingWords) -> str:
    return f"{abs(degrees):.2f}".rstrip("0").rstrip(".").replace(".", words.decimal) + "°"


# --- words on a drawing ---


def _plain(text: str) -> str:
    """Keep what a label needs of a text from outside."""
    return _shortened(_legal(text[: 4 * MOST_LETTERS]), MOST_LETTERS)


def _legal(text: str) -> str:
    """Keep letters, marks, digits, signs and single spaces.

    Control characters cannot stand in XML at all, and marks of direction could turn a label round.
    """
    return " ".join("".join(" " if unicodedata.category(c)[0] in "ZC" else c for c in text).split())


def _shortened(text: str, letters: int) -> str:
    return text if len(text) <= letters else text[: letters - 1].rstrip() + "…"


def _fitted(text: str, width: float) -> str:
    """Shorten a text to the width it has."""
    letters = len(text)
    while letters > 1 and _width(_shortened(text, letters)) > width:
        letters -= 1
    return _shortened(text, letters)


def _width(text: str) -> float:
    """Guess, on the wide side, how wide a serif text will be."""
    return LETTERS * sum(_letter_width(c) for c in text)


def _letter_width(letter: str) -> float:
    """Guess a letter's width in parts of its height."""
    if letter in " .,:;'|!()iljtfrI":
        return 0.37
    if letter in "mwMW%@" or unicodedata.east_asian_width(letter) in "WF":
        return 1.0
    return {"Ll": 0.56, "Lu": 0.74, "Nd": 0.62, "Mn": 0.0}.get(unicodedata.category(letter), 0.9)


def _day_said(on: date, words: DrawingWords) -> str:
    return _date_said(words.day, on, words.months, words)


def _date_said(template: str, on: date, months: Sequence[str], words: DrawingWords) -> str:
    return template.format(weekday=words.weekdays[on.weekday()], day=on.day, month=months[on.month - 1])


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _first_of(sentences: Sequence[str], words: DrawingWords, *, most: int = MOST_SAID) -> list[str]:
    if len(sentences) <= most:
        return list(sentences)
    return [*sentences[:most], words.more.format(count=len(sentences) - most)]


# --- lines and leaves ---


def _leaf(blade: _Blade, ground: float, start: float = 0.0, end: float = 1.0) -> str:
    """Return the path of a leaf that narrows to its tip, or of a part of it.

    A curve whose middle point is at half its height rises evenly, so a part of the curve is
    the same part of the height.
    """
    left, right = (_edge(blade, ground, half) for half in (-2.6, 2.6))
    (x0, y0), (x1, y1), (x2, y2) = _part(left, start, end)
    (x3, y3), (x4, y4), (x5, y5) = _part(right, end, start)
    there = f"M{_pair(x0, y0)}Q{_pair(x1, y1)} {_pair(x2, y2)}"
    back = f"L{_pair(x3, y3)}Q{_pair(x4, y4)} {_pair(x5, y5)}Z"
    return there + back


def _stalk(blade: _Blade, ground: float, start: float, end: float) -> str:
    (x0, y0), (x1, y1), (x2, y2) = _part(_edge(blade, ground, 0.0), start, end)
    return f"M{_pair(x0, y0)}Q{_pair(x1, y1)} {_pair(x2, y2)}"


def _edge(blade: _Blade, ground: float, half: float) -> _Curve:
    foot = blade.foot
    return (
        (foot + half, ground),
        (foot + 0.8 * half + 0.05 * blade.lean, ground - blade.height / 2),
        (foot + blade.lean, ground - blade.height),
    )


def _part(curve: _Curve, start: float, end: float) -> _Curve:
    """Return the part of a quadratic curve between two of its parameters, by its polar form."""

    def at(s: float, t: float) -> _Point:
        first, middle, last = (1 - s) * (1 - t), s * (1 - t) + t * (1 - s), s * t
        (x0, y0), (x1, y1), (x2, y2) = curve
        return first * x0 + middle * x1 + last * x2, first * y0 + middle * y1 + last * y2

    return at(start, start), at(start, end), at(end, end)


def _root(foot: float, ground: float, depth: float, drift: float) -> str:
    """Return the path of a root that winds down and has two hairs."""
    end = foot + drift
    bend = foot + drift / 2
    main = (
        f"M{_pair(foot, ground)}Q{_pair(foot - drift / 2, ground + depth / 4)} "
        f"{_pair(bend, ground + depth / 2)}Q{_pair(end, ground + depth * 0.75)} {_pair(end, ground + depth)}"
    )
    hairs = (
        f"M{_pair(bend, ground + depth / 2)}Q{_pair(bend + 4, ground + depth * 0.6)} "
        f"{_pair(bend + 6, ground + depth * 0.7)}"
        f"M{_pair(end, ground + depth * 0.72)}L{_pair(end - 5, ground + depth * 0.86)}"
    )
    return main + hairs


def _clipping(x: float, y: float, dx: float, dy: float) -> str:
    """Return the path of a cut piece of leaf: it bows a little, as leaves do."""
    return f"M{_pair(x, y)}Q{_pair(x + dx / 2, y - dy / 2 - abs(dx) / 8)} {_pair(x + dx, y - dy)}"


def _square(x: float, y: float, width: float, height: float) -> str:
    # The sides are told from where the pen is: shorter, where there are hundreds.
    return f"M{_pair(x - width / 2, y - height / 2)}h{_n(width)}v{_n(height)}h{_n(-width)}Z"


def _through(points: Sequence[_Point]) -> str:
    return "M" + "L".join(_pair(x, y) for x, y in points)


def _clamped(value: float, least: float, most: float) -> float:
    return max(least, min(most, value))


# --- elements ---


def _svg(
    name: str, height: float, title: str, said: str, parts: Iterable[ET.Element], words: DrawingWords
) -> str:
    root = _element(
        "svg",
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {_n(WIDE)} {_n(height)}",
        class_="drawing",
        role="img",
        aria_labelledby=f"{name}-title {name}-desc",
        lang=words.language,
        fill="currentColor",
        font_size=LETTERS,
        font_family="Georgia, 'Times New Roman', serif",
    )
    root.append(_worded("title", _legal(title), id=f"{name}-title"))
    root.append(_worded("desc", _legal(said), id=f"{name}-desc"))
    root.extend(parts)
    return ET.tostring(root, encoding="unicode")


def _name(kind: str, shown: object) -> str:
    """Name a drawing by what it shows: names stay unlike on a page with several, and never change."""
    return f"{kind}-{crc32(repr(shown).encode('utf-8', 'backslashreplace')):08x}"


def _text(
    text: str, x: float, y: float, look: str | None = None, *, anchor: str | None = None, bold: bool = False
) -> ET.Element:
    weight = "bold" if bold else None
    return _worded("text", text, class_=look, x=x, y=y, text_anchor=anchor, font_weight=weight)


def _line(
    x1: float, y1: float, x2: float, y2: float, *, class_: str, width: float = 1.0, dashes: str | None = None
) -> ET.Element:
    ends: dict[str, float] = {"x1": x1, "y1": y1, "x2": x2, "y2": y2}
    return _element(
        "line", class_=class_, stroke="currentColor", stroke_width=width, stroke_dasharray=dashes, **ends
    )


def _path(class_: str, d: str, **more: str | float) -> ET.Element:
    return _element("path", class_=class_, d=d, fill="none", stroke="currentColor", **more)


def _shape(class_: str, d: str, **more: str | float) -> ET.Element:
    return _element("path", class_=class_, d=d, **more)


def _hatch(name: str, apart: float, look: str, tone: float = 0.0, *, turn: int = 45) -> ET.Element:
    """Make something to fill with: a tone, and on it lines that slant."""
    units, turned = "userSpaceOnUse", f"rotate({turn})"
    pattern = _element(
        "pattern", id=name, width=apart, height=apart, patternUnits=units, patternTransform=turned
    )
    if tone:
        tones = {"width": apart, "height": apart, "fill_opacity": tone}
        pattern.append(_element("rect", class_="tone", **tones))
    lines = {"lines": f"M0 0V{_n(apart)}", "crossed": f"M0 0V{_n(apart)}M0 0H{_n(apart)}"}
    if look in lines:
        pattern.append(_path("hatch", lines[look]))
    return pattern


def _worded(tag: str, text: str, **attributes: str | float | None) -> ET.Element:
    element = _element(tag, **attributes)
    element.text = text
    return element


def _element(tag: str, **attributes: str | float | None) -> ET.Element:
    """Make an element; an underscore stands for the hyphen, and ends what Python keeps for itself."""
    given = {name.rstrip("_").replace("_", "-"): value for name, value in attributes.items()}
    return ET.Element(tag, {name: _written_out(value) for name, value in given.items() if value is not None})


def _written_out(value: str | float) -> str:
    return value if isinstance(value, str) else _n(value)


def _pair(x: float, y: float) -> str:
    return f"{_n(x)} {_n(y)}"


def _n(value: float) -> str:
    """Write a number to a tenth of a unit, as short as it gets; tones need the hundredth."""
    digits = 1 if abs(value) >= 1 else 2
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
