"""A park's turf classes and closed days by command."""

from datetime import date
from pathlib import Path

import pytest
from program import Program
from skies import Skies, a_day

from mowalert.domain.weather import Place, WeatherDay

NAME = ("--keeper", "River Parks")
AT = ("--at", "2026-07-07T12:00Z")
LAWNS = (
    "keeper,kind,email,latitude,longitude,site,lawn,grass,height_mm,turf_class,last_mown_on\n"
    "River Parks,parks,p@example.org,42.7,-73.8,Oval,field,tall_fescue,80,Sports,2026-07-01\n"
    "River Parks,parks,p@example.org,42.7,-73.8,Green,lawn,tall_fescue,80,lawn,2026-07-01\n"
)
DAYS = ("--from", "2026-07-20", "--to", "2026-07-22")


HEAT_ON = date(2026, 7, 7)
DAY_AFTER = ("--at", "2026-07-09T12:00Z")


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


def test_the_log_says_by_site_what_happened_and_who_was_told_when(parks: Program, skies: Skies) -> None:
    def day(place: Place, on: date) -> WeatherDay:
        return a_day(on, t_min_c=15.0, t_max_c=40.0 if on >= HEAT_ON else 24.0, rain_mm=5.0)

    skies.day = day
    parks("parks", "districts", parks.table("site,district\nOval,North\n", "districts.csv"), *NAME)
    parks("contacts", "add", "Rosa", *NAME, "--role", "supervisor", "--email", "rosa@example.org")
    parks("night", "--at", "2026-07-09T10:00Z")
    log = parks("parks", "holds", *NAME, "--log", "--site", "oval", *DAY_AFTER)
    assert log.out == (
        "2026-07-09 Oval, field: started (heat); told River Parks, email; Rosa, email at 06:00\n"
    )
    (step,) = parks.json("parks", "holds", *NAME, "--log", "--site", "Oval", *DAY_AFTER)
    assert (step["site"], step["turf_class"], step["district"]) == ("Oval", "sports", "North")
    assert step["numbers"]["t_max_c"] == 40.0
    parks("parks", "holds", *NAME, "--csv", "log.csv", *DAY_AFTER)
    head, *rows = (parks.folder / "log.csv").read_text(encoding="utf-8").splitlines()
    assert head.startswith("on,site,lawn,class,district,step,reason,numbers,told,at")
    assert len(rows) == 2
    assert parks("parks", "holds", *NAME, *DAY_AFTER).out.splitlines()[-1] == (
        "2026-07-07 sports, North: heat, in force"
    )
    assert "no site" in parks.refused("parks", "holds", *NAME, "--site", "Nowhere", *DAY_AFTER)
