"""Clocks that are put forward or back, by law or by mistake, and leap days: each day's list comes once."""

from collections import Counter
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from builders import TURF
from hard.ledger import note
from service.nights.test_night import PlainWords
from skies import Skies
from stores import new_store
from test_soak import Way

from mowalert.domain.words import Channel
from mowalert.service.lawns.enrol import enrol
from mowalert.service.nights.night import run_night
from mowalert.service.policy import Policy
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.sending.deliver import SmsPolicy, deliver
from mowalert.store.engine import SqlStore, open_engine
from mowalert.store.tables import outbox

POLICY = Policy(frozenset(Channel), timedelta(hours=36))
HOUR = timedelta(hours=1)
LOOKS = (time(0, 20), time(5, 35), time(6, 40), time(12), time(23, 40))
"""When the service looks what has come, on each local day."""
PLACES = {"America/New_York": (42.745, -73.752), "Australia/Sydney": (-33.8, 151.0)}
DAYS = {
    "clocks put forward": ("America/New_York", date(2026, 3, 8)),
    "clocks put back": ("America/New_York", date(2026, 11, 1)),
    "clocks put forward in the south": ("Australia/Sydney", date(2026, 10, 4)),
    "clocks put back in the south": ("Australia/Sydney", date(2026, 4, 5)),
    "leap day": ("Australia/Sydney", date(2028, 2, 29)),
}
SHORT = ("leap day",)
JUMPS = 8
"""On each of these days."""
AROUND = timedelta(days=2)
Clock = Callable[[datetime], datetime]


def right(moment: datetime) -> datetime:
    return moment


def jumping(random: Random, first: datetime, last: datetime) -> Clock:
    """A clock that for more than a day is an hour ahead, and for another an hour behind."""
    shares = (share + random.uniform(0, 0.1) for share in (0.0, 0.35, 0.5, 0.85))
    ahead, on_time, behind, again = (first + (last - first) * share for share in shares)

    def clock(moment: datetime) -> datetime:
        return moment + HOUR * (ahead <= moment < on_time) - HOUR * (behind <= moment < again)

    return clock


def looks(zone: str, first: date, last: date) -> Iterator[datetime]:
    """Moments, in order, at which the service looks."""
    days = [first + timedelta(days=ahead) for ahead in range((last - first).days + 1)]
    for day in days:
        for at in LOOKS:
            yield datetime.combine(day, at, ZoneInfo(zone)).astimezone(UTC)


def crew(zone: str, first: date) -> str:
    """A company that hears of its lawns every morning: one is always due."""
    latitude, longitude = PLACES[zone]
    head = "keeper,kind,email,phone,latitude,longitude,site,grass,height_mm,watering,mowing_days,last_mown_on"
    mown = first - timedelta(days=20)
    every_day = "mon tue wed thu fri sat sun"
    return "\n".join(
        (
            head,
            f"Crew,company,crew@example.com,+15155550101,{latitude},{longitude},1 Elm Yard,tall_fescue,50,"
            f"regular,{every_day},{mown}",
        )
    )


def lists(store: SqlStore, zone: str, on: date, clock: Clock) -> Counter[tuple[str, date]]:
    """Let the service look around a day under a clock; the lists that were sent, by channel and day."""
    first, last = on - AROUND, on + AROUND
    moments = list(looks(zone, first, last))
    begun = moments[0] - timedelta(days=1)
    rows, report = read_table(crew(zone, first), TURF, now=begun)
    assert report.problems == []
    enrol(store, TURF, rows, report, source="a test", cell_degrees=0.1, now=begun)
    ways = {channel: Way(channel, Random(1), fails=False) for channel in Channel}
    for moment in moments:
        now = clock(moment)
        run_night(store, Skies(), TURF, PlainWords(), POLICY, now=now)
        deliver(store, ways, TURF, POLICY, SmsPolicy(), now=now, random=Random(1))
    with open_engine(store.url).connect() as connection:
        rows = connection.execute(sa.select(outbox)).all()
    sent: Counter[tuple[str, date]] = Counter()
    for row in rows:
        sent[row.channel, row.local_date] += ways[Channel(row.channel)].taken[number_of(row)]
    return +sent


def number_of(row: Any) -> str:
    """What a way that was given a message keeps it under."""
    return str(row.rfc_message_id if row.channel == Channel.EMAIL else row.message_id)


def test_each_days_list_comes_once_whatever_the_clock_says(tmp_path: Path, hard: bool) -> None:
    random, wrong = Random(3), []
    for why in DAYS if hard else SHORT:
        zone, on = DAYS[why]
        wanted = {on + timedelta(days=ahead) for ahead in range(-AROUND.days + 1, AROUND.days + 1)}
        first, last = (datetime.combine(on, time(), UTC) + way for way in (-AROUND, AROUND))
        jumps = [("clock jumps an hour", jumping(random, first, last)) for _ in range(JUMPS if hard else 1)]
        for fault, clock in [(why, right), *jumps]:
            store = new_store(tmp_path / "store.db")
            found = lists(store, zone, on, clock)
            store.close()
            lost = {(channel, day) for channel in Channel for day in wanted} - found.keys()
            doubled = found.total() - len(found)
            note(fault, 1, not (lost or doubled), len(lost), doubled)
            wrong += [(fault, why, lost, found)] if lost or doubled else []
    assert wrong == []
