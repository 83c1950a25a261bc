"""The drill: run, back up, lose everything, restore, go on; nobody is told twice, and the rest is told."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random

import pytest
from builders import TURF
from skies import Skies
from stores import new_store

from mowalert.channels.messages import Messages
from mowalert.domain.notices import OutgoingMessage
from mowalert.domain.words import Channel
from mowalert.service.backup import back_up, restore
from mowalert.service.lawns.enrol import enrol
from mowalert.service.nights.night import run_night
from mowalert.service.policy import Policy
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.sending.deliver import DeliveryReport, SmsPolicy, deliver
from mowalert.store.backup import SqlCopies
from mowalert.store.engine import SqlStore

TABLE = """keeper,kind,email,phone,latitude,longitude,site,grass,height_mm,watering,last_mown_on,mowing_days
Ann,homeowner,ann@example.org,+15155550101,41.85,-93.15,Home,kentucky_bluegrass,65,regular,2026-04-27,sat sun
Crew,company,crew@example.com,,41.85,-93.15,Yard,perennial_ryegrass,50,regular,2026-04-20,mon tue wed thu fri
Town,parks,parks@example.com,,41.85,-93.15,Oval,tall_fescue,70,none,2026-04-20,mon tue wed thu fri
"""
MONDAY = date(2026, 5, 4)
POLICY = Policy(frozenset(Channel), timedelta(hours=36))
TICKS = (timedelta(hours=10, minutes=35), timedelta(hours=16), timedelta(hours=23, minutes=5))
"""05:35, 11:00 and 18:05 in Chicago."""
BACKED_UP, LOST = MONDAY + timedelta(days=2), MONDAY + timedelta(days=4)
LAST = MONDAY + timedelta(days=8)
EACH = [("sqlite", "sqlite"), ("postgresql", "postgresql"), ("sqlite", "postgresql")]


@dataclass
class Way:
    """A way out that remembers what went; it outlives the store."""

    channel: Channel
    gone: list[tuple[date, str]] = field(default_factory=list)
    on: date = MONDAY
    dies: bool = False

    def send(self, message: OutgoingMessage) -> None:
        if self.dies:
            raise KeyboardInterrupt
        self.gone.append((self.on, f"{message.address} {message.rfc_message_id}"))

    def close(self) -> None:
        pass


class Service:
    """Nights and deliveries of one store after another."""

    def __init__(self, store: SqlStore) -> None:
        self.store = store
        self.mails, self.texts = Way(Channel.EMAIL), Way(Channel.SMS)
        self.sky = Skies()

    def begin(self) -> None:
        now = datetime(2026, 5, 4, 5, tzinfo=UTC)
        rows, report = read_table(TABLE, TURF, now=now)
        assert not report.problems
        enrol(self.store, TURF, rows, report, source="a test", cell_degrees=0.1, now=now)

    def run(self, first: date, last: date) -> None:
        """Live from one morning to another evening."""
        for ahead in range((last - first).days + 1):
            for tick in TICKS:
                self.tick(first + timedelta(days=ahead), tick)

    def tick(self, on: date, at: timedelta) -> DeliveryReport:
        now = datetime(on.year, on.month, on.day, tzinfo=UTC) + at
        self.mails.on = self.texts.on = on
        run_night(self.store, self.sky, TURF, Messages("Turf Line"), POLICY, now=now)
        return self.deliver(now + timedelta(minutes=1))

    def deliver(self, now: datetime) -> DeliveryReport:
        ways = {way.channel: way for way in (self.mails, self.texts)}
        return deliver(self.store, ways, TURF, POLICY, SmsPolicy(), now=now, random=Random(1))

    def states(self) -> dict[str, int]:
        with self.store.begin() as work:
            return dict(work.outbox.states())

    @property
    def gone(self) -> list[tuple[date, str]]:
        return self.mails.gone + self.texts.gone


@pytest.fixture
def service(store: SqlStore) -> Service:
    service = Service(store)
    service.begin()
    return service


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[date, str]]:
    """What the same town hears where nothing goes wrong."""
    store = new_store(tmp_path_factory.mktemp("undisturbed") / "store.db")
    service = Service(store)
    service.begin()
    service.run(MONDAY, LAST)
    store.close()
    return service.gone


def evening(on: date) -> datetime:
    return datetime(on.year, on.month, on.day, 23, 30, tzinfo=UTC)


def restored(service: Service, url: str, path: Path, *, at: datetime, nothing_since: bool = False) -> None:
    """Go on with a store of its own, filled from a backup."""
    restore(SqlCopies(url), path, at=at, nothing_since=nothing_since, replace=False)
    service.store = SqlStore(url)


@pytest.mark.parametrize(("store", "other_url"), EACH, indirect=True)
def test_after_a_loss_nobody_is_told_twice_and_the_rest_is_told(
    service: Service, other_url: str, tmp_path: Path, undisturbed: list[tuple[date, str]]
) -> None:
    service.run(MONDAY, BACKED_UP)
    back_up(SqlCopies(service.store.url), tmp_path / "kept.backup", at=evening(BACKED_UP))
    service.run(BACKED_UP + timedelta(days=1), LOST)
    lost = service.store
    restored(service, other_url, tmp_path / "kept.backup", at=evening(LOST))
    lost.close()
    told_before = len(service.gone)
    assert service.tick(LOST, timedelta(hours=23, minutes=40)).sent == 0
    service.run(LOST + timedelta(days=1), LAST)
    told = [once for _, once in service.gone]
    assert len(told) == len(set(told))
    # Each day after the loss everybody hears what they would have heard.
    assert sorted(service.gone) == sorted(undisturbed)
    assert len(service.gone) > told_before
    service.store.close()


@pytest.mark.parametrize(("store", "other_url"), EACH[2:], indirect=True)
def test_what_waited_in_a_backup_is_of_unknown_fate_and_stays_so(
    service: Service, other_url: str, tmp_path: Path
) -> None:
    service.run(MONDAY, BACKED_UP)
    thursday = BACKED_UP + timedelta(days=1)
    service.tick(thursday, TICKS[0])
    service.texts.dies = True
    with pytest.raises(KeyboardInterrupt):
        service.tick(thursday, TICKS[2])
    before = service.states()
    assert before["sending"] == 1
    lost = service.store
    back_up(SqlCopies(lost.url), tmp_path / "kept.backup", at=evening(thursday))
    restored(service, other_url, tmp_path / "kept.backup", at=evening(thursday) + timedelta(hours=1))
    lost.close()
    service.texts.dies = False
    gone = len(service.gone)
    service.tick(thursday + timedelta(days=1), timedelta(hours=3))
    waiting = before.get("ready", 0) + before.get("leased", 0) + 1
    assert service.states() == {"sent": before["sent"], "unknown": waiting}
    assert len(service.gone) == gone
    service.store.close()


@pytest.mark.parametrize(("store", "other_url"), EACH[2:], indirect=True)
def test_a_move_while_nothing_runs_loses_nothing(service: Service, other_url: str, tmp_path: Path) -> None:
    service.run(MONDAY, BACKED_UP)
    thursday = BACKED_UP + timedelta(days=1)
    now = evening(thursday)
    run_night(service.store, service.sky, TURF, Messages("Turf Line"), POLICY, now=now)
    waiting = service.states()["ready"]
    assert waiting >= 2
    old = service.store
    back_up(SqlCopies(old.url), tmp_path / "kept.backup", at=now)
    restored(service, other_url, tmp_path / "kept.backup", at=now, nothing_since=True)
    old.close()
    assert service.deliver(now + timedelta(minutes=1)).sent == waiting
    service.store.close()
