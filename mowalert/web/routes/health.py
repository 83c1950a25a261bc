"""For those who watch the service: does the process live, can it do its work, and its figures.

None of these reads or sets a cookie. Figures are for this machine only: ``/metrics`` answers to a
client on loopback that no proxy speaks for, and is not there for anybody else. To let another host
read them, fetch them on this machine and pass them on.
"""

from ipaddress import IPv6Address, ip_address
from typing import Annotated

from fastapi import APIRouter, Depends, FastAPI, HTTPException, Request, Response
from fastapi.responses import PlainTextResponse
from prometheus_client import CONTENT_TYPE_LATEST

from mowalert.service.upkeep.readiness import checks
from mowalert.store.upgrade import head
from mowalert.web.metrics import CountRequests, Metrics
from mowalert.web.site import Site, site_of

router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]
SPOKEN_FOR = ("forwarded", "x-forwarded-for", "x-real-ip")
"""Headers by which a proxy says that it asks for somebody else."""


def watch(app: FastAPI) -> None:
    """Count an application's requests and answer for its health; its site must be set."""
    site: Site = app.state.site
    app.state.metrics = Metrics(site.services.store, site.clock, site.services.settings.weather.daily_calls())
    app.add_middleware(CountRequests, metrics=app.state.metrics)
    app.include_router(router)


@router.get("/healthz")
def lives() -> PlainTextResponse:
    """Say that the process lives."""
    return PlainTextResponse("ok\n")


@router.get("/readyz")
def ready(site: SiteHere) -> PlainTextResponse:
    """Say whether the store can be read, is of our version, and whether nights run; a line each."""
    found = checks(site.services.store, wanted_schema=head(), now=site.now)
    lines = [f"{check.name}: {'ok' if check.passed else 'failed'}, {check.found}\n" for check in found]
    passed = all(check.passed for check in found)
    return PlainTextResponse("".join(lines), status_code=200 if passed else 503)


@router.get("/metrics")
def figures(request: Request) -> Response:
    """Hand out the figures, on this machine only."""
    if not asks_from_here(request):
        raise HTTPException(404)
    metrics: Metrics = request.app.state.metrics
    return Response(metrics.text(), media_type=CONTENT_TYPE_LATEST)


def asks_from_here(request: Request) -> bool:
    """Whether a request comes from this machine and no proxy asks for somebody else.

    Parameters
    ----------
    request : Request
        The request. Behind a proxy that the server was not told of every client seems to be on
        loopback; only the headers give it away.

    Returns
    -------
    bool
        Whether it does.
    """
    if request.client is None or any(name in request.headers for name in SPOKEN_FOR):
        return False
    try:
        address = ip_address(request.client.host)
    except ValueError:
        return False
    mapped = address.ipv4_mapped if isinstance(address, IPv6Address) else None
    return (mapped or address).is_loopback
