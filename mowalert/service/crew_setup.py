"""Setting an organisation up: its crews with their hours, and the people who are written to."""

from dataclasses import dataclass, replace
from datetime import date, datetime

import phonenumbers
from email_validator import EmailNotValidError, validate_email

from mowalert.domain.crew_visits import is_somewhere
from mowalert.domain.crews import Position
from mowalert.domain.words import KeeperKind
from mowalert.errors import InputError
from mowalert.languages import LANGUAGES
from mowalert.service.crew_records import ContactRecord, CrewDayRecord, CrewRecord, Role
from mowalert.service.places import country_of
from mowalert.service.ports import Store, Work
from mowalert.service.records import KeeperRecord

LONGEST_NAME = 200
DAY_MIN = 24 * 60


@dataclass(frozen=True, slots=True)
class NewContact:
    """A person as the office tells of them; ``said_by`` is who says that they agreed to be written to."""

    name: str
    role: Role
    crew: str = ""
    email: str = ""
    phone: str = ""
    language: str = "en"
    said_by: str = "the office"


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
    _check_name(told.name)
    if told.language not in LANGUAGES:
        raise InputError(f"{told.language!r} is no language known here; allowed: {', '.join(LANGUAGES)}")
    if told.role is Role.CREW_LEAD and not told.crew:
        raise InputError(f"{told.name}: a crew lead needs a crew")
    with store.begin() as work:
        of = organisation(work, keeper)
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
        contact_id = work.crews.keep_contact(_as_before(work, record))
        work.commit()
    return replace(record, contact_id=contact_id)


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
