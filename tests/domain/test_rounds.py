"""When digests go out: once on every local day they should, whatever the clocks do."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mowalert.domain.rounds import (
    EVENING_MIN,
    EVERY_DAY,
    MORNING_MIN,
    Timetable,
    as_weekdays,
    latest,
    missed_between,
    moment_of,
    occurrence,
    round_on,
    timetable_for,
    weekdays_in,
)

NEW_YORK = "America/New_York"
MON, TUE, WED, THU, FRI, SAT, SUN = range(7)
ZONES = (
    "America/New_York",
    "America/St_Johns",  # half an hour
    "Asia/Kolkata",  # half an hour, no summer time
    "Asia/Kathmandu",  # three quarters
    "Australia/Lord_Howe",  # summer time of half an hour
    "Australia/Sydney",  # south of the equator
    "Pacific/Chatham",  # south, and three quarters
    "America/Santiago",  # clocks change at midnight, south
    "Africa/Cairo",  # clocks change at midnight
    "Pacific/Kiritimati",  # the first to see a day
    "Pacific/Pago_Pago",  # the last
)


def days_done(table: Timetable, first: datetime, last: datetime, every: timedelta) -> list[date]:
    """Local dates on which a round is run by ticks, as the service decides it."""
    done: list[date] = []
    now = first
    while now <= last:
        newest = latest(table, now=now)
        assert newest.moment <= now
        if not done or done[-1] < newest.on:
            done.append(newest.on)
        now += every
    return done


@settings(max_examples=120)
@given(
    zone=st.sampled_from(ZONES),
    weekdays=st.integers(1, EVERY_DAY),
    minute=st.sampled_from((MORNING_MIN, EVENING_MIN, 0, 30, 90, 150, 23 * 60 + 59)),
    start=st.dates(date(2025, 9, 1), date(2027, 5, 1)),
    every_min=st.sampled_from((20, 60, 7 * 60)),
)
def test_a_round_comes_once_on_each_of_its_days(
    zone: str, weekdays: int, minute: int, start: date, every_min: int
) -> None:
    table = Timetable(False, zone, weekdays, minute)
    first = datetime.combine(start, time(), UTC)
    last = first + timedelta(days=12)
    done = days_done(table, first, last, timedelta(minutes=every_min))
    between = [done[0] + timedelta(days=day) for day in range((done[-1] - done[0]).days + 1)]
    assert done == [day for day in between if weekdays >> day.weekday() & 1]
    # The newest is never further back than a week and the day itself.
    assert (last.astimezone(ZoneInfo(zone)).date() - done[-1]).days <= 7


@pytest.mark.parametrize(
    ("zone", "on", "minute", "utc"),
    [
        (NEW_YORK, date(2026, 3, 7), 150, datetime(2026, 3, 7, 7, 30, tzinfo=UTC)),
        # 02:30 does not exist: it comes when the clocks show 03:30.
        (NEW_YORK, date(2026, 3, 8), 150, datetime(2026, 3, 8, 7, 30, tzinfo=UTC)),
        (NEW_YORK, date(2026, 3, 9), 150, datetime(2026, 3, 9, 6, 30, tzinfo=UTC)),
        # 01:30 comes twice: the first counts.
        (NEW_YORK, date(2026, 11, 1), 90, datetime(2026, 11, 1, 5, 30, tzinfo=UTC)),
        ("Asia/Kolkata", date(2026, 5, 7), EVENING_MIN, datetime(2026, 5, 7, 12, 30, tzinfo=UTC)),
        ("Asia/Kathmandu", date(2026, 5, 7), MORNING_MIN, datetime(2026, 5, 6, 23, 45, tzinfo=UTC)),
        ("Australia/Lord_Howe", date(2026, 1, 1), MORNING_MIN, datetime(2025, 12, 31, 18, 30, tzinfo=UTC)),
        ("Australia/Lord_Howe", date(2026, 7, 1), MORNING_MIN, datetime(2026, 6, 30, 19, 0, tzinfo=UTC)),
        ("Pacific/Kiritimati", date(2026, 5, 7), EVENING_MIN, datetime(2026, 5, 7, 4, 0, tzinfo=UTC)),
        ("Pacific/Pago_Pago", date(2026, 5, 7), EVENING_MIN, datetime(2026, 5, 8, 5, 0, tzinfo=UTC)),
    ],
)
def test_a_round_comes_at_its_local_minute(zone: str, on: date, minute: int, utc: datetime) -> None:
    assert moment_of(Timetable(False, zone, EVERY_DAY, minute), on) == utc


def test_the_hour_that_comes_twice_has_one_round() -> None:
    table = Timetable(True, NEW_YORK, EVERY_DAY, 90)
    ticks = [datetime(2026, 11, 1, 5, 0, tzinfo=UTC) + timedelta(minutes=10 * step) for step in range(12)]
    assert [latest(table, now=now).on for now in ticks] == [date(2026, 10, 31)] * 3 + [date(2026, 11, 1)] * 9


def test_a_day_that_a_country_left_out_has_no_round_of_its_own() -> None:
    """Samoa went from 29 to 31 December 2011 when it crossed the date line."""
    table = Timetable(True, "Pacific/Apia", EVERY_DAY, MORNING_MIN)
    done = days_done(
        table,
        datetime(2011, 12, 28, tzinfo=UTC),
        datetime(2012, 1, 2, tzinfo=UTC),
        timedelta(minutes=30),
    )
    assert date(2011, 12, 30) not in done
    assert done[-4:] == [date(2011, 12, 29), date(2011, 12, 31), date(2012, 1, 1), date(2012, 1, 2)]


def test_either_side_of_the_date_line_has_its_own_thursday() -> None:
    """While it is Thursday evening on one island it is still Wednesday on another, a day behind."""
    now = datetime(2026, 5, 7, 5, 0, tzinfo=UTC)
    ahead = Timetable(False, "Pacific/Kiritimati", as_weekdays({THU}), EVENING_MIN)
    behind = Timetable(False, "Pacific/Pago_Pago", as_weekdays({THU}), EVENING_MIN)
    assert latest(ahead, now=now).on == date(2026, 5, 7)
    assert latest(behind, now=now).on == date(2026, 4, 30)
    assert latest(behind, now=now + timedelta(days=1)).on == date(2026, 5, 7)


@pytest.mark.parametrize(
    ("mowing_days", "rounds"),
    [
        ({SAT, SUN}, {THU}),
        ({SAT}, {THU}),
        ({WED}, {MON}),
        ({MON}, {SAT}),
        ({WED, SAT, SUN}, {MON, THU}),
        ({SUN, MON}, {FRI}),
        ({MON, TUE, WED, THU, FRI, SAT, SUN}, {THU}),
        (set(), {THU}),
    ],
)
def test_a_homeowner_hears_in_the_evening_two_days_before_a_block_of_mowing_days(
    mowing_days: set[int], rounds: set[int]
) -> None:
    table = timetable_for(frozenset(mowing_days), time_zone=NEW_YORK, daily_list=False)
    assert weekdays_in(table.weekdays) == rounds
    assert table.minute_of_day == EVENING_MIN


def test_a_company_hears_every_working_morning() -> None:
    table = timetable_for(frozenset({MON, WED}), time_zone=NEW_YORK, daily_list=True)
    assert weekdays_in(table.weekdays) == {MON, WED}
    assert table.minute_of_day == MORNING_MIN
    newest = latest(table, now=datetime(2026, 5, 7, 12, tzinfo=UTC))
    assert (newest.on, newest.next_on) == (date(2026, 5, 6), date(2026, 5, 11))


def test_weekend_advice_is_useful_until_sunday_noon() -> None:
    table = timetable_for(frozenset({SAT, SUN}), time_zone=NEW_YORK, daily_list=False)
    thursday = occurrence(table, date(2026, 5, 7))
    assert thursday.useful_until == datetime(2026, 5, 10, 16, 0, tzinfo=UTC)
    assert thursday.next_on == date(2026, 5, 14)
    # In the weekend of the clock change noon is noon.
    assert occurrence(table, date(2026, 10, 29)).useful_until == datetime(2026, 11, 1, 17, 0, tzinfo=UTC)


def test_a_morning_list_is_useful_until_the_evening() -> None:
    table = timetable_for(frozenset(range(5)), time_zone="Asia/Kolkata", daily_list=True)
    assert occurrence(table, date(2026, 5, 7)).useful_until == datetime(2026, 5, 7, 12, 30, tzinfo=UTC)


def test_advice_ends_before_the_next_round_comes() -> None:
    table = timetable_for(frozenset({MON, WED, FRI}), time_zone=NEW_YORK, daily_list=False)
    for day in range(7):
        on = date(2026, 5, 4) + timedelta(days=day)
        if on.weekday() in weekdays_in(table.weekdays):
            found = occurrence(table, on)
            assert found.moment < found.useful_until < moment_of(table, found.next_on)


def test_a_round_looks_from_tomorrow_on_a_list_from_today() -> None:
    on = date(2026, 5, 7)
    evening = Timetable(False, NEW_YORK, as_weekdays({THU}), EVENING_MIN)
    weekly = round_on(evening, occurrence(evening, on), tells_all_holds=False)
    assert (weekly.today, weekly.first_chance_on, weekly.lists_window) == (on, date(2026, 5, 8), False)
    morning = Timetable(True, NEW_YORK, EVERY_DAY, MORNING_MIN)
    daily = round_on(morning, occurrence(morning, on), tells_all_holds=True)
    assert (daily.today, daily.first_chance_on, daily.lists_window) == (on, on, True)
    assert daily.tells_all_holds


def test_missed_rounds_lie_between_two_that_are_known() -> None:
    table = Timetable(True, NEW_YORK, as_weekdays(set(range(5))), MORNING_MIN)
    assert missed_between(table, date(2026, 5, 6), date(2026, 5, 11)) == [date(2026, 5, 7), date(2026, 5, 8)]
    assert missed_between(table, date(2026, 5, 6), date(2026, 5, 7)) == []
    long = missed_between(table, date(2025, 5, 6), date(2026, 5, 11))
    assert long[0] >= date(2026, 3, 12)
    assert len(long) < 60


@given(days=st.sets(st.integers(0, 6)))
def test_weekdays_fold_and_unfold(days: set[int]) -> None:
    assert weekdays_in(as_weekdays(days)) == days
