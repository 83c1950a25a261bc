"""Deliver: send what the outbox holds, once, on time, or leave an honest record."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, time, timedelta
from random import Random
from time import monotonic
from zoneinfo import ZoneInfo

from mowalert.domain.grasses import Turf
from mowalert.domain.notices import OutgoingMessage
from mowalert.domain.words import Channel
from mowalert.errors import DeliveryError
from mowalert.service.backup import restored_at
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, Transport
from mowalert.service.records import KeeperRecord, LeasedMessage, NewMessage
from mowalert.service.sending.mail_pace import MailPace
from mowalert.service.telling.still_true import still_true

LEASE = timedelta(minutes=10)
BEGUN_WITHIN_S = LEASE.total_seconds() / 2
"""Sending may itself take minutes: what was not begun by then is left to whoever leases it next."""
AT_ONCE = 50
RETRY_WAITS_MIN = (1, 5, 15, 60, 120, 240)
NO_SUCH_ADDRESS = frozenset({"550", "551", "553", "400", "404", "422"})
"""Answers that mean the address, not the service: RFC 5321 section 4.2.3, and usual for gateways."""
ANSWER = "reply"
"""Kind of a letter that answers a text: whoever texts at night waits for the answer."""
STALE_AFTER = timedelta(hours=2)
"""A message that waited longer is decided again before it goes."""


@dataclass(frozen=True, slots=True)
class SmsPolicy:
    """When short messages may go and how many a month, per keeper; local hours."""

    earliest: time = time(8)
    latest: time = time(20)
    monthly_limit: int = 30


@dataclass(slots=True)
class DeliveryReport:
    """How many messages met which end."""

    sent: int = 0
    failed: int = 0
    retried: int = 0
    deferred: int = 0
    expired: int = 0
    cancelled: int = 0
    unknown: int = 0
    taken: int = 0
    errors: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Run:
    """One delivery: what it works with, and what became of its messages so far."""

    store: Store
    transports: Mapping[Channel, Transport]
    turf: Turf
    policy: Policy
    sms: SmsPolicy
    pace: MailPace
    random: Random
    now: datetime
    report: DeliveryReport


def deliver(
    store: Store,
    transports: Mapping[Channel, Transport],
    turf: Turf,
    policy: Policy,
    sms: SmsPolicy,
    *,
    now: datetime,
    pace: MailPace | None = None,
    most: int | None = None,
    random: Random | None = None,
    clock: Callable[[], float] = monotonic,
) -> DeliveryReport:
    """Send every message that may go now; several processes may do so at once.

    Parameters
    ----------
    store : Store
        Where the outbox is.
    transports : Mapping[Channel, Transport]
        One for each channel in use.
    turf : Turf
        Grasses and soils, for advice that is decided again.
    policy : Policy
        As for the night.
    sms : SmsPolicy
        Hours and ceiling of short messages.
    now : datetime
        The moment it begins at, aware.
    pace : MailPace | None
        How many mails a domain gets, remembered from delivery to delivery; none for no limit.
    most : int | None
        Messages taken at most, some dozen more or less; none for all.
    random : Random | None
        Spreads retries; seeded in tests.
    clock : Callable[[], float]
        Tells how long it has been at it, whatever becomes of the time of day. [s]

    Returns
    -------
    DeliveryReport
        What became of them. Each message is settled in a transaction of its own.
    """
    report = DeliveryReport()
    jitter = random or Random()  # noqa: S311 - spreads retries, keeps no secret
    run = _Run(store, transports, turf, policy, sms, pace or MailPace(), jitter, now, report)
    began_s = clock()
    with store.begin() as work:
        if (until := restored_at(work)) is not None:
            report.unknown = work.outbox.doubt(until=until)
        report.expired = work.outbox.expire(now=now)
        work.commit()
    while most is None or report.taken < most:
        leased_s = clock()
        # A lease is of whole minutes: what lasts no minute happens at one moment.
        at = now + timedelta(minutes=(leased_s - began_s) // 60)
        if not (batch := _lease(store, at)):
            break
        report.taken += len(batch)
        at_once = replace(run, now=at)
        for leased in batch:
            if clock() - leased_s > BEGUN_WITHIN_S:
                break
            _deliver_one(at_once, leased)
    return report


def _lease(store: Store, now: datetime) -> list[LeasedMessage]:
    with store.begin() as work:
        batch = work.outbox.lease(now=now, until=now + LEASE, limit=AT_ONCE)
        work.commit()
    return batch


def _deliver_one(run: _Run, leased: LeasedMessage) -> None:
    message, store, report = leased.message, run.store, run.report
    if leased.interrupted and message.channel is Channel.SMS:
        # It may have gone out before the crash; a second text would cost trust and money.
        _settle(store, leased, "unknown", run.now, "interrupted while sending")
        report.unknown += 1
    elif (transport := run.transports.get(message.channel)) is None:
        _settle(store, leased, "cancelled", run.now, "channel is off")
        report.cancelled += 1
    elif (wait_until := _not_yet(store, leased, run.sms, run.now)) is not None:
        _postpone(store, leased, wait_until, "quiet hours or monthly ceiling")
        report.deferred += 1
    elif _gone_stale(run, leased):
        _settle(store, leased, "cancelled", run.now, "no longer true")
        report.cancelled += 1
    elif message.channel is Channel.EMAIL and (turn := run.pace.turn(message.address, now=run.now)) > run.now:
        _postpone(store, leased, turn, "many mails to one domain: it waits its turn")
        report.deferred += 1
    else:
        _send(run, transport, leased)


def _not_yet(store: Store, leased: LeasedMessage, sms: SmsPolicy, now: datetime) -> datetime | None:
    """When a short message may go, if not now; e-mail may always go, and so may an answer to a text."""
    if leased.message.channel is not Channel.SMS or leased.message.kind.startswith(ANSWER):
        return None
    with store.begin() as work:
        keeper = work.keepers.get([leased.message.keeper_id])[leased.message.keeper_id]
        month = now.replace(day=1, hour=0, minute=0, second=0, microsecond=0)
        sent = work.outbox.sms_this_month(keeper.keeper_id, since=month)
    if sent >= sms.monthly_limit:
        return (month + timedelta(days=32)).replace(day=1)
    # Who works for an organisation asked for the list at the hour the day begins.
    return None if leased.message.contact_id else _after_quiet_hours(keeper, sms, now)


def _after_quiet_hours(keeper: KeeperRecord, sms: SmsPolicy, now: datetime) -> datetime | None:
    local = now.astimezone(ZoneInfo(keeper.time_zone))
    if sms.earliest <= local.time() < sms.latest:
        return None
    morning = local.date() if local.time() < sms.earliest else local.date() + timedelta(days=1)
    return datetime.combine(morning, sms.earliest, ZoneInfo(keeper.time_zone)).astimezone(now.tzinfo)


def _gone_stale(run: _Run, leased: LeasedMessage) -> bool:
    message, now = leased.message, run.now
    # Letters speak of no lawn and stay true.
    if not message.lawn_ids or now - message.created_at < STALE_AFTER:
        return False
    with run.store.begin() as work:
        return not still_true(work, run.turf, run.policy, message.lawn_ids, message.local_date, now=now)


def _send(run: _Run, transport: Transport, leased: LeasedMessage) -> None:
    message = leased.message
    if message.channel is Channel.SMS and not _mark_sending(run.store, leased):
        return
    try:
        transport.send(_outgoing(leased))
    except DeliveryError as error:
        _after_error(run, leased, error)
    else:
        if message.channel is Channel.EMAIL:
            run.pace.taken(message.address, now=run.now)
        _settle(run.store, leased, "sent", run.now)
        run.report.sent += 1


def _after_error(run: _Run, leased: LeasedMessage, error: DeliveryError) -> None:
    store, report, now = run.store, run.report, run.now
    report.errors.append(f"{error.channel}: {error}")
    if not error.fate_known and error.channel == Channel.SMS:
        _settle(store, leased, "unknown", now, str(error))
        report.unknown += 1
    elif error.permanent:
        _settle(store, leased, "failed", now, str(error))
        if error.code in NO_SUCH_ADDRESS:
            _suspend(store, leased.message, str(error)[:200])
        report.failed += 1
    else:
        if leased.message.channel is Channel.EMAIL:
            run.pace.refused(leased.message.address, now=now)
        wait = RETRY_WAITS_MIN[min(leased.attempts, len(RETRY_WAITS_MIN)) - 1]
        _postpone(store, leased, now + timedelta(minutes=wait * run.random.uniform(0.8, 1.2)), str(error))
        report.retried += 1


def _suspend(store: Store, message: NewMessage, reason: str) -> None:
    with store.begin() as work:
        if message.contact_id:
            work.crews.suspend_contact(message.contact_id, message.channel, reason)
        else:
            work.keepers.suspend(message.keeper_id, message.channel, reason)
        work.commit()


def _mark_sending(store: Store, leased: LeasedMessage) -> bool:
    with store.begin() as work:
        marked = work.outbox.mark_sending(leased.message_id, attempts=leased.attempts)
        work.commit()
    return marked


def _settle(store: Store, leased: LeasedMessage, state: str, now: datetime, error: str = "") -> None:
    with store.begin() as work:
        work.outbox.settle(leased.message_id, state, at=now, error=error[:400])
        work.commit()


def _postpone(store: Store, leased: LeasedMessage, until: datetime, error: str) -> None:
    with store.begin() as work:
        work.outbox.retry(leased.message_id, next_try_at=until, error=error[:400])
        work.commit()


def _outgoing(leased: LeasedMessage) -> OutgoingMessage:
    message = leased.message
    return OutgoingMessage(
        message_id=leased.message_id,
        keeper_id=message.keeper_id,
        channel=message.channel,
        address=message.address,
        subject=message.subject,
        text=message.text,
        html=message.html,
        rfc_message_id=message.rfc_message_id,
        unsubscribe_url=message.unsubscribe_url,
        created_at=message.created_at,
        useful_until=message.useful_until,
        attempts=leased.attempts,
    )
