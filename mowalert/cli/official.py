"""The command for official warnings: shown in their senders' words, with their times and links."""

from datetime import datetime, tzinfo
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer

from mowalert.cli.common import (
    AtOption,
    JsonOption,
    as_json,
    counted,
    moment,
    one_line_errors,
    opened,
    print_json,
)
from mowalert.domain.warnings import PlacedWarning, Severity
from mowalert.service.local.official import Standing, standing_warnings
from mowalert.wiring import Services

UTC_NAME = "UTC"
MOST_NAMES = 6
"""Names of places shown of one warning; JSON has them all."""


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("warnings")(warnings)


def warnings(
    lawn: Annotated[int | None, typer.Option("--lawn", help="Only what touches this lawn.")] = None,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """List official warnings in force or to come, the worst first, in their senders' own words."""
    with one_line_errors(), opened() as services:
        standing = standing_warnings(services.store, now=moment(at), lawn_id=lawn)
        if json:
            print_json(_facts(standing))
            return
        zone = UTC_NAME if lawn is None else _zone_of(services, lawn)
        for placed in standing.warnings:
            typer.echo(_told(placed, zone))
        typer.echo(_summary(standing, zone))


def _facts(standing: Standing) -> dict[str, Any]:
    return {
        "asked": standing.asked,
        "warnings": [
            {**as_json(placed.warning), "cell_ids": placed.cell_ids} for placed in standing.warnings
        ],
    }


def _zone_of(services: Services, lawn_id: int) -> str:
    with services.store.begin() as work:
        keeper_id = work.lawns.get([lawn_id])[0].keeper_id
        return work.keepers.get([keeper_id])[keeper_id].time_zone


def _told(placed: PlacedWarning, zone: str) -> str:
    warning = placed.warning
    bad = "" if warning.severity is Severity.UNKNOWN else f" ({warning.severity})"
    within = ZoneInfo(zone)
    lines = [
        f"{warning.event}{bad}, {warning.sender}",
        "" if warning.headline == warning.event else warning.headline,
        f"{_moment(warning.onset_at, within)} to {_moment(warning.ends_at, within)} {zone}",
        _places(warning.areas),
        "" if placed.cell_ids else "its area is known by name only",
        warning.url,
    ]
    return "\n  ".join(text for text in lines if text)


def _moment(at: datetime, within: tzinfo) -> str:
    return f"{at.astimezone(within):%Y-%m-%d %H:%M}"


def _places(names: tuple[str, ...]) -> str:
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return "; ".join(names[:MOST_NAMES]) + more


def _summary(standing: Standing, zone: str) -> str:
    found = counted(len(standing.warnings), "official warning")
    if standing.asked is None:
        return f"{found}; none has been asked for yet"
    missing = ", ".join(standing.asked.unanswered)
    silent = f"; not all was answered by {missing}" if missing else ""
    return f"{found}, as of {_moment(standing.asked.at, ZoneInfo(zone))} {zone}{silent}"
