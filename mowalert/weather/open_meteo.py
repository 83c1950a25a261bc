"""Open-Meteo: forecast with past days, and the archive; many places in one request.

The free service is for non-commercial use, fewer than 10,000 calls a day, each place counting as one.
"""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.weather import Ensemble, Place, PlaceWeather, Refusal
from mowalert.errors import SourceError
from mowalert.weather.budget import Limits
from mowalert.weather.days import UNREADABLE, LocalDays, weather_day
from mowalert.weather.http import Asker, with_path
from mowalert.weather.units import (
    TO_C,
    TO_MJ_HOUR,
    TO_MM,
    TO_MS,
    TO_PCT,
    Convert,
    converter,
    wind_2m,
)

NAME = "open_meteo"
FORECAST_URL = "https://api.open-meteo.com/v1/forecast"
ARCHIVE_URL = "https://archive-api.open-meteo.com/v1/archive"
FREE = Limits(minute=540, hour=4500)
"""Nine tenths of the free service's 600 calls a minute and 5,000 an hour for an address
(open-meteo.com/en/pricing); the rest is for the pages' search of places. The day's are a setting."""
ENSEMBLE_MODEL = "gfs_seamless"
"""The US weather service's ensemble: 31 members, the whole earth; from memory."""
ENSEMBLE_CALLS = 10.0
"""What a place costs: three variables of 31 members are billed like some ninety variables."""
FEWEST_MEMBERS = 5
FEWEST_ENSEMBLE_DAYS = 5
STATISTICS = ("min", "max", "mean", "sum", "spread")
FARTHEST_OFFSET_S = 14 * 3600
FARTHEST_DEG = 0.5
"""A grid cell's middle lies at most a quarter degree from the place asked for."""

HOURLY: dict[str, tuple[str, dict[str, Convert]]] = {
    "temperature_2m": ("t_c", TO_C),
    "relative_humidity_2m": ("rel_humidity_pct", TO_PCT),
    "dew_point_2m": ("t_dew_c", TO_C),
    "precipitation": ("rain_mm", TO_MM),
    "wind_speed_10m": ("wind_2m_ms", TO_MS),
    "shortwave_radiation": ("radiation_mj_m2", TO_MJ_HOUR),
    "et0_fao_evapotranspiration": ("et0_mm", TO_MM),
}
DAILY: dict[str, tuple[str, dict[str, Convert]]] = {
    "temperature_2m_min": ("t_min_c", TO_C),
    "temperature_2m_max": ("t_max_c", TO_C),
    "precipitation_sum": ("rain_mm", TO_MM),
    "shortwave_radiation_sum": ("radiation_mj_m2", TO_MJ_HOUR),
    "et0_fao_evapotranspiration": ("et0_mm", TO_MM),
}
MEMBER_DAILY: dict[str, dict[str, Convert]] = {
    "temperature_2m_min": TO_C,
    "temperature_2m_max": TO_C,
    "precipitation_sum": TO_MM,
}


class OpenMeteo:
    """Client of the forecast and archive services.

    Parameters
    ----------
    http : Asker
        How to ask.
    url : str
        Forecast address; a bare host gets the usual path.
    archive_url : str
        Archive address, likewise.
    ensemble_url : str
        Ensemble address, likewise; empty where there is none.
    api_key : str
        For the paid service; empty for the free one.
    """

    name = NAME
    attribution = "Weather data by Open-Meteo.com (CC BY 4.0)"
    max_places = 500

    def __init__(
        self,
        http: Asker,
        *,
        url: str = FORECAST_URL,
        archive_url: str = ARCHIVE_URL,
        ensemble_url: str = "",
        api_key: str = "",
    ) -> None:
        self._http = http
        self._ensemble_url = with_path(ensemble_url, "/v1/ensemble") if ensemble_url else ""
        self._url = with_path(url, "/v1/forecast")
        self._archive_url = with_path(archive_url, "/v1/archive") if archive_url else ""
        self._api_key = api_key

    def calls(self, places: int, days: int) -> float:
        """What a request costs of the day's budget: each place one call, more beyond two weeks."""
        return places * max(1.0, days / 14)

    def fetch(
        self, places: Sequence[Place], *, past_days: int, forecast_days: int, now: datetime
    ) -> list[PlaceWeather]:
        """Ask for recent and coming days of many places.

        Parameters
        ----------
        places : Sequence[Place]
            At most ``max_places``.
        past_days : int
            Days before today, at most 92.
        forecast_days : int
            Days from today on, at most 16.
        now : datetime
            The moment.

        Returns
        -------
        list[PlaceWeather]
            One a place, in order; days that are not whole are left out.

        Raises
        ------
        SourceError
            If the whole answer is of no use.
        """
        span = {"past_days": str(past_days), "forecast_days": str(forecast_days)}
        return self._ask(self._url, places, span, now)

    def fetch_archive(
        self, places: Sequence[Place], *, first: date, last: date, now: datetime
    ) -> list[PlaceWeather]:
        """Ask for past days of many places; as ``fetch``."""
        if not self._archive_url:
            raise SourceError("no archive is set", permanent=True, source=NAME)
        span = {"start_date": first.isoformat(), "end_date": last.isoformat()}
        return self._ask(self._archive_url, places, span, now)

    @property
    def has_ensemble(self) -> bool:
        """Whether an ensemble may be asked for."""
        return bool(self._ensemble_url)

    def fetch_ensemble(self, places: Sequence[Place], *, forecast_days: int, now: datetime) -> list[Ensemble]:
        """Ask for many equally likely forecasts of many places.

        Parameters
        ----------
        places : Sequence[Place]
            At most ``max_places``.
        forecast_days : int
            Days from today on.
        now : datetime
            The moment.

        Returns
        -------
        list[Ensemble]
            Places whose answer can be used; an ensemble is a comfort, so others are left out.
        """
        found = []
        # Days of a whole-hour zone: half an hour off does not matter to a spread.
        for offset_h in sorted({place.utc_offset_min // 60 for place in places}):
            group = [place for place in places if place.utc_offset_min // 60 == offset_h]
            query = self._query(group, offset_h * 60, {"forecast_days": str(forecast_days)})
            del query["hourly"]
            query |= {"daily": ",".join(MEMBER_DAILY), "models": ENSEMBLE_MODEL}
            status, body = self._http.get_json(NAME, self._ensemble_url, query)
            if status != 200:
                raise _fault(status, body)
            for place, item in zip(group, _items(body, len(group)), strict=True):
                ensemble = read_ensemble(place, item, now=now) if _is_there(place, item) else None
                found += [ensemble] if ensemble is not None else []
        return found

    def _ask(
        self, url: str, places: Sequence[Place], span: Mapping[str, str], now: datetime
    ) -> list[PlaceWeather]:
        answers: dict[int, PlaceWeather] = {}
        # One request carries one time zone: places are asked by their offset.
        for offset_min in sorted({place.utc_offset_min for place in places}):
            group = [place for place in places if place.utc_offset_min == offset_min]
            status, body = self._http.get_json(NAME, url, self._query(group, offset_min, span))
            if status != 200:
                raise _fault(status, body)
            for place, item in zip(group, _items(body, len(group)), strict=True):
                answers[place.cell_id] = place_weather(place, item, now=now)
        return [answers[place.cell_id] for place in places]

    def _query(self, places: Sequence[Place], offset_min: int, span: Mapping[str, str]) -> dict[str, str]:
        query = {
            "latitude": ",".join(f"{place.latitude_deg:g}" for place in places),
            "longitude": ",".join(f"{place.longitude_deg:g}" for place in places),
            "hourly": ",".join(HOURLY),
            "timezone": zone_of(offset_min),
            **span,
        }
        return query | ({"apikey": self._api_key} if self._api_key else {})


def zone_of(offset_min: int) -> str:
    """Return the zone to ask in: a fixed offset, or UTC where the offset is no whole hour.

    Named zones carry the offset of the moment of asking for the whole series. ``Etc`` zones count
    west as positive.
    """
    if offset_min % 60 or offset_min == 0:
        return "GMT"
    return f"Etc/GMT{-offset_min // 60:+d}"


def _fault(status: int, body: Any) -> SourceError:
    reason = str(body.get("reason", ""))[:200] if isinstance(body, dict) else ""
    if status == 429:
        permanent = "daily" in reason.casefold()
        return SourceError(f"over the limit: {reason}", permanent=permanent, source=NAME)
    return SourceError(f"status {status}: {reason}", permanent=status in (400, 401, 403), source=NAME)


def _items(body: Any, expected: int) -> list[Mapping[str, Any]]:
    """Return one object a place: a single place comes as an object, several as an array."""
    items = body if isinstance(body, list) else [body]
    if not all(isinstance(item, dict) for item in items) or len(items) != expected:
        raise SourceError(f"{len(items)} places came for {expected} asked", permanent=True, source=NAME)
    return items


def place_weather(place: Place, item: Mapping[str, Any], *, now: datetime) -> PlaceWeather:
    """Read one place's part of an answer, whatever of it is there.

    Parameters
    ----------
    place : Place
        The place asked for.
    item : Mapping[str, Any]
        Its object in the answer.
    now : datetime
        The moment of asking.

    Returns
    -------
    PlaceWeather
        Whole days only; a place that is not the one asked for is refused.
    """
    refused: tuple[Refusal, ...] = ()
    elevation = item.get("elevation")
    if not _is_there(place, item):
        far = f"wrong place: {item.get('latitude')}, {item.get('longitude')}"
        return PlaceWeather(place, (), now, NAME, None, (Refusal(NAME, far),))
    try:
        local = _local_days(place, item)
    except UNREADABLE as error:
        return PlaceWeather(place, (), now, NAME, None, (Refusal(NAME, f"cannot be read: {error}"),))
    days = (weather_day(on, local.hours.get(on, {}), local.day(on), source=NAME) for on in local.dates())
    return PlaceWeather(
        place,
        tuple(day for day in days if day is not None),
        now,
        NAME,
        float(elevation) if isinstance(elevation, int | float) else None,
        refused,
    )


def _is_there(place: Place, item: Mapping[str, Any]) -> bool:
    latitude, longitude = item.get("latitude"), item.get("longitude")
    if not isinstance(latitude, int | float) or not isinstance(longitude, int | float):
        return False
    around = abs((longitude - place.longitude_deg + 180) % 360 - 180)
    return abs(latitude - place.latitude_deg) <= FARTHEST_DEG and around <= FARTHEST_DEG


def _local_days(place: Place, item: Mapping[str, Any]) -> LocalDays:
    local = LocalDays()
    shift = timedelta(minutes=place.utc_offset_min) - _sent_offset(item)
    _read_hourly(local, item.get("hourly") or {}, item.get("hourly_units") or {}, shift)
    # Daily figures belong to the days of the zone that answered; within an hour that is our day too.
    if abs(shift) <= timedelta(hours=1):
        _read_daily(local, item.get("daily") or {}, item.get("daily_units") or {})
    return local


def _sent_offset(item: Mapping[str, Any]) -> timedelta:
    """The offset its hours are told in; to guess one would move the days."""
    seconds = item.get("utc_offset_seconds")
    if type(seconds) is not int or abs(seconds) > FARTHEST_OFFSET_S:
        raise ValueError(f"utc_offset_seconds of {seconds!r}")
    return timedelta(seconds=seconds)


def _read_hourly(
    local: LocalDays, series: Mapping[str, Any], units: Mapping[str, Any], shift: timedelta
) -> None:
    moments = [datetime.fromisoformat(text) + shift for text in series.get("time", [])]
    for name, (target, known_units) in HOURLY.items():
        key = _key(series, name)
        if key is None:
            continue
        convert = converter(known_units, units.get(key), source=NAME)
        for moment, value in zip(moments, series[key], strict=True):
            if value is not None:
                number = convert(float(value))
                setattr(local.hour(moment), target, wind_2m(number) if target == "wind_2m_ms" else number)


def _read_daily(local: LocalDays, series: Mapping[str, Any], units: Mapping[str, Any]) -> None:
    dates = [date.fromisoformat(text) for text in series.get("time", [])]
    for name, (target, known_units) in DAILY.items():
        key = _key(series, name)
        if key is None:
            continue
        convert = converter(known_units, units.get(key), source=NAME)
        for on, value in zip(dates, series[key], strict=True):
            if value is not None:
                setattr(local.day(on), target, convert(float(value)))


def _key(series: Mapping[str, Any], name: str) -> str | None:
    """Return the key of a variable; with several models every key carries the model's name."""
    if name in series:
        return name
    models = (key for key in series if key.startswith(f"{name}_") and "member" not in key)
    return next((key for key in models if key.removeprefix(f"{name}_") not in STATISTICS), None)


def read_ensemble(place: Place, item: Mapping[str, Any], *, now: datetime) -> Ensemble | None:
    """Read one place's members; none where they are too few, too short or cannot be.

    Parameters
    ----------
    place : Place
        The place asked for.
    item : Mapping[str, Any]
        Its object in the answer.
    now : datetime
        The moment of asking.

    Returns
    -------
    Ensemble | None
        Members with every value known, up to the last day that all of them have.
    """
    series, units = item.get("daily") or {}, item.get("daily_units") or {}
    try:
        first_on = date.fromisoformat(series["time"][0])
        low_c, high_c, rain_mm = (
            _members(series, units, name, known) for name, known in MEMBER_DAILY.items()
        )
    except UNREADABLE:
        return None
    if not low_c.shape == high_c.shape == rain_mm.shape or len(low_c) < FEWEST_MEMBERS:
        return None
    known = np.asarray(~np.isnan(low_c + high_c + rain_mm).any(axis=0))
    days = len(known) if known.all() else int(np.argmin(known))
    believable = (low_c <= high_c) & (low_c > -90) & (high_c < 60) & (rain_mm >= 0)
    if days < FEWEST_ENSEMBLE_DAYS or not believable[:, :days].all():
        return None
    parts = (low_c[:, :days], high_c[:, :days], rain_mm[:, :days])
    return Ensemble(place, first_on, *parts, fetched_at=now, source=NAME)


def _members(
    series: Mapping[str, Any], units: Mapping[str, Any], name: str, known: dict[str, Convert]
) -> Floats:
    """The control run, under the plain name, and the members, each under a name of its own."""
    keys = [name, *sorted(key for key in series if key.startswith(f"{name}_member"))]
    rows = []
    for key in (key for key in keys if key in series):
        convert = converter(known, units.get(key), source=NAME)
        rows.append([np.nan if value is None else convert(float(value)) for value in series[key]])
    return np.array(rows, dtype=np.float64)
