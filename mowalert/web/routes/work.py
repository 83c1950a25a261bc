"""Pages of an organisation's people: today's list, hand-outs, and what became of each visit."""

from datetime import date
from typing import Annotated
from urllib.parse import quote

import orjson
from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse

from mowalert.channels.crew_calendar import crew_calendar
from mowalert.channels.crew_wording import SKIPPED, CrewWording
from mowalert.domain.crews import Change
from mowalert.domain.day_sheet import DaySheet, SheetReader
from mowalert.domain.units import mm_from_inches
from mowalert.domain.words import Channel, Units
from mowalert.errors import InputError
from mowalert.links import CONTACT_STOP
from mowalert.office.day_map import day_map
from mowalert.office.day_table import as_csv, as_xlsx, day_rows
from mowalert.office.paper import as_pdf
from mowalert.service.crew_records import ContactRecord, Outcome, SkipReason
from mowalert.service.own_work import OwnWork, own_work
from mowalert.service.visits import Visit, report_visit, undo_visit
from mowalert.service.week import week_ahead
from mowalert.web.site import Site, form_of, number_in, see_other, site_of

router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]
Form = Annotated[dict[str, str], Depends(form_of)]
PRINTED = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
}
"""A printed sheet brings its own style and nothing else."""
KINDS = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "geojson": "application/geo+json",
    "pdf": "application/pdf",
}


@router.get("/work/{token}")
def today(
    request: Request, token: str, site: SiteHere, on: str = "", crew: str = "", said: str = ""
) -> HTMLResponse:
    """Show a day's list, as far as it is theirs."""
    mine = _mine(site, token)
    if mine is None or not _may_ask(mine, crew):
        return _gone(request, site)
    return _shown(request, site, token, mine, on, crew, said=said)


def _shown(
    request: Request,
    site: Site,
    token: str,
    mine: OwnWork,
    on: str,
    crew: str,
    *,
    said: str = "",
    wrong: str = "",
    status: int = 200,
) -> HTMLResponse:
    day = _day(on) or mine.today
    sheet = mine.sheet(day)
    return site.page(
        request,
        "work.html",
        language=mine.contact.language,
        action=f"work {token}",
        status=status,
        mine=mine,
        sheet=sheet,
        crew=_crew_of(mine, sheet, crew),
        changes=_changes(mine, sheet),
        words=CrewWording(mine.contact.language, mine.keeper.units),
        units=mine.keeper.units,
        place=f"/work/{quote(token)}",
        on=day,
        before=max((one.on for one in mine.sheets if one.on < day), default=None),
        after=min((one.on for one in mine.sheets if one.on > day), default=None),
        visited={visit.lawn_id: visit for visit in mine.visits if visit.on == day},
        reasons=SKIPPED,
        said=said,
        wrong=wrong,
    )


def _may_ask(mine: OwnWork, crew: str) -> bool:
    """Whether a crew asked for is one of theirs; a lead is shown their own whatever is asked for."""
    number = number_in(crew)
    return not mine.sees_all or not crew.isdecimal() or (number is not None and mine.may_see(number))


def _crew_of(mine: OwnWork, sheet: DaySheet | None, asked: str) -> object:
    """The crew whose list is shown: their own, the one asked for, or none for the overview."""
    if sheet is None:
        return None
    crew_id = mine.contact.crew_id if not mine.sees_all else number_in(asked)
    return sheet.crew(crew_id) if crew_id is not None and mine.may_see(crew_id) else None


def _changes(mine: OwnWork, sheet: DaySheet | None) -> list[Change]:
    """What changed since the version before, as far as it is theirs."""
    told = sheet.changes if sheet else ()
    own = mine.contact.crew_id
    return [one for one in told if mine.sees_all or (own and own in (one.crew_before, one.crew_after))]


@router.post("/work/{token}/visits")
def visited(request: Request, token: str, site: SiteHere, form: Form) -> Response:
    """Keep what became of a visit, or take it back."""
    mine = _mine(site, token)
    if mine is None or not site.is_our_form(form, f"work {token}"):
        return _gone(request, site)
    on, crew = form.get("on", ""), form.get("crew", "")
    try:
        said = _taken(site, mine, form)
    except InputError as error:
        return _shown(request, site, token, mine, on, crew, wrong=str(error), status=422)
    there = f"/work/{quote(token)}?on={quote(on)}&crew={quote(crew)}&said={said}"
    return see_other(f"{there}#lawn-{quote(form.get('lawn', ''))}")


def _taken(site: Site, mine: OwnWork, form: dict[str, str]) -> str:
    services, by = site.services, mine.contact.name
    keeper_id = mine.keeper.keeper_id
    if form.get("undo", "").isdecimal():
        visit_id = number_in(form["undo"])
        theirs = {one.visit_id for one in mine.visits if mine.may_report(one.lawn_id, one.on)}
        if visit_id is None or visit_id not in theirs:
            raise InputError(f"there is no visit {form['undo'][:12]} that could be undone")
        undo_visit(services.store, services.turf, keeper_id, visit_id, now=site.now)
        return "undone"
    visit = _visit(form, mine.keeper.units)
    if not mine.may_report(visit.lawn_id, visit.on):
        raise InputError(f"lawn {visit.lawn_id} is not on this list")
    report_visit(services.store, services.turf, keeper_id, visit, by=by, now=site.now)
    return visit.outcome.value


def _visit(form: dict[str, str], units: Units) -> Visit:
    on = _day(form.get("on", ""))
    lawn_id = number_in(form.get("lawn", ""))
    if on is None or lawn_id is None:
        raise InputError("the form is not whole; open the list again")
    try:
        outcome = Outcome(form.get("outcome", ""))
        reason = SkipReason(form["reason"]) if outcome is Outcome.SKIPPED and form.get("reason") else None
    except ValueError as error:
        raise InputError("say whether it was done, or why not") from error
    height = _number(form.get("height", ""))
    inches = units is Units.US
    return Visit(
        lawn_id=lawn_id,
        on=on,
        outcome=outcome,
        reason=reason,
        note=form.get("note", "")[:200],
        minutes=_number(form.get("minutes", "")),
        height_mm=float(mm_from_inches(height)) if height is not None and inches else height,
    )


def _number(text: str) -> float | None:
    if not text:
        return None
    try:
        number = float(text.replace(",", "."))
    except ValueError as error:
        raise InputError(f"{text[:20]!r} is no number") from error
    if not 0 < number < 10_000:
        raise InputError(f"{text[:20]} cannot be")
    return number


@router.get("/work/{token}/print")
def printed(request: Request, token: str, site: SiteHere, on: str = "", crew: str = "") -> HTMLResponse:
    """Show a list as it is printed."""
    found = _sheet(site, token, on, crew)
    if found is None:
        return _gone(request, site)
    mine, sheet, crew_id = found
    page = site.services.crew_sheets.page(sheet, crew_id, _reader(mine))
    return HTMLResponse(page, headers=PRINTED)


@router.get("/work/{token}/day.{kind}")
def file(request: Request, token: str, kind: str, site: SiteHere, on: str = "", crew: str = "") -> Response:
    """Hand out a list as a file."""
    found = _sheet(site, token, on, crew)
    if found is None or kind not in KINDS:
        return _gone(request, site)
    mine, sheet, crew_id = found
    name = f"{sheet.on.isoformat()}-{crew_id or 'all'}.{kind}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    try:
        content = _file(site, mine, sheet, crew_id, kind)
    except InputError as error:
        return _shown(request, site, token, mine, on, crew, wrong=str(error), status=503)
    return Response(content, headers=headers, media_type=KINDS[kind])


def _file(site: Site, mine: OwnWork, sheet: DaySheet, crew_id: int | None, kind: str) -> bytes:
    if kind == "pdf":
        return as_pdf(site.services.crew_sheets.page(sheet, crew_id, _reader(mine)))
    if kind == "geojson":
        return orjson.dumps(day_map(sheet, crew_id))
    rows = day_rows(sheet, crew_id)
    return as_xlsx(rows, title=sheet.on.isoformat()) if kind == "xlsx" else as_csv(rows).encode("utf-8-sig")


@router.get("/work/{token}/week")
def week(request: Request, token: str, site: SiteHere) -> HTMLResponse:
    """Show the hours that fall due on seven days against the crews' hours."""
    mine = _mine(site, token)
    if mine is None or not mine.sees_all:
        return _gone(request, site)
    services, keeper = site.services, mine.keeper
    ahead = week_ahead(services.store, services.turf, services.policy, keeper.keeper_id, now=site.now)
    words = CrewWording(mine.contact.language, keeper.units)
    return site.page(
        request,
        "work_week.html",
        language=mine.contact.language,
        ahead=ahead,
        words=words,
        units=keeper.units,
        place=f"/work/{quote(token)}",
        attributions=[words.say.attribution(name) for name in ahead.weather.sources],
    )


@router.get("/work/{token}/calendar.ics")
def calendar(token: str, site: SiteHere) -> Response:
    """Give the coming and past days' stops as a calendar."""
    mine = _mine(site, token)
    if mine is None:
        return Response("not found", status_code=404, media_type="text/plain")
    crews = None if mine.sees_all else [mine.contact.crew_id or 0]
    services = site.services
    feed = crew_calendar(mine.sheets, crews, _reader(mine), name=mine.keeper.name, host=services.policy.host)
    return Response(feed, media_type="text/calendar; charset=utf-8")


@router.get("/stop-work/{token}")
def ask_to_stop(request: Request, token: str, site: SiteHere) -> HTMLResponse:
    """Show the button that stops a contact's mail."""
    contact = _stopper(site, token)
    if contact is None:
        return _gone(request, site)
    return site.page(request, "stop_work.html", language=contact.language, done=False)


@router.post("/stop-work/{token}")
def stop_mail(request: Request, token: str, site: SiteHere) -> HTMLResponse:
    """Stop a contact's mail; the signed address itself is the proof (RFC 8058)."""
    contact = _stopper(site, token)
    if contact is None:
        return _gone(request, site)
    with site.services.store.begin() as work:
        work.crews.suspend_contact(contact.contact_id, Channel.EMAIL, "stopped by its reader")
        work.commit()
    return site.page(request, "stop_work.html", language=contact.language, done=True)


def _stopper(site: Site, token: str) -> ContactRecord | None:
    contact_id = site.links.read(CONTACT_STOP, token)
    if contact_id is None:
        return None
    with site.services.store.begin() as work:
        return work.crews.contact(contact_id)


def _sheet(site: Site, token: str, on: str, crew: str) -> tuple[OwnWork, DaySheet, int | None] | None:
    """The day and the crew asked for, if both are theirs to see."""
    mine = _mine(site, token)
    sheet = mine.sheet(_day(on) or mine.today) if mine else None
    if mine is None or sheet is None:
        return None
    if not mine.sees_all:
        return (mine, sheet, mine.contact.crew_id) if mine.contact.crew_id is not None else None
    if not crew:
        return mine, sheet, None
    number = number_in(crew)
    known = number is not None and sheet.crew(number) is not None
    return (mine, sheet, number) if known else None


def _mine(site: Site, token: str) -> OwnWork | None:
    return own_work(site.services.store, site.links, token, now=site.now)


def _reader(mine: OwnWork) -> SheetReader:
    contact = mine.contact
    return SheetReader(contact.contact_id, contact.name, contact.language, mine.keeper.units)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _gone(request: Request, site: Site) -> HTMLResponse:
    return site.page(request, "gone.html", status=404)
