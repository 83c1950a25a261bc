"""A company's day: how long its plan takes, and what it loses against OR-Tools and against a weekly route.

    python tests/benchmarks/crews.py --json

1. A spring day of 2,000 properties and 8 crews, five times: seconds, and lost growth (share of the blade over
   the limit, summed over properties and the next three days) against OR-Tools with ten times our time.
2. Two real seasons of a smaller company: lost growth of the mornings' plans against a fixed weekly route of the
   same crews and hours.

Both plans of a day are judged by one function that knows nothing of either.
"""

import argparse
import json
import time
from collections.abc import Sequence
from datetime import date
from typing import Any

import company as made

from mowalert.domain.crew_plan import plan_day
from mowalert.domain.crew_routes import Ground, Rounds, ground_of
from mowalert.domain.crew_visits import usable_crews, visits_of
from mowalert.domain.crews import Job
from mowalert.domain.travel import by_great_circle
from mowalert.planning.routes import SolvedRoutes

ON = date(2026, 5, 15)
TEN_TIMES = 10.0
SCALE = 1e6
TARGETS = {"seconds_a_day": 60.0, "against_or_tools": 1.05, "against_weekly_route": 0.75}


def left_cost(jobs: Sequence[Job], cut: set[int]) -> float:
    """Share over the limit of whatever was not cut, summed over three days; and the rules of shares."""
    return sum(
        max(0.0, share - job.limit) for job in jobs if job.lawn_id not in cut for share in job.removed[1:4]
    )


def or_tools(ground: Ground, within_s: float) -> list[list[int]]:
    """Routes by OR-Tools: what is left out costs its worth, driving next to nothing."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    crews, visits = ground.crews, ground.visits
    minutes = ground.travel.minutes
    manager = pywrapcp.RoutingIndexManager(
        len(minutes),
        len(crews),
        [ground.start(crew) for crew in range(len(crews))],
        [ground.depot(crew) for crew in range(len(crews))],
    )
    model = pywrapcp.RoutingModel(manager)
    work = [0] * (2 * len(crews)) + [visit.minutes for visit in visits]
    table = minutes.tolist()

    def spent(one: int, other: int) -> int:
        here = manager.IndexToNode(one)
        return work[here] + table[here][manager.IndexToNode(other)]

    def drive(one: int, other: int) -> int:
        return table[manager.IndexToNode(one)][manager.IndexToNode(other)]

    model.SetArcCostEvaluatorOfAllVehicles(model.RegisterTransitCallback(drive))
    longest = max(crew.to_min for crew in crews)
    model.AddDimension(model.RegisterTransitCallback(spent), longest, longest, False, "time")
    hours = model.GetDimensionOrDie("time")
    for number, crew in enumerate(crews):
        hours.CumulVar(model.Start(number)).SetRange(crew.from_min, crew.to_min)
        hours.CumulVar(model.End(number)).SetRange(crew.from_min, crew.to_min)
    for number, visit in enumerate(visits):
        model.AddDisjunction([manager.NodeToIndex(ground.place(number))], int(visit.worth * SCALE) + 1)
    search = pywrapcp.DefaultRoutingSearchParameters()
    search.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    search.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    search.time_limit.FromMilliseconds(int(within_s * 1000))
    found = model.SolveWithParameters(search)
    return (
        [] if found is None else [_walked(model, manager, found, ground, crew) for crew in range(len(crews))]
    )


def _walked(model: Any, manager: Any, found: Any, ground: Ground, crew: int) -> list[int]:
    order, here = [], found.Value(model.NextVar(model.Start(crew)))
    while not model.IsEnd(here):
        order.append(manager.IndexToNode(here) - 2 * len(ground.crews))
        here = found.Value(model.NextVar(here))
    return order


def a_day(seed: int, properties: int, crews: int) -> dict[str, float]:
    """Plan one spring day by both."""
    company = made.a_company(seed, properties, crews)
    jobs = made.a_spring_day(company, made.weather_of(made.SEASONS[0]), seed)
    start = time.perf_counter()
    plan = plan_day(jobs, company.crews, ON, routes=SolvedRoutes())
    seconds = time.perf_counter() - start
    ours = left_cost(jobs, {stop.lawn_id for route in plan.routes for stop in route.stops})
    usable, _ = usable_crews(company.crews)
    visits, _ = visits_of(jobs, usable, by_great_circle)
    ground = ground_of(usable, visits, by_great_circle)
    rounds = Rounds(ground, or_tools(ground, TEN_TIMES * seconds))
    cut = {lawn for order in rounds.orders for number in order for lawn in visits[number].lawn_ids}
    theirs = left_cost(jobs, cut)
    return {
        "due": len(jobs),
        "seconds": seconds,
        "ours": ours,
        "or_tools": theirs,
        "nothing_done": left_cost(jobs, set()),
        "ratio": ours / theirs if theirs else float(ours > 0),
    }


def a_season(series: made.Series, properties: int, crews: int) -> dict[str, float]:
    """Play one real season by growth and by the calendar."""
    company, weather = made.a_company(1, properties, crews), made.weather_of(series)
    routes = SolvedRoutes()
    ours = made.season_cost(company, weather, made.by_growth(company, weather, routes))
    weekly = made.season_cost(company, weather, made.by_calendar(company, weather, routes))
    return {"ours": ours, "weekly_route": weekly, "ratio": ours / weekly}


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--properties", type=int, default=2000)
    parser.add_argument("--crews", type=int, default=8)
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--season-properties", type=int, default=500)
    parser.add_argument("--season-crews", type=int, default=2)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    days = {f"seed {seed}": a_day(seed, asked.properties, asked.crews) for seed in range(1, asked.seeds + 1)}
    seasons = {
        f"{one.file} {one.year}": a_season(one, asked.season_properties, asked.season_crews)
        for one in made.SEASONS
    }
    ratios = {
        "seconds_a_day": max(day["seconds"] for day in days.values()),
        "against_or_tools": max(day["ratio"] for day in days.values()),
        "against_weekly_route": max(season["ratio"] for season in seasons.values()),
    }
    told = {
        "days": days,
        "seasons": seasons,
        "ratios": ratios,
        "targets": TARGETS,
        "targets_met": all(ratios[name] <= most for name, most in TARGETS.items()),
    }
    print(json.dumps(told, indent=2) if asked.json else _lines(told))


def _lines(told: dict[str, Any]) -> str:
    lines = ["spring day      due  seconds  lost growth  OR-Tools  ratio"]
    lines += [
        f"{name:<12} {day['due']:>6.0f} {day['seconds']:>8.1f} {day['ours']:>12.2f} {day['or_tools']:>9.2f} "
        f"{day['ratio']:>6.3f}"
        for name, day in told["days"].items()
    ]
    lines.append("season                              lost growth  weekly route  ratio")
    lines += [
        f"{name:<36} {one['ours']:>10.1f} {one['weekly_route']:>13.1f} {one['ratio']:>6.3f}"
        for name, one in told["seasons"].items()
    ]
    return "\n".join([*lines, f"targets met: {told['targets_met']}"])


if __name__ == "__main__":
    main()
