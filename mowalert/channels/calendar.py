"""A keeper's private calendar feed (RFC 5545): mowing windows and holds as days, never as appointments."""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum

from icalendar import Calendar, Event

from mowalert.errors import InputError

PRODUCT = "-//mowalert//lawn calendar//EN"
REFRESH = timedelta(hours=6)
"""How often programs are asked to look again: the weather is pulled a few times a day."""


class EntryKind(StrEnum):
    """What an entry of the calendar says."""

    WINDOW = "window"
    HOLD = "hold"


CATEGORIES = {EntryKind.WINDOW: "Mowing", EntryKind.HOLD: "Mowing hold"}


@dataclass(frozen=True, slots=True)
class CalendarEntry:
    """One window or hold of one lawn; ``first_on`` and ``last_on`` are both part of it.

    Lawn, kind and ``started_on`` say which entry it is: the day the lawn was last anchored for a
    window, the first day for a hold. ``sequence`` counts the changes a reader could see and
    ``changed_at`` is the moment of the last one, aware; see `next_sequence`. ``url`` has to stay the
    same from one look to the next, or every look is a change. One that is ``cancelled`` tells programs
    that keep what they have read to take it out.

    Raises
    ------
    InputError
        If it ends before it begins, or the moment has no time zone.
    """

    lawn_id: int
    place: str
    kind: EntryKind
    started_on: date
    first_on: date
    last_on: date
    summary: str
    description: str
    sequence: int
    changed_at: datetime
    url: str = ""
    cancelled: bool = False

    def __post_init__(self) -> None:
        if self.last_on < self.first_on:
            raise InputError(f"a calendar entry ends on {self.last_on}, before {self.first_on}")
        if self.changed_at.tzinfo is None:
            raise InputError("a calendar entry's moment of change has no time zone")


def next_sequence(previous: CalendarEntry | None, now: CalendarEntry) -> CalendarEntry:
    """Number an entry by what its reader has seen before.

    Parameters
    ----------
    previous : CalendarEntry | None
        The entry as last shown; none if it never was.
    now : CalendarEntry
        The entry as it is now; its own sequence counts only if it was never shown.

    Returns
    -------
    CalendarEntry
        The previous one if a reader would see no difference, else the new one, one number on.
    """
    if previous is None:
        return now
    if replace(now, sequence=previous.sequence, changed_at=previous.changed_at) == previous:
        return previous
    return replace(now, sequence=previous.sequence + 1)


def calendar_of(entries: Sequence[CalendarEntry], *, service_name: str, host: str, time_zone: str) -> bytes:
    """Write a calendar that programs can subscribe to.

    Parameters
    ----------
    entries : Sequence[CalendarEntry]
        In any order. Of two that are the same window or hold, the later change is shown.
    service_name : str
        The calendar's name.
    host : str
        Right-hand side of the entries' identifiers; another one makes every event a new one.
    time_zone : str
        The keeper's, a hint for programs: whole days have no zone.

    Returns
    -------
    bytes
        The same for the same entries, whenever it is asked for: the clock is not read, so that
        an unchanged feed can be answered with "not modified".
    """
    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", PRODUCT)
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    # RFC 7986 names the calendar and its pace in one way, programs from before it in another.
    for name in ("name", "x-wr-calname"):
        calendar.add(name, _line(service_name))
    calendar.add("x-wr-timezone", _line(time_zone))
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", f"PT{REFRESH // timedelta(hours=1)}H")
    for entry in _in_order(entries, host):
        calendar.add_component(_event(entry, host))
    return bytes(calendar.to_ical())


def _uid(entry: CalendarEntry, host: str) -> str:
    return f"lawn-{entry.lawn_id}-{entry.kind}-{entry.started_on.isoformat()}@{host}"


def _in_order(entries: Sequence[CalendarEntry], host: str) -> list[CalendarEntry]:
    """Sort entries by day, one for each identifier: a calendar with one twice is refused by some."""
    by_age = sorted(entries, key=lambda entry: (entry.sequence, entry.changed_at))
    latest = {_uid(entry, host): entry for entry in by_age}
    return [latest[uid] for uid in sorted(latest, key=lambda uid: (latest[uid].first_on, uid))]


def _event(entry: CalendarEntry, host: str) -> Event:
    event = Event()
    event.add("uid", _uid(entry, host))
    changed_at = entry.changed_at.astimezone(UTC)
    event.add("dtstamp", changed_at)
    event.add("last-modified", changed_at)
    event.add("sequence", entry.sequence)
    event.add("dtstart", entry.first_on)
    # The end of a whole-day event is the first day after it, RFC 5545 section 3.6.1.
    event.add("dtend", entry.last_on + timedelta(days=1))
    event.add("summary", _line(entry.summary))
    event.add("location", _line(entry.place))
    if entry.description:
        event.add("description", _text(entry.description))
    if entry.url:
        event.add("url", _text("".join(entry.url.split())))
    event.add("categories", [CATEGORIES[entry.kind]])
    # Nobody is busy for days on end because the grass may be cut, or may not be: shown as OPAQUE, a
    # window would turn down every invitation of its days.
    event.add("transp", "TRANSPARENT")
    if entry.cancelled:
        event.add("status", "CANCELLED")
    return event


def _line(text: str) -> str:
    return " ".join(_text(text).split())


def _text(text: str) -> str:
    """Leave out what a calendar's text may not hold: control characters but tab and line end."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(
        letter for letter in lines if letter in "\n\t" or unicodedata.category(letter) not in ("Cc", "Cs")
    )
