"""Commands of a company's work: crews, contacts, plans, hand-outs and visits."""

from datetime import timedelta
from pathlib import Path
from typing import Annotated

import orjson
import typer

from mowalert.cli.common import (
    AtOption,
    JsonOption,
    OrganisationOption,
    counted,
    day,
    moment,
    needed_day,
    one_line_errors,
    opened,
    print_json,
    read_text,
    write_bytes,
    write_text,
)
from mowalert.domain.crews import Position
from mowalert.domain.day_sheet import DaySheet, SheetReader, WeekAhead
from mowalert.domain.rounds import DAY_NAMES
from mowalert.errors import InputError
from mowalert.service.crew_records import Outcome, Role, SkipReason, VisitRecord
from mowalert.service.crew_setup import (
    NewContact,
    keep_contact,
    keep_crew,
    keep_hours,
    remove_contact,
    retire_crew,
)
from mowalert.service.crew_tables import (
    CONTACT_COLUMNS,
    CREW_COLUMNS,
    SetUpReport,
    import_contacts,
    import_crews,
)
from mowalert.service.day_hours import days_in, hours_in
from mowalert.service.day_plans import sheet_of
from mowalert.service.handing_out import change_day
from mowalert.service.known import crew_named, organisation
from mowalert.service.morning import ASKED, RAIN, plan_morning
from mowalert.service.visits import Visit, report_visit, undo_visit, visits_between
from mowalert.service.week import week_ahead
from mowalert.wiring import Services

ConfirmOption = Annotated[
    bool, typer.Option("--confirm", help="Store the good rows although others are bad.")
]
OnOption = Annotated[str | None, typer.Option("--on", help="Day such as 2026-05-09; today if not given.")]
SHOWN_D = 30

crews_app = typer.Typer(no_args_is_help=True, help="Crews, their hours and their days.")
contacts_app = typer.Typer(no_args_is_help=True, help="People of an organisation who are written to.")
visits_app = typer.Typer(no_args_is_help=True, help="What was done at lawns, and what was skipped.")


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(crews_app, name="crews")
    app.add_typer(contacts_app, name="contacts")
    app.add_typer(visits_app, name="visits")


@crews_app.command("add")
def add_crew(
    name: str,
    keeper: OrganisationOption,
    latitude: Annotated[float, typer.Option(help="Of the depot.")],
    longitude: Annotated[float, typer.Option(help="Of the depot.")],
    hours: Annotated[str, typer.Option(help="Such as 7:00-15:30.")] = "7:00-15:30",
    days: Annotated[str, typer.Option(help="Such as mon,tue,wed,thu,fri.")] = "mon,tue,wed,thu,fri",
    json: JsonOption = False,
) -> None:
    """Add a crew, or change the one of that name."""
    with one_line_errors(), opened() as services:
        from_min, to_min = hours_in(hours)
        crew = keep_crew(
            services.store,
            keeper,
            name,
            depot=Position(latitude, longitude),
            weekdays=days_in(days),
            from_min=from_min,
            to_min=to_min,
        )
        if json:
            print_json(crew)
        else:
            typer.echo(f"crew {crew.name}: {hours}, {days}")


@crews_app.command("import")
def crews_from_table(
    file: Annotated[Path, typer.Argument(help=f"Table with the columns {', '.join(CREW_COLUMNS)}.")],
    keeper: OrganisationOption,
    confirm: ConfirmOption = False,
    json: JsonOption = False,
) -> None:
    """Add or change crews from a table; every bad row is named, and nothing is stored if there is one."""
    with one_line_errors(), opened() as services:
        _tell(import_crews(services.store, keeper, read_text(file), confirmed=confirm), json=json)


def _tell(report: SetUpReport, *, json: bool) -> None:
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


@crews_app.command("hours")
def crew_hours(
    name: str,
    keeper: OrganisationOption,
    on: Annotated[str, typer.Option("--on", help="Day such as 2026-05-09.")],
    hours: Annotated[str, typer.Option(help="Such as 7:00-12:00, or none.")],
    note: str = "",
    json: JsonOption = False,
) -> None:
    """Give a crew other hours on one day, or none."""
    with one_line_errors(), opened() as services:
        on_day = needed_day(on)
        from_min, to_min = (0, 0) if hours.casefold() == "none" else hours_in(hours)
        kept = keep_hours(services.store, keeper, name, on_day, from_min=from_min, to_min=to_min, note=note)
        if json:
            print_json(kept)
        else:
            typer.echo(f"crew {name} on {on_day}: {hours}")


@crews_app.command("retire")
def retire(name: str, keeper: OrganisationOption) -> None:
    """Let a crew work no more."""
    with one_line_errors(), opened() as services:
        typer.echo(f"crew {retire_crew(services.store, keeper, name).name} works no more")


@crews_app.command("list")
def list_crews(keeper: OrganisationOption, json: JsonOption = False) -> None:
    """List an organisation's crews."""
    with one_line_errors(), opened() as services:
        with services.store.begin() as work:
            crews = work.crews.crews(organisation(work, keeper).keeper_id)
        if json:
            print_json(crews)
            return
        for crew in crews:
            days = ",".join(name for bit, name in enumerate(DAY_NAMES) if crew.weekdays >> bit & 1)
            hours = f"{_clock(crew.from_min)}-{_clock(crew.to_min)}"
            typer.echo(f"{crew.name:<20} {hours:<12} {days}{' (retired)' if crew.retired else ''}")


def _clock(minute: int) -> str:
    return f"{minute // 60}:{minute % 60:02}"


@crews_app.command("plan")
def plan(
    keeper: OrganisationOption, on: OnOption = None, at: AtOption = None, json: JsonOption = False
) -> None:
    """Plan a day, or show its plan; nothing is sent."""
    with one_line_errors(), opened() as services:
        now = moment(at)
        sheet = plan_morning(
            services.store,
            services.turf,
            services.policy,
            services.dispatch,
            _keeper_id(services, keeper),
            now=now,
            on=day(on),
        )
        if json:
            print_json(sheet)
        elif sheet is None:
            typer.echo("no crew works that day")
        else:
            _show(sheet)


@crews_app.command("replan")
def replan(
    keeper: OrganisationOption,
    why: Annotated[
        str, typer.Option(help=f"{ASKED} or {RAIN}; after rain the next days are planned too.")
    ] = ASKED,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Plan the rest of today again and tell whoever's part changed."""
    with one_line_errors(), opened() as services:
        if why not in (ASKED, RAIN):
            raise InputError(f"--why {why!r}; allowed: {ASKED}, {RAIN}")
        office = services.office
        if office is None:
            services.dispatch  # noqa: B018 - says what is missing
            return
        made = change_day(
            services.store,
            services.turf,
            services.policy,
            office,
            _keeper_id(services, keeper),
            now=moment(at),
            why=why,
        )
        if json:
            print_json(made)
            return
        typer.echo("everything stays as it is" if not made else f"{counted(len(made), 'plan')} made")
        for sheet in made:
            _show(sheet)


@crews_app.command("week")
def week(keeper: OrganisationOption, at: AtOption = None, json: JsonOption = False) -> None:
    """Show the hours that fall due on seven days against the crews' hours."""
    with one_line_errors(), opened() as services:
        ahead = week_ahead(
            services.store, services.turf, services.policy, _keeper_id(services, keeper), now=moment(at)
        )
        if json:
            print_json(ahead)
        else:
            _show_week(ahead)


def _show_week(ahead: WeekAhead) -> None:
    typer.echo("day          lawns  hours due  crew hours")
    for one in ahead.days:
        typer.echo(f"{one.on}  {one.due:>7}  {one.needed_h:>9.1f}  {one.crew_h:>10.1f}")
    if ahead.short_on:
        typer.echo(f"from {ahead.short_on} on more falls due than the crews have hours for")


@crews_app.command("sheet")
def sheet(
    keeper: OrganisationOption,
    on: OnOption = None,
    crew: Annotated[str | None, typer.Option(help="One crew's part.")] = None,
    language: Annotated[str, typer.Option(help="en or es.")] = "en",
    html: Annotated[Path | None, typer.Option(help="Printable page.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="PDF.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Comma-separated values.")] = None,
    xlsx: Annotated[Path | None, typer.Option(help="Workbook.")] = None,
    geojson: Annotated[Path | None, typer.Option(help="For maps.")] = None,
    ics: Annotated[Path | None, typer.Option(help="Calendar.")] = None,
    at: AtOption = None,
) -> None:
    """Write a planned day to files."""
    with one_line_errors(), opened() as services:
        with services.store.begin() as work:
            of = organisation(work, keeper)
            on_day = day(on) or of.today(moment(at))
            kept = work.crews.plan(of.keeper_id, on_day)
            crew_id = crew_named(work, of, crew).crew_id if crew else None
        if kept is None:
            raise InputError(f"{of.name}: there is no plan for {on_day}; `mowalert crews plan` makes today's")
        to = SheetReader(0, of.name, language, of.units)
        _write(services, sheet_of(kept), crew_id, to, html, pdf, csv, xlsx, geojson, ics)


def _write(
    services: Services,
    made: DaySheet,
    crew_id: int | None,
    to: SheetReader,
    html: Path | None,
    pdf: Path | None,
    csv: Path | None,
    xlsx: Path | None,
    geojson: Path | None,
    ics: Path | None,
) -> None:
    from mowalert.channels.crew_calendar import crew_calendar
    from mowalert.office.day_map import day_map
    from mowalert.office.day_table import as_csv, as_xlsx, day_rows
    from mowalert.office.paper import as_pdf

    page = services.crew_sheets.page(made, crew_id, to)
    rows = day_rows(made, crew_id)
    crews = None if crew_id is None else [crew_id]
    if html:
        write_text(html, page)
    if csv:
        write_text(csv, as_csv(rows))
    if pdf:
        write_bytes(pdf, as_pdf(page))
    if xlsx:
        write_bytes(xlsx, as_xlsx(rows, title=made.on.isoformat()))
    if geojson:
        write_bytes(geojson, orjson.dumps(day_map(made, crew_id)))
    if ics:
        write_bytes(ics, crew_calendar([made], crews, to, name=made.keeper_name, host=services.policy.host))
    written = [str(path) for path in (html, pdf, csv, xlsx, geojson, ics) if path]
    if not written:
        raise InputError("say where to: --html, --pdf, --csv, --xlsx, --geojson or --ics")
    typer.echo(f"written: {', '.join(written)}")


def _show(made: DaySheet) -> None:
    typer.echo(f"{made.keeper_name}, {made.on}, version {made.version} ({made.why})")
    for crew in made.crews:
        typer.echo(
            f"{crew.name}: {counted(len(crew.stops), 'stop')}, {_clock(crew.leaves_min)} to "
            f"{_clock(crew.back_min)}, {crew.work_min / 60:.1f} h of mowing, {crew.travel_km:.0f} km"
        )
        for stop in crew.stops:
            lawn = stop.lawn
            typer.echo(
                f"  {stop.order:>3} {_clock(stop.starts_min):>5}  {lawn.site_name[:34]:<34} "
                f"{lawn.minutes:>4.0f} min  takes {lawn.removed[0]:.0%}, tomorrow {lawn.removed[1]:.0%}"
            )
    if made.left_out:
        typer.echo(f"does not fit: {counted(len(made.left_out), 'lawn')}")
        for left in made.left_out[:10]:
            typer.echo(
                f"      {left.lawn.site_name[:34]:<34} {left.why}, tomorrow {left.lawn.removed[1]:.0%}"
            )
    if made.held:
        typer.echo(f"held: {counted(len(made.held), 'lawn')}")
    for fault in made.faults:
        typer.echo(f"not planned with: {fault.about}: {fault.what}")


@contacts_app.command("add")
def add_contact(
    name: str,
    keeper: OrganisationOption,
    role: Annotated[Role, typer.Option(help="What they are sent.")],
    crew: Annotated[str, typer.Option(help="A lead's crew.")] = "",
    email: str = "",
    phone: str = "",
    language: Annotated[str, typer.Option(help="en or es.")] = "en",
    said_by: Annotated[str, typer.Option(help="Who says that they agreed to be written to.")] = "the office",
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Add a person, or change the one of that name."""
    with one_line_errors(), opened() as services:
        told = NewContact(name, role, crew, email, phone, language, said_by)
        kept = keep_contact(services.store, keeper, told, now=moment(at))
        if json:
            print_json(kept)
        else:
            typer.echo(f"{kept.name}: {kept.role}")


@contacts_app.command("remove")
def drop_contact(name: str, keeper: OrganisationOption) -> None:
    """Forget a person."""
    with one_line_errors(), opened() as services:
        remove_contact(services.store, keeper, name)
        typer.echo(f"{name} is forgotten")


@contacts_app.command("list")
def list_contacts(keeper: OrganisationOption, json: JsonOption = False) -> None:
    """List the people of an organisation."""
    with one_line_errors(), opened() as services:
        with services.store.begin() as work:
            contacts = work.crews.contacts(organisation(work, keeper).keeper_id)
        if json:
            print_json(contacts)
            return
        for one in contacts:
            stopped = f" (stopped: {one.email_suspended})" if one.email_suspended else ""
            typer.echo(f"{one.name:<24} {one.role:<12} {one.email or one.phone or ''}{stopped}")


@contacts_app.command("import")
def contacts_from_table(
    file: Annotated[Path, typer.Argument(help=f"Table with the columns {', '.join(CONTACT_COLUMNS)}.")],
    keeper: OrganisationOption,
    confirm: ConfirmOption = False,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Add or change people from a table; every bad row is named, and nothing is stored if there is one.

    By importing you state that they agreed to be written to.
    """
    with one_line_errors(), opened() as services:
        report = import_contacts(services.store, keeper, read_text(file), now=moment(at), confirmed=confirm)
        _tell(report, json=json)


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
            services.store, services.turf, _keeper_id(services, keeper), visit, now=moment(at)
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
    from mowalert.service.visit_table import take_visits

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
    """Write a property's season for its client: cuts, shares, holds, and why a visit was skipped."""
    from mowalert.channels.client_words import COLUMNS, record_page, record_rows
    from mowalert.office.day_table import as_csv
    from mowalert.office.paper import as_pdf
    from mowalert.service.client_record import client_record

    with one_line_errors(), opened() as services:
        now = moment(at)
        with services.store.begin() as work:
            today = organisation(work, keeper).today(now)
        first_on, last_on = needed_day(first), day(last) or today
        found = client_record(services.store, keeper, site, first=first_on, last=last_on)
        page = record_page(found, language=language, service_name=services.settings.service.name)
        if html:
            write_text(html, page)
        if pdf:
            write_bytes(pdf, as_pdf(page))
        if csv:
            write_text(csv, as_csv(record_rows(found), COLUMNS))
        if json:
            print_json(found)
        elif not (html or pdf or csv):
            for line in found.lines:
                typer.echo(f"{line.on} {line.lawn}: {line.what} {line.reason}".rstrip())


def _visit_line(visit: VisitRecord) -> str:
    took = f", took {visit.removed:.0%}" if visit.removed is not None else ""
    why = f" ({visit.reason})" if visit.reason else ""
    what = f"{visit.outcome}{why}{took} {visit.note}".rstrip()
    return f"{visit.visit_id}: lawn {visit.lawn_id}, {visit.on}, {what}"


def _keeper_id(services: Services, keeper: str) -> int:
    with services.store.begin() as work:
        return organisation(work, keeper).keeper_id
