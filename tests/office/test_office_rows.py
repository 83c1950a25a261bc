"""Rows of an office's sheet: units, figures, places and doubles as offices have them."""

from collections.abc import Sequence
from typing import Any

import pytest

from mowalert.errors import InputError
from mowalert.service.office.mapping import Why, propose
from mowalert.service.office.office_table import OfficeTable, office_table
from mowalert.service.reading.lawn_rows import Problem
from mowalert.service.reading.sheet import Figure, Sheet, SheetRow
from mowalert.service.reading.written import DayOrder, Decimals

FIXED = {"keeper": "Green Quarter", "kind": "company", "email": "office@example.org"}
PLAIN = {
    "number": "A-1", "site": "Garden 1", "address": "1 Elm Street", "latitude": "42.51",
    "longitude": "-73.52", "grass": "tall fescue", "height_mm": "85",
}  # fmt: skip


def a_table(*rows: dict[str, str], problems: Sequence[Problem] = (), **how: Any) -> OfficeTable:
    """Our table of rows under our own names; an empty cell is none."""
    header = tuple(dict.fromkeys(name for row in rows for name in row))
    told = [
        SheetRow(line, {name: text for name, text in row.items() if text}) for line, row in enumerate(rows, 2)
    ]
    names = {name: how.pop(name) for name in ("positions", "known") if name in how}
    mapping = propose(header, fixed=FIXED, **how)
    return office_table(Sheet(header, tuple(told), tuple(problems)), mapping, **names)


def many(count: int, *rows: dict[str, str]) -> list[dict[str, str]]:
    """Rows that agree, and some after them."""
    usual = [
        PLAIN
        | {"number": f"A-{n}", "site": f"Garden {n}", "address": f"{n} Elm Street", "latitude": f"42.5{n}1"}
        for n in range(1, count + 1)
    ]
    return [*usual, *rows]


def named(table: OfficeTable) -> set[tuple[int, str]]:
    return {(problem.line, problem.column) for problem in table.problems}


def text_of(table: OfficeTable, column: str) -> list[str]:
    header, *rows = [line.split(",") for line in table.text.splitlines() if line]
    return [row[header.index(column)] for row in rows]


def read_as(table: OfficeTable) -> dict[str, tuple[str, str]]:
    return {one.column: (one.written, one.read_as) for one in table.conversions}


@pytest.mark.parametrize(
    ("cells", "column", "text", "told"),
    [
        ({"height_mm": "", "height_in": "75 mm"}, "height_in", "2.952755906", "2.952755906 in"),
        ({"height_mm": '3.5"'}, "height_mm", "88.9", "88.9 mm"),
        ({"height_mm": "8,5 cm"}, "height_mm", "85", "85 mm"),
        ({"area_sqft": "450 m2"}, "area_sqft", "4843.759688", "4843.759688 sqft"),
        ({"area_m2": "0.25 acres"}, "area_m2", "1011.714106", "1011.714106 m2"),
        ({"area_m2": "5,000.0 sq. ft."}, "area_m2", "464.5152", "464.5152 m2"),
        ({"area_acres": "0.25"}, "area_m2", "1011.7", "1012 m²"),
        ({"watering": "Yes"}, "watering", "regular", "regular"),
        ({"last_mown_on": "1 May 2026"}, "last_mown_on", "2026-05-01", "2026-05-01"),
        ({"phone": "15555550101.0"}, "phone", "15555550101", "15555550101"),
    ],
)
def test_a_unit_in_a_cell_counts_and_what_is_read_otherwise_is_told(
    cells: dict[str, str], column: str, text: str, told: str
) -> None:
    table = a_table(PLAIN | cells, said={name: name for name in cells})
    assert named(table) == set()
    assert text_of(table, column) == [text]
    ((_, (_, as_what)),) = read_as(table).items()
    assert as_what == told


def test_a_unit_that_is_the_columns_own_is_nothing_to_tell() -> None:
    table = a_table(PLAIN | {"height_mm": "85 mm"})
    assert (text_of(table, "height_mm"), table.conversions) == (["85"], [])


@pytest.mark.parametrize(
    ("cells", "column"),
    [
        ({"height_mm": "3"}, "height_mm"),
        ({"area_acres": "0.25", "area_m2": "400"}, "area_acres"),
        ({"area_acres": "big"}, "area_acres"),
        ({"area_sqft": "1,250"}, "area_sqft"),
        ({"last_mown_on": "03/04/2026"}, "last_mown_on"),
        ({"phone": "1.55556E+10"}, "phone"),
        ({"gate": "1.5E+10"}, "gate"),
        ({"minutes": "0"}, "minutes"),
        ({"minutes": "1,250"}, "minutes"),
        ({"visit_from": "noon"}, "visit_from"),
        ({"visit_from": "9:00", "visit_to": "8:00"}, "visit_to"),
    ],
)
def test_what_may_mean_two_things_or_nothing_keeps_its_row_out(cells: dict[str, str], column: str) -> None:
    table = a_table(PLAIN | cells, said={name: name for name in cells})
    assert named(table) == {(2, column)}
    assert table.text.strip() == ""


def test_a_comma_before_decimals_is_read_and_a_point_beside_it_asked_about() -> None:
    rows = many(
        2,
        PLAIN
        | {"latitude": "42,513", "longitude": "-73,52", "area_m2": "40,5", "number": "A-3", "site": "c"},
    )
    doubtful = PLAIN | {"number": "A-4", "site": "d", "area_m2": "1.250", "address": ""}
    table = a_table(*rows, doubtful)
    assert named(table) == {(5, "area_m2")}
    assert text_of(table, "latitude")[-1] == "42.513"
    figure = doubtful | {"area_m2": Figure("1.250")}
    assert named(a_table(*rows, figure)) == set(), "a workbook's own numbers have no doubt"
    said = a_table(*rows[2:], doubtful, decimals=Decimals.COMMA)
    assert text_of(said, "area_m2") == ["40.5", "1250"]


def test_the_order_of_a_day_and_a_month_is_taken_from_who_says_it() -> None:
    table = a_table(PLAIN | {"last_mown_on": "03/04/2026"}, dates=DayOrder.DMY)
    assert text_of(table, "last_mown_on") == ["2026-04-03"]


def test_a_bad_cell_that_nobody_needs_keeps_no_row_out() -> None:
    bad = [Problem(2, "colour", "#REF!", "a value"), Problem(3, "gate", "#REF!", "a value")]
    rows = many(2)
    table = a_table(*({**row, "gate": "1", "colour": "red"} for row in rows), problems=bad)
    assert named(table) == {(3, "gate")}
    assert list(table.work) == [2]
    assert any(remark.startswith("colour: left alone; 1 of") for remark in table.remarks)


@pytest.mark.parametrize(
    ("latitude", "longitude"), [("-73.52", "42.51"), ("42.51", "73.52"), ("-42.51", "-73.52")]
)
def test_a_place_turned_round_is_refused(latitude: str, longitude: str) -> None:
    odd = PLAIN | {
        "number": "A-9",
        "site": "odd",
        "address": "",
        "latitude": latitude,
        "longitude": longitude,
    }
    table = a_table(*many(3, odd))
    assert named(table) == {(5, "latitude")}
    assert "42.51, -73.52 would lie among the others" in table.problems[0].allowed


def test_a_place_far_from_the_others_is_told_of_and_taken() -> None:
    table = a_table(
        *many(
            3, PLAIN | {"site": "odd", "number": "", "address": "", "latitude": "51.5", "longitude": "-0.1"}
        )
    )
    assert named(table) == set()
    assert any("line 5 lies 5" in remark for remark in table.remarks)


@pytest.mark.parametrize(
    "place", [("", ""), ("n/a", "?"), ("0", "0"), ("0,000", "0.0"), ("42.51", ""), ("42.51", "0")]
)
def test_half_a_place_and_zero_are_no_place(place: tuple[str, str]) -> None:
    row = PLAIN | {"latitude": place[0], "longitude": place[1]}
    table = a_table(row)
    assert [(one.line, one.number) for one in table.placeless] == [(2, "A-1")]
    assert text_of(a_table(row, known={"number a-1 at 1 elm street": ("42.5", "-73.5")}), "latitude") == [
        "42.5"
    ]
    listed = {"address 1 elm street": ("42.6", "-73.5"), "number b": ("1", "1")}
    table = a_table(row, positions=listed)
    assert text_of(table, "latitude") == ["42.6"]
    assert any("no row waits for: number b" in remark for remark in table.remarks)


def test_a_site_may_have_lawns_that_agree_on_it() -> None:
    table = a_table(PLAIN | {"lawn": "front", "gate": "1"}, PLAIN | {"lawn": "back", "gate": ""})
    assert (named(table), len(table.work)) == (set(), 2)
    table = a_table(PLAIN | {"lawn": "front", "gate": "1"}, PLAIN | {"lawn": "back", "gate": "2"})
    assert named(table) == {(2, "gate"), (3, "gate")}
    table = a_table(PLAIN | {"lawn": "front"}, PLAIN | {"lawn": "back", "latitude": "42.6"})
    assert named(table) == {(2, "latitude"), (3, "latitude")}


def test_of_rows_that_differ_about_a_lawn_neither_is_taken() -> None:
    other = PLAIN | {"number": "A-2", "site": "Garden 2", "address": "2 Elm Street"}
    table = a_table(PLAIN, PLAIN | {"height_mm": "90"}, PLAIN, other)
    assert named(table) == {(2, "lawn"), (3, "lawn")}
    assert list(table.work) == [5]
    assert "line 4: the same row as line 2 again, left out" in table.remarks


def test_an_organisations_own_facts_are_not_taken_from_a_column_of_clients() -> None:
    why = {
        one.theirs: (one.ours, one.why) for one in propose(["Email", "Phone", "Units"], fixed=FIXED).columns
    }
    assert why == {"Email": (None, Why.FIXED), "Phone": (None, Why.CLIENTS), "Units": ("units", Why.NAME)}
    own = {one.theirs: one.ours for one in propose(["Keeper", "Email", "Phone"]).columns}
    assert own == {"Keeper": "keeper", "Email": "email", "Phone": "phone"}
    said = propose(["Phone"], said={"Phone": "phone"}, fixed=FIXED)
    assert said.theirs == {"phone": "Phone"}
    with pytest.raises(InputError, match="email is told for every row and said to be a column"):
        propose(["Email"], said={"Email": "email"}, fixed=FIXED)
    with pytest.raises(InputError, match="two columns are said to be gate"):
        propose(["a", "b"], said={"a": "gate", "b": "gate"})


def test_a_mapping_kept_is_the_same_again_and_says_what_is_lost() -> None:
    header = ["Lat", "Latitude", "Gate", "X", "Code"]
    said = {"Lat": "latitude", "Gate": "", "X": "crew"}
    first = propose(header, said=said, fixed=FIXED, decimals=Decimals.COMMA, dates=DayOrder.DMY)
    again = propose(header, saved=first.plain())
    assert again.plain() == first.plain()
    assert again.theirs == first.theirs == {"latitude": "Lat", "crew": "X", "gate": "Code"}
    assert (again.lost, propose(["Lat", "Gate"], saved=first.plain()).lost) == ((), ("X", "Code"))
    assert "crew" in propose([*header, "Crew"], saved=first.plain()).theirs, "what is confirmed stays"
    assert propose(["Site"], fixed=FIXED).lacking == ["grass", "height_mm or height_in"]
