"""A day's weather at one place, as the rest of the program knows it."""

from dataclasses import dataclass
from datetime import date, datetime

from mowalert.domain.arrays import Floats


@dataclass(frozen=True, slots=True)
class Place:
    """A weather cell to ask for: position in degrees, and the fixed offset its days are cut by.

    ``utc_offset_min`` is the offset from UTC in minutes (may be a half hour); ``elevation_m``
    is unknown until a source has told it.
    """

    cell_id: int
    latitude_deg: float
    longitude_deg: float
    utc_offset_min: int
    elevation_m: float | None = None


@dataclass(frozen=True, slots=True)
class DayHours:
    """The 24 hours of a local day, hour 0 first; ``nan`` where the source gives none.

    Temperature in °C, relative humidity in %, rain of the hour in mm.
    """

    t_c: tuple[float, ...]
    rel_humidity_pct: tuple[float, ...]
    rain_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class WeatherDay:
    """One local day: temperatures in °C, rain in mm, and what else the source knows.

    Radiation in MJ/m²/d, wind at 2 m in m/s, dew point in °C, ``et0_mm`` the source's own
    reference evapotranspiration in mm. ``source`` is the source's name. ``partial`` marks a day whose
    first hours were gone when it was asked for: it stands in until a whole day is known.
    """

    on: date
    t_min_c: float
    t_max_c: float
    rain_mm: float
    source: str
    radiation_mj_m2: float | None = None
    wind_2m_ms: float | None = None
    t_dew_c: float | None = None
    et0_mm: float | None = None
    hours: DayHours | None = None
    partial: bool = False


@dataclass(frozen=True, slots=True)
class Refusal:
    """Weather that was looked at and not believed: which source, which day, why."""

    source: str
    reason: str
    on: date | None = None


@dataclass(frozen=True, slots=True)
class PlaceWeather:
    """What one source said of one place: days in order, ready to believe, and what was refused."""

    place: Place
    days: tuple[WeatherDay, ...]
    fetched_at: datetime
    source: str
    elevation_m: float | None = None
    refused: tuple[Refusal, ...] = ()


@dataclass(frozen=True, slots=True)
class Ensemble:
    """Equally likely forecasts of one place; arrays of shape (member, day), from ``first_on`` on.

    Temperatures in °C, rain in mm.
    """

    place: Place
    first_on: date
    t_min_c: Floats
    t_max_c: Floats
    rain_mm: Floats
    fetched_at: datetime
    source: str
