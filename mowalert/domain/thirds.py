"""The one-third rule: never remove more than a third of the blade in one cut.

Two readings are in print and both are used here. The *limit* is the height at which a cut to the
chosen height removes a third of the blade, 1.5 times the chosen height. The *window* opens earlier,
when growth has reached a third of the chosen height, 4/3 of it.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import date, timedelta
from enum import StrEnum
from itertools import islice, pairwise, repeat

from mowalert.domain.notices import MowingPlan, PlannedCut
from mowalert.domain.words import Clippings

THIRD = 1.0 / 3.0
NEAR_MISS = 0.40
SEVERE = 0.50
MOST_CUTS = 12
"""A plan of more cuts than this is no plan."""
DAYS_BETWEEN = 3
"""Days from one staged cut to the next; common practice is two to four."""
NEAR_DAYS = (DAYS_BETWEEN, 4, 2)
"""Days on which a cut would do as well if one of them is the keeper's own, the best first."""
LATEST_DAYS = 60
EVERY_DAY = frozenset(range(7))


class Removal(StrEnum):
    """How much of the blade a cut took; bands are common practice."""

    GOOD = "good"
    NEAR_MISS = "near_miss"
    TOO_MUCH = "too_much"
    SEVERE = "severe"


def limit_height_mm(chosen_mm: float, third: float = THIRD) -> float:
    """Return the height at which a cut to the chosen height removes ``third`` of the blade."""
    return chosen_mm / (1.0 - third)


def window_height_mm(chosen_mm: float, third: float = THIRD) -> float:
    """Return the height at which growth has reached ``third`` of the chosen height."""
    return chosen_mm * (1.0 + third)


def removed_fraction(height_mm: float, chosen_mm: float) -> float:
    """Return the share of the blade a cut removes; nothing if the grass is lower."""
    return max(0.0, 1.0 - chosen_mm / height_mm)


def removal(fraction: float) -> Removal:
    """Name the band a removed share falls in."""
    if fraction <= THIRD + 1e-9:
        return Removal.GOOD
    if fraction <= NEAR_MISS:
        return Removal.NEAR_MISS
    return Removal.TOO_MUCH if fraction <= SEVERE else Removal.SEVERE


def clippings_after(fraction: float, *, collect: bool = False) -> Clippings:
    """Say what to do with the clippings of a cut; over 40 % they would smother the turf."""
    if fraction > NEAR_MISS:
        return Clippings.COLLECT if collect else Clippings.CUT_TWICE
    return Clippings.COLLECT if collect else Clippings.LEAVE


def staged_heights_mm(
    height_mm: float,
    chosen_mm: float,
    *,
    growth_mm_d: float = 0.0,
    days_between: float = 3.0,
    max_removed: float = THIRD,
) -> tuple[list[tuple[float, float]], bool]:
    """Bring overgrown turf down in steps, none of which takes more than allowed.

    Parameters
    ----------
    height_mm : float
        Height before the first cut. [mm]
    chosen_mm : float
        Height to come down to. [mm]
    growth_mm_d : float
        Growth between the cuts. [mm/d]
    days_between : float
        Days from one cut to the next. [d]
    max_removed : float
        Largest share of the blade one cut may take. [-]

    Returns
    -------
    tuple[list[tuple[float, float]], bool]
        Height before and after each cut, and whether the chosen height is reached. It is not
        when growth between the cuts puts back what they take. [mm]
    """
    return _steps(height_mm, chosen_mm, repeat(growth_mm_d * days_between), max_removed)


def _steps(
    height_mm: float, chosen_mm: float, growths_mm: Iterable[float], max_removed: float
) -> tuple[list[tuple[float, float]], bool]:
    """Return heights before and after cuts, given what grows after each, and whether the last is reached."""
    cuts: list[tuple[float, float]] = []
    before = height_mm
    for growth_mm in islice(growths_mm, MOST_CUTS):
        after = (1.0 - max_removed) * before
        if after <= chosen_mm * (1 + 1e-9):
            cuts.append((before, chosen_mm))
            return cuts, True
        cuts.append((before, after))
        before = after + growth_mm
        if before >= cuts[-1][0] - 0.1:
            return cuts, False
    return cuts, False


def plan_cuts(
    first_on: date,
    heights_mm: Mapping[date, float],
    *,
    chosen_mm: float,
    mowing_days: frozenset[int] = EVERY_DAY,
    allowed_days: frozenset[int] = EVERY_DAY,
    held: Collection[date] = (),
    max_removed: float = THIRD,
) -> MowingPlan:
    """Plan staged cuts on the forecast, two to four days from one to the next where days allow it.

    Parameters
    ----------
    first_on : date
        Day of the first cut.
    heights_mm : Mapping[date, float]
        Forecast height of the uncut lawn by day. [mm]
    chosen_mm : float
        Height to come down to. [mm]
    mowing_days : frozenset[int]
        Weekdays the keeper mows on, Monday 0; others are taken where none of these is near enough.
    allowed_days : frozenset[int]
        Weekdays on which local rules let anybody mow.
    held : Collection[date]
        Days on which nothing is cut; later ones than these are assumed free.
    max_removed : float
        Largest share of the blade one cut may take. [-]

    Returns
    -------
    MowingPlan
        The cuts, and the height that can be kept when growth outruns them.
    """
    growth_mm_d = _growth_after(first_on, heights_mm)
    days: list[date] = []

    def growths_mm() -> Iterator[float]:
        for on, later in pairwise(_cut_days(first_on, mowing_days, allowed_days, held)):
            days.append(on)
            yield growth_mm_d * (later - on).days

    steps, reaches = _steps(heights_mm[first_on], chosen_mm, growths_mm(), max_removed)
    cuts = tuple(
        PlannedCut(on, before, after, removed_fraction(before, after))
        for on, (before, after) in zip(days, steps, strict=True)
    )
    keepable_mm = None if reaches else max(chosen_mm, growth_mm_d * DAYS_BETWEEN * (1 / max_removed - 1))
    return MowingPlan(cuts, reaches, keepable_mm)


def _cut_days(
    first_on: date, mowing_days: frozenset[int], allowed_days: frozenset[int], held: Collection[date]
) -> Iterator[date]:
    """Days of one cut after another: the keeper's own where one is near enough, else the first free one."""
    on = first_on
    while True:
        yield on
        on = _next_cut_day(on, mowing_days & allowed_days, allowed_days, held)


def _next_cut_day(
    on: date, own_days: frozenset[int], allowed_days: frozenset[int], held: Collection[date]
) -> date:
    def first_free(days: Iterable[int], weekdays: frozenset[int]) -> date | None:
        dates = (on + timedelta(days=day) for day in days)
        return next((one for one in dates if one.weekday() in weekdays and one not in held), None)

    return first_free(NEAR_DAYS, own_days) or first_free(range(DAYS_BETWEEN, LATEST_DAYS), allowed_days) or on


def _growth_after(first_on: date, heights_mm: Mapping[date, float]) -> float:
    later = [mm for on, mm in sorted(heights_mm.items()) if on >= first_on]
    return max(0.0, (later[-1] - later[0]) / (len(later) - 1)) if len(later) > 1 else 0.0
