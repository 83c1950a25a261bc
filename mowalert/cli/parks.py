"""Commands of parks: turf classes, their holds and the log of them, closed days."""

import csv as tables
from datetime import date, timedelta
from io import StringIO
from pathlib import Path
from typing import Annotated

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
    write_text,
)
from mowalert.domain.guides import DATED
from mowalert.domain.holds import LASTING
from mowalert.domain.lawn import place_name
from mowalert.errors import InputError
from mowalert.office.day_table import as_csv
from mowalert.service.known import organisation, reason_named
from mowalert.service.local.where import Where
from mowalert.service.park_records import ClassRule
from mowalert.service.parks.class_rules import close, keep_class, place_in_districts, reopen
from mowalert.service.parks.hold_log import LoggedStep, hold_log

FromOption = Annotated[str | None, typer.Option("--from", help="First day.")]
ToOption = Annotated[str | None, typer.Option("--to", help="Last day.")]
ClassOption = Annotated[str, typer.Option("--class", help="Turf class, such as sports.")]
DistrictOption = Annotated[str, typer.Option("--district", help="District.")]
SitesOption = Annotated[list[str] | None, typer.Option("--site", help="Site; may be given again.")]
ReasonOption = Annotated[str, typer.Option(help=f"One of {', '.join(DATED)}.")]
LOG_COLUMNS = (
    "on", "site", "lawn", "class", "district", "step", "reason", "numbers", "told", "at", "lawn_id",
    "hold_id",
)  # fmt: skip
LOOKED_BACK = timedelta(days=365)

parks_app = typer.Typer(no_args_is_help=True, help="Turf classes, their holds and closed days.")
classes_app = typer.Typer(no_args_is_help=True, help="How turf classes are kept.")


def register(app: typer.Typer) -> None:
    """Add the commands."""
    parks_app.add_typer(classes_app, name="class")
    app.add_typer(parks_app, name="parks")


@classes_app.command("set")
def set_class(
    keeper: OrganisationOption,
    turf_class: ClassOption,
    height_mm: Annotated[float | None, typer.Option(help="Height its lawns are cut to.")] = None,
    third: Annotated[float | None, typer.Option(help="Largest share of the blade, at most a third.")] = None,
    ignore: Annotated[
        list[str] | None, typer.Option(help=f"Hold that does not count for it: {', '.join(LASTING)}.")
    ] = None,
    allowed: Annotated[str, typer.Option(help="What may still be done in a hold.")] = "",
    call: Annotated[str, typer.Option(help="Whom to ask.")] = "",
    json: JsonOption = False,
) -> None:
    """Say how a turf class is kept; its lawns follow."""
    with one_line_errors(), opened() as services:
        ignored = tuple(reason_named(text, LASTING) for text in ignore or ())
        rule = ClassRule(0, turf_class, height_mm, third, ignored, allowed, call)
        kept, changed = keep_class(services.store, services.turf, keeper, rule)
        if json:
            print_json({"rule": kept, "changed": changed})
        else:
            typer.echo(f"class {turf_class}: {counted(changed, 'lawn')} changed")


@classes_app.command("list")
def list_classes(keeper: OrganisationOption, json: JsonOption = False) -> None:
    """List how turf classes are kept."""
    with one_line_errors(), opened() as services:
        with services.store.begin() as work:
            rules = work.parks.rules(organisation(work, keeper).keeper_id)
        if json:
            print_json(list(rules.values()))
            return
        for rule in rules.values():
            height = f"{rule.height_mm:g} mm" if rule.height_mm else "each its own height"
            ignored = f", ignores {', '.join(rule.ignores)}" if rule.ignores else ""
            typer.echo(f"{rule.turf_class}: {height}{ignored}")


@parks_app.command("holds")
def holds(
    keeper: OrganisationOption,
    first: FromOption = None,
    last: ToOption = None,
    log: Annotated[bool, typer.Option("--log", help="Line by line, for each lawn.")] = False,
    site: SitesOption = None,
    csv: Annotated[Path | None, typer.Option(help="Write the log as comma-separated values.")] = None,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Show holds of turf classes, or the log of every lawn: what happened, who was told, when."""
    with one_line_errors(), opened() as services:
        with services.store.begin() as work:
            of = organisation(work, keeper)
            to_day = day(last) or of.today(moment(at))
            from_day = day(first) or to_day - LOOKED_BACK
            found = work.parks.class_holds(of.keeper_id, first=from_day, last=to_day)
            wanted = log or csv or site
            steps = hold_log(work, of, first=from_day, last=to_day, sites=site or ()) if wanted else []
        if csv:
            write_text(csv, as_csv([_log_row(one) for one in steps], LOG_COLUMNS))
        if json:
            print_json(steps if log or site else found)
            return
        for one in steps:
            place = place_name(one.site, one.lawn)
            told = f"; told {'; '.join(one.told)} at {one.at:%H:%M}" if one.told else ""
            typer.echo(f"{one.on} {place}: {one.step} ({one.reason}){told}")
        for hold in found if not (log or site) else ():
            ended = f"ended {hold.released_on}" if hold.released_on else "in force"
            where = f"{hold.turf_class}, {hold.district}" if hold.district else hold.turf_class
            typer.echo(f"{hold.started_on} {where}: {hold.reason}, {ended}")


def _log_row(one: LoggedStep) -> tuple[str | int | date, ...]:
    numbers = "; ".join(f"{name} {number:g}" for name, number in one.numbers.items())
    told, at = "; ".join(one.told), one.at.isoformat(timespec="minutes")
    return (
        one.on, one.site, one.lawn, one.turf_class, one.district, one.step.value, one.reason, numbers, told,
        at, one.lawn_id, one.hold_id,
    )  # fmt: skip


@parks_app.command("districts")
def districts(
    keeper: OrganisationOption,
    file: Annotated[Path, typer.Argument(help="CSV with the columns site and district.")],
) -> None:
    """Say which district sites lie in."""
    with one_line_errors(), opened() as services:
        rows = list(tables.DictReader(StringIO(read_text(file))))
        if not rows or not {"site", "district"} <= rows[0].keys():
            raise InputError(f"{file}: the columns site and district are needed")
        told = [(row["site"] or "", row["district"] or "") for row in rows]
        place_in_districts(services.store, keeper, told)
        typer.echo(f"{counted(len(rows), 'site')} placed")


@parks_app.command("close")
def close_lawns(
    keeper: OrganisationOption,
    first: Annotated[str, typer.Option("--from", help="First day.")],
    last: Annotated[str, typer.Option("--to", help="Last day.")],
    turf_class: ClassOption = "",
    district: DistrictOption = "",
    site: SitesOption = None,
    reason: ReasonOption = "event",
    note: str = "",
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Leave lawns alone on some days; `reopen` takes that back."""
    with one_line_errors(), opened() as services:
        kept = close(
            services.store,
            keeper,
            Where(tuple(site or ()), turf_class, district),
            reason=reason_named(reason, DATED),
            first_on=needed_day(first),
            last_on=needed_day(last),
            note=note,
            now=moment(at),
        )
        if json:
            print_json(kept)
        else:
            typer.echo(f"{counted(len(kept), 'lawn')} left alone from {first} to {last}")


@parks_app.command("reopen")
def reopen_lawns(
    keeper: OrganisationOption,
    first: Annotated[str | None, typer.Option("--from", help="First day of what was closed.")] = None,
    last: Annotated[str | None, typer.Option("--to", help="Its last day.")] = None,
    turf_class: ClassOption = "",
    district: DistrictOption = "",
    site: SitesOption = None,
    reason: ReasonOption = "event",
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Take back what `close` closed and is not over; without days, all of it."""
    with one_line_errors(), opened() as services:
        opened_again = reopen(
            services.store,
            keeper,
            Where(tuple(site or ()), turf_class, district),
            reason=reason_named(reason, DATED),
            first_on=day(first),
            last_on=day(last),
            now=moment(at),
        )
        if json:
            print_json(opened_again)
            return
        for one in opened_again:
            typer.echo(f"lawn {one.lawn_id}: open again from {one.first_on} to {one.last_on}")
