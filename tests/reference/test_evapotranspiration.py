"""FAO-56's worked examples (Allen, Pereira, Raes & Smith 1998), each by its equation."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from conftest_types import Checks

from mowalert.domain import evapotranspiration as et


def angles(inputs: dict[str, Any]) -> dict[str, Any]:
    return {"latitude_deg": inputs["latitude_deg"], "day_of_year": inputs["day_of_year"]}


def ra(i: dict[str, Any]) -> dict[str, float]:
    value = float(et.extraterrestrial_radiation_mj_m2(**angles(i)))
    return {"ra_mj_m2_d": value, "published_ra_mj_m2_d": value}


def daylight(i: dict[str, Any]) -> dict[str, float]:
    hours = float(et.daylight_hours(**angles(i)))
    return {"n_hours": hours, "published_n_hours": hours}


def sunshine(i: dict[str, Any]) -> dict[str, float]:
    rs = float(et.radiation_from_sunshine_mj_m2(i["sunshine_hours"], **angles(i)))
    return {"rs_mj_m2_d": rs, "published_rs_mj_m2_d": rs}


def longwave(i: dict[str, Any]) -> dict[str, float]:
    rnl = float(
        et.net_longwave_mj_m2(
            i["t_min_c"],
            i["t_max_c"],
            vapour_pressure_kpa=i["vapour_pressure_kpa"],
            radiation_mj_m2=i["rs_mj_m2_d"],
            clear_sky_mj_m2=i["rso_mj_m2_d"],
        )
    )
    return {"rnl_mj_m2_d": rnl, "published_rnl_mj_m2_d": rnl}


def net(i: dict[str, Any]) -> dict[str, float]:
    rn = float(et.net_radiation_mj_m2(i["rs_mj_m2_d"], i["rnl_mj_m2_d"]))
    return {"rn_mj_m2_d": rn, "published_rn_mj_m2_d": rn}


def pressure(i: dict[str, Any]) -> dict[str, float]:
    return {
        "pressure_kpa": float(et.air_pressure_kpa(i["elevation_m"])),
        "gamma_kpa_c": float(et.psychrometric_constant_kpa_c(i["elevation_m"])),
    }


def saturated(i: dict[str, Any]) -> dict[str, float]:
    return {"es_kpa": float(et.mean_saturation_vapour_pressure_kpa(i["t_min_c"], i["t_max_c"]))}


def humid(i: dict[str, Any]) -> dict[str, float]:
    ea = et.vapour_pressure_from_extremes_kpa(
        i["t_min_c"],
        i["t_max_c"],
        rel_humidity_min_pct=i["rh_min_pct"],
        rel_humidity_max_pct=i["rh_max_pct"],
    )
    return {"ea_kpa": float(ea)}


def wind(i: dict[str, Any]) -> dict[str, float]:
    return {"wind_2m_ms": float(et.wind_at_2m_ms(i["wind_10m_ms"], i["height_m"]))}


EXAMPLES: dict[str, Callable[[dict[str, Any]], dict[str, float]]] = {
    "et0.ra.ex08": ra,
    "et0.n.ex09": daylight,
    "et0.rs.ex10": sunshine,
    "et0.rnl.ex11": longwave,
    "et0.rn.ex12": net,
    "et0.pressure.ex02": pressure,
    "et0.es.ex03": saturated,
    "et0.ea.ex05": humid,
    "et0.wind.ex14": wind,
}


@pytest.mark.parametrize("check", EXAMPLES)
def test_a_worked_example_comes_out(check: str, checks: Checks) -> None:
    row = checks[check]
    for name, ours in EXAMPLES[check](row["inputs"]).items():
        tolerance = row["tolerance"].get(name)
        if tolerance is not None:
            checks.close(check, name, ours, row["expected"][name], tolerance)


def test_bangkok_in_april(checks: Checks) -> None:
    """Example 17; the monthly soil heat flux is part of it."""
    row = checks["et0.pm.ex17"]
    i, expected = row["inputs"], row["expected"]
    rs = et.radiation_from_sunshine_mj_m2(i["sunshine_hours"], **angles(i))
    ours = float(
        et.et0_penman_monteith(
            np.array(i["t_min_c"]),
            np.array(i["t_max_c"]),
            radiation_mj_m2=rs,
            wind_2m_ms=i["wind_2m_ms"],
            vapour_pressure_kpa=i["vapour_pressure_kpa"],
            elevation_m=i["elevation_m"],
            soil_heat_mj_m2=i["soil_heat_flux_mj_m2_d"],
            **angles(i),
        )
    )
    checks.close("et0.pm.ex17", "et0_mm_d", ours, expected["et0_mm_d"], row["tolerance"]["et0_mm_d"])
    checks.close("et0.pm.ex17", "published", ours, expected["published_et0_mm_d"], 0.01)


def test_uccle_in_july(checks: Checks) -> None:
    """Example 18: wind from 10 m, humidity extremes, hours of sunshine."""
    row = checks["et0.pm.ex18"]
    i, expected = row["inputs"], row["expected"]
    ours = float(
        et.et0_penman_monteith(
            np.array(i["t_min_c"]),
            np.array(i["t_max_c"]),
            radiation_mj_m2=et.radiation_from_sunshine_mj_m2(i["sunshine_hours"], **angles(i)),
            wind_2m_ms=et.wind_at_2m_ms(i["wind_10m_ms"], 10.0),
            vapour_pressure_kpa=humid(i)["ea_kpa"],
            elevation_m=i["elevation_m"],
            **angles(i),
        )
    )
    checks.close("et0.pm.ex18", "et0_mm_d", ours, expected["et0_mm_d"], row["tolerance"]["et0_mm_d"])
    checks.close("et0.pm.ex18", "published", ours, expected["published_et0_mm_d"], 0.01)


def test_lyon_in_july_with_data_missing(checks: Checks) -> None:
    """Example 20: dew point and wind by their stand-ins, radiation from temperatures."""
    row = checks["et0.pm.ex20"]
    i = row["inputs"]
    t_min, t_max = np.array(i["t_min_c"]), np.array(i["t_max_c"])
    ours = float(
        et.et0_penman_monteith(
            t_min,
            t_max,
            radiation_mj_m2=et.radiation_from_temperatures(t_min, t_max, k_rs=i["k_rs"], **angles(i)),
            wind_2m_ms=et.STAND_IN_WIND_MS,
            vapour_pressure_kpa=et.saturation_vapour_pressure_kpa(t_min),
            elevation_m=i["elevation_m"],
            **angles(i),
        )
    )
    checks.close("et0.pm.ex20", "et0_mm_d", ours, row["expected"]["et0_mm_d"], row["tolerance"]["et0_mm_d"])


def test_hargreaves_at_the_same_place(checks: Checks) -> None:
    row = checks["et0.hargreaves.ex20"]
    i = row["inputs"]
    ours = float(et.et0_hargreaves(np.array(i["t_min_c"]), np.array(i["t_max_c"]), **angles(i)))
    checks.close("et0.hargreaves.ex20", "et0_mm_d", ours, row["expected"]["et0_mm_d"], 0.002)
    checks.close("et0.hargreaves.ex20", "published", ours, row["expected"]["published_et0_mm_d"], 0.05)
