"""What the invented town's crews do with what they are told, and what they say of it in the evening."""

from datetime import date, datetime, timedelta
from random import Random

from mowalert.demo.town import ZONE
from mowalert.domain.day_sheet import DaySheet, SheetStop
from mowalert.domain.grasses import Turf
from mowalert.domain.words import NoticeKind
from mowalert.service.crew_records import Outcome, SkipReason
from mowalert.service.crews.day_plans import newest_sheets
from mowalert.service.crews.visits import Visit, report_visit
from mowalert.service.lawns.report import report_mowing
from mowalert.service.records import KeeperRecord, ToldRecord
from mowalert.store.engine import SqlStore

CUTS = frozenset({NoticeKind.MOW, NoticeKind.OVERGROWN})
DONE = 0.85
"""Share of what is listed that a crew gets done the same day."""
SKIPPED_FOR = (SkipReason.LOCKED, SkipReason.DOG, SkipReason.NO_TIME, SkipReason.CLIENT)
EVENING = timedelta(hours=11)
"""After the morning's round."""


def crews_work(
    store: SqlStore, turf: Turf, told: tuple[ToldRecord, ...], random: Random, *, now: datetime
) -> int:
    """Let crews do most of what is on their lists, and report it.

    Parameters
    ----------
    store : SqlStore
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    told : tuple[ToldRecord, ...]
        What the round at ``now`` said.
    random : Random
        What gets done.
    now : datetime
        The round's moment, aware.

    Returns
    -------
    int
        Cuts reported.
    """
    today = now.astimezone(ZONE).date()
    with store.begin() as work:
        organisations = work.keepers.organisations()
        sheets = {
            one.keeper_id: newest_sheets(work, one.keeper_id, first=today, last=today)
            for one in organisations
        }
    done = 0
    for keeper in organisations:
        if sheets[keeper.keeper_id]:
            done += _visit(store, turf, sheets[keeper.keeper_id][0], random, now + EVENING)
        else:
            done += _mow_what_is_told(store, turf, keeper, told, random, today, now + EVENING)
    return done


def _visit(store: SqlStore, turf: Turf, sheet: DaySheet, random: Random, at: datetime) -> int:
    visits = [_visited(stop, sheet.on, random) for crew in sheet.crews for stop in crew.stops]
    for visit in visits:
        report_visit(store, turf, sheet.keeper_id, visit, by="crew", now=at)
    return sum(visit.outcome is Outcome.DONE for visit in visits)


def _visited(stop: SheetStop, on: date, random: Random) -> Visit:
    lawn = stop.lawn
    if random.random() > DONE:
        return Visit(lawn.lawn_id, on, Outcome.SKIPPED, random.choice(SKIPPED_FOR))
    minutes = round(lawn.minutes * random.uniform(0.8, 1.3))
    return Visit(lawn.lawn_id, on, Outcome.DONE, minutes=minutes, height_mm=lawn.cut_to_mm)


def _mow_what_is_told(
    store: SqlStore,
    turf: Turf,
    keeper: KeeperRecord,
    told: tuple[ToldRecord, ...],
    random: Random,
    today: date,
    at: datetime,
) -> int:
    done = 0
    for record in told:
        if record.keeper_id != keeper.keeper_id or record.kind not in CUTS or random.random() > DONE:
            continue
        said = record.facts.get("cut_to_mm")
        height_mm = float(said) if isinstance(said, int | float) else None
        report_mowing(
            store, turf, record.lawn_id, height_mm=height_mm, on=today, today=today, now=at, by="csv"
        )
        done += 1
    return done
