"""Tell: for the rounds that have come, find lawns, decide, and put one digest a person in the outbox.

Finding runs in the store's index and brings back only lawns that may be due or held; the decision
itself is one pure function. What was told and the messages are written in one transaction.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from hashlib import sha256

from mowalert.domain.grasses import Turf
from mowalert.domain.notices import Digest, Notice
from mowalert.domain.rounds import Occurrence, latest, missed_between
from mowalert.domain.words import Channel, DigestKind, KeeperKind
from mowalert.service.class_holds import ClassDay, class_day
from mowalert.service.class_notices import tell_classes
from mowalert.service.deciding import Group, decided, group_of, timetable_of
from mowalert.service.digests import digest_for, in_order
from mowalert.service.guides import guides_with_dates
from mowalert.service.heat_days import heat_of_day
from mowalert.service.heat_told import note_told
from mowalert.service.official import warnings_for
from mowalert.service.outlook import StandDays, weather_stamp
from mowalert.service.people import Post
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, Words, Work
from mowalert.service.records import (
    KeeperRecord,
    LawnRecord,
    NewMessage,
    RoundRecord,
    ToldRecord,
)
from mowalert.service.remembering import remember
from mowalert.service.work_hours import has_crews

LAWNS_AT_ONCE = 2000


@dataclass(frozen=True, slots=True)
class TellReport:
    """How rounds went: how many came, were skipped as too late, lawns looked at, digests, messages."""

    rounds: int
    skipped: int
    lawns: int
    digests: int
    messages: int
    told: tuple[ToldRecord, ...] = ()


def tell_rounds(store: Store, turf: Turf, words: Words, policy: Policy, *, now: datetime) -> TellReport:
    """Run every round that has come since it was last done; skip what is no longer worth saying."""
    with store.begin() as work:
        groups = _groups(work.rounds.all(), now)
        missed = work.keepers.missed_weather()
    reports = [_tell_group(store, turf, words, policy, group, now) for group in groups]
    # Whose round came just now has been told in it.
    came = {record.round_id for group in groups for record in group.rounds}
    again = _tell_missed(store, turf, words, policy, missed, came, now)
    every = (*reports, again)
    return TellReport(
        rounds=sum(report.rounds for report in every),
        skipped=sum(report.skipped for report in every),
        lawns=sum(report.lawns for report in every),
        digests=sum(report.digests for report in every),
        messages=sum(report.messages for report in every),
        told=tuple(record for report in every for record in report.told),
    )


def _groups(rounds: Iterable[RoundRecord], now: datetime) -> list[Group]:
    groups: dict[tuple[Occurrence, bool, int, bool], list[RoundRecord]] = {}
    for record in rounds:
        occurrence = latest(timetable_of(record), now=now)
        if record.done_on is None or record.done_on < occurrence.on:
            alike = (occurrence, record.daily_list, record.weekdays, record.mixed)
            groups.setdefault(alike, []).append(record)
    return [Group(*key, members) for key, members in groups.items()]


def _tell_group(
    store: Store, turf: Turf, words: Words, policy: Policy, group: Group, now: datetime
) -> TellReport:
    on = group.occurrence.on
    with store.begin() as work:
        skipped = _skip_missed(work, group, now)
        if now > group.occurrence.useful_until:
            work.rounds.done(group.round_ids, on, at=now, outcome="skipped", digests=0)
            work.commit()
            return TellReport(0, skipped + len(group.rounds), 0, 0, 0)
        report = _tell(work, turf, words, policy, group, _found(work, turf, group), now)
        work.rounds.done(group.round_ids, on, at=now, outcome="done", digests=report.digests)
        work.commit()
    return replace(report, rounds=len(group.rounds), skipped=skipped)


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


def _found(work: Work, turf: Turf, group: Group) -> list[int]:
    """Ids of lawns that may have something said of them: due, told of a hold, or to be told of one."""
    on, found = group.occurrence.on, set[int]()
    # The first chance after the next round; lawns with days of their own may have it a week later.
    later = 2 if not group.daily_list else 0
    ahead = group.occurrence.next_on + timedelta(days=6 if group.mixed else later)
    for as_of in work.stands.growth_dates():
        window_day = (on - as_of).days if group.daily_list else None
        limit_day = (ahead - as_of).days
        found.update(
            work.lawns.due_ids(group.round_ids, as_of=as_of, limit_day=limit_day, window_day=window_day)
        )
    found.update(work.lawns.hold_ids(group.round_ids))
    found.update(work.lawns.untold_hold_ids(group.round_ids))
    found.update(work.lawns.kept_off_ids(group.round_ids, on))
    found.update(work.lawns.guided_ids(group.round_ids, guides_with_dates(work, turf, on)))
    return sorted(found)


def _tell_missed(
    store: Store,
    turf: Turf,
    words: Words,
    policy: Policy,
    missed: Sequence[KeeperRecord],
    came: Collection[int],
    now: datetime,
) -> TellReport:
    """Whoever was told that there is no weather hears what was due once it is back, while it helps."""
    if not missed:
        return TellReport(0, 0, 0, 0, 0)
    reports = []
    with store.begin() as work:
        rounds = {record.round_id: record for record in work.rounds.all()}
        for keeper in missed:
            record = rounds[keeper.round_id]
            occurrence = latest(timetable_of(record), now=now)
            group = group_of(record, occurrence)
            lawn_ids = [lawn.lawn_id for lawn in work.lawns.of_keepers([keeper.keeper_id])]
            if now <= occurrence.useful_until and _is_fresh(work, lawn_ids, policy, now):
                work.keepers.note_no_weather([keeper.keeper_id], None)
                if record.round_id in came:
                    continue
                reports.append(_tell(work, turf, words, policy, group, lawn_ids, now))
        work.commit()
    return TellReport(
        0,
        0,
        sum(report.lawns for report in reports),
        sum(report.digests for report in reports),
        sum(report.messages for report in reports),
        tuple(record for report in reports for record in report.told),
    )


def _is_fresh(work: Work, lawn_ids: Sequence[int], policy: Policy, now: datetime) -> bool:
    stands = {lawn.stand_id for lawn in work.lawns.get(lawn_ids)}
    growth = work.stands.growth(sorted(stands)).values()
    return bool(growth) and all(now - record.fetched_at <= policy.max_age for record in growth)


def _tell(
    work: Work,
    turf: Turf,
    words: Words,
    policy: Policy,
    group: Group,
    lawn_ids: Sequence[int],
    now: datetime,
) -> TellReport:
    notices: dict[int, list[Notice]] = {}
    seen: dict[int, list[tuple[LawnRecord, StandDays]]] = {}
    keepers: dict[int, KeeperRecord] = {}
    for start in range(0, len(lawn_ids), LAWNS_AT_ONCE):
        chunk = work.lawns.get(lawn_ids[start : start + LAWNS_AT_ONCE])
        keepers |= work.keepers.get(sorted({lawn.keeper_id for lawn in chunk}))
        for lawn, notice, stand in decided(work, turf, policy.max_age, group, chunk, keepers, now=now):
            notices.setdefault(lawn.keeper_id, []).append(notice)
            seen.setdefault(lawn.keeper_id, []).append((lawn, stand))
    waiting = [one for one in work.parks.with_open_holds(group.round_ids) if one not in notices]
    keepers |= work.keepers.get([one for one in waiting if one not in keepers])
    told: list[ToldRecord] = []
    messages = digests = 0
    for keeper_id in sorted({*notices, *waiting}):
        keeper, said, around = keepers[keeper_id], notices.get(keeper_id, []), seen.get(keeper_id, [])
        stamp = weather_stamp([stand for _, stand in around], now=now, max_age=policy.max_age)
        lawns = {lawn.lawn_id: lawn for lawn, _ in around}
        day = _classes(work, turf, policy, keeper, [(lawns[one.lawn_id], one) for one in said], group, now)
        digest = digest_for(
            keeper, group, in_order(day.shown), stamp, greeted=keeper.greeted or bool(day.classes)
        )
        told += remember(work, keeper, group, said, digest, now)
        by_class = tell_classes(Post(work, policy, policy.links, keeper, now), words, day)
        if not keeper.greeted and (digest is not None or by_class.digests):
            work.keepers.greet([keeper_id])
        messages, digests = messages + by_class.messages, digests + by_class.digests
        if digest is None:
            continue
        digest = _for_crews(work, policy, keeper, digest, around, now)
        written = _enqueue(work, words, policy, keeper, group, digest, now)
        if written:
            note_told(work, keeper_id, digest.crew_heat, heard=(), now=now)
        messages += written
        digests += 1
    work.outbox.tell(told)
    return TellReport(0, 0, len(lawn_ids), digests, messages, tuple(told))


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


def _enqueue(
    work: Work,
    words: Words,
    policy: Policy,
    keeper: KeeperRecord,
    group: Group,
    digest: Digest,
    now: datetime,
) -> int:
    """Word a digest for each of a keeper's addresses and queue it; how many messages."""
    work.outbox.cancel_older(keeper.keeper_id, digest.on, at=now)
    if policy.plans_days and digest.kind is DigestKind.MORNING_LIST and has_crews(work, keeper.keeper_id):
        return 0
    queued = 0
    if keeper.email and not keeper.email_suspended and Channel.EMAIL in policy.channels:
        mail = words.email(digest)
        message = _message(Channel.EMAIL, keeper, keeper.email, group, digest, policy, now)
        queued += work.outbox.add(replace(message, subject=mail.subject, text=mail.text, html=mail.html))
    if keeper.phone and not keeper.phone_suspended and Channel.SMS in policy.channels:
        message = _message(Channel.SMS, keeper, keeper.phone, group, digest, policy, now)
        queued += work.outbox.add(replace(message, text=words.sms(digest)))
    return queued


def _message(
    channel: Channel,
    keeper: KeeperRecord,
    address: str,
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
        subject="",
        text="",
        html="",
        rfc_message_id=f"<{mark}@{policy.host}>",
        unsubscribe_url=policy.links.unsubscribe_url(keeper.keeper_id) if channel is Channel.EMAIL else "",
        lawn_ids=tuple(notice.lawn_id for notice in digest.notices),
        round_id=group.rounds[0].round_id,
        created_at=now,
        not_before=now,
        useful_until=group.occurrence.useful_until,
    )
