"""A year of invented weather from a seed, and a source that forecasts it imperfectly."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.evapotranspiration import extraterrestrial_radiation_mj_m2
from mowalert.domain.weather import DayHours, Ensemble, Place, PlaceWeather, WeatherDay
from mowalert.service.ports import Pulled

NAME = "demo"
DRY_SPELL = ((7, 1), (8, 17))
HEAT_WAVE = ((7, 14), (7, 31))
SOAKING = ((8, 18), (8, 21))


class InventedWeather:
    """A year of one place, and what a forecaster would say of it on any day.

    Parameters
    ----------
    year : int
        The year; a few weeks before and after it are there too.
    seed : int
        Another seed, another year.
    latitude_deg : float
        For the sun. [°]
    """

    def __init__(self, year: int, *, seed: int, latitude_deg: float) -> None:
        self._first = date(year - 1, 12, 1)
        self._seed = seed
        self._days = _invent(self._first, 420, np.random.default_rng(seed), latitude_deg)

    def pull(self, places: Sequence[Place], *, past_days: int, forecast_days: int, now: datetime) -> Pulled:
        """Tell the past as it was and the coming days with errors that grow."""
        answers = []
        for place in places:
            today = (now + timedelta(minutes=place.utc_offset_min)).date()
            span = range(-past_days, forecast_days)
            days = tuple(self._told(today, today + timedelta(days=ahead)) for ahead in span)
            answers.append(PlaceWeather(place, days, now, NAME, 290.0))
        return Pulled(tuple(answers), (), ())

    def history(self, places: Sequence[Place], *, first: date, last: date, now: datetime) -> Pulled:
        """Tell past days as they were."""
        dates = [first + timedelta(days=day) for day in range((last - first).days + 1)]
        days = tuple(self._days[on] for on in dates if on in self._days)
        return Pulled(tuple(PlaceWeather(place, days, now, NAME, 290.0) for place in places), (), ())

    def ensemble(self, places: Sequence[Place], *, forecast_days: int, now: datetime) -> list[Ensemble]:
        """Have only one forecast."""
        return []

    def _told(self, today: date, on: date) -> WeatherDay:
        true, lead = self._days[on], (on - today).days
        if lead <= 0:
            return true
        random = np.random.default_rng((self._seed, today.toordinal(), lead))
        off_c = round(float(random.normal(0, 0.35 * lead)), 1)
        rain_mm = round(true.rain_mm * float(random.uniform(1 - 0.06 * lead, 1 + 0.06 * lead)), 1)
        return replace(
            true, t_min_c=true.t_min_c + off_c, t_max_c=true.t_max_c + off_c, rain_mm=rain_mm, hours=None
        )


def _invent(
    first: date, length: int, random: np.random.Generator, latitude_deg: float
) -> dict[date, WeatherDay]:
    days: dict[date, WeatherDay] = {}
    anomaly_c, wet = 0.0, False
    for index in range(length):
        on = first + timedelta(days=index)
        day_of_year = on.timetuple().tm_yday
        anomaly_c = 0.72 * anomaly_c + float(random.normal(0, 2.1))
        wet = _is_wet(on, wet, random)
        rain_mm = _rain(on, wet, random)
        mean_c = 10.0 - 14.5 * np.cos(2 * np.pi * (day_of_year - 18) / 365.25) + anomaly_c
        mean_c += 6.0 if _within(on, HEAT_WAVE) else 2.0 if _within(on, DRY_SPELL) else 0.0
        span_c = float(np.clip(random.normal(7.5 if wet else 12.5, 1.5), 3.0, 18.0))
        cloud = float(random.uniform(0.25, 0.5) if wet else random.uniform(0.6, 0.76))
        ra = float(extraterrestrial_radiation_mj_m2(latitude_deg, day_of_year))
        low, high = round(mean_c - span_c / 2, 1), round(mean_c + span_c / 2, 1)
        dew_c = round(low - (0.5 if wet else 2.5), 1)
        days[on] = WeatherDay(
            on=on,
            t_min_c=low,
            t_max_c=high,
            rain_mm=rain_mm,
            source=NAME,
            radiation_mj_m2=round(cloud * ra, 2),
            wind_2m_ms=round(float(random.gamma(4.0, 0.55)), 1),
            t_dew_c=dew_c,
            hours=_hours(low, high, dew_c, rain_mm, random),
        )
    return days


def _within(on: date, span: tuple[tuple[int, int], tuple[int, int]]) -> bool:
    return span[0] <= (on.month, on.day) <= span[1]


def _is_wet(on: date, wet: bool, random: np.random.Generator) -> bool:
    if _within(on, SOAKING):
        return True
    chance = 0.0 if _within(on, DRY_SPELL) else 0.48 if wet else 0.24
    return bool(random.random() < chance)


def _rain(on: date, wet: bool, random: np.random.Generator) -> float:
    if not wet:
        return 0.0
    amount = float(random.gamma(0.9, 8.0))
    return round(max(amount, 14.0) if _within(on, SOAKING) else amount, 1)


def _hours(low: float, high: float, dew_c: float, rain_mm: float, random: np.random.Generator) -> DayHours:
    hour = np.arange(24)
    t_c = (low + high) / 2 - (high - low) / 2 * np.cos(2 * np.pi * (hour - 4) / 24)
    humidity = np.clip(100 * np.exp(17.27 * dew_c / (237.3 + dew_c) - 17.27 * t_c / (237.3 + t_c)), 5, 100)
    start = int(random.integers(0, 18))
    rain = np.where((hour >= start) & (hour < start + 6), rain_mm / 6, 0.0)
    return DayHours(_rounded(t_c), _rounded(humidity), _rounded(rain))


def _rounded(values: Floats) -> tuple[float, ...]:
    return tuple(round(float(value), 2) for value in values)
