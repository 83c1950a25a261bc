"""Which chance is taken, in which hours, and the reason that is told with it."""

from dataclasses import replace
from datetime import date, timedelta
from math import nan
from typing import Any

import pytest
from builders import THURSDAY, WEEKEND

from mowalert.domain.chances import ChanceDay, Choice, best_day, mowing_dates, next_mowing_date
from mowalert.domain.notices import DayPart, DayReason

SATURDAY, SUNDAY, MONDAY = (THURSDAY + timedelta(days=days) for days in (2, 3, 4))
FRIDAY = THURSDAY + timedelta(days=1)
LIMIT_MM = 112.5
TOO_TALL_MM = 113.0


def a_chance(on: date = SATURDAY, **changes: Any) -> ChanceDay:
    """A dry, mild day on which the grass is well below its limit."""
    dry = ChanceDay(on, 100.0, rain_mm=0.0, rain_in_hours_mm=0.0, t_min_c=10.0, t_max_c=20.0, held=False)
    return replace(dry, **changes)


def wet(on: date, rain_mm: float = 8.0, **changes: Any) -> ChanceDay:
    return a_chance(on, rain_mm=rain_mm, rain_in_hours_mm=rain_mm, **changes)


def threatened(on: date, rain_mm: float = 1.0, **changes: Any) -> ChanceDay:
    """Rain is forecast, though not in the mowing hours."""
    return a_chance(on, rain_mm=rain_mm, **changes)


def choice(*chances: ChanceDay, evening_before: ChanceDay | None = None) -> Choice | None:
    return best_day(chances, limit_mm=LIMIT_MM, evening_before=evening_before)


@pytest.mark.parametrize(
    ("rain_in_hours_mm", "rain_mm", "is_wet"),
    [(1.0, 1.0, True), (0.9, 30.0, False), (nan, 4.0, True), (nan, 3.9, False)],
)
def test_rain_of_the_day_counts_only_where_that_of_the_hours_is_unknown(
    rain_in_hours_mm: float, rain_mm: float, is_wet: bool
) -> None:
    assert a_chance(rain_in_hours_mm=rain_in_hours_mm, rain_mm=rain_mm).wet is is_wet


@pytest.mark.parametrize(
    ("t_min_c", "t_max_c", "part"),
    [
        (0.0, 8.0, DayPart.AFTERNOON),
        (0.1, 8.0, DayPart.MORNING),
        (15.0, 28.9, DayPart.MORNING),
        (15.0, 29.0, DayPart.EARLY_MORNING),
    ],
)
def test_cool_hours_in_heat_and_warm_ones_after_frost(t_min_c: float, t_max_c: float, part: DayPart) -> None:
    hours = a_chance(t_min_c=t_min_c, t_max_c=t_max_c)
    assert choice(hours) == Choice(SATURDAY, part, DayReason.LAST_SAFE)


def test_the_last_chance_at_the_limit_is_still_safe() -> None:
    at_limit, above = a_chance(SUNDAY, height_mm=LIMIT_MM), a_chance(MONDAY, height_mm=TOO_TALL_MM)
    assert choice(a_chance(), at_limit, above) == Choice(SUNDAY, DayPart.MORNING, DayReason.LAST_SAFE)


def test_the_first_dry_day_is_taken_once_all_are_above_the_limit() -> None:
    chances = (wet(SATURDAY), a_chance(SUNDAY, t_max_c=30.0), a_chance(MONDAY))
    tall = [replace(day, height_mm=TOO_TALL_MM) for day in chances]
    assert choice(*tall) == Choice(SUNDAY, DayPart.EARLY_MORNING, DayReason.OVERDUE)


def test_every_chance_in_a_hold_leaves_no_day() -> None:
    assert choice(a_chance(held=True), a_chance(SUNDAY, held=True)) is None
    assert choice() is None


@pytest.mark.parametrize("last", [threatened(SUNDAY), wet(SUNDAY), threatened(SUNDAY, height_mm=LIMIT_MM)])
def test_a_day_is_kept_in_reserve_for_rain(last: ChanceDay) -> None:
    assert choice(a_chance(), last) == Choice(SATURDAY, DayPart.MORNING, DayReason.RAIN_RESERVE)


def test_a_little_rain_outside_the_hours_threatens_nothing() -> None:
    drizzle = threatened(SUNDAY, rain_mm=0.9)
    assert choice(a_chance(), drizzle) == Choice(SUNDAY, DayPart.MORNING, DayReason.LAST_SAFE)


def test_the_first_safe_day_is_taken_where_rain_threatens_all() -> None:
    saturday = choice(threatened(SATURDAY), threatened(SUNDAY), threatened(MONDAY))
    assert saturday == Choice(SATURDAY, DayPart.MORNING, DayReason.RAIN_RESERVE)


def test_rain_on_a_day_that_is_held_anyway_is_no_reason() -> None:
    saturday = choice(a_chance(), wet(SUNDAY, held=True))
    assert saturday == Choice(SATURDAY, DayPart.MORNING, DayReason.LAST_SAFE)


def test_rain_on_the_chosen_day_itself_or_above_the_limit_is_no_reserve() -> None:
    only = choice(threatened(SATURDAY), wet(SUNDAY, height_mm=TOO_TALL_MM))
    assert only == Choice(SATURDAY, DayPart.MORNING, DayReason.LAST_SAFE)


def test_rain_on_an_earlier_day_is_no_reserve() -> None:
    sunday = choice(threatened(SATURDAY), a_chance(SUNDAY))
    assert sunday == Choice(SUNDAY, DayPart.MORNING, DayReason.LAST_SAFE)


def test_the_one_dry_day_after_a_wet_one_is_told_as_such() -> None:
    sunday = Choice(SUNDAY, DayPart.MORNING, DayReason.ONLY_DRY)
    assert choice(wet(SATURDAY), a_chance(SUNDAY)) == sunday
    assert choice(wet(SATURDAY), a_chance(SUNDAY), a_chance(MONDAY, held=True)) == sunday


def test_one_of_several_dry_days_is_not_the_only_one() -> None:
    chances = (wet(FRIDAY), a_chance(SATURDAY), a_chance(SUNDAY))
    assert choice(*chances) == Choice(SUNDAY, DayPart.MORNING, DayReason.LAST_SAFE)


def test_an_only_chance_is_not_the_only_dry_one() -> None:
    assert choice(a_chance()) == Choice(SATURDAY, DayPart.MORNING, DayReason.LAST_SAFE)


def test_a_dry_evening_before_wet_chances_is_offered() -> None:
    chosen = choice(wet(SATURDAY), wet(SUNDAY), evening_before=a_chance(FRIDAY))
    assert chosen == Choice(FRIDAY, DayPart.EVENING, DayReason.ONLY_DRY)


@pytest.mark.parametrize("friday", [None, wet(FRIDAY), a_chance(FRIDAY, held=True)])
def test_the_least_wet_chance_is_taken_where_that_evening_is_not_to_be_had(friday: ChanceDay | None) -> None:
    chances = (
        wet(SATURDAY, 9.0),
        wet(SUNDAY, 7.0, t_max_c=30.0),
        wet(MONDAY, 7.0),
        wet(FRIDAY, 2.0, held=True),
    )
    chosen = choice(*chances, evening_before=friday)
    assert chosen == Choice(SUNDAY, DayPart.EARLY_MORNING, DayReason.LEAST_WET)


def test_mowing_dates_include_both_ends() -> None:
    assert mowing_dates(WEEKEND, first=SATURDAY, last=SUNDAY) == (SATURDAY, SUNDAY)
    assert mowing_dates(WEEKEND, first=FRIDAY, last=SATURDAY) == (SATURDAY,)
    assert mowing_dates(WEEKEND, first=MONDAY, last=MONDAY) == ()


def test_the_next_mowing_date_lies_after_the_day_itself() -> None:
    assert next_mowing_date(WEEKEND, after=SATURDAY) == SUNDAY
    assert next_mowing_date(frozenset({5}), after=SATURDAY) == SATURDAY + timedelta(days=7)
