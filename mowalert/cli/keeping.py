"""Commands for keepers: reports, what is due, what is held."""

from datetime import date
from typing import Annotated

import typer

from mowalert.channels.wording import wording_in
from mowalert.cli.common import (
    AtOption,
    JsonOption,
    counted,
    day,
    moment,
    one_line_errors,
    opened,
    print_json,
)
from mowalert.domain.lawn import place_name
from mowalert.domain.learning import Learned
from mowalert.domain.notices import Notice
from mowalert.domain.words import NoticeKind
from mowalert.errors import InputError
from mowalert.service.known import known_lawn
from mowalert.service.lawns.look import due_now, held_now
from mowalert.service.lawns.report import (
    Reported,
    forget_learned,
    report_height,
    report_mowing,
    undo_last,
)
from mowalert.wiring import Services

LawnArgument = Annotated[int, typer.Argument(help="The lawn's number, from `lawns show`.")]
OnOption = Annotated[str | None, typer.Option("--on", help="Local date; today if not given.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("mowed")(mowed)
    app.command("measured")(measured)
    app.command("due")(due)
    app.command("holds")(holds)


def mowed(
    lawn_id: LawnArgument,
    height_mm: Annotated[
        float | None, typer.Argument(help="Height after the cut; the chosen height if not given.")
    ] = None,
    on: OnOption = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take the lawn's newest report back.")] = False,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Record a cut, or take the newest report back."""
    with one_line_errors(), opened() as services:
        now = moment(at)
        if undo and (height_mm is not None or on is not None):
            raise InputError("--undo takes the newest report back, whatever its height and date")
        if undo:
            taken = undo_last(services.store, services.turf, lawn_id, now=now)
            _undone(taken.kind, taken.on, lawn_id, json=json)
            return
        today = _today(services, lawn_id, at)
        reported = report_mowing(
            services.store,
            services.turf,
            lawn_id,
            height_mm=height_mm,
            on=day(on) or today,
            today=today,
            now=now,
            by="cli",
        )
        _tell(reported, "cut to", json=json)


def measured(
    lawn_id: LawnArgument,
    height_mm: Annotated[
        float | None, typer.Argument(help="Height of the grass, with a ruler, in mm.")
    ] = None,
    on: OnOption = None,
    forget: Annotated[
        bool, typer.Option("--forget", help="Forget what the lawn's heights have taught.")
    ] = False,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Record a height measured with a ruler; a few of them teach how fast this lawn grows."""
    with one_line_errors(), opened() as services:
        today = _today(services, lawn_id, at)
        if forget:
            forget_learned(services.store, services.turf, lawn_id, on=today, now=moment(at))
            _forgotten(lawn_id, json=json)
            return
        if height_mm is None:
            raise InputError("say the height in mm, or --forget")
        reported = report_height(
            services.store,
            services.turf,
            lawn_id,
            height_mm=height_mm,
            on=day(on) or today,
            today=today,
            now=moment(at),
            by="cli",
        )
        _tell(reported, "measured at", json=json)


def _today(services: Services, lawn_id: int, at: str | None) -> date:
    with services.store.begin() as work:
        keeper_id = known_lawn(work, lawn_id).keeper_id
        return work.keepers.get([keeper_id])[keeper_id].today(moment(at))


def _tell(reported: Reported, verb: str, *, json: bool) -> None:
    if json:
        print_json(reported)
        return
    before = "" if reported.before_mm is None else f"; it stood at about {reported.before_mm:.0f} mm"
    share = "" if reported.removed_fraction is None else f", so {reported.removed_fraction:.0%} came off"
    typer.echo(f"lawn {reported.lawn_id}: {verb} {reported.height_mm:g} mm on {reported.on}{before}{share}")
    if reported.learned is not None:
        typer.echo(_taught(reported.learned, used=reported.taught))


def _taught(learned: Learned, *, used: bool) -> str:
    if not used:
        return (
            "This height is kept but teaches nothing: too little had grown since a known height, "
            "or it contradicts all sense."
        )
    if not learned.told:
        return "One more measured height, and we can say how fast this lawn grows."
    said = wording_in("en").learned(learned.factor)
    return f"{said} ({learned.used} heights, give or take {learned.spread:.0%})"


def _forgotten(lawn_id: int, *, json: bool) -> None:
    if json:
        print_json({"lawn_id": lawn_id, "learned": 1.0})
    else:
        typer.echo(
            f"lawn {lawn_id}: what its heights have taught is forgotten; "
            f"`mowalert mowed {lawn_id} --undo` brings it back"
        )


def _undone(kind: str, on: date, lawn_id: int, *, json: bool) -> None:
    if json:
        print_json({"lawn_id": lawn_id, "undone": kind, "on": on})
    else:
        typer.echo(f"lawn {lawn_id}: the {kind} of {on} is taken back")


def due(at: AtOption = None, json: JsonOption = False) -> None:
    """List lawns whose window is open, the tallest for their height first."""
    with one_line_errors(), opened() as services:
        notices = due_now(services.store, services.turf, services.policy, now=moment(at))
        if json:
            print_json(notices)
            return
        for notice in notices:
            limit = notice.limit_on or "beyond ten days"
            typer.echo(
                f"{notice.lawn_id:>6}  {_place(notice)}: {notice.height_mm:.0f} mm, "
                f"kept at {notice.chosen_height_mm:g} mm, limit {limit}; {_advice(notice)}"
            )
        typer.echo(counted(len(notices), "lawn"))


def _place(notice: Notice) -> str:
    return place_name(notice.site_name, notice.lawn_name)


def _advice(notice: Notice) -> str:
    return f"{notice.reason} hold" if notice.kind is NoticeKind.HOLD else notice.kind.replace("_", " ")


def holds(at: AtOption = None, json: JsonOption = False) -> None:
    """List lawns that must not be mown now, and why."""
    with one_line_errors(), opened() as services:
        notices = held_now(services.store, services.turf, services.policy, now=moment(at))
        if json:
            print_json(notices)
            return
        for notice in notices:
            hold = notice.holds[0]
            numbers = ", ".join(f"{name} {value:g}" for name, value in hold.facts)
            until = f", until about {hold.expected_end_on}" if hold.expected_end_on else ""
            typer.echo(
                f"{notice.lawn_id:>6}  {_place(notice)}: {notice.reason} since {hold.started_on}{until} "
                f"({numbers})"
            )
        typer.echo(counted(len(notices), "lawn"))
