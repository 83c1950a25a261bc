"""The growth law's promises: one closed form however it is stepped, and its inverse."""

import numpy as np
import pytest
from builders import BLUEGRASS, TURF
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.growth import (
    effective_degree_days,
    feed_factor,
    flush_factor,
    growth_to_reach_mm,
    height_mm,
    lawn_pace,
    light_factor,
    temperature_growth_factor,
)
from mowalert.domain.lawn import due_after

SEASON = st.lists(st.floats(0, 9), min_size=1, max_size=200)
PACES = st.floats(0.3, 2.5)
CARDINALS_C = {"base_c": np.float64(10.0), "opt_c": np.float64(20.0), "max_c": np.float64(25.0)}
"""With these the share is (25 - T)/5 · ((T - 10)/10)²."""


@given(daily=SEASON, start=st.floats(5, 120), pace=PACES, ceiling=st.floats(150, 700))
def test_a_season_at_once_equals_the_season_day_by_day(
    daily: list[float], start: float, pace: float, ceiling: float
) -> None:
    at_once = float(height_mm(sum(daily), from_height_mm=start, pace=pace, ceiling_mm=ceiling))
    stepped = start
    for grown in daily:
        stepped = float(height_mm(grown, from_height_mm=stepped, pace=pace, ceiling_mm=ceiling))
    assert stepped == pytest.approx(at_once, rel=1e-9, abs=1e-9)


@given(
    daily=st.lists(st.floats(0, 9), min_size=1, max_size=60),
    start=st.floats(5, 120),
    pace=st.floats(0.3, 1.6),
)
def test_a_finely_stepped_integration_agrees(daily: list[float], start: float, pace: float) -> None:
    """Runge-Kutta on dH/dG = k (1 - (H/ceiling)²), written here on its own."""
    ceiling, height, steps = 500.0, start, 200
    total = sum(daily)

    def slope(h: float) -> float:
        return pace * (1 - (h / ceiling) ** 2)

    step = total / steps
    for _ in range(steps):
        first = slope(height)
        second = slope(height + step * first / 2)
        third = slope(height + step * second / 2)
        fourth = slope(height + step * third)
        height += step * (first + 2 * second + 2 * third + fourth) / 6
    ours = float(height_mm(total, from_height_mm=start, pace=pace, ceiling_mm=ceiling))
    assert ours == pytest.approx(height, abs=0.01)


@given(start=st.floats(5, 100), more=st.floats(0.5, 100), pace=PACES)
def test_growth_to_reach_a_height_reaches_it(start: float, more: float, pace: float) -> None:
    needed = growth_to_reach_mm(start + more, from_height_mm=start, pace=pace, ceiling_mm=500.0)
    assert needed is not None
    reached = height_mm(needed, from_height_mm=start, pace=pace, ceiling_mm=500.0)
    assert float(reached) == pytest.approx(start + more, rel=1e-9)


@given(st.sampled_from(sorted(TURF.grasses)), st.floats(0, 1), st.floats(0.4, 2.5))
def test_the_window_opens_before_the_limit_comes(name: str, share: float, pace: float) -> None:
    grass = TURF.grasses[name]
    chosen = grass.lowest_mm + share * (grass.highest_mm - grass.lowest_mm)
    due = due_after(grass, chosen, pace=pace, from_height_mm=chosen, from_growth_mm=0.0)
    if due.limit_g_mm is None:
        assert chosen * 1.5 >= 0.9 * grass.ceiling_mm
    else:
        assert due.window_g_mm is not None
        assert 0 < due.window_g_mm < due.limit_g_mm


@pytest.mark.parametrize(
    ("t_mean_c", "share"),
    [(5.0, 0.0), (10.0, 0.0), (15.0, 0.5), (20.0, 1.0), (22.5, 0.78125), (25.0, 0.0), (30.0, 0.0)],
)
def test_growth_is_best_at_its_optimum_and_none_beyond_base_and_maximum(
    t_mean_c: float, share: float
) -> None:
    assert float(temperature_growth_factor(np.float64(t_mean_c), **CARDINALS_C)) == pytest.approx(share)


def test_degree_days_are_plain_ones_at_the_optimum_and_fewer_elsewhere() -> None:
    effective = effective_degree_days(np.array([15.0, 20.0, 22.5]), **CARDINALS_C)
    assert effective == pytest.approx([5.0, 10.0, 7.8125])


def test_grass_reported_above_its_ceiling_stays_there_and_needs_no_growth_to_be_due() -> None:
    height = float(height_mm(10.0, from_height_mm=520.0, pace=1.0, ceiling_mm=500.0))
    assert height == pytest.approx(500.0)
    needed = growth_to_reach_mm(112.5, from_height_mm=520.0, pace=1.0, ceiling_mm=500.0)
    assert needed is not None
    assert needed < 0


def test_a_height_within_a_tenth_of_the_ceiling_is_never_reached() -> None:
    reach = {"from_height_mm": 75.0, "pace": 1.0, "ceiling_mm": 500.0}
    assert growth_to_reach_mm(450.0, **reach) is None
    assert growth_to_reach_mm(449.9, **reach) is not None


def test_a_height_near_the_ceiling_is_never_due() -> None:
    due = due_after(TURF.grasses["centipedegrass"], 95.0, pace=1.0, from_height_mm=95.0, from_growth_mm=0.0)
    assert due.window_g_mm is None
    assert due.limit_g_mm is None


def test_the_flush_rises_and_falls_for_cool_season_grass_only() -> None:
    warmth = np.array([0.0, 300.0, 450.0, 600.0, 700.0, 1200.0, 1700.0, 3000.0])
    summer = np.full(8, 16.0)
    cool = flush_factor(warmth, daylight_h=summer, cool=np.ones(8))
    assert cool == pytest.approx([1, 1, 1.6, 2.2, 2.2, 1.6, 1, 1])
    assert flush_factor(warmth, daylight_h=summer, cool=np.zeros(8)) == pytest.approx(np.ones(8))


def test_the_flush_waits_for_long_days_however_mild_the_winter() -> None:
    days = flush_factor(np.full(4, 650.0), daylight_h=np.array([10.0, 12.0, 12.75, 14.0]), cool=np.ones(4))
    assert days == pytest.approx([1, 1, 1.6, 2.2])


def test_shade_slows_growth_only_while_light_is_short() -> None:
    light = light_factor(
        np.array([-0.1, 6.0, 12.0, 24.0, 30.0]), sun_share=np.float64(0.5), full_light_mj_m2=np.float64(12)
    )
    assert light == pytest.approx([0.0, 0.25, 0.5, 1.0, 1.0])


@pytest.mark.parametrize(
    ("nitrogen", "factor"), [(None, 1.0), (3.0, 1.0), (0.0, 0.45), (1.5, 0.725), (9.0, 1.25)]
)
def test_feed_is_bounded_and_unknown_means_fully_fed(nitrogen: float | None, factor: float) -> None:
    assert feed_factor(nitrogen, BLUEGRASS.full_feed_n) == pytest.approx(factor)


def test_a_lawn_kept_at_fifty_millimetres_goes_with_its_stand() -> None:
    assert lawn_pace(50.0) == pytest.approx(1.0)
    assert lawn_pace(75.0) > 1.0 > lawn_pace(25.0)


def test_a_lawn_kept_twice_as_high_grows_a_quarter_faster() -> None:
    assert lawn_pace(100.0) == pytest.approx(2**0.35)


def test_a_lawns_pace_is_its_height_times_feed_times_what_was_learned_times_a_regulator() -> None:
    assert lawn_pace(50.0, feed=0.5, learned=1.6, regulator=0.25) == pytest.approx(0.2)
