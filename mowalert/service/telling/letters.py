"""Letters: the few messages that are not advice, put into the outbox beside it."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Protocol

from mowalert.domain.words import Channel
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord, NewMessage
from mowalert.service.telling.answers import Answer

USEFUL_FOR = timedelta(days=2)


@dataclass(frozen=True, slots=True)
class Letter:
    """One message's words; a short message has only text."""

    channel: Channel
    subject: str
    text: str
    html: str = ""


class Letters(Protocol):
    """Words letters in the service's name."""

    @property
    def host(self) -> str:
        """The name Message-IDs end in."""

    def confirm(self, keeper: KeeperRecord, url: str) -> Letter:
        """Ask an address whether it wants to hear from us."""

    def confirm_phone(self, keeper: KeeperRecord) -> Letter:
        """Ask a phone the same; the answer is YES."""

    def page_link(self, keeper: KeeperRecord, url: str) -> Letter:
        """Send the link to a keeper's own pages."""

    def reply(self, text: str) -> Letter:
        """Answer a short message."""

    def answer(self, keeper: KeeperRecord, answer: Answer) -> Letter:
        """Say what became of a keeper's text, in one part."""


def post(
    work: Work,
    keeper: KeeperRecord,
    letter: Letter,
    kind: str,
    *,
    now: datetime,
    host: str,
    apart: str = "",
) -> bool:
    """Put a letter into the outbox.

    Parameters
    ----------
    work : Work
        The transaction.
    keeper : KeeperRecord
        Whom it is for.
    letter : Letter
        Its words.
    kind : str
        What it is; of one kind there is one a channel and second.
    now : datetime
        The moment.
    host : str
        The name Message-IDs end in.
    apart : str
        A dozen letters that tell two of one kind apart, in place of the second.

    Returns
    -------
    bool
        Whether it was queued.
    """
    address = keeper.email if letter.channel is Channel.EMAIL else keeper.phone
    if not address:
        return False
    # The outbox takes one message of a kind a day; a letter may be asked for again.
    once = f"{kind} {apart or f'{now:%H%M%S}'}"
    mark = sha256(f"{keeper.key}|{letter.channel}|{once}|{now.isoformat()}".encode()).hexdigest()[:32]
    return work.outbox.add(
        NewMessage(
            keeper_id=keeper.keeper_id,
            channel=letter.channel,
            kind=once,
            local_date=keeper.today(now),
            address=address,
            subject=letter.subject,
            text=letter.text,
            html=letter.html,
            rfc_message_id=f"<{mark}@{host}>",
            unsubscribe_url="",
            lawn_ids=(),
            round_id=keeper.round_id,
            created_at=now,
            not_before=now,
            useful_until=now + USEFUL_FOR,
        )
    )
