"""A keeper's local day, made from their zone once, at the edge."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from mowalert.service.records import KeeperRecord


def local_today(keeper: KeeperRecord, now: datetime) -> date:
    """Return the date it is where a keeper lives."""
    return now.astimezone(ZoneInfo(keeper.time_zone)).date()
