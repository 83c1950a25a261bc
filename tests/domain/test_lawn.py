"""One lawn on its stand's curve: its height since its anchor, its pace, its name, and when it is due."""

import numpy as np
import pytest
from builders import BLUEGRASS, THURSDAY, TURF, a_lawn

from mowalert.domain.growth import height_mm
from mowalert.domain.lawn import Anchor, Due, due_after, pace_of, place_name


def test_a_lawn_grows_from_its_anchor_whatever_its_stand_grew_before() -> None:
    lawn = a_lawn(anchor=Anchor(THURSDAY, 75.0, 200.0))
    assert lawn.height_at(200.0) == pytest.approx(75.0)
    grown = height_mm(np.array([0.0, 12.0]), from_height_mm=75.0, pace=1.0, ceiling_mm=BLUEGRASS.ceiling_mm)
    assert lawn.heights_at(np.array([200.0, 212.0])) == pytest.approx(grown)


def test_a_lawn_is_due_when_window_and_limit_heights_are_reached() -> None:
    """With a quarter to be taken: 50 mm grown by a quarter, and 50 mm being three quarters of it."""
    due = due_after(BLUEGRASS, 50.0, pace=0.8, from_height_mm=50.0, from_growth_mm=200.0, third=0.25)
    assert due.window_g_mm is not None
    assert due.limit_g_mm is not None
    lawn = a_lawn(anchor=Anchor(THURSDAY, 50.0, 200.0), pace=0.8)
    assert lawn.height_at(due.window_g_mm) == pytest.approx(62.5)
    assert lawn.height_at(due.limit_g_mm) == pytest.approx(50.0 / 0.75)


def test_a_lawn_whose_limit_lies_near_its_ceiling_has_no_window_either() -> None:
    """Centipedegrass stops at 150 mm: half of 140 mm is never grown, a third of 105 mm is."""
    grass = TURF.grasses["centipedegrass"]
    start = {"pace": 1.0, "from_height_mm": 70.0, "from_growth_mm": 0.0}
    assert due_after(grass, 70.0, **start, third=0.5) == Due(None, None)
    assert due_after(grass, 70.0, **start).limit_g_mm is not None


@pytest.mark.parametrize(
    ("nitrogen_lb", "learned", "regulator", "pace"),
    [(None, 1.0, 1.0, 1.0), (0.0, 1.0, 1.0, 0.45), (3.0, 1.6, 1.0, 1.6), (None, 1.0, 0.5, 0.5)],
)
def test_feed_reports_and_regulators_change_a_lawns_pace(
    nitrogen_lb: float | None, learned: float, regulator: float, pace: float
) -> None:
    ours = pace_of(BLUEGRASS, 50.0, nitrogen=nitrogen_lb, learned=learned, regulator=regulator)
    assert ours == pytest.approx(pace)


def test_without_a_regulator_a_lawn_keeps_its_pace() -> None:
    assert pace_of(BLUEGRASS, 50.0, nitrogen=None, learned=1.0) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("lawn_name", "name"), [("", "Home"), ("lawn", "Home"), ("Home", "Home"), ("front", "Home, front")]
)
def test_a_lawn_without_a_name_of_its_own_is_its_sites(lawn_name: str, name: str) -> None:
    assert place_name("Home", lawn_name) == name
