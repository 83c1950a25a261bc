"""Small files of an invented model."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

LATITUDES, LONGITUDES = np.arange(41.0, 45.0, 0.5), np.arange(-76.0, -70.0, 0.5)
START = datetime(2026, 7, 11)  # noqa: DTZ001 - files count in UTC without saying so
HOURS = 24 * 15
STANDARD: dict[str, tuple[str, str, str]] = {
    "t2m": ("air_temperature", "K", "time: point"),
    "pr": ("precipitation_flux", "kg m-2 s-1", "time: mean"),
    "hurs": ("relative_humidity", "%", "time: point"),
    "sfcwind": ("wind_speed", "m s-1", "time: point"),
    "rsds": ("surface_downwelling_shortwave_flux_in_air", "W m-2", "time: mean"),
}
Values = Callable[[Any, Any, Any], Any]
"""Of the number of the step, the latitude and the longitude."""
HOURLY: dict[str, Values] = {
    # Every place has its own temperature, every day another, and every hour: nothing can be mistaken for it.
    "t2m": lambda hour, lat, lon: 283.15 + hour % 24 / 2 + (hour // 24) / 10 + (lat - 41) + (lon + 76) / 10,
    "pr": lambda hour, lat, lon: np.where(hour % 24 == 13, 3.6, 0.0) / 3600,
    "hurs": lambda hour, lat, lon: 60.0 + hour % 24 / 2,
    "sfcwind": lambda hour, lat, lon: 4.0 + 0.0 * hour,
    "rsds": lambda hour, lat, lon: np.where((hour % 24 >= 6) & (hour % 24 < 18), 500.0, 0.0),
}


def a_dataset(
    values: dict[str, Values] | None = None,
    *,
    steps: int = HOURS,
    every_h: int = 1,
    latitudes: Any = LATITUDES,
    longitudes: Any = LONGITUDES,
    bounds: bool = True,
    units: dict[str, str] | None = None,
) -> xr.Dataset:
    """A model's hours or days over a few degrees; steps of means and sums carry their bounds."""
    curved = np.ndim(latitudes) == 2
    dims = ("y", "x") if curved else ("lat", "lon")
    lat, lon = (latitudes, longitudes) if curved else np.meshgrid(latitudes, longitudes, indexing="ij")
    step = np.arange(steps)[:, None, None]
    moments = [START + timedelta(hours=every_h * one) for one in range(steps)]
    dataset = xr.Dataset(
        coords={
            "time": ("time", np.array(moments, dtype="datetime64[ns]"), {"standard_name": "time"}),
            "lat": (dims if curved else "lat", latitudes, {"standard_name": "latitude"}),
            "lon": (dims if curved else "lon", longitudes, {"standard_name": "longitude"}),
        }
    )
    for name, of in (values or HOURLY).items():
        standard, unit, methods = STANDARD[name]
        said = {"standard_name": standard, "units": (units or {}).get(name, unit), "cell_methods": methods}
        data = np.broadcast_to(of(step, lat, lon), (steps, *lat.shape)).astype("f4")
        dataset[name] = (("time", *dims), data, said)
    if bounds:
        ends = [one + timedelta(hours=every_h) for one in moments]
        dataset["time"].attrs["bounds"] = "time_bnds"
        dataset["time_bnds"] = (
            ("time", "nv"), np.array([moments, ends], dtype="datetime64[ns]").T
        )  # fmt: skip
    return dataset


def written(dataset: xr.Dataset, path: Path, **encoding: Any) -> str:
    if "time" in dataset.coords:
        dataset["time"].encoding["units"] = "seconds since 2026-01-01"
    dataset.to_netcdf(path, engine="netcdf4", encoding=encoding)
    return str(path)
