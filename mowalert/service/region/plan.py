"""Play past years of a place: how often a height is cut, and which height an interval can keep."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from mowalert.domain.arrays import Bools, Floats, Ints
from mowalert.domain.cells import cell_of
from mowalert.domain.grasses import Grass, Turf
from mowalert.domain.lawn import pace_of
from mowalert.domain.planning import (
    DaySpread,
    HeightNeed,
    HeightPlan,
    Keepable,
    Year,
    YearCuts,
    daily_growth_mm,
    day_spread,
    fastest_growth_mm,
    fastest_start,
    height_need,
    height_plan,
    is_never_due,
    keepable_height,
    last_years,
    one_stand,
    whole_heights_mm,
    year_cuts,
    years_between,
)
from mowalert.domain.season import play
from mowalert.domain.stand import (
    StandCurve,
    StandKey,
    StandState,
    StandWeather,
    grow,
    rooting_class,
    stand_facts,
)
from mowalert.domain.thirds import THIRD
from mowalert.domain.weather import Place, WeatherDay
from mowalert.domain.words import Sun, Watering
from mowalert.errors import InputError, SourceError
from mowalert.service.known import known_lawn
from mowalert.service.local.places import standard_offset_min, time_zone_at
from mowalert.service.ports import Store, WeatherSources
from mowalert.service.region.simulate import (
    COLUMNS,
    LONGEST_GAP_D,
    bridge,
    check_height,
    day_columns,
    dew_point_c,
    read_days,
)

YEARS = 10
"""Years asked of an archive."""
SPIN_UP_D = 181
"""Days a lawn is played before a year begins, so that soil water and height are no guesses then: the
half-year from 1 January to 30 June, of which no leap year makes more."""
WEATHER_COLUMNS = ("t_min_c", "t_max_c", "rain_mm", "radiation_mj_m2", "wind_2m_ms", "t_dew_c", "et0_mm")


@dataclass(frozen=True, slots=True)
class PlannedLawn:
    """The lawn past years are played for.

    Latitude in °, elevation in m, nitrogen in lb/1000 ft²/yr; ``learned`` is the factor its keeper's
    reports taught, ``third`` the largest share of the blade a cut may take.
    """

    grass: Grass
    latitude_deg: float
    elevation_m: float = 0.0
    soil: str = "loam"
    watering: Watering = Watering.NONE
    sun: Sun = Sun.FULL
    nitrogen: float | None = None
    learned: float = 1.0
    third: float = THIRD


@dataclass(frozen=True, slots=True)
class EnrolledLawn:
    """What an enrolled lawn brings: the lawn, the height it is cut to in mm, and its weather cell."""

    lawn: PlannedLawn
    chosen_mm: float
    place: Place


@dataclass(frozen=True, slots=True)
class PastWeather:
    """Daily weather without a gap; ``unknown`` marks the days that were bridged.

    ``years`` are those to play: years asked for, or every one the weather touches. ``elevation_m`` is
    what the source told.
    """

    source: str
    first_on: date
    columns: Mapping[str, Floats]
    unknown: Bools
    years: tuple[Year, ...]
    elevation_m: float | None = None

    def index(self, on: date) -> int:
        """Place of a day in the columns."""
        return (on - self.first_on).days

    def on(self, index: int) -> date:
        """Day of a place in the columns."""
        return self.first_on + timedelta(days=index)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A year that could not be played, and why."""

    year: str
    reason: str


@dataclass(frozen=True, slots=True)
class Basis:
    """What a plan rests on: the weather's source, years played, years left out, days bridged.

    ``own_spin_up`` names years before which no weather is known: their own last months stand in.
    """

    source: str
    years: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    filled: tuple[date, ...]
    own_spin_up: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """Expected cuts by month at some heights; ``months`` in the order of the year."""

    lawn: PlannedLawn
    basis: Basis
    months: tuple[int, ...]
    heights: tuple[HeightPlan, ...]


@dataclass(frozen=True, slots=True)
class Keeping:
    """What heights and intervals go together.

    ``answer`` belongs to the interval asked for, ``asked`` to the height; ``heights`` are all of the
    grass's range. ``fastest_from`` is when the fastest days begin, at the height the answer is about.
    """

    lawn: PlannedLawn
    basis: Basis
    answer: Keepable | None
    asked: HeightNeed | None
    heights: tuple[HeightNeed, ...]
    fastest_from: DaySpread | None


def past_from_table(text: str, *, source: str, latitude_deg: float) -> PastWeather:
    """Read past weather from a table of several years.

    Parameters
    ----------
    text : str
        Comma-separated values as ``read_weather`` takes them; gaps may be of any length.
    source : str
        What the table is called.
    latitude_deg : float
        South negative; it decides when a year begins. [°]

    Returns
    -------
    PastWeather
        To be played: every year the table touches.

    Raises
    ------
    InputError
        If a column, a date or a number is wrong.
    """
    dates, raw = day_columns(read_days(text), COLUMNS)
    unknown = bridge(raw)
    if unknown.all():
        raise InputError("the weather has no day with both temperatures and rain")
    raw["t_dew_c"] = dew_point_c(raw)
    years = years_between(dates[0], dates[-1], latitude_deg=latitude_deg)
    return PastWeather(source, dates[0], raw, unknown, years)


def past_from_archive(sources: WeatherSources, place: Place, *, now: datetime) -> PastWeather:
    """Ask the archive of the configured sources for the last ten whole years of a place.

    Parameters
    ----------
    sources : WeatherSources
        The configured sources.
    place : Place
        Where.
    now : datetime
        The moment.

    Returns
    -------
    PastWeather
        To be played: the ten years, whatever of them is there.

    Raises
    ------
    SourceError
        If no source has any past day of the place.
    """
    today = (now + timedelta(minutes=place.utc_offset_min)).date()
    years = last_years(today, YEARS, latitude_deg=place.latitude_deg)
    first, last = years[0].first_on - timedelta(days=SPIN_UP_D), years[-1].last_on
    pulled = sources.history([place], first=first, last=last, now=now)
    answer = next((found for found in pulled.weather if found.place.cell_id == place.cell_id), None)
    rows = {
        day.on: _values(day)
        for day in (answer.days if answer else ())
        if first <= day.on <= last and not day.partial
    }
    if answer is None or not rows:
        reasons = dict.fromkeys(f"{refusal.source}: {refusal.reason}" for _, refusal in pulled.refused)
        why = "; ".join(list(reasons)[:3]) or "no configured source keeps past days"
        raise SourceError(f"no past weather from an archive: {why}", permanent=False, source="archive")
    dates, raw = day_columns(rows, WEATHER_COLUMNS)
    return PastWeather(answer.source, dates[0], raw, bridge(raw), years, answer.elevation_m)


def _values(day: WeatherDay) -> dict[str, float]:
    values = {name: getattr(day, name) for name in WEATHER_COLUMNS}
    return {name: float("nan") if value is None else float(value) for name, value in values.items()}


def place_at(latitude_deg: float, longitude_deg: float, *, cell_degrees: float, now: datetime) -> Place:
    """Return the weather cell of a position nobody is enrolled at.

    Parameters
    ----------
    latitude_deg : float
        South negative. [°]
    longitude_deg : float
        West negative. [°]
    cell_degrees : float
        Side of a cell: no source needs to know more closely where a lawn lies. [°]
    now : datetime
        The moment, for the zone's offset.

    Returns
    -------
    Place
        A cell without a number.

    Raises
    ------
    InputError
        If no lawn can be there.
    """
    zone = time_zone_at(latitude_deg, longitude_deg)
    middle = cell_of(latitude_deg, longitude_deg, cell_degrees=cell_degrees)
    return Place(0, *middle, standard_offset_min(zone, now.date()))


def enrolled_lawn(store: Store, turf: Turf, lawn_id: int) -> EnrolledLawn:
    """Return what is needed of an enrolled lawn; InputError if there is none of that number."""
    with store.begin() as work:
        lawn = known_lawn(work, lawn_id)
        stand = work.stands.get([lawn.stand_id])[lawn.stand_id]
        (cell,) = work.weather.cells([stand.cell_id])
    planned = PlannedLawn(
        grass=turf.grasses[lawn.grass],
        latitude_deg=cell.latitude_deg,
        elevation_m=cell.elevation_m or 0.0,
        soil=stand.key.soil,
        watering=stand.key.watering,
        sun=stand.key.sun,
        nitrogen=lawn.nitrogen,
        learned=lawn.learned,
        third=lawn.third,
    )
    place = Place(cell.cell_id, cell.latitude_deg, cell.longitude_deg, cell.utc_offset_min, cell.elevation_m)
    return EnrolledLawn(planned, lawn.chosen_mm, place)


def plan(past: PastWeather, lawn: PlannedLawn, turf: Turf, heights_mm: Sequence[float]) -> Plan:
    """Expect a year's cuts at some heights, from past years played one by one.

    Parameters
    ----------
    past : PastWeather
        Weather of several years.
    lawn : PlannedLawn
        The lawn.
    turf : Turf
        Grasses and soils.
    heights_mm : Sequence[float]
        Heights to cut to, each on the last evening on which a cut takes no more than a third. [mm]

    Returns
    -------
    Plan
        One entry a height, in the order asked for.

    Raises
    ------
    InputError
        If a height is outside what the grass is kept at, or no year is whole.
    """
    for chosen_mm in heights_mm:
        check_height(lawn.grass, chosen_mm)
    grown = _grown_years(past, lawn, turf, heights_mm)
    plans = []
    for chosen_mm in heights_mm:
        years = [_cuts(curve, year, lawn, chosen_mm, grown.row(chosen_mm)) for year, curve in grown.years]
        never_due = is_never_due(lawn.grass, chosen_mm, lawn.third)
        plans.append(height_plan(chosen_mm, years, never_due=never_due))
    return Plan(lawn, grown.basis, grown.years[0][0].months, tuple(plans))


def keepable(
    past: PastWeather,
    lawn: PlannedLawn,
    turf: Turf,
    *,
    every_days: int | None = None,
    chosen_mm: float | None = None,
) -> Keeping:
    """Say which height an interval can keep, and which interval a height needs.

    Parameters
    ----------
    past : PastWeather
        Weather of several years.
    lawn : PlannedLawn
        The lawn.
    turf : Turf
        Grasses and soils.
    every_days : int | None
        Days from one cut to the next, if asked for.
    chosen_mm : float | None
        Height, if asked for. [mm]

    Returns
    -------
    Keeping
        Both answers, and the need of every height of the grass's range.

    Raises
    ------
    InputError
        If the height is outside what the grass is kept at, or no year is whole.
    """
    if chosen_mm is not None:
        check_height(lawn.grass, chosen_mm)
    heights_mm = whole_heights_mm(lawn.grass)
    asked_mm = heights_mm if chosen_mm is None else (*heights_mm, chosen_mm)
    grown = _grown_years(past, lawn, turf, asked_mm)
    daily_mm = [daily_growth_mm(curve, year) for year, curve in grown.years]
    fastest_mm = np.array([[fastest_growth_mm(stand) for stand in year] for year in daily_mm])

    def need(height_mm: float) -> HeightNeed:
        years_mm = fastest_mm[:, grown.row(height_mm)]
        return height_need(lawn.grass, height_mm, years_mm, pace=_pace(lawn, height_mm), third=lawn.third)

    needs = tuple(need(height_mm) for height_mm in heights_mm)
    answer = None if every_days is None else keepable_height(needs, every_days)
    told_mm = chosen_mm or (answer.lowest_mm if answer else None) or heights_mm[-1]
    fastest_from = [
        year.first_on + timedelta(days=fastest_start(days[grown.row(told_mm)]))
        for (year, _), days in zip(grown.years, daily_mm, strict=True)
    ]
    return Keeping(
        lawn=lawn,
        basis=grown.basis,
        answer=answer,
        asked=None if chosen_mm is None else need(chosen_mm),
        heights=needs,
        fastest_from=day_spread(fastest_from, southern=grown.years[0][0].southern),
    )


@dataclass(frozen=True, slots=True)
class _Grown:
    """Curves of every year that can be played; a stand a rooting class."""

    basis: Basis
    rooting: tuple[int, ...]
    years: tuple[tuple[Year, StandCurve], ...]

    def row(self, chosen_mm: float) -> int:
        """Row of the stand that a height roots like."""
        return self.rooting.index(rooting_class(chosen_mm))


def _pace(lawn: PlannedLawn, chosen_mm: float) -> float:
    return pace_of(lawn.grass, chosen_mm, nitrogen=lawn.nitrogen, learned=lawn.learned)


def _cuts(curve: StandCurve, year: Year, lawn: PlannedLawn, chosen_mm: float, row: int) -> YearCuts:
    season = play(
        one_stand(curve, row), lawn.grass, chosen_mm=chosen_mm, pace=_pace(lawn, chosen_mm), third=lawn.third
    )
    return year_cuts(season.mowings, year)


def _grown_years(past: PastWeather, lawn: PlannedLawn, turf: Turf, heights_mm: Sequence[float]) -> _Grown:
    reasons = {year: _why_not(past, year) for year in past.years}
    usable = [year for year, reason in reasons.items() if reason is None]
    left_out = tuple(LeftOut(year.name, reason) for year, reason in reasons.items() if reason is not None)
    if not usable:
        told = "; ".join(f"{left.year}: {left.reason}" for left in left_out)
        raise InputError(f"{past.source}: no whole year to play ({told})")
    rooting = tuple(sorted({rooting_class(height_mm) for height_mm in heights_mm}))
    keys = [StandKey(lawn.grass.grass_id, lawn.soil, band, lawn.sun, lawn.watering) for band in rooting]
    facts = stand_facts(
        keys,
        turf,
        latitude_deg=np.full(len(keys), lawn.latitude_deg),
        elevation_m=np.full(len(keys), lawn.elevation_m),
    )
    start = StandState.fresh(len(keys), warmth_known=False)
    rows = {year: _rows(past, year) for year in usable}
    years = tuple(
        (year, grow(facts, _stand_weather(past, year, rows[year], len(keys)), start)) for year in usable
    )
    used = np.unique(np.concatenate(list(rows.values())))
    basis = Basis(
        source=past.source,
        years=tuple(year.name for year in usable),
        left_out=left_out,
        filled=tuple(past.on(int(index)) for index in used if past.unknown[index]),
        own_spin_up=tuple(year.name for year in usable if not _led(past, year)),
    )
    return _Grown(basis, rooting, years)


def _why_not(past: PastWeather, year: Year) -> str | None:
    """Why a year cannot be played; none if it can."""
    known = np.flatnonzero(~past.unknown)
    first, last = past.on(int(known[0])), past.on(int(known[-1]))
    if year.last_on < first or year.first_on > last:
        return "no weather"
    if year.first_on < first or last < year.last_on:
        begins, ends = max(first, year.first_on), min(last, year.last_on)
        return f"not whole, weather from {begins} to {ends} only"
    gaps = _long_gaps(past.unknown, past.index(year.first_on), past.index(year.last_on))
    if not gaps:
        return None
    start, stop = gaps[0]
    more = f", and {len(gaps) - 1} more such" if len(gaps) > 1 else ""
    days = stop - start + 1
    return f"temperature or rain unknown for {days} days, {past.on(start)} to {past.on(stop)}{more}"


def _long_gaps(unknown: Bools, first: int, last: int) -> list[tuple[int, int]]:
    """Runs of unknown days too long to bridge that touch some days; first and last index of each."""
    edges = np.diff(unknown.astype(np.int8), prepend=0, append=0)
    runs = zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1, strict=True)
    return [
        (int(start), int(stop))
        for start, stop in runs
        if stop - start >= LONGEST_GAP_D and start <= last and stop >= first
    ]


def _led(past: PastWeather, year: Year) -> bool:
    """Whether the weather before a year is known."""
    first = past.index(year.first_on)
    known = np.flatnonzero(~past.unknown)
    begins = first - SPIN_UP_D
    return begins >= known[0] and not _long_gaps(past.unknown, begins, first - 1)


def _rows(past: PastWeather, year: Year) -> Ints:
    """Days to play: some months before the year, and the year.

    Where nothing is known of the months before, the year's own last months stand in: nearer to the
    soil of that place in that season than a full one.
    """
    first, stop = past.index(year.first_on), past.index(year.last_on) + 1
    before_stop = first if _led(past, year) else stop
    return np.concatenate([np.arange(before_stop - SPIN_UP_D, before_stop), np.arange(first, stop)])


def _stand_weather(past: PastWeather, year: Year, rows: Ints, stands: int) -> StandWeather:
    columns = {name: np.tile(past.columns[name][rows], (stands, 1)) for name in WEATHER_COLUMNS}
    return StandWeather(first_on=year.first_on - timedelta(days=SPIN_UP_D), **columns)
