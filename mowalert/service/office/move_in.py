"""Moving in from an office's sheet: a dry run that says what would change, and the same run for good."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from typing import Any

from mowalert.domain.grasses import Turf
from mowalert.domain.words import KeeperKind
from mowalert.errors import InputError
from mowalert.service.lawns.enrol import enrol
from mowalert.service.lawns.export import export_rows
from mowalert.service.office.completion import Placeless
from mowalert.service.office.mapping import OF_KEEPER
from mowalert.service.office.office_rows import Conversion, WorkRow
from mowalert.service.office.office_table import OfficeTable
from mowalert.service.office.office_work import FieldChange, keep_work, lawn_name
from mowalert.service.ports import Store, Work
from mowalert.service.reading.lawn_rows import LawnRow, Problem
from mowalert.service.reading.lawn_table import ImportReport, keeper_key, read_table
from mowalert.service.region.guides import guides_now
from mowalert.service.within import Within


@dataclass(frozen=True, slots=True)
class MoveIn:
    """What moving in does: rows by outcome, changes one by one, and everything that stays out, with why.

    ``refused`` counts rows with problems, ``waiting`` those without a position. ``missing`` are lawns
    known already that the sheet does not name; they stay as they are. ``fingerprint`` stands for all
    of it: whoever confirms it confirms just this.
    """

    added: int
    changed: int
    unchanged: int
    refused: int
    waiting: int
    changes: tuple[FieldChange, ...]
    missing: tuple[str, ...]
    problems: tuple[Problem, ...]
    placeless: tuple[Placeless, ...]
    conversions: tuple[Conversion, ...]
    remarks: tuple[str, ...]
    fingerprint: str
    kept: bool = False


def move_in(
    store: Store,
    turf: Turf,
    table: OfficeTable,
    *,
    source: str,
    cell_degrees: float,
    now: datetime,
    confirm: str | None = None,
) -> MoveIn:
    """Bring an office's table in, or say what that would do.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    table : OfficeTable
        The office's table in our form.
    source : str
        Where it comes from: the file's name.
    cell_degrees : float
        Side of a weather cell. [°]
    now : datetime
        The moment, aware.
    confirm : str | None
        The fingerprint of what was shown; without one nothing is kept.

    Returns
    -------
    MoveIn
        What was done, or would be.

    Raises
    ------
    InputError
        If what would be done is not what was confirmed: the sheet or the store has changed.
    """
    with store.begin() as work:
        done = _brought_in(work, turf, table, source, cell_degrees, now)
        if confirm is None:
            return done
        if confirm != done.fingerprint:
            raise InputError(
                "what would be done is not what was shown: the sheet or the store has changed; look again"
            )
        work.commit()
    return replace(done, kept=True)


def _brought_in(
    work: Work, turf: Turf, table: OfficeTable, source: str, cell_degrees: float, now: datetime
) -> MoveIn:
    """Do it within a transaction; whoever opened that decides whether it lasts."""
    rows, report = _read(work, turf, table, now)
    _check_organisations(work, rows)
    rows, crew_problems = _with_known_crews(work, rows, table.work)
    keys = list(dict.fromkeys(keeper_key(row) for row in rows))
    before = _lawns(work, keys)
    enrol(Within(work), turf, rows, report, source=source, cell_degrees=cell_degrees, now=now)
    changes = keep_work(work, rows, table.work, known=set(before))
    after = _lawns(work, keys)
    changes += _differences(before, after)
    problems = tuple(
        sorted((*table.problems, *report.problems, *crew_problems), key=lambda one: (one.line, one.column))
    )
    added = len(after) - len(before)
    changed = len({change.lawn_id for change in changes} - {None})
    told = MoveIn(
        added=added,
        changed=changed,
        unchanged=len(rows) - added - changed,
        refused=len({problem.line for problem in problems}),
        waiting=len(table.placeless),
        changes=tuple(changes),
        missing=tuple(_missing(before, rows, table.kept_out | _refused_sites(table, rows))),
        problems=problems,
        placeless=tuple(table.placeless),
        conversions=tuple(table.conversions),
        remarks=tuple(table.remarks),
        fingerprint="",
    )
    facts = (told, table.text, sorted(table.work.items()))
    return replace(told, fingerprint=sha256(repr(facts).encode()).hexdigest()[:12])


def _read(work: Work, turf: Turf, table: OfficeTable, now: datetime) -> tuple[list[LawnRow], ImportReport]:
    if not table.work:
        return [], ImportReport()
    return read_table(table.text, turf, now=now, guides=guides_now(work, turf))


def _check_organisations(work: Work, rows: Sequence[LawnRow]) -> None:
    """An organisation has one address: another one is not taken for it, nor for a second of its name."""
    keys: dict[tuple[KeeperKind, str], set[str]] = {}
    told: dict[tuple[KeeperKind, str], set[str]] = {}
    for keeper in work.keepers.organisations():
        keys.setdefault((keeper.kind, keeper.name.casefold()), set()).add(keeper.key)
        told.setdefault((keeper.kind, keeper.name.casefold()), set()).add(keeper.email or keeper.phone or "")
    for row in rows:
        if row.kind is KeeperKind.HOMEOWNER:
            continue
        who, address = (row.kind, row.keeper.casefold()), row.email or row.phone or ""
        if keeper_key(row) not in keys.setdefault(who, {keeper_key(row)}):
            others = ", ".join(sorted(told[who]))
            raise InputError(
                f"line {row.line}: {row.keeper} is written to at {others}, not at {address}; "
                "say its own address with --email"
            )
        told.setdefault(who, set()).add(address)


def _with_known_crews(
    work: Work, rows: list[LawnRow], told: Mapping[int, WorkRow]
) -> tuple[list[LawnRow], list[Problem]]:
    """Leave out rows whose crew the organisation does not have."""
    good, wrong = [], []
    crews: dict[str, dict[str, str]] = {}
    for row in rows:
        name = told[row.line].crew.casefold()
        known = crews.get(keeper_key(row))
        if known is None:
            keeper = work.keepers.by_key(keeper_key(row))
            found = work.crews.crews(keeper.keeper_id) if keeper else []
            known = {crew.key: crew.name for crew in found if not crew.retired}
            crews[keeper_key(row)] = known
        if name and name not in known:
            names = ", ".join(sorted(known.values())) or "none yet"
            allowed = f"a crew that is known ({names}); `mowalert crews add` adds one"
            wrong.append(Problem(row.line, "crew", told[row.line].crew, allowed))
        else:
            good.append(row)
    return good, wrong


def _lawns(work: Work, keys: Sequence[str]) -> dict[int, dict[str, Any]]:
    """All lawns of some keepers as a table shows them."""
    keepers = [keeper.keeper_id for key in keys if (keeper := work.keepers.by_key(key)) is not None]
    lawn_ids = [lawn.lawn_id for lawn in work.lawns.of_keepers(keepers)]
    rows = export_rows(Within(work), lawn_ids=lawn_ids, with_state=True)
    return {int(row["lawn_id"]): dict(row) for row in rows}


def _differences(
    before: Mapping[int, Mapping[str, Any]], after: Mapping[int, Mapping[str, Any]]
) -> list[FieldChange]:
    """What changes in each lawn; what changes in its keeper is told once."""
    changes: dict[FieldChange, None] = {}
    for lawn_id, row in before.items():
        for column in (name for name in row if row[name] != after[lawn_id][name]):
            whose = column in OF_KEEPER
            name = row["keeper"] if whose else lawn_name(row["site"], row["lawn"])
            told = _told(row[column]), _told(after[lawn_id][column])
            changes[FieldChange(name, column, *told, None if whose else lawn_id)] = None
    return list(changes)


def _told(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else "" if value is None else str(value)


def _refused_sites(table: OfficeTable, rows: Sequence[LawnRow]) -> set[str]:
    """Sites and numbers of rows that reading left out."""
    good = {row.line for row in rows}
    return {name for line, names in table.names.items() if line not in good for name in names}


def _missing(before: Mapping[int, Mapping[str, Any]], rows: Sequence[LawnRow], out: set[str]) -> list[str]:
    """Lawns that are known and that no row names, be it a good one or one that stays out."""
    named = {(row.site.casefold(), row.lawn.casefold()) for row in rows}
    return sorted(
        lawn_name(row["site"], row["lawn"])
        for row in before.values()
        if (row["site"].casefold(), row["lawn"].casefold()) not in named
        and not {row["site"].casefold(), (row["address"] or "").casefold()} & out
    )
