"""People with a phone and a few lawns, whose texts are answered on a day a test sets."""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from skies import Skies

from mowalert.channels.letters import ServiceLetters
from mowalert.channels.messages import Messages
from mowalert.domain.grasses import Turf
from mowalert.domain.words import Channel
from mowalert.links import Links
from mowalert.service.lawns.enrol import enrol
from mowalert.service.nights.night import run_night
from mowalert.service.policy import Policy
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.records import AT_ENROLMENT, EventRecord, KeeperRecord, LeasedMessage
from mowalert.service.sending.deliver import SmsPolicy, deliver
from mowalert.service.sending.replies import Answered, Desk, InboundText, answer_sms
from mowalert.store.engine import SqlStore

MORNING = datetime(2026, 5, 7, 15, 0, tzinfo=UTC)
"""A Thursday in Chicago, before the weekend notice of the same evening."""
PHONE = "+15155550101"
HEADER = "keeper,kind,email,phone,latitude,longitude,site,lawn,grass,height_mm,watering,last_mown_on"
ONE = (
    f"Ann,homeowner,ann@example.org,{PHONE},41.85,-93.15,Home,front,kentucky_bluegrass,65,regular,2026-04-30"
)
OTHER = f"Ann,homeowner,ann@example.org,{PHONE},41.85,-93.15,Home,back,tall_fescue,90,regular,2026-04-28"
POLICY = Policy(frozenset(Channel), timedelta(hours=36))
LINKS = Links("https://lawns.example.org", "a secret of the tests")
LETTERS = ServiceLetters("Turf Line", "lawns.example.org", "turf@example.org")


@dataclass
class Phone:
    """Somebody's phone: what is texted from it, and what arrives."""

    store: SqlStore
    turf: Turf
    now: datetime = MORNING
    number: str = PHONE
    sky: Skies = field(default_factory=Skies)
    sent: int = 0

    @property
    def desk(self) -> Desk:
        return Desk(self.store, self.turf, LETTERS, LINKS, 0.1)

    def enrol(self, *rows: str, **changes: Any) -> "Phone":
        """Enrol lawns, let a night come, and change every keeper as told."""
        read, report = read_table("\n".join((HEADER, *rows)), self.turf, now=self.now)
        assert not report.problems
        enrol(self.store, self.turf, read, report, source="a test", cell_degrees=0.1, now=self.now)
        self.night()
        self.change(**changes)
        return self

    def change(self, **changes: Any) -> None:
        with self.store.begin() as work:
            for keeper in work.keepers.all():
                work.keepers.change(replace(keeper, **changes))
            work.commit()

    def night(self) -> None:
        run_night(self.store, self.sky, self.turf, Messages("Turf Line"), POLICY, now=self.now)

    def wait(self, **span: int) -> None:
        """Let time pass, and a night come."""
        self.now += timedelta(**span)
        self.night()

    def say(self, text: str, *, number: str = "", sender: str | None = None) -> Answered:
        """Text something; each text has a number of its own unless one is given."""
        self.sent += 1
        inbound = InboundText(number or f"m{self.sent}", sender or self.number, text)
        return answer_sms(self.desk, inbound, now=self.now)

    @property
    def keeper(self) -> KeeperRecord:
        with self.store.begin() as work:
            return work.keepers.by_phone(self.number)[0]

    def waiting(self, channel: Channel = Channel.SMS) -> list[LeasedMessage]:
        """What waits to be sent, looked at without taking it."""
        with self.store.begin() as work:
            batch = work.outbox.lease(now=self.now, until=self.now + timedelta(minutes=1), limit=99)
        return [one for one in batch if one.message.channel is channel]

    def texts(self) -> list[str]:
        """Answers and notices that wait to be texted, the oldest first."""
        return [one.message.text for one in self.waiting()]

    def deliver(self) -> int:
        """Send what waits, to nobody; how many."""
        ways = {channel: Nowhere(channel) for channel in Channel}
        return deliver(self.store, ways, self.turf, POLICY, SmsPolicy(), now=self.now).sent

    def reports(self, lawn_id: int = 1) -> list[EventRecord]:
        """What was reported of a lawn since it was enrolled, by whom it may be."""
        with self.store.begin() as work:
            return [one for one in work.lawns.events(lawn_id) if one.reported_by != AT_ENROLMENT]


@dataclass
class Nowhere:
    """A transport that takes every message."""

    channel: Channel

    def send(self, message: object) -> None:
        pass

    def close(self) -> None:
        pass
