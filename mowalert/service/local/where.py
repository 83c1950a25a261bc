"""Which lawns of an organisation somebody means."""

from dataclasses import dataclass

from mowalert.errors import InputError
from mowalert.service.known import sites_named
from mowalert.service.ports import Work
from mowalert.service.records import LawnRecord


@dataclass(frozen=True, slots=True)
class Where:
    """Lawns at sites named by name, key or office number, in a turf class, in a district; any if not said."""

    sites: tuple[str, ...] = ()
    turf_class: str = ""
    district: str = ""


def lawns_of(work: Work, keeper_id: int, where: Where) -> list[LawnRecord]:
    """Return the lawns of an organisation that are meant.

    Parameters
    ----------
    work : Work
        An open transaction.
    keeper_id : int
        The organisation.
    where : Where
        Which of them.

    Returns
    -------
    list[LawnRecord]
        In order of id.

    Raises
    ------
    InputError
        If there is no such site, or no such lawn.
    """
    sites = {one.site_id for one in sites_named(work, keeper_id, where.sites)} if where.sites else None
    turf_class, district = where.turf_class.strip().casefold(), where.district.strip().casefold()
    districts = {one.site_id: one.district.casefold() for one in work.crews.sites(keeper_id).values()}
    found = [
        lawn
        for lawn in work.lawns.of_keepers([keeper_id])
        if (sites is None or lawn.site_id in sites)
        and (not where.turf_class or lawn.turf_class.casefold() == turf_class)
        and (not where.district or districts.get(lawn.site_id, "") == district)
    ]
    if not found:
        raise InputError("there is no such lawn")
    return found
