"""Commands that keep a store safe."""

from pathlib import Path
from typing import Annotated

import typer

from mowalert.cli.common import (
    AtOption,
    JsonOption,
    counted,
    moment,
    one_line_errors,
    print_json,
    settings_now,
)
from mowalert.service.backup import Backup, back_up, restore
from mowalert.store.backup import SqlCopies

FileArgument = Annotated[Path, typer.Argument(help="The backup's file.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("backup")(backup)
    app.command("restore")(bring_back)


def backup(path: FileArgument, at: AtOption = None, json: JsonOption = False) -> None:
    """Copy the whole store into one file, while the service runs."""
    with one_line_errors():
        _tell(back_up(SqlCopies(settings_now().store_url), path, at=moment(at)), "backed up", json=json)


def bring_back(
    path: FileArgument,
    nothing_since: Annotated[
        bool,
        typer.Option(
            "--nothing-since",
            help="Nothing can have been sent since the backup was made: what waits in it still goes out.",
        ),
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Give up what the store has, if it is not empty.")
    ] = False,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Fill an empty store, SQLite or PostgreSQL, from a backup of either; all of it or nothing."""
    with one_line_errors():
        copies = SqlCopies(settings_now().store_url)
        done = restore(copies, path, at=moment(at), nothing_since=nothing_since, replace=replace)
        _tell(done, "restored", json=json)
        if not (json or nothing_since):
            typer.echo(
                "Messages that waited in it are of unknown fate and do not go; "
                "what came due until now is not told again."
            )


def _tell(known: Backup, done: str, *, json: bool) -> None:
    if json:
        print_json(
            {
                "schema": known.schema,
                "program": known.program,
                "made_at": known.made_at,
                "rows": {table.name: table.rows for table in known.tables},
            }
        )
        return
    typer.echo(
        f"{done}: {counted(known.rows, 'row')} of {counted(len(known.tables), 'table')}, "
        f"version {known.schema}, made {known.made_at:%Y-%m-%d %H:%M} UTC"
    )
