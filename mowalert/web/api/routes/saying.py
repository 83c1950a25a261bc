"""What a program may say of lawns that are there."""

from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Response

from mowalert.domain.words import HoldReason
from mowalert.service.keepers.keys import Asker
from mowalert.service.keepers.own_reports import (
    OwnReport,
    ReportKind,
    allow_own,
    keep_off_own,
    report_own,
    undo_own,
)
from mowalert.service.lawns.wishes import pause
from mowalert.web.api.asking import Reporter, SiteHere, takes_model, told
from mowalert.web.api.problems import answers
from mowalert.web.api.routes.looking import LawnId
from mowalert.web.api.said import AskedUndo, LeaveAlone, MeasuredHeight, Mowing, Pause
from mowalert.web.api.shown import (
    KeptOffSaid,
    KeptOffUndone,
    Paused,
    Report,
    ReportUndone,
    show_kept_off,
    show_report,
)
from mowalert.web.site import MOST_ID, Site

router = APIRouter(tags=["say"])


def _once(model: type, *statuses: int) -> dict[int | str, dict[str, Any]]:
    """Answers of a route that adds what is new, and shows what is known."""
    known = {"model": model, "description": "It was known already; nothing was added."}
    return {200: known, **answers(*statuses)}


@router.post(
    "/lawns/{lawn_id}/mowings",
    status_code=201,
    responses=_once(Report, 404, 415, 422),
    openapi_extra=takes_model(Mowing),
)
def add_mowing(
    asker: Reporter, site: SiteHere, lawn_id: LawnId, body: Annotated[Mowing, told(Mowing)], answer: Response
) -> Report:
    """Report a cut: the lawn's height starts again from it.

    The same cut said twice (lawn, day, height) counts once: it is safe to repeat a request that got no
    answer. Scope: report.
    """
    return _shown(_report(asker, site, lawn_id, ReportKind.MOWING, body.height_mm, body.on), answer)


@router.post(
    "/lawns/{lawn_id}/heights",
    status_code=201,
    responses=_once(Report, 404, 415, 422),
    openapi_extra=takes_model(MeasuredHeight),
)
def add_height(
    asker: Reporter,
    site: SiteHere,
    lawn_id: LawnId,
    body: Annotated[MeasuredHeight, told(MeasuredHeight)],
    answer: Response,
) -> Report:
    """Report a height measured with a ruler: a few of them teach how fast this lawn grows.

    The same height said twice (lawn, day, height) counts once. Scope: report.
    """
    return _shown(_report(asker, site, lawn_id, ReportKind.HEIGHT, body.height_mm, body.on), answer)


def _report(
    asker: Asker, site: Site, lawn_id: int, kind: ReportKind, height_mm: float | None, on: date | None
) -> OwnReport:
    made = site.services
    return report_own(made.store, made.turf, asker, lawn_id, kind, height_mm=height_mm, on=on, now=site.now)


def _shown(made: OwnReport, answer: Response) -> Report:
    answer.status_code = 200 if made.repeated else 201
    return show_report(made)


@router.delete("/lawns/{lawn_id}/reports/newest", responses=answers(404, 422))
def undo_report(
    asker: Reporter, site: SiteHere, lawn_id: LawnId, asked: Annotated[AskedUndo, Query()]
) -> ReportUndone:
    """Take a lawn's newest report back, whoever made it: the lawn starts again from the one before.

    Say `report_id` if the request may be repeated, so that no second report goes with it. Scope: report.
    """
    made = site.services
    event = undo_own(made.store, made.turf, asker, lawn_id, report_id=asked.report_id, now=site.now)
    return ReportUndone(
        report_id=event.event_id,
        lawn_id=event.lawn_id,
        kind=event.kind,
        on=event.on,
        height_mm=event.height_mm,
        undone_at=event.undone_at or site.now,
    )


@router.post(
    "/lawns/{lawn_id}/kept-off",
    status_code=201,
    responses=_once(KeptOffSaid, 404, 415, 422),
    openapi_extra=takes_model(LeaveAlone),
)
def add_kept_off(
    asker: Reporter,
    site: SiteHere,
    lawn_id: LawnId,
    body: Annotated[LeaveAlone, told(LeaveAlone)],
    answer: Response,
) -> KeptOffSaid:
    """Leave a lawn alone on some days: a treatment, an event, a nest, a noise rule.

    The same days with the same words said twice count once. Scope: report.
    """
    said = keep_off_own(
        site.services.store,
        asker,
        lawn_id,
        reason=HoldReason(body.reason),
        first_on=body.first_on,
        last_on=body.last_on,
        note=body.note,
        now=site.now,
    )
    answer.status_code = 200 if said.repeated else 201
    return show_kept_off(said)


@router.delete("/lawns/{lawn_id}/kept-off/{kept_off_id}", responses=answers(404, 422))
def undo_kept_off(
    asker: Reporter,
    site: SiteHere,
    lawn_id: LawnId,
    kept_off_id: Annotated[int, Path(ge=1, le=MOST_ID, description="Number of the days.")],
) -> KeptOffUndone:
    """Take days back on which a lawn was to be left alone. Scope: report."""
    days = allow_own(site.services.store, asker, lawn_id, kept_off_id, now=site.now)
    return KeptOffUndone.model_validate(days)


@router.put("/keeper/pause", responses=answers(415, 422), openapi_extra=takes_model(Pause))
def set_pause(asker: Reporter, site: SiteHere, body: Annotated[Pause, told(Pause)]) -> Paused:
    """Send this keeper nothing up to and on a day, or end the pause. Scope: report."""
    keeper, today = asker.keeper, asker.keeper.today(site.now)
    return Paused.model_validate(pause(site.services.store, keeper.keeper_id, until=body.until, today=today))
