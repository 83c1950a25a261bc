"""Every kind of page, one after the other, as somebody would come upon them."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from browsing import Browser
from regions import REGION, a_region, drought
from skies import growing_weather
from web_people import ANN, BASE, Visitor, text_of

from mowalert.errors import SourceError
from mowalert.service.ports import FoundPlace
from mowalert.service.upkeep.operators import set_operator

DRY = ANN | {"watering": "none"}
PHRASE = "green grass grows all around"
SECOND_LAWN = {"latitude": "41.95", "grass": "tall_fescue", "height_mm": "90"}


@dataclass(frozen=True, slots=True)
class Gazetteer:
    """A search of places that knows one name."""

    def find(self, name: str, *, language: str) -> list[FoundPlace]:
        if name == "Down":
            raise SourceError("status 503", permanent=False, source="gazetteer")
        known = [FoundPlace("Ames", "Iowa, United States", 42.03, -93.62)] * 2
        return known if name == "Ames" else []


def every_page(visitor: Visitor, browser: Browser) -> Iterator[str]:
    """Go through the pages of one person's year; each is named when it is open."""
    visitor.services.__dict__["places"] = Gazetteer()
    yield from _doorstep(visitor, browser)
    yield from _joining(visitor, browser)
    yield from _own_pages(visitor, browser)
    yield from _links_in_mails(visitor, browser)
    yield from _leaving(visitor, browser)
    yield from _regions(visitor, browser)
    yield from _operator(visitor, browser)


def in_browser(browser: Browser, visitor: Visitor, path: str) -> None:
    browser.open(visitor.url + path.removeprefix(BASE))


def link_in(visitor: Visitor, kind: str, mail: int) -> str:
    """The way a mail's link of a kind leads."""
    found = re.search(rf"{BASE}(/{kind}/\S+)", text_of(visitor.mail(mail)))
    assert found
    return found[1]


def _doorstep(visitor: Visitor, browser: Browser) -> Iterator[str]:
    for name, path in (("front", "/"), ("privacy", "/privacy"), ("gone", "/my/x"), ("link", "/link")):
        in_browser(browser, visitor, path)
        yield name
    browser.fill(email="bob@example.org")
    browser.press("Send the link")
    yield "link sent"
    for name, path in (("front in Spanish", "/?lang=es"), ("join in Spanish", "/join?lang=es")):
        in_browser(browser, visitor, path)
        yield name


def _joining(visitor: Visitor, browser: Browser) -> Iterator[str]:
    in_browser(browser, visitor, "/join")
    yield "join"
    browser.press("Send me the confirmation")
    yield "join with errors"
    for place in ("Nowhere", "Down", "Ames"):
        browser.fill(place=place)
        browser.press("Find it")
        yield f"join, searched for {place}"
    browser.fill(**{name: answer for name, answer in DRY.items() if not name.endswith("itude")})
    browser.press("Send me the confirmation")
    yield "asked"
    in_browser(browser, visitor, link_in(visitor, "confirm", mail=1))
    yield "confirm"
    visitor.sky.down = True
    browser.press("Yes, and show me my lawn")
    visitor.sky.down = False
    yield "lawn without weather"


def _own_pages(visitor: Visitor, browser: Browser) -> Iterator[str]:
    own = browser.path
    visitor.wait(days=1)
    in_browser(browser, visitor, own)
    yield "lawn"
    browser.fill(height="tall")
    browser.press("I mowed")
    yield "lawn with an error"
    browser.fill(height="")
    browser.press("I mowed")
    yield "lawn, mowed"
    _nights(visitor, 7, 4, 3, 4, 3, 4)
    in_browser(browser, visitor, own)
    yield "lawn with notices"
    browser.press("why")
    yield "why"
    visitor.sky.day = drought
    _nights(visitor, 7, 7, 7)
    in_browser(browser, visitor, own)
    yield "lawn held"
    visitor.join(**SECOND_LAWN)
    in_browser(browser, visitor, own)
    yield "lawns"
    browser.unfold()
    browser.press("Stop all messages")
    yield "lawns, stopped"


def _nights(visitor: Visitor, *days: int) -> None:
    for span in days:
        visitor.wait(days=span)


def _links_in_mails(visitor: Visitor, browser: Browser) -> Iterator[str]:
    links = visitor.services.links
    in_browser(browser, visitor, links.mowed_url(1, visitor.now, now=visitor.now))
    yield "did"
    browser.press("I mowed it to 2½ in")
    yield "did, done"
    in_browser(browser, visitor, links.unsubscribe_url(1))
    yield "stop"
    browser.press("Stop all mail")
    yield "stop, done"


def _leaving(visitor: Visitor, browser: Browser) -> Iterator[str]:
    links = visitor.services.links
    in_browser(browser, visitor, links.page_path(1, 0, now=visitor.now) + "/leave")
    yield "leave"
    browser.press("Forget me")
    yield "left"


def _regions(visitor: Visitor, browser: Browser) -> Iterator[str]:
    in_browser(browser, visitor, "/region")
    yield "regions, none yet"
    visitor.sky.day = growing_weather
    a_region(visitor)
    ways = {"regions": "", "region": f"/{REGION}", "region in Spanish": f"/{REGION}?lang=es"}
    for name, path in ways.items():
        in_browser(browser, visitor, f"/region{path}")
        yield name


def _operator(visitor: Visitor, browser: Browser) -> Iterator[str]:
    set_operator(visitor.services.store, "olga", PHRASE, now=visitor.now)
    in_browser(browser, visitor, "/operator/login")
    yield "operator's login"
    browser.fill(name="olga", password=PHRASE.upper())
    browser.press("Sign in")
    yield "operator's login, refused"
    browser.fill(name="olga", password=PHRASE)
    browser.press("Sign in")
    yield "operator"
