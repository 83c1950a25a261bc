"""Restrictions of a place: kept by area or by site, and brought to bear on the lawns they hold for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from math import isfinite
from typing import Any

from mowalert.domain.restrictions import is_in_force, lies_in
from mowalert.errors import InputError
from mowalert.service.known import organisation, sites_named
from mowalert.service.park_records import Polygon, RestrictionKind, RestrictionRecord
from mowalert.service.ports import Store
from mowalert.service.records import LawnRecord, SiteRecord

MOST_POINTS = 50_000
LOWEST_CAP_MM, HIGHEST_CAP_MM = 20.0, 2000.0
LONGEST_NOTE = 300


def read_area(told: Any) -> tuple[Polygon, ...]:
    """Read an area of GeoJSON.

    Parameters
    ----------
    told : Any
        A Polygon or MultiPolygon, or a Feature or FeatureCollection of them (RFC 7946), as parsed.

    Returns
    -------
    tuple[Polygon, ...]
        Each with its outline and its holes, latitude first.

    Raises
    ------
    InputError
        If it is none of these, an outline is not closed, a position cannot be, or there are too many.
    """
    found = (_list(polygon, "a polygon") for polygon in _polygons(told))
    polygons = tuple(tuple(_ring(one) for one in rings) for rings in found if rings)
    if not polygons:
        raise InputError("the area holds no polygon")
    if sum(len(ring) for polygon in polygons for ring in polygon) > MOST_POINTS:
        raise InputError(f"the area has more than {MOST_POINTS} positions")
    return polygons


def _polygons(told: Any) -> list[Any]:
    if _kind(told) == "FeatureCollection":
        return [one for feature in _list(told.get("features"), "features") for one in _of_feature(feature)]
    return _of_feature(told)


def _of_feature(told: Any) -> list[Any]:
    geometry = told.get("geometry") if _kind(told) == "Feature" else told
    kind = _kind(geometry)
    if kind == "Polygon":
        return [geometry.get("coordinates")]
    if kind == "MultiPolygon":
        return list(_list(geometry.get("coordinates"), "coordinates"))
    raise InputError(f"an area is a Polygon or a MultiPolygon of GeoJSON; found {str(kind)[:40]!r}")


def _kind(told: Any) -> Any:
    return told.get("type") if isinstance(told, dict) else None


def _list(told: Any, what: str) -> list[Any]:
    if not isinstance(told, list):
        raise InputError(f"{what}: a list is expected")
    return told


def _ring(told: Any) -> tuple[tuple[float, float], ...]:
    positions = [_position(one) for one in _list(told, "an outline")]
    if len(positions) < 4 or positions[0] != positions[-1]:
        raise InputError("an outline has at least four positions, of which the last repeats the first")
    return tuple(positions[:-1])


def _position(told: Any) -> tuple[float, float]:
    numbers = told[:2] if isinstance(told, list) and len(told) >= 2 else []
    if len(numbers) < 2 or not all(type(one) in (int, float) and isfinite(one) for one in numbers):
        raise InputError(f"{str(told)[:40]} is no position: longitude and latitude are expected")
    longitude, latitude = float(numbers[0]), float(numbers[1])
    if abs(latitude) > 90 or abs(longitude) > 180:
        raise InputError(f"{longitude:g}, {latitude:g}: longitude comes first, -180 to 180, then latitude")
    return latitude, longitude


@dataclass(frozen=True, slots=True)
class NewRestriction:
    """A rule as somebody tells of it; where it holds is an area, or sites by name, key or number."""

    kind: RestrictionKind
    name: str
    first_on: date
    last_on: date | None = None
    height_cap_mm: float | None = None
    note: str = ""
    area: tuple[Polygon, ...] = ()
    sites: tuple[str, ...] = ()


def restrict(store: Store, keeper: str, told: NewRestriction, *, now: datetime) -> RestrictionRecord:
    """Keep a restriction.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    told : NewRestriction
        The rule.
    now : datetime
        The moment, aware.

    Returns
    -------
    RestrictionRecord
        The rule as it is kept.

    Raises
    ------
    InputError
        If a date, a height or a site cannot be, or the rule holds nowhere.
    """
    _check(told)
    with store.begin() as work:
        of = organisation(work, keeper)
        named = sites_named(work, of.keeper_id, told.sites)
        if told.area and not any(_lies_in_any(one, told.area) for one in work.crews.sites_of(of.keeper_id)):
            raise InputError(f"no site of {of.name} lies in the area; longitude comes first in each position")
        record = RestrictionRecord(
            restriction_id=0,
            keeper_id=of.keeper_id,
            kind=told.kind,
            name=told.name.strip(),
            first_on=told.first_on,
            last_on=told.last_on,
            height_cap_mm=told.height_cap_mm,
            note=told.note.strip(),
            polygons=told.area,
            site_ids=tuple(one.site_id for one in named),
            said_at=now,
        )
        number = work.parks.restrict(record)
        work.commit()
    return replace(record, restriction_id=number)


def _check(told: NewRestriction) -> None:
    if not told.name.strip() or len(told.name) > 200 or len(told.note) > LONGEST_NOTE:
        raise InputError(f"a rule has a name of at most 200 letters and a note of at most {LONGEST_NOTE}")
    if told.last_on is not None and told.last_on < told.first_on:
        raise InputError(f"{told.last_on} is before {told.first_on}")
    if not told.area and not told.sites:
        raise InputError("say where it holds: an area, or sites")
    cap = told.height_cap_mm
    if told.kind is RestrictionKind.HEIGHT_CAP and (
        cap is None or not LOWEST_CAP_MM <= cap <= HIGHEST_CAP_MM
    ):
        raise InputError(f"a height cap is {LOWEST_CAP_MM:g} to {HIGHEST_CAP_MM:g} mm")
    if told.kind is not RestrictionKind.HEIGHT_CAP and cap is not None:
        raise InputError("only a height cap has a height")


def lift(
    store: Store, keeper: str, restriction_id: int, *, first_free_on: date, now: datetime
) -> RestrictionRecord:
    """End a restriction; the days it held stay on record.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    restriction_id : int
        Its number.
    first_free_on : date
        First day on which it does not hold; on or before its first day it never held.
    now : datetime
        The moment, aware.

    Returns
    -------
    RestrictionRecord
        The rule as it is kept now.

    Raises
    ------
    InputError
        If the organisation has none of that number, or it ends sooner.
    """
    with store.begin() as work:
        of = organisation(work, keeper)
        mine = work.parks.restrictions([of.keeper_id], since=date.min).get(of.keeper_id, [])
        rule = next((one for one in mine if one.restriction_id == restriction_id), None)
        if rule is None:
            raise InputError(f"{of.name} has no restriction {restriction_id}")
        last_on = day_before(first_free_on, rule.last_on, f"restriction {restriction_id}")
        lifted = work.parks.lift(rule, last_on=last_on, at=now)
        work.commit()
    return lifted


def day_before(first_free_on: date, last_on: date | None, what: str) -> date:
    """Return the last day of what is ended early; InputError if it ends sooner."""
    if last_on is not None and last_on < first_free_on:
        raise InputError(f"{what} ends on {last_on} already")
    return first_free_on - timedelta(days=1)


def holds_for(rule: RestrictionRecord, site: SiteRecord, *, on: date) -> bool:
    """Whether a rule holds for a site on a day."""
    if not is_in_force(rule.first_on, rule.last_on, on=on):
        return False
    return site.site_id in rule.site_ids or _lies_in_any(site, rule.polygons)


def _lies_in_any(site: SiteRecord, polygons: Sequence[Polygon]) -> bool:
    place = site.latitude_deg, site.longitude_deg
    return any(lies_in(place, polygon) for polygon in polygons)


def height_caps(
    rules: Mapping[int, Sequence[RestrictionRecord]],
    lawns: Sequence[LawnRecord],
    sites: Mapping[int, SiteRecord],
    *,
    on: date,
) -> dict[int, float]:
    """Return the lowest height cap in force for each lawn that has one. [mm]"""
    caps: dict[int, float] = {}
    for lawn in lawns:
        here = [
            rule.height_cap_mm
            for rule in rules.get(lawn.keeper_id, ())
            if rule.height_cap_mm is not None and holds_for(rule, sites[lawn.site_id], on=on)
        ]
        if here:
            caps[lawn.lawn_id] = min(here)
    return caps
