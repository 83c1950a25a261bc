"""Crews and people by command: added, changed and listed, planned, and refused in one line."""

from pathlib import Path

import pytest
from firm import NAME, gardens
from program import Program

MORNING = "2026-05-07T09:35Z"
TODAY = "2026-05-07"
FIRM = ("--keeper", NAME)
DEPOT = ("--latitude", "42.72", "--longitude", "-73.78")


@pytest.fixture
def firm(program: Program) -> Program:
    """A company of ten gardens with one crew."""
    program("lawns", "import", program.table(gardens(10)), "--at", "2026-05-06T12:00Z")
    program("crews", "add", "North", *FIRM, *DEPOT)
    return program


def grown(firm: Program) -> Program:
    firm("night", "--at", "2026-05-07T05:00Z")
    return firm


def test_a_crew_is_added_changed_and_listed(firm: Program) -> None:
    firm("crews", "add", "north", *FIRM, *DEPOT, "--hours", "8:00-12:30", "--days", "mon,wed")
    (crew,) = firm.json("crews", "list", *FIRM)
    assert (crew["name"], crew["from_min"], crew["to_min"], crew["weekdays"]) == ("north", 480, 750, 5)
    assert firm("crews", "list", *FIRM).out.split() == ["north", "8:00-12:30", "mon,wed"]
    assert firm("crews", "retire", "North", *FIRM).out == "crew north works no more\n"
    assert "(retired)" in firm("crews", "list", *FIRM).out


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--latitude", "0", "--longitude", "0"), "no position"),
        ((*DEPOT, "--hours", "15:00-7:00"), "begin before"),
        ((*DEPOT, "--hours", "early"), "no hours"),
        ((*DEPOT, "--days", "someday"), "no day"),
    ],
)
def test_a_crew_that_cannot_be_is_refused_in_one_line(
    firm: Program, words: tuple[str, ...], why: str
) -> None:
    before = firm.dump()
    assert why in firm.refused("crews", "add", "West", *FIRM, *words)
    assert firm.dump() == before


def test_crews_come_from_a_table_whole_or_not_at_all(firm: Program) -> None:
    good = "crew,latitude,longitude,days,hours\nEast,42.7,-73.8,mon tue,7:00-15:00\n"
    bad = firm.table(good + "West,0,0,mon,7:00-15:00\n", "bad.csv")
    before = firm.dump()
    told = firm("crews", "import", bad, *FIRM, expect=2)
    assert told.out == ""
    assert told.err.splitlines()[0].startswith("line 3, column latitude: found '0'; allowed: ")
    assert told.err.splitlines()[1] == "nothing stored: 1 bad row; --confirm stores the others"
    assert firm.dump() == before
    assert firm("crews", "import", bad, *FIRM, "--confirm", expect=2).out == (
        "1 added, 0 changed, 0 unchanged, 1 refused\n"
    )
    again = firm.json("crews", "import", firm.table(good, "good.csv"), *FIRM)
    assert (again["added"], again["unchanged"], again["stored"]) == (0, 1, True)


def test_people_come_from_a_table_and_are_listed_and_removed(firm: Program) -> None:
    table = firm.table("name,role,crew,email\nKim,crew_lead,North,kim@example.org\n", "people.csv")
    firm("contacts", "import", table, *FIRM, "--at", MORNING)
    (kim,) = firm.json("contacts", "list", *FIRM)
    assert (kim["name"], kim["role"], kim["email"]) == ("Kim", "crew_lead", "kim@example.org")
    assert kim["consent_from"] == "the office"
    assert firm("contacts", "void-links", "kim", *FIRM).out == "links of Kim are void\n"
    (kim,) = firm.json("contacts", "list", *FIRM)
    assert kim["link_version"] == 1
    assert "no contact" in firm.refused("contacts", "void-links", "Lee", *FIRM)
    firm("contacts", "remove", "Kim", *FIRM)
    assert firm.json("contacts", "list", *FIRM) == []
    assert "no contact" in firm.refused("contacts", "remove", "Kim", *FIRM)


def test_a_table_that_is_not_there_is_said_in_one_line(firm: Program, tmp_path: Path) -> None:
    assert "nowhere.csv" in firm.refused("contacts", "import", tmp_path / "nowhere.csv", *FIRM)


def test_a_day_is_planned_once_and_reads_as_a_table(firm: Program) -> None:
    grown(firm)
    sheet = firm.json("crews", "plan", *FIRM, "--at", MORNING)
    assert (sheet["on"], sheet["version"], sheet["why"]) == (TODAY, 1, "morning")
    stops = sheet["crews"][0]["stops"]
    assert stops
    lines = firm("crews", "plan", *FIRM, "--at", MORNING).out.splitlines()
    assert lines[0] == f"{NAME}, {TODAY}, version 1 (morning)"
    assert lines[1].startswith(f"North: {len(stops)} stop")
    assert lines[2].split()[0] == "1"
    assert stops[0]["lawn"]["site_name"] in lines[2]
    assert firm.json("crews", "plan", *FIRM, "--at", MORNING) == sheet
    assert firm.rows("select count(*) from outbox where kind like 'crew_day%'") == [(0,)]


def test_a_day_ahead_can_be_planned_and_a_past_one_cannot(firm: Program) -> None:
    grown(firm)
    firm("crews", "plan", *FIRM, "--at", MORNING)
    ahead = firm.json("crews", "plan", *FIRM, "--on", "2026-05-08", "--at", MORNING)
    assert (ahead["on"], ahead["why"]) == ("2026-05-08", "asked")
    assert "has passed" in firm.refused("crews", "plan", *FIRM, "--on", "2026-05-01", "--at", MORNING)
    assert "no crew works" in firm("crews", "plan", *FIRM, "--on", "2026-05-10", "--at", MORNING).out


def test_a_shorter_day_is_planned_again_and_an_equal_one_stays(firm: Program) -> None:
    grown(firm)
    first = firm.json("crews", "plan", *FIRM, "--at", MORNING)
    assert firm("crews", "replan", *FIRM, "--at", MORNING).out == "everything stays as it is\n"
    firm("crews", "hours", "North", *FIRM, "--on", TODAY, "--hours", "7:00-8:15", "--note", "training")
    (made,) = firm.json("crews", "replan", *FIRM, "--at", MORNING)
    assert made["version"] == 2
    kinds = {change["kind"] for change in made["changes"]}
    assert "dropped" in kinds
    assert kinds <= {"dropped", "retimed"}
    assert made["crews"][0]["back_min"] <= 8 * 60 + 15
    assert len(made["crews"][0]["stops"]) < len(first["crews"][0]["stops"])
    assert firm("crews", "replan", *FIRM, "--at", MORNING).out == "everything stays as it is\n"


def test_a_day_without_a_plan_is_not_planned_again(firm: Program) -> None:
    grown(firm)
    assert "no plan" in firm.refused("crews", "replan", *FIRM, "--at", MORNING)
    assert "allowed: asked, rain" in firm.refused("crews", "replan", *FIRM, "--why", "mood", "--at", MORNING)


def test_the_week_shows_hours_due_against_hours_there_are(firm: Program) -> None:
    grown(firm)
    week = firm.json("crews", "week", *FIRM, "--at", MORNING)
    assert [day["crew_h"] for day in week["days"]] == [8.5, 8.5, 0.0, 0.0, 8.5, 8.5, 8.5]
    lines = firm("crews", "week", *FIRM, "--at", MORNING).out.splitlines()
    assert lines[0].split() == ["day", "lawns", "hours", "due", "crew", "hours"]
    assert len(lines) == 8
    assert lines[1].split()[1] == str(week["days"][0]["due"])


def test_somebody_elses_name_is_no_organisation(firm: Program) -> None:
    for command in (("crews", "list"), ("contacts", "list"), ("crews", "plan"), ("crews", "week")):
        assert "no company" in firm.refused(*command, "--keeper", "Nobody")


def test_a_day_is_written_to_all_files_or_to_none(firm: Program, tmp_path: Path) -> None:
    grown(firm)
    firm("crews", "plan", *FIRM, "--at", MORNING)
    page, table, nowhere = tmp_path / "day.html", tmp_path / "day.csv", tmp_path / "no" / "day.ics"
    table.write_text("an older one")
    words = ("crews", "sheet", *FIRM, "--at", MORNING, "--html", page, "--csv", table)
    assert "No such file" in firm.refused(*words, "--ics", nowhere)
    assert "no plain file" in firm.refused(*words, "--ics", tmp_path)
    assert "the same name" in firm.refused(*words, "--ics", page)
    assert table.read_text() == "an older one"
    before = set(tmp_path.iterdir())
    assert page not in before
    firm(*words)
    assert table.read_text().startswith("day,")
    assert set(tmp_path.iterdir()) == {*before, page}


def test_a_clients_record_is_written_whole_and_linked_to(
    firm: Program, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    grown(firm)
    words = ("visits", "record", *FIRM, "--site", "Garden 1", "--from", TODAY, "--at", MORNING)
    page, nowhere = tmp_path / "record.html", tmp_path / "no" / "record.csv"
    assert "No such file" in firm.refused(*words, "--html", page, "--csv", nowhere)
    assert not page.exists()
    firm(*words, "--html", page)
    assert "Garden 1" in page.read_text()
    link = ("visits", "link", *FIRM, "--site", "Garden 1", "--at", MORNING)
    assert "set [service] base_url" in firm.refused(*link)
    monkeypatch.setenv("MOWALERT_SERVICE__BASE_URL", "https://mow.example.org")
    first = firm(*link).out.strip()
    assert first.startswith("https://mow.example.org/record/")
    assert firm.json(*link)["url"] == first
    assert firm(*link, "--void").out.strip() != first
    assert "no site" in firm.refused(*link[:-3], "Nowhere", *link[-2:])
    assert "still to come" in firm.refused(*link, "--from", "2027-01-01")
