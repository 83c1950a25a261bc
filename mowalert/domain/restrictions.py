"""Dated rules of a place: where they hold, and the lowest height cap of those in force."""

from collections.abc import Iterable, Sequence
from datetime import date

from mowalert.domain.areas import Corner


def lies_in(place: Corner, rings: Iterable[Sequence[Corner]]) -> bool:
    """Say whether a place lies in a polygon.

    Parameters
    ----------
    place : Corner
        Latitude and longitude. [°]
    rings : Iterable[Sequence[Corner]]
        Its outline and its holes: what lies within an odd number of them is in. A place on a line is in.

    Returns
    -------
    bool
        Whether it does; an outline may pass the date line.
    """
    inside = False
    for ring in rings:
        crossed, on_line = _crossings(place, ring)
        if on_line:
            return True
        inside ^= crossed
    return inside


def _crossings(place: Corner, ring: Sequence[Corner]) -> tuple[bool, bool]:
    """Whether a line to the east crosses an outline an odd number of times; whether the place is on it."""
    first = ring[0][1] if ring else 0.0
    # Corners lie near one another, and so near the first one, wherever the outline passes the date line.
    east = (first - place[1] + 180) % 360 - 180
    points = [
        (east + (longitude - first + 180) % 360 - 180, latitude - place[0]) for latitude, longitude in ring
    ]
    odd = False
    for (x0, y0), (x1, y1) in zip(points, [*points[1:], *points[:1]], strict=True):
        if x0 * y1 == x1 * y0 and min(x0, x1) <= 0 <= max(x0, x1) and min(y0, y1) <= 0 <= max(y0, y1):
            return False, True
        if (y0 > 0) != (y1 > 0) and x0 - y0 * (x1 - x0) / (y1 - y0) > 0:
            odd = not odd
    return odd, False


def is_in_force(first_on: date, last_on: date | None, *, on: date) -> bool:
    """Whether a rule holds on a day; one without a last day holds until it is taken back."""
    return first_on <= on and (last_on is None or on <= last_on)
