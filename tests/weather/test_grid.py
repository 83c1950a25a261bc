"""A model's files give the same days as hand calculation; what is wrong with one is said and passed over."""

import os
import tracemalloc
from datetime import UTC, date, datetime, timedelta
from math import log
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr
from budgets import DailyBudget
from gridded import HOURLY, HOURS, LATITUDES, LONGITUDES, STANDARD, START, a_dataset, written
from weather_server import WeatherServer

from mowalert.domain.weather import Place, PlaceWeather, WeatherDay
from mowalert.errors import ConfigError, SourceError
from mowalert.settings import load_settings
from mowalert.weather import grid_fields
from mowalert.weather.fallback import WeatherService
from mowalert.weather.grid import Grid
from mowalert.weather.grid_files import GridFiles
from mowalert.weather.http import Http
from mowalert.weather.nws import Nws
from mowalert.wiring import open_services

NOW = datetime(2026, 7, 16, 10, tzinfo=UTC)
TODAY = date(2026, 7, 16)
ALBANY = Place(1, 42.55, -73.95, -300)
BOSTON = Place(2, 42.35, -71.05, -300)


def a_grid(*paths: str, folder: Path = Path("nowhere"), max_age_h: float = 1e6, **options: Any) -> Grid:
    files = GridFiles(
        paths, folder=folder, contact="a test", timeout_s=2.0, max_age=timedelta(hours=max_age_h)
    )
    return Grid(files, **{"name": "Model of Nowhere", "farthest_km": 40.0, **options})


def fetched(grid: Grid, *places: Place, past_days: int = 4, now: datetime = NOW) -> list[PlaceWeather]:
    return grid.fetch(places or (ALBANY,), past_days=past_days, forecast_days=10, now=now)


def day_of(weather: PlaceWeather, on: date = TODAY) -> WeatherDay:
    return next(day for day in weather.days if day.on == on)


@pytest.fixture
def hourly(tmp_path: Path) -> str:
    return written(a_dataset(), tmp_path / "model.nc")


def test_an_hourly_file_gives_local_days_as_worked_out_by_hand(hourly: str) -> None:
    (albany,) = fetched(a_grid(hourly))
    day = day_of(albany)
    # The local day of UTC-5 goes from 05:00 UTC on day 5 of the file to 05:00 UTC on day 6, at 42.5 N 74.0 W.
    place_c = 10 + (42.5 - 41) + (-74.0 + 76) / 10
    assert day.t_min_c == pytest.approx(min(place_c + 0.5 + 2.5, place_c + 0.6 + 0), abs=2e-3)
    assert day.t_max_c == pytest.approx(place_c + 0.5 + 11.5, abs=2e-3)
    assert day.rain_mm == pytest.approx(3.6, abs=2e-3)
    # 500 W/m² for 12 hours.
    assert day.radiation_mj_m2 == pytest.approx(500 * 12 * 3600 / 1e6, abs=2e-3)
    # FAO-56 eq. 47 from 10 m.
    assert day.wind_2m_ms == pytest.approx(4.0 * 4.87 / log(67.8 * 10 - 5.42), abs=2e-3)
    assert day.hours is not None
    # 00:00 local is 05:00 UTC; it rains at 13:00 UTC, 08:00 local.
    assert day.hours.t_c[0] == pytest.approx(place_c + 0.5 + 2.5, abs=2e-3)
    assert [hour for hour, mm in enumerate(day.hours.rain_mm) if mm > 0] == [8]
    assert day.hours.rel_humidity_pct[0] == pytest.approx(62.5)
    assert (albany.source, day.source) == ("Model of Nowhere", "Model of Nowhere")


def test_the_dew_point_follows_from_humidity(hourly: str) -> None:
    day = day_of(fetched(a_grid(hourly))[0])
    assert day.hours is not None
    dew_c = []
    for t_c, pct in zip(day.hours.t_c, day.hours.rel_humidity_pct, strict=True):
        power = log(pct / 100) + 17.27 * t_c / (237.3 + t_c)
        dew_c.append(237.3 * power / (17.27 - power))
    assert day.t_dew_c == pytest.approx(sum(dew_c) / 24, abs=0.02)


def test_days_that_are_not_whole_are_left_out_and_no_day_outside_is_given(hourly: str) -> None:
    (albany,) = fetched(a_grid(hourly))
    # The file goes from 11 July 00:00 UTC, 10 July 19:00 local, to 26 July 00:00 UTC.
    assert [day.on for day in albany.days] == [date(2026, 7, 12) + timedelta(days=n) for n in range(13)]
    (longer,) = fetched(a_grid(hourly), past_days=9)
    assert longer.days[0].on == date(2026, 7, 11)


def test_each_place_has_its_nearest_point(hourly: str) -> None:
    albany, boston = fetched(a_grid(hourly), ALBANY, BOSTON)
    warmer = (42.5 - 42.5) + (-71.0 + 74.0) / 10
    assert day_of(boston).t_max_c - day_of(albany).t_max_c == pytest.approx(warmer, abs=2e-3)


def test_longitudes_may_count_from_0_to_360_and_latitudes_fall(tmp_path: Path, hourly: str) -> None:
    values = {name: (lambda hour, lat, lon, of=of: of(hour, lat, lon - 360)) for name, of in HOURLY.items()}
    dataset = a_dataset(values, latitudes=LATITUDES[::-1], longitudes=LONGITUDES + 360)
    other = written(dataset, tmp_path / "other.nc")
    assert fetched(a_grid(other), ALBANY, BOSTON) == fetched(a_grid(hourly), ALBANY, BOSTON)


def test_the_nearest_point_is_found_across_the_date_line(tmp_path: Path) -> None:
    dataset = a_dataset(latitudes=np.arange(-20.0, -15.0), longitudes=np.arange(-180.0, 180.0, 60.0))
    far_east = Place(1, -17.1, 179.9, 720)
    (found,) = fetched(a_grid(written(dataset, tmp_path / "model.nc")), far_east)
    assert day_of(found).t_max_c == pytest.approx(10 + 11.5 + 0.5 + (-17 - 41) + (-180 + 76) / 10, abs=0.11)


def test_a_curved_grid_is_searched_by_distance(tmp_path: Path) -> None:
    lat, lon = np.meshgrid(LATITUDES, LONGITUDES, indexing="ij")
    turned = np.radians(20)
    curved_lat = 43 + (lat - 43) * np.cos(turned) - (lon + 73) * np.sin(turned)
    curved_lon = -73 + (lat - 43) * np.sin(turned) + (lon + 73) * np.cos(turned)
    dataset = a_dataset(latitudes=curved_lat, longitudes=curved_lon)
    found = fetched(a_grid(written(dataset, tmp_path / "model.nc")), ALBANY, BOSTON)
    for place, answer in zip((ALBANY, BOSTON), found, strict=True):
        across = np.cos(np.radians(place.latitude_deg))
        off = (curved_lat - place.latitude_deg) ** 2 + ((curved_lon - place.longitude_deg) * across) ** 2
        nearest = np.unravel_index(off.argmin(), off.shape)
        place_c = 10 + (curved_lat[nearest] - 41) + (curved_lon[nearest] + 76) / 10
        assert day_of(answer).t_max_c == pytest.approx(place_c + 0.5 + 11.5, abs=2e-3)


def test_a_place_outside_the_grid_gets_nothing(hourly: str) -> None:
    denver = Place(3, 39.75, -105.0, -420)
    albany, outside = fetched(a_grid(hourly), ALBANY, denver)
    assert albany.days
    assert outside.days == ()
    assert outside.refused[0].reason.startswith("outside the grid: its nearest point is 2")


def test_missing_values_are_never_numbers(tmp_path: Path) -> None:
    dataset = a_dataset()
    dataset["t2m"][130, :, :] = np.nan  # 16 July, 10:00 UTC
    dataset["rsds"][150, :, :] = np.nan  # 17 July, 06:00 UTC
    dataset["hurs"][:, :, :] = np.nan
    path = written(
        dataset,
        tmp_path / "model.nc",
        t2m={"_FillValue": -9999.0},
        rsds={"dtype": "i2", "scale_factor": 0.1, "_FillValue": -32767},
    )
    (albany,) = fetched(a_grid(path))
    assert TODAY not in {day.on for day in albany.days if not day.partial}
    after = day_of(albany, date(2026, 7, 17))
    assert (after.radiation_mj_m2, after.t_dew_c) == (None, None)
    assert after.hours is not None
    assert np.isnan(after.hours.rel_humidity_pct).all()


def test_a_fill_value_that_the_file_keeps_quiet_about_is_not_believed(tmp_path: Path) -> None:
    dataset = a_dataset()
    dataset["pr"][130, :, :] = 1e20  # 16 July
    dataset["t2m"][160, :, :] = -9999.0  # 17 July
    grid = a_grid(written(dataset, tmp_path / "model.nc"))
    pulled = WeatherService([grid], DailyBudget({})).pull(
        [ALBANY], past_days=2, forecast_days=12, now=NOW - timedelta(days=4)
    )
    (albany,) = pulled.weather
    assert {TODAY, TODAY + timedelta(days=1)}.isdisjoint(day.on for day in albany.days)
    reasons = [refusal.reason for _, refusal in pulled.refused]
    assert any("rain_mm of" in reason for reason in reasons)
    assert any("t_min_c of" in reason for reason in reasons)


@pytest.mark.parametrize(
    ("name", "unit", "factor", "shift"),
    [
        ("t2m", "degC", 1.0, -273.15),
        ("t2m", "kelvin", 1.0, 0.0),
        ("pr", "mm/s", 1.0, 0.0),
        ("hurs", "1", 0.01, 0.0),
        ("sfcwind", "km/h", 3.6, 0.0),
        ("sfcwind", "m s**-1", 1.0, 0.0),
    ],
)
def test_units_are_read_from_the_file(
    tmp_path: Path, hourly: str, name: str, unit: str, factor: float, shift: float
) -> None:
    of = HOURLY[name]
    values = HOURLY | {name: lambda hour, lat, lon: of(hour, lat, lon) * factor + shift}
    other = written(a_dataset(values, units={name: unit}), tmp_path / "other.nc")
    ours, same = day_of(fetched(a_grid(other))[0]), day_of(fetched(a_grid(hourly))[0])
    for figure in ("t_min_c", "t_max_c", "rain_mm", "wind_2m_ms", "t_dew_c"):
        assert getattr(ours, figure) == pytest.approx(getattr(same, figure), abs=3e-3)


def test_amounts_and_energies_of_each_hour_are_sums(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, hourly: str
) -> None:
    monkeypatch.setitem(STANDARD, "pr", ("precipitation_amount", "kg m-2", "time: sum"))
    integral = "integral_wrt_time_of_surface_downwelling_shortwave_flux_in_air"
    monkeypatch.setitem(STANDARD, "rsds", (integral, "J m-2", "time: sum"))
    values = HOURLY | {
        "pr": lambda hour, lat, lon: HOURLY["pr"](hour, lat, lon) * 3600,
        "rsds": lambda hour, lat, lon: HOURLY["rsds"](hour, lat, lon) * 3600,
    }
    other = written(a_dataset(values), tmp_path / "other.nc")
    ours, same = day_of(fetched(a_grid(other))[0]), day_of(fetched(a_grid(hourly))[0])
    assert (ours.rain_mm, ours.radiation_mj_m2) == pytest.approx((same.rain_mm, same.radiation_mj_m2))


def test_a_mean_without_bounds_is_of_the_hour_before_its_moment(tmp_path: Path) -> None:
    path = written(a_dataset(bounds=False), tmp_path / "model.nc")
    day = day_of(fetched(a_grid(path))[0])
    assert day.hours is not None
    # Stamped 13:00 UTC, fallen from 12:00 on: 07:00 local.
    assert [hour for hour, mm in enumerate(day.hours.rain_mm) if mm > 0] == [7]


def test_sums_since_the_start_are_taken_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, hourly: str
) -> None:
    monkeypatch.setitem(STANDARD, "pr", ("precipitation_amount", "kg m-2", "time: sum"))
    rain = {"pr": lambda hour, lat, lon: np.cumsum(HOURLY["pr"](hour, lat, lon) * 3600, axis=0) + 0 * lat}
    sums = a_dataset(rain, bounds=False)
    ends = sums["time"].values + np.timedelta64(1, "h")
    sums = sums.assign_coords(time=("time", ends, sums["time"].attrs | {"bounds": "time_bnds"}))
    start = np.full(len(ends), np.datetime64(START, "ns"))
    sums["time_bnds"] = (("time", "nv"), np.stack([start, ends], axis=1))
    rest = a_dataset({name: of for name, of in HOURLY.items() if name != "pr"})
    paths = written(sums, tmp_path / "rain.nc"), written(rest, tmp_path / "rest.nc")
    ours, same = fetched(a_grid(*paths)), fetched(a_grid(hourly))
    assert [day.rain_mm for day in ours[0].days] == pytest.approx([day.rain_mm for day in same[0].days])


def test_moments_beside_sums_since_the_start_are_left_as_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, hourly: str
) -> None:
    monkeypatch.setitem(STANDARD, "pr", ("precipitation_amount", "kg m-2", "time: sum"))
    monkeypatch.setitem(STANDARD, "rsds", (*STANDARD["rsds"][:2], "time: point"))
    rain = {"pr": lambda hour, lat, lon: np.cumsum(HOURLY["pr"](hour, lat, lon) * 3600, axis=0) + 0 * lat}
    dataset = a_dataset(HOURLY | rain)
    # Rain up to each moment, and the temperature at it.
    start = np.full(HOURS, np.datetime64(START, "ns"))
    moments = dataset["time"].values
    dataset["time_bnds"] = (("time", "nv"), np.stack([start - np.timedelta64(1, "h"), moments], axis=1))
    ours = day_of(fetched(a_grid(written(dataset, tmp_path / "model.nc")))[0])
    same = day_of(fetched(a_grid(hourly))[0])
    assert (ours.t_min_c, ours.t_max_c, ours.rain_mm) == (same.t_min_c, same.t_max_c, same.rain_mm)
    assert ours.hours is not None
    assert [hour for hour, mm in enumerate(ours.hours.rain_mm) if mm > 0] == [7]


def test_a_mean_told_by_its_middle_is_of_the_hour_around_it(tmp_path: Path) -> None:
    dataset = a_dataset(bounds=False)
    middles = dataset["time"].values + np.timedelta64(30, "m")
    path = written(
        dataset.assign_coords(time=("time", middles, dataset["time"].attrs)), tmp_path / "model.nc"
    )
    day = day_of(fetched(a_grid(path))[0])
    assert day.hours is not None
    assert [hour for hour, mm in enumerate(day.hours.rain_mm) if mm > 0] == [8]


def test_a_mean_since_the_start_is_refused(tmp_path: Path) -> None:
    dataset = a_dataset()
    start = np.full(HOURS, np.datetime64(START, "ns"))
    dataset["time_bnds"] = (("time", "nv"), np.stack([start, dataset["time_bnds"].values[:, 1]], axis=1))
    with pytest.raises(SourceError, match="pr: means since the start cannot be taken apart"):
        fetched(a_grid(written(dataset, tmp_path / "model.nc")))


def test_a_sum_that_falls_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(STANDARD, "pr", ("precipitation_amount", "kg m-2", "time: sum"))
    dataset = a_dataset(HOURLY | {"pr": lambda hour, lat, lon: 5.0 - hour * 0.5 % 3})
    dataset["pr"].attrs["GRIB_stepType"] = "accum"
    with pytest.raises(SourceError, match="a sum since the start falls"):
        fetched(a_grid(written(dataset, tmp_path / "model.nc")))


def test_wind_may_come_as_two_components_at_another_height(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(STANDARD, "u", ("eastward_wind", "m s-1", "time: point"))
    monkeypatch.setitem(STANDARD, "v", ("northward_wind", "m s-1", "time: point"))
    values = {name: of for name, of in HOURLY.items() if name != "sfcwind"} | {
        "u": lambda hour, lat, lon: 3.0 + 0 * hour,
        "v": lambda hour, lat, lon: -4.0 + 0 * hour,
    }
    dataset = a_dataset(values).assign_coords(height=2.0)
    day = day_of(fetched(a_grid(written(dataset, tmp_path / "model.nc")))[0])
    assert day.wind_2m_ms == pytest.approx(5.0)


def test_a_daily_file_needs_minimum_maximum_and_precipitation(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(STANDARD, "tasmin", ("air_temperature", "K", "time: minimum"))
    monkeypatch.setitem(STANDARD, "tasmax", ("air_temperature", "K", "time: maximum"))
    values = {
        "tasmin": lambda day, lat, lon: 283.15 + day / 4,
        "tasmax": lambda day, lat, lon: 295.15 + day / 4,
        "pr": lambda day, lat, lon: (2.0 + day) / 86400,
        "rsds": lambda day, lat, lon: 250.0 + 0 * day,
    }
    path = written(a_dataset(values, steps=15, every_h=24), tmp_path / "model.nc")
    (albany,) = fetched(a_grid(path))
    day = day_of(albany)
    assert (day.t_min_c, day.t_max_c, day.rain_mm) == pytest.approx((11.25, 23.25, 7.0), abs=2e-3)
    assert day.radiation_mj_m2 == pytest.approx(21.6)
    assert day.hours is None
    assert len(albany.days) == 14
    short = written(a_dataset({"pr": values["pr"]}, steps=15, every_h=24), tmp_path / "short.nc")
    with pytest.raises(SourceError, match="no air_temperature is in it"):
        fetched(a_grid(short))


def test_a_run_that_begins_in_the_morning_gives_a_stand_in_for_today(tmp_path: Path) -> None:
    path = written(a_dataset().isel(time=slice(24 * 5 + 12, None)), tmp_path / "model.nc")
    (albany,) = fetched(a_grid(path))
    assert (albany.days[0].on, albany.days[0].partial) == (TODAY, True)
    assert not albany.days[1].partial


def drop_time(dataset: xr.Dataset) -> xr.Dataset:
    return dataset.drop_vars(["time", "time_bnds"])


def another_month(dataset: xr.Dataset) -> xr.Dataset:
    before = dataset["time"].values - np.timedelta64(90, "D")
    return drop_time(dataset).assign_coords(time=("time", before, {"standard_name": "time"}))


def broken(name: str, **attrs: Any) -> Any:
    def change(dataset: xr.Dataset) -> xr.Dataset:
        dataset[name].attrs.update(attrs)
        return dataset

    return change


MISTAKES = {
    "an unknown unit": (broken("pr", units="furlong"), "pr: unit 'furlong' is not known"),
    "no unit": (broken("t2m", units=""), "t2m: unit '' is not known for air_temperature"),
    "a rate for a temperature": (broken("t2m", units="kg m-2 s-1"), "t2m: unit 'kg m-2 s-1' is not known"),
    "no time axis": (drop_time, "t2m has no time axis"),
    "no precipitation": (lambda one: one.drop_vars("pr"), "no precipitation is in it"),
    "no latitude": (broken("lat", standard_name="depth"), "it has no latitude"),
    "steps of three hours": (lambda one: one.isel(time=slice(None, None, 3)), "its steps are of 3 h"),
    "a gap in time": (lambda one: one.drop_isel(time=[7]), "its steps are of 1, 2 h"),
    "another month": (another_month, "none of its steps is of the days"),
    "two temperatures": (lambda one: one.assign(other=one["t2m"]), "both t2m and other are air_temperature"),
}  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_in_a_file_is_said_and_the_next_source_asked(
    mistake: str, tmp_path: Path, server: WeatherServer, payloads: Path
) -> None:
    change, said = MISTAKES[mistake]
    path = written(change(a_dataset()), tmp_path / "model.nc")
    server.says("/points/", (payloads / "nws/points_albany_ny.json").read_bytes())
    server.says("/gridpoints/", (payloads / "nws/gridpoint_raw_albany_summer.json").read_bytes())
    nws = Nws(Http(contact="a test", tries=1), url=server.url)
    pulled = WeatherService([a_grid(path), nws], DailyBudget({})).pull(
        [Place(1, 42.75, -73.75, -300)], past_days=4, forecast_days=8, now=NOW
    )
    assert said in pulled.refused[0][1].reason
    assert [answer.source for answer in pulled.weather] == ["nws"]


def test_a_file_that_is_none_is_said(tmp_path: Path) -> None:
    path = tmp_path / "model.nc"
    with pytest.raises(SourceError, match="there is no file"):
        fetched(a_grid(str(path)))
    path.write_bytes(b"<html>not here</html>")
    with pytest.raises(SourceError, match=r"model\.nc cannot be read"):
        fetched(a_grid(str(path)))


def test_an_old_run_is_refused(tmp_path: Path, hourly: str) -> None:
    made_s = (NOW - timedelta(hours=40)).timestamp()
    os.utime(hourly, (made_s, made_s))
    with pytest.raises(SourceError, match=r"is of 2026-07-14 18:00 UTC, 40 h old"):
        fetched(a_grid(hourly, max_age_h=30))
    run = {"standard_name": "forecast_reference_time"}
    dataset = a_dataset().assign_coords(run=((), np.datetime64("2026-07-16T00:00", "ns"), run))
    newer = written(dataset, tmp_path / "newer.nc")
    os.utime(newer, (made_s, made_s))
    assert fetched(a_grid(newer, max_age_h=30))[0].days


def test_a_file_is_fetched_from_its_address_once(tmp_path: Path, server: WeatherServer, hourly: str) -> None:
    server.says("/model.nc", Path(hourly).read_bytes())
    grid = a_grid(f"{server.url}/model.nc", folder=tmp_path / "kept")
    first = fetched(grid)
    assert first == fetched(a_grid(hourly))
    assert fetched(grid, now=NOW + timedelta(minutes=5))[0].days == first[0].days
    assert len(server.asked) == 1
    # Asked again later, and kept while the address fails.
    server.says("/model.nc", b"gone", 503)
    assert fetched(grid, now=NOW + timedelta(hours=1))[0].days == first[0].days
    assert len(server.asked) == 2
    with pytest.raises(SourceError, match="status 503"):
        fetched(a_grid(f"{server.url}/model.nc", folder=tmp_path / "elsewhere"))


def test_memory_stays_flat_however_long_the_file_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(grid_fields, "BLOCK_BYTES", 1024 * 1024)
    wide = np.arange(30.0, 50.0, 0.1), np.arange(-100.0, -70.0, 0.1)
    dataset = a_dataset(steps=24 * 8, latitudes=wide[0], longitudes=wide[1])
    path = written(dataset, tmp_path / "model.nc")
    size = sum(one.nbytes for one in dataset.data_vars.values())
    places = [Place(n, 30.0 + n % 200 / 10, -100 + n % 300 / 10, -300) for n in range(500)]
    grid = a_grid(path)
    fetched(grid, ALBANY)
    tracemalloc.start()
    fetched(grid, *places)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert size > 200e6
    assert peak < 60e6


def test_settings_name_the_files(tmp_path: Path, hourly: str) -> None:
    def reason(paths: str) -> str:
        environ = {
            "MOWALERT_WEATHER__SOURCES": "grid",
            "MOWALERT_WEATHER__GRID__PATHS": paths,
            "MOWALERT_WEATHER__GRID__MAX_AGE_H": "1",
            "MOWALERT_SERVICE__DATA_DIR": str(tmp_path),
        }
        services = open_services(load_settings(None, environ=environ))
        try:
            pulled = services.sources.pull([ALBANY], past_days=4, forecast_days=8, now=later)
        finally:
            services.close()
        return str(pulled.refused[0][1].reason)

    later = datetime.fromtimestamp(Path(hourly).stat().st_mtime, UTC) + timedelta(hours=2)
    assert "2 h old" in reason(hourly)
    with pytest.raises(ConfigError, match=r"weather\.grid\.paths: found nothing"):
        reason("")
