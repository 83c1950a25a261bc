"""Mails that come back, and people who call them unwanted: counted, and after a limit no more is sent.

Anyone can write a bounce. One that names no mail of ours is hearsay: it counts as a passing fault at most,
and once a day.
"""

import re
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Protocol

from mowalert.domain.words import Channel
from mowalert.languages import N_, translations
from mowalert.links import Links
from mowalert.service.crew_records import ContactRecord
from mowalert.service.ports import Store, Work
from mowalert.service.records import KeeperRecord

COMPLAINT = "complaint"
"""The code of a report that a person made, where a bounce has its status."""
LONGEST_REASON = 200

# RFC 3463 section 3.2, without the codes that speak of the sender (7, 8), of a mailbox that is fine (5) and
# of a relay (9); 2.1 is a mailbox that is disabled.
GONE = re.compile(r"5\.1\.(?!5$|7$|8$|9$)\d+|5\.2\.1")
FULL = re.compile(r"[45]\.2\.2")
BLOCKED = re.compile(r"5\.7\.\d+")


class BounceKind(StrEnum):
    """What a report says of an address."""

    HARD = "hard"
    BLOCKED = "blocked"
    FULL = "full"
    REFUSED = "refused"
    SOFT = "soft"
    COMPLAINT = "complaint"


class BounceAction(StrEnum):
    """What is done when there were too many of a kind."""

    SUSPEND = "suspend"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class BounceRule:
    """How many reports of a kind, within how many days, are too many, and what is done then."""

    count: int
    days: int
    action: BounceAction = BounceAction.SUSPEND


REASONS = {
    BounceKind.HARD: N_("the mailbox does not exist"),
    BounceKind.COMPLAINT: N_("our mail was called unwanted there"),
    BounceKind.BLOCKED: N_("the mail server does not let our mail in"),
    BounceKind.REFUSED: N_("the mail server refused it again and again"),
    BounceKind.FULL: N_("the mailbox is full"),
    BounceKind.SOFT: N_("the mail could not be delivered again and again"),
}


@dataclass(frozen=True, slots=True)
class BouncePolicy:
    """What is done about reports, by their kind. Working values: gone is gone, full may be emptied."""

    hard: BounceRule = BounceRule(1, 14)
    complaint: BounceRule = BounceRule(1, 14)
    blocked: BounceRule = BounceRule(3, 14)
    refused: BounceRule = BounceRule(3, 14)
    full: BounceRule = BounceRule(5, 14)
    soft: BounceRule = BounceRule(5, 14)

    def rule(self, kind: BounceKind) -> BounceRule:
        """Return the rule of a kind."""
        rules: dict[str, BounceRule] = {one.name: getattr(self, one.name) for one in fields(self)}
        return rules[kind.value]


class BounceReport(Protocol):
    """What was reported of one address; as `channels.bounces.Bounce` has it."""

    @property
    def address(self) -> str:
        """Where the mail went; empty where it is concealed."""

    @property
    def permanent(self) -> bool:
        """Whether trying again is pointless."""

    @property
    def code(self) -> str:
        """The enhanced status, or ``complaint``."""

    @property
    def rfc_message_id(self) -> str:
        """The Message-ID of our mail; empty for hearsay."""


class BounceOutcome(StrEnum):
    """What became of a report."""

    SUSPENDED = "suspended"
    COUNTED = "counted"
    REPEATED = "repeated"
    ALREADY = "already"
    NOBODY = "nobody"


@dataclass(frozen=True, slots=True)
class TakenBounce:
    """What became of a report: of which kind it was, whose mail it was about, and how many there were."""

    outcome: BounceOutcome
    kind: BounceKind
    keeper_ids: tuple[int, ...] = ()
    count: int = 0


def take_bounce(
    store: Store, links: Links, bounce: BounceReport, *, now: datetime, policy: BouncePolicy | None = None
) -> TakenBounce:
    """Count a report, and send nothing more where there were too many.

    Parameters
    ----------
    store : Store
        Where keepers and mails are kept.
    links : Links
        Makes the one-way marks by which reports are counted.
    bounce : BounceReport
        What was reported.
    now : datetime
        The moment, aware.
    policy : BouncePolicy | None
        Limits; the usual ones if not given.

    Returns
    -------
    TakenBounce
        What became of it. The same report a second time changes nothing.
    """
    with store.begin() as work:
        sent = work.bounces.sent(bounce.rfc_message_id) if bounce.rfc_message_id else None
        kind = BounceKind.SOFT if sent is None else kind_of(bounce)
        address = bounce.address if sent is None else sent.address
        keepers = work.keepers.by_email(address) if address else []
        contacts = work.crews.contacts_at(Channel.EMAIL, address) if address else []
        if not keepers and not contacts:
            return TakenBounce(BounceOutcome.NOBODY, kind)
        theirs = [keeper.keeper_id for keeper in keepers] + [contact.keeper_id for contact in contacts]
        ids = tuple(dict.fromkeys(theirs))
        once = f"{bounce.rfc_message_id or '-'} {address} {kind}" if sent else f"{address} {now:%Y-%m-%d}"
        if not _is_new(work, links.mark(once), now):
            return TakenBounce(BounceOutcome.REPEATED, kind, ids)
        rule = (policy or BouncePolicy()).rule(kind)
        count = _counted(work, links.mark(address), kind, rule, now)
        outcome = _acted(work, keepers, contacts, kind, rule, count, now)
        work.commit()
    return TakenBounce(outcome, kind, ids, count)


def kind_of(bounce: BounceReport) -> BounceKind:
    """Say what kind of report this is; of a mail that was ours."""
    if bounce.code == COMPLAINT:
        return BounceKind.COMPLAINT
    if FULL.fullmatch(bounce.code):
        return BounceKind.FULL
    if not bounce.permanent:
        return BounceKind.SOFT
    if GONE.fullmatch(bounce.code):
        return BounceKind.HARD
    return BounceKind.BLOCKED if BLOCKED.fullmatch(bounce.code) else BounceKind.REFUSED


def _is_new(work: Work, mark: str, now: datetime) -> bool:
    if work.signups.attempts("bounce seen", mark, since=now - timedelta(days=365)):
        return False
    work.signups.attempt("bounce seen", mark, at=now)
    return True


def _counted(work: Work, mark: str, kind: BounceKind, rule: BounceRule, now: datetime) -> int:
    """Count a report; how many there are of its kind within the rule's days."""
    what = f"bounce {kind}"
    work.signups.attempt(what, mark, at=now)
    return work.signups.attempts(what, mark, since=now - timedelta(days=rule.days))


def _acted(
    work: Work,
    keepers: list[KeeperRecord],
    contacts: list[ContactRecord],
    kind: BounceKind,
    rule: BounceRule,
    count: int,
    now: datetime,
) -> BounceOutcome:
    if count < rule.count or rule.action is BounceAction.NOTHING:
        return BounceOutcome.COUNTED
    heard = [keeper for keeper in keepers if not keeper.email_suspended]
    for keeper in heard:
        reason = translations(keeper.language).gettext(REASONS[kind])
        work.keepers.suspend(keeper.keeper_id, Channel.EMAIL, reason[:LONGEST_REASON])
        work.outbox.cancel_waiting(keeper.keeper_id, {Channel.EMAIL}, at=now)
    people = [contact for contact in contacts if not contact.email_suspended]
    for contact in people:
        reason = translations(contact.language).gettext(REASONS[kind])
        work.crews.suspend_contact(contact.contact_id, Channel.EMAIL, reason[:LONGEST_REASON])
    return BounceOutcome.SUSPENDED if heard or people else BounceOutcome.ALREADY
