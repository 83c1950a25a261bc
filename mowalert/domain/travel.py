"""Driving between places: the great circle, a little longer, at a town's speed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from mowalert.domain.arrays import Floats, Ints
from mowalert.domain.crews import Position

EARTH_KM = 6371.0
ROAD_FACTOR = 1.3
"""Roads against the crow's flight; between 1.2 and 1.4 in towns. Working value."""
SPEED_KMH = 32.0
"""With a trailer, through a town, stops and parking included. Working value."""


@dataclass(frozen=True, slots=True)
class Travel:
    """Whole minutes and km from each of some places to each, both of shape (place, place)."""

    minutes: Ints
    km: Floats


TravelOf = Callable[[Sequence[Position]], Travel]
"""Says how far apart some places are."""


def great_circle_km(places: Sequence[Position]) -> Floats:
    """Return the distances between places on a sphere.

    Parameters
    ----------
    places : Sequence[Position]
        Places.

    Returns
    -------
    Floats
        Shape (place, place). [km]

    References
    ----------
    .. [1] R. W. Sinnott, "Virtues of the haversine", Sky and Telescope 68(2), 1984.
    """
    degrees = np.array([(place.latitude_deg, place.longitude_deg) for place in places]).reshape(-1, 2)
    latitude, longitude = np.radians(degrees).T
    north = np.sin((latitude[:, None] - latitude) / 2) ** 2
    east = np.sin((longitude[:, None] - longitude) / 2) ** 2
    half_chord = north + np.cos(latitude[:, None]) * np.cos(latitude) * east
    return np.asarray(2 * EARTH_KM * np.arcsin(np.sqrt(np.clip(half_chord, 0, 1))))


def by_great_circle(places: Sequence[Position], *, speed_kmh: float = SPEED_KMH) -> Travel:
    """Return the driving between places where no road is known.

    Parameters
    ----------
    places : Sequence[Position]
        Places.
    speed_kmh : float
        Mean speed. [km/h]

    Returns
    -------
    Travel
        Minutes are rounded up; a place is no minutes from itself.
    """
    km = great_circle_km(places) * ROAD_FACTOR
    # A hair less, so that rounding up does not make a minute of nothing.
    minutes = np.ceil(km / speed_kmh * 60 - 1e-9).astype(np.int64)
    return Travel(np.maximum(minutes, 0), km)
