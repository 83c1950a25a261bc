"""Commands for keys with which a keeper's own programs ask."""

from typing import Annotated, Any

import typer

from mowalert.cli.common import (
    AtOption,
    JsonOption,
    counted,
    moment,
    one_line_errors,
    opened,
    print_json,
)
from mowalert.service.keepers.keys import Scope, list_keys, make_key, revoke_key
from mowalert.service.ports import ApiKeyRecord

app = typer.Typer(no_args_is_help=True, help="Make, list and revoke keys of keepers' own programs.")
MOST_ID = 2**31 - 1


def register(parent: typer.Typer) -> None:
    """Add the commands."""
    parent.add_typer(app, name="api-key")


@app.command("make")
def make(
    keeper: Annotated[str, typer.Argument(help="The keeper's number, or their e-mail address.")],
    name: Annotated[str, typer.Option("--name", help="What tells this key from others.")],
    scope: Annotated[
        list[Scope] | None, typer.Option("--scope", help="What it may do; give it more than once for more.")
    ] = None,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Make a key and show it, once: only a digest of it is kept."""
    with one_line_errors(), opened() as services:
        made = make_key(services.store, keeper, name=name, scopes=scope or (), now=moment(at))
        if json:
            print_json({"key": made.key, **_facts(made.record)})
            return
        typer.echo(made.key)
        typer.echo(f"{_line(made.record)}; it is not shown again", err=True)


@app.command("list")
def list_all(json: JsonOption = False) -> None:
    """List keys, never the keys themselves."""
    with one_line_errors(), opened() as services:
        keys = list_keys(services.store)
        if json:
            print_json([{**_facts(key), "keeper": keeper.name} for key, keeper in keys])
            return
        for key, keeper in keys:
            typer.echo(f"{_line(key)} ({keeper.name})")
        typer.echo(counted(len(keys), "key"))


@app.command("revoke")
def revoke(
    key_id: Annotated[int, typer.Argument(min=1, max=MOST_ID, help="The key's number, from `api-key list`.")],
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Make a key void for good."""
    with one_line_errors(), opened() as services:
        key = revoke_key(services.store, key_id, now=moment(at))
        if json:
            print_json(_facts(key))
        else:
            typer.echo(_line(key))


def _facts(key: ApiKeyRecord) -> dict[str, Any]:
    names = ("key_id", "keeper_id", "name", "scopes", "created_at", "revoked_at")
    return {name: getattr(key, name) for name in names}


def _line(key: ApiKeyRecord) -> str:
    revoked = f", revoked {key.revoked_at:%Y-%m-%d}" if key.revoked_at else ""
    scopes = ", ".join(key.scopes)
    return f"key {key.key_id} {key.name!r} of keeper {key.keeper_id}: {scopes}{revoked}"
