"""Commands for those who may look at the operators' page."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from mowalert.cli.common import JsonOption, counted, one_line_errors, opened, print_json, read_text
from mowalert.service.upkeep.operators import operators, remove_operator, set_operator

app = typer.Typer(no_args_is_help=True, help="Say who may look at the operators' page.")
Name = Annotated[str, typer.Argument(help="The operator's name.")]


def register(parent: typer.Typer) -> None:
    """Add the commands."""
    parent.add_typer(app, name="operator")


@app.command("set")
def set_password(
    name: Name,
    password_file: Annotated[
        Path | None, typer.Option("--password-file", help="File that holds the password; asked for if none.")
    ] = None,
) -> None:
    """Let somebody look, or change their password; whoever is signed in under that name no longer is."""
    with one_line_errors(), opened() as services:
        if password_file is None:
            password = typer.prompt("Password", hide_input=True, confirmation_prompt=True)
        else:
            password = read_text(password_file)
        new = set_operator(services.store, name, password, now=datetime.now(UTC))
        typer.echo(f"{name} {'may look now' if new else 'has a new password'}")


@app.command("remove")
def remove(name: Name) -> None:
    """Let somebody look no longer, at once."""
    with one_line_errors(), opened() as services:
        remove_operator(services.store, name)
        typer.echo(f"{name} may look no longer")


@app.command("list")
def list_operators(json: JsonOption = False) -> None:
    """List the operators, and when their passwords were set."""
    with one_line_errors(), opened() as services:
        found = operators(services.store)
        if json:
            print_json(found)
            return
        for one in found:
            typer.echo(f"{one.name}  since {one.changed_at:%Y-%m-%d %H:%M} UTC")
        typer.echo(counted(len(found), "operator"))
