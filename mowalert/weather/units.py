"""Units as weather services label them, turned into ours."""

from collections.abc import Callable, Sequence

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.evapotranspiration import wind_at_2m_ms
from mowalert.errors import SourceError

Convert = Callable[[float], float]

TO_C: dict[str, Convert] = {
    "°C": lambda t: t,
    "celsius": lambda t: t,
    "degC": lambda t: t,
    "°F": lambda t: (t - 32) * 5 / 9,
    "degF": lambda t: (t - 32) * 5 / 9,
    "K": lambda t: t - 273.15,
}
TO_MM: dict[str, Convert] = {
    "mm": lambda mm: mm,
    "inch": lambda inches: inches * 25.4,
    "in": lambda inches: inches * 25.4,
    "m": lambda m: m * 1000,
    "kg m-2": lambda mm: mm,
}
TO_MS: dict[str, Convert] = {
    "m/s": lambda ms: ms,
    "m_s-1": lambda ms: ms,
    "km/h": lambda kmh: kmh / 3.6,
    "km_h-1": lambda kmh: kmh / 3.6,
    "mp/h": lambda mph: mph * 0.44704,
    "mph": lambda mph: mph * 0.44704,
    "kn": lambda knots: knots * 0.514444,
}
TO_PCT: dict[str, Convert] = {"%": lambda pct: pct, "percent": lambda pct: pct}
TO_MJ_HOUR: dict[str, Convert] = {
    "W/m²": lambda watts: watts * 0.0036,
    "W/m2": lambda watts: watts * 0.0036,
    "MJ/m²": lambda mj: mj,
}
WIND_HEIGHT_M = 10.0


def converter(units: dict[str, Convert], label: str | None, *, source: str) -> Convert:
    """Return how to convert a labelled unit; SourceError if the label is not known.

    A wrong guess here would turn °F into °C: an unknown label is refused, never assumed.
    """
    name = (label or "").removeprefix("wmoUnit:").removeprefix("unit:")
    if name not in units:
        raise SourceError(f"unit {label!r} is not known", permanent=True, source=source)
    return units[name]


def wind_2m(wind_10m_ms: float | None) -> float | None:
    """Bring a 10 m wind down to 2 m."""
    return None if wind_10m_ms is None else float(wind_at_2m_ms(wind_10m_ms, WIND_HEIGHT_M))


def wind_2m_of(wind_ms: Floats, height_m: float) -> Floats:
    """Bring winds at a height down to 2 m."""
    return wind_ms if height_m == 2.0 else wind_at_2m_ms(wind_ms, height_m)


def dew_point_c(t_c: Floats | float, rel_humidity_pct: Floats | float) -> Floats:
    """Dew point by Tetens' formula, as FAO-56 eq. 11 turned round. [°C]"""
    power = np.log10(np.maximum(rel_humidity_pct, 1.0) / 100) + 7.5 * t_c / (237.3 + t_c)
    return np.asarray(237.3 * power / (7.5 - power))


def humidity_pct(t_c: Floats | float, t_dew_c: Floats | float) -> Floats:
    """Relative humidity by the same formula. [%]"""
    power = 7.5 * t_dew_c / (237.3 + t_dew_c) - 7.5 * t_c / (237.3 + t_c)
    return np.asarray(np.minimum(100.0, 100 * np.power(10.0, power)))


def mean(values: Sequence[float]) -> float | None:
    """Return the mean; none of nothing."""
    return sum(values) / len(values) if values else None
