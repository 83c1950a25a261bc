"""Play a season offline from a table of daily weather."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import isfinite

import numpy as np

from mowalert.domain.arrays import Bools, Floats
from mowalert.domain.evapotranspiration import vapour_pressure_from_mean_kpa
from mowalert.domain.grasses import Grass, Turf
from mowalert.domain.lawn import pace_of
from mowalert.domain.season import CutAt, Season, play
from mowalert.domain.stand import (
    LEAD_DAYS,
    StandCurve,
    StandKey,
    StandState,
    StandWeather,
    grow,
    rooting_class,
    stand_facts,
)
from mowalert.domain.words import Sun, Watering
from mowalert.errors import InputError
from mowalert.service.reading.tables import rows_of

COLUMNS = (
    "t_min_c",
    "t_max_c",
    "rain_mm",
    "radiation_mj_m2",
    "wind_2m_ms",
    "rel_humidity_pct",
    "et0_mm",
)
NEEDED = ("date", "t_min_c", "t_max_c", "rain_mm")
LONGEST_GAP_D = 2
RANGES = {
    "t_min_c": (-70, 45),
    "t_max_c": (-65, 57),
    "rain_mm": (0, 900),
    "radiation_mj_m2": (0, 45),
    "wind_2m_ms": (0, 45),
    "rel_humidity_pct": (0, 110),
    "et0_mm": (0, 25),
}


@dataclass(frozen=True, slots=True)
class SeasonWeather:
    """Daily weather without a gap; ``filled`` are the days that were bridged."""

    first_on: date
    columns: Mapping[str, Floats]
    filled: tuple[date, ...]


@dataclass(frozen=True, slots=True)
class SeasonLawn:
    """The lawn a season is played for. Latitude in °, elevation in m, nitrogen in lb/1000 ft²/yr."""

    grass: Grass
    height_mm: float
    latitude_deg: float
    elevation_m: float
    soil: str = "loam"
    watering: Watering = Watering.NONE
    sun: Sun = Sun.FULL
    nitrogen: float | None = None


def read_weather(text: str) -> SeasonWeather:
    """Read a table of daily weather.

    Parameters
    ----------
    text : str
        Comma-separated values with at least ``date,t_min_c,t_max_c,rain_mm``.

    Returns
    -------
    SeasonWeather
        Every day from the first to the last; gaps of at most two days are bridged.

    Raises
    ------
    InputError
        If a column, a date or a number is wrong, or a gap is longer.
    """
    rows = read_days(text, longest_gap_d=LONGEST_GAP_D)
    dates, raw = day_columns(rows, COLUMNS)
    _check_temperatures(raw, dates)
    unknown = bridge(raw)
    return SeasonWeather(dates[0], raw, tuple(dates[int(day)] for day in np.flatnonzero(unknown)))


def read_days(text: str, *, longest_gap_d: int | None = None) -> dict[date, dict[str, float]]:
    """Read the days of a table of daily weather as they stand there.

    Parameters
    ----------
    text : str
        Comma-separated values with at least ``date,t_min_c,t_max_c,rain_mm``.
    longest_gap_d : int | None
        Most days that may lack between two rows; any number if not given. [d]

    Returns
    -------
    dict[date, dict[str, float]]
        By day, a value for each of ``COLUMNS``; ``nan`` is unknown.

    Raises
    ------
    InputError
        If a column, a date or a number is wrong, there is no day, or more days lack.
    """
    lines = rows_of(text)
    _, header = next(lines, (0, []))
    names = [cell.strip().casefold() for cell in header]
    if not names:
        raise InputError(f"the weather is empty; its first line must name the columns {', '.join(NEEDED)}")
    if missing := [name for name in NEEDED if name not in names]:
        raise InputError(f"the weather lacks the column {', '.join(missing)}")
    rows: dict[date, dict[str, float]] = {}
    before: date | None = None
    for line, cells in lines:
        on, values = _row(dict(zip(names, cells, strict=False)), line)
        _check_follows(on, before, line, longest_gap_d)
        rows[on] = values
        before = on
    if not rows:
        raise InputError("the weather has no days")
    return rows


def day_columns(
    rows: Mapping[date, Mapping[str, float]], names: Sequence[str]
) -> tuple[list[date], dict[str, Floats]]:
    """Return every date from the first day to the last, and its values by name; ``nan`` where none is."""
    first, last = min(rows), max(rows)
    dates = [first + timedelta(days=day) for day in range((last - first).days + 1)]
    return dates, {
        name: np.array([rows[on][name] if on in rows else np.nan for on in dates]) for name in names
    }


def _check_follows(on: date, before: date | None, line: int, longest_gap_d: int | None) -> None:
    if before is None:
        return
    if on <= before:
        raise InputError(f"line {line}: {on} after {before}; the dates must rise, each day once")
    if longest_gap_d is not None and (on - before).days > longest_gap_d + 1:
        raise InputError(f"line {line}: no days between {before} and {on}; at most {longest_gap_d} may lack")


def _row(cells: Mapping[str, str], line: int) -> tuple[date, dict[str, float]]:
    said = cells.get("date", "").strip()
    try:
        on = date.fromisoformat(said)
    except ValueError as error:
        raise InputError(f"line {line}: {said!r} is no date such as 2026-05-09") from error
    values = {name: _number(cells.get(name), name, line) for name in COLUMNS}
    if values["t_min_c"] > values["t_max_c"]:
        raise InputError(f"line {line}: t_min_c {values['t_min_c']:g} exceeds t_max_c {values['t_max_c']:g}")
    return on, values


def _number(text: str | None, name: str, line: int) -> float:
    if text is None or not text.strip():
        return float("nan")
    lowest, highest = RANGES[name]
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not isfinite(value) or not lowest <= value <= highest:
        raise InputError(f"line {line}: {name} {text!r} is not a number from {lowest} to {highest}")
    return value


def _check_temperatures(raw: Mapping[str, Floats], dates: Sequence[date]) -> None:
    run = 0
    for day, gap in enumerate(np.isnan(raw["t_min_c"]) | np.isnan(raw["t_max_c"])):
        run = run + 1 if gap else 0
        if run > LONGEST_GAP_D:
            raise InputError(f"no temperatures for more than {LONGEST_GAP_D} days up to {dates[day]}")


def bridge(raw: dict[str, Floats]) -> Bools:
    """Bridge gaps in temperature in place; rain that is not known counts as none.

    How long a gap may be is the caller's rule.

    Parameters
    ----------
    raw : dict[str, Floats]
        Columns of days that follow each other, shape (day,); ``nan`` is unknown.

    Returns
    -------
    Bools
        Days on which something needed was missing, shape (day,).

    Raises
    ------
    InputError
        If no temperature is known at all.
    """
    unknown = np.isnan(raw["t_min_c"]) | np.isnan(raw["t_max_c"]) | np.isnan(raw["rain_mm"])
    index = np.arange(len(unknown))
    for name in ("t_min_c", "t_max_c"):
        known = ~np.isnan(raw[name])
        if not known.any():
            raise InputError(f"the weather has no {name}")
        raw[name] = np.interp(index, index[known], raw[name][known])
    raw["t_max_c"] = np.maximum(raw["t_min_c"], raw["t_max_c"])
    raw["rain_mm"] = np.nan_to_num(raw["rain_mm"])
    return np.asarray(unknown)


def season_curve(weather: SeasonWeather, lawn: SeasonLawn, turf: Turf) -> StandCurve:
    """Compute the curve of a lawn's stand for every day of the weather."""
    facts = stand_facts(
        [StandKey(lawn.grass.grass_id, lawn.soil, rooting_class(lawn.height_mm), lawn.sun, lawn.watering)],
        turf,
        latitude_deg=np.array([lawn.latitude_deg]),
        elevation_m=np.array([lawn.elevation_m]),
    )
    starts_the_year = (weather.first_on.month, weather.first_on.day) == (
        (1, 1) if lawn.latitude_deg >= 0 else (7, 1)
    )
    start = StandState.fresh(1, warmth_known=starts_the_year)
    return grow(facts, _stand_weather(weather), start)


def simulate(weather: SeasonWeather, lawn: SeasonLawn, turf: Turf, *, cut_at: CutAt) -> Season:
    """Play a season of one lawn.

    Parameters
    ----------
    weather : SeasonWeather
        Daily weather.
    lawn : SeasonLawn
        The lawn.
    turf : Turf
        Grasses and soils.
    cut_at : CutAt
        Whether to cut at the limit or as soon as the window opens.

    Returns
    -------
    Season
        Days, cuts, holds and a summary.

    Raises
    ------
    InputError
        If the height is outside what the grass is kept at.
    """
    grass = lawn.grass
    check_height(grass, lawn.height_mm)
    pace = pace_of(grass, lawn.height_mm, nitrogen=lawn.nitrogen, learned=1.0)
    curve = season_curve(weather, lawn, turf)
    return play(curve, grass, chosen_mm=lawn.height_mm, pace=pace, cut_at=cut_at)


def check_height(grass: Grass, chosen_mm: float) -> None:
    """Refuse a height that the grass is not kept at; InputError names those it is."""
    if not grass.lowest_mm <= chosen_mm <= grass.highest_mm:
        raise InputError(
            f"{chosen_mm:g} mm: {grass.name} is kept at {grass.lowest_mm:g} to "
            f"{grass.highest_mm:g} mm, usually at {grass.usual_mm[0]:g} to {grass.usual_mm[1]:g} mm"
        )


def _stand_weather(weather: SeasonWeather) -> StandWeather:
    columns = weather.columns
    unknown = np.full(LEAD_DAYS, np.nan)

    def led(values: Floats) -> Floats:
        return np.concatenate([unknown, values])[None, :]

    return StandWeather(
        first_on=weather.first_on - timedelta(days=LEAD_DAYS),
        t_min_c=led(columns["t_min_c"]),
        t_max_c=led(columns["t_max_c"]),
        rain_mm=led(columns["rain_mm"]),
        radiation_mj_m2=led(columns["radiation_mj_m2"]),
        wind_2m_ms=led(columns["wind_2m_ms"]),
        t_dew_c=led(dew_point_c(columns)),
        et0_mm=led(columns["et0_mm"]),
    )


def dew_point_c(columns: Mapping[str, Floats]) -> Floats:
    """Dew point of the day's mean humidity, FAO-56 eq. 11 turned round. [°C]"""
    humidity = np.minimum(columns["rel_humidity_pct"], 100.0)
    kpa = vapour_pressure_from_mean_kpa(columns["t_min_c"], columns["t_max_c"], rel_humidity_pct=humidity)
    logs = np.log(np.maximum(kpa, 1e-6) / 0.6108)
    return np.asarray(237.3 * logs / (17.27 - logs))
