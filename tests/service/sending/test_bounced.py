"""What mails that come back do to an address: by kind, once each, and more if they name a mail of ours."""

from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import datetime, timedelta

import pytest
from builders import NOW, THURSDAY, a_keeper, a_message

from mowalert.channels.bounces import COMPLAINT as READ_AS_COMPLAINT
from mowalert.channels.bounces import Bounce, Complaint
from mowalert.domain.words import Channel
from mowalert.languages import LANGUAGES, translations
from mowalert.links import Links
from mowalert.service.lawns.wishes import STOPPED, start
from mowalert.service.sending.bounced import (
    COMPLAINT,
    REASONS,
    BounceAction,
    BounceKind,
    BounceOutcome,
    BouncePolicy,
    BounceRule,
    TakenBounce,
    kind_of,
    take_bounce,
)
from mowalert.store.engine import SqlStore

LINKS = Links("https://lawns.example.org", "a secret of the tests")
OURS = "<mail{}@example.org>"


@pytest.fixture
def ann(store: SqlStore) -> SqlStore:
    """A store with Ann, and twenty mails that were sent to her."""
    with store.begin() as work:
        round_id = work.rounds.ensure(
            daily_list=False, time_zone="America/New_York", weekdays=8, minute_of_day=1080, mixed=False
        )
        keeper_id = work.keepers.add(a_keeper(round_id=round_id, phone="+15155550101"))
        for number in range(20):
            day = THURSDAY + timedelta(days=number)
            mail = a_message(keeper_id=keeper_id, local_date=day, rfc_message_id=OURS.format(number))
            work.outbox.add(mail)
        work.commit()
    return store


def a_bounce(number: int | None = 0, *, code: str = "5.1.1", permanent: bool = True) -> Bounce:
    named = "" if number is None else OURS.format(number)
    return Bounce("ann@example.org", permanent, code, "no such mailbox here", named)


def took(store: SqlStore, bounce: Bounce, *, now: datetime = NOW, **more: object) -> TakenBounce:
    return take_bounce(store, LINKS, bounce, now=now, **more)  # type: ignore[arg-type]


def suspended(store: SqlStore) -> str | None:
    with store.begin() as work:
        return work.keepers.by_email("ann@example.org")[0].email_suspended


def until_suspended(store: SqlStore, bounces: Iterator[Bounce], *, every: timedelta = timedelta(0)) -> int:
    """How many reports it takes."""
    for count, bounce in enumerate(bounces, start=1):
        if took(store, bounce, now=NOW + every * count).outcome is BounceOutcome.SUSPENDED:
            return count
    return 0


@pytest.mark.parametrize("code", ["5.1.1", "5.1.0", "5.1.2", "5.1.3", "5.1.6", "5.1.10", "5.2.1"])
def test_a_mailbox_that_is_gone_is_written_to_no_more_at_once(ann: SqlStore, code: str) -> None:
    assert took(ann, a_bounce(code=code)) == TakenBounce(BounceOutcome.SUSPENDED, BounceKind.HARD, (1,), 1)
    assert suspended(ann) == "the mailbox does not exist"


def test_what_waits_for_a_gone_mailbox_is_cancelled_and_texts_go_on(ann: SqlStore) -> None:
    with ann.begin() as work:
        text = a_message(channel=Channel.SMS, address="+15155550101", rfc_message_id="<t@example.org>")
        work.outbox.add(text)
        work.commit()
    took(ann, a_bounce())
    with ann.begin() as work:
        assert dict(work.outbox.states()) == {"cancelled": 20, "ready": 1}
        assert work.keepers.by_email("ann@example.org")[0].phone_suspended is None


@pytest.mark.parametrize(
    ("code", "permanent", "kind", "limit"),
    [
        ("5.7.1", True, BounceKind.BLOCKED, 3),
        ("5.7.26", True, BounceKind.BLOCKED, 3),
        ("5.2.2", True, BounceKind.FULL, 5),
        ("4.2.2", False, BounceKind.FULL, 5),
        ("5.0.0", True, BounceKind.REFUSED, 3),
        ("5.1.8", True, BounceKind.REFUSED, 3),
        ("5.1.7", True, BounceKind.REFUSED, 3),
        ("", True, BounceKind.REFUSED, 3),
        ("4.4.1", False, BounceKind.SOFT, 5),
        ("5.1.1", False, BounceKind.SOFT, 5),
        ("4.7.1", False, BounceKind.SOFT, 5),
        ("", False, BounceKind.SOFT, 5),
    ],
)
def test_other_faults_count_up_to_their_limit(
    ann: SqlStore, code: str, permanent: bool, kind: BounceKind, limit: int
) -> None:
    assert kind_of(a_bounce(code=code, permanent=permanent)) is kind
    bounces = (a_bounce(number, code=code, permanent=permanent) for number in range(20))
    assert until_suspended(ann, bounces) == limit
    assert suspended(ann) == REASONS[kind]


def test_a_complaint_is_enough_even_where_the_reporter_conceals_the_address(ann: SqlStore) -> None:
    complaint = Complaint("", True, READ_AS_COMPLAINT, "abuse, reported by a mail service", OURS.format(3))
    assert took(ann, complaint).kind is BounceKind.COMPLAINT
    assert suspended(ann) == "our mail was called unwanted there"
    assert COMPLAINT == READ_AS_COMPLAINT


def test_the_same_report_counts_once_however_often_it_comes(ann: SqlStore) -> None:
    for hours in range(0, 24 * 30, 7):
        taken = took(ann, a_bounce(code="5.7.1"), now=NOW + timedelta(hours=hours))
        assert (taken.outcome is BounceOutcome.COUNTED) is (hours == 0)
    assert suspended(ann) is None


def test_a_delay_and_the_end_of_one_mail_are_two_reports(ann: SqlStore) -> None:
    assert took(ann, a_bounce(code="4.4.1", permanent=False)).outcome is BounceOutcome.COUNTED
    assert took(ann, a_bounce(code="5.1.1")).outcome is BounceOutcome.SUSPENDED


def test_old_faults_are_forgotten_after_a_fortnight(ann: SqlStore) -> None:
    soft = (a_bounce(number, code="4.4.1", permanent=False) for number in range(20))
    assert until_suspended(ann, soft, every=timedelta(days=4)) == 0
    assert suspended(ann) is None


def test_hearsay_is_at_most_a_passing_fault_and_counts_once_a_day(ann: SqlStore) -> None:
    for _ in range(9):
        taken = took(ann, a_bounce(None))
        assert taken.kind is BounceKind.SOFT
        assert taken.outcome is not BounceOutcome.SUSPENDED
    forged = Bounce("ann@example.org", True, "5.1.1", "gone", "<never.sent@example.org>")
    assert took(ann, forged).outcome is BounceOutcome.REPEATED
    heard = (a_bounce(None) for _ in range(20))
    assert until_suspended(ann, heard, every=timedelta(days=1)) == 4


def test_hearsay_of_a_complaint_is_no_complaint(ann: SqlStore) -> None:
    complaint = Complaint("ann@example.org", True, READ_AS_COMPLAINT, "abuse", "")
    assert took(ann, complaint).kind is BounceKind.SOFT
    assert suspended(ann) is None


@pytest.mark.parametrize("address", ["bob@example.org", ""])
def test_a_report_of_somebody_else_does_nothing(ann: SqlStore, address: str) -> None:
    stranger = Bounce(address, True, "5.1.1", "gone", "")
    assert took(ann, stranger) == TakenBounce(BounceOutcome.NOBODY, BounceKind.SOFT)
    assert took(ann, stranger).outcome is BounceOutcome.NOBODY


def test_a_mail_sent_to_an_address_they_no_longer_have_says_nothing_of_the_new_one(ann: SqlStore) -> None:
    with ann.begin() as work:
        old = a_message(address="old@example.org", kind="link", rfc_message_id="<old@example.org>")
        work.outbox.add(old)
        work.commit()
    bounce = Bounce("old@example.org", True, "5.1.1", "gone", "<old@example.org>")
    assert took(ann, bounce).outcome is BounceOutcome.NOBODY
    assert suspended(ann) is None


def test_a_forwarded_mail_suspends_the_address_we_wrote_to(ann: SqlStore) -> None:
    forwarded = Bounce("ann@elsewhere.example", True, "5.1.1", "gone", OURS.format(1))
    assert took(ann, forwarded).outcome is BounceOutcome.SUSPENDED
    assert suspended(ann) is not None


def test_what_somebody_stopped_themselves_stays_their_word(ann: SqlStore) -> None:
    with ann.begin() as work:
        work.keepers.suspend(1, Channel.EMAIL, STOPPED)
        work.commit()
    assert took(ann, a_bounce()).outcome is BounceOutcome.ALREADY
    assert suspended(ann) == STOPPED


def test_a_start_gives_another_chance_and_the_next_report_ends_it(ann: SqlStore) -> None:
    took(ann, a_bounce(1))
    start(ann, 1, Channel.EMAIL)
    assert took(ann, a_bounce(1)).outcome is BounceOutcome.REPEATED
    assert suspended(ann) is None
    assert took(ann, a_bounce(2)).outcome is BounceOutcome.SUSPENDED


def test_an_operator_can_say_otherwise(ann: SqlStore) -> None:
    lenient = BouncePolicy(hard=BounceRule(2, 30), complaint=BounceRule(1, 1, BounceAction.NOTHING))
    assert took(ann, a_bounce(1), policy=lenient).outcome is BounceOutcome.COUNTED
    complaint = Complaint("ann@example.org", True, READ_AS_COMPLAINT, "abuse", OURS.format(2))
    assert took(ann, complaint, policy=lenient).outcome is BounceOutcome.COUNTED
    assert took(ann, a_bounce(3), policy=lenient).outcome is BounceOutcome.SUSPENDED


def test_every_kind_has_a_rule_and_a_reason() -> None:
    assert {one.name for one in fields(BouncePolicy)} == {kind.value for kind in BounceKind}
    assert set(REASONS) == set(BounceKind)
    for kind in BounceKind:
        assert BouncePolicy().rule(kind).count > 0
        # As they are counted in the store.
        assert len(f"bounce {kind}") <= 16


@pytest.mark.parametrize("language", list(LANGUAGES))
def test_the_reason_is_told_in_the_keepers_language(ann: SqlStore, language: str) -> None:
    with ann.begin() as work:
        keeper = work.keepers.by_email("ann@example.org")[0]
        work.keepers.change(replace(keeper, language=language))
        work.commit()
    took(ann, a_bounce())
    assert suspended(ann) == translations(language).gettext("the mailbox does not exist")


def test_addresses_are_counted_by_marks_that_tell_nobody_whose_they_are(ann: SqlStore) -> None:
    took(ann, a_bounce(code="5.7.1"))
    with ann.begin() as work:
        since = NOW - timedelta(days=1)
        assert work.signups.attempts("bounce blocked", LINKS.mark("ann@example.org"), since=since) == 1
        assert work.signups.attempts("bounce blocked", "ann@example.org", since=since) == 0
