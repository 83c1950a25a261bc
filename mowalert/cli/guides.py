"""Commands for region guides, and for dates on which a lawn is left alone."""

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from mowalert.cli.common import (
    MONTHS,
    AtOption,
    JsonOption,
    counted,
    day,
    moment,
    one_line_errors,
    opened,
    print_json,
    read_text,
)
from mowalert.domain.guides import DATED, DaySpan, Guide
from mowalert.errors import InputError
from mowalert.parameters import load_turf
from mowalert.service.known import reason_named
from mowalert.service.records import KeptOff
from mowalert.service.region.guide_text import read_guide
from mowalert.service.region.guides import allow_again, guide_of, guides_now, keep_guide, keep_off, treated
from mowalert.settings import config_file

app = typer.Typer(no_args_is_help=True, help="Check, add and show region guides.")


def register(parent: typer.Typer) -> None:
    """Add the commands."""
    parent.add_typer(app, name="guides")
    parent.command("keep-off")(keep_off_days)


@app.command("check")
def check(file: Annotated[Path, typer.Argument(help="A guide (TOML).")], json: JsonOption = False) -> None:
    """Read a guide and name everything that is wrong with it; nothing is stored."""
    with one_line_errors():
        guide = read_guide(read_text(file), load_turf(config_file("grasses.toml")), name=str(file))
        if json:
            print_json(guide)
        else:
            typer.echo(f"{file}: {guide.title}, version {guide.version}, is good")


@app.command("add")
def add(
    file: Annotated[Path, typer.Argument(help="A guide (TOML).")],
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Keep a version of a guide: from now on its lawns hear from it."""
    with one_line_errors(), opened() as services:
        kept = keep_guide(services.store, services.turf, read_text(file), name=str(file), now=moment(at))
        if json:
            print_json(kept)
            return
        known = "" if kept.new else ", was kept already"
        typer.echo(f"{kept.guide.title}, version {kept.guide.version}{known}")
        if kept.lawns:
            typer.echo(f"another share of the blade for {counted(kept.lawns, 'lawn')}")


@app.command("list")
def list_guides(json: JsonOption = False) -> None:
    """List the guides in force."""
    with one_line_errors(), opened() as services:
        with services.store.begin() as work:
            guides = list(guides_now(work, services.turf).values())
            lawns = {guide.guide_id: len(work.guides.lawns(guide.guide_id)) for guide in guides}
        if json:
            print_json([{"guide": guide, "lawns": lawns[guide.guide_id]} for guide in guides])
            return
        for guide in guides:
            typer.echo(
                f"{guide.guide_id}  version {guide.version}  {guide.title} ({guide.adviser}); "
                f"{counted(lawns[guide.guide_id], 'lawn')}"
            )
        typer.echo(counted(len(guides), "guide"))


@app.command("show")
def show(
    guide_id: Annotated[str, typer.Argument(help="The guide's id.")],
    version: Annotated[int | None, typer.Option("--version", help="The newest if not given.")] = None,
    json: JsonOption = False,
) -> None:
    """Show one version of a guide."""
    with one_line_errors(), opened() as services:
        with services.store.begin() as work:
            guide = (
                guides_now(work, services.turf).get(guide_id)
                if version is None
                else guide_of(work, services.turf, guide_id, version)
            )
        if guide is None:
            raise InputError(
                f"there is no guide {guide_id!r} of that version; `mowalert guides list` lists them"
            )
        if json:
            print_json(guide)
        else:
            _print(guide)


def _print(guide: Guide) -> None:
    typer.echo(f"{guide.title}, version {guide.version}\n{guide.region}\n{guide.adviser}\n")
    for row in guide.heights:
        typer.echo(
            f"{row.grass_id:22} {row.use:14} {_span(row.span):18} "
            f"{row.low_mm:g} to {row.high_mm:g} mm, usually {row.usual_mm:g} mm"
        )
    for habit in guide.habits:
        typer.echo(f"{habit.season}-season: first cut {_span(habit.first_cut)}, last {_span(habit.last_cut)}")
    for kind, days in (guide.treatments or {}).items():
        typer.echo(f"{kind}: no mowing {days.before_days} days before, {days.after_days} after")
    for dates in guide.dates:
        uses = f" on {', '.join(sorted(dates.uses))}" if dates.uses else ""
        typer.echo(f"{dates.reason}, {_span(dates.span)}{uses}: {dates.note}")


def _span(span: DaySpan) -> str:
    (first, first_day), (last, last_day) = span.first, span.last
    return f"{first_day} {MONTHS[first - 1]} to {last_day} {MONTHS[last - 1]}"


def keep_off_days(
    lawn_id: Annotated[int | None, typer.Argument(help="The lawn's number, from `lawns show`.")] = None,
    first: Annotated[str | None, typer.Option("--from", help="First day.")] = None,
    last: Annotated[str | None, typer.Option("--to", help="Last day; the first if not given.")] = None,
    reason: Annotated[str, typer.Option("--reason", help="treatment, event, nesting or noise.")] = "event",
    treatment: Annotated[
        str | None, typer.Option("--treatment", help="A treatment of the lawn's guide, done --on a day.")
    ] = None,
    on: Annotated[str | None, typer.Option("--on", help="Day of the treatment.")] = None,
    note: Annotated[str, typer.Option("--note", help="What is said with it.")] = "",
    undo: Annotated[int | None, typer.Option("--undo", help="Take the days of this number back.")] = None,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Leave a lawn alone on some days: a treatment, an event, a nest, a noise rule."""
    with one_line_errors(), opened() as services:
        now = moment(at)
        if undo is not None:
            _tell(allow_again(services.store, undo, now=now), json=json)
            return
        if lawn_id is None:
            raise InputError("say the lawn's number; `mowalert lawns show` lists them")
        if treatment is not None:
            treated_on = _needed(on, "--on, the day of the treatment")
            days = treated(services.store, services.turf, lawn_id, kind=treatment, on=treated_on, now=now)
        else:
            first_on = _needed(first, "--from, the first day")
            days = keep_off(
                services.store,
                lawn_id,
                reason=reason_named(reason, DATED),
                first_on=first_on,
                last_on=day(last) or first_on,
                note=note,
                now=now,
            )
        _tell(days, json=json)


def _needed(text: str | None, what: str) -> date:
    on = day(text)
    if on is None:
        raise InputError(f"say {what}")
    return on


def _tell(days: KeptOff, *, json: bool) -> None:
    if json:
        print_json(days)
        return
    what = "may be mown again" if days.undone_at else f"left alone ({days.reason})"
    note = f"; {days.note}" if days.note else ""
    typer.echo(
        f"lawn {days.lawn_id}: {days.first_on} to {days.last_on} {what}{note}; number {days.kept_off_id}"
    )
