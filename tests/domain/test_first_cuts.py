"""What a lawn that is free before its class is told: a cut only once there is one to make."""

from datetime import date, timedelta

import pytest
from builders import a_notice

from mowalert.domain.class_holds import cut_after_release
from mowalert.domain.words import NoticeKind

BEST_ON = date(2026, 5, 9)


@pytest.mark.parametrize("window_on", [BEST_ON, BEST_ON - timedelta(days=2)])
def test_a_lawn_that_is_free_is_told_its_first_cut(window_on: date) -> None:
    cut = cut_after_release(a_notice(NoticeKind.RELEASE, window_on=window_on))
    assert cut is not None
    assert (cut.kind, cut.reason, cut.best_on) == (NoticeKind.MOW, None, BEST_ON)


@pytest.mark.parametrize("window_on", [None, BEST_ON + timedelta(days=3)])
def test_a_lawn_with_nothing_to_cut_yet_is_not_told_a_cut(window_on: date | None) -> None:
    assert cut_after_release(a_notice(NoticeKind.RELEASE, window_on=window_on, removed_fraction=0.01)) is None
