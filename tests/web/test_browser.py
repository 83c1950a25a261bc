"""People with a real browser and a real mail server, from joining to leaving."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from email.message import EmailMessage

import pytest
import requests
from browsing import DESK, PHONE, Browser, Size, browsing
from mail_server import Mailbox, receiving
from tours import in_browser, link_in
from web_people import ANN, BASE, Visitor


@pytest.fixture
def mailbox() -> Iterator[Mailbox]:
    with receiving() as made:
        yield made


@pytest.fixture(scope="module", params=[True, False], ids=["with scripts", "without scripts"])
def browser(request: pytest.FixtureRequest) -> Iterator[Browser]:
    with browsing(scripts=request.param) as made:
        yield made


@dataclass
class Person:
    """Ann, who looks closely at every page she comes upon."""

    visitor: Visitor
    browser: Browser

    def open(self, path: str) -> None:
        in_browser(self.browser, self.visitor, path)
        self.look()

    def press(self, words: str) -> None:
        self.browser.press(words)
        self.look()

    def look(self) -> None:
        self.browser.unfold()
        assert self.browser.flaws() == [], f"{self.browser.path} on a {self.browser.size.name}"

    def join(self) -> None:
        self.open("/")
        self.press("Add your lawn")
        assert self.browser.one("#height_mm").is_displayed() != self.browser.scripts
        self.browser.fill(**ANN)
        self.press("Send me the confirmation")
        assert "One step left" in self.browser.text
        self.open(link_in(self.visitor, "confirm", mail=1))
        self.press("Yes, and show me my lawn")
        assert "Welcome. Here is your lawn's first outlook." in self.browser.text

    @property
    def drawn(self) -> str:
        """What the drawing of the lawn says to those who cannot see it."""
        return str(self.browser.one("figure.drawing-frame desc").get_attribute("textContent"))

    def nights(self, count: int, *, days: int = 1) -> list[EmailMessage]:
        """Let nights pass; the mails that came."""
        before = len(self.visitor.mails())
        for _ in range(count):
            self.visitor.wait(days=days)
            self.visitor.deliver()
        return self.visitor.mails()[before:]


def stop_by_mail_program(visitor: Visitor, mail: EmailMessage) -> requests.Response:
    """Do what a mail program's own button does: RFC 8058 section 3.2, without cookies or a page before."""
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    address = str(mail["List-Unsubscribe"]).strip("<>")
    assert address.startswith(BASE + "/")
    form = {"List-Unsubscribe": "One-Click"}
    return requests.post(visitor.url + address.removeprefix(BASE), form, timeout=30, allow_redirects=False)


@pytest.mark.parametrize("size", [PHONE, DESK], ids=lambda size: size.name)
def test_a_person_joins_mows_takes_it_back_pauses_and_stops_by_their_mail_program(
    visitor: Visitor, browser: Browser, size: Size
) -> None:
    browser.look(size)
    browser.complaints.clear()
    ann = Person(visitor, browser)
    ann.join()
    own, before = browser.path, ann.drawn

    (notice,) = ann.nights(8)
    assert notice["To"] == ANN["email"]
    ann.open(own)
    grown = ann.drawn
    assert grown != before

    ann.press("I mowed")
    assert "Noted: the grass starts again from your cut." in browser.text
    assert "The grass is about 2½ in tall today." in ann.drawn
    assert ann.drawn != grown
    ann.press("Undo the newest")
    assert ann.drawn == grown

    last_silent = (visitor.now + timedelta(days=8)).date()
    browser.fill(until=last_silent.isoformat())
    ann.press("Pause")
    assert "Paused: nothing is sent until" in browser.text
    assert ann.nights(4, days=2) == []

    answer = stop_by_mail_program(visitor, notice)
    assert answer.status_code == 200
    visitor.join(email="bob@example.org")
    assert {mail["To"] for mail in ann.nights(11, days=2)} == {"bob@example.org"}
    ann.open(own)
    assert f"No mail goes to {ANN['email']}" in browser.text

    assert browser.complaints == []
    assert browser.hosts == {"127.0.0.1"}
