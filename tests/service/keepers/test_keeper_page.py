"""A keeper's page shows the last two weeks as the grass grew."""

from itertools import pairwise

import pytest
from builders import TURF
from keepers import POLICY, Keeper, evening

from mowalert.domain.grasses import Turf
from mowalert.service.keepers.page import LawnPage, keeper_page
from mowalert.store.engine import SqlStore


def shown(keeper: Keeper) -> LawnPage:
    page = keeper_page(keeper.store, TURF, POLICY, 1, now=evening(keeper.today))
    assert page is not None
    (lawn,) = page.lawns
    return lawn


@pytest.mark.parametrize("nights", [1, 20, 60])
def test_the_past_leads_to_todays_height_however_long_ago_the_last_cut_was(
    store: SqlStore, turf: Turf, nights: int
) -> None:
    """Of a curve 40 days are kept, of a cut's place on it all that is needed."""
    keeper = Keeper(store, turf)
    for _ in range(nights):
        keeper.wait(1)
    lawn = shown(keeper)
    assert lawn.outlook is not None
    ahead, heights_mm = lawn.outlook.days[0], [day.height_mm for day in lawn.past]
    assert (lawn.past[-1].on, heights_mm[-1]) == (ahead.on, pytest.approx(ahead.height_mm))
    assert all(0 <= after - before < 12 for before, after in pairwise(heights_mm))
