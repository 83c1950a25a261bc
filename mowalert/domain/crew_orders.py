"""Which crew visits what, in which order: what no longer fits is taken out, what still fits is put in.

Everything here changes an order as little as it can. A router that plans a whole day anew is somebody
else's work (``Router``); what it leaves over is looked at once more, so that nothing that fits is left out.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Protocol

from mowalert.domain.crews import Drives, Property, Route, Shift, Spell, timetable

Stops = tuple[Property, ...]
Orders = dict[int, Stops]
"""Each crew's properties in the order of their visits."""
SAME = 1e-9
"""Worth may differ by this much without meaning it. [share d]"""


@dataclass(frozen=True, slots=True, eq=False)
class RoutingTask:
    """What is to be routed: crews, properties, what a visit to each is worth, in share days, and the ground.

    Every property can be visited by some crew, if by nothing else; worth is never negative.
    """

    shifts: tuple[Shift, ...]
    stops: Stops
    worth: Mapping[int, float]
    drives: Drives
    rain_min: tuple[Spell, ...] = ()

    def route(self, shift: Shift, stops: Sequence[Property]) -> Route | None:
        """Return the timetable of an order; none if it does not fit."""
        return timetable(shift, stops, self.drives, rain_min=self.rain_min)


class Router(Protocol):
    """Plans whole routes: as much worth as fits, then as little driving as can be."""

    def __call__(self, task: RoutingTask) -> Orders:
        """Return an order for each crew it uses; the same task gives the same orders."""


def from_nothing(task: RoutingTask) -> Orders:
    """Route nobody: all is then put in one by one, which needs no library and drives some more."""
    return {}


def trimmed(task: RoutingTask, shift: Shift, stops: Stops) -> Stops:
    """Take out of an order what keeps it from fitting, as little worth as can be.

    Parameters
    ----------
    task : RoutingTask
        What visits are worth, and the ground.
    shift : Shift
        The crew; what is under way goes last of all.
    stops : Stops
        An order.

    Returns
    -------
    Stops
        The order that fits; others keep their places.
    """
    while task.route(shift, stops) is None:
        free = range(shift.under_way if len(stops) > shift.under_way else 0, len(stops))
        rests = {index: stops[:index] + stops[index + 1 :] for index in free}
        # One visit alone may be what a rain or a window makes impossible.
        enough = [index for index in free if task.route(shift, rests[index]) is not None]
        cheap = {
            index: task.worth[stops[index].property_id] / (1.0 if enough else stops[index].minutes)
            for index in enough or free
        }
        stops = rests[min(cheap, key=lambda index: (cheap[index], -index))]
    return stops


def put_in(task: RoutingTask, orders: Orders, stops: Sequence[Property], *, gain: float = 1.0) -> Orders:
    """Put properties into orders that fit; nobody else changes crew or place.

    Parameters
    ----------
    task : RoutingTask
        Crews, what visits are worth, and the ground.
    orders : Orders
        Orders that fit.
    stops : Sequence[Property]
        What may be put in; the dearest by the minute comes first.
    gain : float
        A property takes the place of another that is worth less than its own worth over this. [-]

    Returns
    -------
    Orders
        Orders that fit, worth no less than before.
    """
    orders = {shift.crew.crew_id: orders.get(shift.crew.crew_id, ()) for shift in task.shifts}
    queue = sorted(stops, key=lambda turf: (-task.worth[turf.property_id] / turf.minutes, turf.property_id))
    while queue:
        turf = queue.pop(0)
        found = _room(task, orders, turf) or _swap(task, orders, turf, gain)
        if found is None:
            continue
        crew_id, order = found
        # Who had to go may still fit elsewhere; worth rises with each swap, so this ends.
        queue += [other for other in orders[crew_id] if other not in order]
        orders[crew_id] = order
    return orders


def _room(task: RoutingTask, orders: Orders, turf: Property) -> tuple[int, Stops] | None:
    """Find the place that costs the least drive."""
    places = [
        (extra_min, number, index)
        for number, shift, slack_min in _slacks(task, orders)
        for index in range(shift.under_way, len(orders[shift.crew.crew_id]) + 1)
        if (extra_min := _extra_min(task, shift, orders[shift.crew.crew_id], index, index, turf)) <= slack_min
    ]
    for _, number, index in sorted(places):
        shift = task.shifts[number]
        order = orders[shift.crew.crew_id]
        changed = (*order[:index], turf, *order[index:])
        if task.route(shift, changed) is not None:
            return shift.crew.crew_id, changed
    return None


def _swap(task: RoutingTask, orders: Orders, turf: Property, gain: float) -> tuple[int, Stops] | None:
    """Find the visit of least worth whose place it can take."""
    most = task.worth[turf.property_id] / gain - SAME
    places = [
        (worth, extra_min, number, index)
        for number, shift, slack_min in _slacks(task, orders)
        for index, other in enumerate(orders[shift.crew.crew_id])
        if index >= shift.under_way
        and (worth := task.worth[other.property_id]) < most
        and (extra_min := _extra_min(task, shift, orders[shift.crew.crew_id], index, index + 1, turf))
        <= slack_min
    ]
    for _, _, number, index in sorted(places):
        shift = task.shifts[number]
        order = orders[shift.crew.crew_id]
        changed = (*order[:index], turf, *order[index + 1 :])
        if task.route(shift, changed) is not None:
            return shift.crew.crew_id, changed
    return None


def _slacks(task: RoutingTask, orders: Orders) -> Iterator[tuple[int, Shift, float]]:
    """Shifts, and the most minutes that each may still spend: what is left of its day, and its waits."""
    for number, shift in enumerate(task.shifts):
        route = task.route(shift, orders[shift.crew.crew_id])
        if route is not None:
            spent_min = route.drive_min + route.work_min
            yield number, shift, shift.crew.to_min - shift.start.free_min - spent_min


def _extra_min(
    task: RoutingTask, shift: Shift, order: Stops, first: int, after: int, turf: Property
) -> float:
    """Minutes that a day grows when a property takes the place of ``order[first:after]``."""
    before = order[first - 1].spot if first else shift.start.spot
    behind = order[after].spot if after < len(order) else shift.crew.depot
    if before is None or behind is None or turf.spot is None:
        return inf
    ways = [(before, turf.spot), (turf.spot, behind)]
    spared = [before, *(other.spot for other in order[first:after] if other.spot), behind]
    speed_kmh, drives = shift.crew.speed_kmh, task.drives
    longer_min = sum(drives.minutes(start, end, speed_kmh) for start, end in ways) + turf.minutes
    shorter_min = sum(
        drives.minutes(start, end, speed_kmh) for start, end in zip(spared, spared[1:], strict=False)
    )
    return longer_min - shorter_min - sum(other.minutes for other in order[first:after])
