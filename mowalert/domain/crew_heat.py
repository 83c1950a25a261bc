"""The crew's heat: the NWS heat index hour by hour, and the coolest hours to work in.

The employer's heat plan and the law come first; these figures only add.
"""

from collections.abc import Sequence
from datetime import date
from enum import StrEnum

import numpy as np
import thermofeel

from mowalert.domain.arrays import Floats
from mowalert.domain.notices import CrewHeat
from mowalert.domain.units import f_from_c

FIRST_CAUTION_F, STRONG_CAUTION_F = 80.0, 90.0
"""Initial and high heat triggers of the proposed federal rule, 89 FR 70698 (2024): proposed, not law."""
SAFE_BLOCK_H = 4
ZERO_C_K = 273.15


class HeatBand(StrEnum):
    """Classes of the heat index by the NWS; a lower edge belongs to the higher class."""

    NONE = "none"
    CAUTION = "caution"
    EXTREME_CAUTION = "extreme_caution"
    DANGER = "danger"
    EXTREME_DANGER = "extreme_danger"


BANDS_F = ((125.0, HeatBand.EXTREME_DANGER), (103.0, HeatBand.DANGER), (90.0, HeatBand.EXTREME_CAUTION),
           (80.0, HeatBand.CAUTION))  # fmt: skip


def heat_index_f(t_c: Floats | float, rel_humidity_pct: Floats | float) -> Floats:
    """Heat index in the shade: the simple formula, from 80 °F on Rothfusz's with both adjustments.

    Parameters
    ----------
    t_c : Floats | float
        Air temperature, any shape. [°C]
    rel_humidity_pct : Floats | float
        Relative humidity. [%]

    Returns
    -------
    Floats
        Same shape; full sun can add up to 15 °F. [°F]

    References
    ----------
    .. [1] L. P. Rothfusz, "The heat index equation", NWS Southern Region SR 90-23, 1990, with the
       adjustments of the NWS Weather Prediction Center.
    """
    t_k, humidity = np.broadcast_arrays(np.asarray(t_c, dtype=np.float64) + ZERO_C_K, rel_humidity_pct)
    flat_k = np.atleast_1d(t_k).ravel()
    dew_k = _dew_point_k(flat_k, np.atleast_1d(humidity).ravel())
    # The library answers from the dew point and works in place: it gets copies.
    index_k = thermofeel.calculate_heat_index_adjusted(flat_k.copy(), dew_k)
    return np.asarray(f_from_c(index_k - ZERO_C_K)).reshape(np.shape(t_k))


def _dew_point_k(t_k: Floats, rel_humidity_pct: Floats) -> Floats:
    """Dew point that the library turns back into just this humidity (Tetens 1930, as it does)."""
    t_c = t_k - ZERO_C_K
    power = np.log10(np.clip(rel_humidity_pct, 0.1, 100.0) / 100) + 7.5 * t_c / (237.3 + t_c)
    return np.asarray(237.3 * power / (7.5 - power) + ZERO_C_K)


def heat_band(index_f: float) -> HeatBand:
    """Name the class of a heat index."""
    return next((band for edge_f, band in BANDS_F if index_f >= edge_f), HeatBand.NONE)


def crew_heat(
    on: date,
    t_c: Sequence[float],
    rel_humidity_pct: Sequence[float],
    *,
    from_hour: int,
    to_hour: int,
    first_f: float = FIRST_CAUTION_F,
    strong_f: float = STRONG_CAUTION_F,
) -> CrewHeat | None:
    """Say how hot a crew's day will be.

    Parameters
    ----------
    on : date
        The local day.
    t_c : Sequence[float]
        Air temperature of its 24 hours. [°C]
    rel_humidity_pct : Sequence[float]
        Relative humidity of its 24 hours. [%]
    from_hour : int
        First working hour.
    to_hour : int
        Hour at which work ends.
    first_f : float
        Heat index of the first caution; an employer may set it lower. [°F]
    strong_f : float
        Heat index of the strong caution. [°F]

    Returns
    -------
    CrewHeat | None
        None below the first caution, or where no working hour is known.
    """
    hours = np.arange(from_hour, to_hour)
    index_f = heat_index_f(np.array(t_c)[hours], np.array(rel_humidity_pct)[hours])
    if np.all(np.isnan(index_f)) or np.nanmax(index_f) < first_f:
        return None
    hottest = int(np.nanargmax(index_f))
    start = _coolest_block(index_f, min(SAFE_BLOCK_H, len(hours)))
    return CrewHeat(
        on=on,
        heat_index_f=float(index_f[hottest]),
        at_hour=int(hours[hottest]),
        strong=bool(index_f[hottest] >= strong_f),
        safest_from=int(hours[start]),
        safest_to=int(hours[start]) + min(SAFE_BLOCK_H, len(hours)),
    )


def _coolest_block(index_f: Floats, length: int) -> int:
    known = np.where(np.isnan(index_f), np.nanmax(index_f), index_f)
    sums = np.convolve(known, np.ones(length), mode="valid")
    return int(np.argmin(sums))
