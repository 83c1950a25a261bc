"""How grass uses warmth: the beta response of Yan & Hunt (1999), and leaf elongation in LINGRA."""

import numpy as np
import pytest
from conftest_types import Checks

from mowalert.domain.growth import effective_degree_days, temperature_growth_factor

CURVES = ("0_20_35", "3_20_35", "4_20_35", "12_33_45")


def cardinal(inputs: dict) -> dict[str, np.ndarray]:
    names = {"base_c": "t_min_c", "opt_c": "t_opt_c", "max_c": "t_max_c"}
    return {ours: np.float64(inputs[theirs]) for ours, theirs in names.items()}


@pytest.mark.parametrize("curve", CURVES)
def test_the_beta_response(curve: str, checks: Checks) -> None:
    check = f"response.beta.{curve}"
    row = checks[check]
    temperatures = np.array(row["inputs"]["t_c"], dtype=float)
    ours = temperature_growth_factor(temperatures, **cardinal(row["inputs"]))
    for t_c, value, theirs in zip(temperatures, ours, row["expected"]["f"], strict=True):
        checks.close(check, f"{t_c:g} °C", float(value), theirs, 1e-4)


def test_effective_degree_days_of_a_steady_day(checks: Checks) -> None:
    row = checks["response.effective_dd"]
    temperatures = np.array(row["inputs"]["t_c"], dtype=float)
    ours = effective_degree_days(temperatures, **cardinal(row["inputs"]))
    for t_c, value, theirs in zip(temperatures, ours, row["expected"]["effective_dd"], strict=True):
        checks.close("response.effective_dd", f"{t_c:g} °C", float(value), theirs, 5e-4)


def test_the_response_ranks_cool_days_as_leaf_elongation_does(checks: Checks) -> None:
    """LINGRA's leaf elongation (Schapendonk and others 1998) rises with warmth up to our optimum.

    It never falls in heat, and is the leaf length of a fed sward: shape and rank are compared, not size.
    """
    row = checks["response.lingra"]
    temperatures = np.array(row["inputs"]["t_mean_c"], dtype=float)
    elongation = np.where(temperatures > 3, 0.83 * np.log(np.maximum(temperatures, 2)) - 0.8924, 0.0)
    for t_c, value, theirs in zip(temperatures, elongation, row["expected"]["cm_d_per_tiller"], strict=True):
        checks.close("response.lingra", f"their curve at {t_c:g} °C", float(value), theirs, 1e-4)
    cool = temperatures <= 20
    ours = temperature_growth_factor(
        temperatures[cool], base_c=np.float64(3), opt_c=np.float64(20), max_c=np.float64(35)
    )
    assert np.all(np.diff(ours) > 0)
    assert np.corrcoef(ours, elongation[cool])[0, 1] > 0.97
