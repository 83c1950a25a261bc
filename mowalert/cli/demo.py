"""The demo command."""

from itertools import groupby
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from mowalert.cli.common import JsonOption, one_line_errors, print_json
from mowalert.demo.play import Season, Told, play_season
from mowalert.demo.town import TOWN

SHOWN = 12


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("demo")(demo)


def demo(
    folder: Annotated[Path, typer.Option("--folder", help="Where messages are written.")] = Path("var/demo"),
    everything: Annotated[bool, typer.Option("--all", help="Show every line of the table.")] = False,
    json: JsonOption = False,
) -> None:
    """Play a season of an invented town: who is told what, and why. No network."""
    with one_line_errors(), Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(f"a season in {TOWN}", total=None)
        season = play_season(
            folder, progress=lambda done, total: bar.update(task, completed=done, total=total)
        )
    if json:
        print_json(season)
    else:
        _show(season, most=None if everything else SHOWN)


def _show(season: Season, *, most: int | None) -> None:
    console = Console(width=None if Console().is_terminal else 150)
    for spell, lines in groupby(season.told, key=lambda line: line.spell):
        console.print(_table(spell, list(lines), most))
    kinds = ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in season.by_kind.items())
    console.print(f"{season.lawns} lawns; told: {kinds}; {season.cuts_reported} cuts reported by crews.")
    console.print(f"{season.mails} e-mails and {season.texts} short messages are in {season.folder}.")
    console.print("Town, people and weather are invented.")


def _table(spell: str, lines: list[Told], most: int | None) -> Table:
    shown = lines if most is None else lines[:most]
    more = f" (the first {len(shown)} of {len(lines)})" if len(shown) < len(lines) else ""
    table = Table(title=f"{spell}{more}", title_justify="left", box=None, padding=(0, 2, 0, 0))
    for heading in ("day", "who", "lawn", "told", "why"):
        table.add_column(heading)
    for line in shown:
        table.add_row(f"{line.on:%a %d %b}", line.who, line.lawn, line.what, line.why)
    return table
