"""Alerts in the Common Alerting Protocol: a document of its own, or a feed that holds or links to some.

References
----------
.. [1] OASIS, "Common Alerting Protocol Version 1.2", 1 July 2010,
   docs.oasis-open.org/emergency/cap/v1.2/CAP-v1.2-os.html
.. [2] OASIS, "Example Practices: CAP Feeds Version 1.0", 2014: Atom and RSS.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urljoin
from xml.etree.ElementTree import Element

from mowalert.domain.areas import Area, Circle, Corner
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
from mowalert.weather.safe_xml import RefusedXmlError, child_text, local, read_xml

NAME = "cap"
ALERTS = tuple(f"{{urn:oasis:names:tc:emergency:cap:1.{version}}}alert" for version in (2, 1))
FEEDS = ("feed", "rss", "RDF")
ENTRIES = ("entry", "item")
CAP_TYPE = "application/cap+xml"
GLOBAL_ID = "urn:oid:"
"""Ids of this form are unique among all senders, and the same in every service's own format."""
WARNS = ("alert", "update")
MOST_AREAS = 200
LANGUAGE = "en"
"""Of a message in several languages this one is shown; the message's first if it is missing."""
USUAL_LANGUAGE = "en-US"
"""CAP 1.2, 3.2.2: the language of what names none."""


@dataclass(frozen=True, slots=True)
class CapDocument:
    """What a document holds: messages, addresses of further alerts, and how many could not be read."""

    messages: tuple[AlertMessage, ...]
    links: tuple[str, ...]
    broken: int = 0


def read_cap(data: bytes, *, url: str, page: str, now: datetime) -> CapDocument:
    """Read an alert, or a feed of alerts.

    Parameters
    ----------
    data : bytes
        The document as it came.
    url : str
        Its address, which links in it may be relative to.
    page : str
        Where people can read an alert that names no page of its own; may be empty.
    now : datetime
        The moment; entries of a feed that say they have expired are passed over.

    Returns
    -------
    CapDocument
        Messages in the document, and addresses of those it only links to.

    Raises
    ------
    SourceError
        If it is no XML that may be read, or neither an alert nor a feed.
    """
    try:
        root = read_xml(data)
    except RefusedXmlError as error:
        raise SourceError(str(error), permanent=True, source=NAME) from error
    alerts = [element for element in root.iter() if element.tag in ALERTS]
    if not alerts and local(root) not in FEEDS:
        raise SourceError("neither an alert nor a feed of alerts", permanent=True, source=NAME)
    read = [_message(alert, page) for alert in alerts]
    messages = tuple(message for message in read if message is not None)
    links = (_link(entry, url) for entry in root.iter() if local(entry) in ENTRIES and _is_open(entry, now))
    return CapDocument(messages, tuple(dict.fromkeys(filter(None, links))), len(read) - len(messages))


def _is_open(entry: Element, now: datetime) -> bool:
    """Whether an entry's alert is still to be fetched: neither inside it nor, as it says itself, over."""
    if any(element.tag in ALERTS for element in entry.iter()):
        return False
    told = (moment(child.text) for child in entry if local(child) == "expires")
    return all(expires_at is None or expires_at > now for expires_at in told)


def _link(entry: Element, url: str) -> str:
    """The address of an entry's alert: the link that says it is one, else the first."""
    links = [child for child in entry if local(child) in ("link", "enclosure")]
    links.sort(key=lambda child: (child.get("type") != CAP_TYPE, local(child) == "enclosure"))
    for child in links:
        if child.get("rel", "alternate") in ("alternate", "enclosure", "self", "related"):
            address = child.get("href") or child.get("url") or (child.text or "").strip()
            try:
                return link(urljoin(url, address)) if address else ""
            except ValueError:
                return ""
    return ""


def _message(alert: Element, page: str) -> AlertMessage | None:
    sender, identifier = identity(child_text(alert, "sender")), identity(child_text(alert, "identifier"))
    sent_at = moment(child_text(alert, "sent"))
    if not sender or not identifier or sent_at is None:
        return None
    kind, alert_id = child_text(alert, "msgType").casefold(), _alert_id(sender, identifier)
    scope = child_text(alert, "scope").casefold() or "public"
    infos = _in_one_language(_children(alert, "info"))
    tests = any(is_test(_parameters(info, "VTEC")) for info in infos)
    warnings = [
        AreaWarning(warning, tuple(_area(area) for area in _children(info, "area")))
        for number, info in enumerate(infos, 1)
        if kind in WARNS and not _is_over(info)
        if (warning := _warning(alert, info, f"{alert_id} {number}" if number > 1 else alert_id, page))
    ]
    return AlertMessage(
        alert_id=alert_id,
        for_real=child_text(alert, "status").casefold() == "actual" and scope == "public" and not tests,
        cancels=kind == "cancel",
        replaces=frozenset(_references(alert)) if kind in ("update", "cancel") else frozenset(),
        sent_at=sent_at,
        warnings=tuple(warnings),
    )


def _alert_id(sender: str, identifier: str) -> str:
    return identifier if identifier.startswith(GLOBAL_ID) else f"{sender},{identifier}"


def _references(alert: Element) -> Iterator[str]:
    """Ids of earlier messages: ``sender,identifier,sent`` each, with space between them."""
    for reference in child_text(alert, "references").split():
        match reference.split(","):
            case [sender, identifier, _]:
                yield _alert_id(sender, identifier)


def _in_one_language(infos: Sequence[Element]) -> list[Element]:
    """The parts of a message in one language: a translation is no second warning."""
    tags = [_language(info).casefold() for info in infos]
    ours = next((tag for tag in tags if tag.partition("-")[0] == LANGUAGE), tags[0] if tags else "")
    return [info for info, tag in zip(infos, tags, strict=True) if tag == ours]


def _language(info: Element) -> str:
    return line(child_text(info, "language")) or USUAL_LANGUAGE


def _is_over(info: Element) -> bool:
    clear = any(child.text == "AllClear" for child in _children(info, "responseType"))
    return clear or child_text(info, "urgency") == "Past" or is_ended(_parameters(info, "VTEC"))


def _warning(alert: Element, info: Element, warning_id: str, page: str) -> OfficialWarning | None:
    event, sent_at = line(child_text(info, "event")), moment(child_text(alert, "sent"))
    if not event or sent_at is None:
        return None
    onset_at = moment(child_text(info, "onset")) or moment(child_text(info, "effective")) or sent_at
    ends = [*_parameters(info, "eventEndingTime"), child_text(info, "expires")]
    ends_at = next((end for end in map(moment, ends) if end), None)
    names = (line(child_text(area, "areaDesc")) for area in _children(info, "area"))
    return OfficialWarning(
        warning_id=warning_id,
        sender=line(child_text(info, "senderName")) or line(child_text(alert, "sender")),
        event=event,
        kind=kind_of(event, _parameters(info, "VTEC"), " ".join(_parameters(info, "awareness_type"))),
        severity=severity(child_text(info, "severity")),
        headline=line(child_text(info, "headline")) or event,
        onset_at=onset_at,
        ends_at=ends_at or sent_at + USUAL_LIFE,
        areas=tuple(name for name in names if name)[:MOST_AREAS],
        url=link(child_text(info, "web")) or link(page),
        instruction=text(child_text(info, "instruction")),
        language=_language(info),
    )


def _area(area: Element) -> Area:
    polygons = (_polygon(child.text or "") for child in _children(area, "polygon"))
    circles = (_circle(child.text or "") for child in _children(area, "circle"))
    codes = (
        f"{line(child_text(code, 'valueName'))}/{line(child_text(code, 'value'))}"
        for code in _children(area, "geocode")
    )
    return Area(
        name=line(child_text(area, "areaDesc")),
        polygons=tuple(corners for corners in polygons if corners),
        circles=tuple(circle for circle in circles if circle),
        codes=frozenset(codes),
    )


def _polygon(said: str) -> tuple[Corner, ...]:
    """Corners of a polygon, latitude first; none where one cannot be read."""
    corners = [_corner(pair) for pair in said.split()]
    known = [corner for corner in corners if corner]
    # The first should be named again as the last; who forgets it means the same outline.
    return tuple(known) if len(known) == len(corners) >= 3 else ()


def _circle(said: str) -> Circle | None:
    match said.split():
        case [middle, radius] if corner := _corner(middle):
            radius_km = _number(radius)
            return Circle(*corner, radius_km) if radius_km is not None and 0 <= radius_km < 21_000 else None
    return None


def _corner(pair: str) -> Corner | None:
    latitude, _, longitude = pair.partition(",")
    position = _number(latitude), _number(longitude)
    match position:
        case (float(north), float(east)) if -90 <= north <= 90 and -180 <= east <= 180:
            return north, east
    return None


def _number(said: str) -> float | None:
    try:
        return float(said)
    except ValueError:
        return None


def _children(element: Element, name: str) -> list[Element]:
    return [child for child in element if local(child) == name]


def _parameters(info: Element, name: str) -> list[str]:
    return [
        child_text(parameter, "value")
        for parameter in _children(info, "parameter")
        if child_text(parameter, "valueName") == name
    ]
