"""Joining: one form, one confirmation, and the first outlook at once."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

import structlog
from fastapi import APIRouter, BackgroundTasks, Depends, Request, Response
from fastapi.responses import HTMLResponse

from mowalert.domain.grasses import Grass
from mowalert.domain.pace import cuts_a_month
from mowalert.domain.rounds import DAY_NAMES
from mowalert.domain.words import Sun, Units, Watering
from mowalert.errors import MowalertError, SourceError
from mowalert.links import CONFIRM
from mowalert.service.growing.grow import grow_stands
from mowalert.service.growing.pull import pull_weather
from mowalert.service.keepers.joining import Joined, ask_to_join, confirm, read_form
from mowalert.service.ports import FoundPlace
from mowalert.service.reading.lawn_rows import LawnRow
from mowalert.web.posting import deliver_soon
from mowalert.web.site import Site, form_of, language_of, see_other, sender_of, site_of

log = structlog.get_logger()
router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]
Form = Annotated[dict[str, str], Depends(form_of)]
HEIGHTS_MM = (15, 20, 25, 30, 38, 45, 50, 55, 65, 75, 90, 100)
UNSURE = "unsure"
USUAL_GRASS = {"cool": "kentucky_bluegrass", "warm": "bermudagrass"}
WARM_BELOW_DEG = 33.0
"""Nearer to the equator lawns are mostly warm-season grass; common practice, roughly."""


@dataclass(frozen=True, slots=True)
class HeightChoice:
    """A height, and how many cuts a month it asks for while the grass grows well."""

    height_mm: int
    cuts: float


@router.get("/join")
def join(request: Request, site: SiteHere) -> HTMLResponse:
    """Show the form."""
    return _form(request, site, {})


@router.post("/join")
def joined(request: Request, site: SiteHere, form: Form, later: BackgroundTasks) -> HTMLResponse:
    """Search a place, show heights for a grass, or take the form."""
    if not site.is_our_form(form, "join"):
        return _form(request, site, form, problems={"form": "old"}, status=400)
    if "search" in form:
        return _form(request, site, form, found=_find(request, site, form))
    if "heights" in form:
        return _form(request, site, form)
    now, services = site.now, site.services
    facts = _facts(form)
    read = read_form(facts, services.turf, services.store, now=now)
    problems = {} if isinstance(read, LawnRow) else {one.column: one.allowed for one in read}
    if not form.get("agree"):
        problems["agree"] = ""
    if problems:
        return _form(request, site, form, problems=problems, status=422)
    ask_to_join(
        services.store, services.turf, site.letters, site.links, facts, sender=sender_of(request), now=now
    )
    later.add_task(deliver_soon, site)
    return site.page(request, "asked.html", by_phone=not facts["email"])


def _find(request: Request, site: Site, form: Mapping[str, str]) -> list[FoundPlace] | None:
    """Places of a name; none at all where the search could not be asked."""
    try:
        return site.services.places.find(form.get("place", ""), language=language_of(request))
    except SourceError as error:
        log.warning("place search failed", reason=str(error))
        return None


def _facts(form: Mapping[str, str]) -> dict[str, str]:
    """What the import's columns would say."""
    position = form.get("spot") or f"{form.get('latitude', '')} {form.get('longitude', '')}"
    latitude, _, longitude = position.partition(" ")
    grass = form.get("grass", UNSURE)
    if grass == UNSURE:
        grass = usual_grass(latitude)
    days = " ".join(name for name in DAY_NAMES if form.get(f"day_{name}"))
    return {
        "keeper": form.get("name", ""),
        "email": form.get("email", ""),
        "phone": form.get("phone", ""),
        "latitude": latitude,
        "longitude": longitude,
        "units": form.get("units", ""),
        "site": "Home",
        "grass": grass,
        "height_mm": form.get("height_mm", ""),
        "watering": form.get("watering", ""),
        "sun": form.get("sun", ""),
        "mowing_days": days,
    }


def usual_grass(latitude: str) -> str:
    """Return the grass a lawn most likely is where nobody knows: by how far from the equator it lies."""
    try:
        warm = abs(float(latitude)) < WARM_BELOW_DEG
    except ValueError:
        warm = False
    return USUAL_GRASS["warm" if warm else "cool"]


def _form(
    request: Request,
    site: Site,
    typed: Mapping[str, str],
    *,
    found: list[FoundPlace] | None = None,
    problems: Mapping[str, str] | None = None,
    status: int = 200,
) -> HTMLResponse:
    turf = site.services.turf
    facts = _facts(typed)
    grass = turf.grasses.get(facts["grass"], turf.grasses[USUAL_GRASS["cool"]])
    return site.page(
        request,
        "join.html",
        action="join",
        status=status,
        typed=typed,
        problems=problems or {},
        found=found,
        searched="search" in typed,
        grasses=list(turf.grasses.values()),
        grass=grass,
        heights=heights_for(grass),
        usual_mm=min(
            heights_for(grass), key=lambda one: abs(one.height_mm - sum(grass.usual_mm) / 2)
        ).height_mm,
        days=DAY_NAMES,
        suns=list(Sun),
        waterings=list(Watering),
        units=list(Units),
        sms="sms" in {str(channel) for channel in site.services.policy.channels},
    )


def heights_for(grass: Grass) -> list[HeightChoice]:
    """Return heights a grass may be kept at, with what each costs."""
    return [
        HeightChoice(height_mm, cuts_a_month(grass, float(height_mm)))
        for height_mm in HEIGHTS_MM
        if grass.lowest_mm <= height_mm <= grass.highest_mm
    ]


@router.get("/confirm/{token}")
def ask_to_confirm(request: Request, token: str, site: SiteHere) -> HTMLResponse:
    """Show the button that confirms."""
    if _signup(site, token) is None:
        return site.page(request, "gone.html", status=404)
    return site.page(request, "confirm.html", action=f"confirm {token}")


@router.post("/confirm/{token}")
def confirmed(request: Request, token: str, site: SiteHere, form: Form) -> Response:
    """Enrol the lawn, and show its first outlook."""
    signup_id = _signup(site, token)
    if signup_id is None or not site.is_our_form(form, f"confirm {token}"):
        return site.page(request, "gone.html", status=404)
    services = site.services
    joined_now = confirm(
        services.store,
        services.turf,
        site.letters,
        signup_id,
        cell_degrees=services.settings.weather.cell_degrees,
        now=site.now,
    )
    if joined_now is None:
        return site.page(request, "gone.html", status=404)
    _first_outlook(site, joined_now)
    keeper = joined_now.keeper
    path = site.links.page_path(keeper.keeper_id, keeper.link_version, now=site.now)
    return see_other(f"{path}?said=joined")


def _signup(site: Site, token: str) -> int | None:
    facts = site.links.facts(CONFIRM, token, now=site.now)
    return int(facts[0]) if facts is not None and len(facts) == 1 else None


def _first_outlook(site: Site, joined_now: Joined) -> None:
    """Pull weather and grow the new lawn now; where that fails, the next night does."""
    services, cell_ids = site.services, [joined_now.cell_id]
    try:
        pull_weather(services.store, services.sources, now=site.now, cell_ids=cell_ids)
        grow_stands(services.store, services.turf, now=site.now, cell_ids=cell_ids)
    except MowalertError as error:
        log.warning("no first outlook", reason=type(error).__name__)
