"""The command that brings an office's spreadsheet in: first it shows, then, confirmed, it keeps."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
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
    write_text,
)
from mowalert.errors import InputError
from mowalert.office.sheets import read_sheet
from mowalert.service.office.completion import completion_table, known_positions, read_positions
from mowalert.service.office.mapping import ColumnMapping, propose
from mowalert.service.office.move_in import MoveIn, move_in
from mowalert.service.office.office_rows import Conversion
from mowalert.service.office.office_table import OfficeTable, office_table
from mowalert.service.reading.lawn_rows import Problem
from mowalert.service.reading.sheet import Sheet
from mowalert.service.reading.written import DayOrder, Decimals
from mowalert.wiring import Services

MOST_SHOWN = 40
KINDS_SHOWN = 3
LONGEST_NAME = 40


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("move-in")(bring_in)


def bring_in(
    file: Annotated[Path, typer.Argument(help="Spreadsheet (.xlsx or .csv) as the office has it.")],
    keeper: Annotated[str | None, typer.Option("--keeper", help="The organisation, for every row.")] = None,
    kind: Annotated[str | None, typer.Option(help="company or parks; company if nothing tells.")] = None,
    email: Annotated[str | None, typer.Option(help="The organisation's address, for every row.")] = None,
    sheet: Annotated[str | None, typer.Option(help="Sheet of a workbook.")] = None,
    header_line: Annotated[int | None, typer.Option(min=1, help="Line of the column names.")] = None,
    mapping: Annotated[str | None, typer.Option(help="Name under which the columns are kept.")] = None,
    said: Annotated[
        list[str] | None, typer.Option("--map", help="Their column=ours; 'Theirs=' leaves it alone.")
    ] = None,
    fixed: Annotated[
        list[str] | None, typer.Option("--set", help="Our column=text, where the sheet tells none.")
    ] = None,
    decimals: Annotated[Decimals | None, typer.Option(help="The mark before decimals.")] = None,
    dates: Annotated[DayOrder | None, typer.Option(help="The order of day and month.")] = None,
    positions: Annotated[Path | None, typer.Option(help="Completed list of positions.")] = None,
    write_missing: Annotated[Path | None, typer.Option(help="Write what has no position (CSV).")] = None,
    confirm: Annotated[str | None, typer.Option(help="The fingerprint shown: keep it.")] = None,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Bring an office's spreadsheet in. Without --confirm it only shows what would be done.

    By confirming you state that these people agreed to get messages.
    """
    with one_line_errors(), opened() as services:
        told = read_sheet(file, name=sheet, header_line=header_line)
        values = _pairs(fixed)
        for column, text in (("keeper", keeper), ("kind", kind), ("email", email)):
            if text:
                values[column] = text
        columns = propose(
            told.header,
            saved=_saved(services, mapping),
            said=_pairs(said),
            fixed=values,
            decimals=decimals,
            dates=dates,
        )
        columns = columns.with_usual("kind", "company")
        if not json:
            _show_columns(columns)
        _check_columns(columns)
        table = _table(services, told, columns, positions)
        if write_missing:
            write_text(write_missing, "\ufeff" + completion_table(table.placeless))
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


def _check_columns(columns: ColumnMapping) -> None:
    if columns.lacking:
        names = ", ".join(columns.lacking)
        raise InputError(
            f"nothing tells {names}: say --map 'THEIR COLUMN=OURS', or --set 'OURS=TEXT' for all rows"
        )


def _table(services: Services, told: Sheet, columns: ColumnMapping, positions: Path | None) -> OfficeTable:
    listed = read_positions(read_sheet(positions)) if positions else None
    return office_table(
        told, columns, listed, known_positions(services.store, columns.fixed.get("keeper", ""))
    )


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


def _show_columns(columns: ColumnMapping) -> None:
    typer.echo("columns")
    for one in columns.columns:
        typer.echo(f"  {one.theirs[:30]:<30} -> {one.ours or '-':<14} {one.why}")
    for ours, text in columns.fixed.items():
        where = "(every row)" if ours not in columns.theirs else "(where the sheet tells none)"
        typer.echo(f"  {where:<30} -> {ours:<14} {text}")


def _show(columns: ColumnMapping, done: MoveIn) -> None:
    _listed("remarks", "remark", list(done.remarks))
    _listed("read otherwise than written", "column", list(_conversions(columns, done.conversions)))
    _listed("rows that stay out", "cell", [_problem(columns, one) for one in done.problems])
    placeless = [f"line {one.line}: {one.number} {one.address}" for one in done.placeless]
    _listed("without a position (--write-missing lists them, --positions takes the list)", "row", placeless)
    changes = [
        f"{one.lawn}: {one.column} {one.before or 'nothing'} -> {one.after or 'nothing'}"
        for one in done.changes
    ]
    _listed("changes", "change", changes)
    _listed("known already and not in the sheet (they stay)", "lawn", list(done.missing))
    typer.echo(
        f"{done.added} new, {done.changed} changed, {done.unchanged} the same, "
        f"{done.refused} refused, {done.waiting} waiting for a position"
    )
    if done.kept:
        typer.echo("kept")
    else:
        typer.echo(f"nothing is kept yet; to keep it add --confirm {done.fingerprint}")


def _problem(columns: ColumnMapping, problem: Problem) -> str:
    """A problem under the name the office gives the column."""
    theirs = columns.theirs.get(problem.column, problem.column)
    named = problem.column if theirs == problem.column else f"{theirs} ({problem.column})"
    return str(replace(problem, column=named))


def _conversions(columns: ColumnMapping, conversions: Sequence[Conversion]) -> Iterator[str]:
    """One line a column: how many of its cells, and the first of them."""
    by_column: dict[str, list[Conversion]] = {}
    for one in conversions:
        by_column.setdefault(one.column, []).append(one)
    for column, found in by_column.items():
        kinds = list({(one.written, one.read_as): one for one in reversed(found)}.values())[::-1]
        shown = "; ".join(f"{one.written} as {one.read_as} (line {one.line})" for one in kinds[:KINDS_SHOWN])
        yield f"{columns.theirs.get(column, column)}: {counted(len(found), 'cell')}, such as {shown}"


def _listed(title: str, what: str, lines: list[str]) -> None:
    if not lines:
        return
    typer.echo(f"{title}: {counted(len(lines), what)}")
    for line in lines[:MOST_SHOWN]:
        typer.echo(f"  {line}")
    if len(lines) > MOST_SHOWN:
        typer.echo(f"  and {len(lines) - MOST_SHOWN} more; --json has them all")
