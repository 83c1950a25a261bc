"""The web application: routes, headers that keep pages to themselves, and errors as plain pages."""

from collections.abc import Awaitable, Callable
from datetime import datetime
from pathlib import Path

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from mowalert import __version__
from mowalert.channels.letters import ServiceLetters
from mowalert.web import api
from mowalert.web.api.app import create_api, too_large
from mowalert.web.routes import (
    bulletin,
    calendar,
    clients,
    front,
    health,
    hooks,
    joining,
    keeper,
    operator,
    taps,
    work,
    work_visits,
)
from mowalert.web.site import Site, site_of, utc_now
from mowalert.wiring import Services

STATIC = Path(__file__).parent / "static"
MOST_OCTETS = 64 * 1024
"""Largest form that is read."""
UPLOADS = {("POST", api.UPLOAD): 2 * 1024 * 1024}
"""Largest body where a table is sent."""
CONTENT_POLICY = (
    "default-src 'none'; style-src 'self'; img-src 'self' data:; script-src 'self'; font-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    # A private link must not travel on to another host.
    "Referrer-Policy": "no-referrer",
    "Permissions-Policy": "geolocation=(self)",
    "Cross-Origin-Opener-Policy": "same-origin",
    "X-Frame-Options": "DENY",
}


def create_app(services: Services, *, clock: Callable[[], datetime] = utc_now) -> FastAPI:
    """Make the application.

    Parameters
    ----------
    services : Services
        Store, weather, channels and settings.
    clock : Callable[[], datetime]
        Tells the moment; a fixed one in tests.

    Returns
    -------
    FastAPI
        To be served behind a proxy that speaks TLS.
    """
    chosen = services.settings.service
    app = FastAPI(
        title=chosen.name,
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        # Such a redirect would be to whatever host the request names.
        redirect_slashes=False,
    )
    letters = ServiceLetters(chosen.name, services.policy.host, chosen.contact_email)
    app.state.site = Site(services, services.links, letters, clock)
    for routes in (
        front,
        joining,
        taps,
        keeper,
        operator,
        bulletin,
        calendar,
        hooks,
        work,
        work_visits,
        clients,
    ):
        app.include_router(routes.router)
    app.mount(api.PATH, create_api(app.state.site), name="api")
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    app.middleware("http")(_guarded)
    health.watch(app)
    app.exception_handler(HTTPException)(_plain_error)
    app.exception_handler(RequestValidationError)(_no_such_page)
    return app


async def _guarded(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
    """Refuse what is too large, and keep every answer to itself."""
    if _is_too_large(request):
        for_program = request.url.path.startswith(f"{api.PATH}/")
        text = Response("too large", status_code=413, media_type="text/plain")
        answer = too_large() if for_program else text
    else:
        answer = await call_next(request)
    for name, value in HEADERS.items():
        answer.headers.setdefault(name, value)
    if not request.url.path.startswith("/static/"):
        answer.headers.setdefault("Cache-Control", "no-store")
    if site_of(request).links.base_url.startswith("https://"):
        answer.headers.setdefault("Strict-Transport-Security", "max-age=31536000")
    return answer


def _is_too_large(request: Request) -> bool:
    told = request.headers.get("content-length", "0")
    most = UPLOADS.get((request.method, request.url.path), MOST_OCTETS)
    return not told.isdecimal() or int(told) > most or "transfer-encoding" in request.headers


async def _no_such_page(request: Request, error: Exception) -> Response:
    """Answer an address that cannot be, such as a number with letters in it."""
    return site_of(request).page(request, "gone.html", status=404)


async def _plain_error(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    return site_of(request).page(request, "gone.html", status=status)
