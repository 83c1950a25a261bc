"""Moving in from an office's sheet: a dry run that says what would change, and the same run for good."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from typing import Any

from mowalert.domain.grasses import Turf
from mowalert.errors import InputError
from mowalert.service.crew_records import LawnWork, SiteWork
from mowalert.service.enrol import enrol
from mowalert.service.export import export_rows
from mowalert.service.guides import guides_now
from mowalert.service.lawn_rows import LawnRow, Problem
from mowalert.service.lawn_table import keeper_key, read_table, site_key
from mowalert.service.office_table import OfficeTable, Placeless, WorkRow
from mowalert.service.ports import Store, Work
from mowalert.service.within import Within

MOST_CHANGES = 100_000
OF_SITE = (
    "number", "client", "access", "gate", "dog", "district", "visit_from_min", "visit_to_min",
)  # fmt: skip
"""What is known of a site, under one name in an office's row and in the store."""


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One thing that becomes another: of which lawn, in which column, from what to what."""

    lawn: str
    column: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class MoveIn:
    """What moving in does: rows by outcome, changes one by one, and everything that stays out, with why.

    ``missing`` are lawns known already that the sheet does not name; they stay as they are.
    ``fingerprint`` stands for all of it: whoever confirms it confirms just this.
    """

    added: int
    changed: int
    unchanged: int
    changes: tuple[FieldChange, ...]
    missing: tuple[str, ...]
    problems: tuple[Problem, ...]
    placeless: tuple[Placeless, ...]
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
    rows, crew_problems = _with_known_crews(work, rows, table.work)
    within = Within(work)
    before = _known(within)
    enrol(within, turf, rows, report, source=source, cell_degrees=cell_degrees, now=now)
    changes = _keep_work(work, rows, table.work)
    after = _known(within)
    changes += _differences(before, after)
    named = {_name(row.site, row.lawn) for row in rows}
    keepers = {row.keeper for row in rows}
    missing = [
        name
        for row in before.values()
        if row["keeper"] in keepers and (name := _name(row["site"], row["lawn"])) not in named
    ]
    every = (*table.problems, *report.problems, *crew_problems)
    problems = sorted(every, key=lambda one: (one.line, one.column))
    counts = (report.added, report.changed, report.unchanged)
    facts = (counts, changes, sorted(missing), problems, table.text, sorted(table.work.items()))
    return MoveIn(
        added=report.added,
        changed=report.changed,
        unchanged=report.unchanged,
        changes=tuple(changes[:MOST_CHANGES]),
        missing=tuple(sorted(missing)),
        problems=tuple(problems),
        placeless=tuple(table.placeless),
        remarks=tuple(table.remarks),
        fingerprint=sha256(repr(facts).encode()).hexdigest()[:12],
    )


def _read(work: Work, turf: Turf, table: OfficeTable, now: datetime) -> tuple[list[LawnRow], Any]:
    if not table.work:
        raise InputError("no row can be brought in; see what is named")
    return read_table(table.text, turf, now=now, guides=guides_now(work, turf))


def _with_known_crews(
    work: Work, rows: list[LawnRow], told: Mapping[int, WorkRow]
) -> tuple[list[LawnRow], list[Problem]]:
    """Leave out rows whose crew the organisation does not have."""
    good, wrong = [], []
    crews: dict[str, set[str]] = {}
    for row in rows:
        name = told[row.line].crew.casefold()
        known = crews.get(keeper_key(row))
        if known is None:
            keeper = work.keepers.by_key(keeper_key(row))
            found = work.crews.crews(keeper.keeper_id) if keeper else []
            known = crews.setdefault(keeper_key(row), {crew.key for crew in found if not crew.retired})
        if name and name not in known:
            names = ", ".join(sorted(known)) or "none yet"
            allowed = f"a crew that is known ({names}); `mowalert crews add` adds one"
            wrong.append(Problem(row.line, "crew", told[row.line].crew, allowed))
        else:
            good.append(row)
    return good, wrong


def _keep_work(work: Work, rows: list[LawnRow], told: Mapping[int, WorkRow]) -> list[FieldChange]:
    """Keep what the office knows of the work; cells left empty leave what is known."""
    changes: list[FieldChange] = []
    by_keeper: dict[str, list[LawnRow]] = {}
    for row in rows:
        by_keeper.setdefault(keeper_key(row), []).append(row)
    for key, members in by_keeper.items():
        keeper = work.keepers.by_key(key)
        assert keeper is not None  # noqa: S101 - enrolled a line ago
        sites = {site.key: site for site in work.crews.sites_of(keeper.keeper_id)}
        lawns = {(one.site_id, one.key): one for one in work.lawns.of_keepers([keeper.keeper_id])}
        known_sites = work.crews.sites(keeper.keeper_id)
        known_lawns = work.crews.lawns([one.lawn_id for one in lawns.values()])
        crews = {crew.key: crew.crew_id for crew in work.crews.crews(keeper.keeper_id)}
        new_sites, new_lawns = dict[int, SiteWork](), list[LawnWork]()
        for row in members:
            site = sites[site_key(row)]
            facts = told[row.line]
            blank = SiteWork(site.site_id, keeper.keeper_id)
            before = new_sites.get(site.site_id) or known_sites.get(site.site_id) or blank
            after = _site_work(before, facts)
            changes += _work_changes(row, before, after) if site.site_id in known_sites else []
            new_sites[site.site_id] = after
            lawn = lawns[site.site_id, row.lawn.casefold()]
            known = known_lawns.get(lawn.lawn_id, LawnWork(lawn.lawn_id))
            changed = replace(
                known,
                minutes=facts.minutes if facts.minutes is not None else known.minutes,
                crew_id=crews.get(facts.crew.casefold(), known.crew_id),
            )
            changes += _work_changes(row, known, changed) if lawn.lawn_id in known_lawns else []
            new_lawns.append(changed)
        work.crews.keep_sites(list(new_sites.values()))
        work.crews.keep_lawns(new_lawns)
    return changes


def _site_work(before: SiteWork, facts: WorkRow) -> SiteWork:
    told = {name: value for name in OF_SITE if (value := getattr(facts, name)) not in ("", None)}
    return replace(before, **told)


def _work_changes(row: LawnRow, before: Any, after: Any) -> list[FieldChange]:
    names = [name for name in before.__dataclass_fields__ if getattr(before, name) != getattr(after, name)]
    place = _name(row.site, row.lawn)
    return [FieldChange(place, name, str(getattr(before, name)), str(getattr(after, name))) for name in names]


def _known(store: Any) -> dict[int, dict[str, Any]]:
    return {int(row["lawn_id"]): dict(row) for row in export_rows(store, with_state=True)}


def _differences(
    before: Mapping[int, Mapping[str, Any]], after: Mapping[int, Mapping[str, Any]]
) -> list[FieldChange]:
    return [
        FieldChange(_name(row["site"], row["lawn"]), column, str(row[column]), str(after[lawn_id][column]))
        for lawn_id, row in before.items()
        for column in row
        if lawn_id in after and row[column] != after[lawn_id][column]
    ]


def _name(site: str, lawn: str) -> str:
    return site if lawn in ("", "lawn") else f"{site}, {lawn}"
