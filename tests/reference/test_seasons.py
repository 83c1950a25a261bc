"""What is published of lawns through the year, on real seasons, with one set of parameters.

Published one-third intervals are *limit* intervals unless a test says window. Bands carry their
source; "common practice" where it is the trade's.
"""

from pathlib import Path

import numpy as np
import pytest
import seasons as sn
from conftest_types import Checks

from mowalert.domain.pace import cuts_a_month
from mowalert.domain.season import CutAt
from mowalert.domain.words import Watering

WATERED = Watering.REGULAR
FULL_GROWTH = (5, 6, 9)


CLIMATES = (
    (sn.DE_BILT, "perennial_ryegrass", 50.0, Watering.NONE, (1, 2, 12), 4),
    (sn.MILWAUKEE, "kentucky_bluegrass", 65.0, Watering.NONE, (12, 1, 2), 0),
    (sn.LEXINGTON, "zoysiagrass", 40.0, Watering.NONE, (12, 1, 2), 0),
    (sn.MERCED, "tall_fescue", 75.0, Watering.NONE, (6, 7, 8, 9), 0),
    (sn.MARICOPA, "bermudagrass", 30.0, WATERED, (12, 1), 3),
    (sn.FREEMAN, "st_augustinegrass", 75.0, WATERED, (12, 1), 2),
)


@pytest.mark.parametrize(("station", "grass", "height", "watering", "resting", "most"), CLIMATES)
def test_cuts_fall_in_the_growing_season_only(
    station: sn.Station, grass: str, height: float, watering: Watering, resting: tuple[int, ...], most: int,
    fields: Path,
) -> None:  # fmt: skip
    """A mild winter allows a cut now and then; a cold one, or a dry summer, none."""
    season = sn.played(fields, station, grass, height, watering)
    assert len(season.mowings) > 20
    assert sum(sn.by_month(season)[month] for month in resting) <= most


@pytest.mark.parametrize(("station", "grass", "height", "watering", "resting", "most"), CLIMATES)
def test_no_cut_takes_more_than_a_third(
    station: sn.Station, grass: str, height: float, watering: Watering, resting: tuple[int, ...], most: int,
    fields: Path,
) -> None:  # fmt: skip
    season = sn.played(fields, station, grass, height, watering)
    assert max(cut.removed_fraction for cut in season.mowings) <= 1 / 3 + 1e-9
    staged = [cut for cut in season.mowings if cut.height_after_mm > height + 1e-6]
    assert all(sn.overgrowth(season, cut.on) for cut in staged)


def test_no_cut_falls_in_a_hold(fields: Path) -> None:
    season = sn.played(fields, sn.LEXINGTON, "tall_fescue", 75.0)
    for cut in season.mowings:
        assert not any(hold.start <= cut.on <= hold.end for hold in season.holds)


def test_a_season_played_twice_is_the_same_to_the_last_digit(fields: Path) -> None:
    weather = sn.weather_of(fields, sn.DE_BILT)
    lawn = sn.SeasonLawn(sn.TURF.grass("perennial_ryegrass"), 50.0, 52.1, 2.0)
    first = sn.simulate(weather, lawn, sn.TURF, cut_at=CutAt.LIMIT)
    assert first == sn.simulate(weather, lawn, sn.TURF, cut_at=CutAt.LIMIT)


def test_seattle_runs_on_any_machine() -> None:
    lawn = sn.SeasonLawn(sn.TURF.grass("perennial_ryegrass"), 51.0, 47.45, 110.0)
    season = sn.simulate(sn.seattle_weather(), lawn, sn.TURF, cut_at=CutAt.LIMIT)
    months = sn.by_month(season)
    assert 12 <= sn.cuts_a_year(season) <= 28
    assert months[4] + months[5] > 2 * (months[7] + months[8])
    assert {hold.reason for hold in season.holds} >= {"drought"}


def test_bluegrass_at_two_inches_is_cut_about_every_six_days(fields: Path) -> None:
    """Limit interval, full growth: about 6.3 days at 51 mm (published optimum, from memory)."""
    found = []
    for station in (sn.DE_BILT, sn.MILWAUKEE, sn.LEXINGTON):
        season = sn.played(fields, station, "kentucky_bluegrass", 51.0, WATERED)
        found.append(float(np.mean(sn.gaps(season, FULL_GROWTH))))
    assert np.mean(found) == pytest.approx(6.3, rel=0.2)


def test_bluegrass_at_half_an_inch_is_cut_about_every_two_to_three_days(fields: Path) -> None:
    """Limit interval, full growth: about 2.6 days at 13 mm (published optimum, from memory)."""
    found = []
    for station in (sn.DE_BILT, sn.MILWAUKEE, sn.LEXINGTON):
        season = sn.played(fields, station, "kentucky_bluegrass", 13.0, WATERED)
        found.append(float(np.mean(sn.gaps(season, FULL_GROWTH))))
    assert np.mean(found) == pytest.approx(2.6, rel=0.25)


def test_ryegrass_at_two_inches_is_cut_about_weekly(fields: Path, checks: Checks) -> None:
    low, high = checks["trade.two_in"]["expected"]["days"]
    for station in (sn.DE_BILT, sn.MILWAUKEE, sn.LEXINGTON):
        season = sn.played(fields, station, "perennial_ryegrass", 51.0, WATERED)
        checks.within(
            "trade.two_in", f"days, {station.name}", float(np.median(sn.gaps(season, (6, 7, 8)))), low, high
        )


def test_ryegrass_at_half_an_inch_is_cut_two_to_three_times_a_week(fields: Path, checks: Checks) -> None:
    low, high = checks["trade.half_in"]["expected"]["days"]
    for station in (sn.DE_BILT, sn.MILWAUKEE, sn.LEXINGTON):
        season = sn.played(fields, station, "perennial_ryegrass", 13.0, WATERED)
        mean = float(np.mean(sn.gaps(season, (6, 7, 8))))
        checks.within("trade.half_in", f"days, {station.name}", mean, low, high)


def test_the_rule_saves_cuts_against_weekly_mowing(fields: Path, checks: Checks) -> None:
    """Law, Bigelow & Patton 2016, Indiana: about 31 % fewer; tall fescue and bluegrass at 70-90 mm.

    Lexington is the nearest of our seasons. Weekly mowing runs from the first to the last cut of a
    year; window cutting is shown to throw much of the saving away.
    """
    row = checks["interval.law.saving"]["expected"]
    saved = []
    for grass in ("tall_fescue", "kentucky_bluegrass"):
        limit = sn.played(fields, sn.LEXINGTON, grass, 89.0)
        weekly = sum(
            ((max(cuts) - min(cuts)).days // 7 + 1)
            for year in range(2010, 2020)
            if (cuts := [cut.on for cut in limit.mowings if cut.on.year == year and 3 < cut.on.month < 12])
        )
        in_season = sum(3 < cut.on.month < 12 for cut in limit.mowings)
        saved.append(100 * (1 - in_season / weekly))
        window = sn.played(fields, sn.LEXINGTON, grass, 89.0, cut_at=CutAt.WINDOW)
        assert 1.10 <= len(window.mowings) / len(limit.mowings) <= 1.45
    fewer = row["fewer_pct"]
    checks.within("interval.law.saving", "% fewer cuts", float(np.mean(saved)), fewer - 15, fewer + 15)


def test_feeding_clippings_back_adds_a_cut_or_two(fields: Path, checks: Checks) -> None:
    """Half a pound to a pound more nitrogen a year is what returned clippings give in their first year."""
    more = checks["interval.law.clippings"]["expected"]["more_mowings_per_year"]
    weather = sn.weather_of(fields, sn.LEXINGTON)
    cuts = []
    for nitrogen in (1.5, 2.25):
        lawn = sn.SeasonLawn(sn.TURF.grass("tall_fescue"), 89.0, 38.04, 299.0, nitrogen=nitrogen)
        cuts.append(sn.cuts_a_year(sn.simulate(weather, lawn, sn.TURF, cut_at=CutAt.LIMIT)))
    checks.within("interval.law.clippings", "more cuts a year", cuts[1] - cuts[0], more - 1, more + 2)


def test_tall_fescue_needs_more_cuts_than_bluegrass(fields: Path, checks: Checks) -> None:
    checks["interval.law.species"]
    fescue = sn.played(fields, sn.LEXINGTON, "tall_fescue", 76.0)
    bluegrass = sn.played(fields, sn.LEXINGTON, "kentucky_bluegrass", 76.0)
    checks.same("interval.law.species", "sign", len(fescue.mowings) > len(bluegrass.mowings), True)


def test_spring_and_autumn_are_busier_than_summer(fields: Path, checks: Checks) -> None:
    """Indiana: some lawns twice a week in spring and autumn, once in two weeks in summer."""
    checks["interval.purdue"]
    checks["interval.mobot"]
    season = sn.played(fields, sn.LEXINGTON, "kentucky_bluegrass", 64.0)
    months = sn.by_month(season)
    spring, summer = (months[4] + months[5]) / 2, (months[7] + months[8]) / 2
    checks.within("interval.purdue", "summer over spring", summer / spring, 0.2, 0.8)
    shortest = float(np.percentile(sn.gaps(season, (4, 5)), 10))
    checks.within("interval.mobot", "shortest days in spring", shortest, 3, 7)


def test_watered_inland_lawns_are_cut_as_often_as_remembered(fields: Path) -> None:
    """Irrigated inland cool-season lawns: 26-33 cuts a year (from memory), a band of ±4 around it."""
    counts = [
        sn.cuts_a_year(sn.played(fields, station, "kentucky_bluegrass", 64.0, WATERED))
        for station in (sn.MILWAUKEE, sn.LEXINGTON)
    ]
    assert min(counts) >= 22
    assert max(counts) <= 37


def test_warm_season_grass_grows_in_the_heat_and_rests_in_winter(fields: Path) -> None:
    """Watered bermudagrass at 30 mm: every 3-7 days in summer (common practice), limit intervals."""
    for station in (sn.MERCED, sn.MARICOPA):
        season = sn.played(fields, station, "bermudagrass", 30.0, WATERED)
        assert 3 <= np.median(sn.gaps(season, (6, 7, 8))) <= 7
    winter = sn.by_month(sn.played(fields, sn.MERCED, "bermudagrass", 30.0, WATERED))
    assert winter[1] + winter[2] <= 1, "at most one cut in ten mild winters"


def test_an_unwatered_lawn_rests_through_merceds_summer(fields: Path) -> None:
    season = sn.played(fields, sn.MERCED, "tall_fescue", 75.0)
    rests = [hold for hold in season.holds if hold.reason in ("drought", "dormant")]
    assert {hold.start.year for hold in rests} >= set(range(2013, 2022))
    assert all(day.growth_mm < 0.5 for day in season.days if day.on.month == 8)


@pytest.mark.parametrize(
    ("station", "grass", "height"),
    [
        (sn.DE_BILT, "perennial_ryegrass", 50.0),
        (sn.MILWAUKEE, "perennial_ryegrass", 65.0),
        (sn.MILWAUKEE, "kentucky_bluegrass", 65.0),
        (sn.LEXINGTON, "tall_fescue", 75.0),
    ],
)
def test_what_a_choice_of_height_is_said_to_cost_is_what_growing_months_cost(
    station: sn.Station, grass: str, height: float, fields: Path
) -> None:
    """Watered, April to September; whoever joins is told this number for each height."""
    season = sn.played(fields, station, grass, height, WATERED)
    growing = sum(sn.by_month(season)[month] for month in range(4, 10)) / sn.years(season) / 6
    assert cuts_a_month(sn.TURF.grass(grass), height) == pytest.approx(growing, rel=0.3)
