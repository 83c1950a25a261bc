"""What the drawing of a lawn's height is told, and what of it can be shown."""

from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby
from math import isfinite

from mowalert.web.drawing.letters import fitted, plain

PAST_DAYS, AHEAD_DAYS = 14, 10
"""Days drawn before and after today."""


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
class Hold:
    """Days on end under one hold, counted from today."""

    name: str
    first: int
    last: int
    first_on: date
    last_on: date


def shown(view: LawnView) -> LawnView:
    """Keep what can be drawn, in the order of its days, with texts that cannot spill."""
    days = {
        day.on: replace(day, hold=plain(day.hold or "") or None)
        for day in view.days
        if _within_days(day.on, view.today) and isfinite(day.height_mm)
    }
    cuts = {
        cut.on: replace(cut, after_text=plain(cut.after_text))
        for cut in view.mowings
        if _within_days(cut.on, view.today) and isfinite(cut.before_mm) and isfinite(cut.after_mm)
    }
    return replace(
        view,
        now_text=plain(view.now_text),
        chosen_text=plain(view.chosen_text),
        limit_text=plain(view.limit_text),
        days=tuple(days[on] for on in sorted(days)),
        mowings=tuple(cuts[on] for on in sorted(cuts)),
        tick_labels=tuple((mm, fitted(plain(text), 60)) for mm, text in view.tick_labels if isfinite(mm)),
    )


def _within_days(on: date, today: date) -> bool:
    return -PAST_DAYS <= (on - today).days <= AHEAD_DAYS


def range_mm(day: DrawnDay) -> tuple[float, ...]:
    """Return the lower and upper end of a day's range, or nothing where one is missing."""
    edges = [mm for mm in (day.low_mm, day.high_mm) if mm is not None and isfinite(mm)]
    return tuple(sorted(edges)) if len(edges) == 2 else ()


def holds_of(view: LawnView) -> list[Hold]:
    """Put days on end under one hold together."""
    held = [((day.on - view.today).days, day) for day in view.days if day.hold]
    # Days on end keep the difference between their number and their place in the list.
    runs = groupby(enumerate(held), key=lambda item: (item[1][0] - item[0], item[1][1].hold))
    holds = []
    for (_, name), members in runs:
        days = [member for _, member in members]
        holds.append(Hold(str(name), days[0][0], days[-1][0], days[0][1].on, days[-1][1].on))
    return holds
