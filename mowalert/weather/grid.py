"""A national model's files as a source of weather: for more places than any service answers for.

All places of a shard are read in one pass over each variable. An hourly file gives whole local days; the
days of a daily one are taken for the local days as they stand.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.weather import DayHours, Place, PlaceWeather, Refusal, WeatherDay
from mowalert.weather.days import LocalDays, with_today
from mowalert.weather.grid_fields import DAY_S, HOUR_S, Fields, Series, fault
from mowalert.weather.grid_files import GridFiles
from mowalert.weather.units import WIND_HEIGHT_M, dew_point_c, humidity_pct, wind_2m_of

Days = dict[str, Floats]
"""Daily figures by name, shape (place, day), or (place, day, hour) of hours; ``nan`` where not known."""


class Grid:
    """Reads a model's files.

    Parameters
    ----------
    files : GridFiles
        Its files.
    name : str
        Name that is kept with the weather and shown with it.
    farthest_km : float
        A place whose nearest point is farther off is outside the grid.
    """

    max_places = 100_000

    def __init__(self, files: GridFiles, *, name: str, farthest_km: float) -> None:
        self.name = self.attribution = name
        self._files, self._farthest_km = files, farthest_km

    def calls(self, places: int, days: int) -> float:
        """Reading a file asks nobody."""
        return 0.0

    def fetch(
        self, places: Sequence[Place], *, past_days: int, forecast_days: int, now: datetime
    ) -> list[PlaceWeather]:
        """Read recent and coming days of places.

        Parameters
        ----------
        places : Sequence[Place]
            Any number of places.
        past_days : int
            Days before today, as far as the files reach.
        forecast_days : int
            Days from today on, likewise.
        now : datetime
            The moment.

        Returns
        -------
        list[PlaceWeather]
            One a place, in order; without days outside the grid and where it has no values.

        Raises
        ------
        SourceError
            If a file is not there, too old, or not made as it must be.
        """
        first_s = _midnight_s((now - timedelta(days=past_days + 1)).date())
        last_s = _midnight_s((now + timedelta(days=forecast_days + 2)).date())
        with self._files.opened(now) as datasets:
            fields = Fields(datasets, places, first_s=first_s, last_s=last_s)
            off_km = fields.off_km()
            series = {name: one for name in READ if (one := fields.read(name)) is not None}
        hourly = _is_hourly(series)
        found: dict[int, PlaceWeather] = {}
        for offset_min in sorted({place.utc_offset_min for place in places}):
            here = [index for index, place in enumerate(places) if place.utc_offset_min == offset_min]
            today = (now + timedelta(minutes=offset_min)).date()
            dates = [today + timedelta(days=day) for day in range(-past_days, forecast_days)]
            days = _days(series, here, dates, offset_min, hourly=hourly)
            for row, index in enumerate(here):
                found[index] = self._answer(places[index], off_km[index], dates, days, row, today, now)
        return [found[index] for index in range(len(places))]

    def _answer(
        self,
        place: Place,
        off_km: float,
        dates: Sequence[date],
        days: Days,
        row: int,
        today: date,
        now: datetime,
    ) -> PlaceWeather:
        if off_km > self._farthest_km:
            refusal = Refusal(self.name, f"outside the grid: its nearest point is {off_km:.0f} km away")
            return PlaceWeather(place, (), now, self.name, None, (refusal,))
        figures = {name: values[row] for name, values in days.items()}
        known = np.isfinite(figures["t_min_c"] + figures["t_max_c"] + figures["rain_mm"])
        whole = [self._day(dates[index], index, figures) for index in np.nonzero(known)[0].tolist()]
        if "t_c" in figures:
            whole = with_today(whole, _hours_of(today, dates.index(today), figures), today)
        refused = () if whole else (Refusal(self.name, "no whole day is in the files at the grid's point"),)
        return PlaceWeather(place, tuple(whole), now, self.name, None, refused)

    def _day(self, on: date, index: int, figures: Days) -> WeatherDay:
        def known(name: str) -> float | None:
            value = float(figures[name][index]) if name in figures else np.nan
            return round(value, 3) if np.isfinite(value) else None

        hours = None
        if "t_c" in figures:
            named = (figures.get(name) for name in ("t_c", "rel_humidity_pct", "rain_hour_mm"))
            t_c, humidity, rain_mm = (
                tuple([np.nan] * 24 if one is None else one[index].tolist()) for one in named
            )
            hours = DayHours(t_c, humidity, rain_mm)
        return WeatherDay(
            on=on,
            t_min_c=round(float(figures["t_min_c"][index]), 3),
            t_max_c=round(float(figures["t_max_c"][index]), 3),
            rain_mm=round(float(figures["rain_mm"][index]), 3),
            source=self.name,
            radiation_mj_m2=known("radiation_mj_m2"),
            wind_2m_ms=known("wind_2m_ms"),
            t_dew_c=known("t_dew_c"),
            hours=hours,
        )


READ = (
    "t_c",
    "t_min_c",
    "t_max_c",
    "rain_mm",
    "rel_humidity_pct",
    "t_dew_c",
    "wind_ms",
    "wind_u_ms",
    "wind_v_ms",
    "radiation_mj_m2",
)


def _midnight_s(on: date) -> int:
    return int(datetime(on.year, on.month, on.day, tzinfo=UTC).timestamp())


def _is_hourly(series: dict[str, Series]) -> bool:
    hourly = {name for name, one in series.items() if one.axis.step_s == HOUR_S}
    daily = set(series) - hourly
    if "rain_mm" not in series:
        fault("no precipitation is in it")
    if {"t_c", "rain_mm"} <= hourly:
        return True
    if {"t_min_c", "t_max_c", "rain_mm"} <= daily:
        return False
    fault("it needs air_temperature and precipitation by the hour, or by the day with minimum and maximum")


def _days(
    series: dict[str, Series], here: Sequence[int], dates: Sequence[date], offset_min: int, *, hourly: bool
) -> Days:
    """Daily figures of places that share an offset; days of a daily file are taken as they stand."""
    step_s, shift_min = (HOUR_S, offset_min) if hourly else (DAY_S, 0)
    laid = {
        name: _laid(one, here, dates, shift_min) for name, one in series.items() if one.axis.step_s == step_s
    }
    wind = _wind_2m_ms(series, laid)
    if wind is not None:
        laid["wind_2m_ms"] = wind
    t_c = laid["t_c"] if "t_c" in laid else (laid["t_min_c"] + laid["t_max_c"]) / 2
    if "t_dew_c" in laid and "rel_humidity_pct" not in laid:
        laid["rel_humidity_pct"] = humidity_pct(t_c, laid["t_dew_c"])
    elif "rel_humidity_pct" in laid and "t_dew_c" not in laid:
        laid["t_dew_c"] = dew_point_c(t_c, laid["rel_humidity_pct"])
    return _by_day(laid) if hourly else laid


def _laid(one: Series, here: Sequence[int], dates: Sequence[date], offset_min: int) -> Floats:
    """Values laid out by local day, and by hour of it where there are hours."""
    per_day = DAY_S // one.axis.step_s
    local_s = one.axis.begins_s + offset_min * 60 - _midnight_s(dates[0])
    slot = local_s // one.axis.step_s
    within = (slot >= 0) & (slot < len(dates) * per_day)
    laid = np.full((len(here), len(dates) * per_day), np.nan)
    laid[:, slot[within]] = one.values[here][:, within]
    return laid.reshape(len(here), len(dates), per_day) if per_day > 1 else laid


def _wind_2m_ms(series: dict[str, Series], laid: Days) -> Floats | None:
    if "wind_ms" in laid:
        speed, height_m = laid["wind_ms"], series["wind_ms"].height_m
    elif "wind_u_ms" in laid and "wind_v_ms" in laid:
        speed, height_m = np.hypot(laid["wind_u_ms"], laid["wind_v_ms"]), series["wind_u_ms"].height_m
    else:
        return None
    return wind_2m_of(speed, height_m or WIND_HEIGHT_M)


def _by_day(hours: Days) -> Days:
    """Figures of days from their 24 hours: one hour that is missing leaves the day's unknown."""
    days = {
        "t_min_c": hours["t_c"].min(axis=2),
        "t_max_c": hours["t_c"].max(axis=2),
        "rain_mm": hours["rain_mm"].sum(axis=2),
        "t_c": hours["t_c"],
        "rain_hour_mm": hours["rain_mm"],
    }
    if "radiation_mj_m2" in hours:
        days["radiation_mj_m2"] = hours["radiation_mj_m2"].sum(axis=2)
    for name in ("wind_2m_ms", "t_dew_c"):
        if name in hours:
            days[name] = hours[name].mean(axis=2)
    if "rel_humidity_pct" in hours:
        days["rel_humidity_pct"] = hours["rel_humidity_pct"]
    return days


def _hours_of(today: date, index: int, figures: Days) -> LocalDays:
    """What is known of the hours of a day that the files begin in."""
    local = LocalDays()
    for hour in np.nonzero(np.isfinite(figures["t_c"][index]))[0].tolist():
        moment = local.hour(datetime(today.year, today.month, today.day, hour))  # noqa: DTZ001 - a place's own clock
        moment.t_c = float(figures["t_c"][index][hour])
        rain_mm = float(figures["rain_hour_mm"][index][hour])
        moment.rain_mm = rain_mm if np.isfinite(rain_mm) else None
    return local
