"""Links that a company gives its clients: each opens one property's record, and can be made void."""

from dataclasses import replace
from datetime import date, datetime, timedelta

from mowalert.errors import InputError
from mowalert.links import RECORD, Links
from mowalert.service.crews.client_record import LONGEST_D, ClientRecord, record_of, site_named
from mowalert.service.known import organisation
from mowalert.service.ports import Store, Work
from mowalert.service.records import KeeperRecord, SiteRecord


def client_link(
    store: Store, links: Links, keeper: str, site: str, *, first: date | None = None, now: datetime
) -> str:
    """Return the link to a property's record.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    links : Links
        Signs links.
    keeper : str
        The organisation.
    site : str
        The property: its name, key or office number.
    first : date | None
        First day shown; the year's first if not given. The record goes on to the day it is looked at.
    now : datetime
        The moment, aware.

    Returns
    -------
    str
        The address.

    Raises
    ------
    InputError
        If there is no such property, it is one of several, the day is to come, or there are no pages.
    """
    with store.begin() as work:
        of = organisation(work, keeper)
        place = site_named(work, of, site)
        return link_to(work, links, of, place, first=first, now=now)


def link_to(
    work: Work, links: Links, of: KeeperRecord, place: SiteRecord, *, first: date | None, now: datetime
) -> str:
    """Return the link to a known property's record; InputError as ``client_link``."""
    today = of.today(now)
    first = first or today.replace(month=1, day=1)
    if first > today:
        raise InputError(f"{first} is still to come")
    url = links.record_url(place.site_id, _version(work, place.site_id), first, now=now)
    if not url:
        raise InputError("there are no pages to link to: set [service] base_url")
    return url


def void_client_links(store: Store, keeper: str, site: str) -> None:
    """Make every link to a property's record void that was given out so far."""
    with store.begin() as work:
        _void(work, site_named(work, organisation(work, keeper), site))
        work.commit()


def void_own_links(store: Store, keeper_id: int, site_id: int) -> bool:
    """Do the same by number; ``False`` where that is none of the organisation's."""
    with store.begin() as work:
        place = work.keepers.sites([site_id]).get(site_id)
        if place is None or place.keeper_id != keeper_id:
            return False
        _void(work, place)
        work.commit()
    return True


def _void(work: Work, place: SiteRecord) -> None:
    work.set_meta(_name(place.site_id), str(_version(work, place.site_id) + 1))


def record_behind(store: Store, links: Links, token: str, *, now: datetime) -> ClientRecord | None:
    """Return what a client's link opens; none where it was altered, has ended or was made void.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    links : Links
        Reads links.
    token : str
        From the link.
    now : datetime
        The moment, aware.

    Returns
    -------
    ClientRecord | None
        Without the crews' notes: those speak of gates and dogs, and were not written for a client.
    """
    facts = links.facts(RECORD, token, now=now)
    if facts is None or len(facts) != 3:
        return None
    site_id, version, first = map(int, facts)
    with store.begin() as work:
        place = work.keepers.sites([site_id]).get(site_id)
        if place is None or _version(work, site_id) != version:
            return None
        of = work.keepers.get([place.keeper_id])[place.keeper_id]
        last = of.today(now)
        shown_from = max(date.fromordinal(first), last - timedelta(days=LONGEST_D))
        record = record_of(work, of, place, first=min(shown_from, last), last=last)
    return replace(record, lines=tuple(replace(line, note="") for line in record.lines))


def _version(work: Work, site_id: int) -> int:
    return int(work.get_meta(_name(site_id)) or 0)


def _name(site_id: int) -> str:
    """Name under which the store keeps how often a property's links were made void."""
    return f"client links|{site_id}"
