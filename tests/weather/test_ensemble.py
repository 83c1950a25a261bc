"""Ensembles as Open-Meteo sends them: the control run under the plain name, members under their own."""

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from budgets import DailyBudget
from weather_server import WeatherServer

from mowalert.domain.weather import Place
from mowalert.weather.fallback import WeatherService
from mowalert.weather.http import Http
from mowalert.weather.open_meteo import OpenMeteo, read_ensemble

NOW = datetime(2026, 10, 3, 6, tzinfo=UTC)
HERE = Place(1, 52.5, 7.0, 0)


def an_answer(*, members: int = 20, days: int = 10, **changes: Any) -> dict[str, Any]:
    """A made-up answer in the recorded shape."""
    dates = [(date(2026, 10, 3) + timedelta(days=day)).isoformat() for day in range(days)]
    names = ["", *(f"_member{number:02d}" for number in range(1, members + 1))]
    daily: dict[str, Any] = {"time": dates}
    for index, name in enumerate(names):
        daily[f"temperature_2m_min{name}"] = [5.0 + 0.1 * index] * days
        daily[f"temperature_2m_max{name}"] = [15.0 + 0.1 * index] * days
        daily[f"precipitation_sum{name}"] = [float(index)] * days
    daily |= changes
    units = {key: "mm" if key.startswith("precip") else "°C" for key in daily if key != "time"}
    return {"latitude": 52.5, "longitude": 7.0, "daily": daily, "daily_units": units | {"time": "iso8601"}}


def test_the_recorded_shape_of_members_is_the_one_read(payloads: Path) -> None:
    recorded = json.loads((payloads / "open_meteo/ensemble_21_members_hourly_daily.json").read_text())
    highest = [key for key in recorded["daily"] if key.startswith("temperature_2m_max")]
    ours = [key for key in an_answer()["daily"] if key.startswith("temperature_2m_max")]
    assert sorted(highest) == sorted(ours)
    # It has highest temperatures only, of too few days: no ensemble can be made of it.
    assert read_ensemble(Place(1, 52.5, 7.0, 0), recorded, now=NOW) is None


def test_members_are_read_with_the_control_run_first() -> None:
    found = read_ensemble(HERE, an_answer(), now=NOW)
    assert found is not None
    assert found.first_on == date(2026, 10, 3)
    assert found.t_min_c.shape == (21, 10)
    assert found.rain_mm[:, 0] == pytest.approx(np.arange(21.0))


def test_fahrenheit_and_inches_are_read_from_their_labels() -> None:
    answer = an_answer(members=6)
    answer["daily_units"] = {
        key: "inch" if key.startswith("precip") else "°F" for key in answer["daily"] if key != "time"
    }
    found = read_ensemble(HERE, answer, now=NOW)
    assert found is not None
    assert found.t_max_c[0, 0] == pytest.approx((15 - 32) * 5 / 9)
    assert found.rain_mm[1, 0] == pytest.approx(25.4)


def test_a_null_tail_is_cut_off() -> None:
    ragged = [9.0] * 7 + [None] * 3
    found = read_ensemble(HERE, an_answer(temperature_2m_min_member03=ragged), now=NOW)
    assert found is not None
    assert found.t_min_c.shape == (21, 7)


@pytest.mark.parametrize(
    "answer",
    [
        an_answer(members=2),
        an_answer(days=3),
        an_answer(temperature_2m_min_member01=[40.0] * 10),
        an_answer(precipitation_sum_member02=[-1.0] * 10),
        an_answer(temperature_2m_max="warm"),
        {"latitude": 52.5, "longitude": 7.0},
    ],
)
def test_what_cannot_be_an_ensemble_is_left_out(answer: dict[str, Any]) -> None:
    assert read_ensemble(HERE, answer, now=NOW) is None


def service(server: WeatherServer, calls: float = 9000) -> WeatherService:
    client = OpenMeteo(Http(contact="a test", tries=1), url=server.url, ensemble_url=server.url)
    return WeatherService([client], DailyBudget({"open_meteo": calls}))


def test_an_ensemble_comes_over_the_wire(server: WeatherServer) -> None:
    server.says("/v1/ensemble", an_answer())
    (found,) = service(server).ensemble([HERE], forecast_days=10, now=NOW)
    assert found.place == HERE
    assert "daily=temperature_2m_min" in server.asked[0]


def test_a_fault_costs_the_spread_and_nothing_else(server: WeatherServer) -> None:
    server.says("/v1/ensemble", b"<html>", status=200)
    assert service(server).ensemble([HERE], forecast_days=10, now=NOW) == []


def test_a_small_budget_is_left_to_the_forecast(server: WeatherServer) -> None:
    server.says("/v1/ensemble", an_answer())
    assert service(server, calls=25).ensemble([HERE], forecast_days=10, now=NOW) == []
    assert server.asked == []


def test_another_place_than_the_one_asked_for_is_left_out(server: WeatherServer) -> None:
    server.says("/v1/ensemble", an_answer() | {"latitude": 10.0})
    assert service(server).ensemble([HERE], forecast_days=10, now=NOW) == []
