"""Independent libraries run live beside ours; each is skipped where the reference extra is absent."""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
import seasons as sn
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain import evapotranspiration as et
from mowalert.domain.soil_water import water_day

DAYS = st.tuples(
    st.floats(-15, 30),  # t_min_c
    st.floats(0.5, 20),  # range
    st.floats(0.05, 0.95),  # share of the dew point's room
    st.floats(0.2, 0.75),  # share of the light above the air
    st.floats(0.2, 10),  # wind
    st.floats(-60, 60),  # latitude
    st.floats(0, 2500),  # elevation
    st.integers(1, 365),
)


@given(day=DAYS)
def test_penman_monteith_agrees_with_pyet(day: tuple[float, ...]) -> None:
    """pyet writes FAO-56 to the letter; refet's constants are rounded otherwise, by below 0.01 mm."""
    pyet = pytest.importorskip("pyet", reason="pyet comes with the reference extra")
    pd = pytest.importorskip("pandas")
    t_min, span, dryness, share, wind, latitude, elevation, doy = day
    t_max = t_min + span
    ra = float(et.extraterrestrial_radiation_mj_m2(latitude, doy))
    rs = share * ra
    ea = float(et.saturation_vapour_pressure_kpa(t_min)) * (1 - 0.6 * dryness)
    when = pd.DatetimeIndex([dt.date(2023, 1, 1) + dt.timedelta(days=int(doy) - 1)])

    def series(value: float) -> "pd.Series[float]":
        return pd.Series([value], index=when)

    theirs = pyet.pm_fao56(
        series((t_min + t_max) / 2),
        series(wind),
        rs=series(rs),
        tmax=series(t_max),
        tmin=series(t_min),
        ea=series(ea),
        elevation=elevation,
        lat=np.radians(latitude),
    )
    ours = et.et0_penman_monteith(
        np.array([t_min]),
        np.array([t_max]),
        radiation_mj_m2=np.array([rs]),
        wind_2m_ms=wind,
        vapour_pressure_kpa=ea,
        latitude_deg=latitude,
        elevation_m=elevation,
        day_of_year=doy,
    )
    assert ours[0] == pytest.approx(float(theirs.iloc[0]), abs=0.02)


def test_pyfao56_dries_the_same_soil_down(checks) -> None:
    """Kcb 0.9 and no evaporation from the soil: our dry-down, run by an independent program."""
    fao = pytest.importorskip("pyfao56", reason="pyfao56 comes with the reference extra")
    row = checks["water.ks.drydown"]["inputs"]
    first = dt.date(2023, 6, 1)
    parameters = fao.Parameters(
        Kcbini=0.899999, Kcbmid=0.9, Kcbend=0.9, Lini=100, Ldev=50, Lmid=50, Lend=25, hini=0.1, hmax=0.1,
        thetaFC=row["theta_fc_m3_m3"], thetaWP=row["theta_wp_m3_m3"], theta0=row["theta_fc_m3_m3"],
        Zrini=row["root_m"], Zrmax=row["root_m"], pbase=row["p_table"], Ze=0.001, REW=0.01,
    )  # fmt: skip
    weather = fao.Weather()
    weather.z, weather.lat, weather.wndht = 100.0, 45.0, 2.0
    for day in range(15):
        on = first + dt.timedelta(days=day)
        weather.wdata.loc[on.strftime("%Y-%j")] = [
            20.0,
            25.0,
            15.0,
            1.2,
            10.0,
            80.0,
            45.0,
            2.0,
            0.0,
            5.0,
            "M",
        ]
    start, end = first.strftime("%Y-%j"), (first + dt.timedelta(days=14)).strftime("%Y-%j")
    model = fao.Model(start, end, parameters, weather)
    model.run()
    theirs = [float(value) for value in model.odata["Ks"]]
    depletion, ours = np.array([0.0]), []
    for _ in range(15):
        day = water_day(
            depletion,
            et0_mm=np.array([5.0]),
            rain_mm=np.array([0.0]),
            taw_mm=np.array([32.5]),
            kc=np.array([0.9]),
            p_table=np.array([0.4]),
            watered=np.array([False]),
        )
        ours.append(float(day.ks[0]))
        depletion = day.depletion_mm
    assert ours == pytest.approx(theirs, abs=0.02)


STATIONS = (
    ("arizona_maricopa/daily.csv", "et0_refet_mm", 33.069, 361.0, 0.10),
    ("colorado_holyoke/daily.csv", "et0_mm", 40.49, 1138.0, 0.06),
)


@pytest.mark.parametrize(("file", "column", "latitude", "elevation", "rmse"), STATIONS)
def test_a_stations_own_figures_come_out(
    file: str, column: str, latitude: float, elevation: float, rmse: float, shared_dir: Path
) -> None:
    """Networks' and programs' own ET0 from the same day's weather; what is left is rounding."""
    pd = pytest.importorskip("pandas")
    table = pd.read_csv(shared_dir / "data" / "fields" / file, parse_dates=["date"]).dropna(subset=[column])
    if "t_dew_c" in table:
        ea = et.saturation_vapour_pressure_kpa(table["t_dew_c"].to_numpy())
    else:
        ea = et.vapour_pressure_from_extremes_kpa(
            table["t_min_c"].to_numpy(),
            table["t_max_c"].to_numpy(),
            rel_humidity_min_pct=table["rel_humidity_min_pct"].to_numpy(),
            rel_humidity_max_pct=table["rel_humidity_max_pct"].to_numpy(),
        )
    ours = et.et0_penman_monteith(
        table["t_min_c"].to_numpy(),
        table["t_max_c"].to_numpy(),
        radiation_mj_m2=table["radiation_mj_m2"].to_numpy(),
        wind_2m_ms=table["wind_2m_ms"].to_numpy(),
        vapour_pressure_kpa=ea,
        latitude_deg=latitude,
        elevation_m=elevation,
        day_of_year=table["date"].dt.dayofyear.to_numpy().astype(float),
    )
    apart = ours - table[column].to_numpy()
    assert float(np.sqrt(np.mean(apart**2))) <= rmse


def test_hargreaves_gives_a_published_series_back(shared_dir: Path) -> None:
    """The Swiss series' ET0 is Hargreaves-Samani's own result: it proves the arithmetic, no more."""
    weather = sn.read_weather((shared_dir / "data/fields/swiss_posieux/weather.csv").read_text())
    first, length = weather.first_on, len(weather.columns["t_min_c"])
    doy = np.array(
        [(first + dt.timedelta(days=day)).timetuple().tm_yday for day in range(length)], dtype=float
    )
    ours = et.et0_hargreaves(
        weather.columns["t_min_c"], weather.columns["t_max_c"], latitude_deg=46.77, day_of_year=doy
    )
    apart = ours - weather.columns["et0_mm"]
    assert float(np.sqrt(np.nanmean(apart**2))) <= 0.09
