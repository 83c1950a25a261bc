"""What an office knows of the work at its sites and lawns, kept beside what it tells of the turf."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from mowalert.domain.clock import clock
from mowalert.service.crew_records import LawnWork, SiteWork
from mowalert.service.office.office_doubles import OF_SITE
from mowalert.service.office.office_rows import WorkRow
from mowalert.service.ports import Work
from mowalert.service.reading.lawn_rows import LawnRow
from mowalert.service.reading.lawn_table import keeper_key, site_key


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One thing that becomes another: of which lawn, in which column, from what to what.

    What an organisation has once is told under its own name and of no lawn.
    """

    lawn: str
    column: str
    before: str
    after: str
    lawn_id: int | None = None


def keep_work(
    work: Work, rows: Sequence[LawnRow], told: Mapping[int, WorkRow], *, known: Collection[int]
) -> list[FieldChange]:
    """Keep what the office knows of the work; cells left empty leave what is known.

    Parameters
    ----------
    work : Work
        An open transaction; the rows' lawns are enrolled in it.
    rows : Sequence[LawnRow]
        Lawns.
    told : Mapping[int, WorkRow]
        The work by line.
    known : Collection[int]
        Lawns that were known before: what is told of others is no change.

    Returns
    -------
    list[FieldChange]
        What changes in the lawns that were known.
    """
    by_keeper: dict[str, list[LawnRow]] = {}
    for row in rows:
        by_keeper.setdefault(keeper_key(row), []).append(row)
    return [
        change
        for key, members in by_keeper.items()
        for change in _Keeping(work, key).kept(members, told, known)
    ]


def lawn_name(site: str, lawn: str) -> str:
    """Return what people call a lawn: its site alone, where that has but one."""
    return site if lawn in ("", "lawn") else f"{site}, {lawn}"


class _Keeping:
    """What is known of one organisation's work, while more of it is told."""

    def __init__(self, work: Work, key: str) -> None:
        keeper = work.keepers.by_key(key)
        assert keeper is not None  # noqa: S101 - its lawns were enrolled a moment ago
        self.work, self.keeper_id = work, keeper.keeper_id
        self.sites = {site.key: site.site_id for site in work.crews.sites_of(keeper.keeper_id)}
        lawns = work.lawns.of_keepers([keeper.keeper_id])
        self.lawns = {(lawn.site_id, lawn.key): lawn.lawn_id for lawn in lawns}
        self.of_sites = dict(work.crews.sites(keeper.keeper_id))
        self.of_lawns = dict(work.crews.lawns([lawn.lawn_id for lawn in lawns]))
        crews = work.crews.crews(keeper.keeper_id)
        self.crews = {crew.key: crew.crew_id for crew in crews}
        self.crew_names = {crew.crew_id: crew.name for crew in crews}

    def kept(
        self, rows: Sequence[LawnRow], told: Mapping[int, WorkRow], known: Collection[int]
    ) -> list[FieldChange]:
        changes: list[FieldChange] = []
        sites, lawns = dict[int, SiteWork](), list[LawnWork]()
        for row in rows:
            site_id = self.sites[site_key(row)]
            lawn_id = self.lawns[site_id, row.lawn.casefold()]
            site = self.of_sites.get(site_id, SiteWork(site_id, self.keeper_id))
            lawn = self.of_lawns.get(lawn_id, LawnWork(lawn_id))
            sites[site_id] = self.of_sites[site_id] = _site_told(site, told[row.line])
            lawns.append(self._lawn_told(lawn, told[row.line]))
            if lawn_id in known:
                name = lawn_name(row.site, row.lawn)
                changes += self._changes(name, lawn_id, site, sites[site_id])
                changes += self._changes(name, lawn_id, lawn, lawns[-1])
        self.work.crews.keep_sites(list(sites.values()))
        self.work.crews.keep_lawns(lawns)
        return changes

    def _lawn_told(self, lawn: LawnWork, told: WorkRow) -> LawnWork:
        minutes = lawn.minutes if told.minutes is None else told.minutes
        return replace(lawn, minutes=minutes, crew_id=self.crews.get(told.crew.casefold(), lawn.crew_id))

    def _changes(self, name: str, lawn_id: int, before: Any, after: Any) -> list[FieldChange]:
        return [
            FieldChange(name, *self._said(column, getattr(before, column), getattr(after, column)), lawn_id)
            for column in before.__dataclass_fields__
            if getattr(before, column) != getattr(after, column)
        ]

    def _said(self, column: str, before: Any, after: Any) -> tuple[str, str, str]:
        if column == "crew_id":
            return "crew", self.crew_names.get(before, ""), self.crew_names.get(after, "")
        if column.startswith("visit_"):
            return column.removesuffix("_min"), _hour(before), _hour(after)
        return column, _plain(before), _plain(after)


def _site_told(before: SiteWork, facts: WorkRow) -> SiteWork:
    told = {name: value for name in OF_SITE if (value := getattr(facts, name)) not in ("", None)}
    return replace(before, **told)


def _hour(minute: int | None) -> str:
    return "" if minute is None else f"{clock(minute):%H:%M}"


def _plain(value: Any) -> str:
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
