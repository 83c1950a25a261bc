"""The growth law: what a day of weather adds to a stand, and what that makes of a lawn's height.

A stand is everything about lawns that makes them grow alike. Its growth in a day is a product::

    growth = g50 * temperature factor * light * water stress * spring flush

in mm for a fully fed lawn kept at 50 mm. Summed over days it is the stand's curve ``G``. A lawn
follows the curve at a pace ``k`` of its own and slows down as it nears its ceiling::

    dH/dG = k (1 - (H/ceiling)²)    so    H = ceiling tanh(atanh(H0/ceiling) + k (G - G0)/ceiling)

so that a lawn is due when ``G`` passes a number that is known when it is cut.
"""

import numpy as np

from mowalert.domain.arrays import Floats

CROWN_KEEPS = 0.8
"""Share of yesterday's temperature that the crown keeps: the top of the soil follows the air with some
five days' delay. Working value; with a delay ryegrass trials fit better, a meadow's a little worse."""
FLUSH = 2.2
"""Spring flush of cool-season grass; working value, see ``flush_factor``."""
FLUSH_WARMTH_C_D = (300.0, 600.0, 700.0, 1700.0)
"""Degree-days above 0 °C since the winter solstice's new year: rise, full, full, fallen."""
LONG_DAY_H = (12.0, 13.5)
"""Daylight at which the flush may begin, and is full."""
HEIGHT_POWER = 0.35
"""How growth follows the height a lawn is kept at; rests on intervals between 12 and 100 mm."""
FEED_FLOOR = 0.45
FEED_CEILING = 1.25
KEPT_BELOW_CEILING = 0.9
"""A height this share of the ceiling is never reached in practice."""


def temperature_growth_factor(t_mean_c: Floats, *, base_c: Floats, opt_c: Floats, max_c: Floats) -> Floats:
    """Share of its best growth a grass reaches at a mean temperature.

    Parameters
    ----------
    t_mean_c : Floats
        Mean air temperature of the day, any shape. [°C]
    base_c : Floats
        Temperature at or below which nothing grows. [°C]
    opt_c : Floats
        Temperature of fastest growth. [°C]
    max_c : Floats
        Temperature at or above which nothing grows. [°C]

    Returns
    -------
    Floats
        Same shape, 0 to 1. [-]

    References
    ----------
    .. [1] W. Yan, L. A. Hunt, "An equation for modelling the temperature response of plants
       using only the cardinal temperatures", Annals of Botany 84, 1999.
       doi:10.1006/anbo.1999.0955
    """
    t_c = np.clip(t_mean_c, base_c, max_c)
    shape = (opt_c - base_c) / (max_c - opt_c)
    rise = (t_c - base_c) / (opt_c - base_c)
    return np.asarray((max_c - t_c) / (max_c - opt_c) * rise**shape)


def effective_degree_days(t_mean_c: Floats, *, base_c: Floats, opt_c: Floats, max_c: Floats) -> Floats:
    """Degree-days weighted by how the grass uses the warmth: plain ones at the optimum only.

    Parameters
    ----------
    t_mean_c : Floats
        Mean air temperature of the day, any shape. [°C]
    base_c : Floats
        Temperature at or below which nothing grows. [°C]
    opt_c : Floats
        Temperature of fastest growth. [°C]
    max_c : Floats
        Temperature at or above which nothing grows. [°C]

    Returns
    -------
    Floats
        Same shape. [°C d]
    """
    factor = temperature_growth_factor(t_mean_c, base_c=base_c, opt_c=opt_c, max_c=max_c)
    return np.asarray((opt_c - base_c) * factor)


def light_factor(radiation_mj_m2: Floats, *, sun_share: Floats, full_light_mj_m2: Floats) -> Floats:
    """Share of growth that the day's light allows, 0 to 1; ``sun_share`` is what reaches the turf."""
    return np.asarray(np.clip(sun_share * radiation_mj_m2 / full_light_mj_m2, 0.0, 1.0))


def flush_factor(warmth_c_d: Floats, *, daylight_h: Floats, cool: Floats) -> Floats:
    """Spring flush of cool-season grass by the year's warmth so far, the day itself included.

    Parameters
    ----------
    warmth_c_d : Floats
        Degree-days above 0 °C since 1 January, or 1 July south of the equator. [°C d]
    daylight_h : Floats
        Hours of daylight. [h]
    cool : Floats
        1 for cool-season grass, 0 for warm-season grass. [-]

    Returns
    -------
    Floats
        1 to 2.2. [-] It rises and falls so that growth does not jump; however mild the winter, it
        waits for long days.

    References
    ----------
    .. [1] Working value: it fits cutting trials of ryegrass and of a meadow, in odd and in even years
       (tests/reference/HINDCAST.md). That leaves lengthen faster in spring at one temperature:
       J. M. Peacock, J. Appl. Ecol. 13, 1976; H. Thomas, I. B. Norris, Grass and Forage Science 33,
       1978. That ryegrass needs days of 12 to 13.5 hours to shoot: O. M. Heide, New Phytologist 128,
       1994 (from memory).
    """
    rise = np.interp(warmth_c_d, FLUSH_WARMTH_C_D, (0.0, 1.0, 1.0, 0.0))
    long_day = np.interp(daylight_h, LONG_DAY_H, (0.0, 1.0))
    return np.asarray(1.0 + (FLUSH - 1.0) * rise * long_day * cool)


def feed_factor(nitrogen: float | None, full_feed_n: float) -> float:
    """Growth of a lawn by its yearly nitrogen, both in lb/1000 ft²; unknown means fully fed."""
    if nitrogen is None:
        return 1.0
    share = FEED_FLOOR + (1.0 - FEED_FLOOR) * nitrogen / full_feed_n
    return min(max(share, FEED_FLOOR), FEED_CEILING)


def lawn_pace(chosen_mm: float, *, feed: float = 1.0, learned: float = 1.0, regulator: float = 1.0) -> float:
    """``k``: mm a lawn grows while its stand's curve grows one, far below its ceiling."""
    return float((chosen_mm / 50.0) ** HEIGHT_POWER * feed * learned * regulator)


def height_mm(
    grown_mm: Floats | float,
    *,
    from_height_mm: Floats | float,
    pace: Floats | float,
    ceiling_mm: Floats | float,
) -> Floats:
    """Height of a lawn after its stand's curve has grown.

    Parameters
    ----------
    grown_mm : Floats | float
        Growth of the stand's curve since the anchor, any shape. [mm]
    from_height_mm : Floats | float
        Height at the anchor, below the ceiling. [mm]
    pace : Floats | float
        The lawn's ``k``. [-]
    ceiling_mm : Floats | float
        Height at which the uncut grass stops. [mm]

    Returns
    -------
    Floats
        Same shape. [mm]
    """
    start = np.arctanh(np.minimum(from_height_mm / ceiling_mm, 1.0 - 1e-12))
    return np.asarray(ceiling_mm * np.tanh(start + pace * grown_mm / ceiling_mm))


def growth_to_reach_mm(
    to_height_mm: float, *, from_height_mm: float, pace: float, ceiling_mm: float
) -> float | None:
    """Growth of the stand's curve that brings a lawn to a height; the inverse of ``height_mm``.

    Parameters
    ----------
    to_height_mm : float
        Height asked for. [mm]
    from_height_mm : float
        Height at the anchor. [mm]
    pace : float
        The lawn's ``k``. [-]
    ceiling_mm : float
        Height at which the uncut grass stops. [mm]

    Returns
    -------
    float | None
        Growth, negative if the lawn is higher already; none where the height is so near the
        ceiling that it is never reached. [mm]
    """
    if to_height_mm >= KEPT_BELOW_CEILING * ceiling_mm:
        return None
    start = np.arctanh(min(from_height_mm / ceiling_mm, 1.0 - 1e-12))
    return float(ceiling_mm / pace * (np.arctanh(to_height_mm / ceiling_mm) - start))
