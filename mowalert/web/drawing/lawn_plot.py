"""Where a lawn's days and heights lie on its drawing."""

from dataclasses import dataclass
from datetime import date
from math import isfinite

from mowalert.web.drawing.lawn_view import AHEAD_DAYS, PAST_DAYS, LawnView, range_mm
from mowalert.web.drawing.letters import text_width
from mowalert.web.drawing.svg import WIDE, Point

NAME_ROW = 16.0
"""Height of a row of hold names."""


@dataclass(frozen=True, slots=True)
class Plot:
    """Where days and heights lie on the drawing."""

    today: date
    left: float
    right: float
    top: float
    ground: float
    most_mm: float

    @property
    def column(self) -> float:
        """Width of a day."""
        return (self.right - self.left) / (PAST_DAYS + 1 + AHEAD_DAYS)

    def x(self, offset: float) -> float:
        """Return the middle of a day's column, the day counted from today."""
        return self.left + (offset + PAST_DAYS + 0.5) * self.column

    def x_on(self, on: date) -> float:
        """Return the middle of a date's column."""
        return self.x((on - self.today).days)

    def y(self, mm: float) -> float:
        """Return where a height lies; one beyond the drawing lies on its edge."""
        return self.ground - (self.ground - self.top) * max(0.0, min(1.0, mm / self.most_mm))


def plot_of(view: LawnView, *, name_rows: int) -> Plot:
    """Make room for all heights of a view, its ticks and rows of hold names."""
    heights = [
        view.chosen_mm,
        view.limit_mm,
        *(mm for day in view.days for mm in (day.height_mm, *range_mm(day))),
        *(mm for cut in view.mowings for mm in (cut.before_mm, cut.after_mm)),
    ]
    most_mm = max((mm for mm in heights if isfinite(mm)), default=0.0)
    ticks = max((text_width(text) for _, text in view.tick_labels), default=-4.0)
    top = 24.0 + NAME_ROW * name_rows
    return Plot(
        today=view.today,
        left=8.0 + ticks,
        right=WIDE - 4,
        top=top,
        ground=top + 150,
        most_mm=most_mm if most_mm > 0 else 1.0,
    )


def height_points(view: LawnView, plot: Plot) -> dict[date, list[Point]]:
    """Put each day on the drawing; a day with a cut stands there before and after it."""
    heights = {day.on: [day.height_mm] for day in view.days}
    heights |= {cut.on: [cut.before_mm, cut.after_mm] for cut in view.mowings if cut.on in heights}
    return {on: [(plot.x_on(on), plot.y(mm)) for mm in heights_mm] for on, heights_mm in heights.items()}


def doubt_edges(view: LawnView, plot: Plot) -> tuple[list[Point], list[Point]]:
    """Return the upper and the lower edge of the likely range."""
    doubted = [day for day in view.days if day.on >= view.today and range_mm(day)]
    edges = [(plot.x_on(day.on), range_mm(day)) for day in doubted]
    return [(x, plot.y(mm[1])) for x, mm in edges], [(x, plot.y(mm[0])) for x, mm in edges]
