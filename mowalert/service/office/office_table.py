"""An office's sheet turned into our table: every conversion is told, what has no position is listed."""

import csv
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from io import StringIO

from mowalert.service.office.completion import Placeless, Positions, keys, known_keys
from mowalert.service.office.mapping import ColumnMapping
from mowalert.service.office.office_doubles import Told, refuse_doubles
from mowalert.service.office.office_places import check_places
from mowalert.service.office.office_rows import FIGURES, Conversion, OfficeRow, WorkRow
from mowalert.service.reading.lawn_rows import COLUMNS, Problem
from mowalert.service.reading.sheet import Sheet, SheetRow
from mowalert.service.reading.written import Habits, decimal_marks

UNKNOWN = ("", "n/a", "na", "none", "unknown", "?", "-", "tbd")


@dataclass(slots=True)
class OfficeTable:
    """Our table of an office's sheet: its text, with each row on its own line, and what was found.

    ``names`` are the sites, numbers and addresses that a line of the text names, ``kept_out`` those of
    the lines that are not in it.
    """

    text: str = ""
    work: dict[int, WorkRow] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    placeless: list[Placeless] = field(default_factory=list)
    conversions: list[Conversion] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    names: dict[int, set[str]] = field(default_factory=dict)
    kept_out: set[str] = field(default_factory=set)


def office_table(
    sheet: Sheet,
    mapping: ColumnMapping,
    positions: Positions | None = None,
    known: Positions | None = None,
) -> OfficeTable:
    """Turn a sheet into our table.

    Parameters
    ----------
    sheet : Sheet
        The office's.
    mapping : ColumnMapping
        Whose column is which.
    positions : Positions | None
        Latitude and longitude from a completed list.
    known : Positions | None
        Those of sites that are known already.

    Returns
    -------
    OfficeTable
        Good rows as text of our columns, on the lines they have in the sheet; everything else is named.
    """
    made = OfficeTable(remarks=list(sheet.remarks))
    if mapping.lost:
        made.remarks.append(f"columns confirmed before that this sheet lacks: {', '.join(mapping.lost)}")
    bad = _bad_cells(sheet, mapping, made)
    habits = Habits(mapping.decimals, mapping.dates, _marks(sheet, mapping))
    places = _Places(positions or {}, known or {})
    told: dict[int, Told] = {}
    for row in sheet.rows:
        cells = _ours(row, mapping)
        if row.line in bad:
            made.kept_out |= _names(cells)
        elif not places.found(cells):
            made.placeless.append(Placeless(row.line, cells.get("number", ""), cells.get("address", "")))
            made.kept_out |= _names(cells)
        else:
            read = OfficeRow(row.line, cells, habits)
            told[row.line] = Told(cells, read.read())
            made.problems += read.problems
            made.conversions += read.conversions
    made.remarks += places.remarks()
    made.remarks += check_places(told, made.problems)
    made.remarks += refuse_doubles(told, made.problems)
    _sort_out(told, made)
    return made


def _bad_cells(sheet: Sheet, mapping: ColumnMapping, made: OfficeTable) -> set[int]:
    """Lines with a cell that is needed and cannot be trusted; one that nobody needs is only counted."""
    ours = {one.theirs: one.ours for one in mapping.columns if one.ours is not None} | {"row": "row"}
    told, unused = set[tuple[int, str]](), Counter[str]()
    for problem in sheet.problems:
        if problem.column not in ours:
            unused[problem.column] += 1
        elif (problem.line, problem.allowed) not in told:
            told.add((problem.line, problem.allowed))
            column = ours[problem.column]
            made.problems.append(Problem(problem.line, column, problem.found, problem.allowed))
    made.remarks += [
        f"{name}: left alone; {count} of its cells cannot be read" for name, count in unused.items()
    ]
    return {line for line, _ in told}


def _marks(sheet: Sheet, mapping: ColumnMapping) -> frozenset[str]:
    names = [mapping.theirs[ours] for ours in (*FIGURES, "latitude", "longitude") if ours in mapping.theirs]
    return decimal_marks(row.cells[name] for row in sheet.rows for name in names if name in row.cells)


def _ours(row: SheetRow, mapping: ColumnMapping) -> dict[str, str]:
    cells = {ours: text for ours, theirs in mapping.theirs.items() if (text := row.cells.get(theirs, ""))}
    return {**mapping.fixed, **cells}


def _names(cells: Mapping[str, str]) -> set[str]:
    return {cells[name].casefold() for name in ("site", "number", "address") if cells.get(name)}


class _Places:
    """Fills positions in from a completed list, and from what is known."""

    def __init__(self, listed: Positions, known: Positions) -> None:
        self._listed, self._known = listed, known
        self._used, self._from_known = set[str](), 0

    def found(self, cells: dict[str, str]) -> bool:
        """Whether a row has a position, or can be given one; half a position is none, and nor is 0."""
        if all(_is_told(cells.get(name, "")) for name in ("latitude", "longitude")):
            return True
        names = cells.get("number", ""), cells.get("address", "")
        listed = next((key for key in keys(*names) if key in self._listed), None)
        known = next((key for key in known_keys(*names) if key in self._known), None)
        if listed is not None:
            self._used.add(listed)
            cells["latitude"], cells["longitude"] = self._listed[listed]
        elif known is not None:
            self._from_known += 1
            cells["latitude"], cells["longitude"] = self._known[known]
        return listed is not None or known is not None

    def remarks(self) -> list[str]:
        """Say what of the list was needed by no row, and how many positions were known."""
        told = []
        if self._from_known:
            told.append(f"{self._from_known} rows without a position lie where their site is known to be")
        unused = [key for key in self._listed if key.startswith("number ") and key not in self._used]
        if unused:
            told.append(f"the list of positions tells of places no row waits for: {', '.join(unused)}")
        return told


def _is_told(text: str) -> bool:
    if text.casefold() in UNKNOWN:
        return False
    try:
        return float(text.replace(",", ".")) != 0.0
    except ValueError:
        return True


def _sort_out(told: Mapping[int, Told], made: OfficeTable) -> None:
    """Put the good rows into the table's text and the others' names among those kept out."""
    made.problems.sort(key=lambda problem: problem.line)
    bad = {problem.line for problem in made.problems}
    made.kept_out |= {name for line in bad if line in told for name in told[line].names}
    made.work = {line: row.work for line, row in told.items() if line not in bad}
    made.names = {line: told[line].names for line in made.work}
    made.text = _as_text({line: told[line].cells for line in made.work})


def _as_text(rows: Mapping[int, Mapping[str, str]]) -> str:
    """Our table as text in which each row stands on its own line of the sheet."""
    names = [name for name in COLUMNS if any(name in cells for cells in rows.values())]
    out = StringIO()
    table = csv.writer(out, lineterminator="\n")
    last = max(rows, default=1)
    head = min(rows, default=2) - 1
    for line in range(1, last + 1):
        if line == head:
            table.writerow(names)
        elif line in rows:
            table.writerow([rows[line].get(name, "") for name in names])
        else:
            out.write("\n")
    return out.getvalue()
