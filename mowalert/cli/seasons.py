"""Commands that look ahead and play seasons."""

import csv
from io import StringIO
from pathlib import Path
from typing import Annotated

import typer

from mowalert.cli.common import (
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
    write_text,
)
from mowalert.domain.season import CutAt, Season
from mowalert.domain.words import Sun, Watering
from mowalert.errors import InputError
from mowalert.parameters import load_turf
from mowalert.service.lawns.look import outlook_of
from mowalert.service.region.simulate import SeasonLawn, SeasonWeather, read_weather, simulate
from mowalert.settings import config_file


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("simulate")(simulate_season)
    app.command("outlook")(outlook)


def simulate_season(
    weather: Annotated[Path, typer.Option("--weather", help="Daily weather (CSV).")],
    latitude: Annotated[float, typer.Option("--latitude", min=-75, max=75, help="Degrees, south negative.")],
    grass: Annotated[str, typer.Option("--grass", help="Name or id of the grass.")],
    height_mm: Annotated[float, typer.Option("--height-mm", help="Height it is cut to.")],
    elevation: Annotated[float, typer.Option("--elevation", min=-450, max=6000, help="Metres.")] = 0.0,
    soil: Annotated[str, typer.Option("--soil", help="Soil texture.")] = "loam",
    watering: Annotated[Watering, typer.Option("--watering", help="Watered when dry?")] = Watering.NONE,
    sun: Annotated[Sun, typer.Option("--sun", help="Share of the sun.")] = Sun.FULL,
    nitrogen: Annotated[
        float | None,
        typer.Option("--nitrogen", min=0, max=10, help="Pounds per 1000 square feet and year."),
    ] = None,
    cut_at: Annotated[
        CutAt, typer.Option("--cut-at", help="Last safe day, or as soon as it may.")
    ] = CutAt.LIMIT,
    json: JsonOption = False,
    plot: Annotated[Path | None, typer.Option("--plot", help="Draw the season (PNG).")] = None,
    csv_file: Annotated[Path | None, typer.Option("--csv", help="Write the days (CSV).")] = None,
) -> None:
    """Play a season offline: when the lawn is cut, held, and how much it grows."""
    with one_line_errors():
        turf = load_turf(config_file("grasses.toml"))
        lawn = SeasonLawn(
            grass=turf.grass(grass),
            height_mm=height_mm,
            latitude_deg=latitude,
            elevation_m=elevation,
            soil=turf.soil(soil),
            watering=watering,
            sun=sun,
            nitrogen=nitrogen,
        )
        days = _read(weather)
        season = simulate(days, lawn, turf, cut_at=cut_at)
        if plot is not None:
            drawing("plots").draw_season(season, lawn, plot)
        if csv_file is not None:
            write_text(csv_file, _days_table(season))
        if json:
            print_json(_season_json(season))
        else:
            _print_season(season, whole=csv_file is None and plot is None)
        if days.filled:
            typer.echo(f"{counted(len(days.filled), 'day')} bridged: something was missing", err=True)


def _read(path: Path) -> SeasonWeather:
    try:
        return read_weather(read_text(path))
    except InputError as error:
        raise InputError(str(error) if str(path) in str(error) else f"{path}: {error}") from error


def _season_json(season: Season) -> dict[str, object]:
    days = [
        {"date" if key == "on" else key: value for key, value in as_json(day).items()} for day in season.days
    ]
    mowings = [
        {"date" if key == "on" else key: value for key, value in as_json(cut).items()}
        for cut in season.mowings
    ]
    return {"days": days, "mowings": mowings, "holds": season.holds, "summary": season.summary}


def _days_table(season: Season) -> str:
    rows = _season_json(season)["days"]
    text = StringIO()
    table = csv.DictWriter(text, list(rows[0]), lineterminator="\n")  # type: ignore[index]
    table.writeheader()
    table.writerows(rows)  # type: ignore[arg-type]
    return text.getvalue()


def _print_season(season: Season, *, whole: bool) -> None:
    cuts = [
        (
            cut.on,
            f"{cut.on}  cut {cut.height_before_mm:.1f} mm to {cut.height_after_mm:.1f} mm, "
            f"{cut.removed_fraction:.0%} of the blade",
        )
        for cut in season.mowings
    ]
    holds = [(hold.start, f"{hold.start}  hold to {hold.end}: {hold.reason}") for hold in season.holds]
    for _, line in sorted(cuts + holds) if whole else ():
        typer.echo(line)
    summary = season.summary
    typer.echo(
        f"{counted(summary.mowings, 'cut')}, median interval {_days(summary.median_interval_days)}, "
        f"largest share {summary.max_removed_fraction:.1%}, {summary.grown_mm:.0f} mm of the stand's growth, "
        f"{summary.clippings_n_kg_ha:.0f} kg/ha nitrogen in clippings"
    )


def _days(count: float | None) -> str:
    return "unknown" if count is None else f"{count:g} days"


def outlook(
    lawn_id: Annotated[int, typer.Argument(help="The lawn's number.")],
    at: AtOption = None,
    json: JsonOption = False,
    plot: Annotated[Path | None, typer.Option("--plot", help="Draw the days (PNG).")] = None,
) -> None:
    """Show a lawn's next ten days."""
    with one_line_errors(), opened() as services:
        seen = outlook_of(services.store, services.turf, services.policy, lawn_id, now=moment(at))
        if plot is not None:
            drawing("plots").draw_outlook(seen, services.turf.grasses[seen.lawn.grass].name, plot)
        if json:
            print_json(seen)
            return
        typer.echo(
            f"{seen.place}: {services.turf.grasses[seen.lawn.grass].name} kept at {seen.lawn.chosen_mm:g} mm"
        )
        for day in seen.days:
            mark = "over the limit" if day.over_limit else "window open" if day.window_open else ""
            weather = (
                ""
                if day.t_max_c is None
                else f"{day.t_min_c:4.0f} to {day.t_max_c:3.0f} °C, {day.rain_mm or 0:4.1f} mm"
            )
            held = f"hold: {day.hold}" if day.hold else mark
            typer.echo(f"{day.on:%a %d %b}  {day.height_mm:6.1f} mm  {weather:26}  {held}")
        if seen.spread is not None and seen.spread.early_on is not None:
            latest = seen.spread.late_on or "beyond these days"
            typer.echo(f"limit: early case {seen.spread.early_on}, late case {latest}")
        if seen.guide is not None:
            typer.echo(f"region guide: {seen.guide.title}, version {seen.guide.version}")
        fresh = "" if seen.fresh else " (too old for advice)"
        typer.echo(f"weather: {', '.join(seen.sources)} of {seen.fetched_at:%Y-%m-%d %H:%M} UTC{fresh}")
