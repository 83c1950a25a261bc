"""Setting an organisation up from tables: every bad cell is named, and no known name is doubled."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from firm import MORNING, NAME, TODAY, Firm
from stores import contents, new_store

from mowalert.errors import InputError
from mowalert.service.crew_records import ContactRecord, CrewRecord, Role
from mowalert.service.crews.crew_setup import (
    NewContact,
    keep_contact,
    keep_hours,
    retire_crew,
)
from mowalert.service.crews.crew_tables import SetUpReport, import_contacts, import_crews
from mowalert.service.crews.work_hours import day_crews
from mowalert.service.known import crew_named, organisation
from mowalert.service.reading.day_hours import days_in, hours_in
from mowalert.store.engine import SqlStore

CREWS = "crew,latitude,longitude,days,hours"
EAST = "East,42.71,-73.77,mon tue,6:30-14:00"
CONTACTS = "name,role,crew,email,phone,language,said_by"
KIM = "Kim,crew_lead,North,kim@example.org,,es,her contract"


@pytest.fixture
def firm(tmp_path: Path) -> Firm:
    return Firm(new_store(tmp_path / "firm.db"), count=1)


def lines(*rows: str) -> str:
    return "\n".join(rows) + "\n"


def crews_of(firm: Firm) -> dict[str, CrewRecord]:
    with firm.store.begin() as work:
        return {crew.name: crew for crew in work.crews.crews(firm.keeper_id)}


def people_of(firm: Firm) -> dict[str, ContactRecord]:
    with firm.store.begin() as work:
        return {one.name: one for one in work.crews.contacts(firm.keeper_id)}


def numbers(report: SetUpReport) -> tuple[int, int, int, int, bool]:
    return report.added, report.changed, report.unchanged, report.refused_rows, report.stored


def test_a_table_of_crews_on_both_databases(store: SqlStore) -> None:
    firm = Firm(store, count=1)
    north = crews_of(firm)["North"]
    text = lines(CREWS, EAST, "NORTH,42.72,-73.78,,7:00-15:00")
    assert numbers(import_crews(store, NAME, text)) == (1, 1, 0, 0, True)
    known = crews_of(firm)
    assert set(known) == {"NORTH", "South", "East"}
    assert known["NORTH"].crew_id == north.crew_id
    assert (known["East"].weekdays, known["East"].from_min, known["East"].to_min) == (3, 390, 840)
    assert known["NORTH"].weekdays == 31
    before = contents(store.url)
    assert numbers(import_crews(store, NAME, text)) == (0, 0, 2, 0, True)
    assert contents(store.url) == before


def test_a_table_of_people_says_who_agreed_and_when(firm: Firm) -> None:
    text = lines(CONTACTS, KIM, "Lee,owner,,,+1 555 555 0102,,")
    report = import_contacts(firm.store, NAME, text, now=MORNING)
    assert numbers(report) == (2, 0, 0, 0, True)
    kim, lee = people_of(firm)["Kim"], people_of(firm)["Lee"]
    assert (kim.role, kim.language, kim.consent_from, kim.consent_at) == (
        Role.CREW_LEAD,
        "es",
        "her contract",
        MORNING,
    )
    assert kim.crew_id == crews_of(firm)["North"].crew_id
    assert (lee.phone, lee.email, lee.language, lee.consent_from) == (
        "+15555550102",
        None,
        "en",
        "the office",
    )


def test_said_again_an_agreement_is_as_old_as_it_was(firm: Firm) -> None:
    import_contacts(firm.store, NAME, lines(CONTACTS, KIM), now=MORNING)
    later = MORNING + timedelta(days=9)
    assert numbers(import_contacts(firm.store, NAME, lines(CONTACTS, KIM), now=later)) == (0, 0, 1, 0, True)
    assert people_of(firm)["Kim"].consent_at == MORNING
    moved = KIM.replace("kim@", "kim.new@")
    assert numbers(import_contacts(firm.store, NAME, lines(CONTACTS, moved), now=later)) == (0, 1, 0, 0, True)
    assert people_of(firm)["Kim"].consent_at == later


def test_a_person_who_wanted_silence_keeps_it_until_their_address_changes(firm: Firm) -> None:
    kim = keep_contact(firm.store, NAME, NewContact("Kim", Role.OWNER, email="kim@example.org"), now=MORNING)
    with firm.store.begin() as work:
        work.crews.keep_contact(replace(kim, email_suspended="asked to stop", link_version=4))
        work.commit()
    row = "Kim,owner,,kim@example.org,,es,"
    import_contacts(firm.store, NAME, lines(CONTACTS, row), now=MORNING)
    assert (people_of(firm)["Kim"].email_suspended, people_of(firm)["Kim"].language) == (
        "asked to stop",
        "es",
    )
    import_contacts(firm.store, NAME, lines(CONTACTS, row.replace("kim@", "k@")), now=MORNING)
    assert (people_of(firm)["Kim"].email_suspended, people_of(firm)["Kim"].link_version) == (None, 4)


@pytest.mark.parametrize(
    ("row", "columns"),
    [
        ("West,0,0,mon,7-15", ["latitude"]),
        ("West,91,-73.7,mon,7-15", ["latitude"]),
        ("West,nan,-73.7,mon,7-15", ["latitude"]),
        ("West,north,-73.7,mon,7-15", ["latitude"]),
        ("West,42.7,-73.7,someday,7-15", ["days"]),
        ("West,42.7,-73.7,mon,15:00-7:00", ["hours"]),
        ("West,42.7,-73.7,mon,7:00-7:00", ["hours"]),
        ("West,42.7,-73.7,mon,", ["hours"]),
        (",42.7,,mon,7", ["crew", "longitude", "hours"]),
        ("West,42.7,-73.7,mon", ["row", "hours"]),
    ],
)
def test_a_bad_row_of_crews_is_named_and_nothing_is_stored(firm: Firm, row: str, columns: list[str]) -> None:
    before = contents(firm.store.url)
    text = lines(CREWS, EAST, row)
    report = import_crews(firm.store, NAME, text)
    assert [(problem.line, problem.column) for problem in report.problems] == [(3, name) for name in columns]
    assert numbers(report) == (0, 0, 0, 1, False)
    assert contents(firm.store.url) == before
    assert numbers(import_crews(firm.store, NAME, text, confirmed=True)) == (1, 0, 0, 1, True)
    assert set(crews_of(firm)) == {"North", "South", "East"}


def test_of_a_crew_told_in_two_ways_neither_is_taken_and_in_the_same_words_one(firm: Firm) -> None:
    other = "east,42.71,-73.77,mon,7:00-9:00"
    report = import_crews(firm.store, NAME, lines(CREWS, EAST, other), confirmed=True)
    assert [(problem.line, problem.column) for problem in report.problems] == [(2, "crew"), (3, "crew")]
    assert "line 3 has the same" in report.problems[0].allowed
    assert set(crews_of(firm)) == {"North", "South"}
    report = import_crews(firm.store, NAME, lines(CREWS, EAST, EAST), confirmed=True)
    assert [(problem.line, problem.column) for problem in report.problems] == [(3, "crew")]
    assert set(crews_of(firm)) == {"North", "South", "East"}


@pytest.mark.parametrize(
    ("row", "columns"),
    [
        ("Lee,boss,,lee@example.org,,,", ["role"]),
        ("Lee,crew_lead,,lee@example.org,,,", ["crew"]),
        ("Lee,crew_lead,West,lee@example.org,,,", ["crew"]),
        ("Lee,owner,,,,,", ["email"]),
        ("Lee,owner,,lee,,,", ["email"]),
        ("Lee,owner,,,12,,", ["phone"]),
        ("Lee,owner,,lee@example.org,,xx,", ["language"]),
        (",chief,,lee,,xx,", ["name", "role", "language", "email"]),
    ],
)
def test_a_bad_row_of_people_is_named_and_nothing_is_stored(firm: Firm, row: str, columns: list[str]) -> None:
    before = contents(firm.store.url)
    text = lines(CONTACTS, KIM, row)
    report = import_contacts(firm.store, NAME, text, now=MORNING)
    assert [(problem.line, problem.column) for problem in report.problems] == [(3, name) for name in columns]
    assert numbers(report) == (0, 0, 0, 1, False)
    assert contents(firm.store.url) == before
    report = import_contacts(firm.store, NAME, text, now=MORNING, confirmed=True)
    assert numbers(report) == (1, 0, 0, 1, True)
    assert "Lee" not in people_of(firm)


def test_a_lead_of_a_crew_that_works_no_more_is_refused(firm: Firm) -> None:
    retire_crew(firm.store, NAME, "North")
    report = import_contacts(firm.store, NAME, lines(CONTACTS, KIM), now=MORNING)
    assert [problem.column for problem in report.problems] == ["crew"]
    assert "known are: South" in report.problems[0].allowed


@pytest.mark.parametrize(
    ("header", "why"),
    [
        ("crew,latitude,longitude", "lacks: hours"),
        (f"{CREWS},colour", "does not know: colour"),
        (f"{CREWS},days", "has twice: days"),
        ("", "lacks: crew"),
    ],
)
def test_a_header_that_cannot_be_used_is_refused_whole(firm: Firm, header: str, why: str) -> None:
    before = contents(firm.store.url)
    with pytest.raises(InputError, match=why):
        import_crews(firm.store, NAME, lines(header, EAST) if header else "", confirmed=True)
    assert contents(firm.store.url) == before


def test_a_crew_that_works_no_more_comes_back_by_its_name(firm: Firm) -> None:
    retire_crew(firm.store, NAME, "North")
    with firm.store.begin() as work, pytest.raises(InputError, match="known are: South"):
        crew_named(work, organisation(work, NAME), "North")
    row = "North,42.72,-73.78,mon,7:00-9:00"
    assert numbers(import_crews(firm.store, NAME, lines(CREWS, row))) == (0, 1, 0, 0, True)
    with firm.store.begin() as work:
        assert not crew_named(work, organisation(work, NAME), "north").retired


def test_other_hours_hold_for_their_day_alone(firm: Firm) -> None:
    keep_hours(firm.store, NAME, "North", TODAY, from_min=600, to_min=720, note="rain")
    with firm.store.begin() as work:
        today, tomorrow = (
            {crew.name: (crew.from_min, crew.to_min) for crew in day_crews(work, firm.keeper_id, on)}
            for on in (TODAY, TODAY + timedelta(days=1))
        )
    assert today == {"North": (600, 720), "South": (420, 900)}
    assert tomorrow["North"] == (420, 900)
    with pytest.raises(InputError, match="begin before they end"):
        keep_hours(firm.store, NAME, "North", TODAY, from_min=720, to_min=600)


def test_days_and_hours_are_read_as_people_write_them() -> None:
    assert [days_in(text) for text in ("mon,tue", "Monday Sunday", "sat, sat")] == [3, 65, 32]
    assert hours_in("7-3:30 pm") == (420, 930)
    for text in ("7", "7-25", ""):
        with pytest.raises(InputError):
            hours_in(text)
