"""When digests go out: local moments, which of them have come, and until when they are worth sending.

A homeowner's round is the evening two days before a block of mowing days begins (Thursday evening
for a weekend mower); a company's or a park's is every working morning.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from mowalert.domain.decide import Round

EVENING_MIN = 18 * 60
MORNING_MIN = 5 * 60 + 30
LIST_USEFUL_UNTIL = time(18)
ADVICE_USEFUL_UNTIL = time(12)
EVERY_DAY = 127
MOST_MISSED_D = 60
"""Days of a long downtime whose missed rounds are recorded one by one."""
DAY_NAMES = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
"""Weekdays as tables, forms and guides write them; Monday is 0."""


@dataclass(frozen=True, slots=True)
class Timetable:
    """A round's local weekdays (bit 0 Monday), its minute of the day and its zone."""

    daily_list: bool
    time_zone: str
    weekdays: int
    minute_of_day: int


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One time a round comes: its local date, the moment, and until when its advice is useful."""

    on: date
    moment: datetime
    useful_until: datetime
    next_on: date


def timetable_for(mowing_days: frozenset[int], *, time_zone: str, daily_list: bool) -> Timetable:
    """Return the round that suits a keeper's mowing days."""
    if daily_list:
        return Timetable(True, time_zone, as_weekdays(mowing_days), MORNING_MIN)
    starts = {day for day in mowing_days if (day - 1) % 7 not in mowing_days} or {5}
    return Timetable(False, time_zone, as_weekdays({(day - 2) % 7 for day in starts}), EVENING_MIN)


def as_weekdays(days: frozenset[int] | set[int]) -> int:
    """Fold weekdays, Monday 0, into bits."""
    return sum(1 << day for day in days)


def weekdays_in(bits: int) -> frozenset[int]:
    """Unfold weekdays from bits."""
    return frozenset(day for day in range(7) if bits >> day & 1)


def latest(table: Timetable, *, now: datetime) -> Occurrence:
    """Return the newest occurrence of a round that has come.

    Parameters
    ----------
    table : Timetable
        The round; it has at least one weekday.
    now : datetime
        An aware moment.

    Returns
    -------
    Occurrence
        Its local date is today or up to a week ago. A clock change moves its moment, never skips it.
    """
    today = now.astimezone(ZoneInfo(table.time_zone)).date()
    days = (today - timedelta(days=back) for back in range(8))
    on = next(day for day in days if _falls_on(table, day) and moment_of(table, day) <= now)
    return occurrence(table, on)


def occurrence(table: Timetable, on: date) -> Occurrence:
    """Return a round's occurrence on a local date."""
    following = next(
        on + timedelta(days=ahead) for ahead in range(1, 8) if _falls_on(table, on + timedelta(days=ahead))
    )
    return Occurrence(on, moment_of(table, on), _useful_until(table, on, following), following)


def missed_between(table: Timetable, after: date, before: date) -> list[date]:
    """Return the local dates of a round between two of its dates, the newest two months of them."""
    first = max(after + timedelta(days=1), before - timedelta(days=MOST_MISSED_D))
    days = (first + timedelta(days=ahead) for ahead in range((before - first).days))
    return [day for day in days if _falls_on(table, day)]


def moment_of(table: Timetable, on: date) -> datetime:
    """Return the moment, in UTC, at which a round comes on a local date."""
    at = time(table.minute_of_day // 60, table.minute_of_day % 60)
    return datetime.combine(on, at, ZoneInfo(table.time_zone)).astimezone(UTC)


def round_on(
    table: Timetable, occurrence_: Occurrence, *, tells_all_holds: bool, by_class: bool = False
) -> Round:
    """Return the round as a decision sees it."""
    on = occurrence_.on
    first = on if table.daily_list else on + timedelta(days=1)
    return Round(on, first, occurrence_.next_on, table.daily_list, tells_all_holds, by_class)


def _falls_on(table: Timetable, day: date) -> bool:
    return bool(table.weekdays >> day.weekday() & 1)


def _useful_until(table: Timetable, on: date, following: date) -> datetime:
    zone = ZoneInfo(table.time_zone)
    if table.daily_list:
        return datetime.combine(on, LIST_USEFUL_UNTIL, zone).astimezone(UTC)
    # Two days ahead comes the block of mowing days; its second day's noon ends the advice.
    last = min(on + timedelta(days=3), following)
    return datetime.combine(last, ADVICE_USEFUL_UNTIL, zone).astimezone(UTC)
