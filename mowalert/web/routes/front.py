"""The front door: what this is, and how to get one's own link again."""

from typing import Annotated

from fastapi import APIRouter, BackgroundTasks, Depends, Request
from fastapi.responses import HTMLResponse

from mowalert.service.keepers.joining import send_link
from mowalert.web.drawing import ENGLISH, SPANISH, draw_third
from mowalert.web.posting import deliver_soon
from mowalert.web.routes.bulletin import region_lines
from mowalert.web.site import Site, form_of, language_of, sender_of, site_of

router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]
Form = Annotated[dict[str, str], Depends(form_of)]


@router.get("/")
def front(request: Request, site: SiteHere) -> HTMLResponse:
    """Say what this is."""
    words = SPANISH if language_of(request) == "es" else ENGLISH
    regions = region_lines(site, language_of(request))
    return site.page(request, "front.html", third=draw_third(words), regions=regions)


@router.get("/privacy")
def privacy(request: Request, site: SiteHere) -> HTMLResponse:
    """Say what is kept, and how to have it forgotten."""
    return site.page(request, "privacy.html")


@router.get("/link")
def ask_for_link(request: Request, site: SiteHere) -> HTMLResponse:
    """Ask for the address to send a link to."""
    return site.page(request, "link.html", action="link", sent=False)


@router.post("/link")
def send(request: Request, site: SiteHere, form: Form, later: BackgroundTasks) -> HTMLResponse:
    """Send the link, and say the same whether anybody is enrolled or not."""
    if not site.is_our_form(form, "link"):
        return site.page(request, "link.html", action="link", sent=False, status=400)
    address = form.get("email", "")
    now, services = site.now, site.services
    send_link(services.store, site.letters, site.links, address, sender=sender_of(request), now=now)
    later.add_task(deliver_soon, site)
    return site.page(request, "link.html", action="link", sent=True)
