"""Someone with one lawn and a ruler, under a sky a test sets."""

from datetime import UTC, date, datetime, timedelta

from skies import Skies

from mowalert.domain.grasses import Turf
from mowalert.domain.words import Channel
from mowalert.service.growing.grow import grow_stands, growth_on
from mowalert.service.growing.outlook import lawn_facts
from mowalert.service.growing.pull import pull_weather
from mowalert.service.lawns.enrol import enrol
from mowalert.service.lawns.report import Reported, report_height, report_mowing
from mowalert.service.policy import Policy
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.records import LawnRecord
from mowalert.service.region.guides import guides_now
from mowalert.store.engine import SqlStore

START = date(2026, 5, 4)
TABLE = """keeper,kind,email,latitude,longitude,grass,height_mm,watering,last_mown_on,last_height_mm
Ann,company,ann@example.org,42.0,-73.0,kentucky_bluegrass,70,regular,2026-05-04,70
"""
POLICY = Policy(frozenset(Channel), timedelta(hours=36))
TRUTH = 1.4


def evening(on: date) -> datetime:
    return datetime(on.year, on.month, on.day, 22, 5, tzinfo=UTC)


def enrolled(store: SqlStore, turf: Turf, table: str, *, on: date) -> None:
    """Enrol whom a table tells of."""
    with store.begin() as work:
        guides = guides_now(work, turf)
    rows, report = read_table(table, turf, now=evening(on), guides=guides)
    assert not report.problems
    enrol(store, turf, rows, report, source="a test", cell_degrees=0.1, now=evening(on))


def seen(store: SqlStore, turf: Turf, lawn_id: int, on: date) -> tuple[LawnRecord, float]:
    """A lawn, and its height on a day. [mm]"""
    with store.begin() as work:
        (lawn,) = work.lawns.get([lawn_id])
        growth = work.stands.growth([lawn.stand_id])[lawn.stand_id]
        site = work.keepers.sites([lawn.site_id])[lawn.site_id]
    return lawn, lawn_facts(lawn, site, turf).height_at(growth_on(growth, on))


class Keeper:
    """Someone with one lawn that grows faster than the model thinks, and a ruler."""

    def __init__(self, store: SqlStore, turf: Turf, table: str = TABLE) -> None:
        self.store, self.turf, self.today = store, turf, START
        enrolled(store, turf, table, on=START)
        self.sky = Skies()
        self.night()

    def night(self) -> None:
        pull_weather(self.store, self.sky, now=evening(self.today))
        grow_stands(self.store, self.turf, now=evening(self.today))

    def wait(self, days: int) -> None:
        self.today += timedelta(days=days)
        self.night()

    @property
    def lawn(self) -> LawnRecord:
        with self.store.begin() as work:
            (lawn,) = work.lawns.get(work.lawns.all_ids())
        return lawn

    def mow(self) -> Reported:
        return report_mowing(
            self.store,
            self.turf,
            1,
            height_mm=70.0,
            on=self.today,
            today=self.today,
            now=evening(self.today),
            by="cli",
        )

    def measure(self, height_mm: float | None = None) -> Reported:
        """Hold the ruler into the grass: what the model has, times the truth."""
        lawn = self.lawn
        with self.store.begin() as work:
            growth = work.stands.growth([lawn.stand_id])[lawn.stand_id]
        grown = growth.g[0] - (lawn.anchor_g_mm or 0.0)
        true = lawn.anchor_height_mm + grown * lawn.pace / lawn.learned * TRUTH
        return report_height(
            self.store,
            self.turf,
            1,
            height_mm=round(true if height_mm is None else height_mm, 1),
            on=self.today,
            today=self.today,
            now=evening(self.today),
            by="cli",
        )

    def cycle(self) -> Reported:
        """Mow, wait a week, measure."""
        self.mow()
        self.wait(7)
        return self.measure()
