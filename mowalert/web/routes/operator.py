"""The operators' page: how the service does, behind a password, with nothing on it that leads to a person."""

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse

from mowalert.service.upkeep.operators import TryLimits, sign_in
from mowalert.service.upkeep.overview import overview_of
from mowalert.web.signed_in import begin, end, session_of
from mowalert.web.site import Site, form_of, see_other, sender_of, site_of

router = APIRouter()
SiteHere = Annotated[Site, Depends(site_of)]
Form = Annotated[dict[str, str], Depends(form_of)]
PAGE, LOGIN = "/operator", "/operator/login"
LATEST_ROUNDS = 12


@router.get(LOGIN)
def ask(request: Request, site: SiteHere) -> HTMLResponse:
    """Ask for name and password."""
    return _ask(request, site)


@router.post(LOGIN)
def login(request: Request, site: SiteHere, form: Form) -> Response:
    """Take name and password."""
    if not site.is_our_form(form, LOGIN):
        return _ask(request, site, wrong="old", status=400)
    links, name, password = site.links, form.get("name", ""), form.get("password", "")
    sender, store = sender_of(request), site.services.store
    signed_in = sign_in(store, links, name, password, sender=sender, now=site.now)
    if signed_in.too_many:
        answer = _ask(request, site, wrong="often", status=429)
        answer.headers["Retry-After"] = str(int(TryLimits().span.total_seconds()))
        return answer
    if signed_in.operator is None:
        return _ask(request, site, wrong="unknown", status=403)
    opened = see_other(PAGE)
    begin(site, opened, signed_in.operator)
    return opened


@router.get(PAGE)
def look(request: Request, site: SiteHere) -> Response:
    """Show how the service does."""
    session = session_of(request, site)
    if session is None:
        return see_other(LOGIN)
    return site.page(
        request,
        "operator.html",
        action=session.action,
        now=site.now,
        seen=overview_of(site.services.store, now=site.now),
        latest_rounds=LATEST_ROUNDS,
    )


@router.post("/operator/logout")
def logout(request: Request, site: SiteHere, form: Form) -> Response:
    """End the session."""
    session = session_of(request, site)
    left = see_other(LOGIN)
    if session is None:
        return left
    if not site.is_our_form(form, session.action):
        return site.page(request, "gone.html", status=404)
    end(site, left, session)
    return left


def _ask(request: Request, site: Site, *, wrong: str = "", status: int = 200) -> HTMLResponse:
    return site.page(request, "operator_login.html", action=LOGIN, wrong=wrong, status=status)
