"""Stands through days: the order of a day, holds with start and end, and batches that do not matter."""

from dataclasses import fields
from datetime import date, timedelta

import numpy as np
import pytest
from builders import TURF
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.growth import temperature_growth_factor
from mowalert.domain.holds import HoldReason, in_mask
from mowalert.domain.stand import (
    LEAD_DAYS,
    StandCurve,
    StandKey,
    StandState,
    StandWeather,
    grow,
    rooting_class,
    stand_facts,
)
from mowalert.domain.words import Sun, Watering

FIRST = date(2026, 6, 1)


def weather(t_min: list[float], t_max: list[float], rain: list[float], stands: int = 1) -> StandWeather:
    """The same days for every stand, led in by days like the first."""

    def led(values: list[float]) -> np.ndarray:
        return np.tile(np.array([values[0]] * LEAD_DAYS + values), (stands, 1))

    unknown = np.full((stands, LEAD_DAYS + len(t_min)), np.nan)
    first = FIRST - timedelta(days=LEAD_DAYS)
    return StandWeather(first, led(t_min), led(t_max), led(rain), *(unknown.copy() for _ in range(4)))


def run(
    t_min: list[float], t_max: list[float], rain: list[float], *, grass: str = "kentucky_bluegrass",
    watering: Watering = Watering.NONE, soil: str = "loam", settle_on: date | None = None,
) -> StandCurve:  # fmt: skip
    facts = stand_facts(
        [StandKey(grass, soil, rooting_class(75.0), Sun.FULL, watering)],
        TURF,
        latitude_deg=np.array([42.0]),
        elevation_m=np.array([200.0]),
    )
    return grow(
        facts, weather(t_min, t_max, rain), StandState.fresh(1, warmth_known=True), settle_on=settle_on
    )


def days_of(curve: StandCurve, reason: HoldReason) -> list[int]:
    return [day for day, mask in enumerate(curve.holds[0]) if reason in in_mask(float(mask))]


def test_a_dry_spell_wilts_then_rests_and_rain_ends_both() -> None:
    dry, wet = 70, 25
    curve = run([14.0] * (dry + wet), [28.0] * (dry + wet), [0.0] * dry + [25.0] * 6 + [4.0] * (wet - 6))
    drought, dormant = days_of(curve, HoldReason.DROUGHT), days_of(curve, HoldReason.DORMANT)
    assert drought
    assert dormant
    assert drought[0] < dormant[0]
    # Ks below 0.4 on two days starts it; both days and all after them are held until rain.
    assert curve.water_stress[0, drought[0]] < 0.4
    assert curve.water_stress[0, drought[0] - 1] < 0.4
    assert curve.water_stress[0, drought[0] - 2] >= 0.4
    assert drought[-1] < dry + 4
    assert dormant[-1] < dry + 8


def test_watered_turf_never_wilts() -> None:
    curve = run([16.0] * 60, [31.0] * 60, [0.0] * 60, watering=Watering.REGULAR)
    assert not days_of(curve, HoldReason.DROUGHT)
    assert curve.water_stress.min() > 0.99


def test_heat_holds_dry_turf_and_not_watered_turf() -> None:
    warm, hot = [15.0] * 20 + [23.0] * 8 + [14.0] * 8, [29.0] * 20 + [36.0] * 8 + [26.0] * 8
    dry = run(warm, hot, [0.0] * 36, soil="sand")
    watered = run(warm, hot, [0.0] * 36, soil="sand", watering=Watering.REGULAR)
    held = days_of(dry, HoldReason.HEAT)
    assert held
    assert held[0] == 20
    # Two days below 30 °C and a load below 5 end it.
    assert held[-1] >= 28
    assert not days_of(watered, HoldReason.HEAT)


def test_an_extreme_day_holds_any_grass_and_wet_soil_releases_it_at_once() -> None:
    curve = run([20.0] * 3 + [24.0] + [20.0] * 3, [29.0] * 3 + [39.0] + [31.0] * 3, [0.0] * 7,
                watering=Watering.REGULAR)  # fmt: skip
    assert days_of(curve, HoldReason.HEAT) == [3]


def test_cold_starts_by_the_ten_day_mean_and_ends_after_five_warmer_days() -> None:
    cold = [0.0] * 15 + [8.0] * 20
    curve = run(cold, [t + 6.0 for t in cold], [1.0] * 35)
    held = days_of(curve, HoldReason.COLD)
    assert held[0] == 0
    ends = held[-1] + 1
    means = (np.array(cold) + np.array([t + 6.0 for t in cold])) / 2
    trailing = [means[max(0, day - 9) : day + 1].mean() for day in range(35)]
    assert all(trailing[day] >= 4.4 + 1.5 for day in range(ends - 4, ends + 1))


def test_a_downpour_waterlogs_full_soil_and_clay_a_day_longer() -> None:
    rain = [5.0] * 4 + [30.0] + [0.0] * 8
    loam = days_of(run([10.0] * 13, [18.0] * 13, rain), HoldReason.WATERLOGGED)
    clay = days_of(run([10.0] * 13, [18.0] * 13, rain, soil="clay"), HoldReason.WATERLOGGED)
    assert loam
    assert loam[0] == clay[0] == 4
    assert len(clay) == len(loam) + 1


def test_frost_holds_the_day_unless_it_thaws() -> None:
    curve = run([2.0, -3.0, -3.0, 2.0], [9.0, 2.0, 8.0, 9.0], [0.0] * 4)
    assert days_of(curve, HoldReason.FROST) == [1]


def test_a_watering_this_morning_takes_todays_stress_away() -> None:
    """The order of a day: watered in the morning, stressed by yesterday evening, grown in the day."""
    dry = run([15.0] * 30, [30.0] * 30, [0.0] * 30, soil="sand")
    watered = run([15.0] * 30, [30.0] * 30, [0.0] * 30, soil="sand", watering=Watering.REGULAR)
    passed = int(np.argmax(watered.depletion_mm[0, :-1] > watered.depletion_mm[0, 1:]))
    assert watered.water_stress[0, passed + 1] == pytest.approx(1.0)
    assert dry.water_stress[0, passed + 1] < 1.0
    assert dry.depletion_mm[0, passed] == pytest.approx(watered.depletion_mm[0, passed])


def test_a_stand_feels_a_warm_day_only_in_part_at_first() -> None:
    """After nine days at 10 °C one of 20 °C has 1 of 1 + 0.8 + … + 0.8⁹ = 4.463 parts: 12.24 °C."""
    first_mm, both_mm = run([4.0, 14.0], [16.0, 26.0], [0.0, 0.0]).growth_mm[0]
    cardinals_c = {"base_c": np.float64(4.0), "opt_c": np.float64(20.0), "max_c": np.float64(35.0)}
    felt, before = (
        temperature_growth_factor(np.float64(t_c), **cardinals_c) for t_c in (10 + 10 / 4.463, 10.0)
    )
    assert (both_mm - first_mm) / first_mm == pytest.approx(felt / before, rel=1e-3)


def test_growth_begun_again_from_a_settled_state_is_the_same() -> None:
    rng = np.random.default_rng(5)
    low = rng.uniform(5, 18, 60).tolist()
    high = [t + 11 for t in low]
    rain = rng.gamma(0.4, 6, 60).tolist()
    whole = run(low, high, rain, settle_on=FIRST + timedelta(days=29))
    facts = stand_facts(
        [StandKey("kentucky_bluegrass", "loam", rooting_class(75.0), Sun.FULL, Watering.NONE)],
        TURF,
        latitude_deg=np.array([42.0]),
        elevation_m=np.array([200.0]),
    )
    days = weather(low, high, rain)
    later = StandWeather(
        FIRST + timedelta(days=30 - LEAD_DAYS),
        *(getattr(days, entry.name)[:, 30:] for entry in fields(days) if entry.name != "first_on"),
    )
    restored = StandState.unpacked(whole.settled.packed())
    again = grow(facts, later, restored)
    assert np.array_equal(again.growth_mm, whole.growth_mm[:, 30:])
    assert np.array_equal(again.holds, whole.holds[:, 30:])


@given(st.lists(st.sampled_from(sorted(TURF.grasses)), min_size=2, max_size=12), st.integers(1, 11))
def test_stands_in_one_batch_or_in_two_grow_alike(names: list[str], cut: int) -> None:
    cut = min(cut, len(names) - 1)
    rng = np.random.default_rng(len(names))
    low = rng.uniform(0, 20, 40).tolist()
    high = [t + 12 for t in low]
    rain = rng.gamma(0.4, 6, 40).tolist()

    def batch(some: list[str]) -> np.ndarray:
        keys = [StandKey(name, "loam", 2, Sun.PART, Watering.NONE) for name in some]
        count = len(some)
        facts = stand_facts(keys, TURF, latitude_deg=np.full(count, 42.0), elevation_m=np.zeros(count))
        start = StandState.fresh(count, warmth_known=True)
        return grow(facts, weather(low, high, rain, count), start).growth_mm

    parted = np.concatenate([batch(names[:cut]), batch(names[cut:])])
    assert np.array_equal(batch(names), parted)


@given(st.lists(st.tuples(st.floats(-10, 25), st.floats(0, 20), st.floats(0, 40)), min_size=5, max_size=60))
def test_growth_never_shrinks_and_stress_stays_between_nothing_and_all(
    days: list[tuple[float, float, float]],
) -> None:
    curve = run([d[0] for d in days], [d[0] + d[1] for d in days], [d[2] for d in days])
    assert np.all(np.diff(curve.growth_mm[0]) >= 0)
    assert np.all((curve.water_stress >= 0) & (curve.water_stress <= 1))
    assert np.all(curve.depletion_mm >= 0)
    assert np.all(curve.et0_mm >= 0)
