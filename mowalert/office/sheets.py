"""Reading spreadsheets as they come out of an office: what cannot be trusted is named, not filled in."""

import csv
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any
from zipfile import BadZipFile, ZipFile

from mowalert.errors import InputError
from mowalert.service.lawn_rows import Problem
from mowalert.service.sheet import Sheet, SheetRow

LARGEST_FILE = 100 * 1024 * 1024
LARGEST_UNPACKED = 200 * 1024 * 1024
MOST_PARTS = 2_000
MOST_ROWS, MOST_COLUMNS, LONGEST_CELL = 200_000, 200, 2_000
HEADER_WITHIN = 20
"""Rows in which the header is looked for: titles and blank rows may stand above it."""
FEWEST_NAMES = 3
OLD_WORKBOOK, PDF = b"\xd0\xcf\x11\xe0", b"%PDF"
Cells = list[str]


def read_sheet(path: Path, *, name: str | None = None) -> Sheet:
    """Read a CSV file or a workbook.

    Parameters
    ----------
    path : Path
        The file.
    name : str | None
        Which sheet of a workbook; its first one with anything in it if not given.

    Returns
    -------
    Sheet
        Cells as text. Formulas, errors and cells merged with others are problems.

    Raises
    ------
    InputError
        If the file is none of these, too large, or has no header.
    """
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputError(f"{path}: is larger than {LARGEST_FILE // 1024**2} MB")
        content = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}") from error
    if content[:4] == OLD_WORKBOOK:
        raise InputError(f"{path}: an old or a locked workbook; save it as plain .xlsx, or as CSV")
    if content[:4] == PDF:
        raise InputError(f"{path}: a PDF is no table; ask for the spreadsheet")
    if content[:2] == b"PK":
        return _workbook(path, content, name)
    return _tabled(_csv_rows(path, content), (), (f"read as comma-separated values: {path.name}",))


def _csv_rows(path: Path, content: bytes) -> Iterator[tuple[int, Cells]]:
    text = _decoded(path, content)
    first = next((line for line in text.splitlines() if line.strip()), "")
    mark = max(",;\t", key=first.count)
    try:
        reader = csv.reader(StringIO(text), delimiter=mark, strict=True)
        for cells in reader:
            yield reader.line_num, [_bounded(cell, reader.line_num) for cell in cells]
    except csv.Error as error:
        raise InputError(f"{path}: is no table: {error}") from error


def _decoded(path: Path, content: bytes) -> str:
    if b"\0" in content[:1000] and content[:2] not in (b"\xff\xfe", b"\xfe\xff"):
        raise InputError(f"{path}: is no text and no workbook")
    for encoding in ("utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise InputError(f"{path}: cannot be read as text")


def _bounded(text: str, line: int) -> str:
    if len(text) > LONGEST_CELL:
        raise InputError(f"line {line}: a cell of more than {LONGEST_CELL} letters")
    return " ".join(text.split())


def _workbook(path: Path, content: bytes, name: str | None) -> Sheet:
    _check_parts(path, content)
    try:
        from openpyxl import load_workbook
        from openpyxl.utils.exceptions import InvalidFileException
    except ImportError as error:
        raise InputError("workbooks need the extra `crews`: bash deploy/bootstrap.sh crews") from error
    try:
        told = load_workbook(BytesIO(content), data_only=False)
        shown = load_workbook(BytesIO(content), data_only=True)
    except (InvalidFileException, KeyError, ValueError, TypeError, BadZipFile, OSError, SyntaxError) as error:
        raise InputError(f"{path}: cannot be read as a workbook ({type(error).__name__})") from error
    page = _page(path, told, name)
    problems: list[Problem] = []
    remarks = [f"read the sheet {page.title!r}"]
    others = [one.title for one in told.worksheets if one.title != page.title and one.max_row > 1]
    if others:
        remarks.append(f"left alone: the sheets {', '.join(others)}")
    if hidden := [row for row, one in page.row_dimensions.items() if one.hidden]:
        remarks.append(f"{len(hidden)} hidden rows were read like the others")
    if page.max_row > MOST_ROWS or page.max_column > MOST_COLUMNS:
        raise InputError(f"{path}: more than {MOST_ROWS} rows or {MOST_COLUMNS} columns")
    merged = _merged(page)
    rows = list(_page_rows(page, shown[page.title], merged, problems))
    return _tabled(iter(rows), problems, remarks)


def _check_parts(path: Path, content: bytes) -> None:
    """A workbook is a zip file: what it would unpack to is looked at before it is unpacked."""
    try:
        parts = ZipFile(BytesIO(content)).infolist()
    except BadZipFile as error:
        raise InputError(f"{path}: cannot be read as a workbook") from error
    if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > LARGEST_UNPACKED:
        raise InputError(f"{path}: unpacks to more than is read")
    if not any(part.filename == "xl/workbook.xml" for part in parts):
        raise InputError(f"{path}: is no workbook")


def _page(path: Path, book: Any, name: str | None) -> Any:
    titles = [page.title for page in book.worksheets]
    if name is not None:
        if name not in titles:
            raise InputError(f"{path}: has no sheet {name!r}; it has {', '.join(titles)}")
        return book[name]
    filled = [page for page in book.worksheets if page.max_row > 1 or page.max_column > 1]
    if not filled:
        raise InputError(f"{path}: the workbook is empty")
    return filled[0]


def _merged(page: Any) -> dict[tuple[int, int], str]:
    """Cells that are merged into another, and which."""
    inside = {}
    for area in page.merged_cells.ranges:
        for row, column in area.cells:
            if (row, column) != (area.min_row, area.min_col):
                inside[row, column] = area.start_cell.coordinate
    return inside


def _page_rows(
    page: Any, shown: Any, merged: dict[tuple[int, int], str], problems: list[Problem]
) -> Iterator[tuple[int, Cells]]:
    from openpyxl.utils import get_column_letter

    for number, row in enumerate(page.iter_rows(), 1):
        cells = []
        for place, cell in enumerate(row, 1):
            column = get_column_letter(place)
            if (number, place) in merged:
                where = merged[number, place]
                problems.append(Problem(number, column, "", f"a cell of its own; it is merged into {where}"))
                cells.append("")
            elif cell.data_type == "f":
                cached = shown.cell(number, place).value
                found = f"{cell.value} showing {cached}" if cached is not None else str(cell.value)
                problems.append(Problem(number, column, found[:60], "a value; a formula is not trusted"))
                cells.append("")
            elif cell.data_type == "e":
                problems.append(Problem(number, column, str(cell.value), "a value, and no error"))
                cells.append("")
            else:
                cells.append(_bounded(_text(cell.value), number))
        yield number, cells


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(" ", "minutes")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value)


def _tabled(rows: Iterable[tuple[int, Cells]], problems: Sequence[Problem], remarks: Sequence[str]) -> Sheet:
    """Find the header and put each row under it."""
    numbered = [(line, cells) for line, cells in rows if any(cells)]
    if len(numbered) > MOST_ROWS:
        raise InputError(f"the table has more than {MOST_ROWS} rows")
    at = _header_at(numbered)
    line, header = numbered[at]
    remarks = [*remarks, *([f"the header is in line {line}; what stands above is left alone"] if at else [])]
    twice = [name for name, count in Counter(name for name in header if name).items() if count > 1]
    if twice:
        raise InputError(f"the header names {', '.join(twice)} more than once")
    found = []
    wrong = [problem for problem in problems if problem.line > line]
    for number, cells in numbered[at + 1 :]:
        if len(cells) > len(header) and any(cells[len(header) :]):
            wrong.append(Problem(number, "row", f"{len(cells)} cells", f"{len(header)}, as in the header"))
            continue
        named = dict(zip(header, cells, strict=False))
        found.append(SheetRow(number, {name: text for name, text in named.items() if name}))
    return Sheet(tuple(name for name in header if name), tuple(found), tuple(wrong), tuple(remarks))


def _header_at(rows: Sequence[tuple[int, Cells]]) -> int:
    """The first row near the top with several different names in it, and no numbers."""
    for at, (_, cells) in enumerate(rows[:HEADER_WITHIN]):
        names = {cell.casefold() for cell in cells if cell and not cell.replace(".", "").isdecimal()}
        if len(names) >= FEWEST_NAMES and len(names) == len([cell for cell in cells if cell]):
            return at
    raise InputError("no header was found: a row of at least three different column names")
