"""Years from winter to winter, what a year's cuts come to, and the heights that intervals keep."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from builders import BLUEGRASS, TURF
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.arrays import Floats
from mowalert.domain.growth import height_mm
from mowalert.domain.planning import (
    FASTEST_D,
    HeightNeed,
    MonthDay,
    Year,
    YearCuts,
    day_spread,
    fastest_growth_mm,
    fastest_start,
    height_need,
    height_plan,
    keepable_height,
    last_years,
    neighbours_mm,
    whole_heights_mm,
    year_cuts,
    years_between,
)
from mowalert.domain.season import SeasonMowing

NORTH, SOUTH = 45.0, -37.0
FORTNIGHTS = st.lists(st.floats(0, 12), min_size=27, max_size=27)


def a_year(first_on: date = date(2014, 1, 1)) -> Year:
    return Year(first_on, first_on.replace(year=first_on.year + 1) - timedelta(days=1))


def cut_on(on: date) -> SeasonMowing:
    return SeasonMowing(on, 75.0, 50.0, 1 / 3)


def days_of(fortnights: list[float]) -> Floats:
    """A year that grows at one rate for a fortnight."""
    return np.repeat(fortnights, 14)[:366]


def a_need(height: float, whole_days: int | None) -> HeightNeed:
    days = None if whole_days is None else whole_days + 0.5
    return HeightNeed(height, days, whole_days, days, days)


def test_a_northern_year_is_a_calendar_year() -> None:
    year = Year.of(date(2014, 7, 1), latitude_deg=NORTH)
    assert (year.first_on, year.last_on) == (date(2014, 1, 1), date(2014, 12, 31))
    assert year.name == "2014"
    assert year.months == tuple(range(1, 13))


@pytest.mark.parametrize("on", [date(2014, 7, 1), date(2014, 12, 31), date(2015, 1, 1), date(2015, 6, 30)])
def test_a_southern_year_runs_from_july_to_june(on: date) -> None:
    year = Year.of(on, latitude_deg=SOUTH)
    assert (year.first_on, year.last_on) == (date(2014, 7, 1), date(2015, 6, 30))
    assert year.name == "2014/15"
    assert year.months == (7, 8, 9, 10, 11, 12, 1, 2, 3, 4, 5, 6)


def test_years_between_two_days_are_all_that_have_one_of_them() -> None:
    years = years_between(date(2013, 12, 31), date(2016, 1, 1), latitude_deg=NORTH)
    assert [year.name for year in years] == ["2013", "2014", "2015", "2016"]


def test_the_last_years_leave_out_the_one_that_runs() -> None:
    north = last_years(date(2026, 12, 31), 3, latitude_deg=NORTH)
    assert [year.name for year in north] == ["2023", "2024", "2025"]
    south = last_years(date(2026, 6, 30), 2, latitude_deg=SOUTH)
    assert [year.name for year in south] == ["2023/24", "2024/25"]


@pytest.mark.parametrize(
    ("grass", "height", "compared"),
    [
        ("perennial_ryegrass", 65, (50, 65, 80)),
        ("perennial_ryegrass", 50, (40, 50, 60)),
        ("perennial_ryegrass", 13, (13, 16, 19)),
        ("perennial_ryegrass", 90, (50, 70, 90)),
        ("creeping_bentgrass", 3, (3, 4, 5)),
        ("st_augustinegrass", 50, (50, 60, 70)),
    ],
)
def test_a_height_is_compared_with_sensible_neighbours(
    grass: str, height: float, compared: tuple[float, ...]
) -> None:
    assert neighbours_mm(TURF.grasses[grass], height) == compared


@pytest.mark.parametrize("grass", sorted(TURF.grasses))
def test_every_height_has_two_neighbours_within_the_range(grass: str) -> None:
    turf = TURF.grasses[grass]
    for height in whole_heights_mm(turf):
        near = neighbours_mm(turf, height)
        assert len(set(near)) == 3
        assert height in near
        assert turf.lowest_mm <= min(near) <= max(near) <= turf.highest_mm


def test_a_day_of_the_year_is_the_same_in_leap_years() -> None:
    spread = day_spread([date(2015, 3, 1), date(2016, 3, 1), date(2016, 2, 29)], southern=False)
    assert spread is not None
    assert (spread.earliest, spread.median, spread.latest) == (
        MonthDay(2, 29),
        MonthDay(3, 1),
        MonthDay(3, 1),
    )


def test_in_the_south_january_is_later_than_december() -> None:
    spread = day_spread([date(2014, 12, 20), date(2016, 1, 10), date(2014, 9, 1)], southern=True)
    assert spread is not None
    assert (spread.earliest, spread.median, spread.latest) == (
        MonthDay(9, 1),
        MonthDay(12, 20),
        MonthDay(1, 10),
    )


def test_no_days_spread_nowhere() -> None:
    assert day_spread([], southern=False) is None


def test_only_cuts_of_the_year_count() -> None:
    days = [date(2013, 12, 31), date(2014, 4, 1), date(2014, 4, 9), date(2014, 12, 31), date(2015, 1, 1)]
    cuts = year_cuts([cut_on(on) for on in days], a_year())
    assert cuts.by_month == (0, 0, 0, 2, 0, 0, 0, 0, 0, 0, 0, 1)
    assert (cuts.first_on, cuts.last_on, cuts.cuts) == (date(2014, 4, 1), date(2014, 12, 31), 3)


def test_years_are_summed_up_in_means_and_ranges() -> None:
    busy = year_cuts([cut_on(date(2014, 5, day)) for day in (1, 8, 15)], a_year())
    quiet = YearCuts(a_year(date(2015, 1, 1)), (0,) * 12, None, None)
    plan = height_plan(50.0, [busy, quiet])
    assert plan.mean_by_month[4] == 1.5
    assert (plan.mean_cuts, plan.fewest_cuts, plan.most_cuts) == (1.5, 0, 3)
    assert plan.years_without_cut == 1
    assert plan.first_cut is not None
    assert plan.first_cut.median == MonthDay(5, 1)


def test_the_fastest_days_are_the_thirty_that_grow_most() -> None:
    daily_mm = np.ones(365)
    daily_mm[100:130] = 3.0
    assert fastest_start(daily_mm) == 100
    fastest_mm = fastest_growth_mm(daily_mm)
    assert fastest_mm[:31].tolist() == [3.0 * days for days in range(31)]
    assert fastest_mm[31] == 91.0
    assert fastest_mm[365] == pytest.approx(daily_mm.sum())


def test_a_burst_outside_the_fastest_days_does_not_count() -> None:
    daily_mm = np.zeros(365)
    daily_mm[100:130] = 3.0
    daily_mm[250] = 20.0
    assert fastest_growth_mm(daily_mm)[1] == 3.0


@given(rates=FORTNIGHTS)
def test_a_longer_interval_never_grows_less(rates: list[float]) -> None:
    grown_mm = fastest_growth_mm(days_of(rates))
    assert len(grown_mm) == 366
    assert np.all(np.diff(grown_mm) >= -1e-9)


@given(rates=FORTNIGHTS, chosen=st.integers(13, 90), pace=st.floats(0.4, 1.5))
def test_the_interval_a_height_needs_is_rounded_down_so_that_the_rule_is_kept(
    rates: list[float], chosen: int, pace: float
) -> None:
    daily_mm = days_of(rates)
    need = height_need(BLUEGRASS, chosen, fastest_growth_mm(daily_mm)[None, :], pace=pace)

    def tallest(interval: int) -> float:
        """The tallest a cut lawn gets in the fastest days, day by day."""
        window = max(FASTEST_D, interval)
        start = fastest_start(daily_mm, window)
        growth = [
            float(daily_mm[first : first + interval].sum())
            for first in range(start, start + window - interval + 1)
        ]
        return float(height_mm(max(growth), from_height_mm=chosen, pace=pace, ceiling_mm=500.0))

    if need.whole_days is None:
        assert tallest(365) <= 1.5 * chosen + 1e-6
        return
    assert tallest(need.whole_days) <= 1.5 * chosen + 1e-6
    assert tallest(need.whole_days + 1) >= 1.5 * chosen - 1e-6


def test_steady_growth_needs_a_cut_when_half_the_height_has_grown() -> None:
    steady_mm = fastest_growth_mm(np.full(365, 4.0))
    need = height_need(BLUEGRASS, 50.0, steady_mm[None, :], pace=1.0)
    # 25 mm at 4 mm a day, slowed a little by the ceiling.
    assert need.days == pytest.approx(6.35, abs=0.1)
    assert need.whole_days == 6
    assert need.keeps(6)
    assert not need.keeps(7)


def test_the_typical_year_is_the_median_one() -> None:
    years = [fastest_growth_mm(np.full(365, rate)) for rate in (2.0, 4.0, 5.0)]
    need = height_need(BLUEGRASS, 50.0, np.array(years), pace=1.0)
    alone = [height_need(BLUEGRASS, 50.0, year[None, :], pace=1.0).days for year in years]
    assert [need.slowest_year_days, need.days, need.fastest_year_days] == alone


def test_a_smaller_share_of_the_blade_needs_a_cut_sooner() -> None:
    steady_mm = fastest_growth_mm(np.full(365, 4.0))[None, :]
    quarter = height_need(BLUEGRASS, 60.0, steady_mm, pace=1.0, third=0.25)
    assert quarter.days is not None
    # A quarter of 80 mm is 20 mm over 60 mm.
    assert quarter.days == pytest.approx(20 / 4, abs=0.2)


def test_grass_that_stops_before_its_limit_needs_no_cut() -> None:
    low = replace(BLUEGRASS, ceiling_mm=110.0)
    fast_mm = fastest_growth_mm(np.full(365, 9.0))[None, :]
    assert height_need(low, 70.0, fast_mm, pace=1.0).whole_days is None
    assert height_need(low, 50.0, fast_mm, pace=1.0).whole_days is not None


def test_grass_that_hardly_grows_needs_no_cut_within_a_year() -> None:
    slow_mm = fastest_growth_mm(np.full(365, 0.01))[None, :]
    assert height_need(BLUEGRASS, 50.0, slow_mm, pace=1.0).days is None


def test_the_lowest_keepable_height_is_kept_with_all_greater_ones() -> None:
    needs = [a_need(40, 5), a_need(41, 6), a_need(42, 6), a_need(43, 7)]
    kept = keepable_height(needs, 6)
    assert (kept.lowest_mm, kept.also_kept_mm, kept.monotone) == (41, (), True)


def test_a_lower_height_that_is_kept_below_one_that_is_not_is_told_apart() -> None:
    needs = [a_need(49, 5), a_need(50, 6), a_need(51, 5), a_need(52, 6), a_need(53, None)]
    kept = keepable_height(needs, 6)
    assert (kept.lowest_mm, kept.also_kept_mm, kept.monotone) == (52, (50,), False)


def test_an_interval_no_height_keeps_has_no_answer() -> None:
    assert keepable_height([a_need(40, 5), a_need(41, 5)], 6).lowest_mm is None


def test_an_interval_every_height_keeps_is_answered_with_the_lowest() -> None:
    assert keepable_height([a_need(40, 5), a_need(41, 5)], 5).lowest_mm == 40
