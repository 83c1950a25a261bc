"""The command line: which module holds which command.

A command's module is loaded when it is asked for, so that none waits for what it does not use.
"""

from collections.abc import Iterator, Mapping
from importlib import import_module
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from mowalert import __version__
from mowalert.cli.common import CONFIG

COMMANDS = {
    "demo": "demo",
    "simulate": "seasons",
    "plan": "planning",
    "keepable": "planning",
    "lawns": "lawns",
    "guides": "guides",
    "keep-off": "guides",
    "bulletin": "bulletins",
    "mowed": "keeping",
    "measured": "keeping",
    "due": "keeping",
    "holds": "keeping",
    "move-in": "move_in",
    "crews": "crews",
    "contacts": "contacts",
    "visits": "visits",
    "parks": "parks",
    "restrictions": "outdoors",
    "watering": "outdoors",
    "heat": "outdoors",
    "warnings": "official",
    "why": "answers",
    "outlook": "seasons",
    "report": "lookback",
    "night": "nights",
    "deliver": "nights",
    "bounce": "bounces",
    "bounces": "bounces",
    "scheduler": "nights",
    "worker": "nights",
    "serve": "pages",
    "api-key": "keys",
    "operator": "operators",
    "status": "nights",
    "check-config": "nights",
    "init-store": "nights",
    "tidy": "nights",
    "backup": "backups",
    "restore": "backups",
}
"""Modules of this package by command, in the order of the help; each has ``register(app)``."""


class Loaded(Mapping[str, Any]):
    """Commands by name, each loaded when it is asked for."""

    def __getitem__(self, name: str) -> Any:
        module = import_module(f"mowalert.cli.{COMMANDS[name]}")
        loaded = typer.Typer()
        # With a callback a lone command stays under its name.
        loaded.callback()(lambda: None)
        module.register(loaded)
        return typer.main.get_command(loaded).commands[name]  # type: ignore[attr-defined]

    def __iter__(self) -> Iterator[str]:
        return iter(COMMANDS)

    def __len__(self) -> int:
        return len(COMMANDS)


class Commands(TyperGroup):
    """Finds a command by loading its module."""

    def __init__(self, **details: Any) -> None:
        super().__init__(**details)
        self.commands = Loaded()  # type: ignore[assignment]

    def list_commands(self, ctx: Any) -> list[str]:
        """Names of all commands, in the order of the help."""
        return list(COMMANDS)


app = typer.Typer(
    name="mowalert",
    cls=Commands,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    help="Tells people when a third of the grass has grown, so that they mow by growth.",
)


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
