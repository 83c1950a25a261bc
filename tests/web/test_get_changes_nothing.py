"""Scanners open every link there is: a GET or a HEAD leaves every table as it was."""

import re
from collections import Counter
from dataclasses import dataclass, field
from html import unescape
from urllib.parse import urljoin, urlsplit

import pytest
from regions import REGION, a_region, a_summer
from site_routes import Way, ways_of
from stores import contents
from test_work_pages import Company, company_of_crews
from tours import DRY, PHRASE
from web_people import ANN, BASE, Visitor, form_in
from web_programs import program

from mowalert.service.upkeep.operators import set_operator
from mowalert.web.app import create_app

LINKED = re.compile(r'(?:href|action|src)="([^"]+)"')
MOST_ALIKE = 3
FILLED = {"guide_id": REGION, "lawn_id": "1", "told_id": "1", "week": "2026-W20", "token": "x"}
"""What stands in a route's path where no link tells better."""
STARTS = {"/", "/region", "/operator", "/operator/login"}


@dataclass
class Scanner:
    """Opens what it finds, with every right there is."""

    visitor: Visitor
    headers: dict[str, str] = field(default_factory=dict)
    opened: dict[str, int] = field(default_factory=dict)
    met: Counter[str] = field(default_factory=Counter)

    def open(self, path: str) -> str:
        """Open an address both ways; the text that came."""
        answer = self.visitor.get(path, headers=self.headers, allow_redirects=False)
        self.visitor.session.head(self.visitor.url + path, headers=self.headers, timeout=30)
        self.opened[path] = answer.status_code
        return answer.text

    def follow(self, paths: set[str]) -> None:
        """Open addresses, and what the pages behind them name; a few of each kind tell for all."""
        waiting = sorted(paths)
        while waiting:
            path = waiting.pop()
            if path not in self.opened and self.met[kind_of(path)] < MOST_ALIKE:
                self.met[kind_of(path)] += 1
                waiting += sorted(links_of(self.open(path), at=path))


def kind_of(path: str) -> str:
    """An address without what is signed or counted in it."""
    return re.sub(r"/[\w.=-]{18,}|/\d[\w-]*", "/…", path)


def links_of(text: str, *, at: str = "/") -> set[str]:
    """Addresses of ours in a page or a mail, without the host."""
    named = {urljoin(BASE + at, unescape(one)) for one in LINKED.findall(text)}
    named |= set(re.findall(rf"{BASE}[^\s\"'<>)]*", unescape(text)))
    ours = {urlsplit(one) for one in named if one.startswith(BASE)}
    return {f"{one.path or '/'}{f'?{one.query}' if one.query else ''}" for one in ours}


def filled(path: str) -> str:
    return re.sub(r"\{(\w+)[^}]*\}", lambda part: FILLED.get(part[1], "1"), path)


def is_answered(way: Way, opened: dict[str, int]) -> bool:
    """Whether a route was found by somebody who knew the way."""
    return any(
        status < 400
        and path.startswith(way.below)
        and way.route.path_regex.match(urlsplit(path).path[len(way.below) :])
        for path, status in opened.items()
    )


def stop_of(crews: Company) -> str:
    links = crews.visitor.services.links
    return links.contact_stop_url(crews.people["dana"].contact_id).removeprefix(BASE)


@pytest.fixture
def year(visitor: Visitor) -> Visitor:
    """Somebody with mails of every kind, in a region with a bulletin and a service with an operator."""
    a_region(visitor)
    set_operator(visitor.services.store, "olga", PHRASE, now=visitor.now)
    visitor.join(**DRY)
    a_summer(visitor)
    before = len(visitor.mails())
    visitor.send("/link", {"email": ANN["email"]})
    visitor.mail(before + 1)
    visitor.send("/join", ANN | {"email": "bob@example.org"})
    visitor.mail(before + 2)
    return visitor


def scanner(visitor: Visitor) -> Scanner:
    """A scanner with an operator's session and a program's key."""
    form = {"form": form_in(visitor.get("/operator/login").text), "name": "olga", "password": PHRASE}
    answer = visitor.post("/operator/login", form, allow_redirects=False)
    (cookie,) = answer.cookies.items()
    return Scanner(visitor, {"Cookie": "=".join(cookie), "Authorization": f"Bearer {program(visitor).key}"})


def links_in_mails(visitor: Visitor) -> set[str]:
    """Every address in every mail, its headers and both its bodies."""
    found: set[str] = set()
    for mail in visitor.mails():
        found |= links_of(" ".join(str(value) for value in mail.values()))
        for part in mail.walk():
            if part.get_content_maintype() == "text":
                found |= links_of(part.get_content())
    return found


KINDS = (
    "Do you want notices", "Your lawn's page", "Mow ", "must be cut", "No fresh weather", "Leave the lawn",
    "hold starts", "hold ends",
)  # fmt: skip


def test_no_address_there_is_changes_anything_when_it_is_opened(year: Visitor) -> None:
    subjects = " ".join(mail["Subject"] for mail in year.mails())
    assert [kind for kind in KINDS if kind not in subjects] == []
    looking = scanner(year)
    ways = [one for one in ways_of(create_app(year.services).routes) if one.method == "GET"]
    crews = company_of_crews(year)
    at_work = {crews.path("dana"), stop_of(crews), f"{crews.path('dana')}/clients?q=garden"}
    before = contents(year.services.store.url)
    fresh_tap = year.services.links.mowed_url(1, year.now, now=year.now)
    looking.follow(links_in_mails(year) | STARTS | at_work | {fresh_tap.removeprefix(BASE)})
    for way in ways:
        looking.open(filled(way.template))
    assert contents(year.services.store.url) == before
    assert {path: status for path, status in looking.opened.items() if status >= 500} == {}
    unknown = [way.template for way in ways if not is_answered(way, looking.opened)]
    # Nothing was tried in earnest unless every route let the scanner in.
    assert unknown == []
