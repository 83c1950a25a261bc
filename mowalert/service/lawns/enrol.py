"""Enrol lawns from a table's rows: keepers, sites, stands and lawns; a second time changes nothing.

A table changes what it tells. Cells left empty leave what is known of a lawn, its site and its keeper.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from typing import Any
from zoneinfo import ZoneInfo

from mowalert.domain.cells import cell_of
from mowalert.domain.grasses import Turf
from mowalert.domain.guides import Guide
from mowalert.domain.lawn import pace_of
from mowalert.domain.rounds import as_weekdays, timetable_for, weekdays_in
from mowalert.domain.stand import StandKey, rooting_class
from mowalert.domain.thirds import THIRD
from mowalert.domain.words import KeeperKind, Watering
from mowalert.service.growing.anchoring import place, place_kept, restarted
from mowalert.service.local.places import standard_offset_min, time_zone_at
from mowalert.service.ports import Store, Work
from mowalert.service.reading.lawn_rows import LawnRow
from mowalert.service.reading.lawn_table import ImportReport, keeper_key, site_key
from mowalert.service.records import AT_ENROLMENT, EventRecord, KeeperRecord, LawnRecord, SiteRecord
from mowalert.service.region.guides import guides_now

OPERATOR = "operator"
"""Consent as the operator's statement: they say their keepers agreed."""


class Outcome(StrEnum):
    """What became of one row."""

    ADDED = "added"
    CHANGED = "changed"
    UNCHANGED = "unchanged"


def enrol(
    store: Store,
    turf: Turf,
    rows: Sequence[LawnRow],
    report: ImportReport,
    *,
    source: str,
    cell_degrees: float,
    now: datetime,
) -> ImportReport:
    """Store good rows in one transaction.

    Parameters
    ----------
    store : Store
        Where they are kept.
    turf : Turf
        Grasses and soils.
    rows : Sequence[LawnRow]
        Rows that were read well.
    report : ImportReport
        What reading them found; the outcomes are added.
    source : str
        Where the operator's statement of consent comes from: the file's name.
    cell_degrees : float
        Side of a weather cell. [°]
    now : datetime
        The moment of the statement.

    Returns
    -------
    ImportReport
        The same report.
    """
    days = _days_by_keeper(rows)
    report.consent = OPERATOR
    with store.begin() as work:
        case = _Case(work, turf, source, cell_degrees, now, guides_now(work, turf))
        keeper_ids = set()
        for row in rows:
            keeper_id, outcome = _enrol_row(case, row, days[keeper_key(row)])
            keeper_ids.add(keeper_id)
            setattr(report, outcome.value, getattr(report, outcome.value) + 1)
        for keeper_id in sorted(keeper_ids):
            settle_round(work, keeper_id)
        work.commit()
    return report


@dataclass(frozen=True, slots=True)
class _Case:
    """What enrolling a row needs beside the row."""

    work: Work
    turf: Turf
    source: str
    cell_degrees: float
    now: datetime
    guides: Mapping[str, Guide]


def _days_by_keeper(rows: Sequence[LawnRow]) -> dict[str, list[frozenset[int]]]:
    days: dict[str, list[frozenset[int]]] = {}
    for row in rows:
        days.setdefault(keeper_key(row), []).append(row.mowing_days)
    return days


def _enrol_row(case: _Case, row: LawnRow, days: Sequence[frozenset[int]]) -> tuple[int, Outcome]:
    keeper, keeper_changed = _enrol_keeper(case, row, days)
    site, site_changed = _enrol_site(case, row, keeper)
    outcome = _enrol_lawn(case, row, keeper, site)
    if outcome is Outcome.UNCHANGED and (keeper_changed or site_changed):
        outcome = Outcome.CHANGED
    return keeper.keeper_id, outcome


def _enrol_keeper(case: _Case, row: LawnRow, days: Sequence[frozenset[int]]) -> tuple[KeeperRecord, bool]:
    known = case.work.keepers.by_key(keeper_key(row))
    if known is None:
        keeper = _new_keeper(case, row, days)
        return replace(keeper, keeper_id=case.work.keepers.add(keeper)), False
    told = {name: getattr(row, name) for name in _OF_KEEPER if name in row.said}
    kept = replace(known, name=row.keeper, **told)
    if kept != known:
        case.work.keepers.change(kept)
    return kept, kept != known


def pending_keeper(work: Work, row: LawnRow, *, now: datetime) -> KeeperRecord:
    """Return a keeper who has asked to join, with the round that suits their lawn; not yet kept.

    Nothing is told to them: they have no lawn until they confirm.
    """
    case = _Case(work, Turf({}, {}), "page", 0.0, now, {})
    return _new_keeper(case, row, [row.mowing_days])


_OF_KEEPER = ("email", "phone", "time_zone", "units", "silence")


def _new_keeper(case: _Case, row: LawnRow, days: Sequence[frozenset[int]]) -> KeeperRecord:
    return KeeperRecord(
        keeper_id=0,
        key=keeper_key(row),
        name=row.keeper,
        kind=row.kind,
        email=row.email,
        phone=row.phone,
        time_zone=row.time_zone,
        units=row.units,
        language="en",
        silence=row.silence,
        tells_all_holds=row.kind is KeeperKind.PARKS,
        round_id=_round_for(case.work, row.kind, row.time_zone, days),
        consent=OPERATOR,
        consent_at=case.now,
        consent_from=case.source,
    )


def _round_for(work: Work, kind: KeeperKind, time_zone: str, days: Iterable[frozenset[int]]) -> int:
    """Return the round that suits every lawn of a keeper."""
    kinds = set(days)
    every = frozenset[int]().union(*kinds)
    table = timetable_for(every, time_zone=time_zone, daily_list=kind is not KeeperKind.HOMEOWNER)
    return work.rounds.ensure(
        daily_list=table.daily_list,
        time_zone=table.time_zone,
        weekdays=table.weekdays,
        minute_of_day=table.minute_of_day,
        mixed=len(kinds) > 1,
    )


def settle_round(work: Work, keeper_id: int) -> None:
    """Move a keeper and all their lawns to the round that suits them now: one message for one person."""
    keeper = work.keepers.get([keeper_id])[keeper_id]
    lawns = work.lawns.of_keepers([keeper_id])
    days = [weekdays_in(lawn.mowing_days) for lawn in lawns]
    # Days a guide may forbid, now or in a later version, are days on which the next chance comes later.
    days += [frozenset[int]() for lawn in lawns if lawn.guide]
    round_id = _round_for(work, keeper.kind, keeper.time_zone, days)
    if keeper.round_id != round_id:
        work.keepers.change(replace(keeper, round_id=round_id))
    for lawn in lawns:
        if lawn.round_id != round_id:
            work.lawns.change(replace(lawn, round_id=round_id))


def _enrol_site(case: _Case, row: LawnRow, keeper: KeeperRecord) -> tuple[SiteRecord, bool]:
    where = cell_of(row.latitude_deg, row.longitude_deg, cell_degrees=case.cell_degrees)
    # The place's own zone cuts its days, whatever zone its keeper lives in.
    offset_min = standard_offset_min(time_zone_at(row.latitude_deg, row.longitude_deg), case.now.date())
    wanted = SiteRecord(
        site_id=0,
        keeper_id=keeper.keeper_id,
        key=site_key(row),
        name=row.site,
        address=row.address,
        latitude_deg=row.latitude_deg,
        longitude_deg=row.longitude_deg,
        cell_id=case.work.weather.ensure_cell(*where, offset_min),
    )
    site, new = case.work.keepers.ensure_site(wanted)
    address = row.address if new or "address" in row.said else site.address
    wanted = replace(wanted, site_id=site.site_id, address=address)
    if new or wanted == site:
        return wanted, False
    case.work.keepers.change_site(wanted)
    if wanted.cell_id != site.cell_id:
        _move_lawns(case, wanted)
    return wanted, True


def _move_lawns(case: _Case, site: SiteRecord) -> None:
    """Let every lawn of a site grow in the weather of its new place."""
    lawns = [lawn for lawn in case.work.lawns.of_keepers([site.keeper_id]) if lawn.site_id == site.site_id]
    stands = case.work.stands.get([lawn.stand_id for lawn in lawns])
    for lawn in lawns:
        stand_id = case.work.stands.ensure(site.cell_id, stands[lawn.stand_id].key)
        moved = replace(lawn, stand_id=stand_id, anchor_g_mm=None)
        case.work.lawns.change(moved)
        place(case.work, case.turf, [moved])


def _enrol_lawn(case: _Case, row: LawnRow, keeper: KeeperRecord, site: SiteRecord) -> Outcome:
    known = case.work.lawns.by_key(site.site_id, row.lawn.casefold())
    row = row if known is None else _with_known(case.work, row, known)
    lawn = _lawn(case, row, keeper, site)
    if known is None:
        return _add_lawn(case, lawn)
    return _change_lawn(case, row, known, replace(lawn, stand_id=_as_dry(case.work, known, lawn)))


def _as_dry(work: Work, known: LawnRecord, lawn: LawnRecord) -> int:
    """The stand a known lawn belongs to by a table: days without water are not the table's to change."""
    stands = work.stands.get([known.stand_id, lawn.stand_id])
    was, told = stands[known.stand_id].key, stands[lawn.stand_id]
    if not was.dry_from or told.key.watering is not Watering.REGULAR:
        return lawn.stand_id
    dry = replace(told.key, dry_from=was.dry_from, dry_until=was.dry_until)
    return work.stands.ensure(told.cell_id, dry)


def _with_known(work: Work, row: LawnRow, known: LawnRecord) -> LawnRow:
    """Fill a row's empty cells with what is known of its lawn."""
    key = work.stands.get([known.stand_id])[known.stand_id].key
    kept: dict[str, Any] = {
        "soil": key.soil,
        "watering": key.watering,
        "sun": key.sun,
        "nitrogen": known.nitrogen,
        "turf_class": known.turf_class,
        "mowing_days": weekdays_in(known.mowing_days),
        "mowing_hours": (known.mow_from_h, known.mow_to_h),
        "clippings": known.clippings,
        "guide": known.guide,
    }
    kept = {name: value for name, value in kept.items() if name not in row.said}
    area_m2 = known.area_m2 if row.area_m2 is None else row.area_m2
    return replace(row, area_m2=area_m2, **kept)


def _lawn(case: _Case, row: LawnRow, keeper: KeeperRecord, site: SiteRecord) -> LawnRecord:
    key = StandKey(row.grass.grass_id, row.soil, rooting_class(row.height_mm), row.sun, row.watering)
    return LawnRecord(
        lawn_id=0,
        site_id=site.site_id,
        keeper_id=keeper.keeper_id,
        round_id=keeper.round_id,
        stand_id=case.work.stands.ensure(site.cell_id, key),
        key=row.lawn.casefold(),
        name=row.lawn,
        grass=row.grass.grass_id,
        chosen_mm=row.height_mm,
        nitrogen=row.nitrogen,
        area_m2=row.area_m2,
        turf_class=row.turf_class,
        mowing_days=as_weekdays(row.mowing_days),
        mow_from_h=row.mowing_hours[0],
        mow_to_h=row.mowing_hours[1],
        clippings=row.clippings,
        learned=1.0,
        pace=pace_of(row.grass, row.height_mm, nitrogen=row.nitrogen, learned=1.0),
        anchored_on=row.last_mown_on or _today(row, case.now),
        anchor_height_mm=row.last_height_mm,
        anchor_g_mm=None,
        anchor_assumed=row.last_mown_on is None,
        guide=row.guide,
        follows_guide=row.follows_guide,
        third=guide.third if (guide := case.guides.get(row.guide or "")) else THIRD,
    )


def _today(row: LawnRow, now: datetime) -> date:
    return now.astimezone(ZoneInfo(row.time_zone)).date()


def _add_lawn(case: _Case, lawn: LawnRecord) -> Outcome:
    lawn = replace(lawn, lawn_id=case.work.lawns.add(lawn))
    if not lawn.anchor_assumed:
        case.work.lawns.happened([_mowing(lawn, case.now)])
    place(case.work, case.turf, [lawn])
    return Outcome.ADDED


_OF_LAWN = (
    "stand_id", "name", "grass", "chosen_mm", "nitrogen", "area_m2", "turf_class", "mowing_days",
    "mow_from_h", "mow_to_h", "clippings", "guide", "follows_guide", "third",
)  # fmt: skip
"""What a table tells of a lawn; where it stands and what was said of it are not the table's to change."""


def _change_lawn(case: _Case, row: LawnRow, known: LawnRecord, lawn: LawnRecord) -> Outcome:
    told = {name: getattr(lawn, name) for name in _OF_LAWN}
    kept = replace(known, **told)
    if kept != known:
        pace = pace_of(row.grass, row.height_mm, nitrogen=row.nitrogen, learned=known.learned)
        kept = replace(kept, pace=pace)
    news = _is_news(case.work, known, lawn)
    if news:
        case.work.lawns.happened([_mowing(replace(lawn, lawn_id=known.lawn_id), case.now)])
        kept = restarted(kept, on=lawn.anchored_on, height_mm=lawn.anchor_height_mm, assumed=False)
    if kept == known:
        return Outcome.UNCHANGED
    case.work.lawns.change(kept)
    if news:
        place(case.work, case.turf, [kept])
    else:
        place_kept(case.work, case.turf, [(known, kept)])
    return Outcome.CHANGED


def _is_news(work: Work, known: LawnRecord, lawn: LawnRecord) -> bool:
    """Whether the table tells of a cut later than what is known, or of the first cut known at all."""
    if lawn.anchor_assumed:
        return False
    return lawn.anchored_on > known.anchored_on or (
        known.anchor_assumed and not work.lawns.events(known.lawn_id)
    )


def _mowing(lawn: LawnRecord, now: datetime) -> EventRecord:
    return EventRecord(
        0, lawn.lawn_id, "mowing", lawn.anchored_on, lawn.anchor_height_mm, None, False, AT_ENROLMENT, now
    )
