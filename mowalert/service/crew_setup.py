"""Setting an organisation up: its crews with their hours, and the people who are written to."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import TypeVar

import phonenumbers
from email_validator import EmailNotValidError, validate_email

from mowalert.domain.crew_visits import is_somewhere
from mowalert.domain.crews import Position
from mowalert.domain.rounds import DAY_NAMES
from mowalert.domain.words import KeeperKind
from mowalert.errors import InputError
from mowalert.languages import LANGUAGES
from mowalert.service.crew_records import ContactRecord, CrewDayRecord, CrewRecord, Role
from mowalert.service.lawn_rows import Problem
from mowalert.service.places import country_of
from mowalert.service.ports import Store, Work
from mowalert.service.records import KeeperRecord
from mowalert.service.tables import rows_of

LONGEST_NAME = 200
DAY_MIN = 24 * 60
SAID_BY = "the office"
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
class NewContact:
    """A person as the office tells of them; ``said_by`` is who says that they agreed to be written to."""

    name: str
    role: Role
    crew: str = ""
    email: str = ""
    phone: str = ""
    language: str = "en"
    said_by: str = SAID_BY


@dataclass(frozen=True, slots=True)
class SetUpReport:
    """How a table went: rows by outcome, every bad cell, and whether anything was stored."""

    added: int
    changed: int
    unchanged: int
    refused_rows: int
    problems: tuple[Problem, ...]
    stored: bool


def organisation(work: Work, key: str) -> KeeperRecord:
    """Return the organisation of a key, a name or a number.

    Parameters
    ----------
    work : Work
        An open transaction.
    key : str
        What somebody typed.

    Returns
    -------
    KeeperRecord
        The organisation.

    Raises
    ------
    InputError
        If there is none, there are several, or it is a homeowner.
    """
    wanted = key.strip().casefold()
    found = [
        keeper
        for keeper in work.keepers.all()
        if keeper.kind is not KeeperKind.HOMEOWNER
        and wanted in (keeper.key.casefold(), keeper.name.casefold(), str(keeper.keeper_id))
    ]
    if not found:
        raise InputError(f"there is no company and no parks department {key!r}")
    if len(found) > 1:
        numbers = ", ".join(str(keeper.keeper_id) for keeper in found)
        raise InputError(f"{key!r} is the name of several: say one of the numbers {numbers}")
    return found[0]


def keep_crew(
    store: Store,
    keeper: str,
    name: str,
    *,
    depot: Position,
    weekdays: int,
    from_min: int,
    to_min: int,
) -> CrewRecord:
    """Keep a crew; one of the same name is changed.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    name : str
        The crew's name.
    depot : Position
        Where its days begin and end.
    weekdays : int
        Days it works, bit 0 Monday.
    from_min : int
        Minute of the day from which it works.
    to_min : int
        Minute by which it is back.

    Returns
    -------
    CrewRecord
        The crew as it is kept.

    Raises
    ------
    InputError
        If the name, the depot, the days or the hours cannot be.
    """
    _check_name(name)
    if not is_somewhere(depot):
        raise InputError(f"crew {name}: its depot has no position that can be")
    if not 0 < weekdays < 128:
        raise InputError(f"crew {name}: it works on no day of the week")
    _check_hours(f"crew {name}", from_min, to_min)
    with store.begin() as work:
        record = CrewRecord(
            crew_id=0,
            keeper_id=organisation(work, keeper).keeper_id,
            key=name.strip().casefold(),
            name=name.strip(),
            latitude_deg=depot.latitude_deg,
            longitude_deg=depot.longitude_deg,
            weekdays=weekdays,
            from_min=from_min,
            to_min=to_min,
        )
        crew_id = work.crews.keep_crew(record)
        work.commit()
    return replace(record, crew_id=crew_id)


def retire_crew(store: Store, keeper: str, name: str) -> CrewRecord:
    """Let a crew work no more; what it did stays known."""
    with store.begin() as work:
        crew = replace(crew_named(work, organisation(work, keeper), name), retired=True)
        work.crews.keep_crew(crew)
        work.commit()
    return crew


def crew_named(work: Work, keeper: KeeperRecord, name: str) -> CrewRecord:
    """Return a crew by its name; InputError if the organisation has none of it."""
    crews = [crew for crew in work.crews.crews(keeper.keeper_id) if not crew.retired]
    found = next((crew for crew in crews if crew.key == name.strip().casefold()), None)
    if found is None:
        known = ", ".join(crew.name for crew in crews) or "none yet"
        raise InputError(f"{keeper.name} has no crew {name!r}; known are: {known}")
    return found


def keep_hours(
    store: Store, keeper: str, name: str, on: date, *, from_min: int, to_min: int, note: str = ""
) -> CrewDayRecord:
    """Keep other hours of a crew for one day; from and to alike means that it does not work.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    name : str
        The crew.
    on : date
        The day.
    from_min : int
        Minute of the day from which it works.
    to_min : int
        Minute by which it is back.
    note : str
        Why.

    Returns
    -------
    CrewDayRecord
        The day as it is kept.

    Raises
    ------
    InputError
        If there is no such crew, or the hours cannot be.
    """
    if from_min != to_min:
        _check_hours(f"crew {name}", from_min, to_min)
    with store.begin() as work:
        crew = crew_named(work, organisation(work, keeper), name)
        day = CrewDayRecord(crew.crew_id, on, from_min, to_min, note.strip()[:LONGEST_NAME])
        work.crews.keep_hours(day)
        work.commit()
    return day


def keep_contact(store: Store, keeper: str, told: NewContact, *, now: datetime) -> ContactRecord:
    """Keep a person who is written to; one of the same name is changed.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    told : NewContact
        The person.
    now : datetime
        The moment, aware.

    Returns
    -------
    ContactRecord
        The person as they are kept; an address that is new is written to again.

    Raises
    ------
    InputError
        If something about the person cannot be.
    """
    with store.begin() as work:
        record = _contact(work, organisation(work, keeper), told, now)
        contact_id = work.crews.keep_contact(record)
        work.commit()
    return replace(record, contact_id=contact_id)


def _contact(work: Work, of: KeeperRecord, told: NewContact, now: datetime) -> ContactRecord:
    _check_name(told.name)
    if told.language not in LANGUAGES:
        raise InputError(f"{told.language!r} is no language known here; allowed: {', '.join(LANGUAGES)}")
    if told.role is Role.CREW_LEAD and not told.crew:
        raise InputError(f"{told.name}: a crew lead needs a crew")
    email, phone = _email(told.email), _phone(told.phone, of.time_zone)
    if not email and not phone:
        raise InputError(f"{told.name}: an e-mail address or a phone number is needed")
    record = ContactRecord(
        contact_id=0,
        keeper_id=of.keeper_id,
        key=told.name.strip().casefold(),
        name=told.name.strip(),
        role=told.role,
        crew_id=crew_named(work, of, told.crew).crew_id if told.crew else None,
        email=email,
        phone=phone,
        language=told.language,
        consent_at=now,
        consent_from=told.said_by.strip()[:LONGEST_NAME],
    )
    return _as_before(work, record)


def _as_before(work: Work, record: ContactRecord) -> ContactRecord:
    """A contact known already keeps their links, and their silence towards an address that stayed."""
    known = next((one for one in work.crews.contacts(record.keeper_id) if one.key == record.key), None)
    if known is None:
        return record
    return replace(
        record,
        email_suspended=known.email_suspended if known.email == record.email else None,
        phone_suspended=known.phone_suspended if known.phone == record.phone else None,
        link_version=known.link_version,
    )


def remove_contact(store: Store, keeper: str, name: str) -> None:
    """Forget a person; InputError if there is none of that name."""
    with store.begin() as work:
        of = organisation(work, keeper)
        known = {one.key: one.contact_id for one in work.crews.contacts(of.keeper_id)}
        if name.strip().casefold() not in known:
            raise InputError(f"{of.name} has no contact {name!r}")
        work.crews.remove_contact(known[name.strip().casefold()])
        work.commit()


def _check_name(name: str) -> None:
    if not name.strip() or len(name) > LONGEST_NAME or not name.isprintable():
        raise InputError(f"a name is plain text of 1 to {LONGEST_NAME} letters")


def _check_hours(what: str, from_min: int, to_min: int) -> None:
    if not 0 <= from_min < to_min <= DAY_MIN:
        raise InputError(f"{what}: its hours must begin before they end")


def _email(text: str) -> str | None:
    if not text.strip():
        return None
    try:
        return validate_email(text.strip(), check_deliverability=False, test_environment=True).normalized
    except EmailNotValidError as error:
        raise InputError(f"{text!r} is no e-mail address ({error})") from error


def _phone(text: str, time_zone: str) -> str | None:
    if not text.strip():
        return None
    try:
        number = phonenumbers.parse(text, country_of(time_zone))
    except phonenumbers.NumberParseException:
        number = None
    if number is None or not phonenumbers.is_possible_number(number):
        raise InputError(f"{text!r} is no phone number; best with its country code: +1 555 555 0100")
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def minute_of(text: str) -> int:
    """Return the minute of the day a text such as 7:00, 07:30 or 3:15 pm names; InputError if none."""
    said = text.strip().casefold().replace(".", ":")
    half = said[-2:] if said.endswith(("am", "pm")) else ""
    hour_text, _, past_text = said.removesuffix(half).strip().partition(":")
    if not hour_text.isdecimal() or (past_text and not past_text.isdecimal()):
        raise InputError(f"{text!r} is no time of the day such as 7:30")
    hour, past = int(hour_text), int(past_text or 0)
    if half and 1 <= hour <= 12:
        hour = hour % 12 + (12 if half == "pm" else 0)
    elif half:
        hour = DAY_MIN
    if past > 59 or hour * 60 + past > DAY_MIN:
        raise InputError(f"{text!r} is no time of the day such as 7:30")
    return hour * 60 + past


def hours_in(text: str) -> tuple[int, int]:
    """Return the minutes of the day that hours such as 7:00-15:30 begin and end at; InputError if none."""
    first, found, last = text.partition("-")
    if not found:
        raise InputError(f"{text!r} are no hours such as 7:00-15:30")
    return minute_of(first), minute_of(last)


def days_in(text: str) -> int:
    """Return weekdays such as mon,tue or mon tue as bits, bit 0 Monday; InputError where one is none."""
    names = [name.casefold()[:3] for name in text.replace(",", " ").split()]
    if unknown := [name for name in names if name not in DAY_NAMES]:
        raise InputError(f"{unknown[0]!r} is no day; allowed: {', '.join(DAY_NAMES)}")
    return sum(1 << DAY_NAMES.index(name) for name in set(names))


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
    _check_name(text)
    return text


def _some_days(text: str) -> int:
    return days_in(text or "mon tue wed thu fri")


def _some_hours(text: str) -> tuple[int, int]:
    from_min, to_min = hours_in(text)
    _check_hours(text, from_min, to_min)
    return from_min, to_min


def _contact_row(
    cells: _Cells, work: Work, of: KeeperRecord, known: Mapping[str, ContactRecord], now: datetime
) -> "_Row[ContactRecord]":
    cells.read("name", _name)
    role = cells.read("role", lambda text: Role(text.casefold()))
    language = cells.read("language", _language)
    cells.read("email", _email)
    cells.read("phone", lambda text: _phone(text, of.time_zone))
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
    return cells, _with_first_consent(_contact(work, of, told, now), known)


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
    """Good rows, each name once, and a report of all."""
    first: dict[str, int] = {}
    good: list[Record] = []
    for cells, record in rows:
        if record is None:
            continue
        if record.key in first:
            cells.wrong(column, f"each once; line {first[record.key]} has the same")
        else:
            first[record.key] = cells.line
            good.append(record)
    problems = tuple(problem for cells, _ in rows for problem in cells.problems)
    stored = confirmed or not problems
    kept = good if stored else []
    added = sum(record.key not in known for record in kept)
    unchanged = sum(known.get(record.key) == record for record in kept)
    refused = len({problem.line for problem in problems})
    return good, SetUpReport(added, len(kept) - added - unchanged, unchanged, refused, problems, stored)
