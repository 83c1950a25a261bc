"""What a position on the earth tells: its time zone, its country, and whether grass can grow there."""

from datetime import UTC, date, datetime, time
from functools import cache
from importlib.resources import files
from zoneinfo import ZoneInfo

import tzfpy

from mowalert.errors import InputError

HIGHEST_LATITUDE_DEG, LOWEST_LATITUDE_DEG = 75.0, -60.0
"""Where land with lawns ends; working values."""


def time_zone_at(latitude_deg: float, longitude_deg: float) -> str:
    """Return the IANA zone of a position; InputError on the open sea, near a pole or off the globe."""
    if not (-90 <= latitude_deg <= 90 and -180 <= longitude_deg <= 180):
        raise InputError(f"{latitude_deg:g}, {longitude_deg:g} is no position on the earth")
    if latitude_deg > HIGHEST_LATITUDE_DEG or latitude_deg < LOWEST_LATITUDE_DEG:
        raise InputError(
            f"{latitude_deg:g}, {longitude_deg:g} is too near a pole for a lawn; are signs or order wrong?"
        )
    zone = str(tzfpy.get_tz(longitude_deg, latitude_deg))
    if not zone or zone.startswith("Etc/"):
        raise InputError(
            f"{latitude_deg:g}, {longitude_deg:g} lies on the open sea; are signs or order wrong?"
        )
    return zone


def standard_offset_min(zone: str, on: date) -> int:
    """Return the zone's offset outside summer time in the year of a day. [min]"""
    tz = ZoneInfo(zone)
    noons = (datetime.combine(date(on.year, month, 1), time(12), UTC) for month in (1, 7))
    offsets = [noon.astimezone(tz).utcoffset() for noon in noons]
    return min(int(offset.total_seconds() // 60) for offset in offsets if offset is not None)


def country_of(zone: str) -> str | None:
    """Return the ISO country of a time zone, if the zone table knows it."""
    return _countries().get(zone)


@cache
def _countries() -> dict[str, str]:
    table = (files("tzdata") / "zoneinfo" / "zone.tab").read_text()
    rows = (line.split("\t") for line in table.splitlines() if line and not line.startswith("#"))
    return {row[2]: row[0] for row in rows}
