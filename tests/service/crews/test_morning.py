"""A company's day: planned once, handed to whoever needs it, planned again only for a reason."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from random import Random

import pytest
from builders import TURF
from firm import LINKS, MORNING, NAME, POLICY, TODAY, Firm, planned, rainy
from skies import a_day
from stores import new_store

from mowalert.domain.crews import ChangeKind, Fault, Position, WhyLeft
from mowalert.domain.day_sheet import DaySheet, SheetLawn
from mowalert.domain.weather import DayHours, Place, WeatherDay
from mowalert.errors import InputError, SourceError, StoreError
from mowalert.planning.routes import SolvedRoutes
from mowalert.service.crew_records import Outcome, Role, SkipReason
from mowalert.service.crews.crew_setup import (
    NewContact,
    keep_contact,
    keep_crew,
    keep_hours,
    remove_contact,
    retire_crew,
)
from mowalert.service.crews.day_lawns import day_lawns
from mowalert.service.crews.day_plans import sheet_of
from mowalert.service.crews.handing_out import change_day
from mowalert.service.crews.morning import RAIN, Dispatch, plan_morning, replan_day, replan_if_rain
from mowalert.service.crews.visits import Visit, report_visit, undo_visit
from mowalert.service.crews.week import week_ahead, week_summary
from mowalert.service.growing.grow import grow_stands
from mowalert.service.growing.pull import pull_weather
from mowalert.service.lawns.wishes import LawnWish, change_lawn
from mowalert.service.reading.day_hours import minute_of
from mowalert.store.engine import SqlStore

NOON = MORNING + timedelta(hours=5)


@pytest.fixture
def firm(tmp_path: Path) -> Firm:
    return Firm(new_store(tmp_path / "firm.db"))


def test_the_whole_chain_of_a_morning(store: SqlStore) -> None:
    """On both databases: a plan, and a message to each of those who need one."""
    firm = Firm(store)
    report = firm.night()
    assert (report.mornings.planned, report.mornings.messages) == (1, 3)
    sheet = firm.sheet()
    assert sheet.on == TODAY
    assert len(planned(sheet)) == len(set(planned(sheet))) > 8
    assert {crew.name for crew in sheet.crews} == {"North", "South"}
    assert [len(firm.mails(name)) for name in ("dana", "ana", "sam", "olga", "office")] == [1, 1, 1, 0, 0]
    again = firm.night(MORNING + timedelta(minutes=30))
    assert (again.mornings.planned, again.mornings.messages) == (0, 0)
    assert len(firm.mails()) == 3


def test_what_is_cut_is_due_and_no_cut_takes_more_than_a_third(firm: Firm) -> None:
    firm.night()
    lawns = [stop.lawn for crew in firm.sheet().crews for stop in crew.stops]
    for lawn in lawns:
        assert lawn.height_mm >= lawn.chosen_mm * 4 / 3 - 0.01
        assert 1 - lawn.cut_to_mm / lawn.height_mm <= 1 / 3 + 1e-6
        assert lawn.removed[0] <= lawn.removed[1] <= lawn.removed[2]
        if lawn.cut_to_mm > lawn.chosen_mm + 1:
            assert lawn.removed[0] > lawn.limit


def test_before_the_hour_nothing_is_planned_and_after_the_day_nothing_either(firm: Firm) -> None:
    assert firm.night(MORNING - timedelta(minutes=20)).mornings.planned == 0
    assert firm.night(MORNING + timedelta(hours=13)).mornings.planned == 0


def test_a_crew_lead_reads_their_own_part_in_their_own_language(firm: Firm) -> None:
    firm.night()
    sheet = firm.sheet()
    (ana,) = firm.mails("ana")
    north, south = sheet.crews
    assert all(stop.lawn.site_name in str(ana["text"]) for stop in north.stops)
    assert not any(f"{stop.lawn.site_name}\n" in str(ana["text"]) for stop in south.stops)
    assert "Corte a" in str(ana["text"])
    (dana,) = firm.mails("dana")
    assert all(stop.lawn.site_name in str(dana["text"]) for crew in sheet.crews for stop in crew.stops)


def test_a_kept_plan_comes_back_as_it_was_handed_out(firm: Firm) -> None:
    firm.night()
    sheet = firm.sheet()
    again = plan_morning(firm.store, TURF, POLICY, firm.office.dispatch, firm.keeper_id, now=NOON)
    assert again == sheet


def test_what_the_office_knows_is_on_the_list(firm: Firm) -> None:
    firm.tell_of(3, number="A-3", client="F. Client", access="by the lane", gate="4711", dog="friendly",
                 visit_from_min=600)  # fmt: skip
    firm.night()
    lawns = [
        stop.lawn for crew in firm.sheet().crews for stop in crew.stops if stop.lawn.site_name == "Garden 3"
    ]
    lawns += [left.lawn for left in firm.sheet().left_out if left.lawn.site_name == "Garden 3"]
    for lawn in lawns:
        assert (lawn.gate, lawn.dog, lawn.client, lawn.number) == ("4711", "friendly", "F. Client", "A-3")
    stops = [stop for crew in firm.sheet().crews for stop in crew.stops if stop.lawn.site_name == "Garden 3"]
    assert all(stop.starts_min >= 600 for stop in stops)


def test_a_day_too_short_for_all_says_what_waiting_costs(firm: Firm) -> None:
    for lawn_id in range(1, 31):
        firm.minutes(lawn_id, 110.0)
    firm.night()
    left = firm.sheet().left_out
    assert left
    assert all(one.why is WhyLeft.NO_TIME for one in left)
    costs = [one.waiting_cost for one in left]
    assert costs == sorted(costs, reverse=True)
    (dana,) = firm.mails("dana")
    assert "Does not fit today" in str(dana["text"])


def test_a_crew_that_stays_home_has_no_list_and_is_named(firm: Firm) -> None:
    keep_hours(firm.store, NAME, "South", TODAY, from_min=0, to_min=0, note="training")
    firm.night()
    sheet = firm.sheet()
    assert [crew.name for crew in sheet.crews] == ["North"]
    assert sheet.faults == (Fault("South", "no working hours"),)
    assert firm.mails("sam") == []


def test_nobody_works_on_a_sunday(firm: Firm) -> None:
    sunday = MORNING + timedelta(days=3)
    assert firm.night(sunday).mornings.planned == 0


def test_roads_that_cannot_be_asked_are_replaced_and_said(firm: Firm) -> None:
    def broken(places: object) -> object:
        raise SourceError("status 503", permanent=False, source="roads")

    firm.office = replace(firm.office, dispatch=Dispatch(firm.office.dispatch.routes, roads=broken))  # type: ignore[arg-type]
    firm.night()
    assert any(fault.about == "roads" for fault in firm.sheet().faults)
    assert planned(firm.sheet())


def test_a_skipped_lawn_returns_tomorrow_with_its_reason(firm: Firm) -> None:
    firm.night()
    first, second, *_ = planned(firm.sheet())
    skipped = Visit(first, TODAY, Outcome.SKIPPED, SkipReason.DOG, "black dog loose")
    report_visit(firm.store, TURF, firm.keeper_id, skipped, by="ana", now=NOON)
    report_visit(firm.store, TURF, firm.keeper_id, Visit(second, TODAY, Outcome.DONE), by="ana", now=NOON)
    firm.night(MORNING + timedelta(days=1))
    tomorrow = firm.sheet(TODAY + timedelta(days=1))
    lawns = {stop.lawn.lawn_id: stop.lawn for crew in tomorrow.crews for stop in crew.stops}
    lawns |= {left.lawn.lawn_id: left.lawn for left in tomorrow.left_out}
    assert (lawns[first].skipped, lawns[first].skipped_note) == ("dog", "black dog loose")
    assert second not in lawns
    assert any("black dog loose" in str(mail["text"]) for mail in firm.mails("dana"))


def test_on_a_full_day_what_was_skipped_has_its_place_and_its_reason(firm: Firm) -> None:
    for lawn_id in range(1, 31):
        firm.minutes(lawn_id, 90.0)
    firm.night()
    skipped = max(planned(firm.sheet()), key=lambda lawn_id: _lawn(firm.sheet(), lawn_id).removed[0])
    firm.minutes(skipped, 300.0)
    visit = Visit(skipped, TODAY, Outcome.SKIPPED, SkipReason.DOG)
    report_visit(firm.store, TURF, firm.keeper_id, visit, by="ana", now=NOON)
    firm.night(MORNING + timedelta(days=1))
    tomorrow = firm.sheet(TODAY + timedelta(days=1))
    assert tomorrow.left_out, "the day is full"
    assert skipped in planned(tomorrow)
    assert _lawn(tomorrow, skipped).skipped == "dog"
    assert "Skipped last time: a dog was loose." in str(firm.mails("dana")[-1]["text"])


def test_what_was_skipped_and_does_not_fit_is_listed_with_its_reason(firm: Firm) -> None:
    firm.night()
    skipped = planned(firm.sheet())[0]
    visit = Visit(skipped, TODAY, Outcome.SKIPPED, SkipReason.MACHINE, "belt")
    report_visit(firm.store, TURF, firm.keeper_id, visit, by="ana", now=NOON)
    firm.minutes(skipped, 900.0)
    firm.night(MORNING + timedelta(days=1))
    left = firm.sheet(TODAY + timedelta(days=1)).left_out
    assert [one.why for one in left if one.lawn.lawn_id == skipped] == [WhyLeft.TOO_LONG]
    mail = firm.mails("dana")[-1]
    assert "(longer than a day) Skipped last time: a machine failed. belt" in str(mail["text"])


@pytest.mark.parametrize(
    ("reason", "returns"), [(SkipReason.DOG, True), (SkipReason.CLIENT, True), (SkipReason.NOT_NEEDED, False)]
)
def test_a_skip_gives_a_lawn_its_place_unless_no_cut_was_needed(
    firm: Firm, reason: SkipReason, returns: bool
) -> None:
    firm.night()
    skipped = planned(firm.sheet())[0]
    visit = Visit(skipped, TODAY, Outcome.SKIPPED, reason)
    report_visit(firm.store, TURF, firm.keeper_id, visit, by="ana", now=NOON)
    with firm.store.begin() as work:
        keeper = work.keepers.get([firm.keeper_id])[firm.keeper_id]
        lawns = day_lawns(work, TURF, POLICY, keeper, on=TODAY + timedelta(days=1), now=NOON)
    assert {job.lawn_id for job in lawns.jobs if job.returns} == ({skipped} if returns else set())


def _lawn(sheet: DaySheet, lawn_id: int) -> SheetLawn:
    return next(lawn for lawn in _lawns(sheet) if lawn.lawn_id == lawn_id)


def test_a_skipped_lawn_is_planned_ahead_as_well(firm: Firm) -> None:
    firm.night()
    skipped = planned(firm.sheet())[0]
    visit = Visit(skipped, TODAY, Outcome.SKIPPED, SkipReason.LOCKED)
    report_visit(firm.store, TURF, firm.keeper_id, visit, by="ana", now=NOON)
    friday = TODAY + timedelta(days=1)
    ahead = plan_morning(firm.store, TURF, POLICY, firm.office.dispatch, firm.keeper_id, now=NOON, on=friday)
    assert ahead is not None
    assert skipped in planned(ahead)


def test_nothing_is_planned_again_without_a_reason(firm: Firm) -> None:
    firm.skies.day = rainy(0, 3)
    firm.night()
    assert replan_day(firm.store, TURF, POLICY, firm.office.dispatch, firm.keeper_id, now=MORNING) == []
    assert firm.night(NOON).mornings.changed == 0
    assert len(firm.mails()) == 3


def test_rain_has_the_rest_of_the_day_and_the_next_days_planned_again(firm: Firm) -> None:
    firm.skies.day = rainy(0, 0)
    for lawn_id in range(1, 31):
        firm.minutes(lawn_id, 40.0)
    firm.night()
    before = firm.sheet()
    firm.skies.day = rainy(11, 20)
    at_ten = MORNING + timedelta(hours=4, minutes=30)
    report = firm.night(at_ten)
    assert report.mornings.changed >= 1
    after = firm.sheet()
    assert (after.version, after.why) == (2, "rain")
    # Standard hour 11 is noon by the clock: nobody is out in the rain, nobody begins before now.
    for crew in after.crews:
        assert all(stop.starts_min >= 600 and stop.ends_min <= 720 for stop in crew.stops)
    assert {change.kind for change in after.changes} >= {ChangeKind.DROPPED}
    told = {change.lawn_id for change in after.changes}
    assert set(planned(before)) - set(planned(after)) <= told
    tomorrow = firm.sheet(TODAY + timedelta(days=1))
    assert set(planned(tomorrow)) & (set(planned(before)) - set(planned(after)))
    assert not set(planned(tomorrow)) & set(planned(after))
    assert len(firm.mails("dana")) == 2
    assert "rain" in str(firm.mails("dana")[-1]["text"])
    assert firm.night(at_ten + timedelta(minutes=15)).mornings.changed == 0


def weather_changes(firm: Firm, now: datetime) -> None:
    pull_weather(firm.store, firm.skies, now=now)
    grow_stands(firm.store, TURF, now=now)


def rain_again(firm: Firm, now: datetime):  # type: ignore[no-untyped-def]
    return replan_if_rain(firm.store, TURF, POLICY, firm.office.dispatch, firm.keeper_id, now=now)


def all_done(firm: Firm) -> None:
    for lawn_id in planned(firm.sheet()):
        visit = Visit(lawn_id, TODAY, Outcome.DONE)
        report_visit(firm.store, TURF, firm.keeper_id, visit, by="ana", now=MORNING + timedelta(hours=3))


def versions(firm: Firm) -> dict[date, int]:
    with firm.store.begin() as work:
        plans = work.crews.plans(firm.keeper_id, first=TODAY, last=TODAY + timedelta(days=9))
    return {plan.on: plan.version for plan in plans}


def test_rain_over_a_day_that_is_done_is_looked_at_once_and_told_to_nobody(firm: Firm) -> None:
    firm.skies.day = rainy(0, 0)
    firm.night()
    all_done(firm)
    firm.skies.day = rainy(12, 15)
    at_ten = MORNING + timedelta(hours=4, minutes=30)
    firm.night(at_ten)
    seen = versions(firm)
    assert (firm.sheet().why, firm.sheet().changes) == (RAIN, ())
    for later in (10, 20, 30):
        assert firm.night(at_ten + timedelta(minutes=later)).mornings.changed == 0
    assert versions(firm) == seen
    assert len(firm.mails()) == 3


def test_rain_that_goes_away_gives_the_hours_back(firm: Firm) -> None:
    firm.skies.day = rainy(0, 0)
    for lawn_id in range(1, 31):
        firm.minutes(lawn_id, 40.0)
    firm.night()
    at_nine = MORNING + timedelta(hours=3, minutes=30)
    firm.skies.day = rainy(9, 20)
    weather_changes(firm, at_nine)
    wet, *_ = rain_again(firm, at_nine)
    at_one = at_nine + timedelta(hours=3, minutes=30)
    firm.skies.day = rainy(9, 10)
    weather_changes(firm, at_one)
    dry, *_ = rain_again(firm, at_one)
    assert (dry.on, dry.version) == (TODAY, wet.version + 1)
    assert planned(dry)
    assert min(stop.starts_min for crew in dry.crews for stop in crew.stops) >= 12 * 60 + 35


def test_a_day_ahead_knows_its_own_weekdays_and_shares(firm: Firm) -> None:
    """The Thursday after rain hands Friday only what Friday may cut, at Friday's height."""
    firm.skies.day = rainy(0, 0)
    for lawn_id in range(1, 31):
        firm.minutes(lawn_id, 40.0)
    thursday_only = LawnWish(mowing_days=frozenset({3}))
    for lawn_id in range(1, 7):
        change_lawn(firm.store, TURF, lawn_id, thursday_only)
    firm.night()
    at_seven = MORNING + timedelta(hours=3, minutes=15)
    before = {left.lawn.lawn_id: left.lawn for left in firm.sheet().left_out}
    before |= {stop.lawn.lawn_id: stop.lawn for crew in firm.sheet().crews for stop in crew.stops}
    firm.skies.day = rainy(8, 20)
    firm.night(at_seven)
    friday = firm.sheet(TODAY + timedelta(days=1))
    assert friday.why == RAIN
    assert planned(friday)
    assert not set(planned(friday)) & {1, 2, 3, 4, 5, 6}
    for crew in friday.crews:
        for stop in crew.stops:
            if (known := before.get(stop.lawn.lawn_id)) is not None:
                assert stop.lawn.removed[0] == pytest.approx(known.removed[1], abs=0.01)


def test_a_plan_made_ahead_is_looked_at_again_on_its_own_morning(firm: Firm) -> None:
    firm.night()
    friday = TODAY + timedelta(days=1)

    def plan(now: datetime, on: date | None = None):  # type: ignore[no-untyped-def]
        dispatch = firm.office.dispatch
        return plan_morning(firm.store, TURF, POLICY, dispatch, firm.keeper_id, now=now, on=on)

    ahead = plan(NOON, friday)
    assert (ahead.on, ahead.version, ahead.why) == (friday, 1, "asked")
    assert not set(planned(ahead)) & set(planned(firm.sheet()))
    assert plan(NOON, friday) == ahead
    weather_changes(firm, MORNING + timedelta(days=1))
    morning = plan(MORNING + timedelta(days=1))
    assert (morning.on, morning.version, morning.why, morning.changes) == (friday, 2, "morning", ())
    assert plan(MORNING + timedelta(days=1, hours=1)) == morning
    for on, why in ((TODAY - timedelta(days=1), "has passed"), (TODAY + timedelta(days=7), "too far ahead")):
        with pytest.raises(InputError, match=why):
            plan(NOON, on)


def test_a_plan_that_cannot_be_read_stops_no_other_organisation(firm: Firm) -> None:
    firm.night()
    broken = replace(firm.plan(), version=2, facts={"sheet": {"on": "yesterday"}})
    with firm.store.begin() as work:
        work.crews.keep_plan(broken)
        work.commit()
    with pytest.raises(StoreError, match="cannot be read"):
        sheet_of(broken)
    with pytest.raises(StoreError, match="cannot be read"):
        sheet_of(replace(broken, facts={}))
    assert firm.night(NOON).mornings.changed == 0


def test_a_change_is_told_to_those_it_concerns(firm: Firm) -> None:
    firm.night()
    keep_hours(firm.store, NAME, "South", TODAY, from_min=420, to_min=480)
    later = MORNING + timedelta(minutes=10)
    made = change_day(firm.store, TURF, POLICY, firm.office, firm.keeper_id, now=later, why="asked")
    assert len(made) == 1
    assert len(firm.mails("dana")) == 2
    assert len(firm.mails("sam")) == 2
    moved = {crew for one in made[0].changes for crew in (one.crew_before, one.crew_after)}
    north = made[0].crews[0].crew_id
    assert len(firm.mails("ana")) == (2 if north in moved else 1)


def test_a_day_without_a_plan_cannot_be_changed(firm: Firm) -> None:
    with pytest.raises(InputError, match="no plan"):
        replan_day(firm.store, TURF, POLICY, firm.office.dispatch, firm.keeper_id, now=MORNING)


def test_the_owner_hears_of_the_week_once(firm: Firm) -> None:
    firm.night()
    for lawn_id in planned(firm.sheet())[:4]:
        visit = Visit(lawn_id, TODAY, Outcome.DONE, minutes=30.0)
        report_visit(firm.store, TURF, firm.keeper_id, visit, by="ana", now=NOON)
    monday = datetime(2026, 5, 11, 10, 5, tzinfo=MORNING.tzinfo)
    firm.night(monday)
    firm.night(monday + timedelta(hours=3))
    (olga,) = firm.mails("olga")
    assert "Cuts done: 4" in str(olga["text"])
    summary = week_summary(firm.store, TURF, POLICY, firm.keeper_id, now=monday)
    assert (summary.done, summary.worked_h, summary.on_time + summary.over_limit) == (4, 2.0, 4)


def test_the_week_ahead_counts_each_lawn_when_it_falls_due(firm: Firm) -> None:
    firm.night()
    ahead = week_ahead(firm.store, TURF, POLICY, firm.keeper_id, now=MORNING)
    assert [day.on for day in ahead.days] == [TODAY + timedelta(days=more) for more in range(7)]
    assert [day.crew_h for day in ahead.days] == [16.0, 16.0, 0.0, 0.0, 16.0, 16.0, 16.0]
    assert ahead.days[2].due == ahead.days[3].due == 0
    assert sum(day.due for day in ahead.days) >= len(planned(firm.sheet()))
    assert ahead.short_on is None
    for lawn_id in range(1, 31):
        firm.minutes(lawn_id, 400.0)
    short = week_ahead(firm.store, TURF, POLICY, firm.keeper_id, now=MORNING)
    assert short.short_on is not None


def test_an_organisation_without_a_dispatcher_hears_itself(firm: Firm) -> None:
    remove_contact(firm.store, NAME, "Dana")
    firm.night()
    (office,) = firm.mails("office")
    assert "Crews" in str(office["text"])


def test_an_organisation_without_crews_gets_its_plain_list(firm: Firm) -> None:
    for name in ("North", "South"):
        retire_crew(firm.store, NAME, name)
    assert firm.night().mornings.planned == 0
    assert len(firm.mails("office")) == 1


def test_a_visit_counts_once_and_can_be_taken_back(firm: Firm) -> None:
    firm.night()
    lawn_id = planned(firm.sheet())[0]
    with firm.store.begin() as work:
        before = work.lawns.get([lawn_id])[0]
    visit = Visit(lawn_id, TODAY, Outcome.DONE, minutes=31.0, note="fine")
    taken = report_visit(firm.store, TURF, firm.keeper_id, visit, by="ana", now=NOON)
    assert taken.visit.removed is not None
    assert report_visit(firm.store, TURF, firm.keeper_id, visit, by="ana", now=NOON).repeated
    other = Visit(lawn_id, TODAY, Outcome.SKIPPED, SkipReason.RAIN)
    with pytest.raises(InputError, match="undo that one first"):
        report_visit(firm.store, TURF, firm.keeper_id, other, by="ana", now=NOON)
    with firm.store.begin() as work:
        assert work.lawns.get([lawn_id])[0].anchored_on == TODAY
        assert work.crews.lawns([lawn_id])[lawn_id].learned_minutes == 31.0
    undo_visit(firm.store, TURF, firm.keeper_id, taken.visit.visit_id, now=NOON)
    with firm.store.begin() as work:
        after = work.lawns.get([lawn_id])[0]
        assert work.crews.visits(firm.keeper_id, first=TODAY, last=TODAY) == []
    assert (after.anchored_on, after.anchor_height_mm) == (before.anchored_on, before.anchor_height_mm)
    with pytest.raises(InputError, match="no visit"):
        undo_visit(firm.store, TURF, firm.keeper_id, taken.visit.visit_id, now=NOON)


@pytest.mark.parametrize(
    ("visit", "why"),
    [
        (Visit(1, TODAY + timedelta(days=1), Outcome.DONE), "still to come"),
        (Visit(1, TODAY - timedelta(days=90), Outcome.DONE), "days ago"),
        (Visit(1, TODAY, Outcome.SKIPPED), "say why"),
        (Visit(1, TODAY, Outcome.DONE, minutes=-3.0), "minutes cannot be"),
        (Visit(1, TODAY, Outcome.DONE, height_mm=9000.0), "cannot be the height"),
        (Visit(999, TODAY, Outcome.DONE), "no lawn 999"),
        (Visit(1, TODAY, Outcome.DONE, note="x" * 201), "note"),
    ],
)
def test_a_visit_that_cannot_be_is_refused_whole(firm: Firm, visit: Visit, why: str) -> None:
    firm.night()
    with pytest.raises(InputError, match=why):
        report_visit(firm.store, TURF, firm.keeper_id, visit, by="ana", now=NOON)
    with firm.store.begin() as work:
        assert work.crews.visits(firm.keeper_id, first=date.min, last=date.max) == []


def test_another_organisations_lawn_is_none(firm: Firm) -> None:
    with pytest.raises(InputError, match="there is no lawn 1"):
        report_visit(firm.store, TURF, firm.keeper_id + 1, Visit(1, TODAY, Outcome.DONE), by="x", now=NOON)


@pytest.mark.parametrize(
    ("contact", "why"),
    [
        (NewContact("Kim", Role.CREW_LEAD, email="kim@example.org"), "needs a crew"),
        (NewContact("Kim", Role.CREW_LEAD, "West", "kim@example.org"), "no crew 'West'"),
        (NewContact("Kim", Role.OWNER), "is needed"),
        (NewContact("Kim", Role.OWNER, email="kim"), "no e-mail address"),
        (NewContact("Kim", Role.OWNER, phone="12"), "no phone number"),
        (NewContact("", Role.OWNER, email="kim@example.org"), "a name is"),
        (NewContact("Kim", Role.OWNER, email="kim@example.org", language="xx"), "no language"),
    ],
)
def test_a_contact_that_cannot_be_is_refused(firm: Firm, contact: NewContact, why: str) -> None:
    with pytest.raises(InputError, match=why):
        keep_contact(firm.store, NAME, contact, now=MORNING)


def test_crews_that_cannot_be_are_refused(firm: Firm) -> None:
    for depot, days, hours, why in (
        (Position(0, 0), 31, (420, 900), "no position"),
        (Position(42, -73), 0, (420, 900), "no day"),
        (Position(42, -73), 31, (900, 420), "begin before"),
    ):
        with pytest.raises(InputError, match=why):
            keep_crew(
                firm.store, NAME, "West", depot=depot, weekdays=days, from_min=hours[0], to_min=hours[1]
            )
    with pytest.raises(InputError, match="no company"):
        keep_crew(firm.store, "Nobody", "West", depot=Position(42, -73), weekdays=1, from_min=0, to_min=9)


def test_times_of_the_day_are_read_as_people_write_them() -> None:
    assert [minute_of(text) for text in ("7:00", "07.30", "3:15 pm", "12:00 am", "12 PM", "24:00")] == [
        420, 450, 915, 0, 720, 1440,
    ]  # fmt: skip
    for text in ("", "25:00", "7:61", "noon", "13 pm", "-1:00"):
        with pytest.raises(InputError):
            minute_of(text)


def test_links_open_nobody_elses_pages(firm: Firm) -> None:
    assert firm.link("ana").startswith("/work/")
    assert firm.link("ana") != firm.link("sam")
    assert LINKS.facts("work", firm.link("ana").rpartition("/")[2], now=MORNING) == (
        firm.people["ana"].contact_id,
        0,
    )


class Uneven:
    """Spring as it comes: each day its own warmth, showers on some, and rain at noon of the last."""

    def __init__(self, rain_on: date) -> None:
        self.rain_on, self.known = rain_on, False

    def __call__(self, place: Place, on: date) -> WeatherDay:
        draw = Random(on.toordinal())
        low = draw.uniform(5, 12)
        shower = draw.random() < 0.4
        wet = [3.0 if shower and 1 <= hour < 4 else 0.0 for hour in range(24)]
        if self.known and on == self.rain_on:
            wet = [4.0 if 11 <= hour < 20 else mm for hour, mm in enumerate(wet)]
        mean = low + 5
        hours = DayHours((mean,) * 24, (65.0,) * 24, tuple(wet))
        high = low + draw.uniform(8, 13)
        return replace(a_day(on, t_min_c=low, t_max_c=high, rain_mm=sum(wet)), hours=hours)


def work_the_day(firm: Firm, sheet: DaySheet, skipped: int | None, *, until_min: int = 1440) -> set[int]:
    """Report every stop that ends by a time as done, one of them as skipped; those that were done."""
    done = set()
    for crew in sheet.crews:
        for stop in crew.stops:
            lawn_id = stop.lawn.lawn_id
            if stop.ends_min > until_min:
                continue
            visit = Visit(lawn_id, sheet.on, Outcome.DONE)
            if lawn_id == skipped:
                visit = Visit(lawn_id, sheet.on, Outcome.SKIPPED, SkipReason.LOCKED)
            else:
                done.add(lawn_id)
            now = sheet.made_at + timedelta(hours=5)
            report_visit(firm.store, TURF, firm.keeper_id, visit, by="ana", now=now)
    return done


def test_a_week_of_sixty_gardens(tmp_path: Path) -> None:
    """Nobody has a list twice, what was skipped returns, and rain moves only what it must."""
    firm = Firm(new_store(tmp_path / "firm.db"), count=60, routes=SolvedRoutes())
    last = TODAY + timedelta(days=6)
    sky = Uneven(last)
    firm.skies.day = sky
    for lawn_id in range(1, 61):
        firm.minutes(lawn_id, 65.0)
    done_on: dict[int, date] = {}
    skipped = None
    workdays = [TODAY + timedelta(days=more) for more in (0, 1, 4, 5, 6)]
    for number, on in enumerate(workdays):
        now = MORNING + (on - TODAY)
        for later in (0, 1, 2):
            firm.night(now + timedelta(minutes=10 * later))
        sheet = firm.sheet(on)
        assert sheet.version == 1
        assert len(planned(sheet)) == len(set(planned(sheet)))
        spoken_of = {left.lawn.lawn_id for left in sheet.left_out} | set(planned(sheet))
        if skipped is not None:
            assert skipped in spoken_of
            (back,) = [one for one in _lawns(sheet) if one.lawn_id == skipped]
            assert back.skipped == "locked"
        assert all((on - done_on[lawn_id]).days >= 2 for lawn_id in spoken_of & done_on.keys())
        for lawn in _lawns(sheet):
            assert 1 - lawn.cut_to_mm / lawn.height_mm <= 1 / 3 + 1e-6
        for name in ("dana", "ana", "sam"):
            assert len(firm.mails(name)) == number + 1
        if on < last:
            skipped = planned(sheet)[0]
            done_on |= dict.fromkeys(work_the_day(firm, sheet, skipped), on)
    before = firm.sheet(last)
    done = work_the_day(firm, before, None, until_min=600)
    assert done
    assert len(set(planned(before)) - done) >= 4
    sky.known = True
    report = firm.night(MORNING + (last - TODAY) + timedelta(hours=4, minutes=30))
    after = firm.sheet(last)
    assert (report.mornings.changed > 0, after.version, after.why) == (True, 2, RAIN)
    assert not done & set(planned(after))
    assert set(planned(before)) - done > set(planned(after))
    crew_before = _crew_of(before)
    assert all(crew_before[lawn_id] == crew for lawn_id, crew in _crew_of(after).items())
    told = {change.lawn_id for change in after.changes}
    assert set(planned(before)) - done - set(planned(after)) <= told <= set(planned(before)) - done
    assert len(firm.mails("dana")) == len(workdays) + 1


def _lawns(sheet: DaySheet) -> list[SheetLawn]:
    stops = [stop.lawn for crew in sheet.crews for stop in crew.stops]
    return [*stops, *(left.lawn for left in sheet.left_out)]


def _crew_of(sheet: DaySheet) -> dict[int, int]:
    return {stop.lawn.lawn_id: crew.crew_id for crew in sheet.crews for stop in crew.stops}
