"""A season of many lawns at once against the same functions called lawn by lawn and day by day.

    python tests/benchmarks/season.py --lawns 10000 --stands 2000 --json

The loop runs on a sample of lawns and is scaled to all of them; its heights must equal ours. It calls the
array functions with one row at a time, which is slower than the same model in plain floats would be.
"""

import argparse
import json
import time
from dataclasses import fields, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from mowalert.demo.weather import InventedWeather
from mowalert.domain.arrays import Floats
from mowalert.domain.growth import height_mm
from mowalert.domain.stand import (
    LEAD_DAYS,
    StandFacts,
    StandKey,
    StandState,
    StandWeather,
    grow,
    rooting_class,
    stand_facts,
)
from mowalert.domain.words import Sun, Watering
from mowalert.parameters import load_turf
from mowalert.settings import config_file

YEAR, DAYS, SAMPLE = 2026, 365, 4
GRASSES = ("kentucky_bluegrass", "perennial_ryegrass", "tall_fescue", "fine_fescue")
SOILS = ("loam", "clay_loam", "sandy_loam", "sand", "clay")
CEILING_MM, KEPT_MM = 500.0, 70.0
TARGET = 100.0


def facts_of(stands: int) -> StandFacts:
    keys = [
        StandKey(
            GRASSES[index % 4],
            SOILS[index % 5],
            rooting_class(KEPT_MM),
            Sun.FULL,
            Watering.REGULAR if index % 2 else Watering.NONE,
        )
        for index in range(stands)
    ]
    latitude = np.linspace(35.0, 48.0, stands)
    turf = load_turf(config_file("grasses.toml"))
    return stand_facts(keys, turf, latitude_deg=latitude, elevation_m=np.full(stands, 200.0))


def weather_of(stands: int) -> StandWeather:
    """One invented year, a little warmer or cooler from stand to stand."""
    year = InventedWeather(YEAR, seed=5, latitude_deg=42.0)
    first = date(YEAR, 1, 1) - timedelta(days=LEAD_DAYS)
    days = [year._days[first + timedelta(days=index)] for index in range(DAYS + LEAD_DAYS)]
    off = np.linspace(-3.0, 3.0, stands)[:, None]

    def column(name: str) -> Floats:
        return np.repeat(np.array([[getattr(day, name) for day in days]], dtype=float), stands, axis=0)

    return StandWeather(
        first,
        column("t_min_c") + off,
        column("t_max_c") + off,
        column("rain_mm"),
        column("radiation_mj_m2"),
        column("wind_2m_ms"),
        column("t_dew_c") + off,
        np.full((stands, DAYS + LEAD_DAYS), np.nan),
    )


def vectorised(facts: StandFacts, weather: StandWeather, stand_of: Any, pace: Floats) -> Floats:
    """Heights of every lawn on every evening, uncut."""
    curve = grow(facts, weather, StandState.fresh(len(facts.base_c), warmth_known=True))
    return height_mm(
        curve.growth_mm[stand_of], from_height_mm=KEPT_MM, pace=pace[:, None], ceiling_mm=CEILING_MM
    )


def looped(facts: StandFacts, weather: StandWeather, stand_of: Any, pace: Floats) -> Floats:
    """The same, one lawn after the other and one day after the other."""
    heights = []
    for lawn, index in enumerate(stand_of):
        own = replace(facts, **{f.name: getattr(facts, f.name)[index : index + 1] for f in fields(facts)})
        state, row = StandState.fresh(1, warmth_known=True), []
        for day in range(DAYS):
            window = slice(day, day + LEAD_DAYS + 1)
            today = StandWeather(
                weather.first_on + timedelta(days=day),
                *(
                    getattr(weather, f.name)[index : index + 1, window]
                    for f in fields(weather)
                    if f.name != "first_on"
                ),
            )
            state = grow(own, today, state).settled
            row.append(
                float(
                    height_mm(
                        state.growth_mm[0], from_height_mm=KEPT_MM, pace=pace[lawn], ceiling_mm=CEILING_MM
                    )
                )
            )
        heights.append(row)
    return np.array(heights)


def main() -> None:
    words = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    words.add_argument("--lawns", type=int, default=10_000)
    words.add_argument("--stands", type=int, default=2_000)
    words.add_argument("--json", action="store_true")
    said = words.parse_args()
    facts, weather = facts_of(said.stands), weather_of(said.stands)
    stand_of = np.arange(said.lawns) % said.stands
    pace = np.linspace(0.6, 1.6, said.lawns)
    start = time.perf_counter()
    ours = vectorised(facts, weather, stand_of, pace)
    ours_s = time.perf_counter() - start
    sample = np.linspace(0, said.lawns - 1, SAMPLE).astype(int)
    start = time.perf_counter()
    loop = looped(facts, weather, stand_of[sample], pace[sample])
    loop_s = (time.perf_counter() - start) * said.lawns / SAMPLE
    if not np.allclose(ours[sample], loop, atol=1e-9):
        raise SystemExit("the loop and the arrays disagree")
    ratio = loop_s / ours_s
    result = {
        "lawns": said.lawns,
        "stands": said.stands,
        "loop_sample_lawns": SAMPLE,
        "seconds": {"arrays": round(ours_s, 3), "loop_scaled": round(loop_s, 1)},
        "ratios": {"loop_vs_arrays": round(ratio, 1)},
        "targets_met": {"loop_vs_arrays": ratio >= TARGET},
    }
    print(json.dumps(result, indent=1) if said.json else result)


if __name__ == "__main__":
    main()
