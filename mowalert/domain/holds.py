"""Reasons not to mow now that come from the turf: when each starts, and when it ends.

Every rule is a pair of day conditions with the number of days they must last. All stands are
judged at once, day by day; what a day leaves behind is a ``HoldState``.

Rain in the mowing hours and a frosty morning that thaws shift the hour or the day; they are
judged where a day is chosen (``chances``), never told by themselves.
"""

from dataclasses import dataclass

import numpy as np

from mowalert.domain.arrays import Bools, Floats
from mowalert.domain.words import HoldReason

DRY_FOR_HEAT = 0.6
WET_AGAIN = 0.8
WILTING = 0.4
RECOVERED = 0.7
PARCHED = 0.2
GREENING = 0.6
GROWS_AGAIN_MM_D = 0.3
HEAT_COOL_C, HEAT_WARM_C = 32.2, 40.5
EXTREME_COOL_C, EXTREME_WARM_C = 38.0, 46.0
EASED_COOL_C, EASED_WARM_C = 30.0, 38.0
LOAD_START, LOAD_END = 10.0, 5.0
COLD_COOL_C, COLD_WARM_C, COLD_MARGIN_C = 4.4, 10.0, 1.5
SOAKING_MM = 20.0
FULL_MM = 0.5
NO_FROST_C = 0.0
THAW_C = 3.0

LASTING = (
    HoldReason.DORMANT,
    HoldReason.DROUGHT,
    HoldReason.HEAT,
    HoldReason.COLD,
    HoldReason.WATERLOGGED,
    HoldReason.FROST,
)
"""Holds a stand's weather can set, the most serious first; the order of ``HoldState``'s rows."""
TOLD = LASTING[:5]
"""Those whose start and end are told; a frozen day only shifts the day."""


@dataclass(frozen=True, slots=True)
class HoldDay:
    """What the rules look at on one day, each of shape (stand,).

    ``water_stress`` is Ks after the day's watering, ``soil_room_mm`` the evening's depletion,
    ``mean_10_days_c`` the mean air temperature of the last ten days, ``rain_48_h_mm`` the rain of
    the day and the day before, ``growth_mm`` the stand's growth.
    """

    t_min_c: Floats
    t_max_c: Floats
    mean_10_days_c: Floats
    rain_48_h_mm: Floats
    water_stress: Floats
    soil_room_mm: Floats
    heat_load: Floats
    growth_mm: Floats
    warm: Bools
    clay: Bools
    dormant_after_d: Floats


@dataclass(frozen=True, slots=True)
class HoldState:
    """Holds in force and days counted towards a start or an end, each of shape (hold, stand).

    ``since`` is the ordinal of the day a hold in force began, 0 where none is.
    """

    active: Bools
    starting: Floats
    ending: Floats
    since: Floats

    @staticmethod
    def none(stands: int) -> "HoldState":
        """Return the state in which nothing holds."""
        shape = (len(LASTING), stands)
        return HoldState(np.zeros(shape, np.bool_), np.zeros(shape), np.zeros(shape), np.zeros(shape))


def next_heat_load(load: Floats, t_min_c: Floats, t_max_c: Floats) -> Floats:
    """Carry yesterday's heat into today; hot nights count double. Working value. [°C]"""
    return np.asarray(0.7 * load + np.maximum(0, t_max_c - 30) + 2 * np.maximum(0, t_min_c - 21))


def next_holds(state: HoldState, day: HoldDay, *, ordinal: int) -> HoldState:
    """Judge one day: which holds start, go on or end.

    Parameters
    ----------
    state : HoldState
        Yesterday's holds and counts, shape (hold, stand).
    day : HoldDay
        What the rules look at, shape (stand,).
    ordinal : int
        The day's ordinal, kept as the start of a hold that begins.

    Returns
    -------
    HoldState
        Today's, same shape.
    """
    starts, days_to_start = _starts(day)
    ends, days_to_end = _ends(day)
    starting = np.where(starts, state.starting + 1, 0)
    ending = np.where(ends, state.ending + 1, 0)
    begun = ~state.active & (starting >= days_to_start)
    ended = state.active & (ending >= days_to_end)
    active = (state.active & ~ended) | begun
    since = np.where(begun, float(ordinal), np.where(active, state.since, 0.0))
    # Counts need not grow past what any rule asks for.
    return HoldState(active, np.minimum(starting, 30), np.minimum(ending, 30), since)


def _starts(day: HoldDay) -> tuple[Bools, Floats]:
    ks, one = day.water_stress, np.ones_like(day.water_stress)
    conditions = (
        ks < PARCHED,
        ks < WILTING,
        (_is_hot(day) & (ks < DRY_FOR_HEAT)) | _is_extreme(day),
        day.mean_10_days_c < np.where(day.warm, COLD_WARM_C, COLD_COOL_C),
        (day.rain_48_h_mm >= SOAKING_MM) & (day.soil_room_mm <= FULL_MM),
        (day.t_min_c <= NO_FROST_C) & (day.t_max_c <= THAW_C),
    )
    return np.array(conditions), np.array((day.dormant_after_d, 2 * one, one, one, one, one))


def _ends(day: HoldDay) -> tuple[Bools, Floats]:
    ks, one = day.water_stress, np.ones_like(day.water_stress)
    cold_c = np.where(day.warm, COLD_WARM_C, COLD_COOL_C)
    wet_again = (ks >= WET_AGAIN) & ~_is_extreme(day)
    eased = (day.t_max_c < np.where(day.warm, EASED_WARM_C, EASED_COOL_C)) & (day.heat_load < LOAD_END)
    conditions = (
        (ks >= GREENING) & (day.growth_mm >= GROWS_AGAIN_MM_D),
        ks >= RECOVERED,
        eased | wet_again,
        day.mean_10_days_c >= cold_c + COLD_MARGIN_C,
        (day.rain_48_h_mm < SOAKING_MM) | (day.soil_room_mm > FULL_MM),
        (day.t_min_c > NO_FROST_C) | (day.t_max_c > THAW_C),
    )
    # Wet soil ends the heat hold at once; without it two easier days are needed.
    days = (3 * one, one, np.where(wet_again, 1.0, 2.0), 5 * one, np.where(day.clay, 2.0, 1.0), one)
    return np.array(conditions), np.array(days)


def _is_hot(day: HoldDay) -> Bools:
    cool_hot = (day.t_max_c >= HEAT_COOL_C) | (day.heat_load >= LOAD_START)
    return np.asarray(np.where(day.warm, day.t_max_c >= HEAT_WARM_C, cool_hot))


def _is_extreme(day: HoldDay) -> Bools:
    return np.asarray(day.t_max_c >= np.where(day.warm, EXTREME_WARM_C, EXTREME_COOL_C))


def as_mask(active: Bools) -> Floats:
    """Fold holds of shape (hold, stand) into one number a stand, bit 0 for the first of LASTING."""
    bits = 2.0 ** np.arange(len(LASTING))
    return np.asarray(bits @ active.astype(np.float64))


def in_mask(mask: float) -> tuple[HoldReason, ...]:
    """Unfold a number made by ``as_mask``, the most serious first."""
    return tuple(reason for bit, reason in enumerate(LASTING) if int(mask) >> bit & 1)


def told_in(mask: float) -> tuple[HoldReason, ...]:
    """Return those holds of a mask whose start and end are told."""
    return tuple(reason for reason in in_mask(mask) if reason in TOLD)
