"""What became of a visit: said with one button on the list, or with more words on the stop's own page."""

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse

from mowalert.channels.crew_wording import SKIPPED, CrewWording
from mowalert.channels.wording import wording_in
from mowalert.domain.day_sheet import CrewSheet, SheetStop
from mowalert.domain.words import Units
from mowalert.errors import InputError
from mowalert.languages import N_
from mowalert.service.crew_records import Outcome, SkipReason
from mowalert.service.crews.own_work import OwnWork
from mowalert.service.crews.visits import Visit, report_visit, undo_visit
from mowalert.web.at_work import crew_of, gone, own, shown
from mowalert.web.site import Site, form_of, number_in, see_other, site_of
from mowalert.web.typed import day_in, height_typed, number_typed

router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]
Form = Annotated[dict[str, str], Depends(form_of)]
TYPED = ("minutes", "height", "note", "reason")
NOT_WHOLE = N_("the form is not whole; open the list again")


@router.get("/work/{token}/stop")
def stop(
    request: Request, token: str, site: SiteHere, on: str = "", crew: str = "", lawn: str = ""
) -> HTMLResponse:
    """Show one stop, and all that can be said of its visit."""
    mine = own(site, token)
    page = _stop_page(request, site, token, mine, {"on": on, "crew": crew, "lawn": lawn}) if mine else None
    return page or gone(request, site)


def _stop_page(
    request: Request,
    site: Site,
    token: str,
    mine: OwnWork,
    form: dict[str, str],
    *,
    wrong: InputError | None = None,
) -> HTMLResponse | None:
    """A stop's page with what was typed; none where no such stop is theirs, or its day is still to come."""
    day, language = day_in(form.get("on", "")), mine.contact.language
    found = _stop_in(mine, form)
    if found is None or day is None or day > mine.today:
        return None
    visits = [one for one in mine.visits if (one.lawn_id, one.on) == (found[1].lawn.lawn_id, day)]
    return site.page(
        request,
        "work_stop.html",
        language=language,
        action=f"work {token}",
        status=422 if wrong else 200,
        crew=found[0],
        stop=found[1],
        visit=visits[-1] if visits else None,
        words=CrewWording(language, mine.keeper.units),
        units=mine.keeper.units,
        place=f"/work/{quote(token)}",
        on=day,
        reasons=SKIPPED,
        said={name: form.get(name, "") for name in TYPED},
        wrong=wording_in(language).mistake(wrong, mine.keeper.units) if wrong else "",
    )


def _stop_in(mine: OwnWork, form: dict[str, str]) -> tuple[CrewSheet, SheetStop] | None:
    day = day_in(form.get("on", ""))
    crew = crew_of(mine, mine.sheet(day) if day else None, form.get("crew", ""))
    lawn = form.get("lawn", "")
    return next(((crew, one) for one in crew.listed if str(one.lawn.lawn_id) == lawn), None) if crew else None


@router.post("/work/{token}/visits")
def visited(request: Request, token: str, site: SiteHere, form: Form) -> Response:
    """Keep what became of a visit, or take it back."""
    mine = own(site, token)
    if mine is None or not site.is_our_form(form, f"work {token}"):
        return gone(request, site)
    on, crew = form.get("on", ""), form.get("crew", "")
    try:
        lawn_id, said = _taken(site, mine, form)
    except InputError as error:
        again = _stop_page(request, site, token, mine, form, wrong=error) if "outcome" in form else None
        return again or shown(request, site, token, mine, on, crew, wrong=error, status=422)
    there = f"/work/{quote(token)}?on={quote(on)}&crew={quote(crew)}&said={said}"
    return see_other(f"{there}#lawn-{lawn_id}")


def _taken(site: Site, mine: OwnWork, form: dict[str, str]) -> tuple[int, str]:
    """Keep or take back what a form says; the lawn it speaks of, and what was done."""
    services, keeper_id = site.services, mine.keeper.keeper_id
    if "undo" in form:
        visit_id = number_in(form["undo"])
        theirs = {one.visit_id for one in mine.visits if mine.may_report(one.lawn_id, one.on)}
        if visit_id is None or visit_id not in theirs:
            raise InputError(N_("there is no visit {visit} that could be undone"), visit=form["undo"][:20])
        undone = undo_visit(services.store, services.turf, keeper_id, visit_id, now=site.now)
        return undone.lawn_id, "undone"
    visit = _visit(form, mine.keeper.units)
    if not mine.may_report(visit.lawn_id, visit.on):
        raise InputError(N_("lawn {lawn} is not on this list"), lawn=visit.lawn_id)
    report_visit(services.store, services.turf, keeper_id, visit, by=mine.contact.name, now=site.now)
    return visit.lawn_id, visit.outcome.value


def _visit(form: dict[str, str], units: Units) -> Visit:
    """A visit as a form tells it: ``done`` is a lawn without another word, ``outcome`` one with more."""
    on = day_in(form.get("on", ""))
    lawn_id = number_in(form.get("done", form.get("lawn", "")))
    if on is None or lawn_id is None:
        raise InputError(NOT_WHOLE)
    if "done" in form:
        return Visit(lawn_id, on, Outcome.DONE)
    try:
        outcome = Outcome(form.get("outcome", ""))
        reason = SkipReason(form["reason"]) if outcome is Outcome.SKIPPED and form.get("reason") else None
    except ValueError as error:
        raise InputError(N_("say whether it was done, or why not")) from error
    return Visit(
        lawn_id=lawn_id,
        on=on,
        outcome=outcome,
        reason=reason,
        note=form.get("note", "")[:200],
        minutes=number_typed(form.get("minutes", "")),
        height_mm=height_typed(form.get("height", ""), units),
    )
