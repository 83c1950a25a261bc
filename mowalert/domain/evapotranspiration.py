"""Reference evapotranspiration of a short grass, by FAO-56, through the refet library.

refet's ``asce`` method is FAO-56 but for the rounding of a few constants (below 0.002 mm/d); its
``refet`` method uses another declination and is not used.

Allen, R. G., Pereira, L. S., Raes, D., Smith, M. (1998). Crop evapotranspiration. FAO Irrigation
and Drainage Paper 56. Equation numbers below are the paper's.
"""

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray
from refet import calcs

from mowalert.domain.arrays import Floats

MM_PER_MJ = 0.408
STAND_IN_WIND_MS = 2.0
"""FAO-56's stand-in for a missing wind."""
INLAND_K_RS = 0.16
"""FAO-56 eq. 50, places away from a coast."""


class Et0Method(IntEnum):
    """Where a day's reference evapotranspiration comes from."""

    SOURCE = 0
    PENMAN_MONTEITH = 1
    HARGREAVES = 2


def extraterrestrial_radiation_mj_m2(latitude_deg: Floats | float, day_of_year: Floats | int) -> Floats:
    """Sunlight above the air, eq. 21-25.

    Parameters
    ----------
    latitude_deg : Floats | float
        South is negative. [°]
    day_of_year : Floats | int
        1 to 366.

    Returns
    -------
    Floats
        The shape both broadcast to, 0 in polar night. [MJ/m²/d]
    """
    ra = calcs.ra_daily(np.radians(latitude_deg), np.asarray(day_of_year, dtype=np.float64), "asce")
    return np.asarray(np.maximum(ra, 0.0))


def daylight_hours(latitude_deg: Floats | float, day_of_year: Floats | int) -> Floats:
    """Hours of daylight without refraction, eq. 34; 0 and 24 beyond the polar circles. [h]"""
    declination = calcs.declination(np.asarray(day_of_year, dtype=np.float64), "asce")
    angle = calcs.sunset_hour_angle(np.radians(latitude_deg), declination)
    return np.asarray(24 / np.pi * angle)


def clear_sky_radiation_mj_m2(ra_mj_m2: Floats | float, elevation_m: Floats | float) -> Floats:
    """Sunlight of a cloudless day, eq. 37. [MJ/m²/d]"""
    return np.asarray(calcs.rso_simple(np.asarray(ra_mj_m2), np.asarray(elevation_m)))


def radiation_from_sunshine_mj_m2(
    sunshine_h: Floats | float, *, latitude_deg: Floats | float, day_of_year: Floats | int
) -> Floats:
    """Sunlight from hours of sunshine, eq. 35 with a 0.25 and b 0.50. [MJ/m²/d]"""
    ra = extraterrestrial_radiation_mj_m2(latitude_deg, day_of_year)
    share = np.divide(sunshine_h, daylight_hours(latitude_deg, day_of_year))
    return np.asarray((0.25 + 0.5 * share) * ra)


def radiation_from_temperatures(
    t_min_c: Floats,
    t_max_c: Floats,
    *,
    latitude_deg: Floats | float,
    day_of_year: Floats | int,
    k_rs: float = INLAND_K_RS,
) -> Floats:
    """Sunlight guessed from the day's range of temperature, eq. 50. [MJ/m²/d]"""
    ra = extraterrestrial_radiation_mj_m2(latitude_deg, day_of_year)
    return _guessed_radiation(t_min_c, t_max_c, ra, k_rs)


def _guessed_radiation(t_min_c: Floats, t_max_c: Floats, ra_mj_m2: Floats, k_rs: float) -> Floats:
    return np.asarray(k_rs * np.sqrt(np.maximum(t_max_c - t_min_c, 0.0)) * ra_mj_m2)


def saturation_vapour_pressure_kpa(t_c: Floats | float) -> Floats:
    """Vapour pressure of saturated air, eq. 11; at the dew point it is the actual one, eq. 14. [kPa]"""
    # The library makes a list of one of a single number.
    return np.reshape(calcs.sat_vapor_pressure(np.asarray(t_c, dtype=np.float64)), np.shape(t_c))


def mean_saturation_vapour_pressure_kpa(t_min_c: Floats | float, t_max_c: Floats | float) -> Floats:
    """Mean of the saturated pressures at both extremes, eq. 12. [kPa]"""
    return (saturation_vapour_pressure_kpa(t_min_c) + saturation_vapour_pressure_kpa(t_max_c)) / 2


def vapour_pressure_from_extremes_kpa(
    t_min_c: Floats | float,
    t_max_c: Floats | float,
    *,
    rel_humidity_min_pct: Floats | float,
    rel_humidity_max_pct: Floats | float,
) -> Floats:
    """Actual vapour pressure from both humidity extremes, the high one at dawn, eq. 17. [kPa]"""
    dawn = saturation_vapour_pressure_kpa(t_min_c) * rel_humidity_max_pct / 100
    noon = saturation_vapour_pressure_kpa(t_max_c) * rel_humidity_min_pct / 100
    return np.asarray((dawn + noon) / 2)


def vapour_pressure_from_mean_kpa(
    t_min_c: Floats | float, t_max_c: Floats | float, *, rel_humidity_pct: Floats | float
) -> Floats:
    """Actual vapour pressure from the mean humidity, eq. 19. [kPa]"""
    return np.asarray(mean_saturation_vapour_pressure_kpa(t_min_c, t_max_c) * rel_humidity_pct / 100)


def air_pressure_kpa(elevation_m: Floats | float) -> Floats:
    """Mean air pressure at a height above the sea, eq. 7. [kPa]"""
    pressure = calcs.air_pressure(np.asarray(elevation_m, dtype=np.float64), "asce")
    return np.reshape(pressure, np.shape(elevation_m))


def psychrometric_constant_kpa_c(elevation_m: Floats | float) -> Floats:
    """Psychrometric constant, eq. 8. [kPa/°C]"""
    return np.asarray(0.000665 * air_pressure_kpa(elevation_m))


def wind_at_2m_ms(wind_ms: Floats | float, height_m: float) -> Floats:
    """Wind brought down to 2 m, eq. 47. [m/s]"""
    return np.asarray(calcs.wind_height_adjust(np.asarray(wind_ms, dtype=np.float64), height_m))


def net_longwave_mj_m2(
    t_min_c: Floats | float,
    t_max_c: Floats | float,
    *,
    vapour_pressure_kpa: Floats | float,
    radiation_mj_m2: Floats | float,
    clear_sky_mj_m2: Floats | float,
) -> Floats:
    """Net outgoing longwave radiation, eq. 39. [MJ/m²/d]"""
    cloud = calcs.fcd_daily(np.asarray(radiation_mj_m2), np.asarray(clear_sky_mj_m2))
    rnl = calcs.rnl_daily(np.asarray(t_max_c), np.asarray(t_min_c), np.asarray(vapour_pressure_kpa), cloud)
    inputs = (t_min_c, t_max_c, vapour_pressure_kpa, radiation_mj_m2, clear_sky_mj_m2)
    return np.reshape(rnl, np.broadcast_shapes(*(np.shape(values) for values in inputs)))


def net_radiation_mj_m2(radiation_mj_m2: Floats | float, net_longwave: Floats | float) -> Floats:
    """Net radiation of grass, albedo 0.23, eq. 38 and 40. [MJ/m²/d]"""
    return np.asarray(calcs.rn_daily(np.asarray(radiation_mj_m2), np.asarray(net_longwave)))


def et0_penman_monteith(
    t_min_c: Floats,
    t_max_c: Floats,
    *,
    radiation_mj_m2: Floats,
    wind_2m_ms: Floats | float,
    vapour_pressure_kpa: Floats | float,
    latitude_deg: Floats | float,
    elevation_m: Floats | float,
    day_of_year: Floats | int,
    soil_heat_mj_m2: float = 0.0,
) -> Floats:
    """Reference evapotranspiration by FAO-56 Penman-Monteith, eq. 6.

    Parameters
    ----------
    t_min_c : Floats
        Lowest air temperature of the day, any shape. [°C]
    t_max_c : Floats
        Highest. [°C]
    radiation_mj_m2 : Floats
        Global radiation. [MJ/m²/d]
    wind_2m_ms : Floats | float
        Mean wind at 2 m. [m/s]
    vapour_pressure_kpa : Floats | float
        Actual vapour pressure. [kPa]
    latitude_deg : Floats | float
        South is negative. [°]
    elevation_m : Floats | float
        Above the sea. [m]
    day_of_year : Floats | int
        1 to 366.
    soil_heat_mj_m2 : float
        Heat going into the soil; nothing over a day. [MJ/m²/d]

    Returns
    -------
    Floats
        Never negative. [mm/d]
    """
    return _penman_monteith(
        t_min_c,
        t_max_c,
        radiation_mj_m2=radiation_mj_m2,
        wind_2m_ms=wind_2m_ms,
        vapour_pressure_kpa=vapour_pressure_kpa,
        ra_mj_m2=extraterrestrial_radiation_mj_m2(latitude_deg, day_of_year),
        elevation_m=elevation_m,
        soil_heat_mj_m2=soil_heat_mj_m2,
    )


def _penman_monteith(
    t_min_c: Floats,
    t_max_c: Floats,
    *,
    radiation_mj_m2: Floats,
    wind_2m_ms: Floats | float,
    vapour_pressure_kpa: Floats | float,
    ra_mj_m2: Floats,
    elevation_m: Floats | float,
    soil_heat_mj_m2: float = 0.0,
) -> Floats:
    longwave = net_longwave_mj_m2(
        t_min_c,
        t_max_c,
        vapour_pressure_kpa=vapour_pressure_kpa,
        radiation_mj_m2=radiation_mj_m2,
        # Polar night has no clear sky to compare with; a trace keeps the ratio defined.
        clear_sky_mj_m2=np.maximum(clear_sky_radiation_mj_m2(ra_mj_m2, elevation_m), 1e-6),
    )
    mean_c = (np.asarray(t_min_c) + t_max_c) / 2
    deficit = calcs.vpd(mean_saturation_vapour_pressure_kpa(t_min_c, t_max_c), vapour_pressure_kpa)
    et0 = calcs.etsz(
        rn=net_radiation_mj_m2(radiation_mj_m2, longwave),
        g=soil_heat_mj_m2,
        tmean=mean_c,
        u2=np.asarray(wind_2m_ms),
        vpd=deficit,
        es_slope=calcs.es_slope(mean_c, "asce"),
        psy=psychrometric_constant_kpa_c(elevation_m),
        cn=900,
        cd=0.34,
    )
    return np.asarray(np.maximum(et0, 0.0))


def et0_hargreaves(
    t_min_c: Floats, t_max_c: Floats, *, latitude_deg: Floats | float, day_of_year: Floats | int
) -> Floats:
    """Reference evapotranspiration where temperatures are all there is, Hargreaves-Samani, eq. 52.

    It runs 8-17 % high in humid climates, so it never serves to tune anything. [mm/d]
    """
    ra = extraterrestrial_radiation_mj_m2(latitude_deg, day_of_year)
    return _hargreaves(t_min_c, t_max_c, ra)


def _hargreaves(t_min_c: Floats, t_max_c: Floats, ra_mj_m2: Floats) -> Floats:
    mean_c = (np.asarray(t_min_c) + t_max_c) / 2
    span = np.sqrt(np.maximum(np.asarray(t_max_c) - t_min_c, 0.0))
    return np.asarray(np.maximum(0.0023 * (mean_c + 17.8) * span * ra_mj_m2 * MM_PER_MJ, 0.0))


def best_et0(
    t_min_c: Floats,
    t_max_c: Floats,
    *,
    et0_mm: Floats,
    radiation_mj_m2: Floats,
    wind_2m_ms: Floats,
    t_dew_c: Floats,
    latitude_deg: Floats,
    elevation_m: Floats,
    day_of_year: Floats,
) -> tuple[Floats, NDArray[np.int8]]:
    """Reference evapotranspiration by the best method each day allows.

    Parameters
    ----------
    t_min_c : Floats
        Lowest air temperature of the day, shape (day, stand). [°C]
    t_max_c : Floats
        Highest, same shape. [°C]
    et0_mm : Floats
        What the weather source gives itself; ``nan`` where it gives nothing. [mm/d]
    radiation_mj_m2 : Floats
        Global radiation or ``nan``. [MJ/m²/d]
    wind_2m_ms : Floats
        Wind at 2 m or ``nan``, then 2 m/s stands in. [m/s]
    t_dew_c : Floats
        Dew point or ``nan``, then the lowest temperature stands in. [°C]
    latitude_deg : Floats
        Shape (stand,). [°]
    elevation_m : Floats
        Shape (stand,). [m]
    day_of_year : Floats
        Shape (day, 1).

    Returns
    -------
    tuple[Floats, NDArray[np.int8]]
        Evapotranspiration of shape (day, stand) [mm/d], and the ``Et0Method`` of each day.
    """
    given = ~np.isnan(et0_mm)
    if given.all():
        return np.maximum(et0_mm, 0.0), np.full(et0_mm.shape, Et0Method.SOURCE, np.int8)
    ra_mj_m2 = extraterrestrial_radiation_mj_m2(latitude_deg, day_of_year)
    dew_c = np.where(np.isnan(t_dew_c), t_min_c, np.minimum(t_dew_c, (t_min_c + t_max_c) / 2))
    light = radiation_mj_m2
    # Where humidity or wind is known, only the missing light is guessed: eq. 50.
    dark = np.isnan(light) & (~np.isnan(t_dew_c) | ~np.isnan(wind_2m_ms))
    if dark.any():
        light = np.where(dark, _guessed_radiation(t_min_c, t_max_c, ra_mj_m2, INLAND_K_RS), light)
    penman = _penman_monteith(
        t_min_c,
        t_max_c,
        radiation_mj_m2=light,
        wind_2m_ms=np.where(np.isnan(wind_2m_ms), STAND_IN_WIND_MS, wind_2m_ms),
        vapour_pressure_kpa=saturation_vapour_pressure_kpa(dew_c),
        ra_mj_m2=ra_mj_m2,
        elevation_m=elevation_m,
    )
    best = np.where(given, et0_mm, penman)
    method = np.where(given, np.int8(Et0Method.SOURCE), np.int8(Et0Method.PENMAN_MONTEITH))
    unknown = np.isnan(best)
    if unknown.any():
        best = np.where(unknown, _hargreaves(t_min_c, t_max_c, ra_mj_m2), best)
        method = np.where(unknown, np.int8(Et0Method.HARGREAVES), method)
    return np.maximum(best, 0.0), method
