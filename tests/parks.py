"""A parks department of three places under a sky a test sets."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from builders import TURF
from skies import Skies, growing_weather
from stores import new_store

from mowalert.channels.heat_words import HeatMessages
from mowalert.channels.messages import Messages
from mowalert.domain.weather import DayHours, Place, WeatherDay
from mowalert.domain.words import Channel
from mowalert.links import Links
from mowalert.service.crews.crew_heat_notices import HeatOffice
from mowalert.service.lawns.enrol import enrol
from mowalert.service.lawns.look import outlook_of
from mowalert.service.nights.night import NightReport, run_night
from mowalert.service.policy import Policy
from mowalert.service.reading.lawn_table import read_table

NAME = "River Parks"
MORNING = datetime(2026, 7, 7, 9, 35, tzinfo=UTC)
"""A Tuesday, 05:35 in New York."""
TODAY = date(2026, 7, 7)
POLICY = Policy(frozenset(Channel), timedelta(hours=36), host="parks.example.org")
LINKS = Links("https://parks.example.org", "a secret")
PLACES = (
    "Oval,42.70,-73.80,field,kentucky_bluegrass,50,regular,sports",
    "Hill,42.75,-73.80,field,tall_fescue,80,regular,lawn",
    "Verge,42.70,-73.70,field,tall_fescue,80,none,road_verge",
)
TABLE = "\n".join(
    [
        "keeper,kind,email,site,latitude,longitude,lawn,grass,height_mm,watering,turf_class,mowing_days,"
        "last_mown_on",
        *(
            f"{NAME},parks,parks@example.org,{place},mon tue wed thu fri,{TODAY - timedelta(days=4)}"
            for place in PLACES
        ),
    ]
)
OUTLINE = [[-73.85, 42.65], [-73.75, 42.65], [-73.75, 42.72], [-73.85, 42.72], [-73.85, 42.65]]
SQUARE = {"type": "Polygon", "coordinates": [OUTLINE]}


def dry(place: Place, on: date) -> WeatherDay:
    return replace(growing_weather(place, on), t_min_c=16.0, t_max_c=28.0, rain_mm=0.0)


def hot(degrees_c: float, *, peak_h: int = 14):  # type: ignore[no-untyped-def]
    """Days whose hours, of standard time, are hottest at one of them."""

    def day(place: Place, on: date) -> WeatherDay:
        t_c = tuple(degrees_c - 1.2 * abs(hour - peak_h) for hour in range(24))
        return replace(
            dry(place, on), t_min_c=min(t_c), t_max_c=max(t_c), hours=DayHours(t_c, (55.0,) * 24, (0.0,) * 24)
        )

    return day


class Parks:
    """A parks department of three places under a sky a test sets."""

    def __init__(self, path: Path) -> None:
        self.store, self.skies = new_store(path), Skies(dry)
        found, report = read_table(TABLE, TURF, now=MORNING)
        assert report.problems == []
        enrol(self.store, TURF, found, report, source="a test", cell_degrees=0.1, now=MORNING)
        with self.store.begin() as work:
            self.keeper_id = work.keepers.all()[0].keeper_id
        self.heat = HeatOffice(HeatMessages("Turf Line"), LINKS)

    def night(self, now: datetime = MORNING) -> NightReport:
        words = Messages("Turf Line", links=LINKS)
        return run_night(self.store, self.skies, TURF, words, POLICY, now=now, heat=self.heat)

    def mails(self, kind: str = "crew_heat") -> list[dict[str, object]]:
        with self.store.begin() as work:
            found = work.outbox.of_keeper(self.keeper_id, limit=500)[::-1]
        return [one for one in found if kind in str(one["subject"]) or kind in str(one["text"])]

    def lawn_ids(self) -> list[int]:
        with self.store.begin() as work:
            return work.lawns.all_ids()

    def heights(self, lawn_id: int, *, now: datetime = MORNING) -> list[float]:
        return [day.height_mm for day in outlook_of(self.store, TURF, POLICY, lawn_id, now=now).days]
