"""A keeper reports a cut or a measured height, or takes a report back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from mowalert.domain.grasses import Turf
from mowalert.domain.learning import Learned
from mowalert.domain.thirds import removed_fraction
from mowalert.errors import InputError, Millimetres
from mowalert.languages import N_
from mowalert.service.growing.anchoring import place, restarted, standing_at
from mowalert.service.growing.grow import anchor_at
from mowalert.service.growing.learn import (
    FORGET,
    HEIGHT,
    interval_closed,
    learned_from,
    teaches,
    with_learned,
)
from mowalert.service.growing.outlook import lawn_facts, load_stands
from mowalert.service.known import known_lawn
from mowalert.service.ports import Store, Work
from mowalert.service.records import EventRecord, LawnRecord, Said

SEASON_DAYS = 300
LOWEST_MM = 2.0
TALLEST_SHARE = 6.0
"""A reported height above this many times the chosen height is taken for a slip of the pen."""


@dataclass(frozen=True, slots=True)
class Reported:
    """What a report did: heights before and after, the share removed, and the day it counts from.

    ``learned`` is what all measured heights have taught; ``taught`` whether this one could be used.
    """

    lawn_id: int
    on: date
    before_mm: float | None
    height_mm: float
    removed_fraction: float | None
    learned: Learned | None = None
    taught: bool = False


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
        lawn = known_lawn(work, lawn_id)
        _check_day(on, lawn, today=today, last_night_on=_last_night_on(work))
        height = lawn.chosen_mm if height_mm is None else _checked_height(height_mm, lawn, turf)
        before = _height_of(lawn, work, turf, _growth_on(work, lawn, on))
        event = EventRecord(0, lawn_id, "mowing", on, height, before, False, by, now)
        work.lawns.happened([event])
        _restart(work, turf, lawn, event, height)
        work.outbox.cancel_for_lawn(lawn.keeper_id, lawn_id, at=now)
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
        lawn = known_lawn(work, lawn_id)
        _check_day(on, lawn, today=today, last_night_on=_last_night_on(work))
        height = _checked_height(height_mm, lawn, turf)
        growth_mm = _growth_on(work, lawn, on)
        before = _height_of(lawn, work, turf, growth_mm)
        event = EventRecord(0, lawn_id, HEIGHT, on, height, before, False, by, now)
        event = interval_closed(event, lawn, work.lawns.events(lawn_id), growth_mm)
        work.lawns.happened([event])
        taught_lawn, learned = _relearned(work, turf, lawn)
        _restart(work, turf, taught_lawn, event, height)
        work.commit()
    taught = teaches(event, turf.grasses[lawn.grass])
    return Reported(lawn_id, on, before, height, None, learned, taught)


def forget_learned(store: Store, turf: Turf, lawn_id: int, *, on: date, now: datetime) -> Learned:
    """Forget what a lawn's measured heights have taught; it grows at the model's pace again.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    turf : Turf
        Grasses and soils.
    lawn_id : int
        The lawn.
    on : date
        The keeper's local day.
    now : datetime
        The moment.

    Returns
    -------
    Learned
        What is left: nothing. Taking the newest report back brings it back.

    Raises
    ------
    InputError
        If the lawn is unknown or has taught nothing.
    """
    with store.begin() as work:
        lawn = known_lawn(work, lawn_id)
        if not lawn.learned_reports:
            raise InputError(N_("nothing has been learned that could be forgotten"))
        work.lawns.happened([EventRecord(0, lawn_id, FORGET, on, None, None, False, "cli", now)])
        blank, learned = _relearned(work, turf, lawn)
        _grow_anew(work, turf, blank)
        work.commit()
    return learned


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
        lawn = known_lawn(work, lawn_id)
        undone = work.lawns.undo_last(lawn_id, at=now)
        if undone is None:
            raise InputError(N_("nothing has been reported that could be undone"))
        left = [event for event in work.lawns.events(lawn_id) if event.height_mm is not None]
        knows_less, _ = _relearned(work, turf, lawn)
        if undone.kind == FORGET:
            _grow_anew(work, turf, knows_less)
        elif left:
            last = max(left, key=lambda event: (event.on, event.event_id))
            height_mm = last.height_mm or lawn.chosen_mm
            again = restarted(knows_less, on=last.on, height_mm=height_mm, assumed=last.assumed)
            _put_back(work, turf, again, undone)
        else:
            height_mm = undone.before_mm or lawn.chosen_mm
            place(work, turf, [restarted(knows_less, on=undone.on, height_mm=height_mm, assumed=True)])
        work.commit()
    return undone


def _grow_anew(work: Work, turf: Turf, lawn: LawnRecord) -> None:
    """Let a lawn have grown at another pace since it was last cut."""
    if lawn.anchor_g_mm is None:
        place(work, turf, [lawn])
        return
    on, growth_mm, assumed = lawn.anchored_on, lawn.anchor_g_mm, lawn.anchor_assumed
    work.lawns.anchor([anchor_at(lawn, turf, on=on, growth_mm=growth_mm, assumed=assumed)])


def _put_back(work: Work, turf: Turf, lawn: LawnRecord, undone: EventRecord) -> None:
    """Put a lawn back to the report before; where that is older than its curve, by its height just before."""
    growth, stood = work.stands.growth([lawn.stand_id]).get(lawn.stand_id), None
    if growth is not None and lawn.anchored_on < growth.curve_from and undone.before_mm is not None:
        stood = standing_at(lawn, growth, turf, on=undone.on, height_mm=undone.before_mm)
    if stood is None:
        place(work, turf, [lawn])
    else:
        work.lawns.anchor([stood])


def reported_before(
    events: Sequence[EventRecord], kind: str, on: date, height_mm: float, *, within_mm: float = 0.0
) -> EventRecord | None:
    """Return the newest report that says just this; heights nearer than ``within_mm`` count as one."""
    same = [
        event
        for event in events
        if (event.kind, event.on, event.assumed) == (kind, on, False)
        and event.height_mm is not None
        and (event.height_mm == height_mm or abs(event.height_mm - height_mm) < within_mm)
    ]
    return same[-1] if same else None


def _last_night_on(work: Work) -> date | None:
    said = work.get_meta("last_night_at")
    return datetime.fromisoformat(said).date() if said else None


def _check_day(on: date, lawn: LawnRecord, *, today: date, last_night_on: date | None) -> None:
    if on > today:
        raise InputError(N_("{day} is still to come"), day=on)
    # A replay of past weather has its own today: the night it last ran.
    season = min(today, last_night_on or today)
    if on < season - timedelta(days=SEASON_DAYS):
        said = N_("{day} is more than {days} days ago, before this season")
        raise InputError(said, day=on, days=SEASON_DAYS)
    if on < lawn.anchored_on and not lawn.anchor_assumed:
        said = N_("{day} is before the last report, of {last}; undo that one first")
        raise InputError(said, day=on, last=lawn.anchored_on)


def _checked_height(height_mm: float, lawn: LawnRecord, turf: Turf) -> float:
    ceiling = min(TALLEST_SHARE * lawn.chosen_mm, turf.grasses[lawn.grass].ceiling_mm - 1)
    if not LOWEST_MM <= height_mm <= ceiling:
        raise InputError(
            N_("{told} cannot be the height of a lawn kept at {kept}: say {least} to {most}"),
            told=Millimetres(height_mm),
            kept=Millimetres(lawn.chosen_mm),
            least=Millimetres(LOWEST_MM),
            most=Millimetres(round(ceiling)),
        )
    return height_mm


def _growth_on(work: Work, lawn: LawnRecord, on: date) -> float | None:
    """The stand's curve in the evening of a day; none where it is not known, or the lawn has no place."""
    stand = load_stands(work, [lawn.stand_id]).get(lawn.stand_id)
    if stand is None or lawn.anchor_g_mm is None or on < lawn.anchored_on:
        return None
    column = (on - stand.growth.curve_from).days
    return float(stand.curve[0, column]) if 0 <= column < stand.curve.shape[1] else None


def _height_of(lawn: LawnRecord, work: Work, turf: Turf, growth_mm: float | None) -> float | None:
    """Height the model has for a value of the curve."""
    if growth_mm is None:
        return None
    return lawn_facts(lawn, work.keepers.sites([lawn.site_id])[lawn.site_id], turf).height_at(growth_mm)


def _relearned(work: Work, turf: Turf, lawn: LawnRecord) -> tuple[LawnRecord, Learned]:
    """Fit the lawn's factor to all its reports and keep it; where the lawn stands is still to be told."""
    learned = learned_from(work.lawns.events(lawn.lawn_id), turf.grasses[lawn.grass])
    changed = with_learned(lawn, learned, turf)
    work.lawns.change(changed)
    return changed, learned


def _restart(work: Work, turf: Turf, lawn: LawnRecord, event: EventRecord, height_mm: float) -> None:
    work.lawns.said([Said(lawn.lawn_id, lawn.told_hold, lawn.told_hold_on, None, None)])
    place(work, turf, [restarted(lawn, on=event.on, height_mm=height_mm, assumed=False)])
