"""Real seasons played by the model: the weather of a place, and what a lawn there does."""

import csv
from collections import Counter
from dataclasses import dataclass
from datetime import date
from functools import cache
from io import StringIO
from itertools import pairwise
from pathlib import Path

from vega_datasets import data

from mowalert.domain.season import CutAt, Season
from mowalert.domain.words import Watering
from mowalert.parameters import load_turf
from mowalert.service.region.simulate import SeasonLawn, SeasonWeather, read_weather, simulate
from mowalert.settings import config_file

TURF = load_turf(config_file("grasses.toml"))


@dataclass(frozen=True)
class Station:
    """Where a series of weather comes from; degrees and metres."""

    name: str
    file: str
    latitude_deg: float
    elevation_m: float
    site: str = ""


DE_BILT = Station("De Bilt, cool humid", "debilt_knmi/daily.csv", 52.10, 2)
MILWAUKEE = Station("Milwaukee, cold continental", "ghcn_daily/milwaukee_wi.csv", 42.955, 204)
LEXINGTON = Station("Lexington, humid, hot summer", "ghcn_daily/lexington_ky.csv", 38.041, 299)
MERCED = Station("Merced, very dry summer", "ghcn_daily/merced_ca.csv", 37.285, 47)
MARICOPA = Station("Maricopa, hot desert", "arizona_maricopa/daily.csv", 33.069, 361)
FREEMAN = Station("Freeman, subtropical", "phenocam_grass/daily.csv", 29.93, 255, "freemangrass")
STATIONS = (DE_BILT, MILWAUKEE, LEXINGTON, MERCED, MARICOPA, FREEMAN)


@cache
def weather_of(fields: Path, station: Station) -> SeasonWeather:
    """Read a station's series; one site of a file that holds several."""
    text = (fields / station.file).read_text(encoding="utf-8")
    if not station.site:
        return read_weather(text)
    rows = [row for row in csv.DictReader(StringIO(text)) if row["site"] == station.site]
    out = StringIO()
    table = csv.DictWriter(out, [name for name in rows[0] if name != "site"], extrasaction="ignore")
    table.writeheader()
    table.writerows(rows)
    return read_weather(out.getvalue())


def seattle_weather() -> SeasonWeather:
    """Seattle 2012-2015, from the table that a package carries: such a run needs no other data."""
    table = data.seattle_weather()
    lines = ["date,t_min_c,t_max_c,rain_mm"]
    lines += [
        f"{row.date:%Y-%m-%d},{row.temp_min},{row.temp_max},{row.precipitation}" for row in table.itertuples()
    ]
    return read_weather("\n".join(lines))


@cache
def played(
    fields: Path,
    station: Station,
    grass: str,
    height_mm: float,
    watering: Watering = Watering.NONE,
    cut_at: CutAt = CutAt.LIMIT,
) -> Season:
    """Play every year of a station for one lawn."""
    lawn = SeasonLawn(
        TURF.grass(grass), height_mm, station.latitude_deg, station.elevation_m, watering=watering
    )
    return simulate(weather_of(fields, station), lawn, TURF, cut_at=cut_at)


def years(season: Season) -> float:
    return len(season.days) / 365.25


def cuts_a_year(season: Season) -> float:
    return len(season.mowings) / years(season)


def gaps(season: Season, months: tuple[int, ...]) -> list[int]:
    """Days between cuts, of those that begin in some months."""
    cuts = [cut.on for cut in season.mowings]
    return [(later - cut).days for cut, later in pairwise(cuts) if cut.month in months]


def by_month(season: Season) -> Counter[int]:
    return Counter(cut.on.month for cut in season.mowings)


def overgrowth(season: Season, on: date) -> bool:
    """Whether the lawn outgrew its limit in a hold shortly before a day."""
    return any(hold.start <= on and (on - hold.end).days <= 30 for hold in season.holds)
