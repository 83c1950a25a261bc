"""A parks department through a real hot season: each hold told once at its start and once at its end.

The season is Maricopa's of 2012 (Arizona Meteorological Network, as the field data hold it). Its days are
real; their hours are a sine between the day's extremes, the hottest at 15:00, with the humidity's extremes at
the same moments: caution days are compared with MetPy and thermofeel on the same hours.
"""

import csv
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from math import cos, pi
from pathlib import Path

import numpy as np
import pytest
import thermofeel
from builders import TURF
from skies import Skies
from stores import new_store

from mowalert.channels.heat_words import HeatMessages
from mowalert.channels.messages import Messages
from mowalert.domain.holds import LASTING, TOLD
from mowalert.domain.weather import DayHours, Place, WeatherDay
from mowalert.domain.words import Channel, HoldReason
from mowalert.links import Links
from mowalert.service.crew_records import Role, SiteWork
from mowalert.service.crews.crew_heat_notices import HeatOffice, tell_crew_heat
from mowalert.service.crews.crew_setup import NewContact, keep_contact
from mowalert.service.growing.outlook import load_stands
from mowalert.service.lawns.enrol import enrol
from mowalert.service.nights.night import run_night
from mowalert.service.park_records import HeatPlan, HoldLogRecord, HoldStep
from mowalert.service.policy import Policy
from mowalert.service.reading.lawn_table import read_table
from mowalert.store.engine import SqlStore

NAME = "Desert Parks"
FIRST, LAST = date(2012, 5, 1), date(2012, 10, 20)
POLICY = Policy(frozenset(Channel), timedelta(hours=36), host="parks.example.org")
HEADER = (
    "keeper,kind,email,site,latitude,longitude,lawn,grass,height_mm,soil,watering,turf_class,mowing_days,"
    "last_mown_on"
)
LAWNS = (
    ("Oval", "bermudagrass", 25, "sand", "none", "sports", "North"),
    ("Ballfield", "bermudagrass", 25, "loam", "none", "sports", "North"),
    ("River Field", "bermudagrass", 25, "loam", "regular", "sports", "South"),
    ("Rose Garden", "tall_fescue", 80, "loam", "regular", "lawn", "North"),
    ("Town Hall", "tall_fescue", 80, "sand", "regular", "lawn", "North"),
    ("Library", "perennial_ryegrass", 60, "loam", "regular", "lawn", "South"),
    ("Ring Road", "tall_fescue", 100, "sand", "none", "road_verge", "North"),
    ("Canal Edge", "bermudagrass", 60, "clay", "none", "meadow_edge", "South"),
)


@dataclass(frozen=True)
class Real:
    """A real day: extremes of temperature and humidity, rain, radiation, wind, dew point."""

    t_min_c: float
    t_max_c: float
    rh_min_pct: float
    rh_max_pct: float
    rain_mm: float
    radiation_mj_m2: float
    wind_2m_ms: float
    t_dew_c: float

    def hours(self) -> DayHours:
        warm = [(1 + cos((hour - 15) * pi / 12)) / 2 for hour in range(24)]
        t_c = tuple(round(self.t_min_c + (self.t_max_c - self.t_min_c) * one, 2) for one in warm)
        humid = tuple(round(self.rh_max_pct - (self.rh_max_pct - self.rh_min_pct) * one, 1) for one in warm)
        return DayHours(t_c, humid, (self.rain_mm / 24,) * 24)


@cache
def season(fields: Path) -> dict[date, Real]:
    with (fields / "arizona_maricopa" / "daily.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {
        date.fromisoformat(row["date"]): Real(
            *(
                float(row[name])
                for name in (
                    "t_min_c", "t_max_c", "rel_humidity_min_pct", "rel_humidity_max_pct", "rain_mm",
                    "radiation_mj_m2", "wind_2m_ms", "t_dew_c",
                )
            )
        )
        for row in rows
        if row["date"].startswith("2012")
    }  # fmt: skip


def sky_of(days: dict[date, Real]) -> Skies:
    def day(place: Place, on: date) -> WeatherDay | None:
        real = days.get(on)
        if real is None:
            return None
        return WeatherDay(
            on, real.t_min_c, real.t_max_c, real.rain_mm, "nws", real.radiation_mj_m2, real.wind_2m_ms,
            real.t_dew_c, hours=real.hours(),
        )  # fmt: skip

    return Skies(day)


@dataclass
class Summer:
    """What became of a season."""

    store: SqlStore
    keeper_id: int
    log: list[HoldLogRecord]
    held: dict[int, set[date]]
    advised: list[tuple[int, str, date]]
    subjects: list[tuple[date, str, str]]
    heat_on: list[date]


@pytest.fixture(scope="module")
def summer(fields: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Summer]:
    store = new_store(tmp_path_factory.mktemp("summer") / "parks.db")
    sky, start = sky_of(season(fields)), _morning(FIRST)
    rows = [
        f"{NAME},parks,parks@example.org,{site},33.05,-111.95,field,{grass},{mm},{soil},{water},{turf},"
        f"mon tue wed thu fri sat sun,{FIRST - timedelta(days=3)}"
        for site, grass, mm, soil, water, turf, _ in LAWNS
    ]
    found, report = read_table("\n".join([HEADER, *rows]), TURF, now=start)
    assert report.problems == []
    enrol(store, TURF, found, report, source="a test", cell_degrees=0.1, now=start)
    keep_contact(
        store, NAME, NewContact("Rosa", Role.SUPERVISOR, email="rosa@example.org", language="es"), now=start
    )
    with store.begin() as work:
        keeper_id = work.keepers.all()[0].keeper_id
        districts = {site: district for site, *_, district in LAWNS}
        sites = work.crews.sites_of(keeper_id)
        work.crews.keep_sites(
            [SiteWork(one.site_id, keeper_id, district=districts[one.name]) for one in sites]
        )
        work.parks.keep_heat_plan(HeatPlan(keeper_id, first_f=95.0, strong_f=105.0))
        work.commit()
    yield _played(store, sky, keeper_id)
    store.close()


def _morning(on: date) -> datetime:
    return datetime(on.year, on.month, on.day, 12, 35, tzinfo=UTC)


def _played(store: SqlStore, sky: Skies, keeper_id: int) -> Summer:
    links = Links("https://parks.example.org", "a secret")
    words, heat = Messages("Turf Line", links=links), HeatOffice(HeatMessages("Turf Line"), links)
    held: dict[int, set[date]] = {}
    advised: list[tuple[int, str, date]] = []
    for ahead in range((LAST - FIRST).days + 1):
        on = FIRST + timedelta(days=ahead)
        evening = _morning(on) + timedelta(hours=12)
        report = run_night(store, sky, TURF, words, POLICY, now=_morning(on), heat=heat)
        advised += [(one.lawn_id, one.kind, on) for one in report.tell.told]
        _note_held(store, held, on)
        if on.day % 10 == 0:
            again = run_night(store, sky, TURF, words, POLICY, now=evening, heat=heat)
            advised += [(one.lawn_id, one.kind, on) for one in again.tell.told]
        else:
            # Of a whole night only this step has anything to do in the evening.
            tell_crew_heat(store, heat.words, POLICY, links, now=evening)
    with store.begin() as work:
        log = work.parks.hold_log(keeper_id, first=FIRST, last=LAST)
        messages = work.outbox.of_keeper(keeper_id, limit=5000)[::-1]
        notices = work.parks.heat_notices(keeper_id, first=FIRST, last=LAST)
    subjects = [(one["created_at"].date(), str(one["address"]), str(one["subject"])) for one in messages]
    return Summer(
        store, keeper_id, log, held, advised, subjects, [one.on for one in notices if one.step == "evening"]
    )


def _note_held(store: SqlStore, held: dict[int, set[date]], on: date) -> None:
    """Which lawns the stands' own curves hold today; nothing that tells has a part in it."""
    with store.begin() as work:
        lawns = work.lawns.get(work.lawns.all_ids())
        stands = load_stands(work, sorted({lawn.stand_id for lawn in lawns}))
    for lawn in lawns:
        stand = stands[lawn.stand_id]
        mask = int(stand.curve[4, (on - stand.growth.curve_from).days])
        if any(mask >> LASTING.index(reason) & 1 for reason in TOLD):
            held.setdefault(lawn.lawn_id, set()).add(on)


def _spans(log: list[HoldLogRecord], lawn_id: int) -> list[tuple[date, date | None]]:
    """Days from which to which the log has a lawn held: from its start or joining to its leaving."""
    spans: list[tuple[date, date | None]] = []
    for line in (line for line in log if line.lawn_id == lawn_id):
        if line.step in (HoldStep.STARTED, HoldStep.JOINED):
            spans.append((line.on, None))
        elif line.step is HoldStep.LEFT:
            spans[-1] = (spans[-1][0], line.on)
    return spans


@pytest.mark.slow
def test_the_season_has_something_to_tell(summer: Summer) -> None:
    assert len(summer.held) > 5
    assert {line.reason for line in summer.log} >= {HoldReason.HEAT, HoldReason.DORMANT}


@pytest.mark.slow
def test_each_hold_of_a_class_starts_once_and_ends_once(summer: Summer) -> None:
    steps = Counter((line.hold_id, line.on, line.step) for line in summer.log if line.told)
    starts = Counter(hold for hold, _, step in steps if step is HoldStep.STARTED)
    ends = Counter(hold for hold, _, step in steps if step is HoldStep.RELEASED)
    with summer.store.begin() as work:
        holds = work.parks.class_holds(summer.keeper_id, first=FIRST, last=LAST)
        still_open = {hold.hold_id for hold in work.parks.open_holds(summer.keeper_id)}
    ids = {hold.hold_id for hold in holds}
    assert dict(starts) == dict.fromkeys(ids, 1)
    assert dict(ends) == dict.fromkeys(ids - still_open, 1)
    for hold in holds:
        assert hold.released_on is None or hold.released_on > hold.told_on


@pytest.mark.slow
def test_nobody_hears_twice_of_one_thing(summer: Summer) -> None:
    told = Counter(
        (line.hold_id, line.step, name)
        for line in {(one.hold_id, one.step, one.on): one for one in summer.log}.values()
        for name in line.told
    )
    assert set(told.values()) == {1}
    # Both people heard of every start: the department, and its supervisor in Spanish.
    starts = [line for line in summer.log if line.step is HoldStep.STARTED]
    assert all(line.told == (f"{NAME}, email", "Rosa, email") for line in starts)
    hold_mails = [
        one for one in summer.subjects if one[1] == "rosa@example.org" and "espera" in one[2].casefold()
    ]
    days = {line.on for line in summer.log if line.told}
    assert len(hold_mails) == len(days)


@pytest.mark.slow
def test_every_held_day_of_every_lawn_is_in_the_log(summer: Summer) -> None:
    for lawn_id, days in summer.held.items():
        spans = _spans(summer.log, lawn_id)
        for on in sorted(days):
            assert any(first <= on and (last is None or on < last) for first, last in spans), (lawn_id, on)


@pytest.mark.slow
def test_the_log_holds_nobody_longer_than_the_turf(summer: Summer) -> None:
    """A lawn is let go when neither the day nor the next one is held: never before, and at once."""
    for lawn_id in range(1, len(LAWNS) + 1):
        days = summer.held.get(lawn_id, set())
        for first, last in _spans(summer.log, lawn_id):
            assert first in days, (lawn_id, first)
            if last is not None:
                assert last not in days
                between = [first + timedelta(days=ahead) for ahead in range((last - first).days)]
                free = [on for on in between if on not in days and on + timedelta(days=1) not in days]
                assert free == [], (lawn_id, free)


@pytest.mark.slow
def test_nobody_is_told_to_mow_what_is_held(summer: Summer) -> None:
    for lawn_id, kind, on in summer.advised:
        if kind in ("mow", "may_mow", "overgrown"):
            assert on not in summer.held.get(lawn_id, set()), (lawn_id, kind, on)


@pytest.mark.slow
def test_a_hold_of_more_than_a_fortnight_is_told_to_run_long_once(summer: Summer) -> None:
    with summer.store.begin() as work:
        holds = work.parks.class_holds(summer.keeper_id, first=FIRST, last=LAST)
    long = {line.hold_id: line.on for line in summer.log if line.step is HoldStep.ESCALATED}
    for hold in holds:
        ended = hold.released_on or LAST
        if hold.hold_id in long:
            assert (long[hold.hold_id] - hold.told_on).days == 15
        else:
            assert (ended - hold.told_on).days <= 16
    assert long, "the season has a long hold"


@pytest.mark.slow
def test_the_crews_caution_days_are_those_of_other_peoples_formulas(summer: Summer, fields: Path) -> None:
    """Work is when lawns may be mown, 7 to 17 by the clock; Arizona has no summer time."""
    metpy = pytest.importorskip("metpy.calc")
    units = pytest.importorskip("metpy.units").units
    by_metpy, by_thermofeel = set(), set()
    for on, real in season(fields).items():
        if not FIRST < on <= LAST:
            continue
        hours = real.hours()
        t_c, humidity = np.array(hours.t_c[7:17]), np.array(hours.rel_humidity_pct[7:17])
        index = metpy.heat_index(t_c * units.degC, humidity / 100, mask_undefined=False)
        if index.to("degF").magnitude.max() >= 95.0:
            by_metpy.add(on)
        t_k = t_c + 273.15
        dew_k = metpy.dewpoint_from_relative_humidity(t_c * units.degC, humidity / 100).to("kelvin").magnitude
        adjusted_k = thermofeel.calculate_heat_index_adjusted(t_k.copy(), dew_k.copy())
        if ((adjusted_k - 273.15) * 9 / 5 + 32).max() >= 95.0:
            by_thermofeel.add(on)
    ours = set(summer.heat_on)
    assert len(ours) > 80
    assert ours == by_thermofeel
    # Both formulas are Rothfusz's; on the very edge the roundings of their inputs may differ.
    assert len(ours ^ by_metpy) <= 1
