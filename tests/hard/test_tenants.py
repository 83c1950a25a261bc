"""Two organisations on one service: whatever one asks for by a number of the other's, nothing is there.

Every route there is is walked with every number of the other tenant. A new route is walked by itself; one
with a parameter whose meaning is not known here fails until it is told.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
import requests
import sqlalchemy as sa
from firm import HEADER, TODAY
from ledger import note
from site_routes import Way, ways_of
from skies import Skies
from stores import contents
from web.conftest import services_in, visiting
from web.test_work_pages import Company, company_of_crews, handed_out
from web_people import ANN, BASE, Visitor
from web_programs import API, Program, program

from mowalert.links import CONFIRM, MOWED, PAGE, WORK
from mowalert.service.crews.day_plans import newest_sheets
from mowalert.service.records import SignupRecord
from mowalert.web.app import create_app
from mowalert.web.site import MOST_ID

NOBODYS = (987_654_321, 10**30, 10**4200)
"""Numbers that are not given yet, or never can be."""
IDS = {
    "lawn_id": "lawns",
    "told_id": "notices",
    "kept_off_id": "kept_off",
    "visit_id": "visits",
    "report_id": "reports",
    "crew": "crews",
    "lawn": "lawns",
}
"""Whose numbers a parameter takes, in paths, behind question marks and in bodies."""
PLAIN = {
    "token",
    "q",
    "kind",
    "on",
    "said",
    "lang",
    "first",
    "last",
    "after",
    "limit",
    "dry_run",
    "all_or_nothing",
}
"""Parameters that name nothing of anybody's; a token is tried with each of one's own."""
PUBLIC = {"guide_id", "week"}
BODIES: dict[str, dict[str, Any]] = {
    "/lawns/{lawn_id}/mowings": {"height_mm": 50},
    "/lawns/{lawn_id}/heights": {"height_mm": 60},
    "/lawns/{lawn_id}/kept-off": {
        "reason": "event",
        "first_on": str(TODAY),
        "last_on": str(TODAY + timedelta(days=1)),
    },
}
THEIR_WORDS = ("Blue Lane", "Oak Lane", "Yard ", "blue@example.org", "bea@example.org")


@dataclass
class Tenant:
    """An organisation with everything that has a number."""

    company: Company
    program: Program
    numbers: dict[str, list[int]]
    tokens: dict[str, str]


def a_tenant(company: Company) -> Tenant:
    visitor = company.visitor
    store, links, now = visitor.services.store, visitor.services.links, visitor.now
    asking = program(visitor, str(company.keeper_id))
    mine = [one["lawn_id"] for one in asking.get("/lawns")["lawns"]]
    asking.say(f"/lawns/{mine[0]}/mowings", {"height_mm": 50})
    asking.say(f"/lawns/{mine[0]}/kept-off", BODIES["/lawns/{lawn_id}/kept-off"])
    asking.say("/visits", {"lawn_id": mine[1], "outcome": "skipped", "reason": "dog"})
    rows = tables(visitor)
    numbers = {
        "lawns": mine,
        "notices": [row["told_id"] for row in rows["told"] if row["keeper_id"] == company.keeper_id],
        "kept_off": [row["kept_off_id"] for row in rows["kept_off"] if row["lawn_id"] in mine],
        "visits": [row["visit_id"] for row in rows["visit"] if row["keeper_id"] == company.keeper_id],
        "reports": [row["event_id"] for row in rows["event"] if row["lawn_id"] in mine],
        "crews": [row["crew_id"] for row in rows["crew"] if row["keeper_id"] == company.keeper_id],
    }
    with store.begin() as work:
        keeper = work.keepers.get([company.keeper_id])[company.keeper_id]
        signup_id = work.signups.add(SignupRecord(0, keeper.keeper_id, {}, now, confirmed_at=now))
        work.commit()
    dana, until = company.people["dana"], now + timedelta(days=9)
    tokens = {
        "my": links.token(PAGE, keeper.keeper_id, keeper.link_version, until=until),
        "did": links.token(MOWED, mine[0], TODAY.toordinal(), until=until),
        "confirm": links.token(CONFIRM, signup_id, until=until),
        "calendar": links.calendar_url(keeper.keeper_id, keeper.link_version)[len(BASE) + 10 : -4],
        "work": links.token(WORK, dana.contact_id, dana.link_version, until=until),
        "stop": links.unsubscribe_url(keeper.keeper_id)[len(BASE) + 6 :],
        "stop-work": links.contact_stop_url(dana.contact_id)[len(BASE) + 11 :],
    }
    return Tenant(company, asking, numbers, tokens)


def tables(visitor: Visitor) -> dict[str, list[dict[str, Any]]]:
    """Rows of every table, by column."""
    engine = sa.create_engine(visitor.services.store.url)
    found = sa.MetaData()
    found.reflect(engine)
    with engine.connect() as connection:
        rows = {
            table.name: [dict(row) for row in connection.execute(sa.select(table)).mappings()]
            for table in found.sorted_tables
        }
    engine.dispose()
    return rows


def standing(visitor: Visitor) -> dict[str, list[tuple[object, ...]]]:
    """All that is kept but for counted tries."""
    return {name: rows for name, rows in contents(visitor.services.store.url).items() if name != "attempt"}


@dataclass
class Neighbours:
    """One tenant who asks, another who is asked for, and all ways there are."""

    visitor: Visitor
    mine: Tenant
    theirs: Tenant
    ways: list[Way]

    def ask(self, way: Way, values: dict[str, Any], **more: Any) -> requests.Response:
        """Go a way with one's own token, form and key."""
        first = way.template.split("/")[1]
        token = self.mine.tokens.get(first, "")
        if way.below == API:
            more.setdefault("headers", {"Authorization": f"Bearer {self.mine.program.key}"})
        elif way.method == "POST":
            form = self.visitor.services.links.form_token(f"{first} {token}", now=self.visitor.now)
            more["data"] = {"form": form, **more.pop("data", {})}
        filled = {"token": token, "kind": "csv", "week": "2026-W18", "guide_id": "none"} | values
        return self.visitor.session.request(
            way.method,
            self.visitor.url + way.path(**filled),
            timeout=30,
            allow_redirects=False,
            **more,
        )


@pytest.fixture(scope="module")
def neighbours(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Neighbours]:
    """Made once: whatever is tried here must change nothing."""
    folder, sky = tmp_path_factory.mktemp("neighbours"), Skies()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("mowalert.wiring._weather", lambda settings, store: sky)
        with services_in(folder, patch) as services, visiting(services, folder, sky) as visitor:
            yield neighbours_of(visitor)


def neighbours_of(visitor: Visitor) -> Neighbours:
    mine = company_of_crews(visitor)
    rows = [
        f"Blue Lane,company,blue@example.org,Yard {number},{number} Oak Lane,42.7{number},-73.8,lawn,"
        f"perennial_ryegrass,50,regular,mon tue wed thu fri,7-19,300,{TODAY - timedelta(days=9)}"
        for number in range(1, 6)
    ]
    theirs = Company(visitor, "Blue Lane", "\n".join([HEADER, *rows]))
    visitor.wait(hours=20)
    handed_out(visitor, visitor.now)
    ways = list(ways_of(create_app(visitor.services).routes))
    return Neighbours(visitor, a_tenant(mine), a_tenant(theirs), ways)


def numbered(way: Way) -> Iterator[str]:
    yield from (name for name in (*way.parameters, *way.questions) if name in IDS)


def test_every_number_of_another_tenant_is_as_if_there_were_none(neighbours: Neighbours) -> None:
    visitor, theirs = neighbours.visitor, neighbours.theirs
    assert {kind: len(found) > 0 for kind, found in theirs.numbers.items()} == dict.fromkeys(
        theirs.numbers, True
    )
    before, wrong, tried = standing(visitor), [], 0
    for way in neighbours.ways:
        unknown = set(way.parameters) | set(way.questions)
        assert unknown <= IDS.keys() | PLAIN | PUBLIC, f"{way.template}: say whose each parameter is"
        for name in numbered(way):
            for number in (*theirs.numbers[IDS[name]], *NOBODYS):
                answer = asked_for(neighbours, way, name, number)
                tried += 1
                # What no store can number is a mistake of whoever asks: the API says so.
                refused = (404, 422) if number > MOST_ID and way.below else (404,)
                if answer.status_code not in refused or any(word in answer.text for word in THEIR_WORDS):
                    wrong.append((way.method, way.template, name, number, answer.status_code))
    assert standing(visitor) == before
    note("another tenant's number", tried, tried - len(wrong), 0, 0)
    assert wrong == []
    assert tried > 100


def asked_for(neighbours: Neighbours, way: Way, name: str, number: int) -> requests.Response:
    """Ask for one number of another's, with everything else one's own."""
    own = {known: neighbours.mine.numbers[kind][0] for known, kind in IDS.items()}
    values = own | {name: number}
    if name in way.parameters:
        body = BODIES.get(way.route.path, {})
        return neighbours.ask(way, values, **({"json": body} if way.below == API and body else {}))
    return neighbours.ask(way, values, params={name: number})


def a_stop(neighbours: Neighbours) -> tuple[int, int]:
    """A crew of one's own and a lawn on its list."""
    with neighbours.visitor.services.store.begin() as work:
        (sheet,) = newest_sheets(work, neighbours.mine.company.keeper_id, first=TODAY, last=TODAY)
    crew = next(crew for crew in sheet.crews if crew.stops)
    return crew.crew_id, crew.stops[0].lawn.lawn_id


def test_one_has_what_is_ones_own(neighbours: Neighbours) -> None:
    """What is refused above is refused for being another's, and for nothing else."""
    own = {name: neighbours.mine.numbers[kind][-1] for name, kind in IDS.items()}
    own["crew"], own["lawn"] = a_stop(neighbours)
    asked = own | {"on": str(TODAY)}
    closed = []
    for way in neighbours.ways:
        if way.method == "GET" and any(numbered(way)):
            params = {name: asked[name] for name in way.questions if name in asked}
            answer = neighbours.ask(way, own, params=params)
            if answer.status_code != 200:
                closed.append((way.template, answer.status_code))
            assert not any(word in answer.text for word in THEIR_WORDS), way.template
    assert closed == []


def test_numbers_of_another_tenant_in_a_body_are_as_if_there_were_none(neighbours: Neighbours) -> None:
    visitor, theirs = neighbours.visitor, neighbours.theirs
    (report,) = [way for way in neighbours.ways if way.template == "/work/{token}/visits"]
    (told,) = [way for way in neighbours.ways if way.template == f"{API}/visits" and way.method == "POST"]
    before, seen = standing(visitor), {}
    for field, kind in (("lawn", "lawns"), ("undo", "visits")):
        for number in (*theirs.numbers[kind], *NOBODYS[:2]):
            data = {"on": str(TODAY), "outcome": "done", "crew": "", field: str(number)}
            answer = neighbours.ask(report, {}, data=data)
            seen[field, number] = answer.status_code
            assert not any(word in answer.text for word in THEIR_WORDS)
    for number in (*theirs.numbers["lawns"], NOBODYS[0]):
        answer = neighbours.ask(told, {}, json={"lawn_id": number, "outcome": "done"})
        seen["api", number] = answer.status_code
    assert standing(visitor) == before
    note("another tenant's number in a body", len(seen), len(seen), 0, 0)
    assert {one for (field, _), one in seen.items() if field == "api"} == {404}
    assert {one for (field, _), one in seen.items() if field != "api"} == {422}


def test_a_link_opens_what_it_was_made_for_and_nothing_else(neighbours: Neighbours) -> None:
    """Each route with a token is tried with each of one's own tokens."""
    visitor, tokens = neighbours.visitor, neighbours.mine.tokens
    before, opened = standing(visitor), set()
    own = {name: neighbours.mine.numbers[kind][0] for name, kind in IDS.items()}
    for way in neighbours.ways:
        first = way.template.split("/")[1]
        if "token" not in way.parameters:
            continue
        for purpose, token in tokens.items():
            if purpose == first and way.method != "GET":
                continue
            form = visitor.services.links.form_token(f"{first} {token}", now=visitor.now)
            answer = visitor.session.request(
                way.method,
                visitor.url + way.path(**own, token=token, kind="csv"),
                data={"form": form} if way.method == "POST" else None,
                timeout=30,
                allow_redirects=False,
            )
            if answer.status_code != 404:
                opened.add((first, purpose))
    assert standing(visitor) == before
    assert opened == {(purpose, purpose) for purpose in tokens}


def test_lists_feeds_and_files_hold_nothing_of_another_tenant(neighbours: Neighbours) -> None:
    """Every address without a number, with every right of one's own."""
    own = {name: neighbours.mine.numbers[kind][0] for name, kind in IDS.items()}
    seen = 0
    for way in neighbours.ways:
        if way.method != "GET":
            continue
        for kind in ("csv", "geojson") if "kind" in way.parameters else ("",):
            answer = neighbours.ask(way, own | {"kind": kind})
            seen += answer.status_code == 200
            assert not any(word in answer.text for word in THEIR_WORDS), way.template
            assert answer.status_code < 500, way.template
    assert seen > 20


PROOF_IN_THE_ADDRESS = {"/stop/{token}", "/stop-work/{token}"}
"""Mail programs post here by themselves, without a form (RFC 8058)."""


def test_no_form_that_is_not_ours_changes_anything(neighbours: Neighbours) -> None:
    """Every form is sent without its proof, and with that of another form."""
    visitor = neighbours.visitor
    other = visitor.services.links.form_token("join", now=visitor.now)
    mine = neighbours.mine.numbers
    own = {name: mine[kind][0] for name, kind in IDS.items()}
    before, tried = standing(visitor), 0
    for way in neighbours.ways:
        if way.method != "POST" or way.below or way.template in PROOF_IN_THE_ADDRESS:
            continue
        for form in ("", "x", other if way.template != "/join" else "y"):
            data = ANN | {"form": form, "do": "stop", "on": str(TODAY), "outcome": "done"}
            data |= {"lawn": str(mine["lawns"][0]), "name": "olga", "password": "a guess of many words"}
            answer = neighbours.ask(way, own, data=data)
            tried += 1
            assert answer.status_code in (303, 400, 404), way.template
            assert "Set-Cookie" not in answer.headers
    assert standing(visitor) == before
    assert tried >= 3 * 8


def test_no_answer_leads_to_another_host(neighbours: Neighbours) -> None:
    own = {name: neighbours.mine.numbers[kind][0] for name, kind in IDS.items()}
    elsewhere = "//evil.example/x"
    params = dict.fromkeys(("said", "next", "url", "lang", "on"), elsewhere)
    for way in neighbours.ways:
        if way.method == "GET" and not way.below:
            answer = neighbours.ask(way, own, params=params, headers={"Host": "evil.example"})
            there = answer.headers.get("Location", "/")
            assert there.startswith("/"), way.template
            assert not there.startswith("//"), way.template


def test_without_a_session_no_operators_page_is_shown(neighbours: Neighbours) -> None:
    for way in neighbours.ways:
        if way.template.startswith("/operator") and way.template != "/operator/login":
            for token in ("", *neighbours.mine.tokens.values()):
                answer = neighbours.ask(way, {}, headers={"Cookie": f"__Host-operator={token}"})
                assert answer.status_code == 303, way.template
                assert answer.headers["Location"] == "/operator/login"
