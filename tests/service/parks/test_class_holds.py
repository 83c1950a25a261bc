"""A park's holds from outside: what the department and its people are told of turf classes, and the log."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from builders import TURF
from skies import Day, Skies, a_day
from stores import new_store

from mowalert.channels.letters import ServiceLetters
from mowalert.channels.messages import Messages
from mowalert.domain.weather import Place, WeatherDay
from mowalert.domain.words import Channel, HoldReason
from mowalert.errors import InputError
from mowalert.links import Links
from mowalert.service.crew_records import Role
from mowalert.service.crews.crew_setup import NewContact, keep_contact
from mowalert.service.lawns.enrol import enrol
from mowalert.service.local.restrictions import NewRestriction, restrict
from mowalert.service.local.where import Where
from mowalert.service.nights.night import run_night
from mowalert.service.park_records import ClassHoldRecord, ClassRule, HoldLogRecord, HoldStep, RestrictionKind
from mowalert.service.parks.class_rules import close, keep_class, place_in_districts, reopen
from mowalert.service.policy import Policy
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.sending.replies import Answered, Desk, InboundText, answer_sms
from mowalert.service.telling.answers import Answer, AnswerKind

NAME = "River Parks"
START = date(2026, 7, 7)
LINKS = Links("https://parks.example.org", "a secret")
POLICY = Policy(frozenset(Channel), timedelta(hours=36), host="parks.example.org", links=LINKS)
HEADER = (
    "keeper,kind,email,site,latitude,longitude,lawn,grass,height_mm,soil,watering,turf_class,mowing_days,"
    "last_mown_on"
)
OVAL, HILL = "Oval,42.70,-73.80", "Hill,42.75,-73.80"


def morning(on: date) -> datetime:
    """05:35 in New York."""
    return datetime(on.year, on.month, on.day, 9, 35, tzinfo=UTC)


def mild(place: Place, on: date) -> WeatherDay:
    return a_day(on, t_min_c=14.0, t_max_c=24.0, rain_mm=9.0 if on.toordinal() % 3 == 0 else 0.0)


def hot(place: Place, on: date) -> WeatherDay:
    """So hot that nothing is cut, whether it is dry or not."""
    return a_day(on, t_min_c=20.0, t_max_c=39.5, rain_mm=9.0 if on.toordinal() % 3 == 0 else 0.0)


def hot_from(first: date, last: date) -> Day:
    return lambda place, on: hot(place, on) if first <= on <= last else mild(place, on)


class Parks:
    """A parks department that mows every day, under a sky a test sets."""

    def __init__(self, path: Path, *places: str) -> None:
        self.store, self.skies, self.on = new_store(path), Skies(mild), START
        rows = [
            f"{NAME},parks,parks@example.org,{place},mon tue wed thu fri sat sun,{START - timedelta(days=4)}"
            for place in places
        ]
        found, report = read_table("\n".join([HEADER, *rows]), TURF, now=morning(START))
        assert report.problems == []
        enrol(self.store, TURF, found, report, source="a test", cell_degrees=0.1, now=morning(START))
        with self.store.begin() as work:
            (keeper,) = work.keepers.all()
        self.keeper_id = keeper.keeper_id

    def nights(self, until: date) -> "Parks":
        """Let nights come, up to a morning."""
        words = Messages("Turf Line", "https://parks.example.org", links=LINKS)
        while self.on <= until:
            run_night(self.store, self.skies, TURF, words, POLICY, now=morning(self.on))
            self.on += timedelta(days=1)
        return self

    def person(self, name: str, role: Role = Role.SUPERVISOR, **address: str) -> None:
        keep_contact(self.store, NAME, NewContact(name, role, **address), now=morning(START))

    def written(self, kind: str = "class_holds", *, to: str = "") -> list[dict[str, Any]]:
        with self.store.begin() as work:
            found = work.outbox.of_keeper(self.keeper_id, limit=500)[::-1]
        return [one for one in found if str(one["kind"]).startswith(kind) and to in str(one["address"])]

    def log(self, *steps: HoldStep) -> list[HoldLogRecord]:
        with self.store.begin() as work:
            lines = work.parks.hold_log(self.keeper_id, first=date.min, last=date.max)
        return [line for line in lines if not steps or line.step in steps]

    def holds(self) -> list[ClassHoldRecord]:
        with self.store.begin() as work:
            return work.parks.class_holds(self.keeper_id, first=date.min, last=date.max)

    def change_lawn(self, lawn_id: int, **changes: Any) -> None:
        with self.store.begin() as work:
            work.lawns.change(replace(work.lawns.get([lawn_id])[0], **changes))
            work.commit()


Make = Callable[..., Parks]


@pytest.fixture
def make(tmp_path: Path) -> Make:
    def made(*places: str) -> Parks:
        usual = (
            f"{OVAL},field,kentucky_bluegrass,50,loam,regular,sports",
            f"{HILL},field,tall_fescue,80,loam,regular,lawn",
        )
        return Parks(tmp_path / "parks.db", *(places or usual))

    return made


HEAT_ON, HEAT_OFF = date(2026, 7, 8), date(2026, 7, 10)
OVER = HEAT_OFF + timedelta(days=4)
"""By then what heat held is released."""


def test_no_link_of_the_departments_own_reaches_anybody_else(make: Make) -> None:
    parks = make()
    parks.person("Rosa", email="rosa@example.org")
    parks.person("Kim", phone="+1 518 555 0101")
    parks.skies.day = hot_from(HEAT_ON, HEAT_OFF)
    parks.nights(OVER)
    with parks.store.begin() as work:
        at = morning(parks.on)
        everything = [one.message for one in work.outbox.lease(now=at, until=at, limit=100)]
    theirs = [one for one in everything if one.address != "parks@example.org"]
    own = [one for one in everything if one not in theirs]
    assert own
    assert all("/my/" in one.text and "/my/" in one.html for one in own), "the department has its page"
    assert {one.channel for one in theirs} == set(Channel)
    for one in theirs:
        for private in ("/my/", "/did/", "/calendar/", "/stop/"):
            assert private not in f"{one.text}{one.html}{one.unsubscribe_url}", one.subject
    assert all("/stop-work/" in one.text and "/stop-work/" in one.html for one in theirs if one.html)


def test_a_supervisor_with_only_a_telephone_is_texted_start_and_end(make: Make) -> None:
    parks = make()
    parks.person("Kim", phone="+1 518 555 0101")
    parks.person("Rosa", email="rosa@example.org", phone="+1 518 555 0102")
    parks.skies.day = hot_from(HEAT_ON, HEAT_OFF)
    parks.nights(OVER)
    start, end = parks.written(to="0101")
    assert str(start["text"]).startswith("Turf Line: Heat hold starts: 2 lawns. Lawn, Sports.")
    assert str(end["text"]).startswith("Turf Line: Heat hold ends: 2 lawns. Lawn, Sports.")
    assert all(len(str(one["text"])) <= 160 and "STOP" in str(one["text"]) for one in (start, end))
    assert parks.written(to="0102") == [], "who reads mail is not texted too"
    (line, *_) = parks.log(HoldStep.STARTED)
    assert line.told == (f"{NAME}, email", "Kim, sms", "Rosa, email")


def test_a_supervisor_stops_texts_by_a_text_and_starts_them_again(make: Make) -> None:
    parks = make()
    parks.person("Kim", phone="+1 518 555 0101", language="es")
    letters = ServiceLetters("Turf Line", "parks.example.org", "turf@example.org")
    desk = Desk(parks.store, TURF, letters, LINKS, 0.1)

    def say(text: str, number: str) -> Answered:
        return answer_sms(desk, InboundText(number, "+15185550101", text), now=morning(START))

    assert say("STOP", "1").answer == Answer(AnswerKind.STOPPED)
    assert say("STOP", "2").answer is None, "that is confirmed once"
    (confirmed,) = parks.written("reply", to="0101")
    assert "START" in str(confirmed["text"])
    parks.skies.day = hot_from(HEAT_ON, HEAT_OFF)
    parks.nights(HEAT_ON)
    assert parks.written(to="0101") == []
    assert say("START", "3").answer == Answer(AnswerKind.STARTED)
    parks.nights(OVER)
    (end,) = parks.written(to="0101")
    assert "Termina" in str(end["text"])


@pytest.mark.parametrize("changed", ["class", "district"])
def test_a_lawn_that_moves_takes_its_hold_along_unsaid(make: Make, changed: str) -> None:
    parks = make()
    parks.skies.day = hot_from(HEAT_ON, HEAT_OFF)
    parks.nights(HEAT_ON + timedelta(days=1))
    if changed == "class":
        parks.change_lawn(1, turf_class="lawn")
    else:
        place_in_districts(parks.store, NAME, [("Oval", "North"), ("Hill", "South")])
    parks.nights(OVER)
    assert all(hold.released_on is not None for hold in parks.holds())
    starts = [one for one in parks.written() if "starts" in str(one["subject"])]
    assert len(starts) == 1
    ends = [line for line in parks.log(HoldStep.RELEASED) if line.told]
    assert sorted(line.lawn_id for line in ends) == [1, 2], "each lawn's end is told once"


def test_heat_that_begins_while_turf_is_closed_is_told_and_logged(make: Make) -> None:
    parks = make(f"{OVAL},field,kentucky_bluegrass,50,loam,regular,sports")
    last = OVER + timedelta(days=1)
    close(
        parks.store,
        NAME,
        Where(turf_class="sports"),
        reason=HoldReason.EVENT,
        first_on=START,
        last_on=last,
        note="cup",
        now=morning(START),
    )
    parks.skies.day = hot_from(HEAT_ON, HEAT_OFF)
    parks.nights(last - timedelta(days=1))
    start, end = parks.written()
    assert "heat hold starts" in str(start["text"]).casefold()
    assert "heat hold ends" in str(end["text"]).casefold()
    steps = [line.step for line in parks.log()]
    assert steps == [HoldStep.STARTED, HoldStep.LEFT, HoldStep.RELEASED]
    with parks.store.begin() as work:
        assert work.lawns.get([1])[0].told_hold is HoldReason.EVENT, "the cup goes on"
    told_of_cup = [one for one in parks.written("parks_holds") if "cup" in str(one["text"])]
    assert 1 <= len(told_of_cup) <= 2
    parks.nights(last + timedelta(days=3))
    with parks.store.begin() as work:
        assert work.lawns.get([1])[0].told_hold is None


def test_a_hold_does_not_end_between_two_hot_spells(make: Make) -> None:
    parks = make()
    again = HEAT_OFF + timedelta(days=3)

    def sky(place: Place, on: date) -> WeatherDay:
        return hot(place, on) if HEAT_ON <= on <= HEAT_OFF or again <= on <= again else mild(place, on)

    parks.skies.day = sky
    parks.nights(again + timedelta(days=4))
    for hold in parks.holds():
        assert hold.released_on is not None
        assert hold.released_on > again
    assert len(parks.written()) == 2, "one start and one end"


def test_a_changed_reason_is_logged_with_its_own_numbers_and_not_told(make: Make) -> None:
    parks = make(f"{OVAL},field,tall_fescue,80,sand,none,sports")

    def sky(place: Place, on: date) -> WeatherDay:
        if on < HEAT_ON:
            return mild(place, on)
        return a_day(on, t_min_c=18.0, t_max_c=39.5)

    parks.skies.day = sky
    parks.nights(HEAT_ON + timedelta(days=14))
    (changed, *_) = parks.log(HoldStep.CHANGED)
    assert parks.log(HoldStep.STARTED)[0].reason is HoldReason.HEAT
    assert changed.reason in (HoldReason.DROUGHT, HoldReason.DORMANT)
    assert "water_stress" in changed.facts
    assert changed.told == ()
    assert len([one for one in parks.written() if "starts" in str(one["subject"])]) == 1


def test_a_hold_that_could_not_be_sent_waits_and_outlives_the_next_days_lists(make: Make) -> None:
    parks = make()
    parks.skies.day = hot_from(HEAT_ON, HEAT_OFF)
    parks.nights(OVER)
    lists = parks.written("morning_list")
    assert lists, "there were lists meanwhile"
    assert all(one["state"] == "ready" for one in parks.written())
    with parks.store.begin() as work:
        work.outbox.cancel_for_lawn(parks.keeper_id, 1, at=morning(parks.on))
        work.outbox.expire(now=morning(parks.on))
        work.commit()
    assert [one["state"] for one in parks.written()] == ["ready", "ready"]
    assert {one["state"] for one in lists[:-1]} <= {"cancelled", "expired"}


def test_a_long_hold_reaches_the_owner_once_and_the_owner_hears_of_nothing_else(make: Make) -> None:
    parks = make()
    parks.person("Omar", Role.OWNER, email="omar@example.org", language="es")
    parks.person("Dan", Role.DISPATCHER, email="dan@example.org")
    parks.skies.day = hot_from(HEAT_ON, HEAT_ON + timedelta(days=24))
    parks.nights(HEAT_ON + timedelta(days=17))
    (mail,) = parks.written(to="omar@example.org")
    assert "DURA YA 15" in str(mail["text"])
    assert parks.written(to="dan@example.org") == []
    lines = parks.log(HoldStep.ESCALATED)
    assert {(line.lawn_id, line.on, line.told) for line in lines} == {
        (lawn_id, HEAT_ON + timedelta(days=15), (f"{NAME}, email", "Omar, email")) for lawn_id in (1, 2)
    }


def test_grass_that_passes_a_height_cap_in_a_hold_is_told_of_once(make: Make) -> None:
    parks = make(f"{OVAL},field,kentucky_bluegrass,50,loam,regular,sports")
    parks.person("Rosa", email="rosa@example.org")
    parks.person("Kim", phone="+1 518 555 0101")
    parks.skies.day = hot_from(HEAT_ON, HEAT_ON + timedelta(days=13))
    parks.nights(HEAT_ON)
    (start,) = parks.written(to="rosa@example.org")
    assert "maximum height" not in str(start["text"])
    cap = NewRestriction(
        RestrictionKind.HEIGHT_CAP, "Code 12-4", HEAT_ON, height_cap_mm=52.0, sites=("Oval",)
    )
    restrict(parks.store, NAME, cap, now=morning(parks.on))
    parks.nights(HEAT_ON + timedelta(days=6))
    _, capped = parks.written(to="rosa@example.org")
    assert "SPORTS: HEAT HOLD MEETS A HEIGHT LIMIT" in str(capped["text"])
    assert "both apply" in str(capped["text"])
    (line,) = parks.log(HoldStep.OVER_CAP)
    assert line.told == (f"{NAME}, email", "Rosa, email", "Kim, sms")
    _, text = parks.written(to="0101")
    assert str(text["text"]).startswith("Turf Line: Sports: heat hold meets a height limit.")


def test_a_department_that_wished_for_silence_hears_of_the_end_after_it(make: Make) -> None:
    parks = make()
    parks.skies.day = hot_from(HEAT_ON, HEAT_OFF)
    parks.nights(HEAT_ON)
    until = OVER
    with parks.store.begin() as work:
        keeper = work.keepers.get([parks.keeper_id])[parks.keeper_id]
        work.keepers.change(replace(keeper, paused_until=until))
        work.commit()
    parks.nights(until)
    assert len(parks.written()) == 1
    parks.nights(until + timedelta(days=3))
    assert "ends" in str(parks.written()[-1]["subject"])


def test_what_was_closed_is_opened_again_as_it_was_named(make: Make) -> None:
    parks = make()
    where = Where(turf_class="Sports")
    days = {"first_on": HEAT_ON, "last_on": HEAT_OFF}
    now = morning(START)
    event = HoldReason.EVENT
    close(parks.store, NAME, where, reason=event, note="cup", now=now, **days)
    close(parks.store, NAME, where, reason=HoldReason.TREATMENT, note="label", now=now, **days)
    with pytest.raises(InputError, match="closed for event"):
        reopen(parks.store, NAME, where, reason=event, first_on=START, last_on=None, now=now)
    (opened,) = reopen(parks.store, NAME, where, reason=event, first_on=None, last_on=None, now=now)
    assert (opened.lawn_id, opened.note) == (1, "cup")
    with parks.store.begin() as work:
        (left,) = work.lawns.kept_off([1, 2], since=START)[1]
    assert left.reason is HoldReason.TREATMENT


def test_only_a_person_closes_and_only_the_weather_is_ignored(make: Make) -> None:
    parks = make()
    heat = {"reason": HoldReason.HEAT, "first_on": START, "last_on": START, "note": ""}
    with pytest.raises(InputError, match="allowed are treatment, event, nesting, noise"):
        close(parks.store, NAME, Where(), now=morning(START), **heat)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="allowed are dormant, drought, heat"):
        keep_class(parks.store, TURF, NAME, ClassRule(0, "sports", ignores=(HoldReason.EVENT,)))


def test_a_class_is_one_class_whatever_case_it_is_written_in(make: Make) -> None:
    parks = make(
        f"{OVAL},field,kentucky_bluegrass,50,loam,regular,Sports",
        f"{HILL},field,tall_fescue,80,loam,regular,sports",
    )
    keep_class(parks.store, TURF, NAME, ClassRule(0, "SPORTS", call="Dana", allowed="watered turf early"))
    parks.skies.day = hot_from(HEAT_ON, HEAT_OFF)
    parks.nights(OVER)
    assert [hold.turf_class for hold in parks.holds()] == ["sports"]
    assert "Questions: Dana" in str(parks.written()[0]["text"])
    keep_class(parks.store, TURF, NAME, ClassRule(0, "Sports", ignores=(HoldReason.HEAT,)))
    parks.skies.day = hot_from(OVER + timedelta(days=1), OVER + timedelta(days=2))
    parks.nights(OVER + timedelta(days=2))
    assert len(parks.holds()) == 1, "what a class ignores holds none of its lawns"
