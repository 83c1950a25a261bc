"""The answer page of a notice, in the terminal."""

from typing import Annotated

import typer

from mowalert.cli.common import JsonOption, one_line_errors, opened, print_json
from mowalert.domain.lawn import place_name
from mowalert.errors import InputError
from mowalert.service.telling.why import Why, notices_of
from mowalert.service.telling.why import why as why_told


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("why")(why)


def why(
    notice: Annotated[int | None, typer.Argument(help="The notice's number.")] = None,
    lawn: Annotated[int | None, typer.Option("--lawn", help="List this lawn's notices instead.")] = None,
    json: JsonOption = False,
) -> None:
    """Say why a notice was sent: weather, growth, limit and rules, computed again from the store."""
    with one_line_errors(), opened() as services:
        if lawn is not None:
            told = notices_of(services.store, lawn)
            if json:
                print_json(told)
                return
            for record in told:
                reason = f", {record.reason}" if record.reason else ""
                typer.echo(f"{record.told_id:>6}  {record.on}  {record.kind}{reason}")
            return
        if notice is None:
            raise InputError("say the number of a notice, or --lawn LAWN to list a lawn's")
        chain = why_told(services.store, services.turf, services.policy, notice)
        if json:
            print_json(chain)
        else:
            _show(chain)


def _show(chain: Why) -> None:
    said = chain.notice
    place = place_name(said.site_name, said.lawn_name)
    typer.echo(
        f"{said.kind} on {said.on}: {place} ({said.grass_name}), decided {chain.told_at:%Y-%m-%d %H:%M} UTC"
    )
    typer.echo(f"weather of {chain.weather_fetched_at:%Y-%m-%d %H:%M} UTC")
    typer.echo("day         source         low   high   rain  degree-days  water  growth  height")
    for day in chain.days:
        typer.echo(
            f"{day.on}  {day.source:<12} {day.t_min_c:5.1f}  {day.t_max_c:5.1f}  {day.rain_mm:5.1f}  "
            f"{day.gdd_c:11.1f}  {day.water_stress:5.2f}  {day.stand_growth_mm:6.2f}  {day.height_mm:6.1f}"
        )
    typer.echo(
        f"grows {chain.pace:.2f} times its stand; window {chain.window_height_mm:.0f} mm, limit "
        f"{chain.limit_height_mm:.0f} mm, that day {said.height_mm:.1f} mm"
    )
    for hold in chain.holds:
        numbers = ", ".join(f"{name} {value:g}" for name, value in hold.facts)
        state = "in force" if hold.reason in chain.in_force else "no"
        typer.echo(f"hold {hold.reason:<12} {state:<9} {numbers}")
    for name, done in chain.rules:
        typer.echo(f"rule {name.replace('_', ' '):<16} {'decides' if done else 'passes on'}")
    if not chain.moved:
        typer.echo("computed again, it says the same")
    for name, old, new in chain.moved:
        typer.echo(f"{name}: said {old}, now {new}")
