"""Routes of the library: kept to the rules, alike every time, and better than dealing visits out."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mowalert.domain.crew_plan import plan_day
from mowalert.domain.crew_routes import Ground
from mowalert.domain.crews import Crew, DayPlan, Job, Position
from mowalert.planning.routes import SolvedRoutes

ON = date(2026, 5, 7)
DEPOT = Position(43.0, -88.0)


class InTurn:
    """Visits dealt out to crews one after another."""

    def solve(self, ground: Ground) -> Sequence[Sequence[int]]:
        orders: list[list[int]] = [[] for _ in ground.crews]
        for visit in range(len(ground.visits)):
            orders[visit % len(orders)].append(visit)
        return orders


def a_town(seed: int, lawns: int = 80) -> list[Job]:
    draw = Random(seed)
    jobs = []
    for number in range(1, lawns + 1):
        where = Position(43.0 + draw.gauss(0, 0.05), -88.0 + draw.gauss(0, 0.07))
        today, daily = draw.uniform(0.25, 0.4), draw.uniform(0.01, 0.04)
        shares = tuple(today + daily * day for day in range(4))
        window = (
            (draw.randrange(400, 700), draw.randrange(720, 1000)) if draw.random() < 0.2 else (None, None)
        )
        jobs.append(Job(number, number, where, draw.uniform(8, 40), shares, 1 / 3, *window))
    return jobs


CREWS = [Crew(number, f"crew {number}", DEPOT, 420, 930) for number in (1, 2, 3)]


def planned(jobs: Sequence[Job], crews: Sequence[Crew] = CREWS, routes: object = None) -> DayPlan:
    return plan_day(jobs, crews, ON, routes=routes or SolvedRoutes())  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(3))
def test_the_same_day_is_always_planned_alike(seed: int) -> None:
    jobs = a_town(seed)
    first = planned(jobs)
    shuffled = Random(seed).sample(jobs, len(jobs))
    assert planned(shuffled, CREWS[::-1]) == first
    assert planned(jobs) == first


def test_of_plans_that_are_as_good_always_the_same_is_taken() -> None:
    for seed in range(60):
        jobs = [replace(job, from_min=None, to_min=None) for job in a_town(seed, 13)]
        plans = {repr(planned(jobs, CREWS[:2])) for _ in range(6)}
        assert len(plans) == 1, f"town {seed}"


@pytest.mark.parametrize("seed", range(3))
def test_less_is_lost_than_by_dealing_visits_out(seed: int) -> None:
    jobs = a_town(seed, 150)
    solved, dealt = planned(jobs), planned(jobs, routes=InTurn())
    lost, lost_dealt = (sum(one.waiting_cost for one in plan.left_out) for plan in (solved, dealt))
    assert lost < 0.8 * lost_dealt


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.integers(1, 25), st.integers(1, 3))
def test_what_the_library_says_needs_no_trimming(seed: int, lawns: int, crews: int) -> None:
    """The library is told the same rules: nothing it plans is thrown out by ours."""
    jobs = a_town(seed, lawns)
    told: list[Sequence[Sequence[int]]] = []

    class Overheard(SolvedRoutes):
        def solve(self, ground: Ground) -> Sequence[Sequence[int]]:
            told.append(super().solve(ground))
            return told[-1]

    plan = planned(jobs, CREWS[:crews], Overheard())
    assert sum(len(order) for order in told[0]) <= sum(len(route.stops) for route in plan.routes)


def test_a_lawn_goes_to_the_crew_that_must_do_it() -> None:
    jobs = [replace(job, crew_id=3) for job in a_town(1, 8)]
    plan = planned(jobs)
    assert {route.crew_id for route in plan.routes} == {3}


def test_a_crew_on_the_road_starts_where_it_is() -> None:
    away = replace(CREWS[0], starts_at=Position(43.2, -88.0))
    (job,) = a_town(1, 1)
    stop = planned([replace(job, position=Position(43.2, -88.0), from_min=None, to_min=None)], [away])
    assert stop.routes[0].stops[0].travel_min == 0
    assert stop.routes[0].back_min > stop.routes[0].stops[0].ends_min + 40
