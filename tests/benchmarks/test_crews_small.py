"""The benchmark's company in small: a real spring by growth loses less than a weekly route of the same hours."""

from pathlib import Path

import pytest
from company import SEASONS, a_company, a_spring_day, by_calendar, by_growth, season_cost, smaller, weather_of
from crews import left_cost

from mowalert.domain.crew_plan import plan_day
from mowalert.domain.crews import Route
from mowalert.planning.routes import SolvedRoutes

DAYS, PROPERTIES, CREWS = 45, 125, 1


@pytest.fixture(scope="module", autouse=True)
def reference_data(shared_dir: Path) -> Path:
    return shared_dir


@pytest.mark.slow
def test_a_spring_by_growth_loses_a_quarter_less_than_a_weekly_route() -> None:
    company, weather = a_company(1, PROPERTIES, CREWS), weather_of(smaller(SEASONS[0], DAYS))
    routes = SolvedRoutes()
    ours = season_cost(company, weather, by_growth(company, weather, routes))
    weekly = season_cost(company, weather, by_calendar(company, weather, routes))
    assert weekly > 10, "there must be something to lose"
    assert ours <= 0.75 * weekly


def test_a_day_that_is_planned_loses_less_than_one_of_chance() -> None:
    company, weather = a_company(2, 300, 2), weather_of(SEASONS[0])
    jobs = a_spring_day(company, weather, 2)
    plan = plan_day(jobs, company.crews, weather.first_on, routes=SolvedRoutes())
    cut = {stop.lawn_id for route in plan.routes for stop in route.stops}
    at_random = {job.lawn_id for job in jobs[: len(cut)]}
    assert left_cost(jobs, cut) < 0.8 * left_cost(jobs, at_random)
    assert all(isinstance(route, Route) and route.back_min <= 15 * 60 + 30 for route in plan.routes)
