"""A week's bulletin is made once, of stands with fresh weather, and holds nothing of anybody."""

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
import sqlalchemy as sa
from builders import TURF
from skies import Skies, growing_weather

from mowalert.domain.weather import Place, WeatherDay
from mowalert.domain.words import HoldReason, Units
from mowalert.errors import InputError
from mowalert.service.growing.grow import grow_stands
from mowalert.service.growing.pull import pull_weather
from mowalert.service.lawns.enrol import enrol
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.records import BulletinRecord
from mowalert.service.region.bulletin import (
    BulletinPage,
    KeptBulletin,
    bulletin_page,
    bulletins_of,
    make_bulletins,
    newest_bulletins,
    say_with_bulletin,
    week_name,
    week_named,
)
from mowalert.service.region.guides import guides_now, keep_guide
from mowalert.settings import config_file
from mowalert.store.engine import SqlStore
from mowalert.store.tables import bulletin, keeper, site

MAX_AGE = timedelta(hours=36)
MONDAY = datetime(2026, 5, 4, 12, tzinfo=UTC)
HEADER = "keeper,kind,email,site,address,latitude,longitude,grass,height_mm,guide\n"
ROW = "{name},homeowner,{name}@mail.example,{name} place,{n} Elm Lane,{latitude},-93.{n},{grass},,quillmere\n"


def rows(*cells: tuple[float, int], grass: str = "kentucky_bluegrass") -> str:
    """A table with some places in each of some cells, told by their latitude."""
    names = iter(f"Keeper{number}" for number in range(100, 999))
    lines = (
        ROW.format(name=next(names), n=110 + number, latitude=latitude, grass=grass)
        for latitude, places in cells
        for number in range(places)
    )
    return HEADER + "".join(lines)


class Region:
    """A guided region under a sky a test sets."""

    def __init__(self, store: SqlStore, table: str, *, now: datetime = MONDAY) -> None:
        self.store, self.sky, self.now = store, Skies(), now
        text = (config_file("guides") / "quillmere.toml").read_text(encoding="utf-8")
        keep_guide(store, TURF, text, name="quillmere.toml", now=now)
        with store.begin() as work:
            guides = guides_now(work, TURF)
        read, report = read_table(table, TURF, now=now, guides=guides)
        assert not report.problems
        enrol(store, TURF, read, report, source="a test", cell_degrees=0.1, now=now)

    def night(self) -> int:
        pull_weather(self.store, self.sky, now=self.now)
        grow_stands(self.store, TURF, now=self.now)
        return make_bulletins(self.store, TURF, max_age=MAX_AGE, now=self.now)

    def wait(self, **span: float) -> int:
        self.now += timedelta(**span)
        return self.night()

    def page(self, week_on: date | None = None) -> BulletinPage:
        page = bulletin_page(self.store, TURF, "quillmere", max_age=MAX_AGE, now=self.now, week_on=week_on)
        assert page is not None
        return page

    def rows(self) -> list[tuple[object, ...]]:
        engine = sa.create_engine(self.store.url)
        with engine.connect() as connection:
            found = [
                tuple(row) for row in connection.execute(sa.select(bulletin).order_by(bulletin.c.week_on))
            ]
        engine.dispose()
        return found


@pytest.fixture
def region(store: SqlStore) -> Region:
    return Region(store, rows((41.85, 3), (41.95, 2)))


def kept_in(region: Region, week_on: date | None = None) -> KeptBulletin:
    kept = region.page(week_on).kept
    assert kept is not None
    return kept


def failing_at(latitude_deg: float) -> Callable[[Place, date], WeatherDay | None]:
    def day(place: Place, on: date) -> WeatherDay | None:
        return None if place.latitude_deg > latitude_deg else growing_weather(place, on)

    return day


def test_the_first_night_of_a_week_makes_it_and_no_later_one_changes_it(region: Region) -> None:
    assert region.night() == 1
    first = region.rows()
    assert region.night() == 0
    for _ in range(6):
        assert region.wait(days=1) == 0
    assert region.rows() == first
    assert region.wait(days=1) == 1
    assert region.rows()[:1] == first
    assert [one.bulletin.week_on for one in bulletins_of(region.store, "quillmere", limit=9)] == [
        date(2026, 5, 11),
        date(2026, 5, 4),
    ]


def test_it_tells_what_the_curves_tell(region: Region) -> None:
    region.now -= timedelta(days=1)
    region.night()
    with region.store.begin() as work:
        sunday = work.stands.growth([1])[1]
    assert region.wait(days=1) == 1
    made = kept_in(region).bulletin
    (row,) = made.grasses
    assert row.week_mm == pytest.approx(sunday.g[7] - sunday.g[0], abs=0.051)
    (last_week,) = kept_in(region, date(2026, 4, 27)).bulletin.grasses
    assert row.before_mm == last_week.week_mm
    assert [cut.height_mm for cut in row.cuts] == [60, 65, 80]
    assert [cell.latitude_deg for cell in made.cells] == [pytest.approx(41.85, abs=0.06)]
    assert made.cells[0].week_mm == row.week_mm


def test_it_says_whose_guide_and_whose_weather_it_is(region: Region) -> None:
    region.night()
    kept = kept_in(region)
    made = kept.bulletin
    assert (made.guide_id, made.version, made.sources) == ("quillmere", 1, ("nws",))
    assert (made.units, made.holds_on, made.fetched_at) == (Units.US, date(2026, 5, 4), MONDAY)
    assert kept.made_at == kept.changed_at == MONDAY
    assert made.dates[0].reason is HoldReason.NESTING


def test_the_day_is_that_of_the_region(store: SqlStore) -> None:
    region = Region(store, rows((41.85, 1)), now=datetime(2026, 5, 4, 3, tzinfo=UTC))
    assert region.night() == 1
    assert region.page().kept is not None
    assert bulletins_of(store, "quillmere", limit=1)[0].bulletin.week_on == date(2026, 4, 27)
    assert region.wait(hours=2) == 0, "still Sunday evening in the middle of America"
    assert region.wait(hours=2) == 1


def test_without_fresh_weather_it_waits_and_comes_later_in_the_week(region: Region) -> None:
    region.sky.down = True
    assert region.night() == 0
    assert not region.page().fresh
    assert region.page().kept is None
    region.sky.down = False
    assert region.wait(days=2) == 1
    kept = kept_in(region)
    assert (kept.bulletin.week_on, kept.bulletin.holds_on) == (date(2026, 5, 4), date(2026, 5, 6))


def test_stale_weather_makes_none_and_the_page_has_the_last(region: Region) -> None:
    region.night()
    region.sky.down = True
    assert region.wait(days=7) == 0
    page = region.page()
    assert not page.fresh
    assert page.kept is not None
    assert page.kept.bulletin.week_on == date(2026, 5, 4)


def test_it_waits_until_half_of_the_region_has_weather(store: SqlStore) -> None:
    region = Region(store, rows((41.85, 1), (41.95, 1), (42.05, 1)))
    region.sky.day = failing_at(41.9)
    assert region.night() == 0
    region.sky.day = failing_at(42.0)
    assert region.wait(hours=4) == 1


def test_a_region_seen_for_a_few_days_only_has_no_week_before(store: SqlStore) -> None:
    region = Region(store, rows((41.85, 1)))
    region.sky.keeps_past = 3
    assert region.night() == 1
    kept = kept_in(region)
    assert [row.before_mm for row in kept.bulletin.grasses] == [None]


def test_a_guide_nobody_hears_from_has_no_bulletin(store: SqlStore) -> None:
    region = Region(store, HEADER + "Ann,homeowner,ann@mail.example,,,41.85,-93.1,tall_fescue,80,\n")
    assert region.night() == 0
    assert newest_bulletins(store) == []


def test_nothing_of_anybody_is_kept_in_it(region: Region) -> None:
    region.night()
    told = json.dumps([str(row) for row in region.rows()])
    engine = sa.create_engine(region.store.url)
    with engine.connect() as connection:
        people = [
            value for row in connection.execute(sa.select(keeper.c.name, keeper.c.email)) for value in row
        ]
        places = list(connection.execute(sa.select(site.c.name, site.c.address, site.c.longitude_deg)))
    engine.dispose()
    assert len(people) == 10
    for value in (*people, *(str(value) for row in places for value in row)):
        assert value not in told
    assert "41.95" not in told, "two places are too few for the map"


def test_an_adviser_speaks_with_the_week_and_may_take_it_back(region: Region) -> None:
    region.night()
    region.now += timedelta(hours=5)
    said = say_with_bulletin(
        region.store, "quillmere", "  Rust\non ryegrass.\u202e Feed\tlightly. ", now=region.now
    )
    assert said.said == "Rust on ryegrass. Feed lightly."
    assert said.changed_at == region.now
    assert region.page().kept == said
    assert region.wait(days=1) == 0
    assert region.page().kept == said
    say_with_bulletin(region.store, "quillmere", "", now=region.now)
    kept = kept_in(region)
    assert (kept.said, kept.made_at) == ("", MONDAY)


def test_what_an_adviser_cannot_say_is_told_in_words(region: Region) -> None:
    with pytest.raises(InputError, match="no bulletin of 2026-W19 yet"):
        say_with_bulletin(region.store, "quillmere", "Hello.", now=region.now)
    region.night()
    with pytest.raises(InputError, match="401 letters long; two sentences have at most 400"):
        say_with_bulletin(region.store, "quillmere", "x" * 401, now=region.now)
    with pytest.raises(InputError, match="no guide 'nowhere'"):
        say_with_bulletin(region.store, "nowhere", "Hello.", now=region.now)
    assert say_with_bulletin(region.store, "quillmere", "x" * 400, now=region.now).said == "x" * 400


def test_a_past_week_is_never_spoken_into(region: Region) -> None:
    region.night()
    before = region.rows()
    region.sky.down = True
    region.wait(days=7)
    with pytest.raises(InputError, match="no bulletin of 2026-W20 yet"):
        say_with_bulletin(region.store, "quillmere", "Too late.", now=region.now)
    assert region.rows() == before


def test_two_workers_make_one_bulletin(store: SqlStore) -> None:
    record = BulletinRecord("hill", date(2026, 5, 4), {"a": 1}, MONDAY)
    with store.begin() as work:
        assert work.bulletins.keep(record)
        assert not work.bulletins.keep(BulletinRecord("hill", date(2026, 5, 4), {"a": 2}, MONDAY, said="x"))
        assert work.bulletins.get("hill", date(2026, 5, 4)) == record
        work.commit()


def test_weeks_have_neighbours_and_the_newest_of_each_region_is_found(store: SqlStore) -> None:
    weeks = [date(2026, 4, 13), date(2026, 4, 27), date(2026, 5, 4)]
    with store.begin() as work:
        for guide_id, week_on in [("hill", on) for on in weeks] + [("coast", weeks[0])]:
            work.bulletins.keep(BulletinRecord(guide_id, week_on, {}, MONDAY))
        assert work.bulletins.beside("hill", weeks[1]) == (weeks[0], weeks[2])
        assert work.bulletins.beside("hill", weeks[2]) == (weeks[1], None)
        latest = [(one.guide_id, one.week_on) for one in work.bulletins.latest()]
        assert latest == [("coast", weeks[0]), ("hill", weeks[2])]
        assert [one.week_on for one in work.bulletins.newest("hill", limit=2)] == [weeks[2], weeks[1]]


def test_places_are_counted_once_whatever_lawns_they_have(store: SqlStore) -> None:
    table = HEADER.replace("guide", "guide,lawn").strip() + "\n"
    lawns = "".join(
        f"Ann,homeowner,ann@mail.example,Home,1 Elm Lane,41.85,-93.1,{grass},,quillmere,{grass}\n"
        for grass in ("tall_fescue", "fine_fescue", "kentucky_bluegrass")
    )
    Region(store, table + lawns)
    with store.begin() as work:
        assert list(work.bulletins.sites_by_cell("quillmere").values()) == [1]
        assert len(work.bulletins.stand_ids("quillmere")) == 3


@pytest.mark.parametrize("name", ["2026-W54", "2026-W00", "2026-19", "26-W19", "2026-W19x", "", "٢٠٢٦-W19x"])
def test_a_name_of_no_week_is_none(name: str) -> None:
    assert week_named(name) is None


def test_a_week_is_named_as_the_calendar_does_over_the_years_end() -> None:
    assert week_name(date(2025, 12, 29)) == "2026-W01"
    assert week_named("2026-W01") == date(2025, 12, 29)
    assert week_named("2026-W53") == date(2026, 12, 28)
