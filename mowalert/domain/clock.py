"""Clocks on the wall against the days of the weather, which know no summer time."""

from collections.abc import Sequence
from datetime import date, datetime, time
from math import nan
from zoneinfo import ZoneInfo


def summer_min(time_zone: str, utc_offset_min: int, on: date) -> int:
    """Return how far a place's clocks are ahead of its weather's days.

    Parameters
    ----------
    time_zone : str
        IANA name of the clocks' zone.
    utc_offset_min : int
        The fixed offset by which the weather's days are cut. [min]
    on : date
        The day; its noon counts, since clocks change at night.

    Returns
    -------
    int
        60 in most summers, else 0. [min]
    """
    noon = datetime.combine(on, time(12), ZoneInfo(time_zone))
    offset = noon.utcoffset()
    assert offset is not None  # noqa: S101 - an aware moment has one
    return int(offset.total_seconds() // 60) - utc_offset_min


def by_the_clock(hours: Sequence[float], ahead_min: int) -> tuple[float, ...]:
    """Return a day's hourly values by the hour the clock shows.

    Parameters
    ----------
    hours : Sequence[float]
        Values of the 24 hours of a weather day.
    ahead_min : int
        How far the clocks are ahead, as ``summer_min`` says. [min]

    Returns
    -------
    tuple[float, ...]
        24 values; ``nan`` where the clock's day reaches beyond the weather's.
    """
    ahead = round(ahead_min / 60)
    return tuple(hours[hour - ahead] if 0 <= hour - ahead < len(hours) else nan for hour in range(len(hours)))


def minute_of_day(now: datetime, time_zone: str) -> int:
    """Return the minute of the day that the clocks of a zone show at an aware moment."""
    local = now.astimezone(ZoneInfo(time_zone))
    return local.hour * 60 + local.minute


def clock(minute: int) -> time:
    """Return the time that a minute of the day is; the one that ends it is midnight."""
    return time(minute // 60 % 24, minute % 60)
