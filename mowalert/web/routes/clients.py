"""A client's page: one property's record behind its own link, given out and made void by the office."""

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse

from mowalert.channels.client_words import record_page
from mowalert.service.crews.client_links import link_to, record_behind, void_own_links
from mowalert.service.crews.own_work import OwnWork
from mowalert.web.at_work import PRINTED, gone, own
from mowalert.web.site import Site, form_of, language_of, number_in, see_other, site_of

router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]
Form = Annotated[dict[str, str], Depends(form_of)]
MOST_FOUND = 30


@router.get("/record/{token}")
def record(request: Request, token: str, site: SiteHere) -> HTMLResponse:
    """Show a property's record to its client, and nothing else of anybody."""
    services = site.services
    found = record_behind(services.store, site.links, token, now=site.now)
    if found is None:
        return gone(request, site)
    name = services.settings.service.name
    page = record_page(found, language=language_of(request), service_name=name)
    return HTMLResponse(page, headers=PRINTED)


@router.get("/work/{token}/clients")
def clients(request: Request, token: str, site: SiteHere, q: str = "", said: str = "") -> HTMLResponse:
    """Show properties by name, number or client, with the link to each one's record."""
    mine = own(site, token)
    if mine is None or not mine.sees_all:
        return gone(request, site)
    found = _found(site, mine, q[:100]) if q.strip() else []
    return site.page(
        request,
        "work_clients.html",
        language=mine.contact.language,
        action=f"work {token}",
        mine=mine,
        place=f"/work/{quote(token)}",
        q=q[:100],
        found=found[:MOST_FOUND],
        more=len(found) > MOST_FOUND,
        said=said,
    )


def _found(site: Site, mine: OwnWork, asked: str) -> list[tuple[int, str, str, str]]:
    """Number, name, client and link of properties that go by what was asked for."""
    wanted, keeper = asked.strip().casefold(), mine.keeper
    with site.services.store.begin() as work:
        known = work.crews.sites(keeper.keeper_id)
        found = list[tuple[int, str, str, str]]()
        for place in work.crews.sites_of(keeper.keeper_id):
            told = known.get(place.site_id)
            names = (place.name, place.address, told.number if told else "", told.client if told else "")
            if len(found) <= MOST_FOUND and any(wanted in name.casefold() for name in names):
                url = link_to(work, site.links, keeper, place, first=None, now=site.now)
                found.append((place.site_id, place.name, told.client if told else "", url))
    return found


@router.post("/work/{token}/clients")
def void(request: Request, token: str, site: SiteHere, form: Form) -> Response:
    """Make every link to a property's record void that was given out so far."""
    mine = own(site, token)
    if mine is None or not mine.sees_all or not site.is_our_form(form, f"work {token}"):
        return gone(request, site)
    site_id = number_in(form.get("void", ""))
    if site_id is None or not void_own_links(site.services.store, mine.keeper.keeper_id, site_id):
        return gone(request, site)
    return see_other(f"/work/{quote(token)}/clients?q={quote(form.get('q', ''))}&said=void")
