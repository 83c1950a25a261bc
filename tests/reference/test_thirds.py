"""The one-third rule: arithmetic from the definition, and pairs as extension services print them."""

from fractions import Fraction

import pytest
from conftest_types import Checks

from mowalert.domain.thirds import (
    limit_height_mm,
    removed_fraction,
    staged_heights_mm,
    window_height_mm,
)
from mowalert.domain.units import mm_from_inches

LIMITS = ("3", "2_5", "2", "1_5", "1", "0_5")
REMOVED = ("100", "112_5", "120", "125", "150", "160")
STAGED = ("150_75", "112_75", "120_75", "300_75", "200_50", "150_75_quarter")
CALIFORNIA = (
    "seeded_bermudagrass",
    "hybrid_bermudagrass",
    "buffalograss",
    "kikuyugrass",
    "seashore_paspalum",
    "st_augustinegrass",
    "zoysiagrass",
)


@pytest.mark.parametrize("height", LIMITS)
def test_limit_and_window_of_a_chosen_height(height: str, checks: Checks) -> None:
    check = f"third.limit.{height}"
    row = checks[check]
    chosen, expected = row["inputs"]["chosen_in"], row["expected"]
    limit = limit_height_mm(chosen)
    checks.close(check, "limit in", limit, expected["limit_in"], 1e-9)
    checks.close(check, "limit mm", limit_height_mm(mm_from_inches(chosen)), expected["limit_mm"], 1e-9)
    checks.close(check, "window in", window_height_mm(chosen), expected["window_in"], 1e-6)
    checks.close(
        check, "removed", removed_fraction(limit, chosen), expected["removed_fraction_at_limit"], 1e-6
    )


@pytest.mark.parametrize("height", REMOVED)
def test_share_of_the_blade_removed(height: str, checks: Checks) -> None:
    check = f"third.removed.{height}"
    row = checks[check]
    ours = removed_fraction(row["inputs"]["height_mm"], row["inputs"]["chosen_mm"])
    checks.close(check, "removed", ours, row["expected"]["removed_fraction"], 1e-6)


@pytest.mark.parametrize("case", STAGED)
def test_staged_cuts_come_down_in_steps(case: str, checks: Checks) -> None:
    check = f"third.staged.{case}"
    row = checks[check]
    i = row["inputs"]
    cuts, reaches = staged_heights_mm(
        i["height_mm"], i["chosen_mm"], max_removed=float(Fraction(i["max_removed"]))
    )
    assert reaches
    checks.same(check, "cuts", len(cuts), row["expected"]["cuts"])
    heights = [cuts[0][0], *(after for _, after in cuts)]
    for step, (ours, theirs) in enumerate(zip(heights, row["expected"]["heights_mm"], strict=True)):
        checks.close(check, f"step {step} mm", ours, theirs, 1e-4)


def test_staged_cuts_while_growing(checks: Checks) -> None:
    row = checks["third.staged.growing"]
    i = row["inputs"]
    cuts, reaches = staged_heights_mm(
        i["height_mm"], i["chosen_mm"], growth_mm_d=i["growth_mm_d"], days_between=i["days_between"]
    )
    assert reaches
    for step, (before, after) in enumerate(cuts):
        checks.close(
            "third.staged.growing", f"before {step}", before, row["expected"]["before_mm"][step], 0.01
        )
        checks.close("third.staged.growing", f"after {step}", after, row["expected"]["after_mm"][step], 0.01)


def test_growth_that_outruns_the_plan_is_said(checks: Checks) -> None:
    row = checks["third.staged.never"]
    i = row["inputs"]
    cuts, reaches = staged_heights_mm(
        i["height_mm"], i["chosen_mm"], growth_mm_d=i["growth_mm_d"], days_between=i["days_between"]
    )
    checks.same("third.staged.never", "reaches", reaches, row["expected"]["reaches_chosen"])
    for step, theirs in enumerate(row["expected"]["after_mm"]):
        checks.close("third.staged.never", f"after {step}", cuts[step][1], theirs, 0.01)
    keepable = i["growth_mm_d"] * i["days_between"] * 2
    checks.close("third.staged.never", "keepable mm", keepable, row["expected"]["after_mm_limit"], 0.01)


@pytest.mark.parametrize("grass", CALIFORNIA)
def test_californias_pairs_are_limits(grass: str, checks: Checks) -> None:
    check = f"third.published.uc.{grass}"
    row = checks[check]
    for chosen, mow_at in zip(row["inputs"]["set_in"], row["expected"]["mow_when_in"], strict=True):
        checks.close(check, f"set {chosen} in", limit_height_mm(chosen), mow_at, 1e-9)


@pytest.mark.parametrize("place", ["uga", "nc"])
def test_texts_that_read_the_rule_as_a_limit(place: str, checks: Checks) -> None:
    check = f"third.published.{place}"
    row = checks[check]
    ours = limit_height_mm(row["inputs"]["set_in"])
    checks.close(check, "mow at in (limit)", ours, row["expected"]["mow_when_in"], 1e-9)


@pytest.mark.parametrize("place", ["purdue", "va"])
def test_texts_that_read_the_rule_early_give_our_window(place: str, checks: Checks) -> None:
    check = f"third.published.{place}"
    row = checks[check]
    window = window_height_mm(row["inputs"]["set_in"])
    checks.close(check, "mow at in (window)", window, row["expected"]["mow_when_in"], 1e-9)
    removed = removed_fraction(window, row["inputs"]["set_in"])
    checks.close(check, "removed", removed, row["expected"]["removed_fraction"], 1e-9)


def test_utahs_early_reading(checks: Checks) -> None:
    row = checks["third.published.utah"]
    removed = removed_fraction(row["inputs"]["height_in"], row["expected"]["set_in"])
    checks.close("third.published.utah", "removed", removed, row["expected"]["removed_fraction"], 1e-9)
