"""Growing degree-days of a day, by its mean or by a sine through its extremes."""

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.errors import InputError


def degree_days(
    t_min_c: Floats, t_max_c: Floats, *, base_c: Floats | float, cutoff_c: float | None = None
) -> Floats:
    """Growing degree-days of each day; the day's mean is compared with the base.

    Parameters
    ----------
    t_min_c : Floats
        Lowest air temperature of the local day, any shape. [°C]
    t_max_c : Floats
        Highest, same shape. [°C]
    base_c : Floats | float
        Mean temperature at or below which nothing accrues. [°C]
    cutoff_c : float | None
        Mean temperature above which no more accrues. [°C]

    Returns
    -------
    Floats
        Same shape, never negative. [°C d]

    References
    ----------
    .. [1] G. S. McMaster, W. W. Wilhelm, "Growing degree-days: one equation, two interpretations",
       Agric. For. Meteorol. 87, 1997, method 1. doi:10.1016/S0168-1923(97)00027-0
    """
    _check(t_min_c, t_max_c)
    return degree_days_of_mean((t_min_c + t_max_c) / 2, base_c=base_c, cutoff_c=cutoff_c)


def degree_days_of_mean(mean_c: Floats, *, base_c: Floats | float, cutoff_c: float | None = None) -> Floats:
    """Growing degree-days of days whose mean temperature is known, as ``degree_days``; any shape. [°C d]"""
    capped_c = mean_c if cutoff_c is None else np.minimum(mean_c, cutoff_c)
    return np.asarray(np.maximum(capped_c - base_c, 0.0))


def sine_degree_days(
    t_min_c: Floats, t_max_c: Floats, *, base_c: Floats | float, cutoff_c: float | None = None
) -> Floats:
    """Growing degree-days under a sine through the day's extremes, for springs near the base.

    Parameters
    ----------
    t_min_c : Floats
        Lowest air temperature of the local day, any shape. [°C]
    t_max_c : Floats
        Highest, same shape. [°C]
    base_c : Floats | float
        Temperature below which nothing accrues. [°C]
    cutoff_c : float | None
        Temperature above which warmth counts as the cutoff (horizontal cutoff). [°C]

    Returns
    -------
    Floats
        Same shape, never negative. [°C d]

    References
    ----------
    .. [1] G. L. Baskerville, P. Emin, "Rapid estimation of heat accumulation from maximum and
       minimum temperatures", Ecology 50, 1969. doi:10.2307/1933912
    """
    _check(t_min_c, t_max_c)
    warmth = _area_above(t_min_c, t_max_c, base_c)
    if cutoff_c is not None:
        warmth = warmth - _area_above(t_min_c, t_max_c, cutoff_c)
    return np.asarray(np.maximum(warmth, 0.0))


def _area_above(t_min_c: Floats, t_max_c: Floats, level_c: Floats | float) -> Floats:
    mean_c, half_c = (t_min_c + t_max_c) / 2, (t_max_c - t_min_c) / 2
    above_c = mean_c - level_c
    # The angle at which the sine crosses the level; all day above or below at the ends.
    crossing = np.divide(-above_c, half_c, out=np.sign(-above_c), where=half_c > 1e-9)
    angle = np.arcsin(np.clip(crossing, -1.0, 1.0))
    return np.asarray((above_c * (np.pi / 2 - angle) + half_c * np.cos(angle)) / np.pi)


def _check(t_min_c: Floats, t_max_c: Floats) -> None:
    if np.any(np.asarray(t_min_c) > np.asarray(t_max_c)):
        raise InputError("t_min_c exceeds t_max_c")
