"""An organisation's week: hours that fall due against hours its crews have, and what was done."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.day_sheet import WeekAhead, WeekDay, WeekSummary
from mowalert.domain.decide import Outlook
from mowalert.domain.grasses import Turf
from mowalert.domain.holds import told_in
from mowalert.domain.lawn import Anchor, LawnFacts
from mowalert.domain.thirds import limit_height_mm, window_height_mm
from mowalert.service.crew_records import LawnWork, Outcome, VisitRecord
from mowalert.service.crews.day_lawns import minutes_at
from mowalert.service.crews.work_hours import day_crews, working_crews
from mowalert.service.growing.outlook import weather_stamp
from mowalert.service.known import known_keeper
from mowalert.service.lawns.cuts import cuts_between
from mowalert.service.lawns.look import SeenLawn, see_lawns
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, Work

DAYS = 7
USUAL_DRIVE_MIN = 6.0
"""Between two stops, where no plan has told yet. Working value."""
PLANS_LOOKED_AT_D = 14
LEEWAY = 0.005
"""A share this far over the limit is still told as the limit."""


@dataclass(frozen=True, slots=True)
class _Due:
    """A cut a lawn will want: the day it is best done, and the last day it may wait for; minutes."""

    best_on: date
    last_on: date | None
    minutes: float


def week_ahead(store: Store, turf: Turf, policy: Policy, keeper_id: int, *, now: datetime) -> WeekAhead:
    """Hours needed on each of seven days, from the lawns' own curves, against the crews' hours.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    policy : Policy
        The age at which weather is too old.
    keeper_id : int
        The organisation.
    now : datetime
        The moment, aware.

    Returns
    -------
    WeekAhead
        Each lawn counts on the middle day between its window and its limit; in a flush it counts twice.
    """
    with store.begin() as work:
        return _week_ahead(work, turf, policy, keeper_id, now)


def _week_ahead(work: Work, turf: Turf, policy: Policy, keeper_id: int, now: datetime) -> WeekAhead:
    keeper = known_keeper(work, keeper_id)
    today = keeper.today(now)
    ids = [lawn.lawn_id for lawn in work.lawns.of_keepers([keeper_id])]
    seen, told = see_lawns(work, turf, policy, ids, now), work.crews.lawns(ids)
    days = [today + timedelta(days=ahead) for ahead in range(DAYS)]
    crew_h = {on: _crew_h(work, keeper_id, on) for on in days}
    drive_min = _drive_min(work, keeper_id, today)
    due = [one for case in seen for one in _cuts_of(case, told, crew_h, today, drive_min)]
    rows = tuple(_day(on, due, crew_h[on], seen) for on in days)
    stamp = weather_stamp([case.stand for case in seen], now=now, max_age=policy.max_age)
    return WeekAhead(keeper_id, keeper.name, today, rows, _short_on(rows), stamp)


def _crew_h(work: Work, keeper_id: int, on: date) -> float:
    return sum(crew.to_min - crew.from_min for crew in working_crews(day_crews(work, keeper_id, on))) / 60


def _drive_min(work: Work, keeper_id: int, today: date) -> float:
    """Minutes of driving a stop has cost in the last plans."""
    first = today - timedelta(days=PLANS_LOOKED_AT_D)
    told = work.crews.driving(keeper_id, first=first, last=today)
    stops = sum(stops for _, stops in told)
    return max(0.0, sum(minutes for minutes, _ in told) / stops) if stops else USUAL_DRIVE_MIN


def _cuts_of(
    case: SeenLawn, told: Mapping[int, LawnWork], crew_h: Mapping[date, float], today: date, drive_min: float
) -> list[_Due]:
    """A lawn's cuts of the week: after each it starts again from its chosen height."""
    minutes = minutes_at(case, told.get(case.lawn.lawn_id)) + drive_min
    facts, found = case.facts, list[_Due]()
    workdays = [on for on, hours in crew_h.items() if hours > 0 and on.weekday() in facts.mowing_days]
    from_on = today
    while workdays and (cut := _next_cut(facts, case.outlook, from_on, workdays)) is not None:
        found.append(replace(cut, minutes=minutes))
        from_on = cut.best_on + timedelta(days=1)
        growth_mm = float(case.outlook.growth_mm[case.outlook.at(cut.best_on)])
        facts = replace(facts, anchor=Anchor(cut.best_on, facts.chosen_mm, growth_mm))
    return found


def _next_cut(facts: LawnFacts, outlook: Outlook, from_on: date, workdays: Sequence[date]) -> _Due | None:
    """The next cut within the week: midway between window and limit, on a day that is worked and not held."""
    heights = facts.heights_at(outlook.growth_mm)
    opens = _first_over(heights, outlook, from_on, window_height_mm(facts.chosen_mm, facts.third))
    if opens is None or opens > workdays[-1]:
        return None
    passed = _first_over(heights, outlook, from_on, limit_height_mm(facts.chosen_mm, facts.third))
    last = passed - timedelta(days=1) if passed else workdays[-1]
    middle = opens + (max(last, opens) - opens) / 2
    free = [on for on in workdays if on >= max(opens, from_on) and not _held(facts, outlook, on)]
    if not free:
        return None
    best = next((on for on in free if on >= middle), free[-1])
    in_time = [on for on in free if passed is None or on < passed]
    return _Due(min(best, in_time[-1]) if in_time else free[0], last if passed else None, 0.0)


def _first_over(heights: Floats, outlook: Outlook, from_on: date, height_mm: float) -> date | None:
    start = outlook.at(from_on)
    over = heights[start:] >= height_mm
    return outlook.first_on + timedelta(days=start + int(np.argmax(over))) if over.any() else None


def _held(facts: LawnFacts, outlook: Outlook, on: date) -> bool:
    dated = any(hold.started_on <= on <= (hold.ended_on or date.max) for hold in facts.dated_holds)
    return dated or bool(told_in(float(outlook.holds[outlook.at(on)])))


def _day(on: date, due: Sequence[_Due], crew_h: float, seen: Sequence[SeenLawn]) -> WeekDay:
    best = [one for one in due if one.best_on == on]
    must = [one for one in best if one.last_on is not None and one.last_on <= on]
    rain = [float(case.outlook.rain_mm[case.outlook.at(on)]) for case in seen]
    known = [mm for mm in rain if not np.isnan(mm)]
    return WeekDay(
        on=on,
        due=len(best),
        must=len(must),
        needed_h=sum(one.minutes for one in best) / 60,
        must_h=sum(one.minutes for one in must) / 60,
        crew_h=crew_h,
        rain_mm=float(np.median(known)) if known else None,
    )


def _short_on(days: Sequence[WeekDay]) -> date | None:
    """The first day by whose evening more hours have fallen due than the crews have had."""
    needed = had = 0.0
    for day in days:
        needed, had = needed + day.needed_h, had + day.crew_h
        if needed > had:
            return day.on
    return None


def week_summary(store: Store, turf: Turf, policy: Policy, keeper_id: int, *, now: datetime) -> WeekSummary:
    """What an owner hears once a week: the seven days before today, and the seven from today on.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    policy : Policy
        The age at which weather is too old.
    keeper_id : int
        The organisation.
    now : datetime
        The moment, aware.

    Returns
    -------
    WeekSummary
        Cuts, however they were reported, and visits that were skipped; on time is a cut that took no more
        than its lawn's limit.
    """
    with store.begin() as work:
        keeper = known_keeper(work, keeper_id)
        today = keeper.today(now)
        first, last = today - timedelta(days=DAYS), today - timedelta(days=1)
        visits = work.crews.visits(keeper_id, first=first, last=last)
        limits = {lawn.lawn_id: lawn.third for lawn in work.lawns.of_keepers([keeper_id])}
        cuts = cuts_between(work, list(limits), visits, first=first, last=last)
        known = [(cut.removed, limits[cut.lawn_id]) for cut in cuts if cut.removed is not None]
        over = sum(removed > limit + LEEWAY for removed, limit in known)
        days = (first + timedelta(days=ahead) for ahead in range(DAYS))
        return WeekSummary(
            keeper_id=keeper_id,
            keeper_name=keeper.name,
            from_on=first,
            to_on=last,
            done=len(cuts),
            skipped=_skips(visits),
            on_time=len(known) - over,
            over_limit=over,
            largest_removed=max((removed for removed, _ in known), default=None),
            worked_h=sum(visit.minutes or 0.0 for visit in visits if visit.outcome is Outcome.DONE) / 60,
            crew_h=sum(_crew_h(work, keeper_id, on) for on in days),
            ahead=_week_ahead(work, turf, policy, keeper_id, now),
        )


def _skips(visits: Sequence[VisitRecord]) -> tuple[tuple[str, int], ...]:
    counts = Counter(visit.reason.value for visit in visits if visit.reason is not None)
    return tuple(sorted(counts.items(), key=lambda one: (-one[1], one[0])))
