"""Stands through days of weather: water, warmth, growth curve and holds, all stands at once.

The order of a day: watering in the morning when yesterday's depletion passed what is readily
available; stress from yesterday evening's depletion; growth during the day; the height in the
evening; a cut after that. Flush and degree-days count the day itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from mowalert.domain.arrays import Bools, Floats
from mowalert.domain.evapotranspiration import (
    best_et0,
    daylight_hours,
    radiation_from_temperatures,
)
from mowalert.domain.grasses import Turf
from mowalert.domain.growth import (
    CROWN_KEEPS,
    effective_degree_days,
    flush_factor,
    light_factor,
)
from mowalert.domain.holds import HoldDay, HoldState, as_mask, next_heat_load, next_holds
from mowalert.domain.soil_water import WaterDay, root_depth_mm, total_available_water_mm, water_day
from mowalert.domain.words import Sun, Watering

SUN_SHARE = {Sun.FULL: 1.0, Sun.PART: 0.75, Sun.SHADE: 0.5}
"""Share of the day's light that reaches the turf; working values."""
ROOTING_BANDS_MM = (15.0, 30.0, 50.0, 80.0)
ROOTING_HEIGHTS_MM = (9.0, 22.0, 40.0, 64.0, 95.0)
"""Chosen heights fall into five bands that root alike; each stands for its middle. Working values."""
LEAD_DAYS = 9
"""Days of weather before the first computed one, for the ten-day mean."""


@dataclass(frozen=True, slots=True)
class StandKey:
    """What makes lawns grow alike, the weather cell aside."""

    grass_id: str
    soil: str
    rooting: int
    sun: Sun
    watering: Watering


@dataclass(frozen=True, slots=True)
class StandFacts:
    """Parameters of many stands, one array each of shape (stand,)."""

    base_c: Floats
    opt_c: Floats
    max_c: Floats
    g50_mm_d: Floats
    warm: Bools
    kc: Floats
    depletion_p: Floats
    taw_mm: Floats
    sun_share: Floats
    full_light_mj_m2: Floats
    dormant_after_d: Floats
    clay: Bools
    watered: Bools
    latitude_deg: Floats
    elevation_m: Floats


@dataclass(frozen=True, slots=True)
class StandWeather:
    """Days of weather of many stands, each array of shape (stand, day); ``nan`` is unknown.

    The first ``LEAD_DAYS`` columns precede the first computed day.
    """

    first_on: date
    t_min_c: Floats
    t_max_c: Floats
    rain_mm: Floats
    radiation_mj_m2: Floats
    wind_2m_ms: Floats
    t_dew_c: Floats
    et0_mm: Floats


@dataclass(frozen=True, slots=True)
class StandState:
    """What a stand carries into the next day, each of shape (stand,); holds of shape (hold, stand).

    ``growth_mm`` is the curve ``G``, ``gdd_c`` degree-days since the curve began, ``warmth_c``
    those above 0 °C since the year began; ``nan`` warmth means the year's start was not seen, and
    no flush is assumed.
    """

    growth_mm: Floats
    gdd_c: Floats
    warmth_c: Floats
    depletion_mm: Floats
    heat_load: Floats
    holds: HoldState

    @staticmethod
    def fresh(stands: int, *, warmth_known: bool) -> "StandState":
        """Return the state before anything has grown: soil full, nothing held."""
        nothing = np.zeros(stands)
        warmth_c = np.zeros(stands) if warmth_known else np.full(stands, np.nan)
        return StandState(nothing, nothing, warmth_c, nothing, nothing, HoldState.none(stands))

    def packed(self) -> Floats:
        """Return the state as one array of shape (stand, number) for the store."""
        flat = (self.growth_mm, self.gdd_c, self.warmth_c, self.depletion_mm, self.heat_load)
        holds = self.holds
        rows = (*flat, *holds.active.astype(float), *holds.starting, *holds.ending, *holds.since)
        return np.ascontiguousarray(np.array(rows).T)

    @staticmethod
    def unpacked(numbers: Floats) -> "StandState":
        """Read back what ``packed`` wrote."""
        growth, gdd, warmth, depletion, load, *holds = numbers.T
        active, starting, ending, since = np.split(np.array(holds), 4)
        state = HoldState(active > 0.5, starting, ending, since)
        return StandState(growth, gdd, warmth, depletion, load, state)


@dataclass(frozen=True, slots=True)
class StandCurve:
    """Every computed day of many stands, each array of shape (stand, day).

    ``growth_mm`` is the cumulative curve ``G`` in the evening, ``holds`` a mask per day.
    ``settled`` is the state in the evening of the day asked for.
    """

    first_on: date
    growth_mm: Floats
    gdd_c: Floats
    water_stress: Floats
    depletion_mm: Floats
    heat_load: Floats
    et0_mm: Floats
    holds: Floats
    settled: StandState

    @property
    def last_on(self) -> date:
        """The last computed day."""
        return self.first_on + timedelta(days=self.growth_mm.shape[1] - 1)


def rooting_class(chosen_mm: float) -> int:
    """Return the band, 0 to 4, of a chosen height."""
    return int(np.searchsorted(ROOTING_BANDS_MM, chosen_mm, side="left"))


def stand_facts(
    keys: Sequence[StandKey], turf: Turf, *, latitude_deg: Floats, elevation_m: Floats
) -> StandFacts:
    """Collect the parameters of many stands.

    Parameters
    ----------
    keys : Sequence[StandKey]
        One a stand.
    turf : Turf
        Grasses and soils.
    latitude_deg : Floats
        Of each stand's weather cell, shape (stand,). [°]
    elevation_m : Floats
        Of each stand's weather cell, shape (stand,). [m]

    Returns
    -------
    StandFacts
        Arrays of shape (stand,).
    """
    grasses = [turf.grasses[key.grass_id] for key in keys]
    roots_mm = [
        root_depth_mm(np.float64(ROOTING_HEIGHTS_MM[key.rooting]), deep=grass.deep_roots)
        for key, grass in zip(keys, grasses, strict=True)
    ]
    soils = [turf.soils_m3_m3[key.soil] for key in keys]
    return StandFacts(
        base_c=np.array([grass.base_c for grass in grasses]),
        opt_c=np.array([grass.opt_c for grass in grasses]),
        max_c=np.array([grass.max_c for grass in grasses]),
        g50_mm_d=np.array([grass.g50_mm_d for grass in grasses]),
        warm=np.array([grass.warm for grass in grasses]),
        kc=np.array([grass.kc for grass in grasses]),
        depletion_p=np.array([grass.depletion_p for grass in grasses]),
        taw_mm=np.asarray(total_available_water_mm(np.array(roots_mm), np.array(soils))),
        sun_share=np.array([SUN_SHARE[key.sun] for key in keys]),
        full_light_mj_m2=np.array([grass.full_light_mj_m2 for grass in grasses]),
        dormant_after_d=np.array([float(grass.dormant_after_d) for grass in grasses]),
        clay=np.array([key.soil == "clay" for key in keys]),
        watered=np.array([key.watering is Watering.REGULAR for key in keys]),
        latitude_deg=np.asarray(latitude_deg, dtype=np.float64),
        elevation_m=np.asarray(elevation_m, dtype=np.float64),
    )


def grow(
    facts: StandFacts, weather: StandWeather, start: StandState, *, settle_on: date | None = None
) -> StandCurve:
    """Carry many stands through days of weather.

    Parameters
    ----------
    facts : StandFacts
        Parameters, shape (stand,).
    weather : StandWeather
        ``LEAD_DAYS`` days for the ten-day mean, then every day to compute, shape (stand, day).
    start : StandState
        The state in the evening before the first computed day.
    settle_on : date | None
        Day whose evening's state is kept; the last one if not given.

    Returns
    -------
    StandCurve
        Every computed day; the same input gives the same bits.
    """
    sun = _Daily.of(facts, weather)
    first_on = weather.first_on + timedelta(days=LEAD_DAYS)
    days = weather.t_min_c.shape[1] - LEAD_DAYS
    keep = days - 1 if settle_on is None else (settle_on - first_on).days
    state = settled = start
    columns: list[tuple[Floats, ...]] = []
    for index in range(days):
        on = first_on + timedelta(days=index)
        state, column = _one_day(facts, weather, sun, state, LEAD_DAYS + index, on)
        columns.append(column)
        if index == keep:
            settled = state
    growth, gdd, stress, depletion, load, et0, mask = (
        np.stack(series, axis=1) for series in zip(*columns, strict=True)
    )
    return StandCurve(first_on, growth, gdd, stress, depletion, load, et0, mask, settled)


@dataclass(frozen=True, slots=True)
class _Daily:
    """What each day brings before soil and holds are known, shape (stand, day)."""

    mean_c: Floats
    warmth_c: Floats
    gdd_c: Floats
    best_growth_mm: Floats
    et0_mm: Floats
    mean_10_days_c: Floats
    daylight_h: Floats

    @staticmethod
    def of(facts: StandFacts, weather: StandWeather) -> "_Daily":
        mean_c = (weather.t_min_c + weather.t_max_c) / 2
        base_c, opt_c, max_c = (column[:, None] for column in (facts.base_c, facts.opt_c, facts.max_c))
        crown_c = _crown_temperature(mean_c)
        effective = effective_degree_days(crown_c, base_c=base_c, opt_c=opt_c, max_c=max_c)
        latitude_deg, doy = facts.latitude_deg[:, None], _days_of_year(weather)
        guessed = radiation_from_temperatures(
            weather.t_min_c, weather.t_max_c, latitude_deg=latitude_deg, day_of_year=doy
        )
        radiation = np.where(np.isnan(weather.radiation_mj_m2), guessed, weather.radiation_mj_m2)
        light = light_factor(
            radiation, sun_share=facts.sun_share[:, None], full_light_mj_m2=facts.full_light_mj_m2[:, None]
        )
        et0_mm, _ = best_et0(
            weather.t_min_c,
            weather.t_max_c,
            et0_mm=weather.et0_mm,
            radiation_mj_m2=weather.radiation_mj_m2,
            wind_2m_ms=weather.wind_2m_ms,
            t_dew_c=weather.t_dew_c,
            latitude_deg=latitude_deg,
            elevation_m=facts.elevation_m[:, None],
            day_of_year=doy,
        )
        return _Daily(
            mean_c=mean_c,
            warmth_c=np.maximum(mean_c, 0.0),
            gdd_c=np.maximum(mean_c - base_c, 0.0),
            best_growth_mm=facts.g50_mm_d[:, None] / (opt_c - base_c) * effective * light,
            et0_mm=et0_mm,
            mean_10_days_c=_trailing_mean(mean_c, np.ones(LEAD_DAYS + 1)),
            daylight_h=np.broadcast_to(daylight_hours(latitude_deg, doy), mean_c.shape),
        )


def _one_day(
    facts: StandFacts, weather: StandWeather, daily: _Daily, state: StandState, index: int, on: date
) -> tuple[StandState, tuple[Floats, ...]]:
    water = water_day(
        state.depletion_mm,
        et0_mm=daily.et0_mm[:, index],
        rain_mm=weather.rain_mm[:, index],
        taw_mm=facts.taw_mm,
        kc=facts.kc,
        p_table=facts.depletion_p,
        watered=facts.watered,
    )
    warmth_c = _warmth_by(state.warmth_c, daily.warmth_c[:, index], facts.latitude_deg, on)
    flush = flush_factor(
        np.nan_to_num(warmth_c),
        daylight_h=daily.daylight_h[:, index],
        cool=(~facts.warm).astype(np.float64),
    )
    growth_mm = daily.best_growth_mm[:, index] * water.ks * flush
    heat_load = next_heat_load(state.heat_load, weather.t_min_c[:, index], weather.t_max_c[:, index])
    hold_day = _hold_day(facts, weather, daily, index, water, heat_load, growth_mm)
    holds = next_holds(state.holds, hold_day, ordinal=on.toordinal())
    after = StandState(
        state.growth_mm + growth_mm,
        state.gdd_c + daily.gdd_c[:, index],
        warmth_c,
        water.depletion_mm,
        heat_load,
        holds,
    )
    column = (
        after.growth_mm,
        after.gdd_c,
        water.ks,
        water.depletion_mm,
        heat_load,
        daily.et0_mm[:, index],
        as_mask(holds.active),
    )
    return after, column


def _hold_day(
    facts: StandFacts,
    weather: StandWeather,
    daily: _Daily,
    index: int,
    water: WaterDay,
    heat_load: Floats,
    growth_mm: Floats,
) -> HoldDay:
    """What the hold rules look at on one day."""
    return HoldDay(
        t_min_c=weather.t_min_c[:, index],
        t_max_c=weather.t_max_c[:, index],
        mean_10_days_c=daily.mean_10_days_c[:, index],
        rain_48_h_mm=weather.rain_mm[:, index] + np.nan_to_num(weather.rain_mm[:, index - 1]),
        water_stress=water.ks,
        soil_room_mm=water.depletion_mm,
        heat_load=heat_load,
        growth_mm=growth_mm,
        warm=facts.warm,
        clay=facts.clay,
        dormant_after_d=facts.dormant_after_d,
    )


def _warmth_by(warmth_c: Floats, today_c: Floats, latitude_deg: Floats, on: date) -> Floats:
    north, south = (on.month, on.day) == (1, 1), (on.month, on.day) == (7, 1)
    new_year = np.where(latitude_deg >= 0, north, south)
    return np.asarray(np.where(new_year, 0.0, warmth_c) + today_c)


def _days_of_year(weather: StandWeather) -> Floats:
    days = range(weather.t_min_c.shape[1])
    return np.array([float((weather.first_on + timedelta(days=day)).timetuple().tm_yday) for day in days])


def _crown_temperature(mean_c: Floats) -> Floats:
    """Temperature the growing points feel: the air of the last ten days, the older the less."""
    return _trailing_mean(mean_c, CROWN_KEEPS ** np.arange(LEAD_DAYS, -1.0, -1.0))


def _trailing_mean(values: Floats, weights: Floats) -> Floats:
    """Weighted mean of the last days up to each day, today's weight last; of those that are known."""
    width = len(weights)
    padded = np.concatenate([np.full((values.shape[0], width - 1), np.nan), values], axis=1)
    windows = np.lib.stride_tricks.sliding_window_view(padded, width, axis=1)
    known = ~np.isnan(windows)
    total = np.where(known, windows * weights, 0.0).sum(axis=-1)
    return np.asarray(total / np.maximum((known * weights).sum(axis=-1), 1e-12))
