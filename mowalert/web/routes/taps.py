"""Links in messages: each opens a page with one button; only the button changes anything."""

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from mowalert.channels.wording import wording_in
from mowalert.domain.lawn import place_name
from mowalert.domain.words import Channel
from mowalert.errors import InputError
from mowalert.links import MOWED, UNSUBSCRIBE
from mowalert.service.lawns.report import report_mowing
from mowalert.service.lawns.wishes import stop
from mowalert.service.records import KeeperRecord, LawnRecord
from mowalert.web.site import Site, form_of, site_of
from mowalert.web.typed import day_typed

router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]
Form = Annotated[dict[str, str], Depends(form_of)]


@router.get("/stop/{token}")
def ask_to_stop(request: Request, token: str, site: SiteHere) -> HTMLResponse:
    """Show the button that stops e-mail."""
    keeper = _stopper(site, token)
    if keeper is None:
        return _gone(request, site)
    return site.page(request, "stop.html", language=keeper.language, done=False)


@router.post("/stop/{token}")
def stop_mail(request: Request, token: str, site: SiteHere) -> HTMLResponse:
    """Stop e-mail; the signed address itself is the proof, as mail programs post it (RFC 8058)."""
    keeper = _stopper(site, token)
    if keeper is None:
        return _gone(request, site)
    stop(site.services.store, keeper.keeper_id, frozenset({Channel.EMAIL}), at=site.now)
    return site.page(request, "stop.html", language=keeper.language, done=True)


def _stopper(site: Site, token: str) -> KeeperRecord | None:
    keeper_id = site.links.read(UNSUBSCRIBE, token)
    if keeper_id is None:
        return None
    with site.services.store.begin() as work:
        return work.keepers.get([keeper_id]).get(keeper_id)


@router.get("/did/{token}")
def ask_mowed(request: Request, token: str, site: SiteHere) -> HTMLResponse:
    """Show the button that records an advised cut."""
    found = _tapped(site, token)
    if found is None:
        return _gone(request, site)
    return _did(request, site, *found, action=f"did {token}", done=False)


@router.post("/did/{token}")
def mowed(request: Request, token: str, site: SiteHere, form: Form) -> HTMLResponse:
    """Record the cut, on the day said."""
    found = _tapped(site, token)
    if found is None or not site.is_our_form(form, f"did {token}"):
        return _gone(request, site)
    keeper, lawn, advised_on = found
    today = keeper.today(site.now)
    said = form.get("on", "")
    try:
        on = day_typed(said) if said else min(advised_on, today)
        services = site.services
        report_mowing(
            services.store,
            services.turf,
            lawn.lawn_id,
            height_mm=None,
            on=on,
            today=today,
            now=site.now,
            by="page",
        )
    except InputError as error:
        wrong = wording_in(keeper.language).mistake(error, keeper.units)
        return _did(request, site, *found, action=f"did {token}", done=False, wrong=wrong, typed_on=said)
    return _did(request, site, *found, action="", done=True, on=on)


def _tapped(site: Site, token: str) -> tuple[KeeperRecord, LawnRecord, date] | None:
    facts = site.links.facts(MOWED, token, now=site.now)
    if facts is None or len(facts) != 2:
        return None
    lawn_id, day = facts
    with site.services.store.begin() as work:
        found = work.lawns.get([int(lawn_id)])
        if not found:
            return None
        keeper = work.keepers.get([found[0].keeper_id])[found[0].keeper_id]
    return keeper, found[0], date.fromordinal(int(day))


def _did(
    request: Request,
    site: Site,
    keeper: KeeperRecord,
    lawn: LawnRecord,
    advised_on: date,
    *,
    action: str,
    done: bool,
    on: date | None = None,
    wrong: str = "",
    typed_on: str = "",
) -> HTMLResponse:
    today = keeper.today(site.now)
    with site.services.store.begin() as work:
        site_name = work.keepers.sites([lawn.site_id])[lawn.site_id].name
    return site.page(
        request,
        "did.html",
        language=keeper.language,
        action=action,
        status=400 if wrong else 200,
        place=place_name(site_name, lawn.name),
        lawn=lawn,
        units=keeper.units,
        today=today,
        shown_on=typed_on or min(advised_on, today).isoformat(),
        done=done,
        on=on,
        wrong=wrong,
        page_path=site.links.page_path(keeper.keeper_id, keeper.link_version, now=site.now),
    )


def _gone(request: Request, site: Site) -> HTMLResponse:
    return site.page(request, "gone.html", status=404)
