"""Files as offices' programs write them: nothing lost, nothing guessed, and no more read than can be."""

from collections.abc import Callable, Sequence
from datetime import date, datetime, time
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

import pytest
from openpyxl import Workbook

from mowalert.errors import InputError
from mowalert.office import cells, survey
from mowalert.office.sheets import read_sheet
from mowalert.service.reading.lawn_rows import Problem
from mowalert.service.reading.sheet import Figure, as_told, no_formula

HEADER = ("Account", "Street Address", "Lat", "Phone")


def a_book(path: Path, *rows: Sequence[object], change: Callable[[Workbook], None] | None = None) -> Path:
    book = Workbook()
    page = book.active
    assert page is not None
    for row in rows:
        page.append(list(row))
    if change:
        change(book)
    book.save(path)
    return path


def a_text(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "office.csv"
    path.write_bytes(text.encode(encoding))
    return path


def with_page(path: Path, of: Path, *replaced: tuple[str, str]) -> Path:
    """A workbook with other text in its page."""
    with ZipFile(of) as old, ZipFile(path, "w", ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                for before, after in replaced:
                    assert before.encode() in content, content
                    content = content.replace(before.encode(), after.encode())
            new.writestr(name, content)
    return path


def told(problems: Sequence[Problem]) -> set[tuple[int, str]]:
    return {(problem.line, problem.column) for problem in problems}


@pytest.mark.parametrize(
    "text",
    [
        "Routes, spring, north side\n\nAccount;Street Address;Lat;Phone\nA-1;1 Elm Street, rear;42,5;555\n",
        "sep=;\nAccount;Street Address;Lat;Phone\nA-1;1 Elm Street, rear;42,5;555\n",
        "Account\tStreet Address\tLat\tPhone\r\nA-1\t1 Elm Street, rear\t42,5\t555\r\n",
        'Account,Street Address,Lat,Phone\rA-1,"1 Elm Street, rear","42,5",555\r',
        "Account|Street Address|Lat|Phone\nA-1|1 Elm Street, rear|42,5|555\n",
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_whatever_separates_the_values_they_are_the_same(tmp_path: Path, text: str, encoding: str) -> None:
    (row,) = read_sheet(a_text(tmp_path, text, encoding)).rows
    assert tuple(row.cells.values()) == ("A-1", "1 Elm Street, rear", "42,5", "555")
    assert tuple(row.cells) == HEADER


def test_a_cell_over_several_lines_keeps_its_row_on_the_line_it_begins(tmp_path: Path) -> None:
    text = 'Account,Street Address,Lat\nA-1,"1 Elm Street\nrear",1\nA-2,2 Elm Street,2\n'
    sheet = read_sheet(a_text(tmp_path, text))
    assert [(row.line, row.cells["Street Address"]) for row in sheet.rows] == [
        (2, "1 Elm Street rear"),
        (4, "2 Elm Street"),
    ]


def test_how_a_text_was_read_is_said_and_a_mixture_is_not_read_at_all(tmp_path: Path) -> None:
    text = "Cliente;Calle;Latitud\nJosé;Calle 1;40,1\n"
    assert "Windows-1252" in read_sheet(a_text(tmp_path, text, "cp1252")).remarks[0]
    mixed = tmp_path / "mixed.csv"
    mixed.write_bytes(text.encode() + "Zoë;Calle 2;40,2\n".encode("cp1252"))
    with pytest.raises(InputError, match="line 2: mixes"):
        read_sheet(mixed)


def test_a_row_with_more_cells_than_names_stays_out(tmp_path: Path) -> None:
    sheet = read_sheet(a_text(tmp_path, "a,b,c\n1,2,3\n1,2,3,4\n1,2,3,\n1\n"))
    assert told(sheet.problems) == {(3, "row")}
    assert [row.line for row in sheet.rows] == [2, 4, 5]


def test_numbers_keep_every_digit(tmp_path: Path) -> None:
    def padded(book: Workbook) -> None:
        book.worksheets[0]["A2"].number_format = "0000"

    numbers = (471, 15555550101.0, 42.1234567890123, 1e-7)
    sheet = read_sheet(a_book(tmp_path / "office.xlsx", HEADER, numbers, change=padded))
    found = tuple(sheet.rows[0].cells.values())
    assert found == ("0471", "15555550101", "42.1234567890123", "1e-07")
    assert all(isinstance(text, Figure) for text in found)


def test_dates_times_and_ticks_are_read_as_such(tmp_path: Path) -> None:
    row = (date(2026, 5, 2), datetime(2026, 5, 2, 10, 30), time(8, 30), True)  # noqa: DTZ001 - a sheet has no zone
    sheet = read_sheet(a_book(tmp_path / "office.xlsx", HEADER, row))
    assert tuple(sheet.rows[0].cells.values()) == ("2026-05-02", "2026-05-02 10:30", "08:30", "yes")


def test_a_day_that_no_calendar_has_is_named(tmp_path: Path) -> None:
    def beyond(book: Workbook) -> None:
        book.worksheets[0]["C2"].number_format = "yyyy-mm-dd"

    sheet = read_sheet(a_book(tmp_path / "office.xlsx", HEADER, ("A-1", "x", 1e10, 2), change=beyond))
    assert told(sheet.problems) == {(2, "Lat")}


@pytest.mark.parametrize("at", [0.3, 0.5, 0.9])
def test_a_workbook_broken_off_or_spoilt_is_said_to_be(tmp_path: Path, at: float) -> None:
    whole = a_book(tmp_path / "office.xlsx", HEADER, ("A-1",)).read_bytes()
    cut = int(len(whole) * at)
    path = tmp_path / "broken.xlsx"
    path.write_bytes(whole[:cut])
    with pytest.raises(InputError, match="cannot be read as a workbook"):
        read_sheet(path)


def test_no_column_is_lost_without_a_word(tmp_path: Path) -> None:
    header = ("Account", "Notes", None, "Lat", "Notes", None)
    sheet = read_sheet(a_book(tmp_path / "office.xlsx", header, ("A-1", "one", "stray", 1, "two"), ("A-2",)))
    assert sheet.header == ("Account", "Notes (column B)", "(column C)", "Lat", "Notes (column E)")
    assert sheet.rows[0].cells["(column C)"] == "stray"
    assert any("(column C)" in remark for remark in sheet.remarks)
    assert any("names Notes 2 times" in remark for remark in sheet.remarks)


def test_a_cell_merged_into_another_has_no_value_of_its_own(tmp_path: Path) -> None:
    def merged(book: Workbook) -> None:
        for area in ("A1:D1", "C2:D2", "B3:B5", "C6:D6"):
            book.worksheets[0].merge_cells(area)

    rows = [
        ("A-1", "1 Elm Street", 1, 2),
        ("A-2", None, 3, 4),
        ("A-3", None, 3, 4),
        ("A-4", "4 Elm Street", 5),
    ]
    sheet = read_sheet(a_book(tmp_path / "office.xlsx", ("Spring",), HEADER, *rows, change=merged))
    assert told(sheet.problems) == {(4, "Street Address"), (5, "Street Address"), (6, "(column D)")}
    assert "it is merged into B3" in sheet.problems[0].allowed
    assert any("cell D2" in remark for remark in sheet.remarks), "the header's too"


def test_a_formula_counts_by_what_it_shows(tmp_path: Path) -> None:
    rows = (HEADER, ("=A9", "=TODAY()-2", "=1/0", "=80+5"))
    path = with_page(
        tmp_path / "shown.xlsx",
        a_book(tmp_path / "office.xlsx", *rows),
        ("<f>80+5</f><v />", "<f>80+5</f><v>85</v>"),
        ("<f>TODAY()-2</f><v />", "<f>TODAY()-2</f><v>46149</v>"),
        ("<f>1/0</f><v />", "<f>1/0</f><v>#DIV/0!</v>"),
        ('<c r="C2"', '<c r="C2" t="e"'),
    )
    sheet = read_sheet(path)
    assert sheet.rows[0].cells == {"Phone": "85"}
    assert told(sheet.problems) == {(2, "Account"), (2, "Street Address"), (2, "Lat")}


def test_the_page_that_is_seen_is_read_before_a_hidden_one(tmp_path: Path) -> None:
    def hidden(book: Workbook) -> None:
        book.create_sheet("Lists", 0).append(["a", "b", "c"])
        book["Lists"].sheet_state = "hidden"

    path = a_book(tmp_path / "office.xlsx", HEADER, ("A-1",), change=hidden)
    assert read_sheet(path).header[0] == "Account"
    assert read_sheet(path, name="Lists").header == ("a", "b", "c")
    with pytest.raises(InputError, match="has no sheet 'Other'"):
        read_sheet(path, name="Other")


def test_what_a_file_says_of_its_own_size_cuts_nothing_off(tmp_path: Path) -> None:
    whole = a_book(tmp_path / "office.xlsx", HEADER, ("A-1", "1 Elm Street", 1, 2), ("A-2",))
    path = with_page(tmp_path / "wrong.xlsx", whole, ('<dimension ref="A1:D3"', '<dimension ref="A1"'))
    assert read_sheet(path) == read_sheet(whole)


def test_the_fullest_row_of_names_is_the_header_unless_another_is_said(tmp_path: Path) -> None:
    text = "Green Quarter,spring,routes,\nAccount,Street,Lat,Phone\nA-1,1 Elm Street,42.5,\nx,y,z,\n"
    path = a_text(tmp_path, text)
    assert read_sheet(path).header == ("Account", "Street", "Lat", "Phone")
    assert read_sheet(path, header_line=1).header[0] == "Green Quarter"
    with pytest.raises(InputError, match="line 9"):
        read_sheet(path, header_line=9)


PAGE = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">{}</worksheet>'
ROWS = "<sheetData>{}</sheetData>"


@pytest.mark.parametrize(
    ("page", "why"),
    [
        (PAGE.format(ROWS.format("<row></row>" * 1001)), "more than 1000 rows; delete the empty ones"),
        (PAGE.format(ROWS.format('<row r="1048576"><c r="A1"><v>1</v></c></row>')), "more than 1000 rows"),
        (PAGE.format(ROWS.format("<row>" + "<c/>" * 9001 + "</row>")), "more than 9000 cells"),
        (PAGE.format(ROWS.format('<row><c r="XFD1"><v>1</v></c></row>')), "more than 200 columns"),
        (PAGE.format(ROWS.format("") + '<mergeCell ref="A1:B1"/>' * 11), "more than 10 merged areas"),
        (f'<!DOCTYPE x [<!ENTITY a "a">]>{PAGE.format("&a;")}', "declares entities"),
        ("<worksheet>", "cannot be read"),
    ],
)
def test_a_page_beyond_measure_is_refused_before_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, page: str, why: str
) -> None:
    monkeypatch.setattr(survey, "MOST_ROWS", 1000)
    monkeypatch.setattr(survey, "MOST_CELLS", 9000)
    monkeypatch.setattr(survey, "MOST_MERGED", 10)
    whole = a_book(tmp_path / "office.xlsx", HEADER)
    with ZipFile(whole) as old, ZipFile(tmp_path / "large.xlsx", "w", ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, page if name == "xl/worksheets/sheet1.xml" else old.read(name))
    with pytest.raises(InputError, match=why):
        read_sheet(tmp_path / "large.xlsx")


def test_an_area_merged_over_a_whole_page_takes_no_time(tmp_path: Path) -> None:
    whole = a_book(tmp_path / "office.xlsx", HEADER, ("A-1", "1 Elm Street", 1, 2))
    area = '</sheetData><mergeCells><mergeCell ref="A2:XFD1048576"/></mergeCells>'
    sheet = read_sheet(with_page(tmp_path / "merged.xlsx", whole, ("</sheetData>", area)))
    assert told(sheet.problems) == {(2, "Street Address"), (2, "Lat"), (2, "Phone")}


def test_a_long_text_table_is_left_off_where_it_gets_too_long(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cells, "MOST_ROWS", 10)
    with pytest.raises(InputError, match="more than 10 rows"):
        read_sheet(a_text(tmp_path, "a,b,c\n" + "1,2,3\n" * 10))
    with pytest.raises(InputError, match="201 columns"):
        read_sheet(a_text(tmp_path, "a,b,c\n1" + "," * 200))


def test_one_long_cell_is_named_and_the_others_are_read(tmp_path: Path) -> None:
    for path in (
        a_text(tmp_path, f"a,b,c\n1,{'x' * 2001},3\n"),
        a_book(tmp_path / "office.xlsx", ("a", "b", "c"), ("1", "x" * 2001, "3")),
    ):
        sheet = read_sheet(path)
        assert told(sheet.problems) == {(2, "b")}
        assert sheet.rows[0].cells == {"a": "1", "c": "3"}


@pytest.mark.parametrize(
    "text", ["=1+1", "-x", "+1 2", "@x", "'=1", "''=1", "\tx", "-73.5", "+15555550101", "'", ""]
)
def test_no_text_is_taken_for_a_formula_and_each_comes_back(text: str) -> None:
    guarded = no_formula(text)
    assert as_told(guarded) == text
    assert guarded[:1] not in ("=", "@", "\t") or guarded == text == ""
