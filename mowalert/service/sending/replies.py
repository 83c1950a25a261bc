"""Texts that come in: each is taken once, done, and answered in one text; what it said is kept nowhere.

A phone may be more than one keeper's: a text speaks for all of them. Only a phone whose owner has said
yes may do more than stop, start, ask for help, or say yes.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from hashlib import sha256
from zoneinfo import ZoneInfo

from mowalert.domain.grasses import Turf
from mowalert.domain.lawn import place_name
from mowalert.domain.replies import Reply, ReplyKind, read_reply
from mowalert.domain.words import Channel, KeeperKind, NoticeKind, Units
from mowalert.errors import InputError
from mowalert.links import Links
from mowalert.service.growing.learn import HEIGHT
from mowalert.service.keepers.joining import ASKED, UNCONFIRMED, confirm
from mowalert.service.lawns.advised import last_advised
from mowalert.service.lawns.report import SEASON_DAYS, report_height, report_mowing, reported_before
from mowalert.service.lawns.wishes import LONGEST_PAUSE_D, STOPPED, pause, start, stop
from mowalert.service.ports import InboundRecord, Store, Work
from mowalert.service.records import KeeperRecord, LawnRecord, ToldRecord
from mowalert.service.sending.people_replies import hear_person
from mowalert.service.telling.answers import Answer, AnswerKind
from mowalert.service.telling.letters import Letters, post
from mowalert.service.telling.remembering import FACTS
from mowalert.service.within import Within

WHY_DAYS = 60
SAME_MM = 0.5
"""Heights nearer than this are one report sent twice."""
ALWAYS = frozenset({AnswerKind.STOPPED, AnswerKind.STARTED, AnswerKind.HELP, AnswerKind.WELCOME})
"""Answers that go to a stopped phone as well."""
STRANGER, REPEATED, PROBLEM = "stranger", "repeated", "problem"
"""What a text is where it asks for nothing: of nobody we know, taken before, or with a slip in it."""


@dataclass(frozen=True, slots=True)
class Desk:
    """What it takes to answer texts; ``cell_degrees`` is the side of a weather cell."""

    store: Store
    turf: Turf
    letters: Letters
    links: Links
    cell_degrees: float


@dataclass(frozen=True, slots=True)
class InboundText:
    """A text as its gateway hands it over; ``phone`` in E.164, or empty where it is no number."""

    gateway_id: str
    phone: str
    text: str


@dataclass(frozen=True, slots=True)
class Answered:
    """What became of a text: what it asked for, whose it was, and what was queued in answer, if anything."""

    kind: str
    keeper_id: int | None = None
    answer: Answer | None = None


def answer_sms(desk: Desk, text: InboundText, *, now: datetime) -> Answered:
    """Do what a text asks for, and queue the answer, in one transaction.

    Parameters
    ----------
    desk : Desk
        Store, words and links.
    text : InboundText
        The text. One whose number came before does nothing.
    now : datetime
        The moment, aware.

    Returns
    -------
    Answered
        What became of it.
    """
    try:
        return _answered(desk, text, _done, now)
    except InputError:
        # Whatever was done of it is rolled back: of several lawns all are reported, or none.
        return _answered(desk, text, _refused, now)


@dataclass(frozen=True)  # without slots: what is looked up is kept
class _Case:
    """One text, read, and whose it is: those who said yes to texts first."""

    desk: Desk
    work: Work
    keepers: tuple[KeeperRecord, ...]
    reply: Reply
    now: datetime

    @property
    def store(self) -> Store:
        return Within(self.work)

    @property
    def to(self) -> KeeperRecord:
        return self.keepers[0]

    @property
    def today(self) -> date:
        return self.to.today(self.now)

    @property
    def kind(self) -> str:
        return PROBLEM if self.reply.problem else self.reply.kind.value

    @cached_property
    def trusted(self) -> tuple[KeeperRecord, ...]:
        return tuple(keeper for keeper in self.keepers if _is_trusted(keeper))

    @cached_property
    def lawns(self) -> list[LawnRecord]:
        return self.work.lawns.of_keepers([keeper.keeper_id for keeper in self.trusted])

    @property
    def page_url(self) -> str:
        """The keeper's own page, which only somebody who hears from us may be told."""
        to = self.to
        return self.desk.links.page_url(to.keeper_id, to.link_version, now=self.now) if _hears(to) else ""


def _is_trusted(keeper: KeeperRecord) -> bool:
    """Whether the phone's owner has agreed: a number somebody typed in proves nothing."""
    return keeper.consent != ASKED and keeper.phone_suspended != UNCONFIRMED


def _hears(keeper: KeeperRecord) -> bool:
    return keeper.consent != ASKED and not keeper.phone_suspended


Act = Callable[[_Case], Answer | None]


def _answered(desk: Desk, text: InboundText, act: Act, now: datetime) -> Answered:
    with desk.store.begin() as work:
        case = _read(desk, work, text, now)
        person = hear_person(work, text.phone, text.text, now=now)
        kind, keeper_id = (STRANGER, None) if case is None else (case.kind, case.to.keeper_id)
        if case is None and person is not None:
            kind, keeper_id = person.answer.kind.value, person.to.keeper_id
        if not work.inbound.add(InboundRecord(text.gateway_id, keeper_id, kind, now)):
            return Answered(REPEATED)
        answer = None if case is None else act(case)
        if case is None and person is not None:
            answer = person.answer
            _post(desk, work, person.to, answer, text.gateway_id, now)
        elif case is None or answer is None or not _may_hear(case, answer):
            answer = None
        else:
            _post(desk, work, case.to, answer, text.gateway_id, now)
        work.commit()
    return Answered(kind, keeper_id, answer)


def _read(desk: Desk, work: Work, text: InboundText, now: datetime) -> _Case | None:
    """Find whose text it is and read it; none for a stranger's, which is not read at all."""
    ids = [keeper.keeper_id for keeper in work.keepers.by_phone(text.phone)] if text.phone else []
    if not ids:
        return None
    # Two texts sent in one breath come at once: the second sees what the first has done.
    work.inbound.lock(ids)
    keepers = sorted(
        work.keepers.get(ids).values(),
        key=lambda keeper: (not _hears(keeper), not _is_trusted(keeper), keeper.keeper_id),
    )
    case = _Case(desk, work, tuple(keepers), Reply(ReplyKind.UNKNOWN), now)
    reply = read_reply(text.text, today=case.today, inches=case.to.units is Units.US)
    return replace(case, reply=reply)


def _may_hear(case: _Case, answer: Answer) -> bool:
    return answer.kind in ALWAYS or _hears(case.to)


def _post(desk: Desk, work: Work, to: KeeperRecord, answer: Answer, gateway_id: str, now: datetime) -> None:
    apart = sha256(gateway_id.encode()).hexdigest()[:12]
    letter = desk.letters.answer(to, answer)
    post(work, to, letter, "reply", now=now, host=desk.letters.host, apart=apart)


def _done(case: _Case) -> Answer | None:
    return ACTS[case.reply.kind](case)


def _stop(case: _Case) -> Answer | None:
    """Stop texts for good, and say so once."""
    heard = [keeper for keeper in case.keepers if keeper.phone_suspended != STOPPED]
    for keeper in heard:
        stop(case.store, keeper.keeper_id, frozenset({Channel.SMS}), at=case.now)
    by_mail = any(keeper.email and not keeper.email_suspended for keeper in case.trusted)
    return Answer(AnswerKind.STOPPED, by_mail=by_mail) if heard else None


def _start(case: _Case) -> Answer | None:
    """Start again whatever was stopped, paused, or waiting for a yes."""
    for keeper in case.keepers:
        if _is_theirs(keeper):
            start(case.store, keeper.keeper_id, Channel.SMS)
            _say_yes(case, replace(keeper, phone_suspended=None))
        if keeper.paused_until is not None:
            pause(case.store, keeper.keeper_id, until=None, today=case.today)
    now = case.work.keepers.get([keeper.keeper_id for keeper in case.keepers])
    return Answer(AnswerKind.STARTED) if any(map(_hears, now.values())) else None


def _is_theirs(keeper: KeeperRecord) -> bool:
    """Whether the phone alone can say yes: a sign-up with an e-mail address waits for that one's owner."""
    return keeper.consent != ASKED or not keeper.email


def _help(case: _Case) -> Answer | None:
    return Answer(AnswerKind.HELP, page_url=case.page_url)


def _confirm(case: _Case) -> Answer | None:
    said_yes = [keeper for keeper in case.keepers if _say_yes(case, keeper)]
    if said_yes:
        return Answer(AnswerKind.WELCOME)
    return Answer(AnswerKind.ALREADY) if _is_first_today(case) else None


def _say_yes(case: _Case, keeper: KeeperRecord) -> bool:
    """Take a phone's yes, to texts beside e-mail or to a sign-up by phone; whether one was asked for."""
    if keeper.phone_suspended == UNCONFIRMED and _is_theirs(keeper):
        start(case.store, keeper.keeper_id, Channel.SMS)
        return True
    if keeper.email or keeper.phone_suspended:
        return False
    newest = next(reversed(case.work.signups.of_keeper(keeper.keeper_id)), None)
    if newest is None or newest.confirmed_at is not None:
        return False
    desk, number = case.desk, newest.signup_id
    degrees = desk.cell_degrees
    joined = confirm(case.store, desk.turf, desk.letters, number, cell_degrees=degrees, now=case.now)
    return joined is not None


def _mowed(case: _Case) -> Answer | None:
    lawns, on = _meant(case), _day(case)
    if not lawns:
        return _which_lawn(case)
    for lawn in lawns:
        if not _is_known(case, lawn, "mowing", case.reply.height_mm):
            report_mowing(
                case.store,
                case.desk.turf,
                lawn.lawn_id,
                height_mm=case.reply.height_mm,
                on=on,
                today=case.today,
                now=case.now,
                by="sms",
            )
    height_mm = case.reply.height_mm or lawns[0].chosen_mm
    place = _place(case, lawns[0])
    return Answer(AnswerKind.MOWED, place=place, lawns=len(lawns), height_mm=height_mm, on=on)


def _day(case: _Case) -> date:
    return case.reply.on or case.today


def _meant(case: _Case) -> list[LawnRecord]:
    """The lawns a report of a cut is about: the only one, or those last advised; none if that is unclear."""
    if len(case.lawns) < 2:
        return case.lawns
    meant = last_advised(case.work, case.lawns, today=case.today)
    # One height for several lawns is a slip, and a crew's word about one property says nothing of the list.
    alike = case.reply.height_mm is None and all(one.kind is KeeperKind.HOMEOWNER for one in case.trusted)
    return meant if alike or len(meant) < 2 else []


def _is_known(case: _Case, lawn: LawnRecord, kind: str, height_mm: float | None) -> bool:
    """Whether just this was reported before: a text sent twice is one report."""
    wanted, events = lawn.chosen_mm if height_mm is None else height_mm, case.work.lawns.events(lawn.lawn_id)
    return reported_before(events, kind, _day(case), wanted, within_mm=SAME_MM) is not None


def _which_lawn(case: _Case) -> Answer:
    kind = AnswerKind.WHICH_LAWN if case.lawns else AnswerKind.NO_LAWN
    return Answer(kind, page_url=case.page_url)


def _place(case: _Case, lawn: LawnRecord) -> str:
    return place_name(case.work.keepers.sites([lawn.site_id])[lawn.site_id].name, lawn.name)


def _measured(case: _Case) -> Answer | None:
    height_mm = case.reply.height_mm
    if len(case.lawns) != 1 or height_mm is None:
        return _which_lawn(case)
    (lawn,) = case.lawns
    if not _is_known(case, lawn, HEIGHT, height_mm):
        report_height(
            case.store,
            case.desk.turf,
            lawn.lawn_id,
            height_mm=height_mm,
            on=case.today,
            today=case.today,
            now=case.now,
            by="sms",
        )
    return Answer(AnswerKind.MEASURED, place=_place(case, lawn), height_mm=height_mm)


def _why(case: _Case) -> Answer | None:
    newest = _newest_notice(case)
    if newest is None:
        return Answer(AnswerKind.NOTHING_TOLD)
    return Answer(AnswerKind.WHY, notice=FACTS.validate_python(newest.facts))


def _newest_notice(case: _Case) -> ToldRecord | None:
    """The first notice of the newest digest, which is what its text spoke of."""
    ids, first = [lawn.lawn_id for lawn in case.lawns], case.today - timedelta(days=WHY_DAYS)
    told = case.work.outbox.told_between(ids, tuple(NoticeKind), first=first, last=case.today)
    newest = max((said[-1].on for said in told.values()), default=None)
    of_that_day = [lawn_id for lawn_id, said in told.items() if said[-1].on == newest]
    notices = [one for lawn_id in of_that_day for one in case.work.outbox.told(lawn_id, limit=1)]
    return min(notices, key=lambda one: one.told_id, default=None)


def _pause(case: _Case) -> Answer | None:
    for keeper in case.trusted:
        pause(case.store, keeper.keeper_id, until=case.reply.until, today=case.today)
    return Answer(AnswerKind.PAUSED, on=case.reply.until)


def _unknown(case: _Case) -> Answer | None:
    if case.reply.problem is not None:
        return Answer(AnswerKind.PROBLEM, problem=case.reply.problem)
    # Two machines would else thank each other for ever.
    return Answer(AnswerKind.NOT_UNDERSTOOD) if _is_first_today(case) else None


def _is_first_today(case: _Case) -> bool:
    morning = datetime.combine(case.today, time.min, ZoneInfo(case.to.time_zone)).astimezone(UTC)
    return case.work.inbound.count(case.to.keeper_id, case.kind, since=morning) == 1


ACTS: Mapping[ReplyKind, Act] = {
    ReplyKind.STOP: _stop,
    ReplyKind.START: _start,
    ReplyKind.HELP: _help,
    ReplyKind.CONFIRM: _confirm,
    ReplyKind.MOWED: _mowed,
    ReplyKind.MEASURED: _measured,
    ReplyKind.WHY: _why,
    ReplyKind.PAUSE: _pause,
    ReplyKind.UNKNOWN: _unknown,
}


def _refused(case: _Case) -> Answer | None:
    """Say why a text could not be done; nothing of it was."""
    if case.reply.kind is ReplyKind.PAUSE:
        return Answer(AnswerKind.TOO_LONG, days=LONGEST_PAUSE_D)
    if case.reply.kind in (ReplyKind.MOWED, ReplyKind.MEASURED):
        return _report_refused(case, _meant(case))
    return Answer(AnswerKind.CANNOT, page_url=case.page_url)


def _report_refused(case: _Case, lawns: Sequence[LawnRecord]) -> Answer:
    on, height_mm = _day(case), case.reply.height_mm
    if on < case.today - timedelta(days=SEASON_DAYS):
        return Answer(AnswerKind.TOO_OLD)
    later = [lawn.anchored_on for lawn in lawns if on < lawn.anchored_on and not lawn.anchor_assumed]
    if later:
        return Answer(AnswerKind.REPORTED_SINCE, on=max(later), page_url=case.page_url)
    if height_mm is None:
        return Answer(AnswerKind.CANNOT, page_url=case.page_url)
    return Answer(AnswerKind.NO_SUCH_HEIGHT, height_mm=height_mm, chosen_mm=lawns[0].chosen_mm)
