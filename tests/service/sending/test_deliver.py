"""The outbox on its way: once, on time, or an honest record."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from random import Random

import pytest
from builders import THURSDAY, TURF, a_keeper, a_message, thursdays

from mowalert.domain.notices import OutgoingMessage
from mowalert.domain.words import Channel
from mowalert.errors import DeliveryError
from mowalert.service.policy import Policy
from mowalert.service.sending.deliver import DeliveryReport, SmsPolicy, deliver
from mowalert.service.sending.mail_pace import MailPace
from mowalert.store.engine import SqlStore

POLICY = Policy(frozenset(Channel), timedelta(hours=36))
NOON = datetime(2026, 5, 8, 16, 0, tzinfo=UTC)
"""Friday noon in New York."""


class Killed(BaseException):
    """The process is gone."""


@dataclass
class Way:
    """A transport that remembers what it took, and fails as told."""

    channel: Channel = Channel.EMAIL
    faults: list[BaseException] = field(default_factory=list)
    taken: list[OutgoingMessage] = field(default_factory=list)
    seen: Callable[[], None] = lambda: None

    def send(self, message: OutgoingMessage) -> None:
        self.seen()
        if self.faults:
            raise self.faults.pop(0)
        self.taken.append(message)

    def close(self) -> None:
        pass


def fault(
    *, permanent: bool, code: str = "", channel: Channel = Channel.EMAIL, known: bool = True
) -> DeliveryError:
    return DeliveryError("no", permanent=permanent, channel=channel, code=code, fate_known=known)


@pytest.fixture
def outbox(store: SqlStore) -> SqlStore:
    """A store with one keeper in New York."""
    with store.begin() as work:
        work.keepers.add(a_keeper(phone="+15555550101", round_id=thursdays(work)))
        work.commit()
    return store


def queue(store: SqlStore, count: int = 1, **changes: object) -> None:
    """Queue messages made a minute ago, one a local day."""
    with store.begin() as work:
        for number in range(count):
            fresh = {"created_at": NOON, "not_before": NOON, "useful_until": NOON + timedelta(days=2)}
            day = THURSDAY + timedelta(days=number)
            work.outbox.add(a_message(**(fresh | {"local_date": day, "round_id": 1} | changes)))
        work.commit()


def send(
    store: SqlStore,
    *ways: Way,
    now: datetime = NOON,
    pace: MailPace | None = None,
    clock: Callable[[], float] = lambda: 0.0,
    **policy: object,
) -> DeliveryReport:
    transports = {way.channel: way for way in ways}
    sms = replace(SmsPolicy(), **policy)  # type: ignore[arg-type]
    random = Random(1)
    return deliver(store, transports, TURF, POLICY, sms, now=now, pace=pace, random=random, clock=clock)


def states(store: SqlStore) -> dict[str, int]:
    with store.begin() as work:
        return dict(work.outbox.states())


def suspended(store: SqlStore) -> tuple[str | None, str | None]:
    with store.begin() as work:
        (keeper,) = work.keepers.all()
    return keeper.email_suspended, keeper.phone_suspended


def test_a_message_goes_once(outbox: SqlStore) -> None:
    queue(outbox)
    way = Way()
    assert send(outbox, way).sent == 1
    assert send(outbox, way).sent == 0
    assert [message.subject for message in way.taken] == ["Mow Saturday"]
    assert states(outbox) == {"sent": 1}


def test_a_passing_fault_is_tried_again_with_growing_waits_and_the_same_message_id(
    outbox: SqlStore,
) -> None:
    queue(outbox)
    way = Way(faults=[fault(permanent=False) for _ in range(3)])
    at, waits = NOON, []
    while states(outbox) == {"ready": 1}:
        report = send(outbox, way, now=at)
        start = at
        while states(outbox) == {"ready": 1} and not report.sent:
            at += timedelta(seconds=10)
            report = send(outbox, way, now=at)
            if report.retried:
                waits.append(at - start)
                start = at
        if report.sent:
            waits.append(at - start)
    assert [message.rfc_message_id for message in way.taken] == ["<abc@example.org>"]
    assert way.taken[0].attempts == 4
    assert waits == sorted(waits)
    assert waits[0] >= timedelta(seconds=48)


def test_a_due_mail_waits_its_turn_in_the_outbox_and_none_is_lost(outbox: SqlStore) -> None:
    queue(outbox, 30)
    way, pace, at = Way(), MailPace(0.5), NOON
    while states(outbox) != {"sent": 30}:
        report = send(outbox, way, now=at, pace=pace)
        assert report.sent + report.deferred == report.taken
        at += timedelta(minutes=10)
        assert at < NOON + timedelta(hours=3)
    assert len({message.message_id for message in way.taken}) == len(way.taken) == 30


def test_a_domain_that_refuses_for_now_is_not_asked_for_every_mail(outbox: SqlStore) -> None:
    queue(outbox, 20)
    queue(outbox, 20, address="bob@elsewhere.example", kind="letter")

    class Refusing(Way):
        def send(self, message: OutgoingMessage) -> None:
            super().send(message)
            if message.address.endswith("@example.org"):
                raise fault(permanent=False, code="451")

    way, pace = Refusing(), MailPace()
    report = send(outbox, way, pace=pace)
    assert (report.retried, report.deferred, report.sent) == (3, 17, 20)
    well = Way()
    for minutes in (10, 20, 30):
        send(outbox, well, now=NOON + timedelta(minutes=minutes), pace=pace)
    assert states(outbox) == {"sent": 40}
    assert len(well.taken) == 20


def test_a_fault_that_lasts_ends_with_the_advice(outbox: SqlStore) -> None:
    queue(outbox, useful_until=NOON + timedelta(minutes=90))
    way = Way(faults=[fault(permanent=False)] * 500)
    for minutes in range(0, 120, 5):
        send(outbox, way, now=NOON + timedelta(minutes=minutes))
    assert states(outbox) == {"expired": 1}
    assert way.taken == []


def test_a_refused_address_is_marked_and_not_tried_again(outbox: SqlStore) -> None:
    queue(outbox)
    way = Way(faults=[fault(permanent=True, code="550")])
    assert send(outbox, way).failed == 1
    assert send(outbox, way, now=NOON + timedelta(hours=5)).sent == 0
    assert states(outbox) == {"failed": 1}
    assert suspended(outbox) == ("no", None)


def test_a_refused_content_does_not_mark_the_address(outbox: SqlStore) -> None:
    queue(outbox)
    assert send(outbox, Way(faults=[fault(permanent=True, code="554")])).failed == 1
    assert suspended(outbox) == (None, None)


def test_a_gateway_that_refuses_our_key_does_not_mark_the_phone(outbox: SqlStore) -> None:
    queue(outbox, channel=Channel.SMS)
    way = Way(Channel.SMS, faults=[fault(permanent=True, code="401", channel=Channel.SMS)])
    assert send(outbox, way).failed == 1
    assert suspended(outbox) == (None, None)


def test_a_short_message_whose_fate_is_unknown_is_never_sent_again(outbox: SqlStore) -> None:
    queue(outbox, channel=Channel.SMS)
    way = Way(Channel.SMS, faults=[fault(permanent=False, channel=Channel.SMS, known=False)])
    assert send(outbox, way).unknown == 1
    for hours in range(1, 30):
        send(outbox, way, now=NOON + timedelta(hours=hours))
    assert way.taken == []
    assert states(outbox) == {"unknown": 1}


def test_an_email_whose_fate_is_unknown_goes_again(outbox: SqlStore) -> None:
    queue(outbox)
    way = Way(faults=[fault(permanent=False, known=False)])
    assert send(outbox, way).retried == 1
    assert send(outbox, way, now=NOON + timedelta(minutes=5)).sent == 1


def test_only_the_text_in_flight_is_lost_in_a_crash(outbox: SqlStore) -> None:
    queue(outbox, count=3, channel=Channel.SMS)
    way = Way(Channel.SMS, faults=[Killed()])
    with pytest.raises(Killed):
        send(outbox, way)
    report = send(outbox, way, now=NOON + timedelta(minutes=11))
    assert (report.sent, report.unknown) == (2, 1)
    assert states(outbox) == {"sent": 2, "unknown": 1}


def test_a_text_whose_fate_nobody_could_settle_in_a_second_crash_does_not_go_either(
    outbox: SqlStore,
) -> None:
    queue(outbox, channel=Channel.SMS)
    way = Way(Channel.SMS, faults=[Killed()])
    with pytest.raises(Killed):
        send(outbox, way)
    with outbox.begin() as work:
        later = NOON + timedelta(minutes=11)
        assert len(work.outbox.lease(now=later, until=later + timedelta(minutes=10), limit=9)) == 1
        work.commit()
    assert send(outbox, way, now=NOON + timedelta(minutes=22)).unknown == 1
    assert way.taken == []


def test_a_text_lost_in_a_crash_and_found_too_late_is_unknown_not_expired(outbox: SqlStore) -> None:
    queue(outbox, count=2, channel=Channel.SMS)
    with pytest.raises(Killed):
        send(outbox, Way(Channel.SMS, faults=[Killed()]))
    send(outbox, Way(Channel.SMS), now=NOON + timedelta(days=9))
    assert states(outbox) == {"unknown": 1, "expired": 1}


def test_an_email_in_flight_in_a_crash_goes_again(outbox: SqlStore) -> None:
    queue(outbox, count=3)
    way = Way(faults=[Killed()])
    with pytest.raises(Killed):
        send(outbox, way)
    assert send(outbox, way, now=NOON + timedelta(minutes=5)).sent == 0, "the lease still holds"
    assert send(outbox, way, now=NOON + timedelta(minutes=11)).sent == 3


def test_two_deliverers_send_each_message_once(outbox: SqlStore) -> None:
    queue(outbox, count=60)
    second = Way()
    first = Way(seen=lambda: send(outbox, second) and None)
    send(outbox, first)
    sent = [message.message_id for message in (*first.taken, *second.taken)]
    assert sorted(sent) == list(range(1, 61))


@pytest.mark.parametrize("channel", list(Channel))
def test_who_is_slower_than_a_lease_sends_nothing_that_another_took(
    outbox: SqlStore, channel: Channel
) -> None:
    queue(outbox, count=5, channel=channel)
    second = Way(channel)

    def look() -> None:
        send(outbox, second, now=NOON + timedelta(minutes=11 * len(first.taken)))

    first = Way(channel, seen=look)
    send(outbox, first, clock=lambda: 660.0 * len(first.taken))
    sent = [message.message_id for message in (*first.taken, *second.taken)]
    assert sorted(sent) == [1, 2, 3, 4, 5]
    assert states(outbox) == {"sent": 5}


def test_a_text_another_took_while_this_clock_was_wrong_goes_once(outbox: SqlStore) -> None:
    queue(outbox, count=3, channel=Channel.SMS)
    second = Way(Channel.SMS)
    first = Way(Channel.SMS, seen=lambda: send(outbox, second, now=NOON + timedelta(hours=1)) and None)
    send(outbox, first)
    assert sorted(message.message_id for message in (*first.taken, *second.taken)) == [1, 2, 3]


def test_a_text_that_was_stopped_while_others_went_does_not_go(outbox: SqlStore) -> None:
    queue(outbox, count=2, channel=Channel.SMS)

    def stop() -> None:
        with outbox.begin() as work:
            work.outbox.cancel_waiting(1, [Channel.SMS], at=NOON)
            work.commit()

    way = Way(Channel.SMS, seen=stop)
    send(outbox, way)
    assert [message.message_id for message in way.taken] == [1]
    assert states(outbox) == {"sent": 1, "cancelled": 1}


@pytest.mark.parametrize(
    ("now", "goes"),
    [
        (datetime(2026, 5, 8, 11, 59, tzinfo=UTC), False),
        (datetime(2026, 5, 8, 12, 0, tzinfo=UTC), True),
        (datetime(2026, 5, 8, 23, 59, tzinfo=UTC), True),
        (datetime(2026, 5, 9, 0, 0, tzinfo=UTC), False),
    ],
)
def test_texts_go_between_eight_and_eight_where_the_keeper_is(
    outbox: SqlStore, now: datetime, goes: bool
) -> None:
    queue(outbox, channel=Channel.SMS, created_at=now, not_before=now, useful_until=now + timedelta(days=2))
    way = Way(Channel.SMS)
    send(outbox, way, now=now)
    assert bool(way.taken) is goes


def test_quiet_hours_end_by_themselves_and_do_not_touch_email(outbox: SqlStore) -> None:
    night = datetime(2026, 5, 8, 4, 0, tzinfo=UTC)
    fresh = {"created_at": night, "not_before": night, "useful_until": night + timedelta(days=2)}
    queue(outbox, channel=Channel.SMS, **fresh)
    queue(outbox, **fresh)
    texts, mails = Way(Channel.SMS), Way()
    report = send(outbox, texts, mails, now=night)
    assert (len(mails.taken), report.deferred) == (1, 1)
    # Made at midnight and kept until eight, it is decided again: with no lawn left it is not true any more.
    assert send(outbox, texts, mails, now=night + timedelta(hours=8)).cancelled == 1
    assert texts.taken == []


def test_the_monthly_ceiling_holds_texts_back(outbox: SqlStore) -> None:
    queue(outbox, count=5, channel=Channel.SMS)
    way = Way(Channel.SMS)
    report = send(outbox, way, monthly_limit=3)
    assert (report.sent, report.deferred) == (3, 2)
    with outbox.begin() as work:
        (keeper,) = work.keepers.all()
        month = datetime(2026, 5, 1, tzinfo=UTC)
        assert work.outbox.sms_this_month(keeper.keeper_id, since=month) == 3


def test_a_channel_that_is_off_cancels(outbox: SqlStore) -> None:
    queue(outbox, channel=Channel.SMS)
    assert send(outbox, Way()).cancelled == 1
    assert states(outbox) == {"cancelled": 1}


def test_late_advice_expires_unsent(outbox: SqlStore) -> None:
    queue(outbox)
    way = Way()
    report = send(outbox, way, now=NOON + timedelta(days=2))
    assert (report.expired, way.taken) == (1, [])


def test_a_message_for_later_waits(outbox: SqlStore) -> None:
    queue(outbox, not_before=NOON + timedelta(hours=1))
    way = Way()
    assert send(outbox, way).sent == 0
    assert send(outbox, way, now=NOON + timedelta(hours=1)).sent == 1
