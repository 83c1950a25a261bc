"""Holds of turf classes: what is decided lawn by lawn is told once for all of them, and written down."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from mowalert.domain.class_holds import (
    WITHOUT_CLASS,
    ClassHold,
    cut_after_release,
    is_of_class,
    is_over,
    runs_long,
    winter_takes_over,
    with_held,
    with_left,
    worst_facts,
)
from mowalert.domain.lawn import place_name
from mowalert.domain.notices import ClassNotice, ClassStep, HoldFacts, Notice
from mowalert.domain.words import NoticeKind
from mowalert.service.crew_records import SiteWork
from mowalert.service.park_records import (
    ClassHoldRecord,
    ClassRule,
    HeldLawn,
    HoldLogRecord,
    HoldStep,
    RestrictionKind,
)
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord, LawnRecord
from mowalert.service.restrictions import holds_for

Key = tuple[str, str]
"""Turf class and district."""
STEPS = {
    ClassStep.STARTED: HoldStep.STARTED,
    ClassStep.RELEASED: HoldStep.RELEASED,
    ClassStep.ESCALATED: HoldStep.ESCALATED,
}


@dataclass(frozen=True, slots=True)
class ClassDay:
    """What a day brings a parks department: what is shown by lawn, what by class, and the log."""

    shown: tuple[Notice, ...]
    classes: tuple[ClassNotice, ...]
    log: tuple[HoldLogRecord, ...]


@dataclass(slots=True)
class _Ledger:
    """The holds of one organisation while a day is worked through."""

    work: Work
    keeper: KeeperRecord
    on: date
    now: datetime
    rules: Mapping[str, ClassRule]
    sites: Mapping[int, SiteWork]
    records: dict[Key, ClassHoldRecord] = field(default_factory=dict)
    holds: dict[Key, ClassHold] = field(default_factory=dict)
    lines: list[HoldLogRecord] = field(default_factory=list)
    told: list[ClassNotice] = field(default_factory=list)

    def key_of(self, lawn: LawnRecord) -> Key:
        site = self.sites.get(lawn.site_id)
        return lawn.turf_class or WITHOUT_CLASS, site.district if site else ""

    def _rules(self, lawn_ids: Sequence[int]) -> tuple[tuple[str, str], ...]:
        """Restrictions of watering that hold for any of some lawns."""
        mine = self.work.parks.restrictions([self.keeper.keeper_id], since=self.on)
        rules = [
            rule
            for rule in mine.get(self.keeper.keeper_id, ())
            if rule.kind is not RestrictionKind.HEIGHT_CAP
        ]
        if not rules:
            return ()
        lawns = self.work.lawns.get(sorted(lawn_ids))
        sites = self.work.keepers.sites(sorted({lawn.site_id for lawn in lawns})).values()
        here = [rule for rule in rules if any(holds_for(rule, site, on=self.on) for site in sites)]
        return tuple((rule.name, rule.note) for rule in here)

    def write(
        self, lawn_ids: Sequence[int], key: Key, step: HoldStep, facts: HoldFacts | None = None
    ) -> None:
        line = HoldLogRecord(
            log_id=0,
            keeper_id=self.keeper.keeper_id,
            lawn_id=0,
            hold_id=self.records[key].hold_id,
            on=self.on,
            step=step,
            reason=self.holds[key].reason,
            told=(),
            at=self.now,
            facts=dict(facts.facts) if facts else {},
        )
        self.lines += [replace(line, lawn_id=one) for one in lawn_ids]

    def say(self, key: Key, step: ClassStep, lawn_ids: Sequence[int], notices: Sequence[Notice] = ()) -> None:
        hold, rule = self.holds[key], self.rules.get(key[0])
        facts = worst_facts(notices)
        caps = [notice.height_cap_mm for notice in notices if notice.height_cap_mm is not None]
        passed = [notice.over_cap_on for notice in notices if notice.over_cap_on is not None]
        self.told.append(
            ClassNotice(
                step=step,
                turf_class=key[0],
                district=key[1],
                reason=hold.reason,
                started_on=hold.started_on,
                lawns=_names(self.work, lawn_ids),
                facts=facts,
                days=(self.on - hold.started_on).days,
                allowed=rule.allowed if rule else "",
                call=rule.call if rule else "",
                height_cap_mm=min(caps, default=None),
                over_cap_on=min(passed, default=None),
                rules=self._rules(lawn_ids) if step is not ClassStep.RELEASED else (),
            )
        )
        self.write(lawn_ids, key, STEPS[step], facts)


def class_day(
    work: Work,
    keeper: KeeperRecord,
    said: Sequence[tuple[LawnRecord, Notice]],
    *,
    on: date,
    now: datetime,
    fresh: bool,
) -> ClassDay:
    """Gather what was decided of an organisation's lawns into its classes' starts and ends.

    Parameters
    ----------
    work : Work
        The transaction that tells.
    keeper : KeeperRecord
        The parks department.
    said : Sequence[tuple[LawnRecord, Notice]]
        What was decided today, lawn by lawn.
    on : date
        The department's day.
    now : datetime
        The moment, aware.
    fresh : bool
        Whether today's weather was heard of: without it no hold ends.

    Returns
    -------
    ClassDay
        What is shown, and the lines of the log; who was told is still to be filled in.
    """
    ledger = _open(work, keeper, on, now)
    by_key: dict[Key, list[tuple[LawnRecord, Notice]]] = {}
    shown = [notice for _, notice in said if not is_of_class(notice)]
    for lawn, notice in said:
        if is_of_class(notice):
            by_key.setdefault(ledger.key_of(lawn), []).append((lawn, notice))
    for key, members in sorted(by_key.items()):
        notices = [notice for _, notice in members]
        _take_held(ledger, key, [one for one in notices if one.kind is NoticeKind.HOLD])
        shown += _take_left(ledger, key, [one for one in notices if one.kind is NoticeKind.RELEASE])
    for key in sorted(ledger.holds):
        _end_or_escalate(ledger, key, fresh=fresh)
    return ClassDay(tuple(shown), tuple(ledger.told), tuple(ledger.lines))


def _open(work: Work, keeper: KeeperRecord, on: date, now: datetime) -> _Ledger:
    ledger = _Ledger(
        work, keeper, on, now, work.parks.rules(keeper.keeper_id), work.crews.sites(keeper.keeper_id)
    )
    records = work.parks.open_holds(keeper.keeper_id)
    held = work.parks.held([record.hold_id for record in records])
    for record in records:
        key = (record.turf_class, record.district)
        mine = [one for one in held if one.hold_id == record.hold_id]
        ledger.records[key] = record
        ledger.holds[key] = ClassHold(
            record.turf_class,
            record.district,
            record.reason,
            record.started_on,
            record.told_on,
            {one.lawn_id: one.joined_on for one in mine},
            {one.lawn_id: one.left_on for one in mine if one.left_on is not None},
            record.escalated_on,
        )
    return ledger


def _take_held(ledger: _Ledger, key: Key, notices: Sequence[Notice]) -> None:
    """Lawns that came under a hold: the class's first are told, the others written down."""
    if not notices:
        return
    before = ledger.holds.get(key)
    after = with_held(before, notices, turf_class=key[0], district=key[1])
    ledger.holds[key] = after
    ids = [notice.lawn_id for notice in notices]
    if before is None:
        expected = worst_facts(notices)
        record = ClassHoldRecord(
            0,
            ledger.keeper.keeper_id,
            key[0],
            key[1],
            after.reason,
            after.started_on,
            ledger.on,
            expected.expected_end_on if expected else None,
        )
        ledger.records[key] = replace(record, hold_id=ledger.work.parks.open_hold(record))
        ledger.say(key, ClassStep.STARTED, ids, notices)
    elif winter_takes_over(before, notices):
        ledger.records[key] = replace(ledger.records[key], reason=after.reason)
        ledger.work.parks.change_hold(ledger.records[key])
        ledger.say(key, ClassStep.STARTED, sorted(after.held), notices)
    else:
        new = [one for one in ids if one not in before.held]
        ledger.write(new, key, HoldStep.JOINED, worst_facts(notices))
        ledger.write([one for one in ids if one in before.held], key, HoldStep.CHANGED, worst_facts(notices))
    _keep_held(ledger, key, {notice.lawn_id: notice for notice in notices})


def _keep_held(ledger: _Ledger, key: Key, notices: Mapping[int, Notice]) -> None:
    hold, hold_id = ledger.holds[key], ledger.records[key].hold_id
    ledger.work.parks.keep_held(
        [
            HeldLawn(hold_id, lawn_id, notice.reason or hold.reason, hold.joined[lawn_id])
            for lawn_id, notice in notices.items()
        ]
    )


def _take_left(ledger: _Ledger, key: Key, notices: Sequence[Notice]) -> list[Notice]:
    """Lawns that are free again: written down; what is shown of them is their first cut."""
    hold = ledger.holds.get(key)
    ours = [notice for notice in notices if hold is not None and notice.lawn_id in hold.held]
    # A hold told before its class was known is ended as it was told, lawn by lawn.
    shown = [notice for notice in notices if notice not in ours]
    if hold is not None and ours:
        ids = [notice.lawn_id for notice in ours]
        ledger.holds[key] = with_left(hold, ids, on=ledger.on)
        hold_id = ledger.records[key].hold_id
        ledger.work.parks.keep_held(
            [
                HeldLawn(hold_id, one.lawn_id, one.reason or hold.reason, hold.joined[one.lawn_id], ledger.on)
                for one in ours
            ]
        )
        ledger.write(ids, key, HoldStep.LEFT)
    cuts = (cut_after_release(notice) for notice in ours)
    return [*shown, *(cut for cut in cuts if cut is not None)]


def _end_or_escalate(ledger: _Ledger, key: Key, *, fresh: bool) -> None:
    hold, record = ledger.holds[key], ledger.records[key]
    if fresh and is_over(hold, on=ledger.on):
        ledger.work.parks.change_hold(replace(record, released_on=ledger.on))
        ledger.say(key, ClassStep.RELEASED, sorted(hold.joined))
    elif runs_long(hold, on=ledger.on):
        ledger.work.parks.change_hold(replace(record, escalated_on=ledger.on))
        ledger.say(key, ClassStep.ESCALATED, sorted(hold.held))


def _names(work: Work, lawn_ids: Sequence[int]) -> tuple[str, ...]:
    lawns = work.lawns.get(sorted(lawn_ids))
    sites = work.keepers.sites(sorted({lawn.site_id for lawn in lawns}))
    return tuple(place_name(sites[lawn.site_id].name, lawn.name) for lawn in lawns)


def keep_log(work: Work, day: ClassDay, told: Sequence[str]) -> None:
    """Write the day's lines down; starts, ends and escalations with who was told of them.

    Parameters
    ----------
    work : Work
        The transaction that tells.
    day : ClassDay
        The day.
    told : Sequence[str]
        Names and channels of those a message was written to.
    """
    spoken = set(STEPS.values())
    work.parks.log([replace(line, told=tuple(told) if line.step in spoken else ()) for line in day.log])
