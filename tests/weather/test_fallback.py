"""The next source serves when the first is down, slow, over its limit or wrong; real sockets."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from budgets import DailyBudget
from ports import free_port
from weather_server import WeatherServer

from mowalert.domain.weather import Place
from mowalert.service.ports import Pulled
from mowalert.weather.fallback import WeatherService
from mowalert.weather.http import Http
from mowalert.weather.met_norway import MetNorway
from mowalert.weather.nws import Nws
from mowalert.weather.open_meteo import OpenMeteo

NOW = datetime(2026, 7, 16, 10, tzinfo=UTC)
ALBANY = Place(1, 42.75, -73.75, -300)


def service(first_url: str, server: WeatherServer, *, limit: float = 1000.0) -> WeatherService:
    http = Http(contact="operator@example.org", timeout_s=0.3, tries=2, backoff_s=0.0)
    return WeatherService(
        [
            OpenMeteo(http, url=first_url, archive_url=first_url),
            Nws(http, url=server.url),
            MetNorway(http, url=server.url),
        ],
        DailyBudget({"open_meteo": limit}),
    )


def pull(asked: WeatherService) -> Pulled:
    return asked.pull([ALBANY], past_days=4, forecast_days=10, now=NOW)


@pytest.fixture
def second(server: WeatherServer, payloads: Path) -> WeatherServer:
    server.says("/points/", (payloads / "nws/points_albany_ny.json").read_bytes())
    server.says("/gridpoints/", (payloads / "nws/gridpoint_raw_albany_summer.json").read_bytes())
    return server


def test_a_source_that_is_down_is_passed_over(second: WeatherServer) -> None:
    pulled = pull(service(f"http://127.0.0.1:{free_port()}", second))
    assert [answer.source for answer in pulled.weather] == ["nws"]
    assert pulled.refused[0][1].source == "open_meteo"


def test_a_slow_source_is_passed_over(second: WeatherServer) -> None:
    with WeatherServer().running() as slow:
        slow.slow_s = 0.6
        slow.says("/v1/", {})
        pulled = pull(service(slow.url, second))
    assert [answer.source for answer in pulled.weather] == ["nws"]


WRONG = {
    "HTML": (b"<!doctype html><title>Sorry</title>", 200),
    "truncated": (b'{"latitude": 42.7, "hourly": {"time": ["2026-', 200),
    "NaN": (b'{"latitude": NaN}', 200),
    "a list of nothing": (b"[]", 200),
    "the wrong type": (b'{"latitude": "north", "longitude": []}', 200),
    "over the limit": (b'{"error":true,"reason":"Minutely API request limit exceeded."}', 429),
    "a server's fault": (b'{"error":true}', 503),
}


@pytest.mark.parametrize("fault", WRONG)
def test_a_malformed_answer_is_passed_over_and_logged(fault: str, second: WeatherServer) -> None:
    body, status = WRONG[fault]
    second.says("/v1/", body, status)
    pulled = pull(service(second.url, second))
    assert [answer.source for answer in pulled.weather] == ["nws"]
    assert any(refusal.source == "open_meteo" and refusal.reason for _, refusal in pulled.refused)


def test_weather_of_another_place_is_passed_over(second: WeatherServer, payloads: Path) -> None:
    second.says(
        "/v1/", (payloads / "open_meteo/forecast_hourly_daily_toronto_imperial_units.json").read_bytes()
    )
    pulled = pull(service(second.url, second))
    assert [answer.source for answer in pulled.weather] == ["nws"]
    assert any("wrong place" in refusal.reason for _, refusal in pulled.refused)


def test_when_all_are_down_nobody_is_served(server: WeatherServer) -> None:
    pulled = pull(service(server.url, server))
    assert pulled.weather == ()
    assert pulled.unserved == (ALBANY,)
    assert {refusal.source for _, refusal in pulled.refused} == {"open_meteo", "nws", "met_norway"}


def test_a_spent_budget_asks_the_next_source(second: WeatherServer) -> None:
    pulled = pull(service(second.url, second, limit=0.5))
    assert [answer.source for answer in pulled.weather] == ["nws"]
    assert not any(path.startswith("/v1/") for path in second.asked)


def test_a_redirect_to_another_host_is_not_followed(second: WeatherServer) -> None:
    http = Http(contact="", timeout_s=1.0, tries=1)
    assert http.get_json("nws", f"{second.url}/points/1,1")[0] == 200
    assert "mowalert/" in second.agents[0]
