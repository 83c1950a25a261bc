"""Setting an organisation up: its crews with their hours, and the people who are written to."""

from dataclasses import dataclass, replace
from datetime import date, datetime

from mowalert.domain.crew_visits import is_somewhere
from mowalert.domain.crews import Position
from mowalert.errors import InputError
from mowalert.languages import LANGUAGES
from mowalert.service.crew_records import ContactRecord, CrewDayRecord, CrewRecord, Role
from mowalert.service.known import contact_named, crew_named, organisation
from mowalert.service.local.places import country_of
from mowalert.service.ports import Store, Work
from mowalert.service.reading.addresses import email_in, phone_in
from mowalert.service.reading.day_hours import DAY_MIN
from mowalert.service.records import KeeperRecord

LONGEST_NAME = 200
SAID_BY = "the office"


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
    check_name(name)
    if not is_somewhere(depot):
        raise InputError(f"crew {name}: its depot has no position that can be")
    if not 0 < weekdays < 128:
        raise InputError(f"crew {name}: it works on no day of the week")
    check_hours(f"crew {name}", from_min, to_min)
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
        check_hours(f"crew {name}", from_min, to_min)
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
        record = contact_told(work, organisation(work, keeper), told, now)
        contact_id = work.crews.keep_contact(record)
        work.commit()
    return replace(record, contact_id=contact_id)


def contact_told(work: Work, of: KeeperRecord, told: NewContact, now: datetime) -> ContactRecord:
    """Return a person as they would be kept; InputError if something about them cannot be."""
    check_name(told.name)
    if told.language not in LANGUAGES:
        raise InputError(f"{told.language!r} is no language known here; allowed: {', '.join(LANGUAGES)}")
    if told.role is Role.CREW_LEAD and not told.crew:
        raise InputError(f"{told.name}: a crew lead needs a crew")
    email, phone = email_told(told.email), phone_told(told.phone, of.time_zone)
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
        work.crews.remove_contact(contact_named(work, organisation(work, keeper), name).contact_id)
        work.commit()


def void_contact_links(store: Store, keeper: str, name: str) -> ContactRecord:
    """Make every link void that a person was sent so far; InputError if there is none of that name."""
    with store.begin() as work:
        known = contact_named(work, organisation(work, keeper), name)
        kept = replace(known, link_version=known.link_version + 1)
        work.crews.keep_contact(kept)
        work.commit()
    return kept


def check_name(name: str) -> None:
    """Refuse a name that is empty, too long or no plain text."""
    if not name.strip() or len(name) > LONGEST_NAME or not name.isprintable():
        raise InputError(f"a name is plain text of 1 to {LONGEST_NAME} letters")


def check_hours(what: str, from_min: int, to_min: int) -> None:
    """Refuse hours that do not begin before they end."""
    if not 0 <= from_min < to_min <= DAY_MIN:
        raise InputError(f"{what}: its hours must begin before they end")


def email_told(text: str) -> str | None:
    """Return an e-mail address as it is kept, none of an empty text; InputError if it is none."""
    if not text.strip():
        return None
    try:
        return email_in(text.strip())
    except ValueError as error:
        raise InputError(f"{text!r} is no e-mail address ({error})") from error


def phone_told(text: str, time_zone: str) -> str | None:
    """Return a phone number as it is kept, none of an empty text; InputError if it is none."""
    if not text.strip():
        return None
    number = phone_in(text, country_of(time_zone))
    if number is None:
        raise InputError(f"{text!r} is no phone number; best with its country code: +1 555 555 0100")
    return number
