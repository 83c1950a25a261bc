"""A crew's day keeps its hours, sees each lawn once, and changes only where it must."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from math import asin, ceil, cos, radians, sin, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mowalert.domain.crew_plan import changes, plan_day, plan_days, replan
from mowalert.domain.crew_routes import Ground, ground_of
from mowalert.domain.crew_start import first_plan
from mowalert.domain.crew_visits import visits_of, waiting_cost, worth
from mowalert.domain.crews import ChangeKind, Crew, DayPlan, Job, Position, WhyLeft
from mowalert.domain.travel import SPEED_KMH, Travel, by_great_circle

ON = date(2026, 5, 7)
DEPOT = Position(43.0, -88.0)
GROWING = (0.30, 0.33, 0.36, 0.38)
THIRD = 1 / 3


class InTurn:
    """Routes of the simplest kind: visits are dealt out to crews one after another."""

    def solve(self, ground: Ground) -> Sequence[Sequence[int]]:
        orders: list[list[int]] = [[] for _ in ground.crews]
        for visit in range(len(ground.visits)):
            orders[visit % len(orders)].append(visit)
        return orders


class Nonsense:
    """Routes as a broken library would give them."""

    def solve(self, ground: Ground) -> Sequence[Sequence[int]]:
        everything = list(range(len(ground.visits)))
        return [everything + everything for _ in ground.crews]


class AsBegun:
    """Routes that nobody bettered."""

    def solve(self, ground: Ground) -> Sequence[Sequence[int]]:
        return first_plan(ground).orders


def a_crew(number: int = 1, **changed: object) -> Crew:
    return replace(Crew(number, f"crew {number}", DEPOT, 420, 930), **changed)  # type: ignore[arg-type]


def a_job(lawn_id: int, *, north_km: float = 0.0, east_km: float = 0.0, **changed: object) -> Job:
    where = Position(43.0 + north_km / 111.2, -88.0 + east_km / (111.2 * cos(radians(43.0))))
    job = Job(lawn_id, lawn_id, where, 30.0, GROWING, THIRD)
    return replace(job, **changed)  # type: ignore[arg-type]


def planned(jobs: Sequence[Job], crews: Sequence[Crew], **how: object) -> DayPlan:
    return plan_day(jobs, crews, ON, **{"routes": InTurn(), **how})  # type: ignore[arg-type]


def lawns_of(plan: DayPlan) -> list[int]:
    return [stop.lawn_id for route in plan.routes for stop in route.stops]


def drive_min(one: Position, other: Position) -> int:
    """Minutes between places, worked out apart from the program."""
    north = radians(other.latitude_deg - one.latitude_deg)
    east = radians(other.longitude_deg - one.longitude_deg)
    both = cos(radians(one.latitude_deg)) * cos(radians(other.latitude_deg))
    km = 2 * 6371.0 * asin(sqrt(sin(north / 2) ** 2 + both * sin(east / 2) ** 2)) * 1.3
    return ceil(km / SPEED_KMH * 60 - 1e-7)


def faults_of(plan: DayPlan, jobs: Sequence[Job], crews: Sequence[Crew]) -> list[str]:
    """Every rule of a day that a plan breaks, from the rules' own words."""
    job_of, crew_of = {job.lawn_id: job for job in jobs}, {crew.crew_id: crew for crew in crews}
    seen = lawns_of(plan) + [left.lawn_id for left in plan.left_out]
    wrong = [] if sorted(seen) == sorted(job_of) else ["a lawn is missing or comes twice"]
    wrong += (
        [] if len({route.crew_id for route in plan.routes}) == len(plan.routes) else ["two days of a crew"]
    )
    for route in plan.routes:
        crew = crew_of[route.crew_id]
        here, now = crew.starts_at or crew.depot, route.leaves_min
        if route.leaves_min < crew.from_min or route.back_min > crew.to_min:
            wrong.append("outside the crew's hours")
        for stop in route.stops:
            job = job_of[stop.lawn_id]
            if stop.starts_min < now + drive_min(here, job.position):
                wrong.append(f"{stop.lawn_id} begins before the crew is there")
            if stop.ends_min - stop.starts_min < job.minutes:
                wrong.append(f"{stop.lawn_id} is given too little time")
            if job.from_min is not None and stop.starts_min < job.from_min:
                wrong.append(f"{stop.lawn_id} begins before it may")
            if job.to_min is not None and stop.ends_min > job.to_min:
                wrong.append(f"{stop.lawn_id} ends too late")
            if job.crew_id not in (None, crew.crew_id):
                wrong.append(f"{stop.lawn_id} is another crew's")
            here, now = job.position, stop.ends_min
        if route.back_min < now + drive_min(here, crew.depot):
            wrong.append("home before it can be")
    return wrong


kilometres = st.floats(-15, 15)
some_jobs = st.lists(
    st.builds(
        lambda north, east, minutes, shares, window, crew: (north, east, minutes, shares, window, crew),
        kilometres,
        kilometres,
        st.floats(0.5, 240),
        st.lists(st.floats(0, 0.6), min_size=4, max_size=4).map(sorted),
        st.none() | st.tuples(st.integers(0, 1000), st.integers(1, 600)),
        st.none() | st.integers(1, 3),
    ),
    max_size=14,
)
some_crews = st.lists(
    st.tuples(st.integers(300, 900), st.integers(-60, 600), kilometres), min_size=1, max_size=3
)


def jobs_from(told: Sequence[tuple]) -> list[Job]:  # type: ignore[type-arg]
    return [
        a_job(
            number + 1,
            north_km=north,
            east_km=east,
            minutes=minutes,
            removed=tuple(shares),
            from_min=window[0] if window else None,
            to_min=window[0] + window[1] if window else None,
            crew_id=crew,
            site_id=number // 2,
        )
        for number, (north, east, minutes, shares, window, crew) in enumerate(told)
    ]


@settings(max_examples=150)
@given(some_jobs, some_crews, st.sampled_from([InTurn(), Nonsense(), AsBegun()]))
def test_no_plan_breaks_a_rule(
    told: list[tuple],  # type: ignore[type-arg]
    hours: list[tuple[int, int, float]],
    routes: InTurn | Nonsense | AsBegun,
) -> None:
    jobs = jobs_from(told)
    crews = [
        a_crew(number + 1, from_min=start, to_min=start + length, depot=a_job(1, north_km=north).position)
        for number, (start, length, north) in enumerate(hours)
    ]
    plan = planned(jobs, crews, routes=routes)
    assert faults_of(plan, jobs, crews) == []
    usable = [crew for crew in crews if crew.from_min < crew.to_min]
    assert len(plan.faults) == len(crews) - len(usable)
    again = replan(plan, jobs, crews)
    assert faults_of(again, jobs, crews) == []
    assert planned(jobs[::-1], crews[::-1], routes=routes) == plan


@given(some_jobs)
def test_nothing_more_fits_into_a_first_plan(told: list[tuple]) -> None:  # type: ignore[type-arg]
    visits, _ = visits_of(jobs_from(told), [a_crew(1), a_crew(2)], by_great_circle)
    begun = first_plan(ground_of([a_crew(1), a_crew(2)], visits, by_great_circle))
    assert all(begun.fits(crew, order) for crew, order in enumerate(begun.orders))
    assert not any(begun.insert(visit) for visit in begun.left)


def test_a_first_plan_weighs_what_is_saved_against_the_time_it_takes() -> None:
    near = [a_job(number, minutes=60.0, removed=(0.36, 0.37, 0.38, 0.39)) for number in range(1, 9)]
    far = [a_job(9, north_km=60, minutes=240.0, removed=(0.36, 0.38, 0.40, 0.42))]
    assert sorted(lawns_of(planned([*far, *near], [a_crew()], routes=AsBegun()))) == [1, 2, 3, 4, 5, 6, 7, 8]


def test_what_loses_most_by_waiting_is_cut_first() -> None:
    slow = [a_job(number, removed=(0.28, 0.29, 0.30, 0.31)) for number in range(1, 30)]
    fast = [a_job(number, removed=(0.32, 0.38, 0.42, 0.45), north_km=6) for number in range(30, 33)]
    plan = planned([*slow, *fast], [a_crew()])
    assert {30, 31, 32} <= set(lawns_of(plan))
    assert all(left.waiting_cost == 0 for left in plan.left_out)


def test_waiting_costs_the_share_over_the_limit_of_the_next_three_days() -> None:
    job = a_job(1, removed=(0.50, 1 / 3 + 0.01, 1 / 3 + 0.03, 1 / 3 + 0.06, 0.9))
    assert waiting_cost(job) == pytest.approx(0.10)
    due = a_job(2, removed=(0.30, 0.31, 0.32, 0.33))
    assert waiting_cost(due) == 0.0
    assert 0 < worth(due) < 0.0011
    assert worth(a_job(3, removed=(0.0, 0.0, 0.0, 0.0))) == 0.0


def test_lawns_of_one_site_are_cut_in_one_go() -> None:
    jobs = [a_job(number, north_km=(number % 3) * 4, site_id=number % 3) for number in range(1, 10)]
    plan = planned(jobs, [a_crew(1), a_crew(2)])
    sites = [[stop.lawn_id % 3 for stop in route.stops] for route in plan.routes]
    for order in sites:
        assert order == sorted(order, key=order.index), "a site is left and come back to"
    assert sum(len(set(order)) for order in sites) == 3


def test_a_site_too_large_for_a_day_is_shared_out() -> None:
    jobs = [a_job(number, site_id=1, minutes=200.0) for number in range(1, 7)]
    plan = planned(jobs, [a_crew(1), a_crew(2), a_crew(3)])
    assert sorted(lawns_of(plan)) == [1, 2, 3, 4, 5, 6]


@pytest.mark.parametrize(
    ("job", "why"),
    [
        (a_job(9, north_km=400), WhyLeft.TOO_FAR),
        (a_job(9, minutes=600.0), WhyLeft.TOO_LONG),
        (a_job(9, from_min=300, to_min=320), WhyLeft.HOURS),
        (a_job(9, from_min=700, to_min=690), WhyLeft.HOURS),
        (a_job(9, from_min=920), WhyLeft.HOURS),
        (a_job(9, crew_id=7), WhyLeft.NO_CREW),
        (a_job(9, position=Position(0.0, 0.0)), WhyLeft.TOO_FAR),
        (a_job(9, position=Position(float("nan"), 3.0)), WhyLeft.TOO_FAR),
    ],
)
def test_what_nobody_can_do_is_named_and_planned_around(job: Job, why: WhyLeft) -> None:
    plan = planned([a_job(1), job], [a_crew()])
    assert lawns_of(plan) == [1]
    assert [(left.lawn_id, left.why) for left in plan.left_out] == [(9, why)]


def test_a_crew_without_hours_or_depot_is_named_and_planned_around() -> None:
    nowhere = a_crew(3, depot=Position(0.0, 0.0))
    plan = planned([a_job(1)], [a_crew(1), a_crew(2, from_min=600, to_min=600), nowhere])
    assert [fault.about for fault in plan.faults] == ["crew 2", "crew 3"]
    assert lawns_of(plan) == [1]
    alone = planned([a_job(1)], [nowhere])
    assert alone.left_out[0].why is WhyLeft.NO_CREW
    assert planned([], []).routes == ()


def test_times_are_those_of_the_roads_that_are_known() -> None:
    def slow_roads(places: Sequence[Position]) -> Travel:
        usual = by_great_circle(places)
        return Travel(np.where(usual.minutes > 0, usual.minutes + 20, 0), usual.km)

    plan = planned([a_job(1, north_km=3)], [a_crew()], travel_of=slow_roads)
    (stop,) = plan.routes[0].stops
    assert stop.travel_min == drive_min(DEPOT, a_job(1, north_km=3).position) + 20
    assert stop.travel_km == pytest.approx(3.9, abs=0.02)


def a_full_day() -> tuple[list[Job], list[Crew], DayPlan]:
    jobs = [
        a_job(
            number,
            north_km=number % 7 - 3,
            east_km=number % 5 - 2,
            removed=(0.3, 0.32, 0.35 + number / 500, 0.4),
        )
        for number in range(1, 45)
    ]
    crews = [a_crew(1), a_crew(2), a_crew(3)]
    plan = planned(jobs, crews)
    assert plan.left_out, "there must be something that could push its way in"
    return jobs, crews, plan


def test_nothing_moves_when_nothing_changed() -> None:
    jobs, crews, plan = a_full_day()
    assert replan(plan, jobs, crews) == plan
    assert changes(plan, replan(plan, jobs, crews)) == ()


def test_a_crew_that_stays_home_moves_only_its_own_lawns() -> None:
    jobs, crews, plan = a_full_day()
    again = replan(plan, jobs, [crews[0], crews[2], replace(crews[1], to_min=crews[1].from_min)])
    assert faults_of(again, jobs, [crews[0], crews[2], crews[1]]) == []
    theirs = {stop.lawn_id for route in plan.routes if route.crew_id == 2 for stop in route.stops}
    gone = {change.lawn_id for change in changes(plan, again) if change.kind is not ChangeKind.RETIMED}
    assert theirs <= gone
    worth_of = {job.lawn_id: worth(job) for job in jobs}
    pushed_out = {one.lawn_id for one in changes(plan, again) if one.kind is ChangeKind.DROPPED} - theirs
    taken_in = [one.lawn_id for one in changes(plan, again) if one.crew_after and one.lawn_id in theirs]
    assert len(pushed_out) <= len(taken_in)
    for lawn_id in pushed_out:
        assert any(worth_of[lawn_id] + 0.05 < worth_of[other] for other in taken_in)


def test_one_urgent_lawn_takes_the_place_of_few() -> None:
    jobs, crews, plan = a_full_day()
    urgent = a_job(99, removed=(0.45, 0.5, 0.54, 0.57))
    again = replan(plan, [*jobs, urgent], crews)
    told = changes(plan, again)
    assert 99 in lawns_of(again)
    assert sum(one.kind is ChangeKind.DROPPED for one in told) <= 2
    assert sum(one.kind is ChangeKind.MOVED for one in told) == 0


def test_the_rest_of_a_day_begins_where_the_crew_is() -> None:
    jobs, crews, plan = a_full_day()
    done = [stop for route in plan.routes for stop in route.stops if stop.ends_min <= 600]
    at_work = {
        route.crew_id: next((job.position for job in jobs if job.lawn_id == stop.lawn_id), None)
        for route in plan.routes
        for stop in route.stops
        if stop in done
    }
    now = [replace(crew, from_min=600, starts_at=at_work[crew.crew_id]) for crew in crews]
    open_jobs = [job for job in jobs if job.lawn_id not in {stop.lawn_id for stop in done}]
    again = replan(plan, open_jobs, now)
    assert faults_of(again, open_jobs, now) == []
    assert not {stop.lawn_id for stop in done} & set(lawns_of(again))


def test_hours_lost_to_rain_drop_the_least_urgent_first() -> None:
    jobs, crews, plan = a_full_day()
    shorter = [replace(crew, to_min=780) for crew in crews]
    again = replan(plan, jobs, shorter)
    assert faults_of(again, jobs, shorter) == []
    worth_of = {job.lawn_id: worth(job) for job in jobs}
    kept = [worth_of[lawn_id] for lawn_id in lawns_of(again)]
    dropped = [worth_of[one.lawn_id] for one in changes(plan, again) if one.kind is ChangeKind.DROPPED]
    assert dropped
    assert np.mean(dropped) < np.mean(kept)


def test_a_lawn_cut_on_one_day_is_not_planned_on_the_next() -> None:
    jobs = [a_job(number, removed=tuple(0.25 + 0.02 * day for day in range(7))) for number in range(1, 41)]
    days = [(date(2026, 5, 7 + day), [a_crew(1), a_crew(2)]) for day in range(3)]
    plans = plan_days(jobs, days, first_on=ON, routes=InTurn())
    seen = [lawn_id for plan in plans for lawn_id in lawns_of(plan)]
    assert len(seen) == len(set(seen)) == 40
    assert [plan.on for plan in plans] == [on for on, _ in days]
    # Later plans see the lawns as tall as they will then be.
    assert plans[1].left_out == () or plans[1].left_out[0].waiting_cost >= plans[0].left_out[-1].waiting_cost


def test_changes_name_who_had_a_lawn_and_who_has_it_now() -> None:
    before = planned([a_job(1), a_job(2, north_km=2)], [a_crew(1)])
    after = planned([a_job(2, north_km=2), a_job(3, minutes=90.0)], [a_crew(5)])
    told = {one.lawn_id: one for one in changes(before, after)}
    assert (told[1].kind, told[1].crew_before, told[1].crew_after) == (ChangeKind.DROPPED, 1, None)
    assert (told[2].kind, told[2].crew_before, told[2].crew_after) == (ChangeKind.MOVED, 1, 5)
    assert (told[3].kind, told[3].crew_before, told[3].crew_after) == (ChangeKind.ADDED, None, 5)
    assert changes(before, before) == ()


class Forgetful(InTurn):
    """Routes of a finder that thinks nothing of what was skipped."""

    def solve(self, ground: Ground) -> Sequence[Sequence[int]]:
        return [[one for one in order if not ground.visits[one].returns] for order in super().solve(ground)]


DUE = (0.28, 0.29, 0.30, 0.31)
"""Due, and not over the limit within three days."""


def test_a_skipped_lawn_has_its_place_on_a_full_day_before_what_is_not_more_pressing() -> None:
    """It takes longer than any other, so that several must make room."""
    others = [a_job(number, removed=DUE, east_km=number % 5 - 2) for number in range(1, 31)]
    back = a_job(99, removed=DUE, minutes=170.0, north_km=9)
    without = planned([*others, back], [a_crew(1), a_crew(2)])
    assert 99 not in lawns_of(without)
    plan = planned([*others, replace(back, returns=True)], [a_crew(1), a_crew(2)], routes=Forgetful())
    assert 99 in lawns_of(plan)
    assert faults_of(plan, [*others, back], [a_crew(1), a_crew(2)]) == []


def test_a_skipped_lawn_gives_way_to_what_is_more_pressing() -> None:
    urgent = [
        a_job(number, removed=(0.34, 0.38, 0.42, 0.46), east_km=number % 5 - 2) for number in range(1, 31)
    ]
    back = a_job(99, removed=DUE, minutes=170.0, returns=True)
    plan = planned([*urgent, back], [a_crew(1)])
    assert [left.lawn_id for left in plan.left_out if left.lawn_id == 99]
    assert len(lawns_of(plan)) > 10


@settings(max_examples=60)
@given(some_jobs, some_crews, st.sets(st.integers(1, 14)), st.booleans())
def test_nothing_less_worthy_keeps_a_skipped_lawn_out(
    told: list[tuple],  # type: ignore[type-arg]
    hours: list[tuple[int, int, float]],
    back: set[int],
    again: bool,
) -> None:
    jobs = [replace(job, returns=job.lawn_id in back, site_id=job.lawn_id) for job in jobs_from(told)]
    crews = [
        a_crew(number + 1, from_min=start, to_min=start + length, depot=a_job(1, north_km=north).position)
        for number, (start, length, north) in enumerate(hours)
    ]
    plan = planned(jobs, crews, routes=Forgetful())
    margin = 0.05 if again else 0.0
    plan = replan(plan, jobs, crews) if again else plan
    assert faults_of(plan, jobs, crews) == []
    job_of = {job.lawn_id: job for job in jobs}
    for lawn_id in {left.lawn_id for left in plan.left_out if left.why is WhyLeft.NO_TIME} & back:
        for crew in crews:
            route = next((one for one in plan.routes if one.crew_id == crew.crew_id), None)
            stays = [
                stop.lawn_id
                for stop in (route.stops if route else ())
                if stop.lawn_id in back or worth(job_of[stop.lawn_id]) + margin >= worth(job_of[lawn_id])
            ]
            assert not any(
                can_do(crew, [job_of[one] for one in (*stays[:place], lawn_id, *stays[place:])])
                for place in range(len(stays) + 1)
            )


def test_a_lawn_whose_hours_leave_only_a_dearer_place_is_put_there() -> None:
    """The cheapest place is beside its neighbour at the end of the day; it must be cut in the morning."""
    jobs = [a_job(1, east_km=-8, minutes=200.0), a_job(2, east_km=8, minutes=150.0)]
    early = a_job(3, east_km=8.5, minutes=20.0, to_min=500)
    crews = [a_crew()]
    plan = replan(planned(jobs, crews), [*jobs, early], crews)
    assert lawns_of(plan) == [3, 1, 2]
    assert faults_of(plan, [*jobs, early], crews) == []


@settings(max_examples=60)
@given(some_jobs, some_crews)
def test_a_lawn_that_fits_anywhere_is_not_left_out(
    told: list[tuple],  # type: ignore[type-arg]
    hours: list[tuple[int, int, float]],
) -> None:
    """Hours of a lawn make a dearer place the only one: no place is passed over."""
    jobs = [replace(job, site_id=job.lawn_id) for job in jobs_from(told)]
    crews = [
        a_crew(number + 1, from_min=start, to_min=start + length, depot=a_job(1, north_km=north).position)
        for number, (start, length, north) in enumerate(hours)
    ]
    plan = planned(jobs, crews)
    job_of = {job.lawn_id: job for job in jobs}
    routes = {route.crew_id: [stop.lawn_id for stop in route.stops] for route in plan.routes}
    for left in plan.left_out:
        for crew in crews:
            order = routes.get(crew.crew_id, [])
            assert not any(
                can_do(crew, [job_of[one] for one in (*order[:place], left.lawn_id, *order[place:])])
                for place in range(len(order) + 1)
            )


def can_do(crew: Crew, jobs: Sequence[Job]) -> bool:
    """Whether a crew can do some lawns in an order, by the rules' own words."""
    if crew.from_min >= crew.to_min or any(job.crew_id not in (None, crew.crew_id) for job in jobs):
        return False
    here, now = crew.depot, crew.from_min
    for job in jobs:
        now = max(now + drive_min(here, job.position), job.from_min or 0) + max(1, ceil(job.minutes))
        here = job.position
        if job.to_min is not None and now > job.to_min:
            return False
    return now + drive_min(here, crew.depot) <= crew.to_min
