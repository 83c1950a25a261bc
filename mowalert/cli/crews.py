"""Commands of crews: who they are, their plans, their week and their day in files."""

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
    write_files,
)
from mowalert.cli.company import ConfirmOption, OnOption, keeper_id_of, tell_set_up
from mowalert.domain.crews import Position
from mowalert.domain.day_sheet import DaySheet, SheetReader, WeekAhead
from mowalert.domain.rounds import DAY_NAMES
from mowalert.errors import InputError
from mowalert.service.crews.crew_setup import (
    keep_crew,
    keep_hours,
    retire_crew,
)
from mowalert.service.crews.crew_tables import (
    CREW_COLUMNS,
    import_crews,
)
from mowalert.service.crews.day_plans import sheet_of, with_visits
from mowalert.service.crews.handing_out import change_day
from mowalert.service.crews.morning import ASKED, RAIN, plan_morning
from mowalert.service.crews.week import week_ahead
from mowalert.service.known import crew_named, organisation
from mowalert.service.reading.day_hours import days_in, hours_in
from mowalert.wiring import Services

crews_app = typer.Typer(no_args_is_help=True, help="Crews, their hours and their days.")


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.add_typer(crews_app, name="crews")


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
        tell_set_up(import_crews(services.store, keeper, read_text(file), confirmed=confirm), json=json)


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
            keeper_id_of(services, keeper),
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
            keeper_id_of(services, keeper),
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
            services.store, services.turf, services.policy, keeper_id_of(services, keeper), now=moment(at)
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
    """Write a planned day to files, all of them or none."""
    with one_line_errors(), opened() as services:
        with services.store.begin() as work:
            of = organisation(work, keeper)
            on_day = day(on) or of.today(moment(at))
            kept = work.crews.plan(of.keeper_id, on_day)
            crew_id = crew_named(work, of, crew).crew_id if crew else None
            visits = work.crews.visits(of.keeper_id, first=on_day, last=on_day)
        if kept is None:
            raise InputError(f"{of.name}: there is no plan for {on_day}; `mowalert crews plan` makes today's")
        made = with_visits(sheet_of(kept), visits)
        to = SheetReader(0, of.name, language, of.units)
        targets = {"html": html, "pdf": pdf, "csv": csv, "xlsx": xlsx, "geojson": geojson, "ics": ics}
        files = [
            (path, _as_file(services, made, crew_id, to, kind)) for kind, path in targets.items() if path
        ]
        if not files:
            raise InputError("say where to: --html, --pdf, --csv, --xlsx, --geojson or --ics")
        write_files(files)
        typer.echo(f"written: {', '.join(str(path) for path, _ in files)}")


def _as_file(services: Services, made: DaySheet, crew_id: int | None, to: SheetReader, kind: str) -> bytes:
    from mowalert.channels.crew_calendar import crew_calendar
    from mowalert.office.day_map import day_map
    from mowalert.office.day_table import as_csv, as_xlsx, day_rows
    from mowalert.office.paper import as_pdf

    crews = None if crew_id is None else [crew_id]
    if kind == "html":
        return services.crew_sheets.page(made, crew_id, to).encode()
    if kind == "pdf":
        return as_pdf(services.crew_sheets.page(made, crew_id, to))
    if kind == "csv":
        return as_csv(day_rows(made, crew_id)).encode()
    if kind == "xlsx":
        return as_xlsx(day_rows(made, crew_id), title=made.on.isoformat())
    if kind == "geojson":
        return orjson.dumps(day_map(made, crew_id))
    return crew_calendar([made], crews, to, name=made.keeper_name, host=services.policy.host)


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
