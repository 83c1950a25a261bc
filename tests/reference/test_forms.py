"""E-mail headers, calendar forms and telephone numbers, as the standards have them."""

from datetime import UTC, date, datetime, timedelta

import icalendar
import phonenumbers
import pytest
from conftest_types import Checks

from mowalert.channels.mime import build_mime
from mowalert.domain.notices import OutgoingMessage
from mowalert.domain.words import Channel
from mowalert.links import UNSUBSCRIBE, Links

NUMBERS = ("us", "gb", "au", "de", "nl", "intl")
NOW = datetime(2026, 5, 7, 22, tzinfo=UTC)


def a_mail(url: str) -> bytes:
    message = OutgoingMessage(
        1, 1, Channel.EMAIL, "ann@example.org", "Mow Saturday", "text", "<p>text</p>", "<x@example.org>",
        url, NOW, NOW + timedelta(days=2),
    )  # fmt: skip
    return build_mime(message, sender="Lawns <lawns@example.org>")


def test_the_unsubscribe_headers_leave_raw_however_long(checks: Checks) -> None:
    """RFC 2369 and RFC 8058, on the bytes that leave."""
    url = Links("https://lawns.example.org/" + "p" * 300, "secret").unsubscribe_url(7)
    data = a_mail(url)
    checks.same("forms.list_unsubscribe", "in angle brackets", f"<{url}>".encode() in data, True)
    header = checks["forms.one_click"]["expected"]["header"]
    checks.same("forms.one_click", "header", header.encode() + b"\r\n" in data, True)
    assert data.count(b"List-Unsubscribe:") == 1
    assert b"ann@example.org" not in url.encode()


def test_a_link_cannot_be_forged_or_used_for_another_purpose(checks: Checks) -> None:
    checks["forms.one_click.post"]
    checks["forms.one_click.get"]
    links = Links("https://lawns.example.org", "secret")
    token = links.unsubscribe_url(7).rsplit("/", 1)[1]
    assert links.read(UNSUBSCRIBE, token) == 7
    assert links.read("mowed", token) is None
    assert links.read(UNSUBSCRIBE, token[:-2] + "xx") is None
    assert Links("https://lawns.example.org", "other").read(UNSUBSCRIBE, token) is None
    checks.same("forms.one_click.post", "token stands alone", "?" in token, False)
    checks.same("forms.one_click.get", "no action in the address", "confirm" in token, False)


def test_an_all_day_event(checks: Checks) -> None:
    """RFC 5545 through the library that will write our calendars."""
    row = checks["forms.ics.allday"]
    on = date.fromisoformat(row["inputs"]["local_date"])
    event = icalendar.Event()
    event.add("dtstart", on)
    event.add("dtend", on + timedelta(days=1))
    for line in row["expected"]["lines"]:
        checks.same("forms.ics.allday", line, line.encode() in event.to_ical(), True)


def test_escaping_folding_and_required_properties(checks: Checks) -> None:
    event = icalendar.Event()
    event.add("uid", "lawn-1-due@example.org")
    event.add("dtstamp", NOW)
    event.add("dtstart", date(2026, 5, 9))
    event.add("summary", "Mow, edge; then rest\\drink\nwater")
    event.add("description", "é" * 60)
    calendar = icalendar.Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", "-//mowalert//EN")
    calendar.add_component(event)
    data = calendar.to_ical()
    line = checks["forms.ics.text"]["expected"]["line"]
    checks.same("forms.ics.text", "SUMMARY", line.encode() in data, True)
    for name in ("UID", "DTSTAMP", "DTSTART"):
        checks.same("forms.ics.required", name, f"\r\n{name}".encode() in data, True)
    longest = max(len(part) for part in data.split(b"\r\n"))
    checks.within("forms.ics.fold", "longest line, octets", longest, 1, 75)
    assert data.decode().replace("\r\n ", "").count("é") == 60


@pytest.mark.parametrize("place", NUMBERS)
def test_a_number_as_typed_becomes_international(place: str, checks: Checks) -> None:
    check = f"forms.e164.{place}"
    row = checks[check]
    number = phonenumbers.parse(row["inputs"]["typed"], row["inputs"]["region"])
    ours = phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)
    checks.same(check, "E.164", ours, row["expected"]["e164"])
    length = checks["forms.e164.length"]["expected"]
    assert ours.startswith(length["prefix"])
    assert len(ours) <= 1 + length["max_digits"]
