"""What every page of an organisation's people needs: whose it is, their list, and what went wrong."""

from urllib.parse import quote

from fastapi import Request
from fastapi.responses import HTMLResponse

from mowalert.channels.crew_wording import CrewWording
from mowalert.channels.wording import wording_in
from mowalert.domain.crews import Change
from mowalert.domain.day_sheet import CrewSheet, DaySheet
from mowalert.errors import InputError
from mowalert.service.crews.own_work import OwnWork, own_work
from mowalert.web.site import Site, number_in
from mowalert.web.typed import day_in

PRINTED = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
}
"""A page for the printer brings its own style and nothing else."""


def own(site: Site, token: str) -> OwnWork | None:
    """Return what a link opens; none where it opens nothing."""
    return own_work(site.services.store, site.links, token, now=site.now)


def gone(request: Request, site: Site) -> HTMLResponse:
    """Say that a link leads nowhere."""
    return site.page(request, "gone.html", status=404)


def shown(
    request: Request,
    site: Site,
    token: str,
    mine: OwnWork,
    on: str,
    crew: str,
    *,
    said: str = "",
    wrong: InputError | None = None,
    status: int = 200,
) -> HTMLResponse:
    """Show a day's list, as far as it is theirs."""
    day = day_in(on) or mine.today
    sheet = mine.sheet(day)
    return site.page(
        request,
        "work.html",
        language=mine.contact.language,
        action=f"work {token}",
        status=status,
        mine=mine,
        sheet=sheet,
        crew=crew_of(mine, sheet, crew),
        changes=_changes(mine, sheet),
        words=CrewWording(mine.contact.language, mine.keeper.units),
        units=mine.keeper.units,
        place=f"/work/{quote(token)}",
        on=day,
        before=max((one.on for one in mine.sheets if one.on < day), default=None),
        after=min((one.on for one in mine.sheets if one.on > day), default=None),
        visited={visit.lawn_id: visit for visit in mine.visits if visit.on == day},
        said=said,
        wrong=wording_in(mine.contact.language).mistake(wrong, mine.keeper.units) if wrong else "",
    )


def may_ask(mine: OwnWork, crew: str) -> bool:
    """Whether a crew asked for is one of theirs; a lead is shown their own whatever is asked for."""
    number = number_in(crew)
    return not mine.sees_all or not crew.isdecimal() or (number is not None and mine.may_see(number))


def crew_of(mine: OwnWork, sheet: DaySheet | None, asked: str) -> CrewSheet | None:
    """Return the crew whose list is shown: their own, the one asked for, or none for the overview."""
    if sheet is None:
        return None
    crew_id = mine.contact.crew_id if not mine.sees_all else number_in(asked)
    return sheet.crew(crew_id) if crew_id is not None and mine.may_see(crew_id) else None


def _changes(mine: OwnWork, sheet: DaySheet | None) -> list[Change]:
    """What changed since the version before, as far as it is theirs."""
    told = sheet.changes if sheet else ()
    crew_id = mine.contact.crew_id
    return [
        one for one in told if mine.sees_all or (crew_id and crew_id in (one.crew_before, one.crew_after))
    ]
