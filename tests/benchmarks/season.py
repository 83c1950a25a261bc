"""A season of many lawns at once against the same model as a plain loop over lawns and days.

    python tests/benchmarks/season.py --lawns 10000 --stands 2000 --json

Both cut at the limit, not while something holds. The loop (``plain_season.py``) uses floats only; every lawn
works out its own stand, as ``for each lawn, for each day`` would. It runs on a sample of lawns and is scaled
to all of them. Nothing is timed before both give the same mowing dates and heights on that sample.

``loop_sharing_stands`` is what a loop would take that works out every stand once, as the arrays do.
"""

import argparse
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import plain_season as plain

from mowalert.demo.weather import InventedWeather
from mowalert.domain.arrays import Bools, Floats, Ints
from mowalert.domain.growth import KEPT_BELOW_CEILING
from mowalert.domain.stand import (
    LEAD_DAYS,
    StandCurve,
    StandFacts,
    StandKey,
    StandState,
    StandWeather,
    grow,
    rooting_class,
    stand_facts,
)
from mowalert.domain.thirds import DAYS_BETWEEN, THIRD
from mowalert.domain.weather import WeatherDay
from mowalert.domain.words import Sun, Watering
from mowalert.parameters import load_turf
from mowalert.settings import config_file

YEAR, DAYS, SAMPLE, REPEATS = 2026, 365, 40, 7
GRASSES = ("kentucky_bluegrass", "perennial_ryegrass", "tall_fescue", "fine_fescue", "zoysiagrass")
SOILS = ("loam", "clay_loam", "sandy_loam", "sand", "clay")
KEPT_MM = 70.0
SAME_MM = 1e-6
TARGETS = {"loop_vs_arrays": 100.0}
TURF = load_turf(config_file("grasses.toml"))


@dataclass(frozen=True, slots=True)
class Lawns:
    """Many lawns, each array of shape (lawn,)."""

    stand: Ints
    chosen_mm: Floats
    pace: Floats
    ceiling_mm: Floats


@dataclass(frozen=True, slots=True)
class Seasons:
    """Evenings of many lawns, before a cut of that evening, each array of shape (day, lawn)."""

    first_on: date
    height_mm: Floats
    cut: Bools

    def cut_on(self, lawn: int) -> list[date]:
        """Dates of one lawn's cuts."""
        return [self.first_on + timedelta(days=int(day)) for day in np.flatnonzero(self.cut[:, lawn])]


def facts_of(stands: int) -> StandFacts:
    keys = [
        StandKey(
            GRASSES[index % 5],
            SOILS[index // 5 % 5],
            rooting_class(KEPT_MM),
            Sun.FULL,
            Watering.REGULAR if index % 2 else Watering.NONE,
        )
        for index in range(stands)
    ]
    latitude = np.linspace(35.0, 48.0, stands)
    return stand_facts(keys, TURF, latitude_deg=latitude, elevation_m=np.full(stands, 200.0))


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


def lawns_of(lawns: int, stands: int) -> Lawns:
    """Lawns that grow slower or faster, dealt out to the stands in turn."""
    stand = np.arange(lawns) % stands
    ceilings_mm = np.array([TURF.grasses[grass].ceiling_mm for grass in GRASSES])
    return Lawns(stand, np.full(lawns, KEPT_MM), np.linspace(0.6, 1.6, lawns), ceilings_mm[stand % 5])


def in_arrays(facts: StandFacts, weather: StandWeather, lawns: Lawns) -> Seasons:
    """Play every lawn at once."""
    return mow(grow(facts, weather, StandState.fresh(len(facts.base_c), warmth_known=True)), lawns)


def mow(curve: StandCurve, lawns: Lawns) -> Seasons:
    """Cut every lawn on its last evening before the limit, unless something holds."""
    # The last evening has a tomorrow on which nothing grows and nothing holds.
    growth_mm = np.vstack([curve.growth_mm.T, curve.growth_mm[:, -1]])
    held = np.vstack([curve.holds.T > 0, np.zeros(len(curve.holds), np.bool_)])
    shape = (len(growth_mm) - 1, len(lawns.stand))
    heights_mm, cut = np.empty(shape), np.empty(shape, np.bool_)
    anchors = Anchors.fresh(lawns)
    g_mm, is_held = growth_mm[0].take(lawns.stand), held[0].take(lawns.stand)
    for day in range(shape[0]):
        next_g_mm, next_held = growth_mm[day + 1].take(lawns.stand), held[day + 1].take(lawns.stand)
        heights_mm[day] = anchors.heights_mm(g_mm)
        last_chance = (next_g_mm > anchors.limit_g_mm) | (next_held & (g_mm >= anchors.window_g_mm))
        cut[day] = last_chance & ~is_held & (day >= anchors.rest_until)
        anchors.cut(np.flatnonzero(cut[day]), day, heights_mm[day], g_mm)
        g_mm, is_held = next_g_mm, next_held
    return Seasons(curve.first_on, heights_mm, cut)


@dataclass(slots=True)
class Anchors:
    """Where many lawns grow from, and values of ``G`` at which they are due, each of shape (lawn,)."""

    lawns: Lawns
    start: Floats
    steps: Floats
    window_g_mm: Floats
    limit_g_mm: Floats
    rest_until: Ints

    @staticmethod
    def fresh(lawns: Lawns) -> "Anchors":
        """Start at the chosen height."""
        count = len(lawns.stand)
        numbers = np.zeros((3, count))
        steps = lawns.pace / lawns.ceiling_mm
        anchors = Anchors(lawns, numbers[0], steps, numbers[1], numbers[2], np.zeros(count, np.int64))
        anchors.cut(np.arange(count), 0, np.zeros(count), np.zeros(count))
        return anchors

    def heights_mm(self, g_mm: Floats) -> Floats:
        """Heights along the curve: ``domain.growth.height_mm`` with its fixed parts worked out once."""
        heights = self.steps * g_mm
        heights += self.start
        np.tanh(heights, out=heights)
        heights *= self.lawns.ceiling_mm
        return heights

    def cut(self, which: Ints, day: int, heights_mm: Floats, g_mm: Floats) -> None:
        """Anchor some lawns anew; overgrown ones come down by a third and rest."""
        chosen_mm, ceiling_mm = self.lawns.chosen_mm[which], self.lawns.ceiling_mm[which]
        after_mm = np.maximum(chosen_mm, (1 - THIRD) * heights_mm[which])
        limit_mm = chosen_mm / (1 - THIRD)
        is_reached = limit_mm < KEPT_BELOW_CEILING * ceiling_mm

        def due_g_mm(to_mm: Floats) -> Floats:
            share = np.minimum(to_mm / ceiling_mm, 1 - 1e-12)
            need_mm = (
                ceiling_mm / self.lawns.pace[which] * (np.arctanh(share) - np.arctanh(after_mm / ceiling_mm))
            )
            return np.where(is_reached, g_mm[which] + need_mm, np.inf)

        self.start[which] = np.arctanh(after_mm / ceiling_mm) - self.steps[which] * g_mm[which]
        self.window_g_mm[which] = due_g_mm(chosen_mm * (1 + THIRD))
        self.limit_g_mm[which] = due_g_mm(limit_mm)
        self.rest_until[which] = np.where(after_mm > chosen_mm, day + DAYS_BETWEEN, 0)


def in_a_loop(
    stands: Sequence[plain.Stand], lawns: Sequence[plain.Lawn], days: Sequence[list[WeatherDay]]
) -> list[plain.PlainSeason]:
    """Play one lawn after the other, each with its own stand."""
    return [plain.play(*one) for one in zip(stands, lawns, days, strict=True)]


def plain_inputs(
    facts: StandFacts, weather: StandWeather, lawns: Lawns, sample: Ints
) -> tuple[list[plain.Stand], list[plain.Lawn], list[list[WeatherDay]]]:
    """Take some lawns out of the arrays, with their stands and their weather."""
    stands = lawns.stand[sample].tolist()
    numbers = (column[sample].tolist() for column in (lawns.chosen_mm, lawns.pace, lawns.ceiling_mm))
    return (
        [plain.Stand.of(facts, stand) for stand in stands],
        [plain.Lawn(*one) for one in zip(*numbers, strict=True)],
        [plain.days_of(weather, stand) for stand in stands],
    )


def disagreement(ours: Seasons, loop: Sequence[plain.PlainSeason], sample: Ints) -> str:
    """Say where both differ in a date or a height; nothing if they agree."""
    for lawn, season in zip(sample.tolist(), loop, strict=True):
        if ours.cut_on(lawn) != season.cut_on:
            return f"lawn {lawn}: the loop and the arrays cut on other days"
        off_mm = float(np.max(np.abs(ours.height_mm[:, lawn] - season.height_mm)))
        if not off_mm <= SAME_MM:
            return f"lawn {lawn}: the loop and the arrays are {off_mm:g} mm apart"
    return ""


def fastest(*works: Callable[[], Any]) -> list[float]:
    """Seconds of each work's fastest run; they take turns, so that a busy moment of the machine hits all."""
    taken: list[list[float]] = [[] for _ in works]
    for _ in range(REPEATS):
        for work, runs in zip(works, taken, strict=True):
            start = time.perf_counter()
            work()
            runs.append(time.perf_counter() - start)
    return [min(runs) for runs in taken]


def run(lawn_count: int, stand_count: int, sample_count: int) -> dict[str, Any]:
    """Check that both agree, then time them."""
    facts, weather = facts_of(stand_count), weather_of(stand_count)
    lawns = lawns_of(lawn_count, stand_count)
    sample = np.linspace(0, lawn_count - 1, min(sample_count, lawn_count)).astype(np.int64)
    stands, some, days = plain_inputs(facts, weather, lawns, sample)
    ours, loop = in_arrays(facts, weather, lawns), in_a_loop(stands, some, days)
    if wrong := disagreement(ours, loop, sample):
        raise SystemExit(wrong)
    curves = [plain.grow(*one) for one in zip(stands, days, strict=True)]
    ours_s, sample_s, mown_s = fastest(
        lambda: in_arrays(facts, weather, lawns),
        lambda: in_a_loop(stands, some, days),
        lambda: [plain.mow(lawn, ours.first_on, *curve) for lawn, curve in zip(some, curves, strict=True)],
    )
    a_lawn_s, mown_lawn_s = sample_s / len(sample), mown_s / len(sample)
    seconds = {
        "arrays": ours_s,
        "loop_scaled": a_lawn_s * lawn_count,
        "loop_sharing_stands_scaled": (a_lawn_s - mown_lawn_s) * stand_count + mown_lawn_s * lawn_count,
    }
    ratios = {
        "loop_vs_arrays": seconds["loop_scaled"] / ours_s,
        "loop_sharing_stands_vs_arrays": seconds["loop_sharing_stands_scaled"] / ours_s,
    }
    return {
        "lawns": lawn_count,
        "stands": stand_count,
        "cuts_a_lawn": round(float(ours.cut.sum(axis=0).mean()), 1),
        "loop_sample_lawns": len(sample),
        "scaled": f"the loop ran on {len(sample)} lawns, its seconds are those times {lawn_count / len(sample):g}",
        "seconds": {name: round(value, 3) for name, value in seconds.items()},
        "ratios": {name: round(value, 1) for name, value in ratios.items()},
        "targets_met": {name: ratios[name] >= least for name, least in TARGETS.items()},
    }


def main() -> None:
    """Read the command line, run, print."""
    words = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    words.add_argument("--lawns", type=int, default=10_000)
    words.add_argument("--stands", type=int, default=2_000)
    words.add_argument("--sample", type=int, default=SAMPLE, help="lawns the loop runs on")
    words.add_argument("--json", action="store_true")
    said = words.parse_args()
    result = run(said.lawns, min(said.stands, said.lawns), said.sample)
    if said.json:
        print(json.dumps(result, indent=1))
        return
    for name, taken in result["seconds"].items():
        print(f"{name:27} {taken:9.3f} s")
    print(result["scaled"])
    for name, ratio in result["ratios"].items():
        met = {True: " (met)", False: " (missed)"}.get(result["targets_met"].get(name), "")
        print(f"{name}: {ratio:.1f} ×{met}")


if __name__ == "__main__":
    main()
