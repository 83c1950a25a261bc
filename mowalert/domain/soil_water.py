"""The water a stand's roots can reach, day by day, by FAO-56 chapter 8, eq. 80-88.

The order of a day: watering in the morning; stress from yesterday evening's depletion; what the
grass takes; rain; what drains.
"""

from dataclasses import dataclass

import numpy as np

from mowalert.domain.arrays import Bools, Floats

SHALLOW_REACH, DEEP_REACH = 5.0, 7.5
"""Depth that water is taken from, over the depth most roots reach; working values."""
LEAST_P, MOST_P = 0.1, 0.8
UNCOUNTED_RAIN = 0.2
"""Rain below this share of the day's ET0 wets only leaves."""


@dataclass(frozen=True, slots=True)
class WaterDay:
    """One day's water, each of shape (stand,); ``ks`` is the stress the day was lived under."""

    ks: Floats
    eta_mm: Floats
    irrigation_mm: Floats
    drainage_mm: Floats
    depletion_mm: Floats


def rooting_mm(height_mm: Floats | float) -> Floats:
    """Depth most roots reach at a mowing height; through 4 in at 2 in and 1.5 in at 0.1 in. [mm]"""
    return np.asarray(28.08 * np.asarray(height_mm, dtype=np.float64) ** 0.3274)


def root_depth_mm(height_mm: Floats | float, *, deep: bool) -> Floats:
    """Depth that water is taken from at a mowing height. [mm]"""
    return np.asarray((DEEP_REACH if deep else SHALLOW_REACH) * rooting_mm(height_mm))


def total_available_water_mm(root_mm: Floats, available_m3_m3: Floats) -> Floats:
    """Water between field capacity and wilting point within reach of the roots, eq. 82. [mm]"""
    return np.asarray(root_mm * available_m3_m3)


def depletion_fraction(p_table: Floats, etc_mm: Floats) -> Floats:
    """Share of the water taken before stress begins, for the day's demand; table 22, note 2."""
    return np.asarray(np.clip(p_table + 0.04 * (5.0 - etc_mm), LEAST_P, MOST_P))


def water_stress(depletion_mm: Floats, taw_mm: Floats, p: Floats) -> Floats:
    """``Ks``: 1 without stress, 0 when nothing is left, eq. 84."""
    return np.asarray(np.clip((taw_mm - depletion_mm) / ((1.0 - p) * taw_mm), 0.0, 1.0))


def water_day(
    depletion_start_mm: Floats,
    *,
    et0_mm: Floats,
    rain_mm: Floats,
    taw_mm: Floats,
    kc: Floats,
    p_table: Floats,
    watered: Bools,
) -> WaterDay:
    """Carry the soil through one day.

    Parameters
    ----------
    depletion_start_mm : Floats
        Depletion yesterday evening, shape (stand,). [mm]
    et0_mm : Floats
        The day's reference evapotranspiration. [mm]
    rain_mm : Floats
        The day's rain. [mm]
    taw_mm : Floats
        Water within reach of the roots when full. [mm]
    kc : Floats
        Crop coefficient. [-]
    p_table : Floats
        Share taken before stress at a demand of 5 mm/d. [-]
    watered : Bools
        Whether the stand is watered when it has used what is readily available.

    Returns
    -------
    WaterDay
        Each of shape (stand,). Depletion end minus start is what the grass took, minus rain that
        counts, minus irrigation, plus drainage.
    """
    etc_mm = kc * et0_mm
    p = depletion_fraction(p_table, etc_mm)
    thirsty = watered & (depletion_start_mm > p * taw_mm)
    irrigation_mm = np.where(thirsty, depletion_start_mm, 0.0)
    morning_mm = depletion_start_mm - irrigation_mm
    ks = water_stress(morning_mm, taw_mm, p)
    eta_mm = np.minimum(ks * etc_mm, np.maximum(taw_mm - morning_mm, 0.0))
    counted_mm = np.where(rain_mm < UNCOUNTED_RAIN * et0_mm, 0.0, rain_mm)
    balance_mm = morning_mm + eta_mm - counted_mm
    return WaterDay(
        ks=ks,
        eta_mm=np.asarray(eta_mm),
        irrigation_mm=np.asarray(irrigation_mm),
        drainage_mm=np.maximum(-balance_mm, 0.0),
        depletion_mm=np.maximum(balance_mm, 0.0),
    )
