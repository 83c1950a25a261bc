"""Commands of everybody who works outdoors: rules of the place, irrigation that is off, the crews' heat."""

from datetime import date, timedelta
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
    today_of,
)
from mowalert.cli.parks import ClassOption, DistrictOption, SitesOption, ToOption
from mowalert.errors import InputError
from mowalert.service.crews.heat_days import heat_of_day
from mowalert.service.growing.watering import turn_off, turn_on
from mowalert.service.known import organisation
from mowalert.service.local.restrictions import NewRestriction, lift, read_area, restrict
from mowalert.service.local.where import Where
from mowalert.service.park_records import HeatPlan, Polygon, RestrictionKind, RestrictionRecord, WateringOff

AllOption = Annotated[bool, typer.Option("--all", help="Also what is over.")]

rules_app = typer.Typer(no_args_is_help=True, help="Watering rules and height caps by area or site.")
watering_app = typer.Typer(no_args_is_help=True, help="Irrigation that is off.")
heat_app = typer.Typer(no_args_is_help=True, help="The crews' heat, and the employer's thresholds.")


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(rules_app, name="restrictions")
    app.add_typer(watering_app, name="watering")
    app.add_typer(heat_app, name="heat")


@rules_app.command("add")
def add_rule(
    keeper: OrganisationOption,
    kind: Annotated[RestrictionKind, typer.Option(help="watering_off, watering_limited or height_cap.")],
    name: Annotated[str, typer.Option(help="The rule's own name or number.")],
    first: Annotated[str, typer.Option("--from", help="First day.")],
    last: ToOption = None,
    cap_mm: Annotated[float | None, typer.Option(help="Largest height of a height cap.")] = None,
    area: Annotated[Path | None, typer.Option(help="GeoJSON polygon.")] = None,
    site: SitesOption = None,
    note: str = "",
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Add a dated rule of the place."""
    with one_line_errors(), opened() as services:
        told = NewRestriction(
            kind=kind,
            name=name,
            first_on=needed_day(first),
            last_on=day(last),
            height_cap_mm=cap_mm,
            note=note,
            area=_area(area) if area else (),
            sites=tuple(site or ()),
        )
        kept = restrict(services.store, keeper, told, now=moment(at))
        if json:
            print_json(kept)
        else:
            typer.echo(f"restriction {kept.restriction_id}: {kept.name}")


def _area(path: Path) -> tuple[Polygon, ...]:
    try:
        if path.stat().st_size > 5_000_000:
            raise InputError(f"{path}: an area of more than 5 MB is not read")
        return read_area(orjson.loads(path.read_bytes()))
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}") from error
    except orjson.JSONDecodeError as error:
        raise InputError(f"{path}: is no JSON") from error


@rules_app.command("lift")
def lift_rule(
    number: int,
    keeper: OrganisationOption,
    first_free: Annotated[str | None, typer.Option("--from", help="First day without it; today.")] = None,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """End a rule; one that ends before its first day never held."""
    with one_line_errors(), opened() as services:
        now = moment(at)
        free_on = day(first_free) or today_of(services, keeper, now)
        lifted = lift(services.store, keeper, number, first_free_on=free_on, now=now)
        if json:
            print_json(lifted)
        else:
            typer.echo(f"lifted: {lifted.name}, held {_days(lifted)}")


def _days(dated: RestrictionRecord | WateringOff) -> str:
    if dated.undone_at is not None:
        return "on no day"
    return f"from {dated.first_on} until {dated.last_on or 'further notice'}"


@rules_app.command("list")
def list_rules(
    keeper: OrganisationOption, every: AllOption = False, at: AtOption = None, json: JsonOption = False
) -> None:
    """List rules in force or to come, or all there have been."""
    with one_line_errors(), opened() as services:
        with services.store.begin() as work:
            of = organisation(work, keeper)
            since = date.min if every else of.today(moment(at))
            rules = work.parks.restrictions([of.keeper_id], since=since).get(of.keeper_id, [])
        if json:
            print_json(rules)
            return
        for rule in rules:
            typer.echo(f"{rule.restriction_id}: {rule.name}, {rule.kind}, {_days(rule)}")


@watering_app.command("off")
def water_off(
    keeper: OrganisationOption,
    first: Annotated[str, typer.Option("--from", help="First day without water.")],
    last: ToOption = None,
    turf_class: ClassOption = "",
    district: DistrictOption = "",
    site: SitesOption = None,
    note: str = "",
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Say that irrigation is off; the next night grows those lawns without it."""
    with one_line_errors(), opened() as services:
        kept = turn_off(
            services.store,
            keeper,
            Where(tuple(site or ()), turf_class, district),
            first_on=needed_day(first),
            last_on=day(last),
            note=note,
            now=moment(at),
        )
        if json:
            print_json(kept)
        else:
            typer.echo(f"irrigation of {counted(len(kept), 'lawn')} is off from {first}")


@watering_app.command("on")
def water_on(
    numbers: Annotated[list[int], typer.Argument(help="As `watering list` gives them.")],
    keeper: OrganisationOption,
    first_wet: Annotated[str | None, typer.Option("--from", help="First day with water; today.")] = None,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Say that irrigation runs again; before its first dry day it never was off."""
    with one_line_errors(), opened() as services:
        now = moment(at)
        wet_on = day(first_wet) or today_of(services, keeper, now)
        ended = turn_on(services.store, keeper, numbers, first_wet_on=wet_on, now=now)
        if json:
            print_json(ended)
            return
        for off in ended:
            typer.echo(f"lawn {off.lawn_id}: irrigation was off {_days(off)}")


@watering_app.command("list")
def list_watering(
    keeper: OrganisationOption, every: AllOption = False, at: AtOption = None, json: JsonOption = False
) -> None:
    """List irrigation that is off or will be, or all that ever was."""
    with one_line_errors(), opened() as services:
        with services.store.begin() as work:
            of = organisation(work, keeper)
            since = date.min if every else of.today(moment(at))
            off = work.parks.watering_off(of.keeper_id, since=since)
        if json:
            print_json(off)
            return
        for one in off:
            typer.echo(f"{one.off_id}: lawn {one.lawn_id}, {_days(one)} {one.note}".rstrip())


@heat_app.command("set")
def set_heat(
    keeper: OrganisationOption,
    first_f: Annotated[float | None, typer.Option(help="Heat index of the first caution, in °F.")] = None,
    strong_f: Annotated[float | None, typer.Option(help="Heat index of the strong caution, in °F.")] = None,
    plan: Annotated[str, typer.Option(help="Where the employer's heat plan is.")] = "",
    call: Annotated[str, typer.Option(help="Whom to call.")] = "",
    json: JsonOption = False,
) -> None:
    """Set the employer's own thresholds."""
    with one_line_errors(), opened() as services:
        for limit in (first_f, strong_f):
            if limit is not None and not 60 <= limit <= 130:
                raise InputError(f"a heat index of {limit:g} °F; allowed is 60 to 130")
        if first_f is not None and strong_f is not None and strong_f < first_f:
            raise InputError("the strong caution cannot lie below the first")
        with services.store.begin() as work:
            kept = HeatPlan(
                organisation(work, keeper).keeper_id,
                first_f,
                strong_f,
                plan.strip()[:300],
                call.strip()[:200],
            )
            work.parks.keep_heat_plan(kept)
            work.commit()
        if json:
            print_json(kept)
        else:
            typer.echo("kept")


@heat_app.command("days")
def heat_days(keeper: OrganisationOption, at: AtOption = None, json: JsonOption = False) -> None:
    """Show the heat of the working days ahead."""
    with one_line_errors(), opened() as services:
        now = moment(at)
        with services.store.begin() as work:
            of = organisation(work, keeper)
            days = [of.today(now) + timedelta(days=ahead) for ahead in range(7)]
            found = [heat_of_day(work, of, on, max_age=services.policy.max_age, now=now) for on in days]
        hot = [one for one in found if one is not None]
        if json:
            print_json(hot)
            return
        for one in hot:
            strong = ", strong caution" if one.heat.strong else ""
            typer.echo(
                f"{one.heat.on}: {one.heat.heat_index_f:.0f} °F about {one.heat.at_hour}:00{strong}, "
                f"coolest {one.heat.safest_from}:00 to {one.heat.safest_to}:00"
            )
        if not hot:
            typer.echo("no working day ahead passes the first caution, as far as the weather is known")
