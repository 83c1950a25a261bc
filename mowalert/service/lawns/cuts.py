"""Cuts that were made, whoever reported them and however."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from mowalert.service.crew_records import Outcome, VisitRecord
from mowalert.service.ports import Work
from mowalert.service.records import AT_ENROLMENT, EventRecord

MOWING = "mowing"


@dataclass(frozen=True, slots=True)
class Cut:
    """A cut at a lawn: height after it in mm and the share it took, where known; what was said of it."""

    lawn_id: int
    on: date
    height_mm: float | None
    removed: float | None
    note: str = ""


def cuts_between(
    work: Work, lawn_ids: Sequence[int], visits: Sequence[VisitRecord], *, first: date, last: date
) -> list[Cut]:
    """Return the cuts of some days, both included.

    Parameters
    ----------
    work : Work
        An open transaction.
    lawn_ids : Sequence[int]
        Lawns.
    visits : Sequence[VisitRecord]
        Their visits of those days.
    first : date
        First day.
    last : date
        Last day.

    Returns
    -------
    list[Cut]
        Visits that were done, and cuts reported by page, message or table; none that was only assumed, or
        made before the lawn was enrolled.
    """
    done = [visit for visit in visits if visit.outcome is Outcome.DONE]
    told = {visit.event_id for visit in done if visit.event_id is not None}
    events = work.lawns.events_between(lawn_ids, first=first, last=last)
    reported = [event for of_lawn in events.values() for event in of_lawn if _was_reported(event)]
    return [*map(_visited, done), *(_reported(event) for event in reported if event.event_id not in told)]


def _was_reported(event: EventRecord) -> bool:
    return event.kind == MOWING and not event.assumed and event.reported_by != AT_ENROLMENT


def _visited(visit: VisitRecord) -> Cut:
    return Cut(visit.lawn_id, visit.on, visit.height_mm, visit.removed, visit.note)


def _reported(event: EventRecord) -> Cut:
    height, before = event.height_mm, event.before_mm
    removed = None if height is None or before is None else max(0.0, 1 - height / max(before, height))
    return Cut(event.lawn_id, event.on, height, removed)
