"""Facts of the trade: feed, clippings, roots, dormancy, heights and intervals, held against ours."""

import numpy as np
import pytest
from conftest_types import Checks

from mowalert.domain.grasses import Turf
from mowalert.domain.holds import COLD_COOL_C, COLD_WARM_C, HEAT_COOL_C, WILTING
from mowalert.domain.season import CLIPPINGS_G_M2_MM, CLIPPINGS_N
from mowalert.domain.soil_water import rooting_mm
from mowalert.domain.thirds import NEAR_MISS, THIRD, clippings_after
from mowalert.domain.units import c_from_f, kg_ha_from_lb_1000sqft, mm_from_inches
from mowalert.domain.words import Clippings

TABLES = (
    "purdue_ay8", "purdue_use", "uc", "uf", "uf_clay", "uf_leon", "nc", "uk", "ksu", "usu", "umaine", "vt",
    "ohio", "msu", "uga", "tf_monograph", "mobot",
)  # fmt: skip
NOT_OURS = ("kikuyugrass", "carpetgrass", "add_in_shade", "all common", "cool-season lawns")
DISAGREE = {
    (
        "heights.uc",
        "St. Augustinegrass",
    ): "25 mm scalps it elsewhere; Florida and Georgia print 2.5 in and more",
    ("heights.uga", "centipedegrass"): "3 in is a summer's tallest; other tables end at 2 in",
    ("heights.msu", "Kentucky bluegrass, hot and humid"): "5 in is an emergency height in heat",
}
"""Published ranges that reach beyond what we let a keeper choose, and why ours end before."""


def test_pounds_on_a_thousand_square_feet(checks: Checks) -> None:
    row = checks["turf.n.units"]
    for pounds, theirs in zip(row["inputs"]["lb_per_1000ft2"], row["expected"]["kg_ha"], strict=True):
        checks.close("turf.n.units", f"{pounds} lb", kg_ha_from_lb_1000sqft(pounds), theirs, 0.01)


def test_returned_clippings_carry_the_nitrogen_that_reviews_find(checks: Checks) -> None:
    """A season's 300 to 700 mm of cut grass; reviews differ, so bands are coarse."""
    low, high = checks["turf.n.saved.umn"]["expected"]["kg_ha_yr"]
    season_kg = 500 * CLIPPINGS_G_M2_MM * CLIPPINGS_N * 10
    checks.within("turf.n.saved.umn", "kg/ha of 500 mm cut", season_kg, low, high)
    returned = checks["trade.nitrogen"]["expected"]["returned_lb"]
    half = season_kg / 2 / kg_ha_from_lb_1000sqft(1)
    checks.within("trade.nitrogen", "lb credited in the first year", half, 0.5, returned)
    rates = checks["turf.n.rates.kg02"]["inputs"]["rates_kg_ha"]
    assert min(rates) <= season_kg / 2 <= max(rates)
    released = checks["turf.n.release"]["expected"]["n_lost_pct"]
    checks.within("turf.n.release", "credited in the first year, %", 50, 0, released[1])
    modelled = checks["turf.n.saved.csu"]["expected"]
    advised = checks["turf.n.saved.nc"]["expected"]["share"]
    assert modelled["years_1_10"] >= advised[0]


def test_clippings_of_a_day_weigh_what_was_weighed(checks: Checks) -> None:
    low, high = checks["interval.clippings_mass"]["expected"]["g_m2_d"]
    checks.within("interval.clippings_mass", "g/m²/d at 4 mm/d", 4 * CLIPPINGS_G_M2_MM, low, high)


def test_roots_by_height(checks: Checks) -> None:
    row = checks["turf.root.formula"]
    for height, theirs in zip(row["inputs"]["height_mm"], row["expected"]["root_mm"], strict=True):
        checks.close("turf.root.formula", f"{height} mm", float(rooting_mm(height)), theirs, 0.05)
    trade = checks["trade.roots"]["expected"]
    for inches, depth in zip(trade["at_height_in"], trade["root_in"], strict=True):
        ours = float(rooting_mm(mm_from_inches(inches))) / 25.4
        checks.close("trade.roots", f"in at {inches} in", ours, depth, 0.01)
    ratio = float(rooting_mm(mm_from_inches(2.0)) / rooting_mm(mm_from_inches(0.75)))
    # Mass may well double where depth grows by two fifths: only the sign is compared.
    checks.within("turf.root.kbg", "depth at 2 in over 0.75 in", ratio, 1.0, 2.0)
    low, high = checks["turf.root.bent"]["inputs"]["heights_mm"]
    assert rooting_mm(float(low)) < rooting_mm(float(high))
    assert "April" in checks["turf.root.season"]["expected"]["months"]


def test_cold_and_heat_holds_start_where_shoots_stop(checks: Checks) -> None:
    """Soil at 4 in; a ten-day mean of air stands in for it."""
    stops = checks["turf.soil.cool"]["expected"]["shoot_growth_stops_c"]
    checks.close("turf.soil.cool", "cold below °C", COLD_COOL_C, stops[0], 0.05)
    checks.close("turf.soil.cool", "heat from °C", HEAT_COOL_C, stops[1], 0.05)
    warm = checks["turf.soil.warm"]["expected"]["dormancy_begins_c"]
    checks.close("turf.soil.warm", "cold below °C", COLD_WARM_C, warm, 0.05)
    noon = checks["turf.heat.hold"]["inputs"]["t_f"]
    checks.close("turf.heat.hold", "heat from °C", HEAT_COOL_C, float(c_from_f(noon)), 0.05)
    assert checks["turf.drought.hold"]["expected"]["hold"] is True
    assert 0 < WILTING < 1


def test_optimum_temperatures_lie_in_the_published_ranges(checks: Checks, turf: Turf) -> None:
    low, high = checks["turf.soil.cool"]["expected"]["shoot_optimum_c"]
    for grass in turf.grasses.values():
        if not grass.warm:
            checks.within("turf.soil.cool", f"{grass.grass_id} optimum °C", grass.opt_c, low, high)
    warm_f = checks["turf.soil.warm"]["expected"]["shoot_optimum_f"]
    for grass in turf.grasses.values():
        if grass.warm:
            low_c, high_c = (float(c_from_f(value)) for value in warm_f)
            checks.within("turf.soil.warm", f"{grass.grass_id} optimum °C", grass.opt_c, low_c, high_c + 1)


def test_tall_fescue_gives_up_later_but_lives_shorter_once_dormant(checks: Checks, turf: Turf) -> None:
    bluegrass = checks["turf.dormant.kbg.unl"]["expected"]
    fescue = checks["turf.dormant.tf.unl"]["expected"]
    checks.same("turf.dormant.kbg.unl", "mown while dormant", "mowing" in bluegrass["traffic"], True)
    checks.within(
        "turf.dormant.tf.unl", "weeks to water", fescue["every_weeks"][1], 2, bluegrass["every_weeks"]
    )
    assert turf.grasses["tall_fescue"].dormant_after_d > turf.grasses["kentucky_bluegrass"].dormant_after_d
    weeks = checks["turf.dormant.weeks"]["expected"]["common_practice_weeks"]
    checks.same("turf.dormant.weeks", "weeks we name", [4, 6], weeks)


@pytest.mark.parametrize("table", TABLES)
def test_published_heights_can_be_chosen(table: str, checks: Checks, turf: Turf) -> None:
    """Every published range of a grass of ours lies within what a keeper may choose, or is named."""
    check = f"heights.{table}"
    row = checks[check]
    for name, span in row["expected"].items():
        if name.startswith(NOT_OURS):
            continue
        grass = turf.grass(ours_for(name))
        low, high = (mm_from_inches(value) for value in span)
        fits = grass.lowest_mm <= low + 0.5 and high - 0.5 <= grass.highest_mm
        checks.same(check, f"{name} {span[0]} to {span[1]} in", fits or (check, name) in DISAGREE, True)
        assert fits != ((check, name) in DISAGREE), f"{check} {name}: {low} to {high} mm"


def ours_for(name: str) -> str:
    """Our grass for a published name."""
    plain = name.split(",")[0].replace("seeded ", "").replace("hybrid ", "").replace("common ", "")
    return "fine fescue" if "red fescue" in plain else plain


def test_intervals_at_a_published_growth_rate(checks: Checks) -> None:
    """Nebraska's rate: half the chosen height over the growth, rounded down (limit intervals)."""
    row = checks["interval.unl"]
    growth = row["inputs"]["growth_in_per_week"] * 25.4 / 7
    checks.close("interval.unl", "mm/d", growth, row["inputs"]["growth_mm_d"], 0.001)
    for chosen, days, exact in zip(
        row["inputs"]["chosen_in"], row["expected"]["days"], row["expected"]["days_exact"], strict=True
    ):
        ours = mm_from_inches(chosen) / 2 / growth
        checks.close("interval.unl", f"days at {chosen} in", ours, exact, 0.001)
        checks.same("interval.unl", f"whole days at {chosen} in", int(np.floor(ours + 1e-9)), days)


def test_fescue_grows_within_reach_of_the_published_goal(checks: Checks, turf: Turf) -> None:
    goal = checks["interval.unl.goal"]["expected"]["growth_mm_d"]
    fescue = turf.grasses["tall_fescue"].g50_mm_d
    checks.within("interval.unl.goal", "tall fescue mm/d at 50 mm", fescue, 0.7 * goal, 1.3 * goal)
    assert checks["interval.law.species"]["expected"]["order"].startswith("tall fescue needs more")
    assert fescue > turf.grasses["kentucky_bluegrass"].g50_mm_d


def test_common_practice_is_what_we_build_on(checks: Checks, turf: Turf) -> None:
    ryegrass = turf.grasses["perennial_ryegrass"]
    low, high = checks["trade.ryegrass_range"]["expected"]["mm"]
    checks.within("trade.ryegrass_range", "lowest mm", ryegrass.lowest_mm, low, high)
    three = checks["trade.three_in"]["expected"]["mm"]
    for name in ("perennial_ryegrass", "kentucky_bluegrass"):
        grass = turf.grasses[name]
        checks.within("trade.three_in", f"{name} mm", three, grass.usual_mm[0], grass.usual_mm[1] + 1.5)
    checks.close("trade.third", "third", THIRD, checks["trade.third"]["expected"]["removed_max"], 1e-4)
    checks.same("trade.windrows", "over 40 %", clippings_after(NEAR_MISS + 0.01), Clippings.CUT_TWICE)
    checks.same("trade.windrows", "at a third", clippings_after(THIRD), Clippings.LEAVE)
    # Signs only: a verge mown once a month, and turf kept too low, are worse off.
    assert checks["trade.roadside"]["expected"]["sign"] == "worse"
    assert checks["trade.low_weeds"]["expected"]["sign"] == "more weeds"
