"""Tell: for the rounds that have come, find lawns, decide, and put one digest a person in the outbox.

Finding runs in the store's index and brings back only lawns that may be due or held; the decision
itself is one pure function. What was told and the messages are written in one transaction.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from hashlib import sha256
from itertools import islice

from mowalert.domain.grasses import Turf
from mowalert.domain.notices import Digest, Notice, RenderedEmail
from mowalert.domain.rounds import Occurrence, latest, missed_between
from mowalert.domain.words import Channel, DigestKind, KeeperKind
from mowalert.service.crews.heat_days import heat_of_day
from mowalert.service.crews.heat_told import note_told
from mowalert.service.crews.people import Post
from mowalert.service.crews.work_hours import has_crews
from mowalert.service.growing.outlook import StandDays, weather_stamp
from mowalert.service.local.official import warnings_for
from mowalert.service.parks.class_holds import ClassDay, class_day
from mowalert.service.parks.class_notices import tell_classes
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, Words, Work
from mowalert.service.ports_nights import Cells
from mowalert.service.records import (
    KeeperRecord,
    LawnRecord,
    NewMessage,
    RoundRecord,
    Said,
    ToldRecord,
)
from mowalert.service.region.guides import guides_with_dates
from mowalert.service.telling.deciding import Group, decided, group_of, timetable_of
from mowalert.service.telling.digests import digest_for, in_order
from mowalert.service.telling.remembering import remember, said_of

LAWNS_AT_ONCE = 2000
MOST_TOLD = 5000
"""Notices that a report carries; the store has them all."""


@dataclass(frozen=True, slots=True)
class TellReport:
    """How rounds went: how many came, were skipped as too late, lawns looked at, digests, messages.

    ``by_round`` counts digests by round, ``told`` are the first of so many ``notices``.
    """

    rounds: int
    skipped: int
    lawns: int
    digests: int
    messages: int
    told: tuple[ToldRecord, ...] = ()
    by_round: Mapping[int, int] = field(default_factory=dict)
    notices: int = 0


def rounds_come(work: Work, *, now: datetime) -> list[int]:
    """Rounds that have come since they were last done."""
    return sorted(one for group in _groups(work.rounds.all(), now) for one in group.round_ids)


def find_lawns(
    work: Work, turf: Turf, round_ids: Collection[int], *, within: Cells, now: datetime
) -> list[int]:
    """Find lawns of some cells of which rounds may have something to say."""
    groups = _useful(work, round_ids, now)
    return sorted({lawn_id for group in groups for lawn_id in _found(work, turf, group, within)})


def keepers_waiting(work: Work, round_ids: Collection[int], *, now: datetime) -> list[int]:
    """Organisations of rounds to whom the end of a hold may have to be told, whatever is found of lawns."""
    groups = _useful(work, round_ids, now)
    return sorted({one for group in groups for one in work.parks.with_open_holds(group.round_ids)})


def tell_lawns(
    work: Work,
    turf: Turf,
    words: Words,
    policy: Policy,
    round_ids: Collection[int],
    lawn_ids: Sequence[int],
    *,
    waiting: Collection[int] = (),
    now: datetime,
) -> TellReport:
    """Tell keepers in rounds that have come of their lawns.

    Parameters
    ----------
    work : Work
        The transaction.
    turf : Turf
        Grasses and soils.
    words : Words
        Wording of digests.
    policy : Policy
        What the operator set.
    round_ids : Collection[int]
        The rounds.
    lawn_ids : Sequence[int]
        Lawns of which something may be said: all of a keeper's, or none.
    waiting : Collection[int]
        Keepers with open holds, told even where nothing is said of a lawn.
    now : datetime
        The moment, aware.

    Returns
    -------
    TellReport
        What was told; whoever heard of a lawn on that day already, from a run that broke off, is left out.
    """
    lawns = work.lawns.get(lawn_ids)
    reports = []
    for group in _useful(work, round_ids, now):
        heard = work.outbox.keepers_told(lawn_ids, group.occurrence.on)
        mine = [lawn for lawn in lawns if lawn.round_id in group.round_ids and lawn.keeper_id not in heard]
        held = (
            [one for one in work.parks.with_open_holds(group.round_ids) if one in waiting] if waiting else []
        )
        reports.append(
            _tell(work, turf, words, policy, group, mine, [one for one in held if one not in heard], now)
        )
    return add_up(reports)


def close_rounds(
    work: Work, round_ids: Collection[int], digests: Mapping[int, int], *, whole: bool, now: datetime
) -> tuple[int, int]:
    """Mark rounds as done, or skipped where it is too late for them; how many of each.

    Where not all lawns could be looked at, rounds that are still useful stay as they are for the next night.
    """
    done = skipped = 0
    for group in _groups(_of(work, round_ids), now):
        if not whole and now <= group.occurrence.useful_until:
            continue
        skipped += _skip_missed(work, group, now)
        on = group.occurrence.on
        if now > group.occurrence.useful_until:
            work.rounds.done(group.round_ids, on, at=now, outcome="skipped", digests=0)
            skipped += len(group.rounds)
            continue
        for one in group.round_ids:
            work.rounds.done([one], on, at=now, outcome="done", digests=digests.get(one, 0))
        done += len(group.rounds)
    return done, skipped


def add_up(reports: Sequence[TellReport]) -> TellReport:
    """Add up what was told."""
    by_round: Counter[int] = Counter()
    for report in reports:
        by_round.update(report.by_round)
    return TellReport(
        rounds=sum(report.rounds for report in reports),
        skipped=sum(report.skipped for report in reports),
        lawns=sum(report.lawns for report in reports),
        digests=sum(report.digests for report in reports),
        messages=sum(report.messages for report in reports),
        told=tuple(islice((record for report in reports for record in report.told), MOST_TOLD)),
        by_round=dict(by_round),
        notices=sum(report.notices for report in reports),
    )


def _of(work: Work, round_ids: Collection[int]) -> list[RoundRecord]:
    return [record for record in work.rounds.all() if record.round_id in round_ids]


def _useful(work: Work, round_ids: Collection[int], now: datetime) -> list[Group]:
    groups = _groups(_of(work, round_ids), now)
    return [group for group in groups if now <= group.occurrence.useful_until]


def _groups(rounds: Iterable[RoundRecord], now: datetime) -> list[Group]:
    groups: dict[tuple[Occurrence, bool, int, bool], list[RoundRecord]] = {}
    for record in rounds:
        occurrence = latest(timetable_of(record), now=now)
        if record.done_on is None or record.done_on < occurrence.on:
            alike = (occurrence, record.daily_list, record.weekdays, record.mixed)
            groups.setdefault(alike, []).append(record)
    return [Group(*key, members) for key, members in groups.items()]


def _skip_missed(work: Work, group: Group, now: datetime) -> int:
    """Record rounds that came and went while the service was down; how many."""
    skipped = 0
    for record in group.rounds:
        if record.done_on is None:
            continue
        for day in missed_between(timetable_of(record), record.done_on, group.occurrence.on):
            work.rounds.done([record.round_id], day, at=now, outcome="skipped", digests=0)
            skipped += 1
    return skipped


def _found(work: Work, turf: Turf, group: Group, within: Cells) -> set[int]:
    """Ids of lawns that may have something said of them: due, told of a hold, or to be told of one."""
    on, found = group.occurrence.on, set[int]()
    # The first chance after the next round; lawns with days of their own may have it a week later.
    later = 2 if not group.daily_list else 0
    ahead = group.occurrence.next_on + timedelta(days=6 if group.mixed else later)
    for as_of in work.stands.growth_dates(within=within):
        window_day = (on - as_of).days if group.daily_list else None
        limit_day = (ahead - as_of).days
        found.update(
            work.lawns.due_ids(
                group.round_ids, as_of=as_of, limit_day=limit_day, window_day=window_day, within=within
            )
        )
    guides = guides_with_dates(work, turf, on)
    found.update(work.lawns.hold_ids(group.round_ids, within=within))
    found.update(work.lawns.untold_hold_ids(group.round_ids, within=within))
    found.update(work.lawns.kept_off_ids(group.round_ids, on, within=within))
    found.update(work.lawns.guided_ids(group.round_ids, guides, within=within))
    return found


def tell_missed(
    store: Store,
    turf: Turf,
    words: Words,
    policy: Policy,
    came: Collection[int],
    *,
    now: datetime,
) -> TellReport:
    """Whoever was told that there is no weather hears what was due once it is back, while it helps.

    Whose round is among those that came has been told in it.
    """
    reports = []
    with store.begin() as work:
        rounds = {record.round_id: record for record in work.rounds.all()}
        for keeper in work.keepers.missed_weather():
            record = rounds[keeper.round_id]
            group = group_of(record, latest(timetable_of(record), now=now))
            lawns = work.lawns.of_keepers([keeper.keeper_id])
            if now > group.occurrence.useful_until or not _is_fresh(work, lawns, policy, now):
                continue
            work.keepers.note_no_weather([keeper.keeper_id], None)
            if record.round_id not in came:
                held = {keeper.keeper_id} & set(work.parks.with_open_holds([record.round_id]))
                reports.append(_tell(work, turf, words, policy, group, lawns, sorted(held), now))
        work.commit()
    return add_up(reports)


def _is_fresh(work: Work, lawns: Sequence[LawnRecord], policy: Policy, now: datetime) -> bool:
    stands = {lawn.stand_id for lawn in lawns}
    growth = work.stands.growth(sorted(stands)).values()
    return bool(growth) and all(now - record.fetched_at <= policy.max_age for record in growth)


def _tell(
    work: Work,
    turf: Turf,
    words: Words,
    policy: Policy,
    group: Group,
    lawns: Sequence[LawnRecord],
    waiting: Sequence[int],
    now: datetime,
) -> TellReport:
    notices: dict[int, list[Notice]] = {}
    seen: dict[int, list[tuple[LawnRecord, StandDays]]] = {}
    keepers: dict[int, KeeperRecord] = {}
    for start in range(0, len(lawns), LAWNS_AT_ONCE):
        chunk = lawns[start : start + LAWNS_AT_ONCE]
        keepers |= work.keepers.get(sorted({lawn.keeper_id for lawn in chunk}))
        for lawn, notice, stand in decided(work, turf, policy.max_age, group, chunk, keepers, now=now):
            notices.setdefault(lawn.keeper_id, []).append(notice)
            seen.setdefault(lawn.keeper_id, []).append((lawn, stand))
    keepers |= work.keepers.get([one for one in waiting if one not in keepers])
    told: list[ToldRecord] = []
    on_lawns: list[Said] = []
    digests: dict[int, Digest] = {}
    written: list[NewMessage] = []
    messages = 0
    by_round: Counter[int] = Counter()
    for keeper_id in sorted({*notices, *waiting}):
        keeper, said, around = keepers[keeper_id], notices.get(keeper_id, []), seen.get(keeper_id, [])
        stamp = weather_stamp([stand for _, stand in around], now=now, max_age=policy.max_age)
        by_id = {lawn.lawn_id: lawn for lawn, _ in around}
        day = _classes(work, turf, policy, keeper, [(by_id[one.lawn_id], one) for one in said], group, now)
        digest = digest_for(
            keeper, group, in_order(day.shown), stamp, greeted=keeper.greeted or bool(day.classes)
        )
        told += remember(work, keeper, group, said, digest, now)
        on_lawns += said_of(keeper, said)
        by_class = tell_classes(Post(work, policy, policy.links, keeper, now), words, day)
        if not keeper.greeted and (digest is not None or by_class.digests):
            work.keepers.greet([keeper_id])
        messages += by_class.messages
        by_round[keeper.round_id] += by_class.digests
        if digest is None:
            continue
        digests[keeper_id] = digest = _for_crews(work, policy, keeper, digest, around, now)
        written += _written(work, words, policy, keeper, group, digest, now)
        by_round[keeper.round_id] += 1
    queued = work.outbox.add_all(written)
    for keeper_id in dict.fromkeys(message.keeper_id for message in queued):
        note_told(work, keeper_id, digests[keeper_id].crew_heat, heard=(), now=now)
    work.outbox.cancel_older(list(digests), group.occurrence.on, at=now)
    work.lawns.said(on_lawns)
    work.outbox.tell(told)
    messages += len(queued)
    return TellReport(0, 0, len(lawns), by_round.total(), messages, tuple(told), by_round, len(told))


def _classes(
    work: Work,
    turf: Turf,
    policy: Policy,
    keeper: KeeperRecord,
    said: Sequence[tuple[LawnRecord, Notice]],
    group: Group,
    now: datetime,
) -> ClassDay:
    """Of a parks department's lawns, what their classes have in common is told class by class."""
    if keeper.kind is not KeeperKind.PARKS or keeper.is_paused(group.occurrence.on):
        return ClassDay(tuple(notice for _, notice in said))
    return class_day(work, turf, policy, keeper, said, on=group.occurrence.on, now=now)


def _for_crews(
    work: Work,
    policy: Policy,
    keeper: KeeperRecord,
    digest: Digest,
    seen: Sequence[tuple[LawnRecord, StandDays]],
    now: datetime,
) -> Digest:
    """Add what people who work outdoors need: the day's heat, and what the authorities warn of."""
    if digest.to.kind is KeeperKind.HOMEOWNER:
        return digest
    cells = sorted({stand.cell_id for _, stand in seen})
    hot = heat_of_day(work, keeper, digest.on, max_age=policy.max_age, now=now)
    return replace(digest, crew_heat=hot.heat if hot else None, warnings=warnings_for(work, cells, now=now))


def _written(
    work: Work,
    words: Words,
    policy: Policy,
    keeper: KeeperRecord,
    group: Group,
    digest: Digest,
    now: datetime,
) -> list[NewMessage]:
    """Word a digest for each of a keeper's addresses."""
    if policy.plans_days and digest.kind is DigestKind.MORNING_LIST and has_crews(work, keeper.keeper_id):
        return []
    written = []
    if keeper.email and not keeper.email_suspended and Channel.EMAIL in policy.channels:
        mail = words.email(digest)
        written.append(_message(Channel.EMAIL, keeper, keeper.email, mail, group, digest, policy, now))
    if keeper.phone and not keeper.phone_suspended and Channel.SMS in policy.channels:
        text = RenderedEmail("", words.sms(digest), "")
        written.append(_message(Channel.SMS, keeper, keeper.phone, text, group, digest, policy, now))
    return written


def _message(
    channel: Channel,
    keeper: KeeperRecord,
    address: str,
    said: RenderedEmail,
    group: Group,
    digest: Digest,
    policy: Policy,
    now: datetime,
) -> NewMessage:
    once = f"{keeper.key}|{channel}|{digest.kind}|{digest.on.isoformat()}"
    mark = sha256(once.encode()).hexdigest()[:32]
    return NewMessage(
        keeper_id=keeper.keeper_id,
        channel=channel,
        kind=digest.kind.value,
        local_date=digest.on,
        address=address,
        subject=said.subject,
        text=said.text,
        html=said.html,
        rfc_message_id=f"<{mark}@{policy.host}>",
        unsubscribe_url=policy.links.unsubscribe_url(keeper.keeper_id) if channel is Channel.EMAIL else "",
        lawn_ids=tuple(notice.lawn_id for notice in digest.notices),
        round_id=group.rounds[0].round_id,
        created_at=now,
        not_before=now,
        useful_until=group.occurrence.useful_until,
    )
