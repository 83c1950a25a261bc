"""Bringing lawns in: what a row needs, what is said of a bad one, and that a second time changes nothing."""

import csv
import json
from collections.abc import Callable
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

import pytest
from builders import TURF
from hypothesis import given, settings
from hypothesis import strategies as st
from program import Program

from mowalert.errors import InputError
from mowalert.service.reading.lawn_table import read_table

NOW = "2026-05-07T12:00Z"
NOON = datetime(2026, 5, 7, 12, tzinfo=UTC)
HEADER = "keeper,kind,email,latitude,longitude,grass,height_mm"
ANN = "Ann Lee,homeowner,ann@example.org,42.745,-73.752,kentucky_bluegrass,65"
CREW = "Corner Crew,company,crew@example.com,42.745,-73.752,perennial_ryegrass,50"
FULL = (
    "keeper,kind,email,phone,time_zone,units,site,address,latitude,longitude,lawn,grass,height_in,soil,watering,"
    "sun,nitrogen,area_sqft,turf_class,mowing_days,mowing_hours,clippings,silence,last_mown_on,last_height_in\n"
    "Ann Lee,homeowner,ann@example.org,+1 555 555 0101,America/Chicago,metric,Home,1 Elm Lane,"
    "42.745,-73.752,front,"
    "Tall Fescue,3.5,clay loam,regular,part,2.5,1200,,sat,10-16,collect,uncut,2026-05-02,3.75\n"
)


def lawns(*rows: str, header: str = HEADER) -> str:
    return "\n".join((header, *rows)) + "\n"


def imported(program: Program, table: str | bytes, *words: str, expect: int = 0) -> str:
    told = program("lawns", "import", program.table(table), "--at", NOW, *words, expect=expect)
    return told.out + told.err


def problem(program: Program, row: str, header: str = HEADER) -> str:
    """Import one bad row; the one thing said of it."""
    told = program("lawns", "import", program.table(lawns(row, header=header)), "--at", NOW, expect=2)
    assert told.out == "0 added, 0 changed, 0 unchanged, 1 refused\n"
    assert program("lawns", "show").out == "0 lawns\n"
    lines = told.err.splitlines()
    assert len(lines) == 1, told.err
    return lines[0]


def test_only_what_is_needed_gives_sensible_defaults_and_the_zone_of_the_place(program: Program) -> None:
    imported(program, lawns(ANN, CREW.replace("42.745,-73.752", "-33.86,151.2")))
    ann, crew = program.json("lawns", "show")
    assert ann["time_zone"] == "America/New_York"
    assert crew["time_zone"] == "Australia/Sydney"
    assert (ann["units"], crew["units"]) == ("us", "metric")
    assert (ann["mowing_days"], crew["mowing_days"]) == ("sat sun", "mon tue wed thu fri")
    assert (ann["silence"], crew["silence"]) == ("cut", "uncut")
    assert (ann["soil"], ann["watering"], ann["sun"], ann["clippings"]) == ("loam", "none", "full", "leave")
    assert ann["assumed"] is True
    # It starts on its own today: noon in London is evening in Sydney, and both are the 7th.
    assert ann["last_mown_on"] == crew["last_mown_on"] == "2026-05-07"


def test_a_new_lawn_starts_on_its_keepers_own_day(program: Program) -> None:
    table = program.table(lawns(ANN, CREW.replace("42.745,-73.752", "-36.85,174.76")))
    program("lawns", "import", table, "--at", "2026-05-07T02:00Z")
    days = [row["last_mown_on"] for row in program.json("lawns", "show")]
    assert days == ["2026-05-06", "2026-05-07"]


def test_every_column_is_taken(program: Program) -> None:
    imported(program, FULL)
    (row,) = program.json("lawns", "export")
    assert row == {
        "keeper": "Ann Lee",
        "kind": "homeowner",
        "email": "ann@example.org",
        "phone": "+15555550101",
        "time_zone": "America/Chicago",
        "units": "metric",
        "site": "Home",
        "address": "1 Elm Lane",
        "latitude": 42.745,
        "longitude": -73.752,
        "lawn": "front",
        "grass": "tall_fescue",
        "height_mm": 88.9,
        "height_in": None,
        "guide": None,
        "soil": "clay_loam",
        "watering": "regular",
        "sun": "part",
        "nitrogen": 2.5,
        "area_m2": 111.48,
        "area_sqft": None,
        "turf_class": "",
        "mowing_days": "sat",
        "mowing_hours": "10-16",
        "clippings": "collect",
        "silence": "uncut",
        "last_mown_on": "2026-05-02",
        "last_height_mm": 95.25,
        "last_height_in": None,
    }


def test_consent_is_kept_as_the_operators_statement_and_said_so(program: Program) -> None:
    assert "your statement that these keepers agreed" in imported(program, lawns(ANN))
    report = program.json("lawns", "import", program.table(lawns(CREW), "crews.csv"), "--at", NOW)
    assert report["consent"] == "operator"
    kept = [row for row in program.dump()["keeper"] if "Corner Crew" in row]
    assert "operator" in kept[0]
    assert "crews.csv" in kept[0]


def test_a_second_import_of_the_same_file_changes_nothing(program: Program) -> None:
    tables = (FULL, lawns(ANN.replace("Ann", "Una"), CREW, CREW.replace("42.745", "42.75")))
    for table in tables:
        imported(program, table)
    before = program.dump()
    for table, rows in zip(tables, (1, 3), strict=True):
        again = program.json("lawns", "import", program.table(table), "--at", "2026-05-09T12:00Z")
        assert (again["added"], again["changed"], again["unchanged"]) == (0, 0, rows)
    assert program.dump() == before


def test_a_second_import_changes_nothing_after_nights_and_cuts(program: Program) -> None:
    table = lawns(f"{ANN},2026-04-28", f"{CREW},", header=f"{HEADER},last_mown_on")
    imported(program, table)
    program("night", "--at", "2026-05-07T22:05Z")
    program("mowed", 1, 70, "--at", "2026-05-09T20:00Z")
    program("night", "--at", "2026-05-10T10:05Z")
    before = program.dump()
    assert "2 unchanged" in imported(program, table)
    assert program.dump() == before


def test_good_rows_are_enrolled_and_every_bad_one_is_named(program: Program) -> None:
    table = lawns(
        ANN,
        "Bob,homeowner,bob@example.org,42.745,-73.752,kentuky_blugrass,650",
        CREW,
        "Cid,gardener,,999,-73.752,tall_fescue,20",
    )
    told = program("lawns", "import", program.table(table), "--at", NOW, expect=2)
    assert told.out.splitlines()[0] == "2 added, 0 changed, 0 unchanged, 2 refused"
    where = [line.partition(": ")[0] for line in told.err.splitlines()]
    assert where == [
        "line 3, column grass",
        "line 5, column kind",
        "line 5, column latitude",
        "line 5, column email",
        "line 5, column height_mm",
    ]
    assert len(program.json("lawns", "show")) == 2


def test_all_or_nothing_stores_nothing_if_any_row_is_bad(program: Program) -> None:
    program("lawns", "show")
    before = program.dump()
    path = program.table(lawns(ANN, CREW.replace("50", "5000")))
    told = program("lawns", "import", path, "--all-or-nothing", expect=2)
    assert "line 3, column height_mm" in told.err
    assert "nothing stored: 1 bad row" in told.err
    assert program.dump() == before
    report = program.json("lawns", "import", path, "--all-or-nothing", expect=2)
    assert (report["stored"], report["added"], report["refused_rows"]) == (False, 0, 1)
    assert report["problems"][0]["found"] == "5000"
    assert program.dump() == before


def test_all_or_nothing_stores_all_if_every_row_is_good(program: Program) -> None:
    assert "2 added" in imported(program, lawns(ANN, CREW), "--all-or-nothing")


@pytest.mark.parametrize(
    ("wrong", "hint"),
    [
        ("kentuky blue", "did you mean kentucky_bluegrass"),
        ("bermuda", "bermudagrass"),
        ("St Augustine", "st_augustinegrass"),
        ("fescue", "fine_fescue"),
        ("astroturf", "known are perennial_ryegrass, kentucky_bluegrass"),
    ],
)
def test_an_unknown_grass_suggests_the_nearest(program: Program, wrong: str, hint: str) -> None:
    told = problem(program, ANN.replace("kentucky_bluegrass", wrong))
    assert told.startswith(f"line 2, column grass: found '{wrong}'; allowed: ")
    assert hint in told


@pytest.mark.parametrize("said", ["Kentucky bluegrass", "KENTUCKY-BLUEGRASS", " kentucky  blue grass "])
def test_a_grass_may_be_spelt_as_people_do(program: Program, said: str) -> None:
    imported(program, lawns(ANN.replace("kentucky_bluegrass", said)))
    assert program.json("lawns", "show")[0]["grass"] == "kentucky_bluegrass"


def test_a_height_outside_the_range_is_refused_with_the_range_and_what_is_usual(program: Program) -> None:
    told = problem(program, ANN.replace(",65", ",250"))
    assert "column height_mm: found '250'" in told
    assert "Kentucky bluegrass is kept at 13 to" in told
    assert "in), usually at 65 to 75 mm" in told


BAD_CELLS = [
    ("kind", "gardener", "one of homeowner, company, parks"),
    ("kind", "", "one of homeowner, company, parks"),
    ("keeper", "", "a name"),
    ("email", "ann at home", "an e-mail address"),
    ("phone", "12", "a phone number"),
    ("latitude", "91", "degrees from -90 to 90"),
    ("latitude", "nan", "degrees from -90 to 90"),
    ("latitude", "42,745", "with a point for the decimals"),
    ("longitude", "", "degrees from -180 to 180"),
    ("time_zone", "Mars/Olympus", "an IANA zone such as America/New_York"),
    ("time_zone", "../../etc/passwd", "an IANA zone"),
    ("units", "furlongs", "one of us, metric"),
    ("soil", "moon dust", "known are sand"),
    ("watering", "sometimes", "one of none, regular"),
    ("sun", "dark", "one of full, part, shade"),
    ("nitrogen", "99", "0 to 10"),
    ("nitrogen", "inf", "0 to 10"),
    ("area_m2", "-3", "square metres"),
    ("mowing_days", "someday", "weekdays such as: sat sun"),
    ("mowing_days", ";", "weekdays such as: sat sun"),
    ("mowing_hours", "18-9", "hours from-to"),
    ("mowing_hours", "morning", "hours from-to"),
    ("clippings", "eat", "one of leave, collect"),
    ("silence", "golden", "one of cut, uncut"),
    ("last_mown_on", "2026-02-30", "a date such as"),
    ("last_mown_on", "5/2/2026", "a date such as"),
    ("last_mown_on", "2026-05-08", "a day up to today, 2026-05-07"),
    ("last_mown_on", "2025-05-07", "a cut of this season"),
    ("lawn", "x" * 300, "plain text of at most 200 letters"),
    ("address", "a\x07b", "plain text"),
]


@pytest.mark.parametrize(("column", "found", "allowed"), BAD_CELLS)
def test_a_bad_cell_is_named_with_what_is_allowed(
    program: Program, column: str, found: str, allowed: str
) -> None:
    cells = dict(zip(HEADER.split(","), ANN.split(","), strict=True)) | {column: found}
    text = StringIO()
    table = csv.DictWriter(text, cells)
    table.writeheader()
    table.writerow(cells)
    told = imported(program, text.getvalue(), expect=2)
    assert f"line 2, column {column}: found {found[:60]!r}" in told or not found
    assert allowed in told
    assert "0 lawns" in program("lawns", "show").out


def test_a_keeper_without_any_address_is_refused(program: Program) -> None:
    told = problem(program, ANN.replace("ann@example.org", ""))
    assert told == (
        "line 2, column email: found nothing; allowed: an e-mail address, or a phone number in column phone"
    )


@pytest.mark.parametrize(
    ("position", "why"),
    [
        ("30,-40", "lies on the open sea"),
        ("-73.752,42.745", "are signs or order wrong?"),
        ("89.9,10", "too near a pole"),
        ("-90,0", "too near a pole"),
    ],
)
def test_a_position_where_no_grass_grows_is_refused(program: Program, position: str, why: str) -> None:
    told = problem(program, ANN.replace("42.745,-73.752", position))
    assert "column latitude" in told
    assert why in told


def test_today_is_the_keepers_own(program: Program) -> None:
    """Late on the 7th in New York it is the 8th in UTC; a cut on the 8th is still to come."""
    row = f"{ANN},2026-05-08"
    table = program.table(lawns(row, header=f"{HEADER},last_mown_on"))
    told = program("lawns", "import", table, "--at", "2026-05-08T02:00Z", expect=2)
    assert "a day up to today, 2026-05-07" in told.err
    program("lawns", "import", table, "--at", "2026-05-08T05:00Z")


def test_a_last_height_needs_its_day(program: Program) -> None:
    told = problem(program, f"{ANN},70", header=f"{HEADER},last_height_mm")
    assert "column last_mown_on" in told


@pytest.mark.parametrize("height", ["0", "400"])
def test_a_last_height_that_cannot_be_is_refused(program: Program, height: str) -> None:
    row = f"{CREW},2026-05-02,{height}"
    told = problem(program, row, header=f"{HEADER},last_mown_on,last_height_mm")
    assert "column last_height_mm" in told
    assert "2 to 300 mm for a lawn kept at 50 mm" in told


def test_two_heights_that_agree_are_one_and_others_are_refused(program: Program) -> None:
    header = f"{HEADER},height_in"
    told = problem(program, f"{ANN},3", header=header)
    assert "column height_in: found '3'; allowed: the same as height_mm, 65" in told
    assert "1 added" in imported(program, lawns(f"{ANN},2.56", header=header))
    assert program.json("lawns", "show")[0]["height_mm"] == 65


def test_extra_columns_are_reported_and_harmless(program: Program) -> None:
    told = imported(program, lawns(f"{ANN},red,7", header=f"{HEADER},colour,gate code"))
    assert "columns not known here, left alone: colour, gate code" in told
    assert "1 added" in told


def test_columns_may_stand_in_any_order_and_any_case(program: Program) -> None:
    names, cells = HEADER.upper().split(",")[::-1], ANN.split(",")[::-1]
    assert "1 added" in imported(program, lawns(",".join(cells), header=" , ".join(names)))


WAYS_TO_WRITE: dict[str, Callable[[str], str | bytes]] = {
    "byte-order mark": lambda text: b"\xef\xbb\xbf" + text.encode(),
    "CRLF": lambda text: text.replace("\n", "\r\n"),
    "CR": lambda text: text.replace("\n", "\r"),
    "semicolons": lambda text: text.replace(",", ";"),
    "tabs": lambda text: text.replace(",", "\t"),
    "blank lines": lambda text: f"\n{text}\n\n,,,,,,\n",
    "no last newline": lambda text: text.rstrip("\n"),
    "quotes": lambda text: "\n".join(
        ",".join(f'"{cell}"' for cell in line.split(",")) for line in text.splitlines()
    ),
}


@pytest.mark.parametrize("way", WAYS_TO_WRITE)
def test_a_table_may_come_as_spreadsheets_write_it(program: Program, way: str) -> None:
    assert "2 added" in imported(program, WAYS_TO_WRITE[way](lawns(ANN, CREW)))


def test_a_newline_inside_quotes_is_a_space_and_lines_still_count(program: Program) -> None:
    row = '"Ann\nLee",homeowner,ann@example.org,42.745,-73.752,kentucky_bluegrass,65'
    bad = CREW.replace("50", "5000")
    told = imported(program, lawns(row, "", bad), expect=2)
    assert "line 5, column height_mm" in told
    assert program.json("lawns", "show")[0]["keeper"] == "Ann Lee"


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (b"", "the table is empty"),
        (b"\n\n", "the table is empty"),
        (b"keeper,kind\nA,B\n", "lacks the columns latitude, longitude, grass, email or phone, height_mm"),
        (HEADER.replace("grass,", "").encode(), "lacks the column grass"),
        (f"{HEADER},grass\n".encode(), "has the column grass twice"),
        (lawns(ANN.replace("Ann", "J\xf6rg")).encode("latin-1"), "not UTF-8 text"),
        (lawns(ANN).encode("utf-16"), "not UTF-8 text"),
        (lawns(ANN.replace("Ann", '"Ann')).encode(), "line 2: a quote is not closed"),
        (b"PK\x03\x04\xff\xfe", "not UTF-8 text"),
    ],
)
def test_what_is_no_table_is_refused_in_one_sentence(program: Program, text: bytes, why: str) -> None:
    assert why in program.refused("lawns", "import", program.table(text))
    assert program("lawns", "show").out == "0 lawns\n"


def test_a_file_that_is_not_there_is_said_so(program: Program, tmp_path: Path) -> None:
    assert program.refused("lawns", "import", "nowhere.csv") == "nowhere.csv: No such file or directory"
    assert "Is a directory" in program.refused("lawns", "import", tmp_path)


def test_a_row_with_too_many_or_too_few_cells_is_refused(program: Program) -> None:
    told = imported(program, lawns(f"{ANN},more", CREW.rpartition(",")[0], CREW), expect=2)
    assert "line 2, column row: found '8 cells'; allowed: 7 cells, as in the header" in told
    assert "line 3, column row: found '6 cells'" in told
    assert "1 added" in told


def test_a_lawn_told_twice_is_taken_once(program: Program) -> None:
    told = imported(program, lawns(ANN, ANN), expect=2)
    assert "line 3, column lawn: found 'lawn'; allowed: line 2 is the same lawn" in told
    assert "1 added" in told


def test_of_a_lawn_told_in_two_ways_neither_is_taken(program: Program) -> None:
    told = imported(program, lawns(ANN, ANN.replace(",65", ",70"), CREW), expect=2)
    assert "line 2, column lawn: found 'lawn'; allowed: line 3 is the same lawn" in told
    assert "line 3, column lawn: found 'lawn'; allowed: line 2 is the same lawn" in told
    assert "1 added" in told


def test_a_text_that_looks_like_a_formula_leaves_guarded_and_comes_back_as_it_was(
    program: Program, tmp_path: Path
) -> None:
    header = f"{HEADER},site,lawn,phone"
    imported(program, lawns(f"{CREW},=1+1 Yard,'-x,+15555550101", header=header), expect=0)
    before = program.json("lawns", "show")
    assert before[0]["site"] == "=1+1 Yard"
    program("lawns", "export", tmp_path / "out.csv")
    text = (tmp_path / "out.csv").read_text(encoding="utf-8")
    assert ",'=1+1 Yard," in text
    assert ",+15555550101," in text, "a number is no formula"
    assert "1 unchanged" in imported(program, text, expect=0)
    assert program.json("lawns", "show") == before


def test_a_keeper_told_differently_on_two_lines_is_refused_not_flipped(program: Program) -> None:
    header = f"{HEADER},lawn,time_zone,phone"
    rows = (f"{ANN},front,,", f"{ANN},back,America/Chicago,", f"{ANN},side,America/Denver,5555550101")
    told = imported(program, lawns(*rows, header=header), expect=2)
    assert "line 4, column time_zone: found 'America/Denver'; allowed: line 3 says America/Chicago" in told
    assert "2 added" in told
    assert {row["time_zone"] for row in program.json("lawns", "show")} == {"America/Chicago"}
    assert "2 unchanged" in imported(program, lawns(*rows, header=header), expect=2)


def test_a_site_told_in_two_places_is_refused(program: Program) -> None:
    header = f"{HEADER},site,lawn"
    rows = (f"{CREW},Yard,one", f"{CREW.replace('42.745', '42.9')},yard,two")
    told = imported(program, lawns(*rows, header=header), expect=2)
    assert "line 3, column latitude: found '42.9, -73.752'; allowed: line 2 has 'Yard' at 42.745" in told


def test_lawns_without_names_are_kept_apart_by_where_they_lie(program: Program) -> None:
    assert "2 added" in imported(program, lawns(CREW, CREW.replace("42.745", "42.75")))
    sites = [row["site"] for row in program.json("lawns", "show")]
    assert sites == ["42.745, -73.752", "42.75, -73.752"]


def test_an_empty_cell_leaves_what_is_known(program: Program) -> None:
    imported(program, FULL)
    header = f"{HEADER},site,lawn"
    row = ANN.replace("kentucky_bluegrass,65", "tall_fescue,88.9") + ",Home,front"
    assert "1 unchanged" in imported(program, lawns(row, header=header))
    assert "1 changed" in imported(program, lawns(row.replace("88.9", "95"), header=header))
    (lawn,) = program.json("lawns", "export")
    assert (lawn["height_mm"], lawn["soil"], lawn["mowing_days"]) == (95.0, "clay_loam", "sat")
    assert (lawn["phone"], lawn["time_zone"]) == ("+15555550101", "America/Chicago")


def test_a_first_known_cut_replaces_what_was_assumed(program: Program) -> None:
    imported(program, lawns(ANN))
    dated = lawns(f"{ANN},2026-05-02", header=f"{HEADER},last_mown_on")
    assert "1 changed" in imported(program, dated)
    (lawn,) = program.json("lawns", "show")
    assert (lawn["last_mown_on"], lawn["assumed"]) == ("2026-05-02", False)


def test_a_later_cut_in_the_table_starts_the_lawn_again_an_older_one_does_not(program: Program) -> None:
    header = f"{HEADER},last_mown_on"
    imported(program, lawns(f"{ANN},2026-05-02", header=header))
    assert "1 unchanged" in imported(program, lawns(f"{ANN},2026-04-25", header=header))
    assert "1 changed" in imported(program, lawns(f"{ANN},2026-05-06", header=header))
    assert program.json("lawns", "show")[0]["last_mown_on"] == "2026-05-06"


def test_all_lawns_of_a_keeper_stay_in_one_round(program: Program) -> None:
    header = f"{HEADER},lawn,mowing_days"
    imported(program, lawns(f"{ANN},front,sat sun", f"{ANN},back,sat sun", header=header))
    table = lawns(f"{ANN},back,wed", header=header)
    assert "1 changed" in imported(program, table)
    assert len(program.rows("SELECT DISTINCT round_id FROM lawn")) == 1
    assert program.rows("SELECT round_id FROM keeper") == program.rows("SELECT DISTINCT round_id FROM lawn")
    before = program.dump()
    assert "1 unchanged" in imported(program, table)
    assert program.dump() == before


def test_a_site_that_moves_takes_all_its_lawns_along(program: Program) -> None:
    header = f"{HEADER},lawn"
    imported(program, lawns(f"{ANN},front", f"{ANN},back", header=header))
    imported(program, lawns(f"{ANN.replace('42.745', '44.5')},back", header=header))
    cells = "SELECT DISTINCT latitude_deg FROM lawn JOIN stand USING (stand_id) JOIN cell USING (cell_id)"
    assert program.rows(cells) == [(pytest.approx(44.5, abs=0.05),)]


def test_an_export_read_into_a_new_store_exports_the_same(
    program: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    imported(program, FULL)
    imported(
        program, lawns(ANN.replace("Ann Lee", "\u201cZo\u00eb\u201d"), CREW, CREW.replace("42.745", "42.75"))
    )
    program("night", "--at", "2026-05-07T22:05Z")
    program("mowed", 3, 55, "--at", "2026-05-07T22:10Z")
    assert program("lawns", "export", "out.csv").out == "4 lawns written to out.csv\n"
    first = program("lawns", "export").out
    assert (program.folder / "out.csv").read_text() == first
    other = program.at("other", monkeypatch)
    assert "4 added" in other("lawns", "import", "../out.csv", "--at", "2026-05-08T12:00Z").out
    assert other("lawns", "export").out == first


def test_an_export_as_json_is_a_list_of_the_same_columns(program: Program) -> None:
    imported(program, lawns(ANN, CREW))
    rows = program.json("lawns", "export")
    table = list(csv.DictReader(StringIO(program("lawns", "export").out)))
    assert [list(row) for row in rows] == [list(row) for row in table]
    assert rows[0]["height_mm"] == 65.0
    program("lawns", "export", "out.json", "--json")
    assert json.loads((program.folder / "out.json").read_text()) == rows


def test_an_export_that_cannot_be_written_is_said_so(program: Program) -> None:
    assert "No such file or directory" in program.refused("lawns", "export", "nowhere/out.csv")


def test_lawns_are_shown_with_their_numbers(program: Program) -> None:
    imported(program, lawns(ANN, f"{CREW}"))
    shown = program("lawns", "show").out.splitlines()
    assert shown[0] == "     1  Ann Lee: Home; Kentucky bluegrass at 65 mm; last cut 2026-05-07 (assumed)"
    assert shown[-1] == "2 lawns"
    assert program("lawns", "show", 2).out.endswith("\n1 lawn\n")
    assert program.refused("lawns", "show", 3) == "there is no lawn 3; `mowalert lawns show` lists them"


CELL = st.text(max_size=12) | st.sampled_from(
    ["65", "-73.7", "42.7", "Ann", "homeowner", "2026-05-01", "nan"]
)


@settings(max_examples=60)
@given(table=st.lists(st.lists(CELL, min_size=7, max_size=7), max_size=4))
def test_no_table_whatever_breaks_the_reader(table: list[list[str]]) -> None:
    text = StringIO()
    writer = csv.writer(text)
    writer.writerow(HEADER.split(","))
    writer.writerows(table)
    try:
        rows, report = read_table(text.getvalue(), TURF, now=NOON)
    except InputError:
        return
    assert all(problem.line > 1 and problem.allowed for problem in report.problems)
    assert len(rows) + report.refused_rows <= len(table)
