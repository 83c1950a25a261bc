"""Where an office's rows lie, looked at together: one that lies elsewhere is swapped, or is at least told."""

from collections.abc import Mapping
from math import inf, isfinite
from statistics import median_low

from mowalert.domain.crews import Position
from mowalert.domain.travel import great_circle_km
from mowalert.service.office.office_doubles import Told
from mowalert.service.reading.lawn_rows import Problem

FEWEST = 3
"""Rows from which can be told where most of them lie."""
AMONG_KM, FAR_KM = 200.0, 500.0
SHOWN = 5


def check_places(told: Mapping[int, Told], problems: list[Problem]) -> list[str]:
    """Refuse positions that lie among the others once they are turned round; tell of those far off.

    Parameters
    ----------
    told : Mapping[int, Told]
        Rows by line.
    problems : list[Problem]
        Where refused rows are named.

    Returns
    -------
    list[str]
        Where the rows lie, and which lie far from them.
    """
    places = {line: place for line, row in told.items() if (place := _place(row)) is not None}
    if len(places) < FEWEST:
        return []
    middle = Position(
        median_low(place.latitude_deg for place in places.values()),
        median_low(place.longitude_deg for place in places.values()),
    )
    remarks = [f"most rows lie around {_said(middle)}"]
    far = {line: km for line, place in places.items() if (km := _km(place, middle)) > FAR_KM}
    for line in list(far):
        if (meant := _turned(places[line], middle)) is not None:
            found, allowed = _said(places[line]), f"a place; {_said(meant)} would lie among the others"
            problems.append(Problem(line, "latitude", found, allowed))
            del far[line]
    for line, km in list(far.items())[:SHOWN]:
        remarks.append(f"line {line} lies {km:.0f} km from them, at {_said(places[line])}")
    if len(far) > SHOWN:
        remarks.append(f"and {len(far) - SHOWN} more rows lie more than {FAR_KM:g} km from them")
    return remarks


def _place(row: Told) -> Position | None:
    try:
        place = Position(float(row.cells["latitude"]), float(row.cells["longitude"]))
    except ValueError:
        return None
    return place if isfinite(place.latitude_deg) and isfinite(place.longitude_deg) else None


def _turned(place: Position, middle: Position) -> Position | None:
    """The same figures swapped, or with another sign, if that lies among the others."""
    one, other = place.latitude_deg, place.longitude_deg
    for latitude_deg, longitude_deg in (
        (other, one),
        (one, -other),
        (-one, other),
        (-other, one),
        (other, -one),
    ):
        meant = Position(latitude_deg, longitude_deg)
        if _km(meant, middle) < AMONG_KM:
            return meant
    return None


def _km(one: Position, other: Position) -> float:
    if not (abs(one.latitude_deg) <= 90 and abs(one.longitude_deg) <= 180):
        return inf
    return float(great_circle_km([one, other])[0, 1])


def _said(place: Position) -> str:
    return f"{place.latitude_deg:.7g}, {place.longitude_deg:.7g}"
