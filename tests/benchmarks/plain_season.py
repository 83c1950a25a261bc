"""The season of one lawn in plain Python: floats, ``math`` and a loop over its days, no arrays.

The equations and the order of a day are those of ``mowalert.domain``; the names of its constants are
shared, none of its functions is called. Like anyone writing a loop, it works out only what a day needs: no
second way to reference evapotranspiration where the first one serves, and the sun once a day.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta
from math import acos, atanh, cos, exp, isnan, pi, radians, sin, sqrt, tan, tanh

from mowalert.domain import growth as law
from mowalert.domain import holds as rules
from mowalert.domain import soil_water as soil
from mowalert.domain.arrays import Floats
from mowalert.domain.evapotranspiration import INLAND_K_RS, MM_PER_MJ, STAND_IN_WIND_MS
from mowalert.domain.stand import LEAD_DAYS, StandFacts, StandWeather
from mowalert.domain.thirds import DAYS_BETWEEN, THIRD
from mowalert.domain.weather import WeatherDay


@dataclass(frozen=True, slots=True)
class Stand:
    """One stand's parameters, as in ``StandFacts``."""

    base_c: float
    opt_c: float
    max_c: float
    g50_mm_d: float
    warm: bool
    kc: float
    depletion_p: float
    taw_mm: float
    sun_share: float
    full_light_mj_m2: float
    dormant_after_d: float
    clay: bool
    watered: bool
    latitude_deg: float
    elevation_m: float

    @staticmethod
    def of(facts: StandFacts, index: int) -> "Stand":
        """Take one stand out of many."""
        return Stand(**{name.name: getattr(facts, name.name)[index].item() for name in fields(Stand)})


@dataclass(frozen=True, slots=True)
class Lawn:
    """What a lawn is apart from its stand."""

    chosen_mm: float
    pace: float
    ceiling_mm: float


@dataclass(frozen=True, slots=True)
class PlainSeason:
    """Heights of every evening, before a cut of that evening, and the dates of the cuts."""

    height_mm: list[float]
    cut_on: list[date]


@dataclass(slots=True)
class Hold:
    """One reason not to mow, and the days in a row that count towards its start or its end.

    No day counts towards both, so that one count is enough.
    """

    active: bool = False
    counted_d: int = 0

    def judge(self, starts: bool, start_after_d: float, ends: bool, end_after_d: float) -> None:
        """Let one day start it, end it or neither."""
        self.counted_d = self.counted_d + 1 if (ends if self.active else starts) else 0
        if self.counted_d >= (end_after_d if self.active else start_after_d):
            self.active, self.counted_d = not self.active, 0


def days_of(weather: StandWeather, index: int) -> list[WeatherDay]:
    """Take one stand's days out of the arrays; what is not known becomes none."""

    def row(values: Floats) -> list[float]:
        return [float(value) for value in values[index]]

    def row_or_none(values: Floats) -> list[float | None]:
        return [None if isnan(value) else value for value in row(values)]

    days = zip(
        row(weather.t_min_c),
        row(weather.t_max_c),
        row(weather.rain_mm),
        row_or_none(weather.radiation_mj_m2),
        row_or_none(weather.wind_2m_ms),
        row_or_none(weather.t_dew_c),
        row_or_none(weather.et0_mm),
        strict=True,
    )
    return [
        WeatherDay(weather.first_on + timedelta(days=day), t_min_c, t_max_c, rain_mm, "arrays", *others)
        for day, (t_min_c, t_max_c, rain_mm, *others) in enumerate(days)
    ]


def play(stand: Stand, lawn: Lawn, days: Sequence[WeatherDay]) -> PlainSeason:
    """Play a season of one lawn that is cut at the limit; ``LEAD_DAYS`` days precede it."""
    daily_mm, held = grow(stand, days)
    return mow(lawn, days[LEAD_DAYS].on, daily_mm, held)


def grow(stand: Stand, days: Sequence[WeatherDay]) -> tuple[list[float], list[list[bool]]]:
    """Growth of the stand's curve on every day, and which of ``LASTING`` hold that day."""
    psychrometric = psychrometric_constant_kpa_c(stand.elevation_m)
    means_c = [(day.t_min_c + day.t_max_c) / 2 for day in days]
    new_year = (1, 1) if stand.latitude_deg >= 0 else (7, 1)
    dormant, drought, heat, cold, waterlogged, frost = holds = [Hold() for _ in rules.LASTING]
    depletion_mm = warmth_c = heat_load = 0.0
    daily_mm, held = [], []
    for index in range(LEAD_DAYS, len(days)):
        day, mean_c = days[index], means_c[index]
        ra, daylight_h = sun(stand.latitude_deg, day.on.timetuple().tm_yday)
        et0_mm = reference_et_mm(stand, day, mean_c, ra, psychrometric)
        ks, depletion_mm = drink(stand, depletion_mm, et0_mm, day.rain_mm)
        if (day.on.month, day.on.day) == new_year:
            warmth_c = 0.0
        warmth_c += max(mean_c, 0.0)
        crown_c, ten_days_c = trailing_means(means_c[index - LEAD_DAYS : index + 1])
        flush = 1.0 if stand.warm else spring_flush(warmth_c, daylight_h)
        light = light_share(stand, day, ra)
        growth_mm = stand.g50_mm_d * temperature_factor(stand, crown_c) * light * ks * flush
        heat_load = 0.7 * heat_load + max(0.0, day.t_max_c - 30) + 2 * max(0.0, day.t_min_c - 21)
        judge_dryness(dormant, drought, stand, ks, growth_mm)
        judge_heat(heat, stand, day.t_max_c, heat_load, ks)
        judge_cold(cold, stand, ten_days_c)
        judge_water(waterlogged, stand, day.rain_mm + known(days[index - 1].rain_mm), depletion_mm)
        frozen = day.t_min_c <= rules.NO_FROST_C and day.t_max_c <= rules.THAW_C
        frost.judge(frozen, 1.0, not frozen, 1.0)
        daily_mm.append(growth_mm)
        held.append([hold.active for hold in holds])
    return daily_mm, held


def mow(lawn: Lawn, first_on: date, daily_mm: Sequence[float], held: Sequence[Sequence[bool]]) -> PlainSeason:
    """Follow the curve and cut on the last evening before the limit; overgrown turf in stages."""
    limit_mm, window_mm = lawn.chosen_mm / (1 - THIRD), lawn.chosen_mm * (1 + THIRD)
    ever, last = limit_mm < law.KEPT_BELOW_CEILING * lawn.ceiling_mm, len(daily_mm) - 1
    heights_mm, cut_on = [], []
    height_mm, rest_until = lawn.chosen_mm, 0
    tomorrow_mm = taller(lawn, height_mm, daily_mm[0])
    for index, today in enumerate(held):
        height_mm = tomorrow_mm
        heights_mm.append(height_mm)
        tomorrow_mm = taller(lawn, height_mm, daily_mm[index + 1]) if index < last else height_mm
        last_chance = index < last and height_mm >= window_mm and True in held[index + 1]
        free = ever and True not in today and index >= rest_until
        if free and (tomorrow_mm > limit_mm or last_chance):
            height_mm = max(lawn.chosen_mm, (1 - THIRD) * height_mm)
            cut_on.append(first_on + timedelta(days=index))
            if height_mm > lawn.chosen_mm:
                rest_until = index + DAYS_BETWEEN
            tomorrow_mm = taller(lawn, height_mm, daily_mm[index + 1]) if index < last else height_mm
    return PlainSeason(heights_mm, cut_on)


def taller(lawn: Lawn, height_mm: float, growth_mm: float) -> float:
    """Height after the stand's curve has grown."""
    start = atanh(min(height_mm / lawn.ceiling_mm, 1.0 - 1e-12))
    return lawn.ceiling_mm * tanh(start + lawn.pace * growth_mm / lawn.ceiling_mm)


def known(value: float) -> float:
    """Nothing where a number is not known."""
    return 0.0 if isnan(value) else value


def within(value: float, least: float, most: float) -> float:
    """Keep a number between two others."""
    return least if value < least else most if value > most else value


def ramp(value: float, start: float, end: float) -> float:
    """0 up to the start, 1 from the end on, straight in between."""
    return within((value - start) / (end - start), 0.0, 1.0)


def sun(latitude_deg: float, day_of_year: int) -> tuple[float, float]:
    """Sunlight above the air [MJ/m²/d] and hours of daylight, FAO-56 eq. 21-25 and 34."""
    latitude, turn = radians(latitude_deg), 2 * pi / 365 * day_of_year
    declination = 0.409 * sin(turn - 1.39)
    angle = acos(within(-tan(latitude) * tan(declination), -1.0, 1.0))
    up = angle * sin(latitude) * sin(declination) + cos(latitude) * cos(declination) * sin(angle)
    # 4.92 MJ/m²/h is the solar constant of FAO-56, rounded as refet rounds it.
    return max(24 / pi * 4.92 * (1 + 0.033 * cos(turn)) * up, 0.0), 24 / pi * angle


def guessed_radiation_mj_m2(day: WeatherDay, ra: float) -> float:
    """Sunlight guessed from the day's range of temperature, FAO-56 eq. 50."""
    return INLAND_K_RS * sqrt(max(day.t_max_c - day.t_min_c, 0.0)) * ra


def light_share(stand: Stand, day: WeatherDay, ra: float) -> float:
    """Share of growth that the day's light allows."""
    radiation = guessed_radiation_mj_m2(day, ra) if day.radiation_mj_m2 is None else day.radiation_mj_m2
    return within(stand.sun_share * radiation / stand.full_light_mj_m2, 0.0, 1.0)


def reference_et_mm(stand: Stand, day: WeatherDay, mean_c: float, ra: float, psychrometric: float) -> float:
    """ET0 as given, or by Penman-Monteith, or from temperatures if there is nothing else."""
    if day.et0_mm is not None:
        return max(day.et0_mm, 0.0)
    if day.radiation_mj_m2 is not None:
        return penman_monteith_mm(stand, day, mean_c, ra, day.radiation_mj_m2, psychrometric)
    if day.t_dew_c is not None or day.wind_2m_ms is not None:
        light = guessed_radiation_mj_m2(day, ra)
        return penman_monteith_mm(stand, day, mean_c, ra, light, psychrometric)
    return hargreaves_mm(day, mean_c, ra)


def penman_monteith_mm(
    stand: Stand, day: WeatherDay, mean_c: float, ra: float, radiation: float, psychrometric: float
) -> float:
    """ET0 by FAO-56 eq. 6."""
    wind_ms = STAND_IN_WIND_MS if day.wind_2m_ms is None else day.wind_2m_ms
    air_kpa = saturation_kpa(day.t_min_c if day.t_dew_c is None else min(day.t_dew_c, mean_c))
    full_kpa = (saturation_kpa(day.t_min_c) + saturation_kpa(day.t_max_c)) / 2
    # Eq. 13; refet has 2503 for 4098 * 0.6108.
    slope = 2503.0 * exp(17.27 * mean_c / (mean_c + 237.3)) / (mean_c + 237.3) ** 2
    net = 0.77 * radiation - net_longwave_mj_m2(stand, day, air_kpa, ra, radiation)
    drying = psychrometric * 900 * wind_ms * max(full_kpa - air_kpa, 0.0) / (mean_c + 273)
    et0_mm = (MM_PER_MJ * slope * net + drying) / (slope + psychrometric * (0.34 * wind_ms + 1))
    return max(et0_mm, 0.0)


def net_longwave_mj_m2(stand: Stand, day: WeatherDay, air_kpa: float, ra: float, radiation: float) -> float:
    """Net outgoing longwave radiation, FAO-56 eq. 37 and 39."""
    clear = max((0.75 + 2e-5 * stand.elevation_m) * ra, 1e-6)
    cloud = 1.35 * within(radiation / clear, 0.3, 1.0) - 0.35
    warm = ((day.t_max_c + 273.16) ** 4 + (day.t_min_c + 273.16) ** 4) / 2
    return 4.901e-9 * cloud * (0.34 - 0.14 * sqrt(air_kpa)) * warm


def saturation_kpa(t_c: float) -> float:
    """Vapour pressure of saturated air, FAO-56 eq. 11."""
    return 0.6108 * exp(17.27 * t_c / (t_c + 237.3))


def psychrometric_constant_kpa_c(elevation_m: float) -> float:
    """Psychrometric constant, FAO-56 eq. 7 and 8."""
    return float(0.000665 * 101.3 * ((293 - 0.0065 * elevation_m) / 293) ** 5.26)


def hargreaves_mm(day: WeatherDay, mean_c: float, ra: float) -> float:
    """ET0 from temperatures alone, FAO-56 eq. 52."""
    span = sqrt(max(day.t_max_c - day.t_min_c, 0.0))
    return max(0.0023 * (mean_c + 17.8) * span * ra * MM_PER_MJ, 0.0)


def drink(stand: Stand, depletion_mm: float, et0_mm: float, rain_mm: float) -> tuple[float, float]:
    """One day's water: the stress it was lived under, and the depletion in the evening."""
    etc_mm = stand.kc * et0_mm
    p = within(stand.depletion_p + 0.04 * (5.0 - etc_mm), soil.LEAST_P, soil.MOST_P)
    if stand.watered and depletion_mm > p * stand.taw_mm:
        depletion_mm = 0.0
    left_mm = stand.taw_mm - depletion_mm
    ks = within(left_mm / ((1.0 - p) * stand.taw_mm), 0.0, 1.0)
    counted_mm = 0.0 if rain_mm < soil.UNCOUNTED_RAIN * et0_mm else rain_mm
    return ks, max(depletion_mm + min(ks * etc_mm, max(left_mm, 0.0)) - counted_mm, 0.0)


def trailing_means(means_c: Sequence[float]) -> tuple[float, float]:
    """Temperature of the crown and of the last ten days, from those days that are known."""
    felt = weight = total = 0.0
    days = 0
    for mean_c in means_c:
        felt, weight = felt * law.CROWN_KEEPS, weight * law.CROWN_KEEPS
        if not isnan(mean_c):
            felt, weight, total, days = felt + mean_c, weight + 1.0, total + mean_c, days + 1
    return (felt / weight, total / days) if days else (0.0, 0.0)


def temperature_factor(stand: Stand, crown_c: float) -> float:
    """Share of its best growth the grass reaches at a temperature (Yan and Hunt 1999)."""
    t_c = within(crown_c, stand.base_c, stand.max_c)
    below, above = stand.opt_c - stand.base_c, stand.max_c - stand.opt_c
    return float((stand.max_c - t_c) / above * ((t_c - stand.base_c) / below) ** (below / above))


def spring_flush(warmth_c_d: float, daylight_h: float) -> float:
    """Spring flush of cool-season grass."""
    rise, full, wane, fallen = law.FLUSH_WARMTH_C_D
    share = ramp(warmth_c_d, rise, full) * (1.0 - ramp(warmth_c_d, wane, fallen))
    return 1.0 + (law.FLUSH - 1.0) * share * ramp(daylight_h, *law.LONG_DAY_H)


def judge_dryness(dormant: Hold, drought: Hold, stand: Stand, ks: float, growth_mm: float) -> None:
    """Let a day's stress start or end dormancy and drought."""
    greening = ks >= rules.GREENING and growth_mm >= rules.GROWS_AGAIN_MM_D
    dormant.judge(ks < rules.PARCHED, stand.dormant_after_d, greening, 3.0)
    drought.judge(ks < rules.WILTING, 2.0, ks >= rules.RECOVERED, 1.0)


def judge_heat(heat: Hold, stand: Stand, t_max_c: float, heat_load: float, ks: float) -> None:
    """Let a day's heat on dry turf, or an extreme one, start the hold; ease or wet soil ends it."""
    if stand.warm:
        hot, extreme = t_max_c >= rules.HEAT_WARM_C, t_max_c >= rules.EXTREME_WARM_C
        mild = t_max_c < rules.EASED_WARM_C
    else:
        hot = t_max_c >= rules.HEAT_COOL_C or heat_load >= rules.LOAD_START
        extreme, mild = t_max_c >= rules.EXTREME_COOL_C, t_max_c < rules.EASED_COOL_C
    wet_again = ks >= rules.WET_AGAIN and not extreme
    eased = mild and heat_load < rules.LOAD_END
    starts = extreme or (hot and ks < rules.DRY_FOR_HEAT)
    heat.judge(starts, 1.0, eased or wet_again, 1.0 if wet_again else 2.0)


def judge_cold(cold: Hold, stand: Stand, ten_days_c: float) -> None:
    """Let ten cold days start the hold, and five warmer ones end it."""
    cold_c = rules.COLD_WARM_C if stand.warm else rules.COLD_COOL_C
    cold.judge(ten_days_c < cold_c, 1.0, ten_days_c >= cold_c + rules.COLD_MARGIN_C, 5.0)


def judge_water(waterlogged: Hold, stand: Stand, rain_48_h_mm: float, depletion_mm: float) -> None:
    """Let heavy rain on full soil start the hold; clay drains a day later."""
    soaked = rain_48_h_mm >= rules.SOAKING_MM and depletion_mm <= rules.FULL_MM
    waterlogged.judge(soaked, 1.0, not soaked, 2.0 if stand.clay else 1.0)
