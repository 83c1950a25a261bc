"""An invented company with gardens, crews and people, under a sky a test sets."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from random import Random

from builders import TURF
from skies import Skies, growing_weather

from mowalert.channels.crew_sheets import CrewSheets
from mowalert.channels.messages import Messages
from mowalert.domain.crew_routes import Ground
from mowalert.domain.crews import Position
from mowalert.domain.day_sheet import DaySheet
from mowalert.domain.weather import DayHours, Place, WeatherDay
from mowalert.domain.words import Channel
from mowalert.links import Links
from mowalert.service.crew_records import ContactRecord, LawnWork, PlanRecord, Role, SiteWork
from mowalert.service.crews.crew_setup import NewContact, keep_contact, keep_crew
from mowalert.service.crews.day_plans import sheet_of
from mowalert.service.crews.handing_out import Office
from mowalert.service.crews.morning import Dispatch
from mowalert.service.lawns.enrol import enrol
from mowalert.service.nights.night import NightReport, run_night
from mowalert.service.policy import Policy
from mowalert.service.reading.lawn_table import read_table
from mowalert.store.engine import SqlStore

MORNING = datetime(2026, 5, 7, 9, 35, tzinfo=UTC)
"""A Thursday, 05:35 in New York."""
TODAY = date(2026, 5, 7)
NAME = "Green Quarter"
LINKS = Links("https://mow.example.org", "a secret")
POLICY = Policy(frozenset(Channel), timedelta(hours=36), host="mow.example.org", plans_days=True)
HEADER = (
    "keeper,kind,email,site,address,latitude,longitude,lawn,grass,height_mm,watering,mowing_days,mowing_hours,"
    "area_m2,last_mown_on"
)


class InTurn:
    """Routes of the simplest kind: visits are dealt out to crews one after another."""

    def solve(self, ground: Ground) -> Sequence[Sequence[int]]:
        orders: list[list[int]] = [[] for _ in ground.crews]
        for visit in range(len(ground.visits)):
            orders[visit % len(orders)].append(visit)
        return orders


def gardens(count: int, *, seed: int = 1) -> str:
    """A table of gardens last cut some days ago, near one another."""
    draw = Random(seed)
    rows = [HEADER]
    for number in range(1, count + 1):
        latitude, longitude = 42.70 + draw.uniform(0, 0.04), -73.80 + draw.uniform(0, 0.04)
        mown = TODAY - timedelta(days=draw.randrange(2, 12))
        rows.append(
            f"{NAME},company,office@example.org,Garden {number},{number} Elm Lane,"
            f"{latitude:.5f},{longitude:.5f},lawn,perennial_ryegrass,50,regular,mon tue wed thu fri,7-19,"
            f"{draw.randrange(150, 900)},{mown}"
        )
    return "\n".join(rows)


class Firm:
    """A company of some gardens with two crews, a dispatcher, two leads and an owner."""

    def __init__(self, store: SqlStore, *, count: int = 30, routes: object = None) -> None:
        self.store, self.skies = store, Skies()
        now = MORNING - timedelta(days=1)
        found, report = read_table(gardens(count), TURF, now=now)
        assert report.problems == []
        enrol(store, TURF, found, report, source="a test", cell_degrees=0.1, now=now)
        with store.begin() as work:
            self.keeper_id = work.keepers.all()[0].keeper_id
        depot = Position(42.72, -73.78)
        for name in ("North", "South"):
            keep_crew(store, NAME, name, depot=depot, weekdays=31, from_min=420, to_min=900)
        self.people = {
            name: keep_contact(
                store, NAME, NewContact(name, role, crew, f"{name}@example.org", "", language), now=now
            )
            for name, role, crew, language in (
                ("dana", Role.DISPATCHER, "", "en"),
                ("ana", Role.CREW_LEAD, "North", "es"),
                ("sam", Role.CREW_LEAD, "South", "en"),
                ("olga", Role.OWNER, "", "en"),
            )
        }
        self.office = Office(Dispatch(routes or InTurn()), CrewSheets("Turf Line"), LINKS)  # type: ignore[arg-type]

    def night(self, now: datetime = MORNING) -> NightReport:
        words = Messages("Turf Line", links=LINKS)
        return run_night(self.store, self.skies, TURF, words, POLICY, now=now, office=self.office)

    def plan(self, on: date = TODAY, version: int | None = None) -> PlanRecord:
        with self.store.begin() as work:
            found = work.crews.plan(self.keeper_id, on, version=version)
        assert found is not None
        return found

    def sheet(self, on: date = TODAY, version: int | None = None) -> DaySheet:
        return sheet_of(self.plan(on, version))

    def mails(self, name: str | None = None) -> list[dict[str, object]]:
        """What was written to somebody, the newest last."""
        with self.store.begin() as work:
            found = work.outbox.of_keeper(self.keeper_id, limit=1000)[::-1]
        return [one for one in found if name is None or one["address"] == f"{name}@example.org"]

    def link(self, name: str, *, now: datetime = MORNING) -> str:
        """The path of somebody's pages."""
        contact: ContactRecord = self.people[name]
        return LINKS.work_url(contact.contact_id, contact.link_version, now=now).removeprefix(LINKS.base_url)

    def tell_of(self, garden: int, **known: object) -> None:
        """Let the office tell something of a garden."""
        with self.store.begin() as work:
            (site,) = [one for one in work.crews.sites_of(self.keeper_id) if one.name == f"Garden {garden}"]
            work.crews.keep_sites([SiteWork(site.site_id, self.keeper_id, **known)])  # type: ignore[arg-type]
            work.commit()

    def minutes(self, lawn_id: int, minutes: float) -> None:
        with self.store.begin() as work:
            work.crews.keep_lawns([LawnWork(lawn_id, minutes)])
            work.commit()


def planned(sheet: DaySheet) -> list[int]:
    """Lawns on any crew's list."""
    return [stop.lawn.lawn_id for crew in sheet.crews for stop in crew.stops]


def rainy(from_hour: int, to_hour: int, *, mm: float = 4.0, on: date = TODAY):  # type: ignore[no-untyped-def]
    """Growing weather with hours; it rains on one day between two hours of standard time."""

    def day(place: Place, this: date) -> WeatherDay:
        wet = [mm if this == on and from_hour <= hour < to_hour else 0.0 for hour in range(24)]
        hours = DayHours((15.0,) * 24, (60.0,) * 24, tuple(wet))
        return replace(growing_weather(place, this), hours=hours)

    return day
