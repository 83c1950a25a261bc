from dataclasses import fields, replace

import numpy as np
import pytest
import season as bench
from plain_season import PlainSeason, Stand, days_of
from plain_season import grow as grow_plainly

from mowalert.domain.arrays import Floats, Ints
from mowalert.domain.holds import as_mask
from mowalert.domain.season import play
from mowalert.domain.stand import StandCurve, StandFacts, StandState, StandWeather, grow

STANDS = 40
EVERY = np.arange(STANDS)
IS_SOUTH = EVERY // 8 % 2 == 1
# Some grow so fast that a hold leaves them far too tall.
LAWNS = replace(bench.lawns_of(STANDS, STANDS), pace=np.geomspace(0.6, 6.0, STANDS))


def some_facts() -> StandFacts:
    """Grasses and soils of all kinds, some south of the equator."""
    facts = bench.facts_of(STANDS)
    return replace(facts, latitude_deg=np.where(IS_SOUTH, -1, 1) * facts.latitude_deg)


def some_weather() -> StandWeather:
    """Of four stands one knows all but ET0, one is given that too, one lacks light, one dew and wind as well.

    Every third is hotter, every seventh is drier; summer is in January south of the equator.
    """
    weather = bench.weather_of(STANDS)
    stand = EVERY[:, None]
    hotter_c = np.where(stand % 3 == 0, 6.0, 0.0)
    return replace(
        weather,
        t_min_c=turned(weather.t_min_c) + hotter_c,
        t_max_c=turned(weather.t_max_c) + hotter_c,
        rain_mm=weather.rain_mm * np.where(stand % 7 == 0, 0.3, 1.0),
        radiation_mj_m2=np.where(stand % 4 >= 2, np.nan, weather.radiation_mj_m2),
        wind_2m_ms=np.where(stand % 4 == 3, np.nan, weather.wind_2m_ms),
        t_dew_c=np.where(stand % 4 == 3, np.nan, weather.t_dew_c),
        et0_mm=np.where(stand % 4 == 1, 2.5, weather.et0_mm),
    )


def turned(column: Floats) -> Floats:
    """Weather with summer and winter exchanged in the south."""
    return np.where(IS_SOUTH[:, None], np.roll(column, bench.DAYS // 2, axis=1), column)


def some_curves() -> StandCurve:
    return grow(some_facts(), some_weather(), StandState.fresh(STANDS, warmth_known=True))


def both(lawns: bench.Lawns, sample: Ints) -> tuple[bench.Seasons, list[PlainSeason]]:
    facts, weather = some_facts(), some_weather()
    loop = bench.in_a_loop(*bench.plain_inputs(facts, weather, lawns, sample))
    return bench.in_arrays(facts, weather, lawns), loop


def test_the_plain_loop_grows_and_holds_as_the_arrays_do() -> None:
    curve, facts, weather = some_curves(), some_facts(), some_weather()
    masks = curve.holds.astype(int)
    assert np.bitwise_or.reduce(masks, axis=None) == 0b111111
    for index in range(STANDS):
        daily_mm, held = grow_plainly(Stand.of(facts, index), days_of(weather, index))
        assert np.cumsum(daily_mm) == pytest.approx(curve.growth_mm[index], abs=1e-9)
        assert [as_mask(np.array(today)) for today in held] == masks[index].tolist()


def test_the_plain_loop_cuts_as_the_arrays_do() -> None:
    ours, loop = both(LAWNS, EVERY)
    assert bench.disagreement(ours, loop, EVERY) == ""
    assert any(len(season.cut_on) > 20 for season in loop)


def test_a_lawn_whose_limit_is_near_its_ceiling_is_never_cut() -> None:
    ours, loop = both(replace(LAWNS, ceiling_mm=np.full(STANDS, 110.0)), EVERY)
    assert bench.disagreement(ours, loop, EVERY) == ""
    assert not ours.cut.any()


def test_the_arrays_cut_when_the_program_plays_a_cut() -> None:
    curve = some_curves()
    ours = bench.mow(curve, LAWNS)
    columns = [name.name for name in fields(curve) if name.name not in ("first_on", "settled")]
    staged = 0
    for index in range(STANDS):
        own = replace(curve, **{name: getattr(curve, name)[index : index + 1] for name in columns})
        grass = bench.TURF.grasses[bench.GRASSES[index % 5]]
        season = play(own, grass, chosen_mm=bench.KEPT_MM, pace=float(LAWNS.pace[index]))
        assert [cut.on for cut in season.mowings] == ours.cut_on(index)
        assert [day.height_mm for day in season.days] == pytest.approx(ours.height_mm[:, index], abs=1e-6)
        staged += sum(cut.height_after_mm > bench.KEPT_MM for cut in season.mowings)
    assert staged > 0


def test_a_moved_cut_or_height_is_a_disagreement() -> None:
    ours, loop = both(LAWNS, EVERY)
    *others, last = loop
    fewer = [*others, replace(last, cut_on=last.cut_on[1:])]
    taller = [*others, replace(last, height_mm=[mm + 2e-6 for mm in last.height_mm])]
    assert "other days" in bench.disagreement(ours, fewer, EVERY)
    assert "mm apart" in bench.disagreement(ours, taller, EVERY)
