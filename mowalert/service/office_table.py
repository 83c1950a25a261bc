"""An office's sheet turned into our table: every conversion is told, what has no position is listed."""

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from io import StringIO
from re import fullmatch, sub

from mowalert.errors import InputError
from mowalert.service.day_hours import minute_of
from mowalert.service.lawn_rows import COLUMNS, Problem
from mowalert.service.mapping import ACRES, WORK_COLUMNS, ColumnMapping
from mowalert.service.sheet import Sheet, SheetRow, no_formula

ACRE_M2 = 4046.8564224
INCHES_BELOW = 8.0
"""A bare number this small under a height in mm is refused: it looks like inches."""
UNKNOWN = ("", "n/a", "na", "none", "unknown", "?", "-", "0", "0.0")
WITH_UNIT = r'([0-9]+(?:[.,][0-9]+)?)\s*(mm|millimet(?:er|re)s?|cm|in|inch|inches|"|″)'
TO_MM = {"mm": 1.0, "mi": 1.0, "cm": 10.0, "in": 25.4, '"': 25.4, "″": 25.4}
HEIGHTS = ("height_mm", "height_in", "last_height_mm", "last_height_in")
YES, NO = ("yes", "y", "true", "si", "sí", "1"), ("no", "n", "false", "0")
LONGEST_TEXT = 200


@dataclass(frozen=True, slots=True)
class WorkRow:
    """What an office knows of the work at one lawn. Minutes at the lawn, hours from midnight."""

    line: int
    number: str = ""
    client: str = ""
    access: str = ""
    gate: str = ""
    dog: str = ""
    district: str = ""
    minutes: float | None = None
    crew: str = ""
    visit_from_min: int | None = None
    visit_to_min: int | None = None


@dataclass(frozen=True, slots=True)
class Placeless:
    """A row without a position: it is listed for completion and never guessed."""

    line: int
    number: str
    address: str


@dataclass(slots=True)
class OfficeTable:
    """Our table of an office's sheet: its text, with each row on its own line, and what was found."""

    text: str = ""
    work: dict[int, WorkRow] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    placeless: list[Placeless] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def office_table(
    sheet: Sheet, mapping: ColumnMapping, positions: Mapping[str, tuple[str, str]] | None = None
) -> OfficeTable:
    """Turn a sheet into our table.

    Parameters
    ----------
    sheet : Sheet
        The office's.
    mapping : ColumnMapping
        Whose column is which.
    positions : Mapping[str, tuple[str, str]] | None
        Latitude and longitude by office number or address, from a completed list.

    Returns
    -------
    OfficeTable
        Good rows as text of our columns, on the lines they have in the sheet; everything else is named.
    """
    made = OfficeTable(problems=list(sheet.problems), remarks=list(sheet.remarks))
    bad = {problem.line for problem in sheet.problems}
    kept: dict[int, dict[str, str]] = {}
    for row in sheet.rows:
        if row.line in bad:
            continue
        cells = _ours(row, mapping)
        found = _Row(row.line, cells, positions or {}, made)
        if found.good:
            kept[row.line] = cells
            made.work[row.line] = found.work
    _refuse_doubles(kept, made)
    made.text = _as_text({line: cells for line, cells in kept.items() if line in made.work})
    made.problems.sort(key=lambda problem: problem.line)
    return made


def _ours(row: SheetRow, mapping: ColumnMapping) -> dict[str, str]:
    cells = {one.ours: row.cells.get(one.theirs, "") for one in mapping.columns if one.ours is not None}
    return {**{ours: text for ours, text in mapping.fixed.items() if not cells.get(ours)}, **_filled(cells)}


def _filled(cells: Mapping[str, str]) -> dict[str, str]:
    return {ours: text for ours, text in cells.items() if text}


class _Row:
    """One row while its cells are brought into our form; the cells are changed in place, and told of."""

    def __init__(
        self, line: int, cells: dict[str, str], positions: Mapping[str, tuple[str, str]], made: OfficeTable
    ) -> None:
        self.line, self.cells, self.made = line, cells, made
        self.before = len(made.problems)
        self.placed = self._place(positions)
        for name in HEIGHTS:
            self._height(name)
        self._acres()
        self._watering()
        self._date()
        self.work = self._work()

    @property
    def good(self) -> bool:
        return self.placed and len(self.made.problems) == self.before

    def _wrong(self, column: str, allowed: str) -> None:
        self.made.problems.append(Problem(self.line, column, self.cells.get(column, "")[:60], allowed))

    def _changed(self, what: str) -> None:
        self.made.remarks.append(f"line {self.line}: {what}")

    def _place(self, positions: Mapping[str, tuple[str, str]]) -> bool:
        told = [self.cells.get(name, "").casefold() for name in ("latitude", "longitude")]
        if all(text not in UNKNOWN for text in told):
            return True
        number, address = self.cells.get("number", ""), self.cells.get("address", "")
        known = positions.get(number) or positions.get(address)
        if known is None:
            self.made.placeless.append(Placeless(self.line, number, address))
            return False
        self.cells["latitude"], self.cells["longitude"] = known
        return True

    def _height(self, name: str) -> None:
        text = self.cells.get(name, "")
        if not text:
            return
        base, unit = name[:-3], name[-2:]
        if found := fullmatch(WITH_UNIT, text.casefold().strip()):
            mm = (
                float(found[1].replace(",", ".")) * TO_MM[found[2][:2] if found[2][:2] in TO_MM else found[2]]
            )
            del self.cells[name]
            self.cells[f"{base}_mm"] = f"{mm:.10g}"
            if f"{mm:g} mm" != text:
                self._changed(f"{text} in column {name} is read as {mm:g} mm")
        elif unit == "mm" and _number(text) is not None and (_number(text) or 0) < INCHES_BELOW:
            inches = f"{text} looks like inches: write {text} in, or map the column to {base}_in"
            self._wrong(name, f"a height in mm; {inches}")

    def _acres(self) -> None:
        text = self.cells.pop(ACRES, "")
        if not text:
            return
        acres = _number(text)
        if acres is None or not 0 < acres < 1000:
            self.made.problems.append(Problem(self.line, ACRES, text[:60], "acres, such as 0.25"))
            return
        self.cells["area_m2"] = f"{acres * ACRE_M2:.1f}"
        self._changed(f"{text} acres are read as {acres * ACRE_M2:.0f} m²")

    def _watering(self) -> None:
        text = self.cells.get("watering", "").casefold()
        if text in YES or text in NO:
            self.cells["watering"] = "regular" if text in YES else "none"
            self._changed(f"{text} in column watering is read as {self.cells['watering']}")

    def _date(self) -> None:
        """A date as text is taken only in the order that cannot be misread."""
        text = self.cells.get("last_mown_on", "")
        if text and not fullmatch(r"\d{4}-\d{2}-\d{2}", text):
            self._wrong("last_mown_on", "a date such as 2026-05-09; 03/04/2026 is two days")

    def _work(self) -> WorkRow:
        told = {name: self.cells.pop(name, "") for name in WORK_COLUMNS}
        for name, text in told.items():
            if len(text) > LONGEST_TEXT or not text.isprintable():
                self.made.problems.append(
                    Problem(self.line, name, text[:60], f"plain text of at most {LONGEST_TEXT} letters")
                )
        first, last = self._minute("visit_from", told), self._minute("visit_to", told)
        if first is not None and last is not None and first >= last:
            self.made.problems.append(
                Problem(self.line, "visit_to", told["visit_to"], f"a time after {told['visit_from']}")
            )
        return WorkRow(
            self.line,
            told["number"],
            told["client"],
            told["access"],
            told["gate"],
            told["dog"],
            told["district"],
            self._minutes(told["minutes"]),
            told["crew"],
            first,
            last,
        )

    def _minute(self, name: str, told: Mapping[str, str]) -> int | None:
        if not told[name]:
            return None
        try:
            return minute_of(told[name])
        except InputError:
            self.made.problems.append(Problem(self.line, name, told[name][:60], "a time such as 8:30"))
            return None

    def _minutes(self, text: str) -> float | None:
        minutes = _number(text) if text else None
        if text and (minutes is None or not 1 <= minutes <= 600):
            self.made.problems.append(Problem(self.line, "minutes", text[:60], "minutes from 1 to 600"))
            return None
        return minutes


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _refuse_doubles(kept: Mapping[int, Mapping[str, str]], made: OfficeTable) -> None:
    """Of rows that are one property the same row again is left out; two that differ are both refused."""
    numbers = {line: work.number.casefold() for line, work in made.work.items()}
    _refuse_alike("number", numbers, kept, made)
    _refuse_alike("address", {line: _place_key(kept[line]) for line in made.work}, kept, made)


def _refuse_alike(
    column: str, keys: Mapping[int, str], kept: Mapping[int, Mapping[str, str]], made: OfficeTable
) -> None:
    first: dict[str, int] = {}
    for line, key in sorted(keys.items()):
        other = first.setdefault(key, line) if key else line
        if other == line:
            continue
        if kept[other] == kept[line] and _bare(made.work.get(other)) == _bare(made.work.get(line)):
            made.remarks.append(f"line {line}: the same row as line {other} again, left out")
            made.work.pop(line, None)
            continue
        for wrong, twin in ((other, line), (line, other)):
            allowed = f"one row a property; line {twin} is it too"
            made.problems.append(Problem(wrong, column, key.split("|")[0][:60], allowed))
    for line in {problem.line for problem in made.problems}:
        made.work.pop(line, None)


def _place_key(cells: Mapping[str, str]) -> str:
    """An address and a lawn's name in plain words, so that 12 Elm St. and 12 elm street are one."""
    words = sub(r"[^a-z0-9 ]+", " ", cells.get("address", "").casefold()).split()
    short = {"street": "st", "avenue": "ave", "road": "rd", "lane": "ln", "drive": "dr", "court": "ct"}
    address = " ".join(short.get(word, word) for word in words)
    names = "|".join(cells.get(name, "").casefold() for name in ("site", "lawn"))
    return f"{address}|{names}" if address else ""


def _bare(row: WorkRow | None) -> tuple[object, ...]:
    return tuple(getattr(row, name, None) for name in WorkRow.__dataclass_fields__ if name != "line")


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


def completion_table(rows: Sequence[Placeless]) -> str:
    """Return a list to fill in: what has no position, with room for one."""
    out = StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(("number", "address", "latitude", "longitude"))
    table.writerows((no_formula(row.number), no_formula(row.address), "", "") for row in rows)
    return out.getvalue()


def read_positions(text: str) -> dict[str, tuple[str, str]]:
    """Read a completed list: latitude and longitude by number, and by address."""
    rows = list(csv.DictReader(StringIO(text)))
    if not rows or not {"latitude", "longitude"} <= set(rows[0]):
        raise InputError("the list of positions needs the columns number, address, latitude, longitude")
    found = {}
    for row in rows:
        place = ((row["latitude"] or "").strip(), (row["longitude"] or "").strip())
        for key in ((row.get("number") or "").strip(), (row.get("address") or "").strip()):
            if key and all(place):
                found[key.removeprefix("'")] = place
    return found
