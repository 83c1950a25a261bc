"""Pages of an organisation's people: their own part and no other, done with large buttons, undone again."""

import re
from dataclasses import replace
from datetime import datetime, timedelta
from html import unescape
from random import Random

import pytest
import requests
from builders import TURF
from firm import HEADER, TODAY, InTurn, gardens, planned
from itsdangerous import URLSafeSerializer
from pydantic import TypeAdapter
from stores import contents
from web_people import BASE, Visitor, form_in

from mowalert.channels.crew_sheets import CrewSheets
from mowalert.domain.crews import Change, ChangeKind, Fault, Position, WhyLeft
from mowalert.domain.day_sheet import DaySheet, SheetLeft
from mowalert.links import CONTACT_STOP, WORK
from mowalert.service.crew_records import ContactRecord, PlanRecord, Role
from mowalert.service.crews.crew_setup import NewContact, keep_contact, keep_crew, void_contact_links
from mowalert.service.crews.day_plans import sheet_of
from mowalert.service.crews.handing_out import Office, hand_out
from mowalert.service.crews.morning import Dispatch
from mowalert.service.keepers.keys import Scope, make_key
from mowalert.service.lawns.enrol import enrol
from mowalert.service.reading.lawn_table import read_table

PEOPLE = (
    ("dana", Role.DISPATCHER, ""),
    ("ana", Role.CREW_LEAD, "North"),
    ("sam", Role.CREW_LEAD, "South"),
    ("olga", Role.OWNER, ""),
)


class Company:
    """A company of the visitor's service, its people, and their pages."""

    def __init__(self, visitor: Visitor, name: str, table: str) -> None:
        self.visitor, self.name = visitor, name
        store, now = visitor.services.store, visitor.now - timedelta(days=1)
        found, report = read_table(table, TURF, now=now)
        assert report.problems == []
        enrol(store, TURF, found, report, source="a test", cell_degrees=0.1, now=now)
        for crew in ("North", "South"):
            keep_crew(store, name, crew, depot=Position(42.72, -73.78), weekdays=31, from_min=420, to_min=900)
        self.people = {
            who: keep_contact(store, name, NewContact(who, role, crew, f"{who}@example.org"), now=now)
            for who, role, crew in PEOPLE
        }
        self.keeper_id = self.people["dana"].keeper_id

    def path(self, who: str) -> str:
        contact: ContactRecord = self.people[who]
        token = self.visitor.services.links.token(
            WORK, contact.contact_id, contact.link_version, until=self.visitor.now + timedelta(days=9)
        )
        return f"/work/{token}"

    @property
    def sheet(self) -> DaySheet:
        with self.visitor.services.store.begin() as work:
            kept = work.crews.plan(self.keeper_id, TODAY)
        assert kept is not None
        return sheet_of(kept)

    def lawns_of(self, crew: str) -> list[int]:
        (found,) = [one for one in self.sheet.crews if one.name == crew]
        return [stop.lawn.lawn_id for stop in found.stops]

    def say(self, who: str, lawn_id: int, **told: str) -> requests.Response:
        path = self.path(who)
        proof = form_in(self.visitor.get(self._with_form(path)).text)
        data = {"form": proof, "on": str(TODAY), "lawn": str(lawn_id), "crew": "", **told}
        return self.visitor.post(f"{path}/visits", data)

    def _with_form(self, path: str) -> str:
        crew = self.sheet.crews[0].crew_id
        return f"{path}?crew={crew}"


@pytest.fixture
def company(visitor: Visitor) -> Company:
    return company_of_crews(visitor)


def company_of_crews(visitor: Visitor) -> Company:
    """A company of twenty gardens whose day has been planned."""
    made = Company(visitor, "Green Quarter", gardens(20))
    visitor.night()
    handed_out(visitor, visitor.now)
    return made


def handed_out(visitor: Visitor, now: datetime) -> None:
    """Plan the day of every company, and hand it out."""
    services = visitor.services
    office = Office(Dispatch(InTurn()), CrewSheets("Turf Line"), services.links)
    hand_out(services.store, TURF, services.policy, office, now=now)


@pytest.fixture
def rival(company: Company, visitor: Visitor) -> Company:
    return rival_of(visitor)


def rival_of(visitor: Visitor) -> Company:
    """Another company of the same service, of five gardens, whose day has been planned."""
    rows = [
        f"Blue Lane,company,blue@example.org,Yard {number},{number} Oak Lane,42.7{number},-73.8,lawn,"
        f"perennial_ryegrass,50,regular,mon tue wed thu fri,7-19,300,{TODAY - timedelta(days=9)}"
        for number in range(1, 6)
    ]
    made = Company(visitor, "Blue Lane", "\n".join([HEADER, *rows]))
    visitor.night()
    handed_out(visitor, visitor.now + timedelta(minutes=1))
    return made


def test_a_lead_sees_their_crew_and_no_other(company: Company, visitor: Visitor) -> None:
    north, south = company.sheet.crews
    page = visitor.get(company.path("ana")).text
    assert all(stop.lawn.site_name in page for stop in north.stops)
    for stop in south.stops:
        assert not re.search(rf"{stop.lawn.site_name}\b", page)
    asked = visitor.get(f"{company.path('ana')}?crew={south.crew_id}").text
    assert "North" in asked
    assert not any(re.search(rf"{stop.lawn.site_name}\b", asked) for stop in south.stops)
    for kind in ("csv", "geojson"):
        part = visitor.get(f"{company.path('ana')}/day.{kind}?crew={south.crew_id}").text
        assert not any(re.search(rf"{stop.lawn.site_name}\b", part) for stop in south.stops)


def test_a_dispatcher_sees_all_and_may_look_at_each(company: Company, visitor: Visitor) -> None:
    page = visitor.get(company.path("dana")).text
    assert "North" in page
    assert "South" in page
    south = company.sheet.crews[1]
    assert south.stops[0].lawn.site_name in visitor.get(f"{company.path('dana')}?crew={south.crew_id}").text


@pytest.mark.parametrize(
    ("kind", "begins"), [("csv", b"\xef\xbb\xbfday,"), ("xlsx", b"PK"), ("geojson", b"{"), ("pdf", b"%PDF")]
)
def test_each_file_is_what_it_says(company: Company, visitor: Visitor, kind: str, begins: bytes) -> None:
    answer = visitor.get(f"{company.path('dana')}/day.{kind}")
    assert answer.status_code == 200
    assert answer.content.startswith(begins)
    assert "attachment" in answer.headers["Content-Disposition"]


def test_the_printed_page_and_the_calendar_are_there(company: Company, visitor: Visitor) -> None:
    printed = visitor.get(f"{company.path('ana')}/print")
    assert "unsafe-inline" in printed.headers["Content-Security-Policy"]
    assert "script-src" not in printed.headers["Content-Security-Policy"]
    feed = visitor.get(f"{company.path('ana')}/calendar.ics").text
    assert feed.count("BEGIN:VEVENT") == len(company.lawns_of("North"))


def test_a_visit_is_told_with_one_button_and_taken_back_with_another(
    company: Company, visitor: Visitor
) -> None:
    lawn_id = company.lawns_of("North")[0]
    answer = company.say("ana", lawn_id, outcome="done")
    assert answer.status_code == 200
    assert "Kept: done." in answer.text
    with visitor.services.store.begin() as work:
        (visit,) = work.crews.visits(company.keeper_id, first=TODAY, last=TODAY)
        assert work.lawns.get([lawn_id])[0].anchored_on == TODAY
    assert visit.reported_by == "ana"
    assert "Taken back." in company.say("ana", lawn_id, undo=str(visit.visit_id)).text
    with visitor.services.store.begin() as work:
        assert work.crews.visits(company.keeper_id, first=TODAY, last=TODAY) == []


def test_a_skip_needs_its_reason_and_keeps_its_note(company: Company) -> None:
    lawn_id = company.lawns_of("North")[0]
    assert company.say("ana", lawn_id, outcome="skipped").status_code == 422
    kept = company.say("ana", lawn_id, outcome="skipped", reason="dog", note="<b>black</b>")
    assert "It comes back on the next list." in kept.text
    assert "<b>black</b>" not in kept.text


def test_a_lead_reports_of_no_other_crews_lawn(company: Company) -> None:
    answer = company.say("ana", company.lawns_of("South")[0], outcome="done")
    assert answer.status_code == 422
    assert "not on this list" in answer.text


@pytest.mark.parametrize(
    "odd",
    [
        {"lawn": "x"},
        {"on": "yesterday"},
        {"outcome": "fine"},
        {"height": "tall"},
        {"minutes": "-4"},
        {"undo": "999"},
    ],
)
def test_a_form_that_makes_no_sense_changes_nothing(
    company: Company, visitor: Visitor, odd: dict[str, str]
) -> None:
    told = {"outcome": "done", **odd}
    assert company.say("dana", company.lawns_of("North")[0], **told).status_code == 422
    with visitor.services.store.begin() as work:
        assert work.crews.visits(company.keeper_id, first=TODAY, last=TODAY) == []


def test_without_our_form_nothing_is_kept(company: Company, visitor: Visitor) -> None:
    data = {"on": str(TODAY), "lawn": str(company.lawns_of("North")[0]), "outcome": "done"}
    assert visitor.post(f"{company.path('ana')}/visits", data).status_code == 404
    other = form_in(visitor.get(f"{company.path('dana')}?crew={company.sheet.crews[0].crew_id}").text)
    assert visitor.post(f"{company.path('ana')}/visits", {**data, "form": other}).status_code == 404


def test_one_organisation_reaches_nothing_of_another(
    company: Company, rival: Company, visitor: Visitor
) -> None:
    theirs = planned(rival.sheet)
    for lawn_id in theirs:
        answer = company.say("dana", lawn_id, outcome="done")
        assert answer.status_code == 422
        assert "Yard" not in answer.text
    visit = rival.say("dana", theirs[0], outcome="done")
    assert visit.status_code == 200
    with visitor.services.store.begin() as work:
        (kept,) = work.crews.visits(rival.keeper_id, first=TODAY, last=TODAY)
    assert company.say("dana", theirs[0], undo=str(kept.visit_id)).status_code == 422
    crew = rival.sheet.crews[0].crew_id
    for way in (f"/print?crew={crew}", f"/day.csv?crew={crew}", f"/day.geojson?crew={crew}"):
        assert visitor.get(company.path("dana") + way).status_code == 404
    assert "Yard" not in visitor.get(f"{company.path('dana')}?crew={crew}").text


def test_a_link_that_was_made_void_or_altered_opens_nothing(company: Company, visitor: Visitor) -> None:
    path = company.path("ana")
    random = Random(1)
    for _ in range(30):
        at = random.randrange(len("/work/"), len(path))
        altered = path[:at] + ("A" if path[at] != "A" else "B") + path[at + 1 :]
        assert visitor.get(altered).status_code == 404
    contact = company.people["ana"]
    void = visitor.services.links.token(WORK, contact.contact_id, 7, until=visitor.now + timedelta(days=1))
    assert visitor.get(f"/work/{void}").status_code == 404
    old = visitor.services.links.token(WORK, contact.contact_id, 0, until=visitor.now - timedelta(days=1))
    for way in ("", "/print", "/day.csv", "/day.pdf"):
        assert visitor.get(f"/work/{old}{way}").status_code == 404


def test_links_of_one_person_are_made_void_and_a_new_one_opens(company: Company, visitor: Visitor) -> None:
    lost, others = company.path("ana"), company.path("dana")
    company.people["ana"] = void_contact_links(visitor.services.store, company.name, "Ana")
    assert [visitor.get(lost + way).status_code for way in ("", "/print", "/calendar.ics")] == [404] * 3
    assert visitor.get(others).status_code == 200
    assert company.path("ana") != lost
    assert visitor.get(company.path("ana")).status_code == 200


def test_a_contact_stops_their_mail_and_nobody_elses(company: Company, visitor: Visitor) -> None:
    contact = company.people["ana"]
    token = URLSafeSerializer(visitor.services.secret, salt=CONTACT_STOP).dumps(contact.contact_id)
    assert "No more mail?" in visitor.get(f"/stop-work/{token}").text
    with visitor.services.store.begin() as work:
        found = work.crews.contact(contact.contact_id)
        assert found is not None
        assert found.email_suspended is None
    assert "Stopped" in visitor.post(f"/stop-work/{token}", {"List-Unsubscribe": "One-Click"}).text
    with visitor.services.store.begin() as work:
        stopped = {one.name for one in work.crews.contacts(company.keeper_id) if one.email_suspended}
    assert stopped == {"ana"}
    assert visitor.get(f"/stop-work/{token}x").status_code == 404


def test_a_day_without_a_plan_says_so(company: Company, visitor: Visitor) -> None:
    page = visitor.get(f"{company.path('ana')}?on={TODAY + timedelta(days=40)}").text
    assert "There is no plan for this day yet" in page
    assert visitor.get(f"{company.path('ana')}/day.csv?on={TODAY + timedelta(days=40)}").status_code == 404


def hand_over(company: Company, sheet: DaySheet) -> None:
    """Keep another version of today's plan."""
    facts = {"sheet": TypeAdapter(DaySheet).dump_python(sheet, mode="json")}
    plan = PlanRecord(0, company.keeper_id, TODAY, sheet.version, sheet.why, sheet.made_at, facts)
    with company.visitor.services.store.begin() as work:
        assert work.crews.keep_plan(plan)
        work.commit()


def test_a_lead_whose_crew_stays_home_reads_that_and_nothing_of_the_others(
    company: Company, visitor: Visitor
) -> None:
    north, south = company.sheet.crews
    left = tuple(SheetLeft(stop.lawn, WhyLeft.NO_TIME, 0.5) for stop in north.stops)
    faults = (Fault("North", "no working hours"),)
    hand_over(company, replace(company.sheet, version=2, crews=(south,), left_out=left, faults=faults))
    page = visitor.get(company.path("ana")).text
    assert "Nothing is due for this crew" in page
    assert not re.search(r"Garden \d", page)
    assert "no working hours" not in page
    assert re.search(rf"{left[0].lawn.site_name}\b", visitor.get(company.path("dana")).text)
    for way in ("/print", "/day.csv", "/day.geojson", "/calendar.ics"):
        answer = visitor.get(company.path("ana") + way)
        assert answer.status_code == 200
        assert not re.search(r"Garden \d", answer.text)


def test_each_reads_what_changed_as_far_as_it_is_theirs(company: Company, visitor: Visitor) -> None:
    north, south = company.sheet.crews
    mine, theirs = north.stops[0].lawn, south.stops[0].lawn
    changes = tuple(
        Change(lawn.lawn_id, ChangeKind.RETIMED, crew.crew_id, crew.crew_id, 430, 475)
        for lawn, crew in ((mine, north), (theirs, south))
    )
    assert "What changed" not in visitor.get(company.path("ana")).text
    hand_over(company, replace(company.sheet, version=2, why="rain", changes=changes))
    said = {who: visitor.get(company.path(who)).text for who in ("ana", "dana")}
    for lawn, readers in ((mine, {"ana", "dana"}), (theirs, {"dana"})):
        told = rf"{lawn.site_name}: now at "
        assert {who for who, page in said.items() if re.search(told, page)} == readers


def test_the_week_ahead_is_for_those_who_see_every_crew(company: Company, visitor: Visitor) -> None:
    page = visitor.get(f"{company.path('dana')}/week")
    assert page.status_code == 200
    assert len(re.findall(r'<th scope="row">', page.text)) == 7
    assert "16.0 h" in page.text, "two crews of eight hours"
    assert f"{company.path('dana')}/week" in visitor.get(company.path("dana")).text
    assert "/week" not in visitor.get(company.path("ana")).text
    for path in (company.path("ana"), "/work/x"):
        assert visitor.get(f"{path}/week").status_code == 404


def test_opening_any_of_a_contacts_addresses_changes_nothing(company: Company, visitor: Visitor) -> None:
    url = visitor.services.store.url
    contact = company.people["dana"]
    stop = visitor.services.links.contact_stop_url(contact.contact_id).removeprefix(BASE)
    before, seen = contents(url), set[str]()
    waiting = [company.path("dana"), stop]
    while waiting:
        path = waiting.pop()
        seen.add(path)
        answer = visitor.get(path)
        assert answer.status_code == 200, path
        if answer.headers["Content-Type"].startswith("text/html"):
            found = re.findall(r'href="(/(?:stop-)?work/[^"#]+)"', answer.text)
            waiting += {unescape(one) for one in found} - seen - set(waiting)
    assert {path.partition("?")[0].rpartition("/")[2] for path in seen} >= {"print", "week", "calendar.ics"}
    assert len([path for path in seen if "/day." in path]) >= 4 * 3, "each file, of each crew and of all"
    assert contents(url) == before


def test_a_program_reports_visits_and_takes_them_back(
    company: Company, rival: Company, visitor: Visitor
) -> None:
    made_key = make_key(
        visitor.services.store, str(company.keeper_id), name="office", scopes=list(Scope), now=visitor.now
    )
    said = {"Authorization": f"Bearer {made_key.key}"}
    lawn_id = company.lawns_of("North")[0]

    def post(**body: object) -> requests.Response:
        return visitor.session.post(f"{visitor.url}/api/v1/visits", json=body, headers=said, timeout=30)

    made = post(lawn_id=lawn_id, outcome="done", minutes=20)
    assert made.status_code == 201
    assert made.json()["removed"] > 0
    assert post(lawn_id=lawn_id, outcome="done", minutes=20).status_code == 200
    assert post(lawn_id=company.lawns_of("North")[1], outcome="skipped").status_code == 422
    assert post(lawn_id=planned(rival.sheet)[0], outcome="done").status_code == 404
    listed = visitor.get(f"/api/v1/visits?first={TODAY}&last={TODAY}", headers=said).json()
    assert [one["visit_id"] for one in listed["visits"]] == [made.json()["visit_id"]]
    there = f"{visitor.url}/api/v1/visits/{made.json()['visit_id']}"
    assert visitor.session.delete(there, headers=said, timeout=30).status_code == 200
    assert visitor.session.delete(there, headers=said, timeout=30).status_code == 404
