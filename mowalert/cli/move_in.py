"""The command that brings an office's spreadsheet in: first it shows, then, confirmed, it keeps."""

from pathlib import Path
from typing import Annotated, Any

import orjson
import typer

from mowalert.cli.common import (
    AtOption,
    JsonOption,
    counted,
    moment,
    one_line_errors,
    opened,
    print_json,
    read_text,
    write_text,
)
from mowalert.errors import InputError
from mowalert.office.sheets import read_sheet
from mowalert.service.mapping import ColumnMapping, propose
from mowalert.service.move_in import MoveIn, move_in
from mowalert.service.office_table import completion_table, office_table, read_positions
from mowalert.wiring import Services

MOST_SHOWN = 40
LONGEST_NAME = 40


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("move-in")(bring_in)


def bring_in(
    file: Annotated[Path, typer.Argument(help="Spreadsheet (.xlsx or .csv) as the office has it.")],
    keeper: Annotated[str | None, typer.Option("--keeper", help="The organisation, for every row.")] = None,
    kind: Annotated[str, typer.Option(help="company or parks.")] = "company",
    email: Annotated[str | None, typer.Option(help="The organisation's address, for every row.")] = None,
    sheet: Annotated[str | None, typer.Option(help="Sheet of a workbook.")] = None,
    mapping: Annotated[str | None, typer.Option(help="Name under which the columns are kept.")] = None,
    said: Annotated[list[str] | None, typer.Option("--map", help="Their column=ours.")] = None,
    fixed: Annotated[list[str] | None, typer.Option("--set", help="Our column=text, for every row.")] = None,
    positions: Annotated[Path | None, typer.Option(help="Completed list of positions (CSV).")] = None,
    write_missing: Annotated[Path | None, typer.Option(help="Write what has no position.")] = None,
    confirm: Annotated[str | None, typer.Option(help="The fingerprint shown: keep it.")] = None,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Bring an office's spreadsheet in. Without --confirm it only shows what would be done.

    By confirming you state that these people agreed to get messages.
    """
    with one_line_errors(), opened() as services:
        told = read_sheet(file, name=sheet)
        values = _pairs(fixed)
        for column, text in (("keeper", keeper), ("kind", kind), ("email", email)):
            if text:
                values.setdefault(column, text)
        columns = propose(told.header, saved=_saved(services, mapping), said=_pairs(said), fixed=values)
        known = read_positions(read_text(positions)) if positions else None
        table = office_table(told, columns, known)
        if write_missing:
            write_text(write_missing, completion_table(table.placeless))
        done = move_in(
            services.store,
            services.turf,
            table,
            source=file.name,
            cell_degrees=services.settings.weather.cell_degrees,
            now=moment(at),
            confirm=confirm,
        )
        if done.kept and mapping:
            _keep(services, mapping, columns)
        if json:
            print_json({"mapping": columns, "done": done})
        else:
            _show(columns, done)


def _pairs(told: list[str] | None) -> dict[str, str]:
    pairs = {}
    for one in told or ():
        name, found, text = one.partition("=")
        if not found or not name.strip():
            raise InputError(f"{one!r}: a name, = and what it is are needed")
        pairs[name.strip()] = text.strip()
    return pairs


def _meta(name: str) -> str:
    if not name.isidentifier() or len(name) > LONGEST_NAME:
        raise InputError(f"a mapping's name is letters and digits, at most {LONGEST_NAME}")
    return f"mapping:{name}"


def _saved(services: Services, name: str | None) -> dict[str, Any] | None:
    if name is None:
        return None
    with services.store.begin() as work:
        kept = work.get_meta(_meta(name))
    found: dict[str, Any] | None = orjson.loads(kept) if kept else None
    return found


def _keep(services: Services, name: str, columns: ColumnMapping) -> None:
    with services.store.begin() as work:
        work.set_meta(_meta(name), orjson.dumps(columns.plain()).decode())
        work.commit()


def _show(columns: ColumnMapping, done: MoveIn) -> None:
    typer.echo("columns")
    for one in columns.columns:
        typer.echo(f"  {one.theirs[:30]:<30} -> {one.ours or '-':<14} {one.why}")
    for ours, text in columns.fixed.items():
        typer.echo(f"  {'(every row)':<30} -> {ours:<14} {text}")
    _listed("remarks", [str(one) for one in done.remarks])
    _listed("rows that stay out", [str(one) for one in done.problems])
    placeless = [f"line {one.line}: {one.number} {one.address}" for one in done.placeless]
    _listed("without a position", placeless)
    changes = [f"{one.lawn}: {one.column} {one.before} -> {one.after}" for one in done.changes]
    _listed("changes", changes)
    _listed("known already and not in the sheet (they stay)", list(done.missing))
    typer.echo(f"{done.added} new, {done.changed} changed, {done.unchanged} unchanged")
    if done.kept:
        typer.echo("kept")
    else:
        typer.echo(f"nothing is kept yet; to keep it add --confirm {done.fingerprint}")


def _listed(title: str, lines: list[str]) -> None:
    if not lines:
        return
    typer.echo(f"{title}: {counted(len(lines), 'line')}")
    for line in lines[:MOST_SHOWN]:
        typer.echo(f"  {line}")
    if len(lines) > MOST_SHOWN:
        typer.echo(f"  and {len(lines) - MOST_SHOWN} more; --json has them all")
