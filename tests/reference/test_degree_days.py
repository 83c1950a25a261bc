"""Degree-days: the single sine of Baskerville & Emin (1969), and Seattle's years as xclim has them."""

import numpy as np
import pytest
from conftest_types import Checks
from hypothesis import given
from hypothesis import strategies as st
from vega_datasets import data

from mowalert.domain.degree_days import degree_days, sine_degree_days
from mowalert.errors import InputError

SINE = ("18_4_10", "25_12_10", "9_1_10", "14_10_10", "22_m2_4", "30_10_10")
CUTOFF = ("36_20", "40_25", "34_31", "28_15", "33_8")


def arrays(row: dict) -> tuple[np.ndarray, np.ndarray]:
    return np.array([float(row["inputs"]["t_min_c"])]), np.array([float(row["inputs"]["t_max_c"])])


@pytest.mark.parametrize("name", SINE)
def test_a_day_under_the_sine(name: str, checks: Checks) -> None:
    check = f"gdd.sine.{name}"
    row = checks[check]
    base = row["inputs"]["base_c"]
    ours = float(sine_degree_days(*arrays(row), base_c=base)[0])
    checks.close(check, "gdd", ours, row["expected"]["gdd"], 1e-4)
    by_mean = float(degree_days(*arrays(row), base_c=base)[0])
    checks.close(check, "mean method", by_mean, row["expected"]["mean_method"], 1e-9)


@pytest.mark.parametrize("name", CUTOFF)
def test_warmth_above_a_horizontal_cutoff_counts_as_the_cutoff(name: str, checks: Checks) -> None:
    check = f"gdd.cutoff.{name}"
    row = checks[check]
    base, cutoff = row["inputs"]["base_c"], row["inputs"]["cutoff_c"]
    ours = float(sine_degree_days(*arrays(row), base_c=base, cutoff_c=cutoff)[0])
    checks.close(check, "gdd", ours, row["expected"]["gdd"], 1e-4)
    without = float(sine_degree_days(*arrays(row), base_c=base)[0])
    checks.close(check, "without cutoff", without, row["expected"]["without_cutoff"], 1e-4)


@pytest.fixture(scope="module")
def seattle() -> dict[int, tuple[np.ndarray, np.ndarray]]:
    """Daily extremes by year, from the table that the package carries."""
    table = data.seattle_weather()
    years = table["date"].dt.year
    return {
        int(year): (
            table["temp_min"][years == year].to_numpy(),
            table["temp_max"][years == year].to_numpy(),
        )
        for year in sorted(years.unique())
    }


def test_seattles_years_as_xclim_sums_them(checks: Checks, seattle: dict) -> None:
    row = checks["gdd.year.seattle.xclim"]
    for year, theirs in row["expected"].items():
        ours = float(degree_days(*seattle[int(year)], base_c=10.0).sum())
        checks.close("gdd.year.seattle.xclim", year, ours, theirs, 0.01)


def test_seattles_years_with_other_bases(checks: Checks, seattle: dict) -> None:
    row = checks["gdd.year.seattle.bases"]
    for base, years in row["expected"].items():
        for year, theirs in years.items():
            ours = float(degree_days(*seattle[int(year)], base_c=float(base)).sum())
            checks.close("gdd.year.seattle.bases", f"base {base}, {year}", ours, theirs, 0.01)


def test_seattles_years_under_the_sine(checks: Checks, seattle: dict) -> None:
    row = checks["gdd.year.seattle.sine"]
    for year, (plain, cut) in row["expected"].items():
        ours = float(sine_degree_days(*seattle[int(year)], base_c=10.0).sum())
        capped = float(sine_degree_days(*seattle[int(year)], base_c=10.0, cutoff_c=30.0).sum())
        checks.close("gdd.year.seattle.sine", year, ours, plain, 0.01)
        checks.close("gdd.year.seattle.sine", f"{year}, cutoff 30", capped, cut, 0.01)


@given(low=st.floats(-30, 35), span=st.floats(0, 25), base=st.floats(0, 15))
def test_the_sine_never_counts_less_than_the_mean(low: float, span: float, base: float) -> None:
    t_min, t_max = np.array([low]), np.array([low + span])
    sine = sine_degree_days(t_min, t_max, base_c=base)
    assert sine[0] >= degree_days(t_min, t_max, base_c=base)[0] - 1e-9


@given(low=st.floats(-10, 25), span=st.floats(0.1, 25), base=st.floats(0, 15))
def test_a_finely_stepped_sine_agrees(low: float, span: float, base: float) -> None:
    angle = (np.arange(20_000) + 0.5) / 20_000 * 2 * np.pi
    curve = low + span / 2 + span / 2 * np.sin(angle)
    fine = np.maximum(curve - base, 0).mean()
    ours = sine_degree_days(np.array([low]), np.array([low + span]), base_c=base)[0]
    assert ours == pytest.approx(fine, abs=1e-4)


def test_extremes_in_the_wrong_order_are_refused() -> None:
    with pytest.raises(InputError, match="exceeds"):
        degree_days(np.array([9.0]), np.array([8.0]), base_c=0.0)


def test_xclim_sums_the_same_year_live(seattle: dict) -> None:
    xclim = pytest.importorskip("xclim.indices", reason="xclim comes with the reference extra")
    xr = pytest.importorskip("xarray")
    pd = pytest.importorskip("pandas")
    t_min, t_max = seattle[2015]
    times = pd.date_range("2015-01-01", periods=len(t_min))
    mean = xr.DataArray((t_min + t_max) / 2, coords={"time": times}, dims="time", attrs={"units": "degC"})
    theirs = float(xclim.growing_degree_days(mean, thresh="5 degC", freq="YS")[0])
    assert float(degree_days(t_min, t_max, base_c=5.0).sum()) == pytest.approx(theirs, abs=0.01)
