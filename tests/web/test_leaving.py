"""Whoever says "Forget me" is forgotten: no table holds anything that leads to them."""

from datetime import timedelta
from typing import Any

import pytest
from stores import contents
from web_people import ANN, Visitor

PERSON = ANN | {
    "name": "Annabel Quillfeather",
    "email": "annabel.quill@example.org",
    "phone": "+1 515 555 0142",
    "latitude": "41.85371",
    "longitude": "-93.15294",
    "watering": "none",
}
TRACES = ("annabel", "quill", "5155550142", "41.85371", "93.15294")
"""What would lead to her: name, address, phone, and where exactly she lives."""
WAIT = timedelta(minutes=1)


def traces_in(kept: object) -> list[str]:
    """Which of her traces a value holds."""
    text = kept.decode("latin-1") if isinstance(kept, bytes) else str(kept)
    return [trace for trace in TRACES if trace in text.casefold()]


def traces(visitor: Visitor) -> dict[str, set[str]]:
    """Her traces in each table that has any."""
    found = {
        name: {trace for row in rows for value in row for trace in traces_in(value)}
        for name, rows in contents(visitor.services.store.url).items()
    }
    return {name: told for name, told in found.items() if told}


@pytest.fixture
def own(visitor: Visitor) -> str:
    """The page of somebody of whom much is known."""
    page = visitor.join(**PERSON)
    visitor.now += WAIT
    visitor.send(f"{page}/lawn/1", {"do": "mowed", "day": "today"}, on=page)
    for _ in range(9):
        visitor.wait(days=1)
        visitor.deliver()
    before = len(visitor.mails())
    visitor.send("/link", {"email": PERSON["email"]})
    visitor.mail(before + 1)
    return page


def test_what_is_handed_out_lists_all_that_is_known(visitor: Visitor, own: str) -> None:
    answer = visitor.get(f"{own}/data")
    assert "attachment" in answer.headers["Content-Disposition"]
    told: dict[str, Any] = answer.json()
    assert told["keeper"]["name"] == PERSON["name"]
    assert told["keeper"]["email"] == PERSON["email"]
    assert told["keeper"]["phone"] == "+15155550142"
    (site,) = told["sites"]
    assert (site["latitude_deg"], site["longitude_deg"]) == (41.85371, -93.15294)
    assert len(told["lawns"]) == 1
    assert [one["kind"] for one in told["reports"]] == ["mowing"]
    assert told["notices"]
    assert {"confirm", "link", "weekend"} <= {one["kind"].split()[0] for one in told["messages"]}
    assert len(told["sign_ups"]) == 1


def test_every_table_that_knows_her_is_in_what_is_handed_out(visitor: Visitor, own: str) -> None:
    listed = {"keeper", "site", "outbox", "signup"}
    assert set(traces(visitor)) <= listed
    assert set().union(*traces(visitor).values()) == set(TRACES)


def test_after_forget_me_no_table_leads_to_her(visitor: Visitor, own: str) -> None:
    assert traces(visitor)
    answer = visitor.send(f"{own}/leave", {})
    assert "You are forgotten" in answer.text
    assert traces(visitor) == {}
    left = contents(visitor.services.store.url)
    kept = {name for name, rows in left.items() if rows}
    assert kept.isdisjoint({"keeper", "site", "lawn", "event", "told", "outbox", "signup", "inbound"})


def test_a_neighbour_stays(visitor: Visitor, own: str) -> None:
    visitor.now += WAIT
    neighbour = visitor.join()
    visitor.send(f"{own}/leave", {})
    assert visitor.get(neighbour).status_code == 200
    assert visitor.get(own).status_code == 404


def test_a_forgotten_address_is_not_written_to_when_somebody_types_it(visitor: Visitor, own: str) -> None:
    visitor.send(f"{own}/leave", {})
    visitor.now += timedelta(days=2)
    before = len(visitor.mails())
    assert "One step left" in visitor.send("/join", PERSON).text
    visitor.join()
    assert {mail["To"] for mail in visitor.mails()[before:]} == {ANN["email"]}
    assert traces(visitor) == {}
