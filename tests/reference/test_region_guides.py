"""The example guides agree with what extension services print, where those agree with each other.

For each grass the heights that the most tables print in common are looked for; our heights for lawns must
share some of them in at least one season. Tables that print others are named here, so that nobody takes the
agreement for more than it is. Rows ``heights.*`` of the outside values; second-hand ones count, as printed
tables do.
"""

from collections.abc import Mapping
from typing import Any

import pytest
from builders import TURF

from mowalert.domain.guides import Guide
from mowalert.domain.units import mm_from_inches
from mowalert.service.region.guide_text import read_guide
from mowalert.settings import config_file

NAMES = {
    "kentucky_bluegrass": ("Kentucky bluegrass",),
    "perennial_ryegrass": ("perennial ryegrass",),
    "tall_fescue": ("tall fescue", "tall fescue, turf type"),
    "fine_fescue": ("fine fescue", "red fescue", "creeping red fescue"),
    "bermudagrass": ("bermudagrass", "seeded bermudagrass", "common bermudagrass"),
    "zoysiagrass": ("zoysiagrass",),
    "st_augustinegrass": ("St. Augustinegrass", "St. Augustinegrass, standard"),
    "centipedegrass": ("centipedegrass",),
    "buffalograss": ("buffalograss",),
}
ELSEWHERE = {
    # tables that leave the common heights out, by grass
    "kentucky_bluegrass": set(),
    "perennial_ryegrass": set(),
    "tall_fescue": {"heights.mobot"},  # a botanical garden: one height, 3.5 in
    "fine_fescue": set(),
    "bermudagrass": set(),
    "zoysiagrass": {"heights.uf_clay", "heights.uf_leon"},  # northern Florida keeps it at 2 to 2.5 in
    "st_augustinegrass": {"heights.nc", "heights.uc"},  # lower in North Carolina and California
    "centipedegrass": {"heights.nc"},  # 1 in, central North Carolina
    "buffalograss": set(),
}
ROUNDED_MM = 0.5
GUIDES = ("quillmere", "sandrel_coast")


def published(rows: Mapping[str, Any], grass: str) -> dict[str, tuple[float, float]]:
    """Ranges in inches by table."""
    return {
        check_id: tuple(row["expected"][name])
        for check_id, row in rows.items()
        if check_id.startswith("heights.")
        for name in NAMES[grass]
        if name in row["expected"]
    }


def common(ranges: Mapping[str, tuple[float, float]]) -> tuple[float, float]:
    """The heights that the most tables print."""
    edges = sorted({edge for span in ranges.values() for edge in span})

    def tables(inches: float) -> int:
        return sum(low <= inches <= high for low, high in ranges.values())

    most = max(tables(edge) for edge in edges)
    shared = [edge for edge in edges if tables(edge) == most]
    return shared[0], shared[-1]


def ours(grass: str) -> list[tuple[float, float]]:
    guides = [_guide(name) for name in GUIDES]
    return [
        (row.low_mm, row.high_mm)
        for guide in guides
        for row in guide.heights
        if row.grass_id == grass and row.use == "lawn"
    ]


def _guide(name: str) -> Guide:
    return read_guide((config_file("guides") / f"{name}.toml").read_text(encoding="utf-8"), TURF)


@pytest.mark.parametrize("grass", sorted(NAMES))
def test_our_heights_share_what_the_tables_have_in_common(checks: Any, grass: str) -> None:
    ranges = published(checks.rows, grass)
    low, high = (float(mm_from_inches(inches)) for inches in common(ranges))
    elsewhere = {
        table for table, span in ranges.items() if span[1] < common(ranges)[0] or span[0] > common(ranges)[1]
    }
    assert elsewhere == ELSEWHERE[grass], "the disagreement is named"
    seasons = ours(grass)
    assert any(
        ours_low <= high + ROUNDED_MM and ours_high >= low - ROUNDED_MM for ours_low, ours_high in seasons
    )
    # Summer's heights may be raised above what is common, but not above what anybody prints.
    for season in seasons:
        assert sum(_share(season, span) for span in ranges.values()) >= 2


def _share(ours_mm: tuple[float, float], table_in: tuple[float, float]) -> bool:
    low, high = (float(mm_from_inches(inches)) for inches in table_in)
    return ours_mm[0] <= high + ROUNDED_MM and ours_mm[1] >= low - ROUNDED_MM


def test_at_least_four_tables_are_behind_each_of_at_least_four_grasses(checks: Any) -> None:
    behind = {grass: len(published(checks.rows, grass)) - len(ELSEWHERE[grass]) for grass in NAMES}
    assert sum(count >= 4 for count in behind.values()) >= 4
    tables = {table for grass in NAMES for table in published(checks.rows, grass)}
    assert len(tables) >= 4
