"""Routes kept honest: timed to the minute, never beyond hours, and bettered visit by visit."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from mowalert.domain.crew_visits import Visit, minutes_of
from mowalert.domain.crews import Crew, Route, Stop
from mowalert.domain.travel import Travel, TravelOf

BETTER_BY = 1e-6
"""Least gain in worth for which a planned visit gives way while a day is first planned."""


@dataclass(frozen=True, slots=True)
class Ground:
    """Crews, visits and the driving between them; starts come first, then depots, then visits."""

    crews: Sequence[Crew]
    visits: Sequence[Visit]
    travel: Travel

    def start(self, crew: int) -> int:
        """Row of where a crew starts."""
        return crew

    def depot(self, crew: int) -> int:
        """Row of a crew's depot."""
        return len(self.crews) + crew

    def place(self, visit: int) -> int:
        """Row of a visit."""
        return 2 * len(self.crews) + visit

    def allowed(self, crew: int, visit: int) -> bool:
        """Whether a crew may do a visit."""
        return self.visits[visit].crew_id in (None, self.crews[crew].crew_id)


def ground_of(crews: Sequence[Crew], visits: Sequence[Visit], travel_of: TravelOf) -> Ground:
    """Measure the driving between crews and visits."""
    starts = [crew.starts_at or crew.depot for crew in crews]
    depots = [crew.depot for crew in crews]
    places = [visit.position for visit in visits]
    return Ground(crews, visits, travel_of([*starts, *depots, *places]))


class Rounds:
    """A day's routes while they are worked on: for each crew the numbers of its visits in driving order.

    Parameters
    ----------
    ground : Ground
        Crews, visits and driving.
    orders : Iterable[Sequence[int]]
        Visits of each crew; what breaks a rule is left out, the least worthy first.
    """

    def __init__(self, ground: Ground, orders: Iterable[Sequence[int]]) -> None:
        self.ground = ground
        # Plain numbers: a small route is walked faster over lists than over arrays.
        self._minutes: list[list[int]] = ground.travel.minutes.tolist()
        self.orders: list[list[int]] = [[] for _ in ground.crews]
        seen: set[int] = set()
        for crew, order in enumerate(orders):
            good = [
                visit for visit in dict.fromkeys(order) if visit not in seen and ground.allowed(crew, visit)
            ]
            self.orders[crew] = self._trimmed(crew, good)
            seen.update(self.orders[crew])

    @property
    def left(self) -> list[int]:
        """Visits in no route, the worthiest first."""
        planned = {visit for order in self.orders for visit in order}
        left = [visit for visit in range(len(self.ground.visits)) if visit not in planned]
        return sorted(left, key=lambda visit: (-self.ground.visits[visit].worth, visit))

    def fits(self, crew: int, order: Sequence[int]) -> bool:
        """Whether a crew can do these visits in this order."""
        return self._ends(crew, order) is not None

    def spare_min(self, crew: int) -> int:
        """Minutes a crew is back before its hours end."""
        ends = self._ends(crew, self.orders[crew])
        return 0 if ends is None else self.ground.crews[crew].to_min - ends

    def _ends(self, crew: int, order: Sequence[int]) -> int | None:
        """The minute a crew is back; none if it would break a rule."""
        ground = self.ground
        hours, here = ground.crews[crew], ground.start(crew)
        now = hours.from_min
        for number in order:
            visit, there = ground.visits[number], ground.place(number)
            now = max(now + self._minutes[here][there], visit.from_min) + visit.minutes
            if now > visit.to_min:
                return None
            here = there
        now += self._minutes[here][ground.depot(crew)]
        return now if now <= hours.to_min else None

    def _trimmed(self, crew: int, order: list[int]) -> list[int]:
        while order and not self.fits(crew, order):
            order.remove(min(order, key=lambda visit: (self.ground.visits[visit].worth, -visit)))
        return order

    def insert(self, visit: int, crews: Iterable[int] | None = None) -> bool:
        """Put a visit where it costs these crews, or all, the least time; ``False`` if it fits nowhere."""
        best = min(
            (
                found
                for crew in (range(len(self.orders)) if crews is None else crews)
                if (found := self._cheapest(crew, self.orders[crew], visit))
            ),
            default=None,
        )
        if best is None:
            return False
        _, crew, place = best
        self.orders[crew].insert(place, visit)
        return True

    def _cheapest(self, crew: int, order: Sequence[int], visit: int) -> tuple[int, int, int] | None:
        """Time lost, crew and place of the cheapest insertion that keeps every rule."""
        if not self.ground.allowed(crew, visit):
            return None
        at = self.ground.place(visit)
        rows = [self.ground.start(crew), *map(self.ground.place, order), self.ground.depot(crew)]
        minutes = self._minutes
        lost = sorted(
            (
                minutes[rows[place]][at]
                + minutes[at][rows[place + 1]]
                - minutes[rows[place]][rows[place + 1]],
                place,
            )
            for place in range(len(order) + 1)
        )
        for detour, place in lost:
            if self.fits(crew, [*order[:place], visit, *order[place:]]):
                return detour, crew, place
            if not self._windowed(crew, order, visit):
                return None
        return None

    def _windowed(self, crew: int, order: Sequence[int], visit: int) -> bool:
        """Whether any of these visits has hours within the crew's, so that a dearer place may still fit."""
        visits, hours = self.ground.visits, self.ground.crews[crew]
        return any(
            visits[one].from_min > hours.from_min or visits[one].to_min < hours.to_min
            for one in (*order, visit)
        )

    def replace(self, visit: int, *, better_by: float) -> bool:
        """Let the least worthy planned visit give way to a worthier one; ``False`` if none can."""
        worth = self.ground.visits[visit].worth
        planned = sorted(
            (self.ground.visits[other].worth, other, crew)
            for crew, order in enumerate(self.orders)
            if self.ground.allowed(crew, visit)
            for other in order
            if self.ground.visits[other].worth + better_by < worth
        )
        for _, other, crew in planned:
            without = [one for one in self.orders[crew] if one != other]
            if found := self._cheapest(crew, without, visit):
                self.orders[crew] = [*without[: found[2]], visit, *without[found[2] :]]
                return True
        return False

    def claim(self, visit: int, *, better_by: float) -> bool:
        """Let as many less worthy visits give way as one that returns needs; ``False`` if that is too few."""
        if not self.ground.visits[visit].returns:
            return False
        freed = [found for crew in range(len(self.orders)) if (found := self._freed(crew, visit, better_by))]
        if not freed:
            return False
        _, crew, self.orders[crew] = min(freed)
        return True

    def _freed(self, crew: int, visit: int, better_by: float) -> tuple[float, int, list[int]] | None:
        """Worth lost, crew, and its order with the visit in place of the least worthy."""
        visits, order, lost = self.ground.visits, list(self.orders[crew]), 0.0
        less = sorted(
            (visits[other].worth, other)
            for other in order
            if not visits[other].returns and visits[other].worth + better_by < visits[visit].worth
        )
        for worth, other in less:
            order.remove(other)
            lost += worth
            if found := self._cheapest(crew, order, visit):
                return lost, crew, [*order[: found[2]], visit, *order[found[2] :]]
        return None

    def better(self, *, better_by: float = BETTER_BY, most: int | None = None) -> None:
        """Use what time is left, and let the less worthy give way, until nothing more is gained."""
        changed = True
        while changed:
            changed = False
            for visit in self.left[:most]:
                changed |= (
                    self.insert(visit)
                    or self.replace(visit, better_by=better_by)
                    or self.claim(visit, better_by=better_by)
                )

    def routes(self) -> tuple[Route, ...]:
        """Return the routes to the minute; crews without a visit have none."""
        return tuple(self._route(crew, order) for crew, order in enumerate(self.orders) if order)

    def _route(self, crew: int, order: Sequence[int]) -> Route:
        ground, hours, here = self.ground, self.ground.crews[crew], self.ground.start(crew)
        km, stops = 0.0, list[Stop]()
        first = ground.visits[order[0]]
        leaves = max(hours.from_min, first.from_min - self._minutes[here][ground.place(order[0])])
        now = leaves
        for number in order:
            visit, there = ground.visits[number], ground.place(number)
            drive_min, drive_km = self._minutes[here][there], float(ground.travel.km[here, there])
            now = max(now + drive_min, visit.from_min)
            for job in visit.jobs:
                stops.append(Stop(job.lawn_id, now, now + minutes_of(job), drive_min, round(drive_km, 2)))
                now += minutes_of(job)
                drive_min, drive_km = 0, 0.0
            km += float(ground.travel.km[here, there])
            here = there
        km += float(ground.travel.km[here, ground.depot(crew)])
        back = now + self._minutes[here][ground.depot(crew)]
        return Route(hours.crew_id, leaves, back, round(km, 2), tuple(stops))
