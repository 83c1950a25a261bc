"""Writes a small GRIB file and reads a place of it: ``python grib_program.py FILE`` prints one day as JSON.

A program of its own: what decodes GRIB brings a copy of a library that other tests load as well.
"""

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import eccodes
import numpy as np
import orjson

from mowalert.domain.weather import Place
from mowalert.weather.grid import Grid
from mowalert.weather.grid_files import GridFiles

START = datetime(2026, 7, 16, tzinfo=UTC)
HOURS = 48


def write(path: Path) -> None:
    """Hours of temperature, dew point and wind, and sums since the start of rain and radiation."""
    with path.open("wb") as file:
        for hour in range(1, HOURS + 1):
            of_hour = {"2t": 283.0 + hour % 24 / 2, "2d": 280.0, "10u": 3.0, "10v": 4.0}
            of_start = {"tp": 0.0005 * hour, "ssrd": 1e6 * hour}
            for name, value in of_hour.items():
                add(file, name, value, step=hour)
            for name, value in of_start.items():
                add(file, name, value, stepRange=f"0-{hour}")


def add(file: Any, name: str, value: float, **step: Any) -> None:
    message = eccodes.codes_grib_new_from_samples("regular_ll_sfc_grib2")
    keys = {
        "dataDate": int(f"{START:%Y%m%d}"),
        "dataTime": 0,
        "Ni": 4,
        "Nj": 3,
        "latitudeOfFirstGridPointInDegrees": 44.0,
        "latitudeOfLastGridPointInDegrees": 42.0,
        "longitudeOfFirstGridPointInDegrees": 285.0,
        "longitudeOfLastGridPointInDegrees": 288.0,
        "iDirectionIncrementInDegrees": 1.0,
        "jDirectionIncrementInDegrees": 1.0,
        "shortName": name,
        "bitsPerValue": 24,
        **step,
    }
    for key, given in keys.items():
        eccodes.codes_set(message, key, given)
    columns = np.arange(4) * 0.1 if name == "2t" else np.zeros(4)
    eccodes.codes_set_values(message, np.tile(value + columns, (3, 1)).ravel())
    eccodes.codes_write(message, file)
    eccodes.codes_release(message)


def main(path: Path) -> None:
    sys.modules["pyproj"] = None  # type: ignore[assignment]
    write(path)
    files = GridFiles([str(path)], folder=path.parent, contact="", timeout_s=1.0, max_age=timedelta(hours=30))
    albany = Place(1, 43.0, -74.0, 0)
    now = START + timedelta(hours=10)
    (found,) = Grid(files, name="GRIB", farthest_km=20.0).fetch(
        [albany], past_days=0, forecast_days=2, now=now
    )
    sys.stdout.buffer.write(orjson.dumps(found.days[-1]))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
