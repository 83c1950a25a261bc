"""What a program may say and see of visits: what was done at a lawn, or why it was skipped."""

from datetime import date, timedelta
from typing import Annotated

from fastapi import APIRouter, Path, Query, Response

from mowalert.errors import InputError
from mowalert.service.crew_records import Outcome, SkipReason
from mowalert.service.crews.visits import Visit, report_visit, undo_visit, visits_between
from mowalert.service.keepers.own_lawns import NotThereError, lawn_of
from mowalert.web.api.asking import Reader, Reporter, SiteHere, takes_model, told
from mowalert.web.api.problems import answers
from mowalert.web.api.said import AskedVisits, VisitSaid
from mowalert.web.api.shown import VisitShown, VisitsShown
from mowalert.web.site import MOST_ID

router = APIRouter(tags=["visits"])
LONGEST_D = 400
USUAL = timedelta(days=30)
KNOWN = {"model": VisitShown, "description": "It was known already; nothing was added."}


@router.post(
    "/visits",
    status_code=201,
    responses={200: KNOWN, **answers(404, 415, 422)},
    openapi_extra=takes_model(VisitSaid),
)
def add_visit(
    asker: Reporter, site: SiteHere, body: Annotated[VisitSaid, told(VisitSaid)], answer: Response
) -> VisitShown:
    """Report a visit: one that was done restarts the lawn's height, one that was skipped leaves it due.

    The same visit said twice counts once: it is safe to repeat a request that got no answer. Scope: report.
    """
    made = site.services
    with made.store.begin() as work:
        lawn_of(work, asker.keeper, body.lawn_id)
    visit = Visit(
        lawn_id=body.lawn_id,
        on=body.on or asker.keeper.today(site.now),
        outcome=Outcome(body.outcome),
        reason=SkipReason(body.reason) if body.reason else None,
        note=body.note,
        minutes=body.minutes,
        height_mm=body.height_mm,
    )
    taken = report_visit(
        made.store, made.turf, asker.keeper.keeper_id, visit, by=asker.key.name, now=site.now
    )
    answer.status_code = 200 if taken.repeated else 201
    return VisitShown.model_validate(taken.visit)


@router.get("/visits", responses=answers(422))
def list_visits(asker: Reader, site: SiteHere, asked: Annotated[AskedVisits, Query()]) -> VisitsShown:
    """List visits of some days, those that were taken back left out. Scope: read."""
    last = asked.last or asker.keeper.today(site.now)
    first = asked.first or max(date.min + USUAL, last) - USUAL
    if not 0 <= (last - first).days <= LONGEST_D:
        raise InputError(f"from {first} to {last}: at most {LONGEST_D} days, in this order")
    found = visits_between(site.services.store, asker.keeper.keeper_id, first=first, last=last)
    return VisitsShown(visits=[VisitShown.model_validate(one) for one in found])


@router.delete("/visits/{visit_id}", responses=answers(404, 422))
def take_back_visit(
    asker: Reporter,
    site: SiteHere,
    visit_id: Annotated[int, Path(ge=1, le=MOST_ID, description="The visit's number.")],
) -> VisitShown:
    """Take a visit back, and the cut it reported. Scope: report."""
    made, keeper_id = site.services, asker.keeper.keeper_id
    with made.store.begin() as work:
        known = work.crews.visit(visit_id)
    if known is None or known.keeper_id != keeper_id or known.undone_at is not None:
        raise NotThereError(f"there is no visit {visit_id} among yours that could be taken back")
    undone = undo_visit(made.store, made.turf, keeper_id, visit_id, now=site.now)
    return VisitShown.model_validate(undone)
