"""What every page needs: the services, the moment, a form's proof, and templates in the reader's language."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from ipaddress import IPv4Address, ip_address, ip_network
from typing import Annotated, Any

from fastapi import Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from mowalert.channels.wording import wording_in
from mowalert.domain.words import Units
from mowalert.languages import LANGUAGES, best_language, sentence, translations
from mowalert.links import Links
from mowalert.service.records import KeeperRecord
from mowalert.service.telling.letters import Letters
from mowalert.wiring import Services

MONDAY = date(2024, 1, 1)
MOST_ID = 2**31 - 1
"""Highest number that the store gives."""
LONGEST_ANSWER = 500
"""Letters of one answer of a form; more is cut before anything reads it."""

Number = Annotated[int, Path(ge=1, le=MOST_ID)]
"""In a path; what cannot be one is not found."""


def utc_now() -> datetime:
    """Return the moment it is."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Site:
    """The pages of one service."""

    services: Services
    links: Links
    letters: Letters
    clock: Callable[[], datetime] = utc_now

    @property
    def now(self) -> datetime:
        """The moment."""
        return self.clock()

    def page(
        self,
        request: Request,
        template: str,
        *,
        language: str | None = None,
        status: int = 200,
        action: str = "",
        **values: Any,
    ) -> HTMLResponse:
        """Render a page.

        Parameters
        ----------
        request : Request
            Whose answer it is.
        template : str
            Name in ``templates``.
        language : str | None
            The keeper's; the browser's if not given.
        status : int
            Of the answer.
        action : str
            What the page's form is for, signed into it.
        **values : Any
            What the template shows.

        Returns
        -------
        HTMLResponse
            The page.
        """
        chosen = language or language_of(request)
        shown = {
            "service": self.services.settings.service,
            "languages": LANGUAGES,
            "language": chosen,
            "say": wording_in(chosen),
            "weekdays": [wording_in(chosen).weekday(MONDAY + timedelta(days=day)) for day in range(7)],
            "Units": Units,
            "form": self.links.form_token(action, now=self.now) if action else "",
            "path": request.url.path,
            **values,
        }
        return HTMLResponse(_environment(chosen).get_template(template).render(shown), status_code=status)

    def is_our_form(self, form: Mapping[str, str], action: str) -> bool:
        """Whether a form that came back was served by us for this action, lately."""
        return self.links.is_our_form(form.get("form", ""), action, now=self.now)

    def keeper_of(self, purpose: str, token: str) -> KeeperRecord | None:
        """Whose a private link is; none where it was altered, has ended, or was made void."""
        facts = self.links.facts(purpose, token, now=self.now)
        if facts is None or len(facts) != 2:
            return None
        keeper_id, version = facts
        with self.services.store.begin() as work:
            keeper = work.keepers.get([int(keeper_id)]).get(int(keeper_id))
        return keeper if keeper is not None and keeper.link_version == version else None


def site_of(request: Request) -> Site:
    """Return the site a request is for."""
    site: Site = request.app.state.site
    return site


def sender_of(request: Request) -> str:
    """Return who asks, for counting; never kept as it is."""
    return network_of(request.client.host) if request.client else "unknown"


def network_of(host: str) -> str:
    """Return the network that counts as one sender: of IPv6 the half that everybody at a line shares."""
    try:
        address = ip_address(host)
    except ValueError:
        return host
    if isinstance(address, IPv4Address):
        return host
    mapped = address.ipv4_mapped
    return str(mapped) if mapped else str(ip_network((int(address) >> 64 << 64, 64)))


def language_of(request: Request) -> str:
    """Return the language a browser asks for."""
    asked = request.query_params.get("lang", "")
    return asked if asked in LANGUAGES else best_language(request.headers.get("accept-language", ""))


def number_in(text: str) -> int | None:
    """Return the number in a text; none where it is none that the store could have given."""
    number = int(text) if text.isdecimal() and len(text) <= len(str(MOST_ID)) else MOST_ID + 1
    return number if number <= MOST_ID else None


async def form_of(request: Request) -> dict[str, str]:
    """Return a form's answers as text; files and over-long answers are dropped."""
    async with request.form(max_files=0, max_fields=60) as form:
        return {
            name: " ".join(value.split())[:LONGEST_ANSWER]
            for name, value in form.items()
            if isinstance(value, str)
        }


def see_other(url: str) -> RedirectResponse:
    """Send a browser on after a form, so that a reload repeats nothing."""
    return RedirectResponse(url, status_code=303)


@cache
def _environment(language: str) -> Environment:
    environment = Environment(
        loader=PackageLoader("mowalert.web"),
        undefined=StrictUndefined,
        autoescape=select_autoescape(["html", "xml"]),
        extensions=["jinja2.ext.i18n"],
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.install_gettext_translations(translations(language), newstyle=True)  # type: ignore[attr-defined]
    environment.filters["sentence"] = sentence
    return environment
