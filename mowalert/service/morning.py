"""The company's morning: each organisation's day is planned, kept, and handed to whoever needs it.

A day's plan is kept in versions. The first is the morning's; another is made by command, or when the rain
forecast for the hours still to be worked changes. A version that would say the same is not made, except
after rain: it is kept with the rain it was made for, so that the same rain is not looked at twice, and
handed to nobody. A day planned ahead is looked at again on its own morning.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from math import isnan
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter, ValidationError

from mowalert.domain.crew_heat import crew_heat
from mowalert.domain.crew_plan import Routes, changes, plan_day, replan
from mowalert.domain.crews import Change, ChangeKind, Crew, DayPlan, Fault, LeftOut, Position, Route, Stop
from mowalert.domain.day_sheet import CrewSheet, DaySheet, SheetLawn, SheetLeft, SheetStop
from mowalert.domain.grasses import Turf
from mowalert.domain.notices import CrewHeat, WeatherStamp
from mowalert.domain.travel import Travel, TravelOf, by_great_circle
from mowalert.errors import InputError, SourceError, StoreError
from mowalert.service.crew_records import PlanRecord
from mowalert.service.day_lawns import DayLawns, clock_hours, clocks_ahead, day_crews, day_lawns
from mowalert.service.known import known_keeper
from mowalert.service.look import SeenLawn
from mowalert.service.official import warnings_for
from mowalert.service.ports import Store, Work
from mowalert.service.records import KeeperRecord
from mowalert.service.tell import Policy

MORNING, ASKED, RAIN = "morning", "asked", "rain"
"""Why a version of a plan was made."""
SHEET = TypeAdapter(DaySheet)
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
        keeper = known_keeper(work, keeper_id)
        today = keeper.today(now)
        on = on or today
        kept = work.crews.plan(keeper_id, on)
        if kept is not None and (on != today or keeper.today(kept.made_at) == today):
            return sheet_of(kept)
        _check_day(on, today)
        crews = day_crews(work, keeper_id, on)
        if not crews:
            return None
        before = _planned_until(work, keeper_id, today, on)
        lawns = _without(day_lawns(work, turf, policy, keeper, on=on, now=now), before)
        roads = Roads(dispatch)
        # What was planned ahead was handed to nobody: this plan starts from it, and lists no changes to it.
        plan = _planned(dispatch, lawns, crews, on, roads, plan_of(sheet_of(kept)) if kept else None)
        why = MORNING if on == today else ASKED
        sheet = _kept(work, policy, keeper, plan, lawns, crews, roads, why=why, now=now)
        work.commit()
    return sheet


def _check_day(on: date, today: date) -> None:
    if on < today:
        raise InputError(f"{on} has passed, and was not planned")
    if on > today + timedelta(days=MOST_AHEAD_D):
        raise InputError(f"{on} is too far ahead; at most {MOST_AHEAD_D} days are planned")


def _planned_until(work: Work, keeper_id: int, first: date, on: date) -> set[int]:
    """Lawns that are on a list before a day: they will have been cut by then."""
    plans = work.crews.plans(keeper_id, first=first, last=on - timedelta(days=1))
    return {lawn_id for plan in plans for lawn_id in _lawn_ids(plan_of(sheet_of(plan)))}


def _without(lawns: DayLawns, lawn_ids: Collection[int]) -> DayLawns:
    return replace(lawns, jobs=tuple(job for job in lawns.jobs if job.lawn_id not in lawn_ids))


def _planned(
    dispatch: Dispatch,
    lawns: DayLawns,
    crews: Sequence[Crew],
    on: date,
    roads: Roads,
    ahead: DayPlan | None,
) -> DayPlan:
    """A day's plan: from nothing, or what keeps most of the one made ahead."""
    if ahead is None:
        return plan_day(lawns.jobs, crews, on, routes=dispatch.routes, travel_of=roads)
    return replan(ahead, lawns.jobs, crews, travel_of=roads)


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
        keeper = known_keeper(work, keeper_id)
        on = keeper.today(now)
        kept = work.crews.plan(keeper_id, on)
        if kept is None:
            raise InputError(f"{keeper.name}: there is no plan for {on} that could be changed")
        before = sheet_of(kept)
        lawns = _without_visited(work, day_lawns(work, turf, policy, keeper, on=on, now=now), keeper_id, on)
        roads = Roads(dispatch)
        crews = _rest_of_day(before, day_crews(work, keeper_id, on), lawns, now)
        left = _without_done(work, before, keeper_id, on)
        plan = replan(left, lawns.jobs, crews, travel_of=roads)
        made = []
        changed = bool(changes(left, plan))
        if changed or why == RAIN:
            sheet = _kept(
                work,
                policy,
                keeper,
                plan,
                lawns,
                crews,
                roads,
                why=why,
                now=now,
                before=before,
                left=left,
            )
            made += [sheet] if changed else []
        if why == RAIN:
            made += _next_days(work, turf, policy, dispatch, keeper, plan, roads, now)
        work.commit()
    return made


def _next_days(
    work: Work,
    turf: Turf,
    policy: Policy,
    dispatch: Dispatch,
    keeper: KeeperRecord,
    today: DayPlan,
    roads: Roads,
    now: datetime,
) -> list[DaySheet]:
    """Plans for the days after a rained-off one, of what it leaves undone; none where one stays as it is."""
    planned = _lawn_ids(today)
    made: list[DaySheet] = []
    for ahead in range(1, DAYS_AFTER_RAIN + 1):
        on = today.on + timedelta(days=ahead)
        lawns = _without(day_lawns(work, turf, policy, keeper, on=on, now=now), planned)
        crews = [_dry_hours(crew, lawns, on) for crew in day_crews(work, keeper.keeper_id, on)]
        if not crews:
            continue
        kept = work.crews.plan(keeper.keeper_id, on)
        before = sheet_of(kept) if kept else None
        left = plan_of(before) if before else None
        plan = _planned(dispatch, lawns, crews, on, roads, left)
        planned = planned | _lawn_ids(plan)
        if left is None or changes(left, plan):
            made.append(
                _kept(
                    work,
                    policy,
                    keeper,
                    plan,
                    lawns,
                    crews,
                    roads,
                    why=RAIN,
                    now=now,
                    before=before,
                    left=left,
                )
            )
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
        from_h = _local_minute(keeper.time_zone, now) // 60
        after = _rain_by_hour(work, [int(cell) for cell in before], keeper.time_zone, kept.on)
        worked = _worked_hours(day_crews(work, keeper_id, kept.on), from_h)
    if not _rain_changed(before, after, worked):
        return []
    return replan_day(store, turf, policy, dispatch, keeper_id, now=now, why=RAIN)


def _worked_hours(crews: Sequence[Crew], from_h: int) -> range:
    """Hours the crews have, not those a wet plan left them: rain that goes away is news as well."""
    last = max((crew.to_min for crew in crews), default=0)
    first = min((crew.from_min for crew in crews), default=0)
    return range(max(from_h, first // 60), -(-last // 60))


def _rain_changed(before: dict[str, list[float]], after: dict[str, list[float]], hours: range) -> bool:
    return any(
        abs(after[cell][hour] - before[cell][hour]) >= RAIN_CHANGE_MM
        for cell in before.keys() & after.keys()
        for hour in hours
        if hour < 24
    )


def _rain_by_hour(work: Work, cell_ids: Sequence[int], time_zone: str, on: date) -> dict[str, list[float]]:
    """Forecast rain of a day's hours by the clock, by cell; cells without hours are absent."""
    ahead = clocks_ahead(work, cell_ids, time_zone, on)
    days = work.weather.days(cell_ids, first=on, last=on)
    return {
        str(cell_id): [0.0 if isnan(mm) else mm for mm in clock_hours(day.hours, ahead[cell_id]).rain_mm]
        for cell_id, of_cell in days.items()
        for day in of_cell
        if day.hours is not None
    }


def _rest_of_day(before: DaySheet, crews: Sequence[Crew], lawns: DayLawns, now: datetime) -> list[Crew]:
    """Crews with the hours that are left, dry ones only, from where they last were."""
    minute = _local_minute(before.time_zone, now)
    rest = []
    for crew in crews:
        sheet = before.crew(crew.crew_id)
        at = _last_place(sheet, minute) if sheet else None
        hours = replace(crew, from_min=max(crew.from_min, minute), starts_at=at)
        rest.append(_dry_hours(hours, lawns, before.on))
    return rest


def _last_place(sheet: CrewSheet, minute: int) -> Position | None:
    """Where a crew is by its plan: at its last stop that has begun."""
    begun = [stop for stop in sheet.stops if stop.starts_min <= minute]
    return begun[-1].lawn.position if begun else None


def _dry_hours(crew: Crew, lawns: DayLawns, on: date) -> Crew:
    """A crew's longest run of hours in which it does not rain too hard to mow."""
    rain = [hours.rain_mm for hours in lawns.hours_on(on)]
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


def _without_visited(work: Work, lawns: DayLawns, keeper_id: int, on: date) -> DayLawns:
    """What was skipped today comes back tomorrow, not in an hour."""
    visited = {visit.lawn_id for visit in work.crews.visits(keeper_id, first=on, last=on)}
    return _without(lawns, visited)


def _without_done(work: Work, before: DaySheet, keeper_id: int, on: date) -> DayPlan:
    """The plan in force without what is done or was skipped."""
    visited = {visit.lawn_id for visit in work.crews.visits(keeper_id, first=on, last=on)}
    plan = plan_of(before)
    routes = tuple(
        replace(route, stops=tuple(stop for stop in route.stops if stop.lawn_id not in visited))
        for route in plan.routes
    )
    return replace(plan, routes=routes)


def plan_of(sheet: DaySheet) -> DayPlan:
    """Return a sheet's plan, bare."""
    routes = tuple(
        Route(
            crew.crew_id,
            crew.leaves_min,
            crew.back_min,
            crew.travel_km,
            tuple(
                Stop(stop.lawn.lawn_id, stop.starts_min, stop.ends_min, stop.travel_min, stop.travel_km)
                for stop in crew.stops
            ),
        )
        for crew in sheet.crews
    )
    left = tuple(LeftOut(one.lawn.lawn_id, one.why, one.waiting_cost) for one in sheet.left_out)
    return DayPlan(sheet.on, routes, left, sheet.faults)


def _kept(
    work: Work,
    policy: Policy,
    keeper: KeeperRecord,
    plan: DayPlan,
    lawns: DayLawns,
    crews: Sequence[Crew],
    roads: Roads,
    *,
    why: str,
    now: datetime,
    before: DaySheet | None = None,
    left: DayPlan | None = None,
) -> DaySheet:
    """Keep a new version of a day's plan and return it as it is handed out."""
    newest = work.crews.plan(keeper.keeper_id, plan.on)
    version = newest.version + 1 if newest else 1
    told = changes(left, plan) if left is not None else ()
    known = dict(lawns.lawns) | ({} if before is None else _lawns_of(before))
    cells = sorted({case.stand.cell_id for case in lawns.seen})
    sheet = DaySheet(
        keeper_id=keeper.keeper_id,
        keeper_name=keeper.name,
        on=plan.on,
        version=version,
        why=why,
        made_at=now,
        time_zone=keeper.time_zone,
        units=keeper.units,
        crews=tuple(_crew_sheet(crew, plan, lawns.lawns) for crew in crews if crew.from_min < crew.to_min),
        left_out=tuple(
            SheetLeft(lawns.lawns[one.lawn_id], one.why, one.waiting_cost) for one in plan.left_out
        ),
        held=lawns.held,
        faults=(*plan.faults, *roads.faults),
        changes=told,
        weather=_stamp(lawns.seen, policy, now),
        dropped=_dropped(told, known),
        crew_heat=_heat_of(lawns, crews, plan.on),
        warnings=warnings_for(work, cells, now=now),
    )
    facts: dict[str, Any] = {
        "sheet": SHEET.dump_python(sheet, mode="json"),
        "rain_mm": _rain_by_hour(work, cells, keeper.time_zone, plan.on),
    }
    if not work.crews.keep_plan(PlanRecord(0, keeper.keeper_id, plan.on, version, why, now, facts)):
        raise InputError(f"{keeper.name}: the plan for {plan.on} was changed by somebody else just now")
    return sheet


def _dropped(told: Sequence[Change], known: dict[int, SheetLawn]) -> tuple[SheetLawn, ...]:
    gone = [one.lawn_id for one in told if one.kind is ChangeKind.DROPPED]
    return tuple(known[lawn_id] for lawn_id in gone if lawn_id in known)


def _lawns_of(sheet: DaySheet) -> dict[int, SheetLawn]:
    planned = [stop.lawn for crew in sheet.crews for stop in crew.stops]
    return {lawn.lawn_id: lawn for lawn in (*planned, *(left.lawn for left in sheet.left_out))}


def _crew_sheet(crew: Crew, plan: DayPlan, lawns: Any) -> CrewSheet:
    route = next((route for route in plan.routes if route.crew_id == crew.crew_id), None)
    stops = route.stops if route else ()
    return CrewSheet(
        crew_id=crew.crew_id,
        name=crew.name,
        depot=crew.depot,
        from_min=crew.from_min,
        to_min=crew.to_min,
        leaves_min=route.leaves_min if route else crew.from_min,
        back_min=route.back_min if route else crew.from_min,
        travel_km=route.travel_km if route else 0.0,
        stops=tuple(
            SheetStop(
                order, lawns[stop.lawn_id], stop.starts_min, stop.ends_min, stop.travel_min, stop.travel_km
            )
            for order, stop in enumerate(stops, 1)
        ),
    )


def _stamp(seen: Sequence[SeenLawn], policy: Policy, now: datetime) -> WeatherStamp:
    sources = tuple(dict.fromkeys(name for case in seen for name in case.stand.sources))
    oldest = min((case.stand.growth.fetched_at for case in seen), default=None)
    return WeatherStamp(sources, oldest, oldest is not None and now - oldest <= policy.max_age)


def _heat_of(lawns: DayLawns, crews: Sequence[Crew], on: date) -> CrewHeat | None:
    """The hottest cell's heat within the hours that crews work."""
    if not crews:
        return None
    from_h = min(crew.from_min for crew in crews) // 60
    to_h = max(from_h + 1, -(-max(crew.to_min for crew in crews) // 60))
    hot = [
        heat
        for hours in lawns.hours_on(on)
        if (heat := crew_heat(on, hours.t_c, hours.rel_humidity_pct, from_hour=from_h, to_hour=to_h))
    ]
    return max(hot, key=lambda one: one.heat_index_f, default=None)


def sheet_of(record: PlanRecord) -> DaySheet:
    """Return a kept plan as it was handed out; StoreError where it cannot be read."""
    try:
        return SHEET.validate_python(record.facts["sheet"])
    except (KeyError, ValidationError) as error:
        raise StoreError(f"keeper {record.keeper_id}: the plan for {record.on} cannot be read") from error


def _local_minute(time_zone: str, now: datetime) -> int:
    local = now.astimezone(ZoneInfo(time_zone))
    return local.hour * 60 + local.minute
