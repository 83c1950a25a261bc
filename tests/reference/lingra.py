"""LINGRA, a published growth model of ryegrass, run on the trials as a yardstick; a test tool only.

The program is the package pcse; its parameters for northern ryegrass are those of B. A. M. Bouman,
A. H. C. M. Schapendonk, W. Stol, D. W. G. van Kraalingen, "Description of the grassland growth model
LINGRA as implemented in CGMS", AB-DLO, 1996, as in the trial files of the package's authors. Plots are cut
back every four weeks, as the trials were.
"""

from datetime import date, timedelta
from functools import cache

import numpy as np

from mowalert.domain.arrays import Floats

LEFT_KG_HA = 320.0
CUT_EVERY_DAYS = 28
CUTTING_MONTHS = range(4, 11)
FIRST_CUTS = (8, 22)
"""Days of April: two plots cut by turns, as the trials' readings come from plots cut by turns."""
ELEVATION_M = 50.0
PARAMETERS = {
    "CFET": 1.0,
    "CO2A": 360.0,
    "CRAIRC": 0.06,
    "DEPNR": 3.0,
    "IAIRDU": 0,
    "IOX": 0,
    "KDIFTB": [0.0, 0.6, 2.0, 0.6],
    "KSUB": 1.47,
    "LAIafterHarvest": 0.8,
    "LAIcrit": 4.0,
    "LAIinit": 0.1,
    "LUEmax": 3.0,
    "LUEreductionRadiationTB": [0.0, 1.0, 10.0, 1.0, 40.0, 0.33],
    "LUEreductionSoilTempTB": [-20.0, 0.0, 3.0, 0.0, 8.0, 1.0, 40.0, 1.0],
    "PartitioningRootsTB": [-10.0, 0.263, 0.0, 0.263, 1.0, 0.165],
    "RDI": 10.0,
    "RDMCR": 40.0,
    "RDMSOL": 40.0,
    "RDRbase": 0.01,
    "RDRdrought": 0.05,
    "RDRshading": 0.03,
    "RRI": 1.2,
    "SLA": 0.0025,
    "SM0": 0.41,
    "SMFCF": 0.3,
    "SMW": 0.104,
    "SOPE": 1.47,
    "SiteFillingMax": 0.693,
    "TSUMmax": 600.0,
    "TempBase": 3.0,
    "TemperatureSoilinit": 5.0,
    "TillerFormRateA0": 0.335,
    "TillerFormRateA8": 0.867,
    "TillerFormRateB0": 0.067,
    "TillerFormRateB8": 0.183,
    "TillerNumberinit": 7000.0,
    "WeightREinit": 200.0,
    "WeightRTinit": 4.0,
}
SITE = {"WAV": 20.0, "NOTINF": 0.0, "SMLIM": 0.3, "SSI": 0.0, "SSMAX": 0.0, "IFUNRN": 0}
"""Soil starts moist and lets all rain in, as for a trial on level ground."""


def grown_kg_ha(
    weather: dict[str, Floats], first_on: date, *, latitude_deg: float, year: int, watered: bool
) -> Floats:
    """Dry matter grown since 1 January, by day of the year, cut mass included. [kg/ha]"""
    from pcse.base import ParameterProvider
    from pcse.models import LINGRA_PP, LINGRA_WLP_FD

    provider = _provider(weather, first_on, latitude_deg)
    parameters = ParameterProvider(sitedata=SITE, soildata={}, cropdata=PARAMETERS)
    plots = []
    for first_cut in FIRST_CUTS:
        model = (LINGRA_PP if watered else LINGRA_WLP_FD)(parameters, provider, _calendar(year, first_cut))
        model.run_till_terminate()
        grown = [row["WeightABG"] for row in model.get_output()]
        # On the last day the crop is taken away; what it had grown stays.
        plots.append([value or 0.0 for value in grown[:-1]] + [grown[-2]])
    return np.asarray(np.mean(plots, axis=0))


def _provider(weather: dict[str, Floats], first_on: date, latitude_deg: float):  # type: ignore[no-untyped-def]
    from pcse.base import WeatherDataContainer, WeatherDataProvider

    provider = WeatherDataProvider()
    provider.latitude, provider.longitude, provider.elevation = latitude_deg, 0.0, ELEVATION_M
    for index in range(len(weather["t_min_c"])):
        on = first_on + timedelta(days=index)
        et0_cm = float(weather["et0_mm"][index]) / 10
        day = WeatherDataContainer(
            LAT=latitude_deg,
            LON=0.0,
            ELEV=ELEVATION_M,
            DAY=on,
            IRRAD=float(weather["radiation_mj_m2"][index]) * 1e6,
            TMIN=float(weather["t_min_c"][index]),
            TMAX=float(weather["t_max_c"][index]),
            VAP=float(weather["vapour_pressure_kpa"][index]) * 10,
            WIND=float(weather["wind_2m_ms"][index]),
            RAIN=float(weather["rain_mm"][index]) / 10,
            # Open water and bare soil: usual shares of the grass reference.
            E0=et0_cm * 1.1,
            ES0=et0_cm * 0.95,
            ET0=et0_cm,
        )
        provider._store_WeatherDataContainer(day, on)
    return provider


@cache
def _calendar(year: int, first_cut: int):  # type: ignore[no-untyped-def]
    cuts = [date(year, CUTTING_MONTHS[0], first_cut)]
    while (cuts[-1] + timedelta(days=CUT_EVERY_DAYS)).month in CUTTING_MONTHS:
        cuts.append(cuts[-1] + timedelta(days=CUT_EVERY_DAYS))
    return [
        {
            date(year, 1, 1): {
                "CropCalendar": {
                    "crop_name": "rye_grass",
                    "variety_name": "northern",
                    "crop_start_date": date(year, 1, 1),
                    "crop_start_type": "sowing",
                    "crop_end_date": date(year, 12, 30),
                    "crop_end_type": "harvest",
                    "max_duration": 1000,
                },
                "StateEvents": None,
                "TimedEvents": [
                    {
                        "event_signal": "mowing",
                        "name": "cut",
                        "comment": "",
                        "events_table": [{on: {"biomass_remaining": LEFT_KG_HA}} for on in cuts],
                    }
                ],
            }
        },
        {date(year, 12, 31): None},
    ]
