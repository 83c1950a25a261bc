"""Commands for the regions' bulletins: read one, and let its adviser speak."""

from typing import Annotated

import typer

from mowalert.channels.bulletin import bulletin_text, in_plain_lines
from mowalert.cli.common import AtOption, JsonOption, moment, one_line_errors, opened, print_json
from mowalert.errors import InputError
from mowalert.service.region.bulletin import (
    LONGEST_SAID,
    KeptBulletin,
    bulletin_page,
    say_with_bulletin,
    week_name,
    week_named,
)
from mowalert.wiring import Services

app = typer.Typer(no_args_is_help=True, help="Show a region's bulletin, and put words of your own to it.")
GuideArgument = Annotated[str, typer.Argument(help="The guide's id, from `guides list`.")]

TextArgument = Annotated[
    str, typer.Argument(help=f"Two sentences, at most {LONGEST_SAID} letters; an empty text takes them back.")
]
WeekOption = Annotated[str | None, typer.Option("--week", help="Such as 2026-W19; the newest if not given.")]


def register(parent: typer.Typer) -> None:
    """Add the commands."""
    parent.add_typer(app, name="bulletin")


@app.command("say")
def say(
    guide_id: GuideArgument,
    text: Annotated[
        str, typer.Argument(help=f"Two sentences, at most {LONGEST_SAID} letters; none: take back.")
    ],
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Put an adviser's sentences to this week's bulletin, over those it had."""
    with one_line_errors(), opened() as services:
        kept = say_with_bulletin(services.store, guide_id, text, now=moment(at))
        if json:
            print_json(kept)
            return
        week = week_name(kept.bulletin.week_on)
        typer.echo(f"{kept.bulletin.title}, {week}: {kept.said or 'nothing is said any more'}")


@app.command("show")
def show(
    guide_id: GuideArgument,
    week: Annotated[
        str | None, typer.Option("--week", help="Such as 2026-W19; the newest if not given.")
    ] = None,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Show a bulletin as plain text, fit for a mailing list."""
    with one_line_errors(), opened() as services:
        kept = _kept(services, guide_id, week, at)
        if json:
            print_json(kept)
            return
        text = bulletin_text(kept.bulletin, language="en", units=kept.bulletin.units)
        for line in in_plain_lines(text, kept.said, language="en"):
            typer.echo(line)


def _kept(services: Services, guide_id: str, week: str | None, at: str | None) -> KeptBulletin:
    week_on = week_named(week) if week else None
    if week and week_on is None:
        raise InputError(f"{week!r} is no week such as 2026-W19")
    page = bulletin_page(
        services.store,
        services.turf,
        guide_id,
        max_age=services.policy.max_age,
        now=moment(at),
        week_on=week_on,
    )
    if page is None or page.kept is None:
        which = f"of {week}" if week else "yet"
        raise InputError(f"{guide_id} has no bulletin {which}; `mowalert guides list` lists the guides")
    return page.kept
