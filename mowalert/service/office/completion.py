"""Positions an office does not have: listed to be filled in, taken from what is known, never guessed."""

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from io import StringIO

from mowalert.errors import InputError
from mowalert.service.known import organisation
from mowalert.service.ports import Store
from mowalert.service.reading.sheet import Sheet, no_formula

LIST_COLUMNS = ("number", "address", "latitude", "longitude")
Positions = Mapping[str, tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Placeless:
    """A row without a position: it is listed for completion and never guessed."""

    line: int
    number: str
    address: str


def completion_table(rows: Sequence[Placeless]) -> str:
    """Return a list to fill in: what has no position, with room for one."""
    out = StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(LIST_COLUMNS)
    table.writerows((no_formula(row.number), no_formula(row.address), "", "") for row in rows)
    return out.getvalue()


def read_positions(sheet: Sheet) -> dict[str, tuple[str, str]]:
    """Read a completed list.

    Parameters
    ----------
    sheet : Sheet
        The list, as an office's program has saved it.

    Returns
    -------
    dict[str, tuple[str, str]]
        Latitude and longitude by number and by address, as they were written.

    Raises
    ------
    InputError
        If it is no such list, half a position is told, or a number or an address has two.
    """
    names = {name.casefold(): name for name in sheet.header}
    if not set(LIST_COLUMNS[2:]) <= set(names) or not set(LIST_COLUMNS[:2]) & set(names):
        raise InputError(f"the list of positions needs the columns {', '.join(LIST_COLUMNS)}")
    found: dict[str, tuple[str, str]] = {}
    for row in sheet.rows:
        number, address, *place = (row.cells.get(names.get(name, ""), "") for name in LIST_COLUMNS)
        if any(place) and not all(place):
            raise InputError(f"line {row.line} of the list of positions tells half a position")
        for key in keys(number, address) if all(place) else ():
            if found.setdefault(key, (place[0], place[1])) != (place[0], place[1]):
                raise InputError(f"line {row.line} of the list of positions tells another of the same place")
    return found


def known_positions(store: Store, keeper: str) -> dict[str, tuple[str, str]]:
    """Return where an organisation's sites are known to be, as ``known_keys`` looks them up."""
    with store.begin() as work:
        try:
            of = organisation(work, keeper)
        except InputError:
            return {}
        numbers = {one.site_id: one.number for one in work.crews.sites(of.keeper_id).values()}
        sites = work.crews.sites_of(of.keeper_id)
    found: dict[str, set[tuple[str, str]]] = {}
    for site in sites:
        place = (repr(site.latitude_deg), repr(site.longitude_deg))
        number = numbers.get(site.site_id, "")
        for key in {*keys(number, site.address), *known_keys(number, site.address)}:
            found.setdefault(key, set()).add(place)
    return {key: places.pop() for key, places in found.items() if len(places) == 1}


def keys(number: str, address: str) -> Iterator[str]:
    """Yield what a place is looked up by: its number before its address."""
    if number:
        yield f"number {number.casefold()}"
    if address:
        yield f"address {address.casefold()}"


def known_keys(number: str, address: str) -> Iterator[str]:
    """Yield what a known place is looked up by: a number with another address is another place."""
    if number and address:
        yield f"number {number.casefold()} at {address.casefold()}"
        yield f"address {address.casefold()}"
    else:
        yield from keys(number, address)
