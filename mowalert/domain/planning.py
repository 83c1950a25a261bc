"""What past years say of the next: cuts by month at a height, and the height an interval can keep.

A year runs from the winter to the winter: 1 January to 31 December, south of the equator 1 July to
30 June. Its fastest days are the thirty that follow each other in which the curve grows most. A
height can be kept with a cut every so many days when growth over no such interval, within the fastest
days of a typical year, passes the height's limit. Typical is the median of the years.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from statistics import median
from typing import Any

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.grasses import Grass
from mowalert.domain.growth import KEPT_BELOW_CEILING, height_mm
from mowalert.domain.season import SeasonMowing
from mowalert.domain.stand import StandCurve
from mowalert.domain.thirds import THIRD, limit_height_mm

FASTEST_D = 30
"""Days that count as a year's fastest."""
LONGEST_INTERVAL_D = 365
"""Every year has so many days."""
COARSE_FROM_MM = 20.0
"""From this height on neighbours lie whole steps of 5 mm apart; mowers are set so."""
ALMOST = 1.0 - 1e-9
"""Keeps a share of a day from being rounded up to a day."""


@dataclass(frozen=True, slots=True)
class Year:
    """One year from winter to winter, both days included."""

    first_on: date
    last_on: date

    @property
    def name(self) -> str:
        """What it is called: 2014, or 2014/15 south of the equator."""
        first = str(self.first_on.year)
        return f"{first}/{self.last_on.year % 100:02d}" if self.southern else first

    @property
    def southern(self) -> bool:
        """Whether it begins in July."""
        return self.first_on.month == 7

    @property
    def months(self) -> tuple[int, ...]:
        """Its months in order."""
        return tuple((self.first_on.month - 1 + ahead) % 12 + 1 for ahead in range(12))

    @staticmethod
    def of(on: date, *, latitude_deg: float) -> "Year":
        """Return the year a day lies in, at a latitude."""
        if latitude_deg >= 0:
            return Year(date(on.year, 1, 1), date(on.year, 12, 31))
        begins = on.year if on.month >= 7 else on.year - 1
        return Year(date(begins, 7, 1), date(begins + 1, 6, 30))


@dataclass(frozen=True, slots=True)
class MonthDay:
    """A day of any year."""

    month: int
    day: int


@dataclass(frozen=True, slots=True)
class DaySpread:
    """How a day of the year varies over years."""

    earliest: MonthDay
    median: MonthDay
    latest: MonthDay


@dataclass(frozen=True, slots=True)
class YearCuts:
    """Cuts of one year: by month, in the order of the year, with the first and the last."""

    year: Year
    by_month: tuple[int, ...]
    first_on: date | None
    last_on: date | None

    @property
    def cuts(self) -> int:
        """All of the year's cuts."""
        return sum(self.by_month)


@dataclass(frozen=True, slots=True)
class HeightPlan:
    """What to expect of a year at one height.

    ``mean_by_month`` follows the order of the year; ``first_cut`` and ``last_cut`` are none where no
    year has a cut. ``never_due`` marks a height whose limit the grass does not reach.
    """

    height_mm: float
    mean_by_month: tuple[float, ...]
    mean_cuts: float
    fewest_cuts: int
    most_cuts: int
    first_cut: DaySpread | None
    last_cut: DaySpread | None
    years_without_cut: int
    never_due: bool
    years: tuple[YearCuts, ...]


@dataclass(frozen=True, slots=True)
class HeightNeed:
    """How long a height may go without a cut in the fastest days, in days; none if a whole year.

    ``days`` is of the typical year; ``whole_days`` is rounded down, so that the rule is kept, and 0
    where even a daily cut takes too much. ``fastest_year_days`` and ``slowest_year_days`` are those
    of the years that ask for most and least.
    """

    height_mm: float
    days: float | None
    whole_days: int | None
    fastest_year_days: float | None
    slowest_year_days: float | None

    def keeps(self, every_days: int) -> bool:
        """Whether a cut every so many days is enough."""
        return self.whole_days is None or self.whole_days >= every_days


@dataclass(frozen=True, slots=True)
class Keepable:
    """The lowest height an interval keeps, such that every greater one is kept too; none if none is.

    ``also_kept_mm`` are lower heights that would be kept although a greater one would not: heights
    root in bands, and deeper roots keep grass growing faster where it is dry.
    """

    every_days: int
    lowest_mm: float | None
    also_kept_mm: tuple[float, ...]

    @property
    def monotone(self) -> bool:
        """Whether keeping a height means keeping every greater one."""
        return not self.also_kept_mm


def years_between(first: date, last: date, *, latitude_deg: float) -> tuple[Year, ...]:
    """Return every year that has a day from ``first`` to ``last``, at a latitude, in order."""
    years = []
    on = first
    while on <= last:
        years.append(Year.of(on, latitude_deg=latitude_deg))
        on = years[-1].last_on + timedelta(days=1)
    return tuple(years)


def last_years(before: date, count: int, *, latitude_deg: float) -> tuple[Year, ...]:
    """Return the last years that were over before a day, at a latitude, in order."""
    years: list[Year] = []
    on = Year.of(before, latitude_deg=latitude_deg).first_on
    for _ in range(count):
        years.append(Year.of(on - timedelta(days=1), latitude_deg=latitude_deg))
        on = years[-1].first_on
    return tuple(reversed(years))


def neighbours_mm(grass: Grass, chosen_mm: float) -> tuple[float, ...]:
    """Return a height with the next lower and higher ones worth comparing, within the grass's range.

    Parameters
    ----------
    grass : Grass
        Whose range it is.
    chosen_mm : float
        The height. [mm]

    Returns
    -------
    tuple[float, ...]
        Three heights about a quarter of the height apart, rising; nearer to each other, or both
        others on one side, where the range ends. [mm]
    """
    unit_mm = 5 if chosen_mm >= COARSE_FROM_MM else 1
    near: list[float] = []
    for units in range(max(1, round(chosen_mm / 4 / unit_mm)), 0, -1):
        others = [chosen_mm + steps * units * unit_mm for steps in (0, -1, 1, -2, 2)]
        near = sorted([mm for mm in others if grass.lowest_mm <= mm <= grass.highest_mm][:3])
        # Where the range ends, heights nearer to each other are better than fewer.
        if len(near) == 3:
            break
    return tuple(near)


def whole_heights_mm(grass: Grass) -> tuple[float, ...]:
    """Return every whole millimetre a grass may be kept at, rising. [mm]"""
    return tuple(float(mm) for mm in range(int(np.ceil(grass.lowest_mm)), int(grass.highest_mm) + 1))


def is_never_due(grass: Grass, chosen_mm: float, third: float = THIRD) -> bool:
    """Say whether a height's limit lies so near the ceiling that the grass never reaches it."""
    return limit_height_mm(chosen_mm, third) >= KEPT_BELOW_CEILING * grass.ceiling_mm


def one_stand(curve: StandCurve, index: int) -> StandCurve:
    """Return one stand's rows of a curve; the settled state stays that of all."""
    rows = slice(index, index + 1)
    values = {entry.name: getattr(curve, entry.name) for entry in fields(curve)}
    part: dict[str, Any] = {name: told[rows] for name, told in values.items() if isinstance(told, np.ndarray)}
    return replace(curve, **part)


def daily_growth_mm(curve: StandCurve, year: Year) -> Floats:
    """Return what each stand of a curve grows on each day of a year, shape (stand, day). [mm]"""
    first = (year.first_on - curve.first_on).days
    daily_mm = np.diff(curve.growth_mm, axis=1, prepend=0.0)
    return np.asarray(daily_mm[:, first : (year.last_on - curve.first_on).days + 1])


def year_cuts(mowings: Sequence[SeasonMowing], year: Year) -> YearCuts:
    """Count the cuts that fall in a year."""
    days = [cut.on for cut in mowings if year.first_on <= cut.on <= year.last_on]
    by_month = tuple(sum(on.month == month for on in days) for month in year.months)
    return YearCuts(year, by_month, min(days, default=None), max(days, default=None))


def height_plan(chosen_mm: float, years: Sequence[YearCuts], *, never_due: bool = False) -> HeightPlan:
    """Sum up the years of one height.

    Parameters
    ----------
    chosen_mm : float
        The height. [mm]
    years : Sequence[YearCuts]
        At least one, all from the same half of the earth.
    never_due : bool
        Whether the grass never reaches the height's limit.

    Returns
    -------
    HeightPlan
        Means, ranges, and when the first and the last cut fall.
    """
    counts, southern = [year.cuts for year in years], years[0].year.southern
    return HeightPlan(
        height_mm=chosen_mm,
        mean_by_month=tuple(float(mean) for mean in np.mean([year.by_month for year in years], axis=0)),
        mean_cuts=float(np.mean(counts)),
        fewest_cuts=min(counts),
        most_cuts=max(counts),
        first_cut=day_spread([year.first_on for year in years if year.first_on], southern=southern),
        last_cut=day_spread([year.last_on for year in years if year.last_on], southern=southern),
        years_without_cut=counts.count(0),
        never_due=never_due,
        years=tuple(years),
    )


def day_spread(days: Sequence[date], *, southern: bool) -> DaySpread | None:
    """Return the earliest, median and latest day of the year; none of no days.

    Parameters
    ----------
    days : Sequence[date]
        Days of several years.
    southern : bool
        Whether the year begins on 1 July.

    Returns
    -------
    DaySpread | None
        As days of any year; between two middle days the earlier half counts.
    """
    if not days:
        return None
    places = sorted(_place_in_year(on, southern=southern) for on in days)
    begins = _begins(southern)
    told = [begins + timedelta(days=place) for place in (places[0], int(median(places)), places[-1])]
    return DaySpread(*(MonthDay(on.month, on.day) for on in told))


def _begins(southern: bool) -> date:
    # Both these years have a 29 February, so that every day has its place.
    return date(1999, 7, 1) if southern else date(2000, 1, 1)


def _place_in_year(on: date, *, southern: bool) -> int:
    like = date(1999 if southern and on.month >= 7 else 2000, on.month, on.day)
    return (like - _begins(southern)).days


def fastest_start(daily_mm: Floats, days: int = FASTEST_D) -> int:
    """Return the index of the day on which a year's fastest days begin; the earliest of equal ones."""
    total = np.concatenate([[0.0], np.cumsum(daily_mm)])
    return int(np.argmax(total[days:] - total[:-days]))


def fastest_growth_mm(daily_mm: Floats) -> Floats:
    """Return the most a year's curve grows over an interval of 0, 1, 2 ... days in its fastest days.

    Parameters
    ----------
    daily_mm : Floats
        Growth of each day of a year, shape (day,). [mm]

    Returns
    -------
    Floats
        By length of the interval in days, shape (366,), never falling. [mm] An interval longer than
        the fastest days is the fastest of its own length.
    """
    total = np.concatenate([[0.0], np.cumsum(daily_mm)])
    start = fastest_start(daily_mm)
    fastest = total[start : start + FASTEST_D + 1]
    within = [_most_over(fastest, days) for days in range(FASTEST_D + 1)]
    beyond = [_most_over(total, days) for days in range(FASTEST_D + 1, LONGEST_INTERVAL_D + 1)]
    return np.array(within + beyond)


def _most_over(total_mm: Floats, days: int) -> float:
    return float(np.max(total_mm[days:] - total_mm[: len(total_mm) - days]))


def height_need(
    grass: Grass, chosen_mm: float, fastest_mm: Floats, *, pace: float, third: float = THIRD
) -> HeightNeed:
    """Say how long a height may go without a cut in the fastest days of a typical year.

    Parameters
    ----------
    grass : Grass
        The lawn's grass.
    chosen_mm : float
        Height it is cut to. [mm]
    fastest_mm : Floats
        What ``fastest_growth_mm`` says of each year, shape (year, interval). [mm]
    pace : float
        The lawn's ``k``. [-]
    third : float
        Largest share of the blade a cut may take. [-]

    Returns
    -------
    HeightNeed
        Days of the typical, fastest and slowest year.
    """
    if is_never_due(grass, chosen_mm, third):
        return HeightNeed(chosen_mm, None, None, None, None)
    heights_mm = height_mm(fastest_mm, from_height_mm=chosen_mm, pace=pace, ceiling_mm=grass.ceiling_mm)
    grown_mm = heights_mm - chosen_mm
    room_mm = limit_height_mm(chosen_mm, third) - chosen_mm
    typical = _days_within(np.median(grown_mm, axis=0), room_mm)
    return HeightNeed(
        height_mm=chosen_mm,
        days=typical,
        whole_days=None if typical is None else int(typical),
        fastest_year_days=_days_within(np.max(grown_mm, axis=0), room_mm),
        slowest_year_days=_days_within(np.min(grown_mm, axis=0), room_mm),
    )


def _days_within(grown_mm: Floats, room_mm: float) -> float | None:
    """Longest interval whose growth stays within some room; none if every interval's does. [d]"""
    over = np.flatnonzero(grown_mm > room_mm)
    if not over.size:
        return None
    kept = int(over[0]) - 1
    share = (room_mm - grown_mm[kept]) / (grown_mm[kept + 1] - grown_mm[kept])
    return kept + min(float(share), ALMOST)


def keepable_height(needs: Sequence[HeightNeed], every_days: int) -> Keepable:
    """Find the lowest height that an interval keeps, and every greater one with it.

    Parameters
    ----------
    needs : Sequence[HeightNeed]
        Heights, rising.
    every_days : int
        Days from one cut to the next.

    Returns
    -------
    Keepable
        The height, if there is one, and lower ones that would be kept by themselves.
    """
    kept = [need.keeps(every_days) for need in needs]
    first = len(kept) - next((count for count, keeps in enumerate(reversed(kept)) if not keeps), len(kept))
    return Keepable(
        every_days=every_days,
        lowest_mm=needs[first].height_mm if first < len(needs) else None,
        also_kept_mm=tuple(need.height_mm for need in needs[:first] if need.keeps(every_days)),
    )
