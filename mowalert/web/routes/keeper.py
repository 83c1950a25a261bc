"""A keeper's own pages: their lawns, what to do today, and everything they may change."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Annotated

import orjson
from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse

from mowalert.channels.wording import wording_in
from mowalert.domain.rounds import DAY_NAMES
from mowalert.domain.words import Channel, Sun, Units, Watering
from mowalert.errors import InputError
from mowalert.languages import N_
from mowalert.links import PAGE
from mowalert.service.growing.grow import grow_stands
from mowalert.service.keepers.page import KeeperPage, keeper_page
from mowalert.service.keepers.privacy import erase, own_data
from mowalert.service.lawns.report import forget_learned, report_height, report_mowing, undo_last
from mowalert.service.lawns.wishes import (
    LawnWish,
    change_lawn,
    pause,
    renew_links,
    speak,
    start,
    stop,
)
from mowalert.service.records import KeeperRecord
from mowalert.service.telling.why import why
from mowalert.web.routes.joining import heights_for
from mowalert.web.shown import shown_lawn
from mowalert.web.site import Number, Site, form_of, see_other, site_of
from mowalert.web.typed import UNCLEAR, chosen, day_typed, height_typed, number_typed

router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]
Form = Annotated[dict[str, str], Depends(form_of)]


@router.get("/my/{token}")
def pages(request: Request, token: str, site: SiteHere) -> HTMLResponse:
    """Show a keeper's lawns; a lone one whole."""
    keeper = site.keeper_of(PAGE, token)
    if keeper is None:
        return _gone(request, site)
    page = _page(site, keeper)
    if len(page.lawns) == 1:
        return _lawn(request, site, token, page)
    return site.page(
        request,
        "lawns.html",
        language=keeper.language,
        action=f"my {token}",
        keeper=keeper,
        token=token,
        today=page.today,
        shown=[shown_lawn(lawn, keeper, page.today) for lawn in page.lawns],
        notice=request.query_params.get("said", ""),
        wrong="",
        typed={},
    )


@router.get("/my/{token}/lawn/{lawn_id}")
def lawn(request: Request, token: str, lawn_id: Number, site: SiteHere) -> HTMLResponse:
    """Show one lawn."""
    keeper = site.keeper_of(PAGE, token)
    page = None if keeper is None else _page(site, keeper, lawn_id)
    return _gone(request, site) if page is None or not page.lawns else _lawn(request, site, token, page)


@router.get("/my/{token}/why/{told_id}")
def why_said(request: Request, token: str, told_id: Number, site: SiteHere) -> HTMLResponse:
    """Show why a notice said what it said."""
    keeper = site.keeper_of(PAGE, token)
    services = site.services
    if keeper is None:
        return _gone(request, site)
    with services.store.begin() as work:
        record = work.outbox.notice(told_id)
    if record is None or record.keeper_id != keeper.keeper_id:
        return _gone(request, site)
    try:
        chain = why(services.store, services.turf, services.policy, told_id)
    except InputError:
        chain = None
    return site.page(
        request, "why.html", language=keeper.language, keeper=keeper, token=token, chain=chain, record=record
    )


@router.get("/my/{token}/data")
def data(request: Request, token: str, site: SiteHere) -> Response:
    """Hand out everything that is kept about a keeper."""
    keeper = site.keeper_of(PAGE, token)
    told = None if keeper is None else own_data(site.services.store, keeper.keeper_id)
    if told is None:
        return _gone(request, site)
    text = orjson.dumps(told, option=orjson.OPT_INDENT_2)
    headers = {"Content-Disposition": 'attachment; filename="my-lawn-data.json"'}
    return Response(text, media_type="application/json", headers=headers)


@router.get("/my/{token}/leave")
def ask_to_leave(request: Request, token: str, site: SiteHere) -> HTMLResponse:
    """Show what is kept, and the button that forgets it."""
    keeper = site.keeper_of(PAGE, token)
    if keeper is None:
        return _gone(request, site)
    told = own_data(site.services.store, keeper.keeper_id) or {}
    counts = {name: len(rows) for name, rows in told.items() if isinstance(rows, list) and rows}
    return site.page(
        request,
        "leave.html",
        language=keeper.language,
        action=f"leave {token}",
        keeper=keeper,
        token=token,
        counts=counts,
    )


@router.post("/my/{token}/leave")
def leave(request: Request, token: str, site: SiteHere, form: Form) -> HTMLResponse:
    """Forget a keeper for good."""
    keeper = site.keeper_of(PAGE, token)
    if keeper is None or not site.is_our_form(form, f"leave {token}"):
        return _gone(request, site)
    erase(site.services.store, site.links, keeper.keeper_id, at=site.now)
    return site.page(request, "left.html", language=keeper.language)


@router.post("/my/{token}/keeper")
def change_keeper(request: Request, token: str, site: SiteHere, form: Form) -> Response:
    """Pause, stop, start, speak another language, or make old links void."""
    keeper = site.keeper_of(PAGE, token)
    if keeper is None or not site.is_our_form(form, f"my {token}"):
        return _gone(request, site)
    try:
        said = _keeper_wish(site, keeper, form)
    except InputError as error:
        return _again(request, site, token, keeper, None, form, error)
    if said == "renewed":
        keeper = _again_keeper(site, keeper)
        return see_other(_path(site, keeper) + "?said=renewed")
    return see_other(f"/my/{token}?said={said}")


def _keeper_wish(site: Site, keeper: KeeperRecord, form: dict[str, str]) -> str:
    store, keeper_id = site.services.store, keeper.keeper_id
    match form.get("do"):
        case "pause":
            today = keeper.today(site.now)
            pause(store, keeper_id, until=day_typed(form.get("until", "")), today=today)
            return "paused"
        case "resume":
            pause(store, keeper_id, until=None, today=keeper.today(site.now))
            return "resumed"
        case "stop":
            stop(store, keeper_id, frozenset(Channel), at=site.now)
            return "stopped"
        case "start":
            for channel in Channel:
                start(store, keeper_id, channel)
            return "started"
        case "speak":
            units = chosen(Units, form.get("units", ""))
            speak(store, keeper_id, language=form.get("language", ""), units=units)
            return "changed"
        case "renew":
            renew_links(store, keeper_id)
            return "renewed"
    raise InputError(UNCLEAR)


@router.post("/my/{token}/lawn/{lawn_id}")
def change(request: Request, token: str, lawn_id: Number, site: SiteHere, form: Form) -> Response:
    """Take a report, take one back, or keep the lawn another way."""
    keeper = site.keeper_of(PAGE, token)
    page = None if keeper is None else _page(site, keeper, lawn_id)
    if keeper is None or page is None or not page.lawns or not site.is_our_form(form, f"my {token}"):
        return _gone(request, site)
    try:
        said = _lawn_wish(site, keeper, lawn_id, form)
    except InputError as error:
        return _again(request, site, token, keeper, lawn_id, form, error)
    many = len(_page(site, keeper).lawns) > 1
    return see_other(f"/my/{token}{f'/lawn/{lawn_id}' if many else ''}?said={said}")


def _lawn_wish(site: Site, keeper: KeeperRecord, lawn_id: int, form: dict[str, str]) -> str:
    services, today = site.services, keeper.today(site.now)
    match form.get("do"):
        case "mowed" | "measured":
            return _report(site, keeper, lawn_id, form, today)
        case "undo":
            undo_last(services.store, services.turf, lawn_id, now=site.now)
            return "undone"
        case "forget":
            forget_learned(services.store, services.turf, lawn_id, on=today, now=site.now)
            return "forgotten"
        case "keep":
            _keep_otherwise(site, lawn_id, form)
            return "changed"
    raise InputError(UNCLEAR)


def _report(site: Site, keeper: KeeperRecord, lawn_id: int, form: dict[str, str], today: date) -> str:
    """Take a cut or a measured height, of the day said."""
    store, turf, now = site.services.store, site.services.turf, site.now
    day = {"today": today, "yesterday": today - timedelta(days=1)}.get(form.get("day", "today"))
    on, height_mm = day or day_typed(form.get("on", "")), height_typed(form.get("height", ""), keeper.units)
    if form["do"] == "mowed":
        report_mowing(store, turf, lawn_id, height_mm=height_mm, on=on, today=today, now=now, by="page")
        return "mowed"
    if height_mm is None:
        raise InputError(N_("say the height you measured"))
    report_height(store, turf, lawn_id, height_mm=height_mm, on=on, today=today, now=now, by="page")
    return "measured"


def _keep_otherwise(site: Site, lawn_id: int, form: dict[str, str]) -> None:
    """Keep a lawn at another height, on other days, in other light or watered otherwise."""
    services = site.services
    days = frozenset(index for index, name in enumerate(DAY_NAMES) if form.get(f"day_{name}"))
    if not days:
        raise InputError(N_("choose at least one mowing day"))
    wish = LawnWish(
        height_mm=number_typed(form.get("height_mm", "")),
        watering=chosen(Watering, form["watering"]) if form.get("watering") else None,
        sun=chosen(Sun, form["sun"]) if form.get("sun") else None,
        mowing_days=days,
    )
    changed = change_lawn(services.store, services.turf, lawn_id, wish)
    # Another height may root otherwise: its curve is computed now, not only tonight.
    with services.store.begin() as work:
        stand = work.stands.get([changed.stand_id])[changed.stand_id]
    grow_stands(services.store, services.turf, now=site.now, cell_ids=[stand.cell_id])


def _again_keeper(site: Site, keeper: KeeperRecord) -> KeeperRecord:
    with site.services.store.begin() as work:
        return work.keepers.get([keeper.keeper_id])[keeper.keeper_id]


def _path(site: Site, keeper: KeeperRecord) -> str:
    return site.links.page_path(keeper.keeper_id, keeper.link_version, now=site.now)


def _page(site: Site, keeper: KeeperRecord, lawn_id: int | None = None) -> KeeperPage:
    services = site.services
    page = keeper_page(
        services.store, services.turf, services.policy, keeper.keeper_id, now=site.now, lawn_id=lawn_id
    )
    return page or KeeperPage(keeper, keeper.today(site.now), ())


def _lawn(
    request: Request,
    site: Site,
    token: str,
    page: KeeperPage,
    *,
    typed: Mapping[str, str] | None = None,
    wrong: str = "",
    status: int = 200,
) -> HTMLResponse:
    (lawn_page,) = page.lawns
    keeper = page.keeper
    grass = site.services.turf.grasses[lawn_page.lawn.grass]
    return site.page(
        request,
        "lawn.html",
        language=keeper.language,
        status=status,
        action=f"my {token}",
        keeper=keeper,
        token=token,
        today=page.today,
        shown=shown_lawn(lawn_page, keeper, page.today),
        one=lawn_page,
        grass=grass,
        heights=heights_for(grass),
        days=DAY_NAMES,
        waterings=list(Watering),
        suns=list(Sun),
        all_units=list(Units),
        notice=request.query_params.get("said", "") if not wrong else "",
        wrong=wrong,
        typed=typed or {},
        calendar_url=site.links.calendar_url(keeper.keeper_id, keeper.link_version),
    )


def _again(
    request: Request,
    site: Site,
    token: str,
    keeper: KeeperRecord,
    lawn_id: int | None,
    typed: Mapping[str, str],
    error: InputError,
) -> HTMLResponse:
    """Show the page again with what was typed, and what is wrong with it beside the form."""
    page, wrong = _page(site, keeper, lawn_id), wording_in(keeper.language).mistake(error, keeper.units)
    if len(page.lawns) == 1:
        return _lawn(request, site, token, page, typed=typed, wrong=wrong, status=422)
    return site.page(
        request,
        "lawns.html",
        language=keeper.language,
        status=422,
        action=f"my {token}",
        keeper=keeper,
        token=token,
        today=page.today,
        shown=[shown_lawn(lawn, keeper, page.today) for lawn in page.lawns],
        notice="",
        wrong=wrong,
        typed=typed,
    )


def _gone(request: Request, site: Site) -> HTMLResponse:
    return site.page(request, "gone.html", status=404)
