"""Official warnings: pulled from their authorities, kept while in force, shown beside our own advice."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from mowalert.domain.warnings import OfficialWarning, PlacedWarning
from mowalert.domain.weather import Place
from mowalert.service.known import known_lawn
from mowalert.service.ports import PulledWarnings, Store, WarningSource, Work
from mowalert.service.records import CellRecord

FRESH_FOR = timedelta(minutes=30)
"""Warnings younger than this are not asked for again."""
ASKED = "warnings_asked"
"""Name under which the store keeps when warnings were last asked for, and who did not answer."""


@dataclass(frozen=True, slots=True)
class WarningsAsked:
    """When warnings were last asked for, and the sources that then had no whole answer."""

    at: datetime
    unanswered: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WarningReport:
    """How a pull of warnings went: cells asked for, warnings found, forgotten, and who did not answer."""

    asked: int
    found: int
    forgotten: int
    unanswered: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Standing:
    """Warnings in force, as of the newest pull; none asked yet without one."""

    asked: WarningsAsked | None
    warnings: tuple[PlacedWarning, ...]


def pull_warnings(store: Store, sources: Sequence[WarningSource], *, now: datetime) -> WarningReport:
    """Ask every authority for what is in force where there are lawns; keep it and forget what is over.

    Parameters
    ----------
    store : Store
        Where they are kept.
    sources : Sequence[WarningSource]
        Authorities; one that fails keeps what it said before, until that ends by itself.
    now : datetime
        The moment, aware.

    Returns
    -------
    WarningReport
        What was done; nothing is asked where the last answers are fresh.
    """
    with store.begin() as work:
        asked = warnings_asked(work)
        cells = work.weather.cells() if sources and _is_old(asked, now) else []
    pulled = [source.pull([_place(cell) for cell in cells], now=now) for source in sources if cells]
    silent = tuple(answer.source for answer in pulled if answer.refused)
    with store.begin() as work:
        for answer in pulled:
            work.warnings.keep(answer)
            work.weather.refuse(answer.refused, at=now)
        forgotten = work.warnings.forget_ended(now=now)
        if pulled:
            work.set_meta(ASKED, json.dumps({"at": now.isoformat(), "unanswered": silent}))
        work.commit()
    return WarningReport(len(cells), _count(pulled), forgotten, silent)


def _is_old(asked: WarningsAsked | None, now: datetime) -> bool:
    # A clock that stepped back must not stop the pulls.
    return asked is None or not timedelta(0) <= now - asked.at < FRESH_FOR


def _place(cell: CellRecord) -> Place:
    return Place(cell.cell_id, cell.latitude_deg, cell.longitude_deg, cell.utc_offset_min, cell.elevation_m)


def _count(pulled: Sequence[PulledWarnings]) -> int:
    return sum(len(answer.found) for answer in pulled)


def warnings_asked(work: Work) -> WarningsAsked | None:
    """Return when warnings were last asked for; none if never."""
    said = work.get_meta(ASKED)
    if said is None:
        return None
    kept = json.loads(said)
    return WarningsAsked(datetime.fromisoformat(kept["at"]), tuple(kept["unanswered"]))


def warnings_for(work: Work, cell_ids: Sequence[int], *, now: datetime) -> tuple[OfficialWarning, ...]:
    """Return warnings in force or to come that touch any of some cells, each once, the worst first.

    Parameters
    ----------
    work : Work
        An open transaction.
    cell_ids : Sequence[int]
        Weather cells.
    now : datetime
        The moment.

    Returns
    -------
    tuple[OfficialWarning, ...]
        In their senders' own words.
    """
    return tuple(placed.warning for placed in work.warnings.in_force(cell_ids, now=now))


def standing_warnings(store: Store, *, now: datetime, lawn_id: int | None = None) -> Standing:
    """Return what is in force for one lawn, or anywhere.

    Parameters
    ----------
    store : Store
        Where they are kept.
    now : datetime
        The moment.
    lawn_id : int | None
        One lawn; if not given, all warnings, and those whose place is known by name only.

    Returns
    -------
    Standing
        Warnings, the worst first.

    Raises
    ------
    InputError
        If there is no such lawn.
    """
    with store.begin() as work:
        cell_ids = None if lawn_id is None else [_cell_of(work, lawn_id)]
        return Standing(warnings_asked(work), tuple(work.warnings.in_force(cell_ids, now=now)))


def _cell_of(work: Work, lawn_id: int) -> int:
    stand_id = known_lawn(work, lawn_id).stand_id
    return work.stands.get([stand_id])[stand_id].cell_id
