"""Local days made from hours: what the clients share."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from math import isfinite, nan

from mowalert.domain.weather import DayHours, WeatherDay
from mowalert.errors import SourceError
from mowalert.weather.units import mean

WHOLE_DAY_H = 24
UNREADABLE = (
    SourceError,
    AttributeError,
    IndexError,
    KeyError,
    OverflowError,
    TypeError,
    ValueError,
)
"""What reading an answer raises that is not made as its service promises."""


@dataclass(slots=True)
class Hour:
    """What one hour brings, where known: °C, %, mm, m/s at 2 m, °C, MJ/m², mm."""

    t_c: float | None = None
    rel_humidity_pct: float | None = None
    rain_mm: float | None = None
    wind_2m_ms: float | None = None
    t_dew_c: float | None = None
    radiation_mj_m2: float | None = None
    et0_mm: float | None = None


@dataclass(slots=True)
class Extremes:
    """A day's own figures where a source gives them beside, or instead of, hours."""

    t_min_c: float | None = None
    t_max_c: float | None = None
    rain_mm: float | None = None
    radiation_mj_m2: float | None = None
    wind_2m_ms: float | None = None
    et0_mm: float | None = None


@dataclass(slots=True)
class LocalDays:
    """Hours and daily figures of one place by local date."""

    hours: dict[date, dict[int, Hour]] = field(default_factory=dict)
    extremes: dict[date, Extremes] = field(default_factory=dict)

    def hour(self, local: datetime) -> Hour:
        """Return the hour that holds a local moment, making it if needed."""
        return self.hours.setdefault(local.date(), {}).setdefault(local.hour, Hour())

    def day(self, on: date) -> Extremes:
        """Return the daily figures of a date, making them if needed."""
        return self.extremes.setdefault(on, Extremes())

    def dates(self) -> list[date]:
        """Every date something is known of, in order."""
        return sorted(self.hours.keys() | self.extremes.keys())


def local_moment(utc: datetime, utc_offset_min: int) -> datetime:
    """Return a UTC moment as a place's own wall clock of a fixed offset, naive."""
    return (utc + timedelta(minutes=utc_offset_min)).replace(tzinfo=None)


def weather_day(
    on: date,
    hours: Mapping[int, Hour],
    extremes: Extremes,
    *,
    source: str,
    fewest_hours: int = WHOLE_DAY_H,
    rain_from_hours: bool = True,
) -> WeatherDay | None:
    """Put one day together; none where temperature or rain of the day is not known.

    Parameters
    ----------
    on : date
        The local day.
    hours : Mapping[int, Hour]
        Its hours.
    extremes : Extremes
        Its own figures, which count before the hours'.
    source : str
        The source's name.
    fewest_hours : int
        Hours with a temperature that make a day's extremes believable.
    rain_from_hours : bool
        Whether the day's rain may be summed from its hours.

    Returns
    -------
    WeatherDay | None
        A day with at least extremes and rain. A missing hour of rain makes the sum unknown, not less.
    """
    temperatures = [hour.t_c for hour in hours.values() if hour.t_c is not None]
    enough = len(temperatures) >= fewest_hours
    t_min_c = _first(extremes.t_min_c, min(temperatures) if enough else None)
    t_max_c = _first(extremes.t_max_c, max(temperatures) if enough else None)
    rain_mm = _first(extremes.rain_mm, _sum(hours, "rain_mm", fewest_hours) if rain_from_hours else None)
    if t_min_c is None or t_max_c is None or rain_mm is None:
        return None
    return WeatherDay(
        on=on,
        t_min_c=round(t_min_c, 3),
        t_max_c=round(t_max_c, 3),
        rain_mm=round(rain_mm, 3),
        source=source,
        radiation_mj_m2=_first(extremes.radiation_mj_m2, _sum(hours, "radiation_mj_m2", WHOLE_DAY_H)),
        wind_2m_ms=_first(extremes.wind_2m_ms, _mean(hours, "wind_2m_ms", fewest_hours)),
        t_dew_c=_mean(hours, "t_dew_c", fewest_hours),
        et0_mm=_first(extremes.et0_mm, _sum(hours, "et0_mm", WHOLE_DAY_H)),
        hours=_day_hours(hours),
    )


def with_today(days: list[WeatherDay], local: LocalDays, today: date) -> list[WeatherDay]:
    """Let a day whose first hours are gone stand in as tomorrow's like, if only tomorrow is known.

    Sources without a past tell nothing of this morning; asked in the evening they would leave
    today empty.
    """
    tomorrow = next((day for day in days if day.on == today + timedelta(days=1)), None)
    if tomorrow is None or any(day.on == today for day in days):
        return days
    known = local.hours.get(today, {})
    temperatures = _known(known, "t_c")
    stand_in = replace(
        tomorrow,
        on=today,
        t_min_c=min([tomorrow.t_min_c, *temperatures]),
        t_max_c=max([tomorrow.t_max_c, *temperatures]),
        rain_mm=round(sum(_known(known, "rain_mm")), 3),
        radiation_mj_m2=None,
        et0_mm=None,
        hours=None,
        partial=True,
    )
    return [stand_in, *days]


def _first(*values: float | None) -> float | None:
    return next((value for value in values if value is not None and isfinite(value)), None)


def _known(hours: Mapping[int, Hour], name: str) -> list[float]:
    values = (getattr(hour, name) for hour in hours.values())
    return [value for value in values if value is not None]


def _sum(hours: Mapping[int, Hour], name: str, fewest: int) -> float | None:
    known = _known(hours, name)
    return sum(known) if len(known) >= fewest else None


def _mean(hours: Mapping[int, Hour], name: str, fewest: int) -> float | None:
    known = _known(hours, name)
    return mean(known) if len(known) >= fewest else None


def _day_hours(hours: Mapping[int, Hour]) -> DayHours | None:
    if len(_known(hours, "t_c")) < WHOLE_DAY_H:
        return None

    def column(name: str) -> tuple[float, ...]:
        return tuple(
            nan if (value := getattr(hours.get(hour, Hour()), name)) is None else float(value)
            for hour in range(WHOLE_DAY_H)
        )

    return DayHours(column("t_c"), column("rel_humidity_pct"), column("rain_mm"))
