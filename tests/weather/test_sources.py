"""Each client on what its service really sent, and on what it must not believe."""

import json
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from mowalert.domain.weather import Place
from mowalert.errors import SourceError
from mowalert.weather import met_norway, nws, open_meteo

NOW = datetime(2026, 3, 5, 12, tzinfo=UTC)
TORONTO = Place(1, 43.7, -79.4, -300)
ADELAIDE = Place(2, -34.76, 138.65, 570)


class Recorded:
    """Answers with recorded bodies by a part of the address."""

    def __init__(self, folder: Path, answers: dict[str, str | tuple[int, Any]]) -> None:
        self._folder, self._answers = folder, answers
        self.queries: list[dict[str, str]] = []

    def get_json(self, source: str, url: str, params: Any = None) -> tuple[int, Any]:
        self.queries.append(dict(params or {}))
        for part, answer in self._answers.items():
            if part in url:
                if isinstance(answer, tuple):
                    return answer
                return 200, json.loads((self._folder / answer).read_text())
        raise AssertionError(url)


def payload(payloads: Path, name: str) -> Any:
    return json.loads((payloads / name).read_text())


def ask_open_meteo(payloads: Path, name: str, *places: Place) -> list[Any]:
    client = open_meteo.OpenMeteo(Recorded(payloads, {"forecast": f"open_meteo/{name}"}))
    return client.fetch(places, past_days=4, forecast_days=10, now=NOW)


def test_imperial_units_are_read_from_their_labels(payloads: Path) -> None:
    answer = ask_open_meteo(payloads, "forecast_hourly_daily_toronto_imperial_units.json", TORONTO)[0]
    body = payload(payloads, "open_meteo/forecast_hourly_daily_toronto_imperial_units.json")
    first = answer.days[0]
    assert first.on == date(2026, 3, 4)
    assert first.t_max_c == pytest.approx((body["daily"]["temperature_2m_max"][0] - 32) * 5 / 9, abs=0.001)
    assert first.rain_mm == pytest.approx(body["daily"]["precipitation_sum"][0] * 25.4, abs=0.001)
    assert len(answer.days) == 8
    assert answer.elevation_m == 165.0
    # 10 m wind in miles an hour, brought to 2 m (FAO-56 eq. 47).
    hourly = body["hourly"]["wind_speed_10m"][:24]
    assert first.wind_2m_ms == pytest.approx(sum(hourly) / 24 * 0.44704 * 0.748, rel=0.001)


def test_days_are_made_from_hours_in_a_half_hour_zone(payloads: Path) -> None:
    answer = ask_open_meteo(payloads, "forecast_hourly_adelaide_et0_half_hour_offset.json", ADELAIDE)[0]
    body = payload(payloads, "open_meteo/forecast_hourly_adelaide_et0_half_hour_offset.json")["hourly"]
    assert [day.on.day for day in answer.days] == [16, 17, 18]
    assert answer.days[0].t_max_c == pytest.approx(max(body["temperature_2m"][:24]))
    assert answer.days[0].et0_mm == pytest.approx(sum(body["et0_fao_evapotranspiration"][:24]))


def test_a_place_in_another_offset_gets_its_own_days(payloads: Path) -> None:
    """Melbourne answered in UTC: its local day begins at 14:00 the day before."""
    place = Place(3, -37.75, 144.875, 600)
    answer = ask_open_meteo(payloads, "forecast_hourly_daily_melbourne_utc_days.json", place)[0]
    body = payload(payloads, "open_meteo/forecast_hourly_daily_melbourne_utc_days.json")["hourly"]
    day = next(day for day in answer.days if day.on == date(2025, 5, 10))
    assert day.t_max_c == pytest.approx(max(body["temperature_2m"][14:38]))


def test_null_tails_are_missing_days_and_not_zeros(payloads: Path) -> None:
    for name in (
        "forecast_16_days_trailing_nulls.json",
        "forecast_daily_all_null_outside_forecast_window.json",
    ):
        place = Place(4, 52.25, 6.875, 0) if "16" in name else Place(4, -12.5, -130.875, -540)
        assert ask_open_meteo(payloads, name, place)[0].days == ()


def test_several_places_come_as_an_array_matched_by_position(payloads: Path) -> None:
    places = (Place(5, 47.15, 6.99, 60), Place(6, 47.17, 6.90, 60))
    answers = ask_open_meteo(payloads, "forecast_daily_multi_location_array.json", *places)
    assert [answer.elevation_m for answer in answers] == [825.0, 1037.0]
    assert all(answer.days == () for answer in answers), "without rain a day is not whole"
    with pytest.raises(SourceError, match="places came"):
        ask_open_meteo(payloads, "forecast_daily_multi_location_array.json", places[0])


def test_another_place_than_asked_for_is_refused(payloads: Path) -> None:
    """A lost sign still gives plausible numbers, of the open sea."""
    client = open_meteo.OpenMeteo(
        Recorded(payloads, {"archive": "open_meteo/archive_hourly_open_ocean_point.json"})
    )
    asked = Place(7, -12.5, 130.8, 570)
    answer = client.fetch_archive([asked], first=NOW.date(), last=NOW.date(), now=NOW)[0]
    assert answer.days == ()
    assert "wrong place" in answer.refused[0].reason


def test_keys_with_a_models_name_are_found(payloads: Path) -> None:
    body = payload(payloads, "open_meteo/forecast_two_models_suffixed_keys.json")
    series = body["hourly"]
    name = next(key for key in series if key.endswith("_best_match")).removesuffix("_best_match")
    assert open_meteo._key(series, name) == f"{name}_best_match"


@pytest.mark.parametrize(("name", "permanent"), [("minutely", False), ("hourly", False), ("daily", True)])
def test_which_limit_was_passed_decides_whether_to_try_again(
    name: str, permanent: bool, payloads: Path
) -> None:
    body = payload(payloads, f"open_meteo/error_429_{name}_limit.json")
    client = open_meteo.OpenMeteo(Recorded(payloads, {"forecast": (429, body)}))
    with pytest.raises(SourceError) as error:
        client.fetch([TORONTO], past_days=1, forecast_days=1, now=NOW)
    assert error.value.permanent is permanent


def test_an_unknown_unit_is_refused_and_not_guessed(payloads: Path) -> None:
    body = payload(payloads, "open_meteo/forecast_hourly_daily_toronto_imperial_units.json")
    body["hourly_units"]["temperature_2m"] = "°R"
    client = open_meteo.OpenMeteo(Recorded(payloads, {"forecast": (200, body)}))
    answer = client.fetch([TORONTO], past_days=1, forecast_days=1, now=NOW)[0]
    assert answer.days == ()
    assert "°R" in answer.refused[0].reason


def test_places_are_asked_for_in_a_fixed_offset_with_its_sign_reversed(payloads: Path) -> None:
    assert open_meteo.zone_of(-300) == "Etc/GMT+5"
    assert open_meteo.zone_of(600) == "Etc/GMT-10"
    assert open_meteo.zone_of(570) == "GMT"
    recorded = Recorded(
        payloads, {"forecast": "open_meteo/forecast_hourly_daily_toronto_imperial_units.json"}
    )
    open_meteo.OpenMeteo(recorded, api_key="k").fetch([TORONTO], past_days=4, forecast_days=10, now=NOW)
    assert recorded.queries[0]["timezone"] == "Etc/GMT+5"
    assert recorded.queries[0]["apikey"] == "k"


SUMMER = datetime(2026, 7, 16, 10, tzinfo=UTC)
ALBANY = Place(8, 42.745, -73.752, -300)


def albany(payloads: Path, **changes: Any) -> nws.Nws:
    answers: dict[str, Any] = {
        "/points/": "nws/points_albany_ny.json",
        "/gridpoints/ALY/71,67": "nws/gridpoint_raw_albany_summer.json",
    }
    return nws.Nws(Recorded(payloads, answers | changes), url="http://127.0.0.1:1")


def test_the_raw_grid_becomes_local_days(payloads: Path) -> None:
    answer = albany(payloads).fetch([ALBANY], past_days=4, forecast_days=10, now=SUMMER)[0]
    grid = payload(payloads, "nws/gridpoint_raw_albany_summer.json")["properties"]
    assert [day.on.day for day in answer.days] == list(range(16, 23))
    assert answer.elevation_m == pytest.approx(111.86, abs=0.01)
    # The grid's amounts, which reach three days, are sums over their spans: none is lost or doubled.
    spans = grid["quantitativePrecipitation"]["values"]
    total = sum(span["value"] for span in spans if span["validTime"] >= "2026-07-16T05" and span["value"])
    known = [day for day in answer.days if day.on <= date(2026, 7, 18)]
    assert sum(day.rain_mm for day in known) == pytest.approx(total, abs=4.0)
    assert all(day.t_min_c < day.t_max_c for day in answer.days)
    assert answer.days[0].t_dew_c is not None


def test_guam_lies_a_day_ahead(payloads: Path) -> None:
    place = Place(9, 13.444, 144.778, 600)
    grid = payload(payloads, "nws/gridpoint_raw_guam_sparse_layers.json")
    start = datetime.fromisoformat(grid["properties"]["validTimes"].split("/")[0])
    client = nws.Nws(
        Recorded(payloads, {"/points/": "nws/points_guam_utc_plus_10.json", "/gridpoints/": (200, grid)})
    )
    answer = client.fetch([place], past_days=0, forecast_days=7, now=start)[0]
    assert answer.days
    assert all(22 < day.t_min_c < day.t_max_c < 36 for day in answer.days)


def test_outside_the_united_states_nws_serves_nobody(payloads: Path) -> None:
    body = payload(payloads, "nws/problem_404_invalid_point.json")
    client = albany(payloads, **{"/points/": (404, body)})
    answer = client.fetch([TORONTO], past_days=1, forecast_days=1, now=NOW)[0]
    assert answer.days == ()
    assert answer.refused[0].reason == "place not served"


@pytest.mark.parametrize(
    "name", ["503_forecast_grid_expired", "500_unexpected_problem", "503_unavailable_web_service"]
)
def test_an_expired_grid_is_worth_another_try(name: str, payloads: Path) -> None:
    body = payload(payloads, f"nws/problem_{name}.json")
    client = albany(payloads, **{"/gridpoints/ALY/71,67": (body["status"], body)})
    with pytest.raises(SourceError) as error:
        client.fetch([ALBANY], past_days=1, forecast_days=1, now=NOW)
    assert error.value.permanent is False


def test_uneven_steps_become_whole_days_without_counting_rain_twice(payloads: Path) -> None:
    name = "met_norway/locationforecast_compact_brisbane.json"
    client = met_norway.MetNorway(Recorded(payloads, {"": name}))
    place = Place(10, -27.5, 153.0, 600)
    now = datetime(2025, 10, 29, 20, tzinfo=UTC)
    answer = client.fetch([place], past_days=4, forecast_days=10, now=now)[0]
    assert [day.on for day in answer.days] == [date(2025, 10, 30), date(2025, 10, 31)] + [
        date(2025, 11, day) for day in range(1, 8)
    ]
    steps = payload(payloads, name)["properties"]["timeseries"]
    parts = [step["data"] for step in steps]
    hourly = [
        part["next_1_hours"]["details"]["precipitation_amount"] for part in parts if "next_1_hours" in part
    ]
    coarse = [part for part in parts if "next_1_hours" not in part and "next_6_hours" in part]
    later = [part["next_6_hours"]["details"]["precipitation_amount"] for part in coarse]
    assert sum(day.rain_mm for day in answer.days) == pytest.approx(sum(hourly) + sum(later), abs=2.0)


def test_asked_in_the_evening_a_source_without_a_past_still_has_today(payloads: Path) -> None:
    client = met_norway.MetNorway(
        Recorded(payloads, {"": "met_norway/locationforecast_compact_brisbane.json"})
    )
    now = datetime(2025, 10, 29, 9, tzinfo=UTC)
    answer = client.fetch([Place(10, -27.5, 153.0, 600)], past_days=4, forecast_days=10, now=now)[0]
    assert answer.days[0].on == date(2025, 10, 29)
    assert answer.days[0].partial
    assert not answer.days[1].partial


def test_a_forecast_for_elsewhere_is_refused(payloads: Path) -> None:
    client = met_norway.MetNorway(
        Recorded(payloads, {"": "met_norway/locationforecast_compact_brisbane.json"})
    )
    answer = client.fetch([TORONTO], past_days=0, forecast_days=9, now=NOW)[0]
    assert answer.days == ()
    assert "wrong place" in answer.refused[0].reason
