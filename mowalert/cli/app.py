"""The command line and its sub-commands."""

from pathlib import Path
from typing import Annotated

import typer

from mowalert import __version__
from mowalert.cli import demo, keeping, lawns, nights, seasons
from mowalert.cli.common import CONFIG

app = typer.Typer(
    name="mowalert",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    help="Tells people when a third of the grass has grown, so that they mow by growth.",
)
app.add_typer(lawns.app, name="lawns")
for module in (seasons, keeping, nights, demo):
    module.register(app)


@app.callback(invoke_without_command=True)
def options(
    context: typer.Context,
    config: Annotated[Path | None, typer.Option("--config", help="Settings file (TOML).")] = None,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    """Remember where the settings are."""
    CONFIG["path"] = config
    if version:
        typer.echo(f"mowalert {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())
        raise typer.Exit(2)


def main() -> None:
    """Run the command line."""
    app()
