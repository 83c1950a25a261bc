"""Why a notice said what it said: the chain from weather to words, computed again from the store.

What was said is compared with what the same rules say now of the same evening. Where weather was corrected
since, or a report was taken back, numbers differ, and it is told which.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np

from mowalert.domain.decide import decide, hold_numbers, tried
from mowalert.domain.grasses import Turf
from mowalert.domain.growth import growth_to_reach_mm
from mowalert.domain.holds import in_mask
from mowalert.domain.lawn import Anchor, LawnFacts, due_after, pace_of
from mowalert.domain.notices import HoldFacts, Notice
from mowalert.domain.rounds import occurrence, round_on
from mowalert.domain.thirds import limit_height_mm, window_height_mm
from mowalert.domain.words import HoldReason, KeeperKind, NoticeKind
from mowalert.errors import InputError
from mowalert.service.growing.grow import growth_on
from mowalert.service.growing.outlook import StandDays, load_stands, outlook_for
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, Work
from mowalert.service.records import EventRecord, LawnRecord, ToldRecord
from mowalert.service.region.guides import Speakers, guide_of
from mowalert.service.telling.deciding import timetable_of
from mowalert.service.telling.remembering import FACTS

CLOSE = 1e-6
LOOKED_AT = 1000


@dataclass(frozen=True, slots=True)
class WhyDay:
    """One day since the last cut: weather, warmth, water, and what they made of the lawn."""

    on: date
    source: str
    t_min_c: float
    t_max_c: float
    rain_mm: float
    gdd_c: float
    water_stress: float
    stand_growth_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class Why:
    """The chain behind one notice.

    ``rules`` are those asked, in order, each with whether it had the last word; ``in_force`` the holds
    of that day; ``moved`` names each number that is no longer what was said, with both values.
    """

    notice: Notice
    told_at: datetime
    weather_fetched_at: datetime
    days: tuple[WhyDay, ...]
    window_height_mm: float
    limit_height_mm: float
    pace: float
    holds: tuple[HoldFacts, ...]
    in_force: tuple[HoldReason, ...]
    rules: tuple[tuple[str, bool], ...]
    again: Notice | None
    moved: tuple[tuple[str, str, str], ...]


def why(store: Store, turf: Turf, policy: Policy, told_id: int) -> Why:
    """Compute a notice again from the store.

    Parameters
    ----------
    store : Store
        Where notices, weather and curves are kept.
    turf : Turf
        Grasses and soils.
    policy : Policy
        Age at which weather is too old.
    told_id : int
        The notice's number.

    Returns
    -------
    Why
        The chain, and what differs from what was said.

    Raises
    ------
    InputError
        If there is no such notice, or its days are no longer kept.
    """
    with store.begin() as work:
        record = work.outbox.notice(told_id)
        if record is None:
            raise InputError(f"there is no notice {told_id}; `mowalert why --lawn LAWN` lists a lawn's")
        (lawn,) = work.lawns.get([record.lawn_id])
        stand = load_stands(work, [lawn.stand_id]).get(lawn.stand_id)
        if stand is None or record.on < stand.growth.curve_from:
            raise InputError(f"notice {told_id} is of {record.on}: the days before it are no longer kept")
        said = FACTS.validate_python(record.facts)
        facts = _as_it_was(work, turf, lawn, record, said, stand)
        keeper = work.keepers.get([record.keeper_id])[record.keeper_id]
        (round_record,) = [one for one in work.rounds.all() if one.round_id == record.round_id]
    table = timetable_of(round_record)
    by_class = keeper.kind is KeeperKind.PARKS
    told_at = occurrence(table, record.on)
    round_ = round_on(table, told_at, tells_all_holds=keeper.tells_all_holds, by_class=by_class)
    hours, now = facts.mowing_hours, record.decided_at
    outlook = outlook_for(stand, hours, today=record.on, now=now, max_age=policy.max_age)
    outlook = replace(outlook, fresh=said.kind is not NoticeKind.NO_WEATHER)
    again = decide(facts, outlook, round_)
    return Why(
        notice=said,
        told_at=record.decided_at,
        weather_fetched_at=stand.growth.fetched_at,
        days=_days(facts, stand, record.on),
        window_height_mm=window_height_mm(facts.chosen_mm, facts.third),
        limit_height_mm=limit_height_mm(facts.chosen_mm, facts.third),
        pace=facts.pace,
        holds=tuple(hold_numbers(facts, outlook, round_)),
        in_force=in_mask(float(outlook.holds[outlook.at(record.on)])),
        rules=tuple(tried(facts, outlook, round_)),
        again=again,
        moved=_moved(said, again),
    )


def notices_of(store: Store, lawn_id: int, *, limit: int = 20) -> list[ToldRecord]:
    """Return a lawn's newest notices, newest first."""
    with store.begin() as work:
        return work.outbox.told(lawn_id, limit=limit)


def _as_it_was(
    work: Work, turf: Turf, lawn: LawnRecord, record: ToldRecord, said: Notice, stand: StandDays
) -> LawnFacts:
    """The lawn as it stood when the notice was decided, its height and guide then, and what had been told."""
    site = work.keepers.sites([lawn.site_id])[lawn.site_id]
    facts = _spoken_for(work, turf, lawn, record, said).facts(
        _kept_at(lawn, said, turf), site, turf, today=record.on
    )
    anchor = _anchor_then(work.lawns.events(lawn.lawn_id), record, stand, facts)
    due = due_after(
        facts.grass,
        facts.chosen_mm,
        pace=facts.pace,
        from_height_mm=anchor.height_mm,
        from_growth_mm=anchor.growth_mm,
        third=facts.third,
    )
    before = [one for one in work.outbox.told(lawn.lawn_id, limit=LOOKED_AT) if one.told_id < record.told_id]
    return replace(facts, anchor=anchor, due=due, told_hold=_told_then(before))


def _kept_at(lawn: LawnRecord, said: Notice, turf: Turf) -> LawnRecord:
    """The lawn at the height it was kept at then."""
    if lawn.chosen_mm == said.chosen_height_mm:
        return lawn
    grass, height_mm = turf.grasses[lawn.grass], said.chosen_height_mm
    pace = pace_of(grass, height_mm, nitrogen=lawn.nitrogen, learned=lawn.learned)
    return replace(lawn, chosen_mm=height_mm, pace=pace)


def _spoken_for(work: Work, turf: Turf, lawn: LawnRecord, record: ToldRecord, said: Notice) -> Speakers:
    """The guide's version that spoke then, and the dates and rules known then."""
    dates = work.lawns.kept_off([lawn.lawn_id], since=record.on).get(lawn.lawn_id, [])
    known = [days for days in dates if days.said_at <= record.decided_at]
    version = said.guide and guide_of(work, turf, said.guide.guide_id, said.guide.version)
    rules = work.parks.restrictions([lawn.keeper_id], since=record.on).get(lawn.keeper_id, [])
    return Speakers(
        {lawn.guide or "": version} if version else {},
        {lawn.lawn_id: known},
        restrictions={lawn.keeper_id: [rule for rule in rules if rule.said_at <= record.decided_at]},
    )


def _anchor_then(
    events: Sequence[EventRecord], record: ToldRecord, stand: StandDays, facts: LawnFacts
) -> Anchor:
    known = [
        event
        for event in events
        if event.reported_at <= record.decided_at and event.on <= record.on and event.height_mm is not None
    ]
    if facts.anchor.on <= record.on and not any(event.reported_at > record.decided_at for event in events):
        return facts.anchor
    said = FACTS.validate_python(record.facts)
    if not known:
        on, from_mm, assumed = said.last_cut_on or record.on, said.height_mm - said.grown_mm, True
    else:
        last = max(known, key=lambda event: (event.on, event.event_id))
        on, from_mm, assumed = last.on, last.height_mm or facts.chosen_mm, last.assumed
    if on >= stand.growth.curve_from:
        return Anchor(on, from_mm, growth_on(stand.growth, on), assumed)
    # Before the days that are kept, the curve stood where it leads to the height that was said.
    needed_mm = growth_to_reach_mm(
        said.height_mm, from_height_mm=from_mm, pace=facts.pace, ceiling_mm=facts.grass.ceiling_mm
    )
    return Anchor(on, from_mm, growth_on(stand.growth, record.on) - (needed_mm or 0.0), assumed)


def _told_then(before: Sequence[ToldRecord]) -> HoldReason | None:
    """The hold told last and not released, of notices newest first."""
    for one in before:
        if one.kind == NoticeKind.HOLD:
            return HoldReason(one.reason) if one.reason else None
        if one.kind not in (NoticeKind.NO_WEATHER, NoticeKind.MAY_MOW):
            return None
    return None


def _days(facts: LawnFacts, stand: StandDays, until: date) -> tuple[WhyDay, ...]:
    heights = facts.heights_at(stand.curve[0])
    first = max(facts.anchor.on, stand.growth.curve_from)
    days = []
    for ahead in range((until - first).days + 1):
        on = first + timedelta(days=ahead)
        column = (on - stand.growth.curve_from).days
        day = stand.days.get(on)
        before = max(column - 1, 0)
        days.append(
            WhyDay(
                on=on,
                source=day.source if day else "bridged",
                t_min_c=day.t_min_c if day else float("nan"),
                t_max_c=day.t_max_c if day else float("nan"),
                rain_mm=day.rain_mm if day else float("nan"),
                gdd_c=float(stand.curve[1, column] - stand.curve[1, before]),
                water_stress=float(stand.curve[2, column]),
                stand_growth_mm=float(stand.curve[0, column] - stand.curve[0, before]),
                height_mm=float(heights[column]),
            )
        )
    return tuple(days)


def _moved(said: Notice, again: Notice | None) -> tuple[tuple[str, str, str], ...]:
    if again is None:
        return (("kind", said.kind.value, "nothing would be said"),)
    pairs = [(one.name, getattr(said, one.name), getattr(again, one.name)) for one in fields(Notice)]
    return tuple((name, _short(old), _short(new)) for name, old, new in pairs if not _same(old, new))


def _same(old: Any, new: Any) -> bool:
    """Whether two values are alike but for rounding."""
    if isinstance(old, float) and isinstance(new, float):
        return bool(np.isclose(old, new, rtol=CLOSE, atol=CLOSE))
    if isinstance(old, tuple) and isinstance(new, tuple):
        return len(old) == len(new) and all(map(_same, old, new))
    if is_dataclass(old) and type(old) is type(new):
        return all(_same(getattr(old, one.name), getattr(new, one.name)) for one in fields(old))
    return bool(old == new)


def _short(value: Any) -> str:
    return f"{value:.3f}" if isinstance(value, float) else str(value)[:120]
