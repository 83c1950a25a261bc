"""A keeper's ruler through the whole service: it moves the due date, is said aloud, and can be forgotten."""

import pytest
from builders import a_digest, a_notice
from keepers import POLICY, TABLE, TRUTH, Keeper, evening

from mowalert.channels.messages import render_email
from mowalert.domain.grasses import Turf
from mowalert.errors import InputError
from mowalert.service.lawns.enrol import enrol
from mowalert.service.lawns.look import due_now
from mowalert.service.lawns.report import forget_learned, undo_last
from mowalert.service.reading.lawn_table import read_table
from mowalert.store.engine import SqlStore


@pytest.fixture
def keeper(store: SqlStore, turf: Turf) -> Keeper:
    return Keeper(store, turf)


def test_honest_reports_bring_the_due_date_forward(keeper: Keeper) -> None:
    keeper.wait(7)
    keeper.mow()
    before = keeper.lawn
    for _ in range(5):
        reported = keeper.cycle()
    keeper.mow()
    after = keeper.lawn
    assert reported.learned is not None
    assert reported.learned.factor == pytest.approx(TRUTH, rel=0.1)
    assert after.learned == reported.learned.factor
    assert after.pace == pytest.approx(before.pace * after.learned)
    assert before.limit_g_mm is not None
    assert after.limit_g_mm is not None
    needed = [lawn.limit_g_mm - lawn.anchor_g_mm for lawn in (before, after)]  # type: ignore[operator]
    assert needed[1] == pytest.approx(needed[0] / after.learned)


def test_it_is_said_aloud_from_the_second_report_on(keeper: Keeper) -> None:
    keeper.wait(7)
    first, second = keeper.cycle(), keeper.cycle()
    assert first.learned is not None
    assert not first.learned.told
    assert second.learned is not None
    assert second.learned.told
    keeper.mow()
    keeper.wait(6)
    (notice,) = due_now(keeper.store, keeper.turf, POLICY, now=evening(keeper.today))
    assert notice.learned == keeper.lawn.learned


def test_a_report_taken_back_leaves_no_trace(keeper: Keeper) -> None:
    keeper.wait(7)
    keeper.cycle()
    one = keeper.lawn
    keeper.cycle()
    assert keeper.lawn.learned != one.learned
    undo_last(keeper.store, keeper.turf, 1, now=evening(keeper.today))
    assert keeper.lawn.learned == one.learned
    assert keeper.lawn.learned_reports == 1


def test_everything_can_be_forgotten_and_remembered(keeper: Keeper) -> None:
    keeper.wait(7)
    keeper.cycle()
    keeper.cycle()
    knows = keeper.lawn
    forget_learned(keeper.store, keeper.turf, 1, on=keeper.today, now=evening(keeper.today))
    blank = keeper.lawn
    assert (blank.learned, blank.learned_reports, blank.learned_spread) == (1.0, 0, None)
    assert blank.anchor_height_mm == knows.anchor_height_mm
    assert blank.limit_g_mm != knows.limit_g_mm
    undo_last(keeper.store, keeper.turf, 1, now=evening(keeper.today))
    assert keeper.lawn == knows
    forget_learned(keeper.store, keeper.turf, 1, on=keeper.today, now=evening(keeper.today))
    with pytest.raises(InputError, match="nothing has been learned"):
        forget_learned(keeper.store, keeper.turf, 1, on=keeper.today, now=evening(keeper.today))


def test_a_height_that_contradicts_all_sense_is_kept_and_teaches_nothing(keeper: Keeper) -> None:
    keeper.wait(7)
    keeper.mow()
    keeper.wait(8)
    reported = keeper.measure(60.0)
    assert not reported.taught
    assert keeper.lawn.learned == 1.0
    assert keeper.lawn.anchor_height_mm == 60.0
    with keeper.store.begin() as work:
        assert work.lawns.events(1)[-1].height_mm == 60.0


def test_a_second_look_at_the_same_evening_teaches_nothing(keeper: Keeper) -> None:
    keeper.wait(7)
    keeper.cycle()
    learned = keeper.lawn.learned
    assert not keeper.measure(100.0).taught
    assert keeper.lawn.learned == learned


def test_a_changed_lawn_keeps_what_it_taught(keeper: Keeper, turf: Turf) -> None:
    keeper.wait(7)
    keeper.cycle()
    learned = keeper.lawn.learned
    rows, report = read_table(TABLE.replace(",70,regular", ",80,regular"), turf, now=evening(keeper.today))
    enrol(keeper.store, turf, rows, report, source="a test", cell_degrees=0.1, now=evening(keeper.today))
    assert (keeper.lawn.chosen_mm, keeper.lawn.learned) == (80.0, learned)


def test_the_mail_says_what_was_learned() -> None:
    mail = render_email(a_digest(a_notice(learned=1.23)), service_name="T")
    assert "grows about 25 % faster than we assumed" in mail.text
    assert "grows about 25\u00a0% faster than we assumed" in mail.html
    slow = render_email(a_digest(a_notice(learned=0.8)), service_name="T")
    assert "20 % slower" in slow.text
    same = render_email(a_digest(a_notice(learned=1.01)), service_name="T")
    assert "about as fast as we assumed" in same.text
