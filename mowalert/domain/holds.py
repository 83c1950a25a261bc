"""Reasons not to mow now that come from the turf: when each starts, and when it ends.

Every rule is a pair of day conditions with the number of days they must last. All stands are
judged at once; what a day leaves behind is a ``HoldState``.

Rain in the mowing hours and a frosty morning that thaws shift the hour or the day; they are
judged where a day is chosen (``chances``), never told by themselves.
"""

from collections.abc import Iterable, Iterator
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
HEAT = LASTING.index(HoldReason.HEAT)
MOST_DAYS = 30
TOLD = LASTING[:5]
"""Those whose start and end are told; a frozen day only shifts the day."""


@dataclass(frozen=True, slots=True)
class HoldDays:
    """What the rules look at, each of shape (day, stand), or (stand,) where it is the stand's own.

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


def hold_states(state: HoldState, days: HoldDays, *, first_ordinal: int) -> Iterator[HoldState]:
    """Judge day after day: which holds start, go on or end.

    Parameters
    ----------
    state : HoldState
        Holds and counts of the evening before, shape (hold, stand).
    days : HoldDays
        What the rules look at, shape (day, stand).
    first_ordinal : int
        Ordinal of the first day; a hold keeps that of the day it begins.

    Yields
    ------
    HoldState
        Each evening's, same shape.
    """
    starts, days_to_start = _starts(days)
    ends, days_to_end = _ends(days)
    wet_again = _wet_again(days)
    for index in range(len(starts)):
        # Counts need not grow past what any rule asks for.
        starting = np.minimum((state.starting + 1) * starts[index], MOST_DAYS)
        ending = np.minimum((state.ending + 1) * ends[index], MOST_DAYS)
        begun = ~state.active & (starting >= days_to_start)
        over = ending >= days_to_end
        # Wet soil ends the heat hold at once; without it two easier days are needed.
        over[HEAT] |= wet_again[index]
        active = (state.active & ~over) | begun
        since = np.where(begun, float(first_ordinal + index), state.since * active)
        state = HoldState(active, starting, ending, since)
        yield state


def _starts(days: HoldDays) -> tuple[Bools, Floats]:
    """Whether each day speaks for each hold, shape (day, hold, stand), and how many of them it takes."""
    ks = days.water_stress
    conditions = (
        ks < PARCHED,
        ks < WILTING,
        (_is_hot(days) & (ks < DRY_FOR_HEAT)) | _is_extreme(days),
        days.mean_10_days_c < np.where(days.warm, COLD_WARM_C, COLD_COOL_C),
        (days.rain_48_h_mm >= SOAKING_MM) & (days.soil_room_mm <= FULL_MM),
        (days.t_min_c <= NO_FROST_C) & (days.t_max_c <= THAW_C),
    )
    return np.stack(conditions, axis=1), _a_row_each(days.dormant_after_d, 2.0, 1.0, 1.0, 1.0, 1.0)


def _ends(days: HoldDays) -> tuple[Bools, Floats]:
    """Whether each day speaks against each hold, shape (day, hold, stand), and how many of them it takes."""
    ks = days.water_stress
    cold_c = np.where(days.warm, COLD_WARM_C, COLD_COOL_C)
    eased = (days.t_max_c < np.where(days.warm, EASED_WARM_C, EASED_COOL_C)) & (days.heat_load < LOAD_END)
    conditions = (
        (ks >= GREENING) & (days.growth_mm >= GROWS_AGAIN_MM_D),
        ks >= RECOVERED,
        eased,
        days.mean_10_days_c >= cold_c + COLD_MARGIN_C,
        (days.rain_48_h_mm < SOAKING_MM) | (days.soil_room_mm > FULL_MM),
        (days.t_min_c > NO_FROST_C) | (days.t_max_c > THAW_C),
    )
    return np.stack(conditions, axis=1), _a_row_each(3.0, 1.0, 2.0, 5.0, np.where(days.clay, 2.0, 1.0), 1.0)


def _a_row_each(*days: Floats | float) -> Floats:
    """Days a hold takes, shape (hold, stand), from numbers that hold for all stands or one for each."""
    return np.stack(np.broadcast_arrays(*days))


def _wet_again(days: HoldDays) -> Bools:
    return (days.water_stress >= WET_AGAIN) & ~_is_extreme(days)


def _is_hot(days: HoldDays) -> Bools:
    cool_hot = (days.t_max_c >= HEAT_COOL_C) | (days.heat_load >= LOAD_START)
    return np.asarray(np.where(days.warm, days.t_max_c >= HEAT_WARM_C, cool_hot))


def _is_extreme(days: HoldDays) -> Bools:
    return np.asarray(days.t_max_c >= np.where(days.warm, EXTREME_WARM_C, EXTREME_COOL_C))


def as_mask(active: Bools) -> Floats:
    """Fold holds of shape (…, hold, stand) into one number a stand, bit 0 for the first of LASTING."""
    bits = np.float32(2.0) ** np.arange(len(LASTING), dtype=np.float32)
    return np.asarray(bits @ active.astype(np.float32), dtype=np.float64)


def in_mask(mask: float) -> tuple[HoldReason, ...]:
    """Unfold a number made by ``as_mask``, the most serious first."""
    return tuple(reason for bit, reason in enumerate(LASTING) if int(mask) >> bit & 1)


def without(masks: Floats, reasons: Iterable[HoldReason]) -> Floats:
    """Take holds out of numbers made by ``as_mask``, for turf of a class that ignores them."""
    ignored = sum(1 << LASTING.index(reason) for reason in reasons if reason in LASTING)
    return np.asarray(masks.astype(np.int64) & ~ignored, dtype=np.float64)


def told_in(mask: float) -> tuple[HoldReason, ...]:
    """Return those holds of a mask whose start and end are told."""
    return tuple(reason for reason in in_mask(mask) if reason in TOLD)
