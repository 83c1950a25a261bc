"""A company and a neighbour, and the company's own program that asks with a key."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Any

import requests
from web_people import Visitor

from mowalert.service.keepers.keys import Scope, make_key
from mowalert.service.lawns.enrol import enrol
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.region.guides import guides_now

API = "/api/v1"
HEADER = "keeper,kind,email,site,lawn,latitude,longitude,grass,height_mm,watering,last_mown_on,last_height_mm"
TABLE = f"""{HEADER}
Town Greens,company,office@example.org,Elm Lane 1,,41.85,-93.15,kentucky_bluegrass,65,regular,2026-05-05,65
Town Greens,company,office@example.org,Elm Lane 3,front,41.85,-93.15,kentucky_bluegrass,65,none,2026-05-05,65
Town Greens,company,office@example.org,Elm Lane 3,back,41.85,-93.15,tall_fescue,90,none,,
Ann,homeowner,ann@example.org,Home,,41.85,-93.15,kentucky_bluegrass,65,regular,2026-05-05,65
"""
ANNS = 4
"""The neighbour's lawn."""
TODAY = date(2026, 5, 7)


@dataclass
class Program:
    """A program with a key."""

    visitor: Visitor
    key: str

    def ask(self, method: str, path: str, **more: Any) -> requests.Response:
        headers = {"Authorization": f"Bearer {self.key}", **more.pop("headers", {})}
        return self.visitor.session.request(
            method, f"{self.visitor.url}{API}{path}", headers=headers, timeout=60, **more
        )

    def get(self, path: str, **more: Any) -> Any:
        answer = self.ask("GET", path, **more)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def say(self, path: str, body: dict[str, Any], *, expect: int = 201, method: str = "POST") -> Any:
        answer = self.ask(method, path, json=body)
        assert answer.status_code == expect, answer.text
        return answer.json()

    def table(self, text: str | bytes, *, expect: int = 200, **asked: Any) -> Any:
        data = text.encode() if isinstance(text, str) else text
        answer = self.ask(
            "POST", "/lawns", data=data, params=asked, headers={"Content-Type": "text/csv; charset=utf-8"}
        )
        assert answer.status_code == expect, answer.text
        return answer.json()


def enrolled(visitor: Visitor, table: str = TABLE) -> None:
    """Enrol a table's lawns, and let a night come."""
    made = visitor.services
    with made.store.begin() as work:
        guides = guides_now(work, made.turf)
    rows, report = read_table(table, made.turf, now=visitor.now, guides=guides)
    assert not report.problems, report.problems
    enrol(made.store, made.turf, rows, report, source="a test", cell_degrees=0.1, now=visitor.now)
    visitor.night()


def program(
    visitor: Visitor, keeper: str = "office@example.org", scopes: Collection[Scope] = tuple(Scope)
) -> Program:
    """A program of a keeper, with a new key."""
    made = make_key(visitor.services.store, keeper, name="office", scopes=scopes, now=visitor.now)
    return Program(visitor, made.key)
