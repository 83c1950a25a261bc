"""A sheet as an office keeps it: cells as text under the office's own column names."""

from collections.abc import Mapping
from dataclasses import dataclass

from mowalert.service.lawn_rows import Problem

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""With these a spreadsheet takes a text for a formula."""


def no_formula(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula: one that looks like it gets an apostrophe."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row: its line as the office sees it, and its cells by the office's column names."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet's header and rows; cells that cannot be trusted are problems and not among the cells."""

    header: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    problems: tuple[Problem, ...] = ()
    remarks: tuple[str, ...] = ()
