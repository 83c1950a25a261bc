"""Workbooks read as a stream: numbers as they are kept, formulas by the value they show, oddities named."""

import zlib
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from datetime import date, datetime, time, timedelta
from itertools import repeat
from pathlib import Path
from re import IGNORECASE, fullmatch, search
from typing import Any
from warnings import filterwarnings
from zipfile import BadZipFile, ZipFile, ZipInfo

from mowalert.errors import InputError
from mowalert.office.cells import Doubt, Measure, RawRow, tidied, too_long
from mowalert.office.survey import MergedCells, Survey, survey
from mowalert.service.reading.sheet import Figure

LARGEST_UNPACKED = 200 * 1024 * 1024
LARGEST_PART = {"xl/sharedStrings.xml": 64 * 1024 * 1024, "xl/styles.xml": 8 * 1024 * 1024}
"""Parts that are held whole while the rest is read."""
MOST_PARTS = 2_000
SHOWS_ANOTHER_TIME = r"\b(?:TODAY|NOW|RAND|RANDBETWEEN|OFFSET|INDIRECT)\s*\("
"""What makes a formula's value another one when the file is opened again."""
UNREADABLE = (
    KeyError, ValueError, TypeError, AttributeError, IndexError, ArithmeticError, BadZipFile, zlib.error,
    OSError, EOFError, RuntimeError, SyntaxError,
)  # fmt: skip
"""What broken files raise: XML that is none a SyntaxError, a locked part a RuntimeError."""


class Page:
    """One page of a workbook, with what a first look said of it; its rows can be read once."""

    def __init__(self, path: Path, name: str | None) -> None:
        self._path = path
        surveys = _surveyed(path)
        with ExitStack() as until_read, _named_errors(path):
            self._book = until_read.enter_context(_opened(path, values=False))
            self.name, self.found, others = _chosen(path, self._book, surveys, name)
            self._until_read = until_read.pop_all()
        self.remarks = [f"read the sheet {self.name!r}", *_remarks(self.found, others)]

    def rows(self) -> Iterator[RawRow]:
        """Read its rows, one at a time."""
        measure, merged, width = Measure(), MergedCells(self.found.merged), self.found.width
        with self._until_read, _named_errors(self._path):
            for line, (cells, values) in enumerate(self._lines(), 1):
                if cells:
                    measure.add(line, min(len(cells), width))
                yield _row(line, cells[:width], values, merged.of_row(line, width))

    def _lines(self) -> Iterator[tuple[Any, Any]]:
        """Rows as they are kept, and beside them what their formulas show."""
        kept = _lines(self._book[self.name])
        if not self.found.formulas:
            yield from zip(kept, repeat(()), strict=False)
            return
        with _opened(self._path, values=True) as shown:
            yield from zip(kept, _lines(shown[self.name]), strict=True)


@contextmanager
def _opened(path: Path, *, values: bool) -> Iterator[Any]:
    try:
        from openpyxl import load_workbook
    except ImportError as error:
        raise InputError("workbooks need the extra `crews`: bash deploy/bootstrap.sh crews") from error
    # What it does not understand of a workbook's looks is no matter of ours.
    filterwarnings("ignore", category=UserWarning, module="openpyxl")
    # A file's name says nothing: it is opened here, since the library goes by the name.
    with path.open("rb") as file, closing(load_workbook(file, read_only=True, data_only=values)) as book:
        yield book


@contextmanager
def _named_errors(path: Path) -> Iterator[None]:
    """Nothing that is wrong with a file brings anything down."""
    try:
        yield
    except UNREADABLE as error:
        raise InputError(f"{path}: cannot be read as a workbook ({type(error).__name__})") from error


def _surveyed(path: Path) -> dict[str, Survey]:
    """A first look at every page, by its part: opening the workbook already reads pages to their end."""
    with _named_errors(path), ZipFile(path) as packed:
        parts = packed.infolist()
        _check_parts(path, parts)
        pages = [part.filename for part in parts if fullmatch(r".*worksheets/[^/]+\.xml", part.filename)]
        return {name: _survey(packed, name) for name in pages}


def _survey(packed: ZipFile, name: str) -> Survey:
    with packed.open(name) as source:
        try:
            return survey(source)
        except InputError as error:
            raise InputError(f"{name}: {error}") from error


def _check_parts(path: Path, parts: Sequence[ZipInfo]) -> None:
    """A workbook is a zip file: what it would unpack to is looked at before it is unpacked."""
    sizes = {part.filename: part.file_size for part in parts}
    large = [name for name, most in LARGEST_PART.items() if sizes.get(name, 0) > most]
    if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > LARGEST_UNPACKED or large:
        raise InputError(f"{path}: unpacks to more than is read; keep the table alone in it, or split it")
    if "xl/workbook.xml" not in sizes:
        raise InputError(f"{path}: is no workbook")


def _chosen(
    path: Path, book: Any, surveys: dict[str, Survey], name: str | None
) -> tuple[str, Survey, list[str]]:
    """The page named, or else the first with anything on it, seen before hidden ones."""
    titles = [page.title for page in book.worksheets]
    if name is not None and name not in titles:
        raise InputError(f"{path}: has no sheet {name!r}; it has {', '.join(titles)}")
    found = {}
    for page in sorted(book.worksheets, key=lambda one: one.sheet_state != "visible"):
        # The library names a page's part nowhere else.
        looked = surveys.get(page._worksheet_path.lstrip("/"))
        if looked is None:
            raise InputError(f"{path}: keeps the sheet {page.title!r} where no spreadsheet does")
        if looked.filled_rows and name in (None, page.title):
            found[page.title] = looked
    if not found:
        raise InputError(f"{path}: the workbook is empty")
    first = next(iter(found))
    return first, found[first], [title for title in found if title != first]


def _remarks(found: Survey, others: list[str]) -> list[str]:
    told = [f"left alone: the sheets {', '.join(others)}"] if others else []
    if found.hidden_rows:
        told.append(f"{found.hidden_rows} hidden rows were read like the others")
    if found.hidden_columns:
        told.append("hidden columns were read like the others")
    return told


def _lines(page: Any) -> Iterator[Any]:
    page.reset_dimensions()  # what a file says of its own size may be wrong, and would cut it off
    return iter(page.iter_rows())


def _row(line: int, cells: Any, values: Any, merged: dict[int, str]) -> RawRow:
    texts, doubts = [], {}
    for place, cell in enumerate(cells):
        text: str | Doubt
        if place in merged:
            text = Doubt("", f"a cell of its own; it is merged into {merged[place]}")
        else:
            text = _text_of(cell, values[place] if place < len(values) else None)
        if isinstance(text, Doubt):
            doubts[place] = text
        texts.append("" if isinstance(text, Doubt) else text)
    beyond = {place: f"a cell of its own; it is merged into {corner}" for place, corner in merged.items()}
    doubts |= {place: Doubt("", why) for place, why in beyond.items() if place >= len(texts)}
    return RawRow(line, texts, doubts)


def _text_of(cell: Any, shown: Any) -> str | Doubt:
    if cell.value is None:
        return ""
    if cell.data_type == "f":
        formula = str(getattr(cell.value, "text", cell.value))
        found = formula[:60]
        if shown is None or shown.value is None:
            return Doubt(found, "a value; the file does not keep what this formula shows")
        if search(SHOWS_ANOTHER_TIME, formula, IGNORECASE):
            return Doubt(
                f"{found} showing {shown.value}"[:60], "a value; this formula shows another each time"
            )
        cell = shown
    if cell.data_type == "e":
        return Doubt(str(cell.value), "a value, and no error")
    text = _text(cell.value, cell.number_format)
    return too_long(text) or text


def _text(value: object, shown_as: str | None) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return Figure(_figures(value, shown_as or ""))
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(" ", "minutes")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, time):
        return f"{value:%H:%M}"
    if isinstance(value, timedelta):
        minutes = round(value.total_seconds() / 60)
        return f"{minutes // 60}:{minutes % 60:02d}"
    return tidied(str(value))


def _figures(value: float, shown_as: str) -> str:
    """Every digit of a number, as many zeros before it as the sheet shows, and no power of ten."""
    if isinstance(value, float) and not (value.is_integer() and abs(value) < 1e15):
        return repr(value)
    whole = str(int(value))
    return whole.zfill(len(shown_as)) if fullmatch("0{2,}", shown_as) else whole
