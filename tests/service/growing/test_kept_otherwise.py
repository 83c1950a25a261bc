"""A lawn kept another way, or whose report is taken back, is as tall as it was, however old its cut."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from builders import TURF
from keepers import START, TABLE, Keeper, enrolled, evening, seen

from mowalert.domain.words import Sun, Watering
from mowalert.service.lawns.report import forget_learned, undo_last
from mowalert.service.lawns.wishes import LawnWish, change_lawn
from mowalert.service.records import LawnRecord
from mowalert.store.engine import SqlStore

LONG_D, LATELY_D = 75, 20
"""Nights since the last cut; a curve is kept for forty, and guessed for three weeks before."""
WISHES = {
    "other days": LawnWish(mowing_days=frozenset({2})),
    "a little higher": LawnWish(height_mm=80.0),
    "so low that it roots otherwise": LawnWish(height_mm=40.0),
    "in the shade": LawnWish(sun=Sun.SHADE),
    "without water": LawnWish(watering=Watering.NONE),
}


def kept_for(store: SqlStore, nights: int) -> Keeper:
    keeper = Keeper(store, TURF)
    for _ in range(nights):
        keeper.wait(1)
    return keeper


def height_mm(keeper: Keeper) -> float:
    return seen(keeper.store, TURF, 1, keeper.today)[1]


@pytest.mark.parametrize("nights", [LATELY_D, LONG_D])
@pytest.mark.parametrize("wish", WISHES)
def test_a_wish_changes_no_grass(store: SqlStore, wish: str, nights: int) -> None:
    keeper = kept_for(store, nights)
    before_mm, cut_on = height_mm(keeper), keeper.lawn.anchored_on
    change_lawn(store, TURF, 1, WISHES[wish])
    assert height_mm(keeper) == pytest.approx(before_mm)
    assert (keeper.lawn.anchored_on, keeper.lawn.anchor_assumed) == (cut_on, False)
    assert keeper.lawn.limit_g_mm is not None
    keeper.wait(1)
    assert height_mm(keeper) == pytest.approx(before_mm, abs=12.0), "its last five days are computed anew"


@pytest.mark.parametrize("nights", [LATELY_D, LONG_D])
def test_a_table_that_tells_of_another_height_changes_no_grass(store: SqlStore, nights: int) -> None:
    keeper = kept_for(store, nights)
    before_mm = height_mm(keeper)
    higher = TABLE.replace(",70,regular,2026-05-04,70", ",80,regular,2026-05-04,70")
    enrolled(store, TURF, higher, on=keeper.today)
    assert keeper.lawn.chosen_mm == 80.0
    assert height_mm(keeper) == pytest.approx(before_mm)


UNDONE: dict[str, Callable[[Keeper], object]] = {
    "a cut": lambda keeper: keeper.mow(),
    "a height": lambda keeper: keeper.measure(200.0),
}


@pytest.mark.parametrize("nights", [LATELY_D, LONG_D])
@pytest.mark.parametrize("what", UNDONE)
def test_a_report_taken_back_leaves_the_grass_as_it_was(store: SqlStore, what: str, nights: int) -> None:
    keeper = kept_for(store, nights)
    before = keeper.lawn
    before_mm = height_mm(keeper)
    UNDONE[what](keeper)
    assert height_mm(keeper) != pytest.approx(before_mm)
    undo_last(store, TURF, 1, now=evening(keeper.today))
    assert height_mm(keeper) == pytest.approx(before_mm)
    assert _place(keeper.lawn) == pytest.approx(_place(before))


def test_what_is_forgotten_has_grown_at_the_models_pace_since_the_cut(store: SqlStore) -> None:
    keeper = kept_for(store, LATELY_D)
    model_mm = height_mm(keeper)
    keeper.measure(keeper.lawn.anchor_height_mm + 1.3 * (model_mm - keeper.lawn.anchor_height_mm))
    keeper.mow()
    for _ in range(LONG_D):
        keeper.wait(1)
    learned, place = height_mm(keeper), keeper.lawn.anchor_g_mm
    assert keeper.lawn.learned > 1.05
    forget_learned(store, TURF, 1, on=keeper.today, now=evening(keeper.today))
    assert keeper.lawn.learned == 1.0
    assert keeper.lawn.anchor_g_mm == place
    assert height_mm(keeper) < learned


def _place(lawn: LawnRecord) -> tuple[float, ...]:
    ago_d = (lawn.anchored_on - START) / timedelta(days=1)
    return ago_d, lawn.anchor_height_mm, lawn.anchor_g_mm or 0.0, lawn.limit_g_mm or 0.0, lawn.pace
