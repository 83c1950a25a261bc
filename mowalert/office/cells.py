"""Rows of cells as a file has them, before anybody knows which of them is the header."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from mowalert.errors import InputError

MOST_ROWS, MOST_COLUMNS, MOST_CELLS, LONGEST_CELL = 200_000, 200, 3_000_000, 2_000


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a cell cannot be trusted: what was found in it, and what is allowed."""

    found: str
    allowed: str


@dataclass(frozen=True, slots=True)
class RawRow:
    """One row: its line, its cells in order, and those of them that cannot be trusted, by place from 0."""

    line: int
    cells: list[str]
    doubts: Mapping[int, Doubt] = field(default_factory=dict)


class Measure:
    """Counts what is read, and refuses more than can be looked at."""

    def __init__(self) -> None:
        self.rows = self.cells = 0

    def add(self, line: int, columns: int) -> None:
        """Count one row; InputError if it is too wide, or one too many."""
        self.rows, self.cells = self.rows + 1, self.cells + columns
        if columns > MOST_COLUMNS:
            raise InputError(f"line {line} has {columns} columns; at most {MOST_COLUMNS} are read")
        if self.rows > MOST_ROWS:
            raise InputError(f"the table has more than {MOST_ROWS} rows; delete the empty ones, or split it")
        if self.cells > MOST_CELLS:
            raise InputError(f"the table has more than {MOST_CELLS} cells; split it")


def tidied(text: str) -> str:
    """Return a text with single spaces; the same object where nothing changes."""
    plain = " ".join(text.split())
    return text if plain == text else plain


def too_long(text: str) -> Doubt | None:
    """Return the doubt about a text that is longer than any cell of ours."""
    if len(text) <= LONGEST_CELL:
        return None
    return Doubt(f"{text[:40]} … ({len(text)} letters)", f"at most {LONGEST_CELL} letters")
