"""Grass whose watering is off and on again in a real dry summer: its height never jumps."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from builders import TURF
from skies import Skies
from stores import new_store

from mowalert.domain.weather import Place, WeatherDay
from mowalert.domain.words import Watering
from mowalert.errors import InputError
from mowalert.service.growing.dry_stands import FOR_EVER, alike_until, follow_watering, span_now
from mowalert.service.growing.grow import grow_stands
from mowalert.service.growing.pull import pull_weather
from mowalert.service.growing.watering import turn_off, turn_on
from mowalert.service.lawns.enrol import enrol
from mowalert.service.lawns.look import see_lawns
from mowalert.service.local.restrictions import NewRestriction, lift, restrict
from mowalert.service.local.where import Where
from mowalert.service.park_records import RestrictionKind, WateringOff
from mowalert.service.policy import Policy
from mowalert.service.reading.lawn_table import read_table

NAME = "Desert Parks"
FIRST = date(2012, 5, 1)
POLICY = Policy(frozenset(), timedelta(hours=36))
JUMP_MM = 0.1
TABLE = "\n".join(
    [
        "keeper,kind,email,site,latitude,longitude,lawn,grass,height_mm,soil,watering,turf_class,last_mown_on",
        f"{NAME},parks,p@example.org,Garden,33.05,-111.95,field,tall_fescue,80,loam,regular,lawn,2012-04-28",
        f"{NAME},parks,p@example.org,Oval,33.05,-111.95,field,bermudagrass,25,sand,regular,sports,2012-04-28",
        f"{NAME},parks,p@example.org,Verge,33.05,-111.95,field,tall_fescue,100,sand,none,road_verge,2012-04-28",
    ]
)
QUANTITIES = ("t_min_c", "t_max_c", "rain_mm", "radiation_mj_m2", "wind_2m_ms", "t_dew_c")


def at(on: date) -> datetime:
    return datetime(on.year, on.month, on.day, 12, 35, tzinfo=UTC)


@dataclass
class Summer:
    """A parks department in 2012 in Arizona, under the weather there was, always forecast right."""

    path: Path
    fields: Path
    heights: dict[tuple[int, date], float] = field(default_factory=dict)
    jumps: list[tuple[date, int, date, float]] = field(default_factory=list)
    today: date = FIRST

    def __post_init__(self) -> None:
        with (self.fields / "arizona_maricopa" / "daily.csv").open(encoding="utf-8") as file:
            rows = {row["date"]: [float(row[name]) for name in QUANTITIES] for row in csv.DictReader(file)}

        def day(place: Place, on: date) -> WeatherDay | None:
            if str(on) not in rows:
                return None
            t_min_c, t_max_c, rain_mm, *others = rows[str(on)]
            return WeatherDay(on, t_min_c, t_max_c, rain_mm, "nws", *others)

        self.store, self.skies = new_store(self.path), Skies(day)
        self.enrol()

    def enrol(self) -> None:
        found, report = read_table(TABLE, TURF, now=at(FIRST))
        assert report.problems == []
        enrol(self.store, TURF, found, report, source="a test", cell_degrees=0.1, now=at(FIRST))

    def play(self, until: date, *, every: int = 1) -> None:
        """Play nights to a day, and note each day's height that was another the night before."""
        while self.today <= until:
            if (until - self.today).days % every:
                self.today += timedelta(days=1)
                continue
            now = at(self.today)
            pull_weather(self.store, self.skies, now=now)
            follow_watering(self.store, TURF, today=self.today)
            grow_stands(self.store, TURF, now=now)
            self._look(now)
            self.today += timedelta(days=1)

    def _look(self, now: datetime) -> None:
        with self.store.begin() as work:
            seen = see_lawns(work, TURF, POLICY, work.lawns.all_ids(), now)
        assert len(seen) == 3, "every lawn has its place on a curve"
        for case in seen:
            heights = case.facts.heights_at(case.outlook.growth_mm)
            for column in range(case.outlook.at(self.today) + 1):
                key = case.lawn.lawn_id, case.outlook.first_on + timedelta(days=column)
                before = self.heights.get(key, float(heights[column]))
                if abs(heights[column] - before) > JUMP_MM:
                    self.jumps.append((self.today, *key, float(heights[column]) - before))
                self.heights[key] = float(heights[column])

    def grown(self, lawn_id: int, first: date, last: date) -> float:
        return self.heights[lawn_id, last] - self.heights[lawn_id, first]

    def watered_plainly(self) -> list[int]:
        """Lawns in stands that always have water."""
        with self.store.begin() as work:
            lawns = work.lawns.get(work.lawns.all_ids())
            stands = work.stands.get([lawn.stand_id for lawn in lawns])
        plain = {one for one, stand in stands.items() if stand.key.watering is Watering.REGULAR}
        plain = {one for one in plain if not stands[one].key.dry_from}
        return [lawn.lawn_id for lawn in lawns if lawn.stand_id in plain]


@pytest.fixture
def summer(fields: Path, tmp_path: Path) -> Iterator[Summer]:
    found = Summer(tmp_path / "parks.db", fields)
    yield found
    found.store.close()


def water_off(summer: Summer, first_on: date, last_on: date | None = None) -> list[WateringOff]:
    return turn_off(
        summer.store, NAME, Where(), first_on=first_on, last_on=last_on, note="", now=at(summer.today)
    )


def test_no_height_jumps_from_the_day_the_water_is_off_until_the_lawn_is_like_others_again(
    summer: Summer,
) -> None:
    off_on, on_again = date(2012, 5, 4), date(2012, 6, 5)
    summer.play(off_on - timedelta(days=1))
    off = water_off(summer, off_on)
    summer.play(off_on + timedelta(days=2))
    summer.play(on_again - timedelta(days=1), every=4)
    assert summer.watered_plainly() == []
    turn_on(summer.store, NAME, [one.off_id for one in off], first_wet_on=on_again, now=at(on_again))
    summer.play(on_again + timedelta(days=2))
    summer.play(on_again + timedelta(days=43), every=5)
    assert summer.watered_plainly() == []
    summer.play(on_again + timedelta(days=47))
    assert summer.jumps == []
    assert summer.watered_plainly() == [1, 2], "the dry days are long over"
    # It hardly grew without water, and grows with it.
    dry_mm = summer.grown(1, on_again - timedelta(days=7), on_again - timedelta(days=1))
    wet_mm = summer.grown(1, on_again + timedelta(days=3), on_again + timedelta(days=9))
    assert dry_mm < 0.4 * wet_mm


def test_what_is_told_late_is_seen_on_the_days_it_was(summer: Summer) -> None:
    """A lawn last cut longer ago than a curve is kept is put where its own dry days have left it."""
    summer.play(date(2012, 6, 19), every=10)
    watered_mm = summer.heights[1, date(2012, 6, 19)]
    water_off(summer, date(2012, 5, 15))
    summer.play(date(2012, 6, 20))
    dry_mm = summer.heights[1, date(2012, 6, 20)]
    told_in_time = Summer(summer.path.with_name("in_time.db"), summer.fields)
    told_in_time.play(date(2012, 5, 14), every=7)
    water_off(told_in_time, date(2012, 5, 15))
    told_in_time.play(date(2012, 6, 20), every=4)
    told_in_time.store.close()
    assert dry_mm < watered_mm - 20
    assert dry_mm == pytest.approx(told_in_time.heights[1, date(2012, 6, 20)], abs=JUMP_MM)


def test_what_was_a_mistake_never_was(summer: Summer) -> None:
    wrong_on, seen_on = date(2012, 5, 20), date(2012, 5, 30)
    summer.play(wrong_on - timedelta(days=1), every=6)
    off = water_off(summer, wrong_on)
    summer.play(seen_on - timedelta(days=1), every=3)
    (back, *_) = turn_on(
        summer.store, NAME, [one.off_id for one in off], first_wet_on=wrong_on, now=at(seen_on)
    )
    assert back.undone_at is not None
    summer.play(seen_on)
    always = Summer(summer.path.with_name("always.db"), summer.fields)
    always.play(seen_on, every=6)
    always.store.close()
    for lawn_id in (1, 2):
        height_mm = summer.heights[lawn_id, seen_on]
        assert height_mm == pytest.approx(always.heights[lawn_id, seen_on], abs=JUMP_MM)


def test_a_ban_that_is_lifted_has_dried_the_grass_all_the_same(summer: Summer) -> None:
    first_on, free_on = date(2012, 5, 15), date(2012, 6, 10)
    summer.play(first_on - timedelta(days=1), every=7)
    ban = NewRestriction(RestrictionKind.WATERING_OFF, "Stage 3", first_on, sites=("Garden",))
    kept = restrict(summer.store, NAME, ban, now=at(first_on))
    summer.play(free_on - timedelta(days=1), every=5)
    lifted = lift(summer.store, NAME, kept.restriction_id, first_free_on=free_on, now=at(free_on))
    assert (lifted.first_on, lifted.last_on) == (first_on, free_on - timedelta(days=1))
    summer.play(free_on + timedelta(days=3))
    assert summer.jumps == []
    with summer.store.begin() as work:
        keeper_id = work.keepers.all()[0].keeper_id
        assert work.parks.restrictions([keeper_id], since=first_on) == {keeper_id: [lifted]}
        assert work.parks.restrictions([keeper_id], since=free_on) == {}
    with pytest.raises(InputError, match=f"ends on {lifted.last_on} already"):
        lift(summer.store, NAME, kept.restriction_id, first_free_on=free_on, now=at(free_on))


def test_the_same_table_again_changes_nothing_of_what_is_dry(summer: Summer) -> None:
    off_on = date(2012, 5, 10)
    summer.play(off_on - timedelta(days=1), every=3)
    water_off(summer, off_on)
    summer.play(off_on + timedelta(days=20), every=5)
    summer.enrol()
    assert summer.watered_plainly() == []
    summer.play(off_on + timedelta(days=21))
    assert summer.jumps == []


def days(first: int, last: int | None) -> tuple[date, date]:
    return FIRST + timedelta(days=first), FOR_EVER if last is None else FIRST + timedelta(days=last)


@pytest.mark.parametrize(
    ("spans", "today", "now"),
    [
        ([], 0, None),
        ([(5, 9)], 0, (5, 9)),
        ([(20, 30)], 0, None),
        ([(20, 30)], 11, (20, 30)),
        ([(5, None)], 300, (5, None)),
        ([(5, 9)], 54, (5, 9)),
        ([(5, 9)], 55, None),
        ([(5, 9), (8, 20)], 8, (5, 20)),
        ([(5, 9), (15, 20)], 8, (5, 20)),
        ([(5, 9), (17, 20)], 15, (5, 9)),
        ([(5, 9), (17, 20)], 16, (17, 20)),
        ([(5, None), (17, 20)], 16, (5, None)),
        ([(9, 5)], 7, None),
    ],
)
def test_a_curve_knows_the_newest_dry_time(
    spans: list[tuple[int, int | None]], today: int, now: tuple[int, int | None] | None
) -> None:
    found = span_now([days(*span) for span in spans], FIRST + timedelta(days=today))
    assert found == (None if now is None else days(*now))


@pytest.mark.parametrize(
    ("before", "now", "alike"),
    [
        (None, (60, None), 59),
        ((60, None), None, 59),
        ((60, None), (60, 90), 90),
        ((60, 95), (80, None), 59),
        ((60, 70), (90, None), 89),
        ((10, 20), None, 100),
        (None, (105, None), 100),
    ],
)
def test_two_dry_times_are_alike_until_one_of_them_has_water(
    before: tuple[int, int | None] | None, now: tuple[int, int | None] | None, alike: int
) -> None:
    spans = [days(*span) if span else None for span in (before, now)]
    assert alike_until(*spans, FIRST + timedelta(days=100)) == FIRST + timedelta(days=alike)
