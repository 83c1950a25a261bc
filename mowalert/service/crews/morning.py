"""The company's morning: each organisation's day is planned, kept, and handed to whoever needs it.

A day's plan is kept in versions. The first is the morning's; another is made by command, or when the rain
forecast for the hours still to be worked changes. A version that would say the same is not made, except
after rain: it is kept with the rain it was made for, so that the same rain is not looked at twice, and
handed to nobody. A day planned ahead is looked at again on its own morning.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from mowalert.domain.clock import minute_of_day
from mowalert.domain.crew_plan import Routes, changes, plan_day, replan
from mowalert.domain.crews import Change, Crew, DayPlan, Fault, Position
from mowalert.domain.day_sheet import CrewSheet, DaySheet
from mowalert.domain.grasses import Turf
from mowalert.domain.travel import Travel, TravelOf, by_great_circle
from mowalert.errors import InputError, SourceError
from mowalert.service.crews.day_lawns import DayLawns, day_lawns
from mowalert.service.crews.day_plans import (
    Draft,
    keep_version,
    newest_sheets,
    plan_of,
    rain_by_cell,
    sheet_of,
    with_visits,
)
from mowalert.service.crews.work_hours import day_crews, hours_in_cells, whole_hours
from mowalert.service.known import known_keeper
from mowalert.service.lawns.look import SeenLawn
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, Work
from mowalert.service.records import KeeperRecord

MORNING, ASKED, RAIN = "morning", "asked", "rain"
"""Why a version of a plan was made."""
RAIN_CHANGE_MM = 1.0
"""Rain that comes to, or leaves, an hour of work and has the day planned again. Working value."""
WET_MM = 1.0
"""Rain of an hour in which nobody mows. Working value."""
DAYS_AFTER_RAIN = 2
"""Days after a rained-off one that are planned along with its rest."""
MOST_AHEAD_D = 6
"""Days ahead that can be planned: beyond, the forecast has too little to say."""


@dataclass(frozen=True, slots=True)
class Dispatch:
    """What plans are made with: a finder of routes, distances, and who knows the roads."""

    routes: Routes
    plain: TravelOf = by_great_circle
    roads: TravelOf | None = None


class Roads:
    """Driving times of the roads that are known, and by the crow's flight where those cannot be had.

    Parameters
    ----------
    dispatch : Dispatch
        Who knows the roads, and the distances without.
    """

    def __init__(self, dispatch: Dispatch) -> None:
        self._asked, self._plain = dispatch.roads, dispatch.plain
        self.faults: list[Fault] = []

    def __call__(self, places: Sequence[Position]) -> Travel:
        """Return the driving between places; one that asks nobody cannot fail."""
        if self._asked is None or self.faults:
            return self._plain(places)
        try:
            return self._asked(places)
        except SourceError as error:
            self.faults.append(Fault("roads", f"not known, distances are by the crow's flight ({error})"))
            return self._plain(places)


def plan_morning(
    store: Store,
    turf: Turf,
    policy: Policy,
    dispatch: Dispatch,
    keeper_id: int,
    *,
    now: datetime,
    on: date | None = None,
) -> DaySheet | None:
    """Plan an organisation's day, unless it is planned.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    policy : Policy
        As for the night.
    dispatch : Dispatch
        Routes and roads.
    keeper_id : int
        The organisation.
    now : datetime
        The moment, aware.
    on : date | None
        The day; today where none is said. One ahead is planned of what the days before it leave.

    Returns
    -------
    DaySheet | None
        The day's newest version; none where nobody works that day.

    Raises
    ------
    InputError
        If there is no such organisation, or the day has passed without a plan or is too far ahead.
    """
    with store.begin() as work:
        desk = _desk(work, turf, policy, dispatch, keeper_id, now)
        on = on or desk.today
        kept = desk.newest(on)
        if kept is not None and (on != desk.today or desk.keeper.today(kept.made_at) == desk.today):
            return kept
        _check_day(on, desk.today)
        crews = day_crews(work, keeper_id, on)
        if not crews:
            return None
        lawns = _without(desk.lawns(on), _planned_until(work, keeper_id, desk.today, on))
        # What was planned ahead was handed to nobody: this plan starts from it, and lists no changes to it.
        draft = desk.planned(lawns, crews, on, ahead=plan_of(kept) if kept else None)
        sheet = desk.keep(draft, why=MORNING if on == desk.today else ASKED)
        work.commit()
    return sheet


@dataclass(frozen=True, slots=True)
class _Desk:
    """An organisation's days while they are planned, within one transaction."""

    work: Work
    turf: Turf
    policy: Policy
    dispatch: Dispatch
    keeper: KeeperRecord
    roads: Roads
    now: datetime

    @property
    def today(self) -> date:
        return self.keeper.today(self.now)

    def newest(self, on: date) -> DaySheet | None:
        """A day's newest version."""
        kept = self.work.crews.plan(self.keeper.keeper_id, on)
        return None if kept is None else sheet_of(kept)

    def lawns(self, on: date, seen: Sequence[SeenLawn] | None = None) -> DayLawns:
        """The organisation's lawns as they stand on a day."""
        return day_lawns(self.work, self.turf, self.policy, self.keeper, on=on, now=self.now, seen=seen)

    def planned(self, lawns: DayLawns, crews: Sequence[Crew], on: date, *, ahead: DayPlan | None) -> Draft:
        """A day's plan: from nothing, or what keeps most of the one made ahead."""
        if ahead is not None:
            return self.replanned(ahead, lawns, crews)
        plan = plan_day(lawns.jobs, crews, on, routes=self.dispatch.routes, travel_of=self.roads)
        return Draft(plan, lawns, crews, self.roads.faults)

    def replanned(self, before: DayPlan, lawns: DayLawns, crews: Sequence[Crew]) -> Draft:
        """What keeps most of a plan that was made."""
        plan = replan(before, lawns.jobs, crews, travel_of=self.roads)
        return Draft(plan, lawns, crews, self.roads.faults)

    def keep(
        self,
        draft: Draft,
        *,
        why: str,
        changes: tuple[Change, ...] = (),
        before: DaySheet | None = None,
    ) -> DaySheet:
        """Keep a version of a day's plan."""
        return keep_version(
            self.work, self.policy, self.keeper, draft, why=why, now=self.now, changes=changes, before=before
        )


def _desk(work: Work, turf: Turf, policy: Policy, dispatch: Dispatch, keeper_id: int, now: datetime) -> _Desk:
    return _Desk(work, turf, policy, dispatch, known_keeper(work, keeper_id), Roads(dispatch), now)


def _check_day(on: date, today: date) -> None:
    if on < today:
        raise InputError(f"{on} has passed, and was not planned")
    if on > today + timedelta(days=MOST_AHEAD_D):
        raise InputError(f"{on} is too far ahead; at most {MOST_AHEAD_D} days are planned")


def _planned_until(work: Work, keeper_id: int, first: date, on: date) -> set[int]:
    """Lawns that are on a list before a day: they will have been cut by then, unless they were skipped."""
    sheets = newest_sheets(work, keeper_id, first=first, last=on - timedelta(days=1))
    visited = {visit.lawn_id for visit in work.crews.visits(keeper_id, first=first, last=first)}
    return {stop.lawn.lawn_id for sheet in sheets for crew in sheet.crews for stop in crew.stops} - visited


def _without(lawns: DayLawns, lawn_ids: Collection[int]) -> DayLawns:
    return replace(lawns, jobs=tuple(job for job in lawns.jobs if job.lawn_id not in lawn_ids))


def replan_day(
    store: Store,
    turf: Turf,
    policy: Policy,
    dispatch: Dispatch,
    keeper_id: int,
    *,
    now: datetime,
    why: str = ASKED,
) -> list[DaySheet]:
    """Plan the rest of an organisation's day again, and after rain the next days too.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    policy : Policy
        As for the night.
    dispatch : Dispatch
        Routes and roads.
    keeper_id : int
        The organisation.
    now : datetime
        The moment, aware.
    why : str
        What makes it necessary.

    Returns
    -------
    list[DaySheet]
        The versions made; none where everything stays as it is. What is done stays done.
    """
    with store.begin() as work:
        desk = _desk(work, turf, policy, dispatch, keeper_id, now)
        on = desk.today
        before = desk.newest(on)
        if before is None:
            raise InputError(f"{desk.keeper.name}: there is no plan for {on} that could be changed")
        # What was skipped today comes back tomorrow, not in an hour.
        visits = work.crews.visits(keeper_id, first=on, last=on)
        visited = {visit.lawn_id for visit in visits}
        before = with_visits(before, visits)
        lawns = _without(desk.lawns(on), visited)
        crews = _rest_of_day(before, day_crews(work, keeper_id, on), lawns, now)
        left = _still_to_do(before, visited)
        draft = desk.replanned(left, lawns, crews)
        made, told = list[DaySheet](), changes(left, draft.plan)
        if told or why == RAIN:
            sheet = desk.keep(draft, why=why, changes=told, before=before)
            made += [sheet] if told else []
        if why == RAIN:
            made += _next_days(desk, draft)
        work.commit()
    return made


def _next_days(desk: _Desk, today: Draft) -> list[DaySheet]:
    """Plans for the days after a rained-off one, of what it leaves undone; none where one stays as it is."""
    planned = _lawn_ids(today.plan)
    made: list[DaySheet] = []
    for ahead in range(1, DAYS_AFTER_RAIN + 1):
        on = today.plan.on + timedelta(days=ahead)
        working = day_crews(desk.work, desk.keeper.keeper_id, on)
        if not working:
            continue
        lawns = _without(desk.lawns(on, today.lawns.seen), planned)
        crews = [_dry_hours(crew, lawns, on) for crew in working]
        before = desk.newest(on)
        left = plan_of(before) if before else None
        draft = desk.planned(lawns, crews, on, ahead=left)
        planned = planned | _lawn_ids(draft.plan)
        told = changes(left, draft.plan) if left is not None else ()
        if left is None or told:
            made.append(desk.keep(draft, why=RAIN, changes=told, before=before))
    return made


def _lawn_ids(plan: DayPlan) -> set[int]:
    return {stop.lawn_id for route in plan.routes for stop in route.stops}


def replan_if_rain(
    store: Store, turf: Turf, policy: Policy, dispatch: Dispatch, keeper_id: int, *, now: datetime
) -> list[DaySheet]:
    """Plan again if the rain forecast for the hours still to be worked is another one; else do nothing."""
    with store.begin() as work:
        keeper = known_keeper(work, keeper_id)
        kept = work.crews.plan(keeper_id, keeper.today(now))
        if kept is None:
            return []
        before = kept.facts.get("rain_mm", {})
        from_h = minute_of_day(now, keeper.time_zone) // 60
        cells = [int(cell) for cell in before]
        after = rain_by_cell(hours_in_cells(work, cells, keeper.time_zone, kept.on))
        worked = _worked_hours(day_crews(work, keeper_id, kept.on), from_h)
    if not _rain_changed(before, after, worked):
        return []
    return replan_day(store, turf, policy, dispatch, keeper_id, now=now, why=RAIN)


def _worked_hours(crews: Sequence[Crew], from_h: int) -> range:
    """Hours the crews have, not those a wet plan left them: rain that goes away is news as well."""
    first, last = whole_hours(crews)
    return range(max(from_h, first), last)


def _rain_changed(before: dict[str, list[float]], after: dict[str, list[float]], hours: range) -> bool:
    return any(
        abs(after[cell][hour] - before[cell][hour]) >= RAIN_CHANGE_MM
        for cell in before.keys() & after.keys()
        for hour in hours
        if hour < 24
    )


def _rest_of_day(before: DaySheet, crews: Sequence[Crew], lawns: DayLawns, now: datetime) -> list[Crew]:
    """Crews with the hours that are left, dry ones only, from where they last were."""
    minute = minute_of_day(now, before.time_zone)
    rest = []
    for crew in crews:
        sheet = before.crew(crew.crew_id)
        at = _last_place(sheet, minute) if sheet else None
        hours = replace(crew, from_min=max(crew.from_min, minute), starts_at=at)
        rest.append(_dry_hours(hours, lawns, before.on))
    return rest


def _last_place(sheet: CrewSheet, minute: int) -> Position | None:
    """Where a crew is: at its last stop that was done or by its plan has begun."""
    begun = [stop for stop in sheet.listed if stop.outcome or stop.starts_min <= minute]
    last = max(begun, key=lambda stop: stop.starts_min, default=None)
    return last.lawn.position if last else None


def _dry_hours(crew: Crew, lawns: DayLawns, on: date) -> Crew:
    """A crew's longest run of hours in which it does not rain too hard to mow."""
    rain = [hours.rain_mm for hours in lawns.hours_on(on).values()]
    if not rain:
        return crew
    wet = {hour for hour in range(24) if sum(one[hour] >= WET_MM for one in rain) * 2 > len(rain)}
    spans, start = [], crew.from_min
    for hour in sorted(wet):
        spans.append((start, min(crew.to_min, hour * 60)))
        start = max(start, (hour + 1) * 60)
    spans.append((start, crew.to_min))
    from_min, to_min = max(spans, key=lambda span: (span[1] - span[0], -span[0]))
    return replace(crew, from_min=from_min, to_min=max(from_min, to_min))


def _still_to_do(sheet: DaySheet, visited: Collection[int]) -> DayPlan:
    """The plan in force without what is done or was skipped."""
    plan = plan_of(sheet)
    routes = tuple(
        replace(route, stops=tuple(stop for stop in route.stops if stop.lawn_id not in visited))
        for route in plan.routes
    )
    return replace(plan, routes=routes)
