"""A spreadsheet as it comes out of an office: every bad row named, good ones kept on confirmation."""

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

import pytest
from builders import TURF
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook
from stores import contents, new_store

from mowalert.domain.crews import Position
from mowalert.errors import InputError
from mowalert.office import workbooks
from mowalert.office.sheets import read_sheet
from mowalert.service.crews.crew_setup import keep_crew
from mowalert.service.office.completion import completion_table, known_positions, read_positions
from mowalert.service.office.mapping import Why, propose
from mowalert.service.office.move_in import MoveIn, move_in
from mowalert.service.office.office_table import OfficeTable, office_table
from mowalert.service.reading.lawn_rows import Problem
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.reading.sheet import Sheet, SheetRow
from mowalert.store.engine import SqlStore

NOW = datetime(2026, 5, 7, 12, 0, tzinfo=UTC)
HEADER = (
    "Account", "Customer", "Property", "Street Address", "Lat", "Lon", "Grass Type", "Cut height mm", "Acres",
    "Gate code", "Est. minutes", "Last mowed", "Irrigated", "Internal remark",
)  # fmt: skip
FIXED = {"keeper": "Green Quarter", "kind": "company", "email": "office@example.org"}


def a_row(number: int, **changed: object) -> list[object]:
    row = dict(
        zip(
            HEADER,
            (
                f"A-{number}", f"Client {number}", f"Garden {number}", f"{number} Elm Street",
                42.5 + number / 1e4, -73.5, "tall fescue", 85, 0.25, "4711", 30, "2026-05-01", "yes",
                "call first",
            ),
            strict=True,
        )
    )  # fmt: skip
    return list((row | changed).values())


def a_book(path: Path, rows: Sequence[Sequence[object]], *, above: Sequence[Sequence[object]] = ()) -> Path:
    book = Workbook()
    page = book.active
    assert page is not None
    page.title = "Route sheet"
    for row in (*above, HEADER, *rows):
        page.append(list(row))
    book.save(path)
    return path


def table_of(sheet: Sheet, **how: object) -> OfficeTable:
    return office_table(sheet, propose(sheet.header, fixed=FIXED), **how)  # type: ignore[arg-type]


def brought(store: SqlStore, table: OfficeTable, confirm: str | None = None) -> MoveIn:
    return move_in(store, TURF, table, source="office.xlsx", cell_degrees=0.1, now=NOW, confirm=confirm)


def named(problems: Sequence[Problem]) -> set[tuple[int, str]]:
    return {(problem.line, problem.column) for problem in problems}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqlStore]:
    made = new_store(tmp_path / "firm.db")
    yield made
    made.close()


def test_a_sheet_is_shown_first_and_kept_when_confirmed(store: SqlStore, tmp_path: Path) -> None:
    path = a_book(
        tmp_path / "office.xlsx", [a_row(number) for number in range(1, 6)], above=[["Spring routes"], []]
    )
    before = contents(store.url)
    shown = brought(store, table_of(read_sheet(path)))
    assert (shown.added, shown.kept) == (5, False)
    assert contents(store.url) == before, "a dry run keeps nothing"
    done = brought(store, table_of(read_sheet(path)), shown.fingerprint)
    assert done.kept
    with store.begin() as work:
        keeper = work.keepers.all()[0]
        sites = work.crews.sites(keeper.keeper_id)
        lawns = work.lawns.of_keepers([keeper.keeper_id])
        minutes = work.crews.lawns([lawn.lawn_id for lawn in lawns])
    assert {site.number for site in sites.values()} == {f"A-{number}" for number in range(1, 6)}
    assert {site.gate for site in sites.values()} == {"4711"}
    assert {one.minutes for one in minutes.values()} == {30.0}
    assert {round(lawn.area_m2 or 0) for lawn in lawns} == {1012}
    again = brought(store, table_of(read_sheet(path)))
    assert (again.added, again.changed, again.unchanged, again.changes) == (0, 0, 5, ())


def test_what_would_change_is_said_field_by_field(store: SqlStore, tmp_path: Path) -> None:
    first = table_of(read_sheet(a_book(tmp_path / "one.xlsx", [a_row(1), a_row(2)])))
    brought(store, first, brought(store, first).fingerprint)
    second = table_of(
        read_sheet(a_book(tmp_path / "two.xlsx", [a_row(1, **{"Cut height mm": 90, "Gate code": "9"})]))
    )
    shown = brought(store, second)
    assert {(one.lawn, one.column, one.after) for one in shown.changes} >= {
        ("Garden 1", "height_mm", "90"),
        ("Garden 1", "gate", "9"),
    }
    assert shown.missing == ("Garden 2",)


def test_what_was_not_shown_is_not_kept(store: SqlStore, tmp_path: Path) -> None:
    shown = brought(store, table_of(read_sheet(a_book(tmp_path / "one.xlsx", [a_row(1)]))))
    other = table_of(read_sheet(a_book(tmp_path / "two.xlsx", [a_row(1), a_row(2)])))
    with pytest.raises(InputError, match="look again"):
        brought(store, other, shown.fingerprint)
    with store.begin() as work:
        assert work.lawns.all_ids() == []


def test_the_oddities_of_offices_are_named_and_not_mended(tmp_path: Path) -> None:
    book = Workbook()
    page = book.active
    assert page is not None
    for row in (HEADER, *(a_row(number) for number in range(1, 9))):
        page.append(row)
    page["H2"] = "=80+5"
    page.merge_cells("B3:B4")
    page["L5"] = "03/04/2026"
    page["H6"] = 3
    page["H7"] = '3.5"'
    page["L8"] = date(2026, 5, 2)
    page["E9"], page["F9"] = 0, 0
    page.row_dimensions[8].hidden = True
    book.create_sheet("Old").append(["a", "b"])
    book["Old"].append(["c", "d"])
    path = tmp_path / "odd.xlsx"
    book.save(path)
    table = table_of(read_sheet(path))
    assert named(table.problems) == {
        (2, "height_mm"),
        (4, "client"),
        (5, "last_mown_on"),
        (6, "height_mm"),
    }
    assert [one.line for one in table.placeless] == [9]
    assert sorted(table.work) == [3, 7, 8]
    said = "\n".join(table.remarks)
    assert (7, '3.5"', "88.9 mm") in {(one.line, one.written, one.read_as) for one in table.conversions}
    assert "hidden rows" in said
    assert "left alone: the sheets Old" in said
    assert any("formula" in str(problem) and "=80+5" in str(problem) for problem in table.problems)


def test_of_two_thousand_rows_every_bad_one_is_named(tmp_path: Path) -> None:
    spoilt = (
        {"Cut height mm": 4000}, {"Grass Type": "plastic"}, {"Lat": "north"}, {"Est. minutes": -3},
        {"Last mowed": "yesterday"}, {"Acres": "big"}, {"Irrigated": "perhaps"}, {"Lat": 99.0},
        {"Cut height mm": ""},
    )  # fmt: skip
    bad = {number for number in range(1, 2001) if number % 10 in (2, 5, 9)}
    rows = [
        a_row(number, **(spoilt[number % len(spoilt)] if number in bad else {})) for number in range(1, 2001)
    ]
    table = table_of(read_sheet(a_book(tmp_path / "large.xlsx", rows)))
    good, report = read_table(table.text, TURF, now=NOW)
    assert {problem.line - 1 for problem in (*table.problems, *report.problems)} == bad
    assert len(good) == 1400


def test_places_that_are_not_known_are_listed_and_come_back_completed(
    store: SqlStore, tmp_path: Path
) -> None:
    rows = [a_row(1), a_row(2, Lat="", Lon=""), a_row(3, Lat="n/a", Lon="?")]
    sheet = read_sheet(a_book(tmp_path / "one.xlsx", rows))
    table = table_of(sheet)
    assert [one.number for one in table.placeless] == ["A-2", "A-3"]
    listed = tmp_path / "list.csv"
    text = completion_table(table.placeless).replace("A-2,2 Elm Street,,", "A-2,2 Elm Street,42.5,-73.5")
    listed.write_text(text, encoding="utf-8")
    whole = table_of(sheet, positions=read_positions(read_sheet(listed)))
    assert [one.number for one in whole.placeless] == ["A-3"]
    assert brought(store, whole).added == 2


def test_a_property_twice_is_refused_unless_it_is_the_same_row(tmp_path: Path) -> None:
    rows = [
        a_row(1),
        a_row(1),
        a_row(2),
        a_row(3, Account="A-2"),
        a_row(4, **{"Street Address": "5 Elm St."}),
        a_row(5),
    ]
    rows[4][2], rows[5][2] = "", ""
    table = table_of(read_sheet(a_book(tmp_path / "twice.xlsx", rows)))
    assert named(table.problems) == {(4, "number"), (5, "number"), (6, "address"), (7, "address")}
    assert sorted(table.work) == [2]
    assert any("the same row as line 2 again" in remark for remark in table.remarks)


def test_a_crew_that_is_not_known_keeps_its_row_out(store: SqlStore) -> None:
    cells = dict(zip(HEADER, map(str, a_row(1)), strict=True)) | {"Crew": "North"}
    sheet = Sheet((*HEADER, "Crew"), (SheetRow(2, cells),))
    shown = brought(store, table_of(sheet))
    assert named(shown.problems) == {(2, "crew")}
    plain = table_of(Sheet(HEADER, (SheetRow(3, {**cells, "Account": "B"}),)))
    brought(store, plain, brought(store, plain).fingerprint)
    keep_crew(
        store, "Green Quarter", "North", depot=Position(42.5, -73.5), weekdays=31, from_min=400, to_min=900
    )
    assert brought(store, table_of(sheet)).problems == ()


def test_what_fails_in_the_middle_leaves_everything_as_it_was(
    store: SqlStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = table_of(read_sheet(a_book(tmp_path / "one.xlsx", [a_row(1), a_row(2)])))
    shown = brought(store, table)
    before = contents(store.url)

    def broken(*_: object) -> None:
        raise OSError("the disk is full")

    with monkeypatch.context() as during, store.begin() as work:
        during.setattr(type(work.crews), "keep_lawns", broken)
        with pytest.raises(OSError, match="disk"):
            brought(store, table, shown.fingerprint)
    assert contents(store.url) == before
    assert brought(store, table, shown.fingerprint).kept


def test_rows_are_counted_as_what_becomes_of_them(store: SqlStore, tmp_path: Path) -> None:
    first = table_of(read_sheet(a_book(tmp_path / "one.xlsx", [a_row(number) for number in range(1, 6)])))
    brought(store, first, brought(store, first).fingerprint)
    rows = [
        a_row(1),
        a_row(2, **{"Gate code": "9"}),
        a_row(3, **{"Cut height mm": 4000}),
        a_row(6),
        a_row(7, Lat=None),
    ]
    shown = brought(store, table_of(read_sheet(a_book(tmp_path / "two.xlsx", rows))))
    counts = (shown.added, shown.changed, shown.unchanged, shown.refused, shown.waiting)
    assert counts == (1, 1, 1, 1, 1)
    assert [(one.lawn, one.column, one.before, one.after) for one in shown.changes] == [
        ("Garden 2", "gate", "4711", "9")
    ]
    assert shown.missing == ("Garden 4", "Garden 5"), "a row that stays out is not missing"


def test_what_changes_of_an_organisation_is_told_once(store: SqlStore, tmp_path: Path) -> None:
    sheet = read_sheet(a_book(tmp_path / "one.xlsx", [a_row(1), a_row(2)]))
    first = office_table(sheet, propose(sheet.header, fixed=FIXED))
    brought(store, first, brought(store, first).fingerprint)
    phone = office_table(sheet, propose(sheet.header, fixed=FIXED | {"phone": "+1 555 555 0101"}))
    shown = brought(store, phone)
    assert [(one.lawn, one.column) for one in shown.changes] == [("Green Quarter", "phone")]
    assert (shown.changed, shown.unchanged) == (0, 2)


def test_an_organisation_keeps_its_own_address(store: SqlStore, tmp_path: Path) -> None:
    sheet = read_sheet(a_book(tmp_path / "one.xlsx", [a_row(1)]))
    table = table_of(sheet)
    brought(store, table, brought(store, table).fingerprint)
    other = office_table(sheet, propose(sheet.header, fixed=FIXED | {"email": "client@example.com"}))
    with pytest.raises(InputError, match=r"written to at office@example.org, not at client@example.com"):
        brought(store, other)


def test_a_sheet_without_any_position_is_listed(store: SqlStore, tmp_path: Path) -> None:
    shown = brought(store, table_of(read_sheet(a_book(tmp_path / "one.xlsx", [a_row(1, Lat="", Lon="")]))))
    assert (shown.added, shown.waiting) == (0, 1)


def test_a_site_that_is_known_needs_no_position_again(store: SqlStore, tmp_path: Path) -> None:
    whole = table_of(read_sheet(a_book(tmp_path / "one.xlsx", [a_row(1)])))
    brought(store, whole, brought(store, whole).fingerprint)
    bare = read_sheet(a_book(tmp_path / "two.xlsx", [a_row(1, Lat="", Lon="")]))
    shown = brought(store, table_of(bare, known=known_positions(store, "Green Quarter")))
    assert (shown.unchanged, shown.waiting, shown.changes) == (1, 0, ())
    moved = a_book(tmp_path / "moved.xlsx", [a_row(1, Lat="", Lon="", **{"Street Address": "9 Oak Street"})])
    shown = brought(store, table_of(read_sheet(moved), known=known_positions(store, "Green Quarter")))
    assert shown.waiting == 1, "a number with another address is another place"
    assert known_positions(store, "Somebody else") == {}


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("number,address,place\nA,B,C\n", "needs the columns"),
        ("number,address,latitude,longitude\nA,B,42.5,\n", "line 2 .* half a position"),
        ("number,address,latitude,longitude\nA,,42.5,1\nA,,42.6,1\n", "line 3 .* another of the same place"),
    ],
)
def test_a_list_of_positions_that_is_none_is_refused(tmp_path: Path, text: str, why: str) -> None:
    path = tmp_path / "list.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=why):
        read_positions(read_sheet(path))


def test_columns_are_proposed_with_their_reason() -> None:
    found = {one.theirs: (one.ours, one.why) for one in propose(HEADER).columns}
    assert found["Lat"] == ("latitude", Why.SYNONYM)
    assert found["Cut height mm"] == ("height_mm", Why.SYNONYM)
    assert found["Est. minutes"] == ("minutes", Why.SYNONYM)
    assert found["Internal remark"] == (None, Why.NONE)
    both = {one.theirs: one.ours for one in propose(["Lat", "latitude", "Address"]).columns}
    assert both == {"Lat": None, "latitude": None, "Address": "address"}
    said = {one.theirs: one.ours for one in propose(["Lat", "latitude"], said={"Lat": "latitude"}).columns}
    assert said == {"Lat": "latitude", "latitude": None}
    kept = propose(["X", "Lat"], said={"X": "gate"}).plain()
    again = {one.theirs: (one.ours, one.why) for one in propose(["X", "Lat"], saved=kept).columns}
    assert again["X"] == ("gate", Why.SAVED)
    with pytest.raises(InputError, match="no column of ours"):
        propose(["X"], said={"X": "colour"})
    with pytest.raises(InputError, match="no column 'Y'"):
        propose(["X"], said={"Y": "gate"})


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"%PDF-1.7 ...", "PDF"),
        (b"\xd0\xcf\x11\xe0....", "old or a locked"),
        (b"PK\x03\x04 broken", "workbook"),
        (b"", "no header"),
        (b"a,b\n1,2\n", "no header"),
        (b"\x89PNG\0\0\0\0", "no text"),
        (b"Name,Name,Lat\n1,2,3\n", "no header"),
        (b'a,b,c\n"open,2,3', "no table"),
    ],
)
def test_a_file_that_is_no_sheet_is_said_to_be_none(tmp_path: Path, content: bytes, why: str) -> None:
    path = tmp_path / "file"
    path.write_bytes(content)
    with pytest.raises(InputError, match=why):
        read_sheet(path)


@pytest.mark.parametrize("part", ["xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "xl/styles.xml"])
def test_a_workbook_that_unpacks_to_gigabytes_is_refused_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, part: str
) -> None:
    monkeypatch.setattr(workbooks, "LARGEST_UNPACKED", 2_000_000)
    monkeypatch.setattr(workbooks, "LARGEST_PART", dict.fromkeys(workbooks.LARGEST_PART, 1_000_000))
    path = tmp_path / "bomb.xlsx"
    with ZipFile(path, "w", ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", "<workbook/>")
        packed.writestr(part, b" " * (2_000_001 if "sheet1" in part else 1_000_001))
    assert path.stat().st_size < 10_000
    with pytest.raises(InputError, match="unpacks to more"):
        read_sheet(path)


def test_a_file_beyond_all_measure_is_not_even_read(tmp_path: Path) -> None:
    path = tmp_path / "large.csv"
    with path.open("wb") as file:
        file.truncate(1024**3)
    with pytest.raises(InputError, match="larger than"):
        read_sheet(path)


def test_a_csv_of_another_country_is_read_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "office.csv"
    path.write_bytes("Cliente;Dirección;Latitud;Longitud\nJosé;Calle 1;40,1;-3,7\n".encode("cp1252"))
    sheet = read_sheet(path)
    assert sheet.rows[0].cells == {
        "Cliente": "José",
        "Dirección": "Calle 1",
        "Latitud": "40,1",
        "Longitud": "-3,7",
    }
    assert {one.ours for one in propose(sheet.header).columns} == {
        "client",
        "address",
        "latitude",
        "longitude",
    }


cells = st.text(max_size=12) | st.sampled_from(
    ["=1+1", "0", "n/a", '3"', "75 mm", "12:00", "-1", "1e999", "yes"]
)


@given(st.lists(st.lists(cells, min_size=14, max_size=14), max_size=6))
def test_no_cell_brings_it_down(rows: list[list[str]]) -> None:
    told = tuple(SheetRow(line, dict(zip(HEADER, row, strict=True))) for line, row in enumerate(rows, 2))
    table = table_of(Sheet(HEADER, told))
    lost = {row.line for row in told} - set(table.work) - {problem.line for problem in table.problems}
    lost -= {one.line for one in table.placeless}
    assert all(f"line {line}: the same row" in "\n".join(table.remarks) for line in lost), "no row vanishes"
