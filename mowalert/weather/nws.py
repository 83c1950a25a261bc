"""US National Weather Service: the raw forecast grid of one place at a time, United States only.

``/points`` tells the grid cell, ``/gridpoints`` its layers. Values hold for a span of hours each;
precipitation is a sum over its span.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from mowalert.domain.weather import Place, PlaceWeather, Refusal
from mowalert.errors import SourceError
from mowalert.weather.days import UNREADABLE, LocalDays, local_moment, weather_day, with_today
from mowalert.weather.http import Asker
from mowalert.weather.units import TO_C, TO_MM, TO_MS, TO_PCT, Convert, converter, wind_2m

NAME = "nws"
URL = "https://api.weather.gov"
FARTHEST_DEG = 0.5
FEWEST_HOURS = 18
LONGEST_H = 24 * 10
WET_DAY_MM = 8.0
"""Rain of a usual wet day; working value."""
LAYERS: dict[str, tuple[str, dict[str, Convert]]] = {
    "temperature": ("t_c", TO_C),
    "relativeHumidity": ("rel_humidity_pct", TO_PCT),
    "dewpoint": ("t_dew_c", TO_C),
    "windSpeed": ("wind_2m_ms", TO_MS),
}
DURATION = re.compile(r"P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?)?")


class Nws:
    """Client of the forecast grid.

    Parameters
    ----------
    http : Asker
        How to ask; with a cache, as the service wants.
    url : str
        Root of the service.
    """

    name = NAME
    attribution = "Source: NOAA / National Weather Service"
    max_places = 1

    def __init__(self, http: Asker, *, url: str = URL) -> None:
        self._http = http
        self._url = url.rstrip("/")

    def calls(self, places: int, days: int) -> float:
        """Two requests a place."""
        return 2.0 * places

    def fetch(
        self, places: Sequence[Place], *, past_days: int, forecast_days: int, now: datetime
    ) -> list[PlaceWeather]:
        """Ask for the coming days of places; the grid knows no past.

        Parameters
        ----------
        places : Sequence[Place]
            Places, one request pair each.
        past_days : int
            Not known here.
        forecast_days : int
            The grid reaches about seven days.
        now : datetime
            The moment.

        Returns
        -------
        list[PlaceWeather]
            One a place; outside the United States one without days.

        Raises
        ------
        SourceError
            If the service fails.
        """
        return [self._one(place, now) for place in places]

    def _one(self, place: Place, now: datetime) -> PlaceWeather:
        # Coordinates may carry at most four decimals, and no trailing zeros.
        position = (
            f"{place.latitude_deg:.4f}".rstrip("0").rstrip("."),
            (f"{place.longitude_deg:.4f}".rstrip("0").rstrip(".")),
        )
        status, point = self._http.get_json(NAME, f"{self._url}/points/{','.join(position)}")
        if status == 404:
            return PlaceWeather(place, (), now, NAME, None, (Refusal(NAME, "place not served"),))
        cell = _properties(status, point)
        path = f"{cell.get('gridId')}/{cell.get('gridX')},{cell.get('gridY')}"
        status, grid = self._http.get_json(NAME, f"{self._url}/gridpoints/{path}")
        layers = _properties(status, grid)
        if not _is_there(place, grid):
            return PlaceWeather(place, (), now, NAME, None, (Refusal(NAME, "wrong place"),))
        try:
            return _place_weather(place, layers, now)
        except UNREADABLE as error:
            refusal = Refusal(NAME, f"cannot be read: {error}")
            return PlaceWeather(place, (), now, NAME, None, (refusal,))


def _properties(status: int, body: Any) -> Mapping[str, Any]:
    if status == 200 and isinstance(body, dict) and isinstance(body.get("properties"), dict):
        return dict(body["properties"])
    detail = body.get("title", "") if isinstance(body, dict) else ""
    raise SourceError(f"status {status}: {detail}", permanent=400 <= status < 429, source=NAME)


def _is_there(place: Place, grid: Mapping[str, Any]) -> bool:
    """Whether the grid cell's outline lies around the place, as far as it tells its outline."""
    geometry = grid.get("geometry") or {}
    rings = geometry.get("coordinates") or []
    if geometry.get("type") != "Polygon" or not rings:
        return True
    corners = [(float(lon), float(lat)) for lon, lat, *_ in rings[0]]
    longitude = sum(lon for lon, _ in corners) / len(corners)
    latitude = sum(lat for _, lat in corners) / len(corners)
    near_lat = abs(latitude - place.latitude_deg) <= FARTHEST_DEG
    return near_lat and abs((longitude - place.longitude_deg + 180) % 360 - 180) <= FARTHEST_DEG


def _place_weather(place: Place, layers: Mapping[str, Any], now: datetime) -> PlaceWeather:
    local = LocalDays()
    for name, (target, known_units) in LAYERS.items():
        for start, hours, value in _values(layers, name, known_units):
            number = wind_2m(value) if target == "wind_2m_ms" else value
            for hour in range(hours):
                moment = local_moment(start + timedelta(hours=hour), place.utc_offset_min)
                setattr(local.hour(moment), target, number)
    _read_rain(local, layers, place)
    _read_extremes(local, layers, place)
    elevation = (layers.get("elevation") or {}).get("value")
    days = (
        weather_day(on, local.hours.get(on, {}), local.day(on), source=NAME, fewest_hours=FEWEST_HOURS)
        for on in local.dates()
    )
    today = local_moment(now, place.utc_offset_min).date()
    whole = [day for day in days if day is not None and day.on >= today]
    return PlaceWeather(
        place,
        tuple(with_today(whole, local, today)),
        now,
        NAME,
        float(elevation) if isinstance(elevation, int | float) else None,
    )


def _read_rain(local: LocalDays, layers: Mapping[str, Any], place: Place) -> None:
    """Amounts reach three days ahead; beyond them a chance of rain counts as its share of a wet day."""
    chances = _values(layers, "probabilityOfPrecipitation", TO_PCT)
    amounts = _values(layers, "quantitativePrecipitation", TO_MM)
    for start, hours, chance_pct in chances:
        for hour in range(hours):
            moment = local_moment(start + timedelta(hours=hour), place.utc_offset_min)
            local.hour(moment).rain_mm = chance_pct / 100 * WET_DAY_MM / 24
    for start, hours, total_mm in amounts:
        for hour in range(hours):
            moment = local_moment(start + timedelta(hours=hour), place.utc_offset_min)
            local.hour(moment).rain_mm = total_mm / hours


def _read_extremes(local: LocalDays, layers: Mapping[str, Any], place: Place) -> None:
    """Daytime highs and night-time lows belong to the day their span's middle falls on."""
    for name, target in (("maxTemperature", "t_max_c"), ("minTemperature", "t_min_c")):
        for start, hours, value in _values(layers, name, TO_C):
            middle = local_moment(start + timedelta(hours=hours / 2), place.utc_offset_min)
            known = local.hours.get(middle.date(), {})
            temperatures = [hour.t_c for hour in known.values() if hour.t_c is not None]
            # Hours on either side may be hotter or colder than the forecaster's high or low.
            if target == "t_max_c":
                local.day(middle.date()).t_max_c = max([value, *temperatures])
            else:
                local.day(middle.date()).t_min_c = min([value, *temperatures])


def _values(
    layers: Mapping[str, Any], name: str, units: dict[str, Convert]
) -> Iterator[tuple[datetime, int, float]]:
    """Start, hours and value of each span of a layer; an empty layer has no unit."""
    layer = layers.get(name) or {}
    spans = layer.get("values") or []
    if not spans:
        return
    convert = converter(units, layer.get("uom"), source=NAME)
    for span in spans:
        start_text, _, length = span["validTime"].partition("/")
        hours = _hours(length)
        if span.get("value") is not None and 0 < hours <= LONGEST_H:
            yield datetime.fromisoformat(start_text).astimezone(UTC), hours, convert(float(span["value"]))


def _hours(length: str) -> int:
    match = DURATION.fullmatch(length)
    if match is None:
        raise SourceError(f"duration {length!r} is not known", permanent=True, source=NAME)
    days, hours, _ = (int(part or 0) for part in match.groups())
    return days * 24 + hours
