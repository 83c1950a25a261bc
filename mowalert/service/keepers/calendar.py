"""What a keeper's calendar shows: when each lawn may be cut, and holds, as known from the last weather.

Everything follows from what is stored, and the clock is not read: the same stored state gives the same
days, numbers and moments, so that looking at a calendar writes nothing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import numpy as np

from mowalert.domain.decide import decide
from mowalert.domain.grasses import Turf
from mowalert.domain.lawn import Anchor, Due, LawnFacts, due_after
from mowalert.domain.notices import HoldFacts, Notice
from mowalert.domain.rounds import occurrence, round_on
from mowalert.domain.words import NoticeKind
from mowalert.service.growing.grow import NEVER
from mowalert.service.growing.kept_curves import AHEAD_DAYS, KEPT_DAYS
from mowalert.service.lawns.look import SeenLawn, see_lawns
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, Work
from mowalert.service.records import EventRecord, RoundRecord
from mowalert.service.telling.deciding import timetable_of
from mowalert.service.telling.remembering import FACTS

CANCELLED_FOR = timedelta(days=14)
"""How long a window is served as taken back after its lawn was cut."""
LOOKED_AT = 20
"""Newest notices of a lawn among which the one before its first report is searched."""
COUNTED_FROM = datetime(2026, 1, 1, tzinfo=UTC)
"""Changes are numbered by the minutes from here to their moment, so that a later one has a higher number."""


@dataclass(frozen=True, slots=True)
class CalendarDays:
    """Days of one lawn on which it may be cut, or, with ``hold``, is left alone; both ends included.

    ``started_on`` tells one from another: the day the lawn's growth is counted from, or a hold's first.
    ``answer`` is what would be said on the day of the weather. ``cancelled`` ones were shown before and
    hold no more.
    """

    seen: SeenLawn
    started_on: date
    first_on: date
    last_on: date
    changed_at: datetime
    answer: Notice | None = None
    hold: HoldFacts | None = None
    cancelled: bool = False

    @property
    def sequence(self) -> int:
        """A number that is higher for a later change."""
        return max(0, int((self.changed_at - COUNTED_FROM) / timedelta(minutes=1)))


def calendar_days(store: Store, turf: Turf, policy: Policy, keeper_id: int) -> list[CalendarDays]:
    """Return what a keeper's calendar shows.

    Parameters
    ----------
    store : Store
        Where lawns and curves are kept.
    turf : Turf
        Grasses and soils.
    policy : Policy
        Age at which weather is too old.
    keeper_id : int
        Whose.

    Returns
    -------
    list[CalendarDays]
        Windows and holds of all lawns that have weather and a place on their curve, which one cut
        today gets in the next night; windows of lawns that were cut lately or came under a hold as
        cancelled.
    """
    with store.begin() as work:
        rounds = {record.round_id: record for record in work.rounds.all()}
        seen = _seen_with_their_weather(work, turf, policy, keeper_id)
        events = _events(work, seen)
    return [
        days
        for case in seen
        for days in _of_lawn(case, rounds[case.keeper.round_id], events.get(case.lawn.lawn_id, []))
    ]


def _seen_with_their_weather(work: Work, turf: Turf, policy: Policy, keeper_id: int) -> list[SeenLawn]:
    """See each lawn as on the evening its weather was fetched."""
    lawns = work.lawns.of_keepers([keeper_id])
    growth = work.stands.growth(sorted({lawn.stand_id for lawn in lawns}))
    fetched = {stand_id: record.fetched_at for stand_id, record in growth.items()}
    together: dict[datetime, list[int]] = {}
    for lawn in lawns:
        moment = fetched.get(lawn.stand_id, NEVER)
        if moment > NEVER:
            together.setdefault(moment, []).append(lawn.lawn_id)
    return [case for moment, ids in together.items() for case in see_lawns(work, turf, policy, ids, moment)]


def _events(work: Work, seen: Sequence[SeenLawn]) -> dict[int, list[EventRecord]]:
    """Reports of lawns on the days their curves still know, and the one before that a notice knew of."""
    if not seen:
        return {}
    first = min(case.today for case in seen) - timedelta(days=KEPT_DAYS)
    last = max(case.lawn.anchored_on for case in seen)
    found = work.lawns.events_between([case.lawn.lawn_id for case in seen], first=first, last=last)
    for case in seen:
        events = found.get(case.lawn.lawn_id, [])
        if events and _is_recent(case, events[0]):
            found[case.lawn.lawn_id] = [*_known_before(work, events[0]), *events]
    return found


def _is_recent(case: SeenLawn, event: EventRecord) -> bool:
    return event.reported_at > _fetched(case) - CANCELLED_FOR


def _known_before(work: Work, event: EventRecord) -> list[EventRecord]:
    """Where a lawn grew from before its first report, as a notice had it: nobody had told."""
    for told in work.outbox.told(event.lawn_id, limit=LOOKED_AT):
        said = FACTS.validate_python(told.facts)
        if said.last_cut_on is not None and said.last_cut_on < event.on:
            height_mm = said.height_mm - said.grown_mm
            start = replace(event, on=said.last_cut_on, height_mm=height_mm, assumed=said.last_cut_assumed)
            return [start]
    return []


def _of_lawn(case: SeenLawn, round_: RoundRecord, events: Sequence[EventRecord]) -> Iterator[CalendarDays]:
    answer = _answer(case, round_)
    held = answer is not None and answer.kind is NoticeKind.HOLD
    window = _window(case, case.facts, answer)
    if window is not None:
        yield replace(window, cancelled=held)
    if answer is not None and held and answer.holds:
        yield _hold(case, answer)
    yield from _cut_lately(case, events)


def _answer(case: SeenLawn, round_: RoundRecord) -> Notice | None:
    """What would be said to somebody who has not been told anything yet."""
    table = timetable_of(round_)
    unsaid = replace(case.facts, told_hold=None)
    coming = round_on(table, occurrence(table, case.today), tells_all_holds=True)
    return decide(unsaid, case.outlook, coming)


def _window(case: SeenLawn, facts: LawnFacts, answer: Notice | None) -> CalendarDays | None:
    """Days from a third grown to the last on which a cut is safe, or is advised; none if far off."""
    advised_on = None if answer is None else answer.best_on
    opens_on = _reached(case, facts, facts.due.window_g_mm)
    limit_on = _reached(case, facts, facts.due.limit_g_mm)
    known = [on for on in (limit_on and limit_on - timedelta(days=1), advised_on) if on is not None]
    if not known:
        return None
    last_on = max(known)
    first_on = min(opens_on or last_on, advised_on or last_on, last_on)
    return CalendarDays(case, facts.anchor.on, first_on, last_on, _fetched(case), answer=answer)


def _reached(case: SeenLawn, facts: LawnFacts, growth_mm: float | None) -> date | None:
    """First day since the lawn's growth is counted on which its stand's curve passes a value."""
    if growth_mm is None:
        return None
    outlook = case.outlook
    start = outlook.at(facts.anchor.on)
    passed = outlook.growth_mm[start:] > growth_mm
    return outlook.first_on + timedelta(days=start + int(np.argmax(passed))) if passed.any() else None


def _fetched(case: SeenLawn) -> datetime:
    return case.stand.growth.fetched_at


def _hold(case: SeenLawn, answer: Notice) -> CalendarDays:
    """The most serious hold, to the day before it is expected to end or the end of the forecast."""
    hold = answer.holds[0]
    last_on = hold.ended_on or case.outlook.last_on
    if hold.expected_end_on is not None:
        last_on = hold.expected_end_on - timedelta(days=1)
    first_on = hold.started_on
    last_on = max(first_on, last_on)
    return CalendarDays(case, first_on, first_on, last_on, _fetched(case), answer=answer, hold=hold)


def _cut_lately(case: SeenLawn, events: Sequence[EventRecord]) -> Iterator[CalendarDays]:
    """Windows that ended with a report: they were shown, and are no more."""
    known = [event for event in events if event.height_mm is not None]
    for before, after in pairwise(known):
        if not _is_recent(case, after) or after.on <= before.on or before.on < case.outlook.first_on:
            continue
        window = _window(case, _grown_from(case, before), None)
        if window is not None and window.first_on <= after.on + timedelta(days=AHEAD_DAYS):
            yield replace(window, changed_at=after.reported_at, cancelled=True)


def _grown_from(case: SeenLawn, event: EventRecord) -> LawnFacts:
    """The lawn as it grew from an earlier report."""
    facts, height_mm = case.facts, event.height_mm or case.facts.chosen_mm
    growth_mm = float(case.outlook.growth_mm[case.outlook.at(event.on)])
    due: Due = due_after(
        facts.grass,
        facts.chosen_mm,
        pace=facts.pace,
        from_height_mm=height_mm,
        from_growth_mm=growth_mm,
        third=facts.third,
    )
    return replace(facts, anchor=Anchor(event.on, height_mm, growth_mm, event.assumed), due=due)
