"""Pages of an organisation's people: today's list, its hand-outs, the week ahead."""

from typing import Annotated
from urllib.parse import quote

import orjson
from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse

from mowalert.channels.crew_calendar import crew_calendar
from mowalert.channels.crew_wording import CrewWording
from mowalert.domain.day_sheet import DaySheet, SheetReader
from mowalert.domain.words import Channel
from mowalert.errors import InputError
from mowalert.links import CONTACT_STOP
from mowalert.office.day_map import day_map
from mowalert.office.day_table import as_csv, as_xlsx, day_rows
from mowalert.office.paper import as_pdf
from mowalert.service.crew_records import ContactRecord
from mowalert.service.crews.own_work import OwnWork
from mowalert.service.crews.week import week_ahead
from mowalert.web.at_work import PRINTED, gone, may_ask, own, shown
from mowalert.web.feeds import feed_answer
from mowalert.web.site import Site, number_in, site_of
from mowalert.web.typed import day_in

router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]
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
    mine = own(site, token)
    if mine is None or not may_ask(mine, crew):
        return gone(request, site)
    return shown(request, site, token, mine, on, crew, said=said)


@router.get("/work/{token}/print")
def printed(request: Request, token: str, site: SiteHere, on: str = "", crew: str = "") -> HTMLResponse:
    """Show a list as it is printed."""
    found = _sheet(site, token, on, crew)
    if found is None:
        return gone(request, site)
    mine, sheet, crew_id = found
    page = site.services.crew_sheets.page(sheet, crew_id, _reader(mine))
    return HTMLResponse(page, headers=PRINTED)


@router.get("/work/{token}/day.{kind}")
def file(request: Request, token: str, kind: str, site: SiteHere, on: str = "", crew: str = "") -> Response:
    """Hand out a list as a file."""
    found = _sheet(site, token, on, crew)
    if found is None or kind not in KINDS:
        return gone(request, site)
    mine, sheet, crew_id = found
    name = f"{sheet.on.isoformat()}-{crew_id or 'all'}.{kind}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    try:
        content = _file(site, mine, sheet, crew_id, kind)
    except InputError as error:
        return shown(request, site, token, mine, on, crew, wrong=error, status=503)
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
    mine = own(site, token)
    if mine is None or not mine.sees_all:
        return gone(request, site)
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


@router.api_route("/work/{token}/calendar.ics", methods=["GET", "HEAD"])
def calendar(request: Request, token: str, site: SiteHere) -> Response:
    """Give the coming and past days' stops as a calendar, or say that it is as it was."""
    mine = own(site, token)
    if mine is None:
        return Response("not found", status_code=404, media_type="text/plain")
    crews = None if mine.sees_all else [mine.contact.crew_id or 0]
    services = site.services
    feed = crew_calendar(mine.sheets, crews, _reader(mine), name=mine.keeper.name, host=services.policy.host)
    return feed_answer(request, feed)


@router.get("/stop-work/{token}")
def ask_to_stop(request: Request, token: str, site: SiteHere) -> HTMLResponse:
    """Show the button that stops a contact's mail."""
    contact = _stopper(site, token)
    if contact is None:
        return gone(request, site)
    return site.page(request, "stop_work.html", language=contact.language, done=False)


@router.post("/stop-work/{token}")
def stop_mail(request: Request, token: str, site: SiteHere) -> HTMLResponse:
    """Stop a contact's mail; the signed address itself is the proof (RFC 8058)."""
    contact = _stopper(site, token)
    if contact is None:
        return gone(request, site)
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
    mine = own(site, token)
    sheet = mine.sheet(day_in(on) or mine.today) if mine else None
    if mine is None or sheet is None:
        return None
    if not mine.sees_all:
        return (mine, sheet, mine.contact.crew_id) if mine.contact.crew_id is not None else None
    if not crew:
        return mine, sheet, None
    number = number_in(crew)
    known = number is not None and sheet.crew(number) is not None
    return (mine, sheet, number) if known else None


def _reader(mine: OwnWork) -> SheetReader:
    contact = mine.contact
    return SheetReader(contact.contact_id, contact.name, contact.language, mine.keeper.units)
