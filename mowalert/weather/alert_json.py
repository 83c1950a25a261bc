"""Alerts as the US National Weather Service writes them in JSON: read leniently, one by one."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from mowalert.domain.areas import Area, Corner
from mowalert.domain.warnings import AlertMessage, AreaWarning, OfficialWarning
from mowalert.errors import SourceError
from mowalert.weather.alert_words import (
    USUAL_LIFE,
    identity,
    is_ended,
    is_test,
    kind_of,
    line,
    link,
    moment,
    severity,
    text,
)
from mowalert.weather.nws import NAME

ZONE_KEYS = ("forecastZone", "county", "fireWeatherZone")
ZONE = re.compile(r"/zones/([a-z]+)/([A-Z]{2}[CZ]\d{3})$")
UGC = re.compile(r"[A-Z]{2}([CZ])\d{3}")
MOST_AREAS = 200
WARNS = ("alert", "update")
"""Kinds of message that warn; others cancel, acknowledge or report an error."""


def read_zones(status: int, body: Any) -> frozenset[str]:
    """Read the zones of a point: ``forecast/NYZ052``, ``county/NYC001``, ``fire/NYZ208``.

    Parameters
    ----------
    status : int
        Of the answer.
    body : Any
        Its JSON.

    Returns
    -------
    frozenset[str]
        A fire zone may bear the number of a forecast zone elsewhere, so the kind belongs to the code.

    Raises
    ------
    SourceError
        If it is no point.
    """
    properties = body.get("properties") if isinstance(body, dict) else None
    if status != 200 or not isinstance(properties, dict):
        raise refused(status, body)
    return frozenset(_codes_in(properties.get(key) for key in ZONE_KEYS))


def _codes_in(addresses: Iterable[object]) -> Iterator[str]:
    for address in addresses:
        if isinstance(address, str) and (match := ZONE.search(address)):
            yield f"{match[1]}/{match[2]}"


def refused(status: int, body: Any) -> SourceError:
    """Return the error of an answer that is not what was asked for.

    Parameters
    ----------
    status : int
        Of the answer.
    body : Any
        Its JSON; the service's own problems have a title.

    Returns
    -------
    SourceError
        Permanent where asking again soon is pointless.
    """
    detail = line(body.get("title")) if isinstance(body, dict) else ""
    return SourceError(f"status {status}: {detail}", permanent=400 <= status < 429, source=NAME)


def read_alerts(status: int, body: Any) -> tuple[list[AlertMessage], int]:
    """Read an answer of the service.

    Parameters
    ----------
    status : int
        Of the answer.
    body : Any
        Its JSON.

    Returns
    -------
    tuple[list[AlertMessage], int]
        The messages, and how many could not be read.

    Raises
    ------
    SourceError
        If it is no list of alerts.
    """
    features = body.get("features") if isinstance(body, dict) else None
    if status != 200 or not isinstance(features, list):
        raise refused(status, body)
    read = [_message(feature) for feature in features]
    messages = [message for message in read if message is not None]
    return messages, len(read) - len(messages)


def _message(feature: object) -> AlertMessage | None:
    said = _table(_table(feature).get("properties"))
    alert_id, sent_at = identity(said.get("id")), moment(said.get("sent"))
    if not alert_id or sent_at is None:
        return None
    vtec = _texts(_table(said.get("parameters")).get("VTEC"))
    status, kind = line(said.get("status")).casefold(), line(said.get("messageType")).casefold()
    scope = line(said.get("scope")).casefold() or "public"
    over = kind == "cancel" or is_ended(vtec)
    warning = None if over or _is_all_clear(said) else _warning(said, alert_id, sent_at, vtec)
    return AlertMessage(
        alert_id=alert_id,
        for_real=status == "actual" and scope == "public" and not is_test(vtec),
        cancels=over,
        replaces=frozenset(_references(said.get("references"))) if kind != "alert" else frozenset(),
        sent_at=sent_at,
        warnings=(AreaWarning(warning, (_area(feature, said),)),) if warning and kind in WARNS else (),
    )


def _is_all_clear(said: Mapping[str, Any]) -> bool:
    return said.get("response") == "AllClear" or said.get("urgency") == "Past"


def _warning(
    said: Mapping[str, Any], alert_id: str, sent_at: datetime, vtec: Sequence[str]
) -> OfficialWarning | None:
    event = line(said.get("event"))
    if not event:
        return None
    onset_at = moment(said.get("onset")) or moment(said.get("effective")) or sent_at
    # The event's own end; `expires` is when the message lapses, often hours before.
    ends_at = moment(said.get("ends")) or moment(said.get("expires")) or sent_at + USUAL_LIFE
    return OfficialWarning(
        warning_id=alert_id,
        sender=line(said.get("senderName")) or line(said.get("sender")),
        event=event,
        kind=kind_of(event, vtec),
        severity=severity(said.get("severity")),
        headline=line(said.get("headline")) or event,
        onset_at=onset_at,
        ends_at=ends_at,
        areas=tuple(_names(said)),
        url=_address(said),
        instruction=text(said.get("instruction")),
        language=line(said.get("language")),
    )


def _names(said: Mapping[str, Any]) -> list[str]:
    names = (line(name) for name in str(said.get("areaDesc") or "").split(";"))
    return [name for name in names if name][:MOST_AREAS]


def _address(said: Mapping[str, Any]) -> str:
    """The alert's page, if it names one that is more than the service's front page; else its record."""
    web = link(said.get("web"))
    is_front = web.rstrip("/").count("/") < 3
    return (link(said.get("@id")) or web) if is_front else web


def _area(feature: object, said: Mapping[str, Any]) -> Area:
    codes = set(_codes_in(_list(said.get("affectedZones"))))
    return Area(
        name=line(said.get("areaDesc")),
        polygons=tuple(_polygons(_table(_table(feature).get("geometry")))),
        codes=frozenset(codes or _codes_of(_table(said.get("geocode")).get("UGC"))),
    )


def _codes_of(ugc: object) -> Iterator[str]:
    for code in _texts(ugc):
        if match := UGC.fullmatch(code):
            yield f"{'county' if match[1] == 'C' else 'forecast'}/{code}"


def _polygons(geometry: Mapping[str, Any]) -> Iterator[tuple[Corner, ...]]:
    """Outlines of a GeoJSON shape, whose corners are longitude first; holes do not matter here."""
    coordinates = _list(geometry.get("coordinates"))
    shapes = {"Polygon": [coordinates], "MultiPolygon": coordinates}.get(str(geometry.get("type")), [])
    for rings in map(_list, shapes):
        corners = [_corner(pair) for pair in _list(rings[0] if rings else None)]
        if len(corners) >= 4 and None not in corners:
            yield tuple(corner for corner in corners if corner)


def _corner(pair: object) -> Corner | None:
    match pair:
        case [int() | float() as longitude, int() | float() as latitude, *_]:
            fits = -180 <= longitude <= 180 and -90 <= latitude <= 90
            return (float(latitude), float(longitude)) if fits else None
    return None


def _references(value: object) -> Iterator[str]:
    for entry in _list(value):
        if found := identity(_table(entry).get("identifier")):
            yield found


def _table(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}


def _list(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def _texts(value: object) -> list[str]:
    return [entry for entry in _list(value) if isinstance(entry, str)]
