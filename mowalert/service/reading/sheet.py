"""A sheet as an office keeps it: cells as text under the office's own column names."""

from collections.abc import Mapping
from dataclasses import dataclass
from re import compile as pattern

from mowalert.service.reading.lawn_rows import Problem

_RISKY = pattern(r"'*[=+\-@\t\r]")
"""How a text begins that a spreadsheet takes for a formula; apostrophes before it look like ours."""
_NUMBER = pattern(r"[+-]?[0-9]+(?:\.[0-9]+)?")


def no_formula(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula: one that looks like it gets an apostrophe."""
    return f"'{text}" if _RISKY.match(text) and not _NUMBER.fullmatch(text) else text


def as_told(text: str) -> str:
    """Return what a text was before ``no_formula``."""
    return text[1:] if text.startswith("'") and _RISKY.match(text) else text


class Figure(str):
    """The text of a cell that a workbook keeps as a number: its point can only be a decimal point."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row: its line as the office sees it, and its cells by the office's column names."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet's header and rows.

    A cell that cannot be trusted is empty in its row, and a problem under its column's name; a problem
    of column ``row`` keeps the whole row out.
    """

    header: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    problems: tuple[Problem, ...] = ()
    remarks: tuple[str, ...] = ()
