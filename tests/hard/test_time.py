"""Around every change of every clock there is: a round comes once on each local day it should."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from functools import cache
from random import Random
from zoneinfo import ZoneInfo, available_timezones

from ledger import note

from mowalert.domain.rounds import EVENING_MIN, EVERY_DAY, MORNING_MIN, Timetable, latest, moment_of

YEARS = (2011, 2026)
"""The first has the day that Samoa left out."""
MINUTES = (MORNING_MIN, EVENING_MIN, 0, 30, 150, 23 * 60 + 59)
SHORT_ZONES = 20
ALWAYS = (
    "America/St_Johns",
    "Asia/Kathmandu",
    "Australia/Lord_Howe",
    "America/Santiago",
    "Africa/Cairo",
    "Pacific/Apia",
    "Pacific/Kiritimati",
    "Europe/Dublin",
    "Africa/Casablanca",
    "Antarctica/Troll",
)


@cache
def changes(zone: str) -> tuple[date, ...]:
    """Days in whose course a zone's clocks are put forward or back; 1 March too, where none are."""
    found = []
    for year in YEARS:
        noon = datetime(year, 1, 1, 12, tzinfo=UTC)
        offsets = [(noon + timedelta(days=day)).astimezone(ZoneInfo(zone)).utcoffset() for day in range(366)]
        found += [
            date(year, 1, 1) + timedelta(days=day)
            for day in range(1, 366)
            if offsets[day] != offsets[day - 1]
        ]
    return tuple(found) or (date(2026, 3, 1),)


def local_days(zone: str, first: datetime, last: datetime) -> Iterator[date]:
    """Local dates that begin in a span and are there at all, seen hour by hour."""
    hours = int((last - first).total_seconds() // 3600)
    seen = dict.fromkeys(
        (first + timedelta(hours=hour)).astimezone(ZoneInfo(zone)).date() for hour in range(hours)
    )
    yield from list(seen)[1:-1]


def ticks(first: datetime, last: datetime, random: Random) -> Iterator[datetime]:
    """Moments at which the scheduler looks, none quite regular."""
    now = first
    while now <= last:
        yield now
        now += timedelta(minutes=random.choice((5, 15, 15, 55)))


def test_no_change_of_clocks_skips_a_round_or_doubles_it(hard: bool) -> None:
    every, random = sorted(available_timezones()), Random(4)
    zones = every if hard else sorted({*ALWAYS, *random.sample(every, SHORT_ZONES)})
    wrong, runs = [], 0
    for zone in zones:
        for change in changes(zone):
            for minute in MINUTES if hard else random.sample(MINUTES, 2):
                runs += 1
                table = Timetable(True, zone, EVERY_DAY, minute)
                start = datetime(change.year, change.month, change.day, tzinfo=UTC)
                first, last = start - timedelta(days=2), start + timedelta(days=3)
                done: list[date] = []
                for now in ticks(first, last, random):
                    on = latest(table, now=now).on
                    if not done or on > done[-1]:
                        done.append(on)
                    elif on < done[-1]:
                        wrong.append((zone, change, minute, "went back", on))
                should = [
                    day for day in local_days(zone, first, last) if first < moment_of(table, day) <= last
                ]
                if [day for day in done if should[0] <= day <= should[-1]] != should:
                    wrong.append((zone, change, minute, done, should))
    note("clocks put forward or back", runs, runs - len(wrong), len(wrong), 0)
    assert wrong == []
