"""How sure a due date is: the same search for the limit, on many curves instead of one.

The curves come from an ensemble forecast, or, where none is to be had, from how far past forecasts
of growth lay off.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from statistics import NormalDist

import numpy as np

from mowalert.domain.arrays import Floats

MEMBERS = 31
"""Curves made from past errors; as many as the ensemble of the US weather service has."""
EARLY, LATE = 0.1, 0.9
ERROR_EDGES = np.linspace(-1.0, 1.0, 51)
"""Classes of relative error: true growth less what was said, over what was said."""
USUAL_ERROR = 0.12
USUAL_ERROR_A_DAY = 0.01
USUAL_NIGHTS = 20
USUAL_GROWTH_MM_D = 2.5
"""Relative error of forecast growth before any was seen: on the first day, more for each further day,
and how many nights of usual growth this belief weighs. Working values: where a third grows in about eight
days they make the day and a half by which forecasts alone miss the due date."""


@dataclass(frozen=True, slots=True)
class DueSpread:
    """When the limit is passed: early in one of ten cases, late in nine; none is beyond the horizon."""

    early_on: date | None
    likely_on: date | None
    late_on: date | None


def no_errors(leads: int) -> Floats:
    """Return the tally before any forecast was judged: shape (lead, class of error)."""
    return np.zeros((leads, len(ERROR_EDGES) - 1))


def tally(said_mm: Floats, true_mm: Floats) -> Floats:
    """Count how far forecasts of growth lay off, each by the growth it spoke of.

    Weighing by growth lets the weeks that matter speak: in a cold week any error is a large share of
    next to nothing.

    Parameters
    ----------
    said_mm : Floats
        Growth that was forecast, shape (forecast,). [mm]
    true_mm : Floats
        Growth that came, same shape. [mm]

    Returns
    -------
    Floats
        Millimetres of forecast growth by class of relative error, shape (class,).
    """
    grown = said_mm > 0
    share = (true_mm[grown] - said_mm[grown]) / said_mm[grown]
    inside = np.clip(share, ERROR_EDGES[0], ERROR_EDGES[-1])
    return np.histogram(inside, ERROR_EDGES, weights=said_mm[grown])[0]


def error_quantiles(seen: Floats, *, members: int = MEMBERS) -> Floats:
    """Return equally likely relative errors by lead, from what was seen beside what was believed.

    Parameters
    ----------
    seen : Floats
        Tallies by lead from one day on, shape (lead, class).
    members : int
        How many.

    Returns
    -------
    Floats
        Shape (member, lead), rising along the members.
    """
    places = (np.arange(members) + 0.5) / members
    rows = []
    for lead, counts in enumerate(seen):
        below = np.concatenate([[0.0], np.cumsum(counts + _believed(lead))])
        rows.append(np.interp(places, below / below[-1], ERROR_EDGES))
    return np.array(rows).T


@cache
def _believed(lead: int) -> Floats:
    normal = NormalDist(0.0, USUAL_ERROR + USUAL_ERROR_A_DAY * lead)
    below = np.array([normal.cdf(edge) for edge in ERROR_EDGES])
    return np.diff(below) * USUAL_NIGHTS * USUAL_GROWTH_MM_D * (lead + 1)


def spread_curves(gains_mm: Floats, errors: Floats) -> Floats:
    """Fan one forecast out into equally likely curves.

    Parameters
    ----------
    gains_mm : Floats
        Growth from this evening to each evening ahead, shape (day,). [mm]
    errors : Floats
        Equally likely relative errors, shape (member, day).

    Returns
    -------
    Floats
        Shape (member, day), never falling along the days. [mm]
    """
    return np.asarray(np.maximum.accumulate(gains_mm * (1.0 + errors), axis=1))


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
    chances = chance_by_day(limit_g_mm, today_g_mm, gains_mm).tolist()
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


def _first_day(chances: Sequence[float], share: float, today: date) -> date | None:
    day = next((day for day, chance in enumerate(chances) if chance >= share - 1e-9), None)
    return None if day is None else today + timedelta(days=day)
