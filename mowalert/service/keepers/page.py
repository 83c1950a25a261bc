"""What a keeper's page shows of their lawns: today's answer, the days around it, what has happened."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from mowalert.domain.decide import Round, decide
from mowalert.domain.grasses import Turf
from mowalert.domain.holds import in_mask
from mowalert.domain.lawn import Anchor, LawnFacts
from mowalert.domain.notices import Notice
from mowalert.domain.rounds import occurrence, round_on
from mowalert.domain.words import HoldReason
from mowalert.service.lawns.look import LawnOutlook, SeenLawn, lawn_outlook, see_lawns
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, Work
from mowalert.service.records import EventRecord, KeeperRecord, LawnRecord, SiteRecord, ToldRecord
from mowalert.service.telling.deciding import timetable_of

PAST_DAYS = 14
LAST_TOLD = 8
LAST_EVENTS = 12


@dataclass(frozen=True, slots=True)
class PastDay:
    """A lawn's height in the evening of a day, and the hold in force. [mm]"""

    on: date
    height_mm: float
    hold: HoldReason | None


@dataclass(frozen=True, slots=True)
class LawnPage:
    """One lawn as its page shows it; without weather yet there is neither outlook nor answer.

    ``answer`` is what would be said today to somebody who has not been told anything yet; none if there
    is nothing to do.
    """

    lawn: LawnRecord
    site: SiteRecord
    facts: LawnFacts | None
    outlook: LawnOutlook | None
    answer: Notice | None
    past: tuple[PastDay, ...]
    events: tuple[EventRecord, ...]
    told: tuple[ToldRecord, ...]


@dataclass(frozen=True, slots=True)
class KeeperPage:
    """A keeper and their lawns."""

    keeper: KeeperRecord
    today: date
    lawns: tuple[LawnPage, ...]


def keeper_page(
    store: Store, turf: Turf, policy: Policy, keeper_id: int, *, now: datetime, lawn_id: int | None = None
) -> KeeperPage | None:
    """Look at a keeper's lawns.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    turf : Turf
        Grasses and soils.
    policy : Policy
        Age at which weather is too old.
    keeper_id : int
        Whose.
    now : datetime
        The moment.
    lawn_id : int | None
        One lawn only; all if not given.

    Returns
    -------
    KeeperPage | None
        The page; none if there is no such keeper, or the lawn is not theirs.
    """
    with store.begin() as work:
        keeper = work.keepers.get([keeper_id]).get(keeper_id)
        if keeper is None:
            return None
        lawns = work.lawns.of_keepers([keeper_id])
        shown = [lawn for lawn in lawns if lawn_id in (None, lawn.lawn_id)]
        if lawn_id is not None and not shown:
            return None
        today = keeper.today(now)
        seen = {
            case.lawn.lawn_id: case
            for case in see_lawns(work, turf, policy, [lawn.lawn_id for lawn in shown], now)
        }
        (record,) = [one for one in work.rounds.all() if one.round_id == keeper.round_id]
        table = timetable_of(record)
        round_ = round_on(table, occurrence(table, today), tells_all_holds=True)
        pages = [_lawn_page(work, lawn, seen.get(lawn.lawn_id), round_) for lawn in shown]
    return KeeperPage(keeper, today, tuple(pages))


def _lawn_page(work: Work, lawn: LawnRecord, case: SeenLawn | None, round_: Round) -> LawnPage:
    events = work.lawns.events(lawn.lawn_id)
    answer = None
    if case is not None:
        answer = decide(replace(case.facts, told_hold=None), case.outlook, round_)
    return LawnPage(
        lawn=lawn,
        site=work.keepers.sites([lawn.site_id])[lawn.site_id],
        facts=None if case is None else case.facts,
        outlook=None if case is None else lawn_outlook(case),
        answer=answer,
        past=() if case is None else _past(case, events, round_.today),
        events=tuple(reversed(events[-LAST_EVENTS:])),
        told=tuple(work.outbox.told(lawn.lawn_id, limit=LAST_TOLD)),
    )


def _past(case: SeenLawn, events: Sequence[EventRecord], today: date) -> tuple[PastDay, ...]:
    """Heights of the last two weeks, from each known height along the stand's curve."""
    outlook, anchor = case.outlook, case.facts.anchor
    starts = [
        Anchor(event.on, event.height_mm, float(outlook.growth_mm[outlook.at(event.on)]))
        for event in events
        if event.height_mm is not None and outlook.first_on <= event.on <= anchor.on
    ]
    # A curve is kept for some weeks; where it stood on the anchor's day is known for good.
    starts.append(anchor)
    days = []
    for back in range(PAST_DAYS, -1, -1):
        on = today - timedelta(days=back)
        known = [start for start in starts if start.on <= on]
        if known and on >= outlook.first_on:
            days.append(_day(case, known[-1], on))
    return tuple(days)


def _day(case: SeenLawn, start: Anchor, on: date) -> PastDay:
    column = case.outlook.at(on)
    height_mm = replace(case.facts, anchor=start).height_at(float(case.outlook.growth_mm[column]))
    hold = next(iter(in_mask(float(case.outlook.holds[column]))), None)
    return PastDay(on, height_mm, hold)
