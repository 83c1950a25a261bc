"""How sure a due date is: the same search for the limit, on many curves instead of one.

The curves come from an ensemble forecast, or, where none is to be had, from how far past forecasts
of growth lay off.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from statistics import NormalDist

import numpy as np

from mowalert.domain.arrays import Floats

MEMBERS = 31
"""Curves made from past errors; as many as the ensemble of the US weather service has."""
EARLY, LATE = 0.1, 0.9
USUAL_ERROR = 0.12
USUAL_ERROR_A_DAY = 0.01
USUAL_NIGHTS = 20
"""Relative error of forecast growth before any was seen: at the first day, more for each further day,
and the number of nights this belief weighs. Working values: with growth of a third in about eight days
they make the 1.5 days by which forecasts alone miss the due date."""


@dataclass(frozen=True, slots=True)
class DueSpread:
    """When the limit is passed: early in one of ten cases, late in nine; none is beyond the horizon."""

    early_on: date | None
    likely_on: date | None
    late_on: date | None


def usual_errors(days: int) -> Floats:
    """Return the relative error of forecast growth by lead, before any was seen.

    Parameters
    ----------
    days : int
        Leads from one day on.

    Returns
    -------
    Floats
        Standard deviations, shape (lead,).
    """
    return np.asarray(USUAL_ERROR + USUAL_ERROR_A_DAY * np.arange(days, dtype=np.float64))


def learned_errors(squares: Floats, nights: Floats) -> Floats:
    """Return the relative error by lead from past forecasts, beside what was believed before.

    Parameters
    ----------
    squares : Floats
        Sum over nights of the mean squared relative error, shape (lead,).
    nights : Floats
        How many nights were seen, shape (lead,).

    Returns
    -------
    Floats
        Standard deviations, shape (lead,).
    """
    believed = usual_errors(len(squares)) ** 2 * USUAL_NIGHTS
    return np.asarray(np.sqrt((believed + squares) / (USUAL_NIGHTS + nights)))


def spread_curves(gains_mm: Floats, errors: Floats, *, members: int = MEMBERS) -> Floats:
    """Fan one forecast out into equally likely curves.

    Parameters
    ----------
    gains_mm : Floats
        Growth from this evening to each evening ahead, shape (day,). [mm]
    errors : Floats
        Relative error by lead, same shape.
    members : int
        How many curves.

    Returns
    -------
    Floats
        Shape (member, day), never falling along the days. [mm]
    """
    normal = NormalDist()
    places = np.array([normal.inv_cdf((index + 0.5) / members) for index in range(members)])
    fanned = gains_mm * np.maximum(1.0 + places[:, None] * errors, 0.0)
    return np.asarray(np.maximum.accumulate(fanned, axis=1))


def due_spread(limit_g_mm: float | None, today_g_mm: float, gains_mm: Floats, *, today: date) -> DueSpread:
    """Find when the limit is passed on each of many curves.

    Parameters
    ----------
    limit_g_mm : float | None
        Value of the stand's curve at the limit; none if it is never reached. [mm]
    today_g_mm : float
        The curve this evening. [mm]
    gains_mm : Floats
        Growth from this evening on, of shape (member, day); the first day is tomorrow. [mm]
    today : date
        The day of this evening.

    Returns
    -------
    DueSpread
        First days on which one, five and nine of ten curves have passed the limit.
    """
    chances = chance_by_day(limit_g_mm, today_g_mm, gains_mm)
    early, likely, late = (_first_day(chances, share, today) for share in (EARLY, 0.5, LATE))
    return DueSpread(early, likely, late)


def chance_by_day(limit_g_mm: float | None, today_g_mm: float, gains_mm: Floats) -> Floats:
    """Return the share of curves that have passed the limit, today first.

    Parameters
    ----------
    limit_g_mm : float | None
        Value of the stand's curve at the limit. [mm]
    today_g_mm : float
        The curve this evening. [mm]
    gains_mm : Floats
        Growth from this evening on, of shape (member, day). [mm]

    Returns
    -------
    Floats
        Shape (day + 1,), from 0 to 1.
    """
    if limit_g_mm is None:
        return np.zeros(gains_mm.shape[1] + 1)
    passed = (today_g_mm + gains_mm > limit_g_mm).mean(axis=0)
    return np.concatenate([[float(today_g_mm > limit_g_mm)], passed])


def _first_day(chances: Floats, share: float, today: date) -> date | None:
    reached = np.flatnonzero(chances >= share - 1e-9)
    return today + timedelta(days=int(reached[0])) if reached.size else None
