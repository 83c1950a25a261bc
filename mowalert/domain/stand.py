"""Stands through days of weather: water, warmth, growth curve and holds, all stands at once.

The order of a day: watering in the morning when yesterday's depletion passed what is readily
available; stress from yesterday evening's depletion; growth during the day; the height in the
evening; a cut after that. Flush and degree-days count the day itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from mowalert.domain.arrays import Bools, Floats, Ints
from mowalert.domain.degree_days import degree_days_of_mean
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
from mowalert.domain.holds import HoldDays, HoldState, as_mask, hold_states, next_heat_load
from mowalert.domain.soil_water import root_depth_mm, total_available_water_mm, water_day
from mowalert.domain.words import Sun, Watering

SUN_SHARE = {Sun.FULL: 1.0, Sun.PART: 0.75, Sun.SHADE: 0.5}
"""Share of the day's light that reaches the turf; working values."""
ROOTING_BANDS_MM = (15.0, 30.0, 50.0, 80.0)
ROOTING_HEIGHTS_MM = (9.0, 22.0, 40.0, 64.0, 95.0)
"""Chosen heights fall into five bands that root alike; each stands for its middle. Working values."""
NEVER = 10**8
"""An ordinal no day has."""
LEAD_DAYS = 9
"""Days of weather before the first computed one, for the ten-day mean."""


@dataclass(frozen=True, slots=True)
class StandKey:
    """What makes lawns grow alike, the weather cell aside.

    ``dry_from`` and ``dry_until`` are ordinals of the first and last day without the usual watering; 0 where
    there are none, or no end is known.
    """

    grass_id: str
    soil: str
    rooting: int
    sun: Sun
    watering: Watering
    dry_from: int = 0
    dry_until: int = 0


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
    dry_from: Ints
    dry_until: Ints
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
        dry_from=np.array([key.dry_from or NEVER for key in keys]),
        dry_until=np.array([key.dry_until or NEVER for key in keys]),
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
    first_on = weather.first_on + timedelta(days=LEAD_DAYS)
    daily = _Daily.of(facts, weather)
    ks, depletion_mm = _water(facts, daily, start.depletion_mm, first_on)
    warmth_c = _warmth(facts, daily, start.warmth_c, first_on)
    flush = flush_factor(
        np.nan_to_num(warmth_c), daylight_h=daily.daylight_h, cool=np.where(facts.warm, 0.0, 1.0)
    )
    growth_mm = daily.best_growth_mm * ks * flush
    heat_load = _heat_load(daily, start.heat_load)
    hold_days = _hold_days(facts, daily, ks, depletion_mm, heat_load, growth_mm)
    keep = len(ks) - 1 if settle_on is None else (settle_on - first_on).days
    holds, settled_holds = _holds(start.holds, hold_days, first_on, keep)
    curve_mm, gdd_c = _summed(start.growth_mm, growth_mm), _summed(start.gdd_c, daily.gdd_c)
    settled = start
    if keep >= 0:
        settled = StandState(
            growth_mm=curve_mm[keep].copy(),
            gdd_c=gdd_c[keep].copy(),
            warmth_c=warmth_c[keep].copy(),
            depletion_mm=depletion_mm[keep].copy(),
            heat_load=heat_load[keep].copy(),
            holds=settled_holds,
        )
    return StandCurve(
        first_on=first_on,
        growth_mm=curve_mm.T,
        gdd_c=gdd_c.T,
        water_stress=ks.T,
        depletion_mm=depletion_mm.T,
        heat_load=heat_load.T,
        et0_mm=daily.et0_mm.T,
        holds=holds.T,
        settled=settled,
    )


@dataclass(frozen=True, slots=True)
class _Daily:
    """What each day brings before soil and holds are known, shape (day, stand): days lie side by side."""

    t_min_c: Floats
    t_max_c: Floats
    mean_c: Floats
    mean_10_days_c: Floats
    rain_mm: Floats
    rain_48_h_mm: Floats
    gdd_c: Floats
    daylight_h: Floats
    et0_mm: Floats
    best_growth_mm: Floats

    @staticmethod
    def of(facts: StandFacts, weather: StandWeather) -> "_Daily":
        t_min_c, t_max_c, rain_mm = (
            np.ascontiguousarray(column.T) for column in (weather.t_min_c, weather.t_max_c, weather.rain_mm)
        )
        mean_c = (t_min_c + t_max_c) / 2
        computed = slice(LEAD_DAYS, None)
        day_of_year = _days_of_year(weather)[computed, None]
        light_mj_m2, et0_mm = _light_and_et0(facts, weather, day_of_year)
        effective = effective_degree_days(
            _crown_temperature(mean_c)[computed], base_c=facts.base_c, opt_c=facts.opt_c, max_c=facts.max_c
        )
        light = light_factor(light_mj_m2, sun_share=facts.sun_share, full_light_mj_m2=facts.full_light_mj_m2)
        return _Daily(
            t_min_c=t_min_c[computed],
            t_max_c=t_max_c[computed],
            mean_c=mean_c[computed],
            mean_10_days_c=_trailing_mean(mean_c, np.ones(LEAD_DAYS + 1))[computed],
            rain_mm=rain_mm[computed],
            rain_48_h_mm=rain_mm[computed] + np.nan_to_num(rain_mm[LEAD_DAYS - 1 : -1]),
            gdd_c=degree_days_of_mean(mean_c[computed], base_c=facts.base_c),
            daylight_h=daylight_hours(facts.latitude_deg, day_of_year),
            et0_mm=et0_mm,
            best_growth_mm=facts.g50_mm_d / (facts.opt_c - facts.base_c) * effective * light,
        )


def _light_and_et0(facts: StandFacts, weather: StandWeather, day_of_year: Floats) -> tuple[Floats, Floats]:
    """Radiation, guessed from the temperatures where it is not known, and reference evapotranspiration."""
    t_min_c, t_max_c, radiation, wind_2m_ms, t_dew_c, et0_mm = (
        np.ascontiguousarray(column[:, LEAD_DAYS:].T)
        for column in (
            weather.t_min_c,
            weather.t_max_c,
            weather.radiation_mj_m2,
            weather.wind_2m_ms,
            weather.t_dew_c,
            weather.et0_mm,
        )
    )
    et0_mm, _ = best_et0(
        t_min_c,
        t_max_c,
        et0_mm=et0_mm,
        radiation_mj_m2=radiation,
        wind_2m_ms=wind_2m_ms,
        t_dew_c=t_dew_c,
        latitude_deg=facts.latitude_deg,
        elevation_m=facts.elevation_m,
        day_of_year=day_of_year,
    )
    dark = np.isnan(radiation)
    if dark.any():
        guessed = radiation_from_temperatures(
            t_min_c, t_max_c, latitude_deg=facts.latitude_deg, day_of_year=day_of_year
        )
        radiation = np.where(dark, guessed, radiation)
    return radiation, et0_mm


def _water(facts: StandFacts, daily: "_Daily", depletion_mm: Floats, first_on: date) -> tuple[Floats, Floats]:
    """Stress and evening's depletion, day by day: each morning starts from the evening before."""
    ks, evenings_mm = np.empty_like(daily.et0_mm), np.empty_like(daily.et0_mm)
    for index, (et0_mm, rain_mm) in enumerate(zip(daily.et0_mm, daily.rain_mm, strict=True)):
        ordinal = first_on.toordinal() + index
        water = water_day(
            depletion_mm,
            et0_mm=et0_mm,
            rain_mm=rain_mm,
            taw_mm=facts.taw_mm,
            kc=facts.kc,
            p_table=facts.depletion_p,
            watered=facts.watered & ~((facts.dry_from <= ordinal) & (ordinal <= facts.dry_until)),
        )
        ks[index], evenings_mm[index] = water.ks, water.depletion_mm
        depletion_mm = water.depletion_mm
    return ks, evenings_mm


def _heat_load(daily: "_Daily", load: Floats) -> Floats:
    loads = np.empty_like(daily.t_max_c)
    for index, (t_min_c, t_max_c) in enumerate(zip(daily.t_min_c, daily.t_max_c, strict=True)):
        load = loads[index] = next_heat_load(load, t_min_c, t_max_c)
    return loads


def _warmth(facts: StandFacts, daily: "_Daily", warmth_c: Floats, first_on: date) -> Floats:
    """Degree-days above 0 °C since the year began: from 1 January, or 1 July south of the equator."""
    north, sums = facts.latitude_deg >= 0, np.empty_like(daily.mean_c)
    for index, today_c in enumerate(np.maximum(daily.mean_c, 0.0)):
        on = first_on + timedelta(days=index)
        if on.day == 1 and on.month in (1, 7):
            warmth_c = np.where(north == (on.month == 1), 0.0, warmth_c)
        warmth_c = sums[index] = warmth_c + today_c
    return sums


def _holds(state: HoldState, days: HoldDays, first_on: date, keep: int) -> tuple[Floats, HoldState]:
    """Masks of the holds of each day, and the state in the evening of the day to be kept."""
    kept, active = state, []
    for index, after in enumerate(hold_states(state, days, first_ordinal=first_on.toordinal())):
        active.append(after.active)
        if index == keep:
            kept = after
    return as_mask(np.array(active)), kept


def _hold_days(
    facts: StandFacts,
    daily: "_Daily",
    ks: Floats,
    depletion_mm: Floats,
    heat_load: Floats,
    growth_mm: Floats,
) -> HoldDays:
    """What the hold rules look at."""
    return HoldDays(
        t_min_c=daily.t_min_c,
        t_max_c=daily.t_max_c,
        mean_10_days_c=daily.mean_10_days_c,
        rain_48_h_mm=daily.rain_48_h_mm,
        water_stress=ks,
        soil_room_mm=depletion_mm,
        heat_load=heat_load,
        growth_mm=growth_mm,
        warm=facts.warm,
        clay=facts.clay,
        dormant_after_d=facts.dormant_after_d,
    )


def _summed(start: Floats, days: Floats) -> Floats:
    """Running sums down the days, from where they stood."""
    return np.cumsum(np.vstack([start, days]), axis=0)[1:]


def _days_of_year(weather: StandWeather) -> Floats:
    days = range(weather.t_min_c.shape[1])
    return np.array([float((weather.first_on + timedelta(days=day)).timetuple().tm_yday) for day in days])


def _crown_temperature(mean_c: Floats) -> Floats:
    """Temperature the growing points feel: the air of the last ten days, the older the less."""
    return _trailing_mean(mean_c, CROWN_KEEPS ** np.arange(LEAD_DAYS, -1.0, -1.0))


def _trailing_mean(values: Floats, weights: Floats) -> Floats:
    """Weighted mean of the last days up to each day, today's weight last; of those that are known."""
    known = ~np.isnan(values)
    weighed = np.where(known, values, 0.0)
    # One weight a day serves all stands, unless some know less than others.
    weight = known[:, :1].astype(np.float64) if (known == known[:, :1]).all() else known.astype(np.float64)
    total, of_weights = np.zeros_like(weighed), np.zeros_like(weight)
    days = len(values)
    for back, share in enumerate(weights[::-1][:days]):
        total[back:] += share * weighed[: days - back]
        of_weights[back:] += share * weight[: days - back]
    return np.asarray(total / np.maximum(of_weights, 1e-12))
