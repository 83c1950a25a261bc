"""Heat index by the NWS equation, its chart and classes; OSHA's and NIOSH's figures beside them."""

import math
from datetime import date

import numpy as np
import pytest
from conftest_types import Checks
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.crew_heat import (
    FIRST_CAUTION_F,
    STRONG_CAUTION_F,
    HeatBand,
    crew_heat,
    heat_band,
    heat_index_f,
)
from mowalert.domain.units import c_from_f

POINTS = ("96_65", "90_50", "100_10", "86_90", "95_5", "112_5", "82_95", "87_90", "80_40", "78_90", "70_50")
OFF_CHART = {(82, 100): 1.05, (80, 95): 1.81, (80, 100): 2.30}
"""The printed chart leaves the humid adjustment out: these cells lie lower than the equation."""


@pytest.mark.parametrize("point", POINTS)
def test_the_equation_at_a_point(point: str, checks: Checks) -> None:
    check = f"heat.hi.{point}"
    row = checks[check]
    ours = float(heat_index_f(c_from_f(row["inputs"]["t_f"]), row["inputs"]["rh_pct"]))
    checks.close(check, "°F", ours, row["expected"]["heat_index_f"], 0.01)


def test_every_cell_of_the_chart(checks: Checks) -> None:
    row = checks["heat.chart"]
    cells = 0
    for t_f, values in row["expected"]["chart_f"].items():
        for step, theirs in enumerate(values):
            humidity = 40 + 5 * step
            ours = float(heat_index_f(c_from_f(float(t_f)), float(humidity)))
            tolerance = OFF_CHART.get((int(t_f), humidity), 1.0)
            checks.close("heat.chart", f"{t_f} °F {humidity} %", ours, theirs, tolerance)
            cells += 1
    assert cells == 135


def test_the_classes_of_the_weather_service(checks: Checks) -> None:
    expected = checks["heat.band.nws"]["expected"]
    for name in ("caution", "extreme_caution", "danger"):
        low, high = expected[name]
        checks.same("heat.band.nws", f"{low} °F", heat_band(low).value, name)
        checks.same("heat.band.nws", f"just below {high} °F", heat_band(high - 0.01).value, name)
    assert heat_band(expected["extreme_danger_from"]) is HeatBand.EXTREME_DANGER
    assert heat_band(79.9) is HeatBand.NONE


def test_worksite_levels_differ_from_the_public_classes(checks: Checks) -> None:
    """OSHA's own levels start at 91 °F: the public classes are not taken for a worksite's."""
    expected = checks["heat.band.osha"]["expected"]
    checks.same("heat.band.osha", "moderate from", expected["moderate"][0], 91)
    assert heat_band(90.5) is HeatBand.EXTREME_CAUTION
    assert expected["lower_below"] > 90.5
    assert checks["heat.sun"]["expected"]["up_to_f"] == 15


def test_default_cautions_are_the_proposed_rules_triggers(checks: Checks) -> None:
    expected = checks["heat.osha.rule"]["expected"]
    checks.same("heat.osha.rule", "first", FIRST_CAUTION_F, expected["initial_heat_trigger"])
    checks.same("heat.osha.rule", "strong", STRONG_CAUTION_F, expected["high_heat_trigger"])


def test_niosh_limits_are_lower_than_the_strong_caution(checks: Checks) -> None:
    """WBGT limits (NIOSH 2016-106, 8.1): an employer who goes by them sets lower cautions."""
    row = checks["heat.niosh.limits"]
    for watts, ral, rel in zip(
        row["inputs"]["m_w"], row["expected"]["ral_c"], row["expected"]["rel_c"], strict=True
    ):
        checks.close("heat.niosh.limits", f"RAL {watts} W", 59.9 - 14.1 * math.log10(watts), ral, 0.01)
        checks.close("heat.niosh.limits", f"REL {watts} W", 56.7 - 11.5 * math.log10(watts), rel, 0.01)
    days = checks["heat.niosh.new"]["expected"]["new_pct_by_day"]
    assert days == sorted(days)


@given(t_f=st.floats(60, 115), humidity=st.floats(5, 100))
def test_metpy_has_the_same_index(t_f: float, humidity: float) -> None:
    """MetPy switches to the regression a little earlier; elsewhere both are the same equation."""
    calc = pytest.importorskip("metpy.calc", reason="MetPy comes with the reference extra")
    units = pytest.importorskip("metpy.units").units
    simple = 0.5 * (t_f + 61.0 + (t_f - 68.0) * 1.2 + humidity * 0.094)
    if 78 <= (simple + t_f) / 2 <= 82 or 78 <= simple <= 82:
        return
    theirs = calc.heat_index(
        np.array([t_f]) * units.degF, np.array([humidity / 100]) * units.dimensionless, mask_undefined=False
    )
    ours = float(heat_index_f(c_from_f(t_f), humidity))
    assert ours == pytest.approx(float(theirs.to("degF").magnitude[0]), abs=0.02)


def test_a_hot_day_names_its_peak_and_its_coolest_hours() -> None:
    t_c = [20 + 14 * math.sin(math.pi * max(0, hour - 5) / 18) for hour in range(24)]
    day = crew_heat(date(2026, 7, 1), t_c, [50.0] * 24, from_hour=7, to_hour=17)
    assert day is not None
    assert day.at_hour == 14
    assert (day.safest_from, day.safest_to) == (7, 11)
    assert day.strong


def test_a_mild_day_gets_no_caution() -> None:
    assert crew_heat(date(2026, 4, 1), [15.0] * 24, [50.0] * 24, from_hour=7, to_hour=17) is None
