"""A day's plan: what waiting costs decides what is cut today, and a plan in force is kept where it can be."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Protocol

from mowalert.domain.crew_routes import Ground, Rounds, ground_of
from mowalert.domain.crew_visits import PLACE_WORTH, Visit, later, usable_crews, visits_of, waiting_cost
from mowalert.domain.crews import Change, ChangeKind, Crew, DayPlan, Fault, Job, LeftOut, Stop, WhyLeft
from mowalert.domain.travel import TravelOf, by_great_circle

AS_MANY_AS = 1.3
"""Visits that are looked at, as a multiple of what fits the crews' hours without any driving."""
FEWEST_LOOKED_AT = 60
RETIMED_MIN = 15
"""A start that moves by less is no change worth telling."""


class Routes(Protocol):
    """Finds good routes; what it finds is checked, never trusted."""

    def solve(self, ground: Ground) -> Sequence[Sequence[int]]:
        """Return numbers of visits for each crew in driving order; same ground, same answer."""


def plan_day(
    jobs: Iterable[Job],
    crews: Iterable[Crew],
    on: date,
    *,
    routes: Routes,
    travel_of: TravelOf = by_great_circle,
) -> DayPlan:
    """Plan a day from nothing.

    Parameters
    ----------
    jobs : Iterable[Job]
        Lawns that could be cut.
    crews : Iterable[Crew]
        The day's crews.
    on : date
        The day.
    routes : Routes
        Finds good routes.
    travel_of : TravelOf
        How far apart places are.

    Returns
    -------
    DayPlan
        Routes within hours, and everything else with its reason. The same for the same inputs, in
        whatever order they come.
    """
    usable, faults = usable_crews(crews)
    visits, left = visits_of(jobs, usable, travel_of)
    looked_at = _most_urgent(visits, usable)
    ground = ground_of(usable, looked_at, travel_of)
    rounds = Rounds(ground, routes.solve(ground) if usable and looked_at else [])
    rounds.better()
    return _plan(on, rounds, visits, left, faults)


def _most_urgent(visits: Sequence[Visit], crews: Sequence[Crew]) -> list[Visit]:
    """Of more visits than anybody could do, those that return and those worth the most for their time."""
    minutes = AS_MANY_AS * sum(crew.to_min - crew.from_min for crew in crews)
    ranked = sorted(
        visits, key=lambda visit: (not visit.returns, -visit.worth / visit.minutes, visit.lawn_ids)
    )
    chosen: list[Visit] = []
    for visit in ranked:
        if minutes <= 0 and len(chosen) >= FEWEST_LOOKED_AT:
            break
        chosen.append(visit)
        minutes -= visit.minutes
    return sorted(chosen, key=lambda visit: visit.lawn_ids)


def _plan(
    on: date, rounds: Rounds, visits: Sequence[Visit], left: Sequence[LeftOut], faults: Sequence[Fault]
) -> DayPlan:
    routes = rounds.routes()
    planned = {stop.lawn_id for route in routes for stop in route.stops}
    rest = [
        LeftOut(job.lawn_id, WhyLeft.NO_TIME, waiting_cost(job))
        for visit in visits
        for job in visit.jobs
        if job.lawn_id not in planned
    ]
    costliest = sorted((*left, *rest), key=lambda one: (-one.waiting_cost, one.lawn_id))
    return DayPlan(on, routes, tuple(costliest), tuple(faults))


def plan_days(
    jobs: Iterable[Job],
    crews_by_day: Sequence[tuple[date, Sequence[Crew]]],
    *,
    first_on: date,
    routes: Routes,
    travel_of: TravelOf = by_great_circle,
) -> list[DayPlan]:
    """Plan several days one after another; a lawn that is cut on one is not planned on the next.

    Parameters
    ----------
    jobs : Iterable[Job]
        Lawns as of ``first_on``, with shares for as many days as are planned and three more.
    crews_by_day : Sequence[tuple[date, Sequence[Crew]]]
        Days in order, and who works.
    first_on : date
        The day that the first of a job's shares stands for.
    routes : Routes
        Finds good routes.
    travel_of : TravelOf
        How far apart places are.

    Returns
    -------
    list[DayPlan]
        One a day.
    """
    waiting, plans = list(jobs), []
    for on, crews in crews_by_day:
        ahead = (on - first_on) // timedelta(days=1)
        plan = plan_day([later(job, ahead) for job in waiting], crews, on, routes=routes, travel_of=travel_of)
        planned = {stop.lawn_id for route in plan.routes for stop in route.stops}
        waiting = [job for job in waiting if job.lawn_id not in planned]
        plans.append(plan)
    return plans


def replan(
    before: DayPlan,
    jobs: Iterable[Job],
    crews: Iterable[Crew],
    *,
    travel_of: TravelOf = by_great_circle,
    kept_unless: float = PLACE_WORTH,
) -> DayPlan:
    """Plan the rest of a day again and keep of the plan in force what can be kept.

    Parameters
    ----------
    before : DayPlan
        The plan in force.
    jobs : Iterable[Job]
        Lawns that could still be cut; what is done is not among them.
    crews : Iterable[Crew]
        Who works from now on, with the hours and the place they have now.
    travel_of : TravelOf
        How far apart places are.
    kept_unless : float
        Share of the blade by which a newcomer must be worthier than the lawn it takes the place of.

    Returns
    -------
    DayPlan
        Lawns stay with their crew and in their order unless hours or urgency force them out.
    """
    usable, faults = usable_crews(crews)
    visits, left = visits_of(jobs, usable, travel_of)
    ground = ground_of(usable, visits, travel_of)
    rounds = Rounds(ground, _orders_of(before, ground))
    rounds.better(better_by=kept_unless)
    return _plan(before.on, rounds, visits, left, faults)


def _orders_of(plan: DayPlan, ground: Ground) -> list[list[int]]:
    """The numbers of a plan's visits, crew by crew."""
    of_lawn = {lawn_id: number for number, visit in enumerate(ground.visits) for lawn_id in visit.lawn_ids}
    orders = {
        route.crew_id: [of_lawn[stop.lawn_id] for stop in route.stops if stop.lawn_id in of_lawn]
        for route in plan.routes
    }
    return [orders.get(crew.crew_id, []) for crew in ground.crews]


def changes(before: DayPlan, after: DayPlan) -> tuple[Change, ...]:
    """Say how one plan of a day differs from the one before, lawn by lawn.

    Parameters
    ----------
    before : DayPlan
        The older plan, without what is done.
    after : DayPlan
        The newer plan.

    Returns
    -------
    tuple[Change, ...]
        In order of lawn; a start that moves by a quarter of an hour or less is none.
    """
    old, new = _stops_of(before), _stops_of(after)
    found = (
        _change(lawn_id, old.get(lawn_id), new.get(lawn_id)) for lawn_id in sorted(old.keys() | new.keys())
    )
    return tuple(change for change in found if change is not None)


def _stops_of(plan: DayPlan) -> dict[int, tuple[int, Stop]]:
    return {stop.lawn_id: (route.crew_id, stop) for route in plan.routes for stop in route.stops}


def _change(lawn_id: int, old: tuple[int, Stop] | None, new: tuple[int, Stop] | None) -> Change | None:
    kind = _kind(old, new)
    if kind is None:
        return None
    return Change(
        lawn_id,
        kind,
        crew_before=old[0] if old else None,
        crew_after=new[0] if new else None,
        starts_before_min=old[1].starts_min if old else None,
        starts_after_min=new[1].starts_min if new else None,
    )


def _kind(old: tuple[int, Stop] | None, new: tuple[int, Stop] | None) -> ChangeKind | None:
    if old is None:
        return ChangeKind.ADDED
    if new is None:
        return ChangeKind.DROPPED
    if old[0] != new[0]:
        return ChangeKind.MOVED
    return ChangeKind.RETIMED if abs(new[1].starts_min - old[1].starts_min) > RETIMED_MIN else None
