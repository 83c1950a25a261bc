"""Writing to the people of an organisation: who is there, and a message for one of them in the outbox."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from hashlib import sha256

from mowalert.domain.day_sheet import SheetReader
from mowalert.domain.notices import RenderedEmail
from mowalert.domain.words import Channel
from mowalert.links import Links
from mowalert.service.crew_records import ContactRecord, Role
from mowalert.service.policy import Policy
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord, NewMessage


@dataclass(frozen=True, slots=True)
class Occasion:
    """What a message is for: its kind, its local day, and until when it is worth sending."""

    kind: str
    on: date
    useful_until: datetime


@dataclass(frozen=True, slots=True)
class Post:
    """Writes to an organisation's people within one transaction."""

    work: Work
    policy: Policy
    links: Links
    keeper: KeeperRecord
    now: datetime

    def readers(self, roles: Collection[Role], *, instead: Role) -> list[ContactRecord]:
        """Return contacts of some roles; the keeper's own address where nobody has the role ``instead``."""
        contacts = self.work.crews.contacts(self.keeper.keeper_id)
        own = [] if any(one.role is instead for one in contacts) else [own_contact(self.keeper, instead)]
        return [one for one in (*own, *contacts) if one.role in roles]

    def reader(self, contact: ContactRecord) -> SheetReader:
        """Return a contact as wording needs them, with their links."""
        keeper, links = self.keeper, self.links
        if contact.contact_id:
            page = links.work_url(contact.contact_id, contact.link_version, now=self.now)
            stop = links.contact_stop_url(contact.contact_id)
        else:
            page = links.page_url(keeper.keeper_id, keeper.link_version, now=self.now)
            stop = links.unsubscribe_url(keeper.keeper_id)
        return SheetReader(contact.contact_id, contact.name, contact.language, keeper.units, page, stop)

    def reads_mail(self, contact: ContactRecord) -> bool:
        """Whether mail reaches a contact."""
        return bool(contact.email and not contact.email_suspended) and Channel.EMAIL in self.policy.channels

    def reads_texts(self, contact: ContactRecord) -> bool:
        """Whether short messages reach a contact."""
        return bool(contact.phone and not contact.phone_suspended) and Channel.SMS in self.policy.channels

    def mail(self, contact: ContactRecord, occasion: Occasion, mail: RenderedEmail) -> bool:
        """Queue an e-mail; ``False`` if they have one for that occasion."""
        stop_url = self.reader(contact).stop_url
        return self._queue(contact, occasion, Channel.EMAIL, contact.email or "", mail, stop_url)

    def text(self, contact: ContactRecord, occasion: Occasion, text: str) -> bool:
        """Queue a short message; ``False`` if they have one for that occasion."""
        words = RenderedEmail("", text, "")
        return self._queue(contact, occasion, Channel.SMS, contact.phone or "", words, "")

    def _queue(
        self,
        contact: ContactRecord,
        occasion: Occasion,
        channel: Channel,
        address: str,
        words: RenderedEmail,
        stop_url: str,
    ) -> bool:
        once = f"{self.keeper.key}|{contact.contact_id}|{channel}|{occasion.kind}|{occasion.on.isoformat()}"
        return self.work.outbox.add(
            NewMessage(
                keeper_id=self.keeper.keeper_id,
                channel=channel,
                kind=occasion.kind,
                local_date=occasion.on,
                address=address,
                subject=words.subject,
                text=words.text,
                html=words.html,
                rfc_message_id=f"<{sha256(once.encode()).hexdigest()[:32]}@{self.policy.host}>",
                unsubscribe_url=stop_url,
                lawn_ids=(),
                round_id=self.keeper.round_id,
                created_at=self.now,
                not_before=self.now,
                useful_until=occasion.useful_until,
                contact_id=contact.contact_id,
            )
        )


def own_contact(keeper: KeeperRecord, role: Role) -> ContactRecord:
    """Return an organisation's own address in a role nobody else has."""
    return ContactRecord(
        contact_id=0,
        keeper_id=keeper.keeper_id,
        key="",
        name=keeper.name,
        role=role,
        crew_id=None,
        email=keeper.email,
        phone=keeper.phone,
        language=keeper.language,
        consent_at=keeper.consent_at,
        consent_from=keeper.consent_from,
        email_suspended=keeper.email_suspended,
        phone_suspended=keeper.phone_suspended,
        link_version=keeper.link_version,
    )
