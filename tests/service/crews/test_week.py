"""The week ahead: each lawn counts when it falls due, and the first day short of hours is named."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from builders import TURF
from firm import MORNING, NAME, POLICY, TODAY, Firm, planned
from skies import a_day
from stores import new_store

from mowalert.domain.day_sheet import WeekAhead
from mowalert.domain.weather import Place, WeatherDay
from mowalert.domain.words import HoldReason
from mowalert.errors import InputError
from mowalert.service.crew_records import Outcome, SkipReason, VisitRecord
from mowalert.service.crews.crew_setup import keep_hours
from mowalert.service.crews.visits import Visit, report_visit
from mowalert.service.crews.week import week_ahead, week_summary
from mowalert.service.lawns.report import report_mowing
from mowalert.service.records import KeptOff
from mowalert.store.engine import SqlStore

MONDAY = datetime(2026, 5, 11, 10, 5, tzinfo=UTC)


@pytest.fixture
def firm(tmp_path: Path) -> Firm:
    made = Firm(new_store(tmp_path / "firm.db"))
    made.night()
    return made


def ahead_of(firm: Firm, now: datetime = MORNING) -> WeekAhead:
    return week_ahead(firm.store, TURF, POLICY, firm.keeper_id, now=now)


def fast_growth(place: Place, on: date) -> WeatherDay:
    return a_day(on, t_min_c=14.0, t_max_c=23.0, rain_mm=6.0)


def cold(place: Place, on: date) -> WeatherDay:
    return a_day(on, t_min_c=-2.0, t_max_c=4.0, rain_mm=1.0)


def test_the_week_on_both_databases(store: SqlStore) -> None:
    made = Firm(store)
    made.night()
    ahead = ahead_of(made)
    assert (ahead.keeper_name, ahead.from_on, len(ahead.days)) == (NAME, TODAY, 7)
    assert ahead.weather.fresh
    assert ahead_of(made) == ahead
    crews = made.sheet().crews
    with store.begin() as work:
        driven = work.crews.driving(made.keeper_id, first=TODAY, last=TODAY)
    minutes = sum(crew.back_min - crew.leaves_min - crew.work_min for crew in crews)
    assert driven == [(pytest.approx(minutes), len(planned(made.sheet())))]


def test_the_usual_driving_is_that_of_the_last_plans_without_reading_them_whole(firm: Firm) -> None:
    usual = ahead_of(firm).days[0]
    facts = {"sheet": "not looked at", "driving": {"minutes": 400.0, "stops": 10}}
    with firm.store.begin() as work:
        work.crews.keep_plan(replace(firm.plan(), version=2, facts=facts))
        work.commit()
    longer = ahead_of(firm).days[0]
    assert longer.due == usual.due > 0
    assert longer.needed_h > usual.needed_h + longer.due * 30 / 60


def test_a_cut_takes_a_lawn_out_of_the_coming_days(firm: Firm) -> None:
    before = ahead_of(firm)
    for lawn_id in planned(firm.sheet()):
        report_visit(
            firm.store, TURF, firm.keeper_id, Visit(lawn_id, TODAY, Outcome.DONE), by="ana", now=MORNING
        )
    after = ahead_of(firm)
    assert after.days[0].needed_h < before.days[0].needed_h
    assert sum(day.due for day in after.days[:2]) < sum(day.due for day in before.days[:2])


def test_a_flush_brings_a_lawn_twice_and_cold_brings_none(tmp_path: Path) -> None:
    flush, winter = Firm(new_store(tmp_path / "a.db"), count=12), Firm(new_store(tmp_path / "b.db"), count=12)
    flush.skies.day, winter.skies.day = fast_growth, cold
    flush.night()
    winter.night()
    assert sum(day.due for day in ahead_of(flush).days) > 12
    assert sum(day.due for day in ahead_of(winter).days) == 0
    assert ahead_of(winter).short_on is None


def test_hours_that_are_missing_show_on_the_first_day_they_are(firm: Firm) -> None:
    assert ahead_of(firm).short_on is None
    for name in ("North", "South"):
        for more in range(2):
            keep_hours(firm.store, NAME, name, TODAY + timedelta(days=more), from_min=420, to_min=435)
    ahead = ahead_of(firm)
    assert [day.crew_h for day in ahead.days[:2]] == [0.5, 0.5]
    needed = had = 0.0
    short = []
    for day in ahead.days:
        needed, had = needed + day.needed_h, had + day.crew_h
        if needed > had:
            short.append(day.on)
    assert ahead.short_on == short[0]


def test_nothing_is_due_on_a_day_nobody_works(firm: Firm) -> None:
    for name in ("North", "South"):
        keep_hours(firm.store, NAME, name, TODAY, from_min=0, to_min=0)
    ahead = ahead_of(firm)
    assert (ahead.days[0].due, ahead.days[0].crew_h) == (0, 0.0)
    assert sum(day.due for day in ahead.days) > 0


def test_a_lawn_that_is_treated_waits_until_after(firm: Firm) -> None:
    lawns = planned(firm.sheet())
    before = ahead_of(firm)
    with firm.store.begin() as work:
        for lawn_id in lawns:
            until = TODAY + timedelta(days=3)
            work.lawns.keep_off(KeptOff(0, lawn_id, HoldReason.TREATMENT, TODAY, until, "weeds", MORNING))
        work.commit()
    after = ahead_of(firm)
    assert before.days[0].due + before.days[1].due >= len(lawns) > 0
    assert sum(day.due for day in after.days[:2]) <= 30 - len(lawns)
    assert after.days[4].due > before.days[4].due


def test_a_summary_tells_what_was_done_skipped_and_too_late(firm: Firm) -> None:
    first, second, third, *_ = planned(firm.sheet())
    for visit in (
        Visit(first, TODAY, Outcome.DONE, minutes=30.0),
        Visit(second, TODAY, Outcome.DONE, minutes=45.0),
        Visit(third, TODAY, Outcome.SKIPPED, SkipReason.LOCKED),
    ):
        report_visit(firm.store, TURF, firm.keeper_id, visit, by="ana", now=MORNING)
    with firm.store.begin() as work:
        known = work.crews.visits(firm.keeper_id, first=TODAY, last=TODAY)
        late: VisitRecord = replace(known[0], visit_id=0, on=TODAY + timedelta(days=1), removed=0.52)
        work.crews.add_visits([late])
        work.commit()
    told = week_summary(firm.store, TURF, POLICY, firm.keeper_id, now=MONDAY)
    assert (told.from_on, told.to_on) == (
        MONDAY.date() - timedelta(days=7),
        MONDAY.date() - timedelta(days=1),
    )
    assert (told.done, told.skipped, told.worked_h) == (3, (("locked", 1),), 1.75)
    assert told.largest_removed == 0.52
    assert told.over_limit >= 1
    assert told.on_time + told.over_limit == 3
    assert told.crew_h == 5 * 16.0


def test_cuts_reported_without_a_visit_count_once(firm: Firm) -> None:
    first, second, *_ = planned(firm.sheet())
    report_visit(firm.store, TURF, firm.keeper_id, Visit(first, TODAY, Outcome.DONE), by="ana", now=MORNING)
    report_mowing(firm.store, TURF, second, height_mm=None, on=TODAY, today=TODAY, now=MORNING, by="page")
    told = week_summary(firm.store, TURF, POLICY, firm.keeper_id, now=MONDAY)
    assert (told.done, told.on_time + told.over_limit) == (2, 2)


def test_a_week_without_any_visit_is_told_as_one(firm: Firm) -> None:
    told = week_summary(firm.store, TURF, POLICY, firm.keeper_id, now=MONDAY)
    assert (told.done, told.skipped, told.on_time, told.over_limit, told.largest_removed) == (
        0,
        (),
        0,
        0,
        None,
    )


def test_somebody_unknown_has_no_week(firm: Firm) -> None:
    with pytest.raises(InputError, match="no keeper 99"):
        week_ahead(firm.store, TURF, POLICY, 99, now=MORNING)
