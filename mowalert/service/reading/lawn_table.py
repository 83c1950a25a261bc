"""A table of lawns as a spreadsheet writes it, read into rows; every problem is kept with its line."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from mowalert.domain.grasses import Turf
from mowalert.domain.guides import Guide
from mowalert.errors import InputError
from mowalert.service.reading.lawn_rows import COLUMNS, LawnRow, Problem, missing_columns, read_row
from mowalert.service.reading.tables import rows_of

SAME_PLACE_DEG = 1e-6
KEEPER_COLUMNS = ("phone", "time_zone", "units", "silence")
"""What a keeper has once, however many lawns."""


@dataclass(slots=True)
class ImportReport:
    """How a table went: rows by outcome, every problem, and columns nobody asked for.

    ``consent`` says on whose statement new keepers are written to.
    """

    added: int = 0
    changed: int = 0
    unchanged: int = 0
    refused_rows: int = 0
    problems: list[Problem] = field(default_factory=list)
    extra_columns: list[str] = field(default_factory=list)
    stored: bool = True
    consent: str = ""


def read_table(
    text: str, turf: Turf, *, now: datetime, guides: Mapping[str, Guide] | None = None
) -> tuple[list[LawnRow], ImportReport]:
    """Read a table's text: the good rows, and a report of the others.

    Parameters
    ----------
    text : str
        Values with a header, separated by commas, semicolons or tabs; a byte-order mark is harmless.
    turf : Turf
        Grasses and soils.
    now : datetime
        The moment, for dates of last cuts.
    guides : Mapping[str, Guide] | None
        Region guides by id.

    Returns
    -------
    tuple[list[LawnRow], ImportReport]
        Rows in order of the file, and what was wrong.

    Raises
    ------
    InputError
        If the header lacks a needed column or the text is no table.
    """
    lines = rows_of(text)
    _, header = next(lines, (0, []))
    names = _column_names(header)
    report = ImportReport(extra_columns=[name for name in names if name and name not in COLUMNS])
    known = guides or {}
    rows = [
        row
        for line, cells in lines
        if (row := _row(names, cells, line, turf, known, now, report)) is not None
    ]
    good = _without_twins(_agreed_sites(_agreed_keepers(rows, report), report), report)
    report.problems.sort(key=lambda problem: problem.line)
    report.refused_rows = len({problem.line for problem in report.problems})
    return good, report


def keeper_key(row: LawnRow) -> str:
    """Return what makes a keeper the same in two tables: kind, name and first address."""
    return f"{row.kind}|{row.keeper.casefold()}|{row.email or row.phone}"


def site_key(row: LawnRow) -> str:
    """Return what makes a site of one keeper the same in two tables: its name."""
    return row.site.casefold()


def _column_names(header: Sequence[str]) -> list[str]:
    if not header:
        raise InputError("the table is empty; its first line must name the columns")
    names = [cell.strip().casefold() for cell in header]
    if missing := missing_columns(names):
        raise InputError(f"the table lacks {_columns(missing)}; its columns are {', '.join(names)}")
    twice = sorted({name for name in names if name in COLUMNS and names.count(name) > 1})
    if twice:
        raise InputError(f"the table has {_columns(twice)} twice")
    return names


def _columns(names: Sequence[str]) -> str:
    return f"the column{'s' if len(names) > 1 else ''} {', '.join(names)}"


def _row(
    names: Sequence[str],
    cells: Sequence[str],
    line: int,
    turf: Turf,
    guides: Mapping[str, Guide],
    now: datetime,
    report: ImportReport,
) -> LawnRow | None:
    if len(cells) != len(names):
        found = f"{len(cells)} cells"
        report.problems.append(Problem(line, "row", found, f"{len(names)} cells, as in the header"))
        return None
    told = dict(zip(names, cells, strict=True))
    row = read_row(told, line=line, turf=turf, guides=guides, now=now)
    if isinstance(row, LawnRow):
        return row
    report.problems += row
    return None


def _agreed_keepers(rows: Sequence[LawnRow], report: ImportReport) -> list[LawnRow]:
    """Give all rows of a keeper the same facts; a row that says something else than an earlier is refused."""
    names: dict[str, str] = {}
    rows = [replace(row, keeper=names.setdefault(keeper_key(row), row.keeper)) for row in rows]
    for column in KEEPER_COLUMNS:
        rows = _agreed(rows, column, keeper_key, "keeper", report)
    return rows


def _agreed_sites(rows: Sequence[LawnRow], report: ImportReport) -> list[LawnRow]:
    """Give all lawns of a site the same address; one that lies elsewhere is refused."""

    def place(row: LawnRow) -> str:
        return f"{keeper_key(row)}|{site_key(row)}"

    first: dict[str, LawnRow] = {}
    together = []
    for row in _agreed(rows, "address", place, "site", report):
        other = first.setdefault(place(row), row)
        if _apart(row, other):
            allowed = (
                f"line {other.line} has {other.site!r} at {other.latitude_deg:g}, {other.longitude_deg:g}; "
                "give each site its own name in column site"
            )
            found = f"{row.latitude_deg:g}, {row.longitude_deg:g}"
            report.problems.append(Problem(row.line, "latitude", found, allowed))
        else:
            together.append(replace(row, site=other.site))
    return together


def _agreed(
    rows: Sequence[LawnRow],
    column: str,
    key: Callable[[LawnRow], str],
    what: str,
    report: ImportReport,
) -> list[LawnRow]:
    first: dict[str, LawnRow] = {}
    for row in rows:
        known = first.setdefault(key(row), row)
        if column in row.said and column not in known.said:
            first[key(row)] = row
    agreed = []
    for row in rows:
        told, found = getattr(first[key(row)], column), getattr(row, column)
        if column in row.said and found != told:
            allowed = f"line {first[key(row)].line} says {told} for the same {what}"
            report.problems.append(Problem(row.line, column, str(found), allowed))
        else:
            agreed.append(replace(row, **{column: told}))
    return agreed


def _apart(one: LawnRow, other: LawnRow) -> bool:
    north, east = one.latitude_deg - other.latitude_deg, one.longitude_deg - other.longitude_deg
    return max(abs(north), abs(east)) > SAME_PLACE_DEG


def _without_twins(rows: Sequence[LawnRow], report: ImportReport) -> list[LawnRow]:
    """Take a lawn told twice in the same words once, and not at all where its rows differ."""
    told: dict[tuple[str, str, str], list[LawnRow]] = {}
    for row in rows:
        told.setdefault((keeper_key(row), site_key(row), row.lawn.casefold()), []).append(row)
    good = []
    for first, *others in told.values():
        alike = all(replace(other, line=first.line) == first for other in others)
        good += [first] if alike else []
        for row in others if alike else [first, *others]:
            line = first.line if row is not first else others[0].line
            allowed = f"line {line} is the same lawn; give each its own name in column lawn"
            report.problems.append(Problem(row.line, "lawn", row.lawn, allowed))
    return good
