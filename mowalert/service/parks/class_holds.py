"""Holds of turf classes: what is decided lawn by lawn is told once for all of them, and written down."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from mowalert.domain.class_holds import (
    ClassHold,
    cut_after_release,
    is_of_class,
    runs_long,
    stays_free,
    winter_takes_over,
    with_held,
    with_left,
    worst_facts,
)
from mowalert.domain.decide import over_cap_on
from mowalert.domain.grasses import Turf
from mowalert.domain.holds import TOLD
from mowalert.domain.notices import ClassNotice, ClassStep, Notice
from mowalert.domain.words import NoticeKind
from mowalert.service.lawns.look import see_lawns
from mowalert.service.local.restrictions import height_caps
from mowalert.service.park_records import HoldStep
from mowalert.service.parks.class_ledger import Key, Ledger, LogLine, facts_of, open_ledger
from mowalert.service.policy import Policy
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord, LawnRecord

Said = tuple[LawnRecord, Notice]


@dataclass(frozen=True, slots=True)
class ClassDay:
    """What a day brings a parks department: what is shown by lawn, what by class, and the log.

    ``lawn_ids`` are those of which something is said by class.
    """

    shown: tuple[Notice, ...]
    classes: tuple[ClassNotice, ...] = ()
    log: tuple[LogLine, ...] = ()
    lawn_ids: tuple[int, ...] = ()


def class_day(
    work: Work,
    turf: Turf,
    policy: Policy,
    keeper: KeeperRecord,
    said: Sequence[Said],
    *,
    on: date,
    now: datetime,
) -> ClassDay:
    """Gather what was decided of an organisation's lawns into its classes' starts and ends.

    Parameters
    ----------
    work : Work
        The transaction that tells.
    turf : Turf
        Grasses and soils.
    policy : Policy
        The age at which weather is too old: from old weather no hold ends.
    keeper : KeeperRecord
        The parks department.
    said : Sequence[Said]
        What was decided today, lawn by lawn.
    on : date
        The department's day.
    now : datetime
        The moment, aware.

    Returns
    -------
    ClassDay
        What is shown, and the lines of the log; who was told is still to be filled in.
    """
    ledger = open_ledger(work, keeper, on, now)
    _follow_lawns(ledger, {lawn.lawn_id: notice for lawn, notice in said})
    by_key: dict[Key, list[Notice]] = {}
    shown = [notice for _, notice in said if not is_of_class(notice)]
    for lawn, notice in said:
        if is_of_class(notice):
            by_key.setdefault(ledger.key_of(lawn), []).append(notice)
    for key, notices in sorted(by_key.items()):
        _take_held(ledger, key, [one for one in notices if one.kind is NoticeKind.HOLD])
        shown += _take_left(ledger, key, [one for one in notices if one.kind is NoticeKind.RELEASE])
    for key in sorted(ledger.holds):
        _tell_caps(ledger, turf, policy, key)
        _end_or_escalate(ledger, turf, policy, key)
    return ClassDay(tuple(shown), tuple(ledger.said), tuple(ledger.lines), tuple(sorted(ledger.said_of)))


def _follow_lawns(ledger: Ledger, notices: Mapping[int, Notice]) -> None:
    """Take out of holds what is free or elsewhere now; a lawn that moved takes its hold along, unsaid."""
    held_ids = {one for hold in ledger.holds.values() for one in hold.held}
    lawns = {lawn.lawn_id: lawn for lawn in ledger.lawns(held_ids)}
    for key, hold in list(ledger.holds.items()):
        held = sorted(hold.held)
        freed = {one for one in held if _is_freed(lawns[one], notices.get(one))}
        moved = {one: there for one in held if (there := ledger.key_of(lawns[one])) != key}
        _leave(ledger, key, [one for one in held if one in freed or one in moved])
        for lawn_id, there in moved.items():
            if lawn_id not in freed:
                _join_unsaid(ledger, there, lawn_id, hold)


def _is_freed(lawn: LawnRecord, notice: Notice | None) -> bool:
    """Whether the weather holds a lawn no more, though nothing was released: a date holds it now, say."""
    if notice is None:
        return lawn.told_hold not in TOLD
    return not is_of_class(notice) and notice.kind is not NoticeKind.NO_WEATHER


def _join_unsaid(ledger: Ledger, key: Key, lawn_id: int, before: ClassHold) -> None:
    """Hold a lawn where it is now as it was held where it came from: its people have heard of it."""
    if key not in ledger.holds:
        empty = replace(before, turf_class=key[0], district=key[1], joined={}, left={}, why={})
        ledger.open(key, empty)
    hold, why = ledger.holds[key], before.why.get(lawn_id, before.reason)
    ledger.holds[key] = replace(
        hold,
        joined={lawn_id: ledger.on, **hold.joined},
        left={one: on for one, on in hold.left.items() if one != lawn_id},
        why=hold.why | {lawn_id: why},
    )
    ledger.keep(key, [lawn_id])
    ledger.write(key, HoldStep.JOINED, [lawn_id])


def _take_held(ledger: Ledger, key: Key, notices: Sequence[Notice]) -> None:
    """Lawns that came under a hold: the class's first are told, the others written down."""
    if not notices:
        return
    before = ledger.holds.get(key)
    after = with_held(before, notices, turf_class=key[0], district=key[1])
    ids = [notice.lawn_id for notice in notices]
    caps = [(notice.height_cap_mm, notice.over_cap_on) for notice in notices]
    if before is None:
        expected = worst_facts(notices)
        ledger.open(key, after, expected_end_on=expected.expected_end_on if expected else None)
        ledger.say(key, ClassStep.STARTED, ids, notices=notices, caps=caps)
    elif winter_takes_over(before, notices):
        ledger.holds[key] = after
        ledger.change(key, replace(ledger.records[key], reason=after.reason))
        ledger.say(key, ClassStep.STARTED, sorted(after.held), notices=notices, caps=caps)
    else:
        ledger.holds[key] = after
        known = [one for one in ids if one in before.held]
        ledger.write(key, HoldStep.JOINED, [one for one in ids if one not in known], facts=facts_of(notices))
        ledger.write(key, HoldStep.CHANGED, known, facts=facts_of(notices))
    ledger.keep(key, ids)


def _take_left(ledger: Ledger, key: Key, notices: Sequence[Notice]) -> list[Notice]:
    """Lawns that are free again: written down; what is shown of them is their first cut."""
    hold = ledger.holds.get(key)
    ours = [notice for notice in notices if hold is not None and notice.lawn_id in hold.held]
    # A hold told before its class was known is ended as it was told, lawn by lawn.
    shown = [notice for notice in notices if notice not in ours]
    _leave(ledger, key, [notice.lawn_id for notice in ours])
    cuts = (cut_after_release(notice) for notice in ours)
    return [*shown, *(cut for cut in cuts if cut is not None)]


def _leave(ledger: Ledger, key: Key, lawn_ids: Sequence[int]) -> None:
    if lawn_ids:
        ledger.holds[key] = with_left(ledger.holds[key], lawn_ids, on=ledger.on)
        ledger.keep(key, lawn_ids)
        ledger.write(key, HoldStep.LEFT, lawn_ids)


def _tell_caps(ledger: Ledger, turf: Turf, policy: Policy, key: Key) -> None:
    """Say once of each lawn that its hold is forecast to break a height cap."""
    capped = _capped(ledger, key)
    if not capped:
        return
    known = ledger.work.parks.logged(ledger.records[key].hold_id, HoldStep.OVER_CAP)
    seen = see_lawns(ledger.work, turf, policy, [one for one in capped if one not in known], ledger.now)
    passed = {
        one.lawn.lawn_id: (one.facts.height_cap_mm, on)
        for one in seen
        if (on := over_cap_on(one.facts, one.outlook, today=ledger.on)) is not None
    }
    started = {line.record.lawn_id for line in ledger.lines if line.told_as is ClassStep.STARTED}
    # What a start of today says of a cap is said.
    at_once = [one for one in passed if one in started]
    ledger.write(key, HoldStep.OVER_CAP, at_once, told_as=ClassStep.STARTED)
    if late := [one for one in passed if one not in started]:
        ledger.say(key, ClassStep.OVER_CAP, late, caps=[passed[one] for one in late])


def _capped(ledger: Ledger, key: Key) -> list[int]:
    """Held lawns for which somebody may have set a maximum height."""
    lawns = ledger.lawns(ledger.holds[key].held)
    if not ledger.restrictions:
        return [lawn.lawn_id for lawn in lawns if lawn.guide]
    sites = ledger.work.keepers.sites(sorted({lawn.site_id for lawn in lawns}))
    caps = height_caps({ledger.keeper.keeper_id: ledger.restrictions}, lawns, sites, on=ledger.on)
    return [lawn.lawn_id for lawn in lawns if lawn.guide or lawn.lawn_id in caps]


def _end_or_escalate(ledger: Ledger, turf: Turf, policy: Policy, key: Key) -> None:
    hold, record = ledger.holds[key], ledger.records[key]
    here = [lawn.lawn_id for lawn in ledger.lawns(hold.joined) if ledger.key_of(lawn) == key]
    if not here:
        # Every lawn has moved: their hold goes on, or ended, under another name.
        ledger.change(key, replace(record, released_on=ledger.on))
    elif not hold.held and _stay_free(ledger, turf, policy, here):
        ledger.change(key, replace(record, released_on=ledger.on))
        ledger.say(key, ClassStep.RELEASED, here)
    elif runs_long(hold, on=ledger.on):
        ledger.change(key, replace(record, escalated_on=ledger.on))
        ledger.say(key, ClassStep.ESCALATED, sorted(hold.held) or here)


def _stay_free(ledger: Ledger, turf: Turf, policy: Policy, lawn_ids: Sequence[int]) -> bool:
    """Whether fresh weather is known for a class's lawns, and holds none of them again."""
    seen = see_lawns(ledger.work, turf, policy, lawn_ids, ledger.now)
    return bool(seen) and all(stays_free(one.outlook, on=ledger.on) for one in seen)


def keep_log(work: Work, day: ClassDay, told: Mapping[ClassStep, Sequence[str]]) -> None:
    """Write the day's lines down; what was said by class with who was told of it.

    Parameters
    ----------
    work : Work
        The transaction that tells.
    day : ClassDay
        The day.
    told : Mapping[ClassStep, Sequence[str]]
        Names and channels of those a message was written to, by what it says.
    """
    people = {step: tuple(names) for step, names in told.items()}
    work.parks.log(
        [replace(line.record, told=people.get(line.told_as, ()) if line.told_as else ()) for line in day.log]
    )
