"""MET Norway's location forecast: one place at a time, the whole earth, no past.

Steps are hourly for about two and a half days, then every six hours; no key of a step is safe to
assume, and the last one is an instant only.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from mowalert.domain.weather import Place, PlaceWeather, Refusal
from mowalert.errors import SourceError
from mowalert.weather.budget import Limits
from mowalert.weather.days import UNREADABLE, LocalDays, local_moment, weather_day, with_today
from mowalert.weather.http import Asker, with_path
from mowalert.weather.units import TO_C, TO_MM, TO_MS, TO_PCT, converter, dew_point_c, wind_2m

NAME = "met_norway"
URL = "https://api.met.no/weatherapi/locationforecast/2.0/compact"
FREE = Limits(minute=1080)
"""Nine tenths of the 20 requests a second that the terms of service allow an application."""
FARTHEST_DEG = 0.5
FEWEST_STEPS = 4


class MetNorway:
    """Client of the location forecast.

    Parameters
    ----------
    http : Asker
        How to ask; with a cache, as the service wants.
    url : str
        Forecast address; a bare host gets the usual path.
    """

    name = NAME
    attribution = "Based on data from MET Norway (NLOD 2.0, CC BY 4.0)"
    max_places = 1

    def __init__(self, http: Asker, *, url: str = URL) -> None:
        self._http = http
        self._url = with_path(url, "/weatherapi/locationforecast/2.0/compact")

    def calls(self, places: int, days: int) -> float:
        """One request a place."""
        return float(places)

    def fetch(
        self, places: Sequence[Place], *, past_days: int, forecast_days: int, now: datetime
    ) -> list[PlaceWeather]:
        """Ask for the coming days of places.

        Parameters
        ----------
        places : Sequence[Place]
            Places, one request each.
        past_days : int
            Not known here.
        forecast_days : int
            The service gives about nine and a half days.
        now : datetime
            The moment.

        Returns
        -------
        list[PlaceWeather]
            One a place.

        Raises
        ------
        SourceError
            If the service fails.
        """
        return [self._one(place, now) for place in places]

    def _one(self, place: Place, now: datetime) -> PlaceWeather:
        # Five decimals are refused by the service; two place a cell well enough.
        query = {"lat": f"{place.latitude_deg:.2f}", "lon": f"{place.longitude_deg:.2f}"}
        if place.elevation_m is not None:
            query["altitude"] = f"{place.elevation_m:.0f}"
        status, body = self._http.get_json(NAME, self._url, query)
        if status not in (200, 203):
            raise SourceError(f"status {status}", permanent=400 <= status < 429, source=NAME)
        if not isinstance(body, dict):
            raise SourceError("the answer is no object", permanent=True, source=NAME)
        try:
            return _place_weather(place, body, now)
        except UNREADABLE as error:
            refusal = Refusal(NAME, f"cannot be read: {error}")
            return PlaceWeather(place, (), now, NAME, None, (refusal,))


def _place_weather(place: Place, body: Mapping[str, Any], now: datetime) -> PlaceWeather:
    longitude, latitude, *height = body["geometry"]["coordinates"]
    around = abs((longitude - place.longitude_deg + 180) % 360 - 180)
    if abs(latitude - place.latitude_deg) > FARTHEST_DEG or around > FARTHEST_DEG:
        refusal = Refusal(NAME, f"wrong place: {latitude}, {longitude}")
        return PlaceWeather(place, (), now, NAME, None, (refusal,))
    local = LocalDays()
    steps = body["properties"]["timeseries"]
    _read_steps(local, steps, body["properties"]["meta"]["units"], place)
    rain_mm = _rain_by_day(steps, body["properties"]["meta"]["units"], place)
    days = []
    for on in local.dates():
        extremes = local.day(on)
        extremes.rain_mm = rain_mm.get(on)
        day = weather_day(
            on,
            local.hours[on],
            extremes,
            source=NAME,
            fewest_hours=FEWEST_STEPS,
            rain_from_hours=False,
        )
        if day is not None and _spans_the_day(local, on):
            days.append(day)
    today = local_moment(now, place.utc_offset_min).date()
    whole = with_today([day for day in days if day.on >= today], local, today)
    return PlaceWeather(place, tuple(whole), now, NAME, float(height[0]) if height else None)


def _read_steps(
    local: LocalDays, steps: Sequence[Mapping[str, Any]], units: Mapping[str, str], place: Place
) -> None:
    celsius = converter(TO_C, units.get("air_temperature"), source=NAME)
    speed = converter(TO_MS, units.get("wind_speed", "m/s"), source=NAME)
    percent = converter(TO_PCT, units.get("relative_humidity", "%"), source=NAME)
    depth = converter(TO_MM, units.get("precipitation_amount", "mm"), source=NAME)
    for step in steps:
        hour = local.hour(_local(step, place))
        details = step["data"]["instant"]["details"]
        if (t := details.get("air_temperature")) is not None:
            hour.t_c = celsius(t)
        if (humidity := details.get("relative_humidity")) is not None:
            hour.rel_humidity_pct = percent(humidity)
            if hour.t_c is not None:
                hour.t_dew_c = float(dew_point_c(hour.t_c, hour.rel_humidity_pct))
        if (wind := details.get("wind_speed")) is not None:
            hour.wind_2m_ms = wind_2m(speed(wind))
        if (rain := _amount(step, "next_1_hours")) is not None:
            hour.rain_mm = depth(rain)


def _rain_by_day(
    steps: Sequence[Mapping[str, Any]], units: Mapping[str, str], place: Place
) -> dict[Any, float]:
    """Sum rain by day without counting an hour twice; a day with an uncovered hour has no sum."""
    depth = converter(TO_MM, units.get("precipitation_amount", "mm"), source=NAME)
    total: dict[Any, float] = {}
    covered: dict[Any, int] = {}
    done = None
    for step in steps:
        start = _local(step, place)
        if done is not None and start < done:
            continue
        hours = next((h for h in (1, 6) if _amount(step, f"next_{h}_hours") is not None), None)
        if hours is None:
            continue
        amount = depth(_amount(step, f"next_{hours}_hours") or 0.0)
        for hour in range(hours):
            on = (start + timedelta(hours=hour)).date()
            total[on] = total.get(on, 0.0) + amount / hours
            covered[on] = covered.get(on, 0) + 1
        done = start + timedelta(hours=hours)
    return {on: mm for on, mm in total.items() if covered[on] >= 18}


def _amount(step: Mapping[str, Any], span: str) -> float | None:
    details = (step["data"].get(span) or {}).get("details") or {}
    amount = details.get("precipitation_amount")
    return None if amount is None else float(amount)


def _spans_the_day(local: LocalDays, on: Any) -> bool:
    """Whether the steps reach from the morning into the evening: a half day has no extremes."""
    known = [hour for hour, values in local.hours[on].items() if values.t_c is not None]
    return bool(known) and min(known) <= 6 and max(known) >= 17


def _local(step: Mapping[str, Any], place: Place) -> datetime:
    moment = datetime.fromisoformat(step["time"].replace("Z", "+00:00")).astimezone(UTC)
    return local_moment(moment, place.utc_offset_min)
