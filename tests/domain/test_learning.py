"""Learning from simulated keepers whose lawns' own factor is known."""

from dataclasses import dataclass, replace
from math import exp, log

import numpy as np
import pytest

from mowalert.domain.growth import growth_to_reach_mm, height_mm
from mowalert.domain.learning import (
    ASSUMED_CUT_MM,
    HIGHEST,
    LOWEST,
    NOTHING,
    REPORTED_CUT_MM,
    USUAL_SPREAD,
    Learned,
    MeasuredGrowth,
    is_usable,
    learn,
)

KEEPERS = 300
CHOSEN_MM = 70.0
CEILING_MM = 500.0
PACE = 1.12
MM_A_DAY = 3.0


@dataclass(frozen=True)
class Keeper:
    """One simulated lawn and its honest reports; some may be wrong."""

    truth: float
    reports: list[MeasuredGrowth]


def a_report(
    random: np.random.Generator, truth: float, *, wrong: bool = False, grown_mm: float | None = None
) -> MeasuredGrowth:
    """A cut to about the chosen height, some growth, and a ruler held into uneven grass."""
    grown = float(random.uniform(18, 32)) if grown_mm is None else grown_mm
    start = CHOSEN_MM + float(random.normal(0, 2.5))
    true = float(height_mm(grown, from_height_mm=start, pace=PACE * truth, ceiling_mm=CEILING_MM))
    read = true + float(random.normal(0, 4.0))
    if wrong:
        # A slip: read in another unit's mark, on another lawn, or after an untold cut.
        read = float(random.choice([CHOSEN_MM, true * 1.5, true - 25, true + 40]))
    return MeasuredGrowth(CHOSEN_MM, read, grown, PACE, CEILING_MM, REPORTED_CUT_MM)


def keepers(seed: int, reports: int, *, wrong_share: float = 0.0) -> list[Keeper]:
    random = np.random.default_rng(seed)
    return [
        Keeper(
            truth,
            [a_report(random, truth, wrong=bool(random.random() < wrong_share)) for _ in range(reports)],
        )
        for truth in np.exp(random.normal(0, USUAL_SPREAD, KEEPERS)).clip(LOWEST, HIGHEST)
    ]


def days_off(truth: float, believed: float) -> float:
    """Days between the due date believed and the true one."""
    true, said = (
        growth_to_reach_mm(
            1.5 * CHOSEN_MM, from_height_mm=CHOSEN_MM, pace=PACE * factor, ceiling_mm=CEILING_MM
        )
        for factor in (truth, believed)
    )
    assert true is not None
    assert said is not None
    return abs(true - said) / MM_A_DAY


def mean_days_off(people: list[Keeper], *, learned: bool) -> float:
    return float(
        np.mean([days_off(one.truth, learn(one.reports).factor if learned else 1.0) for one in people])
    )


@pytest.mark.parametrize("seed", range(20))
def test_three_honest_reports_halve_the_due_dates_error(seed: int) -> None:
    people = keepers(seed, 3)
    assert mean_days_off(people, learned=True) < 0.5 * mean_days_off(people, learned=False)


@pytest.mark.parametrize("seed", range(20))
def test_after_five_reports_the_factor_is_known_to_within_a_tenth(seed: int) -> None:
    off = [log(learn(one.reports).factor / one.truth) for one in keepers(seed, 5)]
    assert np.mean(np.abs(off)) < 0.1


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("reports", [1, 2, 3, 5, 8])
def test_it_is_never_worse_than_before_with_one_report_in_ten_wrong(seed: int, reports: int) -> None:
    people = keepers(seed, reports, wrong_share=0.1)
    assert mean_days_off(people, learned=True) < mean_days_off(people, learned=False)


@pytest.mark.parametrize("reports", [2, 5])
def test_the_spread_said_is_the_spread_found(reports: int) -> None:
    people = keepers(7, reports) + keepers(8, reports)
    learned = [(one.truth, learn(one.reports)) for one in people]
    score = [log(found.factor / truth) / found.spread for truth, found in learned]
    assert 0.7 < np.std(score) < 1.25


def test_one_report_moves_little_and_an_outlier_less() -> None:
    random = np.random.default_rng(1)
    to_mm = float(height_mm(20.0, from_height_mm=70.0, pace=1.3 * PACE, ceiling_mm=CEILING_MM))
    honest = learn([MeasuredGrowth(70.0, to_mm, 20.0, PACE, CEILING_MM, REPORTED_CUT_MM)])
    assert 1.1 < honest.factor < 1.25
    four = [a_report(random, 1.0, grown_mm=25.0) for _ in range(4)]
    outlier = replace(four[0], to_height_mm=four[0].to_height_mm + 40)
    assert learn([*four, outlier]).factor < 1.15


def test_a_start_nobody_reported_counts_less() -> None:
    known = MeasuredGrowth(70.0, 100.0, 20.0, PACE, CEILING_MM, REPORTED_CUT_MM)
    assumed = replace(known, from_doubt_mm=ASSUMED_CUT_MM)
    assert 1.0 < learn([assumed]).factor < learn([known]).factor
    assert learn([assumed]).spread > learn([known]).spread


@pytest.mark.parametrize(
    "changes",
    [{"stand_growth_mm": 2.0}, {"to_height_mm": 60.0}, {"to_height_mm": 300.0}, {"to_height_mm": 499.0}],
)
def test_too_little_growth_and_nonsense_are_kept_but_not_used(changes: dict[str, float]) -> None:
    odd = replace(MeasuredGrowth(70.0, 95.0, 20.0, PACE, CEILING_MM, REPORTED_CUT_MM), **changes)
    assert not is_usable(odd)
    assert learn([odd]) == Learned(1.0, USUAL_SPREAD, 0, 1)


def test_the_factor_stays_within_its_bounds() -> None:
    fast = [MeasuredGrowth(70.0, 150.0, 20.0, PACE, CEILING_MM, REPORTED_CUT_MM)] * 12
    assert learn(fast).factor == HIGHEST
    slow = [MeasuredGrowth(70.0, 77.0, 24.0, PACE, CEILING_MM, REPORTED_CUT_MM)] * 12
    assert learn(slow).factor == LOWEST


def test_nothing_is_learned_from_nothing_and_order_does_not_matter() -> None:
    assert learn([]) == NOTHING
    random = np.random.default_rng(3)
    some = [a_report(random, exp(0.2)) for _ in range(6)]
    forward, backward = learn(some), learn(some[::-1])
    assert forward.factor == pytest.approx(backward.factor, rel=1e-12)
    assert not learn(some[:1]).told
    assert learn(some[:2]).told
