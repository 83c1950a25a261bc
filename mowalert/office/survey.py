"""A first look at a page of a workbook: how much it holds and what is odd about it, read bit by bit.

The library that reads the cells as a stream says nothing of merged cells and hidden rows.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from re import fullmatch
from typing import IO
from xml.parsers.expat import ExpatError, ParserCreate

from mowalert.errors import InputError
from mowalert.office.cells import MOST_CELLS, MOST_COLUMNS, MOST_ROWS

MOST_MERGED = 20_000
CHUNK = 1 << 18
_AREA = r"\$?([A-Z]{1,3})\$?([0-9]{1,7})"


@dataclass(frozen=True, slots=True)
class Area:
    """Cells merged into their first one. Rows and columns count from 1."""

    first_row: int
    last_row: int
    first_column: int
    last_column: int
    corner: str


@dataclass(slots=True)
class Survey:
    """What a page of a workbook holds. ``width`` is its last column with a cell that is filled."""

    filled_rows: int = 0
    width: int = 0
    formulas: int = 0
    hidden_rows: int = 0
    hidden_columns: int = 0
    merged: list[Area] = field(default_factory=list)


def survey(source: IO[bytes]) -> Survey:
    """Look through a page's XML.

    Parameters
    ----------
    source : IO[bytes]
        The part of the workbook.

    Returns
    -------
    Survey
        What it holds.

    Raises
    ------
    InputError
        As soon as there is more of it than is read, or if it is no page.
    """
    looking = _Looking()
    try:
        while chunk := source.read(CHUNK):
            looking.parser.Parse(chunk, False)
        looking.parser.Parse(b"", True)
    except ExpatError as error:
        raise InputError(f"a page of the workbook cannot be read: {error}") from error
    return looking.found


class _Looking:
    def __init__(self) -> None:
        self.found = Survey()
        self.rows = self.cells = self.place = self.last_filled = 0
        self.parser = ParserCreate(namespace_separator=" ")
        self.parser.StartElementHandler = self._starts
        self.parser.StartDoctypeDeclHandler = self._declares

    def _declares(self, *_: object) -> None:
        raise InputError("the workbook declares entities of its own, as no spreadsheet does; it is not read")

    def _starts(self, name: str, told: dict[str, str]) -> None:
        kind = name.rpartition(" ")[2]
        if kind == "c":
            self._cell(told)
        elif kind in ("v", "is", "f"):
            self._filled(kind)
        elif kind == "row":
            self._row(told)
        elif kind == "mergeCell":
            self._merged(told.get("ref", ""))
        elif kind == "col" and told.get("hidden") in ("1", "true"):
            self.found.hidden_columns += 1

    def _row(self, told: dict[str, str]) -> None:
        self.rows, self.place = self.rows + 1, 0
        line = told.get("r", "")
        if self.rows > MOST_ROWS or (line.isdecimal() and int(line) > 5 * MOST_ROWS):
            raise InputError(
                f"the page has more than {MOST_ROWS} rows; delete the empty ones below the table, or split it"
            )
        self.found.hidden_rows += told.get("hidden") in ("1", "true")

    def _cell(self, told: dict[str, str]) -> None:
        self.cells += 1
        if self.cells > MOST_CELLS:
            raise InputError(f"the page has more than {MOST_CELLS} cells; delete the empty ones, or split it")
        at = fullmatch(_AREA, told.get("r", ""))
        self.place = column_number(at[1]) if at else self.place + 1

    def _filled(self, kind: str) -> None:
        self.found.formulas += kind == "f"
        if self.place > MOST_COLUMNS:
            raise InputError(f"row {self.rows} of the page has more than {MOST_COLUMNS} columns")
        self.found.width = max(self.found.width, self.place)
        if self.last_filled != self.rows:
            self.last_filled = self.rows
            self.found.filled_rows += 1

    def _merged(self, ref: str) -> None:
        if len(self.found.merged) >= MOST_MERGED:
            raise InputError(f"the page has more than {MOST_MERGED} merged areas")
        if found := fullmatch(f"{_AREA}:{_AREA}", ref):
            first, last = column_number(found[1]), column_number(found[3])
            area = Area(int(found[2]), int(found[4]), first, last, f"{found[1]}{found[2]}")
            self.found.merged.append(area)


def column_number(letters: str) -> int:
    """Return a column's number: A is 1, AA is 27."""
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number


def column_letters(number: int) -> str:
    """Return a column's letters: 1 is A, 27 is AA."""
    letters = ""
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


class MergedCells:
    """Which cells of a row, asked for from the top down, are merged into another, and into which."""

    def __init__(self, areas: Sequence[Area]) -> None:
        self._waiting = sorted(areas, key=lambda area: area.first_row, reverse=True)
        self._open: list[Area] = []

    def of_row(self, row: int, width: int) -> dict[int, str]:
        """Return places from 0, each with the cell it is merged into."""
        while self._waiting and self._waiting[-1].first_row <= row:
            self._open.append(self._waiting.pop())
        if not self._open:
            return {}
        self._open = [area for area in self._open if area.last_row >= row]
        return {
            column - 1: area.corner
            for area in self._open
            for column in range(area.first_column, min(area.last_column, width) + 1)
            if (row, column) != (area.first_row, area.first_column)
        }
