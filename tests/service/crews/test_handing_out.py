"""Who is handed a day and a week: once each, on the morning after rain too, and never on old weather."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from builders import TURF
from firm import MORNING, NAME, POLICY, TODAY, Firm, planned, rainy
from skies import a_day, growing_weather
from stores import new_store

from mowalert.channels.crew_sheets import CrewSheets
from mowalert.domain.day_sheet import DaySheet, SheetReader
from mowalert.domain.notices import RenderedEmail
from mowalert.domain.weather import Place, WeatherDay
from mowalert.service.crew_records import Outcome
from mowalert.service.crews.crew_setup import keep_hours
from mowalert.service.crews.handing_out import change_day, hand_out
from mowalert.service.crews.morning import Dispatch, plan_morning
from mowalert.service.crews.visits import Visit, report_visit
from mowalert.service.upkeep.status import status_of

TUESDAY = datetime(2026, 5, 12, 12, 5, tzinfo=UTC)


@pytest.fixture
def firm(tmp_path: Path) -> Firm:
    return Firm(new_store(tmp_path / "firm.db"))


def hot_since_sunday(place: Place, on: date) -> WeatherDay:
    if on < date(2026, 5, 3):
        return growing_weather(place, on)
    return a_day(on, t_min_c=24.0, t_max_c=39.0)


def test_the_morning_after_rain_everybody_has_their_list(firm: Firm) -> None:
    firm.skies.day = rainy(0, 0)
    for lawn_id in range(1, 31):
        firm.minutes(lawn_id, 40.0)
    firm.night()
    firm.skies.day = rainy(11, 20)
    firm.night(MORNING + timedelta(hours=4, minutes=30))
    friday = TODAY + timedelta(days=1)
    assert firm.sheet(friday).why == "rain"
    told = {name: len(firm.mails(name)) for name in ("dana", "ana", "sam")}
    report = firm.night(MORNING + timedelta(days=1)).mornings
    assert (report.planned, report.messages) == (1, 3)
    assert firm.sheet(friday).why == "morning"
    for name, before in told.items():
        assert len(firm.mails(name)) == before + 1
    firm.night(MORNING + timedelta(days=1, minutes=20))
    assert sum(len(firm.mails(name)) for name in told) == sum(told.values()) + 3


def test_a_plan_made_by_command_is_handed_out_in_the_morning(firm: Firm) -> None:
    firm.night(MORNING - timedelta(minutes=30))
    dispatch = firm.office.dispatch
    early = MORNING - timedelta(minutes=20)
    plan_morning(firm.store, TURF, POLICY, dispatch, firm.keeper_id, now=early)
    assert firm.mails() == []
    assert firm.night().mornings.messages == 3
    assert firm.night(MORNING + timedelta(minutes=20)).mornings.messages == 0


def test_rain_that_moves_nothing_is_told_to_nobody(firm: Firm) -> None:
    firm.skies.day = rainy(0, 0)
    firm.night()
    for lawn_id in planned(firm.sheet()):
        done = Visit(lawn_id, TODAY, Outcome.DONE)
        report_visit(firm.store, TURF, firm.keeper_id, done, by="ana", now=MORNING + timedelta(hours=3))
    firm.skies.day = rainy(12, 15)
    for more in (0, 10, 20):
        firm.night(MORNING + timedelta(hours=4, minutes=30 + more))
    assert firm.sheet().version == 2
    assert len(firm.mails()) == 3


def test_old_weather_ends_no_hold_and_starts_no_cut(firm: Firm) -> None:
    firm.skies.day = hot_since_sunday
    firm.night()
    assert len(firm.sheet().held) > 10
    assert planned(firm.sheet()) == []
    later = MORNING + timedelta(days=4)
    hand_out(firm.store, TURF, POLICY, firm.office, now=later)
    stale = firm.sheet(later.date())
    assert not stale.weather.fresh
    assert planned(stale) == []
    assert stale.left_out == ()


def test_an_owner_hears_of_the_week_on_the_first_night_after_monday(firm: Firm) -> None:
    firm.night()
    firm.night(TUESDAY)
    firm.night(TUESDAY + timedelta(hours=1))
    firm.night(TUESDAY + timedelta(days=1))
    assert len(firm.mails("olga")) == 1


def test_a_week_that_is_old_is_told_no_more(firm: Firm) -> None:
    firm.night(TUESDAY + timedelta(days=1, hours=6))
    assert firm.mails("olga") == []


def replanned(firm: Firm, now: datetime) -> None:
    """South goes home early, by command: North's day stays as it is, or gets more."""
    keep_hours(firm.store, NAME, "South", TODAY, from_min=420, to_min=540)
    assert change_day(firm.store, TURF, POLICY, firm.office, firm.keeper_id, now=now, why="asked")


def counts(firm: Firm) -> list[int]:
    return [len(firm.mails(name)) for name in ("dana", "ana", "sam")]


def test_a_day_planned_twice_before_its_hour_is_handed_out_once_and_to_everybody(firm: Firm) -> None:
    firm.night(MORNING - timedelta(minutes=30))
    early = MORNING - timedelta(minutes=20)
    plan_morning(firm.store, TURF, POLICY, firm.office.dispatch, firm.keeper_id, now=early)
    replanned(firm, early)
    assert counts(firm) == [0, 0, 0], "nobody is written to before the morning's hour"
    assert firm.night().mornings.messages == 3
    assert counts(firm) == [1, 1, 1]
    assert firm.sheet().version == 2
    for later in (10, 20):
        assert firm.night(MORNING + timedelta(minutes=later)).mornings.messages == 0


def test_a_change_before_the_first_night_is_in_everybodys_list(firm: Firm) -> None:
    """The service was down at the hour; the office planned by hand, and again."""
    late = MORNING + timedelta(hours=1)
    firm.night(MORNING - timedelta(minutes=30))
    plan_morning(firm.store, TURF, POLICY, firm.office.dispatch, firm.keeper_id, now=late)
    replanned(firm, late + timedelta(minutes=5))
    firm.night(late + timedelta(minutes=10))
    assert counts(firm) == [1, 1, 1]


def test_a_change_after_the_lists_is_told_to_those_it_touches(firm: Firm) -> None:
    firm.night()
    replanned(firm, MORNING + timedelta(minutes=5))
    again = counts(firm)
    assert (again[0], again[2]) == (2, 2)
    firm.night(MORNING + timedelta(minutes=10))
    assert counts(firm) == again


class Stumbling(CrewSheets):
    """Words that fail for one crew."""

    def __init__(self, crew_id: int) -> None:
        super().__init__("Turf Line")
        self.fails_for: int | None = crew_id

    def crew_list(self, sheet: DaySheet, crew_id: int, to: SheetReader) -> RenderedEmail:
        if crew_id == self.fails_for:
            raise ZeroDivisionError("no such column")
        return super().crew_list(sheet, crew_id, to)


def test_one_list_that_fails_keeps_nobody_from_theirs_and_is_said(firm: Firm) -> None:
    words = Stumbling(firm.people["ana"].crew_id or 0)
    firm.office = replace(firm.office, words=words)
    report = firm.night().mornings
    assert (report.messages, report.failed) == (2, 1)
    assert counts(firm) == [1, 0, 1]
    failure = status_of(firm.store, now=MORNING).last_failure
    assert failure is not None
    assert failure.reason == "lists of keeper 1: ZeroDivisionError: no such column"
    words.fails_for = None
    assert firm.night(MORNING + timedelta(minutes=10)).mornings.messages == 1
    assert counts(firm) == [1, 1, 1]


def test_one_organisation_that_fails_stops_no_other(firm: Firm) -> None:
    def broken(*told: object, **how: object) -> None:
        raise ZeroDivisionError("nothing to divide by")

    firm.office = replace(firm.office, dispatch=Dispatch(type("Broken", (), {"solve": broken})()))
    report = firm.night().mornings
    assert (report.planned, report.failed) == (0, 1)
    failure = status_of(firm.store, now=MORNING).last_failure
    assert failure is not None
    assert "ZeroDivisionError" in failure.reason
