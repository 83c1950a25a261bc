"""A park's turf classes and closed days by command."""

from pathlib import Path

import pytest
from program import Program

NAME = ("--keeper", "River Parks")
AT = ("--at", "2026-07-07T12:00Z")
LAWNS = (
    "keeper,kind,email,latitude,longitude,site,lawn,grass,height_mm,turf_class,last_mown_on\n"
    "River Parks,parks,p@example.org,42.7,-73.8,Oval,field,tall_fescue,80,Sports,2026-07-01\n"
    "River Parks,parks,p@example.org,42.7,-73.8,Green,lawn,tall_fescue,80,lawn,2026-07-01\n"
)
DAYS = ("--from", "2026-07-20", "--to", "2026-07-22")


@pytest.fixture
def parks(program: Program) -> Program:
    program("lawns", "import", program.table(LAWNS), *AT)
    return program


def test_what_is_closed_is_reopened_by_the_same_words(parks: Program) -> None:
    closed = parks.json("parks", "close", *NAME, *DAYS, "--class", "sports", "--reason", "Event", *AT)
    assert [one["reason"] for one in closed] == ["event"]
    other = ("--from", "2026-07-21", "--to", "2026-07-22")
    assert "closed for event" in parks.refused("parks", "reopen", *NAME, *other, "--class", "sports", *AT)
    told = parks("parks", "reopen", *NAME, *DAYS, "--class", "SPORTS", *AT)
    assert told.out == "lawn 1: open again from 2026-07-20 to 2026-07-22\n"
    assert "closed for event" in parks.refused("parks", "reopen", *NAME, "--class", "sports", *AT)


def test_a_reason_that_is_none_is_refused_with_the_choices(parks: Program) -> None:
    before = parks.dump()
    for command in (("close", *DAYS), ("reopen",)):
        said = parks.refused("parks", *command, *NAME, "--reason", "heat", *AT)
        assert said == "'heat' is no such reason; allowed are treatment, event, nesting, noise"
    said = parks.refused("parks", "class", "set", *NAME, "--class", "sports", "--ignore", "event")
    assert said == ("'event' is no such reason; allowed are dormant, drought, heat, cold, waterlogged, frost")
    assert parks.dump() == before


def test_a_class_is_named_in_any_case(parks: Program) -> None:
    kept = parks.json("parks", "class", "set", *NAME, "--class", "SPORTS", "--ignore", "Heat")
    assert (kept["rule"]["turf_class"], kept["rule"]["ignores"]) == ("sports", ["heat"])
    parks("parks", "class", "set", *NAME, "--class", "Sports", "--call", "Dana")
    (rule,) = parks.json("parks", "class", "list", *NAME)
    assert (rule["call"], rule["ignores"]) == ("Dana", [])


def test_a_site_that_is_not_known_places_none(parks: Program, tmp_path: Path) -> None:
    before = parks.dump()
    table = parks.table("site,district\nOval,North\nNowhere,South\n", "districts.csv")
    assert "Nowhere" in parks.refused("parks", "districts", table, *NAME)
    assert parks.dump() == before
