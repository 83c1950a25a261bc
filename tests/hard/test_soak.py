"""A year in fast time with everything failing now and then: what is promised of every day holds every day."""

import os
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from math import cos, pi
from pathlib import Path
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from builders import TURF
from ledger import note
from service.nights.test_night import GRASSES, PlainWords
from skies import Skies, a_day, growing_weather
from stores import new_store

from mowalert.domain.notices import OutgoingMessage
from mowalert.domain.weather import Place, WeatherDay
from mowalert.domain.words import Channel
from mowalert.errors import DeliveryError
from mowalert.service.lawns.enrol import enrol
from mowalert.service.lawns.report import report_mowing
from mowalert.service.nights.night import run_night
from mowalert.service.policy import Policy
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.records import ToldRecord
from mowalert.service.sending.deliver import SmsPolicy, deliver
from mowalert.store.engine import SqlStore
from mowalert.store.tables import outbox

FIRST = date(2026, 4, 1)
ZONE = ZoneInfo("America/New_York")
MORNING, NOON, EVENING = time(5, 35), time(12), time(18, 35)
"""Where the lawns are; texts go between eight and eight."""
MILD_D = 28
"""At the end the weather lets everything grow, so that whatever was held is released."""
POLICY = Policy(frozenset(Channel), timedelta(hours=36))
HEADER = "keeper,kind,email,phone,latitude,longitude,lawn,grass,height_mm,watering,last_mown_on"
CUTS = ("mow", "may_mow", "overgrown")
SETTLED = ("sent", "failed", "cancelled", "expired", "unknown")
MOST_GROWTH_MIB = 60
"""From a third of the time on, when the store's page cache is full."""
MOST_OCTETS_PER_LAWN_DAY = 900
"""Of the store's file. Twice what was seen: it grows by what is told, and by nothing else."""


def moment(on: date, at: time) -> datetime:
    """Return a moment of the lawns' clocks."""
    return datetime.combine(on, at, ZONE).astimezone(UTC)


def sky(seed: int, days: int) -> Any:
    """Seasons with hot, dry, wet and cold weeks, the same for a seed, a place and a date."""

    def day(place: Place, on: date) -> WeatherDay:
        week = Random(f"{seed} {place.latitude_deg:.2f} {on.toordinal() // 9}")
        today = Random(f"{seed} {place.latitude_deg:.2f} {on.toordinal()}")
        mean_c = 12 - 13 * cos(2 * pi * (on.timetuple().tm_yday - 20) / 365) + week.choice((-5, 0, 3, 8))
        wet = week.random() < 0.5
        if on >= FIRST + timedelta(days=days - MILD_D):
            return growing_weather(place, on)
        rain_mm = round(today.uniform(2, 15), 1) if wet and today.random() < 0.5 else 0.0
        mean_c += today.uniform(-2, 2)
        return a_day(on, t_min_c=round(mean_c - 6, 1), t_max_c=round(mean_c + 6, 1), rain_mm=rain_mm)

    return day


def in_fahrenheit(told: Any) -> Any:
    def day(place: Place, on: date) -> WeatherDay:
        good = told(place, on)
        return a_day(
            on, t_min_c=good.t_min_c * 1.8 + 32, t_max_c=good.t_max_c * 1.8 + 32, rain_mm=good.rain_mm
        )

    return day


def lawns(count: int, random: Random) -> list[str]:
    """Keepers of one to five lawns around a few places."""
    rows: list[str] = []
    while len(rows) < count:
        number = len(rows)
        kind = "company" if random.random() < 0.2 else "homeowner"
        phone = f"+1515555{number:04}" if random.random() < 0.3 else ""
        latitude_deg = 42.0 + 0.3 * random.randrange(max(3, count // 100))
        for lawn in range(min(random.randrange(1, 6), count - number)):
            grass, height_mm = random.choice(GRASSES)
            mown = FIRST - timedelta(days=random.randrange(1, 25))
            watering = random.choice(("none", "regular"))
            rows.append(
                f"keeper{number},{kind},keeper{number}@example.org,{phone},{latitude_deg:.1f},-73.752,"
                f"lawn {lawn},{grass},{height_mm},{watering},{mown}"
            )
    return rows


@dataclass
class Way:
    """A transport that fails in every way there is, and keeps what it took."""

    channel: Channel
    random: Random
    fails: bool = True
    taken: Counter[str] = field(default_factory=Counter)
    unsure: set[str] = field(default_factory=set)

    def send(self, message: OutgoingMessage) -> None:
        number = message.rfc_message_id if self.channel is Channel.EMAIL else str(message.message_id)
        fault = self.random.random() if self.fails else 1.0
        if fault < 0.10:
            raise DeliveryError("busy", permanent=False, channel=self.channel, code="451")
        if fault < 0.12:
            raise DeliveryError("no", permanent=True, channel=self.channel, code="554")
        self.taken[number] += 1
        if fault < 0.15:
            self.unsure.add(number)
            raise DeliveryError("line dropped", permanent=False, channel=self.channel, fate_known=False)
        if fault < 0.16:
            self.unsure.add(number)
            raise Crash

    def close(self) -> None:
        """Nothing to let go of."""


class Crash(BaseException):
    """The process ends here."""


@dataclass
class Town:
    """Lawns, their weather, and everything that was told."""

    store: SqlStore
    skies: Skies
    random: Random
    ways: dict[Channel, Way]
    good: Any
    calm: bool = False
    down_until: date = date.min
    holds: dict[int, str] = field(default_factory=dict)
    due: dict[int, date] = field(default_factory=dict)
    told: dict[tuple[Any, ...], date] = field(default_factory=dict)
    """The newest day of each notice: a year of days would be the larger part of what is measured."""
    wrong: list[Any] = field(default_factory=list)

    def night(self, now: datetime) -> None:
        report = run_night(self.store, self.skies, TURF, PlainWords(), POLICY, now=now)
        for record in report.tell.told:
            self.note(record)

    def note(self, record: ToldRecord) -> None:
        """Hold one notice against what is promised."""
        lawn_id, kind, facts = record.lawn_id, record.kind, record.facts
        if record.on <= self.told.get((lawn_id, kind, record.reason), date.min):
            self.wrong.append(("told twice", record))
        self.told[lawn_id, kind, record.reason] = record.on
        if kind in CUTS:
            if (facts["removed_fraction"] or 0.0) > 1 / 3 + 1e-9:
                self.wrong.append(("more than a third", record))
            if lawn_id in self.holds:
                self.wrong.append(("a cut in a hold", record))
            if facts["best_on"]:
                self.due[lawn_id] = date.fromisoformat(facts["best_on"])
        elif kind == "hold":
            if self.holds.get(lawn_id) == record.reason:
                self.wrong.append(("a hold told again", record))
            self.holds[lawn_id] = str(record.reason)
        elif kind == "release" and self.holds.pop(lawn_id, None) is None:
            self.wrong.append(("a release without a hold", record))

    def deliver(self, now: datetime) -> None:
        try:
            deliver(self.store, self.ways, TURF, POLICY, SmsPolicy(), now=now, random=self.random)
        except Crash:
            self.deliver(now + timedelta(hours=1))

    def mow(self, now: datetime) -> None:
        """Some of those who were told to mow do it, and say so."""
        today = now.astimezone(ZONE).date()
        for lawn_id, on in list(self.due.items()):
            if on <= today:
                del self.due[lawn_id]
                if self.random.random() < 0.6:
                    report_mowing(
                        self.store, TURF, lawn_id, height_mm=None, on=today, today=today, now=now, by="page"
                    )

    def day(self, on: date) -> None:
        """A morning, a noon and an evening; now and then without weather, with wrong one, or not at all."""
        fate = 1.0 if self.calm else self.random.random()
        if fate < 0.05:
            self.down_until = on + timedelta(days=self.random.randrange(1, 5))
        self.skies.down = on < self.down_until
        self.skies.day = in_fahrenheit(self.good) if 0.05 <= fate < 0.08 else self.good
        at_work = not 0.08 <= fate < 0.12
        if at_work:
            self.look(moment(on, MORNING))
        self.deliver(moment(on, NOON))
        if at_work:
            self.look(moment(on, EVENING))

    def look(self, now: datetime) -> None:
        """A night and what follows it; now and then the night twice."""
        self.night(now)
        if self.random.random() < 0.1:
            self.night(now)
        self.deliver(now)
        self.mow(now)

    def waiting(self, now: datetime) -> int:
        """Messages that wait although nobody needs them any more."""
        engine = sa.create_engine(self.store.url)
        query = sa.select(sa.func.count()).where(outbox.c.state.not_in(SETTLED), outbox.c.useful_until < now)
        with engine.connect() as connection:
            late = connection.scalar(query)
        engine.dispose()
        return int(late or 0)


def resident_mib() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def test_what_is_promised_of_a_day_holds_on_every_day(tmp_path: Path, hard: bool) -> None:
    count, days = (2000, 365 + 2 * MILD_D) if hard else (60, 56)
    random = Random(8 if hard else 5)
    store = new_store(tmp_path / "year.db")
    now = datetime(FIRST.year, FIRST.month, FIRST.day, tzinfo=UTC)
    rows, report = read_table("\n".join((HEADER, *lawns(count, random))), TURF, now=now)
    assert report.problems == []
    enrol(store, TURF, rows, report, source="a test", cell_degrees=0.1, now=now)
    ways = {channel: Way(channel, random) for channel in Channel}
    town = Town(store, Skies(), random, ways, sky(8, days))
    early_mib = 0.0
    for ahead in range(days):
        town.calm = ahead >= days - MILD_D
        for way in ways.values():
            way.fails = not town.calm
        town.day(FIRST + timedelta(days=ahead))
        late = town.waiting(moment(FIRST + timedelta(days=ahead), NOON))
        town.wrong += [("not drained", ahead, late)] if late else []
        if ahead == days // 3:
            early_mib = resident_mib()
    store.close()
    octets = sum(path.stat().st_size for path in tmp_path.glob("year.db*"))
    doubled = [number for way in ways.values() for number, times in way.taken.items() if times > 1]
    by_accident = ways[Channel.EMAIL].unsure
    bad = len(town.wrong) + len(set(doubled) - by_accident)
    note("days of a year", days, days if not bad else 0, len(town.holds), len(set(doubled) - by_accident))
    assert town.wrong == []
    assert set(doubled) <= by_accident, "only a mail whose fate was not known may go again"
    assert town.holds == {}, "each hold that was told was ended"
    assert {kind for _, kind, *_ in town.told} >= {"mow", "overgrown", "hold", "release", "no_weather"}
    assert resident_mib() - early_mib < MOST_GROWTH_MIB
    assert octets / count / days < MOST_OCTETS_PER_LAWN_DAY
