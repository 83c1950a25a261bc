"""Irrigation that is off: its lawns grow with a twin of their stand that goes without water for that time."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from mowalert.domain.grasses import Turf
from mowalert.domain.stand import StandKey
from mowalert.domain.words import Watering
from mowalert.errors import InputError
from mowalert.service.anchoring import place
from mowalert.service.class_rules import lawns_of
from mowalert.service.known import organisation
from mowalert.service.park_records import RestrictionKind, WateringOff
from mowalert.service.ports import Store, Work
from mowalert.service.records import LawnRecord, StandRecord
from mowalert.service.restrictions import holds_for

REMEMBERED_D = 30
"""Days after which soil that is watered again is like soil that always was. Working value."""
FOR_EVER = date.max


@dataclass(frozen=True, slots=True)
class Where:
    """Which lawns of an organisation are meant: all, or those of sites, a turf class, a district."""

    sites: tuple[str, ...] = ()
    turf_class: str = ""
    district: str = ""


def turn_off(
    store: Store,
    keeper: str,
    where: Where,
    *,
    first_on: date,
    last_on: date | None,
    note: str,
    now: datetime,
) -> list[WateringOff]:
    """Keep that irrigation is off, lawn by lawn.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    where : Where
        Which lawns.
    first_on : date
        First day without water.
    last_on : date | None
        Last such day; until further notice if not given.
    note : str
        Why.
    now : datetime
        The moment, aware.

    Returns
    -------
    list[WateringOff]
        What was kept, one entry a lawn.

    Raises
    ------
    InputError
        If no such lawn is watered, or the days cannot be.
    """
    if last_on is not None and last_on < first_on:
        raise InputError(f"{last_on} is before {first_on}")
    with store.begin() as work:
        of = organisation(work, keeper)
        lawns = lawns_of(work, of.keeper_id, where.sites, where.turf_class, where.district)
        stands = work.stands.get(sorted({lawn.stand_id for lawn in lawns}))
        watered = [lawn for lawn in lawns if stands[lawn.stand_id].key.watering is Watering.REGULAR]
        if not watered:
            raise InputError(f"{of.name}: no such lawn is watered")
        kept = []
        for lawn in watered:
            off = WateringOff(0, of.keeper_id, lawn.lawn_id, first_on, last_on, note.strip()[:200], now)
            kept.append(replace(off, off_id=work.parks.turn_off(off)))
        work.commit()
    return kept


def turn_on(store: Store, keeper: str, off_id: int, *, now: datetime) -> WateringOff:
    """Take back that irrigation is off; InputError if there is no such number."""
    with store.begin() as work:
        of = organisation(work, keeper)
        if off_id not in {one.off_id for one in work.parks.watering_off(of.keeper_id, since=date.min)}:
            raise InputError(f"{of.name} has no irrigation off with number {off_id}")
        back = work.parks.turn_on(off_id, at=now)
        work.commit()
    assert back is not None  # noqa: S101 - it was there a line ago
    return back


def follow_watering(store: Store, turf: Turf, *, today: date) -> int:
    """Move lawns to stands with the dry days that are known for them, and back a month after their end.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    today : date
        The day.

    Returns
    -------
    int
        How many lawns were moved. Before their first dry day both stands have grown alike: no height jumps.
    """
    with store.begin() as work:
        dry = _dry_days(work, since=today - timedelta(days=REMEMBERED_D))
        lawns = work.lawns.get(sorted({*dry, *work.parks.dry_lawns()}))
        stands = work.stands.get(sorted({lawn.stand_id for lawn in lawns}))
        moved = [
            one
            for lawn in lawns
            if (one := _moved(work, lawn, stands[lawn.stand_id], dry.get(lawn.lawn_id))) is not None
        ]
        for lawn in moved:
            work.lawns.change(lawn)
        place(work, turf, [replace(lawn, anchor_g_mm=None) for lawn in moved])
        work.commit()
    return len(moved)


def _moved(
    work: Work, lawn: LawnRecord, stand: StandRecord, dry: tuple[date, date] | None
) -> LawnRecord | None:
    """The lawn in the stand it belongs to; none if it is there."""
    if stand.key.watering is not Watering.REGULAR:
        return None
    wanted = _with_dry(stand.key, dry)
    if wanted == stand.key:
        return None
    return replace(lawn, stand_id=work.stands.ensure(stand.cell_id, wanted))


def _with_dry(key: StandKey, dry: tuple[date, date] | None) -> StandKey:
    if dry is None:
        return replace(key, dry_from=0, dry_until=0)
    first, last = dry
    return replace(key, dry_from=first.toordinal(), dry_until=0 if last == FOR_EVER else last.toordinal())


def _dry_days(work: Work, *, since: date) -> dict[int, tuple[date, date]]:
    """First and last dry day by lawn: of irrigation that is off, and of bans; several count as one span."""
    spans: dict[int, list[tuple[date, date]]] = {}
    for off in work.parks.watering_off(None, since=since):
        spans.setdefault(off.lawn_id, []).append((off.first_on, off.last_on or FOR_EVER))
    for lawn_id, span in _banned(work, since):
        spans.setdefault(lawn_id, []).append(span)
    return {lawn_id: _one(of) for lawn_id, of in spans.items()}


def _one(spans: Sequence[tuple[date, date]]) -> tuple[date, date]:
    return min(first for first, _ in spans), max(last for _, last in spans)


def _banned(work: Work, since: date) -> Iterable[tuple[int, tuple[date, date]]]:
    """Lawns in places where watering is forbidden, and when."""
    for keeper_id, rules in work.parks.restrictions(None, since=since).items():
        bans = [rule for rule in rules if rule.kind is RestrictionKind.WATERING_OFF]
        if not bans:
            continue
        lawns = work.lawns.of_keepers([keeper_id])
        sites = work.keepers.sites(sorted({lawn.site_id for lawn in lawns}))
        for rule in bans:
            for lawn in lawns:
                if holds_for(rule, sites[lawn.site_id], on=rule.first_on):
                    yield lawn.lawn_id, (rule.first_on, rule.last_on or FOR_EVER)
