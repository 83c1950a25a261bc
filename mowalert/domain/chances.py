"""Choosing the day: the latest chance before the limit, less a reserve for rain.

A keeper's mowing days are their chances. Cutting as soon as the window opens makes far more cuts
and throws away most of what the one-third rule saves: the window is when we start to talk, the
limit is what we aim at.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from mowalert.domain.notices import DayPart, DayReason

WET_IN_HOURS_MM = 1.0
WET_DAY_MM = 4.0
RAIN_THREAT_MM = 1.0
HOT_DAY_C = 29.0
"""Rain in the mowing hours, or in a day whose hours are unknown, that makes leaves too wet; rain that
may still fall in the hours; heat in which only cool hours will do. Working values."""


@dataclass(frozen=True, slots=True)
class ChanceDay:
    """One day a cut might fall on: the evening's height, what the sky does, whether a hold forbids it.

    ``rain_in_hours_mm`` is ``nan`` where the hours are unknown.
    """

    on: date
    height_mm: float
    rain_mm: float
    rain_in_hours_mm: float
    t_min_c: float
    t_max_c: float
    held: bool

    @property
    def wet(self) -> bool:
        """Whether the leaves will be too wet to cut."""
        hours_known = self.rain_in_hours_mm == self.rain_in_hours_mm
        return self.rain_in_hours_mm >= WET_IN_HOURS_MM if hours_known else self.rain_mm >= WET_DAY_MM

    @property
    def part(self) -> DayPart:
        """The hours of the day to cut in: cool ones in heat, after the thaw in frost."""
        if self.t_min_c <= 0.0:
            return DayPart.AFTERNOON
        return DayPart.EARLY_MORNING if self.t_max_c >= HOT_DAY_C else DayPart.MORNING


@dataclass(frozen=True, slots=True)
class Choice:
    """The day chosen, its hours, and why it and no other."""

    on: date
    part: DayPart
    reason: DayReason


def best_day(
    chances: Sequence[ChanceDay], *, limit_mm: float, evening_before: ChanceDay | None = None
) -> Choice | None:
    """Choose the day to cut among a keeper's chances.

    Parameters
    ----------
    chances : Sequence[ChanceDay]
        Mowing days until the next time advice goes out, in order.
    limit_mm : float
        Height at which a cut would take more than a third. [mm]
    evening_before : ChanceDay | None
        The day before the first chance, offered in the evening when every chance is wet.

    Returns
    -------
    Choice | None
        None when a hold forbids every chance.
    """
    free = [day for day in chances if not day.held]
    if not free:
        return None
    dry = [day for day in free if not day.wet]
    if not dry:
        return _when_all_wet(free, evening_before)
    safe = [day for day in dry if day.height_mm <= limit_mm]
    if not safe:
        return Choice(dry[0].on, dry[0].part, DayReason.OVERDUE)
    calm = [day for day in safe if day.rain_mm < RAIN_THREAT_MM] or safe[:1]
    chosen = calm[-1]
    return Choice(chosen.on, chosen.part, _why(chosen, chances, limit_mm))


def _why(chosen: ChanceDay, chances: Sequence[ChanceDay], limit_mm: float) -> DayReason:
    later = [day for day in chances if day.on > chosen.on and not day.held and day.height_mm <= limit_mm]
    if any(day.wet or day.rain_mm >= RAIN_THREAT_MM for day in later):
        return DayReason.RAIN_RESERVE
    earlier_wet = any(day.wet for day in chances if day.on < chosen.on)
    only_one = sum(not day.wet and not day.held for day in chances) == 1
    return DayReason.ONLY_DRY if earlier_wet and only_one else DayReason.LAST_SAFE


def _when_all_wet(free: Sequence[ChanceDay], evening_before: ChanceDay | None) -> Choice:
    if evening_before is not None and not evening_before.wet and not evening_before.held:
        return Choice(evening_before.on, DayPart.EVENING, DayReason.ONLY_DRY)
    driest = min(free, key=lambda day: (day.rain_mm, day.on))
    return Choice(driest.on, driest.part, DayReason.LEAST_WET)


def mowing_dates(mowing_days: frozenset[int], *, first: date, last: date) -> tuple[date, ...]:
    """Return the dates of a keeper's mowing days from ``first`` to ``last``, both included."""
    span = (last - first).days + 1
    dates = (first + timedelta(days=day) for day in range(span))
    return tuple(on for on in dates if on.weekday() in mowing_days)


def next_mowing_date(mowing_days: frozenset[int], *, after: date) -> date:
    """Return the first mowing day after a date."""
    return mowing_dates(mowing_days, first=after + timedelta(days=1), last=after + timedelta(days=7))[0]
