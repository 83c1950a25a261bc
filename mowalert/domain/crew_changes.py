"""A day planned again: rain, a new hold, a crew that drops out; who is not concerned keeps crew and order.

Visits that can no longer be made are taken out, what is left without a crew is put in where it fits, and
every change is listed with its reason.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import chain

from mowalert.domain.crew_orders import Orders, RoutingTask, Stops, put_in, trimmed
from mowalert.domain.crew_plan import Day, as_plan, check_day, idle_crews, tasks
from mowalert.domain.crews import Crew, DayPlan, Property, Route, Shift, Start, Visit

CLEARLY_DEARER = 2.0
"""A visit promised this morning gives way only to one worth twice as much; working value."""
TOLD_SHIFT_MIN = 15.0
"""A visit that moves by less is no news; working value."""


class ChangeKind(StrEnum):
    """What happened to one property's visit."""

    ADDED = "added"
    DROPPED = "dropped"
    OTHER_CREW = "other_crew"
    LATER = "later"
    EARLIER = "earlier"


class ChangeReason(StrEnum):
    """Why it happened."""

    RAIN = "rain"
    HOLD = "hold"
    HOLD_OVER = "hold_over"
    CREW_OUT = "crew_out"
    BEHIND = "behind"
    MORE_URGENT = "more_urgent"
    ROOM = "room"
    ROUTE = "route"
    NOT_DUE = "not_due"


@dataclass(frozen=True, slots=True)
class Change:
    """One property whose visit is not what the earlier plan said; times are minutes of the local day.

    ``ROUTE`` as a reason: something before it on the same route was dropped or added.
    """

    property_id: int
    kind: ChangeKind
    reason: ChangeReason
    crew_before: int | None
    crew_after: int | None
    arrive_before_min: float | None
    arrive_after_min: float | None


@dataclass(frozen=True, slots=True)
class Replanned:
    """A plan for the rest of a day, where each crew stood when it was made, and what it changes."""

    plan: DayPlan
    starts: Mapping[int, Start]
    changes: tuple[Change, ...]


def replan(
    earlier: DayPlan, day: Day, *, now_min: float, starts: Mapping[int, Start] | None = None
) -> Replanned:
    """Plan the rest of a day again and change as little as possible.

    Parameters
    ----------
    earlier : DayPlan
        The plan so far.
    day : Day
        The day as it is known now: holds, crews that are out, rain, and what is done.
    now_min : float
        Minute of the local day.
    starts : Mapping[int, Start] | None
        Where crews stand and when they are free, where that is known; otherwise it is read off the earlier
        plan: at what was last done, or on the way to what comes next.

    Returns
    -------
    Replanned
        Routes from now on and the changes. A visit that should be over and was not reported done is still
        to be made, from now on and in full.

    Raises
    ------
    InputError
        If two properties or two crews have one number, or a visit takes no time.
    """
    check_day(day)
    idle = idle_crews(day.crews, day.on)
    out = {each.crew_id for each in idle}
    before = _Before.of(earlier, day, now_min)
    shifts = [before.shift(crew, (starts or {}).get(crew.crew_id)) for crew in day.crews if crew.crew_id not in out]
    drives = day.drives(shift.start for shift in shifts)
    task, waiting = tasks(day, shifts, drives)
    # What was promised this morning is kept even if it would no longer be chosen.
    promised = {each.property_id for each in waiting if each.property_id in before.visits}
    task = replace(task, stops=(*task.stops, *(turf for turf in day.properties if turf.property_id in promised)))
    waiting = tuple(each for each in waiting if each.property_id not in promised)
    kept = _kept(task, before)
    orders = put_in(task, kept, _without_crew(task, kept), gain=CLEARLY_DEARER)
    plan = as_plan(day, task, orders, waiting, idle)
    return Replanned(
        plan,
        {shift.crew.crew_id: shift.start for shift in shifts},
        tuple(_changes(before, plan, day, kept)),
    )


@dataclass(frozen=True, slots=True)
class _Before:
    """The earlier plan without what is done, as of now; ``visits`` by property with their crew."""

    day: Day
    now_min: float
    routes: Mapping[int, Route]
    ahead: Mapping[int, tuple[Visit, ...]]
    visits: Mapping[int, tuple[int, Visit]]
    held: frozenset[int]
    spots: Mapping[int, Property]
    had_rain: bool

    @staticmethod
    def of(earlier: DayPlan, day: Day, now_min: float) -> "_Before":
        routes = {route.crew_id: route for route in earlier.routes}
        ahead = {
            crew_id: tuple(visit for visit in route.visits if visit.property_id not in day.done)
            for crew_id, route in routes.items()
        }
        return _Before(
            day,
            now_min,
            routes,
            ahead,
            {visit.property_id: (crew_id, visit) for crew_id, visits in ahead.items() for visit in visits},
            frozenset(each.property_id for each in earlier.held),
            {turf.property_id: turf for turf in day.properties},
            set(day.rain_min) == set(earlier.rain_min),
        )

    def shift(self, crew: Crew, told: Start | None) -> Shift:
        """Read off where a crew stands."""
        if told is not None or crew.crew_id not in self.routes:
            return Shift(crew, told or Start(crew.depot, max(self.now_min, crew.from_min)))
        route, ahead = self.routes[crew.crew_id], self.ahead[crew.crew_id]
        at = self._last_done(route)
        if not ahead or ahead[0].off_min > self.now_min or not self._still_visited(ahead[0]):
            return Shift(crew, Start(at, max(self.now_min, route.start.free_min)))
