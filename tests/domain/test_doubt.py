"""How sure a due date is."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from builders import THURSDAY, WEEKEND_ROUND, a_lawn, an_outlook
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.decide import decide
from mowalert.domain.doubt import (
    chance_by_day,
    due_spread,
    error_quantiles,
    no_errors,
    spread_curves,
    tally,
)
from mowalert.domain.words import NoticeKind

STEADY = np.arange(1.0, 10.0)


def test_the_spread_is_the_same_search_on_every_curve() -> None:
    members = np.array([STEADY * pace for pace in (1.0, 2.0, 3.0, 4.0, 6.0)])
    found = due_spread(110.0, 100.0, members, today=THURSDAY)
    # 10 mm are left: passed after 2, 3, 4, 6 days and not within 9.
    assert found.early_on == THURSDAY + timedelta(days=2)
    assert found.likely_on == THURSDAY + timedelta(days=4)
    assert found.late_on is None
    assert chance_by_day(110.0, 100.0, members)[:5] == pytest.approx([0, 0, 0.2, 0.4, 0.6])


def test_a_lawn_that_can_never_be_due_has_no_date() -> None:
    found = due_spread(None, 0.0, np.array([STEADY]), today=THURSDAY)
    assert (found.early_on, found.likely_on, found.late_on) == (None, None, None)


def test_a_limit_already_passed_is_certain_today() -> None:
    assert due_spread(99.0, 100.0, np.array([STEADY]), today=THURSDAY).early_on == THURSDAY


@given(
    st.lists(st.floats(0, 8), min_size=9, max_size=9),
    st.floats(0.1, 60),
)
def test_early_comes_no_later_than_likely_and_late(steps: list[float], left_mm: float) -> None:
    members = spread_curves(np.cumsum(steps), error_quantiles(no_errors(9)))
    assert np.all(np.diff(members, axis=1) >= 0)
    found = due_spread(left_mm, 0.0, members, today=THURSDAY)
    dates = [on or date.max for on in (found.early_on, found.likely_on, found.late_on)]
    assert dates == sorted(dates)


def test_a_forecaster_that_errs_more_has_a_wider_spread() -> None:
    seen = no_errors(9)
    said = np.full(400, 20.0)
    for lead in range(9):
        seen[lead] = tally(said, said * np.linspace(0.4, 1.6, 400))
    usual, wide = error_quantiles(no_errors(9)), error_quantiles(seen)
    assert np.all(wide[-1] - wide[0] > 1.3 * (usual[-1] - usual[0]))
    assert abs(np.median(wide)) < 0.02


def test_a_forecaster_that_says_too_much_is_corrected() -> None:
    seen = no_errors(1)
    seen[0] = tally(np.full(500, 20.0), np.full(500, 16.0))
    assert np.median(error_quantiles(seen)) == pytest.approx(-0.2, abs=0.03)


def test_a_notice_says_from_when_the_limit_could_be_passed() -> None:
    # The weekend's last day is safe by the one forecast; one in five curves passes the limit on Saturday.
    lawn = a_lawn(height_mm=100.0)
    sure = an_outlook(growth_mm_d=3.5)
    gains = np.array([STEADY * pace for pace in (3.0, 3.3, 3.5, 3.7, 7.0)])
    unsure = replace(sure, gains_on=THURSDAY, gains_mm=gains)
    assert decide(lawn, sure, WEEKEND_ROUND).could_be_from is None
    notice = decide(lawn, unsure, WEEKEND_ROUND)
    assert notice.kind is NoticeKind.MOW
    assert notice.best_on == THURSDAY + timedelta(days=3)
    assert notice.could_be_from == THURSDAY + timedelta(days=2)


def test_a_sure_forecast_says_nothing_of_doubt() -> None:
    lawn = a_lawn(height_mm=100.0)
    outlook = replace(an_outlook(growth_mm_d=3.5), gains_on=THURSDAY, gains_mm=np.array([STEADY * 3.5] * 5))
    assert decide(lawn, outlook, WEEKEND_ROUND).could_be_from is None
