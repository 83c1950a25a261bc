"""What commands of companies share: their options, who is meant, and how a set-up went."""

from typing import Annotated

import typer

from mowalert.cli.common import counted, print_json
from mowalert.service.crews.crew_tables import SetUpReport
from mowalert.service.known import organisation
from mowalert.wiring import Services

ConfirmOption = Annotated[
    bool, typer.Option("--confirm", help="Store the good rows although others are bad.")
]
OnOption = Annotated[str | None, typer.Option("--on", help="Day such as 2026-05-09; today if not given.")]


def keeper_id_of(services: Services, keeper: str) -> int:
    """Return the number of the organisation somebody named."""
    with services.store.begin() as work:
        return organisation(work, keeper).keeper_id


def tell_set_up(report: SetUpReport, *, json: bool) -> None:
    """Say how a set-up from a table went; exit code 2 where rows were refused."""
    if json:
        print_json(report)
    else:
        for problem in report.problems:
            typer.echo(str(problem), err=True)
        if report.stored:
            typer.echo(
                f"{report.added} added, {report.changed} changed, {report.unchanged} unchanged, "
                f"{report.refused_rows} refused"
            )
        else:
            bad = counted(report.refused_rows, "bad row")
            typer.echo(f"nothing stored: {bad}; --confirm stores the others", err=True)
    if report.problems:
        raise typer.Exit(2)
