"""How long a shard takes to read its cells' weather from a model's file.

python tests/benchmarks/grid.py --rows 300 --columns 400 --cells 500 --json
"""

import argparse
import sys
from datetime import UTC, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

import numpy as np
import orjson

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "weather"))

from gridded import START, a_dataset, written

from mowalert.domain.weather import Place
from mowalert.weather.grid import Grid
from mowalert.weather.grid_files import GridFiles

DAYS = 10


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--rows", type=int, default=300)
    parser.add_argument("--columns", type=int, default=400)
    parser.add_argument("--cells", type=int, default=500)
    parser.add_argument(
        "--spread", type=float, default=1.0, help="share of the grid's width the cells lie in"
    )
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    with TemporaryDirectory() as folder:
        figures = measured(given, Path(folder))
    print(orjson.dumps(figures, option=orjson.OPT_INDENT_2).decode() if given.json else figures)


def measured(given: argparse.Namespace, folder: Path) -> dict[str, float]:
    latitudes = np.linspace(30, 48, given.rows)
    longitudes = np.linspace(-110, -80, given.columns)
    dataset = a_dataset(steps=24 * DAYS, latitudes=latitudes, longitudes=longitudes)
    packed = {"zlib": True, "complevel": 1, "chunksizes": (24, *_chunk(given))}
    path = written(
        dataset,
        folder / "model.nc",
        **{str(name): packed for name in dataset.data_vars if name != "time_bnds"},
    )
    size = dataset.nbytes
    del dataset
    files = GridFiles([path], folder=folder, contact="", timeout_s=1, max_age=timedelta(days=9999))
    grid = Grid(files, name="grid", farthest_km=50)
    random = np.random.default_rng(7)
    places = [
        Place(n, 30 + 18 * lat * given.spread, -110 + 30 * lon * given.spread, -360)
        for n, (lat, lon) in enumerate(random.random((given.cells, 2)))
    ]
    now = START.replace(tzinfo=UTC) + timedelta(days=4, hours=6)
    grid.fetch(places[:1], past_days=4, forecast_days=5, now=now)
    began = perf_counter()
    found = grid.fetch(places, past_days=4, forecast_days=6, now=now)
    seconds = perf_counter() - began
    return {
        "cells": given.cells,
        "days": sum(len(one.days) for one in found),
        "file_mib": round(Path(path).stat().st_size / 2**20, 1),
        "unpacked_mib": round(size / 2**20, 1),
        "seconds": round(seconds, 2),
    }


def _chunk(given: argparse.Namespace) -> tuple[int, int]:
    return min(100, given.rows), min(100, given.columns)


if __name__ == "__main__":
    main()
