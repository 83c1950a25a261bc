"""Weather that must not be believed, and weather that must."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.cells import cell_of
from mowalert.domain.weather import WeatherDay
from mowalert.weather.quality import RANGES, checked

FIRST = date(2026, 5, 1)


def days(count: int = 8) -> list[WeatherDay]:
    return [
        WeatherDay(FIRST + timedelta(days=n), 8.0 + n, 18.0 + n, float(n % 3), "demo") for n in range(count)
    ]


def judged(given: list[WeatherDay]) -> tuple[list[date], list[str]]:
    good, refused = checked(given, source="demo", first=FIRST, last=FIRST + timedelta(days=30))
    return [day.on for day in good], [refusal.reason for refusal in refused]


def test_plain_days_are_believed() -> None:
    good, refused = judged(days())
    assert len(good) == 8
    assert refused == []


BAD = (
    ({"t_min_c": 30.0}, "exceeds"),
    ({"t_max_c": 70.0}, "outside"),
    ({"rain_mm": -0.1}, "outside"),
    ({"rain_mm": float("nan")}, "no number"),
    ({"t_min_c": float("inf")}, "no number"),
    ({"radiation_mj_m2": 60.0}, "outside"),
    ({"et0_mm": -2.0}, "outside"),
    ({"t_min_c": -40.0, "t_max_c": 20.0}, "apart"),
    ({"t_min_c": 44.0, "t_max_c": 56.0}, "jumps"),
)


@pytest.mark.parametrize(("change", "reason"), BAD)
def test_one_bad_day_is_refused_and_the_others_kept(change: dict[str, float], reason: str) -> None:
    series = days()
    series[3] = replace(series[3], **change)
    good, refused = judged(series)
    assert FIRST + timedelta(days=3) not in good
    assert len(good) == 7
    assert len(refused) == 1
    assert reason in refused[0]


def test_a_stuck_sensor_is_believed_for_one_day_only() -> None:
    series = [replace(days()[0], on=FIRST + timedelta(days=n)) for n in range(6)]
    good, refused = judged(series)
    assert good == [FIRST]
    assert len(refused) == 5


def test_a_day_that_comes_twice_or_was_not_asked_for_is_refused() -> None:
    series = days()
    good, refused = judged([*series, series[2], replace(series[0], on=FIRST - timedelta(days=9))])
    assert len(good) == 8
    assert len(refused) == 2


ANY = st.one_of(st.floats(allow_nan=True, allow_infinity=True), st.floats(-80, 80))


@given(st.lists(st.tuples(ANY, ANY, ANY), max_size=12))
def test_whatever_comes_what_is_kept_is_possible(values: list[tuple[float, float, float]]) -> None:
    series = [
        WeatherDay(FIRST + timedelta(days=n), low, high, rain, "demo")
        for n, (low, high, rain) in enumerate(values)
    ]
    good, refused = checked(series, source="demo", first=FIRST, last=FIRST + timedelta(days=30))
    assert len(good) + len(refused) == len(series)
    for day in good:
        assert day.t_min_c <= day.t_max_c
        assert RANGES["rain_mm"][0] <= day.rain_mm <= RANGES["rain_mm"][1]


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_a_position_lies_in_its_cell(latitude: float, longitude: float) -> None:
    middle = cell_of(latitude, longitude, cell_degrees=0.1)
    assert abs(middle[0] - latitude) <= 0.0501
    assert abs(middle[1] - longitude) <= 0.0501
    assert cell_of(*middle, cell_degrees=0.1) == middle
    assert -90 <= middle[0] <= 90
    assert -180 <= middle[1] <= 180
