"""A mail server on loopback that keeps what arrives."""

import email
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.policy import default
from typing import Any

from aiosmtpd.controller import Controller
from ports import free_port


@dataclass
class Mailbox:
    """What arrived, the oldest first."""

    port: int
    mails: list[EmailMessage] = field(default_factory=list)

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        self.mails.append(email.message_from_bytes(envelope.content, policy=default))
        return "250 OK"

    def to(self, address: str) -> list[EmailMessage]:
        return [mail for mail in self.mails if str(mail["To"]) == address]

    def text(self, index: int = -1) -> str:
        body = self.mails[index].get_body(("plain",))
        assert body is not None
        return str(body.get_content())

    @property
    def settings(self) -> dict[str, str]:
        """The environment that sends mails here."""
        return {
            "MOWALERT_EMAIL__TRANSPORT": "smtp",
            "MOWALERT_EMAIL__HOST": "127.0.0.1",
            "MOWALERT_EMAIL__PORT": str(self.port),
            "MOWALERT_EMAIL__SENDER": "Turf Line <lawns@example.org>",
        }


@contextmanager
def receiving() -> Iterator[Mailbox]:
    """Take mails for as long as a block lasts."""
    mailbox = Mailbox(free_port())
    controller = Controller(mailbox, hostname="127.0.0.1", port=mailbox.port)
    controller.start()
    try:
        yield mailbox
    finally:
        controller.stop()
