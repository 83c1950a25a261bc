"""A crew's days as a calendar feed: one appointment a stop, so that each has its place and its time."""

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event

from mowalert.channels.crew_wording import CrewWording, words_for
from mowalert.domain.day_sheet import CrewSheet, DaySheet, SheetReader, SheetStop


def crew_calendar(
    sheets: Sequence[DaySheet], crew_ids: Sequence[int] | None, to: SheetReader, *, name: str, host: str
) -> bytes:
    """Return the stops of some days as a calendar (RFC 5545).

    Parameters
    ----------
    sheets : Sequence[DaySheet]
        Days, each in its newest version.
    crew_ids : Sequence[int] | None
        Crews whose stops are told; all of them if not given.
    to : SheetReader
        Who reads it.
    name : str
        Of the calendar.
    host : str
        What identifiers end in.

    Returns
    -------
    bytes
        An appointment keeps its identifier over versions of a plan, so that it moves and is not doubled.
    """
    words = words_for(to)
    calendar = Calendar()
    calendar.add("prodid", "-//mowalert//crew days//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", _text(name))
    calendar.add("refresh-interval;value=duration", "PT1H")
    for sheet in sheets:
        for crew in sheet.crews:
            if crew_ids is None or crew.crew_id in crew_ids:
                for stop in crew.listed:
                    calendar.add_component(_appointment(sheet, crew, stop, words, host))
    return bytes(calendar.to_ical())


def _appointment(sheet: DaySheet, crew: CrewSheet, stop: SheetStop, words: CrewWording, host: str) -> Event:
    lawn = stop.lawn
    event = Event()
    event.add("uid", f"stop-{sheet.keeper_id}-{sheet.on.isoformat()}-{lawn.lawn_id}@{host}")
    event.add("dtstamp", sheet.made_at.astimezone(UTC))
    event.add("sequence", sheet.version - 1)
    event.add("dtstart", _moment(sheet, stop.starts_min))
    event.add("dtend", _moment(sheet, stop.ends_min))
    where = f"{stop.order}. {words.place(lawn)}"
    event.add("summary", _text(f"{words.outcome(stop)}: {where}" if stop.outcome else where))
    event.add("location", _text(lawn.address or lawn.site_name))
    event.add("geo", (lawn.position.latitude_deg, lawn.position.longitude_deg))
    lines = [
        crew.name,
        words.todo(lawn),
        *(f"{word}: {said}" for word, said in words.notes(lawn)),
        *words.warnings(lawn),
        words.shares(lawn),
    ]
    event.add("description", "\n".join(map(_text, lines)))
    return event


def _text(text: str) -> str:
    """A text without what a line of a calendar cannot hold."""
    return "".join(letter if letter.isprintable() else " " for letter in text)


def _moment(sheet: DaySheet, minute: int) -> datetime:
    midnight = datetime.combine(sheet.on, time(), ZoneInfo(sheet.time_zone))
    # The clock's minute of the day, not minutes gone by: on the day clocks change they differ.
    return (midnight + timedelta(minutes=minute)).astimezone(UTC)
