"""What one lawn's keeper is told: one rule a test, and the promises that hold for all."""

from dataclasses import replace
from datetime import timedelta

import pytest
from builders import MORNING_ROUND, THURSDAY, WEEKEND_ROUND, a_lawn, an_outlook
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.decide import decide
from mowalert.domain.notices import DayPart, DayReason, HoldFacts
from mowalert.domain.words import Clippings, HoldReason, NoticeKind

SATURDAY, SUNDAY = THURSDAY + timedelta(days=2), THURSDAY + timedelta(days=3)
DROUGHT = dict.fromkeys(range(10), (HoldReason.DROUGHT,))


def test_a_weekend_mower_is_told_when_next_weekend_would_be_too_late() -> None:
    notice = decide(a_lawn(height_mm=90.0), an_outlook(growth_mm_d=4.0), WEEKEND_ROUND)
    assert notice is not None
    assert notice.kind is NoticeKind.MOW
    assert notice.best_on == SUNDAY
    assert notice.day_reason is DayReason.LAST_SAFE
    assert notice.cut_to_mm == 75.0
    assert notice.removed_fraction == pytest.approx(1 - 75 / 101.5, abs=0.01)
    assert notice.removed_if_waiting is not None
    assert notice.removed_if_waiting > 1 / 3


def test_a_weekend_mower_is_left_alone_in_a_slow_autumn_week() -> None:
    """Taller than the window, but next weekend is still safe."""
    assert decide(a_lawn(height_mm=101.0), an_outlook(growth_mm_d=0.8), WEEKEND_ROUND) is None


def test_hold_beats_due() -> None:
    notice = decide(a_lawn(height_mm=108.0), an_outlook(held=DROUGHT), WEEKEND_ROUND)
    assert notice is not None
    assert notice.kind is NoticeKind.HOLD
    assert notice.reason is HoldReason.DROUGHT
    assert notice.best_on is None


def test_a_hold_is_not_told_to_whom_nothing_is_due() -> None:
    assert decide(a_lawn(height_mm=76.0), an_outlook(growth_mm_d=0.5, held=DROUGHT), WEEKEND_ROUND) is None


def test_a_hold_is_told_to_whoever_asked_for_all_holds() -> None:
    asked = replace(MORNING_ROUND, tells_all_holds=True)
    notice = decide(a_lawn(height_mm=76.0), an_outlook(growth_mm_d=0.5, held=DROUGHT), asked)
    assert notice is not None
    assert notice.kind is NoticeKind.HOLD


def test_a_told_hold_is_not_told_again() -> None:
    told = a_lawn(height_mm=108.0, told_hold=HoldReason.DROUGHT)
    assert decide(told, an_outlook(held=DROUGHT), WEEKEND_ROUND) is None


def test_a_release_needs_today_and_tomorrow_free_and_raises_the_first_cut() -> None:
    told = a_lawn(height_mm=140.0, told_hold=HoldReason.HEAT)
    back_tomorrow = an_outlook(held={1: (HoldReason.HEAT,)})
    assert decide(told, back_tomorrow, WEEKEND_ROUND) is None
    notice = decide(told, an_outlook(), WEEKEND_ROUND)
    assert notice is not None
    assert notice.kind is NoticeKind.RELEASE
    assert notice.cut_to_mm is not None
    assert notice.cut_to_mm > 75.0
    assert notice.plan is not None
    assert all(cut.removed_fraction <= 1 / 3 + 1e-9 for cut in notice.plan.cuts)


def test_winter_is_told_although_a_drought_was() -> None:
    told = a_lawn(height_mm=108.0, told_hold=HoldReason.DROUGHT)
    cold = dict.fromkeys(range(10), (HoldReason.COLD,))
    notice = decide(told, an_outlook(held=cold), replace(WEEKEND_ROUND, tells_all_holds=True))
    assert notice is not None
    assert notice.reason is HoldReason.COLD


def test_old_weather_starts_no_cut_and_ends_no_hold() -> None:
    stale = an_outlook(fresh=False)
    notice = decide(a_lawn(height_mm=105.0), stale, WEEKEND_ROUND)
    assert notice is not None
    assert notice.kind is NoticeKind.NO_WEATHER
    assert decide(a_lawn(height_mm=105.0, told_hold=HoldReason.HEAT), stale, WEEKEND_ROUND) is None
    assert decide(a_lawn(height_mm=76.0), an_outlook(fresh=False, growth_mm_d=0.1), WEEKEND_ROUND) is None


def test_a_wet_sunday_brings_the_cut_forward_to_saturday() -> None:
    notice = decide(a_lawn(height_mm=92.0), an_outlook(rain_mm={3: 8.0}), WEEKEND_ROUND)
    assert notice is not None
    assert notice.best_on == SATURDAY
    assert notice.day_reason is DayReason.RAIN_RESERVE


def test_a_wet_weekend_offers_friday_evening() -> None:
    notice = decide(a_lawn(height_mm=92.0), an_outlook(rain_mm={2: 9.0, 3: 9.0}), WEEKEND_ROUND)
    assert notice is not None
    assert notice.best_on == THURSDAY + timedelta(days=1)
    assert notice.best_part is DayPart.EVENING
    assert notice.day_reason is DayReason.ONLY_DRY


def test_the_limit_comes_before_sunday_so_saturday_is_chosen() -> None:
    notice = decide(a_lawn(height_mm=103.0), an_outlook(growth_mm_d=4.0), WEEKEND_ROUND)
    assert notice is not None
    assert notice.best_on == SATURDAY
    assert notice.limit_on == SUNDAY


def test_overgrown_turf_gets_a_plan_of_small_cuts() -> None:
    notice = decide(a_lawn(height_mm=150.0), an_outlook(growth_mm_d=2.0), WEEKEND_ROUND)
    assert notice is not None
    assert notice.kind is NoticeKind.OVERGROWN
    assert notice.plan is not None
    assert len(notice.plan.cuts) >= 2
    assert notice.plan.reaches_chosen
    assert notice.clippings is Clippings.CUT_TWICE


def test_waterlogged_ground_moves_the_day_while_another_is_free() -> None:
    wet_today = an_outlook(held={0: (HoldReason.WATERLOGGED,), 1: (HoldReason.WATERLOGGED,)})
    notice = decide(a_lawn(height_mm=92.0), wet_today, WEEKEND_ROUND)
    assert notice is not None
    assert notice.kind is NoticeKind.MOW


def test_a_hold_forecast_over_the_whole_weekend_is_told_instead() -> None:
    ahead = an_outlook(held=dict.fromkeys(range(1, 10), (HoldReason.HEAT,)))
    notice = decide(a_lawn(height_mm=105.0), ahead, WEEKEND_ROUND)
    assert notice is not None
    assert notice.kind is NoticeKind.HOLD
    assert notice.holds[0].started_on == SATURDAY


def test_a_treatment_set_by_the_keeper_holds() -> None:
    treated = HoldFacts(HoldReason.TREATMENT, THURSDAY, ended_on=THURSDAY + timedelta(days=9))
    notice = decide(a_lawn(height_mm=105.0, dated_holds=(treated,)), an_outlook(), WEEKEND_ROUND)
    assert notice is not None
    assert notice.reason is HoldReason.TREATMENT


def test_a_company_sees_open_windows_and_what_must_be_cut_today() -> None:
    workdays = frozenset(range(5))
    may = decide(a_lawn(height_mm=102.0, mowing_days=workdays), an_outlook(), MORNING_ROUND)
    must = decide(a_lawn(height_mm=110.0, mowing_days=workdays), an_outlook(), MORNING_ROUND)
    assert may is not None
    assert may.kind is NoticeKind.MAY_MOW
    assert may.limit_on == THURSDAY + timedelta(days=3)
    assert must is not None
    assert must.must_today
    assert must.best_on == THURSDAY
    assert decide(a_lawn(height_mm=90.0, mowing_days=workdays), an_outlook(), MORNING_ROUND) is None


HOLDS = st.dictionaries(
    st.integers(0, 9), st.tuples(st.sampled_from([HoldReason.HEAT, HoldReason.DROUGHT, HoldReason.COLD]))
)


@given(
    height=st.floats(60, 300),
    growth=st.floats(0, 9),
    held=HOLDS,
    rain=st.dictionaries(st.integers(0, 9), st.floats(0, 30)),
    told=st.sampled_from([None, HoldReason.HEAT, HoldReason.DROUGHT]),
    listed=st.booleans(),
)
def test_no_advised_cut_takes_more_than_a_third_or_falls_in_a_hold(
    height: float,
    growth: float,
    held: dict[int, tuple[HoldReason, ...]],
    rain: dict[int, float],
    told: HoldReason | None,
    listed: bool,
) -> None:
    lawn = a_lawn(height_mm=height, told_hold=told)
    notice = decide(lawn, an_outlook(growth_mm_d=growth, held=held, rain_mm=rain),
                    MORNING_ROUND if listed else WEEKEND_ROUND)  # fmt: skip
    if notice is None or notice.best_on is None:
        return
    assert notice.removed_fraction is not None
    assert notice.removed_fraction <= 1 / 3 + 1e-6
    assert (notice.best_on - THURSDAY).days not in held
    if notice.plan is not None:
        assert all(cut.removed_fraction <= 1 / 3 + 1e-6 for cut in notice.plan.cuts)


@given(height=st.floats(60, 300), growth=st.floats(0, 9), held=HOLDS)
def test_the_same_facts_give_the_same_notice(
    height: float, growth: float, held: dict[int, tuple[HoldReason, ...]]
) -> None:
    outlook = an_outlook(growth_mm_d=growth, held=held)
    assert decide(a_lawn(height_mm=height), outlook, WEEKEND_ROUND) == decide(
        a_lawn(height_mm=height), outlook, WEEKEND_ROUND
    )
