"""A client's link: it opens one property's record, no note, no other page, until the office makes it void."""

from datetime import timedelta
from random import Random

import pytest
import requests
from firm import TODAY
from test_work_pages import Company, company_of_crews, rival_of
from web_people import BASE, Visitor, form_in

from mowalert.links import RECORD, WORK
from mowalert.service.crew_records import Outcome, SiteWork, SkipReason
from mowalert.service.crews.client_links import client_link, void_client_links
from mowalert.service.crews.visits import Visit, report_visit


@pytest.fixture
def company(visitor: Visitor) -> Company:
    return company_of_crews(visitor)


def site_of(company: Company, name: str) -> int:
    with company.visitor.services.store.begin() as work:
        (site,) = [one for one in work.crews.sites_of(company.keeper_id) if one.name == name]
    return site.site_id


def a_property(company: Company) -> str:
    """A garden that was skipped and then cut; what the office and the crew know of it is private."""
    made = company.visitor.services
    stop = company.sheet.crews[0].stops[0]
    name, lawn_id = stop.lawn.site_name, stop.lawn.lawn_id
    known = SiteWork(
        site_of(company, name), company.keeper_id, "A-7", "F. Client", "by the lane", "4711", "Rex"
    )
    with made.store.begin() as work:
        work.crews.keep_sites([known])
        work.commit()
    skip = Visit(lawn_id, TODAY, Outcome.SKIPPED, SkipReason.LOCKED, "alarm code 0815")
    for visit in (skip, Visit(lawn_id, TODAY, Outcome.DONE, note="Rex was in the house")):
        report_visit(made.store, made.turf, company.keeper_id, visit, by="ana", now=company.visitor.now)
    return name


def link(company: Company, name: str) -> str:
    made = company.visitor.services
    url = client_link(made.store, made.links, company.name, name, now=company.visitor.now)
    return url.removeprefix(BASE)


def test_a_client_sees_one_propertys_season_and_no_note(company: Company, visitor: Visitor) -> None:
    path = link(company, a_property(company))
    answer = visitor.get(path)
    assert answer.status_code == 200
    for said in ("F. Client", "it was locked", "of the blade", "@media print"):
        assert said in answer.text
    for private in ("0815", "4711", "Rex", "lane", "/work/", "/my/", "href=", "<form", "<script"):
        assert private not in answer.text
    assert "script" not in answer.headers["Content-Security-Policy"]
    others = [stop.lawn.site_name for crew in company.sheet.crews for stop in crew.stops][1:]
    assert not any(f">{other}<" in answer.text for other in others)
    spanish = visitor.get(path, headers={"Accept-Language": "es"}).text
    assert "estaba cerrado" in spanish


def test_a_link_that_was_altered_has_ended_or_is_for_something_else_opens_nothing(
    company: Company, visitor: Visitor
) -> None:
    path = link(company, a_property(company))
    random = Random(1)
    for _ in range(20):
        at = random.randrange(len("/record/"), len(path))
        altered = path[:at] + ("A" if path[at] != "A" else "B") + path[at + 1 :]
        assert visitor.get(altered).status_code == 404
    token, links = path.rpartition("/")[2], visitor.services.links
    assert visitor.get(f"/work/{token}").status_code == 404
    assert visitor.get(f"/my/{token}").status_code == 404
    soon = visitor.now + timedelta(days=1)
    for other in (
        links.token(WORK, 1, 0, TODAY.toordinal(), until=soon),
        links.token(RECORD, 9999, 0, TODAY.toordinal(), until=soon),
        links.token(RECORD, 1, until=soon),
    ):
        assert visitor.get(f"/record/{other}").status_code == 404
    visitor.now += timedelta(days=401)
    assert visitor.get(path).status_code == 404


def test_the_office_makes_one_propertys_links_void_and_no_others(company: Company, visitor: Visitor) -> None:
    name, other = a_property(company), company.sheet.crews[1].stops[0].lawn.site_name
    old, kept = link(company, name), link(company, other)
    void_client_links(visitor.services.store, company.name, name)
    assert visitor.get(old).status_code == 404
    assert visitor.get(kept).status_code == 200
    assert visitor.get(link(company, name)).status_code == 200


def offices(company: Company, who: str, asked: str = "") -> str:
    return f"{company.path(who)}/clients?q={asked}"


def test_the_office_finds_a_property_and_its_link_and_makes_it_void(
    company: Company, visitor: Visitor
) -> None:
    name = a_property(company)
    page = visitor.get(offices(company, "dana", "f. client")).text
    path = link(company, name)
    assert path in page
    assert "alarm" not in page
    assert "No property goes by that" in visitor.get(offices(company, "dana", "nowhere")).text
    data = {"form": form_in(page), "q": "f. client", "void": str(site_of(company, name))}
    answer = visitor.post(f"{company.path('dana')}/clients", data)
    assert "open nothing any more" in answer.text
    assert visitor.get(path).status_code == 404
    assert link(company, name) in answer.text


def voided(company: Company, who: str, site_id: int | str, page: str) -> requests.Response:
    data = {"form": form_in(page), "q": "", "void": str(site_id)}
    return company.visitor.post(f"{company.path(who)}/clients", data)


def test_a_lead_gives_out_no_links_and_nobody_reaches_another_organisations(
    company: Company, visitor: Visitor
) -> None:
    rival = rival_of(visitor)
    assert visitor.get(offices(company, "ana", "garden")).status_code == 404
    lead = visitor.get(company.path("ana")).text
    assert "/clients" not in lead
    assert voided(company, "ana", site_of(company, "Garden 1"), lead).status_code == 404
    assert "Yard" not in visitor.get(offices(company, "dana", "yard")).text
    theirs, page = link(rival, "Yard 1"), visitor.get(offices(company, "dana", "garden")).text
    for odd in (site_of(rival, "Yard 1"), "x", "", "9" * 400):
        assert voided(company, "dana", odd, page).status_code == 404
    assert visitor.get(theirs).status_code == 200
