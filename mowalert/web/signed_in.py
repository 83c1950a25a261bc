"""An operator's session: a signed cookie that lasts some hours, or until its password is changed.

The store keeps no sessions. A cookie says whose it is, when their password was set, and a number of
its own; it ends with its hours, with a new password, with the operator's removal, and by signing out.
"""

from dataclasses import dataclass
from datetime import timedelta
from secrets import token_urlsafe

from fastapi import Request, Response

from mowalert.service.upkeep.operators import Operator
from mowalert.web.site import Site

OPERATOR = "operator"
"""Purpose of the signed cookie."""
LASTS = timedelta(hours=12)
SIGNED_OUT = "signed out"


@dataclass(frozen=True, slots=True)
class Session:
    """Whose session it is, and the number of its own."""

    name: str
    number: str

    @property
    def action(self) -> str:
        """What this session's forms are signed for; another's don't fit."""
        return f"operator {self.number}"


def cookie_name(site: Site) -> str:
    """Return the cookie's name; with TLS one that browsers hold to this host, its root and TLS."""
    return "__Host-operator" if _has_tls(site) else "operator"


def begin(site: Site, answer: Response, operator: Operator) -> None:
    """Give an answer the cookie of a new session; one the browser brought along is not gone on with."""
    facts = operator.name, operator.changed_at.isoformat(), token_urlsafe(12)
    token = site.links.token(OPERATOR, *facts, until=site.now + LASTS)
    answer.set_cookie(
        cookie_name(site),
        token,
        max_age=int(LASTS.total_seconds()),
        secure=_has_tls(site),
        httponly=True,
        samesite="strict",
    )


def session_of(request: Request, site: Site) -> Session | None:
    """Return the session a request comes with, if it still holds.

    Parameters
    ----------
    request : Request
        The request.
    site : Site
        Whose secret signs sessions.

    Returns
    -------
    Session | None
        None where there is none, or it has ended.
    """
    facts = site.links.facts(OPERATOR, request.cookies.get(cookie_name(site), ""), now=site.now)
    if facts is None or len(facts) != 3:
        return None
    name, changed_at, number = map(str, facts)
    with site.services.store.begin() as work:
        operator = work.operators.get(name)
        left = work.signups.attempts(SIGNED_OUT, _mark(site, number), since=site.now - LASTS)
    if operator is None or operator.changed_at.isoformat() != changed_at or left:
        return None
    return Session(name, number)


def end(site: Site, answer: Response, session: Session) -> None:
    """End a session for good: a copy of its cookie is of no use either."""
    with site.services.store.begin() as work:
        work.signups.attempt(SIGNED_OUT, _mark(site, session.number), at=site.now)
        work.commit()
    answer.delete_cookie(cookie_name(site), secure=_has_tls(site), httponly=True, samesite="strict")


def _has_tls(site: Site) -> bool:
    return site.links.base_url.startswith("https://")


def _mark(site: Site, number: str) -> str:
    return site.links.mark(f"session {number}")
