"""A company's morning list: which properties are mown today, by whom, in which order, and what waits.

Chosen so that the growth lost by waiting is least. A property that no crew can reach, a window nobody can
keep, a crew without hours: each is named, and the day is planned around it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import chain

from mowalert.domain.crew_orders import Orders, Router, RoutingTask, Stops, from_nothing, put_in, trimmed
from mowalert.domain.crews import (
    DAYS_AHEAD,
    DETOUR,
    HAIR,
    Crew,
    DayPlan,
    Drives,
    DriveTable,
    Held,
    IdleCrew,
    IdleReason,
    Property,
    Route,
    Shift,
    Spell,
    Start,
    Visit,
    Waiting,
    WaitReason,
    drives_between,
    lost_growth,
)
from mowalert.errors import InputError

EARLY_D = 0
"""Cutting before its time makes more cuts; a company that wants its spare hours used says how early."""
MUST_COUNTS = 0.01
"""What a property that must be cut today weighs beyond its growth: between equals it goes first."""
LISTED = 2.5
"""Work that is routed over the hours there are. Beyond it lies what would not be reached anyway, and a
router's time grows faster than its list."""


@dataclass(frozen=True, slots=True)
class CrewRules:
    """A company's choices.

    ``days_ahead`` are the days over which waiting is counted, ``early_d`` how many days before its limit a
    property may fill spare time, ``must_counts`` what ``must_today`` adds to lost growth in share days,
    ``detour`` road over great circle, ``listed`` work that is routed over the hours there are.
    """

    days_ahead: int = DAYS_AHEAD
    early_d: int = EARLY_D
    must_counts: float = MUST_COUNTS
    detour: float = DETOUR
    listed: float = LISTED


STANDARD = CrewRules()


@dataclass(frozen=True, slots=True, eq=False)
class Day:
    """What a day is planned from.

    ``rain_min`` are hours without mowing, ``table`` known drives, ``done`` properties reported done today.
    """

    on: date
    properties: tuple[Property, ...]
    crews: tuple[Crew, ...]
    rules: CrewRules = STANDARD
    rain_min: tuple[Spell, ...] = ()
    table: DriveTable | None = None
    done: frozenset[int] = frozenset()

    def drives(self, starts: Iterable[Start] = ()) -> Drives:
        """Work out the drives between depots, where crews start, and all properties that can be cut."""
        spots = [crew.depot for crew in self.crews] + [start.spot for start in starts]
        spots += [turf.spot for turf in self.properties if turf.spot and self.is_mowable(turf)]
        return drives_between(spots, detour=self.rules.detour, table=self.table)

    def is_due(self, turf: Property) -> bool:
        """Say whether a property may be cut today as far as its growth goes, or must be."""
        return (turf.window_open or turf.must_today) and turf.property_id not in self.done

    def is_mowable(self, turf: Property) -> bool:
        """Say whether a property may be cut today: due, and nothing holds it."""
        return self.is_due(turf) and turf.hold is None

    def cost(self, turf: Property) -> float:
        """Return what it costs to leave a property for later. [share d]"""
        return lost_growth(turf, days=self.rules.days_ahead)

    def waits(self, turf: Property, reason: WaitReason) -> Waiting:
        """Return a property among those that wait."""
        return Waiting(turf.property_id, reason, self.cost(turf), turf.removed_in(1), turf.limit_on)


def worth(turf: Property, day: Day) -> float | None:
    """Say what a visit today is worth.

    Parameters
    ----------
    turf : Property
        The property.
    day : Day
        The day and the company's choices.

    Returns
    -------
    float | None
        None where it can wait and spare time is not to be filled with it. [share d]
    """
    told = day.cost(turf) + (day.rules.must_counts if turf.must_today else 0.0)
    near = turf.limit_on is not None and turf.limit_on <= day.on + timedelta(days=day.rules.early_d)
    return told if told > 0.0 or turf.must_today or near else None


def plan_day(day: Day, router: Router = from_nothing) -> DayPlan:
    """Plan a company's day.

    Parameters
    ----------
    day : Day
        Properties, crews and choices.
    router : Router
        Plans the routes; without one, properties are put in one by one.

    Returns
    -------
    DayPlan
        Every property whose window is open, or that must be cut, is on exactly one of its lists.

    Raises
    ------
    InputError
        If two properties or two crews have one number, or a visit takes no time.
    """
    check_day(day)
    idle = idle_crews(day.crews, day.on)
    at_work = [crew for crew in day.crews if crew.crew_id not in {each.crew_id for each in idle}]
    task, waiting = tasks(day, [Shift.whole(crew) for crew in at_work], day.drives())
    listed = _listed(task, day.rules.listed)
    routed = router(RoutingTask(task.shifts, listed, task.worth, task.drives, task.rain_min))
    orders = _that_fit(task, routed)
    visited = {turf.property_id for turf in chain(*orders.values())}
    orders = put_in(task, orders, [turf for turf in task.stops if turf.property_id not in visited])
    return as_plan(day, task, orders, waiting, idle)


def check_day(day: Day) -> None:
    """Refuse what cannot be meant: InputError for numbers given twice and visits without a duration."""
    for name, numbers in (
        ("property", [turf.property_id for turf in day.properties]),
        ("crew", [crew.crew_id for crew in day.crews]),
    ):
        if len(set(numbers)) < len(numbers):
            twice = next(number for number in numbers if numbers.count(number) > 1)
            raise InputError(f"{name} {twice} is given twice")
    for turf in day.properties:
        if not turf.minutes > 0.0:
            raise InputError(f"{turf.name}: a visit takes {turf.minutes:g} minutes; it must take some")
        if not turf.removed:
            raise InputError(f"{turf.name}: nothing is known of its growth")


def idle_crews(crews: Sequence[Crew], on: date) -> tuple[IdleCrew, ...]:
    """Name the crews that have no route on a day."""
    found = [(crew.crew_id, _idle(crew, on)) for crew in crews]
    return tuple(IdleCrew(crew_id, reason) for crew_id, reason in found if reason)


def _idle(crew: Crew, on: date) -> IdleReason | None:
    if crew.is_out:
        return IdleReason.OUT
    if on.weekday() not in crew.working_days:
        return IdleReason.DAY_OFF
    return None if crew.from_min < crew.to_min else IdleReason.NO_HOURS


def tasks(day: Day, shifts: Sequence[Shift], drives: Drives) -> tuple[RoutingTask, tuple[Waiting, ...]]:
    """Sort what may be cut today into what is to be routed and what waits whatever the routes.

    Parameters
    ----------
    day : Day
        The day.
    shifts : Sequence[Shift]
        Crews at work, and from where.
    drives : Drives
        The drives of the day.

    Returns
    -------
    tuple[RoutingTask, tuple[Waiting, ...]]
        The task, and who waits with the reason.
    """
    told = {turf.property_id: worth(turf, day) for turf in day.properties if day.is_mowable(turf)}
    task = RoutingTask(
        tuple(shifts), (), {number: each or 0.0 for number, each in told.items()}, drives, day.rain_min
    )
    stops, waiting = [], []
    for turf in day.properties:
        if turf.property_id not in told:
            continue
        reason = WaitReason.NOT_URGENT if told[turf.property_id] is None else _out_of_reach(task, turf)
        if reason:
            waiting.append(day.waits(turf, reason))
        else:
            stops.append(turf)
    return RoutingTask(task.shifts, tuple(stops), task.worth, drives, day.rain_min), tuple(waiting)


def _out_of_reach(task: RoutingTask, turf: Property) -> WaitReason | None:
    """Why no crew could visit a property even if it did nothing else."""
    if turf.spot is None:
        return WaitReason.NO_POSITION
    if not task.shifts:
        return WaitReason.CREWS_OFF
    if any(task.route(shift, (turf,)) for shift in task.shifts):
        return None
    return _what_is_in_the_way(task, turf)


def _what_is_in_the_way(task: RoutingTask, turf: Property) -> WaitReason:
    longest_min = max(shift.crew.to_min - shift.start.free_min for shift in task.shifts)
    if turf.minutes > longest_min:
        return WaitReason.TOO_LONG
    dry = RoutingTask(task.shifts, (), task.worth, task.drives)
    if any(dry.route(shift, (turf,)) for shift in task.shifts):
        return WaitReason.RAIN
    any_time = _any_time(turf)
    if any(dry.route(shift, (any_time,)) for shift in task.shifts):
        return WaitReason.WINDOW
    return WaitReason.TOO_FAR


def _any_time(turf: Property) -> Property:
    return Property(turf.property_id, turf.name, turf.spot, turf.minutes, turf.removed)


def _listed(task: RoutingTask, over_hours: float) -> Stops:
    """The dearest by the minute, as many as could keep all crews busy a few times over."""
    hours_min = sum(shift.crew.to_min - shift.start.free_min for shift in task.shifts)
    left_min, listed = over_hours * hours_min, []
    for turf in sorted(
        task.stops, key=lambda turf: (-task.worth[turf.property_id] / turf.minutes, turf.property_id)
    ):
        left_min -= turf.minutes
        if left_min < 0.0:
            break
        listed.append(turf)
    return tuple(sorted(listed, key=lambda turf: turf.property_id))


def _that_fit(task: RoutingTask, orders: Orders) -> Orders:
    return {
        shift.crew.crew_id: trimmed(task, shift, orders.get(shift.crew.crew_id, ())) for shift in task.shifts
    }


def as_plan(
    day: Day,
    task: RoutingTask,
    orders: Orders,
    waiting: Iterable[Waiting],
    idle: tuple[IdleCrew, ...],
) -> DayPlan:
    """Put a day's plan together from orders that fit.

    Parameters
    ----------
    day : Day
        The day.
    task : RoutingTask
        What was to be routed.
    orders : Orders
        Each crew's order.
    waiting : Iterable[Waiting]
        Who waits whatever the routes.
    idle : tuple[IdleCrew, ...]
        Crews without a route.

    Returns
    -------
    DayPlan
        The plan; of the task's properties, those on no route wait because the day is full.
    """
    routes = [(task.route(shift, orders[shift.crew.crew_id])) for shift in task.shifts]
    visited = {turf.property_id for turf in chain(*orders.values())}
    left = [
        day.waits(turf, WaitReason.DAY_FULL) for turf in task.stops if turf.property_id not in visited
    ]
    held = [
        Held(turf.property_id, turf.hold, day.cost(turf))
        for turf in day.properties
        if day.is_due(turf) and turf.hold is not None
    ]
    return DayPlan(
        on=day.on,
        routes=tuple(route for route in routes if route is not None),
        waiting=tuple(sorted([*waiting, *left], key=_dearest_first)),
        held=tuple(sorted(held, key=lambda each: (-each.lost_growth, each.property_id))),
        idle=idle,
        rain_min=day.rain_min,
        done=day.done,
    )


def _dearest_first(each: Waiting) -> tuple[float, date, int]:
    return -each.lost_growth, each.limit_on or date.max, each.property_id


def check_plan(plan: DayPlan, day: Day, *, starts: dict[int, Start] | None = None) -> tuple[str, ...]:
    """Look for faults in a plan with nothing but the day it is for.

    Parameters
    ----------
    plan : DayPlan
        The plan.
    day : Day
        Properties, crews, rain and known drives.
    starts : dict[int, Start] | None
        Where crews stood when the plan was made, by crew; the depot and the beginning of its hours if not said.

    Returns
    -------
    tuple[str, ...]
        Faults in words; none if the plan holds.
    """
    properties = {turf.property_id: turf for turf in day.properties}
    crews = {crew.crew_id: crew for crew in day.crews}
    starts = starts or {}
    drives = day.drives(starts.values())
    faults = list(_list_faults(plan, day))
    for route in plan.routes:
        crew = crews.get(route.crew_id)
        if crew is None or _idle(crew, plan.on):
            faults.append(f"crew {route.crew_id} does not work on {plan.on}")
        elif unknown := [each.property_id for each in route.visits if each.property_id not in properties]:
            faults.append(f"crew {route.crew_id} visits {unknown[0]}, which is no property")
        else:
            start = starts.get(crew.crew_id, Start(crew.depot, crew.from_min))
            faults += [f"crew {crew.crew_id} {fault}" for fault in _route_faults(route, crew, start, drives, properties)]
            faults += [
                f"crew {crew.crew_id} {fault}"
                for visit in route.visits
                for fault in _visit_faults(visit, properties[visit.property_id], plan.rain_min)
            ]
    return tuple(faults)


def _list_faults(plan: DayPlan, day: Day) -> Iterable[str]:
    visited = [visit.property_id for route in plan.routes for visit in route.visits]
    named = [*visited, *(each.property_id for each in plan.waiting), *(each.property_id for each in plan.held)]
    due = {turf.property_id for turf in day.properties if day.is_due(turf)}
    held = {turf.property_id for turf in day.properties if turf.hold is not None}
    yield from (f"property {number} is named twice" for number in sorted(set(named)) if named.count(number) > 1)
    yield from (f"property {number} is missing" for number in sorted(due - set(named)))
    yield from (f"property {number} is done already" for number in sorted(day.done & set(named)))
    yield from (f"property {number} is held and visited" for number in sorted(held & set(visited)))
    for crew_id in sorted({each.crew_id for each in plan.idle} & {route.crew_id for route in plan.routes}):
        yield f"crew {crew_id} has a route and none"


def _route_faults(
    route: Route, crew: Crew, start: Start, drives: Drives, properties: dict[int, Property]
) -> Iterable[str]:
    """Whether a route begins where the crew stands, goes from door to door, and ends at the depot in time."""
    if route.start != start:
        yield "starts elsewhere"
    at, free_min = route.start.spot, route.start.free_min
    for visit in route.visits:
        to = properties[visit.property_id].spot
        if to is None:
            yield f"visits {visit.property_id}, which has no position"
            return
        if visit.off_min < free_min - HAIR:
            yield f"sets off to {visit.property_id} before it is free"
        if abs(drives.minutes(at, to, crew.speed_kmh) - visit.drive_min) > HAIR:
            yield f"drives {visit.drive_min:g} minutes to {visit.property_id}"
        at, free_min = to, visit.leave_min
    home_min = drives.minutes(at, crew.depot, crew.speed_kmh)
    if abs(route.back_min - free_min - home_min) > HAIR or abs(route.home_min - home_min) > HAIR:
        yield "is not back at its depot when it says"
    if route.visits and route.back_min > crew.to_min + HAIR:
        yield f"is back at {route.back_min:g}, after its hours"


def _visit_faults(visit: Visit, turf: Property, rain_min: Sequence[Spell]) -> Iterable[str]:
    number = turf.property_id
    if abs(visit.leave_min - visit.arrive_min - turf.minutes) > HAIR:
        yield f"stays at {number} for {visit.leave_min - visit.arrive_min:g} minutes"
    opens_min, closes_min = turf.window_min or (visit.arrive_min, visit.leave_min)
    if visit.arrive_min < opens_min - HAIR or visit.leave_min > closes_min + HAIR:
        yield f"is at {number} outside its window"
    if any(visit.arrive_min < to - HAIR and visit.leave_min > from_ + HAIR for from_, to in rain_min):
        yield f"mows {number} in the rain"
