"""The crew's heat: bands, working hours, and the coolest hours to work in."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.crew_heat import HeatBand, crew_heat, heat_band, heat_index_f

DAY = date(2026, 7, 14)
UNKNOWN = float("nan")


def a_day(hot_at: int = 15, *, low_c: float = 22.0, high_c: float = 36.0) -> list[float]:
    """Temperatures with their peak at an hour."""
    hours = np.arange(24)
    return list((low_c + high_c) / 2 + (high_c - low_c) / 2 * np.cos(2 * np.pi * (hours - hot_at) / 24))


HUMID = [55.0] * 24


@pytest.mark.parametrize(
    ("index_f", "band"),
    [
        (79.9, HeatBand.NONE),
        (80.0, HeatBand.CAUTION),
        (89.9, HeatBand.CAUTION),
        (90.0, HeatBand.EXTREME_CAUTION),
        (102.9, HeatBand.EXTREME_CAUTION),
        (103.0, HeatBand.DANGER),
        (124.9, HeatBand.DANGER),
        (125.0, HeatBand.EXTREME_DANGER),
    ],
)
def test_a_lower_edge_belongs_to_the_higher_band(index_f: float, band: HeatBand) -> None:
    assert heat_band(index_f) is band


def test_a_cool_day_needs_no_caution() -> None:
    assert crew_heat(DAY, a_day(high_c=25.0, low_c=12.0), HUMID, from_hour=7, to_hour=17) is None


def test_the_hottest_working_hour_is_named() -> None:
    found = crew_heat(DAY, a_day(hot_at=15), HUMID, from_hour=7, to_hour=17)
    assert found is not None
    assert (found.on, found.at_hour, found.strong) == (DAY, 15, True)
    assert found.heat_index_f == pytest.approx(float(heat_index_f(36.0, 55.0)), abs=1e-6)


def test_heat_outside_working_hours_does_not_count() -> None:
    early = crew_heat(DAY, a_day(hot_at=15), HUMID, from_hour=5, to_hour=8)
    all_day = crew_heat(DAY, a_day(hot_at=15), HUMID, from_hour=5, to_hour=20)
    assert all_day is not None
    assert early is None or early.heat_index_f < all_day.heat_index_f
    assert early is None or early.at_hour == 7


def test_the_coolest_four_hours_are_offered() -> None:
    found = crew_heat(DAY, a_day(hot_at=15), HUMID, from_hour=7, to_hour=17)
    assert found is not None
    assert (found.safest_from, found.safest_to) == (7, 11)
    evening = crew_heat(DAY, a_day(hot_at=9), HUMID, from_hour=7, to_hour=21)
    assert evening is not None
    assert (evening.safest_from, evening.safest_to) == (17, 21)


def test_a_short_working_day_is_offered_whole() -> None:
    found = crew_heat(DAY, a_day(), HUMID, from_hour=13, to_hour=15)
    assert found is not None
    assert (found.safest_from, found.safest_to) == (13, 15)


def test_a_working_day_may_last_until_midnight() -> None:
    found = crew_heat(DAY, a_day(hot_at=23, low_c=30.0), HUMID, from_hour=20, to_hour=24)
    assert found is not None
    assert found.at_hour == 23
    assert found.safest_to == 24


def test_an_employer_may_set_lower_thresholds() -> None:
    mild = a_day(high_c=27.0, low_c=20.0)
    usual = crew_heat(DAY, mild, HUMID, from_hour=7, to_hour=17)
    strict = crew_heat(DAY, mild, HUMID, from_hour=7, to_hour=17, first_f=75.0, strong_f=78.0)
    assert strict is not None
    assert strict.strong
    assert usual is None or not usual.strong


def test_unknown_hours_are_left_out_and_never_the_safest() -> None:
    t_c = a_day(hot_at=15)
    t_c[7:9] = [UNKNOWN, UNKNOWN]
    found = crew_heat(DAY, t_c, HUMID, from_hour=7, to_hour=17)
    assert found is not None
    assert found.at_hour == 15
    assert found.safest_from >= 9


def test_a_day_of_unknown_hours_says_nothing() -> None:
    assert crew_heat(DAY, [UNKNOWN] * 24, HUMID, from_hour=7, to_hour=17) is None
    assert crew_heat(DAY, a_day(), [UNKNOWN] * 24, from_hour=7, to_hour=17) is None


@given(
    t_c=st.lists(st.floats(-20, 50), min_size=24, max_size=24),
    humidity=st.lists(st.floats(1, 100), min_size=24, max_size=24),
    start=st.integers(0, 23),
    length=st.integers(1, 24),
)
def test_what_is_said_lies_in_working_hours(
    t_c: list[float], humidity: list[float], start: int, length: int
) -> None:
    stop = min(24, start + length)
    found = crew_heat(DAY, t_c, humidity, from_hour=start, to_hour=stop)
    indices = heat_index_f(np.array(t_c), np.array(humidity))[start:stop]
    assert (found is None) == (float(indices.max()) < 80.0)
    if found is not None:
        assert start <= found.at_hour < stop
        assert start <= found.safest_from < found.safest_to <= stop
        assert found.heat_index_f == pytest.approx(float(indices.max()))
        assert found.strong == (found.heat_index_f >= 90.0)
