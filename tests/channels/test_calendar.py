"""The calendar feed on the bytes that leave, and read back by a program."""

import unicodedata
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from builders import NOW, THURSDAY
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar, Component

from mowalert.channels.calendar import CalendarEntry, EntryKind, calendar_of, next_sequence
from mowalert.errors import InputError

HOST = "mow.example.org"
SATURDAY = date(2026, 5, 9)
HOSTILE = "Mow\r\nEND:VEVENT\r\nBEGIN:VEVENT\nUID:evil;X=1:a,b\\c\x00\x1b\ud800 \N{SEEDLING}"


def an_entry(**changes: Any) -> CalendarEntry:
    entry = CalendarEntry(
        lawn_id=12,
        place="Home, front",
        kind=EntryKind.WINDOW,
        started_on=date(2026, 5, 4),
        first_on=SATURDAY,
        last_on=SATURDAY,
        summary="Mow at 3 in",
        description="A third has grown.",
        sequence=0,
        changed_at=NOW,
        url="https://mow.example.org/lawns/12",
    )
    return replace(entry, **changes)


def written(*entries: CalendarEntry, name: str = "Quillmere Lawns") -> bytes:
    return calendar_of(entries, service_name=name, host=HOST, time_zone="America/New_York")


def events(feed: bytes) -> list[Component]:
    return list(Calendar.from_ical(feed).walk("VEVENT"))


def test_a_day_is_a_whole_day_and_its_end_is_the_day_after() -> None:
    feed = written(an_entry(last_on=SATURDAY + timedelta(days=1)))
    assert b"\r\nDTSTART;VALUE=DATE:20260509\r\n" in feed
    assert b"\r\nDTEND;VALUE=DATE:20260511\r\n" in feed


def test_an_event_says_what_the_entry_says() -> None:
    (event,) = events(written(an_entry(sequence=3)))
    assert event["SUMMARY"] == "Mow at 3 in"
    assert event["LOCATION"] == "Home, front"
    assert event["DESCRIPTION"] == "A third has grown."
    assert event["URL"] == "https://mow.example.org/lawns/12"
    assert event["SEQUENCE"] == 3
    assert event["DTSTAMP"].dt == event["LAST-MODIFIED"].dt == NOW
    assert event["CATEGORIES"].cats == ["Mowing"]


@pytest.mark.parametrize("kind", list(EntryKind))
def test_no_entry_makes_its_keeper_busy(kind: EntryKind) -> None:
    (event,) = events(written(an_entry(kind=kind)))
    assert event["TRANSP"] == "TRANSPARENT"


def test_a_calendar_says_whose_it_is_and_how_often_to_look() -> None:
    feed = written()
    for line in (
        "PRODID:-//mowalert//lawn calendar//EN",
        "METHOD:PUBLISH",
        "NAME:Quillmere Lawns",
        "X-WR-CALNAME:Quillmere Lawns",
        "X-WR-TIMEZONE:America/New_York",
        "REFRESH-INTERVAL;VALUE=DURATION:PT6H",
        "X-PUBLISHED-TTL:PT6H",
    ):
        assert f"\r\n{line}\r\n".encode() in feed
    assert events(feed) == []


def test_a_change_keeps_the_identifier_and_another_start_does_not() -> None:
    changed = an_entry(first_on=SATURDAY + timedelta(days=1), last_on=SATURDAY + timedelta(days=1))
    mown = an_entry(started_on=SATURDAY)
    held = an_entry(kind=EntryKind.HOLD)
    uids = [events(written(entry))[0]["UID"] for entry in (an_entry(), changed, mown, held)]
    assert uids == [
        "lawn-12-window-2026-05-04@mow.example.org",
        "lawn-12-window-2026-05-04@mow.example.org",
        "lawn-12-window-2026-05-09@mow.example.org",
        "lawn-12-hold-2026-05-04@mow.example.org",
    ]


def test_entries_come_by_day_whatever_the_order_they_are_given_in() -> None:
    entries = [
        an_entry(),
        an_entry(lawn_id=2, first_on=THURSDAY),
        an_entry(lawn_id=3, kind=EntryKind.HOLD),
    ]
    assert written(*entries) == written(*reversed(entries))
    assert [event["UID"].split("-")[1] for event in events(written(*entries))] == ["2", "12", "3"]


def test_of_two_with_one_identifier_the_later_change_is_shown() -> None:
    old, new = an_entry(), an_entry(sequence=1, summary="Mow on Sunday")
    for feed in (written(old, new), written(new, old)):
        assert [event["SUMMARY"] for event in events(feed)] == ["Mow on Sunday"]


def test_an_entry_that_is_taken_back_says_so_under_its_identifier() -> None:
    (shown,), (gone,) = events(written(an_entry())), events(written(an_entry(cancelled=True, sequence=1)))
    assert "STATUS" not in shown
    assert gone["STATUS"] == "CANCELLED"
    assert shown["UID"] == gone["UID"]


def test_a_moment_of_another_zone_is_written_in_utc() -> None:
    local = NOW.astimezone(timezone(timedelta(hours=-4)))
    assert written(an_entry(changed_at=local)) == written(an_entry())


def test_what_is_empty_is_left_out() -> None:
    (event,) = events(written(an_entry(description="", url="")))
    assert "DESCRIPTION" not in event
    assert "URL" not in event


def test_nothing_can_be_smuggled_into_a_calendar() -> None:
    entry = an_entry(summary=HOSTILE, place=HOSTILE, description=HOSTILE, url=f"https://a/{HOSTILE}")
    feed = written(entry, name=HOSTILE)
    assert feed.count(b"\r\nBEGIN:VEVENT\r\n") == feed.count(b"\r\nUID:") == 1
    (event,) = events(feed)
    assert event["UID"] == "lawn-12-window-2026-05-04@mow.example.org"
    assert event["SUMMARY"] == "Mow END:VEVENT BEGIN:VEVENT UID:evil;X=1:a,b\\c \N{SEEDLING}"
    assert event["DESCRIPTION"].count("\n") == 3


def test_an_entry_that_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(InputError, match="before 2026-05-09"):
        an_entry(last_on=THURSDAY)


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(InputError, match="time zone"):
        an_entry(changed_at=datetime(2026, 5, 7, 22, 5))  # noqa: DTZ001 - that is the mistake


def test_an_entry_never_shown_keeps_its_number() -> None:
    assert next_sequence(None, an_entry()) == an_entry()


def test_an_entry_that_looks_the_same_keeps_number_and_moment() -> None:
    shown = an_entry(sequence=4)
    assert next_sequence(shown, an_entry(changed_at=NOW + timedelta(hours=6))) == shown


@pytest.mark.parametrize(
    "change",
    [
        {"place": "Home, back"},
        {"first_on": THURSDAY},
        {"last_on": SATURDAY + timedelta(days=1)},
        {"summary": "Mow at 2¾ in"},
        {"description": "Rain is forecast."},
        {"url": "https://mow.example.org/lawns/13"},
        {"cancelled": True},
    ],
)
def test_whatever_a_reader_sees_changed_counts_one_on(change: dict[str, Any]) -> None:
    later = NOW + timedelta(hours=6)
    numbered = next_sequence(an_entry(sequence=4), an_entry(changed_at=later, **change))
    assert (numbered.sequence, numbered.changed_at) == (5, later)
    assert replace(numbered, sequence=4, changed_at=NOW) == an_entry(sequence=4, **change)


ANY_TEXT = st.text(st.one_of(st.characters(exclude_categories=[]), st.sampled_from("\r\n\\;,:\"N n\t'")))
DAYS = st.dates(date(2000, 1, 1), date(2100, 1, 1))
ENTRIES = st.builds(
    CalendarEntry,
    lawn_id=st.integers(1, 10**9),
    place=ANY_TEXT,
    kind=st.sampled_from(EntryKind),
    started_on=DAYS,
    first_on=st.shared(DAYS, key="first"),
    last_on=st.shared(DAYS, key="first").flatmap(lambda first: st.dates(first, date(2101, 1, 1))),
    summary=ANY_TEXT,
    description=ANY_TEXT | st.text("ab ,;é\N{SEEDLING}", min_size=200, max_size=600),
    sequence=st.integers(0, 10**6),
    changed_at=st.integers(0, 4 * 10**9).map(lambda second: datetime.fromtimestamp(second, UTC)),
    url=st.just(""),
)


def printable(text: str) -> str:
    """What a reader is shown; the library takes a backslash before a capital N for a line end."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    kept = [one for one in lines if one in "\n\t" or unicodedata.category(one) not in ("Cc", "Cs")]
    return "".join(kept).replace("\\N", "\n")


@given(ENTRIES)
def test_whatever_is_written_is_read_back(entry: CalendarEntry) -> None:
    feed = written(entry)
    (event,) = events(feed)
    assert event.get("DESCRIPTION", "") == printable(entry.description)
    assert event["SUMMARY"].split() == printable(entry.summary).split()
    assert event["LOCATION"].split() == printable(entry.place).split()
    assert event["DTSTART"].dt == entry.first_on
    assert event["DTEND"].dt == entry.last_on + timedelta(days=1)
    assert event["SEQUENCE"] == entry.sequence
    assert event["DTSTAMP"].dt == entry.changed_at


@given(st.lists(ENTRIES, max_size=3))
def test_every_line_is_short_and_ends_as_the_standard_says(entries: list[CalendarEntry]) -> None:
    feed = written(*entries)
    assert max(map(len, feed.split(b"\r\n"))) <= 75
    bare = feed.replace(b"\r\n", b"")
    assert b"\r" not in bare
    assert b"\n" not in bare
    assert feed.endswith(b"END:VCALENDAR\r\n")
    feed.decode()


@given(st.lists(ENTRIES, max_size=4), st.randoms())
def test_the_same_entries_give_the_same_bytes(entries: list[CalendarEntry], order: Any) -> None:
    known = {(entry.lawn_id, entry.kind, entry.started_on): entry for entry in entries}
    shuffled = list(known.values())
    order.shuffle(shuffled)
    assert written(*shuffled) == written(*known.values())
