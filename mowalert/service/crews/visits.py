"""Visits back: what was done at a lawn or why it was skipped, told once, taken back as a whole."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from mowalert.domain.grasses import Turf
from mowalert.domain.words import Clippings
from mowalert.domain.work_minutes import learn_minutes, usual_minutes
from mowalert.errors import InputError
from mowalert.languages import N_
from mowalert.service.crew_records import LawnWork, Outcome, SkipReason, VisitRecord
from mowalert.service.crews.day_plans import sheet_of
from mowalert.service.known import known_keeper, known_lawn
from mowalert.service.lawns.report import report_mowing, undo_last
from mowalert.service.ports import Store, Work
from mowalert.service.records import LawnRecord
from mowalert.service.within import Within

OLDEST_D = 60
"""Days after which a visit is no longer reported but written into a record elsewhere."""
LONGEST_MIN = 24 * 60.0
LONGEST_NOTE = 200
SAME_MM = 0.5


@dataclass(frozen=True, slots=True)
class Visit:
    """What somebody says of a visit. Height in mm, minutes at the lawn; none where they were not told."""

    lawn_id: int
    on: date
    outcome: Outcome
    reason: SkipReason | None = None
    note: str = ""
    minutes: float | None = None
    height_mm: float | None = None
    clippings: Clippings | None = None


@dataclass(frozen=True, slots=True)
class TakenVisit:
    """A visit as it is kept; ``repeated`` if it was known already."""

    visit: VisitRecord
    repeated: bool


def report_visit(
    store: Store, turf: Turf, keeper_id: int, visit: Visit, *, by: str, now: datetime
) -> TakenVisit:
    """Keep a visit; one that was done restarts the lawn's height, one that was skipped leaves it due.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    keeper_id : int
        The organisation whose lawn it must be.
    visit : Visit
        What was said.
    by : str
        Who said it.
    now : datetime
        The moment, aware.

    Returns
    -------
    TakenVisit
        The visit. Said again in the same words, it is not kept twice.

    Raises
    ------
    InputError
        If there is no such lawn, the day or a figure cannot be, or another visit of that day is known.
    """
    with store.begin() as work:
        lawn = own_lawn(work, keeper_id, visit.lawn_id)
        _check(work, keeper_id, visit, now)
        if known := _known(work, lawn, visit):
            return TakenVisit(known, repeated=True)
        kept = _keep(work, turf, lawn, visit, by, now)
        work.commit()
    return TakenVisit(kept, repeated=False)


def own_lawn(work: Work, keeper_id: int, lawn_id: int) -> LawnRecord:
    """Return an organisation's lawn; another's is none."""
    lawn = known_lawn(work, lawn_id)
    if lawn.keeper_id != keeper_id:
        raise InputError(N_("there is no lawn {lawn}; `mowalert lawns show` lists them"), lawn=lawn_id)
    return lawn


def _check(work: Work, keeper_id: int, visit: Visit, now: datetime) -> None:
    today = known_keeper(work, keeper_id).today(now)
    if visit.on > today:
        raise InputError(N_("{day} is still to come"), day=visit.on)
    if visit.on < today - timedelta(days=OLDEST_D):
        raise InputError(N_("{day} is more than {days} days ago"), day=visit.on, days=OLDEST_D)
    if visit.outcome is Outcome.SKIPPED and visit.reason is None:
        raise InputError(N_("say why it was skipped"))
    if visit.minutes is not None and not 0 < visit.minutes <= LONGEST_MIN:
        said = N_("{minutes} minutes cannot be; say more than 0 and at most {most}")
        raise InputError(said, minutes=f"{visit.minutes:g}", most=f"{LONGEST_MIN:g}")
    if len(visit.note) > LONGEST_NOTE or not visit.note.isprintable():
        raise InputError(N_("a note is plain text of at most {letters} letters"), letters=LONGEST_NOTE)


def _known(work: Work, lawn: LawnRecord, visit: Visit) -> VisitRecord | None:
    """The visit of that day if it says the same; a visit that says otherwise must be taken back first."""
    known = work.crews.visits(lawn.keeper_id, first=visit.on, last=visit.on, lawn_ids=[lawn.lawn_id])
    for one in known:
        height_mm = visit.height_mm if visit.height_mm is not None else lawn.chosen_mm
        same_height = one.height_mm is None or abs(one.height_mm - height_mm) < SAME_MM
        same_reason = visit.outcome is Outcome.DONE or one.reason is visit.reason
        if one.outcome is visit.outcome and same_height and same_reason:
            return one
        if one.outcome is Outcome.DONE or visit.outcome is Outcome.SKIPPED:
            raise InputError(
                N_("lawn {lawn} has another visit on {day} ({outcome}); undo that one first"),
                lawn=lawn.lawn_id,
                day=visit.on,
                outcome=one.outcome,
            )
    return None


def _keep(work: Work, turf: Turf, lawn: LawnRecord, visit: Visit, by: str, now: datetime) -> VisitRecord:
    height_mm = removed = event_id = None
    if visit.outcome is Outcome.DONE:
        height_mm, removed, event_id = _mown(work, turf, lawn, visit, now)
        _learn(work, lawn, visit)
    record = VisitRecord(
        visit_id=0,
        keeper_id=lawn.keeper_id,
        lawn_id=lawn.lawn_id,
        crew_id=_planned_crew(work, lawn, visit.on),
        on=visit.on,
        outcome=visit.outcome,
        reason=visit.reason if visit.outcome is Outcome.SKIPPED else None,
        note=visit.note,
        minutes=visit.minutes,
        height_mm=height_mm,
        clippings=visit.clippings,
        removed=removed,
        event_id=event_id,
        reported_by=by,
        reported_at=now,
    )
    (visit_id,) = work.crews.add_visits([record])
    return replace(record, visit_id=visit_id)


def _mown(
    work: Work, turf: Turf, lawn: LawnRecord, visit: Visit, now: datetime
) -> tuple[float, float | None, int]:
    """Restart the lawn from its cut; the height after, the share it took by the model, its event."""
    today = known_keeper(work, lawn.keeper_id).today(now)
    told = report_mowing(
        Within(work),
        turf,
        lawn.lawn_id,
        height_mm=visit.height_mm,
        on=visit.on,
        today=today,
        now=now,
        by="visit",
    )
    newest = max(work.lawns.events(lawn.lawn_id), key=lambda event: event.event_id)
    return told.height_mm, told.removed_fraction, newest.event_id


def _learn(work: Work, lawn: LawnRecord, visit: Visit) -> None:
    if visit.minutes is None:
        return
    known = work.crews.lawns([lawn.lawn_id]).get(lawn.lawn_id, LawnWork(lawn.lawn_id))
    usual = usual_minutes(lawn.area_m2, lawn.turf_class, said=known.minutes, learned=known.learned_minutes)
    learned, visits = learn_minutes(known.learned_minutes, known.learned_visits, visit.minutes, usual=usual)
    work.crews.keep_lawns([replace(known, learned_minutes=learned, learned_visits=visits)])


def _planned_crew(work: Work, lawn: LawnRecord, on: date) -> int | None:
    """The crew that had the lawn on its list that day."""
    plan = work.crews.plan(lawn.keeper_id, on)
    if plan is None:
        return None
    crews = sheet_of(plan).crews
    return next(
        (crew.crew_id for crew in crews for stop in crew.listed if stop.lawn.lawn_id == lawn.lawn_id), None
    )


def undo_visit(store: Store, turf: Turf, keeper_id: int, visit_id: int, *, now: datetime) -> VisitRecord:
    """Take a visit back, and the cut it reported.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    keeper_id : int
        The organisation whose visit it must be.
    visit_id : int
        The visit.
    now : datetime
        The moment, aware.

    Returns
    -------
    VisitRecord
        The visit as it was; the lawn stands again as it did before it.

    Raises
    ------
    InputError
        If there is no such visit, it was taken back before, or the lawn has a later report.
    """
    with store.begin() as work:
        visit = work.crews.visit(visit_id)
        if visit is None or visit.keeper_id != keeper_id or visit.undone_at is not None:
            raise InputError(N_("there is no visit {visit} that could be undone"), visit=visit_id)
        if visit.event_id is not None:
            reported = [event for event in work.lawns.events(visit.lawn_id) if not event.assumed]
            newest = max(reported, key=lambda event: event.event_id, default=None)
            if newest is None or newest.event_id != visit.event_id:
                said = N_("lawn {lawn} has a later report; undo that one first")
                raise InputError(said, lawn=visit.lawn_id)
            undo_last(Within(work), turf, visit.lawn_id, now=now)
        work.crews.undo_visit(visit_id, at=now)
        work.commit()
    return visit


def visits_between(store: Store, keeper_id: int, *, first: date, last: date) -> Sequence[VisitRecord]:
    """Return an organisation's visits of some days, both included, that were not taken back."""
    with store.begin() as work:
        known_keeper(work, keeper_id)
        return work.crews.visits(keeper_id, first=first, last=last)
