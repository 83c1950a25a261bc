"""The calendar feed as programs see it: by its private address, again and again, through cuts and holds."""

from datetime import date, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import requests
import sqlalchemy as sa
from icalendar import Calendar, Component
from program import Program
from skies import a_day, growing_weather
from web_people import BASE, Visitor

from mowalert.domain.weather import Place, WeatherDay
from mowalert.domain.words import Units
from mowalert.links import CALENDAR, PAGE
from mowalert.service.lawns.report import report_mowing, undo_last
from mowalert.service.lawns.wishes import renew_links, speak
from mowalert.store.tables import lawn


class Watcher:
    """A calendar program that subscribed."""

    def __init__(self, visitor: Visitor, path: str) -> None:
        self.visitor, self.path = visitor, path

    def look(self, **headers: str) -> requests.Response:
        return self.visitor.get(
            self.path, headers={name.replace("_", "-"): text for name, text in headers.items()}
        )

    def events(self) -> dict[str, Component]:
        answer = self.look()
        assert answer.status_code == 200, answer.text
        return {str(event["UID"]): event for event in Calendar.from_ical(answer.content).walk("VEVENT")}

    def only(self) -> Component:
        (event,) = self.events().values()
        return event


@pytest.fixture
def watcher(visitor: Visitor) -> Watcher:
    """Ann, whose lawn grows, and her calendar."""
    visitor.join()
    return Watcher(visitor, visitor.services.links.calendar_url(1, 0).removeprefix(BASE))


def until_window(watcher: Watcher) -> Component:
    """Nights until a window is within sight."""
    for _ in range(20):
        if found := watcher.events():
            return next(iter(found.values()))
        watcher.visitor.wait(days=1)
    raise AssertionError("no window in twenty days")


def today_of(visitor: Visitor) -> date:
    return visitor.now.astimezone(ZoneInfo("America/Chicago")).date()


def mow(visitor: Visitor, on: date) -> None:
    made = visitor.services
    report_mowing(made.store, made.turf, 1, height_mm=None, on=on, today=on, now=visitor.now, by="page")


def test_a_lawn_that_is_not_due_soon_has_an_empty_calendar(watcher: Watcher) -> None:
    answer = watcher.look()
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert watcher.events() == {}
    assert b"X-WR-TIMEZONE:America/Chicago" in answer.content


def test_a_window_is_shown_as_days_from_a_third_grown_to_the_last_safe_cut(watcher: Watcher) -> None:
    event = until_window(watcher)
    assert event["UID"] == "lawn-1-window-2026-05-07@lawns.example.org"
    assert event["SUMMARY"] == "Home: mow at 2½ in"
    assert event["LOCATION"] == "Home"
    first, end = event["DTSTART"].dt, event["DTEND"].dt
    page = watcher.visitor.get(watcher.visitor.services.links.page_path(1, 0, now=watcher.visitor.now)).text
    limit = end.strftime("%A, %B ") + str(end.day)
    assert f"Nothing to do until about {limit}." in page
    assert today_of(watcher.visitor) < first < end
    assert "STATUS" not in event
    assert "Weather of 2026-05-" in event["DESCRIPTION"]
    assert "NOAA" in event["DESCRIPTION"]


def test_a_window_says_the_advice_itself_once_it_is_due(watcher: Watcher) -> None:
    until_window(watcher)
    for _ in range(12):
        watcher.visitor.wait(days=1)
        if "Mow S" in (said := str(watcher.only()["DESCRIPTION"])):
            break
    assert "a cut would take more than a third." in said
    assert "Leave the clippings" in said


def test_two_looks_give_the_same_bytes_and_change_no_row(watcher: Watcher, tmp_path: Path) -> None:
    until_window(watcher)
    before = Program(tmp_path).dump()
    first, second = watcher.look(), watcher.look()
    assert first.content == second.content
    assert first.headers["ETag"] == second.headers["ETag"]
    assert Program(tmp_path).dump() == before


def test_what_is_known_is_not_sent_again(watcher: Watcher) -> None:
    tag = watcher.look().headers["ETag"]
    for named in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        again = watcher.look(If_None_Match=named)
        assert (again.status_code, again.content, again.headers["ETag"]) == (304, b"", tag)
    assert watcher.look(If_None_Match='"other"').status_code == 200
    assert watcher.look().headers["Cache-Control"] == "private, no-cache"


def test_only_the_head_can_be_asked_for(watcher: Watcher) -> None:
    answer = watcher.visitor.session.head(watcher.visitor.url + watcher.path, timeout=30)
    assert (answer.status_code, answer.content) == (200, b"")
    assert answer.headers["ETag"] == watcher.look().headers["ETag"]


def test_time_alone_changes_nothing(watcher: Watcher) -> None:
    until_window(watcher)
    before = watcher.look().content
    watcher.visitor.now += timedelta(days=2)
    assert watcher.look().content == before


def test_new_weather_moves_the_same_entry_and_counts_on(watcher: Watcher) -> None:
    until_window(watcher)
    for _ in range(3):
        watcher.visitor.wait(days=1)
    before = watcher.only()
    watcher.visitor.sky.day = colder_from(today_of(watcher.visitor))
    watcher.visitor.wait(hours=6)
    after = watcher.only()
    assert after["UID"] == before["UID"]
    assert after["DTEND"].dt > before["DTEND"].dt
    assert after["SEQUENCE"] > before["SEQUENCE"]
    assert after["DTSTAMP"].dt > before["DTSTAMP"].dt


def colder_from(today: date):  # type: ignore[no-untyped-def]
    def day(place: Place, on: date) -> WeatherDay | None:
        return growing_weather(place, on) if on < today else a_day(on, t_min_c=7.0, t_max_c=15.0)

    return day


def test_numbers_only_grow_from_night_to_night(watcher: Watcher) -> None:
    until_window(watcher)
    seen: dict[str, int] = {}
    for _ in range(16):
        watcher.visitor.wait(hours=12)
        for uid, event in watcher.events().items():
            assert event["SEQUENCE"] >= seen.get(uid, 0)
            seen[uid] = int(event["SEQUENCE"])


def until_told(watcher: Watcher) -> None:
    """Nights until the keeper was told to mow."""
    until_window(watcher)
    for _ in range(14):
        watcher.visitor.wait(hours=12)
        with watcher.visitor.services.store.begin() as work:
            if work.outbox.told(1, limit=1):
                return
    raise AssertionError("never told")


def test_a_window_ends_as_cancelled_when_its_lawn_is_cut_and_is_gone_after_a_fortnight(
    watcher: Watcher,
) -> None:
    until_told(watcher)
    shown = watcher.only()
    watcher.visitor.now += timedelta(hours=20)
    mow(watcher.visitor, on := today_of(watcher.visitor))
    watcher.visitor.wait(hours=1)
    gone = watcher.events()[str(shown["UID"])]
    assert gone["STATUS"] == "CANCELLED"
    assert gone["SEQUENCE"] > shown["SEQUENCE"]
    assert gone["DTSTART"].dt == shown["DTSTART"].dt
    live = [event for event in watcher.events().values() if "STATUS" not in event]
    assert all(f"window-{on.isoformat()}" in event["UID"] for event in live)
    for _ in range(13):
        watcher.visitor.wait(days=1)
        assert watcher.events()[str(shown["UID"])]["STATUS"] == "CANCELLED"
    for _ in range(2):
        watcher.visitor.wait(days=1)
    assert shown["UID"] not in watcher.events()


def test_every_cut_of_a_fortnight_is_taken_back_once(watcher: Watcher) -> None:
    today = today_of(watcher.visitor)
    mow(watcher.visitor, today)
    until_window(watcher)
    for _ in range(6):
        watcher.visitor.wait(days=1)
    mow(watcher.visitor, today_of(watcher.visitor))
    cancelled = [uid for uid, event in watcher.events().items() if event.get("STATUS") == "CANCELLED"]
    assert cancelled == [f"lawn-1-window-{today.isoformat()}@lawns.example.org"]


def test_a_report_taken_back_brings_the_window_before_it_back(watcher: Watcher) -> None:
    mow(watcher.visitor, today_of(watcher.visitor))
    until_told(watcher)
    shown = watcher.only()
    mow(watcher.visitor, today_of(watcher.visitor))
    watcher.visitor.wait(hours=1)
    assert watcher.events()[str(shown["UID"])]["STATUS"] == "CANCELLED"
    made = watcher.visitor.services
    undo_last(made.store, made.turf, 1, now=watcher.visitor.now)
    back = watcher.only()
    assert back["UID"] == shown["UID"]
    assert "STATUS" not in back


def test_a_hold_is_shown_and_takes_the_window_back(watcher: Watcher) -> None:
    until_told(watcher)
    shown = watcher.only()
    today = today_of(watcher.visitor)
    watcher.visitor.sky.day = lambda place, on: (
        growing_weather(place, on) if on < today else a_day(on, t_min_c=26.0, t_max_c=40.0)
    )
    for _ in range(2):
        watcher.visitor.wait(hours=6)
    kinds = {uid.split("-")[2]: event for uid, event in watcher.events().items()}
    assert kinds["hold"]["SUMMARY"] == "Home: heat hold"
    assert "too hot to cut any grass" in kinds["hold"]["DESCRIPTION"]
    assert kinds["hold"]["DTEND"].dt > kinds["hold"]["DTSTART"].dt
    assert "STATUS" not in kinds["hold"]
    assert kinds["window"]["STATUS"] == "CANCELLED"
    assert kinds["window"]["UID"] == shown["UID"]
    assert kinds["window"]["SEQUENCE"] > shown["SEQUENCE"]


def test_it_speaks_the_keepers_language_and_units(watcher: Watcher) -> None:
    until_window(watcher)
    speak(watcher.visitor.services.store, 1, language="es", units=Units.METRIC)
    event = watcher.only()
    assert "65 mm" in event["SUMMARY"]
    assert "Datos" in event["DESCRIPTION"] or "Fuente" in event["DESCRIPTION"]


def test_an_address_is_void_after_new_links_were_made(watcher: Watcher) -> None:
    assert watcher.look().status_code == 200
    renew_links(watcher.visitor.services.store, 1)
    answer = watcher.look()
    assert (answer.status_code, answer.headers["Content-Type"]) == (404, "text/plain; charset=utf-8")
    assert "VCALENDAR" not in answer.text


def test_an_address_is_for_this_and_nothing_else(watcher: Watcher) -> None:
    links = watcher.visitor.services.links
    for token in (
        links.token(PAGE, 1, 0),
        links.token(CALENDAR, 1),
        links.token(CALENDAR, 99, 0),
        links.token(CALENDAR, 1, 1),
        f"{links.token(CALENDAR, 1, 0)}x",
        "x",
        "%00",
    ):
        assert watcher.visitor.get(f"/calendar/{token}.ics").status_code == 404
    assert watcher.visitor.get(watcher.path.removesuffix(".ics")).status_code == 404
    token = watcher.path.removeprefix("/calendar/").removesuffix(".ics")
    assert watcher.visitor.get(f"/my/{token}").status_code == 404


def test_the_lawns_page_leads_to_it(watcher: Watcher) -> None:
    links = watcher.visitor.services.links
    page = watcher.visitor.get(links.page_path(1, 0, now=watcher.visitor.now)).text
    assert f'href="{BASE}{watcher.path}"' in page


def test_lawns_without_weather_are_left_out(watcher: Watcher) -> None:
    engine = sa.create_engine(watcher.visitor.services.store.url)
    with engine.begin() as connection:
        connection.execute(sa.update(lawn).values(anchor_g_mm=None))
    engine.dispose()
    assert watcher.events() == {}
