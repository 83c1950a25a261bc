"""Reading spreadsheets as they come out of an office: what cannot be trusted is named, not filled in."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, islice
from pathlib import Path
from re import fullmatch

from mowalert.errors import InputError
from mowalert.office.cells import RawRow
from mowalert.office.survey import column_letters
from mowalert.office.text_tables import text_rows
from mowalert.office.workbooks import Page
from mowalert.service.reading.lawn_rows import Problem
from mowalert.service.reading.sheet import Figure, Sheet, SheetRow

LARGEST_FILE = 100 * 1024 * 1024
HEADER_WITHIN = 20
"""Rows in which the header is looked for: titles and blank rows may stand above it."""
FEWEST_NAMES = 3
OLD_WORKBOOK, PDF = b"\xd0\xcf\x11\xe0", b"%PDF"
NO_NAME = r"[\d\s.,:/+()°%$€#-]*"
"""What is made of figures and marks alone names no column."""


def read_sheet(path: Path, *, name: str | None = None, header_line: int | None = None) -> Sheet:
    """Read a CSV file or a workbook.

    Parameters
    ----------
    path : Path
        The file.
    name : str | None
        Which sheet of a workbook; its first one with anything in it if not given.
    header_line : int | None
        The line of the column names; the likeliest of the first rows if not given.

    Returns
    -------
    Sheet
        Cells as text. Errors, formulas without a value and cells merged with others are problems.

    Raises
    ------
    InputError
        If the file is none of these, too large, or has no header.
    """
    start = _start(path)
    if start[:4] == OLD_WORKBOOK:
        raise InputError(f"{path}: an old or a locked workbook; save it as plain .xlsx, or as CSV")
    if start[:4] == PDF:
        raise InputError(f"{path}: a PDF is no table; ask for the spreadsheet")
    if start[:2] == b"PK":
        page = Page(path, name)
        return _tabled(page.rows(), page.remarks, header_line, width=page.found.width)
    how, rows = text_rows(path)
    return _tabled(rows, [how], header_line)


def _start(path: Path) -> bytes:
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputError(f"{path}: is larger than {LARGEST_FILE // 1024**2} MB")
        with path.open("rb") as file:
            return file.read(4)
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}") from error


def _tabled(
    rows: Iterable[RawRow], remarks: Sequence[str], header_line: int | None, *, width: int = 0
) -> Sheet:
    """Find the header and put each row under it; cells beyond a ``width`` that is known do not occur."""
    filled = (row for row in rows if any(row.cells))
    top = list(islice(filled, HEADER_WITHIN if header_line is None else header_line))
    at = _header_at(top, header_line)
    header = _named(top[at], width)
    told = [*remarks, *_about(top[at], at)]
    found, problems, used = list[SheetRow](), list[Problem](), set[int]()
    for row in chain(top[at + 1 :], filled):
        if any(row.cells[len(header) :]):
            allowed = f"{len(header)}, as in the header"
            problems.append(Problem(row.line, "row", f"{len(row.cells)} cells", allowed))
            continue
        used.update(place for place, text in enumerate(row.cells) if text)
        named = dict(zip(header, row.cells, strict=False))
        found.append(SheetRow(row.line, {name: text for name, text in named.items() if text}))
        problems += [
            Problem(row.line, header[place], doubt.found, doubt.allowed)
            for place, doubt in sorted(row.doubts.items())
            if place < len(header)
        ]
    nameless = [place for place, text in enumerate(_padded(top[at].cells, width)) if not text]
    if kept := [header[place] for place in nameless if place in used]:
        told.append(f"without a name in the header, but filled: {', '.join(kept)}")
    names = [name for place, name in enumerate(header) if place not in nameless or place in used]
    return Sheet(tuple(names), tuple(found), tuple(problems), tuple(told))


def _padded(cells: Sequence[str], width: int) -> list[str]:
    return [*cells, *[""] * (width - len(cells))]


def _named(row: RawRow, width: int) -> list[str]:
    """Names of all columns: one without, or with another's, gets its letters, so that it can be spoken of."""
    cells = _padded(row.cells, width)
    counts = Counter(cells)
    return [
        text if text and counts[text] == 1 else f"{text or ''} (column {column_letters(place)})".strip()
        for place, text in enumerate(cells, 1)
    ]


def _about(row: RawRow, at: int) -> Iterator[str]:
    if at:
        yield f"the header is in line {row.line}; what stands above is left alone"
    for name, count in Counter(text for text in row.cells if text).items():
        if count > 1:
            yield f"the header names {name} {count} times: none is taken for the other; say which with --map"
    for place, doubt in row.doubts.items():
        yield f"the header's cell {column_letters(place + 1)}{row.line}: {doubt.allowed}"


def _header_at(rows: Sequence[RawRow], line: int | None) -> int:
    """The fullest row near the top with several different names in it, and nothing but names."""
    if line is not None:
        found = [at for at, row in enumerate(rows) if row.line == line]
        if not found:
            raise InputError(f"line {line} holds no column names: it is empty, or none of the table's")
        return found[0]
    fullness = [_names_in(row.cells) for row in rows]
    if not any(fullness):
        raise InputError("no header was found: a row of at least three different column names")
    return fullness.index(max(fullness))


def _names_in(cells: Sequence[str]) -> int:
    """How many names a row has; none if it is no header."""
    texts = [cell for cell in cells if cell]
    if len({text.casefold() for text in texts}) < FEWEST_NAMES:
        return 0
    if any(isinstance(text, Figure) or fullmatch(NO_NAME, text) for text in texts):
        return 0
    return len(texts)
