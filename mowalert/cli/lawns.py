"""Commands that bring lawns in and out."""

import csv
from collections.abc import Mapping, Sequence
from io import StringIO
from pathlib import Path
from typing import Annotated, Any

import typer

from mowalert.cli.common import (
    AtOption,
    JsonOption,
    counted,
    json_text,
    moment,
    one_line_errors,
    opened,
    print_json,
    read_text,
    write_text,
)
from mowalert.domain.lawn import place_name
from mowalert.service.lawns.enrol import enrol
from mowalert.service.lawns.export import export_rows
from mowalert.service.reading.lawn_rows import COLUMNS
from mowalert.service.reading.lawn_table import ImportReport, read_table
from mowalert.service.reading.sheet import no_formula
from mowalert.service.region.guides import guides_now

app = typer.Typer(no_args_is_help=True, help="Bring lawns in, out, and show them.")


def register(parent: typer.Typer) -> None:
    """Add the commands."""
    parent.add_typer(app, name="lawns")


@app.command("import")
def import_lawns(
    file: Annotated[Path, typer.Argument(help="Table of lawns (CSV with a header).")],
    all_or_nothing: Annotated[
        bool, typer.Option("--all-or-nothing", help="Store nothing if any row is bad.")
    ] = False,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Enrol lawns from a table; every bad row is named, none is dropped silently.

    By importing you state that these keepers agreed to get messages.
    """
    with one_line_errors(), opened() as services:
        now = moment(at)
        with services.store.begin() as work:
            guides = guides_now(work, services.turf)
        rows, report = read_table(read_text(file), services.turf, now=now, guides=guides)
        if all_or_nothing and report.problems:
            report.stored = False
        else:
            enrol(
                services.store,
                services.turf,
                rows,
                report,
                source=file.name,
                cell_degrees=services.settings.weather.cell_degrees,
                now=now,
            )
        _tell(report, json=json)
        if report.problems:
            raise typer.Exit(2)


def _tell(report: ImportReport, *, json: bool) -> None:
    if json:
        print_json(report)
        return
    for problem in report.problems:
        typer.echo(str(problem), err=True)
    if report.extra_columns:
        typer.echo(f"columns not known here, left alone: {', '.join(report.extra_columns)}", err=True)
    if not report.stored:
        typer.echo(f"nothing stored: {counted(report.refused_rows, 'bad row')}", err=True)
        return
    typer.echo(
        f"{report.added} added, {report.changed} changed, {report.unchanged} unchanged, "
        f"{report.refused_rows} refused"
    )
    if report.added:
        typer.echo("Consent is kept as your statement that these keepers agreed to get messages.")


@app.command("export")
def export_lawns(
    file: Annotated[Path | None, typer.Argument(help="Where to write; the screen if not given.")] = None,
    json: JsonOption = False,
) -> None:
    """Write every lawn in the import's columns."""
    with one_line_errors(), opened() as services:
        rows = export_rows(services.store)
        text = json_text(rows) if json else _table(rows)
        if file is None:
            typer.echo(text, nl=False)
        else:
            write_text(file, text)
            typer.echo(f"{counted(len(rows), 'lawn')} written to {file}")


def _table(rows: Sequence[Mapping[str, Any]]) -> str:
    text = StringIO()
    table = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    table.writeheader()
    table.writerows({name: _cell(found) for name, found in row.items()} for row in rows)
    return text.getvalue()


def _cell(found: Any) -> Any:
    return no_formula(found) if isinstance(found, str) else found


@app.command("show")
def show_lawns(
    lawn_id: Annotated[int | None, typer.Argument(help="One lawn; all if not given.")] = None,
    json: JsonOption = False,
) -> None:
    """List lawns with their numbers."""
    with one_line_errors(), opened() as services:
        rows = export_rows(services.store, lawn_id=lawn_id, with_state=True)
        if json:
            print_json(rows)
            return
        for row in rows:
            place = place_name(row["site"], row["lawn"])
            grass = services.turf.grasses[row["grass"]].name
            assumed = " (assumed)" if row["assumed"] else ""
            guide = f"; guide {row['guide']}, version {row['guide_version']}" if row["guide"] else ""
            typer.echo(
                f"{row['lawn_id']:>6}  {row['keeper']}: {place}; {grass} at "
                f"{row['height_mm']:g} mm; last cut {row['last_mown_on']}{assumed}{guide}"
            )
        typer.echo(counted(len(rows), "lawn"))
