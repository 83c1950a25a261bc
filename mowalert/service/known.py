"""What people name by its number or its name, or a clear word that there is no such thing."""

from collections.abc import Callable, Sequence

from mowalert.domain.words import HoldReason
from mowalert.errors import InputError
from mowalert.service.crew_records import ContactRecord, CrewRecord
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord, LawnRecord, SiteRecord


def known_lawn(work: Work, lawn_id: int) -> LawnRecord:
    """Return the lawn of a number; InputError if there is none."""
    found = work.lawns.get([lawn_id])
    if not found:
        raise InputError(f"there is no lawn {lawn_id}; `mowalert lawns show` lists them")
    return found[0]


def known_keeper(work: Work, keeper_id: int) -> KeeperRecord:
    """Return an organisation by its number; InputError if there is none."""
    found = work.keepers.get([keeper_id]).get(keeper_id)
    if found is None:
        raise InputError(f"there is no keeper {keeper_id}")
    return found


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
        for keeper in work.keepers.organisations()
        if wanted in (keeper.key.casefold(), keeper.name.casefold(), str(keeper.keeper_id))
    ]
    if not found:
        raise InputError(f"there is no company and no parks department {key!r}")
    if len(found) > 1:
        numbers = ", ".join(str(keeper.keeper_id) for keeper in found)
        raise InputError(f"{key!r} is the name of several: say one of the numbers {numbers}")
    return found[0]


def crew_named(work: Work, keeper: KeeperRecord, name: str) -> CrewRecord:
    """Return a crew by its name; InputError if the organisation has none of it."""
    crews = [crew for crew in work.crews.crews(keeper.keeper_id) if not crew.retired]
    found = next((crew for crew in crews if crew.key == name.strip().casefold()), None)
    if found is None:
        known = ", ".join(crew.name for crew in crews) or "none yet"
        raise InputError(f"{keeper.name} has no crew {name!r}; known are: {known}")
    return found


def contact_named(work: Work, keeper: KeeperRecord, name: str) -> ContactRecord:
    """Return a contact by their name; InputError if the organisation has none of it."""
    contacts = work.crews.contacts(keeper.keeper_id)
    found = next((one for one in contacts if one.key == name.strip().casefold()), None)
    if found is None:
        raise InputError(f"{keeper.name} has no contact {name!r}")
    return found


def reason_named(text: str, among: Sequence[HoldReason]) -> HoldReason:
    """Return the reason somebody typed, whatever its case; InputError with the choices if it is none."""
    found = next((reason for reason in among if reason.value == text.strip().casefold()), None)
    if found is None:
        raise InputError(f"{text!r} is no such reason; allowed are {', '.join(among)}")
    return found


def sites_named(work: Work, keeper_id: int, names: Sequence[str]) -> list[SiteRecord]:
    """Return an organisation's sites by name, key or office number; InputError for one that is not known."""
    find = site_finder(work, keeper_id)
    return [site for name in names for site in find(name)]


def site_finder(work: Work, keeper_id: int) -> Callable[[str], list[SiteRecord]]:
    """Return what finds an organisation's sites, as ``sites_named`` does, name after name.

    Parameters
    ----------
    work : Work
        An open transaction.
    keeper_id : int
        The organisation.

    Returns
    -------
    Callable[[str], list[SiteRecord]]
        Takes a name; several sites may go by it.
    """
    numbers = {one.site_id: one.number for one in work.crews.sites(keeper_id).values()}
    known: dict[str, list[SiteRecord]] = {}
    for site in work.crews.sites_of(keeper_id):
        names = site.name, site.key, numbers.get(site.site_id, "")
        for name in {one.casefold() for one in names if one}:
            known.setdefault(name, []).append(site)

    def find(name: str) -> list[SiteRecord]:
        found = known.get(name.strip().casefold())
        if found is None:
            raise InputError(f"there is no site {name!r}")
        return found

    return find
