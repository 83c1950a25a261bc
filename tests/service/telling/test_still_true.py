"""A message that waited is decided again before it goes: true, it goes; overtaken, it does not."""

from datetime import date

import pytest
from builders import TURF
from phones import MORNING, ONE, OTHER, Phone
from skies import a_day

from mowalert.domain.weather import Place, WeatherDay
from mowalert.service.lawns.report import report_mowing
from mowalert.store.engine import SqlStore

EVENING = {"hours": 8, "minutes": 5}
"""From the morning on: the weekend notice has come."""
OVERNIGHT = {"hours": 14}


@pytest.fixture
def ann(store: SqlStore) -> Phone:
    """Somebody who was written to of two lawns on Thursday evening; nothing has gone by Friday morning."""
    ann = Phone(store, TURF).enrol(ONE, OTHER)
    ann.wait(**EVENING)
    with store.begin() as work:
        assert work.outbox.states() == {"ready": 2}
    return ann


def states(phone: Phone) -> dict[str, int]:
    with phone.store.begin() as work:
        return dict(work.outbox.states())


def mow(phone: Phone, *lawn_ids: int) -> None:
    today = phone.now.date()
    for lawn_id in lawn_ids:
        report_mowing(
            phone.store, TURF, lawn_id, height_mm=None, on=today, today=today, now=phone.now, by="page"
        )


def heat(place: Place, on: date) -> WeatherDay:
    hot = on >= MORNING.date()
    return a_day(on, t_min_c=27.0 if hot else 10.0, t_max_c=41.0 if hot else 20.0)


def test_advice_that_waited_and_still_holds_goes(ann: Phone) -> None:
    ann.wait(**OVERNIGHT)
    assert ann.deliver() == 2
    assert states(ann) == {"sent": 2}


def test_advice_of_two_lawns_goes_while_one_is_not_mown(ann: Phone) -> None:
    ann.wait(**OVERNIGHT)
    mow(ann, 2)
    assert ann.deliver() == 2


def test_advice_of_lawns_that_were_mown_meanwhile_does_not_go(ann: Phone) -> None:
    ann.wait(**OVERNIGHT)
    mow(ann, 1, 2)
    assert ann.deliver() == 0
    assert states(ann) == {"cancelled": 2}


def test_advice_to_mow_does_not_go_once_there_is_a_hold(ann: Phone) -> None:
    ann.sky.day = heat
    ann.wait(**OVERNIGHT)
    assert ann.deliver() == 0
    assert states(ann) == {"cancelled": 2}
