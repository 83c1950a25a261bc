"""Crew routes by VROOM: which visits are worth the time there is, and in which order."""

from collections.abc import Sequence

import numpy as np
import vroom

from mowalert.domain.crew_routes import Ground
from mowalert.domain.crew_start import first_plan

EXPLORATION = 2
"""Of VROOM's 0 to 5; a fixed one, and no time limit, so that the same day is always planned alike."""
THREADS = 2
MOST_PRIORITY = 100
SECONDS = 60


class SolvedRoutes:
    """Finds routes whose visits are worth the most together, then the least driving.

    VROOM is handed a first plan to better. Left to begin by itself it makes several, and of those that turn
    out as good it takes now one, now another.
    """

    def solve(self, ground: Ground) -> Sequence[Sequence[int]]:
        """Return numbers of visits for each crew in driving order.

        Parameters
        ----------
        ground : Ground
            Crews, visits and driving.

        Returns
        -------
        Sequence[Sequence[int]]
            One list a crew; visits in none did not fit.
        """
        problem = vroom.Input()
        problem.set_durations_matrix("car", (ground.travel.minutes * SECONDS).astype(np.uint32))
        orders = first_plan(ground).orders
        problem.add_vehicle([_vehicle(ground, crew, order) for crew, order in enumerate(orders)])
        priorities = _priorities([visit.worth for visit in ground.visits])
        problem.add_job([_job(ground, number, priorities[number]) for number in range(len(ground.visits))])
        solution = problem.solve(exploration_level=EXPLORATION, nb_threads=THREADS)
        return _orders(solution, len(ground.crews))


def _vehicle(ground: Ground, crew: int, order: Sequence[int]) -> "vroom.Vehicle":
    hours = ground.crews[crew]
    return vroom.Vehicle(
        crew,
        start=ground.start(crew),
        end=ground.depot(crew),
        skills={crew + 1},
        time_window=vroom.TimeWindow(hours.from_min * SECONDS, hours.to_min * SECONDS),
        steps=[vroom.VehicleStep("single", id=number) for number in order],
    )


def _job(ground: Ground, number: int, priority: int) -> "vroom.Job":
    visit = ground.visits[number]
    latest_start = visit.to_min - visit.minutes
    crew_ids = [crew.crew_id for crew in ground.crews]
    return vroom.Job(
        number,
        location=ground.place(number),
        default_service=visit.minutes * SECONDS,
        priority=priority,
        skills=set() if visit.crew_id is None else {crew_ids.index(visit.crew_id) + 1},
        time_windows=[vroom.TimeWindow(visit.from_min * SECONDS, latest_start * SECONDS)],
    )


def _priorities(worths: Sequence[float]) -> list[int]:
    """Whole numbers in proportion to what visits are worth: VROOM seeks their largest sum."""
    most = max(worths, default=0.0)
    if most <= 0:
        return [1] * len(worths)
    return [max(1, round(MOST_PRIORITY * worth / most)) for worth in worths]


def _orders(solution: "vroom.Solution", crews: int) -> list[list[int]]:
    orders: list[list[int]] = [[] for _ in range(crews)]
    for route in solution.to_dict()["routes"]:
        orders[route["vehicle"]] = [step["id"] for step in route["steps"] if step["type"] == "job"]
    return orders
