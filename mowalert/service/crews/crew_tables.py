"""Crews and people of an organisation from tables: every bad cell is named, and nobody is doubled."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TypeVar

from mowalert.domain.crew_visits import is_somewhere
from mowalert.domain.crews import Position
from mowalert.errors import InputError
from mowalert.languages import LANGUAGES
from mowalert.service.crew_records import ContactRecord, CrewRecord, Role
from mowalert.service.crews.crew_setup import (
    LONGEST_NAME,
    SAID_BY,
    NewContact,
    check_hours,
    check_name,
    contact_told,
    email_told,
    phone_told,
)
from mowalert.service.known import crew_named, organisation
from mowalert.service.ports import Store, Work
from mowalert.service.reading.day_hours import days_in, hours_in
from mowalert.service.reading.lawn_rows import Problem
from mowalert.service.reading.tables import rows_of
from mowalert.service.records import KeeperRecord

CREW_COLUMNS = ("crew", "latitude", "longitude", "days", "hours")
CONTACT_COLUMNS = ("name", "role", "crew", "email", "phone", "language", "said_by")
NEEDED_CREW_COLUMNS = ("crew", "latitude", "longitude", "hours")
NEEDED_CONTACT_COLUMNS = ("name", "role")
ALLOWED = {
    "crew": f"the name of a crew, plain text of 1 to {LONGEST_NAME} letters",
    "name": f"a name, plain text of 1 to {LONGEST_NAME} letters",
    "latitude": "degrees from -90 to 90",
    "longitude": "degrees from -180 to 180",
    "days": "weekdays such as: mon tue wed thu fri",
    "hours": "hours that begin before they end, such as 7:00-15:30",
    "role": f"one of {', '.join(Role)}",
    "email": "an e-mail address, or a phone number in column phone",
    "phone": "a phone number, best with its country code: +1 555 555 0100",
    "language": f"one of {', '.join(LANGUAGES)}",
    "said_by": f"who says that they agreed, at most {LONGEST_NAME} letters",
}
Value = TypeVar("Value")
Record = TypeVar("Record", CrewRecord, ContactRecord)


@dataclass(frozen=True, slots=True)
class SetUpReport:
    """How a table went: rows by outcome, every bad cell, and whether anything was stored."""

    added: int
    changed: int
    unchanged: int
    refused_rows: int
    problems: tuple[Problem, ...]
    stored: bool


def import_crews(store: Store, keeper: str, text: str, *, confirmed: bool = False) -> SetUpReport:
    """Keep crews from a table; those of a name known already are changed, never doubled.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    text : str
        The table, with the columns of ``CREW_COLUMNS``; days are Monday to Friday where none are told.
    confirmed : bool
        Keep the good rows although others are bad.

    Returns
    -------
    SetUpReport
        Every bad cell is named. Nothing is stored if there is any, unless confirmed.

    Raises
    ------
    InputError
        If there is no such organisation, or the header lacks a column or has one nobody knows.
    """
    with store.begin() as work:
        of = organisation(work, keeper)
        known = {crew.key: replace(crew, crew_id=0) for crew in work.crews.crews(of.keeper_id)}
        rows = [_crew_row(cells, of) for cells in _cells_of(text, CREW_COLUMNS, NEEDED_CREW_COLUMNS)]
        good, report = _sorted_out(rows, known, "crew", confirmed)
        if report.stored:
            for crew in good:
                work.crews.keep_crew(crew)
            work.commit()
    return report


def import_contacts(
    store: Store, keeper: str, text: str, *, now: datetime, confirmed: bool = False
) -> SetUpReport:
    """Keep people who are written to from a table; those of a name known already are changed.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation; its crews must be known.
    text : str
        The table, with the columns of ``CONTACT_COLUMNS``.
    now : datetime
        The moment, aware.
    confirmed : bool
        Keep the good rows although others are bad.

    Returns
    -------
    SetUpReport
        Every bad cell is named. Nothing is stored if there is any, unless confirmed.

    Raises
    ------
    InputError
        If there is no such organisation, or the header lacks a column or has one nobody knows.
    """
    with store.begin() as work:
        of = organisation(work, keeper)
        known = {one.key: replace(one, contact_id=0) for one in work.crews.contacts(of.keeper_id)}
        cells_of = _cells_of(text, CONTACT_COLUMNS, NEEDED_CONTACT_COLUMNS)
        rows = [_contact_row(cells, work, of, known, now) for cells in cells_of]
        good, report = _sorted_out(rows, known, "name", confirmed)
        if report.stored:
            for contact in good:
                work.crews.keep_contact(contact)
            work.commit()
    return report


@dataclass(frozen=True, slots=True)
class _Cells:
    """The cells of one row, and what is wrong with them."""

    line: int
    cells: Mapping[str, str]
    problems: list[Problem] = field(default_factory=list)

    def said(self, column: str) -> str:
        return self.cells.get(column, "").strip()

    def wrong(self, column: str, allowed: str = "") -> None:
        self.problems.append(Problem(self.line, column, self.said(column)[:60], allowed or ALLOWED[column]))

    def read(self, column: str, reader: Callable[[str], Value]) -> Value | None:
        try:
            return reader(self.said(column))
        except (InputError, ValueError):
            self.wrong(column)
            return None


_Row = tuple[_Cells, Record | None]


def _cells_of(text: str, columns: Sequence[str], needed: Sequence[str]) -> list[_Cells]:
    lines = rows_of(text)
    _, header = next(lines, (0, []))
    names = [name.strip().casefold() for name in header]
    for what, found in (
        ("lacks", [name for name in needed if name not in names]),
        ("does not know", [name for name in names if name not in columns]),
        ("has twice", sorted({name for name in names if names.count(name) > 1})),
    ):
        if found:
            raise InputError(f"the table {what}: {', '.join(found)}; its columns are: {', '.join(columns)}")
    return [_row_of(names, line, cells) for line, cells in lines]


def _row_of(names: Sequence[str], line: int, cells: Sequence[str]) -> _Cells:
    row = _Cells(line, dict(zip(names, cells, strict=False)))
    if len(cells) != len(names):
        allowed = f"{len(names)} cells, as in the header"
        row.problems.append(Problem(line, "row", f"{len(cells)} cells", allowed))
    return row


def _crew_row(cells: _Cells, of: KeeperRecord) -> "_Row[CrewRecord]":
    name = cells.read("crew", _name)
    latitude, longitude = cells.read("latitude", float), cells.read("longitude", float)
    weekdays = cells.read("days", _some_days)
    hours = cells.read("hours", _some_hours)
    if latitude is not None and longitude is not None and not is_somewhere(Position(latitude, longitude)):
        cells.wrong("latitude", f"a place; no depot is at {latitude:g}, {longitude:g}")
    if cells.problems or name is None or latitude is None or longitude is None or not weekdays or not hours:
        return cells, None
    return cells, CrewRecord(
        0, of.keeper_id, name.casefold(), name, latitude, longitude, weekdays, hours[0], hours[1]
    )


def _name(text: str) -> str:
    check_name(text)
    return text


def _some_days(text: str) -> int:
    return days_in(text or "mon tue wed thu fri")


def _some_hours(text: str) -> tuple[int, int]:
    from_min, to_min = hours_in(text)
    check_hours(text, from_min, to_min)
    return from_min, to_min


def _contact_row(
    cells: _Cells, work: Work, of: KeeperRecord, known: Mapping[str, ContactRecord], now: datetime
) -> "_Row[ContactRecord]":
    cells.read("name", _name)
    role = cells.read("role", lambda text: Role(text.casefold()))
    language = cells.read("language", _language)
    cells.read("email", email_told)
    cells.read("phone", lambda text: phone_told(text, of.time_zone))
    _check_crew_cell(cells, work, of, role)
    if not cells.said("email") and not cells.said("phone"):
        cells.wrong("email")
    if cells.problems or role is None or language is None:
        return cells, None
    said_by = cells.said("said_by") or SAID_BY
    told = NewContact(
        cells.said("name"),
        role,
        cells.said("crew"),
        cells.said("email"),
        cells.said("phone"),
        language,
        said_by,
    )
    return cells, _with_first_consent(contact_told(work, of, told, now), known)


def _language(text: str) -> str:
    language = text.casefold() or "en"
    if language not in LANGUAGES:
        raise InputError(f"{text!r} is no language known here")
    return language


def _check_crew_cell(cells: _Cells, work: Work, of: KeeperRecord, role: Role | None) -> None:
    if cells.said("crew"):
        try:
            crew_named(work, of, cells.said("crew"))
        except InputError as error:
            cells.wrong("crew", str(error))
    elif role is Role.CREW_LEAD:
        cells.wrong("crew", "the crew that is led")


def _with_first_consent(record: ContactRecord, known: Mapping[str, ContactRecord]) -> ContactRecord:
    """Said again in the same words, an agreement is as old as it was."""
    before = known.get(record.key)
    same = before is not None and replace(record, consent_at=before.consent_at) == before
    return before if before is not None and same else record


def _sorted_out(
    rows: "Sequence[_Row[Record]]", known: Mapping[str, Record], column: str, confirmed: bool
) -> tuple[list[Record], SetUpReport]:
    """Good rows, each name once, and a report of all; of two that differ neither is taken."""
    told: dict[str, list[tuple[_Cells, Record]]] = {}
    for cells, record in rows:
        if record is not None:
            told.setdefault(record.key, []).append((cells, record))
    good: list[Record] = []
    for same in told.values():
        alike = all(record == same[0][1] for _, record in same)
        good += [same[0][1]] if alike else []
        for cells, _ in same[1:] if alike else same if len(same) > 1 else ():
            other = next(one.line for one, _ in same if one.line != cells.line)
            cells.wrong(column, f"each once; line {other} has the same")
    problems = tuple(problem for cells, _ in rows for problem in cells.problems)
    stored = confirmed or not problems
    kept = good if stored else []
    added = sum(record.key not in known for record in kept)
    unchanged = sum(known.get(record.key) == record for record in kept)
    refused = len({problem.line for problem in problems})
    return good, SetUpReport(added, len(kept) - added - unchanged, unchanged, refused, problems, stored)
