"""Regions and their bulletins: public pages that anybody may keep, search and print, and a feed of each."""

import re
from dataclasses import dataclass
from hashlib import sha256
from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from fastapi.responses import HTMLResponse

from mowalert import __version__
from mowalert.channels.bulletin import bulletin_text
from mowalert.domain.bulletin import Bulletin
from mowalert.domain.words import Units
from mowalert.service.region.bulletin import (
    BulletinPage,
    KeptBulletin,
    bulletin_page,
    bulletins_of,
    newest_bulletins,
    week_name,
    week_named,
)
from mowalert.web.atom import FeedHead, atom_feed
from mowalert.web.bulletins import ShownBulletin, shown_bulletin
from mowalert.web.site import Site, language_of, site_of

router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]
PUBLIC = {"Cache-Control": "public, max-age=900", "Vary": "Accept-Language"}
FEED_WEEKS = 20
GUIDE_ID = re.compile(r"[a-z][a-z0-9_]{1,39}")


def guide_asked(guide_id: str) -> str:
    """Return a guide's id from the address; what cannot be one is no question for the store."""
    if not GUIDE_ID.fullmatch(guide_id):
        raise HTTPException(404)
    return guide_id


GuideId = Annotated[str, Depends(guide_asked)]


@router.get("/region")
def regions(request: Request, site: SiteHere) -> HTMLResponse:
    """List the regions."""
    return _public(site.page(request, "regions.html", regions=region_lines(site, language_of(request))))


@dataclass(frozen=True, slots=True)
class RegionLine:
    """A region, and its newest bulletin in one sentence with the days it is of."""

    guide_id: str
    title: str
    dates: str
    headline: str


def region_lines(site: Site, language: str) -> list[RegionLine]:
    """Return a line for every region that has a bulletin."""
    return [_line(kept.bulletin, language) for kept in newest_bulletins(site.services.store)]


def _line(bulletin: Bulletin, language: str) -> RegionLine:
    text = bulletin_text(bulletin, language=language, units=bulletin.units)
    return RegionLine(bulletin.guide_id, text.title, text.dates, text.headline)


@router.get("/region/{guide_id}")
def newest(request: Request, guide_id: GuideId, site: SiteHere) -> HTMLResponse:
    """Show a region's newest bulletin."""
    services = site.services
    page = bulletin_page(
        services.store, services.turf, guide_id, max_age=services.policy.max_age, now=site.now
    )
    return _page(request, site, page, newest=True)


@router.api_route("/region/{guide_id}/feed.atom", methods=["GET", "HEAD"])
def feed(request: Request, guide_id: GuideId, site: SiteHere) -> Response:
    """Serve a region's newest bulletins to feed readers; nothing at all to those who have them."""
    services, language = site.services, language_of(request)
    found = bulletin_page(
        services.store, services.turf, guide_id, max_age=services.policy.max_age, now=site.now
    )
    if found is None:
        raise HTTPException(404)
    kept = bulletins_of(services.store, guide_id, limit=FEED_WEEKS)
    text = atom_feed(
        _head(site, found, language), [_shown(site, one, language, one.bulletin.units) for one in kept]
    )
    headers = {**PUBLIC, "ETag": f'"{sha256(text).hexdigest()[:32]}"'}
    if _is_known(request.headers.get("if-none-match", ""), headers["ETag"]):
        return Response(status_code=304, headers=headers)
    return Response(text, media_type="application/atom+xml", headers=headers)


def _head(site: Site, page: BulletinPage, language: str) -> FeedHead:
    guide, chosen = page.guide, site.services.settings.service
    return FeedHead(
        guide_id=guide.guide_id,
        title=f"{guide.title} ({chosen.name})",
        author=guide.adviser,
        host=site.services.policy.host,
        base_url=site.links.base_url,
        language=language,
        generator=f"mowalert {__version__}",
        empty_since=page.guide_kept_at,
    )


def _is_known(told: str, etag: str) -> bool:
    """Whether a reader's ``If-None-Match`` names what it would be sent."""
    tags = {tag.strip().removeprefix("W/") for tag in told.split(",")}
    return "*" in tags or etag in tags


@router.get("/region/{guide_id}/{week}")
def of_week(request: Request, guide_id: GuideId, week: str, site: SiteHere) -> HTMLResponse:
    """Show a region's bulletin of a week."""
    services, week_on = site.services, week_named(week)
    page = None
    if week_on is not None:
        page = bulletin_page(
            services.store,
            services.turf,
            guide_id,
            max_age=services.policy.max_age,
            now=site.now,
            week_on=week_on,
        )
    return _page(request, site, page, newest=False)


def _page(request: Request, site: Site, page: BulletinPage | None, *, newest: bool) -> HTMLResponse:
    if page is None:
        raise HTTPException(404)
    language, kept = language_of(request), page.kept
    usual = Units.METRIC if kept is None else kept.bulletin.units
    asked = request.query_params.get("units", "")
    units = Units(asked) if asked in {one.value for one in Units} else usual
    answer = site.page(
        request,
        "bulletin.html",
        guide=page.guide,
        shown=None if kept is None else _shown(site, kept, language, units),
        units=units,
        other=Units.US if units is Units.METRIC else Units.METRIC,
        lang=request.query_params.get("lang", "") and language,
        before=page.before_on and week_name(page.before_on),
        after=page.after_on and week_name(page.after_on),
        stale=newest and not page.fresh,
        base_url=site.links.base_url,
    )
    return _public(answer)


def _shown(site: Site, kept: KeptBulletin, language: str, units: Units) -> ShownBulletin:
    cell_degrees = site.services.settings.weather.cell_degrees
    return shown_bulletin(kept, language=language, units=units, cell_degrees=cell_degrees)


def _public(answer: HTMLResponse) -> HTMLResponse:
    answer.headers.update(PUBLIC)
    return answer
