"""The one-third rule: bands of removal, cuts in steps, and a plan of them on the forecast."""

from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import pytest
from builders import THURSDAY
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.notices import MowingPlan, PlannedCut
from mowalert.domain.thirds import (
    Removal,
    clippings_after,
    limit_height_mm,
    plan_cuts,
    removal,
    removed_fraction,
    staged_heights_mm,
)
from mowalert.domain.words import Clippings


def day(ahead_d: int) -> date:
    return THURSDAY + timedelta(days=ahead_d)


def a_plan(*heights_mm: float, held: tuple[int, ...] = (), **changes: Any) -> MowingPlan:
    """Down to 75 mm from THURSDAY on, on a forecast of heights from then on; held days by days ahead."""
    forecast = {day(ahead_d): mm for ahead_d, mm in enumerate(heights_mm)}
    settings = {"chosen_mm": 75.0} | changes
    return plan_cuts(THURSDAY, forecast, held=[day(ahead_d) for ahead_d in held], **settings)


def heights_mm(plan: MowingPlan) -> list[tuple[float, float]]:
    return [(cut.height_before_mm, cut.height_after_mm) for cut in plan.cuts]


def dates(plan: MowingPlan) -> list[date]:
    return [cut.on for cut in plan.cuts]


@pytest.mark.parametrize(
    ("fraction", "band"),
    [
        (0.0, Removal.GOOD),
        (1 / 3, Removal.GOOD),
        (0.34, Removal.NEAR_MISS),
        (0.40, Removal.NEAR_MISS),
        (0.41, Removal.TOO_MUCH),
        (0.50, Removal.TOO_MUCH),
        (0.51, Removal.SEVERE),
    ],
)
def test_a_band_ends_with_its_number(fraction: float, band: Removal) -> None:
    assert removal(fraction) is band


@given(st.floats(5, 150))
def test_a_cut_at_the_limit_is_good_whatever_the_height(chosen_mm: float) -> None:
    assert removal(removed_fraction(limit_height_mm(chosen_mm), chosen_mm)) is Removal.GOOD


def test_clippings_stay_unless_more_than_two_fifths_lie_there() -> None:
    assert clippings_after(0.40) is Clippings.LEAVE
    assert clippings_after(0.41) is Clippings.CUT_TWICE


def test_whoever_collects_collects_after_every_cut() -> None:
    assert {clippings_after(share, collect=True) for share in (0.2, 0.4, 0.6)} == {Clippings.COLLECT}


@given(st.floats(5, 150))
def test_a_cut_at_the_limit_needs_no_second(chosen_mm: float) -> None:
    limit_mm = limit_height_mm(chosen_mm)
    assert staged_heights_mm(limit_mm, chosen_mm) == ([(limit_mm, chosen_mm)], True)


@pytest.mark.parametrize(
    ("growing", "second_from_mm"),
    [
        ({}, 100.0),
        ({"growth_mm_d": 2.0}, 106.0),  # three days, where nothing else is said
        ({"growth_mm_d": 2.0, "days_between": 4.0}, 108.0),
    ],
)
def test_grass_grows_back_between_the_steps(growing: dict[str, float], second_from_mm: float) -> None:
    cuts, reaches = staged_heights_mm(150.0, 75.0, **growing)
    assert cuts == [(150.0, pytest.approx(100.0)), (pytest.approx(second_from_mm), 75.0)]
    assert reaches


def test_steps_that_growth_puts_back_are_given_up_at_once() -> None:
    """A third of 150 mm is 50 mm, which grow again in five days at 10 mm."""
    cuts, reaches = staged_heights_mm(150.0, 75.0, growth_mm_d=10.0, days_between=5.0)
    assert len(cuts) == 1
    assert not reaches


def test_steps_go_on_while_each_begins_lower() -> None:
    """At 49.6 mm between cuts the first two steps win 0.4 and 0.3 mm."""
    cuts, reaches = staged_heights_mm(150.0, 75.0, growth_mm_d=12.4, days_between=4.0)
    assert len(cuts) > 2
    assert not reaches


def test_a_plan_of_more_than_a_dozen_cuts_is_none() -> None:
    """At 37 mm between cuts, heights after them near 74 mm; from 300 mm the thirteenth would be below 75."""
    cuts, reaches = staged_heights_mm(300.0, 75.0, growth_mm_d=37.0, days_between=1.0)
    assert len(cuts) == 12
    assert cuts[-1][1] > 75.0
    assert not reaches


def test_a_plan_cuts_a_third_now_and_the_rest_three_days_later() -> None:
    plan = a_plan(150.0, 151.0, 152.0, 153.0)
    assert plan.reaches_chosen
    assert plan.keepable_mm is None
    assert plan.cuts == (
        PlannedCut(THURSDAY, 150.0, pytest.approx(100.0), pytest.approx(1 / 3)),
        PlannedCut(day(3), pytest.approx(103.0), 75.0, pytest.approx(1 - 75 / 103)),
    )


def test_a_plan_keeps_to_the_share_asked_for() -> None:
    plan = a_plan(150.0, 151.0, max_removed=0.25)
    assert heights_mm(plan) == [(150.0, 112.5), (115.5, 86.625), (89.625, 75.0)]
    assert dates(plan) == [THURSDAY, day(3), day(6)]


def test_a_second_cut_falls_on_the_first_free_day_three_days_on_or_later() -> None:
    assert dates(a_plan(150.0, 151.0)) == [THURSDAY, day(3)]
    assert dates(a_plan(150.0, 151.0, held=(3,))) == [THURSDAY, day(4)]
    assert dates(a_plan(150.0, 151.0, held=(3, 4))) == [THURSDAY, day(2)]
    assert dates(a_plan(150.0, 151.0, held=(2, 3, 4))) == [THURSDAY, day(5)]


def test_held_days_at_the_forecasts_end_put_a_cut_beyond_it() -> None:
    assert dates(a_plan(*([150.0] * 10), held=tuple(range(1, 10)))) == [THURSDAY, day(10)]


@pytest.mark.parametrize(
    ("mowing_days", "second"),
    [
        ({0, 1, 2, 3, 4}, 4),  # Sunday is nobody's: Monday, rather than Saturday
        ({5}, 2),
        ({6}, 3),
        ({3}, 3),  # the next Thursday is too late
    ],
)
def test_a_second_cut_falls_on_a_day_of_the_keepers_if_one_is_near(
    mowing_days: set[int], second: int
) -> None:
    assert dates(a_plan(150.0, 151.0, mowing_days=frozenset(mowing_days))) == [THURSDAY, day(second)]


def test_no_cut_falls_on_a_weekday_that_local_rules_close() -> None:
    no_sunday = frozenset(range(6))
    assert dates(a_plan(150.0, 151.0, allowed_days=no_sunday)) == [THURSDAY, day(4)]
    weekend = frozenset({5, 6})
    assert dates(a_plan(150.0, 151.0, allowed_days=no_sunday, mowing_days=weekend)) == [THURSDAY, day(2)]
    assert dates(a_plan(150.0, 151.0, allowed_days=frozenset({3}))) == [THURSDAY, day(7)]


def test_a_later_second_cut_finds_what_has_grown_by_then() -> None:
    """Three days on, 112 mm would have come down to 75 at once; after five it is 120 mm, a third cut's."""
    plan = a_plan(150.0, 154.0, held=(2, 3, 4))
    assert heights_mm(plan)[1] == (pytest.approx(120.0), pytest.approx(80.0))
    assert dates(plan) == [THURSDAY, day(5), day(8)]
    assert all(cut.removed_fraction <= 1 / 3 + 1e-9 for cut in plan.cuts)


@given(
    st.frozensets(st.integers(0, 6), min_size=1),
    st.frozensets(st.integers(0, 6), min_size=1),
    st.frozensets(st.integers(1, 9)),
    st.floats(0, 8),
)
def test_no_planned_cut_is_held_closed_too_soon_or_too_deep(
    mowing_days: frozenset[int], allowed_days: frozenset[int], held: frozenset[int], growth_mm_d: float
) -> None:
    forecast = [180.0 + growth_mm_d * ahead_d for ahead_d in range(10)]
    plan = a_plan(*forecast, held=tuple(held), mowing_days=mowing_days, allowed_days=allowed_days)
    for before, cut in pairwise(plan.cuts):
        gap_d = (cut.on - before.on).days
        assert cut.on not in {day(ahead_d) for ahead_d in held}
        assert cut.on.weekday() in allowed_days
        assert gap_d >= 3 or (gap_d == 2 and cut.on.weekday() in mowing_days)
        assert cut.height_before_mm == pytest.approx(before.height_after_mm + gap_d * growth_mm_d)
        assert cut.removed_fraction <= 1 / 3 + 1e-9


def test_a_plan_goes_by_the_mean_growth_from_the_first_cut_on() -> None:
    """What grew before the cut says nothing of what grows after it."""
    forecast = {day(-1): 100.0, day(0): 150.0, day(1): 150.0, day(2): 154.0}
    plan = plan_cuts(THURSDAY, forecast, chosen_mm=75.0)
    assert plan.cuts[1].height_before_mm == pytest.approx(100.0 + 3 * 2.0)


@pytest.mark.parametrize(
    ("forecast_mm", "growth_mm_d"), [((150.0, 150.5), 0.5), ((150.0,), 0.0), ((150.0, 140.0), 0.0)]
)
def test_growth_after_the_forecast_is_that_of_its_days_and_never_negative(
    forecast_mm: tuple[float, ...], growth_mm_d: float
) -> None:
    assert a_plan(*forecast_mm).cuts[1].height_before_mm == pytest.approx(100.0 + 3 * growth_mm_d)


@pytest.mark.parametrize(("max_removed", "keepable_mm"), [(1 / 3, 120.0), (0.25, 180.0)])
def test_growth_that_outruns_a_plan_is_said_with_the_height_that_can_be_kept(
    max_removed: float, keepable_mm: float
) -> None:
    """60 mm grow in three days: a third of 180 mm, which leaves 120, a quarter of 240, which leaves 180."""
    plan = a_plan(150.0, 170.0, max_removed=max_removed)
    assert not plan.reaches_chosen
    assert plan.keepable_mm == pytest.approx(keepable_mm)


def test_no_height_below_the_chosen_one_is_offered_instead() -> None:
    """37 mm grow in three days: 74 mm could be kept, though a dozen cuts do not bring 300 mm down to 75."""
    plan = a_plan(300.0, 300.0 + 37 / 3)
    assert not plan.reaches_chosen
    assert plan.keepable_mm == 75.0
