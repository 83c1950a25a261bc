"""The pages served for real on loopback, under a sky and a clock that a test sets."""

import email
import re
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email.message import EmailMessage
from email.policy import default
from pathlib import Path
from typing import Any

import requests
import uvicorn
from fastapi import FastAPI
from mail_server import Mailbox
from skies import Skies

from mowalert.service.nights.night import NightReport, run_night
from mowalert.service.sending.deliver import DeliveryReport, deliver
from mowalert.wiring import Services

START = datetime(2026, 5, 7, 15, 0, tzinfo=UTC)
"""A Thursday, before the weekend notice of the same evening."""
BASE = "https://lawns.example.org"
ANN = {
    "latitude": "41.85",
    "longitude": "-93.15",
    "grass": "kentucky_bluegrass",
    "height_mm": "65",
    "watering": "regular",
    "sun": "full",
    "day_sat": "1",
    "day_sun": "1",
    "email": "ann@example.org",
    "agree": "1",
    "units": "us",
}


@dataclass
class Visitor:
    """Someone with a browser without scripts, and a mailbox."""

    services: Services
    url: str
    folder: Path
    sky: Skies
    mailbox: Mailbox | None = None
    now: datetime = START
    session: requests.Session = field(default_factory=requests.Session)

    def get(self, path: str, **more: Any) -> requests.Response:
        return self.session.get(self.url + path, timeout=30, **more)

    def post(self, path: str, data: Any = None, **more: Any) -> requests.Response:
        return self.session.post(self.url + path, data=data, timeout=30, **more)

    def send(self, path: str, data: dict[str, str], *, on: str | None = None) -> requests.Response:
        """Open a page, and send its form."""
        token = form_in(self.get(on or path).text)
        return self.post(path, {"form": token, **data})

    def mails(self) -> list[EmailMessage]:
        """Mails so far, the oldest first."""
        if self.mailbox is not None:
            return list(self.mailbox.mails)
        paths = sorted((self.folder / "var" / "mail").glob("*.eml"))
        return [email.message_from_bytes(path.read_bytes(), policy=default) for path in paths]  # type: ignore[misc]

    def mail(self, count: int) -> EmailMessage:
        """The mail of that number, which may be on its way."""
        self.soon(lambda: len(self.mails()) >= count, f"no mail {count}")
        return self.mails()[count - 1]

    def soon(self, happens: Callable[[], bool], otherwise: str) -> None:
        """Wait for what is done beside the answer."""
        for _ in range(200):
            if happens():
                return
            time.sleep(0.02)
        raise AssertionError(otherwise)

    def join(self, **changes: str) -> str:
        """Join, confirm, and return the way to one's page."""
        before = len(self.mails())
        assert self.send("/join", ANN | changes).status_code == 200
        link = re.search(rf"{BASE}(/confirm/\S+)", text_of(self.mail(before + 1)))
        assert link
        answer = self.send(link[1], {})
        assert answer.status_code == 200, answer.text
        return answer.url.removeprefix(self.url).partition("?")[0]

    def night(self) -> NightReport:
        made = self.services
        return run_night(made.store, self.sky, made.turf, made.words, made.policy, now=self.now)

    def deliver(self) -> DeliveryReport:
        """Send what waits in the outbox."""
        made, ways = self.services, self.services.transports()
        try:
            return deliver(made.store, ways, made.turf, made.policy, made.sms, now=self.now)
        finally:
            for way in ways.values():
                way.close()

    def wait(self, **span: int) -> NightReport:
        """Let time pass, and a night come."""
        self.now += timedelta(**span)
        return self.night()


def form_in(page: str) -> str:
    """The proof in a page's form."""
    found = re.search(r'name="form" value="([^"]+)"', page)
    assert found, page
    return found[1]


def text_of(mail: EmailMessage) -> str:
    body = mail.get_body(("plain",))
    assert body
    return str(body.get_content())


class served:  # noqa: N801 - reads as what it does
    """Serve an application on loopback for as long as a block lasts."""

    def __init__(self, app: FastAPI) -> None:
        self._server = uvicorn.Server(
            uvicorn.Config(app, host="127.0.0.1", port=0, log_level="error", access_log=False)
        )
        self._thread = threading.Thread(target=self._server.run, daemon=True)

    def __enter__(self) -> str:
        self._thread.start()
        while not self._server.started:
            time.sleep(0.01)
        port = self._server.servers[0].sockets[0].getsockname()[1]
        return f"http://127.0.0.1:{port}"

    def __exit__(self, *error: object) -> None:
        self._server.should_exit = True
        self._thread.join(10)
