"""An invented company on real weather: its properties, its crews, and two ways to go about a season.

A crew of three with wide mowers needs five to sixteen minutes a garden in a dense town: eight crews can
just about see 2,000 gardens once a week. So a fixed weekly route is a fair rival: it does see everybody.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from mowalert.domain.arrays import Bools, Floats, Ints
from mowalert.domain.crew_plan import Routes, plan_day
from mowalert.domain.crew_routes import Rounds, ground_of
from mowalert.domain.crew_visits import Visit
from mowalert.domain.crews import Crew, Job, Position
from mowalert.domain.growth import height_mm
from mowalert.domain.lawn import pace_of
from mowalert.domain.season import CutAt
from mowalert.domain.thirds import THIRD
from mowalert.domain.travel import by_great_circle
from mowalert.domain.words import Watering
from mowalert.parameters import load_turf
from mowalert.service.region.simulate import SeasonLawn, read_weather, simulate
from mowalert.settings import config_file

TURF = load_turf(config_file("grasses.toml"))
CENTRE = Position(43.0, -88.0)
TOWN_KM = 5.0
"""Spread of the gardens around the middle."""
HOURS = (7 * 60, 15 * 60 + 30)
DAYS_AHEAD = 3
KINDS = (
    ("kentucky_bluegrass", 65.0, "loam", Watering.REGULAR),
    ("kentucky_bluegrass", 65.0, "clay_loam", Watering.NONE),
    ("tall_fescue", 85.0, "loam", Watering.NONE),
    ("perennial_ryegrass", 50.0, "loam", Watering.REGULAR),
    ("perennial_ryegrass", 50.0, "sandy_loam", Watering.NONE),
    ("fine_fescue", 70.0, "loam", Watering.NONE),
)
"""Grass, height kept, soil, watering."""


@dataclass(frozen=True)
class Series:
    """A station's weather for a season: its file among the field data, place and months."""

    file: str
    latitude_deg: float
    elevation_m: float
    year: int
    first: tuple[int, int] = (4, 10)
    days: int = 140


SEASONS = (
    Series("ghcn_daily/milwaukee_wi.csv", 42.955, 204, 2018),
    Series("ghcn_daily/lexington_ky.csv", 38.041, 299, 2019, (3, 25)),
)


def fields() -> Path:
    """Where the field data are."""
    root = Path(__file__).resolve().parents[2]
    return Path(os.environ.get("MOWALERT_SHARED", root.parent / "shared")) / "data" / "fields"


@dataclass(frozen=True)
class Company:
    """Properties, one array of shape (property,) each, and crews."""

    kind: Ints
    latitude_deg: Floats
    longitude_deg: Floats
    minutes: Floats
    chosen_mm: Floats
    pace: Floats
    ceiling_mm: Floats
    crews: tuple[Crew, ...]


def a_company(seed: int, properties: int, crews: int) -> Company:
    """Gardens in clusters around a town, small ones more often than large ones."""
    draw = np.random.default_rng(seed)
    kind = draw.integers(0, len(KINDS), properties)
    spread = TOWN_KM * np.sqrt(properties / 2000)
    suburbs = draw.normal(0, spread, (12, 2))
    east, north = (suburbs[draw.integers(0, 12, properties)] + draw.normal(0, spread / 4, (properties, 2))).T
    grasses = [TURF.grass(KINDS[one][0]) for one in kind]
    chosen_mm = np.array([KINDS[one][1] for one in kind])
    learned = np.clip(draw.normal(1.0, 0.15, properties), 0.6, 1.5)
    return Company(
        kind=kind,
        latitude_deg=CENTRE.latitude_deg + north / 111.2,
        longitude_deg=CENTRE.longitude_deg + east / (111.2 * np.cos(np.radians(CENTRE.latitude_deg))),
        minutes=np.clip(draw.lognormal(np.log(7.0), 0.35, properties), 4, 25),
        chosen_mm=chosen_mm,
        pace=np.array(
            [
                pace_of(grass, mm, nitrogen=None, learned=more)
                for grass, mm, more in zip(grasses, chosen_mm, learned, strict=True)
            ]
        ),
        ceiling_mm=np.array([grass.ceiling_mm for grass in grasses]),
        crews=tuple(Crew(number + 1, f"crew {number + 1}", CENTRE, *HOURS) for number in range(crews)),
    )


@dataclass(frozen=True)
class Weather:
    """What grows: each kind's growth and whether it is held, both of shape (kind, day)."""

    first_on: date
    growth_mm: Floats
    held: Bools


def weather_of(series: Series) -> Weather:
    """Play a station's real season for every kind of turf with the service's own model."""
    table = read_weather((fields() / series.file).read_text(encoding="utf-8"))
    first_on = date(series.year, *series.first)
    rows = []
    for grass, chosen_mm, soil, watering in KINDS:
        lawn = SeasonLawn(
            TURF.grass(grass),
            chosen_mm,
            series.latitude_deg,
            series.elevation_m,
            soil=soil,
            watering=watering,
        )
        days = [day for day in simulate(table, lawn, TURF, cut_at=CutAt.LIMIT).days if day.on >= first_on]
        rows.append(days[: series.days + DAYS_AHEAD])
    return Weather(
        first_on,
        np.array([[day.growth_mm for day in row] for row in rows]),
        np.array([[day.hold is not None for day in row] for row in rows]),
    )


def a_spring_day(company: Company, weather: Weather, seed: int) -> list[Job]:
    """What is due on a day of the flush, after each garden was cut on some day of the last nine."""
    draw = np.random.default_rng(seed)
    since = draw.integers(1, 10, len(company.kind))
    daily = weather.growth_mm[company.kind]
    today = 35
    grown = np.array([daily[one, today - back : today].sum() for one, back in enumerate(since)])
    return jobs_of(company, weather, today, heights(company, company.chosen_mm, grown))


def heights(company: Company, from_mm: Floats, grown_mm: Floats) -> Floats:
    """Heights after some growth of the stands' curves."""
    return np.asarray(
        height_mm(grown_mm, from_height_mm=from_mm, pace=company.pace, ceiling_mm=company.ceiling_mm)
    )


def shares_ahead(company: Company, weather: Weather, day: int, heights_mm: Floats) -> Floats:
    """Share of the blade a cut would take today and on the days after, shape (property, day)."""
    ahead = np.cumsum(weather.growth_mm[:, day + 1 : day + 1 + DAYS_AHEAD], axis=1)[company.kind]
    later = [heights(company, heights_mm, ahead[:, one]) for one in range(DAYS_AHEAD)]
    stood = np.stack([heights_mm, *later], axis=1)
    return np.asarray(1 - company.chosen_mm[:, None] / np.maximum(stood, company.chosen_mm[:, None]))


def jobs_of(company: Company, weather: Weather, day: int, heights_mm: Floats) -> list[Job]:
    """Gardens whose window is open and that nothing holds."""
    shares = shares_ahead(company, weather, day, heights_mm)
    due = (heights_mm >= company.chosen_mm * (1 + THIRD)) & ~weather.held[company.kind, day]
    return [
        Job(
            lawn_id=int(one) + 1,
            site_id=int(one) + 1,
            position=Position(float(company.latitude_deg[one]), float(company.longitude_deg[one])),
            minutes=float(company.minutes[one]),
            removed=tuple(float(share) for share in shares[one]),
            limit=THIRD,
        )
        for one in np.flatnonzero(due)
    ]


def lost_growth(company: Company, weather: Weather, day: int, heights_mm: Floats) -> float:
    """Share over the limit, summed over properties and the next three days. Computed apart from the plan."""
    shares = shares_ahead(company, weather, day, heights_mm)[:, 1:]
    return float(np.maximum(0.0, shares - THIRD).sum())


Choose = Callable[[int, Floats], Sequence[int]]
"""Says which properties are cut on a day, given heights."""


def season_cost(company: Company, weather: Weather, choose: Choose) -> float:
    """Play a season; lost growth summed over its working days."""
    stood, cost = company.chosen_mm.copy(), 0.0
    for day in range(weather.growth_mm.shape[1] - DAYS_AHEAD):
        stood = heights(company, stood, weather.growth_mm[company.kind, day])
        if (weather.first_on + timedelta(days=day)).weekday() >= 5:
            continue
        cut = np.array(sorted(choose(day, stood)), dtype=np.int64)
        # No cut takes more than a third: what is overgrown comes down in steps.
        stood[cut] = np.minimum(stood[cut], np.maximum(company.chosen_mm[cut], stood[cut] * (1 - THIRD)))
        cost += lost_growth(company, weather, day, stood)
    return cost


def by_growth(company: Company, weather: Weather, routes: Routes) -> Choose:
    """Each morning's plan."""

    def choose(day: int, heights_mm: Floats) -> list[int]:
        on = weather.first_on + timedelta(days=day)
        plan = plan_day(jobs_of(company, weather, day, heights_mm), company.crews, on, routes=routes)
        return [stop.lawn_id - 1 for route in plan.routes for stop in route.stops]

    return choose


def by_calendar(company: Company, weather: Weather, routes: Routes) -> Choose:
    """A fixed weekly route: every garden has its weekday, its crew and its place in the order.

    Gardens are dealt out by direction from the depot, the same working time to each crew and day. What no
    longer fits a day's hours is added to the shortest day it fits; held turf is left alone, as anybody would.
    """
    routes_by_day = [_fixed_day(company, part, routes) for part in _parts(company)]

    def choose(day: int, heights_mm: Floats) -> list[int]:
        weekday = (weather.first_on + timedelta(days=day)).weekday()
        return [one for one in routes_by_day[weekday] if not weather.held[company.kind[one], day]]

    return choose


def _parts(company: Company) -> list[list[int]]:
    """Five parts of the town of equal work, by direction."""
    angle = np.arctan2(
        company.latitude_deg - CENTRE.latitude_deg, company.longitude_deg - CENTRE.longitude_deg
    )
    order = np.argsort(angle)
    work = np.cumsum(company.minutes[order])
    part = np.minimum((work / work[-1] * 5).astype(int), 4)
    return [[int(one) for one in order[part == number]] for number in range(5)]


def _fixed_day(company: Company, members: Sequence[int], routes: Routes) -> list[int]:
    visits = [
        Visit(
            (
                Job(
                    one + 1,
                    one + 1,
                    Position(float(company.latitude_deg[one]), float(company.longitude_deg[one])),
                    float(company.minutes[one]),
                    (0.4,) * 4,
                    THIRD,
                ),
            ),
            int(np.ceil(company.minutes[one])),
            1.0,
            0,
            24 * 60,
            None,
        )
        for one in members
    ]
    ground = ground_of(company.crews, visits, by_great_circle)
    rounds = Rounds(ground, routes.solve(ground))
    rounds.better()
    return [visits[number].lawn_ids[0] - 1 for order in rounds.orders for number in order]


def smaller(series: Series, days: int) -> Series:
    """The first days of a season only."""
    return replace(series, days=days)
