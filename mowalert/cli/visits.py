"""Commands of visits: what was done at lawns, what was skipped, and the record a client is handed."""

from datetime import timedelta
from pathlib import Path
from typing import Annotated

import typer

from mowalert.cli.common import (
    AtOption,
    JsonOption,
    OrganisationOption,
    day,
    moment,
    needed_day,
    one_line_errors,
    opened,
    print_json,
    today_of,
    write_files,
)
from mowalert.cli.company import OnOption, keeper_id_of
from mowalert.service.crew_records import Outcome, SkipReason, VisitRecord
from mowalert.service.crews.visits import Visit, report_visit, undo_visit, visits_between
from mowalert.service.known import organisation

SHOWN_D = 30

visits_app = typer.Typer(no_args_is_help=True, help="What was done at lawns, and what was skipped.")


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.add_typer(visits_app, name="visits")


@visits_app.command("add")
def add_visit(
    lawn: int,
    keeper: OrganisationOption,
    outcome: Annotated[Outcome, typer.Option(help="done or skipped.")] = Outcome.DONE,
    reason: Annotated[SkipReason | None, typer.Option(help="Why it was skipped.")] = None,
    on: OnOption = None,
    minutes: Annotated[float | None, typer.Option(help="At the lawn.")] = None,
    height_mm: Annotated[float | None, typer.Option(help="Height after the cut.")] = None,
    note: str = "",
    by: Annotated[str, typer.Option(help="Who says so.")] = "the office",
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Report a visit to a lawn."""
    with one_line_errors(), opened() as services:
        now = moment(at)
        with services.store.begin() as work:
            of = organisation(work, keeper)
        visit = Visit(lawn, day(on) or of.today(now), outcome, reason, note, minutes, height_mm)
        taken = report_visit(services.store, services.turf, of.keeper_id, visit, by=by, now=now)
        if json:
            print_json(taken)
        else:
            typer.echo(f"{_visit_line(taken.visit)}{' (known already)' if taken.repeated else ''}")


@visits_app.command("undo")
def take_back(visit: int, keeper: OrganisationOption, at: AtOption = None) -> None:
    """Take a visit back, and the cut it reported."""
    with one_line_errors(), opened() as services:
        undone = undo_visit(
            services.store, services.turf, keeper_id_of(services, keeper), visit, now=moment(at)
        )
        typer.echo(f"taken back: {_visit_line(undone)}")


@visits_app.command("list")
def list_visits(
    keeper: OrganisationOption,
    first: Annotated[str | None, typer.Option("--from", help="First day; a month ago if not given.")] = None,
    last: Annotated[str | None, typer.Option("--to", help="Last day; today if not given.")] = None,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """List visits."""
    with one_line_errors(), opened() as services:
        now = moment(at)
        with services.store.begin() as work:
            of = organisation(work, keeper)
        to_day = day(last) or of.today(now)
        from_day = day(first) or to_day - timedelta(days=SHOWN_D)
        found = visits_between(services.store, of.keeper_id, first=from_day, last=to_day)
        if json:
            print_json(found)
            return
        for visit in found:
            typer.echo(_visit_line(visit))


@visits_app.command("upload")
def upload_visits(
    file: Annotated[Path, typer.Argument(help="Table of visits (.csv or .xlsx).")],
    keeper: OrganisationOption,
    despite: Annotated[bool, typer.Option("--despite", help="Keep the good rows despite bad ones.")] = False,
    by: Annotated[str, typer.Option(help="Who says so.")] = "the office",
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Keep the visits of a table; every bad row is named, and then nothing is kept."""
    from mowalert.office.sheets import read_sheet
    from mowalert.service.crews.visit_table import take_visits

    with one_line_errors(), opened() as services:
        sheet, now = read_sheet(file), moment(at)
        taken = take_visits(services.store, services.turf, keeper, sheet, by=by, now=now, despite=despite)
        if json:
            print_json(taken)
        else:
            for problem in taken.problems:
                typer.echo(str(problem), err=True)
            typer.echo(f"{taken.kept} kept, {taken.known} known already, {len(taken.problems)} refused")
        if taken.problems:
            raise typer.Exit(2)


@visits_app.command("record")
def record(
    keeper: OrganisationOption,
    site: Annotated[str, typer.Option(help="The property's name or number.")],
    first: Annotated[str, typer.Option("--from", help="First day.")],
    last: Annotated[str | None, typer.Option("--to", help="Last day; today if not given.")] = None,
    language: Annotated[str, typer.Option(help="en or es.")] = "en",
    html: Annotated[Path | None, typer.Option(help="Page.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="PDF.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Comma-separated values.")] = None,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Write a property's season for its client: cuts, shares, holds, and why a visit was skipped.

    Several files are written all or none.
    """
    from mowalert.channels.client_words import COLUMNS, record_page, record_rows
    from mowalert.office.day_table import as_csv
    from mowalert.office.paper import as_pdf
    from mowalert.service.crews.client_record import client_record

    with one_line_errors(), opened() as services:
        now = moment(at)
        first_on, last_on = needed_day(first), day(last) or today_of(services, keeper, now)
        found = client_record(services.store, keeper, site, first=first_on, last=last_on)
        page = record_page(found, language=language, service_name=services.settings.service.name)
        files = [(html, page.encode())] if html else []
        files += [(pdf, as_pdf(page))] if pdf else []
        files += [(csv, as_csv(record_rows(found), COLUMNS).encode())] if csv else []
        write_files(files)
        if json:
            print_json(found)
        elif not files:
            for line in found.lines:
                typer.echo(f"{line.on} {line.lawn}: {line.what} {line.reason}".rstrip())


@visits_app.command("link")
def link(
    keeper: OrganisationOption,
    site: Annotated[str, typer.Option(help="The property's name or number.")],
    first: Annotated[
        str | None, typer.Option("--from", help="First day; the year's first if not given.")
    ] = None,
    void: Annotated[bool, typer.Option("--void", help="Make the links given out so far void.")] = False,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Make the link at which a client can read their property's record, and nothing else."""
    from mowalert.service.crews.client_links import client_link, void_client_links

    with one_line_errors(), opened() as services:
        if void:
            void_client_links(services.store, keeper, site)
        url = client_link(services.store, services.links, keeper, site, first=day(first), now=moment(at))
        if json:
            print_json({"url": url})
        else:
            typer.echo(url)


def _visit_line(visit: VisitRecord) -> str:
    took = f", took {visit.removed:.0%}" if visit.removed is not None else ""
    why = f" ({visit.reason})" if visit.reason else ""
    what = f"{visit.outcome}{why}{took} {visit.note}".rstrip()
    return f"{visit.visit_id}: lawn {visit.lawn_id}, {visit.on}, {what}"
