"""Promises of a night: nothing twice, shards as one, corrected weather, and what old weather never does."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import pytest
import sqlalchemy as sa
from builders import TURF
from hypothesis import given, settings
from hypothesis import strategies as st
from skies import Skies, a_day, growing_weather
from stores import new_store
from telling import tell_rounds

from mowalert.domain.notices import Digest, RenderedEmail
from mowalert.domain.weather import Place, WeatherDay
from mowalert.domain.words import Channel
from mowalert.service.growing.grow import grow_stands
from mowalert.service.growing.pull import pull_weather
from mowalert.service.lawns.enrol import enrol
from mowalert.service.lawns.look import outlook_of
from mowalert.service.lawns.report import report_mowing
from mowalert.service.nights.night import NightReport, run_night
from mowalert.service.policy import Policy
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.records import LawnRecord, ToldRecord
from mowalert.service.telling import tell
from mowalert.store.engine import SqlStore
from mowalert.store.tables import metadata

START = datetime(2026, 5, 4, 9, 35, tzinfo=UTC)
"""A Monday, 05:35 in New York."""
EVENING = timedelta(hours=12, minutes=30)
MAX_AGE = timedelta(hours=36)
POLICY = Policy(frozenset(Channel), MAX_AGE)
HEADER = "keeper,kind,email,latitude,longitude,lawn,grass,height_mm,watering,last_mown_on"
GRASSES = (
    ("kentucky_bluegrass", 65),
    ("tall_fescue", 85),
    ("perennial_ryegrass", 50),
    ("fine_fescue", 70),
    ("bermudagrass", 30),
)
KINDS = ("homeowner", "company", "parks")
ADVICE = ("mow", "may_mow", "overgrown", "release")


class PlainWords:
    """Says nothing but which lawns it is about."""

    def email(self, digest: Digest) -> RenderedEmail:
        text = ", ".join(f"{notice.lawn_id} {notice.kind}" for notice in digest.notices)
        return RenderedEmail(digest.kind.value, text, f"<p>{text}</p>")

    def sms(self, digest: Digest) -> str:
        return digest.kind.value


def moments(days: int, *, start: datetime = START) -> list[datetime]:
    """A morning and an evening on each of some days."""
    return [start + timedelta(days=day) + part for day in range(days) for part in (timedelta(0), EVENING)]


@dataclass
class Service:
    """A store, its sky, and nights on them."""

    store: SqlStore
    skies: Skies

    def night(self, now: datetime) -> NightReport:
        return run_night(self.store, self.skies, TURF, PlainWords(), POLICY, now=now)

    def nights(self, days: int, *, start: datetime = START) -> list[tuple[datetime, NightReport]]:
        """Run a morning and an evening on each of some days."""
        return [(now, self.night(now)) for now in moments(days, start=start)]

    def enrol(self, rows: Sequence[str], *, now: datetime = START) -> None:
        found, report = read_table("\n".join((HEADER, *rows)), TURF, now=now)
        assert report.problems == []
        enrol(self.store, TURF, found, report, source="a test", cell_degrees=0.1, now=now)

    def lawn(self, lawn_id: int = 1) -> LawnRecord:
        with self.store.begin() as work:
            return work.lawns.get([lawn_id])[0]

    def rows(self, *tables: str) -> dict[str, list[tuple[Any, ...]]]:
        engine = sa.create_engine(self.store.url)
        with engine.connect() as connection:
            found = {
                name: sorted(map(tuple, connection.execute(sa.select(metadata.tables[name]))), key=repr)
                for name in tables
            }
        engine.dispose()
        return found


@contextmanager
def a_service(path: Path, *rows: str, skies: Skies | None = None) -> Iterator[Service]:
    store = new_store(path)
    try:
        service = Service(store, skies or Skies())
        service.enrol(rows)
        yield service
    finally:
        store.close()


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with a_service(tmp_path / "store.db") as made:
        yield made


def a_row(
    name: str,
    *,
    kind: str = "homeowner",
    grass: int = 0,
    mown: date | None = None,
    latitude_deg: float = 42.745,
    lawn: str = "lawn",
    watering: str = "none",
) -> str:
    grass_id, height_mm = GRASSES[grass]
    return (
        f"{name},{kind},{name}@example.org,{latitude_deg},-73.752,{lawn},{grass_id},{height_mm},{watering},"
        f"{mown or ''}"
    )


@st.composite
def towns(draw: st.DrawFn) -> list[str]:
    """A few keepers with a few lawns in three weather cells."""
    rows = []
    for number in range(draw(st.integers(2, 4))):
        kind = draw(st.sampled_from(KINDS))
        for lawn in range(draw(st.integers(1, 3))):
            days_ago = draw(st.integers(0, 25))
            rows.append(
                a_row(
                    f"keeper{number}",
                    kind=kind,
                    grass=draw(st.integers(0, len(GRASSES) - 1)),
                    mown=START.date() - timedelta(days=days_ago) if days_ago else None,
                    latitude_deg=42.745 + 0.3 * (number % 3),
                    lawn=f"lawn {lawn}",
                    watering=draw(st.sampled_from(("none", "regular"))),
                )
            )
    return rows


def any_weather(seed: int) -> Callable[[Place, date], WeatherDay]:
    """Weeks of mild, hot, dry and cold days, the same for every seed, place and date."""

    def day(place: Place, on: date) -> WeatherDay:
        week = Random(f"{seed} {place.latitude_deg:.2f} {on.toordinal() // 9}")
        mean_c, wet = week.choice((2.0, 14.0, 18.0, 31.0)), week.random() < 0.6
        today = Random(f"{seed} {place.latitude_deg:.2f} {on.toordinal()}")
        rain_mm = round(today.uniform(2, 15), 1) if wet and today.random() < 0.5 else 0.0
        mean_c += today.uniform(-2, 2)
        return a_day(on, t_min_c=round(mean_c - 6, 1), t_max_c=round(mean_c + 6, 1), rain_mm=rain_mm)

    return day


TOLD = ("outbox", "told", "lawn", "stand_growth", "event", "keeper", "sending_round", "round_log")


@settings(max_examples=5)
@given(town=towns(), seed=st.integers(0, 99))
def test_a_night_run_twice_says_nothing_twice(
    town: list[str], seed: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    with a_service(
        tmp_path_factory.mktemp("twice") / "s.db", *town, skies=Skies(any_weather(seed))
    ) as service:
        for now in moments(5):
            service.night(now)
            before = service.rows(*TOLD)
            again = service.night(now)
            assert (again.tell.rounds, again.tell.digests, again.tell.messages, again.assumed) == (0, 0, 0, 0)
            assert again.tell.told == ()
            assert service.rows(*TOLD) == before


@settings(max_examples=5)
@given(town=towns(), seed=st.integers(0, 99), cut=st.integers(0, 3))
def test_shards_of_cells_give_what_one_run_gives(
    town: list[str], seed: int, cut: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("shards")
    with (
        a_service(folder / "one.db", *town, skies=Skies(any_weather(seed))) as one,
        a_service(folder / "two.db", *town, skies=Skies(any_weather(seed))) as two,
    ):
        with two.store.begin() as work:
            cell_ids = [cell.cell_id for cell in work.weather.cells()]
        shards = (cell_ids[cut:], cell_ids[:cut])
        for day in range(5):
            now = START + timedelta(days=day) + (EVENING if day == 3 else timedelta(0))
            pull_weather(one.store, one.skies, now=now)
            grow_stands(one.store, TURF, now=now)
            for shard in shards:
                if shard:
                    pull_weather(two.store, two.skies, now=now, cell_ids=shard)
                    grow_stands(two.store, TURF, now=now, cell_ids=shard)
            assert one.rows("stand_growth", "lawn") == two.rows("stand_growth", "lawn")
            told = [tell_rounds(s.store, TURF, PlainWords(), POLICY, now=now) for s in (one, two)]
            assert told[0] == told[1]
        assert one.rows(*TOLD) == two.rows(*TOLD)


@settings(max_examples=5)
@given(town=towns(), seed=st.integers(0, 99), up=st.lists(st.booleans(), min_size=8, max_size=8))
def test_old_weather_starts_no_cut_and_ends_no_hold(
    town: list[str], seed: int, up: list[bool], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Sources come and go; whatever is advised rests on weather that is young enough."""
    with a_service(tmp_path_factory.mktemp("old") / "s.db", *town, skies=Skies(any_weather(seed))) as service:
        last_up: datetime | None = None
        for day, is_up in enumerate(up):
            for part in (timedelta(0), EVENING):
                now = START + timedelta(days=2 * day) + part
                service.skies.down = not is_up
                last_up = now if is_up else last_up
                told = service.night(now).tell.told
                old = last_up is None or now - last_up > MAX_AGE
                assert not (old and [record for record in told if record.kind in ADVICE])
                assert old or not [record for record in told if record.kind == "no_weather"]


@settings(max_examples=4)
@given(town=towns(), seed=st.integers(0, 99))
def test_a_hold_is_told_once_and_released_once(
    town: list[str], seed: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    with a_service(
        tmp_path_factory.mktemp("hold") / "s.db", *town, skies=Skies(any_weather(seed))
    ) as service:
        told: dict[int, list[ToldRecord]] = {}
        for _, report in service.nights(16):
            for record in report.tell.told:
                if record.kind in ("hold", "release"):
                    told.setdefault(record.lawn_id, []).append(record)
        for records in told.values():
            assert records[0].kind == "hold"
            for earlier, later in pairwise(records):
                # A hold may turn into another, such as drought into winter; the same is not told again.
                again = (earlier.kind, earlier.reason) == (later.kind, later.reason)
                assert not again
                assert later.kind == "hold" or earlier.kind == "hold"


def test_one_message_a_person_and_round(tmp_path: Path) -> None:
    rows = [a_row("ann", mown=date(2026, 4, 20), lawn=name) for name in ("front", "back", "side")]
    with a_service(tmp_path / "s.db", *rows) as service:
        reports = service.nights(7)
        digests = [report.tell.digests for _, report in reports]
        assert sum(digests) == 1
        assert sum(report.tell.messages for _, report in reports) == 1


def test_a_report_carries_some_notices_and_counts_them_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tell, "MOST_TOLD", 2)
    cells = {"ann": 42.745, "bob": 43.745, "cid": 44.745}
    rows = [a_row(who, mown=date(2026, 4, 20), latitude_deg=where) for who, where in cells.items()]
    thursday = START + timedelta(days=3) + EVENING
    with a_service(tmp_path / "s.db", *rows) as service:
        night = run_night(
            service.store, service.skies, TURF, PlainWords(), POLICY, now=thursday, shard_cells=1
        )
        assert (night.tell.notices, len(night.tell.told)) == (3, 2)
        assert len(service.rows("told")["told"]) == 3


def test_corrected_weather_before_an_anchor_moves_the_anchor(tmp_path: Path) -> None:
    """The lawn was cut on Sunday; on Tuesday Saturday turns out to have been warmer."""
    with a_service(tmp_path / "s.db", a_row("ann", mown=date(2026, 5, 3))) as service:
        service.night(START)
        before, curve = service.lawn(), outlook(service, START)
        assert before.anchor_g_mm is not None

        def corrected(place: Place, on: date) -> WeatherDay:
            warmer = 8.0 if on == date(2026, 5, 2) else 0.0
            day = growing_weather(place, on)
            return a_day(on, t_min_c=day.t_min_c + warmer, t_max_c=day.t_max_c + warmer, rain_mm=day.rain_mm)

        service.skies.day = corrected
        service.night(START + timedelta(hours=4))
        after = service.lawn()
        assert after.anchor_g_mm is not None
        assert after.limit_g_mm is not None
        assert before.limit_g_mm is not None
        grown = after.anchor_g_mm - before.anchor_g_mm
        assert grown > 0.3
        assert after.limit_g_mm - before.limit_g_mm == pytest.approx(grown)
        # What grew before the cut is gone: heights since are as they were, but for the crown's warmth.
        assert outlook(service, START) == pytest.approx(curve, abs=1.0)
        assert (after.anchored_on, after.anchor_height_mm) == (before.anchored_on, before.anchor_height_mm)


def test_corrected_weather_after_an_anchor_changes_the_height(tmp_path: Path) -> None:
    with a_service(tmp_path / "s.db", a_row("ann", mown=date(2026, 5, 1))) as service:
        service.night(START)
        before, heights = service.lawn(), outlook(service, START)
        service.skies.day = lambda place, on: a_day(on, t_min_c=4, t_max_c=12, rain_mm=3.0)
        service.night(START + timedelta(hours=4))
        assert service.lawn().limit_g_mm == pytest.approx(before.limit_g_mm, abs=15)
        assert outlook(service, START)[0] < heights[0] - 1


def test_a_past_that_is_not_the_one_told_before_is_not_believed(tmp_path: Path) -> None:
    """Degrees Fahrenheit taken for Celsius are each possible by themselves."""
    with a_service(tmp_path / "s.db", a_row("ann", mown=date(2026, 5, 1))) as service:
        service.night(START)
        before = outlook(service, START)
        service.skies.day = lambda place, on: a_day(on, t_min_c=31, t_max_c=41)
        report = service.night(START + timedelta(hours=4))
        assert (report.pull.served, report.pull.unserved) == (0, 1)
        assert outlook(service, START) == before
        with service.store.begin() as work:
            assert "21 °C away" in work.weather.refusals(1)[0][3]
        # Whoever was wrong first must not be believed for ever.
        report = service.night(START + timedelta(hours=40))
        assert report.pull.served == 1


def outlook(service: Service, now: datetime) -> list[float]:
    seen = outlook_of(service.store, TURF, POLICY, 1, now=now)
    return [day.height_mm for day in seen.days]


def test_whoever_has_something_due_hears_once_that_there_is_no_weather(tmp_path: Path) -> None:
    rows = (
        a_row("due", kind="company", mown=date(2026, 4, 20)),
        a_row("fresh", kind="company", mown=date(2026, 5, 4)),
    )
    with a_service(tmp_path / "s.db", *rows) as service:
        service.night(START)
        service.skies.down = True
        told = [record for _, report in service.nights(4, start=START + timedelta(days=1))
                for record in report.tell.told]  # fmt: skip
        blind = [record for record in told if record.kind == "no_weather"]
        assert [record.lawn_id for record in blind] == [1]
        assert {record.lawn_id for record in told if record.kind != "no_weather"} <= {1}
        service.skies.down = False
        back = service.night(START + timedelta(days=7)).tell.told
        assert [record.lawn_id for record in back if record.kind in ADVICE] != []
        service.skies.down = True
        later = [record for _, report in service.nights(4, start=START + timedelta(days=8))
                 for record in report.tell.told]  # fmt: skip
        assert 1 in {record.lawn_id for record in later if record.kind == "no_weather"}


def test_weather_that_is_back_when_the_round_comes_is_told_of_once(tmp_path: Path) -> None:
    with a_service(tmp_path / "s.db", a_row("due", kind="company", mown=date(2026, 4, 20))) as service:
        service.night(START)
        service.skies.down = True
        blind = [kind for _, report in service.nights(4, start=START + timedelta(days=1))
                 for kind in (record.kind for record in report.tell.told)]  # fmt: skip
        assert blind[-1] == "no_weather"
        service.skies.down = False
        back = service.night(START + timedelta(days=7)).tell
        assert [record.lawn_id for record in back.told] == [1]
        assert (back.digests, back.messages) == (1, 1)


@pytest.mark.parametrize("days", [3, 30, 86, 92, 130, 300])
def test_a_service_that_was_down_for_long_comes_back(tmp_path: Path, days: int) -> None:
    with a_service(tmp_path / "s.db", a_row("ann", mown=date(2026, 5, 1))) as service:
        service.night(START)
        service.skies.day = mild_all_year
        back = service.night(START + timedelta(days=days))
        assert (back.grow.grown, back.grow.stale) == (1, 0)
        assert all(height > 65 for height in outlook(service, START + timedelta(days=days)))


@pytest.mark.parametrize("days", [3, 5, 12, 30])
def test_a_source_without_a_past_still_serves_after_a_downtime(tmp_path: Path, days: int) -> None:
    """The days between are lost; the lawn goes on from where it can be seen again, and cuts count."""
    skies = Skies(mild_all_year, keeps_past=0)
    with a_service(tmp_path / "s.db", a_row("ann", mown=date(2026, 5, 3)), skies=skies) as service:
        service.night(START)
        now = START + timedelta(days=days)
        back = service.night(now)
        assert (back.grow.grown, back.grow.stale) == (1, 0)
        heights = outlook(service, now)
        assert heights[0] > 65 + 0.8 * min(days, 5)
        cut(service, now)
        assert outlook(service, now)[0] == pytest.approx(65)
        service.night(now + timedelta(days=1))
        assert 65.5 < outlook(service, now + timedelta(days=1))[0] < 71


def mild_all_year(place: Place, on: date) -> WeatherDay:
    return growing_weather(place, on)


def cut(service: Service, now: datetime) -> None:
    today = now.date()
    report_mowing(service.store, TURF, 1, height_mm=None, on=today, today=today, now=now, by="cli")


def test_half_hour_zones_have_days_of_their_own(tmp_path: Path) -> None:
    """Kathmandu: the day begins at 18:15 UTC of the day before."""
    row = a_row("ann", mown=date(2026, 5, 1)).replace("42.745,-73.752", "27.7,85.3")
    with a_service(tmp_path / "s.db", row) as service:
        service.night(datetime(2026, 5, 4, 18, 14, tzinfo=UTC))
        with service.store.begin() as work:
            assert [cell.utc_offset_min for cell in work.weather.cells()] == [345]
            assert work.stands.growth_dates() == [date(2026, 5, 4)]
        service.night(datetime(2026, 5, 4, 18, 16, tzinfo=UTC))
        with service.store.begin() as work:
            assert work.stands.growth_dates() == [date(2026, 5, 5)]


def test_silence_counts_as_a_cut_once(tmp_path: Path) -> None:
    with a_service(tmp_path / "s.db", a_row("ann", mown=date(2026, 4, 27))) as service:
        reports = service.nights(9)
        advised = [record for _, report in reports for record in report.tell.told]
        assert [record.kind for record in advised] in (["mow"], ["overgrown"])
        assert sum(report.assumed for _, report in reports) == 1
        lawn = service.lawn()
        assert lawn.anchor_assumed
        assert lawn.anchored_on.isoformat() == advised[0].facts["best_on"]
        with service.store.begin() as work:
            (table, assumed) = work.lawns.events(1)
        assert (table.assumed, assumed.assumed, assumed.reported_by) == (False, True, "silence")
