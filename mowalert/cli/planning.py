"""Commands that look at past years: cuts to expect at a height, and the height an interval keeps."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from mowalert.cli.common import (
    MONTHS,
    AtOption,
    JsonOption,
    as_json,
    counted,
    drawing,
    moment,
    one_line_errors,
    opened,
    print_json,
    read_text,
)
from mowalert.domain.grasses import Turf
from mowalert.domain.planning import (
    DaySpread,
    HeightNeed,
    HeightPlan,
    Keepable,
    MonthDay,
    YearCuts,
    neighbours_mm,
)
from mowalert.domain.words import Sun, Watering
from mowalert.errors import InputError
from mowalert.parameters import load_turf
from mowalert.service.region.plan import (
    Basis,
    Keeping,
    PastWeather,
    Plan,
    PlannedLawn,
    enrolled_lawn,
    keepable,
    past_from_archive,
    past_from_table,
    place_at,
    plan,
)
from mowalert.service.region.simulate import check_height
from mowalert.settings import config_file

MOST_HEIGHTS = 6
WeatherOption = Annotated[
    Path | None,
    typer.Option("--weather", help="Daily weather of several years (CSV); the archive if not given."),
]
LawnOption = Annotated[int | None, typer.Option("--lawn", help="Number of an enrolled lawn.")]
LatitudeOption = Annotated[
    float | None, typer.Option("--latitude", min=-75, max=75, help="Degrees, south negative.")
]
LongitudeOption = Annotated[
    float | None,
    typer.Option("--longitude", min=-180, max=180, help="Degrees, west negative; for the archive."),
]
ElevationOption = Annotated[float | None, typer.Option("--elevation", min=-450, max=6000, help="Metres.")]
GrassOption = Annotated[str | None, typer.Option("--grass", help="Name or id of the grass.")]
HeightOption = Annotated[float | None, typer.Option("--height-mm", help="Height it is cut to.")]
SoilOption = Annotated[str | None, typer.Option("--soil", help="Soil texture; loam if not given.")]
WateringOption = Annotated[
    Watering | None, typer.Option("--watering", help="Watered when dry? none if not given.")
]
SunOption = Annotated[Sun | None, typer.Option("--sun", help="Share of the sun; full if not given.")]
NitrogenOption = Annotated[
    float | None, typer.Option("--nitrogen", min=0, max=10, help="Pounds per 1000 square feet and year.")
]
PlotOption = Annotated[Path | None, typer.Option("--plot", help="Draw it (PNG).")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("plan")(plan_cuts)
    app.command("keepable")(keepable_heights)


def plan_cuts(
    weather: WeatherOption = None,
    lawn: LawnOption = None,
    latitude: LatitudeOption = None,
    longitude: LongitudeOption = None,
    elevation: ElevationOption = None,
    grass: GrassOption = None,
    height_mm: HeightOption = None,
    heights: Annotated[
        str | None, typer.Option("--heights", help="Heights to compare, such as 50,65,80.")
    ] = None,
    soil: SoilOption = None,
    watering: WateringOption = None,
    sun: SunOption = None,
    nitrogen: NitrogenOption = None,
    at: AtOption = None,
    json: JsonOption = False,
    plot: PlotOption = None,
) -> None:
    """Tell how many cuts a year takes, month by month, at three heights, from past years' weather."""
    with one_line_errors():
        if heights is not None and height_mm is not None:
            raise InputError("--heights and --height-mm exclude each other")
        facts = _Facts(latitude, longitude, elevation, grass, soil, watering, sun, nitrogen)
        case = _case(facts, weather, lawn, now=moment(at))
        told = plan(case.past, case.lawn, case.turf, _heights(case, heights, height_mm))
        if plot is not None:
            drawing("plots_planning").draw_plan(told, plot)
        if json:
            print_json(_plan_json(told))
        else:
            _print_plan(told)


def keepable_heights(
    weather: WeatherOption = None,
    lawn: LawnOption = None,
    latitude: LatitudeOption = None,
    longitude: LongitudeOption = None,
    elevation: ElevationOption = None,
    grass: GrassOption = None,
    every: Annotated[
        int | None, typer.Option("--every", min=1, max=60, help="Days from one cut to the next.")
    ] = None,
    height_mm: HeightOption = None,
    soil: SoilOption = None,
    watering: WateringOption = None,
    sun: SunOption = None,
    nitrogen: NitrogenOption = None,
    at: AtOption = None,
    json: JsonOption = False,
    plot: PlotOption = None,
) -> None:
    """Tell the lowest height an interval keeps in the fastest month, and how often a height needs a cut."""
    with one_line_errors():
        facts = _Facts(latitude, longitude, elevation, grass, soil, watering, sun, nitrogen)
        if every is None and height_mm is None and lawn is None:
            raise InputError(
                "--every asks for a height, --height-mm for an interval: give one of them or both"
            )
        case = _case(facts, weather, lawn, now=moment(at))
        asked_mm = case.chosen_mm if height_mm is None and every is None else height_mm
        told = keepable(case.past, case.lawn, case.turf, every_days=every, chosen_mm=asked_mm)
        if plot is not None:
            drawing("plots_planning").draw_keepable(told, plot)
        if json:
            print_json(_keeping_json(told))
        else:
            _print_keeping(told)


@dataclass(frozen=True, slots=True)
class _Facts:
    """What was said of the lawn on the command line; none where nothing was."""

    latitude: float | None
    longitude: float | None
    elevation: float | None
    grass: str | None
    soil: str | None
    watering: Watering | None
    sun: Sun | None
    nitrogen: float | None

    @property
    def said(self) -> list[str]:
        """Options that were given."""
        return [f"--{name}" for name, value in as_json(self).items() if value is not None]


@dataclass(frozen=True, slots=True)
class _Case:
    """A lawn with the weather it is played on; ``chosen_mm`` is known of enrolled lawns."""

    lawn: PlannedLawn
    past: PastWeather
    turf: Turf
    chosen_mm: float | None = None


def _case(facts: _Facts, weather: Path | None, lawn_id: int | None, *, now: datetime) -> _Case:
    if lawn_id is not None:
        return _enrolled(facts, weather, lawn_id, now)
    turf = load_turf(config_file("grasses.toml"))
    lawn = _described(facts, turf)
    if weather is not None:
        return _Case(lawn, _read(weather, lawn), turf)
    if facts.longitude is None:
        raise InputError("--longitude is missing: the archive is asked by position; --weather plays a table")
    with opened() as services:
        place = place_at(
            lawn.latitude_deg,
            facts.longitude,
            cell_degrees=services.settings.weather.cell_degrees,
            now=now,
        )
        past = past_from_archive(services.sources, place, now=now)
    return _Case(_raised(lawn, past) if facts.elevation is None else lawn, past, turf)


def _enrolled(facts: _Facts, weather: Path | None, lawn_id: int, now: datetime) -> _Case:
    if facts.said:
        raise InputError(f"--lawn brings its own facts: leave out {', '.join(facts.said)}")
    with opened() as services:
        found = enrolled_lawn(services.store, services.turf, lawn_id)
        if weather is not None:
            return _Case(found.lawn, _read(weather, found.lawn), services.turf, found.chosen_mm)
        past = past_from_archive(services.sources, found.place, now=now)
    lawn = _raised(found.lawn, past) if found.place.elevation_m is None else found.lawn
    return _Case(lawn, past, services.turf, found.chosen_mm)


def _raised(lawn: PlannedLawn, past: PastWeather) -> PlannedLawn:
    """Put a lawn at the height above the sea that the archive tells."""
    return lawn if past.elevation_m is None else replace(lawn, elevation_m=past.elevation_m)


def _described(facts: _Facts, turf: Turf) -> PlannedLawn:
    if facts.latitude is None or facts.grass is None:
        raise InputError("--latitude and --grass are needed, or the --lawn that has them")
    return PlannedLawn(
        grass=turf.grass(facts.grass),
        latitude_deg=facts.latitude,
        elevation_m=facts.elevation or 0.0,
        soil=turf.soil(facts.soil or "loam"),
        watering=facts.watering or Watering.NONE,
        sun=facts.sun or Sun.FULL,
        nitrogen=facts.nitrogen,
    )


def _read(path: Path, lawn: PlannedLawn) -> PastWeather:
    text = read_text(path)
    try:
        return past_from_table(text, source=str(path), latitude_deg=lawn.latitude_deg)
    except InputError as error:
        raise InputError(f"{path}: {error}") from error


def _heights(case: _Case, listed: str | None, height_mm: float | None) -> tuple[float, ...]:
    if listed is not None:
        return _listed(listed)
    chosen_mm = case.chosen_mm if height_mm is None else height_mm
    if chosen_mm is None:
        raise InputError("--height-mm or --heights is needed: which heights are compared?")
    check_height(case.lawn.grass, chosen_mm)
    return neighbours_mm(case.lawn.grass, chosen_mm)


def _listed(text: str) -> tuple[float, ...]:
    try:
        heights = sorted({float(part) for part in text.split(",")})
    except ValueError as error:
        raise InputError(f"--heights {text!r} is no list of heights such as 50,65,80") from error
    if len(heights) > MOST_HEIGHTS:
        raise InputError(f"--heights has {len(heights)} heights; at most {MOST_HEIGHTS} are compared")
    return tuple(heights)


def _plan_json(told: Plan) -> dict[str, Any]:
    return {
        **_lawn_json(told.lawn),
        **as_json(told.basis),
        "months": list(told.months),
        "heights": [_height_json(height) for height in told.heights],
    }


def _lawn_json(lawn: PlannedLawn) -> dict[str, Any]:
    return {**as_json(lawn), "grass": lawn.grass.grass_id}


def _height_json(height: HeightPlan) -> dict[str, Any]:
    return {
        **as_json(height),
        "first_cut": _spread_json(height.first_cut),
        "last_cut": _spread_json(height.last_cut),
        "years": [_year_json(year) for year in height.years],
    }


def _year_json(year: YearCuts) -> dict[str, Any]:
    return {**as_json(year), "year": year.year.name, "cuts": year.cuts}


def _spread_json(spread: DaySpread | None) -> dict[str, str] | None:
    if spread is None:
        return None
    return {
        "earliest": _month_day(spread.earliest),
        "median": _month_day(spread.median),
        "latest": _month_day(spread.latest),
    }


def _month_day(on: MonthDay) -> str:
    return f"{on.month:02d}-{on.day:02d}"


def _keeping_json(told: Keeping) -> dict[str, Any]:
    answer = None if told.answer is None else {**as_json(told.answer), "monotone": told.answer.monotone}
    return {
        **_lawn_json(told.lawn),
        **as_json(told.basis),
        "fastest_from": _spread_json(told.fastest_from),
        "interval": answer,
        "height": told.asked,
        "heights": told.heights,
    }


def _print_plan(told: Plan) -> None:
    _print_head(told.lawn, told.basis)
    names = "".join(f"{MONTHS[month - 1]:>5}" for month in told.months)
    typer.echo(f"{'cuts at':8}{names}   a year (range)")
    for height in told.heights:
        means = "".join(f"{mean:5.1f}" for mean in height.mean_by_month)
        fewest_to_most = f"({height.fewest_cuts} to {height.most_cuts})"
        typer.echo(f"{height.height_mm:5g} mm{means}{height.mean_cuts:9.1f} {fewest_to_most}")
    for height in told.heights:
        typer.echo(_when(height))
    _print_notes(told.basis)


def _when(height: HeightPlan) -> str:
    at = f"{height.height_mm:g} mm"
    if height.never_due:
        return f"{at}: no cut needed, this grass stops before the limit"
    if height.first_cut is None or height.last_cut is None:
        return f"{at}: no cut in any year"
    without = f"; no cut in {counted(height.years_without_cut, 'year')}" if height.years_without_cut else ""
    return f"{at}: first cut {_spread_text(height.first_cut)}, last {_spread_text(height.last_cut)}{without}"


def _spread_text(spread: DaySpread) -> str:
    return f"{_day_text(spread.median)} ({_day_text(spread.earliest)} to {_day_text(spread.latest)})"


def _day_text(on: MonthDay) -> str:
    return f"{on.day} {MONTHS[on.month - 1]}"


def _print_keeping(told: Keeping) -> None:
    _print_head(told.lawn, told.basis)
    if told.answer is not None:
        typer.echo(_answer_text(told, told.answer))
    if told.asked is not None:
        typer.echo(_need_text(told.asked))
    if told.fastest_from is not None:
        typer.echo(f"The fastest 30 days begin on {_spread_text(told.fastest_from)}.")
    _print_notes(told.basis)


def _answer_text(told: Keeping, answer: Keepable) -> str:
    every = f"a cut every {counted(answer.every_days, 'day')}"
    if answer.lowest_mm is None:
        low, high = told.heights[0], told.heights[-1]
        span = f"{low.height_mm:g} to {high.height_mm:g} mm"
        return f"No height of {told.lawn.grass.name}, {span}, can be kept with {every}. {_need_text(high)}"
    lowest = f"{answer.lowest_mm:g} mm is the lowest height that can be kept with {every}"
    if answer.monotone:
        return f"{lowest}, and so can every greater one."
    lower = ", ".join(f"{mm:g}" for mm in answer.also_kept_mm)
    return (
        f"{lowest} as every greater one can. By themselves {lower} mm would do as well, but not all between: "
        "deeper roots keep grass growing faster."
    )


def _need_text(need: HeightNeed) -> str:
    at = f"{need.height_mm:g} mm"
    if need.whole_days is None or need.days is None:
        return f"{at} needs no cut within a year."
    limit = (
        f"its limit comes after {need.days:.1f} days "
        f"(fastest year {_days_text(need.fastest_year_days)}, slowest {_days_text(need.slowest_year_days)})"
    )
    if need.whole_days == 0:
        return f"{at} cannot be kept even with a daily cut: {limit}."
    days = counted(need.whole_days, "day")
    return f"{at} needs a cut at least every {days}: {limit}, rounded down so that the rule is kept."


def _days_text(days: float | None) -> str:
    return "none" if days is None else f"{days:.1f}"


def _print_head(lawn: PlannedLawn, basis: Basis) -> None:
    years = basis.years[0] if len(basis.years) == 1 else f"{basis.years[0]} to {basis.years[-1]}"
    typer.echo(
        f"{lawn.grass.name}, {counted(len(basis.years), 'year')} of weather, {years}, from {basis.source}; "
        f"no cut takes more than {lawn.third:.0%} of the blade"
    )


def _print_notes(basis: Basis) -> None:
    for left in basis.left_out:
        typer.echo(f"{left.year} left out: {left.reason}")
    if basis.filled:
        typer.echo(f"{counted(len(basis.filled), 'day')} bridged: {_dates(basis.filled)}")
    if basis.own_spin_up:
        years = ", ".join(basis.own_spin_up)
        typer.echo(f"no weather of the months before, the year's own last ones stand in: {years}")


def _dates(days: Sequence[date]) -> str:
    return ", ".join(on.isoformat() for on in days)
