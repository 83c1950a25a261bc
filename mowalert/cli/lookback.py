"""The look back on a season: a lawn's, a keeper's or a region's."""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Annotated

import typer

from mowalert.cli.common import (
    AtOption,
    JsonOption,
    as_json,
    day,
    drawing,
    moment,
    one_line_errors,
    opened,
    print_json,
)
from mowalert.domain.lookback import FEWEST_LAWNS, Figures
from mowalert.errors import InputError
from mowalert.service.region.lookback import (
    Asked,
    LookBack,
    Row,
    look_back_on_keeper,
    look_back_on_lawn,
    look_back_on_region,
)
from mowalert.wiring import Services

MOST_LAWNS = 2**31 - 1
TOO_FEW = f"too few lawns to show: figures of fewer than {FEWEST_LAWNS} lawns would tell of single ones"
HIDDEN = (
    f"Groups of fewer than {FEWEST_LAWNS} lawns are not shown by themselves, "
    "nor others from which these could be worked out."
)
LEGEND = (
    "Cuts are reported ones: on time took at most a third of the blade, a near miss up to 40 %, too much up "
    "to half,\nsevere more; unknown are those of which nobody knows how high the grass stood. "
    "Assumed cuts count apart."
)
HEADINGS = {"grass": "by grass", "turf_class": "by turf class", "keeper_kind": "by kind of keeper"}
OTHERS = {"grass": "other grasses", "turf_class": "other turf classes", "keeper_kind": "other keepers"}
Column = tuple[str, Callable[[Figures], str]]
COLUMNS: tuple[Column, ...] = (
    ("lawns", lambda of: str(of.lawns)),
    ("cuts", lambda of: str(of.cuts)),
    ("on time", lambda of: str(of.on_time)),
    ("near miss", lambda of: str(of.near_miss)),
    ("too much", lambda of: str(of.too_much)),
    ("severe", lambda of: str(of.severe)),
    ("unknown", lambda of: str(of.share_unknown)),
    ("assumed", lambda of: str(of.cuts_assumed)),
    ("days between", lambda of: "-" if of.median_days_between is None else f"{of.median_days_between:g}"),
    ("grown mm", lambda of: f"{of.grown_mm:.0f}"),
    ("told to mow", lambda of: str(of.mow_notices)),
    ("then mown", lambda of: str(of.mow_followed)),
)
BITE: Column = ("biggest bite", lambda of: _bite(of))
HOLDS: Column = ("holds told", lambda of: _holds(of))


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("report")(report)


def report(
    lawn: Annotated[int | None, typer.Option("--lawn", max=MOST_LAWNS, help="One lawn.")] = None,
    keeper: Annotated[str | None, typer.Option("--keeper", help="A keeper's name or number.")] = None,
    guide: Annotated[str | None, typer.Option("--guide", help="The lawns of a region guide.")] = None,
    every: Annotated[bool, typer.Option("--all", help="All lawns.")] = False,
    first: Annotated[
        str | None,
        typer.Option(
            "--from", help="First day; 1 January if not given, or twelve months ago south of the equator."
        ),
    ] = None,
    last: Annotated[str | None, typer.Option("--to", help="Last day; today if not given.")] = None,
    at: AtOption = None,
    json: JsonOption = False,
    plot: Annotated[Path | None, typer.Option("--plot", help="Draw the cuts (PNG).")] = None,
) -> None:
    """Look back on a season: cuts, how much they took, growth, holds, and what was made of the notices.

    A region's figures are of groups of ten lawns or more, from which no smaller group can be worked out.
    """
    with one_line_errors(), opened() as services:
        if sum((lawn is not None, keeper is not None, guide is not None, every)) != 1:
            raise InputError("say one of --lawn LAWN, --keeper NAME, --guide GUIDE or --all")
        asked = Asked(day(first), day(last))
        back = _look_back(services, lawn, keeper, guide, asked, at)
        if plot is not None and back.total is not None:
            drawing("plots_lookback").draw_look_back(back, plot)
        if json:
            print_json(as_json(back) | {"too_few_lawns": back.too_few_lawns})
            return
        typer.echo("\n".join(_lines(back)))
        if plot is not None and back.total is None:
            typer.echo("nothing drawn")


def _look_back(
    services: Services, lawn: int | None, keeper: str | None, guide: str | None, asked: Asked, at: str | None
) -> LookBack:
    now = moment(at)
    if lawn is not None:
        return look_back_on_lawn(services.store, lawn, asked, now=now)
    if keeper is not None:
        return look_back_on_keeper(services.store, keeper, asked, now=now)
    return look_back_on_region(services.store, services.turf, guide, asked, now=now)


def row_name(row: Row, by: str) -> str:
    """Return how a row of a grouping is called; lawns have their numbers, since two may have one name."""
    name = OTHERS[by] if row.name is None else row.name
    return name if row.lawn_id is None else f"{row.lawn_id}  {name}"


def _lines(back: LookBack) -> Iterator[str]:
    yield f"{back.of}, {back.first_on} to {back.last_on}"
    if back.total is None:
        yield TOO_FEW
        return
    of_a_region = any(group.by in HEADINGS for group in back.groups)
    columns = (*COLUMNS, HOLDS) if of_a_region else (*COLUMNS, BITE, HOLDS)
    total_name = "all" if back.groups else back.of
    table = [("", [heading for heading, _ in columns])]
    for group in back.groups:
        if group.by in HEADINGS:
            table.append((HEADINGS[group.by], []))
        table += [(row_name(row, group.by), _cells(row.figures, columns)) for row in group.rows]
        if not group.rows and group.some_hidden:
            table.append(("no group that may be shown", []))
    table.append((total_name, _cells(back.total, columns)))
    yield from _aligned(table)
    yield LEGEND
    if any(group.some_hidden for group in back.groups):
        yield HIDDEN


def _cells(figures: Figures, columns: Sequence[Column]) -> list[str]:
    return [say(figures) for _, say in columns]


def _aligned(table: Sequence[tuple[str, list[str]]]) -> Iterator[str]:
    """Align names to the left, numbers to the right, and the last column, of words, to the left."""
    name_width = max(len(name) for name, cells in table if cells)
    widths = [max(map(len, column)) for column in zip(*(cells for _, cells in table if cells), strict=True)]
    for name, cells in table:
        numbers = [cell.rjust(width) for cell, width in zip(cells[:-1], widths[:-1], strict=False)]
        yield "  ".join([name.ljust(name_width), *numbers, *cells[-1:]]).rstrip()


def _bite(of: Figures) -> str:
    bite = of.biggest_bite
    return "-" if bite is None else f"{bite.removed_fraction:.0%} on {bite.on}"


def _holds(of: Figures) -> str:
    return ", ".join(f"{hold.reason} {hold.times} ({hold.days} d)" for hold in of.holds) or "none"
