"""A lawn that comes with a cut of long ago has grown since then by the weather there was, if it is known."""

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from builders import TURF
from keepers import START, TABLE, Keeper, enrolled, evening, seen
from skies import Skies
from stores import new_store

from mowalert.domain.grasses import Turf
from mowalert.service.growing.grow import grow_stands
from mowalert.service.growing.pull import pull_weather
from mowalert.store.engine import SqlStore
from mowalert.store.tables import cell_day

LONG_D = 75
NEIGHBOUR = TABLE.replace("Ann,company,ann@", "Ben,company,ben@")


def comes(store: SqlStore, table: str, today: date, sky: Skies) -> None:
    """Enrol whom a table tells of, and let a night pass."""
    enrolled(store, TURF, table, on=today)
    now = evening(today)
    pull_weather(store, sky, now=now)
    grow_stands(store, TURF, now=now)


@pytest.fixture
def empty_sqlite(tmp_path: Path) -> Iterator[SqlStore]:
    store = new_store(tmp_path / "another.db")
    yield store
    store.close()


@pytest.fixture
def long_there(store: SqlStore, turf: Turf) -> Keeper:
    """Somebody who was there on the day of the cut, and has waited ever since."""
    keeper = Keeper(store, turf)
    for _ in range(LONG_D):
        keeper.wait(1)
    return keeper


def test_the_first_of_a_place_has_grown_as_if_always_there(
    long_there: Keeper, empty_sqlite: SqlStore
) -> None:
    _, height_mm = seen(long_there.store, TURF, 1, long_there.today)
    comes(empty_sqlite, TABLE, long_there.today, Skies())
    lawn, newcomers_mm = seen(empty_sqlite, TURF, 1, long_there.today)
    assert (lawn.anchored_on, lawn.anchor_assumed) == (START, False)
    assert newcomers_mm == pytest.approx(height_mm, abs=0.5)


def test_a_neighbour_who_comes_later_has_grown_as_much_and_moves_nobody(long_there: Keeper) -> None:
    store, today = long_there.store, long_there.today
    before, height_mm = seen(store, TURF, 1, today)
    comes(store, NEIGHBOUR, today, long_there.sky)
    lawn, newcomers_mm = seen(store, TURF, 2, today)
    assert lawn.stand_id == before.stand_id
    assert (lawn.anchored_on, lawn.anchor_assumed) == (START, False)
    after, still_mm = seen(store, TURF, 1, today)
    assert (after.anchored_on, after.anchor_assumed) == (START, False)
    assert still_mm == pytest.approx(height_mm, abs=0.5)
    assert newcomers_mm == pytest.approx(height_mm, abs=0.5)
    long_there.wait(1)
    with store.begin() as work:
        curve_from = work.stands.growth([lawn.stand_id])[lawn.stand_id].curve_from
    assert curve_from == long_there.today - timedelta(days=40), "no more is kept than usual"


def test_a_neighbour_takes_nobodys_curve_where_days_are_missing(long_there: Keeper) -> None:
    """From the first day on no curve can be computed any more: the neighbour's growth is guessed."""
    store, today = long_there.store, long_there.today
    before, height_mm = seen(store, TURF, 1, today)
    gone = sa.delete(cell_day).where(
        cell_day.c.on.between(START + timedelta(days=5), START + timedelta(days=12))
    )
    engine = sa.create_engine(store.url)
    with engine.begin() as connection:
        connection.execute(gone)
    engine.dispose()
    comes(store, NEIGHBOUR, today, long_there.sky)
    assert seen(store, TURF, 1, today) == (before, pytest.approx(height_mm))
    neighbour, _ = seen(store, TURF, 2, today)
    assert neighbour.anchor_assumed


def test_where_no_weather_is_known_it_is_guessed_and_said_so(empty_sqlite: SqlStore) -> None:
    today = START + timedelta(days=LONG_D)
    comes(empty_sqlite, TABLE, today, Skies(keeps_past=10))
    lawn, height_mm = seen(empty_sqlite, TURF, 1, today)
    assert (lawn.anchored_on, lawn.anchor_assumed) == (START, True)
    assert height_mm > 70.0
