"""Soil water by FAO-56 chapter 8: examples, a dry-down, ten days with rain, and the identity."""

import numpy as np
import pytest
from conftest_types import Checks
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.grasses import Turf
from mowalert.domain.soil_water import (
    depletion_fraction,
    root_depth_mm,
    total_available_water_mm,
    water_day,
)

SOILS = ("loamy_sand", "silt", "silty_clay")
DEMANDS = ("3", "5", "7", "16", "m6")


@pytest.mark.parametrize("soil", SOILS)
def test_available_water_of_example_36(soil: str, checks: Checks) -> None:
    check = f"water.raw.ex36.{soil}"
    row = checks[check]
    held = row["inputs"]["theta_fc_m3_m3"] - row["inputs"]["theta_wp_m3_m3"]
    for crop in ("onion", "tomato", "maize"):
        values = row["inputs"][crop]
        taw = float(total_available_water_mm(np.float64(values["root_m"] * 1000), np.float64(held)))
        checks.close(check, f"{crop} TAW mm", taw, row["expected"][f"{crop}_taw_mm"], 0.05)
        checks.close(check, f"{crop} RAW mm", taw * values["p"], row["expected"][f"{crop}_raw_mm"], 0.05)


@pytest.mark.parametrize("demand", DEMANDS)
def test_the_share_taken_before_stress_follows_the_days_demand(demand: str, checks: Checks) -> None:
    check = f"water.p.adjust.{demand}"
    row = checks[check]
    ours = float(
        depletion_fraction(np.float64(row["inputs"]["p_table"]), np.float64(row["inputs"]["etc_mm_d"]))
    )
    checks.close(check, "p", ours, row["expected"]["p"], 1e-9)


def stepped(
    taw: float, p: float, kc: float, start: float, et0: list[float], rain: list[float]
) -> dict[str, list[float]]:
    """Our day, taken once for each day of a series."""
    depletion = np.array([start])
    found: dict[str, list[float]] = {"ks": [], "eta_mm": [], "drainage_mm": [], "depletion_end_mm": []}
    for demand, fall in zip(et0, rain, strict=True):
        day = water_day(
            depletion,
            et0_mm=np.array([demand]),
            rain_mm=np.array([fall]),
            taw_mm=np.array([taw]),
            kc=np.array([kc]),
            p_table=np.array([p]),
            watered=np.array([False]),
        )
        depletion = day.depletion_mm
        for name, value in (
            ("ks", day.ks),
            ("eta_mm", day.eta_mm),
            ("drainage_mm", day.drainage_mm),
            ("depletion_end_mm", day.depletion_mm),
        ):
            found[name].append(float(value[0]))
    return found


def test_a_full_soil_dries_down(checks: Checks) -> None:
    row = checks["water.ks.drydown"]
    i, expected = row["inputs"], row["expected"]
    ours = stepped(i["taw_mm"], i["p_table"], i["kc"], 0.0, [i["et0_mm_d"]] * 15, [0.0] * 15)
    for theirs, name in (
        ("ks_by_day", "ks"),
        ("eta_mm_by_day", "eta_mm"),
        ("depletion_end_mm_by_day", "depletion_end_mm"),
    ):
        for day, value in enumerate(expected[theirs]):
            checks.close("water.ks.drydown", f"{name} day {day + 1}", ours[name][day], value, 1e-4)


def test_ten_days_with_light_rain_rain_and_a_downpour(checks: Checks) -> None:
    row = checks["water.bucket.ten_days"]
    i = row["inputs"]
    start = float(i["depletion_start_mm"])
    ours = stepped(i["taw_mm"], i["p_table"], i["kc"], start, i["et0_mm"], i["rain_mm"])
    for name in ("ks", "eta_mm", "drainage_mm", "depletion_end_mm"):
        for day, value in enumerate(row["expected"][name]):
            checks.close("water.bucket.ten_days", f"{name} day {day + 1}", ours[name][day], value, 1e-4)


AMOUNTS = st.lists(st.tuples(st.floats(0, 12), st.floats(0, 80)), min_size=1, max_size=40)


@given(taw=st.floats(15, 200), start=st.floats(0, 1), watered=st.booleans(), days=AMOUNTS)
def test_no_water_is_made_or_lost(
    taw: float, start: float, watered: bool, days: list[tuple[float, float]], checks: Checks
) -> None:
    checks["water.balance.closes"]
    depletion = np.array([start * taw])
    for et0, rain in days:
        day = water_day(
            depletion,
            et0_mm=np.array([et0]),
            rain_mm=np.array([rain]),
            taw_mm=np.array([taw]),
            kc=np.array([0.95]),
            p_table=np.array([0.4]),
            watered=np.array([watered]),
        )
        counted = 0.0 if rain < 0.2 * et0 else rain
        change = day.eta_mm - counted - day.irrigation_mm + day.drainage_mm
        assert day.depletion_mm - depletion == pytest.approx(change, abs=1e-9)
        assert 0 <= day.depletion_mm[0] <= taw + 1e-9
        depletion = day.depletion_mm


def plain_soil(
    taw: float, p_table: float, kc: float, start: float, days: list[tuple[float, float]]
) -> list[float]:
    """The same bookkeeping written a second time, one number after another."""
    left = taw - start
    ends = []
    for et0, rain in days:
        wanted = kc * et0
        p = min(0.8, max(0.1, p_table + 0.04 * (5 - wanted)))
        easy = (1 - p) * taw
        share = 1.0 if left >= easy else left / easy
        left -= min(share * wanted, left)
        if rain >= 0.2 * et0:
            left = min(taw, left + rain)
        ends.append(taw - left)
    return ends


@given(taw=st.floats(15, 200), days=AMOUNTS)
def test_a_plain_daily_bookkeeping_agrees(taw: float, days: list[tuple[float, float]]) -> None:
    et0, rain = [day[0] for day in days], [day[1] for day in days]
    ours = stepped(taw, 0.4, 0.95, 0.0, et0, rain)["depletion_end_mm"]
    assert ours == pytest.approx(plain_soil(taw, 0.4, 0.95, 0.0, days), abs=1e-9)


@pytest.mark.parametrize(("check", "season"), [("water.table.cool", "cool"), ("water.table.warm", "warm")])
def test_turf_parameters_are_those_of_the_tables(check: str, season: str, checks: Checks, turf: Turf) -> None:
    """Tables 12 and 22; root depths there are for deep, watered turf, ours are shallower on purpose.

    Cool-season turf takes the average of California's trials instead of table 12: with 0.95 rainfed ryegrass
    keeps too little of its irrigated growth (HINDCAST.md). The table's value stays beside it in the report.
    """
    expected = checks[check]["expected"]
    grasses = [grass for grass in turf.grasses.values() if grass.season == season]
    assert grasses
    for grass in grasses:
        if season == "warm":
            checks.same(check, f"{grass.grass_id} Kc", grass.kc, expected["kc_mid"])
        else:
            california = checks["water.kc.california"]["expected"]["annual_cool"]
            checks.same("water.kc.california", f"{grass.grass_id} Kc", grass.kc, california)
            checks.within(check, f"{grass.grass_id} Kc", grass.kc, california, expected["kc_mid"])
        checks.same(check, f"{grass.grass_id} p", grass.depletion_p, expected["p"])
    tall = float(root_depth_mm(90.0, deep=True))
    checks.within(check, "deepest reach m", tall / 1000, 0.5, expected["root_depth_m"][1])


def test_soils_hold_what_table_19_says(checks: Checks, turf: Turf) -> None:
    """Clay loam has no row: silt clay loam's range covers ours."""
    expected = checks["water.table19.available"]["expected"]
    like = {"clay_loam": "silt_clay_loam"}
    for soil, held in turf.soils_m3_m3.items():
        low, high = expected[like.get(soil, soil)]
        checks.within("water.table19.available", f"{soil} m³/m³", held, low, high)


def test_field_capacity_less_wilting_point_brackets_our_soils(checks: Checks, turf: Turf) -> None:
    expected = checks["water.table19.limits"]["expected"]
    for soil in ("sand", "sandy_loam", "loam", "clay"):
        limits = expected[soil]
        least = limits["field_capacity"][0] - limits["wilting_point"][1]
        most = limits["field_capacity"][1] - limits["wilting_point"][0]
        checks.within("water.table19.limits", f"{soil} m³/m³", turf.soils_m3_m3[soil], least, most)


def test_crop_coefficients_lie_within_the_spread_of_turf_studies(checks: Checks, turf: Turf) -> None:
    """A Kc is no constant of nature; ours are FAO-56's and lie within the months of California."""
    california = checks["water.kc.california"]["expected"]
    for season, name in (("cool_season", "kentucky_bluegrass"), ("warm_season", "bermudagrass")):
        months = california[season]
        high = max(months) if season == "cool_season" else 0.85
        checks.within("water.kc.california", f"{season} Kc", turf.grasses[name].kc, min(months), high)
    arizona = checks["water.kc.arizona"]["expected"]["bermudagrass"]
    ours = turf.grasses["bermudagrass"].kc
    checks.within("water.kc.arizona", "bermudagrass Kc, to 0.03", ours, arizona[0] - 0.03, arizona[1] + 0.03)
    low, high = checks["water.etc.range"]["expected"]["bentgrass"]
    demand = turf.grasses["creeping_bentgrass"].kc * 6.0
    checks.within("water.etc.range", "bentgrass at ET0 6 mm/d", demand, low, high)
