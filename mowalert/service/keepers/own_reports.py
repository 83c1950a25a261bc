"""What a keeper's own programs may say of this keeper's lawns; said twice, it counts once.

A program that got no answer says the same again. Whatever is there already, word for word, is answered and
not added: a cut of the same day to the same height, the same days to be left alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from enum import StrEnum

from mowalert.domain.grasses import Turf
from mowalert.domain.thirds import removed_fraction
from mowalert.domain.words import HoldReason
from mowalert.errors import InputError
from mowalert.service.growing.learn import teaches
from mowalert.service.keepers.keys import Asker
from mowalert.service.keepers.own_lawns import NotThereError, lawn_of
from mowalert.service.lawns.report import report_height, report_mowing, reported_before, undo_last
from mowalert.service.ports import Store
from mowalert.service.records import EventRecord, KeptOff, LawnRecord
from mowalert.service.region.guides import allow_again, keep_off
from mowalert.service.within import Within

BY = "api"
DAYS_AHEAD = 800
"""How far from today days to be left alone may lie: two seasons and a bit, as a plan reaches."""


class ReportKind(StrEnum):
    """What a program may report of a lawn's height."""

    MOWING = "mowing"
    HEIGHT = "height"


@dataclass(frozen=True, slots=True)
class OwnReport:
    """A report as it is kept.

    ``repeated`` if it was known already, ``taught`` if the lawn's own pace heeds it.
    """

    event: EventRecord
    removed_fraction: float | None
    taught: bool
    repeated: bool


@dataclass(frozen=True, slots=True)
class OwnKeptOff:
    """Days on which a lawn is left alone; ``repeated`` if they were known already."""

    days: KeptOff
    repeated: bool


def report_own(
    store: Store,
    turf: Turf,
    asker: Asker,
    lawn_id: int,
    kind: ReportKind,
    *,
    height_mm: float | None,
    on: date | None,
    now: datetime,
) -> OwnReport:
    """Restart a lawn's height from a cut or a measured height.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    turf : Turf
        Grasses and soils.
    asker : Asker
        Whose lawn it must be.
    lawn_id : int
        The lawn.
    kind : ReportKind
        What was done.
    height_mm : float | None
        Height of the grass after it; the chosen height of a cut if not said. [mm]
    on : date | None
        Local day; today if not said.
    now : datetime
        The moment.

    Returns
    -------
    OwnReport
        The report as it is kept.

    Raises
    ------
    NotThereError
        If the lawn is not this keeper's.
    InputError
        If the day or the height cannot be.
    """
    today = asker.keeper.today(now)
    day = on or today
    with store.begin() as work:
        work.keys.lock(asker.key.key_id)
        lawn = lawn_of(work, asker.keeper, lawn_id)
        height = lawn.chosen_mm if height_mm is None else height_mm
        known = reported_before(work.lawns.events(lawn_id), kind, day, height)
        if known is None:
            _report(Within(work), turf, lawn, kind, height, day, today, now)
        event = known or reported_before(work.lawns.events(lawn_id), kind, day, height)
        work.commit()
    assert event is not None  # noqa: S101 - it was kept a line ago
    return _own_report(event, lawn, turf, repeated=known is not None)


def _report(
    store: Store,
    turf: Turf,
    lawn: LawnRecord,
    kind: ReportKind,
    height_mm: float,
    on: date,
    today: date,
    now: datetime,
) -> None:
    report = report_mowing if kind is ReportKind.MOWING else report_height
    report(store, turf, lawn.lawn_id, height_mm=height_mm, on=on, today=today, now=now, by=BY)


def _own_report(event: EventRecord, lawn: LawnRecord, turf: Turf, *, repeated: bool) -> OwnReport:
    removed = None
    if event.kind == ReportKind.MOWING and event.before_mm is not None and event.height_mm is not None:
        removed = removed_fraction(max(event.before_mm, event.height_mm), event.height_mm)
    taught = event.kind == ReportKind.HEIGHT and teaches(event, turf.grasses[lawn.grass])
    return OwnReport(event, removed, taught, repeated)


def undo_own(
    store: Store, turf: Turf, asker: Asker, lawn_id: int, *, report_id: int | None, now: datetime
) -> EventRecord:
    """Take a lawn's newest report back.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    turf : Turf
        Grasses and soils.
    asker : Asker
        Whose lawn it must be.
    lawn_id : int
        The lawn.
    report_id : int | None
        The report meant; whichever is the newest if not given. Said twice, it takes back no second one.
    now : datetime
        The moment.

    Returns
    -------
    EventRecord
        What was taken back.

    Raises
    ------
    NotThereError
        If the lawn is not this keeper's, or the report is not its newest.
    """
    with store.begin() as work:
        work.keys.lock(asker.key.key_id)
        lawn = lawn_of(work, asker.keeper, lawn_id)
        newest = _newest(work.lawns.events(lawn.lawn_id))
        if newest is None:
            raise NotThereError(f"nothing has been reported of lawn {lawn_id} that could be taken back")
        if report_id not in (None, newest.event_id):
            raise NotThereError(f"report {report_id} is not the newest of lawn {lawn_id}")
        undone = undo_last(Within(work), turf, lawn_id, now=now)
        work.commit()
    return undone


def _newest(events: Sequence[EventRecord]) -> EventRecord | None:
    reported = [event for event in events if not event.assumed]
    return max(reported, key=lambda event: event.event_id, default=None)


def keep_off_own(
    store: Store,
    asker: Asker,
    lawn_id: int,
    *,
    reason: HoldReason,
    first_on: date,
    last_on: date,
    note: str,
    now: datetime,
) -> OwnKeptOff:
    """Leave a lawn alone on some days, both included.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    asker : Asker
        Whose lawn it must be.
    lawn_id : int
        The lawn.
    reason : HoldReason
        ``treatment``, ``event``, ``nesting`` or ``noise``.
    first_on : date
        First day.
    last_on : date
        Last day.
    note : str
        What is said with it.
    now : datetime
        The moment.

    Returns
    -------
    OwnKeptOff
        The days as they are kept.

    Raises
    ------
    NotThereError
        If the lawn is not this keeper's.
    InputError
        If the days cannot be.
    """
    _check_near(first_on, last_on, asker.keeper.today(now))
    said = KeptOff(0, lawn_id, reason, first_on, last_on, note, now)
    with store.begin() as work:
        work.keys.lock(asker.key.key_id)
        lawn_of(work, asker.keeper, lawn_id)
        for days in work.lawns.kept_off([lawn_id], since=last_on).get(lawn_id, ()):
            if replace(days, kept_off_id=0, said_at=now) == said:
                return OwnKeptOff(days, repeated=True)
        kept = keep_off(
            Within(work), lawn_id, reason=reason, first_on=first_on, last_on=last_on, note=note, now=now
        )
        work.commit()
    return OwnKeptOff(kept, repeated=False)


def _check_near(first_on: date, last_on: date, today: date) -> None:
    for on in (first_on, last_on):
        if abs(on - today) > timedelta(days=DAYS_AHEAD):
            raise InputError(f"{on} is more than {DAYS_AHEAD} days from today")


def allow_own(store: Store, asker: Asker, lawn_id: int, kept_off_id: int, *, now: datetime) -> KeptOff:
    """Take days back on which a lawn was to be left alone; NotThereError if they are not this lawn's."""
    with store.begin() as work:
        work.keys.lock(asker.key.key_id)
        lawn_of(work, asker.keeper, lawn_id)
        known = work.lawns.kept_off([lawn_id], since=date.min).get(lawn_id, ())
        if kept_off_id not in {days.kept_off_id for days in known}:
            raise NotThereError(f"lawn {lawn_id} has no days to be left alone with number {kept_off_id}")
        allowed = allow_again(Within(work), kept_off_id, now=now)
        work.commit()
    return allowed
