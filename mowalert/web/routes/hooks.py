"""Where a text gateway hands over what people answer."""

from typing import Annotated

from fastapi import APIRouter, BackgroundTasks, Depends, Request, Response

from mowalert.service.sending.replies import Desk, answer_sms
from mowalert.web.inbound import is_signed, read_inbound
from mowalert.web.posting import deliver_soon
from mowalert.web.site import Site, site_of

router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]


async def body_of(request: Request) -> bytes:
    """Return a request's body as it came: what is signed is its bytes."""
    return await request.body()


@router.post("/hooks/sms")
def take_sms(
    request: Request, site: SiteHere, raw: Annotated[bytes, Depends(body_of)], later: BackgroundTasks
) -> Response:
    """Take one text; the answer to it is a text as well, so nothing is said here."""
    chosen = site.services.settings.sms
    secret = chosen.inbound_secret.get_secret_value()
    if not secret:
        return _plain("not found", 404)
    if not is_signed(raw, request.headers.get(chosen.inbound_signature_header, ""), secret):
        return _plain("the signature is missing or wrong", 401)
    text = read_inbound(raw, request.headers.get("content-type", ""), chosen)
    if text is None:
        names = chosen.inbound_from_field, chosen.inbound_text_field, chosen.inbound_id_field
        return _plain(f"a form or JSON is needed with the fields {', '.join(names)}", 400)
    answered = answer_sms(desk_of(site), text, now=site.now)
    if answered.answer is not None:
        later.add_task(deliver_soon, site)
    return Response(status_code=200)


def desk_of(site: Site) -> Desk:
    """Return what it takes to answer texts."""
    services = site.services
    degrees = services.settings.weather.cell_degrees
    return Desk(services.store, services.turf, site.letters, site.links, degrees)


def _plain(said: str, status: int) -> Response:
    return Response(said, status_code=status, media_type="text/plain")
