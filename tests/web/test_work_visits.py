"""Visits told on a crew's pages: what is done stays in sight, more can be said, and pages stay light."""

import re
from dataclasses import replace

import pytest
import requests
from firm import TODAY
from test_work_pages import Company, company_of_crews, hand_over
from web_people import Visitor, form_in

from mowalert.service.crew_records import ContactRecord, VisitRecord
from mowalert.service.crews.crew_setup import NewContact, keep_contact


@pytest.fixture
def company(visitor: Visitor) -> Company:
    return company_of_crews(visitor)


def second_version(company: Company, done: int) -> None:
    """The day planned again when one lawn of North's was done: it stands before the way that is left."""
    north, south = company.sheet.crews
    (stop,) = [one for one in north.stops if one.lawn.lawn_id == done]
    left = tuple(one for one in north.stops if one is not stop)
    again = replace(north, past=(replace(stop, outcome="done"),), stops=left)
    hand_over(company, replace(company.sheet, version=2, why="rain", crews=(again, south)))


def visits(company: Company) -> list[VisitRecord]:
    with company.visitor.services.store.begin() as work:
        return work.crews.visits(company.keeper_id, first=TODAY, last=TODAY)


def press(company: Company, who: str, **button: str) -> requests.Response:
    """Press one of the list's own buttons."""
    path = company.path(who)
    page = company.visitor.get(path).text
    ((name, value),) = button.items()
    assert f'name="{name}" value="{value}"' in page
    data = {"form": form_in(page), "on": str(TODAY), "crew": str(company.sheet.crews[0].crew_id)}
    return company.visitor.post(f"{path}/visits", {**data, name: value})


def test_a_stop_that_is_done_can_be_seen_and_taken_back_from_a_later_version(
    company: Company, visitor: Visitor
) -> None:
    first, other, *_ = company.lawns_of("North")
    assert "Kept: done." in press(company, "ana", done=str(first)).text
    second_version(company, first)
    (visit,) = visits(company)
    page = visitor.get(company.path("ana")).text
    assert page.index(f'id="lawn-{first}"') < page.index(f'id="lawn-{other}"')
    assert "Taken back." in press(company, "ana", undo=str(visit.visit_id)).text
    assert visits(company) == []
    assert "Kept: done." in press(company, "ana", done=str(first)).text
    assert [one.crew_id for one in visits(company)] == [company.sheet.crews[0].crew_id]


def test_files_of_a_day_say_what_is_done_by_now(company: Company, visitor: Visitor) -> None:
    """The plan is the morning's; what was told since stands in every file of it."""
    first = company.lawns_of("North")[0]
    press(company, "ana", done=str(first))
    path = company.path("ana")
    assert "Done: 1. " in visitor.get(f"{path}/calendar.ics").text
    assert ">Done</strong>" in visitor.get(f"{path}/print").text
    states = [line.rpartition(",")[2] for line in visitor.get(f"{path}/day.csv").text.splitlines()[1:]]
    assert states == ["done"] + ["planned"] * (len(states) - 1)


def stop_path(company: Company, who: str, lawn_id: int, **asked: str) -> str:
    crew = company.sheet.crews[0].crew_id
    said = {"on": str(TODAY), "crew": str(crew), "lawn": str(lawn_id), **asked}
    return f"{company.path(who)}/stop?" + "&".join(f"{name}={value}" for name, value in said.items())


def test_a_stops_own_page_takes_all_that_can_be_said(company: Company, visitor: Visitor) -> None:
    lawn_id = company.lawns_of("North")[0]
    page = visitor.get(stop_path(company, "ana", lawn_id)).text
    data = {"form": form_in(page), "on": str(TODAY), "crew": "", "lawn": str(lawn_id), "note": "gate open"}
    path = f"{company.path('ana')}/visits"
    wrong = visitor.post(path, {**data, "outcome": "done", "minutes": "soon"})
    assert wrong.status_code == 422
    assert "is no number" in wrong.text
    assert 'value="gate open"' in wrong.text, "what was typed is not lost"
    kept = visitor.post(path, {**data, "outcome": "done", "minutes": "25", "height": "2"})
    assert "Kept: done." in kept.text
    (visit,) = visits(company)
    assert (visit.minutes, visit.height_mm, visit.note) == (25.0, pytest.approx(50.8), "gate open")
    assert 'name="undo"' in visitor.get(stop_path(company, "ana", lawn_id)).text


def test_a_stop_that_is_not_theirs_opens_nothing(company: Company, visitor: Visitor) -> None:
    mine, theirs = company.lawns_of("North")[0], company.lawns_of("South")[0]
    south = str(company.sheet.crews[1].crew_id)
    for path in (
        stop_path(company, "ana", theirs),
        stop_path(company, "ana", theirs, crew=south),
        stop_path(company, "ana", mine, on="2030-01-01"),
        stop_path(company, "ana", mine, on="soon"),
        stop_path(company, "dana", mine, crew=south),
        stop_path(company, "ana", mine).replace("/work/", "/work/x"),
    ):
        assert visitor.get(path).status_code == 404
    assert visitor.get(stop_path(company, "dana", theirs, crew=south)).status_code == 200


def in_spanish(company: Company) -> ContactRecord:
    told = NewContact("ana", company.people["ana"].role, "North", "ana@example.org", "", "es")
    store, now = company.visitor.services.store, company.visitor.now
    return keep_contact(store, company.name, told, now=now)


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"outcome": "skipped"}, "diga por qué se omitió"),
        ({"outcome": "fine"}, "diga si se hizo, o por qué no"),
        ({"outcome": "done", "minutes": "x"}, "no es un número"),
        ({"outcome": "done", "minutes": "5000"}, "5000 minutos no puede ser"),
        ({"outcome": "done", "height": "90"}, "no puede medir"),
        ({"outcome": "done", "lawn": "99999999999999999999"}, "el formulario no está completo"),
        ({"undo": "9"}, "no hay ninguna visita 9"),
    ],
)
def test_a_lead_is_told_what_is_wrong_in_their_language(
    company: Company, told: dict[str, str], said: str
) -> None:
    in_spanish(company)
    lawn_id = company.lawns_of("North")[0]
    answer = company.say("ana", lawn_id, **told)
    assert answer.status_code == 422
    alert = re.search(r'role="alert">([^<]*)<', answer.text)
    assert alert is not None
    assert said in alert[1].casefold()
    assert alert[1][:1] == alert[1][:1].upper()


def test_a_long_day_is_a_light_page(company: Company, visitor: Visitor) -> None:
    north, south = company.sheet.crews
    lawn = replace(
        north.stops[0].lawn,
        address="120 North Elm Lane, Quillmere 12345",
        client="A client with a usual name",
        gate="4711, left of the garage",
        dog="two, behind the house",
        access="by the lane behind the house, not over the drive",
        skipped="locked",
        skipped_note="nobody at home",
    )
    stops = tuple(
        replace(
            north.stops[0], order=number, lawn=replace(lawn, lawn_id=number, site_name=f"Garden {number}")
        )
        for number in range(1, 41)
    )
    hand_over(company, replace(company.sheet, version=2, crews=(replace(north, stops=stops), south)))
    page = visitor.get(company.path("ana"))
    assert page.text.count('name="done"') == 40
    styles = re.findall(r'<link rel="stylesheet" href="([^"]+)"', page.text)
    whole = len(page.content) + sum(len(visitor.get(style).content) for style in styles)
    assert whole < 50_000


def test_the_feed_says_when_it_is_as_it_was(company: Company, visitor: Visitor) -> None:
    path = f"{company.path('ana')}/calendar.ics"
    feed = visitor.get(path)
    tag = feed.headers["ETag"]
    head = visitor.session.head(visitor.url + path, timeout=30)
    assert (head.status_code, head.content, head.headers["ETag"]) == (200, b"", tag)
    for named in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        same = visitor.get(path, headers={"If-None-Match": named})
        assert (same.status_code, same.content, same.headers["ETag"]) == (304, b"", tag)
    press(company, "ana", done=str(company.lawns_of("North")[0]))
    changed = visitor.get(path, headers={"If-None-Match": tag})
    assert changed.status_code == 200
    assert changed.headers["ETag"] != tag
