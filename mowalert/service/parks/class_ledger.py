"""The open holds of a parks department's turf classes while a day is worked through, as they will be kept."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property

from mowalert.domain.class_holds import WITHOUT_CLASS, ClassHold, worst_facts
from mowalert.domain.lawn import place_name
from mowalert.domain.notices import ClassNotice, ClassStep, HoldFacts, Notice
from mowalert.service.local.restrictions import holds_for
from mowalert.service.park_records import (
    ClassHoldRecord,
    ClassRule,
    HeldLawn,
    HoldLogRecord,
    HoldStep,
    RestrictionKind,
    RestrictionRecord,
)
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord, LawnRecord

Key = tuple[str, str]
"""Turf class and district."""
STEPS = {
    ClassStep.STARTED: HoldStep.STARTED,
    ClassStep.RELEASED: HoldStep.RELEASED,
    ClassStep.ESCALATED: HoldStep.ESCALATED,
    ClassStep.OVER_CAP: HoldStep.OVER_CAP,
}


@dataclass(frozen=True, slots=True)
class LogLine:
    """A line of the log, and what told of it; nothing where it is only written down."""

    record: HoldLogRecord
    told_as: ClassStep | None


@dataclass
class Ledger:
    """The holds of one organisation while a day is worked through: what changes of them, and is said."""

    work: Work
    keeper: KeeperRecord
    on: date
    now: datetime
    records: dict[Key, ClassHoldRecord] = field(default_factory=dict)
    holds: dict[Key, ClassHold] = field(default_factory=dict)
    lines: list[LogLine] = field(default_factory=list)
    said: list[ClassNotice] = field(default_factory=list)
    said_of: set[int] = field(default_factory=set)
    _lawns: dict[int, LawnRecord] = field(default_factory=dict)

    def lawns(self, lawn_ids: Iterable[int]) -> list[LawnRecord]:
        """Return lawns in order of id; each is asked for once."""
        wanted = sorted(lawn_ids)
        missing = [one for one in wanted if one not in self._lawns]
        if missing:
            self._lawns |= {lawn.lawn_id: lawn for lawn in self.work.lawns.get(missing)}
        return [self._lawns[one] for one in wanted]

    @cached_property
    def rules(self) -> Mapping[str, ClassRule]:
        """How the classes are kept."""
        return self.work.parks.rules(self.keeper.keeper_id)

    @cached_property
    def restrictions(self) -> Sequence[RestrictionRecord]:
        """Rules of the place."""
        mine = self.work.parks.restrictions([self.keeper.keeper_id], since=self.on)
        return mine.get(self.keeper.keeper_id, ())

    @cached_property
    def _districts(self) -> dict[int, str]:
        """District by site; one that is spelled in several ways is one, as it was spelled first."""
        spelled: dict[str, str] = {}
        sites = sorted(self.work.crews.sites(self.keeper.keeper_id).items())
        return {site_id: spelled.setdefault(one.district.casefold(), one.district) for site_id, one in sites}

    def key_of(self, lawn: LawnRecord) -> Key:
        """Return the class and the district a lawn is in now, whatever case they are written in."""
        turf_class = lawn.turf_class.strip().casefold() or WITHOUT_CLASS
        return turf_class, self._districts.get(lawn.site_id, "")

    def open(self, key: Key, hold: ClassHold, *, expected_end_on: date | None = None) -> None:
        """Begin a hold."""
        record = ClassHoldRecord(
            hold_id=0,
            keeper_id=self.keeper.keeper_id,
            turf_class=key[0],
            district=key[1],
            reason=hold.reason,
            started_on=hold.started_on,
            told_on=hold.told_on,
            expected_end_on=expected_end_on,
            escalated_on=hold.escalated_on,
        )
        self.records[key] = replace(record, hold_id=self.work.parks.open_hold(record))
        self.holds[key] = hold

    def change(self, key: Key, record: ClassHoldRecord) -> None:
        """Keep a changed hold."""
        self.records[key] = record
        self.work.parks.change_hold(record)

    def keep(self, key: Key, lawn_ids: Sequence[int]) -> None:
        """Keep how some lawns of a hold stand now."""
        hold, hold_id = self.holds[key], self.records[key].hold_id
        self.work.parks.keep_held(
            [
                HeldLawn(hold_id, one, hold.why.get(one, hold.reason), hold.joined[one], hold.left.get(one))
                for one in lawn_ids
            ]
        )

    def write(
        self,
        key: Key,
        step: HoldStep,
        lawn_ids: Sequence[int],
        *,
        facts: Mapping[int, HoldFacts] | None = None,
        told_as: ClassStep | None = None,
    ) -> None:
        """Add a line to each lawn's log: with its own reason, and its own numbers where they are known."""
        hold, numbers = self.holds[key], facts or {}
        for lawn_id in lawn_ids:
            record = HoldLogRecord(
                log_id=0,
                keeper_id=self.keeper.keeper_id,
                lawn_id=lawn_id,
                hold_id=self.records[key].hold_id,
                on=self.on,
                step=step,
                reason=hold.why.get(lawn_id, hold.reason),
                told=(),
                at=self.now,
                facts=dict(numbers[lawn_id].facts) if lawn_id in numbers else {},
            )
            self.lines.append(LogLine(record, told_as))

    def say(
        self,
        key: Key,
        step: ClassStep,
        lawn_ids: Sequence[int],
        *,
        notices: Sequence[Notice] = (),
        caps: Sequence[tuple[float | None, date | None]] = (),
    ) -> None:
        """Tell of a class's lawns, and write it down for each of them."""
        hold, rule = self.holds[key], self.rules.get(key[0].casefold())
        lawns = self.lawns(lawn_ids)
        self.said.append(
            ClassNotice(
                step=step,
                turf_class=key[0],
                district=key[1],
                reason=hold.reason,
                started_on=hold.started_on,
                lawns=self._names(lawns),
                facts=worst_facts(notices),
                days=(self.on - hold.started_on).days,
                allowed=rule.allowed if rule else "",
                call=rule.call if rule else "",
                height_cap_mm=min((cap for cap, _ in caps if cap is not None), default=None),
                over_cap_on=min((on for _, on in caps if on is not None), default=None),
                rules=self._watering_rules(lawns) if step is not ClassStep.RELEASED else (),
            )
        )
        self.said_of.update(lawn_ids)
        self.write(key, STEPS[step], lawn_ids, facts=facts_of(notices), told_as=step)

    def _names(self, lawns: Sequence[LawnRecord]) -> tuple[str, ...]:
        sites = self.work.keepers.sites(sorted({lawn.site_id for lawn in lawns}))
        return tuple(place_name(sites[lawn.site_id].name, lawn.name) for lawn in lawns)

    def _watering_rules(self, lawns: Sequence[LawnRecord]) -> tuple[tuple[str, str], ...]:
        """Restrictions of watering that hold for any of some lawns."""
        rules = [rule for rule in self.restrictions if rule.kind is not RestrictionKind.HEIGHT_CAP]
        if not rules:
            return ()
        sites = self.work.keepers.sites(sorted({lawn.site_id for lawn in lawns})).values()
        here = [rule for rule in rules if any(holds_for(rule, site, on=self.on) for site in sites)]
        return tuple((rule.name, rule.note) for rule in here)


def open_ledger(work: Work, keeper: KeeperRecord, on: date, now: datetime) -> Ledger:
    """Return an organisation's open holds with their lawns.

    Parameters
    ----------
    work : Work
        The transaction that tells.
    keeper : KeeperRecord
        The organisation.
    on : date
        Its day.
    now : datetime
        The moment, aware.

    Returns
    -------
    Ledger
        Nothing has changed of them yet.
    """
    ledger = Ledger(work, keeper, on, now)
    records = work.parks.open_holds(keeper.keeper_id)
    held: dict[int, list[HeldLawn]] = {}
    for one in work.parks.held([record.hold_id for record in records]):
        held.setdefault(one.hold_id, []).append(one)
    for record in records:
        mine = held.get(record.hold_id, [])
        key = (record.turf_class, record.district)
        ledger.records[key] = record
        ledger.holds[key] = ClassHold(
            turf_class=record.turf_class,
            district=record.district,
            reason=record.reason,
            started_on=record.started_on,
            told_on=record.told_on,
            joined={one.lawn_id: one.joined_on for one in mine},
            left={one.lawn_id: one.left_on for one in mine if one.left_on is not None},
            why={one.lawn_id: one.reason for one in mine},
            escalated_on=record.escalated_on,
        )
    return ledger


def facts_of(notices: Sequence[Notice]) -> dict[int, HoldFacts]:
    """Return what explains each lawn's hold, by lawn."""
    return {notice.lawn_id: notice.holds[0] for notice in notices if notice.holds}
