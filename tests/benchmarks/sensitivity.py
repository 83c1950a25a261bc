"""How many days the median interval of a real season moves when a parameter moves by a tenth.

    python tests/benchmarks/sensitivity.py     a table for mowalert/domain/README.md

Lexington, Kentucky, 2010 to 2019: Kentucky bluegrass kept at 65 mm, without watering, cut at the limit.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "reference"))

import seasons as sn

from mowalert.domain import growth, stand
from mowalert.domain.grasses import Turf
from mowalert.domain.season import CutAt
from mowalert.service.region.simulate import SeasonLawn, simulate

FIELDS = Path("../shared/data/fields")
LAWN = SeasonLawn(sn.TURF.grasses["kentucky_bluegrass"], 65.0, 38.04, 299.0)
BY_GRASS = ("g50_mm_d", "base_c", "opt_c", "max_c", "ceiling_mm", "kc", "depletion_p", "full_light_mj_m2")


def interval(lawn: SeasonLawn, turf: Turf) -> tuple[float, float]:
    """Mean days between cuts from April to November, and cuts a year."""
    season = simulate(sn.weather_of(FIELDS, sn.LEXINGTON), lawn, turf, cut_at=CutAt.LIMIT)
    return float(np.mean(sn.gaps(season, (4, 5, 6, 7, 8, 9, 10, 11)))), sn.cuts_a_year(season)


def main() -> None:
    """Print the table."""
    usual, cuts = interval(LAWN, sn.TURF)
    print(
        f"mean interval {usual:.1f} d, {cuts:.1f} cuts a year\n\n| parameter + 10 % | days | cuts a year |\n|---|---|---|"
    )
    for name in BY_GRASS:
        grass = replace(LAWN.grass, **{name: getattr(LAWN.grass, name) * 1.1})
        turf = replace(sn.TURF, grasses=sn.TURF.grasses | {grass.grass_id: grass})
        _line(name, interval(replace(LAWN, grass=grass), turf), usual, cuts)
    soils = {name: held * 1.1 for name, held in sn.TURF.soils_m3_m3.items()}
    _line("soil water", interval(LAWN, replace(sn.TURF, soils_m3_m3=soils)), usual, cuts)
    for module, name in ((growth, "FLUSH"), (growth, "HEIGHT_POWER"), (stand, "CROWN_KEEPS")):
        before = getattr(module, name)
        setattr(module, name, before * 1.1)
        _line(name, interval(LAWN, sn.TURF), usual, cuts)
        setattr(module, name, before)


def _line(name: str, found: tuple[float, float], usual: float, cuts: float) -> None:
    print(f"| {name} | {found[0] - usual:+.2f} | {found[1] - cuts:+.1f} |")


if __name__ == "__main__":
    main()
