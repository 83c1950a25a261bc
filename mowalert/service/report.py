"""A keeper reports a cut or a measured height, or takes a report back."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from mowalert.domain.grasses import Turf
from mowalert.domain.lawn import LawnFacts
from mowalert.domain.thirds import removed_fraction
from mowalert.errors import InputError
from mowalert.service.anchoring import place, restarted
from mowalert.service.outlook import lawn_facts, load_stands
from mowalert.service.ports import Store, Work
from mowalert.service.records import EventRecord, LawnRecord, Said

SEASON_DAYS = 300
LOWEST_MM = 2.0
TALLEST_SHARE = 6.0
"""A reported height above this many times the chosen height is taken for a slip of the pen."""


@dataclass(frozen=True, slots=True)
class Reported:
    """What a report did: heights before and after, the share removed, and the day it counts from."""

    lawn_id: int
    on: date
    before_mm: float | None
    height_mm: float
    removed_fraction: float | None


def report_mowing(
    store: Store,
    turf: Turf,
    lawn_id: int,
    *,
    height_mm: float | None,
    on: date,
    today: date,
    now: datetime,
    by: str,
) -> Reported:
    """Restart a lawn's height from a cut.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    turf : Turf
        Grasses and soils.
    lawn_id : int
        The lawn.
    height_mm : float | None
        Height after the cut; the chosen height if not said. [mm]
    on : date
        Local day of the cut.
    today : date
        The keeper's local day.
    now : datetime
        Moment of the report.
    by : str
        How it came: ``cli``, ``csv``, ``sms``, ``page``.

    Returns
    -------
    Reported
        What it did.

    Raises
    ------
    InputError
        If the lawn is unknown, the day is still to come or too old, or the height cannot be.
    """
    with store.begin() as work:
        lawn = _lawn(work, lawn_id)
        _check_day(on, lawn, today=today, last_night_on=_last_night_on(work))
        height = lawn.chosen_mm if height_mm is None else _checked_height(height_mm, lawn, turf)
        before = _height_before(work, turf, lawn, on)
        event = EventRecord(0, lawn_id, "mowing", on, height, before, False, by, now)
        _restart(work, turf, lawn, event, height, now)
        work.commit()
    removed = None if before is None else removed_fraction(max(before, height), height)
    return Reported(lawn_id, on, before, height, removed)


def report_height(
    store: Store,
    turf: Turf,
    lawn_id: int,
    *,
    height_mm: float,
    on: date,
    today: date,
    now: datetime,
    by: str,
) -> Reported:
    """Restart a lawn's height from a measured one; parameters and errors as for a mowing."""
    with store.begin() as work:
        lawn = _lawn(work, lawn_id)
        _check_day(on, lawn, today=today, last_night_on=_last_night_on(work))
        height = _checked_height(height_mm, lawn, turf)
        before = _height_before(work, turf, lawn, on)
        event = EventRecord(0, lawn_id, "height", on, height, before, False, by, now)
        _restart(work, turf, lawn, event, height, now)
        work.commit()
    return Reported(lawn_id, on, before, height, None)


def undo_last(store: Store, turf: Turf, lawn_id: int, *, now: datetime) -> EventRecord:
    """Take a lawn's newest report back; it starts again from the one before.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    turf : Turf
        Grasses and soils.
    lawn_id : int
        The lawn.
    now : datetime
        Moment of the undoing.

    Returns
    -------
    EventRecord
        What was taken back.

    Raises
    ------
    InputError
        If the lawn is unknown or nothing was reported.
    """
    with store.begin() as work:
        lawn = _lawn(work, lawn_id)
        undone = work.lawns.undo_last(lawn_id, at=now)
        if undone is None:
            raise InputError(f"lawn {lawn_id}: nothing has been reported that could be undone")
        left = [event for event in work.lawns.events(lawn_id) if event.height_mm is not None]
        if left:
            last = max(left, key=lambda event: (event.on, event.event_id))
            on, height_mm, assumed = last.on, last.height_mm or lawn.chosen_mm, last.assumed
        else:
            on, height_mm, assumed = undone.on, undone.before_mm or lawn.chosen_mm, True
        place(work, turf, [restarted(lawn, on=on, height_mm=height_mm, assumed=assumed)])
        work.commit()
    return undone


def _lawn(work: Work, lawn_id: int) -> LawnRecord:
    found = work.lawns.get([lawn_id])
    if not found:
        raise InputError(f"there is no lawn {lawn_id}; `mowalert lawns show` lists them")
    return found[0]


def _last_night_on(work: Work) -> date | None:
    said = work.get_meta("last_night_at")
    return datetime.fromisoformat(said).date() if said else None


def _check_day(on: date, lawn: LawnRecord, *, today: date, last_night_on: date | None) -> None:
    if on > today:
        raise InputError(f"{on} is still to come")
    # A replay of past weather has its own today: the night it last ran.
    season = min(today, last_night_on or today)
    if on < season - timedelta(days=SEASON_DAYS):
        raise InputError(f"{on} is more than {SEASON_DAYS} days ago, before this season")
    if on < lawn.anchored_on and not lawn.anchor_assumed:
        raise InputError(f"{on} is before the last report, of {lawn.anchored_on}; undo that one first")


def _checked_height(height_mm: float, lawn: LawnRecord, turf: Turf) -> float:
    ceiling = min(TALLEST_SHARE * lawn.chosen_mm, turf.grasses[lawn.grass].ceiling_mm - 1)
    if not LOWEST_MM <= height_mm <= ceiling:
        raise InputError(
            f"{height_mm:g} mm cannot be the height of a lawn kept at {lawn.chosen_mm:g} mm: "
            f"say {LOWEST_MM:g} to {ceiling:.0f} mm"
        )
    return height_mm


def _height_before(work: Work, turf: Turf, lawn: LawnRecord, on: date) -> float | None:
    """Height the model had for the evening of a day; none where the lawn has no place yet."""
    stand = load_stands(work, [lawn.stand_id]).get(lawn.stand_id)
    if stand is None or lawn.anchor_g_mm is None or on < lawn.anchored_on:
        return None
    column = (on - stand.growth.curve_from).days
    if not 0 <= column < stand.curve.shape[1]:
        return None
    facts: LawnFacts = lawn_facts(lawn, work.keepers.sites([lawn.site_id])[lawn.site_id], turf)
    return facts.height_at(float(stand.curve[0, column]))


def _restart(
    work: Work, turf: Turf, lawn: LawnRecord, event: EventRecord, height_mm: float, now: datetime
) -> None:
    work.lawns.happened([event])
    work.lawns.said([Said(lawn.lawn_id, lawn.told_hold, lawn.told_hold_on, None, None)])
    place(work, turf, [restarted(lawn, on=event.on, height_mm=height_mm, assumed=False)])
    if event.kind == "mowing":
        work.outbox.cancel_for_lawn(lawn.lawn_id, at=now)
